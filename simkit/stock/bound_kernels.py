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

Curved moves are bounded piece by piece by their chords (list_kernels).  Over blocks larger than a leaf
balls have bounds of their own (hollow_kernels).

Rounding.  Places are counted from the middle of a tile and heights from its top, so that the numbers are
small: D the largest coordinate, H the largest height in a tile, e = 2^-24 the rounding of float32.
a, b, h and the place bring at most 4 e D |p|_1 and 4 e H; the sums and products of p . (x - a) 24 e D |p|_1,
f* 8 e (R + D) (1 + |p|_1); the bound is lowered by `margin` (1 + |p|_1), margin = 64 e (D + R + H).
Twin: tests/stock/test_bounds.py evaluates the swept height over blocks and checks every bound.
"""

import math

import numpy as np

from simkit._jit import bound_kernel, bound_loop_kernel
from simkit.cutters import BALL, CONE, FLAT
from simkit.stock.hollow_kernels import FARTHEST, best_of, hollow_bounds, rank_of
from simkit.stock.list_kernels import (
    BEND_AT,
    BEND_X,
    BEND_Y,
    BIG,
    CHANCE,
    CHANCE_X,
    CHANCE_Y,
    GROUP,
    LANES,
    LEVEL,
    LOWEST,
    PH,
    PLEN,
    POFF,
    PSHIFT,
    PSLOPE,
    PUX,
    PUY,
    PX,
    PY,
    SLOPE_X,
    SLOPE_Y,
    lanes_of,
)

STEEPEST = 6.0  # slope at which the rounding of a cutter's side is taken to end; a bound needs no more

# Numbers of a support: the profile's slopes and ends, then height at these ends, then the arc.
RISE_AT, FLAT_AT, FROM_AT, TO_AT, RADIUS_AT, SIDE_AT = 0, 1, 2, 3, 4, 5
FROM_HEIGHT, TO_HEIGHT, RADIUS_HEIGHT, ARC_AT, ARC_HEIGHT, ARC_RADIUS = 6, 7, 8, 9, 10, 11
SUPPORT_NUMBERS = 12


@bound_loop_kernel
def _seen(lists, i, x, y):
    """Along and across a piece of a place, the piece's length, and how far the place is from it, squared."""
    dx, dy = x - lists[i + np.uint64(PX)], y - lists[i + np.uint64(PY)]
    ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    beyond = u - min(max(u, np.float32(0.0)), length)
    return u, w, length, beyond * beyond + w * w


@bound_loop_kernel
def _write(lists, i, lane, u, w, length, away2, pu, pw, support, margin, far, near, level):
    """Write the bound of slope (pu, pw) along and across a piece; return it as a whole number.

    support: f* of that slope.  far, near: how far from a piece a block is out of reach, and within which
    it is covered.
    """
    zero, one = np.float32(0.0), np.float32(1.0)
    ux, uy, off = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(POFF)]
    fall = min(zero, length * (lists[i + np.uint64(PSLOPE)] - pu))
    low = lists[i + np.uint64(PH)] + (pu * u + pw * w - support) + fall
    low -= (margin + off) * (one + (abs(pu) + abs(pw)))
    out, inside = far + off, near - off
    low = low if away2 <= out * out else BIG
    slope_x, slope_y = pu * ux - pw * uy, pu * uy + pw * ux
    lists[i + np.uint64(CHANCE_X)], lists[i + np.uint64(CHANCE_Y)] = slope_x, slope_y
    lists[i + np.uint64(BEND_X)] = lists[i + np.uint64(BEND_Y)] = lists[i + np.uint64(BEND_AT)] = zero
    lists[i + np.uint64(LEVEL)] = level
    lists[i + np.uint64(LOWEST)] = low
    lists[i + np.uint64(SLOPE_X)], lists[i + np.uint64(SLOPE_Y)] = slope_x, slope_y
    is_covered = away2 <= inside * abs(inside)
    lists[i + np.uint64(CHANCE)] = low if is_covered else BIG
    return rank_of(low if is_covered else BIG, lane)


