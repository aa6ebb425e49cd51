"""The fast cut of tiles: of each the moves near it as a list, blocks of 16 cut by that (block_kernels)."""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, late_kernel, working_kernel
from simkit.cutters import BALL
from simkit.stock.bit_kernels import (
    ask_for,
)
from simkit.stock.block_kernels import BLOCK, CURVED, START, STRAIGHT, cut_block
from simkit.stock.bound_kernels import (
    RADIUS_AT,
)
from simkit.stock.cut_kernels import highest
from simkit.stock.group_kernels import MANY_PIECES, MOST_BEND, make_groups
from simkit.stock.leaf_kernels import (
    CELLS,
)
from simkit.stock.list_kernels import (
    GROUP,
    LANES,
    WIDE,
    add_line,
    add_move,
    close_list,
    curve_pieces,
    group_boxes,
    groups_near,
)
from simkit.stock.quad_kernels import HALF_ROOM, QUAD_ROOM
from simkit.stock.record_kernels import (
    LENGTH,
    H,
    X,
    Y,
    form_of,
    is_line,
)
from simkit.stock.strip_kernels import add_strip, ask_strip
from simkit.stock.vector_kernels import vectors_of

STRIPS_AHEAD = 4
AHEAD = 24  # moves for whose records the memory is asked before they are needed


@kernel
def _repeats(codes, records, j, before):
    """Whether an upright move stands where the one before it in the tile did, as going up after going down.

    Both leave the same heights, so the later one wins nothing and meets nothing.
    """
    return (
        before >= 0
        and is_line(codes[j])
        and is_line(codes[before])
        and records[j, LENGTH] == 0.0
        and records[before, LENGTH] == 0.0
        and records[j, X] == records[before, X]
        and records[j, Y] == records[before, Y]
        and records[j, H] >= records[before, H]
    )


@kernel
def _longest_list(cell, first_tile, last_tile, starts, entries, codes, records):
    """The most pieces that any tile's list of moves comes to."""
    longest = 0
    for t in range(first_tile, last_tile):
        n = 0
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            if j < 0:
                n += WIDE
                continue
            n += 1 if is_line(codes[j]) else curve_pieces(form_of(codes[j]), records, j, 0.25 * cell)
        longest = max(longest, n)
    return longest


