"""The fast cut: lists of moves refined from blocks of 16 cells to 8 to 4, then evaluated.

Every block keeps the pieces of moves whose lower bound over it (bound_kernels) lies below a ceiling of
what will be left there.  The ceiling is a plane.  Its slope is that of the move that is lowest at the block's
middle among those that cover the whole block.  Over a block of 16 its height is the most that the lowest
moves of the four quarters stand above that slope, each over its quarter, where a corner is the highest as
the swept surface of a convex cutter is convex; or the highest that is left in the tile.  Over a block of 8
the lowest moves of its four leaves are evaluated, and the height is that of the surface they leave.  A move
whose bound is nowhere under the ceiling cannot win a cell, and is dropped for all blocks inside.  Over
blocks the bounds of balls are planes of one slope, that of the quarter in the block around, or of the block
looked at before, to and fro, so that it is a neighbour.  A leaf of 4 x 4 cells evaluates what is left of the
list by halves, passing over those where a bound is above the surface at every cell.

A value is computed from the record and the cell alone, rounded to float32, and compared as (height, row):
so tiles, threads, windows and the order of the moves leave the bits alone, and dropping moves that cannot win
leaves the field and the owners of the plain sweep (cut_kernels).  A move that could draw is not dropped:
the ceiling carries `tie` = 8 e (|top| + H + R), e = 2^-24, H and R the heights in the tile and the cutter's
radius: twice the rounding of a stored height, and the sums that a bound goes through after its margin.  Of
level flat moves, which draw all over, the first that covers a block drops the later ones: exactly, for
the height of such a move is that of its start, in floating point too.

What a move meets at the moment it runs is asked of the replay (replay_kernels), not here.

Arguments that go together go as tuples: field (h, owner, xs, ys); moves (codes, rows, records); cutter
(profile, support, and cell_heights and bounds as pointers); tile (middle x, y, top, tie, margin, whether it
has curved moves); block (iy0, iy1, ix0, ix1); room to work in (places of a block, leaf_kernels' numbers of a
leaf, its heights in float32, its offsets, heights of one move, corners, whole numbers for keys), for the four
leaves of a block of 8 one after the other; lean (10,): the slope expected next, then those of the quarters of
a block of 16.  ENTRY of a list is the move itself: fewer than 2^24 are packed at a time.
"""

import math

import numpy as np

from simkit._jit import loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bound_kernels import RADIUS_AT
from simkit.stock.ceiling_kernels import MOST_LEAN, corner_ceiling, corners_of, quarters_ceiling
from simkit.stock.group_kernels import best_groups, groups_under
from simkit.stock.leaf_kernels import (
    CELLS,
    LEAF,
    best_in_quarters,
    load_leaf,
    lower_first,
    lower_leaf,
    part_ceiling,
    store_leaf,
    without_late,
)
from simkit.stock.list_kernels import (
    CHANCE,
    ENTRY,
    GROUP,
    LANES,
    LOWEST,
    SLOPE_X,
    SLOPE_Y,
    WIDE,
    close_list,
    copy_pieces,
    extent,
    lanes_of,
    piece_at,
)
from simkit.stock.quad_kernels import leaf_of, lower_firsts, lower_leaves, room_of
from simkit.stock.record_kernels import (
    SLOPE,
    H,
    is_line,
)
from simkit.stock.vector_kernels import best_pieces, keep_pieces, vectors_of
from simkit.stock.wide_kernels import under_ceiling

BLOCK = 16  # cells along the edge of the largest blocks of a tile
# Of the first list, and of tiles without and with curves: a literal 0 or False would be a type of its own,
# and whatever it goes to compiled once more for it.
START, STRAIGHT, CURVED = np.int64(0), np.bool_(False), np.bool_(True)
FEW = 6  # so many moves are evaluated without tests
FEW_OF_CURVES = 2  # of a ball's over blocks of 8: heights of curved ones take several times as long


