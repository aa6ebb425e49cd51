"""The fast cut of tiles: lists of moves refined from blocks of 16 cells to 8 to 4, then evaluated.

Every block keeps the pieces of moves whose lower bound over it (bound_kernels) lies below a ceiling of
what will be left there.  The ceiling is a plane.  Its slope is that of the move b that is lowest at the
block's middle among those that cover the whole block; its height is the most that b stands above that
slope, at a corner, as the swept surface of a convex cutter is convex; or the highest that is left in the
tile.  A move whose bound is nowhere under the ceiling cannot win a cell, and is dropped for all blocks
inside.  Over blocks the bounds of balls are planes of one slope, that of b about the block that was looked at
before.  A leaf of 4 x 4 cells evaluates the move first that seems the lowest at its middle, takes the ceiling
from the surface so lowered, and evaluates what is left of its list by halves, passing over those where a
bound is above the surface at every cell.

A value is computed from the record and the cell alone, rounded to float32, and compared as (height, row):
so tiles, threads, windows and the order of the moves leave the bits alone, and dropping moves that cannot win
leaves the field and the owners of the plain sweep (cut_kernels).  A move that could draw is not dropped:
the ceiling carries `tie` = 8 e (|top| + H + R), e = 2^-24, H and R the heights in the tile and the cutter's
radius: twice the rounding of a stored height, and the sums that a bound goes through after its margin.  Of
level flat moves, which draw all over, the first that covers a block drops the later ones: exactly, for
the height of such a move is that of its start, in floating point too.

What a move meets at the moment it runs is asked of the replay (replay_kernels), not here.

Arguments that go together go as tuples: field (h, owner, xs, ys); moves (first entry at hand, entries, codes,
rows, records); cutter (profile, support, and cell_heights and bounds as pointers); tile (middle x, y,
top, tie, margin); block (iy0, iy1, ix0, ix1); room to work in (places of a block, leaf_kernels' numbers of
a leaf, its heights in float32, its offsets, heights of one move, corners, queue of rows to evaluate, the last
of which is HALF); planes (8 LANES,): what bounds wrote of some pieces; lean (2,): the slope expected next.
"""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, loop_kernel
from simkit.cutters import FLAT
from simkit.stock.bit_kernels import (
    first_of,
    without_first,
)
from simkit.stock.bound_kernels import (
    RADIUS_AT,
)
from simkit.stock.leaf_kernels import (
    CELLS,
    HALF,
    LEAF,
    best_in_quarters,
    first_of_leaf,
    leaf_ceiling,
    level_height,
    low_ones,
    lower_leaf,
    store_leaf,
)
from simkit.stock.list_kernels import (
    CHANCE,
    COPIED,
    ENTRY,
    GROUP,
    LANES,
    PIECE,
    SLOPE_X,
    SLOPE_Y,
    add_line,
    add_move,
    close_list,
    copy_piece,
    curve_pieces,
    extent,
    group_boxes,
    groups_near,
    lanes_of,
    piece_at,
)
from simkit.stock.record_kernels import (
    LENGTH,
    SLOPE,
    H,
    X,
    Y,
    form_of,
    is_line,
)

BLOCK = 16  # cells along the edge of the largest blocks of a tile
START = np.int64(0)  # of the first list; a literal 0 would be a type of its own, and compiled for again
MOST_LEAN = 5.0  # a steeper slope tells nothing of the next block
FEW = 6  # so many moves are evaluated without tests


@loop_kernel
def _keep(
    lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling, to, columns, level, best_entry,
    moves,
):  # fmt: skip
    """Copy the pieces that come under the ceiling to the list at `to`; return its length.

    level: height of a level flat move that covers the whole block, +inf if there is none, best_entry its
    entry: moves that run later and nowhere come under it can only draw, and lose.
    """
    first_entry, entries, codes, _, records = moves
    half_x, half_y, ceiling = np.float32(half_x), np.float32(half_y), np.float32(ceiling)
    n, at, kept = np.uint64(n), np.uint64(to), np.uint64(0)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        first = np.uint64(base) + group * np.uint64(GROUP)
        some = lanes_of(n, group)
        bits = low_ones(lists, first, some, half_x, half_y, slope_x, slope_y, ceiling)
        while bits != np.uint32(0):
            i = first + first_of(bits)
            bits = without_first(bits)
            if level < math.inf:
                entry = np.int64(lists[i + np.uint64(ENTRY)])
                if entry > best_entry and level_height(codes, records, entries[first_entry + entry]) >= level:
                    continue
            at, kept = copy_piece(lists, i, at, kept, columns)
    close_list(lists, to, kept)
    return np.int64(kept)


