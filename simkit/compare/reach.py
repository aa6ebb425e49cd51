"""What a cutter can reach: the lowest surface it can leave without gouging."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from simkit.compare.deviation import Deviation, deviation
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field, Lattice
from simkit.stock.workers import share_ranges
from simkit.target.envelope import Envelopes
from simkit.target.grid import TargetGrid

CUSP_SLACK = 0.02  # mm: cusps of a fine finish pass, left whatever the cutter
STEEP = 4.0  # rise per cell beyond which a step does not count for the plane fitted to a block
# Cells along x and y by which a cutter counts wider where it must be clear, and where it cuts.
AS_SAMPLED = (0.0, 0.0)
LEAST = (-0.5, 0.5)  # its tip stands within half a cell of a centre: never more than it must leave
MOST = (1.0, 0.0)  # a wall reaches less than a cell beyond the centres it covers
# Cells, in height and in plan: as sampled, reach is off by no more where it is certain that a cutter gets in.
JUMP = 3
STEEPEST = 3.0  # rise per mm: what is steeper is a step
FAR = 1e6  # mm, beyond any blank: the other face of a surface that is judged from one side


def _profile(cutter: Cutter, cell: float, with_shank: bool, wider: float = 0.0) -> np.ndarray:
    """Return the height above the tip at offsets of whole cells (2k+1, 2k+1) mm, +inf outside.

    with_shank: count the shank too, where it is wider than the cutting part and its height is known.
    wider: cells by which all of it reaches farther along x and y, so over a square; negative: only what the
    cutter covers wherever its tip stands in that square.
    """
    radius = cutter.radius
    shank = 0.0
    if with_shank and cutter.shank is not None and cutter.cutting_length is not None:
        shank = cutter.shank / 2
    k = max(math.floor(max(radius, shank) / cell + wider + 1e-9), 0)
    q = np.maximum(np.abs(np.arange(-k, k + 1)) - wider, 0.0) * cell
    r = np.hypot(q[:, None], q[None, :])
    slack = 1e-9 * cell  # an offset of exactly R belongs to the cutter
    height = cutter.profile(np.where(r <= radius + slack, np.minimum(r, radius), r))
    if shank > radius:
        height = np.where((r > radius) & (r <= shank + slack), cutter.cutting_length, height)
    return height


def closing(
    heights: np.ndarray,
    cell: float,
    cutter: Cutter,
    is_wanted: np.ndarray | None = None,
    wider: tuple[float, float] = AS_SAMPLED,
) -> np.ndarray:
    """Return the closing of heights (ny, nx), -inf where nothing stands, by one cutter, mm (ny, nx).

    is_wanted (ny, nx) bool: where the answer is needed; elsewhere it may be any number.
    wider: AS_SAMPLED, or LEAST or MOST for what the closing of the surface itself is no lower, no higher than
    at the centres of cells.
    """
    from simkit.compare.reach_kernels import BLOCK, GROUP, LOW, dilate

    whole, cutting = _profile(cutter, cell, True, wider[0]), _profile(cutter, cell, False, wider[1])
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
    near = grown(_blocks(np.pad(is_wanted, k), BLOCK), -(-k // BLOCK))
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


def grown(values: np.ndarray, k: int) -> np.ndarray:
    """Return the highest of values (or of a mask) within k of each place along both axes."""
    from scipy import ndimage

    return ndimage.maximum_filter(values, 2 * k + 1)


def must_leave(
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    cutter: Cutter,
    threshold: float,
    is_wanted: np.ndarray | None = None,
    allowance: np.ndarray | None = None,
    wider: tuple[float, float] = AS_SAMPLED,
) -> Deviation:
    """Return how far what a cutter leaves at best stands off the target of one side, measured both ways.

    envelopes, grid: of the target.  side: 1 or 2.  threshold mm: as for `deviation`.
    is_wanted (ny, nx) bool: cells to be told; the others read 0.  None: all.
    allowance (2, ny, nx) mm: what is left on purpose, as for `deviation`.
    wider: as for `closing`.
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
            return deviation(seen_field(lattice, left, side), envelopes, grid, side, threshold, allowance)
        far = 2 * math.ceil(widest(cutter) / lattice.cell) + 1
        box = (
            slice(max(rows[0] - far, 0), rows[-1] + far + 1),
            slice(max(columns[0] - far, 0), columns[-1] + far + 1),
        )
    standing = np.where(is_out, -np.inf, seen)[box]
    here = is_wanted[box]
    closed = closing(standing, lattice.cell, cutter, here, wider)
    left[box] = np.where(here, np.maximum(closed, standing), left[box])
    return deviation(seen_field(lattice, left, side), envelopes, grid, side, threshold, allowance)


