"""Bounds of a ball for groups of moves: sixteen pieces of a tile's list that follow each other are one strip.

Sixteen pieces in a row are mostly a short stretch of a pass or two.  A group is told by a rectangle in plan
that holds the centre lines of all of them, X, Y its middle, (ux, uy) along, half as long as LONG and half as
wide as WIDTH, and by a height: h + m s, s along from the middle, lies below all of them.  So with the p, v, z
of hollow_kernels, for every place x and every tip (a, h(a)) of the group, a = (X, Y) + s u + w n,
    g(x) - p x >= f(v) - p v + h + m s - p a + |x - a - v|^2 / (2 z).
Over a block whose middle is the origin, b half as long along u, c half as long along n,
    |x - a - v|^2 >= e(s)^2 + i(w)^2, e(s) = max(|A + s| - b, 0), i(w) = max(|C + w| - c, 0),
A, C the middle of the rectangle shifted by v, along and across.  What is left is the sum of a function of s
and one of w, both convex, and the least of each over the rectangle is the one without ends, clamped:
    (m - p_u) s + e(s)^2 / (2 z): e = -(m - p_u) z, beyond the block on the side of its sign,
    - p_w w + i(w)^2 / (2 z): the same with m = 0.
The bound is that of the strip, no matter which way the pieces run; a group whose bound does not come under
the ceiling is not looked at, and of the others each piece is.  The ceiling comes first: it is that of
the best pieces (ceiling_kernels) of the groups that are the most promising in the quarters.
Source: own derivation.

Which group is the most promising hangs on its height at the place asked about, so a group has a parabola too,
bend s^2 over the line, fitted to the slopes of its pieces.  That is no bound; h and m are those of the line
that lies below the parabola, lowered until no vertex of the pieces lies below.  |bend| is at most half of
one over how far a tip can be from the tile's middle and still touch it; places are at most twice as far.

Of curved pieces the rectangle is wider by the largest `off`, and the line lower by off (1 + |m|).

Rounding, e = 2^-24.  Let l be half the length and width of a rectangle together.  Seen from the group's
first point places are off by at most 20 e l, and 32 e l with the middle: ASIDE = 64 e l is added.  The slope
of the parabola is at most 28 in the group, its height over the first point at most 44 l: heights are off
by 28 * 20 e l + 6 * 44 e l + 60 e l at most, DOWN = 1024 e l is taken off.  Then the middle is as exact
as the start of a piece.  Of the bound u, w and e(s), i(w) are off by at most 16 e D (D the largest
coordinate), so e^2 / (2 z) by 32 e D^2 / z: four times the margin of hollow_kernels holds it.  s and w may
be off: the function is smooth, so its least by the square of that.
Twin: tests/stock/test_groups.py takes the least of every piece over the block by brute force.
"""

import numpy as np

from simkit._jit import CAN_PACK, bound_kernel, loop_kernel
from simkit.stock.bit_kernels import first_of, not_above_zero, without_first
from simkit.stock.list_kernels import (
    BIG,
    CHANCE_X,
    ENTRY,
    PH,
    PLEN,
    POFF,
    PSHIFT,
    PSLOPE,
    PUX,
    PUY,
    PX,
    PY,
    WIDE,
    close_list,
)
from simkit.stock.vector_kernels import (
    begin_best,
    numbers_of,
    place_of,
    take_better,
    vector_at,
    vectors_of,
)
from simkit.stock.wide_kernels import count_of, least_of_sixteen, pack_lanes, sum_of_sixteen

# A list of groups is made as one of pieces is; PX, PY are middles, PLEN and PSHIFT half a length and width.
# The parabola that a group is about: BEND s^2 over a line, which is SAG over the one that lies below it all.
LONG, WIDTH, BEND, SAG = PLEN, PSHIFT, ENTRY, CHANCE_X
MANY_PIECES = 256  # of a tile: fewer are looked at one by one
MOST_SLOPE, MOST_BEND = 4.0, 1.0 / 16.0
DOWN, ASIDE = np.float32(2.0**-14), np.float32(2.0**-18)  # what rounding may do to a group of a length


