"""A closer look: the peak of a spot on finer and finer cells, with a bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.compare.deviation import CutSurface, _vertical, two_way
from simkit.errors import ShapeError
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import Envelopes, envelopes
from simkit.target.grid import TargetGrid

FINEST = 0.01  # mm: half the diagonal of the finest cells
DIVIDE = 4  # each look divides the cells by this
ROOM = 3  # cells about the worst one that a look takes in
SAME_SHEET = 6.0  # neighbouring points steeper than this (about 80 degrees) lie on different faces
TIE = 1e-4  # mm: peaks as high as this lower count as the same peak


@dataclass(frozen=True, slots=True)
class Look:
    """The peak of a deviation after a closer look.

    value mm: + leftover, - gouge, 0 when nothing of that kind is there after all.
    bound mm: the peak near that place lies within value +- bound.
    at (x, y, z) mm, blank frame: on the cut surface.  cell mm: edge of the finest cells.
    """

    value: float
    bound: float
    at: tuple[float, float, float]
    cell: float


def closer_look(
    recut: Callable[[Lattice], Field],
    field: Field,
    grid: TargetGrid,
    side: int,
    cell: tuple[int, int],
    is_gouge: bool,
    finest: float = FINEST,
) -> Look:
    """Return the peak deviation near a cell, evaluated on finer and finer cells around it.

    recut(lattice): the field of the same job on another lattice, exact at its cell centres.
    field: the one that was judged.  grid: the target.  side: 1 or 2.  cell (iy, ix) of `field`: the
    worst of a spot.  is_gouge: look for the lowest value, else for the highest.
    finest mm: stop when half the diagonal of a cell is at most this.

    Each look takes in three cells about the worst one, cuts and rasterises them again on cells of a
    quarter, and measures as `deviation` does, with the coarser field standing in farther out.
    The bound adds half the diagonal of the finest cell, the largest change to a neighbour on the same
    faces of cut and target, and half the range of the two-way distance: each of the two distances
    changes by at most the distance moved along its surface, so what the peak does between
    neighbouring samples of one face lies within it.  It holds for the peak at this place; it says
    nothing about another, narrower spot elsewhere between the coarse cells.
    """
    if side not in (1, 2):
        raise ShapeError(f"side must be 1 or 2, not {side}")
    surfaces: list[CutSurface] = []
    while True:
        lattice = field.lattice
        iy, ix = cell
        box = (
            max(iy - ROOM, 0),
            min(iy + ROOM + 1, lattice.ny),
            max(ix - ROOM, 0),
            min(ix + ROOM + 1, lattice.nx),
        )
        surfaces.append(CutSurface(field, side, box))
        field = recut(lattice.window(*box, divide=DIVIDE))
        around = envelopes(grid, field.lattice)
        least, most = _measured(field, around, grid, side, (*surfaces, CutSurface(field, side)))
        middle = (least + most) / 2
        size = np.where(np.isnan(middle), 0.0, np.maximum(-middle if is_gouge else middle, 0.0))
        cell = tuple(int(k) for k in np.unravel_index(np.argmax(size), size.shape))
        half_diagonal = field.lattice.cell / np.sqrt(2.0)
        if half_diagonal <= finest:
            break
    cell, change = _peak(size, field, around, side)
    gap = 0.0 if size[cell] == 0 else abs(float(most[cell] - least[cell])) / 2
    x, y = field.lattice.centre_of(*cell)
    z = float((field.upper if side == 1 else field.lower)[cell])
    value = float(-size[cell] if is_gouge else size[cell]) + 0.0
    return Look(value, half_diagonal + change + gap, (float(x), float(y), z), field.lattice.cell)


def _measured(
    field: Field, around: Envelopes, grid: TargetGrid, side: int, surfaces: tuple[CutSurface, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Return least and most of the two-way distance at every cell (ny, nx), NaN outside the outline."""
    vertical = _vertical(field, around, side)
    flat = np.flatnonzero(~np.isnan(vertical))
    ends = two_way(flat, field, around, grid, side, vertical.ravel()[flat], surfaces)
    arrays = []
    for end in ends:
        array = np.full(vertical.size, np.nan)
        array[flat] = end
        arrays.append(array.reshape(vertical.shape))
    return arrays[0], arrays[1]


def _peak(size: np.ndarray, field: Field, around: Envelopes, side: int) -> tuple[tuple[int, int], float]:
    """Return the cell of the peak, and the largest change of size to a neighbour on the same faces.

    Among cells that tie, the one with the smallest change counts.
    """
    cut = (field.upper if side == 1 else field.lower).astype(np.float64)
    target = around.side(side)
    steepest = SAME_SHEET * field.lattice.cell
    ny, nx = size.shape
    best = None
    for iy, ix in np.argwhere(size >= size.max() - TIE):
        near = (slice(max(iy - 1, 0), min(iy + 2, ny)), slice(max(ix - 1, 0), min(ix + 2, nx)))
        is_same = (np.abs(cut[near] - cut[iy, ix]) <= steepest) & (
            np.abs(target[near] - target[iy, ix]) <= steepest
        )
        change = float(np.abs(size[near] - size[iy, ix])[is_same].max(initial=0.0))
        if best is None or change < best[1]:
            best = ((int(iy), int(ix)), change)
    return best
