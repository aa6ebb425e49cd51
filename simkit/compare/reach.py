"""What a cutter can reach: the lowest surface it can leave without gouging, and why a spot was left."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from simkit.compare.deviation import CutSurface, Deviation, deviation, two_way
from simkit.compare.spots import Spot
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field, Lattice
from simkit.stock.workers import share_ranges
from simkit.target.envelope import Envelopes
from simkit.target.envelope import envelopes as envelopes_of
from simkit.target.grid import TargetGrid

CUSP_SLACK = 0.02  # mm: cusps of a fine finish pass, left whatever the cutter
CLOSE = 0.05  # mm: cells on which a cutter that seems to get in is asked again, or smaller
HALF = 0.5  # a cutter explains a spot when it must leave at least this part of it
STEEP = 4.0  # rise per cell beyond which a step does not count for the plane fitted to a block
FAR = 1e6  # mm, beyond any blank: the other face of a surface that is judged from one side


def _profile(cutter: Cutter, cell: float, with_shank: bool) -> np.ndarray:
    """Return the height above the tip at offsets of whole cells (2k+1, 2k+1) mm, +inf outside.

    with_shank: count the shank too, where it is wider than the cutting part and its height is known.
    """
    radius = cutter.radius
    shank = 0.0
    if with_shank and cutter.shank is not None and cutter.cutting_length is not None:
        shank = cutter.shank / 2
    k = math.floor(max(radius, shank) / cell + 1e-9)
    q = np.arange(-k, k + 1) * cell
    r = np.hypot(q[:, None], q[None, :])
    slack = 1e-9 * cell  # an offset of exactly R belongs to the cutter
    height = cutter.profile(np.where(r <= radius + slack, np.minimum(r, radius), r))
    if shank > radius:
        height = np.where((r > radius) & (r <= shank + slack), cutter.cutting_length, height)
    return height


def _closing(
    heights: np.ndarray, cell: float, cutter: Cutter, is_wanted: np.ndarray | None = None
) -> np.ndarray:
    """Return the closing of heights (ny, nx), -inf where nothing stands, by one cutter, mm (ny, nx).

    is_wanted (ny, nx) bool: where the answer is needed; elsewhere it may be any number.
    """
    from simkit.compare.reach_kernels import BLOCK, GROUP, LOW, dilate

    whole, cutting = _profile(cutter, cell, True), _profile(cutter, cell, False)
    k, far = cutting.shape[0] // 2, whole.shape[0] // 2
    ny, nx = heights.shape
    steep = STEEP * cell
    # The tip may stand outside the map by k cells; whole blocks and patches reach farther.
    margin, rim = far + 2 * GROUP, far + 2 * GROUP + 2 * BLOCK
    standing = np.full((ny + 2 * (k + rim), nx + 2 * (k + rim)), LOW)
    inner = standing[k + rim : k + rim + ny, k + rim : k + rim + nx]
    np.maximum(heights, LOW, out=inner)
    if is_wanted is None:
        is_wanted = np.ones((ny, nx), bool)
    tips = np.empty((ny + 2 * k, nx + 2 * k))
    near = _grown(_blocks(np.pad(is_wanted, k), BLOCK), -(-k // BLOCK))
    raised = (standing[rim - margin :, rim - margin :], whole, margin, steep, near, tips)
    share_ranges(lambda a, b: dilate(a, b, *raised), near.size, 4)
    # Eroding is dilating upside down.  Tips that nothing holds up go down for good.
    margin, rim = 2 * GROUP, 2 * GROUP + 2 * BLOCK
    turned = np.full((ny + 2 * k + 2 * rim, nx + 2 * k + 2 * rim), LOW)
    np.negative(np.maximum(tips, LOW), out=turned[rim:-rim, rim:-rim])
    left = np.empty((ny, nx))
    wanted = _blocks(is_wanted, BLOCK)
    lowered = (turned[rim - margin :, rim - margin :], cutting, margin + k, steep, wanted, left)
    share_ranges(lambda a, b: dilate(a, b, *lowered), wanted.size, 4)
    left = -left
    left[left < LOW / 2] = -np.inf
    return left


def _blocks(is_wanted: np.ndarray, size: int) -> np.ndarray:
    """Return which blocks of size x size cells hold a wanted one."""
    ny, nx = (-(-n // size) for n in is_wanted.shape)
    padded = np.zeros((ny * size, nx * size), bool)
    padded[: is_wanted.shape[0], : is_wanted.shape[1]] = is_wanted
    return padded.reshape(ny, size, nx, size).any(axis=(1, 3))


def _grown(mask: np.ndarray, k: int) -> np.ndarray:
    """Return a mask grown by k of its places along both axes."""
    from scipy import ndimage

    return ndimage.maximum_filter(mask, 2 * k + 1)


def must_leave(
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    cutter: Cutter,
    threshold: float,
    is_wanted: np.ndarray | None = None,
    allowance: np.ndarray | None = None,
) -> Deviation:
    """Return how far what a cutter leaves at best stands off the target of one side, measured both ways.

    envelopes, grid: of the target.  side: 1 or 2.  threshold mm: as for `deviation`.
    is_wanted (ny, nx) bool: cells to be told; the others read 0.  None: all.
    allowance (2, ny, nx) mm: what is left on purpose, as for `deviation`.
    Outside the outline nothing is in the way.  Error: that of `reach`, a cell in plan at a step, on top
    of that of `deviation`.
    """
    lattice = envelopes.lattice
    sign = 1.0 if side == 1 else -1.0
    seen = sign * envelopes.side(side)
    is_out = np.isnan(seen)
    left = np.where(is_out, -FAR, seen)
    if is_wanted is None:
        box = (slice(None), slice(None))
        is_wanted = ~is_out
    else:
        rows, columns = (np.flatnonzero(is_wanted.any(axis=axis)) for axis in (1, 0))
        if not len(rows):
            return deviation(_seen_field(lattice, left, side), envelopes, grid, side, threshold, allowance)
        far = 2 * math.ceil(_widest(cutter) / lattice.cell) + 1
        box = (
            slice(max(rows[0] - far, 0), rows[-1] + far + 1),
            slice(max(columns[0] - far, 0), columns[-1] + far + 1),
        )
    standing = np.where(is_out, -np.inf, seen)[box]
    here = is_wanted[box]
    closed = _closing(standing, lattice.cell, cutter, here)
    left[box] = np.where(here, np.maximum(closed, standing), left[box])
    return deviation(_seen_field(lattice, left, side), envelopes, grid, side, threshold, allowance)


def _widest(cutter: Cutter) -> float:
    """Return the largest radius of a cutter, its shank included, mm."""
    return max(cutter.radius, (cutter.shank or 0.0) / 2)


def _seen_field(lattice: Lattice, left: np.ndarray, side: int) -> Field:
    """Return a field that one side sees as `left`, along its own axis; the other face lies far away."""
    sign = 1.0 if side == 1 else -1.0
    surface = (sign * left).astype(np.float32)
    other = np.full(lattice.shape, -sign * FAR, dtype=np.float32)
    none = np.full(lattice.shape, UNCUT, dtype=np.int32)
    return Field(lattice, *((other, surface) if side == 1 else (surface, other)), none, none)


def reach(
    heights: np.ndarray,
    lattice: Lattice,
    cutters: Sequence[Cutter],
    side: int = 1,
    floor: float | None = None,
) -> np.ndarray:
    """Return the lowest surface that the cutters together can leave without gouging, z mm (ny, nx).

    heights (ny, nx) float64 mm, blank frame: what the side sees of the target (upper envelope for side
    1, lower one for side 2), NaN outside the outline.  lattice: theirs.  cutters: at least one.
    side: 1 or 2; from side 2 "lowest" means farthest up.  floor: z mm that stands outside the outline
    (a table, a skin), None when nothing is in the way there.  NaN where heights are NaN.

    Grey-scale closing: dilation by the whole profile (shank included where the cutter states shank
    and cutting length; the holder's width is not known) gives the lowest tip, erosion by the cutting
    part what it leaves.  Exact on the grid: the tip stands at cell centres and clears what stands at
    cell centres.  Against the continuous closing it is off by second order in the cell on smooth
    surfaces (under cell^2 / R), and at a step by one cell in plan.
    Source: J. Serra, Image Analysis and Mathematical Morphology, 1982 (from memory); checked against
    scipy.ndimage's grey morphology.
    """
    heights = np.asarray(heights, dtype=np.float64)
    if heights.shape != lattice.shape:
        raise ShapeError(f"heights {heights.shape} must be {lattice.shape}")
    if side not in (1, 2) or not cutters:
        raise ShapeError("reach needs side 1 or 2 and at least one cutter")
    is_outside = np.isnan(heights)
    sign = 1.0 if side == 1 else -1.0
    standing = np.where(is_outside, -np.inf if floor is None else sign * floor, sign * heights)
    lowest = _closing(standing, lattice.cell, cutters[0])
    for cutter in cutters[1:]:
        lowest = np.minimum(lowest, _closing(standing, lattice.cell, cutter))
    return np.where(is_outside, np.nan, sign * lowest)


@dataclass(frozen=True)
class WhyLeft:
    """Why material stands proud of the part at the worst place of a spot.

    cause: "cutter" (no cutter can get in) or "program" (a cutter could, the program did not go there).
    value mm: what is left there.  must_leave: cutter number -> what it must leave there at least, mm,
    in the same two-way measure.  best: number of the cutter that must leave least.
    tolerance mm: how far value and must_leave may differ and still count as the same.
    cell mm: edge of the cells on which this was asked.
    """

    cause: str
    value: float
    must_leave: dict[int, float]
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
) -> WhyLeft:
    """Return whether the cutter cannot get into a leftover spot or the program did not go there.

    spot: of leftover, its value measured with `deviation` (normal).  envelopes, grid: the target.
    side: 1 or 2.  cutters: those that a program of this side could use (or others, to ask what they
    would leave).  tolerance mm: one cell and 0.02 mm for cusps when not given.
    allowance (2, ny, nx) mm: what is left on purpose, as for `deviation`; the answers then count from there.
    is_whole: ask for all cells round the worst one, for another cutter leaves most at another place.

    The surface each cutter can reach around the worst cell is measured like the cut itself.  The
    cutter is the cause when even the best one must leave the value less the tolerance, and at least
    half of it.  Reach on a grid is off by up to a cell in plan at a step, so must_leave is too.
    Source: own derivation from the closing, see `reach`.
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
    must_leave = {
        cutter.number: _must_leave(spot, envelopes, grid, side, cutter, allowance, is_whole)
        for cutter in cutters
    }
    best = min(must_leave, key=lambda number: (must_leave[number], number))
    needed = max(spot.value - tolerance, HALF * spot.value)
    cause = "cutter" if must_leave[best] >= needed else "program"
    return WhyLeft(cause, spot.value, must_leave, best, tolerance, lattice.cell)


def why_left_at(
    value: float,
    at: Sequence[float],
    lattice: Lattice,
    grid: TargetGrid,
    side: int,
    cutters: Sequence[Cutter],
    allowance: Callable[[Lattice], np.ndarray | None] | None = None,
) -> WhyLeft:
    """Return `why_left` of one place, asked on cells of CLOSE mm about it.

    value mm: of leftover at (x, y, ...) mm, measured there and not at the middle of a cell of `lattice`.
    allowance(lattice): what is left on purpose.
    On a step the cells of a field let a cutter stand up to a cell nearer than it can, and tell the
    corner at the step's foot as open; here what it must leave is measured where the value was, for one
    of the cells has its middle there.
    """
    cell = min(CLOSE, lattice.cell)
    x, y = (float(v) for v in at[:2])
    proud = value
    if allowance is not None and (left := allowance(_about(x, y, cell, 0))) is not None:
        proud += float(left.max())
    room = math.ceil((proud + 2 * max(_widest(one) for one in cutters)) / cell) + 6
    window = _about(x, y, cell, room)
    box = (room, room + 1, room, room + 1)
    spot = Spot(value, (room, room), (x, y), (x, y), 1, cell**2, box)
    left = None if allowance is None else allowance(window)
    return why_left(spot, envelopes_of(grid, window), grid, side, cutters, allowance=left)


def _about(x: float, y: float, cell: float, room: int) -> Lattice:
    """Return the lattice of cells within `room` of the one whose middle is x, y."""
    half = (room + 0.5) * cell
    return Lattice((x - half, y - half), cell, 2 * room + 1, 2 * room + 1)


def _must_leave(
    spot: Spot, envelopes: Envelopes, grid: TargetGrid, side: int, cutter: Cutter, allowance, is_whole: bool
) -> float:
    """Return the two-way distance of the surface a cutter can reach, at the spot's worst cell, mm.

    allowance (2, 1) mm: least and most left on purpose there, None for nothing.  is_whole: the most over the
    spot's cells within the distance that its worst one stands proud.
    """
    lattice = envelopes.lattice
    sign = 1.0 if side == 1 else -1.0
    iy, ix = spot.cell
    widest = _widest(cutter)
    # The measure looks no farther than what stands there.
    standing = spot.value + (0.0 if allowance is None else float(allowance.max()))
    near = math.ceil(standing / lattice.cell) + 2
    far = near + math.ceil((widest + cutter.radius) / lattice.cell) + 1
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
    left = _closing(np.where(np.isnan(heights), -np.inf, heights), lattice.cell, cutter, is_wanted)[inner]
    cells = (slice(box[0], box[1]), slice(box[2], box[3]))
    reached = _seen_field(window, left, side)
    around = Envelopes(window, envelopes.lower[cells], envelopes.upper[cells], envelopes.void[cells])
    is_asked = np.zeros(left.shape, bool)
    is_asked[iy - box[0], ix - box[2]] = True
    if is_whole:
        rows = slice(max(spot.box[0] - box[0], 0), max(spot.box[1] - box[0], 0))
        is_asked[rows, max(spot.box[2] - box[2], 0) : max(spot.box[3] - box[2], 0)] = True
    vertical = left - sign * around.side(side)
    flat = np.flatnonzero(is_asked & (vertical > 0))
    if not len(flat):
        return 0.0
    surfaces = (CutSurface(reached, side),)
    least, _ = two_way(flat, reached, around, grid, side, vertical.ravel()[flat], surfaces, allowance)
    return max(float(least.max()), 0.0)
