"""The moves that cut one side, asked over squares: how low and how high do they leave it there?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from simkit.compare.overhang import CLOSE
from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.moves.table import Moves
from simkit.stock.cut import MOST_MOVES, Packed, cell_heights_pointer, cut_heights, packed_heights
from simkit.stock.field import Lattice
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid

LEVELS = 3  # halvings from a block to a cell
BUCKET = 2  # blocks along the edge of a bucket of moves
MOST_LEVELS = 5  # halvings from a larger square to small ones that are asked together
ANY_TOP = 1e9  # mm: no move is left out for its height
TILES = 4  # halvings from a bucket to the smallest tile whose moves are looked through for many squares
SAME = 1e-6  # share of a square: rounding
MANY = 6  # squares in a tile that are worth it


class Sweeps:
    """The moves that cut one side, packed and in buckets over a lattice.

    parts: moves, frame (program -> blank) and first row of each setup that cuts from this side; rows
    count as in the field's upper_move and lower_move.  start mm: the surface before the first cut, along the
    side's axis.
    """

    def __init__(
        self,
        parts: Sequence[tuple[Moves, Frame, int]],
        cutters: Mapping[int, Cutter],
        lattice: Lattice,
        side: int,
        start: float = ANY_TOP,
    ):
        self.parts, self.cutters, self.side, self.start = parts, cutters, side, start
        self.cell = lattice.cell
        self.bucket = BUCKET * (1 << LEVELS) * lattice.cell
        self.origin = lattice.origin
        self.shape = tuple(-(-n // (BUCKET << LEVELS)) for n in lattice.shape)
        x0, y0 = lattice.origin
        view = np.array([-np.inf, np.inf, -np.inf, np.inf, ANY_TOP])  # points may lie beside the lattice
        tops = np.full(self.shape, np.inf, np.float32)
        self.heights_pointer = None
        self.packs = []
        for moves, frame, first_row in parts:
            for first in range(0, len(moves), MOST_MOVES):
                packed = Packed(moves[first : first + MOST_MOVES], cutters, frame, view, 0, first)
                self.packs.append((packed, *packed.bins(x0, y0, self.bucket, tops), first_row + first))

    def lowest(self, x, y, half, below, levels: int, grid: TargetGrid) -> tuple[np.ndarray, np.ndarray]:
        """Return for parts of squares where a sweep may lie deeper than `below`: how low it may, mm.

        x, y, half (k,) mm: squares, each inside one bucket.  below (k, n, n) mm, n = 2^levels: for each
        part; +inf: not asked.  Returns (k, n, n) float64: a height that no such sweep lies below, along the
        side's axis; NaN where none is deeper; and the slopes (k, n, n, 2) of a plane that none lies below
        either, which touches that height at its lowest corner.
        """
        from simkit.compare.between_kernels import lower_squares

        low = slopes = None
        order, shared = self._by_tiles(x, y, half)
        least = float(below.min(initial=np.inf))
        for packed, starts, entries, _ in self.packs:
            if not len(entries):
                continue
            found, leans = np.empty(below.shape), np.zeros((*below.shape, 2))
            busy = np.zeros(len(x), np.int64)
            search = (
                x, y, half, below, levels, order, shared, least, *grid.faces(self.side), *self.origin,
                self.bucket, self.shape[1], starts, entries, packed.codes, packed.records, found, leans, busy,
            )  # fmt: skip
            share_ranges(lambda a, b, s=search: lower_squares(a, b, *s), len(x), 16)
            if low is None:
                low, slopes = found, leans
                continue
            low = np.fmin(low, found)
            is_found = ~np.isnan(found)
            slopes[is_found] = leans[is_found]  # of the target, so the same for all packs
        if low is None:
            low, slopes = np.full(below.shape, np.nan), np.zeros((*below.shape, 2))
        return low, slopes

    def _by_tiles(self, x, y, half) -> tuple[np.ndarray, np.ndarray]:
        """Return an order (k,) in which the squares of a tile follow each other, and halvings (k,).

        So often the bucket is halved to the smallest tile that holds it wholly and at least MANY squares.

        x, y, half (k,) mm: squares.  Of tiles no smaller than four squares side by side.
        """
        order, shared = np.arange(len(x)), np.zeros(len(x), np.int64)
        if len(x) < MANY:
            return order, shared
        widest = float(half.max())
        halvings = min(int(np.floor(np.log2(self.bucket / (8 * widest)) + SAME)), TILES)
        if halvings < 1:
            return order, shared

        def column_row(edge: float, aside: float):
            return tuple(
                np.floor((at + aside * half - low) / edge).astype(np.int64)
                for at, low in zip((x, y), self.origin, strict=True)
            )

        column, row = column_row(self.bucket / (1 << halvings), 0.0)
        key = _spread(column) | _spread(row) << 1
        order = np.argsort(key, kind="stable")
        key = key[order]
        for halving in range(1, halvings + 1):
            edge = self.bucket / (1 << halving)
            corners = column_row(edge, SAME - 1.0), column_row(edge, 1.0 - SAME)
            is_inside = (corners[0][0] == corners[1][0]) & (corners[0][1] == corners[1][1])
            tile = key >> 2 * (halvings - halving)
            edges = np.flatnonzero(np.r_[True, tile[1:] != tile[:-1], True])
            count = np.diff(edges)
            is_many = np.repeat(count >= MANY, count)
            shared[order[is_many & is_inside[order]]] = halving
        return order, shared

    def may_be_deeper(self, x, y, half: float, below, grid: TargetGrid) -> np.ndarray:
        """Return over which small squares a sweep may lie deeper than `below` under the target (k,) bool.

        x, y (k,), half mm: halves of cells, halves of these and so on.  below (k,) mm.  As `lowest`, which is
        asked for the squares together that lie in one larger one, so that few of a bucket's moves are left
        when it comes to them.
        """
        levels = min(round(np.log2(self.cell / (2 * half))), MOST_LEVELS)
        n = 1 << levels
        column, row = (
            np.rint((at - low) / (2 * half) - 0.5).astype(np.int64)
            for at, low in zip((x, y), self.origin, strict=True)
        )
        larger = (row >> levels << 32) + (column >> levels)
        key, which = np.unique(larger, return_inverse=True)
        first = np.zeros(len(key), np.int64)
        first[which] = np.arange(len(x))
        asked = np.full((len(key), n, n), np.inf)
        part = which, row & (n - 1), column & (n - 1)
        asked[part] = below
        middles = [
            at[first] + half * (n - 1 - 2.0 * (index[first] & (n - 1)))
            for at, index in ((x, column), (y, row))
        ]
        low, _ = self.lowest(*middles, np.full(len(key), n * half), asked, levels, grid)
        return ~np.isnan(low[part])

    def heights(self, points: np.ndarray) -> np.ndarray:
        """Return the cut along the side's axis at points (k, 2), mm (k,) float64; +inf where none cuts."""
        found, owner = self.cut(points, ANY_TOP)
        return np.where(owner >= 0, found, np.inf)

    def cut(self, points, start: float, cutters=None) -> tuple[np.ndarray, np.ndarray]:
        """Return heights along the side's axis at points (k, 2), from a start, and the rows that cut them.

        cutters: those whose moves count, with these shapes; None for all as they are.
        """
        sign = 1.0 if self.side == 1 else -1.0
        found, owner = np.full(len(points), sign * start), np.full(len(points), -1, np.int64)
        if cutters is None:
            for packed, _, _, first_row in self.packs:
                found, row = packed_heights(points, packed, sign, found)
                is_cut = row >= 0
                owner[is_cut] = row[is_cut] + first_row
            return sign * found, owner
        for moves, frame, first_row in self.parts:
            chosen = np.flatnonzero(np.isin(moves.tool, list(cutters)))
            found, row = cut_heights(points, moves[chosen], cutters, frame, found)
            is_cut = row >= 0
            owner[is_cut] = chosen[row[is_cut]] + first_row
        return sign * found, owner

    def is_bare(self, places: np.ndarray) -> np.ndarray:
        """Return whether the cut took the wood off places (k, 3) mm of the target's surface (k,) bool."""
        if not len(places):
            return np.zeros(0, bool)
        cut, _ = self.cut(np.ascontiguousarray(places[:, :2]), self.start)
        return cut <= (1.0 if self.side == 1 else -1.0) * places[:, 2] + CLOSE

    def highest(
        self, x, y, half: float, above, owner, grid: TargetGrid, is_quick: bool = False
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return for squares where the cut may stand higher than `above` over the target: how high, mm.

        x, y (k,) mm, half mm: squares.  above (k,) mm.  owner (k,): the row that cut the middle lowest, or
        any other, -1 for none.  is_quick: by that row alone; +inf where it is no line.
        Returns (k,) float64, along the side's axis; NaN where it does not; and the slopes (k, 2) of a plane
        that the cut lies nowhere above either, which touches that height at its highest corner.
        """
        from simkit.compare.between_kernels import upper_squares

        up, slopes, left = np.full(len(x), np.nan), np.zeros((len(x), 2)), np.ones(len(x), bool)
        heights = self.heights_pointer or cell_heights_pointer()

        def search(chosen, index, other, packed) -> None:
            out, leans = np.empty(len(chosen)), np.zeros((len(chosen), 2))
            arrays = (
                x[chosen], y[chosen], np.full(len(chosen), half), above[chosen], *grid.faces(self.side),
                index, other, packed.codes, packed.records, heights, out, leans,
            )  # fmt: skip
            share_ranges(lambda a, b: upper_squares(a, b, *arrays), len(chosen), 256)
            up[chosen], slopes[chosen] = out, leans

        for packed, _, _, first_row in self.packs:
            chosen = np.flatnonzero((owner >= first_row) & (owner < first_row + len(packed.rows)))
            place = np.full(len(packed.rows), -1, np.int64)
            for a, b in packed.chunks:
                place[packed.rows[a:b]] = np.arange(a, b)
            index = place[owner[chosen] - first_row]
            search(chosen, index, np.full(len(chosen), np.inf), packed)
            left[chosen] = np.isinf(up[chosen])
        if is_quick:
            up[left] = np.inf
            return up, slopes
        chosen = np.flatnonzero(left)  # arcs, and what was never cut
        if len(chosen) and self.packs:
            thin = {number: cutter.shifted(-half * np.sqrt(2.0)) for number, cutter in self.cutters.items()}
            thin = {number: cutter for number, cutter in thin.items() if cutter.radius > 0}
            other, _ = self.cut(np.column_stack([x[chosen], y[chosen]]), self.start, thin)
            search(chosen, np.full(len(chosen), -1), other, self.packs[0][0])
        return up, slopes


def _spread(number: np.ndarray) -> np.ndarray:
    """Return numbers below 2^20 with a zero between each two of their bits: two make the key of a place."""
    for shift, bits in (
        (16, 0xFFFF0000FFFF),
        (8, 0xFF00FF00FF00FF),
        (4, 0xF0F0F0F0F0F0F0F),
        (2, 0x3333333333333333),
        (1, 0x5555555555555555),
    ):
        number = (number | number << shift) & bits
    return number
