"""Lowest height that any outline reaches above a point along an arc that has no closed form.

The tip runs on (r cos t, rw sin t + cw t) in plan at the height rh sin t + ch t: a helix has
rw = r and rh = 0, an upright arc rw = 0 and rh = r (cw: what it climbs sideways).  phi(t) = height + f(d),
d the plan distance, may have several minima, so the global one is found by bisection with bounds.
Over |t - t_m| <= z, with the speed in plan at most V and its change at most r:
    d(t) >= d_m - V z,   d(t) >= d_m + d'_m (t - t_m) - r (t - t_m)^2 / 2   (d'' >= -r, by Cauchy),
    f(d) >= f(d_0) + f'(d_0) (d - d_0) for any d_0, as f is convex,
so phi is nowhere below   h_low + f(d_m - V z)   and nowhere below the parabola through the values at
t_m that opens downwards by f'(d_0) r + max(rh sin t, 0).  An interval goes when its bound is not
CLOSE below the best height found; the others are halved.  So the height is at most CLOSE too high.
"""

import math

from simkit._jit import kernel
from simkit.stock.profile_kernels import outline_height, outline_slope

CLOSE = 1e-9  # mm
NARROW = 1e-11  # radians: no interval is halved below this
COARSE = 0.6  # radians: first intervals are at most this wide


@kernel
def curve_place(t, pu, pw, r, rw, cw):
    """Return d, d': plan distance from the point (pu, pw) to the tip at t, and its change with t."""
    c, s = math.cos(t), math.sin(t)
    u, w = r * c - pu, rw * s + cw * t - pw
    d = math.sqrt(u * u + w * w)
    return d, (w * (rw * c + cw) - u * r * s) / d if d > 0.0 else 0.0


@kernel
def curve_lowest(
    pu, pw, first, last, cover, r, rw, cw, rh, ch,
    rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise,
):  # fmt: skip
    """Lowest height along t from first to last (first <= last), +inf where the cutter does not pass.

    cover: radius within which a point counts as covered.  Other arguments: see above, and Outline.
    """
    speed = math.sqrt(r * r + cw * cw) if rw == 0.0 else r
    # Beyond this radius the slope of the outline is too great to be of use in a bound.
    steep_at = min(cover, arc_e + 0.9998 * arc_r) if arc_to > arc_from else cover
    best = math.inf
    for end in range(2):
        t = first if end == 0 else last
        d, _ = curve_place(t, pu, pw, r, rw, cw)
        if d <= cover:
            f = outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
            best = min(best, rh * math.sin(t) + ch * t + f)
    count = math.ceil((last - first) / COARSE) if last > first else 0
    wide = (last - first) / max(count, 1)
    # Intervals are numbered `at` on `level` (wide / 2^level each) and met from left to right; the first
    # round only looks at the coarse ones and follows each promising one down to its minimum.
    for is_proof in range(2):
        level, at = 0, 0
        while level > 0 or at < count:
            z = 0.5 * wide / (1 << level)
            middle = first + (2 * at + 1) * z
            d, d_change = curve_place(middle, pu, pw, r, rw, cw)
            s = math.sin(middle)
            h = rh * s + ch * middle
            h_change = rh * math.cos(middle) + ch
            is_open = d - speed * z <= cover
            if is_open:
                near = max(d - speed * z, 0.0)
                f = outline_height(near, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
                bound = h - abs(h_change) * z - 0.5 * abs(rh) * z * z + f
                d0 = min(d, steep_at)
                f = outline_height(d0, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
                k = outline_slope(d0, rise, flat, arc_from, arc_to, arc_e, arc_r, side_rise, True)
                down = k * r + max(rh * min(s + z, 1.0), 0.0)
                tilt = abs(h_change + k * d_change)
                bound = max(bound, h + f + k * (d - d0) - tilt * z - 0.5 * down * z * z)
                is_open = bound < best - CLOSE
            if is_open and (is_proof == 0 or d <= cover):
                value = math.inf
                if d <= cover:
                    f = outline_height(
                        d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise
                    )
                    value = h + f
                if is_proof == 0 or value < best - CLOSE:
                    best = min(
                        best,
                        value,
                        curve_descent(
                            middle - z, middle + z, pu, pw, cover, r, rw, cw, rh, ch,
                            rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise,
                        ),
                    )  # fmt: skip
            if is_open and is_proof == 1 and z > NARROW:
                level, at = level + 1, 2 * at
                continue
            at += 1
            while level > 0 and at % 2 == 0:
                level, at = level - 1, at // 2
    return best


@kernel
def curve_descent(
    low, high, pu, pw, cover, r, rw, cw, rh, ch,
    rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise,
):  # fmt: skip
    """Height at the end of a bisection by the sign of the slope, +inf when it ends uncovered."""
    value = math.inf
    for _ in range(36):
        t = 0.5 * (low + high)
        d, d_change = curve_place(t, pu, pw, r, rw, cw)
        slope = d_change
        if d <= cover:
            f = outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
            value = min(value, rh * math.sin(t) + ch * t + f)
            k = outline_slope(d, rise, flat, arc_from, arc_to, arc_e, arc_r, side_rise, True)
            slope = rh * math.cos(t) + ch + k * d_change
        if slope > 0.0:
            high = t
        else:
            low = t
    return value
