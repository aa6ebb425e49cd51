"""Packed moves binned to the tiles that they can touch."""

import math

import numpy as np

from simkit._jit import kernel
from simkit.stock.pack_kernels import SLACK
from simkit.stock.record_kernels import LENGTH, LOW, UX, UY, R, X, Y, is_band, plan_reach


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


@kernel
def bin_moves(codes, records, boxes, x0, y0, size, tops):
    """Return (starts, entries, area): the moves of each tile, in row order.

    x0, y0 mm: corner of tile (0, 0); size mm: its edge.  tops (nty, ntx): the highest h in each tile; a
    move above it is left out.  starts (nty * ntx + 1,) int64 into entries; entries int32: places in the
    records.  area (nty * ntx,) mm2: boxes of the moves inside the tile, added up (the work to expect).
    """
    nty, ntx = tops.shape
    starts = np.zeros(nty * ntx + 1, np.int64)
    area = np.zeros(nty * ntx, np.float64)
    away = size * 0.7072 + 2.0 * SLACK
    entries = np.empty(0, np.int32)
    for is_filling in range(2):
        for j in range(codes.shape[0]):
            tx0 = int(max(math.floor((boxes[j, 0] - x0) / size), 0.0))
            tx1 = int(min(math.floor((boxes[j, 1] - x0) / size) + 1.0, float(ntx)))
            ty0 = int(max(math.floor((boxes[j, 2] - y0) / size), 0.0))
            ty1 = int(min(math.floor((boxes[j, 3] - y0) / size) + 1.0, float(nty)))
            is_small = tx1 - tx0 <= 2 and ty1 - ty0 <= 2
            for ty in range(ty0, ty1):
                for tx in range(tx0, tx1):
                    if records[j, LOW] > tops[ty, tx]:
                        continue
                    left, front = x0 + tx * size, y0 + ty * size
                    middle = 0.5 * size
                    if not is_small and _misses(codes[j], records[j], left + middle, front + middle, away):
                        continue
                    tile = ty * ntx + tx
                    if is_filling == 0:
                        starts[tile + 1] += 1
                        wide = min(boxes[j, 1], left + size) - max(boxes[j, 0], left)
                        deep = min(boxes[j, 3], front + size) - max(boxes[j, 2], front)
                        area[tile] += max(wide, 0.0) * max(deep, 0.0)
                    else:
                        entries[starts[tile]] = j
                        starts[tile] += 1
        if is_filling == 0:
            for tile in range(nty * ntx):
                starts[tile + 1] += starts[tile]
            entries = np.empty(starts[nty * ntx], np.int32)
        else:
            for tile in range(nty * ntx, 0, -1):
                starts[tile] = starts[tile - 1]
            starts[0] = 0
    return starts, entries, area
