"""What the moves of a tile take from its wood, in the order in which they run.

What a column loses to a move depends on the column and on the moves before it alone, so each leaf of 4 x 4
cells takes its moves one after the other, whatever goes on beside it.  As for the cut (block_kernels), lists
of moves are refined from blocks of 16 cells to 8 to 4 by lower bounds that are planes (bound_kernels): a move
that is nowhere below what stands in a block takes nothing there.  But here nothing may be told from moves
that run later: the ceiling is a plane over what stands now, so long lists are gone through PASS groups at a
time, and a leaf looks at every bound again when its turn comes, over the surface that the moves before it
have left.

Arguments that go together go as tuples: field (h, owner, floor, up, xs, ys); moves (first entry at hand,
entries, codes, rows, records); cutter (profile, support, and cell_heights and bounds as pointers); tile
(middle x, y, top, tie, margin); block (iy0, iy1, ix0, ix1); taken (entries at hand, TAKES); room of a
leaf to work in: w (ROOM,), off (2 CELLS,) float32, places (PLACES,) float64, batch (BATCH,) float32 and its
bits.
"""

import math

import numpy as np

from simkit._jit import kernel, loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.bound_kernels import RADIUS_AT, STEEPEST
from simkit.stock.leaf_kernels import low_ones, lowest_planes, winners
from simkit.stock.line_kernels import line_ball, line_flat
from simkit.stock.list_kernels import (
    GROUP,
    LANES,
    add_move,
    close_list,
    copy_piece,
    curve_pieces,
    extent,
    group_boxes,
    groups_near,
    lanes_of,
)
from simkit.stock.record_kernels import (
    EX,
    EY,
    HELIX_FORM,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    RADIUS,
    RIM2,
    SENSE,
    SHIFT,
    SLOPE,
    SPREAD,
    SWEEP,
    SX,
    SY,
    THETA0,
    UX,
    UY,
    WIDTH,
    H,
    R,
    X,
    Y,
    code_of,
    form_of,
    is_line,
)

BLOCK = 16  # cells along the edge of the largest blocks of a tile
PART = 8
LEAF, WIDE = 4, 8  # rows and columns of a leaf
CELLS = LEAF * WIDE
PASS = 16  # groups of pieces between two looks at what stands
START = np.int64(0)  # of the first list; a literal 0 would be a type of its own, and compiled for again
# Places of a leaf's numbers, in arrays of their own: the distance between two is then known to the compiler,
# which needs no test whether they overlap.  What stands is at 0.
FLOOR, KEEPER = CELLS, 2 * CELLS
ROOM = 3 * CELLS
# The same of float64: x of the cells at 0.
AT_Y, TOTAL, SIDE, AHEAD, BEHIND = (CELLS * k for k in range(1, 6))
PLACES = 6 * CELLS
# Heights of the moves of a group, one move after the other, what each takes, and what stood before it.
LOST, BEFORE = LANES * CELLS, 2 * LANES * CELLS
DEEPEST, HIGHEST = 3 * LANES * CELLS, 3 * LANES * CELLS + LANES  # of each move, and of one
BATCH = HIGHEST + 1
# What is told of an entry, a row of float64: what its columns lost, and of that what lay on the right less
# what lay on the left; the highest wood taken, the nearest and farthest place along the path; the most that
# one column lost, the lowest wood there, and that cell.
TAKEN, LEAN, TOP, NEAR, FAR, DEPTH, BOTTOM, SPOT = range(8)
TAKES = 8
ABOUT = 0.006  # an angle, for a first look (_about is within 0.005)
ON_PATH = 1e-9  # mm off a line, mm2 on arcs: what rounding makes of nothing
BALL_LINE, FLAT_LINE = (int(code_of.py_func(LINE_FORM, profile)) for profile in (BALL, FLAT))


