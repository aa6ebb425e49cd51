"""Packed moves binned to the tiles that they can touch."""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, loop_kernel
from simkit.stock.pack_kernels import LOWEST, SLACK
from simkit.stock.record_kernels import LENGTH, UX, UY, R, X, Y, is_band, plan_reach


@kernel
def _misses(code, a, x, y, away):
    """Whether the move stays farther than `away` from covering the place (x, y)."""
    dx, dy = x - a[X], y - a[Y]
    reach = plan_reach(code, a) + away
    if is_band(code):
        u = dx * a[UX] + dy * a[UY]
        w = dy * a[UX] - dx * a[UY]
        return abs(w) > reach or u < -reach or u > a[LENGTH] + reach
    return abs(math.hypot(dx, dy) - a[R]) > reach


@loop_kernel
def _tiles_of(low, high, zero, per_size, count):
    """First and last but one of the `count` tiles in a row that [low, high] touches."""
    return int(max((low - zero) * per_size, 0.0)), int(min((high - zero) * per_size + 1.0, count))


@kernel
def _bin_moves(codes, records, boxes, j0, j1, x0, y0, size, tops, places, entries):
    nty, ntx = tops.shape
    away = size * 0.7072 + 2.0 * SLACK
    is_filling = entries.shape[0] > 0
    per_size, wide, deep = 1.0 / size, float(ntx), float(nty)
    for j in range(np.uint64(j0), np.uint64(j1)):
        tx0, tx1 = _tiles_of(boxes[j, 0], boxes[j, 1], x0, per_size, wide)
        ty0, ty1 = _tiles_of(boxes[j, 2], boxes[j, 3], y0, per_size, deep)
        is_small = tx1 - tx0 <= 2 and ty1 - ty0 <= 2
        low = boxes[j, LOWEST]
        for ty in range(ty0, ty1):
            for tx in range(tx0, tx1):
                tile = np.uint64(ty * ntx + tx)
                if low > tops[np.uint64(ty), np.uint64(tx)]:
                    continue
                if not is_small:
                    middle_x, middle_y = x0 + (tx + 0.5) * size, y0 + (ty + 0.5) * size
                    if _misses(codes[j], records[j], middle_x, middle_y, away):
                        continue
                if is_filling:
                    entries[places[tile]] = np.int32(j)
                places[tile] += 1


@entry_kernel
def bin_moves(codes, records, boxes, j0, j1, x0, y0, size, tops, places, entries):
    """Count the moves j0 <= j < j1 of each tile, or, when `entries` has room, write them down in order.

    x0, y0 mm: corner of tile (0, 0); size mm: its edge.  tops (nty, ntx): the highest h in each tile; a
    move above it is left out.  places (nty * ntx,) int64: counting, how many moves are added to each
    tile; writing, where in entries (int32) the next move of each tile goes, moved on.
    """
    _bin_moves(codes, records, boxes, j0, j1, x0, y0, size, tops, places, entries)
