"""How far the cut surface lies from the target, seen from one side, measured both ways.

Positive: leftover, material standing proud of the part.  Negative: gouge, cut into the part.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np

from simkit.compare.allowance import ALWAYS, shifted, shifted_both_ways
from simkit.compare.both_ways import BothWays, is_gone
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field, Lattice
from simkit.stock.workers import share_ranges
from simkit.target.envelope import Envelopes
from simkit.target.grid import TargetGrid

SHAVED = 2.0  # mm
THRESHOLD = 0.05  # mm: below this the vertical difference is close enough, and never too small
BLOCK = 8  # columns along the edge of a block of the search tables, and blocks along that of a group
LEAST = 2048  # points that a thread of its own is worth
NO_SKIP = (0, 0, 0, 0)
CLOSE = 1e-9  # mm: rounding of places


@dataclass(frozen=True)
class Deviation:
    """The cut against the target over a lattice, seen from one side; + leftover, - gouge.

    side: 1 (upper surface) or 2 (lower).
    vertical (ny, nx) float32 mm: along the cutter's axis; NaN where the column misses the part.
    normal (ny, nx) float32 mm: the larger of the distance cut -> target (exact) and the least that
        the distance target -> cut can be; equals `vertical` where that is within `threshold`.
    most (ny, nx) float32 mm: the same with the most that target -> cut can be.
    |normal| <= |most|, and |most| <= |vertical| but where this side cut through the part and nothing is left;
    the true two-way distance at a cell centre lies between the first two, see `deviation`.
    rims: of cells in or beside which something narrow is off by more than its limit, and the cell shows none
        of that (a sharp edge lost or left full; a gouge where it holds leftover beyond its limit): by (row,
        column, is_gouge) the place (x, y) mm and how far off it is, mm, see `rims` and `second_look`.
        `most` is as much where the cell is within its limits else.  None where that was not looked at.
    """

    side: int
    lattice: Lattice
    vertical: np.ndarray
    normal: np.ndarray
    most: np.ndarray
    threshold: float
    rims: dict[tuple[int, int, bool], tuple[tuple[float, float], float]] | None = None


class CutSurface:
    """What one side sees of a field, as columns to measure distances to.

    Heights count along the side's own axis (z for side 1, -z for side 2).  A column that holds
    nothing is air at all heights.  skip: cells (iy0, iy1, ix0, ix1) for which a finer surface stands
    in (only the columns between two of them are left out).
    """

    def __init__(self, field: Field, side: int, skip: tuple[int, int, int, int] = NO_SKIP):
        self.lattice = field.lattice
        heights = field.upper if side == 1 else -field.lower
        self.heights = np.where(field.is_solid, heights.astype(np.float64), -np.inf)
        self._cut = heights
        self.skip = skip
        self._tables: dict[tuple[bool, bool], tuple] = {}

    def without(self, box: tuple[int, int, int, int]) -> CutSurface:
        """Return the same surface with the cells (iy0, iy1, ix0, ix1) left to a finer one."""
        other = copy.copy(self)
        other.skip = box  # the tables do not depend on it
        return other

    def _table(self, is_gouge: bool, is_least: bool) -> tuple:
        """Return the columns, and the highest of each block and group of blocks, for `nearest_column`."""
        from simkit.compare.deviation_kernels import columns

        key = (is_gouge, is_least)
        if key not in self._tables:
            # Least: the surface between four samples reaches at most the highest of them.
            shapes = [self.heights.shape]
            shapes += [tuple(-(-n // BLOCK**k) for n in shapes[0]) for k in (1, 2)]
            tables = tuple(np.empty(shape) for shape in shapes)
            columns(self.heights, 1.0 if is_gouge else -1.0, is_least, BLOCK, *tables)
            self._tables[key] = tables
        return self._tables[key]

    def way_out(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Return the way from a box in plan to what is not left to a finer surface, mm; 0 for none.

        As `distance` takes it with is_least: the surface between the samples of what is skipped.
        """
        iy0, iy1, ix0, ix1 = self.skip
        (low_x, low_y), cell = self.lattice.origin, self.lattice.cell
        ways = (
            x0 - (low_x + (ix0 + 0.5) * cell),
            low_x + (ix1 - 0.5) * cell - x1,
            y0 - (low_y + (iy0 + 0.5) * cell),
            low_y + (iy1 - 0.5) * cell - y1,
        )
        return max(min(ways) - CLOSE, 0.0) if self.skip != NO_SKIP else 0.0

    def height_at(self, x, y) -> np.ndarray:
        """Return what this side cut at places in plan, mm along its axis (k,); NaN beside these cells.

        x, y (k,) mm.  Straight between the centres of cells, and level beyond the outermost.  Where the other
        side took the whole column, too, it is as high as this side cut it.
        """
        ny, nx = self.lattice.shape
        column, row = (
            (at - low) / self.lattice.cell for at, low in zip((x, y), self.lattice.origin, strict=True)
        )
        is_beside = (column < 0) | (column > nx) | (row < 0) | (row > ny)
        column, row = np.clip(column - 0.5, 0, nx - 1), np.clip(row - 0.5, 0, ny - 1)
        ix, iy = (
            np.minimum(column.astype(np.int64), max(nx - 2, 0)),
            np.minimum(row.astype(np.int64), max(ny - 2, 0)),
        )
        u, v = column - ix, row - iy
        beside, above = np.minimum(ix + 1, nx - 1), np.minimum(iy + 1, ny - 1)
        lower = (1 - u) * self._cut[iy, ix] + u * self._cut[iy, beside]
        upper = (1 - u) * self._cut[above, ix] + u * self._cut[above, beside]
        return np.where(is_beside, np.nan, (1 - v) * lower + v * upper)

    def distance(
        self, x, y, heights, within, is_gouge: bool, is_least: bool, enough: np.ndarray | None = None
    ) -> np.ndarray:
        """Return the distance from points to the nearest material (a gouge) or air (leftover), mm.

        x, y (k,) mm; heights (k,) along the side's axis; within (k,): the answer when none is nearer.
        is_least: take the surface between samples as near as it can be (it keeps between the lowest
        and highest of the four samples about it), else count the samples alone, which are certain.
        enough (k,) mm: what is nearer than this may be told as any such distance; None: all is told.
        """
        from simkit.compare.deviation_kernels import nearest_column

        tables = self._table(is_gouge, is_least)
        cell = self.lattice.cell
        x0, y0 = self.lattice.origin[0] + cell / 2, self.lattice.origin[1] + cell / 2
        iy0, iy1, ix0, ix1 = self.skip
        skip = np.array((iy0, iy1 - 1, ix0, ix1 - 1) if is_least else NO_SKIP, dtype=np.int64)
        out = np.empty(len(x))
        width = cell if is_least else 0.0
        heights = heights if is_gouge else -heights
        enough = np.full(len(x), -1.0) if enough is None else enough
        search = (x, y, heights, within, enough, *tables, x0, y0, cell, width, BLOCK, skip, out)
        share_ranges(lambda a, b: nearest_column(a, b, *search), len(x), LEAST)
        return out