def reach_range(
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    cutter: Cutter,
    threshold: float,
    is_wanted: np.ndarray | None = None,
    allowance: np.ndarray | None = None,
) -> tuple[Deviation, np.ndarray]:
    """Return what a cutter must leave on one side, as `must_leave`, and the most where that is open (ny, nx).

    Where the cells leave open whether the cutter gets in (between walls about as far apart as it is wide),
    the first tells the least that it must leave, the second the most; the second is 0 elsewhere.
    Source: own derivation.  A true tip lies in the square of a cell about a centre; what the cutter covers
    wherever it stands in that square meets no more than the cutter does, and what it cuts from anywhere there
    is no less.  The most: a cutter with its tip at a centre, wide enough to meet at a centre every wall
    (wider than two cells) that it would meet between them.
    """
    cell = envelopes.lattice.cell
    asked = (envelopes, grid, side, cutter, threshold)
    one = must_leave(*asked, is_wanted, allowance)
    normal, slack = np.nan_to_num(one.normal), JUMP * cell
    is_high = normal > slack
    least = must_leave(*asked, grown(is_high, JUMP), allowance, LEAST)
    is_less = is_high & (normal - grown(np.nan_to_num(least.normal), JUMP) > slack)
    low = np.where(grown(is_less, JUMP), np.fmin(least.normal, one.normal), one.normal)
    near = _between_steps(envelopes.side(side), cell, cutter)
    if is_wanted is not None:
        near &= is_wanted
    high = must_leave(*asked, near, allowance, MOST)
    highest = np.maximum(np.nan_to_num(high.most), np.nan_to_num(high.normal))
    is_more = is_less | (highest - grown(normal, JUMP) > slack)
    most = np.where(is_more, np.maximum(highest, normal), 0.0)
    told = Deviation(side, one.lattice, one.vertical, low, np.maximum(one.most, low), threshold)
    return told, most


def _between_steps(heights: np.ndarray, cell: float, cutter: Cutter) -> np.ndarray:
    """Return the cells (ny, nx) where a cutter may meet a step of heights mm, NaN outside the outline."""
    is_step = np.zeros(heights.shape, bool)
    for axis in (0, 1):
        is_steep = np.nan_to_num(np.abs(np.diff(heights, axis=axis))) > STEEPEST * cell
        for end in (0, is_steep.shape[axis]):
            is_step |= np.insert(is_steep, end, False, axis)
    far = math.ceil((cutter.radius + widest(cutter)) / cell) + 2
    return grown(is_step, far) & ~np.isnan(heights)


def widest(cutter: Cutter) -> float:
    """Return the largest radius of a cutter, its shank included, mm."""
    return max(cutter.radius, (cutter.shank or 0.0) / 2)


def seen_field(lattice: Lattice, left: np.ndarray, side: int) -> Field:
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
    lowest = closing(standing, lattice.cell, cutters[0])
    for cutter in cutters[1:]:
        lowest = np.minimum(lowest, closing(standing, lattice.cell, cutter))
    return np.where(is_outside, np.nan, sign * lowest)
