"""A leaf of the fast cut: a few cells lowered by the moves of its list, exactly and with few heights.

The lists, bounds and ceilings are those of block_kernels, whose tuples of arguments these kernels take too.
"""

import math

import numpy as np

from simkit._jit import CAN_PACK, bound_loop_kernel, kernel, loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bit_kernels import first_of, not_above_zero, without_first
from simkit.stock.bound_kernels import RADIUS_AT, ball_bounds
from simkit.stock.half_kernels import lower_half_ball, lower_half_flat
from simkit.stock.list_kernels import (
    BEND_AT,
    BEND_X,
    BEND_Y,
    BIG,
    CHANCE,
    CHANCE_X,
    CHANCE_Y,
    ENTRY,
    GROUP,
    LANES,
    LEVEL,
    LOWEST,
    SLOPE_X,
    SLOPE_Y,
    WIDE,
    extent,
    lanes_of,
    piece_at,
)
from simkit.stock.record_kernels import (
    LEVEL_ARC_FORM,
    LINE_FORM,
    LOW,
    SLOPE,
    H,
    code_of,
    form_of,
    is_line,
)
from simkit.stock.wide_kernels import (
    any_below,
    count_of,
    fill_rows,
    gather_rows,
    pack_sixteen,
    scatter_rows,
    shift_eight,
)

LEAF = 4
CELLS = LEAF * LEAF
HALF = CELLS // 2
MANY, TOO_MANY = 16, 256  # between them the best of each quarter of a leaf go first; to find it costs more
# Bounds are compared in whole numbers of 1 / STEPS mm, FARTHEST mm up or down, the piece's place behind them.
STEPS, FARTHEST, PLACES = 2.0**14, 16.0, 4096
MOST = np.int32(2**31 - 1)
FLAT_LINE = int(code_of.py_func(LINE_FORM, FLAT))


@loop_kernel
def marked(marks, first, lanes):
    """Which of `lanes` marks, whole vectors of sixteen, are zero or less, a bit for each."""
    found = not_above_zero(marks, first)
    if lanes > np.uint64(16):
        found = np.uint32(found | np.uint32(not_above_zero(marks, first + np.uint64(16)) << np.uint32(16)))
    return found


@kernel
def level_height(codes, records, j):
    """Height that a move nowhere comes under, rounding and all, if it is that of its start; else -inf.

    A line that starts at its lowest place has g = start + something not negative, in floating point too.
    """
    is_sure = is_line(codes[j]) or form_of(codes[j]) == LEVEL_ARC_FORM
    return records[j, H] if is_sure and records[j, H] == records[j, LOW] else -math.inf


# Numbers of a leaf that is worked at, float64, CELLS of each: places, heights and the moves that cut them.
# All in one array: the distance between two is then known to the compiler.
AT_X, AT_Y, HEIGHT, KEEPER = (CELLS * k for k in range(4))


@loop_kernel
def name_pieces(lists, first, bits, names, place):
    """Write the moves of the pieces of a group whose bits are set to names, from `place` on; return how many.

    Room for sixteen more is needed.
    """
    low = np.uint32(bits & np.uint32(0xFFFF))
    count = count_of(bits)
    if CAN_PACK:
        at, some = first + np.uint64(ENTRY), count_of(low)
        pack_sixteen(lists, at, low, names, place)
        pack_sixteen(lists, at + np.uint64(16), bits >> np.uint32(16), names, place + some)
        return count
    for k in range(count):
        names[place + k] = lists[first + first_of(bits) + np.uint64(ENTRY)]
        bits = without_first(bits)
    return count


@kernel
def lower_half(profile, moves, names, place, count, w, half):
    """Lower half a leaf by straight moves of a ball or a flat cutter: see half_kernels; w: see _evaluate."""
    _, rows, records = moves
    at, apart, count = np.uint64(half * HALF), np.uint64(CELLS), np.int64(count)
    if profile == BALL:
        lower_half_ball(names, place, count, rows, records, w, at, apart)
    else:
        lower_half_flat(names, place, count, rows, records, w, at, apart)


