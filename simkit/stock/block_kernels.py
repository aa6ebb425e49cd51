"""The fast cut of tiles: lists of moves refined from blocks of 16 cells to 8 to 4, then evaluated.

Every block keeps the pieces of moves whose lower bound over it (bound_kernels) lies below a ceiling of
what will be left there.  The ceiling is a plane.  Its slope is that of the move b that is lowest at the
block's middle among those that cover the whole block; its height is the most that b stands above that
slope, at a corner, as the swept surface of a convex cutter is convex; or the highest that is left in the
tile.  A move whose bound is nowhere under the ceiling cannot win a cell, and is dropped for all blocks
inside.  A leaf of 4 x 4 cells evaluates b first and the most promising of each quarter, takes the ceiling
from the surface so lowered, and evaluates what is left of its list, passing over bounds that are above the
surface at every cell.

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
top, tie, margin); block (iy0, iy1, ix0, ix1); room (places, heights, owners, offsets, heights of one move,
corners) of a leaf to work in; planes (4 LANES,): bounds, slopes and entries of some pieces.
"""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.bound_kernels import (
    BIG,
    CHANCE,
    ENTRY,
    GROUP,
    INPUTS,
    LANES,
    LOWEST,
    RADIUS_AT,
    SLOPE_X,
    SLOPE_Y,
    add_move,
    close_list,
    curve_pieces,
    group_boxes,
    groups_near,
)
from simkit.stock.line_kernels import line_ball, line_flat
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

BLOCK = 16  # cells along the edge of the largest blocks of a tile
LEAF = 4
CELLS = LEAF * LEAF
START = np.int64(0)  # of the first list; a literal 0 would be a type of its own, and compiled for again
FEW = 6  # so many moves are evaluated without tests
MANY = 16  # from so many on the best of each quarter of a leaf go first
# Bounds are compared in whole numbers of 1 / STEPS mm, FARTHEST mm up or down, the piece's place behind them.
STEPS, FARTHEST, PLACES = 2.0**14, 16.0, 4096
BALL_LINE, FLAT_LINE = (int(code_of.py_func(LINE_FORM, profile)) for profile in (BALL, FLAT))


@kernel
def _piece(base, k):
    """Where piece k of the list at `base` is."""
    return base + (k // LANES) * GROUP + k % LANES


@kernel
def _lanes(n, group):
    """How many places of a group are in use, filled up to whole vectors of eight."""
    return min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(7)) & ~np.uint64(7))


@loop_kernel
def _low_ones(lists, first, lanes, half_x, half_y, slope_x, slope_y, ceiling):
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
def _level_height(codes, records, j):
    """Height that a move nowhere comes under, rounding and all, if it is that of its start; else -inf.

    A line that starts at its lowest place has g = start + something not negative, in floating point too.
    """
    is_sure = is_line(codes[j]) or form_of(codes[j]) == LEVEL_ARC_FORM
    return records[j, H] if is_sure and records[j, H] == records[j, LOW] else -math.inf


@loop_kernel
def _keep(
    lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling, to, level, best_entry, moves
):
    """Copy the pieces that come under the ceiling to the list at `to`; return its length.

    level: height of a level flat move that covers the whole block, +inf if there is none, best_entry its
    entry: moves that run later and nowhere come under it can only draw, and lose.
    """
    first_entry, entries, codes, _, records = moves
    half_x, half_y, ceiling = np.float32(half_x), np.float32(half_y), np.float32(ceiling)
    lanes, columns = np.uint64(LANES), np.uint64(INPUTS)
    n, at, kept = np.uint64(n), np.uint64(to), np.uint64(0)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        first = np.uint64(base) + group * np.uint64(GROUP)
        some = _lanes(n, group)
        bits = _low_ones(lists, first, some, half_x, half_y, slope_x, slope_y, ceiling)
        while bits != np.uint32(0):
            i = first + first_of(bits)
            bits = without_first(bits)
            if level < math.inf:
                entry = np.int64(lists[i + np.uint64(ENTRY)])
                if (
                    entry > best_entry
                    and _level_height(codes, records, entries[first_entry + entry]) >= level
                ):
                    continue
            for c in range(columns):
                lists[at + c * lanes] = lists[i + c * lanes]
            kept += np.uint64(1)
            at += np.uint64(1)
            if kept % lanes == np.uint64(0):
                at += np.uint64(GROUP) - lanes
    close_list(lists, to, kept)
    return np.int64(kept)


