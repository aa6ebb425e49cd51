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
The bound is exact for a strip, no matter which way the pieces run; a group whose bound does not come under
the ceiling is not looked at, and of the others each piece is.  The ceiling comes first: it is that of
the best pieces (ceiling_kernels) of the groups that are the most promising in the quarters.
Source: own derivation.

Rounding.  A group's rectangle and height are computed in float32 of coordinates up to D and heights up to H:
its places are off by at most 32 e D, its height by 32 e D |m| + 8 e H more, |m| at most MOST_SLOPE.  With
margin = 64 e (D + R + H) four times the margin of hollow_kernels, and 4 margin |m|, hold all of that.
Twin: tests/stock/test_groups.py takes the least of every piece over the block by brute force.
"""

import math

import numpy as np

from simkit._jit import CAN_PACK, bound_kernel, loop_kernel
from simkit.stock.bit_kernels import first_of, not_above_zero, without_first
from simkit.stock.list_kernels import (
    BIG,
    CHANCE_X,
    ENTRY,
    GROUP,
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
    copy_pieces,
    piece_at,
)
from simkit.stock.wide_kernels import count_of, least_of_sixteen, pack_lanes, sum_of_sixteen

# A list of groups is made as one of pieces is; PX, PY are middles, PLEN and PSHIFT half a length and width.
# The parabola that a group is about: BEND s^2 over a line, which is SAG over the one that lies below it all.
LONG, WIDTH, BEND, SAG = PLEN, PSHIFT, ENTRY, CHANCE_X
MANY_PIECES = 256  # of a tile: fewer are looked at one by one
MOST_SLOPE, MOST_BEND = 4.0, 1.0 / 16.0
QUARTERS = 4


@loop_kernel
def vector_at(base, vector):
    """Where the sixteen pieces are that are number `vector` of the list at `base`."""
    vector = np.uint64(vector)
    half = vector & np.uint64(1)
    return np.uint64(base) + (vector >> np.uint64(1)) * np.uint64(GROUP) + half * np.uint64(WIDE)


@loop_kernel
def vectors_of(n):
    """How many times sixteen pieces a list of n is."""
    return (np.int64(n) + np.int64(WIDE - 1)) // np.int64(WIDE)


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
def _slope_of(lists, at, some, gx, gy, room):
    """Slope and curvature of sixteen pieces along (gx, gy), weighted by their length; room: as of make_groups.

    Of s + 2 bend t at the place t from the first piece's start: least squares.
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
    across = sum_of_sixteen(room, climbing) * over - middle * mean
    bend = (
        np.float32(0.5)
        * across
        / max(sum_of_sixteen(room, spread) * over - middle * middle, np.float32(1e-2))
    )
    bend = min(max(bend, np.float32(-MOST_BEND)), np.float32(MOST_BEND))
    return mean - np.float32(2.0) * bend * middle, bend