@loop_kernel
def _evaluate(moves, heights, j, room):
    """Lower the cells of a leaf by one move."""
    codes, rows, records = moves
    _, w, _, _, g, _, _, _ = room
    heights(codes[j], records[j], w, CELLS, g)
    row = np.float64(rows[j])
    for i in range(np.uint64(CELLS)):
        height = np.float64(g[i])
        before, keeper = w[i + np.uint64(HEIGHT)], w[i + np.uint64(KEEPER)]
        is_lower = (height < before) | ((height == before) & (row < keeper))
        w[i + np.uint64(HEIGHT)] = height if height < before else before
        w[i + np.uint64(KEEPER)] = row if is_lower else keeper


@loop_kernel
def load_leaf(field, block, room):
    """Copy the cells of a leaf to the room; one at an edge is filled up with copies of its last cells."""
    h, owner, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    _, w, _, off, _, _, _, _ = room
    mx, my = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    if iy1 - iy0 == LEAF and ix1 - ix0 == LEAF:
        first, columns, i, none = np.uint64(ix0), np.uint64(h.shape[1]), np.uint64(0), np.uint64(0)
        cells = np.uint64(iy0) * columns + first
        for r in range(np.uint64(iy0), np.uint64(iy1), np.uint64(2)):
            gather_rows(w, i, xs, first, none)
            fill_rows(w, i + np.uint64(AT_Y), ys[r], ys[r + np.uint64(1)])
            gather_rows(w, i + np.uint64(HEIGHT), h, cells, columns)
            gather_rows(w, i + np.uint64(KEEPER), owner, cells, columns)
            shift_eight(off, i, w, i, mx)
            shift_eight(off, i + np.uint64(CELLS), w, i + np.uint64(AT_Y), my)
            i += np.uint64(HALF)
            cells += columns + columns
        return
    for r in range(LEAF):
        iy = np.uint64(min(iy0 + r, iy1 - 1))
        for c in range(LEAF):
            ix = np.uint64(min(ix0 + c, ix1 - 1))
            i = np.uint64(r * LEAF + c)
            w[i], w[i + np.uint64(AT_Y)] = xs[ix], ys[iy]
            w[i + np.uint64(HEIGHT)], w[i + np.uint64(KEEPER)] = h[iy, ix], owner[iy, ix]
    for i in range(np.uint64(CELLS)):
        off[i], off[i + np.uint64(CELLS)] = w[i] - mx, w[i + np.uint64(AT_Y)] - my


@loop_kernel
def store_leaf(field, block, room):
    h, owner, _, _ = field
    iy0, iy1, ix0, ix1 = block
    _, w, _, _, _, _, _, _ = room
    if iy1 - iy0 == LEAF and ix1 - ix0 == LEAF:
        columns, i = np.uint64(h.shape[1]), np.uint64(0)
        cells = np.uint64(iy0) * columns + np.uint64(ix0)
        for _ in range(2):
            scatter_rows(h, cells, columns, w, i + np.uint64(HEIGHT))
            scatter_rows(owner, cells, columns, w, i + np.uint64(KEEPER))
            i += np.uint64(HALF)
            cells += columns + columns
        return
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(np.uint64(ix0), np.uint64(ix1)):
            i = (iy - np.uint64(iy0)) * np.uint64(LEAF) + ix - np.uint64(ix0)
            h[iy, ix], owner[iy, ix] = w[i + np.uint64(HEIGHT)], np.int32(w[i + np.uint64(KEEPER)])


@loop_kernel
def _surface(room):
    """The heights of a leaf, as the bounds are: in float32."""
    _, w, hb, _, _, _, _, _ = room
    for i in range(np.uint64(CELLS)):
        hb[i] = w[i + np.uint64(HEIGHT)]


