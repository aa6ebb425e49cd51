"""Lower bounds of swept cutters over blocks of cells, many moves at a time, in float32.

Bound.  Let f be any profile, f*(sigma) = max over 0 <= r <= R of sigma r - f(r) its conjugate (the
support function of the cutter).  Then f(|v|) >= p . v - f*(|p|) for every vector p, so for a
straight move from (a, ha) to (b, hb), and every place x,
    g(x) >= min over the move of h(s) + p . (x - a(s)) - f*(|p|)
          = ha + p . (x - a) + min(0, (hb - ha) - p . (b - a)) - f*(|p|),
as h(s) - p . a(s) is linear along the move.  The right side is a plane in x with slope p.  It is a bound
whatever p is, so p may be computed roughly; it is tangent, and the bound exact, when p is the slope
of g at the place.  For a profile of straight pieces and one arc (centre e, k, radius r)
    f*(sigma) = max(sigma v - f(v) at every end v of a piece, sigma e + r sqrt(1 + sigma^2) - k).
Source: conjugate of a convex function and Fenchel's inequality (R. T. Rockafellar, Convex Analysis, 1970,
section 12); the use for swept cutters is our own.

Curved moves are bounded piece by piece by their chords.  Over a piece of angle t the place differs from
that of the chord at the same share of the angle by at most r t^2 / 8 (error of linear interpolation, the
second derivative being r), so a bound of the chord holds for the curve when it is lowered by `off` =
r t^2 / 8 times the length of (p, 1).

Rounding.  Places are counted from the middle of a tile and heights from its top, so that the numbers are
small: D the largest coordinate, H the largest height in a tile, e = 2^-24 the rounding of float32.
a, b, h and the place bring at most 4 e D |p|_1 and 4 e H; the sums and products of p . (x - a) 24 e D |p|_1,
f* 8 e (R + D) (1 + |p|_1); the bound is lowered by `margin` (1 + |p|_1), margin = 64 e (D + R + H).
Twin: tests/stock/test_bounds.py evaluates the swept height over blocks and checks every bound.
"""

import math

import numpy as np

from simkit._jit import kernel, loop_kernel
from simkit.cutters import BALL, CONE, FLAT
from simkit.stock.record_kernels import (
    CLIMB,
    EX,
    EY,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    MIDDLE,
    SENSE,
    SLOPE,
    SWEEP,
    SX,
    SY,
    THETA0,
    UPRIGHT_FORM,
    UX,
    UY,
    WIDTH,
    H,
    R,
    X,
    Y,
    form_of,
)

# A list of pieces is a part of a float32 array: groups of LANES pieces, in a group one row of LANES numbers
# for each column.  The distance between two columns is then known to the compiler, which needs no test
# whether they overlap before it uses the vector unit.
LANES = 32
PX, PY, PH, PUX, PUY, PLEN, PSLOPE, PSHIFT, POFF = (LANES * column for column in range(9))
ENTRY = 9 * LANES  # place in the entries of the tiles at hand: a whole number under 2^24
INPUTS = 10
LOWEST, SLOPE_X, SLOPE_Y, CHANCE = (LANES * column for column in range(10, 14))  # what the bounds write
GROUP = 14 * LANES
BIG = np.float32(1e30)
STEEPEST = 6.0  # slope at which the rounding of a cutter's side is taken to end; a bound needs no more

# Heights are compared in steps of 1 / FINE mm, within DEEPEST mm of the tile's top, when the most promising
# move is looked for, and its place in the group stands behind: in whole numbers the compiler can find the
# least without fastmath.
FINE, DEEPEST = 4096.0, 1e4
FARTHEST = np.int32(DEEPEST * FINE * LANES)

# Numbers of a support: the profile's slopes and ends, then height at these ends, then the arc.
RISE_AT, FLAT_AT, FROM_AT, TO_AT, RADIUS_AT, SIDE_AT = 0, 1, 2, 3, 4, 5
FROM_HEIGHT, TO_HEIGHT, RADIUS_HEIGHT, ARC_AT, ARC_HEIGHT, ARC_RADIUS = 6, 7, 8, 9, 10, 11
SUPPORT_NUMBERS = 12


