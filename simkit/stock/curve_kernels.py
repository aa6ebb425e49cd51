"""Lowest height that any outline reaches above a point along an arc that has no closed form.

The tip runs on (r cos t, rw sin t + cw t) in plan at the height rh sin t + ch t: a helix has
rw = r and rh = 0, an upright arc rw = 0 and rh = r (cw: what it climbs sideways).  phi(t) = height + f(d),
d the plan distance, may have several minima, so the global one is found by halving with bounds.
Over |t - t_m| <= z, with the speed in plan at most V and its change at most r:
    d(t) >= d_m - V z,   d(t) >= d_m + d'_m (t - t_m) - r (t - t_m)^2 / 2   (d'' >= -r, by Cauchy),
    f(d) >= f(d_0) + f'(d_0) (d - d_0) for any d_0, as f is convex,
so phi is nowhere below   h_low + f(d_low)   and nowhere below the parabola through the values at
t_m that opens downwards by f'(d_0) r + max(rh sin t, 0).  An interval goes when its bound is not
CLOSE below the best height found; the others are halved.  So the height is at most CLOSE too high;
a minimum once found is followed down to FINE.  Derivation: own.
"""

import math

from simkit._jit import kernel
from simkit.stock.profile_kernels import outline_height, outline_slope

CLOSE = 1e-7  # mm
FINE = 1e-10  # mm
NARROW = 1e-11  # radians: no interval is halved below this
COARSE = 0.5  # radians: first intervals are at most this wide
HALVINGS = 40


@kernel
def curve_value(t, pu, pw, cover, path, outline):
    """Return height, slope of the height, d, d' at t; the height is inf and the slope d' beyond cover."""
    r, rw, cw, rh, ch = path
    rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise = outline
    c, s = math.cos(t), math.sin(t)
    u, w = r * c - pu, rw * s + cw * t - pw
    d = math.sqrt(u * u + w * w)
    d_change = (w * (rw * c + cw) - u * r * s) / d if d > 0.0 else 0.0
    if d > cover:
        return math.inf, d_change, d, d_change
    f = outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
    k = outline_slope(d, rise, flat, arc_from, arc_to, arc_e, arc_r, side_rise, True)
    return rh * s + ch * t + f, rh * c + ch + k * d_change, d, d_change


@kernel
def curve_descent(low, high, pu, pw, cover, path, outline):
    """Lowest height met by halving low..high by the sign of the slope, +inf when all is uncovered."""
    best = math.inf
    low_slope = high_slope = math.inf
    for _ in range(HALVINGS):
        t = 0.5 * (low + high)
        value, slope, _, _ = curve_value(t, pu, pw, cover, path, outline)
        best = min(best, value)
        slope_size = abs(slope) if value < math.inf else math.inf
        if slope > 0.0:
            high, high_slope = t, slope_size
        else:
            low, low_slope = t, slope_size
        # Between two covered ends phi can't fall by more than this where it is convex.
        if min(low_slope, high_slope) * (high - low) < FINE and max(low_slope, high_slope) < math.inf:
            break
    return best


@kernel
def curve_follow(t, slope, step, first, last, pu, pw, cover, path, outline):
    """Lowest height of the basin that t lies in: widen downhill until it rises, then curve_descent."""
    sign = -1.0 if slope > 0.0 else 1.0
    back, ahead = t, t
    while True:
        ahead = min(max(t + sign * step, first), last)
        _, slope, _, _ = curve_value(ahead, pu, pw, cover, path, outline)
        if slope * sign > 0.0 or ahead in (first, last):
            break
        back, step = ahead, 2.0 * step
    return curve_descent(min(back, ahead), max(back, ahead), pu, pw, cover, path, outline)


@kernel
def curve_lowest(best, first, last, pu, pw, cover, path, outline):
    """The lower of `best` and the lowest height along t from first to last; +inf where nothing covers.

    cover: radius within which a point counts as covered.  path: r, rw, cw, rh, ch; outline: as outline_of.
    """
    r, rw, cw, rh, ch = path
    rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise = outline
    speed = math.sqrt(r * r + cw * cw) if rw == 0.0 else r
    # Beyond this radius the slope of the outline is too great to be of use in a bound.
    steep_at = min(cover, arc_e + 0.9998 * arc_r) if arc_to > arc_from else cover
    if side_rise == 0.0:  # what an outline that ends at its arc gives beyond that, up to `cover`, is level
        steep_at = min(steep_at, arc_to)
    value, _, _, _ = curve_value(first, pu, pw, cover, path, outline)
    best = min(best, value)
    value, _, _, _ = curve_value(last, pu, pw, cover, path, outline)
    best = min(best, value)
    count = max(math.ceil((last - first) / COARSE), 1)
    wide = (last - first) / count
    least, least_t, least_slope = math.inf, first, 0.0
    for i in range(count):
        t = first + (i + 0.5) * wide
        value, slope, _, _ = curve_value(t, pu, pw, cover, path, outline)
        if value < least:
            least, least_t, least_slope = value, t, slope
    if least < math.inf:
        found = curve_follow(least_t, least_slope, 0.25 * wide, first, last, pu, pw, cover, path, outline)
        best = min(best, least, found)
    # Intervals are numbered `at` on `level` (wide / 2^level each) and met from left to right.
    level, at = 0, 0
    while level > 0 or at < count:
        z = 0.5 * wide / (1 << level)
        t = first + (2 * at + 1) * z
        value, slope, d, d_change = curve_value(t, pu, pw, cover, path, outline)
        near = max(d - min(speed * z, abs(d_change) * z + 0.5 * r * z * z), 0.0)
        is_open = near <= cover
        if is_open:
            c, s = math.cos(t), math.sin(t)
            h, h_change = rh * s + ch * t, rh * c + ch
            f = outline_height(near, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
            bound = h - abs(h_change) * z - 0.5 * abs(rh) * z * z + f
            d0 = min(d, steep_at)
            f = outline_height(d0, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
            k = outline_slope(d0, rise, flat, arc_from, arc_to, arc_e, arc_r, side_rise, True)
            down = k * r + max(rh * min(s + z, 1.0), 0.0)
            tilt = abs(h_change + k * d_change)
            bound = max(bound, h + f + k * (d - d0) - tilt * z - 0.5 * down * z * z)
            is_open = bound < best - CLOSE
        if is_open and value < best - CLOSE:
            found = curve_follow(t, slope, z, first, last, pu, pw, cover, path, outline)
            best = min(best, value, found)
        if is_open and z > NARROW:
            level, at = level + 1, 2 * at
            continue
        at += 1
        while level > 0 and at % 2 == 0:
            level, at = level - 1, at // 2
    return best


@kernel
def upright_lowest(first, last, pu, pw, cover, path, outline):
    """Lowest height along an upright arc that does not climb sideways.

    On its lower half the height of the path is a convex function of its place in plan, so phi is one too,
    and halving by the slope finds its only minimum; the upper half is searched as a curve.
    """
    best = math.inf
    for half in range(2):  # the lower halves first: what they leave spares the others work
        k = math.floor(first / math.pi)
        while k * math.pi < last:
            low, high = max(first, k * math.pi), min(last, (k + 1) * math.pi)
            if high > low and (k % 2 != 0) == (half == 0):
                if half == 0:
                    for end in range(2):
                        t = low if end == 0 else high
                        value, _, _, _ = curve_value(t, pu, pw, cover, path, outline)
                        best = min(best, value)
                    best = min(best, curve_descent(low, high, pu, pw, cover, path, outline))
                else:
                    best = curve_lowest(best, low, high, pu, pw, cover, path, outline)
            k += 1
    return best
