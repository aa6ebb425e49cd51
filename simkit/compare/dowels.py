"""Dowel holes: where the programs drilled them, and where they come to lie on the pins after turning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.job.model import Blank, Dowel, Setup
from simkit.job.steps import Body
from simkit.moves.table import LINE, Moves
from simkit.stock.field import Field

SAME_PLACE = 1e-3  # mm: plunges closer than this make one hole
SAME_SIZE = 0.25  # mm: a plunge with a cutter this near the hole's diameter drills it
NEAR = 1.5  # diameters: so near its place a plunge counts before an opening that was milled


@dataclass(frozen=True, slots=True)
class Hole:
    """One dowel hole as it was made.

    at (x, y) mm, blank frame: its centre, the stated one when no program makes it.  off mm: how far
    from the stated place; bound mm: how far `at` may be off.  diameter mm.  is_through: whether the
    field is open at its centre when the pins are needed.  row: move that drilled it deepest, -1 when it
    was not plunged.  how: "drilled", "milled" or "not made" (then it is taken to be where the job says).
    side: it was plunged from, 1 or 2, None when it was not.  tip mm: height of the cutter's tip at its
    deepest, blank frame.  point mm: from the tip to where the hole has its full diameter.
    other: row of a plunge at its place, and the diameter of its cutter, mm, where it was not made but a
    cutter of another size went down there; else None.
    """

    dowel: Dowel
    at: tuple[float, float]
    off: float
    bound: float
    diameter: float
    is_through: bool
    row: int
    how: str
    side: int | None = None
    tip: float | None = None
    point: float = 0.0
    other: tuple[int, float] | None = None

    def depth(self, body: Body) -> tuple[float, float] | None:
        """Return how deep the tip went below the face it entered by, and the full diameter, mm.

        body: the blank between its faces when it was drilled.  None when the hole was not plunged.
        """
        if self.tip is None:
            return None
        tip = body.high[2] - self.tip if self.side == 1 else self.tip - body.low[2]
        return tip, tip - self.point


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin of a later setup and the hole that comes to lie nearest to it, in its table frame, mm.

    dowel: whose pin it is.  nearest: the hole nearest to it, which may be another's.
    hole, pin (x, y).  miss: distance.  setup: index.  bound mm: of the hole.
    """

    dowel: Dowel
    nearest: Hole
    setup: int
    hole: tuple[float, float]
    pin: tuple[float, float]
    miss: float
    bound: float


def dowel_holes(
    dowels: tuple[Dowel, ...],
    field: Field,
    moves: Moves,
    rows: list[slice],
    frames: list[Frame],
    cutters: dict[int, Cutter],
) -> list[Hole]:
    """Return each named dowel hole as the programs made it.

    field: before the first setup that needs the pins, that is after the first one.
    moves, rows, frames: as in Evidence.  A hole is drilled by straight plunges with a cutter of its
    diameter (place exact), or milled with a smaller one (place and diameter from the cells that are
    open there: off by about a tenth of a cell, a quarter is stated).
    """
    plunges = [
        (one.start + index, frame.apply(moves.end[one.start + index]), 1 if frame.up > 0 else 2)
        for one, frame in zip(rows, frames, strict=True)
        for index in np.flatnonzero(_is_plunge(moves[one]))
    ]
    return [_hole(dowel, field, moves, cutters, plunges) for dowel in dowels]


def _is_plunge(moves: Moves) -> np.ndarray:
    delta = moves.end - moves.start
    is_straight = (np.abs(delta[:, :2]) <= SAME_PLACE).all(axis=1) & (moves.kind == LINE)
    return is_straight & (delta[:, 2] < 0) & ~moves.rapid


