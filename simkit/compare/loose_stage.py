"""One setup on its way, and a piece that came free in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from simkit.compare.pieces import EDGE, Pieces, main_piece
from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.moves.table import Moves
from simkit.stock.cut import cut
from simkit.stock.field import Field

THICK = 0.95  # of the thickest column


@dataclass(frozen=True, slots=True)
class Loose:
    """A piece that came free.

    setup: index.  row: of the move that freed it, -1 when nothing held it from the start of the setup.
    volume mm3, size (x, y, z) mm, box (x low, y low, x high, y high) mm, at (x, y, z) mm: when it came
        free, blank frame; at: the top, as it lies, of a thick column near its middle.
    bound mm3: the volume may be off by that, see `_volume_bound`.
    is_part: it is the part, or one of them.  at_edge: it goes on to the blank's edge.
    is_skin: no more than a skin still holds it.
    touched: row of the first later move that takes wood off it or runs neck, shank or holder into it, -1
        for none; contact: with what, "" for none; depth mm: how deep at most; touches: how many moves.
    grazed: row of the first later move that runs along it within a cell, -1 for none.
    """

    setup: int
    row: int
    volume: float
    size: tuple[float, float, float]
    box: tuple[float, float, float, float]
    at: tuple[float, float, float]
    is_part: bool
    at_edge: bool
    is_skin: bool = False
    touched: int = -1
    contact: str = ""
    depth: float = 0.0
    touches: int = 0
    grazed: int = -1
    bound: float = 0.0


@dataclass
class Stage:
    """One setup on its way: moves, from row `first` on; is_anchor (ny, nx) bool: cells of what is held.

    is_anchor is None where the job does not say; then the main piece is what is held.
    """

    index: int
    field: Field
    moves: Moves
    first: int
    frame: Frame
    cutters: Mapping[int, Cutter]
    is_anchor: np.ndarray | None
    is_part: np.ndarray | None
    prefers_part: bool
    skin: float

    def after(self, field: Field, first: int, last: int) -> Field:
        """Return a field after moves first to last of the setup, the last left out."""
        row = self.first + first
        return cut(field, self.moves[first:last], self.cutters, self.frame, first_row=row).field

    def free(self, field: Field, pieces: Pieces) -> tuple[np.ndarray, np.ndarray]:
        """Return which pieces nothing holds, bool (count + 1,), and the cells of what is held."""
        cells = self.is_anchor
        if cells is None:
            main = main_piece(field, pieces, self.is_part, self.prefers_part)
            cells = (pieces.label == main) & (pieces.label > 0)
        is_free = ~pieces.at(cells)
        is_free[0] = False
        return is_free, cells


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of one piece, kept small: a window of the lattice, and which of its cells they are."""

    window: tuple[slice, slice]
    inside: np.ndarray

    @classmethod
    def of(cls, mask: np.ndarray) -> Columns:
        """Return the columns of a mask (ny, nx) bool that is not empty."""
        rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
        window = (slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1))
        return cls(window, mask[window].copy())

    def hold(self, cell: tuple[int, int]) -> bool:
        """Return whether a cell (iy, ix) is among them."""
        (rows, columns), (iy, ix) = self.window, cell
        is_in = rows.start <= iy < rows.stop and columns.start <= ix < columns.stop
        return is_in and bool(self.inside[iy - rows.start, ix - columns.start])

    def mask(self, shape: tuple[int, int]) -> np.ndarray:
        """Return them as a mask of the whole lattice, bool `shape`."""
        mask = np.zeros(shape, bool)
        mask[self.window] = self.inside
        return mask


def described(stage: Stage, field: Field, mask: np.ndarray, move: int) -> Loose:
    """Return what can be said of a piece, mask (ny, nx) bool, as it comes free at a move of the setup."""
    lattice = field.lattice
    iy, ix = np.nonzero(mask)
    low, high = field.lower[mask].astype(np.float64), field.upper[mask].astype(np.float64)
    # Of its thickest columns, give or take a little, the one nearest to its middle: a mark stands best there.
    away = np.hypot(iy - iy.mean(), ix - ix.mean())
    middle = int(np.argmin(np.where(high - low >= THICK * (high - low).max(), away, np.inf)))
    (x0, y0), cell = lattice.origin, lattice.cell
    box = (x0 + ix.min() * cell, y0 + iy.min() * cell, x0 + (ix.max() + 1) * cell, y0 + (iy.max() + 1) * cell)
    y, x = lattice.y()[iy[middle]], lattice.x()[ix[middle]]
    top = high[middle] if stage.frame.up > 0 else low[middle]
    at_edge = (mask & field.rim(EDGE)).any()
    mine = 0 if stage.is_part is None else np.count_nonzero(mask & stage.is_part)
    return Loose(
        stage.index,
        -1 if move < 0 else stage.first + move,
        float((high - low).sum()) * cell**2,
        (float(box[2] - box[0]), float(box[3] - box[1]), float(high.max() - low.min())),
        tuple(float(value) for value in box),
        (float(x), float(y), float(top)),
        bool(mine and mine * 2 >= min(len(iy), np.count_nonzero(stage.is_part))),
        bool(at_edge),
        bound=_volume_bound(field, mask),
    )


def _volume_bound(field: Field, mask: np.ndarray) -> float:
    """Return by how much the volume of a piece, mask (ny, nx) bool, may be off, mm3.

    Half a cell along its rim and along walls in it, each as high as the columns beside it differ; what is
    less steep than 45 degrees is as its middles have it.
    """
    thick = np.pad(np.where(mask, field.upper.astype(np.float64) - field.lower, 0.0), 1)
    steps = [np.abs(np.diff(thick, axis=axis)) for axis in (0, 1)]
    cell = field.lattice.cell
    return sum(float(one[one > cell].sum()) for one in steps) * cell**2 / 2.0


def without(field: Field, gone: np.ndarray) -> Field:
    """Return the field without the wood of some cells."""
    if not gone.any():
        return field
    return replace(field, upper=np.where(gone, field.lower, field.upper))
