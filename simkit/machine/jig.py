"""The jig of a setup against the cutters: its walls beside the wood, and what bears the wood from below."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import maximum_filter1d

from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.job.model import Job, Setup
from simkit.machine.fixtures import EQUAL, FixtureContact, contacts_with, parts_of, widest
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.field import UNCUT, Field, Lattice

JIG = "jig "  # and its name
MOST_CELLS = 1_000_000


@dataclass(frozen=True)
class Standing:
    """A jig on the table of a setup, table frame.

    name: of its job.  low, high (3,) mm: the box of its board; z counts from the lower face of the blank as
    it lies.  top: its height at points (n, 2), over its own lower face, mm, 0 where it is open: exact.
    is_wood: which points (n, 2) lie under wood when the setup begins.
    """

    name: str
    low: np.ndarray
    high: np.ndarray
    top: Callable[[np.ndarray], np.ndarray]
    is_wood: Callable[[np.ndarray], np.ndarray]


def standing(
    setup: Setup, job: Job, top: Callable[[np.ndarray], np.ndarray], before: Field, lie: Frame
) -> Standing:
    """Return the jig of a setup as it stands.

    job: of the jig.  top: its height at points of its own board.  before: what stands
    before the setup, blank frame.  lie: table frame -> blank frame.
    """
    at, body = np.array(setup.jig_at, float), job.last_body
    low = np.array([*body.low[:2], 0.0]) - at  # `top` counts from the lower face of the board

    def on_board(points: np.ndarray) -> np.ndarray:
        return top(points + at[:2])

    def is_wood(points: np.ndarray) -> np.ndarray:
        places, lattice = lie.apply_plan(points), before.lattice
        corner, size = np.array(lattice.origin), np.array([lattice.nx, lattice.ny]) * lattice.cell
        inside = ((places >= corner) & (places < corner + size)).all(axis=1)
        found = np.zeros(len(points), bool)
        found[inside] = before.is_solid[lattice.cell_at(*places[inside].T)]
        return found

    return Standing(f"{JIG}{job.name}", low, low + np.subtract(body.high, body.low), on_board, is_wood)


def jig_contacts(
    moves: Moves,
    one: slice,
    to_table: Frame,
    cutters: Mapping[int, Cutter],
    jig: Standing,
    clearance: float,
    cell: float,
) -> list[FixtureContact]:
    """Return what the moves of one setup run into of its jig, one entry for each part of a cutter.

    to_table: program frame -> table frame.  clearance mm: to be kept from what stands beside the wood, all
    round; under the wood, which rests on it, the cutter may come up to the jig.  cell mm: of its columns.
    What of the jig lies no higher than the lower face of the blank is the board under it, of machine.room.
    Told is only what is certain: the height of a column is exact at its centre, so nearer to that than the
    clearance a part came.  Missed may be what comes nearer by less than 1.42 cells in plan, and, under the
    wood, an island grazed by less than that.
    """
    part = moves[one]
    highest = float(jig.high[2]) + clearance
    seen = part.in_frame(to_table)
    low, high = extremes(seen)
    # No part of a cutter reaches below its tip.
    near = np.flatnonzero(low[:, 2] < highest - EQUAL)
    if not len(near):
        return []
    reach = max(widest(cutter) for cutter in cutters.values()) + clearance
    first = np.maximum(low[near, :2].min(axis=0) - reach, jig.low[:2])
    last = np.minimum(high[near, :2].max(axis=0) + reach, jig.high[:2])
    if (first >= last).any():
        return []
    field, is_grown = jig_field(jig, first, last, clearance, cell)
    if not field.is_solid.any():
        return []
    close = {name: np.isfinite(wide) for name, wide in parts_of(part, cutters).items()}
    is_near = np.zeros(len(part), bool)
    is_near[near] = True
    close = {name: has & is_near for name, has in close.items() if (has & is_near).any()}
    return [
        told if is_grown[field.lattice.cell_at(*told.at[:2])] else replace(told, clearance=0.0)
        for told in contacts_with(field, jig.name, part, one.start, close, cutters, to_table, clearance)
    ]


def jig_field(
    jig: Standing, first: np.ndarray, last: np.ndarray, clearance: float, cell: float
) -> tuple[Field, np.ndarray]:
    """Return the columns of a jig over part of its board, from `first` to `last` (2,) mm, table frame.

    Solid from the lower face of the blank on up; what stands beside the wood is grown by the clearance, and
    which columns (ny, nx) are as high as that makes them.
    """
    cell = max(cell, float(np.sqrt(np.prod(last - first + 2 * clearance) / MOST_CELLS)))
    corner = first - clearance
    nx, ny = (max(int(np.ceil(size / cell)), 1) for size in last - first + 2 * clearance)
    lattice = Lattice((float(corner[0]), float(corner[1])), cell, nx, ny)
    points = np.stack(np.meshgrid(lattice.x(), lattice.y()), axis=-1).reshape(-1, 2)
    height = jig.low[2] + jig.top(points)
    is_beside = (height > 0) & ~jig.is_wood(points)
    height = np.maximum(height, 0.0).reshape(lattice.shape)
    walls = np.where(is_beside.reshape(lattice.shape), height, -np.inf)
    grown = _grown(walls, clearance / cell) + clearance
    upper = np.maximum(height, grown).astype(np.float32)
    none = np.full(lattice.shape, UNCUT, np.int32)
    return Field(lattice, np.zeros(lattice.shape, np.float32), upper, none, none), grown > height


def _grown(heights: np.ndarray, reach: float) -> np.ndarray:
    """Return the highest of all cells whose centre is within `reach` cells of each centre."""
    found = heights.copy()
    for step in range(-int(reach), int(reach) + 1):
        half = int(np.sqrt(max(reach**2 - step**2, 0.0)) + 1e-9)
        wide = maximum_filter1d(heights, 2 * half + 1, axis=1, mode="constant", cval=-np.inf)
        to = slice(max(step, 0), len(heights) + min(step, 0))
        of = slice(max(-step, 0), len(heights) + min(-step, 0))
        np.maximum(found[to], wide[of], out=found[to])
    return found
