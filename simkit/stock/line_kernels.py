"""Lowest height that a cutter moving along a straight line reaches above a point.

For the tip path a(s) and the profile f the height above p is the minimum over s of a_h(s) + f(|p - a(s)|)
where |p - a(s)| <= R; +inf where the cutter does not pass over the point.  f is convex and
non-decreasing and its argument convex in s, so the function is convex in s: the stationary point,
clamped to the path, is the minimum.  The order of operations is fixed, so a point gives the same bits
in every loop.  Derivations: own.
"""

import math

from simkit._jit import kernel, loop_kernel
from simkit.stock.profile_kernels import outline_height


@kernel
def line_flat(dx, dy, h0, cover2, ux, uy, length, m):
    """Flat cutter along a line from a: (dx, dy) = p - a, direction (ux, uy), plan length, slope m.

    Admissible s: [max(0, u - q), min(L, u + q)], q = sqrt(R^2 - w^2); the lower end of the path in it.
    """
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    q2 = cover2 - w * w
    q = math.sqrt(max(q2, 0.0))
    first = u - q
    last = u + q
    s = max(first, 0.0) if m >= 0.0 else min(last, length)
    g = h0 + m * s
    return g if (q2 >= 0.0) & (first <= length) & (last >= 0.0) else math.inf


@kernel
def line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift):
    """Ball cutter along a line; shift = m / sqrt(1 + m^2).

    Stationary where s = u - q m / sqrt(1 + m^2), q = sqrt(R^2 - w^2); convex in s, so clamping to the
    path gives the minimum.
    """
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    q2 = radius * radius - w * w
    s = u - shift * math.sqrt(max(q2, 0.0))
    s = min(max(s, 0.0), length)
    e = s - u
    rest = q2 - e * e
    g = h0 + m * s + (radius - math.sqrt(max(rest, 0.0)))
    return g if rest >= -rim2 else math.inf


@kernel
def line_cone(dx, dy, h0, rise, cover2, ux, uy, length, m, shift, steep):
    """Cone of `rise` k along a line.

    Stationary where s = u - |w| shift, shift = m / sqrt(k^2 - m^2), clamped to the admissible interval
    (convex in s).  A path as steep as the cone or steeper has its minimum at the low end: shift is
    then 0 and `steep` a huge number with the sign of m.
    """
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    q2 = cover2 - w * w
    q = math.sqrt(max(q2, 0.0))
    first = max(u - q, 0.0)
    last = min(u + q, length)
    s = u - (abs(w) * shift + steep)
    s = min(max(s, first), last)
    e = s - u
    g = h0 + m * s + rise * math.sqrt(e * e + w * w)
    return g if (q2 >= 0.0) & (first <= last) else math.inf


@kernel
def line_outline_terms(m, radius, rise, side_rise, arc_r):
    """Terms of the stationary point that depend on the slope m and the outline alone, m not 0.

    Returns mu2, nu = m^2 / (1 + m^2), 1 / (1 + m^2), bound = cbrt(mu2 R / arc_r), shift and steep of
    the two straight pieces (as in line_cone, of |m|), and the sign of m.
    """
    mu2 = m * m / (1.0 + m * m)
    nu = 1.0 / (1.0 + m * m)
    bound = math.pow(mu2 * radius / arc_r, 1.0 / 3.0) if arc_r > 0.0 else 0.0
    lean = 1.0 if m > 0.0 else -1.0
    m = abs(m)
    shift1, steep1, shift2, steep2 = 0.0, 1e300, 0.0, 1e300
    if m < rise:
        shift1, steep1 = m / math.sqrt((rise - m) * (rise + m)), 0.0
    if m < side_rise:
        shift2, steep2 = m / math.sqrt((side_rise - m) * (side_rise + m)), 0.0
    return mu2, nu, bound, shift1, steep1, shift2, steep2, lean


@loop_kernel
def _closer(x, low, high, arc_e, arc_r, a, mu2):
    """One step towards the root of F in line_outline_place, kept between low and high."""
    d = arc_e + arc_r * x
    d2 = d * d
    value = x * x * (d2 - a) - mu2 * d2
    is_low = value < 0.0
    low = x if is_low else low
    high = high if is_low else x
    step = x - d * value / (2.0 * x * (d2 * d - a * arc_e))
    x = step if (step >= low) & (step <= high) else 0.5 * (low + high)
    return x, low, high