@bound_kernel
def make_groups(lists, n, base, has_curves, room):
    """Write the groups of the first list, n long, as a list at `base`; return largest coordinate and height.

    room (8 WIDE,) float32.  has_curves: whether a piece may have an `off`.
    """
    zero, half, two = np.float32(0.0), np.float32(0.5), np.float32(2.0)
    wide, steepest = np.uint64(WIDE), np.float32(MOST_SLOPE)
    far, high, back, ahead = np.uint64(0), wide, np.uint64(2 * WIDE), np.uint64(3 * WIDE)
    right, left = np.uint64(4 * WIDE), np.uint64(5 * WIDE)
    low, offs = np.uint64(6 * WIDE), np.uint64(7 * WIDE)
    for lane in range(wide):
        room[far + lane] = room[high + lane] = zero
    count = np.uint64(vectors_of(n))
    for group in range(count):
        at, some = vector_at(0, group), min(wide, np.uint64(n) - group * wide)
        i = _longest_of(lists, at, some)
        gx, gy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
        ox, oy, oh = lists[at + np.uint64(PX)], lists[at + np.uint64(PY)], lists[at + np.uint64(PH)]
        slope, bend = _slope_of(lists, at, some, gx, gy, room)
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
        off = zero
        if has_curves:
            for lane in range(wide):
                room[offs + lane] = -lists[at + lane + np.uint64(POFF)] if lane < some else zero
            off = -least_of_sixteen(room, offs)
        s0, s1 = least_of_sixteen(room, back), -least_of_sixteen(room, ahead)
        w0, w1 = least_of_sixteen(room, right), -least_of_sixteen(room, left)
        s, w, long = half * (s0 + s1), half * (w0 + w1), half * (s1 - s0)
        middle = least_of_sixteen(room, low) + (slope + bend * s) * s
        slope += two * bend * s
        # The line below the parabola: it touches in the middle, or at both ends.
        sag = max(-bend * long * long, zero)
        excess = slope - min(max(slope, -steepest), steepest)
        i = vector_at(base, group // wide) + group % wide
        lists[i + np.uint64(PX)], lists[i + np.uint64(PY)] = ox + (s * gx - w * gy), oy + (s * gy + w * gx)
        lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)] = gx, gy
        lists[i + np.uint64(LONG)], lists[i + np.uint64(WIDTH)] = long, half * (w1 - w0)
        lists[i + np.uint64(PH)] = middle - (sag + abs(excess) * long)
        lists[i + np.uint64(PSLOPE)], lists[i + np.uint64(POFF)] = slope - excess, off
        lists[i + np.uint64(BEND)], lists[i + np.uint64(SAG)] = bend, sag
    close_list(lists, base, count)
    for lane in range(wide):
        room[far + lane], room[high + lane] = -room[far + lane], -room[high + lane]
    return float(-least_of_sixteen(room, far)), float(-least_of_sixteen(room, high))


@loop_kernel
def _take_better(best, quarter, lane, over, place):
    """Keep a place in a lane of a quarter where it is lower than what is kept there."""
    k = np.uint64(quarter * WIDE) + lane
    names = k + np.uint64(QUARTERS * WIDE)
    is_better = over < best[k]
    best[names] = place if is_better else best[names]
    best[k] = over if is_better else best[k]


@loop_kernel
def _begin(best):
    for k in range(np.uint64(QUARTERS * WIDE)):
        best[k] = BIG
        best[k + np.uint64(QUARTERS * WIDE)] = np.float32(-1.0)


@loop_kernel
def _place_of(best, quarter):
    """The place with the lowest number of all lanes of a quarter, -1 if there is none."""
    first = np.uint64(quarter * WIDE)
    least = least_of_sixteen(best, first)
    for lane in range(np.uint64(WIDE)):
        best[first + lane] -= least
    lane = first_of(not_above_zero(best, first))
    return np.int64(best[first + np.uint64(QUARTERS * WIDE) + lane])


@loop_kernel
def _piece_of(base, place):
    """Where a piece of the list at `base` is; -1 if there is none."""
    return np.int64(piece_at(base, place)) if place >= 0 else np.int64(-1)


@loop_kernel
def _numbers_of(half_x, half_y, lean_x, lean_y, radius, margin):
    """What bounds of one slope over a block have in common: see hollow_kernels.hollow_bounds."""
    hollow = radius / math.sqrt(1.0 + lean_x * lean_x + lean_y * lean_y)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    over = margin + margin * margin / (256.0 * 2.0**-24 * hollow)
    slopes = 1.0 + abs(lean_x) + abs(lean_y)
    foot = (radius - hollow) - (lean_x * lean_x + lean_y * lean_y) * hollow
    return hollow, foot, slopes, over, half