@loop_kernel
def _extent(field, block, tile):
    """Middle of a block seen from the tile's, and half its extent, between the outermost cell centres."""
    _, _, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    xa, xb, ya, yb = xs[ix0], xs[ix1 - 1], ys[iy0], ys[iy1 - 1]
    return 0.5 * (xa + xb) - tile[0], 0.5 * (ya + yb) - tile[1], 0.5 * (xb - xa), 0.5 * (yb - ya)


@loop_kernel
def _corner_ceiling(field, block, moves, heights, j, slope_x, slope_y, room):
    """The most that a straight move stands above a plane of the slope through the middle of a block."""
    _, _, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    _, _, codes, _, records = moves
    _, _, _, _, g, corners = room
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
def _refine(lists, base, n, groups, count, to, field, block, tile, cutter, moves, room):
    """Keep the pieces that can win a cell of a block; return how many.

    A level flat move that covers the block and is alone in the end lowers it at once: 0 is returned.
    """
    first_entry, entries, codes, rows, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin = tile
    x, y, half_x, half_y = _extent(field, block, tile)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    best = bounds(lists, base, n, groups, count, x, y, half, profile, support, margin)
    slope_x, slope_y, ceiling = np.float32(0.0), np.float32(0.0), 0.0
    level, best_entry = math.inf, np.int64(0)
    if best >= 0:
        i = _piece(base, best)
        entry = np.int64(lists[i + ENTRY])
        j = entries[first_entry + entry]
        if is_line(codes[j]):
            slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
            ceiling = half_x * abs(slope_x) + half_y * abs(slope_y)
            ceiling = min(
                ceiling, _corner_ceiling(field, block, moves, heights, j, slope_x, slope_y, room) - top
            )
            if profile == FLAT and records[j, SLOPE] == 0.0:
                level, best_entry = records[j, H], entry
    kept = _keep(
        lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling + tie, to, level, best_entry,
        moves,
    )  # fmt: skip
    if kept == 1 and level < math.inf:
        j = entries[first_entry + best_entry]
        _fill(field, block, np.float32(level), rows[j])
        return 0
    return kept


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
def _winners(planes, n, hb, off):
    """Which bounds, as planes, come under the surface of a leaf at any of its cells, a bit for each.

    planes: n bounds, then n slopes along x, along y, LANES apart.
    """
    lanes, found = np.uint64(LANES), np.uint32(0)
    for lane in range((n + np.uint64(7)) & ~np.uint64(7)):
        low, slope_x, slope_y = planes[lane], planes[lane + lanes], planes[lane + lanes + lanes]
        is_under = False
        for r in range(LEAF):
            at = low + slope_y * off[np.uint64(CELLS + r * LEAF)]
            for c in range(LEAF):
                is_under |= at + slope_x * off[np.uint64(c)] <= hb[np.uint64(r * LEAF + c)]
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
        for lane in range(_lanes(n, group)):
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
def _leaf(lists, base, n, groups, field, block, tile, cutter, moves, room, planes):
    """Lower a leaf by the moves of its list, in any order; return how many were evaluated."""
    first_entry, entries, codes, _, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin = tile
    _, hb, _, off, _, _ = room
    _load(field, block, room)
    last = np.int32(-1)
    x, y, half_x, half_y = _extent(field, block, tile)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    count = (n + LANES - 1) // LANES
    best = bounds(lists, base, n, groups, count, x, y, half, profile, support, margin)
    slope_x, slope_y, done = np.float32(0.0), np.float32(0.0), np.int32(-1)
    evaluated, level = 0, math.inf
    if best >= 0:
        i = _piece(base, best)
        slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
        done = entries[first_entry + np.int64(lists[i + ENTRY])]
        _evaluate(moves, heights, done, room)
        evaluated = 1
        low = lists[i + LOWEST]
        lists[i + LOWEST] = BIG
        if n > MANY:
            for k in _lowest_in_quarters(lists, base, n, np.float32(half_x), np.float32(half_y), low):
                i = _piece(base, np.int64(k))
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
        lanes = _lanes(np.uint64(n), group)
        bits = _low_ones(lists, first, lanes, wide, deep, slope_x, slope_y, ceiling)
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
        bits = _winners(planes, some, hb, off)
        while bits != np.uint32(0):
            entry = planes[first_of(bits) + np.uint64(3 * LANES)]
            bits = without_first(bits)
            j = entries[first_entry + np.int64(entry)]
            is_late = level < math.inf and j > done and _level_height(codes, records, j) >= level
            if j != done and j != last and not is_late:
                _evaluate(moves, heights, j, room)
                evaluated += 1
                last = j
    if evaluated:
        _store(field, block, room)
    return evaluated


