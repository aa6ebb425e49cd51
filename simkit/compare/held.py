"""What holds the wood in a setup: which cells of it tape, vacuum, clamps, screws and dowels keep in place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simkit.compare.zones import is_inside
from simkit.frames import Frame
from simkit.job.model import FROM_BELOW, Blank, Fixture, Holding, Setup
from simkit.stock.field import Field

ON_TABLE = 0.05  # mm: wood whose lower face has come no farther off the table lies on it
CORNERS = 72  # corners of the outline that stands for a circle, drawn inside it


def held_cells(field: Field, setup: Setup, blank: Blank, holding: Sequence, fixtures: Sequence) -> np.ndarray:
    """Return the cells whose wood is held in a setup, bool (ny, nx).

    field: what is left, blank frame.  holding, fixtures: of the job; those of other setups are passed over.
    Tape and vacuum hold what lies on the table within ON_TABLE; clamps, screws and dowels, and a fixture
    that covers wood in plan, hold any wood in their outline.  Outlines are asked at cell centres.
    """
    lattice = field.lattice
    lie, body = setup.lie(blank), setup.body(blank)
    rests = field.lower <= body.low[2] + ON_TABLE if lie.up > 0 else field.upper >= body.high[2] - ON_TABLE
    found = np.zeros(lattice.shape, bool)
    for one in (*holding, *fixtures):
        if not one.stands_in(setup):
            continue
        inside = is_inside(lattice.x(), lattice.y(), _in_blank(one, lie))
        is_from_below = isinstance(one, Holding) and one.kind in FROM_BELOW
        found |= inside & rests if is_from_below else inside
    return found & field.is_solid


def is_judged(field: Field, setup: Setup, blank: Blank, holding: Sequence, fixtures: Sequence) -> bool:
    """Return whether the job says what holds the wood in a setup: a holding, or a fixture on the wood."""
    if any(one.stands_in(setup) for one in holding):
        return True
    return bool(held_cells(field, setup, blank, (), fixtures).any())


def _in_blank(one: Holding | Fixture, lie: Frame) -> tuple[tuple[float, float], ...]:
    """Return the outline of a holding or a fixture in the blank frame, mm."""
    if getattr(one, "outline", None) is not None:
        corners = np.array(one.outline, float)
    elif one.box is not None:
        (ax, ay), (bx, by) = one.box
        corners = np.array([(ax, ay), (bx, ay), (bx, by), (ax, by)], float)
    else:
        turn = np.arange(CORNERS) * (2 * np.pi / CORNERS)
        corners = np.array(one.at) + one.diameter / 2 * np.column_stack([np.cos(turn), np.sin(turn)])
    return tuple(map(tuple, lie.apply_plan(corners).tolist()))