@bound_kernel
def ball_bounds(lists, base, n, groups, count, x, y, half_x, half_y, lean_x, lean_y, radius, margin):
    """Write bounds of the n pieces of the list at `base`, of a ball cutter, over a leaf.

    x, y: the leaf's middle, seen from the tile's.  half_x, half_y: half the extent between the outermost
    centres.  lean_x, lean_y: about the slope of what will stand there; any will do, a good one gives good
    bounds.  Columns written: LOWEST the bound at the middle (BIG if the leaf is out of reach), SLOPE_X and
    SLOPE_Y its slope, and BEND_X, BEND_Y, BEND_AT: the square of BEND_X x + BEND_Y y - BEND_AT, x and y
    seen from the middle, may be added to the plane.

    p is the slope at the clamped stationary point of a ball (line_kernels.line_ball), at most about
    STEEPEST under the cutter, over that place of the leaf which is nearest to where the sweep has the slope
    `lean`: the path shifted by v = R lean / sqrt(1 + lean^2).  There the sweep comes nearest to a plane of
    that slope below it, so the plane that touches it there tells best whether it comes under such a plane.
    From there the sweep bends up across the path: f(v + d) - f(v) - p d >= d^2 / (2 R) for a ball
    (hollow_kernels), and wherever the cutter is, d is at least what lies across the path.
    sqrt(1 + p^2) is R / rest there, rest the height of the centre above the place of contact;
    (A + (1 + p^2) / A) / 2 is not below it for any A, and equal at A = R / rest.
    """
    zero, one, half_of = np.float32(0.0), np.float32(1.0), np.float32(0.5)
    x, y, radius, margin = np.float32(x), np.float32(y), np.float32(radius), np.float32(margin)
    half_x, half_y = np.float32(half_x), np.float32(half_y)
    lean_x, lean_y = np.float32(lean_x), np.float32(lean_y)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    r2 = radius * radius
    over_r = one / radius
    bend = math.sqrt(half_of * over_r)
    over_lean = radius / math.sqrt(one + (lean_x * lean_x + lean_y * lean_y))
    lean_x, lean_y = lean_x * over_lean, lean_y * over_lean
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far = radius + half + margin
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        for lane in range(lanes_of(n, group)):
            i = at + lane
            u, w, length, away2 = _seen(lists, i, x, y)
            ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
            # The place of the block nearest to where the sweep has the slope that is expected.
            lean_u, lean_w = lean_x * ux + lean_y * uy, lean_y * ux - lean_x * uy
            tu = u - lean_u
            tu = min(max(tu, zero), length) - tu
            tw = lean_w - w
            tx = min(max(tu * ux - tw * uy, -half_x), half_x)
            ty = min(max(tu * uy + tw * ux, -half_y), half_y)
            v = u + (tx * ux + ty * uy)
            across = ty * ux - tx * uy
            w2 = w + across
            pw = w2
            w2 = w2 * w2
            q = math.sqrt(max(r2 - w2, tau))
            e = v - min(max(v - lists[i + np.uint64(PSHIFT)] * q, zero), length)
            rest2 = max(r2 - (w2 + e * e), tau)
            inv = one / math.sqrt(rest2)
            pu, pw = e * inv, pw * inv
            root = half_of * (radius * inv + (one + (pu * pu + pw * pw)) * (rest2 * inv * over_r))
            support = radius * root - radius
            off = lists[i + np.uint64(POFF)]
            low = lists[i + np.uint64(PH)] + (pu * u + pw * w - support)
            low += min(zero, length * (lists[i + np.uint64(PSLOPE)] - pu))
            low -= (margin + off) * (one + (abs(pu) + abs(pw)))
            out = far + off
            lists[i + np.uint64(LOWEST)] = low if away2 <= out * out else BIG
            lists[i + np.uint64(SLOPE_X)] = pu * ux - pw * uy
            lists[i + np.uint64(SLOPE_Y)] = pu * uy + pw * ux
            bent = bend if off == zero else zero
            lists[i + np.uint64(BEND_X)], lists[i + np.uint64(BEND_Y)] = -bent * uy, bent * ux
            lists[i + np.uint64(BEND_AT)] = bent * across
            lists[i + np.uint64(LEVEL)] = -BIG


@bound_kernel
def _support(sigma2, flat, start, start_f, end, end_f, radius, radius_f, e, k, r):
    """Conjugate of a profile at slope sqrt(sigma2): see the head of the module."""
    sigma = math.sqrt(sigma2)
    low = max(sigma * flat, sigma * start - start_f)
    low = max(low, max(sigma * end - end_f, sigma * radius - radius_f))
    return max(low, sigma * e + r * math.sqrt(np.float32(1.0) + sigma2) - k)


@bound_kernel
def _beside(pw, m2, e, r):
    """How far beside the path an arc touches whose surface has slope sqrt(m2) along it and pw across."""
    sigma2 = m2 + pw * pw
    return pw * (e / math.sqrt(sigma2) + r / math.sqrt(np.float32(1.0) + sigma2))


