"""Why a spot was left standing: no cutter gets in there, or the program did not go there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from simkit.compare.deviation import CutSurface, two_way
from simkit.compare.reach import AS_SAMPLED, CUSP_SLACK, JUMP, LEAST, MOST, closing, grown, seen_field, widest
from simkit.compare.spots import Spot
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.stock.field import Lattice
from simkit.target.envelope import Envelopes
from simkit.target.envelope import envelopes as envelopes_of
from simkit.target.grid import TargetGrid

CLOSE = 0.05  # mm: cells on which a cutter that seems to get in is asked again, or smaller
FINE = 0.02  # mm: where those leave it open
MOST_ROOM = 1000  # cells on either side of a place that is asked on fine cells; then they are larger
HALF = 0.5  # a cutter explains a spot when it must leave at least this part of it


@dataclass(frozen=True)
class WhyLeft:
    """Why material stands proud of the part at the worst place of a spot.

    cause: "cutter" (no cutter can get in), "program" (a cutter could, the program did not go there) or "open"
    (the cells do not tell which: about as much room as a cutter is wide).
    value mm: what is left there.  must_leave: cutter number -> what it must leave there at least, mm,
    in the same two-way measure, as the cells show it.  least: certainly no less, for those that must leave
    about what is left there.  most: what the others may leave at best, if they can get in no farther than the
    cells prove.  best: number of the cutter that must leave least.
    tolerance mm: how far value and must_leave may differ and still count as the same.
    cell mm: edge of the cells on which this was asked.
    """

    cause: str
    value: float
    must_leave: dict[int, float]
    least: dict[int, float]
    most: dict[int, float]
    best: int
    tolerance: float
    cell: float


def why_left(
    spot: Spot,
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    cutters: Sequence[Cutter],
    tolerance: float | None = None,
    allowance: np.ndarray | None = None,
    is_whole: bool = False,
    limit: float = 0.0,
) -> WhyLeft:
    """Return whether the cutter cannot get into a leftover spot or the program did not go there.

    spot: of leftover, its value measured with `deviation` (normal).  envelopes, grid: the target.
    side: 1 or 2.  cutters: those that a program of this side could use (or others, to ask what they
    would leave).  tolerance mm: one cell and 0.02 mm for cusps when not given.
    allowance (2, ny, nx) mm: what is left on purpose, as for `deviation`; the answers then count from there.
    is_whole: ask for all cells round the worst one, for another cutter leaves most at another place.
    limit mm: of leftover; no cutter that may leave less is told as one that cannot get in.

    The surface each cutter can reach around the worst cell is measured like the cut itself.  The
    cutter is the cause when even the best one must leave the value less the tolerance, and at least
    half of it, and any of them certainly more than the limit.  Reach on a grid is off by up to a cell in plan
    at a step, so must_leave is too: between walls as far apart as the cutter is wide by all that it cuts.
    Source: own derivation from the closing, see `reach` and `reach_range`.
    """
    lattice = envelopes.lattice
    if spot.value <= 0:
        raise ShapeError(f"a leftover spot has a positive value, not {spot.value}")
    if side not in (1, 2) or not cutters:
        raise ShapeError("why_left needs side 1 or 2 and at least one cutter")
    if tolerance is None:
        tolerance = lattice.cell + CUSP_SLACK
    if allowance is not None:
        allowance = allowance[:, spot.cell[0], spot.cell[1], None]

    def ask(cutter: Cutter, wider: tuple[float, float]) -> tuple[float, float]:
        return _must_leave(spot, envelopes, grid, side, cutter, allowance, is_whole, wider)

    sampled = {cutter.number: ask(cutter, AS_SAMPLED) for cutter in cutters}
    must_leave = {number: here for number, (here, _) in sampled.items()}
    best = min(must_leave, key=lambda number: (must_leave[number], number))
    needed = max(spot.value - tolerance, HALF * spot.value)
    is_out = {number: left >= needed for number, left in must_leave.items()}
    # The edge of what is left may lie beyond a cell: the highest about it counts.
    least = {one.number: ask(one, LEAST)[1] for one in cutters if is_out[one.number]}
    most = {one.number: ask(one, MOST)[0] for one in cutters if not is_out[one.number]}
    slack = JUMP * lattice.cell
    if is_out[best]:
        cause = "cutter" if min(least.values()) > limit else "open"
    else:
        is_open = [left >= needed and left - sampled[number][1] > slack for number, left in most.items()]
        cause = "open" if all(is_open) else "program"
    return WhyLeft(cause, spot.value, must_leave, least, most, best, tolerance, lattice.cell)


def why_left_at(
    value: float,
    at: Sequence[float],
    lattice: Lattice,
    grid: TargetGrid,
    side: int,
    cutters: Sequence[Cutter],
    allowance: Callable[[Lattice], np.ndarray | None] | None = None,
    limit: float = 0.0,
    tolerance: float | None = None,
) -> WhyLeft:
    """Return `why_left` of one place, asked on cells of CLOSE mm about it, of FINE mm where that is open.

    value mm: of leftover at (x, y, ...) mm, measured there and not at the middle of a cell of `lattice`.
    allowance(lattice): what is left on purpose.  limit, tolerance mm: as for `why_left`.
    On a step the cells of a field let a cutter stand up to a cell nearer than it can, and tell the
    corner at the step's foot as open; here what it must leave is measured where the value was, for one
    of the cells has its middle there.
    """
    why = _why_about(value, at, min(CLOSE, lattice.cell), grid, side, cutters, allowance, limit, tolerance)
    if why.cause == "open":
        room = value + 2 * max(widest(one) for one in cutters)
        finer = max(FINE, room / MOST_ROOM)
        if finer < why.cell:
            why = _why_about(value, at, finer, grid, side, cutters, allowance, limit, tolerance)
    return why


def _why_about(value, at, cell, grid, side, cutters, allowance, limit, tolerance) -> WhyLeft:
    """Return `why_left` of one place, asked on cells of `cell` mm about it."""
    x, y = (float(v) for v in at[:2])
    proud = value
    if allowance is not None and (left := allowance(_about(x, y, cell, 0))) is not None:
        proud += float(left.max())
    room = math.ceil((proud + 2 * max(widest(one) for one in cutters)) / cell) + 6
    window = _about(x, y, cell, room)
    box = (room, room + 1, room, room + 1)
    spot = Spot(value, (room, room), (x, y), (x, y), 1, cell**2, box)
    left = None if allowance is None else allowance(window)
    return why_left(
        spot, envelopes_of(grid, window), grid, side, cutters, tolerance, allowance=left, limit=limit
    )


def _about(x: float, y: float, cell: float, room: int) -> Lattice:
    """Return the lattice of cells within `room` of the one whose middle is x, y."""
    half = (room + 0.5) * cell
    return Lattice((x - half, y - half), cell, 2 * room + 1, 2 * room + 1)


def _must_leave(
    spot: Spot,
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    cutter: Cutter,
    allowance,
    is_whole: bool,
    wider: tuple[float, float],
) -> tuple[float, float]:
    """Return the two-way distance of what a cutter can reach, at the spot's worst cell and about it, mm.

    allowance (2, 1) mm: least and most left on purpose there, None for nothing.  is_whole: the most over the
    spot's cells within the distance that its worst one stands proud.  wider: as for `closing`.
    """
    lattice = envelopes.lattice
    sign = 1.0 if side == 1 else -1.0
    iy, ix = spot.cell
    # The measure looks no farther than what stands there.
    standing = spot.value + (0.0 if allowance is None else float(allowance.max()))
    near = math.ceil(standing / lattice.cell) + 2 + JUMP
    far = near + math.ceil((widest(cutter) + cutter.radius) / lattice.cell) + 3
    wide = (max(iy - far, 0), min(iy + far + 1, lattice.ny), max(ix - far, 0), min(ix + far + 1, lattice.nx))
    heights = sign * envelopes.side(side)[wide[0] : wide[1], wide[2] : wide[3]]
    box = (
        max(iy - near, 0),
        min(iy + near + 1, lattice.ny),
        max(ix - near, 0),
        min(ix + near + 1, lattice.nx),
    )
    window = lattice.window(*box)
    inner = (slice(box[0] - wide[0], box[1] - wide[0]), slice(box[2] - wide[2], box[3] - wide[2]))
    is_wanted = np.zeros(heights.shape, bool)
    is_wanted[inner] = True
    standing = np.where(np.isnan(heights), -np.inf, heights)
    left = np.maximum(closing(standing, lattice.cell, cutter, is_wanted, wider), standing)[inner]
    cells = (slice(box[0], box[1]), slice(box[2], box[3]))
    reached = seen_field(window, left, side)
    around = Envelopes(window, envelopes.lower[cells], envelopes.upper[cells], envelopes.void[cells])
    is_asked = np.zeros(left.shape, bool)
    is_asked[iy - box[0], ix - box[2]] = True
    if is_whole:
        rows = slice(max(spot.box[0] - box[0], 0), max(spot.box[1] - box[0], 0))
        is_asked[rows, max(spot.box[2] - box[2], 0) : max(spot.box[3] - box[2], 0)] = True
    vertical = left - sign * around.side(side)
    is_near = grown(is_asked, JUMP)
    flat = np.flatnonzero(is_near & (vertical > 0))
    if not len(flat):
        return 0.0, 0.0
    surfaces = (CutSurface(reached, side),)
    if allowance is not None:
        allowance = np.broadcast_to(allowance, (2, len(flat)))
    least, _ = two_way(flat, reached, around, grid, side, vertical.ravel()[flat], surfaces, allowance)
    here = least[is_asked.ravel()[flat]]
    return float(here.max(initial=0.0)), max(float(least.max()), 0.0)
