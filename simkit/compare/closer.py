"""A closer look: the peak of a spot on finer and finer cells, with a bound."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from simkit.compare.both_ways import AWAY
from simkit.compare.deviation import CutSurface, _vertical, two_way
from simkit.compare.worst import MIDDLE, worst_two_way
from simkit.errors import ShapeError
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import Envelopes, envelopes
from simkit.target.grid import UPRIGHT, TargetGrid

FINEST = 0.01  # mm: half the diagonal of the finest cells
DIVIDE = 4  # each look divides the cells by this
FIRST = 16  # and the first look where what lies there may be narrower than a part of a cell
ROOM = 3  # cells about the worst one that a look measures
LARGEST_ROOM = 64  # cells about it that a look cuts again
SAME_SHEET = 6.0  # neighbouring points steeper than this (about 80 degrees) lie on different faces
SAME = 1e-6  # mm
TIE = 1e-4  # mm: peaks as high as this lower, or as half a diagonal if less, count as the same peak


@dataclass(frozen=True, slots=True)
class Look:
    """The peak of a deviation after a closer look.

    value mm: + leftover, - gouge, 0 when nothing of that kind is there after all.
    bound mm: the peak near that place lies within value +- bound.
    certain mm: no less than this was measured there, whatever lies between the samples.
    at (x, y, z) mm, blank frame: on the cut surface.  cell mm: edge of the finest cells.
    is_surface: the value is the distance from the cut to the target, not that from the target to the cut.
    """

    value: float
    bound: float
    at: tuple[float, float, float]
    cell: float
    certain: float = 0.0
    is_surface: bool = False


@dataclass(frozen=True, slots=True)
class _Seen:
    """The outermost samples of a part of a field, where more lie beyond: lowest and highest x and y."""

    x: tuple[float, float]
    y: tuple[float, float]

    @classmethod
    def of(cls, part: Lattice, whole: Lattice | None = None) -> _Seen:
        """Return it for a part of a lattice: at infinity where that ends, too."""
        ends = []
        for axis, count in enumerate((part.nx, part.ny)):
            low, high = (part.origin[axis] + k * part.cell for k in (0.5, count - 0.5))
            if whole is not None:
                first = round((part.origin[axis] - whole.origin[axis]) / whole.cell)
                is_last = first + count >= (whole.nx, whole.ny)[axis]
                low, high = low if first > 0 else -math.inf, math.inf if is_last else high
            ends.append((low, high))
        return cls(*ends)

    def tells(self, x: float, y: float) -> float:
        """Return how far from a place a face beside the part is at least, mm."""
        return min(x - self.x[0], self.x[1] - x, y - self.y[0], self.y[1] - y)


def closer_look(
    recut: Callable[[Lattice], Field],
    field: Field,
    grid: TargetGrid,
    side: int,
    cell: tuple[int, int],
    is_gouge: bool,
    finest: float = FINEST,
    allowance: Callable[[Lattice], np.ndarray | None] | None = None,
    counts: Callable[[Lattice], np.ndarray] | None = None,
    place: tuple[float, float] | None = None,
    is_narrow: bool = False,
) -> Look:
    """Return the peak deviation near a cell, evaluated on finer and finer cells around it.

    recut(lattice): the field of the same job on another lattice, exact at its cell centres.
    field: the one that was judged.  grid: the target.  side: 1 or 2.  cell (iy, ix) of `field`: the
    worst of a spot.  is_gouge: look for the deepest gouge, else for the highest leftover.
    finest mm: stop when half the diagonal of a cell is at most this.
    allowance(lattice): what is left on purpose, as for `deviation`.  counts(lattice): the cells that
    count (ny, nx) bool, all when None; the peak is looked for among these.  place (x, y) mm: in that
    cell; the peak is looked for there and not beside it.

    Each look cuts and rasterises again, on cells of a quarter, as far about the worst cell as the
    measured distance reaches (at most 64 cells), and measures as `deviation` does over three cells
    about it, with the coarser field standing in farther out.  No value stands whose nearest face could lie
    beside the part of the field that is looked at: as much more of it is taken as that asks for.
    The bound adds half the diagonal of the finest cell, the largest change to a neighbour on the same
    faces of cut and target, and half the range of the two-way distance: each of the two distances
    changes by at most the distance moved along its surface, so what the peak does between
    neighbouring samples of one face lies within it.  Of a distance from the target to the cut that is half
    the diagonal along the steepest face there: neighbours on the two sides of a knife's edge tell nothing
    of it.  The bound holds for the peak at this place; it says nothing about another, narrower spot
    elsewhere between the coarse cells.
    """
    if side not in (1, 2):
        raise ShapeError(f"side must be 1 or 2, not {side}")
    told = (recut, grid, side, is_gouge, finest, allowance, counts, place, is_narrow)
    reach = 0.0  # beside an upright wall the cell itself may be off by nothing
    while True:
        part = cropped(field, grid, side, cell, reach)
        seen = _Seen.of(part[0].lattice, field.lattice)
        look = _look_within(*part, seen, *told)
        if isinstance(look, Look):
            return look
        reach = min(look, 2 * max(reach, part[2], 2 * ROOM * field.lattice.cell))


def _look_within(
    field: Field,
    cell: tuple[int, int],
    distance: float,
    seen: _Seen,
    recut,
    grid: TargetGrid,
    side: int,
    is_gouge: bool,
    finest: float,
    allowance,
    counts,
    place,
    is_narrow: bool,
) -> Look | float:
    """Return a closer look in a part of a field; where a nearer face may lie beside it, how far it tells, mm.

    As for `closer_look`.  cell: in that part.  distance mm: how far off a face may be.  seen: of the part.
    """
    surfaces: list[CutSurface] = []
    divide = DIVIDE if place is None and not is_narrow else FIRST
    while True:
        room = _room(distance, field.lattice.cell)
        box = _box(cell, room, field.lattice)
        near = _box(cell, ROOM, field.lattice)
        near = tuple((k - box[i // 2 * 2]) * divide for i, k in enumerate(near))
        surfaces.append(CutSurface(field, side, box))
        field = recut(field.lattice.window(*box, divide=divide))
        if place is not None:
            at_place = _box(tuple(int(k) for k in field.lattice.cell_at(*place)), ROOM, field.lattice)
            # A place of a cell that counts may lie beyond the border of what counts.
            if counts is None or counts(field.lattice.window(*at_place)).any():
                near = at_place
            place = None
        divide = DIVIDE
        part = _window(field, near)
        around = envelopes(grid, part.lattice)
        is_near = np.ones(part.lattice.shape, bool) if counts is None else counts(part.lattice)
        if not is_near.any():  # of a strip narrower than a cell the middle of the worst cell counted
            is_near[tuple(n // 2 for n in is_near.shape)] = True
        left = None if allowance is None else allowance(part.lattice)
        every = (*surfaces, CutSurface(field, side))
        half_diagonal = field.lattice.cell / math.sqrt(2.0)
        if left is None:
            ends = _worst_ends(part, around, grid, side, is_near, every, is_gouge, half_diagonal <= finest)
        else:
            ends = measured(part, around, grid, side, is_near, every, left)
        size = _size(ends, is_gouge)
        peak = tuple(int(k) for k in np.unravel_index(np.argmax(size + 1e-12 * is_near), size.shape))
        if np.isnan(ends[1][peak]):  # nothing of the kind that is looked for: how far off is it then?
            _fill(
                ends,
                np.arange(size.size).reshape(size.shape) == np.ravel_multi_index(peak, size.shape),
                part,
                around,
                grid,
                side,
                every,
            )
        least, most = ends
        distance = float(np.nan_to_num(np.abs(most[peak]))) + (0.0 if left is None else float(left.max()))
        if size[peak] > 0 and distance > seen.tells(*part.lattice.centre_of(*peak)):
            return distance
        if (
            len(surfaces) == 1
            and abs(most[peak] - least[peak]) > finest
            and distance > _Seen.of(field.lattice).tells(*part.lattice.centre_of(*peak))
            and _room(distance, surfaces[0].lattice.cell) > room
        ):
            return distance  # its nearest face lies beside the finer cells
        cell = (peak[0] + near[0], peak[1] + near[2])
        if half_diagonal <= finest:
            break
    peak, change = _peak(size, is_near, part, around, side)
    gap = 0.0 if size[peak] == 0 else abs(float(most[peak] - least[peak])) / 2  # half its range
    x, y = part.lattice.centre_of(*peak)
    z = float((part.upper if side == 1 else part.lower)[peak])
    value = float(-size[peak] if is_gouge else size[peak]) + 0.0
    at = (float(x), float(y), z)
    off = float(grid.distance(np.array([at]), side if is_gouge else 0)[0])
    if left is not None:
        off += float(left[0][peak]) if is_gouge else -float(left[1][peak])
    is_surface = abs(off - abs(value)) <= gap + SAME
    bound = half_diagonal + change + gap
    if not is_surface:
        bound = max(bound, half_diagonal * _stretch(grid, side, at, field.lattice.cell) + gap)
    return Look(value, bound, at, field.lattice.cell, max(abs(value) - gap, 0.0), is_surface)


def _room(distance: float, cell: float) -> int:
    """Return how many cells about the worst one a look cuts again for faces as far off as a distance, mm."""
    return min(math.ceil(distance / cell) + ROOM, LARGEST_ROOM)


def _stretch(grid: TargetGrid, side: int, at, cell: float) -> float:
    """Return how much longer than in plan a way over the target is, on the steepest of its faces in a cell.

    at (x, y, ...) mm: its middle.  Faces less than a degree out of plumb count as upright, and not at all.
    """
    _, boxes, slopes, *_ = grid.faces(side)
    e = cell / 2
    x, y = at[:2]
    is_here = (
        (boxes[:, 0] <= x + e) & (boxes[:, 3] >= x - e) & (boxes[:, 1] <= y + e) & (boxes[:, 4] >= y - e)
    )
    steep2 = (slopes[is_here, :2] ** 2).sum(axis=1)
    steep2 = steep2[(slopes[is_here, 2] != 0.0) & (steep2 < UPRIGHT**-2)]
    return math.sqrt(1.0 + float(steep2.max(initial=0.0)))


def _size(ends: Sequence[np.ndarray], is_gouge: bool) -> np.ndarray:
    """Return the size of the deviation of one kind, midway between its ends, mm (ny, nx); 0 if not known."""
    middle = (ends[0] + ends[1]) / 2
    return np.where(np.isnan(middle), 0.0, np.maximum(-middle if is_gouge else middle, 0.0))


def _worst_ends(
    field: Field,
    around: Envelopes,
    grid: TargetGrid,
    side: int,
    is_near: np.ndarray,
    surfaces: tuple[CutSurface, ...],
    is_gouge: bool,
    is_last: bool,
) -> tuple[np.ndarray, np.ndarray]:
    """Return what `measured` does, at the near cells that may be the peak; is_last: and beside these."""
    vertical = np.where(is_near, _vertical(field, around, side), np.nan)
    flat = np.flatnonzero(vertical < 0 if is_gouge else vertical > 0)
    found = worst_two_way(
        flat,
        field,
        around,
        grid,
        side,
        vertical.ravel()[flat],
        surfaces,
        np.zeros(len(flat), np.int64),
        MIDDLE,
    )
    ends = tuple(np.full(vertical.shape, np.nan) for _ in range(2))
    for end, values in zip(ends, found, strict=True):
        end.ravel()[flat] = values
    if is_last:
        size = _size(ends, is_gouge)
        is_peak = (size >= size.max() - _tie(field.lattice.cell)) & is_near
        beside = ndimage.binary_dilation(is_peak, np.ones((3, 3)))
        is_kind = vertical < 0 if is_gouge else vertical > 0
        _fill(ends, beside & is_kind & np.isnan(ends[0]), field, around, grid, side, surfaces)
    return ends


def _tie(cell: float) -> float:
    """Return by how much less peaks on cells of such an edge, mm, count as the same peak, mm."""
    return min(TIE, cell / math.sqrt(2.0))


def _fill(ends, is_asked, field, around, grid, side, surfaces) -> None:
    """Put into both ends what `measured` tells of the asked cells."""
    for end, values in zip(ends, measured(field, around, grid, side, is_asked, surfaces), strict=True):
        end[is_asked] = values[is_asked]


def cropped(
    field: Field, grid: TargetGrid, side: int, cell: tuple[int, int], reach: float = 0.0
) -> tuple[Field, tuple[int, int], float]:
    """Return as much of a field as matters about a cell, the cell's place in it, and its deviation, mm.

    reach mm: how far off faces beside the cell count; told as the deviation where that is less.
    """
    iy, ix = cell
    one = field.lattice.window(iy, iy + 1, ix, ix + 1)
    around = envelopes(grid, one)
    vertical = _vertical(_window(field, (iy, iy + 1, ix, ix + 1)), around, side)
    size = float(np.nan_to_num(np.abs(vertical[0, 0])))
    if not field.is_solid[iy, ix]:
        size = max(size, AWAY)
    room = math.ceil(max(size, reach) / field.lattice.cell) + 2 * ROOM  # nothing farther counts at the cell
    box = _box(cell, room, field.lattice)
    field = _window(field, box)
    cell = (iy - box[0], ix - box[2])
    is_near = np.zeros(field.lattice.shape, dtype=bool)
    is_near[cell] = True
    _, most = measured(field, envelopes(grid, field.lattice), grid, side, is_near, (CutSurface(field, side),))
    return field, cell, max(float(np.nan_to_num(np.abs(most[cell]))), reach)


def _window(field: Field, box: tuple[int, int, int, int]) -> Field:
    """Return the cells of a field inside a box."""
    cells = (slice(box[0], box[1]), slice(box[2], box[3]))
    arrays = (field.lower, field.upper, field.lower_move, field.upper_move)
    return Field(field.lattice.window(*box), *(array[cells] for array in arrays))


def _box(cell: tuple[int, int], room: int, lattice: Lattice) -> tuple[int, int, int, int]:
    """Return the rows and columns within `room` cells of a cell (iy0, iy1, ix0, ix1), clipped."""
    iy, ix = cell
    return (
        max(iy - room, 0),
        min(iy + room + 1, lattice.ny),
        max(ix - room, 0),
        min(ix + room + 1, lattice.nx),
    )


def measured(
    field: Field,
    around: Envelopes,
    grid: TargetGrid,
    side: int,
    is_near: np.ndarray,
    surfaces: tuple[CutSurface, ...],
    allowance: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Return least and most of the two-way distance at the near cells, else NaN, mm (ny, nx)."""
    vertical = np.where(is_near, _vertical(field, around, side), np.nan)
    flat = np.flatnonzero(~np.isnan(vertical))
    left = None if allowance is None else allowance.reshape(2, -1)[:, flat]
    ends = two_way(flat, field, around, grid, side, vertical.ravel()[flat], surfaces, left)
    arrays = []
    for end in ends:
        array = np.full(vertical.size, np.nan)
        array[flat] = end
        arrays.append(array.reshape(vertical.shape))
    return arrays[0], arrays[1]


def _peak(
    size: np.ndarray, is_near: np.ndarray, field: Field, around: Envelopes, side: int
) -> tuple[tuple[int, int], float]:
    """Return the cell of the peak, and the largest change of size to a neighbour on the same faces.

    Among cells that tie, the one with the smallest change counts.
    """
    cut = (field.upper if side == 1 else field.lower).astype(np.float64)
    target = around.side(side)
    steepest = SAME_SHEET * field.lattice.cell
    iy, ix = np.nonzero((size >= size.max() - _tie(field.lattice.cell)) & is_near)
    change = np.zeros(len(iy))
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            y, x = iy + down, ix + right
            rows = np.flatnonzero((y >= 0) & (y < size.shape[0]) & (x >= 0) & (x < size.shape[1]))
            here, there = (iy[rows], ix[rows]), (y[rows], x[rows])
            is_same = (
                is_near[there]
                & (np.abs(cut[there] - cut[here]) <= steepest)
                & (np.abs(target[there] - target[here]) <= steepest)
            )
            change[rows] = np.maximum(change[rows], np.where(is_same, np.abs(size[there] - size[here]), 0.0))
    best = int(np.argmin(change))
    return (int(iy[best]), int(ix[best])), float(change[best])