@loop_kernel
def _few(lists, base, n, field, block, cutter, moves, room):
    """Lower a block by the few moves of its list, untested, all cells at once; return heights evaluated."""
    h, owner, xs, ys = field
    first_entry, entries, codes, rows, records = moves
    _, _, heights, _ = cutter
    places, _, _, _, g, _ = room
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
        j = entries[first_entry + np.int64(lists[_piece(base, piece) + ENTRY])]
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
def _cut_block(lists, size, n, near, count, every, field, block, tile, cutter, moves, room, planes):
    """Cut a block of 16 by the groups `near` of the tile's list; return evaluations and tests."""
    tests = count * LANES
    iy0, iy1, ix0, ix1 = block
    n1 = _refine(lists, START, n, near, count, size, field, block, tile, cutter, moves, room)
    if n1 == 0:
        return 4, tests
    if n1 <= FEW:
        return 4 + _few(lists, size, n1, field, block, cutter, moves, room), tests
    evaluated, count1 = 4, (n1 + LANES - 1) // LANES
    for iy in range(iy0, iy1, 8):
        for ix in range(ix0, ix1, 8):
            part = (iy, min(iy + 8, iy1), ix, min(ix + 8, ix1))
            n2 = _refine(lists, size, n1, every, count1, 2 * size, field, part, tile, cutter, moves, room)
            tests += n1
            evaluated += 4
            if n2 <= FEW:
                evaluated += _few(lists, 2 * size, n2, field, part, cutter, moves, room)
                continue
            tests += 4 * n2
            for leaf_y in range(iy, part[1], LEAF):
                for leaf_x in range(ix, part[3], LEAF):
                    leaf = (leaf_y, min(leaf_y + LEAF, part[1]), leaf_x, min(leaf_x + LEAF, part[3]))
                    evaluated += CELLS * _leaf(
                        lists, 2 * size, n2, every, field, leaf, tile, cutter, moves, room, planes
                    )
    return evaluated, tests


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
    planes,
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
        n, before = START, np.int32(-1)
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            if _repeats(codes, records, j, before):
                continue
            before = j
            n = add_move(
                lists, n, tx, ty, top, math.sqrt(wide * wide + deep * deep) + reach, entry - first_entry, j,
                codes[j], records, fineness,
            )  # fmt: skip
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
                    evaluated, tests = _cut_block(
                        lists, n_groups * GROUP, n, near, count, every, field, block, tile, cutter, moves,
                        room, planes,
                    )  # fmt: skip
                    counts[t, 0] += evaluated
                    counts[t, 1] += tests
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
    highest h of each tile, kept up to date.  counts (tiles, 2): adds the heights evaluated and the bounds
    tested.
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
        np.empty(CELLS, np.float32),
        np.empty(CELLS, np.int32),
        np.empty(2 * CELLS, np.float32),
        np.empty(BLOCK * BLOCK, np.float32),
        np.empty(8, np.float64),
    )
    _cut_tiles(
        field,
        moves,
        cutter,
        room,
        np.zeros(4 * LANES, np.float32),
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
