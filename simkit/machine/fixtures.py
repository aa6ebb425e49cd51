"""Clamps, stops and pins: everything that stands beside the wood and must not be touched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.job.model import Fixture
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.field import UNCUT, Field, Lattice
from simkit.stock.replay import replay

MOST_CELLS = 1_000_000


@dataclass(frozen=True)
class FixtureContact:
    """The first move that comes too near a fixture with one part of the cutter, and the worst.

    fixture: its name.  part: "cutting part", "neck", "shank" or "holder".
    row: the first move; depth mm: the most that any move goes into the fixture grown by the clearance, at
    (3,) mm, table frame.  count: how many moves.
    """

    fixture: str
    part: str
    row: int
    worst_row: int
    depth: float
    at: tuple[float, float, float]
    count: int


def fixture_contacts(
    moves: Moves,
    one: slice,
    to_table: Frame,
    cutters: Mapping[int, Cutter],
    fixtures: Sequence[Fixture],
    clearance: float,
    cell: float,
) -> list[FixtureContact]:
    """Return what the moves of one setup run into, one entry for each fixture and part of the cutter.

    to_table: program frame -> table frame.  clearance mm: to be kept all round.  cell mm: of the columns
    that the fixtures are taken as (solid down to the table).
    Each fixture is replayed as if it were wood; a place that was touched once is not told again.  The
    clearance is added to the outline and the top of the fixture, so near an upper edge it is kept square,
    up to 1.42 times.  Error: a fixture is as wide as its cells, up to half a cell more on each side.
    """
    found = []
    part = moves[one]
    for fixture in fixtures:
        field, near = _columns(fixture, clearance, cell, part, to_table, cutters)
        if field is None:
            continue
        met = replay(field, part[near], cutters, to_table)
        kinds = {"cutting part": (met.depth, met.at)}
        kinds |= {name: (depth, met.rub_at[name]) for name, depth in met.rub_depth.items()}
        for name, (depth, at) in kinds.items():
            hit = np.flatnonzero(depth > 0)
            if not len(hit):
                continue
            worst = hit[np.argmax(depth[hit])]
            found.append(
                FixtureContact(
                    fixture.name,
                    name,
                    one.start + int(near[hit[0]]),
                    one.start + int(near[worst]),
                    float(depth[worst]),
                    tuple(float(v) for v in at[worst]),
                    len(hit),
                )
            )
    return found


def _columns(fixture: Fixture, clearance: float, cell: float, moves: Moves, to_table: Frame, cutters):
    """Return a field of the fixture's columns, grown by the clearance, and the moves that come near it."""
    x0, x1, y0, y1 = fixture.box_in_plan
    low, high = np.array([x0, y0]) - clearance, np.array([x1, y1]) + clearance
    # Cells no wider than asked, no more of them than fit.
    cell = max(cell, float(np.sqrt((high - low).prod() / MOST_CELLS)))
    nx, ny = (max(int(np.ceil(size / cell)), 1) for size in high - low)
    cell = float(max((high - low) / (nx, ny)))
    lattice = Lattice((float(low[0]), float(low[1])), cell, nx, ny)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    if fixture.box is not None:
        away = np.hypot(np.maximum(np.maximum(x0 - x, x - x1), 0), np.maximum(np.maximum(y0 - y, y - y1), 0))
    else:
        away = np.hypot(x - fixture.at[0], y - fixture.at[1]) - fixture.diameter / 2
    upper = np.where(away <= clearance + cell / 2, fixture.height + clearance, 0.0).astype(np.float32)
    none = np.full(lattice.shape, UNCUT, np.int32)
    field = Field(lattice, np.zeros(lattice.shape, np.float32), upper, none, none)
    reach = max(_widest(cutter) for cutter in cutters.values())
    lowest, highest = (places[:, :2] for places in extremes(moves.in_frame(to_table)))
    near = np.flatnonzero(((lowest - reach <= high) & (highest + reach >= low)).all(axis=1))
    return (field, near) if len(near) else (None, near)


def _widest(cutter: Cutter) -> float:
    """Return the largest radius of a cutter and all that is above it, mm."""
    return max([cutter.radius, *(max(cone.low_radius, cone.high_radius) for cone in cutter.stack)])