@loop_kernel
def keep(
    lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling, to, level, best_move,
    moves,
):  # fmt: skip
    """Copy the pieces that come under the ceiling to the list at `to`; return its length.

    level: height of a level flat move that covers the whole block, +inf if there is none, best_move that
    move: those that run later and nowhere come under it can only draw, and lose.
    """
    half_x, half_y, ceiling = np.float32(half_x), np.float32(half_y), np.float32(ceiling)
    slope_x, slope_y = np.float32(slope_x), np.float32(slope_y)
    n, kept = np.uint64(n), np.uint64(0)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        first = np.uint64(base) + group * np.uint64(GROUP)
        last = first + lanes_of(n, group)
        while first < last:
            planes = (first + np.uint64(LOWEST), first + np.uint64(SLOPE_X), first + np.uint64(SLOPE_Y))
            bits = under_ceiling(lists, planes, half_x, half_y, slope_x, slope_y, ceiling)
            if level < math.inf:
                bits = without_late(lists, first, bits, level, best_move, moves)
            kept = copy_pieces(lists, first, bits, np.uint64(to), kept)
            first += np.uint64(WIDE)
    close_list(lists, to, kept)
    return np.int64(kept)


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
def _refine(lists, base, n, groups, count, to, field, block, tile, cutter, moves, room, lean):
    """Keep the pieces that can win a cell of a block; return how many, and about how low the best lies.

    lean: the slope expected here; that of the best about this block is
    left in it.
    A level flat move that covers the block and is alone in the end lowers it at once: 0 is returned.
    """
    codes, rows, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin, _ = tile
    x, y, half_x, half_y = extent(field[2], field[3], block, tile)
    best = bounds(
        lists, base, n, groups, count, x, y, half_x, half_y, lean[0], lean[1], profile, support, margin, False
    )
    slope_x, slope_y, ceiling = np.float32(0.0), np.float32(0.0), 0.0
    level, best_move = math.inf, np.int64(0)
    if best >= 0:
        i = piece_at(base, best)
        best_move = j = np.int64(lists[i + ENTRY])
        slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
        bests = best_in_quarters(
            lists,
            base,
            n,
            groups,
            count,
            np.float32(0.5 * half_x),
            np.float32(0.5 * half_y),
            lists[i + CHANCE],
            room[6],
        )
        corners_of(field, block, room)
        ceiling = half_x * abs(slope_x) + half_y * abs(slope_y)
        ceiling = min(
            ceiling,
            corner_ceiling(
                lists, bests, x + tile[0], y + tile[1], moves, heights, slope_x, slope_y, room, lean[2:]
            )
            - top,
        )
        if profile == FLAT and is_line(codes[j]) and records[j, SLOPE] == 0.0:
            level = records[j, H]
    else:
        for k in range(2, 10):
            lean[k] = 0.0
    kept = keep(
        lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling + tie, to, level, best_move,
        moves,
    )  # fmt: skip
    if kept == 1 and level < math.inf and np.int64(lists[to + ENTRY]) == best_move:
        _fill(field, block, np.float32(level), rows[best_move])
        return 0
    return kept


