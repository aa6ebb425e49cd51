"""A leaf of the fast cut: a few cells lowered by the moves of its list, exactly and with few heights.

The lists, bounds and ceilings are those of block_kernels, whose tuples of arguments these kernels take too.
"""

import math

import numpy as np

from simkit._jit import kernel, loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.line_kernels import line_ball, line_flat
from simkit.stock.list_kernels import (
    BIG,
    CHANCE,
    ENTRY,
    GROUP,
    LANES,
    LOWEST,
    SLOPE_X,
    SLOPE_Y,
    extent,
    lanes_of,
    piece_at,
)
from simkit.stock.record_kernels import (
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    LOW,
    RADIUS,
    RIM2,
    SHIFT,
    SLOPE,
    UX,
    UY,
    H,
    X,
    Y,
    code_of,
    form_of,
    is_line,
)

LEAF = 4
CELLS = LEAF * LEAF
MANY, TOO_MANY = 16, 256  # between them the best of each quarter of a leaf go first; to find it costs more
# Bounds are compared in whole numbers of 1 / STEPS mm, FARTHEST mm up or down, the piece's place behind them.
STEPS, FARTHEST, PLACES = 2.0**14, 16.0, 4096
BALL_LINE, FLAT_LINE = (int(code_of.py_func(LINE_FORM, profile)) for profile in (BALL, FLAT))


@loop_kernel
def low_ones(lists, first, lanes, half_x, half_y, slope_x, slope_y, ceiling):
    """Which pieces of a group come under the ceiling over a block, a bit for each: the first has the lowest.

    What a bound comes to there, measured from the slope, is its least over the block.
    """
    found = np.uint32(0)
    for lane in range(lanes):
        i = first + lane
        low = lists[i + np.uint64(LOWEST)] - (
            half_x * abs(lists[i + np.uint64(SLOPE_X)] - slope_x)
            + half_y * abs(lists[i + np.uint64(SLOPE_Y)] - slope_y)
        )
        bit = np.uint32(np.uint32(1) << np.uint32(lane))
        found = np.uint32(found | (bit if low <= ceiling else np.uint32(0)))
    return found


@kernel
def level_height(codes, records, j):
    """Height that a move nowhere comes under, rounding and all, if it is that of its start; else -inf.

    A line that starts at its lowest place has g = start + something not negative, in floating point too.
    """
    is_sure = is_line(codes[j]) or form_of(codes[j]) == LEVEL_ARC_FORM
    return records[j, H] if is_sure and records[j, H] == records[j, LOW] else -math.inf


@loop_kernel
def _evaluate_ball(records, j, row, places, hb, ob):
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    radius, rim2 = records[j, RADIUS], records[j, RIM2]
    ux, uy, length = records[j, UX], records[j, UY], records[j, LENGTH]
    m, shift = records[j, SLOPE], records[j, SHIFT]
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(CELLS)] - ay
        g = np.float32(line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift))
        before, keeper = hb[i], ob[i]
        is_lower = (g < before) | ((g == before) & (row < keeper))
        hb[i] = min(g, before)
        ob[i] = row if is_lower else keeper


@loop_kernel
def _evaluate_flat(records, j, row, places, hb, ob):
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    cover2 = records[j, RADIUS] * records[j, RADIUS] + records[j, RIM2]
    ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(CELLS)] - ay
        g = np.float32(line_flat(dx, dy, h0, cover2, ux, uy, length, m))
        before, keeper = hb[i], ob[i]
        is_lower = (g < before) | ((g == before) & (row < keeper))
        hb[i] = min(g, before)
        ob[i] = row if is_lower else keeper


@loop_kernel
def _lower(g, row, hb, ob):
    """Take over heights where they are lower, or as low and of an earlier move."""
    for i in range(np.uint64(CELLS)):
        before, keeper = hb[i], ob[i]
        is_lower = (g[i] < before) | ((g[i] == before) & (row < keeper))
        hb[i] = min(g[i], before)
        ob[i] = row if is_lower else keeper


@loop_kernel
def _evaluate(moves, heights, j, room):
    """Lower the cells of a leaf by one move.

    The two commonest sweeps have loops of their own: 15 % of the time of a cut is saved so.
    """
    _, _, codes, rows, records = moves
    places, hb, ob, _, g, _ = room
    code = codes[j]
    if code == BALL_LINE:
        _evaluate_ball(records, j, rows[j], places, hb, ob)
    elif code == FLAT_LINE:
        _evaluate_flat(records, j, rows[j], places, hb, ob)
    else:
        heights(code, records[j], places, CELLS, g)
        _lower(g, rows[j], hb, ob)


