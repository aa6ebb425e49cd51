"""The field: per cell the lower and the upper surface of what is left, in the blank frame."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

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
    """

    lattice: Lattice
    lower: np.ndarray
    upper: np.ndarray
    lower_move: np.ndarray
    upper_move: np.ndarray

    @property
    def is_solid(self) -> np.ndarray:
        """Cells that still hold material (ny, nx) bool."""
        return self.upper > self.lower

    def copy(self) -> Field:
        """Return a field with arrays of its own."""
        return Field(
            self.lattice,
            self.lower.copy(),
            self.upper.copy(),
            self.lower_move.copy(),
            self.upper_move.copy(),
        )


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