def deviation(
    field: Field,
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    threshold: float = THRESHOLD,
    allowance: np.ndarray | None = None,
) -> Deviation:
    """Return how far the cut surface of one side lies from the target, per cell, both ways.

    field: what is left.  envelopes: of the target on the same lattice.  grid: the target's triangles.
    side: 1 or 2.  threshold mm: cells with a smaller vertical difference keep it as their normal one;
    the distance to a surface seen from the same side is never more than the vertical one, where wood is left.
    allowance (2, ny, nx) mm: the least and the most left on purpose about each cell, None for nothing;
    `normal` and `most` then count from the surface that stands so far proud (`vertical` does not), and
    every cell is measured.

    Two distances are measured at each other cell, and the larger one counts:
    cut -> target, exact to rounding: leftover from the cut point to the nearest triangle, a gouge to the
    triangles that face this side or are vertical (the surface it entered through); through lips and
    beside walls that lean over what is gone there counts, see `overhang` (which walls are bare is known to
    a cell);
    target -> cut, from the target point under or over the cell centre to the nearest material (gouge)
    or the nearest air (leftover), over columns between the samples.  On flats both ends of its range
    agree; at a step they differ by up to 2.9 cells (a cell diagonal on each side), because the step
    may lie anywhere between two samples; on a slope the first distance is the larger, and exact.
    The range supposes that between four samples the surface keeps between their lowest and highest: a
    scratch or rib narrower than a cell does not show.
    A column that is empty counts as a gouge of the side that cut it; its other side reads 0 there.  Where
    that side alone cut right through the part, the nearest material is looked for up to AWAY (both_ways.py).
    Source: profile of a surface, ISO 1101; own derivation; twin in tests/compare.
    """
    _check(field, envelopes, side)
    vertical = _vertical(field, envelopes, side)
    threshold = threshold if allowance is None else ALWAYS
    flat = np.flatnonzero((np.abs(vertical) > threshold) | (is_gone(field, envelopes, side) & (vertical < 0)))
    lattice = field.lattice
    normal = vertical.astype(np.float32)
    if allowance is not None:
        near = vertical.ravel(), allowance.reshape(2, -1), _is_free(field, side).ravel()
        normal = shifted(*near).reshape(vertical.shape).astype(np.float32)
    most = normal.copy()
    if len(flat):
        least, upmost = two_way(
            flat,
            field,
            envelopes,
            grid,
            side,
            vertical.ravel()[flat],
            (CutSurface(field, side),),
            None if allowance is None else allowance.reshape(2, -1)[:, flat],
        )
        normal.ravel()[flat] = least
        most.ravel()[flat] = upmost
    return Deviation(side, lattice, vertical.astype(np.float32), normal, most, threshold)


