"""The target as seen from its two sides: heights at cell centres, and what neither side can see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.errors import ShapeError
from simkit.stock.field import Lattice
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid
from simkit.target.mesh import Target

VOID_NOISE = 1e-9  # mm: the rounding of summed crossings; less void than this is none


@dataclass(frozen=True)
class Envelopes:
    """The target's lower and upper envelope over a lattice.

    lower, upper (ny, nx) float64 mm, blank frame, NaN where the column misses the part.
    void (ny, nx) float64 mm: length of the column between them that is not part, hidden from both
    sides; 0 where the column misses the part.
    """

    lattice: Lattice
    lower: np.ndarray
    upper: np.ndarray
    void: np.ndarray

    @property
    def is_part(self) -> np.ndarray:
        """Cells whose column meets the part (ny, nx) bool."""
        return ~np.isnan(self.upper)

    def side(self, side: int) -> np.ndarray:
        """Return the surface that side 1 (upper) or side 2 (lower) sees, mm (ny, nx)."""
        return self.upper if side == 1 else self.lower


def envelopes(target: Target | TargetGrid, lattice: Lattice) -> Envelopes:
    """Return where the column through each cell centre enters and leaves the target.

    target: a closed mesh in the blank frame, or its grid (cheaper when asked for many windows).
    lattice: any lattice, coarse or a fine window.
    Error: exact to the triangles but for rounding, about 1e-12 mm times the slope of the triangle;
    a column within 1e-12 mm of a vertical wall may take either of its ends.  A column on an edge or
    vertex belongs to the side of greater x, then greater y.
    Source: half-open crossing rule of polygon filling (Foley, van Dam, Feiner, Hughes, Computer
    Graphics, 1990, chapter 3); twin in tests/target, and ray casts of a general mesh library.
    """
    from simkit.target.envelope_kernels import BAND, count_bands, cross_columns, fill_bands

    if lattice.nx < 1 or lattice.ny < 1:
        raise ShapeError(f"a lattice with cells, not {lattice.shape}")
    grid = target if isinstance(target, TargetGrid) else TargetGrid(target)
    x, y = lattice.x(), lattice.y()
    boxes, chosen = grid.boxes, grid.over(x[0], x[-1], y[0], y[-1])
    # One row more on each side than the arithmetic says: the kernel's own comparison decides.
    first = np.floor((boxes[chosen, 1] - y[0]) / lattice.cell).astype(np.int64) - 1
    last = np.ceil((boxes[chosen, 4] - y[0]) / lattice.cell).astype(np.int64) + 2
    first, last = np.clip(first, 0, lattice.ny), np.clip(last, 0, lattice.ny)
    bands = -(-lattice.ny // BAND)
    start = np.zeros(bands + 1, np.int64)
    np.cumsum(count_bands(first, last, bands, BAND), out=start[1:])
    items = fill_bands(first, last, start, BAND)
    lower = np.full(lattice.shape, np.inf)
    upper = np.full(lattice.shape, -np.inf)
    wood = np.zeros(lattice.shape)
    triangles = grid.target.triangles[chosen]
    columns = (grid.target.vertices, triangles, start, items, x, y, lattice.cell, BAND, lower, upper, wood)
    share_ranges(lambda a, b: cross_columns(a, b, *columns), bands, 8)
    is_missed = upper < lower
    lower[is_missed] = np.nan
    upper[is_missed] = np.nan
    void = np.where(is_missed, 0.0, upper - lower - wood)
    void[~(void > VOID_NOISE)] = 0.0
    return Envelopes(lattice, lower, upper, void)