@loop_kernel
def line_outline_place(
    u, w2, q, length, flat, arc_from, arc_to, arc_e, arc_r,
    mu2, nu, bound, shift1, steep1, shift2, steep2, lean,
):  # fmt: skip
    """The s at which any outline stands lowest over (u, sqrt(w2)) along and across a sloped line.

    q: half the width of the cutter there; the last eight numbers from line_outline_terms.

    With t = |s - u| on the side where the path comes from below, d = sqrt(t^2 + w^2), the function is
    -|m| t + f(d), convex; its slope f'(d) t / d - |m| grows with t, so the pieces of f are looked at one
    after the other: the first whose own stationary point lies before its end has the minimum.
    Straight pieces: t = |w| |m| / sqrt(k^2 - m^2).  Arc: with d = E + r x (x the sine of the angle of
    contact) f' = x / sqrt(1 - x^2), and the stationary point is the root of
        F(x) = x^2 (1 - a / d^2) - mu^2,  a = w^2 / (1 + m^2),  mu^2 = m^2 / (1 + m^2).
    For E >= 0 and |w| <= d: F'' >= 2 - 2 E^2 / d^2 >= 0, so Newton's iteration from an x with F >= 0 falls
    to the root without passing it.  Such are 1; sqrt(mu^2 + a / r^2), as d >= r x; and
    max(x_w, 0) + bound, x_w = (|w| - E) / r, as F = 0 says x^2 (d - |w|) (d + |w|) <= mu^2 d^2, from
    which x^2 (x - x_w) <= mu^2 R / r.  For E < 0 (an outline shifted inwards) F still grows and the second
    of them lies before the root, but F need not be convex: the bracket catches it.  Where the
    slope at the contact is below 7 (x < 0.99) six steps leave the height within 1e-10 R of the minimum,
    nearer the rim within what 1e-9 mm in plan mean there (tests/stock/test_outline.py).
    """
    across = math.sqrt(w2)
    a = nu * w2
    low = max((across - arc_e) / arc_r, 0.0)
    high = 1.0
    x = max(min(min(math.sqrt(mu2 + a / (arc_r * arc_r)), low + bound), 1.0), low)
    # Written out, for a loop in the loop over points would keep the compiler from the vector unit.
    x, low, high = _closer(x, low, high, arc_e, arc_r, a, mu2)
    x, low, high = _closer(x, low, high, arc_e, arc_r, a, mu2)
    x, low, high = _closer(x, low, high, arc_e, arc_r, a, mu2)
    x, low, high = _closer(x, low, high, arc_e, arc_r, a, mu2)
    x, low, high = _closer(x, low, high, arc_e, arc_r, a, mu2)
    x, low, high = _closer(x, low, high, arc_e, arc_r, a, mu2)
    d = min(max(arc_e + arc_r * x, arc_from), arc_to)

    t0 = math.sqrt(max(flat * flat - w2, 0.0))
    t1 = math.sqrt(max(arc_from * arc_from - w2, 0.0))
    t2 = math.sqrt(max(arc_to * arc_to - w2, 0.0))
    on_line = min(max(across * shift1 + steep1, t0), t1)
    on_arc = math.sqrt(max(d * d - w2, 0.0))
    on_side = min(max(across * shift2 + steep2, t2), q)
    t = on_arc if on_arc < t2 else on_side
    t = on_line if on_line < t1 else t

    return min(max(u - lean * t, max(u - q, 0.0)), min(u + q, length))


@loop_kernel
def line_outline(
    dx, dy, h0, cover2, ux, uy, length, m,
    rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise,
    mu2, nu, bound, shift1, steep1, shift2, steep2, lean,
):  # fmt: skip
    """Any outline along a sloped line; the last eight numbers from line_outline_terms."""
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    w2 = w * w
    q2 = cover2 - w2
    q = math.sqrt(max(q2, 0.0))
    s = line_outline_place(
        u, w2, q, length, flat, arc_from, arc_to, arc_e, arc_r,
        mu2, nu, bound, shift1, steep1, shift2, steep2, lean,
    )  # fmt: skip
    e = s - u
    d = math.sqrt(e * e + w2)
    g = h0 + m * s + outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
    return g if (q2 >= 0.0) & (u - q <= length) & (u + q >= 0.0) else math.inf


@kernel
def line_distance2(dx, dy, ux, uy, length):
    """Square of the least plan distance from p to a line."""
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    e = min(max(u, 0.0), length) - u
    return e * e + w * w