def _check(field: Field, envelopes: Envelopes, side: int) -> None:
    if side not in (1, 2):
        raise ShapeError(f"side must be 1 or 2, not {side}")
    if field.lattice != envelopes.lattice:
        raise ShapeError("field and envelopes stand on different lattices")


def _vertical(field: Field, envelopes: Envelopes, side: int) -> np.ndarray:
    """Return cut minus target along the side's axis, mm (ny, nx) float64, NaN outside the outline."""
    if side == 1:
        vertical = field.upper.astype(np.float64) - envelopes.upper
    else:
        vertical = envelopes.lower - field.lower.astype(np.float64)
    vertical[~field.is_solid & (vertical > 0)] = 0.0  # nothing is left there to stand proud
    return vertical


def two_way(
    flat: np.ndarray,
    field: Field,
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    vertical: np.ndarray,
    surfaces: tuple[CutSurface, ...],
    allowance: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Return the signed two-way distance at chosen cells, its least and its most, mm (k,) float64.

    flat (k,): row * nx + column of the cells.  field, envelopes, grid, side: as for `deviation`.
    vertical (k,) mm: at these cells, not NaN.  surfaces: the cut, in one or more finenesses.
    allowance (2, k) mm: least and most left on purpose at these cells, None for nothing.
    """
    both = BothWays(flat, field, envelopes, grid, side, vertical, surfaces, is_larger=allowance is None)
    rows = np.arange(len(flat))
    ends = []
    for is_least in (True, False):
        to_cut = both.to_cut(rows, is_least)
        if allowance is None:
            ends.append(np.copysign(np.maximum(both.to_target, to_cut), vertical))
            continue

        def to_air(rows, heights, within, is_least=is_least):
            for surface in surfaces:
                within = surface.distance(both.x[rows], both.y[rows], heights, within, False, is_least)
            return within

        is_free = _is_free(field, side).ravel()[flat]
        ends.append(
            shifted_both_ways(
                both.to_target, to_cut, vertical, allowance, is_free, both.points, grid, side, to_air
            )
        )
    return ends[0], ends[1]


def _is_free(field: Field, side: int) -> np.ndarray:
    """Return the cells whose surface on a side was never cut, or holds nothing (ny, nx) bool."""
    owner = field.upper_move if side == 1 else field.lower_move
    return (owner == UNCUT) | ~field.is_solid


@dataclass(frozen=True)
class BreakThrough:
    """Where nothing of the part is left in a column.

    mask (ny, nx) bool.  depth (ny, nx) float32 mm: thickness of the part that is gone, NaN elsewhere.
    """

    mask: np.ndarray
    depth: np.ndarray


def break_through(field: Field, envelopes: Envelopes) -> BreakThrough:
    """Return where the cut went right through the part.

    field, envelopes: on one lattice.  An outer wall shaved from the side empties columns too: a spot
    that touches the outline and reaches no farther in than SHAVED mm is a gouge, no break-through.
    The mask is exact at cell centres; depth to 1e-5 mm (float32).
    """
    from scipy import ndimage

    _check(field, envelopes, 1)
    left = np.minimum(field.upper, envelopes.upper) - np.maximum(field.lower, envelopes.lower)
    is_gone = ~(left > 0) & envelopes.is_part
    cell = field.lattice.cell
    inward = ndimage.distance_transform_edt(np.pad(envelopes.is_part, 1), sampling=cell)[1:-1, 1:-1]
    label, count = ndimage.label(is_gone, np.ones((3, 3)))
    mask = np.zeros_like(is_gone)
    if count:
        numbers = np.arange(1, count + 1)
        farthest = ndimage.maximum(inward, label, numbers)
        nearest = ndimage.minimum(inward, label, numbers)
        is_shaved = np.r_[True, (nearest <= cell) & (farthest <= SHAVED + cell)]
        mask = is_gone & ~is_shaved[label]
    depth = np.where(mask, envelopes.upper - envelopes.lower, np.nan).astype(np.float32)
    return BreakThrough(mask, depth)
