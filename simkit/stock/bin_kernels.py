"""Packed moves binned to the tiles that they can touch, and which of them carry on from another."""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, loop_kernel
from simkit.cutters import BALL
from simkit.stock.list_kernels import WIDE
from simkit.stock.pack_kernels import LOWEST, SLACK
from simkit.stock.record_kernels import LENGTH, LINE_FORM, UX, UY, R, X, Y, code_of, is_band, plan_reach
from simkit.stock.strip_kernels import FROM_X, STRIP_BOX

BALL_LINE = int(code_of.py_func(LINE_FORM, BALL))


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


@kernel
def _bin_box(frame, number, x0, y0, size, tops, places, entries):
    """As _bin_moves, of a strip, whose name in the entries is -1 - number."""
    nty, ntx = tops.shape
    per_size, low = 1.0 / size, frame[STRIP_BOX + LOWEST]
    tx0, tx1 = _tiles_of(frame[STRIP_BOX], frame[STRIP_BOX + 1], x0, per_size, float(ntx))
    ty0, ty1 = _tiles_of(frame[STRIP_BOX + 2], frame[STRIP_BOX + 3], y0, per_size, float(nty))
    for ty in range(ty0, ty1):
        for tx in range(tx0, tx1):
            tile = np.uint64(ty * ntx + tx)
            if low > tops[np.uint64(ty), np.uint64(tx)]:
                continue
            if entries.shape[0] > 0:
                entries[places[tile]] = np.int32(-1 - number)
            places[tile] += 1


@entry_kernel
def bin_strips(codes, records, boxes, frames, first, last, x0, y0, size, tops, places, entries):
    """As bin_moves, but moves of a strip (strip_kernels; frames: of all) as one, named -1 - its number."""
    for number in range(first // WIDE, (last + WIDE - 1) // WIDE):
        if frames[number, FROM_X] == frames[number, FROM_X]:
            _bin_box(frames[number], number, x0, y0, size, tops, places, entries)
        else:
            j0, j1 = number * WIDE, min(number * WIDE + WIDE, last)
            _bin_moves(codes, records, boxes, j0, j1, x0, y0, size, tops, places, entries)


@entry_kernel
def bin_moves(codes, records, boxes, j0, j1, x0, y0, size, tops, places, entries):
    """Count the moves j0 <= j < j1 of each tile, or, when `entries` has room, write them down in order.

    x0, y0 mm: corner of tile (0, 0); size mm: its edge.  tops (nty, ntx): the highest h in each tile; a
    move above it is left out.  places (nty * ntx,) int64: counting, how many moves are added to each
    tile; writing, where in entries (int32) the next move of each tile goes, moved on.
    """
    _bin_moves(codes, records, boxes, j0, j1, x0, y0, size, tops, places, entries)


@entry_kernel
def follow(first, last, row0, codes, rows, records, start, end, follows):
    """Write which packed moves first <= k < last are a ball's line that begins where that before it ends.

    rows (n,): which move each is, row0 the first one's; start, end (moves, 3): of all of them.  The first of
    these is none.  follows (n,) bool.
    """
    for k in range(np.uint64(first + 1), np.uint64(last)):
        before = k - np.uint64(1)
        if codes[k] != BALL_LINE or codes[before] != BALL_LINE or rows[k] != rows[before] + 1:
            continue
        i = np.int64(rows[k]) - row0
        is_linked = (
            (start[i, 0] == end[i - 1, 0]) & (start[i, 1] == end[i - 1, 1]) & (start[i, 2] == end[i - 1, 2])
        )
        follows[k] = is_linked & (records[k, LENGTH] > 0.0)
