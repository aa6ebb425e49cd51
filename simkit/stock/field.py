"""The field: per cell the lower and the upper surface of what is left, in the blank frame."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simkit.errors import ShapeError

UNCUT = -1  # in upper_move and lower_move: no move has cut this cell from that side


@dataclass(frozen=True, slots=True)
class Lattice:
    """A regular grid of square cells; values stand at cell centres.

    origin (x, y) mm: outer corner of cell (0, 0).  cell: edge length mm.  nx, ny: cells along x, y.
    Arrays over a lattice have shape (ny, nx): row iy, column ix.
    The centre of cell (iy, ix) is origin + (ix + 0.5, iy + 0.5) * cell.
    """

    origin: tuple[float, float]
    cell: float
    nx: int
    ny: int

    @property
    def shape(self) -> tuple[int, int]:
        """(ny, nx), the shape of arrays over this lattice."""
        return self.ny, self.nx

    def x(self) -> np.ndarray:
        """Return the x of the cell centres, mm (nx,)."""
        return self.origin[0] + (np.arange(self.nx) + 0.5) * self.cell

    def y(self) -> np.ndarray:
        """Return the y of the cell centres, mm (ny,)."""
        return self.origin[1] + (np.arange(self.ny) + 0.5) * self.cell

    def centre_of(self, iy, ix) -> tuple:
        """Return x and y of the centres of the cells (iy, ix), mm."""
        return (
            self.origin[0] + (np.asarray(ix) + 0.5) * self.cell,
            self.origin[1] + (np.asarray(iy) + 0.5) * self.cell,
        )

    def cell_at(self, x, y) -> tuple:
        """Return (iy, ix) of the cells that hold the points, clipped to the lattice."""
        ix = np.clip(np.floor((np.asarray(x) - self.origin[0]) / self.cell), 0, self.nx - 1)
        iy = np.clip(np.floor((np.asarray(y) - self.origin[1]) / self.cell), 0, self.ny - 1)
        return iy.astype(np.int64), ix.astype(np.int64)

    def window(self, iy0: int, iy1: int, ix0: int, ix1: int, divide: int = 1) -> Lattice:
        """Return the lattice of cells [iy0, iy1) x [ix0, ix1), clipped, each divided `divide` times."""
        iy0, iy1 = max(iy0, 0), min(iy1, self.ny)
        ix0, ix1 = max(ix0, 0), min(ix1, self.nx)
        origin = (self.origin[0] + ix0 * self.cell, self.origin[1] + iy0 * self.cell)
        return Lattice(origin, self.cell / divide, (ix1 - ix0) * divide, (iy1 - iy0) * divide)


def blank_lattice(length: float, width: float, cell: float) -> Lattice:
    """Return the lattice that covers a blank of length x width mm with cells of `cell` mm."""
    # The slack keeps 280 / 0.2 from becoming 1401 cells by rounding.
    return Lattice((0.0, 0.0), cell, math.ceil(length / cell - 1e-6), math.ceil(width / cell - 1e-6))


@dataclass(frozen=True)
class Field:
    """What is left of the blank over a lattice, in the blank frame.

    lower, upper (ny, nx) float32 mm: the column holds material where lower < upper, else it is empty.
    lower_move, upper_move (ny, nx) int32: row of the job's table of moves that cut the surface
    there, the lowest row on ties, UNCUT where none did.
    wood_lower, wood_upper (ny, nx) float32 mm, None before the first pour: where in a column wood ends and
    resin begins.  Below wood_lower and above wood_upper what is left is resin; -inf and +inf where no resin
    was poured on that side.  Cuts leave them as they are.  Eight bytes a cell beside the other sixteen.
    sawn (x0, y0, x1, y1) mm: the box in plan to which the blank was sawn, None where it ends as it did first.
    """

    lattice: Lattice
    lower: np.ndarray
    upper: np.ndarray
    lower_move: np.ndarray
    upper_move: np.ndarray
    wood_lower: np.ndarray | None = None
    wood_upper: np.ndarray | None = None
    sawn: tuple[float, float, float, float] | None = None

    @property
    def is_solid(self) -> np.ndarray:
        """Cells that still hold material (ny, nx) bool."""
        return self.upper > self.lower

    def resin(self) -> np.ndarray:
        """Return how much of each column is resin, mm (ny, nx) float32."""
        depth = np.where(self.is_solid, self.upper - self.lower, np.float32(0))
        if self.wood_upper is None:
            return np.zeros_like(depth)
        wood = np.minimum(self.wood_upper, self.upper) - np.maximum(self.wood_lower, self.lower)
        return depth - np.clip(wood, np.float32(0), depth)

    def is_resin(self, side: int) -> np.ndarray:
        """Return the cells whose surface on a side, 1 or 2, is resin, bool (ny, nx)."""
        if self.wood_upper is None:
            return np.zeros(self.lattice.shape, bool)
        top, bottom = np.minimum(self.wood_upper, self.upper), np.maximum(self.wood_lower, self.lower)
        is_bare = top > bottom
        is_bare &= (top >= self.upper) if side == 1 else (bottom <= self.lower)
        return self.is_solid & ~is_bare

    def copy(self) -> Field:
        """Return a field with arrays of its own."""
        return Field(
            self.lattice,
            self.lower.copy(),
            self.upper.copy(),
            self.lower_move.copy(),
            self.upper_move.copy(),
            None if self.wood_lower is None else self.wood_lower.copy(),
            None if self.wood_upper is None else self.wood_upper.copy(),
            self.sawn,
        )

    def rim(self, room: float) -> np.ndarray:
        """Return the cells within `room` mm of the edge of lattice or sawn blank, bool (ny, nx)."""
        cells = max(1, round(room / self.lattice.cell))
        rim = np.ones(self.lattice.shape, bool)
        rim[cells:-cells, cells:-cells] = False
        if self.sawn is not None:
            far, (x0, y0, x1, y1) = cells * self.lattice.cell, self.sawn
            x, y = self.lattice.x(), self.lattice.y()[:, None]
            rim |= (x < x0 + far) | (x > x1 - far) | (y < y0 + far) | (y > y1 - far)
        return rim


def blank_field(lattice: Lattice, length: float, width: float, thickness: float) -> Field:
    """Return the field of a whole blank; cells whose centre lies outside it are empty.

    length, width, thickness mm.
    """
    is_inside = ((lattice.y() > 0) & (lattice.y() < width))[:, None] & (
        (lattice.x() > 0) & (lattice.x() < length)
    )
    upper = np.where(is_inside, np.float32(thickness), np.float32(0)).astype(np.float32)
    return Field(
        lattice,
        np.zeros(lattice.shape, np.float32),
        upper,
        np.full(lattice.shape, UNCUT, np.int32),
        np.full(lattice.shape, UNCUT, np.int32),
    )


def volume_of(depth: np.ndarray, lattice: Lattice) -> tuple[float, float]:
    """Return the volume of columns and how far it may be off, mm3.

    depth (ny, nx) float64 mm: of each column, at its cell's centre.  Where the depth runs between two
    neighbouring samples, taking the nearer one errs by at most half their difference over a cell: the bound
    adds these up along both axes.
    """
    area = lattice.cell**2
    change = sum(float(np.abs(np.diff(depth, axis=axis)).sum()) for axis in (0, 1))
    return float(depth.sum()) * area, change * area / 2


def is_inside(x: np.ndarray, y: np.ndarray, outline: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Return which places of a grid lie inside a closed polygon, bool (len(y), len(x)).

    x, y: rows of coordinates, mm.  outline: corners (x, y) mm.  A place is inside when a ray to the
    right crosses the outline an odd number of times (even-odd rule); edges own their lower ends.
    """
    if x.ndim != 1 or y.ndim != 1:
        raise ShapeError(f"x and y must be rows, not {x.shape} and {y.shape}")
    inside = np.zeros((len(y), len(x)), bool)
    corners = np.asarray(outline, float)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        rows = np.flatnonzero((y >= min(y0, y1)) & (y < max(y0, y1)))
        crossing = x0 + (y[rows] - y0) * ((x1 - x0) / (y1 - y0))
        inside[rows] ^= x < crossing[:, None]
    return inside