@loop_kernel
def _load_whole(field, block, mx, my, room):
    """_load for a whole leaf: a row of four is read before it is written, so that it moves at once."""
    h, owner, xs, ys = field
    places, hb, ob, off, _, _ = room
    iy0, ix = np.uint64(block[0]), np.uint64(block[2])
    a, b, c, d = np.uint64(0), np.uint64(1), np.uint64(2), np.uint64(3)
    x0, x1, x2, x3 = xs[ix], xs[ix + b], xs[ix + c], xs[ix + d]
    f0, f1, f2, f3 = np.float32(x0 - mx), np.float32(x1 - mx), np.float32(x2 - mx), np.float32(x3 - mx)
    for r in range(np.uint64(LEAF)):
        iy, i, k = iy0 + r, r * np.uint64(LEAF), r * np.uint64(LEAF) + np.uint64(CELLS)
        y = ys[iy]
        f = np.float32(y - my)
        h0, h1, h2, h3 = h[iy, ix], h[iy, ix + b], h[iy, ix + c], h[iy, ix + d]
        o0, o1, o2, o3 = owner[iy, ix], owner[iy, ix + b], owner[iy, ix + c], owner[iy, ix + d]
        places[i + a], places[i + b], places[i + c], places[i + d] = x0, x1, x2, x3
        places[k + a], places[k + b], places[k + c], places[k + d] = y, y, y, y
        off[i + a], off[i + b], off[i + c], off[i + d] = f0, f1, f2, f3
        off[k + a], off[k + b], off[k + c], off[k + d] = f, f, f, f
        hb[i + a], hb[i + b], hb[i + c], hb[i + d] = h0, h1, h2, h3
        ob[i + a], ob[i + b], ob[i + c], ob[i + d] = o0, o1, o2, o3


@loop_kernel
def _load(field, block, room):
    """Copy the cells of a leaf to the room; one at an edge is filled up with copies of its last cells."""
    h, owner, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    places, hb, ob, off, _, _ = room
    mx, my = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    if iy1 - iy0 == LEAF and ix1 - ix0 == LEAF:
        _load_whole(field, block, mx, my, room)
        return
    for r in range(LEAF):
        iy = np.uint64(min(iy0 + r, iy1 - 1))
        for c in range(LEAF):
            ix = np.uint64(min(ix0 + c, ix1 - 1))
            i = np.uint64(r * LEAF + c)
            places[i], places[i + np.uint64(CELLS)] = xs[ix], ys[iy]
            off[i], off[i + np.uint64(CELLS)] = xs[ix] - mx, ys[iy] - my
            hb[i], ob[i] = h[iy, ix], owner[iy, ix]


@loop_kernel
def _store(field, block, room):
    h, owner, _, _ = field
    iy0, iy1, ix0, ix1 = block
    _, hb, ob, _, _, _ = room
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(np.uint64(ix0), np.uint64(ix1)):
            i = (iy - np.uint64(iy0)) * np.uint64(LEAF) + ix - np.uint64(ix0)
            h[iy, ix], owner[iy, ix] = hb[i], ob[i]