@loop_kernel
def winners(planes, n, hb, off, wide):
    """Which bounds, as planes, come under the surface of a leaf at any of its cells, a bit for each.

    planes: n bounds, one at least, then n slopes along x, along y, LANES apart.  wide: cells of a leaf in a
    row, LEAF rows.
    """
    lanes, found = np.uint64(LANES), np.uint32(0)
    for lane in range((n + np.uint64(15)) & ~np.uint64(15)):
        low, slope_x, slope_y = planes[lane], planes[lane + lanes], planes[lane + lanes + lanes]
        is_under = False
        for r in range(LEAF):
            at = low + slope_y * off[np.uint64(LEAF * wide + r * wide)]
            for c in range(wide):
                is_under |= at + slope_x * off[np.uint64(c)] <= hb[np.uint64(r * wide + c)]
        bit = np.uint32(np.uint32(1) << np.uint32(lane))
        found = np.uint32(found | (bit if is_under else np.uint32(0)))
    # What fills up the last vector is high, but its slopes are any, and any number may come of them.
    return np.uint32(found & (np.uint32(0xFFFFFFFF) >> np.uint32(lanes - n)))


@bound_loop_kernel
def _least_over(lists, i, lift, row, hb, off):
    """The least that the bound of the piece at `i` stands over the surface of a leaf in one of its rows."""
    first = np.uint64(row * LEAF)
    x0, x1, x2, x3 = off[np.uint64(0)], off[np.uint64(1)], off[np.uint64(2)], off[np.uint64(3)]
    y = off[first + np.uint64(CELLS)]
    slope, bend = lists[i + np.uint64(SLOPE_X)], lists[i + np.uint64(BEND_X)]
    at = (lists[i + np.uint64(LOWEST)] + lift) + lists[i + np.uint64(SLOPE_Y)] * y
    w = lists[i + np.uint64(BEND_Y)] * y - lists[i + np.uint64(BEND_AT)]
    level = lists[i + np.uint64(LEVEL)] + lift
    w0, w1, w2, w3 = w + bend * x0, w + bend * x1, w + bend * x2, w + bend * x3
    over = min(
        max(at + (slope * x0 + w0 * w0), level) - hb[first],
        max(at + (slope * x1 + w1 * w1), level) - hb[first + np.uint64(1)],
    )
    return min(
        over,
        min(
            max(at + (slope * x2 + w2 * w2), level) - hb[first + np.uint64(2)],
            max(at + (slope * x3 + w3 * w3), level) - hb[first + np.uint64(3)],
        ),
    )


@bound_loop_kernel
def halves_under(lists, first, n, lift, hb, off, done, marks):
    """Which of the first n bounds of a group come under the surface of a leaf in its first and its last rows.

    A bit for each, none for the move `done`.  lift: what is added to the bounds to compare them with the
    surface.  marks: room for twice as many numbers as a group has pieces.
    """
    lanes = (n + np.uint64(15)) & ~np.uint64(15)
    for lane in range(lanes):
        i = first + lane
        is_done = lists[i + np.uint64(ENTRY)] == done
        low = min(_least_over(lists, i, lift, 0, hb, off), _least_over(lists, i, lift, 1, hb, off))
        high = min(_least_over(lists, i, lift, 2, hb, off), _least_over(lists, i, lift, 3, hb, off))
        marks[lane] = BIG if is_done else low
        marks[lane + np.uint64(LANES)] = BIG if is_done else high
    # What fills the list up to whole vectors is no number, and never counts.
    used = np.uint32(0xFFFFFFFF) >> np.uint32(np.uint64(LANES) - n)
    b0, b1 = marked(marks, np.uint64(0), lanes), marked(marks, np.uint64(LANES), lanes)
    return np.uint32(b0 & used), np.uint32(b1 & used)


@loop_kernel
def _key(low, place):
    """Bound and place as one whole number: the least of several is that of the lowest bound."""
    most = np.float32(FARTHEST)
    level = np.int32(min(max(low, -most), most) * np.float32(STEPS))
    return np.int32(np.int32(level * np.int32(PLACES)) + place)


