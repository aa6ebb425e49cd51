"""Lowest height that a moving cutter reaches above a point: closed forms, one function a case.

Heights h grow away from the wood being cut: h = z for side 1, h = -z for side 2, so the cut is always
a minimum.  All lengths are in mm, angles in radians, everything is float64; the order of operations
is fixed, so a point gives the same bits in every loop.  Functions return +inf where the cutter does
not pass over the point.

A cutter has the profile f(r), 0 <= r <= R: flat 0, ball R - sqrt(R^2 - r^2), cone k r.  For the tip
path a(s) the height above p is the minimum over s of a_h(s) + f(|p - a(s)|) where |p - a(s)| <= R.

The rim is widened by RIM in plan: a point whose distance is R on paper then always counts as covered,
whatever the rounding of decimal coordinates.
Derivations: own, from the convexity of f along a line and from the law of cosines along an arc.
"""

import math

from simkit._jit import kernel
from simkit.cutters import BALL, CONE, FLAT

RIM = 1e-9  # mm in plan, well inside the 1e-6 mm that heights at a rim are stated for


@kernel
def rim_square(radius):
    """What the rim adds to the square of the radius within which a point counts as covered, mm2."""
    return 2.0 * RIM * radius


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
def is_in_sector(px, py, sx, sy, ex, ey, sense, width):
    """Whether direction (px, py) lies in the sector swept from (sx, sy) to (ex, ey).

    sense +1 counter-clockwise, -1 clockwise.  width 0: sweep up to a half turn, 1: more, 2: whole turn.
    """
    is_after = sense * (sx * py - sy * px) >= 0.0
    is_before = sense * (px * ey - py * ex) >= 0.0
    return (is_after & is_before) | ((width >= 1.0) & (is_after | is_before)) | (width >= 2.0)


@kernel
def arc_distance2(dx, dy, r, sx, sy, ex, ey, sense, width):
    """Square of the least plan distance from p to an arc; (dx, dy) = p - centre, path radius r.

    Inside the sector the nearest point of the circle is on the arc, outside it is an end.
    """
    away = math.sqrt(dx * dx + dy * dy) - r
    first2 = (dx - sx) * (dx - sx) + (dy - sy) * (dy - sy)
    last2 = (dx - ex) * (dx - ex) + (dy - ey) * (dy - ey)
    is_beside = is_in_sector(dx, dy, sx, sy, ex, ey, sense, width)
    return away * away if is_beside else min(first2, last2)


@kernel
def at_distance(profile, d2, h, radius, rise, cover2):
    """Height of the profile standing at tip height h, seen at plan distance sqrt(d2)."""
    if profile == BALL:
        g = h + (radius - math.sqrt(max(radius * radius - d2, 0.0)))
    elif profile == CONE:
        g = h + rise * math.sqrt(d2)
    else:
        g = h
    return g if d2 <= cover2 else math.inf


@kernel
def helix(profile, dx, dy, h0, radius, rise, rim2, r, theta0, sense, sweep, c):
    """Any profile along a helical arc; (dx, dy) = p - centre, c = height gained per radian swept.

    With d, phi the polar place of p, psi the swept angle at which the path passes phi, and t the angle
    past psi: D^2 = F + B y, F = (d - r)^2, B = 2 d r, y = 1 - cos t = 2 sin^2(t / 2).
    Admissible |t| <= alpha with 2 sin^2(alpha / 2) = (R^2 - F) / B, cut to the sweep.
    Flat: the lower end.  Ball: c sqrt(E - B y) = -(B / 2) sin t, E = R^2 - F, squared
    y^2 - 2 (1 + 2 c^2 / B) y + 4 c^2 E / B^2 = 0.  Cone: c D = -k (B / 2) sin t, squared
    y^2 - 2 (1 - 2 c^2 / (k^2 B)) y + 4 c^2 F / (k^2 B^2) = 0.  The smaller root is the minimum, the
    larger one a maximum; the ends of the interval are the other candidates.  A point may be passed
    twice (once near each end of a whole turn), so two neighbouring turns are looked at.
    """
    d = math.sqrt(dx * dx + dy * dy)
    f = (d - r) * (d - r)
    e = radius * radius - f
    if e < -rim2:
        return math.inf
    b = 2.0 * d * r
    turn = 2.0 * math.pi
    psi = sense * (math.atan2(dy, dx) - theta0) if d > 0.0 else 0.0
    psi -= turn * math.floor(psi / turn)
    alpha = math.pi if e + rim2 >= 2.0 * b else 2.0 * math.asin(math.sqrt((e + rim2) / (2.0 * b)))
    best_t = 0.0
    if b > 0.0 and profile != FLAT:
        if profile == BALL:
            p = 1.0 + 2.0 * c * c / b
            v = 4.0 * c * c * max(e, 0.0) / (b * b)
        else:
            ratio = (c / rise) * (c / rise) / b
            p = 1.0 - 2.0 * ratio
            v = 4.0 * ratio * f / b
        if p > 0.0:
            y = v / (p + math.sqrt(max(p * p - v, 0.0)))
            best_t = 2.0 * math.asin(math.sqrt(min(0.5 * y, 1.0)))
            if c > 0.0:
                best_t = -best_t
    g = math.inf
    for k in range(2):
        mid = psi
        if k == 1:
            mid = psi + turn if psi < math.pi else psi - turn
        first = max(-alpha, -mid)
        last = min(alpha, sweep - mid)
        if first > last:
            continue
        if profile == FLAT:
            t = first if c >= 0.0 else last
            g = min(g, h0 + c * (mid + t))
        else:
            for which in range(3):
                t = first
                if which == 1:
                    t = last
                elif which == 2:
                    t = min(max(best_t, first), last)
                half = math.sin(0.5 * t)
                drop = 2.0 * b * half * half
                h = h0 + c * (mid + t)
                if profile == BALL:
                    g = min(g, h + (radius - math.sqrt(max(e - drop, 0.0))))
                else:
                    g = min(g, h + rise * math.sqrt(f + drop))
    return g