@kernel
def _place(k):
    """Where column 0 of piece k is, from the beginning of its list."""
    return (k // LANES) * GROUP + k % LANES


@kernel
def _add_piece(lists, k, entry, ax, ay, ah, bx, by, bh, off):
    i = _place(k)
    dx, dy = bx - ax, by - ay
    length = math.sqrt(dx * dx + dy * dy)
    ux, uy, slope, low = 1.0, 0.0, 0.0, ah
    if length > 1e-9:
        ux, uy, slope = dx / length, dy / length, (bh - ah) / length
    else:
        length, low = 0.0, min(ah, bh)
        off += 1e-9
    lists[i + PX], lists[i + PY], lists[i + PH] = ax, ay, low
    lists[i + PUX], lists[i + PUY], lists[i + PLEN] = ux, uy, length
    lists[i + PSLOPE], lists[i + PSHIFT] = slope, slope / math.sqrt(1.0 + slope * slope)
    lists[i + POFF], lists[i + ENTRY] = off, entry


@kernel
def _curve_at(form, records, j, angle, first):
    """Place and height of a curved move at an angle; first: the angle where it begins."""
    if form == UPRIGHT_FORM:
        u = records[j, MIDDLE] + records[j, R] * math.cos(angle)
        w = records[j, CLIMB] * (angle - records[j, THETA0] - 0.5 * records[j, SWEEP])
        ux, uy = records[j, UX], records[j, UY]
        x, y = records[j, X] + u * ux - w * uy, records[j, Y] + u * uy + w * ux
        return x, y, records[j, H] + records[j, R] * math.sin(angle)
    x, y = records[j, X] + records[j, R] * math.cos(angle), records[j, Y] + records[j, R] * math.sin(angle)
    h = records[j, H]
    if form != LEVEL_ARC_FORM:
        h += records[j, CLIMB] * abs(angle - first)
    return x, y, h


@kernel
def _curve_angles(form, records, j):
    """First angle and signed sweep of a curved move."""
    if form == UPRIGHT_FORM:
        return records[j, THETA0], records[j, SWEEP]
    first = math.atan2(records[j, SY], records[j, SX])
    if form != LEVEL_ARC_FORM:
        return first, records[j, SENSE] * records[j, SWEEP]
    sweep = 2.0 * math.pi
    if records[j, WIDTH] < 2.0:
        sweep = records[j, SENSE] * (math.atan2(records[j, EY], records[j, EX]) - first)
        sweep -= 2.0 * math.pi * math.floor(sweep / (2.0 * math.pi))
    return first, records[j, SENSE] * sweep


@kernel
def curve_pieces(form, records, j, fineness):
    """How many chords a curved move is bounded by, so that they are off by about `fineness` mm."""
    _, sweep = _curve_angles(form, records, j)
    step = min(math.sqrt(8.0 * fineness / records[j, R]), 0.5)
    return math.ceil(abs(sweep) / step)


@kernel
def add_move(lists, n, x, y, top, near, entry, j, code, records, fineness):
    """Add the pieces of record j to the list at the start of `lists`, n long; return its new length.

    x, y, top: middle and top of the tile; near: how far from its middle a tip can be and still touch it.
    """
    form = form_of(code)
    if form == LINE_FORM:
        ax, ay, ah = records[j, X] - x, records[j, Y] - y, records[j, H] - top
        ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
        # Only the part of a long move that can touch the tile counts there.
        u = -(ax * ux + ay * uy)
        first, last = max(u - near, 0.0), min(u + near, length)
        if first > last:
            return n
        i = _place(n)
        lists[i + PX], lists[i + PY], lists[i + PH] = ax + first * ux, ay + first * uy, ah + m * first
        lists[i + PUX], lists[i + PUY], lists[i + PLEN] = ux, uy, last - first
        lists[i + PSLOPE], lists[i + PSHIFT] = m, m / math.sqrt(1.0 + m * m)
        lists[i + POFF], lists[i + ENTRY] = 0.0, entry
        return n + 1
    first, sweep = _curve_angles(form, records, j)
    count = curve_pieces(form, records, j, fineness)
    step = sweep / count
    off = records[j, R] * step * step / 8.0 + 1e-7
    bx, by, bh = _curve_at(form, records, j, first, first)
    for k in range(count):
        ax, ay, ah = bx, by, bh
        bx, by, bh = _curve_at(form, records, j, first + (k + 1) * step, first)
        reach = near + 0.5 * math.sqrt((bx - ax) * (bx - ax) + (by - ay) * (by - ay)) + off
        mx, my = 0.5 * (ax + bx) - x, 0.5 * (ay + by) - y
        if mx * mx + my * my <= reach * reach:
            _add_piece(lists, n, entry, ax - x, ay - y, ah - top, bx - x, by - y, bh - top, off)
            n += 1
    return n


@kernel
def close_list(lists, base, n):
    """Fill the last eight places of a list with pieces that are nowhere: whole vectors can then be read."""
    n = np.uint64(n)
    for k in range(n, (n + np.uint64(7)) & ~np.uint64(7)):
        lists[np.uint64(base) + k // np.uint64(LANES) * np.uint64(GROUP) + k % np.uint64(LANES)] = math.nan


@kernel
def group_boxes(lists, n, boxes):
    """Write x0, x1, y0, y1 of the tips of each group of the first list to boxes (groups, 4) float32.

    Returns the largest coordinate and the largest height of all.
    """
    far, high = np.float32(0.0), np.float32(0.0)
    for group in range((n + LANES - 1) // LANES):
        at = group * GROUP
        x0, x1, y0, y1 = BIG, -BIG, BIG, -BIG
        for i in range(at, at + min(LANES, n - group * LANES)):
            length, off = lists[i + PLEN], lists[i + POFF]
            ax, ay = lists[i + PX], lists[i + PY]
            bx, by = ax + length * lists[i + PUX], ay + length * lists[i + PUY]
            x0, x1 = min(x0, min(ax, bx) - off), max(x1, max(ax, bx) + off)
            y0, y1 = min(y0, min(ay, by) - off), max(y1, max(ay, by) + off)
            high = max(high, abs(lists[i + PH]) + abs(lists[i + PSLOPE] * length))
        boxes[group, 0], boxes[group, 1], boxes[group, 2], boxes[group, 3] = x0, x1, y0, y1
        far = max(far, max(max(-x0, x1), max(-y0, y1)))
    return float(far), float(high)


@kernel
def groups_near(boxes, n, x0, x1, y0, y1, groups):
    """Write to groups those of the first list whose box meets a rectangle; return how many."""
    count = 0
    for group in range((n + LANES - 1) // LANES):
        groups[count] = group
        is_off = (
            (boxes[group, 0] > x1) | (boxes[group, 1] < x0) | (boxes[group, 2] > y1) | (boxes[group, 3] < y0)
        )
        count += 0 if is_off else 1
    return count


@kernel
def ball_bounds(lists, base, n, groups, count, x, y, half, radius, margin):
    """Write bounds of the n pieces of the list at `base`, of a ball cutter, over a block; return `best`.

    x, y: the block's middle, seen from the tile's.  half: half the diagonal between the outermost
    centres of the block.  Columns written: LOWEST the bound at the middle (BIG if the block is out of
    reach), SLOPE_X and SLOPE_Y its slope.  best: the piece with the (nearly) lowest bound at the middle
    among those that cover the whole block, -1 if none does.

    p is the slope at the clamped stationary point of a ball (line_kernels.line_ball), at most about
    STEEPEST under the cutter.  sqrt(1 + p^2) is R / rest there, rest the height of the centre above the
    place of contact; (A + (1 + p^2) / A) / 2 is not below it for any A, and equal at A = R / rest.
    """
    zero, one, half_of = np.float32(0.0), np.float32(1.0), np.float32(0.5)
    x, y, half, radius, margin = (
        np.float32(x),
        np.float32(y),
        np.float32(half),
        np.float32(radius),
        np.float32(margin),
    )
    r2 = radius * radius
    over_r = one / radius
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far, near = radius + half + margin, radius - half - margin
    fine, deepest = np.float32(FINE), np.float32(DEEPEST)
    found, best_group = FARTHEST, np.int64(-1)
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        some = min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(7)) & ~np.uint64(7))
        before = found
        for lane in range(some):
            i = at + lane
            dx, dy = x - lists[i], y - lists[i + np.uint64(PY)]
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            length, off = lists[i + np.uint64(PLEN)], lists[i + np.uint64(POFF)]
            u = dx * ux + dy * uy
            w = dy * ux - dx * uy
            w2 = w * w
            e0 = u - min(max(u, zero), length)
            away2 = e0 * e0 + w2
            q = math.sqrt(max(r2 - w2, tau))
            e = u - min(max(u - lists[i + np.uint64(PSHIFT)] * q, zero), length)
            rest2 = max(r2 - (w2 + e * e), tau)
            inv = one / math.sqrt(rest2)
            pu, pw = e * inv, w * inv
            size = abs(pu) + abs(pw)
            root = half_of * (radius * inv + (one + (pu * pu + pw * pw)) * (rest2 * inv * over_r))
            fall = min(zero, length * (lists[i + np.uint64(PSLOPE)] - pu))
            low = lists[i + np.uint64(PH)] + (pu * u + pw * w - (radius * root - radius)) + fall
            low -= (margin + off) * (one + size)
            out, inside = far + off, near - off
            low = low if away2 <= out * out else BIG
            lists[i + np.uint64(LOWEST)] = low
            lists[i + np.uint64(SLOPE_X)] = pu * ux - pw * uy
            lists[i + np.uint64(SLOPE_Y)] = pu * uy + pw * ux
            is_covered = away2 <= inside * abs(inside)
            lists[i + np.uint64(CHANCE)] = low if is_covered else BIG
            level = np.int32((min(max(low, -deepest), deepest) if is_covered else deepest) * fine)
            level = np.int32(np.int32(level * np.int32(LANES)) + np.int32(lane))
            found = np.int32(level if level < found else found)
        if found < before:
            best_group = np.int64(group)
    return _best(best_group, found)


@kernel
def _support(sigma2, flat, start, start_f, end, end_f, radius, radius_f, e, k, r):
    """Conjugate of a profile at slope sqrt(sigma2): see the head of the module."""
    sigma = math.sqrt(sigma2)
    low = max(sigma * flat, sigma * start - start_f)
    low = max(low, max(sigma * end - end_f, sigma * radius - radius_f))
    return max(low, sigma * e + r * math.sqrt(np.float32(1.0) + sigma2) - k)


@kernel
def _beside(pw, m2, e, r):
    """How far beside the path an arc touches whose surface has slope sqrt(m2) along it and pw across."""
    sigma2 = m2 + pw * pw
    return pw * (e / math.sqrt(sigma2) + r / math.sqrt(np.float32(1.0) + sigma2))


@kernel
def profile_bounds(lists, base, n, groups, count, x, y, half, support, margin):
    """As ball_bounds, for any profile; support (SUPPORT_NUMBERS,) float32.

    Along a path of slope m the slope of the swept surface is m along it, and across it p_w, found from
    where the cutter touches: that place moves outwards as p_w grows, two halvings and a Newton step find
    it between the p_w of a flat cutter of the arc's outer radius, or of the level path, and the p_w of a
    ball of that radius, or of a flat of the arc's centre; at a kink of the profile the place jumps, and
    p_w is that of the straight piece.  Where that contact
    lies beyond an end of the path, p is the profile's slope at the distance from the end, radial.
    """
    zero, one, half_of, tiny = np.float32(0.0), np.float32(1.0), np.float32(0.5), np.float32(1e-12)
    steepest = np.float32(STEEPEST)
    x, y, half, margin = np.float32(x), np.float32(y), np.float32(half), np.float32(margin)
    rise, flat, start, end = support[RISE_AT], support[FLAT_AT], support[FROM_AT], support[TO_AT]
    radius, side = support[RADIUS_AT], min(support[SIDE_AT], np.float32(2.0 * STEEPEST))
    start_f, end_f, radius_f = support[FROM_HEIGHT], support[TO_HEIGHT], support[RADIUS_HEIGHT]
    e, k, r = support[ARC_AT], support[ARC_HEIGHT], support[ARC_RADIUS]
    side_from = end if end < radius else BIG
    outer2, most_arm, just_over = (e + r) * (e + r), r * np.float32(0.9999), np.float32(1.0001)
    far, near = radius + half + margin, radius - half - margin
    tau = r * r / np.float32(1.0 + STEEPEST * STEEPEST) + tiny
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        some = min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(7)) & ~np.uint64(7))
        for lane in range(some):
            i = at + lane
            dx, dy = x - lists[i], y - lists[i + np.uint64(PY)]
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            length, off = lists[i + np.uint64(PLEN)], lists[i + np.uint64(POFF)]
            slope = lists[i + np.uint64(PSLOPE)]
            m = min(max(slope, -steepest), steepest)
            u = dx * ux + dy * uy
            w = dy * ux - dx * uy
            w2 = w * w
            across = math.sqrt(w2)
            e0 = u - min(max(u, zero), length)
            away2 = e0 * e0 + w2
            # Across the path, as if it had no ends.
            m2 = m * m + tiny
            steep = math.sqrt(m2)
            lowest = math.sqrt(max(rise * rise - m2, zero))
            highest = math.sqrt(max(side * side - m2, tiny))
            over_outer = across / math.sqrt(max(outer2 - w2, tau))
            low = max(lowest, steep * over_outer)
            arm = min(max(across - e, zero), most_arm)
            level2 = arm * arm / max(r * r - arm * arm, tiny)
            low = max(low, math.sqrt(max(level2 - m2, zero)))
            high = math.sqrt(one + m2) * over_outer
            inner = steep * across / math.sqrt(max(e * e - w2, tiny))
            high = min(high, inner) if across < e else high
            low = min(low, highest)
            high = max(min(high, highest), low)
            pw = half_of * (low + high)
            is_in = _beside(pw, m2, e, r) < across
            low = pw if is_in else low
            high = high if is_in else pw
            pw = half_of * (low + high)
            is_in = _beside(pw, m2, e, r) < across
            low = pw if is_in else low
            high = high if is_in else pw
            pw = half_of * (low + high)
            sigma2 = m2 + pw * pw
            over, under = one / math.sqrt(sigma2), one / math.sqrt(one + sigma2)
            growth = e * m2 * over * over * over + r * (one + m2) * under * under * under
            pw = min(max(pw + (across - pw * (e * over + r * under)) / (growth + tiny), low), high)
            pw = lowest if across <= _beside(lowest * just_over, m2, e, r) else pw
            pw = highest if across >= _beside(highest, m2, e, r) else pw
            sigma2 = m2 + pw * pw
            along = m * (e / math.sqrt(sigma2) + r / math.sqrt(one + sigma2))
            is_kink = (pw == highest) | ((pw == lowest) & (lowest > zero))
            along = m * across / (pw + tiny) if is_kink else along
            # On the rim of a level tip below a steeper piece.
            inner = math.sqrt(max(flat * flat - w2, tiny))
            on_rim = steep * across / inner
            is_rim = (across < flat) & (on_rim * on_rim + m2 < rise * rise)
            pw = on_rim if is_rim else pw
            along = math.copysign(inner, m) if is_rim else along
            s = u - along
            t = u - min(max(s, zero), length)
            # At an end.
            d = math.sqrt(t * t + w2)
            arm = d - e
            sigma = arm / math.sqrt(max(r * r - arm * arm, tau))
            sigma = sigma if d > start else (rise if d > flat else zero)
            sigma = side if d > side_from else sigma
            sigma = min(sigma, steepest) / (d + tiny)
            is_along = (s >= zero) & (s <= length)
            pu = m if is_along else sigma * t
            pw = math.copysign(pw, w) if is_along else sigma * w
            size = abs(pu) + abs(pw)
            support_p = _support(
                pu * pu + pw * pw, flat, start, start_f, end, end_f, radius, radius_f, e, k, r
            )
            fall = min(zero, length * (slope - pu))
            bound = lists[i + np.uint64(PH)] + (pu * u + pw * w - support_p) + fall
            bound -= (margin + off) * (one + size)
            out, inside = far + off, near - off
            bound = bound if away2 <= out * out else BIG
            lists[i + np.uint64(LOWEST)] = bound
            lists[i + np.uint64(SLOPE_X)] = pu * ux - pw * uy
            lists[i + np.uint64(SLOPE_Y)] = pu * uy + pw * ux
            lists[i + np.uint64(CHANCE)] = bound if away2 <= inside * abs(inside) else BIG
    # The lowest in a loop of its own: a least of integers in the loop above would unroll it fourfold.
    best, least = -1, BIG
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP) + np.uint64(CHANCE)
        for lane in range(min(np.uint64(LANES), n - group * np.uint64(LANES))):
            if lists[at + lane] < least:
                best, least = np.int64(group * np.uint64(LANES) + lane), lists[at + lane]
    return best