@loop_kernel
def _corner_ceiling(field, block, moves, heights, j, slope_x, slope_y, room):
    """The most that a straight move stands above a plane of the slope through the middle of a block."""
    _, _, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    _, _, codes, _, records = moves
    _, _, _, _, g, corners, _ = room
    x0, x1, y0, y1 = xs[ix0], xs[ix1 - 1], ys[iy0], ys[iy1 - 1]
    corners[0], corners[1], corners[2], corners[3] = x0, x1, x0, x1
    corners[4], corners[5], corners[6], corners[7] = y0, y0, y1, y1
    heights(codes[j], records[j], corners, 4, g)
    rise_x, rise_y = 0.5 * (x1 - x0) * slope_x, 0.5 * (y1 - y0) * slope_y
    low = max(g[0] + (rise_x + rise_y), g[1] + (rise_y - rise_x))
    return max(low, max(g[2] + (rise_x - rise_y), g[3] - (rise_x + rise_y)))


@loop_kernel
def _fill(field, block, g, row):
    """Lower a whole block to one height."""
    h, owner, _, _ = field
    iy0, iy1, ix0, ix1 = block
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(np.uint64(ix0), np.uint64(ix1)):
            before, keeper = h[iy, ix], owner[iy, ix]
            is_lower = (g < before) | ((g == before) & (row < keeper))
            h[iy, ix] = min(g, before)
            owner[iy, ix] = row if is_lower else keeper


@loop_kernel
def _refine(lists, base, n, groups, count, to, columns, field, block, tile, cutter, moves, room, lean):
    """Keep the pieces that can win a cell of a block; return how many, and about how low the best lies.

    columns: of a piece that go with it.  lean: the slope expected here; that of the best about this block is
    left in it.
    A level flat move that covers the block and is alone in the end lowers it at once: 0 is returned.
    """
    first_entry, entries, codes, rows, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin = tile
    x, y, half_x, half_y = extent(field[2], field[3], block, tile)
    best = bounds(
        lists, base, n, groups, count, x, y, half_x, half_y, lean[0], lean[1], profile, support, margin, False
    )
    slope_x, slope_y, ceiling = np.float32(0.0), np.float32(0.0), 0.0
    level, best_entry = math.inf, np.int64(0)
    if best >= 0:
        i = piece_at(base, best)
        entry = np.int64(lists[i + ENTRY])
        j = entries[first_entry + entry]
        if is_line(codes[j]):
            slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
            ceiling = half_x * abs(slope_x) + half_y * abs(slope_y)
            ceiling = min(
                ceiling, _corner_ceiling(field, block, moves, heights, j, slope_x, slope_y, room) - top
            )
            g = room[4]
            lean[0] = 0.25 * (g[1] - g[0] + g[3] - g[2]) / max(half_x, 1e-9)
            lean[1] = 0.25 * (g[2] - g[0] + g[3] - g[1]) / max(half_y, 1e-9)
            steep = max(abs(lean[0]), abs(lean[1]))
            if not steep < MOST_LEAN:
                lean[0], lean[1] = 0.0, 0.0
            if profile == FLAT and records[j, SLOPE] == 0.0:
                level, best_entry = records[j, H], entry
    kept = _keep(
        lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling + tie, to, columns, level,
        best_entry, moves,
    )  # fmt: skip
    if kept == 1 and level < math.inf:
        j = entries[first_entry + best_entry]
        _fill(field, block, np.float32(level), rows[j])
        return 0
    return kept