@loop_kernel
def _plane_over(field, block, top):
    """A plane that nothing in a block stands above: slopes, and its height in the middle, counted from `top`.

    Its slope is that of the block's corners, or any other.
    """
    h, _, _, _, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    wide, deep = xs[ix1 - 1] - xs[ix0], ys[iy1 - 1] - ys[iy0]
    a, b, c, d = h[iy0, ix0], h[iy0, ix1 - 1], h[iy1 - 1, ix0], h[iy1 - 1, ix1 - 1]
    slope_x = 0.5 * (b - a + d - c) / wide if wide > 0.0 else 0.0
    slope_y = 0.5 * (c - a + d - b) / deep if deep > 0.0 else 0.0
    slope_x, slope_y = np.float32(slope_x), np.float32(slope_y)
    steepest = np.float32(STEEPEST)
    if not (abs(slope_x) <= steepest and abs(slope_y) <= steepest):
        slope_x, slope_y = np.float32(0.0), np.float32(0.0)
    rise = np.float32(slope_x * np.float32(xs[1] - xs[0])) if wide > 0.0 else np.float32(0.0)
    middle = np.float32(0.5) * np.float32(ix1 - 1 - ix0)
    most = -np.float32(np.inf)
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        beside = slope_y * np.float32(ys[iy] - 0.5 * (ys[iy0] + ys[iy1 - 1]))
        highest = -np.float32(np.inf)
        for i in range(np.uint64(ix1 - ix0)):
            height = h[iy, np.uint64(ix0) + i] - rise * (np.float32(i) - middle)
            highest = height if height > highest else highest
        most = max(most, highest - beside)
    return slope_x, slope_y, np.float32(most - np.float32(top))


@loop_kernel
def _refine(lists, base, n, groups, count, to, field, block, tile, cutter):
    """Copy the pieces that may take something from a block to the list at `to`, in order; return how many."""
    profile, support, _, bounds = cutter
    _, _, top, tie, margin = tile
    x, y, half_x, half_y = extent(field[4], field[5], block, tile)
    slope_x, slope_y, ceiling = _plane_over(field, block, top)
    bounds(
        lists, base, n, groups, count, x, y, half_x, half_y, slope_x, slope_y, profile, support, margin, False
    )
    half_x, half_y, ceiling = np.float32(half_x), np.float32(half_y), np.float32(ceiling + tie)
    n, at, kept = np.uint64(n), np.uint64(to), np.uint64(0)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        first = np.uint64(base) + group * np.uint64(GROUP)
        bits = low_ones(lists, first, lanes_of(n, group), half_x, half_y, slope_x, slope_y, ceiling)
        while bits != np.uint32(0):
            i = first + first_of(bits)
            bits = without_first(bits)
            at, kept = copy_piece(lists, i, at, kept)
    close_list(lists, to, kept)
    return np.int64(kept)