@loop_kernel
def _most_above(slope_x, slope_y, room):
    """The most that the surface of a leaf stands above a plane of the slope through its middle."""
    _, hb, _, off, some, _ = room
    half = np.uint64(CELLS // 2)
    for i in range(half):
        some[i] = max(
            hb[i] - (slope_x * off[i] + slope_y * off[i + np.uint64(CELLS)]),
            hb[i + half] - (slope_x * off[i + half] + slope_y * off[i + half + np.uint64(CELLS)]),
        )
    most = some[0]
    for i in range(half):
        most = max(most, some[i])
    return most


@loop_kernel
def lowest_planes(lists, first, bits, lift, planes):
    """Write bounds and entries of the chosen pieces of a group to `planes`; return how many.

    Filled up to whole vectors with what is nowhere low.
    """
    some = np.uint64(0)
    while bits != np.uint32(0):
        i = first + first_of(bits)
        bits = without_first(bits)
        planes[some] = lists[i + np.uint64(LOWEST)] + lift
        planes[some + np.uint64(LANES)] = lists[i + np.uint64(SLOPE_X)]
        planes[some + np.uint64(2 * LANES)] = lists[i + np.uint64(SLOPE_Y)]
        planes[some + np.uint64(3 * LANES)] = lists[i + np.uint64(ENTRY)]
        some += np.uint64(1)
    for i in range(some, (some + np.uint64(7)) & ~np.uint64(7)):
        planes[i] = BIG
    return some


@loop_kernel
def winners(planes, n, hb, off, wide):
    """Which bounds, as planes, come under the surface of a leaf at any of its cells, a bit for each.

    planes: n bounds, then n slopes along x, along y, LANES apart.  wide: cells of a leaf in a row, LEAF rows.
    """
    lanes, found = np.uint64(LANES), np.uint32(0)
    for lane in range((n + np.uint64(7)) & ~np.uint64(7)):
        low, slope_x, slope_y = planes[lane], planes[lane + lanes], planes[lane + lanes + lanes]
        is_under = False
        for r in range(LEAF):
            at = low + slope_y * off[np.uint64(LEAF * wide + r * wide)]
            for c in range(wide):
                is_under |= at + slope_x * off[np.uint64(c)] <= hb[np.uint64(r * wide + c)]
        bit = np.uint32(np.uint32(1) << np.uint32(lane))
        found = np.uint32(found | (bit if is_under else np.uint32(0)))
    return found


@loop_kernel
def _key(low, place):
    """Bound and place as one whole number: the least of several is that of the lowest bound."""
    most = np.float32(FARTHEST)
    level = np.int32(min(max(low, -most), most) * np.float32(STEPS))
    return np.int32(np.int32(level * np.int32(PLACES)) + place)


@loop_kernel
def _lowest_in_quarters(lists, base, n, half_x, half_y, low):
    """Places in the list of the pieces with the lowest bounds in the middle of each quarter of a block.

    Of those that cover the whole block, among the first PLACES of the list.  low: about what bounds are.
    """
    a = b = c = d = np.int32(2**31 - 1)
    n = min(np.uint64(n), np.uint64(PLACES))
    x, y = np.float32(0.5) * half_x, np.float32(0.5) * half_y
    for group in range((n + np.uint64(LANES - 1)) // np.uint64(LANES)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        for lane in range(lanes_of(n, group)):
            i = first + lane
            place = np.int32(group * np.uint64(LANES) + lane)
            chance = lists[i + np.uint64(CHANCE)]
            # What fills the list up to whole vectors has no slope: not a number.
            rise_x = x * (lists[i + np.uint64(SLOPE_X)] if chance < BIG else np.float32(0.0))
            rise_y = y * (lists[i + np.uint64(SLOPE_Y)] if chance < BIG else np.float32(0.0))
            over = chance - low
            key = _key(over - rise_x - rise_y, place)
            a = np.int32(key if key < a else a)
            key = _key(over + rise_x - rise_y, place)
            b = np.int32(key if key < b else b)
            key = _key(over - rise_x + rise_y, place)
            c = np.int32(key if key < c else c)
            key = _key(over + rise_x + rise_y, place)
            d = np.int32(key if key < d else d)
    mask = np.int32(PLACES - 1)
    return a & mask, b & mask, c & mask, d & mask


@loop_kernel
def lower_leaf(lists, base, n, groups, field, block, tile, cutter, moves, room, planes):
    """Lower a leaf by the moves of its list, in any order; return how many were evaluated."""
    first_entry, entries, codes, _, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin = tile
    _, hb, _, off, _, _ = room
    _load(field, block, room)
    last = np.int32(-1)
    x, y, half_x, half_y = extent(field[2], field[3], block, tile)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    count = (n + LANES - 1) // LANES
    best = bounds(lists, base, n, groups, count, x, y, half, profile, support, margin)
    slope_x, slope_y, done = np.float32(0.0), np.float32(0.0), np.int32(-1)
    evaluated, level = 0, math.inf
    if best >= 0:
        i = piece_at(base, best)
        slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
        done = entries[first_entry + np.int64(lists[i + ENTRY])]
        _evaluate(moves, heights, done, room)
        evaluated = 1
        low = lists[i + LOWEST]
        lists[i + LOWEST] = BIG
        if MANY < n <= TOO_MANY:
            for k in _lowest_in_quarters(lists, base, n, np.float32(half_x), np.float32(half_y), low):
                i = piece_at(base, np.int64(k))
                if lists[i + LOWEST] < BIG:
                    _evaluate(moves, heights, entries[first_entry + np.int64(lists[i + ENTRY])], room)
                    evaluated += 1
                    lists[i + LOWEST] = BIG
        if profile == FLAT and codes[done] == FLAT_LINE and records[done, SLOPE] == 0.0:
            level = records[done, H]
    lift = np.float32(top - tie)
    ceiling = _most_above(slope_x, slope_y, room) - lift
    wide, deep = np.float32(half_x), np.float32(half_y)
    for group in range(np.uint64(count)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        lanes = lanes_of(np.uint64(n), group)
        bits = low_ones(lists, first, lanes, wide, deep, slope_x, slope_y, ceiling)
        bits = winners(planes, lowest_planes(lists, first, bits, lift, planes), hb, off, LEAF)
        while bits != np.uint32(0):
            entry = planes[first_of(bits) + np.uint64(3 * LANES)]
            bits = without_first(bits)
            j = entries[first_entry + np.int64(entry)]
            is_late = level < math.inf and j > done and level_height(codes, records, j) >= level
            if j != done and j != last and not is_late:
                _evaluate(moves, heights, j, room)
                evaluated += 1
                last = j
    if evaluated:
        _store(field, block, room)
    return evaluated
