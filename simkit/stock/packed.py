"""Moves of one setup packed into records, chunk after chunk, and binned to tiles."""

from __future__ import annotations

import copy
from collections.abc import Mapping

import numpy as np

from simkit.cutters import PROFILE, Cutter, kernel_table
from simkit.frames import Frame
from simkit.moves.table import ARC, Moves
from simkit.stock import bin_kernels, pack_kernels
from simkit.stock.list_kernels import WIDE
from simkit.stock.memory import new_array
from simkit.stock.pack_kernels import LOWEST
from simkit.stock.record_kernels import COLUMNS, WIDE_COLUMNS
from simkit.stock.strip_kernels import FRAME, STRIP
from simkit.stock.workers import share

CHUNK = 2**14  # moves that one thread packs at a time


class Packed:
    """Moves packed into records, chunk after chunk: the places in `chunks` are filled, growing in row.

    codes (n,) int8, records (n, columns), boxes (n, BOX), rows (n,) int32: see pack_kernels; rows count from
    row0.  chunks: (first, last) places of each chunk.  told0: what a complaint adds to the number of a move.
    strips, frames: sixteen moves at once (strip_kernels), if asked for: no farther apart than `extent` mm.
    Complains in words of a cutter that is not there and of a place not finite.
    """

    def __init__(
        self,
        moves: Moves,
        cutters: Mapping[int, Cutter],
        frame: Frame,
        view,
        row0: int,
        told0: int,
        extent: float = 0.0,
    ):
        n = len(moves)
        numbers, profiles, outlines = kernel_table(cutters)
        is_arc = moves.kind == ARC
        is_wide = bool((profiles == PROFILE).any() or (is_arc & (moves.plane != 17)).any())
        self.codes = new_array(n, np.int8)
        self.records = new_array((n, WIDE_COLUMNS if is_wide else COLUMNS), np.float64)
        self.boxes = new_array((n, pack_kernels.BOX), np.float64)
        self.rows = new_array(n, np.int32)
        groups = -(-n // WIDE) if extent > 0.0 else 0
        self.strips = new_array((groups, STRIP), np.float32)
        self.frames = new_array((groups, FRAME), np.float64)
        starts = range(0, n, CHUNK)
        found = [(0, 0)] * len(starts)

        def pack(i: int) -> None:
            part = slice(starts[i], min(starts[i] + CHUNK, n))
            strips = slice(part.start // WIDE, -(-part.stop // WIDE))
            found[i] = pack_kernels.pack_moves(
                is_arc[part], moves.plane[part], moves.start[part], moves.end[part], moves.centre[part],
                moves.sweep[part], moves.tool[part], frame.matrix, frame.offset, numbers, profiles, outlines,
                view,
                self.codes[part], self.records[part], self.boxes[part], self.rows[part],
                extent, self.strips[strips], self.frames[strips],
            )  # fmt: skip
            self.rows[part] += np.int32(row0 + part.start)

        share(pack, len(starts), is_short=True)
        self.chunks = []
        for first, (count, fault) in zip(starts, found, strict=True):
            if fault < 0:
                raise ValueError(f"move {told0 + first - 1 - fault} has a coordinate that is not finite")
            if fault < min(CHUNK, n - first):
                raise ValueError(
                    f"move {told0 + first + fault} calls cutter {moves.tool[first + fault]}, "
                    "which is not among the cutters"
                )
            self.chunks.append((first, first + count))

    def within(self, x0: float, x1: float, y0: float, y1: float) -> Packed:
        """Return those that may touch a rectangle, mm; all where they are most of them."""
        is_near = np.zeros(len(self.boxes), bool)
        for first, last in self.chunks:
            low_x, high_x, low_y, high_y = self.boxes[first:last, :LOWEST].T
            is_near[first:last] = (low_x <= x1) & (high_x >= x0) & (low_y <= y1) & (high_y >= y0)
        chosen = np.flatnonzero(is_near)
        if 2 * len(chosen) > sum(last - first for first, last in self.chunks):
            return self
        some = copy.copy(self)
        some.strips, some.frames = self.strips[:0], self.frames[:0]
        for name in ("codes", "records", "boxes", "rows"):
            setattr(some, name, getattr(self, name).take(chosen, axis=0))
        some.chunks = [(first, min(first + CHUNK, len(chosen))) for first in range(0, len(chosen), CHUNK)]
        return some

    def bins(self, x0: float, y0: float, size: float, tops: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return (starts, entries): entries[starts[t]:starts[t + 1]] are the moves of tile t, growing.

        Where there are strips, -1 - g are the moves of strip g.

        x0, y0 mm: corner of tile (0, 0); size mm: its edge; tops (nty, ntx): moves above it are left out.
        """
        places = np.zeros((len(self.chunks), tops.size), np.int64)
        entries = np.empty(0, np.int32)

        def count_or_fill(i: int) -> None:
            first, last = self.chunks[i]
            told = (first, last, x0, y0, size, tops, places[i], entries)
            if len(self.frames):
                bin_kernels.bin_strips(self.codes, self.records, self.boxes, self.frames, *told)
            else:
                bin_kernels.bin_moves(self.codes, self.records, self.boxes, *told)

        share(count_or_fill, len(self.chunks), is_short=True)
        per_tile = places.sum(axis=0)
        starts = np.concatenate([[0], np.cumsum(per_tile)])
        places[:] = starts[:-1] + np.cumsum(places, axis=0) - places
        if starts[-1]:
            entries = new_array(int(starts[-1]), np.int32)
            share(count_or_fill, len(self.chunks), is_short=True)
        return starts, entries