@loop_kernel
def _most(numbers, first):
    """The most of the CELLS numbers from `first` on."""
    a = b = c = d = numbers[np.uint64(first)]
    for r in range(np.uint64(CELLS // 4)):
        i = np.uint64(first) + r * np.uint64(4)
        e, f = numbers[i], numbers[i + np.uint64(1)]
        g, h = numbers[i + np.uint64(2)], numbers[i + np.uint64(3)]
        a, b, c, d = (e if e > a else a), (f if f > b else b), (g if g > c else c), (h if h > d else d)
    a, b = (a if a > b else b), (c if c > d else d)
    return a if a > b else b


@loop_kernel
def _load(field, block, room):
    """Copy the cells of a leaf to the room; what one at an edge lacks is lower than anything."""
    h, _, floor, up, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    w, off, places, _, _ = room
    mx, my = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    for r in range(LEAF):
        iy = np.uint64(min(iy0 + r, iy1 - 1))
        for c in range(WIDE):
            ix = np.uint64(min(ix0 + c, ix1 - 1))
            i = np.uint64(r * WIDE + c)
            is_there = iy0 + r < iy1 and ix0 + c < ix1
            places[i], places[i + np.uint64(AT_Y)] = xs[ix], ys[iy]
            off[i], off[i + np.uint64(CELLS)] = xs[ix] - mx, ys[iy] - my
            w[i] = h[iy, ix] if is_there else -np.float32(np.inf)
            w[i + np.uint64(FLOOR)], w[i + np.uint64(KEEPER)] = up * floor[iy, ix], np.float32(-1.0)


@loop_kernel
def _store(field, block, moves, room):
    h, owner, _, _, _, _ = field
    iy0, iy1, ix0, ix1 = block
    first_entry, entries, _, rows, _ = moves
    w = room[0]
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(np.uint64(ix0), np.uint64(ix1)):
            i = (iy - np.uint64(iy0)) * np.uint64(WIDE) + ix - np.uint64(ix0)
            keeper = np.int64(w[i + np.uint64(KEEPER)])
            if keeper >= 0:
                h[iy, ix], owner[iy, ix] = w[i], rows[entries[first_entry + keeper]]


@loop_kernel
def _ball_heights(records, j, x, y, half, places, batch, at):
    """Heights of a ball along a line over a leaf; x, y: its middle, half: how far its cells are from there.

    Before a short move has come to the leaf, and behind it, the nearest place of its path is an end of it all
    over the leaf: then that need not be looked for.
    """
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    radius, rim2 = records[j, RADIUS], records[j, RIM2]
    ux, uy, length = records[j, UX], records[j, UY], records[j, LENGTH]
    m, shift = records[j, SLOPE], records[j, SHIFT]
    u = (x - ax) * ux + (y - ay) * uy
    far = half + ON_PATH
    s = 0.0 if u + far - min(shift, 0.0) * radius < 0.0 else length
    if s == 0.0 or u - far - max(shift, 0.0) * radius > length:
        # As line_ball, operation by operation, with s at hand.
        low = h0 + m * s
        for i in range(np.uint64(CELLS)):
            dx, dy = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
            along, across = dx * ux + dy * uy, dy * ux - dx * uy
            e = s - along
            rest = radius * radius - across * across - e * e
            g = low + (radius - math.sqrt(max(rest, 0.0)))
            batch[at + i] = np.float32(g if rest >= -rim2 else math.inf)
        return
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
        batch[at + i] = np.float32(line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift))


@loop_kernel
def _flat_heights(records, j, places, batch, at):
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    cover2 = records[j, RADIUS] * records[j, RADIUS] + records[j, RIM2]
    ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
        batch[at + i] = np.float32(line_flat(dx, dy, h0, cover2, ux, uy, length, m))


@loop_kernel
def _lower(keeper, w, batch, at, cells):
    """Lower the cells of a leaf to the heights of a move at `at`; write what each loses and what stood there.

    What lies below the other side's surface is no wood.  Without branches, or the compiler would store some
    cells alone.
    """
    zero = np.float32(0.0)
    for i in range(cells):
        before, to = w[i], batch[at + i]
        floor, kept = w[i + np.uint64(FLOOR)], w[i + np.uint64(KEEPER)]
        loses = before - (to if to > floor else floor)
        batch[at + i + np.uint64(LOST)] = loses if loses > zero else zero
        batch[at + i + np.uint64(BEFORE)] = before
        w[i] = to if to < before else before
        w[i + np.uint64(KEEPER)] = keeper if to < before else kept


@loop_kernel
def _most_lost(bits, at, cells):
    """Bits of the most that a cell loses to the move at `at`.

    Of floats that are not negative the order is that of their bits; of whole numbers the compiler finds the
    most in the vector unit, of floats it may not.
    """
    most = np.int32(0)
    for i in range(cells):
        lost = bits[at + i + np.uint64(LOST)]
        most = np.int32(lost if lost > most else most)
    return most


@loop_kernel
def _highest_taken(batch, bits, at, cells):
    """The highest that stood on a cell that loses something to the move at `at`."""
    lowest = np.int32(-(2**31))
    for i in range(cells):
        height = bits[at + i + np.uint64(BEFORE)]
        # Of negative floats the order is the other way round.
        height = np.int32(height ^ ((height >> np.int32(31)) & np.int32(2**31 - 1)))
        is_lost = bits[at + i + np.uint64(LOST)] > np.int32(0)
        bits[at + i + np.uint64(BEFORE)] = np.int32(height if is_lost else lowest)
    most = lowest
    for i in range(cells):
        height = bits[at + i + np.uint64(BEFORE)]
        most = np.int32(height if height > most else most)
    bits[HIGHEST] = np.int32(most ^ ((most >> np.int32(31)) & np.int32(2**31 - 1)))
    return batch[HIGHEST]


@loop_kernel
def _sum(numbers, first):
    """The sum of half the columns of a leaf from `first` on, always in the same order."""
    a = b = c = d = 0.0
    for r in range(np.uint64(LEAF)):
        i = np.uint64(first) + r * np.uint64(WIDE)
        a, b = a + numbers[i], b + numbers[i + np.uint64(1)]
        c, d = c + numbers[i + np.uint64(2)], d + numbers[i + np.uint64(3)]
    return (a + b) + (c + d)


@loop_kernel
def _sides(code, a):
    """What tells on which side of a path a place is: factors of dx, dy, dx2 + dy2 and 1; right is positive.

    dx, dy: from where X and Y of the record are.  All 0 where nothing is told.
    """
    form = form_of(code)
    if form == LINE_FORM:
        return (a[UY], -a[UX], 0.0, 0.0) if a[LENGTH] > 0.0 else (0.0, 0.0, 0.0, 0.0)
    if form in (LEVEL_ARC_FORM, HELIX_FORM):
        return 0.0, 0.0, a[SENSE], -a[SENSE] * a[R] * a[R]
    if a[SPREAD] == 0.0:
        # An upright arc runs along a straight line in plan, and back where it bulges beyond its ends.
        first, last = a[THETA0], a[THETA0] + a[SWEEP]
        low, high = min(first, last) + 1e-9, max(first, last) - 1e-9
        if math.floor(low / math.pi) == math.floor(high / math.pi):
            sense = 1.0 if math.cos(last) > math.cos(first) else -1.0
            return sense * a[UY], -sense * a[UX], 0.0, 0.0
    return 0.0, 0.0, 0.0, 0.0


@loop_kernel
def _about(x, y):
    """The angle of (x, y) from the x axis, 0 to 2 pi, within ABOUT."""
    steep = abs(y) > abs(x)
    t = abs(x) / abs(y) if steep else abs(y) / max(abs(x), 1e-300)
    angle = t * (0.9724 - 0.1919 * t * t)
    angle = 0.5 * math.pi - angle if steep else angle
    angle = math.pi - angle if x < 0.0 else angle
    return 2.0 * math.pi - angle if y < 0.0 else angle


@kernel
def _along_arc(form, a, batch, at, places, taken, k):
    """Note the least and the greatest way along an arc, in plan from its start, to cells that lose something.

    A cell beside neither end of it counts for the nearer one; of more than one turn all counts.
    """
    first, turn = math.atan2(a[SY], a[SX]), 2.0 * math.pi
    if form == HELIX_FORM:
        sweep = a[SWEEP]
    elif a[WIDTH] >= 2.0:
        sweep = turn
    else:
        sweep = a[SENSE] * (math.atan2(a[EY], a[EX]) - first)
        sweep -= turn * math.floor(sweep / turn)
    nearest, farthest = math.inf, -math.inf
    for i in range(np.uint64(CELLS)):
        if sweep <= turn and batch[at + i + np.uint64(LOST)] > np.float32(0.0):
            angle = a[SENSE] * (math.atan2(places[i + np.uint64(AT_Y)] - a[Y], places[i] - a[X]) - first)
            angle -= turn * math.floor(angle / turn)
            if angle > sweep and turn - angle < angle - sweep:
                angle -= turn
            nearest, farthest = min(nearest, angle), max(farthest, angle)
    if sweep > turn:
        nearest, farthest = 0.0, sweep
    taken[k, NEAR], taken[k, FAR] = min(taken[k, NEAR], a[R] * nearest), max(taken[k, FAR], a[R] * farthest)


@loop_kernel
def _is_between(a, x, y, half, near, far):
    """Whether a leaf surely lies between two places of an arc, all of it."""
    dx, dy = x - a[X], y - a[Y]
    away = math.sqrt(dx * dx + dy * dy)
    if away < 2.0 * half or near > far:
        return False
    angle = _about(dx * a[SX] + dy * a[SY], a[SENSE] * (dy * a[SX] - dx * a[SY]))
    wide = 1.05 * half / away + ABOUT  # asin(t) < 1.05 t up to t = 1/2
    return (angle - wide) * a[R] > near and (angle + wide) * a[R] < far


@loop_kernel
def _add(code, a, k, deepest, field, block, taken, room, at, x, y, half, cells):
    """Add what the cells of a leaf lost to one move, at `at`, to what is told of its entry k.

    deepest: the most that one lost.  x, y, half: as of _ball_heights.
    """
    nx = np.int64(field[0].shape[1])
    iy0, _, ix0, _ = block
    w, _, places, batch, bits = room
    ax, ay, ux, uy = a[X], a[Y], a[UX], a[UY]
    form, around = form_of(code), half + 1e-6
    for i in range(cells):
        places[i + np.uint64(TOTAL)] = np.float64(batch[at + i + np.uint64(LOST)])
    left, right = _sum(places, TOTAL), _sum(places, TOTAL + WIDE // 2)
    taken[k, TAKEN] = (taken[k, TAKEN] + left) + right
    taken[k, TOP] = max(taken[k, TOP], np.float64(_highest_taken(batch, bits, at, cells)))
    across, along, round_, base = _sides(code, a)
    side = (x - ax) * across + (y - ay) * along
    if form == LINE_FORM and abs(side) > around:
        sense = 1.0 if side > 0.0 else -1.0
        taken[k, LEAN] = (taken[k, LEAN] + sense * left) + sense * right
    else:
        for i in range(cells):
            dx, dy = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
            side = dx * across + dy * along + round_ * (dx * dx + dy * dy) + base
            lost = places[i + np.uint64(TOTAL)]
            places[i + np.uint64(SIDE)] = lost if side > ON_PATH else (-lost if side < -ON_PATH else 0.0)
        taken[k, LEAN] = (taken[k, LEAN] + _sum(places, SIDE)) + _sum(places, SIDE + WIDE // 2)
    u = (x - ax) * ux + (y - ay) * uy
    if form == LINE_FORM:
        if u - around < taken[k, NEAR] or u + around > taken[k, FAR]:
            for i in range(cells):
                u = (places[i] - ax) * ux + (places[i + np.uint64(AT_Y)] - ay) * uy
                is_lost = places[i + np.uint64(TOTAL)] > 0.0
                # The least way along is the most the other way.
                places[i + np.uint64(AHEAD)] = u if is_lost else -math.inf
                places[i + np.uint64(BEHIND)] = -u if is_lost else -math.inf
            taken[k, NEAR] = min(taken[k, NEAR], -_most(places, BEHIND))
            taken[k, FAR] = max(taken[k, FAR], _most(places, AHEAD))
    elif form in (LEVEL_ARC_FORM, HELIX_FORM) and not _is_between(
        a, x, y, half, taken[k, NEAR], taken[k, FAR]
    ):
        _along_arc(form, a, batch, at, places, taken, k)
    if deepest >= taken[k, DEPTH]:
        for i in range(np.uint64(CELLS)):
            if batch[at + i + np.uint64(LOST)] == deepest:
                spot = np.float64((iy0 + np.int64(i) // WIDE) * nx + ix0 + np.int64(i) % WIDE)
                if deepest > taken[k, DEPTH] or spot < taken[k, SPOT]:
                    taken[k, DEPTH], taken[k, SPOT] = deepest, spot
                    taken[k, BOTTOM] = max(batch[at + i], w[i + np.uint64(FLOOR)])
                break


@loop_kernel
def _leaf(lists, base, n, groups, field, block, tile, cutter, moves, taken, g, room, planes, batched, chosen):
    """Lower a leaf by the moves of its list, one after the other; return how many were evaluated.

    The moves of a group are tested, and evaluated, one and all before the first is run: what one does to the
    surface then holds up nothing but the lowering itself.  Some are evaluated in vain for it, an eighth.
    """
    first_entry, entries, codes, _, records = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin = tile
    w, off, places, batch, bits_of = room
    x, y, half_x, half_y = extent(field[4], field[5], block, tile)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    count = (n + LANES - 1) // LANES
    slope_x, slope_y, ceiling = _plane_over(field, block, top)
    bounds(
        lists, base, n, groups, count, x, y, half_x, half_y, slope_x, slope_y, profile, support, margin, True
    )
    ceiling, lift = np.float32(ceiling + tie), np.float32(top - tie)
    wide, deep = np.float32(half_x), np.float32(half_y)
    x, y = x + tile[0], y + tile[1]
    last, evaluated, is_loaded = np.int32(-1), 0, False
    # Not a number that the compiler knows: it would write a short loop out, one cell after the other.
    cells = np.uint64(len(g)) & ~np.uint64(7)
    for group in range(np.uint64(count)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        bits = low_ones(lists, first, lanes_of(np.uint64(n), group), wide, deep, slope_x, slope_y, ceiling)
        if bits == np.uint32(0):
            continue
        if not is_loaded:
            _load(field, block, room)
            is_loaded = True
        bits = winners(planes, lowest_planes(lists, first, bits, lift, planes), w, off, WIDE)
        some = np.uint64(0)
        while bits != np.uint32(0):
            keeper = planes[first_of(bits) + np.uint64(3 * LANES)]
            bits = without_first(bits)
            j = entries[first_entry + np.int64(keeper)]
            if j == last:
                continue  # another piece of a move that has run
            last, code, at = j, codes[j], some * np.uint64(CELLS)
            if code == BALL_LINE:
                _ball_heights(records, j, x, y, half, places, batch, at)
            elif code == FLAT_LINE:
                _flat_heights(records, j, places, batch, at)
            else:
                heights(code, records[j], places, CELLS, g)
                for c in range(np.uint64(CELLS)):
                    batch[at + c] = g[c]
            batched[some] = keeper
            some += np.uint64(1)
        evaluated += np.int64(some)
        taking = np.uint64(0)
        for k in range(some):
            at = k * np.uint64(CELLS)
            _lower(batched[k], w, batch, at, cells)
            deepest = _most_lost(bits_of, at, cells)
            bits_of[k + np.uint64(DEEPEST)], chosen[taking] = deepest, np.int32(k)
            taking += np.uint64(1) if deepest > np.int32(0) else np.uint64(0)
        for place in range(taking):
            k = np.uint64(chosen[place])
            entry = np.int64(batched[k])
            j = entries[first_entry + entry]
            _add(
                codes[j], records[j], entry, batch[k + np.uint64(DEEPEST)], field, block, taken, room,
                k * np.uint64(CELLS), x, y, half, cells,
            )  # fmt: skip
    if evaluated:
        _store(field, block, moves, room)
    return evaluated * CELLS


@kernel
def pieces_of(entries, codes, records, first, last, cell):
    """How many pieces the moves of some entries come to."""
    n = 0
    for entry in range(first, last):
        j = entries[entry]
        n += 1 if is_line(codes[j]) else curve_pieces(form_of(codes[j]), records, j, 0.25 * cell)
    return n


@kernel
def bite(first, last, field, box, top, cell, cutter, moves, taken, lists, boxes, near, every, g, room, planes,
    batched, chosen,
):  # fmt: skip
    """Lower the tile `box` by the entries [first, last), in order; return how many heights were evaluated.

    top: nothing in the tile stands higher.  lists, boxes, near, every: to work in, for all pieces of these
    entries and two lists of PASS groups more.
    """
    first_entry, entries, codes, _, records = moves
    _, _, _, _, xs, ys = field
    radius = float(cutter[1][RADIUS_AT])
    iy0, iy1, ix0, ix1 = box
    tx, ty = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    wide, deep = 0.5 * (xs[ix1 - 1] - xs[ix0]), 0.5 * (ys[iy1 - 1] - ys[iy0])
    reach = radius * (1.0 + 1e-6) + 1e-6
    n = START
    for entry in range(first, last):
        j = entries[entry]
        n = add_move(
            lists, n, tx, ty, top, math.sqrt(wide * wide + deep * deep) + reach, entry - first_entry, j,
            codes[j], records, 0.25 * cell,
        )  # fmt: skip
    if n == 0:
        return 0
    close_list(lists, START, n)
    far, high = group_boxes(lists, n, boxes)
    margin = 64.0 * 2.0**-24 * (far + wide + deep + radius + high)
    # As for the cut, and what the planes of steep surfaces add over a block.
    tie = 2.0**-21 * (abs(top) + high + radius + 32.0 * BLOCK * cell)
    tile = (tx, ty, top, tie, margin)
    reach += margin
    n_groups = (n + LANES - 1) // LANES
    list1, list2 = n_groups * GROUP, (n_groups + PASS + 1) * GROUP
    evaluated = 0
    for iy in range(iy0, iy1, BLOCK):
        for ix in range(ix0, ix1, BLOCK):
            block = (iy, min(iy + BLOCK, iy1), ix, min(ix + BLOCK, ix1))
            count = groups_near(
                boxes, n, np.float32(xs[ix] - tx - reach), np.float32(xs[block[3] - 1] - tx + reach),
                np.float32(ys[iy] - ty - reach), np.float32(ys[block[1] - 1] - ty + reach), near,
            )  # fmt: skip
            for at in range(0, count, PASS):
                some = near[at : min(at + PASS, count)]
                n1 = _refine(lists, START, n, some, len(some), list1, field, block, tile, cutter)
                if n1 == 0:
                    continue
                count1 = (n1 + LANES - 1) // LANES
                for part_y in range(iy, block[1], PART):
                    for part_x in range(ix, block[3], PART):
                        part = (part_y, min(part_y + PART, block[1]), part_x, min(part_x + PART, block[3]))
                        n2 = _refine(lists, list1, n1, every, count1, list2, field, part, tile, cutter)
                        if n2 == 0:
                            continue
                        for leaf_y in range(part_y, part[1], LEAF):
                            for leaf_x in range(part_x, part[3], WIDE):
                                leaf = (
                                    leaf_y, min(leaf_y + LEAF, part[1]), leaf_x, min(leaf_x + WIDE, part[3])
                                )  # fmt: skip
                                evaluated += _leaf(
                                    lists, list2, n2, every, field, leaf, tile, cutter, moves, taken, g,
                                    room, planes, batched, chosen,
                                )  # fmt: skip
    return evaluated