@loop_kernel
def _room_of(room, leaf):
    """The room to work in of one of the four leaves of a block of 8."""
    places, w, hb, off, g, corners, queue = room
    return (
        places, w[leaf * 4 * CELLS : (leaf + 1) * 4 * CELLS], hb[leaf * CELLS : (leaf + 1) * CELLS],
        off[leaf * 2 * CELLS : (leaf + 1) * 2 * CELLS], g, corners, queue,
    )  # fmt: skip


@loop_kernel
def _leaf_of(part, leaf):
    """The cells of one of the four leaves of a block of 8: none, where it is smaller."""
    iy0, iy1, ix0, ix1 = part
    iy, ix = iy0 + (LEAF if leaf >= 2 else 0), ix0 + (LEAF if leaf % 2 else 0)
    return iy, min(iy + LEAF, iy1), ix, min(ix + LEAF, ix1)


@loop_kernel
def _cut_part(lists, base, n, to, every, field, part, tile, cutter, moves, room, lean):
    """Cut a block of 8 by a list; return heights evaluated, and how many pieces its leaves looked at."""
    first_entry, entries, codes, rows, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin = tile
    x, y, half_x, half_y = extent(field[2], field[3], part, tile)
    count = (n + LANES - 1) // LANES
    best = bounds(
        lists, base, n, every, count, x, y, half_x, half_y, lean[0], lean[1], profile, support, margin, False
    )
    slope_x, slope_y = np.float32(0.0), np.float32(0.0)
    level, best_entry, low = math.inf, np.int64(0), np.float32(0.0)
    if best >= 0:
        i = piece_at(base, best)
        low = lists[i + CHANCE]
        best_entry = np.int64(lists[i + ENTRY])
        slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
        j = entries[first_entry + best_entry]
        if profile == FLAT and is_line(codes[j]) and records[j, SLOPE] == 0.0:
            level = records[j, H]
    bests = best_in_quarters(
        lists, base, n, every, count, np.float32(0.5 * half_x), np.float32(0.5 * half_y), low
    )
    ceiling, evaluated = -math.inf, 0
    done = room[5]
    for leaf in range(4):
        block = _leaf_of(part, leaf)
        if block[0] < block[1] and block[2] < block[3]:
            mine = _room_of(room, leaf)
            done[leaf] = first_of_leaf(lists, bests[leaf], field, block, moves, cutter, mine)
            evaluated += CELLS if bests[leaf] >= 0 else 0
            lx, ly, _, _ = extent(field[2], field[3], block, tile)
            above = leaf_ceiling(slope_x, slope_y, mine) - (slope_x * (lx - x) + slope_y * (ly - y))
            ceiling = max(ceiling, above)
    # The surface is measured from the slope in float32: that rounds too.
    ceiling += tie - top + 2.0**-21 * (half_x * abs(slope_x) + half_y * abs(slope_y))
    if best >= 0:
        w = room[1]
        h0, h1 = w[2 * CELLS], w[4 * CELLS + 2 * CELLS + LEAF - 1]
        h2, h3 = w[8 * CELLS + 3 * CELLS - LEAF], w[12 * CELLS + 3 * CELLS - 1]
        lean[0] = 0.25 * (h1 - h0 + h3 - h2) / max(half_x, 1e-9)
        lean[1] = 0.25 * (h2 - h0 + h3 - h1) / max(half_y, 1e-9)
        steep = max(abs(lean[0]), abs(lean[1]))
        if not steep < MOST_LEAN:
            lean[0], lean[1] = 0.0, 0.0
    kept = _keep(
        lists, base, n, every, count, half_x, half_y, slope_x, slope_y, ceiling, to, COPIED, level,
        best_entry, moves,
    )  # fmt: skip
    if kept <= FEW:
        for leaf in range(4):
            block = _leaf_of(part, leaf)
            if block[0] < block[1] and block[2] < block[3]:
                store_leaf(field, block, _room_of(room, leaf))
        if kept == 1 and level < math.inf:
            j = entries[first_entry + best_entry]
            _fill(field, part, np.float32(level), rows[j])
            return evaluated, 0
        return evaluated + _few(lists, to, kept, field, part, cutter, moves, room), 0
    for leaf in range(4):
        block = _leaf_of(part, leaf)
        if block[0] < block[1] and block[2] < block[3]:
            evaluated += lower_leaf(
                lists, to, kept, np.int32(done[leaf]), every, field, block, tile, cutter, moves,
                _room_of(room, leaf), lean,
            )  # fmt: skip
    return evaluated, 4 * kept