@loop_kernel
def _piece_of(lists, base, groups, key):
    """Where the piece of a key is, -1 if it does not cover the block, or there is none."""
    if key == MOST:
        return np.int64(-1)
    place = np.int64(key & np.int32(PLACES - 1))
    i = np.int64(base) + np.int64(groups[place // LANES]) * GROUP + place % LANES
    return i if lists[i + CHANCE] < BIG else np.int64(-1)


@loop_kernel
def best_in_quarters(lists, base, n, groups, count, half_x, half_y, low, keys):
    """Places of the pieces with the lowest bounds in the middle of each quarter of a block, in `groups`.

    Of those that cover the whole block, among the first PLACES.  low: about what bounds are.
    keys (4 LANES,): room for whole numbers.
    """
    most = MOST
    n, x, y = np.uint64(n), half_x, half_y
    # The least of each lane first: a least of all lanes costs more than what is compared for it.
    for k in range(np.uint64(4 * LANES)):
        keys[k] = most
    wide = np.uint64(len(keys)) // np.uint64(4 * LANES // WIDE)  # a number that the compiler does not know
    for at in range(min(np.uint64(count), np.uint64(PLACES // LANES))):
        group = np.uint64(groups[at])
        first = np.uint64(base) + group * np.uint64(GROUP)
        for begin in range(np.uint64(0), lanes_of(n, group), wide):
            if not any_below(lists, first + begin + np.uint64(CHANCE), BIG):  # most cover no block
                continue
            for lane in range(begin, begin + wide):
                i = first + lane
                place = np.int32(at * np.uint64(LANES) + lane)
                chance = lists[i + np.uint64(CHANCE)]
                # What fills the list up to whole vectors has no slope: not a number.
                rise_x = x * (lists[i + np.uint64(CHANCE_X)] if chance < BIG else np.float32(0.0))
                rise_y = y * (lists[i + np.uint64(CHANCE_Y)] if chance < BIG else np.float32(0.0))
                over = chance - low
                keys[lane] = min(keys[lane], _key(over - rise_x - rise_y, place))
                k = lane + np.uint64(LANES)
                keys[k] = min(keys[k], _key(over + rise_x - rise_y, place))
                k = lane + np.uint64(2 * LANES)
                keys[k] = min(keys[k], _key(over - rise_x + rise_y, place))
                k = lane + np.uint64(3 * LANES)
                keys[k] = min(keys[k], _key(over + rise_x + rise_y, place))
    a = b = c = d = most
    for lane in range(np.uint64(LANES)):
        a = min(a, keys[lane])
        b = min(b, keys[lane + np.uint64(LANES)])
        c = min(c, keys[lane + np.uint64(2 * LANES)])
        d = min(d, keys[lane + np.uint64(3 * LANES)])
    return (
        _piece_of(lists, base, groups, a), _piece_of(lists, base, groups, b),
        _piece_of(lists, base, groups, c), _piece_of(lists, base, groups, d),
    )  # fmt: skip


@loop_kernel
def _evaluate_quarters(lists, base, n, groups, count, low, half_x, half_y, moves, heights, room):
    """Lower a leaf by the most promising move of each quarter; return how many heights were evaluated."""
    quarter_x, quarter_y = np.float32(0.5 * half_x), np.float32(0.5 * half_y)
    evaluated = 0
    for i in best_in_quarters(lists, base, n, groups, count, quarter_x, quarter_y, low, room[6]):
        if i >= 0 and lists[i + LOWEST] < BIG:
            _evaluate(moves, heights, np.int64(lists[i + ENTRY]), room)
            evaluated += CELLS
            lists[i + LOWEST] = BIG
    return evaluated


@loop_kernel
def lower_first(lists, i, moves, cutter, room):
    """Lower a leaf by the piece at `i`, which seems the lowest there; return its move, -1 for none."""
    if i < 0:
        return np.int64(-1)
    codes, _, _ = moves
    profile, _, heights, _ = cutter
    _, w, _, _, names, _, _, _ = room
    j = np.int64(lists[i + ENTRY])
    if profile in (BALL, FLAT) and is_line(codes[j]):
        names[0] = lists[i + ENTRY]
        for half in range(2):
            lower_half(profile, moves, names, np.uint64(0), 1, w, half)
    else:
        _evaluate(moves, heights, j, room)
    return j


@loop_kernel
def part_ceiling(x, y, slope_x, slope_y, room):
    """The most that the surface of four leaves stands above a plane of the slope through (x, y)."""
    _, w, _, _, some, _, _, _ = room
    leaf = np.uint64(4 * CELLS)
    for i in range(np.uint64(CELLS)):
        most = -BIG
        for k in range(np.uint64(4)):
            at = i + k * leaf
            wide = slope_x * np.float32(w[at] - x) + slope_y * np.float32(w[at + np.uint64(AT_Y)] - y)
            most = max(most, np.float32(w[at + np.uint64(HEIGHT)]) - wide)
        some[i] = most
    for i in range(np.uint64(HALF)):
        some[i] = max(some[i], some[i + np.uint64(HALF)])
    most = some[0]
    for i in range(np.uint64(1), np.uint64(HALF)):
        most = max(most, some[i])
    return most


@loop_kernel
def without_late(lists, first, bits, level, best, moves):
    """Of the pieces of a group whose bits are set those that can win against a level move, `best`.

    Not those of moves that run later and lie nowhere below its height `level`.
    """
    codes, _, records = moves
    left = bits
    while left != np.uint32(0):
        j = np.int64(lists[first + first_of(left) + np.uint64(ENTRY)])
        if j > best and level_height(codes, records, j) >= level:
            bits = np.uint32(bits ^ np.uint32(left & (~left + np.uint32(1))))
        left = without_first(left)
    return bits


@loop_kernel
def lower_leaf(lists, base, n, done, groups, field, block, tile, cutter, moves, room, lean):
    """Lower a leaf by the moves of its list, in any order; return how many heights were evaluated.

    It is loaded.  done: the move that lowered it before, -1 for none.
    """
    codes, _, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin, has_curves = tile
    _, w, hb, off, marks, _, _, _ = room
    x, y, half_x, half_y = extent(field[2], field[3], block, tile)
    count = (n + LANES - 1) // LANES
    best = np.int64(-1)
    if profile == BALL:
        ball_bounds(
            lists, base, n, groups, count, x, y, half_x, half_y, lean[0], lean[1], support[RADIUS_AT], margin
        )
    else:
        best = bounds(
            lists, base, n, groups, count, x, y, half_x, half_y, lean[0], lean[1], profile, support, margin,
            True,
        )  # fmt: skip
    evaluated, level = 0, math.inf
    is_easy = profile in (BALL, FLAT)
    if best >= 0:
        i = piece_at(base, best)
        j, low = np.int64(lists[i + ENTRY]), lists[i + LOWEST]
        lists[i + LOWEST] = BIG
        if j != done:
            done = lower_first(lists, i, moves, cutter, room)
            evaluated += CELLS
            if not (is_easy and is_line(codes[j])) and MANY < n <= TOO_MANY:
                evaluated += _evaluate_quarters(
                    lists, base, n, groups, count, low, half_x, half_y, moves, heights, room
                )
    if done >= 0 and profile == FLAT and codes[done] == FLAT_LINE and records[done, SLOPE] == 0.0:
        level = records[done, H]
    lift = np.float32(top - tie)
    names, last = np.uint64(2 * LANES), np.int64(-1)
    for group in range(np.uint64(count)):
        _surface(room)
        first = np.uint64(base) + group * np.uint64(GROUP)
        some = min(np.uint64(n) - group * np.uint64(LANES), np.uint64(LANES))
        b0, b1 = halves_under(lists, first, some, lift, hb, off, np.float32(done), marks)
        if level < math.inf:
            b0 = without_late(lists, first, b0, level, done, moves)
            b1 = without_late(lists, first, b1, level, done, moves)
        if has_curves or not is_easy:
            bits = np.uint32(b0 | b1)
            while bits != np.uint32(0):
                alone, lane = np.uint32(bits & (~bits + np.uint32(1))), first_of(bits)
                bits = np.uint32(bits ^ alone)
                j = np.int64(lists[first + lane + np.uint64(ENTRY)])
                if is_easy and is_line(codes[j]):
                    continue
                b0, b1 = np.uint32(b0 & ~alone), np.uint32(b1 & ~alone)
                if j != last:
                    _evaluate(moves, heights, j, room)
                    evaluated += CELLS
                last = j
        if is_easy:
            n0 = name_pieces(lists, first, b0, marks, names)
            lower_half(profile, moves, marks, names, n0, w, 0)
            n1 = name_pieces(lists, first, b1, marks, names)
            lower_half(profile, moves, marks, names, n1, w, 1)
            evaluated += HALF * np.int64(n0 + n1)
    store_leaf(field, block, room)
    return evaluated