@loop_kernel
def _longest_of(lists, at, some):
    """Where a long piece of the first `some` at `at` is: the way between two passes is a short one."""
    last = some - np.uint64(1)
    found = at + min(np.uint64(8), last)
    for lane in (np.uint64(3), np.uint64(12)):
        i = at + min(lane, last)
        found = i if lists[i + np.uint64(PLEN)] > lists[found + np.uint64(PLEN)] else found
    return found


@loop_kernel
def _slope_of(lists, at, some, gx, gy, most_bend, room):
    """Slope and curvature of sixteen pieces along (gx, gy), weighted by their length.

    Least squares of slope + 2 bend t, t from the first piece's start.  room: as of make_groups.
    """
    zero, wide = np.float32(0.0), np.uint64(WIDE)
    run, climb, moment = np.uint64(2 * WIDE), np.uint64(3 * WIDE), np.uint64(4 * WIDE)
    climbing, spread = np.uint64(5 * WIDE), np.uint64(6 * WIDE)
    ox, oy = lists[at + np.uint64(PX)], lists[at + np.uint64(PY)]
    for lane in range(wide):
        i, is_used = at + lane, lane < some
        along = lists[i + np.uint64(PUX)] * gx + lists[i + np.uint64(PUY)] * gy
        ax, ay = lists[i + np.uint64(PX)] - ox, lists[i + np.uint64(PY)] - oy
        length, slope = lists[i + np.uint64(PLEN)], lists[i + np.uint64(PSLOPE)]
        t = ax * gx + ay * gy + np.float32(0.5) * length * along
        weight = length * abs(along)
        rise = slope * length
        rise = rise if along >= zero else -rise
        room[run + lane] = weight if is_used else zero
        room[climb + lane] = rise if is_used else zero
        room[moment + lane] = weight * t if is_used else zero
        room[climbing + lane] = rise * t if is_used else zero
        room[spread + lane] = weight * t * t if is_used else zero
    over = np.float32(1.0) / max(sum_of_sixteen(room, run), np.float32(1e-3))
    middle, mean = sum_of_sixteen(room, moment) * over, sum_of_sixteen(room, climb) * over
    changes = sum_of_sixteen(room, climbing) * over - middle * mean
    spreads = max(sum_of_sixteen(room, spread) * over - middle * middle, np.float32(1e-2))
    bend, steepest = np.float32(0.5) * changes / spreads, np.float32(MOST_SLOPE)
    bend = min(max(bend, -most_bend), most_bend)
    mean = min(max(mean, -steepest), steepest)
    return mean - np.float32(2.0) * bend * middle, bend


