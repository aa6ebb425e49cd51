"""Lowest height that a cutter with a closed form reaches above a point along a helical arc."""

import math

from simkit._jit import kernel
from simkit.cutters import BALL, FLAT


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