@loop_kernel
def _refine_groups(lists, groups, n, to, field, block, tile, cutter, moves, room, lean, vectors, numbers):
    """As _refine, of a ball, by the groups of the tile's list, n of them at `groups` (group_kernels).

    vectors, numbers: room for and numbers of groups as int32, and the same as float32.  Returns how many
    pieces are kept, and how many were tested.
    """
    _, _, top, tie, margin, _ = tile
    radius = float(cutter[1][RADIUS_AT])
    px, py = lean[0], lean[1]
    x, y, half_x, half_y = extent(field[2], field[3], block, tile)
    some, named = room[4], vectors[0]
    a, b, c, d = best_groups(lists, groups, n, x, y, half_x, half_y, px, py, radius, some)
    count = np.uint64(0)
    for group in (a, b, c, d):
        is_new = group >= 0
        for k in range(count):
            is_new &= named[k] != np.int32(group)
        named[count] = np.int32(group)
        count += np.uint64(1) if is_new else np.uint64(0)
    tests = np.int64(count) * WIDE
    best, ceiling = np.int64(-1), math.inf
    if count:
        bests = best_pieces(
            lists, START, named, np.int64(count), x, y, half_x, half_y, px, py, radius, margin, 0.5, some
        )
        best = max(max(bests[0], bests[1]), max(bests[2], bests[3]))
        if best >= 0:
            corners_of(field, block, room)
            px, py, ceiling = quarters_ceiling(
                lists, bests, x + tile[0], y + tile[1], moves, px, py, room, lean[2:]
            )
    if best < 0:
        for k in range(2, 10):
            lean[k] = 0.0
    limit = tie + min(half_x * abs(px) + half_y * abs(py), ceiling - top)
    count = groups_under(
        lists, groups, n, x, y, half_x, half_y, px, py, radius, margin, limit, numbers, vectors[1], some
    )
    tests += np.int64(count) * WIDE
    kept = keep_pieces(
        lists, START, named, count, x, y, half_x, half_y, px, py, radius, margin, limit, to, some
    )
    return kept, tests


@loop_kernel
def _cut_part(lists, base, n, to, every, field, part, tile, cutter, moves, room, lean):
    """Cut a block of 8 by a list; return heights evaluated, and how many pieces its leaves looked at."""
    codes, rows, records = moves
    profile, support, _, bounds = cutter
    _, _, top, tie, margin, has_curves = tile
    x, y, half_x, half_y = extent(field[2], field[3], part, tile)
    slope_x, slope_y = np.float32(0.0), np.float32(0.0)
    level, best_move, low = math.inf, np.int64(0), np.float32(0.0)
    px, py, radius, is_ball = lean[0], lean[1], float(support[RADIUS_AT]), profile == BALL
    if is_ball:
        bests = best_pieces(
            lists, base, every, vectors_of(n), x, y, half_x, half_y, px, py, radius, margin, 0.4, room[4]
        )
        best = max(max(bests[0], bests[1]), max(bests[2], bests[3]))
    else:
        count = (n + LANES - 1) // LANES
        best = bounds(
            lists, base, n, every, count, x, y, half_x, half_y, px, py, profile, support, margin, False
        )
        if best >= 0:
            i = piece_at(base, best)
            low = lists[i + CHANCE]
            best_move = j = np.int64(lists[i + ENTRY])
            slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
            if profile == FLAT and is_line(codes[j]) and records[j, SLOPE] == 0.0:
                level = records[j, H]
        bests = best_in_quarters(
            lists, base, n, every, count, np.float32(0.4 * half_x), np.float32(0.4 * half_y), low, room[6]
        )
    done = room[5]
    for leaf in range(4):
        load_leaf(field, leaf_of(part, leaf), room_of(room, leaf))
    evaluated = 0
    if is_ball and not has_curves:
        evaluated += lower_firsts(lists, bests, done, moves, room)
    else:
        for leaf in range(4):
            done[leaf] = lower_first(lists, bests[leaf], moves, cutter, room_of(room, leaf))
            evaluated += CELLS if bests[leaf] >= 0 else 0
    if best >= 0:
        w = room[1]
        h0, h1 = w[2 * CELLS], w[4 * CELLS + 2 * CELLS + LEAF - 1]
        h2, h3 = w[8 * CELLS + 3 * CELLS - LEAF], w[12 * CELLS + 3 * CELLS - 1]
        lean[0] = 0.25 * (h1 - h0 + h3 - h2) / max(half_x, 1e-9)
        lean[1] = 0.25 * (h2 - h0 + h3 - h1) / max(half_y, 1e-9)
        steep = max(abs(lean[0]), abs(lean[1]))
        if not steep < MOST_LEAN:
            lean[0], lean[1] = 0.0, 0.0
        elif is_ball:
            px, py = lean[0], lean[1]
    if is_ball:
        slope_x, slope_y = np.float32(px), np.float32(py)
    ceiling = float(part_ceiling(x + tile[0], y + tile[1], slope_x, slope_y, room))
    # The surface is measured from the slope in float32: that rounds too.
    ceiling += tie - top + 2.0**-21 * (half_x * abs(slope_x) + half_y * abs(slope_y))
    if is_ball:
        kept = keep_pieces(
            lists, base, every, vectors_of(n), x, y, half_x, half_y, px, py, radius, margin, ceiling, to,
            room[4],
        )  # fmt: skip
    else:
        count = (n + LANES - 1) // LANES
        kept = keep(
            lists, base, n, every, count, half_x, half_y, slope_x, slope_y, ceiling, to, level, best_move,
            moves,
        )  # fmt: skip
    if kept <= (FEW_OF_CURVES if is_ball and has_curves else FEW):
        for leaf in range(4):
            store_leaf(field, leaf_of(part, leaf), room_of(room, leaf))
        if kept == 1 and level < math.inf and np.int64(lists[to + ENTRY]) == best_move:
            _fill(field, part, np.float32(level), rows[best_move])
            return evaluated, 0
        return evaluated + _few(lists, to, kept, field, part, cutter, moves, room), 0
    if is_ball and not has_curves:
        evaluated += lower_leaves(lists, to, kept, done, field, part, tile, cutter, moves, room, lean)
        return evaluated, 4 * kept
    for leaf in range(4):
        evaluated += lower_leaf(
            lists, to, kept, np.int64(done[leaf]), every, field, leaf_of(part, leaf), tile, cutter, moves,
            room_of(room, leaf), lean,
        )  # fmt: skip
    return evaluated, 4 * kept