@loop_kernel
def _few(lists, base, n, field, block, cutter, moves, room):
    """Lower a block by the few moves of its list, untested, all cells at once; return heights evaluated."""
    h, owner, xs, ys = field
    first_entry, entries, codes, rows, records = moves
    _, _, heights, _ = cutter
    places, _, _, _, g, _, _ = room
    iy0, iy1, ix0, ix1 = block
    wide = np.uint64(ix1 - ix0)
    cells = wide * np.uint64(iy1 - iy0)
    k = np.uint64(0)
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(wide):
            places[k + ix], places[k + ix + cells] = xs[np.uint64(ix0) + ix], ys[iy]
        k += wide
    last, evaluated = np.int32(-1), 0
    for piece in range(n):
        j = entries[first_entry + np.int64(lists[piece_at(base, piece) + ENTRY])]
        if j == last:
            continue
        last, row, k = j, rows[j], np.uint64(0)
        heights(codes[j], records[j], places, np.int64(cells), g)
        evaluated += np.int64(cells)
        for iy in range(np.uint64(iy0), np.uint64(iy1)):
            for i in range(wide):
                ix = np.uint64(ix0) + i
                before, keeper = h[iy, ix], owner[iy, ix]
                is_lower = (g[k + i] < before) | ((g[k + i] == before) & (row < keeper))
                h[iy, ix] = min(g[k + i], before)
                owner[iy, ix] = row if is_lower else keeper
            k += wide
    return evaluated


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


@loop_kernel
def _block_top(h, block):
    """The highest of a block."""
    iy0, iy1, ix0, ix1 = block
    most = h[iy0, ix0]
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(np.uint64(ix0), np.uint64(ix1)):
            most = max(most, h[iy, ix])
    return most


@loop_kernel
def _cut_block(lists, size, n, near, count, every, field, block, tile, cutter, moves, room, lean):
    """Cut a block of 16 by the groups `near` of the list; return evaluations, tests, tests of leaves."""
    tests = count * LANES
    iy0, iy1, ix0, ix1 = block
    n1 = _refine(lists, START, n, near, count, size, PIECE, field, block, tile, cutter, moves, room, lean)
    if n1 == 0:
        return 4, tests, 0
    if n1 <= FEW:
        return 4 + _few(lists, size, n1, field, block, cutter, moves, room), tests, 0
    evaluated, in_leaves = 4, 0
    for iy in range(iy0, iy1, 8):
        for ix in range(ix0, ix1, 8):
            part = (iy, min(iy + 8, iy1), ix, min(ix + 8, ix1))
            some, asked = _cut_part(
                lists, size, n1, 2 * size, every, field, part, tile, cutter, moves, room, lean
            )
            tests += n1
            evaluated += some
            in_leaves += asked
    return evaluated, tests, in_leaves


@kernel
def _longest_list(cell, first_tile, last_tile, starts, entries, codes, records):
    """The most pieces that any tile's list of moves comes to."""
    longest = 0
    for t in range(first_tile, last_tile):
        n = 0
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            n += 1 if is_line(codes[j]) else curve_pieces(form_of(codes[j]), records, j, 0.25 * cell)
        longest = max(longest, n)
    return longest