@bound_kernel
def profile_bounds(lists, base, n, groups, count, x, y, half, support, margin):
    """Bounds as of hollow_kernels.hollow_bounds, for any profile; support (SUPPORT_NUMBERS,) float32.

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
        for lane in range(lanes_of(n, group)):
            i = at + lane
            u, w, length, away2 = _seen(lists, i, x, y)
            w2, slope = w * w, lists[i + np.uint64(PSLOPE)]
            m = min(max(slope, -steepest), steepest)
            across = math.sqrt(w2)
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
            touched = _support(pu * pu + pw * pw, flat, start, start_f, end, end_f, radius, radius_f, e, k, r)
            _write(lists, i, lane, u, w, length, away2, pu, pw, touched, margin, far, near, -BIG)
    # The lowest in a loop of its own: a least of integers in the loop above would unroll it fourfold.
    best, least = -1, BIG
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP) + np.uint64(CHANCE)
        for lane in range(min(np.uint64(LANES), n - group * np.uint64(LANES))):
            if lists[at + lane] < least:
                best, least = np.int64(group * np.uint64(LANES) + lane), lists[at + lane]
    return best


@bound_kernel
def flat_bounds(lists, base, n, groups, count, x, y, half, radius, margin, is_leaf):
    """Bounds as of hollow_kernels.hollow_bounds, for a flat cutter.

    Along a path of slope m its rim touches at q = sqrt(R^2 - w^2) to the lower side, and the swept
    surface has slope m along and |m| w / q across; under the disc at the lower end it is level.  Over a leaf
    the plane is that of the path without ends, and LEVEL, the lower end, is asked beside it.
    """
    zero = np.float32(0.0)
    x, y, half = np.float32(x), np.float32(y), np.float32(half)
    radius, margin = np.float32(radius), np.float32(margin)
    r2, steepest = radius * radius, np.float32(STEEPEST)
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far, near = radius + half + margin, radius - half - margin
    found, best_group = FARTHEST, np.int64(-1)
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        least = FARTHEST  # of each group anew: it would else wait for the one before
        for lane in range(lanes_of(n, group)):
            i = at + lane
            u, w, length, away2 = _seen(lists, i, x, y)
            w2, slope = w * w, lists[i + np.uint64(PSLOPE)]
            m = min(max(slope, -steepest), steepest)
            q = math.sqrt(max(r2 - w2, tau))
            s = u - math.copysign(q, m)
            is_along = is_leaf | ((s > zero) & (s < length))
            lowest = lists[i + np.uint64(PH)] + min(zero, slope * length)
            lowest -= margin + lists[i + np.uint64(POFF)]
            pu = m if is_along else zero
            pw = abs(m) * w / q if is_along else zero
            support = radius * math.sqrt(pu * pu + pw * pw)
            level = _write(lists, i, lane, u, w, length, away2, pu, pw, support, margin, far, near, lowest)
            least = np.int32(level if level < least else least)
        best_group = np.int64(group) if least < found else best_group
        found = np.int32(least if least < found else found)
    return best_of(best_group, found)


@bound_kernel
def cone_bounds(lists, base, n, groups, count, x, y, half, radius, rise, margin):
    """Bounds as of hollow_kernels.hollow_bounds, for a pointed cone of slope `rise` up to its radius.

    p is the slope of the cone where it touches (line_kernels.line_cone): `rise` away from its axis, at
    the stationary place or at an end of the path.  Where that lies beyond the rim, the rim touches as
    that of a flat cutter does.
    """
    zero, tiny = np.float32(0.0), np.float32(1e-12)
    x, y, half = np.float32(x), np.float32(y), np.float32(half)
    radius, rise, margin = np.float32(radius), np.float32(rise), np.float32(margin)
    r2, rise2 = radius * radius, rise * rise
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far, near, steepest = radius + half + margin, radius - half - margin, np.float32(STEEPEST)
    found, best_group = FARTHEST, np.int64(-1)
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        least = FARTHEST  # of each group anew: it would else wait for the one before
        for lane in range(lanes_of(n, group)):
            i = at + lane
            u, w, length, away2 = _seen(lists, i, x, y)
            w2, slope = w * w, lists[i + np.uint64(PSLOPE)]
            m = min(max(slope, -steepest), steepest)
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
            support = radius * max(math.sqrt(pu * pu + pw * pw) - rise, zero)
            level = _write(lists, i, lane, u, w, length, away2, pu, pw, support, margin, far, near, -BIG)
            least = np.int32(level if level < least else least)
        best_group = np.int64(group) if least < found else best_group
        found = np.int32(least if least < found else found)
    return best_of(best_group, found)


# What bounds takes and gives: it is called through a pointer (simkit._jit.pointer).
BOUNDS = (
    "int64(float32[::1], int64, int64, int32[::1], int64, "
    "float64, float64, float64, float64, float64, float64, int64, float32[::1], float64, boolean)"
)


def bounds(
    lists, base, n, groups, count, x, y, half_x, half_y, lean_x, lean_y, profile, support, margin, is_leaf
):
    """Bounds of a list over a block, whatever the profile: see the bounds of each.

    is_leaf: whether BEND_X, BEND_Y, BEND_AT and LEVEL are wanted.  Compiled by the cut, for BOUNDS.
    """
    if profile == BALL and not is_leaf:
        return hollow_bounds(
            lists, base, n, groups, count, x, y, half_x, half_y, lean_x, lean_y, support[RADIUS_AT], margin
        )
    if profile == BALL:
        ball_bounds(
            lists, base, n, groups, count, x, y, half_x, half_y, lean_x, lean_y, support[RADIUS_AT], margin
        )
        return np.int64(-1)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    if profile == FLAT:
        return flat_bounds(lists, base, n, groups, count, x, y, half, support[RADIUS_AT], margin, is_leaf)
    if profile == CONE:
        radius, rise = support[RADIUS_AT], support[RISE_AT]
        return cone_bounds(lists, base, n, groups, count, x, y, half, radius, rise, margin)
    return profile_bounds(lists, base, n, groups, count, x, y, half, support, margin)
