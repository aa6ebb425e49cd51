"""Between the cell centres: where no sample shows it, may a cut lie deeper in the part than its limit?

Squares of many cells are proved free of it at once, by a plane: the sweep of a convex cutter along a line
lies nowhere below its tangent plane, the target nowhere above its triangles.  What is not proved is halved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from simkit._jit import pointer
from simkit.compare.overhang import removed_below
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import LINE, Moves, make_moves
from simkit.stock.cut import MOST_MOVES, Packed, cell_heights_pointer, cut_heights
from simkit.stock.field import Lattice
from simkit.stock.height_kernels import CELL_HEIGHTS
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid

LEVELS = 3  # halvings from a block to a cell
BUCKET = 2  # blocks along the edge of a bucket of moves
FLOOR = 0.01  # mm: squares of a smaller half edge are not halved again
ANY_TOP = 1e9  # mm: no move is left out for its height


class Sweeps:
    """The moves that cut one side, packed and in buckets over a lattice.

    parts: moves and frame (program -> blank) of each setup that cuts from this side.
    """

    def __init__(
        self, parts: Sequence[tuple[Moves, Frame]], cutters: Mapping[int, Cutter], lattice: Lattice, side: int
    ):
        self.parts, self.cutters, self.side = parts, cutters, side
        self.bucket = BUCKET * (1 << LEVELS) * lattice.cell
        self.origin = lattice.origin
        self.shape = tuple(-(-n // (BUCKET << LEVELS)) for n in lattice.shape)
        x0, y0 = lattice.origin
        view = np.array([x0, x0 + self.shape[1] * self.bucket, y0, y0 + self.shape[0] * self.bucket, ANY_TOP])
        tops = np.full(self.shape, np.inf, np.float32)
        self.heights_pointer = None
        self.packs = []
        for moves, frame in parts:
            for first in range(0, len(moves), MOST_MOVES):
                packed = Packed(moves[first : first + MOST_MOVES], cutters, frame, view, 0, first)
                self.packs.append((packed, *packed.bins(x0, y0, self.bucket, tops)))

    def lowest(self, x, y, half, below, levels: int, grid: TargetGrid) -> np.ndarray:
        """Return for parts of squares where a sweep may lie deeper than `below`: how low it may, mm.

        x, y, half (k,) mm: squares, each inside one bucket.  below (k, n, n) mm, n = 2^levels: for each
        part; +inf: not asked.  Returns (k, n, n) float64: a height that no such sweep lies below, along the
        side's axis; NaN where none is deeper.
        """
        from simkit.compare.between_kernels import lower_squares

        sign = 1.0 if self.side == 1 else -1.0
        corners, boxes = grid.ordered
        corners = corners * np.array([1.0, 1.0, sign])
        bins = grid.bins(self.side)
        heights = self.heights_pointer or cell_heights_pointer()
        low = np.full(below.shape, np.nan)
        for packed, starts, entries in self.packs:
            if not len(entries):
                continue
            found = np.empty(below.shape)
            busy = np.zeros(len(x), np.int64)
            search = (
                x, y, half, below, levels, corners, boxes, bins[:5], bins[5], bins[6], *self.origin, self.bucket,
                self.shape[1], starts, entries, packed.codes, packed.records, heights, found, busy,
            )  # fmt: skip
            share_ranges(lambda a, b, s=search: lower_squares(a, b, *s), len(x), 16)
            low = np.fmin(low, found)
        return low

    def heights(self, points: np.ndarray) -> np.ndarray:
        """Return the cut along the side's axis at points (k, 2), mm (k,) float64; +inf where none cuts."""
        sign = 1.0 if self.side == 1 else -1.0
        found = np.full(len(points), sign * ANY_TOP)
        for moves, frame in self.parts:
            found, _ = cut_heights(points, moves, self.cutters, frame, found)
        return np.where(np.abs(found) < ANY_TOP, sign * found, np.inf)