@kernel
def flat_bounds(lists, base, n, groups, count, x, y, half, radius, margin):
    """As ball_bounds, for a flat cutter.

    Along a path of slope m its rim touches at q = sqrt(R^2 - w^2) to the lower side, and the swept
    surface has slope m along and |m| w / q across; under the disc at the lower end it is level.
    """
    zero = np.float32(0.0)
    one = np.float32(1.0)
    x, y, half = np.float32(x), np.float32(y), np.float32(half)
    radius, margin = np.float32(radius), np.float32(margin)
    r2 = radius * radius
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far, near = radius + half + margin, radius - half - margin
    fine, deepest, steepest = np.float32(FINE), np.float32(DEEPEST), np.float32(STEEPEST)
    found, best_group = FARTHEST, np.int64(-1)
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        some = min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(7)) & ~np.uint64(7))
        before = found
        for lane in range(some):
            i = at + lane
            dx, dy = x - lists[i], y - lists[i + np.uint64(PY)]
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            length, off = lists[i + np.uint64(PLEN)], lists[i + np.uint64(POFF)]
            slope = lists[i + np.uint64(PSLOPE)]
            m = min(max(slope, -steepest), steepest)
            u = dx * ux + dy * uy
            w = dy * ux - dx * uy
            w2 = w * w
            e0 = u - min(max(u, zero), length)
            away2 = e0 * e0 + w2
            q = math.sqrt(max(r2 - w2, tau))
            s = u - math.copysign(q, m)
            is_along = (s > zero) & (s < length)
            pu = m if is_along else zero
            pw = abs(m) * w / q if is_along else zero
            size = abs(pu) + abs(pw)
            support = radius * math.sqrt(pu * pu + pw * pw)
            fall = min(zero, length * (slope - pu))
            low = lists[i + np.uint64(PH)] + (pu * u + pw * w - support) + fall
            low -= (margin + off) * (one + size)
            out, inside = far + off, near - off
            low = low if away2 <= out * out else BIG
            lists[i + np.uint64(LOWEST)] = low
            lists[i + np.uint64(SLOPE_X)] = pu * ux - pw * uy
            lists[i + np.uint64(SLOPE_Y)] = pu * uy + pw * ux
            is_covered = away2 <= inside * abs(inside)
            lists[i + np.uint64(CHANCE)] = low if is_covered else BIG
            level = np.int32((min(max(low, -deepest), deepest) if is_covered else deepest) * fine)
            level = np.int32(np.int32(level * np.int32(LANES)) + np.int32(lane))
            found = np.int32(level if level < found else found)
        if found < before:
            best_group = np.int64(group)
    return _best(best_group, found)