@bound_kernel
def best_groups(lists, base, n, x, y, half_x, half_y, lean_x, lean_y, radius, best):
    """Which of the n groups of the list at `base` are the most promising in the quarters of a block, -1: none.

    x, y, half_x, half_y, lean_x, lean_y: as of hollow_kernels.hollow_bounds.  best (8 WIDE,) float32: room.
    Told by the lowest bound in the middle, and how it changes beside it.
    """
    hollow, foot, _, _, half = _numbers_of(half_x, half_y, lean_x, lean_y, radius, 0.0)
    foot, px, py = np.float32(foot), np.float32(lean_x), np.float32(lean_y)
    x, y, near = np.float32(x), np.float32(y), np.float32(radius - half)
    quarter_x, quarter_y = np.float32(0.5 * half_x / hollow), np.float32(0.5 * half_y / hollow)
    bend, hollow = np.float32(0.5 / hollow), np.float32(hollow)
    zero, one, two = np.float32(0.0), np.float32(1.0), np.float32(2.0)
    wide, near2 = np.uint64(WIDE), near * abs(near)
    _begin(best)
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
            _take_better(best, 0, lane, chance - rise_x - rise_y, place)
            _take_better(best, 1, lane, chance + rise_x - rise_y, place)
            _take_better(best, 2, lane, chance - rise_x + rise_y, place)
            _take_better(best, 3, lane, chance + rise_x + rise_y, place)
    return _place_of(best, 0), _place_of(best, 1), _place_of(best, 2), _place_of(best, 3)


@bound_kernel
def groups_under(
    lists, base, n, x, y, half_x, half_y, lean_x, lean_y, radius, margin, limit, numbers, names, marks
):
    """Write to names which of the n groups of the list at `base` have a bound of at most `limit` over a block.

    x, y, half_x, half_y, lean_x, lean_y: as of hollow_kernels.hollow_bounds, and so is the bound, a plane
    of the slope lean.  numbers: 0, 1, 2 and so on; as names float32 whose bits are those of int32.
    marks: room for sixteen.  Returns how many.
    """
    hollow, foot, slopes, over, half = _numbers_of(half_x, half_y, lean_x, lean_y, radius, margin)
    far = np.float32(radius + half + 4.0 * margin)
    foot, slopes = np.float32(foot - 4.0 * over * slopes - limit), np.float32(slopes)
    px, py = np.float32(lean_x), np.float32(lean_y)
    x, y, half_x, half_y = np.float32(x), np.float32(y), np.float32(half_x), np.float32(half_y)
    zero, margin = np.float32(0.0), np.float32(4.0 * margin)
    bend, hollow = np.float32(0.5 / hollow), np.float32(hollow)
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
            slope, off = lists[i + np.uint64(PSLOPE)], lists[i + np.uint64(POFF)]
            m = slope - pu
            # How far the middle is from the rectangle.
            du, dw = max(abs(u) - length, zero), max(abs(w) - width, zero)
            reach = far + off
            s = min(max((tall if m < zero else -tall) - slope * hollow - u, -length), length)
            t = min(max((broad if pw > zero else -broad) - w, -width), width)
            eu = max(abs(u + pu * hollow + s) - tall, zero)
            ew = max(abs(w + pw * hollow + t) - broad, zero)
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot
            low -= margin * abs(slope) + off * slopes
            low += m * s - pw * t + bend * (eu * eu + ew * ew)
            marks[lane] = low if du * du + dw * dw <= reach * reach else BIG
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