@kernel
def _cut_tiles(
    field,
    moves,
    cutter,
    room,
    lean,
    lists,
    boxes,
    near,
    every,
    cell,
    size,
    first_tile,
    last_tile,
    starts,
    tops,
    counts,
):
    """The loop of cut_blocks over its tiles: here, where nothing is allocated, no array is counted."""
    h, _, xs, ys = field
    first_entry, entries, codes, _, records = moves
    radius = float(cutter[1][RADIUS_AT])
    ny, nx = h.shape
    ntx = (nx + size - 1) // size
    fineness = 0.25 * cell
    n_groups = boxes.shape[0]
    for t in range(first_tile, last_tile):
        iy0, ix0 = (t // ntx) * size, (t % ntx) * size
        iy1, ix1 = min(iy0 + size, ny), min(ix0 + size, nx)
        tx, ty = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
        wide, deep = 0.5 * (xs[ix1 - 1] - xs[ix0]), 0.5 * (ys[iy1 - 1] - ys[iy0])
        top = float(tops[t])
        reach = radius * (1.0 + 1e-6) + 1e-6
        near_tip = math.sqrt(wide * wide + deep * deep) + reach
        n, before = START, np.int32(-1)
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            if _repeats(codes, records, j, before):
                continue
            before = j
            if is_line(codes[j]):
                n = add_line(lists, n, tx, ty, top, near_tip, entry - first_entry, j, records)
            else:
                n = add_move(
                    lists, n, tx, ty, top, near_tip, entry - first_entry, j, codes[j], records, fineness
                )
        if n == 0:
            continue
        close_list(lists, START, n)
        far, high = group_boxes(lists, n, boxes)
        margin = 64.0 * 2.0**-24 * (far + wide + deep + radius + high)
        tile = (tx, ty, top, 2.0**-21 * (abs(top) + high + radius), margin)
        reach += margin
        for iy in range(iy0, iy1, BLOCK):
            for ix in range(ix0, ix1, BLOCK):
                block = (iy, min(iy + BLOCK, iy1), ix, min(ix + BLOCK, ix1))
                count = groups_near(
                    boxes, n, np.float32(xs[ix] - tx - reach), np.float32(xs[block[3] - 1] - tx + reach),
                    np.float32(ys[iy] - ty - reach), np.float32(ys[block[1] - 1] - ty + reach), near,
                )  # fmt: skip
                if count:
                    evaluated, tests, in_leaves = _cut_block(
                        lists, n_groups * GROUP, n, near, count, every, field, block, tile, cutter, moves,
                        room, lean,
                    )  # fmt: skip
                    counts[t, 0] += evaluated
                    counts[t, 1] += tests
                    counts[t, 2] += in_leaves
        tops[t] = _block_top(h, (iy0, iy1, ix0, ix1))


@entry_kernel
def cut_blocks(
    h, owner, xs, ys, cell, size, first_tile, last_tile, starts, entries, codes, rows, records,
    profile, support, heights, bounds, tops, counts,
):  # fmt: skip
    """Cut the tiles [first_tile, last_tile) by the moves of one cutter; the one entry to the fast way.

    h, owner (ny, nx): surface and row that cut it, changed in place.  xs (nx,), ys (ny,): cell centres,
    mm; cell mm; size: cells along the edge of a tile.  starts (tiles + 1,), entries: the moves of each
    tile as places in codes, rows, records (pack_moves), growing.  profile: code of the cutter's, support:
    see bound_kernels; heights, bounds: cell_heights and bounds as pointers.  tops (tiles,) float32:
    highest h of each tile, kept up to date.  counts (tiles, 3): adds the heights evaluated and the bounds
    tested, over blocks and over leaves.
    """
    longest = _longest_list(cell, first_tile, last_tile, starts, entries, codes, records)
    n_groups = longest // LANES + 1
    lists, boxes = np.empty(3 * n_groups * GROUP, np.float32), np.empty((n_groups, 4), np.float32)
    near, every = np.empty(n_groups, np.int32), np.arange(n_groups).astype(np.int32)
    field, cutter = (h, owner, xs, ys), (profile, support, heights, bounds)
    first_entry = starts[first_tile]
    moves = (first_entry, entries, codes, rows, records)
    room = (
        np.empty(2 * BLOCK * BLOCK, np.float64),
        np.empty(16 * CELLS, np.float64),
        np.empty(4 * CELLS, np.float32),
        np.empty(8 * CELLS, np.float32),
        np.empty(BLOCK * BLOCK, np.float32),
        np.empty(8, np.float64),
        np.full(2 * LANES + 1, HALF),
    )
    _cut_tiles(
        field,
        moves,
        cutter,
        room,
        np.zeros(2, np.float64),
        lists,
        boxes,
        near,
        every,
        cell,
        size,
        first_tile,
        last_tile,
        starts,
        tops,
        counts,
    )