@kernel
def cone_bounds(lists, base, n, groups, count, x, y, half, radius, rise, margin):
    """As ball_bounds, for a pointed cone of slope `rise` up to its radius.

    p is the slope of the cone where it touches (line_kernels.line_cone): `rise` away from its axis, at
    the stationary place or at an end of the path.  Where that lies beyond the rim, the rim touches as
    that of a flat cutter does.
    """
    zero, one, tiny = np.float32(0.0), np.float32(1.0), np.float32(1e-12)
    x, y, half = np.float32(x), np.float32(y), np.float32(half)
    radius, rise, margin = np.float32(radius), np.float32(rise), np.float32(margin)
    r2, rise2 = radius * radius, rise * rise
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far, near = radius + half + margin, radius - half - margin
    fine, deepest, steepest = np.float32(FINE), np.float32(DEEPEST), np.float32(STEEPEST)
    found, best_group = FARTHEST, np.int64(-1)
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        some = min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(7)) & ~np.uint64(7))
        before = found
        for lane in range(some):
            i = at + lane
            dx, dy = x - lists[i], y - lists[i + np.uint64(PY)]
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            length, off = lists[i + np.uint64(PLEN)], lists[i + np.uint64(POFF)]
            slope = lists[i + np.uint64(PSLOPE)]
            m = min(max(slope, -steepest), steepest)
            u = dx * ux + dy * uy
            w = dy * ux - dx * uy
            w2 = w * w
            e0 = u - min(max(u, zero), length)
            away2 = e0 * e0 + w2
            rim = math.sqrt(max(r2 - w2, tau))
            # Along the path from the axis: |m| |w| / sqrt(k^2 - m^2), and no farther than the rim.
            reach = math.sqrt(m * m * w2 / max(rise2 - m * m, tiny))
            is_rim = reach >= rim
            s = u - math.copysign(min(reach, rim), m)
            is_rim &= (s > zero) & (s < length)
            t = u - min(max(s, zero), length)
            over = rise / (math.sqrt(t * t + w2) + tiny)
            pu = m if is_rim else t * over
            pw = abs(m) * w / rim if is_rim else w * over
            size = abs(pu) + abs(pw)
            support = radius * max(math.sqrt(pu * pu + pw * pw) - rise, zero)
            fall = min(zero, length * (slope - pu))
            low = lists[i + np.uint64(PH)] + (pu * u + pw * w - support) + fall
            low -= (margin + off) * (one + size)
            out, inside = far + off, near - off
            low = low if away2 <= out * out else BIG
            lists[i + np.uint64(LOWEST)] = low
            lists[i + np.uint64(SLOPE_X)] = pu * ux - pw * uy
            lists[i + np.uint64(SLOPE_Y)] = pu * uy + pw * ux
            is_covered = away2 <= inside * abs(inside)
            lists[i + np.uint64(CHANCE)] = low if is_covered else BIG
            level = np.int32((min(max(low, -deepest), deepest) if is_covered else deepest) * fine)
            level = np.int32(np.int32(level * np.int32(LANES)) + np.int32(lane))
            found = np.int32(level if level < found else found)
        if found < before:
            best_group = np.int64(group)
    return _best(best_group, found)


@loop_kernel
def _best(group, found):
    """The piece of a group that was found, -1 if there is no group."""
    return group * np.int64(LANES) + np.int64(found & np.int32(LANES - 1)) if group >= 0 else np.int64(-1)


# What bounds takes and gives: it is called through a pointer (simkit._jit.pointer).
BOUNDS = (
    "int64(float32[::1], int64, int64, int32[::1], int64, "
    "float64, float64, float64, int64, float32[::1], float64)"
)


def bounds(lists, base, n, groups, count, x, y, half, profile, support, margin):
    """Bounds of a list over a block, whatever the profile: see ball_, flat_, cone_ and profile_bounds.

    Compiled by the cut, for BOUNDS.
    """
    if profile == BALL:
        return ball_bounds(lists, base, n, groups, count, x, y, half, support[RADIUS_AT], margin)
    if profile == FLAT:
        return flat_bounds(lists, base, n, groups, count, x, y, half, support[RADIUS_AT], margin)
    if profile == CONE:
        radius, rise = support[RADIUS_AT], support[RISE_AT]
        return cone_bounds(lists, base, n, groups, count, x, y, half, radius, rise, margin)
    return profile_bounds(lists, base, n, groups, count, x, y, half, support, margin)