@late_kernel
def _cut_tiles(
    field,
    moves,
    strips,
    cutter,
    room,
    lean,
    lists,
    boxes,
    near,
    every,
    vectors,
    numbers,
    cell,
    size,
    first_tile,
    last_tile,
    starts,
    entries,
    tops,
    counts,
):
    """The loop of cut_blocks over its tiles: here, where nothing is allocated, no array is counted."""
    h, owner, xs, ys = field
    codes, _, records = moves
    radius = float(cutter[1][RADIUS_AT])
    ny, nx = h.shape
    ntx = (nx + size - 1) // size
    fineness = 0.25 * cell
    n_groups = boxes.shape[0]
    is_ball = cutter[0] == BALL
    columns = np.uint64(records.shape[1])
    for t in range(first_tile, last_tile):
        iy0, ix0 = (t // ntx) * size, (t % ntx) * size
        iy1, ix1 = min(iy0 + size, ny), min(ix0 + size, nx)
        tx, ty = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
        wide, deep = 0.5 * (xs[ix1 - 1] - xs[ix0]), 0.5 * (ys[iy1 - 1] - ys[iy0])
        top = float(tops[t])
        reach = radius * (1.0 + 1e-6) + 1e-6
        near_tip = math.sqrt(wide * wide + deep * deep) + reach
        n, before, has_curves = START, np.int64(-1), STRAIGHT
        n_strips, far, high = START, 0.0, 0.0
        if is_ball:  # strips first: each fills sixteen places of the list
            for entry in range(starts[t], starts[t + 1]):
                number = -1 - np.int64(entries[entry])
                later = -1 - np.int64(entries[min(entry + STRIPS_AHEAD, starts[t + 1] - 1)])
                ask_strip(max(later, np.int64(0)), strips[0], records)
                if number >= 0:
                    some_far, some_high = add_strip(
                        lists, n_strips, 3 * n_groups * GROUP, tx, ty, top, number, strips[0], strips[1]
                    )
                    far, high = max(far, some_far), max(high, some_high)
                    n_strips += 1
            n = n_strips * WIDE
        for entry in range(starts[t], starts[t + 1]):
            j = np.int64(entries[entry])  # as in the replay: lists are then compiled once
            if j < 0:
                continue
            later = np.uint64(max(entries[min(entry + AHEAD, starts[t + 1] - 1)], 0)) * columns
            ask_for(records, later)
            ask_for(records, later + np.uint64(8))
            if _repeats(codes, records, j, before):
                continue
            before = j
            if is_line(codes[j]):
                n = add_line(lists, n, tx, ty, top, near_tip, j, j, records)
            else:
                has_curves = CURVED
                n = add_move(lists, n, tx, ty, top, near_tip, j, j, codes[j], records, fineness)
        if n == 0:
            continue
        close_list(lists, START, n)
        if n_strips or (is_ball and n >= MANY_PIECES):
            # A chord of a wide arc may be longer than the tile: no parabola then.
            most_bend = np.float32(0.0 if has_curves else min(MOST_BEND, 0.5 / near_tip))
            others = make_groups(lists, n_strips, n, 3 * n_groups * GROUP, most_bend, has_curves, room[4])
            far, high = max(far, others[0]), max(high, others[1])
            n_strips = vectors_of(n)
        else:
            far, high = group_boxes(lists, n, boxes, room[4])
        margin = 64.0 * 2.0**-24 * (far + wide + deep + radius + high)
        tile = (tx, ty, top, 2.0**-21 * (abs(top) + high + radius), margin, has_curves)
        reach += margin
        for iy in range(iy0, iy1, BLOCK):
            for place in range(ix0, ix1, BLOCK):
                # To and fro, so that the slope expected is that of a neighbour.
                last = ix0 + (ix1 - 1 - ix0) // BLOCK * BLOCK
                ix = place if (iy - iy0) % (2 * BLOCK) == 0 else last - (place - ix0)
                block = (iy, min(iy + BLOCK, iy1), ix, min(ix + BLOCK, ix1))
                count = 0
                if n_strips == 0:
                    count = groups_near(
                        boxes, n, np.float32(xs[ix] - tx - reach), np.float32(xs[block[3] - 1] - tx + reach),
                        np.float32(ys[iy] - ty - reach), np.float32(ys[block[1] - 1] - ty + reach), near,
                    )  # fmt: skip
                if count or n_strips:
                    for row in range(np.uint64(iy), np.uint64(block[1])):
                        cell_at = row * np.uint64(nx) + np.uint64(ix)
                        ask_for(h, cell_at)
                        ask_for(owner, cell_at)
                    evaluated, tests, in_leaves = cut_block(
                        lists, n_groups * GROUP, n, near, count, every, n_strips, vectors, numbers, field,
                        block, tile, cutter, moves, room, lean,
                    )  # fmt: skip
                    counts[t, 0] += evaluated
                    counts[t, 1] += tests
                    counts[t, 2] += in_leaves
                    counts[t, 3] += n_strips
        tops[t] = highest(h, iy0, iy1, ix0, ix1, room[4])


@working_kernel
def lined_up(n):
    """An array of n float64 that begins where a line of the cache does.

    Else each second vector of 64 bytes would lie in two lines, and be read and written twice.
    """
    room = np.empty(n + 8, np.float64)
    first = (-np.int64(room.ctypes.data) % 64) // 8
    return room[first : first + n]


@entry_kernel
def cut_blocks(
    h, owner, xs, ys, cell, size, first_tile, last_tile, starts, entries, codes, rows, records,
    strips, frames, profile, support, heights, bounds, tops, counts,
):  # fmt: skip
    """Cut the tiles [first_tile, last_tile) by the moves of one cutter; the one entry to the fast way.

    h, owner (ny, nx): surface and row that cut it, changed in place.  xs (nx,), ys (ny,): cell centres,
    mm; cell mm; size: cells along the edge of a tile.  starts (tiles + 1,), entries: the moves of each
    tile as places in codes, rows, records (pack_moves), growing.  profile: code of the cutter's, support:
    see bound_kernels; heights, bounds: cell_heights and bounds as pointers.  tops (tiles,) float32:
    highest h of each tile, kept up to date.  counts (tiles, 4): adds the heights evaluated and the bounds
    tested, over blocks and over leaves, and those of groups over blocks.
    """
    longest = _longest_list(cell, first_tile, last_tile, starts, entries, codes, records)
    n_groups = longest // LANES + 1
    n_strips = 2 * n_groups
    lists = lined_up((3 * n_groups + n_strips // LANES + 1) * GROUP // 2).view(np.float32)
    vectors = np.empty(n_strips + 16, np.int32)
    boxes = np.empty((n_groups, 4), np.float32)
    near, every = np.empty(n_groups, np.int32), np.arange(n_strips + 16).astype(np.int32)
    field, cutter = (h, owner, xs, ys), (profile, support, heights, bounds)
    moves = (codes, rows, records)
    room = (
        lined_up(2 * BLOCK * BLOCK),
        lined_up(16 * CELLS),
        lined_up(2 * CELLS).view(np.float32),
        lined_up(4 * CELLS).view(np.float32),
        lined_up(QUAD_ROOM // 2).view(np.float32),
        lined_up(48),
        lined_up(2 * LANES).view(np.int32),
        lined_up(HALF_ROOM),
    )
    _cut_tiles(
        field,
        moves,
        (strips, frames),
        cutter,
        room,
        np.zeros(10, np.float64),
        lists,
        boxes,
        near,
        every,
        (vectors, vectors.view(np.float32)),
        every.view(np.float32),
        cell,
        size,
        first_tile,
        last_tile,
        starts,
        entries,
        tops,
        counts,
    )