def _hole(dowel: Dowel, field: Field, moves: Moves, cutters: dict[int, Cutter], plunges: list) -> Hole:
    fitting = [
        (float(np.hypot(*(place[:2] - dowel.at))), row, place, side)
        for row, place, side in plunges
        if abs(cutters[int(moves.tool[row])].diameter - dowel.diameter) <= SAME_SIZE
    ]
    nearest = min(fitting, key=lambda one: one[0], default=None)
    milled = _open_spot(field, dowel)
    # A hole of this size somewhere else is this hole in the wrong place, unless one is milled here.
    if nearest is not None and (nearest[0] <= NEAR * dowel.diameter or milled is None):
        off, _, place, side = nearest
        same = [one for one in fitting if one[3] == side and np.hypot(*(one[2] - place)[:2]) <= SAME_PLACE]
        _, row, deepest, _ = min(same, key=lambda one: (one[2][2] if side == 1 else -one[2][2], one[1]))
        cutter = cutters[int(moves.tool[row])]
        at = (float(place[0]), float(place[1]))
        point = float(cutter.profile(np.array([cutter.radius]))[0])
        is_open = _is_open(field, at)
        tip = float(deepest[2])
        return Hole(dowel, at, off, 0.0, cutter.diameter, is_open, row, "drilled", side, tip, point)
    if milled is not None:
        at, diameter = milled
        off = float(np.hypot(at[0] - dowel.at[0], at[1] - dowel.at[1]))
        return Hole(dowel, at, off, field.lattice.cell / 4, diameter, True, -1, "milled")
    there = [
        (float(np.hypot(*(place[:2] - dowel.at))), row)
        for row, place, _ in plunges
        if np.hypot(*(place[:2] - dowel.at)) <= dowel.diameter / 2
    ]
    row = min(there, default=(0.0, -1))[1]
    other = None if row < 0 else (row, cutters[int(moves.tool[row])].diameter)
    return Hole(dowel, dowel.at, 0.0, 0.0, dowel.diameter, False, -1, "not made", other=other)


def _is_open(field: Field, at: tuple[float, float]) -> bool:
    return not field.is_solid[field.lattice.cell_at(*at)]


def _open_spot(field: Field, dowel: Dowel) -> tuple[tuple[float, float], float] | None:
    """Return centre and diameter of the round opening near a dowel's place, None when there is none."""
    from scipy import ndimage

    lattice = field.lattice
    reach = NEAR * dowel.diameter
    iy0, ix0 = lattice.cell_at(dowel.at[0] - reach, dowel.at[1] - reach)
    iy1, ix1 = lattice.cell_at(dowel.at[0] + reach, dowel.at[1] + reach)
    is_open = ~field.is_solid[iy0 : iy1 + 1, ix0 : ix1 + 1]
    label, count = ndimage.label(is_open)
    for number in range(1, count + 1):
        rows, columns = np.nonzero(label == number)
        is_cut_off = (
            rows.min() == 0
            or columns.min() == 0
            or rows.max() == is_open.shape[0] - 1
            or columns.max() == is_open.shape[1] - 1
        )
        diameter = 2 * lattice.cell * float(np.sqrt(len(rows) / np.pi))
        if not is_cut_off and abs(diameter - dowel.diameter) <= max(SAME_SIZE, lattice.cell):
            x, y = lattice.centre_of(rows.mean() + iy0, columns.mean() + ix0)
            return (float(x), float(y)), diameter
    return None


def pins(holes: list[Hole], setups: tuple[Setup, ...], blank: Blank) -> list[Pin]:
    """Return for every later setup how each pin meets the hole nearest to it.

    The pins of a setup stand where it states them, else where the holes were in the first setup's
    table frame: the blank is pushed to the same corner of the same table.
    Exact but for the bound of each hole.
    """
    found = []
    for index, setup in enumerate(setups):
        if index == 0 and setup.pins is None:
            continue
        to_table = setup.lie(blank).inverse()
        places = np.array([to_table.apply_plan(np.array(hole.at)) for hole in holes]).reshape(-1, 2)
        stated = setup.pins if setup.pins is not None else [hole.at for hole in holes]
        stands = np.array(stated, dtype=np.float64).reshape(-1, 2)
        misses = np.hypot(*np.moveaxis(places[None] - stands[:, None], 2, 0))
        # One hole to one pin, so that the misses are the least together.
        for nth, near in zip(*linear_sum_assignment(misses), strict=True):
            found.append(
                Pin(
                    dowel=holes[nth].dowel,
                    nearest=holes[near],
                    setup=index,
                    hole=tuple(float(value) for value in places[near]),
                    pin=tuple(float(value) for value in stands[nth]),
                    miss=float(misses[nth, near]),
                    bound=holes[near].bound,
                )
            )
    return found