@bound_kernel
def best_pieces(
    lists, base, vectors, count, x, y, half_x, half_y, lean_x, lean_y, radius, margin, share, best
):
    """Places of the pieces of a few vectors that are the lowest in the quarters of a block, -1 for none.

    As hollow_kernels.hollow_bounds tells of CHANCE, of those that cover the whole block; `share` of the way
    from its middle to its edges.
    """
    hollow, foot, slopes, _, half = _numbers_of(half_x, half_y, lean_x, lean_y, radius, margin)
    near = np.float32(radius - half - margin)
    foot, slopes, px, py = np.float32(foot), np.float32(slopes), np.float32(lean_x), np.float32(lean_y)
    vx, vy = np.float32(lean_x * hollow), np.float32(lean_y * hollow)
    x, y = np.float32(x), np.float32(y)
    quarter_x, quarter_y = np.float32(share * half_x), np.float32(share * half_y)
    bend, over = np.float32(0.5 / hollow), np.float32(1.0 / hollow)
    hollow, zero, wide = np.float32(hollow), np.float32(0.0), np.uint64(WIDE)
    _begin(best)
    for place in range(np.uint64(count)):
        vector = np.uint64(vectors[place])
        at = vector_at(base, vector)
        for lane in range(wide):
            i = at + lane
            ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
            off = lists[i + np.uint64(POFF)]
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u = min(max(-(bx * ux + by * uy), zero), length)
            rx, ry = bx + u * ux, by + u * uy
            away2 = rx * rx + ry * ry
            ax, ay = bx + vx, by + vy
            m = lists[i + np.uint64(PSLOPE)] - (px * ux + py * uy)
            s = min(max(-(ax * ux + ay * uy) - m * hollow, zero), length)
            qx, qy = ax + s * ux, ay + s * uy
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot + m * s - off * slopes
            inside = near - off
            chance = low + (qx * qx + qy * qy) * bend
            chance = chance if away2 <= inside * abs(inside) else BIG
            rise_x, rise_y = -quarter_x * over * qx, -quarter_y * over * qy
            name = np.float32(vector * wide + lane)
            _take_better(best, 0, lane, chance - rise_x - rise_y, name)
            _take_better(best, 1, lane, chance + rise_x - rise_y, name)
            _take_better(best, 2, lane, chance - rise_x + rise_y, name)
            _take_better(best, 3, lane, chance + rise_x + rise_y, name)
    return (
        _piece_of(base, _place_of(best, 0)), _piece_of(base, _place_of(best, 1)),
        _piece_of(base, _place_of(best, 2)), _piece_of(base, _place_of(best, 3)),
    )  # fmt: skip


@bound_kernel
def keep_pieces(
    lists, base, vectors, count, x, y, half_x, half_y, lean_x, lean_y, radius, margin, limit, to, marks
):
    """Copy the pieces of some vectors whose bound is at most `limit` to the list at `to`; return its length.

    The bounds are those of hollow_kernels.hollow_bounds.  marks: room for sixteen.
    """
    hollow, foot, slopes, over, half = _numbers_of(half_x, half_y, lean_x, lean_y, radius, margin)
    far = np.float32(radius + half + over)
    foot, slopes = np.float32(foot - over * slopes - limit), np.float32(slopes)
    px, py = np.float32(lean_x), np.float32(lean_y)
    vx, vy = np.float32(lean_x * hollow), np.float32(lean_y * hollow)
    x, y, half_x, half_y = np.float32(x), np.float32(y), np.float32(half_x), np.float32(half_y)
    bend, over = np.float32(0.5 / hollow), np.float32(1.0 / hollow)
    hollow, zero, wide = np.float32(hollow), np.float32(0.0), np.uint64(WIDE)
    kept = np.uint64(0)
    for place in range(np.uint64(count)):
        at = vector_at(base, vectors[place])
        for lane in range(wide):
            i = at + lane
            ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
            off = lists[i + np.uint64(POFF)]
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u = min(max(-(bx * ux + by * uy), zero), length)
            rx, ry = bx + u * ux, by + u * uy
            away2 = rx * rx + ry * ry
            ax, ay = bx + vx, by + vy
            m = lists[i + np.uint64(PSLOPE)] - (px * ux + py * uy)
            s = min(max(-(ax * ux + ay * uy) - m * hollow, zero), length)
            qx, qy = ax + s * ux, ay + s * uy
            ex, ey = qx - min(max(qx, -half_x), half_x), qy - min(max(qy, -half_y), half_y)
            slope = m + (ex * ux + ey * uy) * over
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot + m * s - off * slopes
            low += (ex * ex + ey * ey) * bend + min(-slope * s, slope * (length - s))
            out = far + off
            marks[lane] = low if away2 <= out * out else BIG
        kept = copy_pieces(lists, at, not_above_zero(marks, np.uint64(0)), np.uint64(to), kept)
    close_list(lists, to, kept)
    return np.int64(kept)