@bound_kernel
def make_groups(lists, first_group, n, base, most_bend, has_curves, room):
    """Write the groups of the first list, n long, as a list at `base`; return largest coordinate and height.

    first_group: those before it are there already, and do not count for what is returned.

    room (7 WIDE,) float32.  most_bend: of a parabola, see the head.  has_curves: whether any has an `off`.
    """
    zero, half, two = np.float32(0.0), np.float32(0.5), np.float32(2.0)
    wide, steepest = np.uint64(WIDE), np.float32(MOST_SLOPE)
    far, high, back, ahead = np.uint64(0), wide, np.uint64(2 * WIDE), np.uint64(3 * WIDE)
    right, left = np.uint64(4 * WIDE), np.uint64(5 * WIDE)
    low = np.uint64(6 * WIDE)
    for lane in range(wide):
        room[far + lane] = room[high + lane] = zero
    count = np.uint64(vectors_of(n))
    for group in range(np.uint64(first_group), count):
        at, some = vector_at(0, group), min(wide, np.uint64(n) - group * wide)
        i = _longest_of(lists, at, some)
        gx, gy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
        ox, oy, oh = lists[at + np.uint64(PX)], lists[at + np.uint64(PY)], lists[at + np.uint64(PH)]
        slope, bend = _slope_of(lists, at, some, gx, gy, most_bend, room)
        for lane in range(wide):
            i, is_used = at + lane, lane < some
            ax, ay, ah = lists[i + np.uint64(PX)], lists[i + np.uint64(PY)], lists[i + np.uint64(PH)]
            ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
            rise = lists[i + np.uint64(PSLOPE)] * length
            dx, dy = length * ux, length * uy
            s0, w0 = (ax - ox) * gx + (ay - oy) * gy, (ay - oy) * gx - (ax - ox) * gy
            s1, w1 = s0 + (dx * gx + dy * gy), w0 + (dy * gx - dx * gy)
            room[back + lane] = min(s0, s1) if is_used else zero
            room[ahead + lane] = -max(s0, s1) if is_used else zero
            room[right + lane] = min(w0, w1) if is_used else zero
            room[left + lane] = -max(w0, w1) if is_used else zero
            over = min(ah - (slope + bend * s0) * s0, (ah + rise) - (slope + bend * s1) * s1)
            room[low + lane] = over if is_used else oh
            most = max(max(abs(ax), abs(ay)), max(abs(ax + dx), abs(ay + dy)))
            room[far + lane] = max(room[far + lane], most if is_used else zero)
            room[high + lane] = max(room[high + lane], abs(ah) + abs(rise) if is_used else zero)
        s0, s1 = least_of_sixteen(room, back), -least_of_sixteen(room, ahead)
        w0, w1 = least_of_sixteen(room, right), -least_of_sixteen(room, left)
        s, w, long, width = half * (s0 + s1), half * (w0 + w1), half * (s1 - s0), half * (w1 - w0)
        middle = least_of_sixteen(room, low) + (slope + bend * s) * s - DOWN * (long + width)
        slope += two * bend * s
        # The line below the parabola: it touches in the middle, or at both ends.
        sag = max(-bend * long * long, zero)
        excess = slope - min(max(slope, -steepest), steepest)
        middle -= sag + abs(excess) * long
        slope -= excess
        more = ASIDE * (long + width)
        if has_curves:
            for lane in range(wide):
                room[low + lane] = -lists[at + lane + np.uint64(POFF)] if lane < some else zero
            off = -least_of_sixteen(room, low)
            middle -= off * (np.float32(1.0) + abs(slope))
            more += off
        i = vector_at(base, group // wide) + group % wide
        lists[i + np.uint64(PX)], lists[i + np.uint64(PY)] = ox + (s * gx - w * gy), oy + (s * gy + w * gx)
        lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)] = gx, gy
        lists[i + np.uint64(LONG)], lists[i + np.uint64(WIDTH)] = long + more, width + more
        lists[i + np.uint64(PH)], lists[i + np.uint64(PSLOPE)] = middle, slope
        lists[i + np.uint64(BEND)], lists[i + np.uint64(SAG)] = bend, sag
    close_list(lists, base, count)
    for lane in range(wide):
        room[far + lane], room[high + lane] = -room[far + lane], -room[high + lane]
    return float(-least_of_sixteen(room, far)), float(-least_of_sixteen(room, high))