def unproved_gouges(
    sweeps: Sweeps, grid: TargetGrid, lattice: Lattice, deepest: np.ndarray, is_asked: np.ndarray
) -> np.ndarray:
    """Return the cells over which a cut may lie deeper in the target than it may, bool (ny, nx).

    sweeps: of one side.  deepest (ny, nx) mm: how deep a cut may lie, along the normal; negative where
    it must stay proud.  is_asked (ny, nx): the cells to prove.
    All other asked cells are proved: nowhere over them, between their centres or not, does any move reach
    deeper than `deepest`.  A cell is returned when a place in it was found to be deeper, or when squares
    of half edge FLOOR do not settle it: those may be less deep by up to 2.5 such half edges.
    Proof by the vertical depth under the target's triangles, and by the distance at a square's middle, which
    changes by at most the distance moved (under lips of the target only as the middle shows it).
    Source: own derivation.
    """
    found = np.zeros(lattice.shape, bool)
    is_asked = is_asked & np.isfinite(deepest)
    ask = np.where(is_asked, np.where(deepest < 0, -np.inf, deepest), np.inf)
    n = 1 << LEVELS
    by, bx = (-(-k // n) for k in lattice.shape)
    padded = np.full((by * n, bx * n), np.inf)
    padded[: lattice.ny, : lattice.nx] = ask
    blocks = padded.reshape(by, n, bx, n).swapaxes(1, 2).reshape(-1, n, n)
    chosen = np.flatnonzero((blocks < np.inf).any(axis=(1, 2)))
    if not len(chosen) or not sweeps.packs:
        return found
    edge = n * lattice.cell
    x = lattice.origin[0] + (chosen % bx + 0.5) * edge
    y = lattice.origin[1] + (chosen // bx + 0.5) * edge
    # Down to half a cell at first: coarser squares are seldom settled by the distance at their middle.
    below = blocks[chosen].repeat(2, axis=1).repeat(2, axis=2)
    low = sweeps.lowest(x, y, np.full(len(x), edge / 2), below, LEVELS + 1, grid)
    k, row, column = np.nonzero(~np.isnan(low))
    low, half = low[k, row, column], lattice.cell / 4
    iy, ix = chosen[k] // bx * n + row // 2, chosen[k] % bx * n + column // 2
    x, y = x[k] - edge / 2 + half * (2 * column + 1), y[k] - edge / 2 + half * (2 * row + 1)
    cell = iy * lattice.nx + ix
    may = deepest.ravel()
    while len(cell):
        is_left = _most_deep(x, y, low, may[cell], grid, sweeps.side) + half * np.sqrt(2.0) > may[cell]
        x, y, cell = x[is_left], y[is_left], cell[is_left]
        if half <= FLOOR:
            found.ravel()[cell] = True
            break
        exact = sweeps.heights(np.column_stack([x, y]))
        is_deep = _most_deep(x, y, exact, may[cell], grid, sweeps.side) > may[cell]
        found.ravel()[cell[is_deep]] = True
        is_left = ~found.ravel()[cell]
        x, y, cell = x[is_left], y[is_left], cell[is_left]
        if not len(cell):
            break
        below = np.repeat(np.where(may[cell] < 0, -np.inf, may[cell]), 4).reshape(-1, 2, 2)
        low = sweeps.lowest(x, y, np.full(len(x), half), below, 1, grid)
        half /= 2
        k, row, column = np.nonzero(~np.isnan(low))
        low = low[k, row, column]
        x, y, cell = x[k] + half * (2 * column - 1), y[k] + half * (2 * row - 1), cell[k]
    return found


def warm_up(grid: TargetGrid, lattice: Lattice) -> None:
    """Compile the search over squares without compiling a cut: any pointer of the right form serves."""
    moves = make_moves(kind=[LINE], rapid=[False], start=[[0, 0, 99]], end=[[1, 0, 99]], tool=[1])
    sweeps = Sweeps([(moves, IDENTITY)], {1: Cutter(1, "ball", 2.0)}, lattice, 1)
    sweeps.heights_pointer = pointer(_nothing, CELL_HEIGHTS)
    one = np.array([lattice.origin[0] + 1.0])
    sweeps.lowest(one, one, np.full(1, lattice.cell), np.zeros((1, 1, 1)), 0, grid)


def _nothing(code, a, places, n, g):
    """Stand in for cell_heights where no height is asked for."""


def _most_deep(x, y, heights, may, grid: TargetGrid, side: int) -> np.ndarray:
    """Return how deep places lie in the target, mm (k,); negative outside where `may` is, else 0 there.

    heights (k,): along the side's axis; below the part they count as its underside.
    """
    sign = 1.0 if side == 1 else -1.0
    lower, upper = grid.heights(np.column_stack([x, y]))
    top, bottom = (upper, lower) if side == 1 else (-lower, -upper)
    is_in = heights < top  # False beside the part
    depth = np.where(np.isnan(top) | (may >= 0), 0.0, -np.inf)
    at = np.column_stack([x, y, sign * np.where(is_in, np.maximum(heights, bottom), heights)])
    rows = np.flatnonzero(is_in)
    depth[rows] = grid.distance(at[rows], side)
    deep = rows[depth[rows] > np.maximum(may[rows], 0.0)]
    depth[deep] = removed_below(at[deep], depth[deep], grid, side)
    proud = np.flatnonzero(~is_in & (may < 0) & np.isfinite(at[:, 2]))
    depth[proud] = -grid.distance(at[proud])
    return depth