@loop_kernel
def _few(lists, base, n, field, block, cutter, moves, room):
    """Lower a block by the few moves of its list, untested, all cells at once; return heights evaluated."""
    h, owner, xs, ys = field
    codes, rows, records = moves
    _, _, heights, _ = cutter
    places, _, _, _, g, _, _, _ = room
    iy0, iy1, ix0, ix1 = block
    wide = np.uint64(ix1 - ix0)
    cells = wide * np.uint64(iy1 - iy0)
    k = np.uint64(0)
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(wide):
            places[k + ix], places[k + ix + cells] = xs[np.uint64(ix0) + ix], ys[iy]
        k += wide
    last, evaluated = np.int64(-1), 0
    for piece in range(n):
        j = np.int64(lists[piece_at(base, piece) + ENTRY])
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


@loop_kernel
def cut_block(
    lists, size, n, near, count, every, n_groups, vectors, numbers, field, block, tile, cutter, moves, room,
    lean,
):  # fmt: skip
    """Cut a block of 16 by the groups `near` of the list; return evaluations, tests, tests of leaves.

    n_groups: of group_kernels, behind three lists of `size`; 0: by the groups `near`.
    """
    tests = count * LANES
    iy0, iy1, ix0, ix1 = block
    if n_groups:
        n1, tests = _refine_groups(
            lists, 3 * size, n_groups, size, field, block, tile, cutter, moves, room, lean, vectors, numbers
        )
    else:
        n1 = _refine(lists, START, n, near, count, size, field, block, tile, cutter, moves, room, lean)
    if n1 == 0:
        return 4, tests, 0
    if n1 <= FEW:
        return 4 + _few(lists, size, n1, field, block, cutter, moves, room), tests, 0
    evaluated, in_leaves = 4, 0
    for iy in range(iy0, iy1, 8):
        for ix in range(ix0, ix1, 8):
            part = (iy, min(iy + 8, iy1), ix, min(ix + 8, ix1))
            k = 2 + (2 if ix > ix0 else 0) + (4 if iy > iy0 else 0)
            lean[0], lean[1] = lean[k], lean[k + 1]
            some, asked = _cut_part(
                lists, size, n1, 2 * size, every, field, part, tile, cutter, moves, room, lean
            )
            tests += n1
            evaluated += some
            in_leaves += asked
    return evaluated, tests, in_leaves