@bound_kernel
def best_groups(lists, base, n, x, y, half_x, half_y, lean_x, lean_y, radius, best):
    """Which of n groups are the most promising in the quarters of a block, -1 for none.

    x, y, half_x, half_y, lean_x, lean_y: as of hollow_kernels.hollow_bounds.  best (8 WIDE,) float32: room.
    Told by the lowest bound in the middle, and how it changes beside it.
    """
    hollow, foot, _, _, half = numbers_of(half_x, half_y, lean_x, lean_y, radius, 0.0)
    foot, px, py = np.float32(foot), np.float32(lean_x), np.float32(lean_y)
    x, y, near = np.float32(x), np.float32(y), np.float32(radius - half)
    quarter_x, quarter_y = np.float32(0.5 * half_x / hollow), np.float32(0.5 * half_y / hollow)
    bend, hollow = np.float32(0.5 / hollow), np.float32(hollow)
    zero, one, two = np.float32(0.0), np.float32(1.0), np.float32(2.0)
    wide, near2 = np.uint64(WIDE), near * abs(near)
    begin_best(best)
    for vector in range(np.uint64(vectors_of(n))):
        at = vector_at(base, vector)
        for lane in range(wide):
            i = at + lane
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            length, width = lists[i + np.uint64(LONG)], lists[i + np.uint64(WIDTH)]
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u, w = bx * ux + by * uy, by * ux - bx * uy
            pu, pw = px * ux + py * uy, py * ux - px * uy
            slope, bent = lists[i + np.uint64(PSLOPE)], lists[i + np.uint64(BEND)]
            du, dw = max(abs(u) - length, zero), max(abs(w) - width, zero)
            # The least of the parabola and the hollow: what it is divided by is nearly one.
            more = two * bent * hollow
            s = (one - more * (one - more)) * (-slope * hollow - u)
            s = min(max(s, -length), length)
            t = min(max(-w, -width), width)
            qu, qw = u + pu * hollow + s, w + pw * hollow + t
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + (slope - pu) * s - pw * t
            chance = low + bend * (qu * qu + qw * qw) + (lists[i + np.uint64(SAG)] + bent * s * s)
            chance = chance if du * du + dw * dw <= near2 else BIG
            rise_x, rise_y = quarter_x * (qw * uy - qu * ux), -quarter_y * (qu * uy + qw * ux)
            place = np.float32(vector * wide + lane)
            take_better(best, 0, lane, chance - rise_x - rise_y, place)
            take_better(best, 1, lane, chance + rise_x - rise_y, place)
            take_better(best, 2, lane, chance - rise_x + rise_y, place)
            take_better(best, 3, lane, chance + rise_x + rise_y, place)
    return place_of(best, 0), place_of(best, 1), place_of(best, 2), place_of(best, 3)


@bound_kernel
def groups_under(
    lists, base, n, x, y, half_x, half_y, lean_x, lean_y, radius, margin, limit, numbers, names, marks
):
    """Write to names which of n groups have a bound of at most `limit` over a block; return how many.

    x, y, half_x, half_y, lean_x, lean_y: as of hollow_kernels.hollow_bounds, and so is the bound, a plane
    of the slope lean.  numbers: 0, 1, 2 and so on; as names float32 whose bits are those of int32.
    marks: room for sixteen.
    """
    hollow, foot, slopes, over, half = numbers_of(half_x, half_y, lean_x, lean_y, radius, margin)
    far = np.float32(radius + half + 4.0 * margin)
    foot, far2 = np.float32(foot - 4.0 * over * slopes - limit), far * far
    px, py = np.float32(lean_x), np.float32(lean_y)
    x, y, half_x, half_y = np.float32(x), np.float32(y), np.float32(half_x), np.float32(half_y)
    zero, bend, hollow = np.float32(0.0), np.float32(0.5 / hollow), np.float32(hollow)
    kept, wide = np.uint64(0), np.uint64(WIDE)
    for vector in range(np.uint64(vectors_of(n))):
        at = vector_at(base, vector)
        for lane in range(wide):
            i = at + lane
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            length, width = lists[i + np.uint64(LONG)], lists[i + np.uint64(WIDTH)]
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u, w = bx * ux + by * uy, by * ux - bx * uy
            pu, pw = px * ux + py * uy, py * ux - px * uy
            tall = half_x * abs(ux) + half_y * abs(uy)
            broad = half_x * abs(uy) + half_y * abs(ux)
            slope = lists[i + np.uint64(PSLOPE)]
            m = slope - pu
            # How far the middle is from the rectangle.
            du, dw = max(abs(u) - length, zero), max(abs(w) - width, zero)
            s = min(max((tall if m < zero else -tall) - slope * hollow - u, -length), length)
            t = min(max((broad if pw > zero else -broad) - w, -width), width)
            eu = max(abs(u + pu * hollow + s) - tall, zero)
            ew = max(abs(w + pw * hollow + t) - broad, zero)
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot
            low += m * s - pw * t + bend * (eu * eu + ew * ew)
            marks[lane] = low if du * du + dw * dw <= far2 else BIG
        bits = not_above_zero(marks, np.uint64(0))
        some = count_of(bits)
        if some == np.uint64(0):
            continue
        if CAN_PACK:
            pack_lanes(numbers, vector * wide, bits, names, kept, some)
            kept += some
        else:
            for _ in range(some):
                names[kept] = numbers[vector * wide + first_of(bits)]
                bits = without_first(bits)
                kept += np.uint64(1)
    return np.int64(kept)
