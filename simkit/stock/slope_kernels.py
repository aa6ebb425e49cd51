"""Bounds of a sweep near a point: value and slope for straight moves, a lowest height for the others.

The sweep of a convex outline along a straight move is a convex function of the point, so the plane
through value and slope at one point lies nowhere above it.  For arcs a lower bound over a disc stands in.
"""

import math

from simkit._jit import kernel
from simkit.cutters import BALL, CONE, PROFILE
from simkit.stock.arc_kernels import arc_distance2, is_in_sector, sweep_width
from simkit.stock.height_kernels import line_height, outline_of
from simkit.stock.line_kernels import line_outline_place, line_outline_terms
from simkit.stock.profile_kernels import RIM, at_distance, outline_height, outline_slope
from simkit.stock.record_kernels import (
    ARC_E,
    ARC_FROM,
    ARC_R,
    ARC_TO,
    CLIMB,
    EX,
    EY,
    FIRST_COS,
    FIRST_SIN,
    FLAT_TO,
    HELIX_FORM,
    LAST_COS,
    LAST_SIN,
    LENGTH,
    LEVEL_ARC_FORM,
    MIDDLE,
    RADIUS,
    RIM2,
    RISE,
    SENSE,
    SHIFT,
    SIDE_RISE,
    SLOPE,
    SPREAD,
    STEEP,
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
    form_of,
    profile_of,
)


@kernel
def profile_slope(profile, a, d, is_left):
    """Slope of a record's profile at plan distance d, at a kink the left or the right one, at most 1e9."""
    if profile == BALL:
        return d / math.sqrt(max(a[RADIUS] * a[RADIUS] - d * d, 1e-18 * d * d + 1e-300))
    if profile == CONE:
        return 0.0 if is_left and d == 0.0 else a[RISE]
    if profile == PROFILE:
        rise, flat, arc_from, arc_to, arc_e, _, arc_r, _, side_rise = outline_of(a)
        return outline_slope(d, rise, flat, arc_from, arc_to, arc_e, arc_r, side_rise, is_left)
    return 0.0


@kernel
def profile_near(profile, a, d):
    """Height of a record's profile at plan distance d (not its base), +inf beyond the rim."""
    radius = a[RADIUS] + RIM
    if profile == PROFILE:
        rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise = outline_of(a)
        f = outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
        return f if d <= radius else math.inf
    return at_distance(profile, d * d, 0.0, a[RADIUS], a[RISE], radius * radius)


@kernel
def line_place(profile, a, u, w, q):
    """The s at which a straight move stands lowest over the place (u, w) along and across it."""
    length, m = a[LENGTH], a[SLOPE]
    if profile == PROFILE and m != 0.0:
        terms = line_outline_terms(m, a[RADIUS], a[RISE], a[SIDE_RISE], a[ARC_R])
        return line_outline_place(
            u, w * w, q, length, a[FLAT_TO], a[ARC_FROM], a[ARC_TO], a[ARC_E], a[ARC_R], *terms
        )
    first, last = max(u - q, 0.0), min(u + q, length)
    if profile == BALL:
        s = u - a[SHIFT] * q
    elif profile == CONE:
        s = u - (abs(w) * a[SHIFT] + a[STEEP])
    elif profile == PROFILE:
        s = u
    else:
        s = first if m >= 0.0 else last
    return min(max(s, first), last)


@kernel
def height_and_slope(code, a, dx, dy):
    """Return g, gx, gy: height of a straight move over (dx, dy) from its X, Y and its slope in x and y there.

    g + gx x + gy y through that point lies nowhere above the sweep (within RIM of the rim by what RIM
    in plan means in height).  inf, 0, 0 where the place is not covered.  Slopes are at most about 1e9.
    The tip stands at s over the place, e = s - u along the path and w across it, d = sqrt(e^2 + w^2).
    Where s is an end of the path, the slope is that of the profile standing there, f'(d) away from the
    tip.  Elsewhere the sweep rises along the path as the path does, by m, and across it by F w / d, where
    F = -m d / e balances the path: it is f'(d), or at a kink or the rim a slope between its two sides.
    """
    profile = profile_of(code)
    g = line_height(profile, a, dx, dy)
    if not g < math.inf:
        return math.inf, 0.0, 0.0
    ux, uy, length, m = a[UX], a[UY], a[LENGTH], a[SLOPE]
    u = dx * ux + dy * uy
    w = dy * ux - dx * uy
    q = math.sqrt(max(a[RADIUS] * a[RADIUS] + a[RIM2] - w * w, 0.0))
    s = line_place(profile, a, u, w, q)
    e = s - u
    d = math.sqrt(e * e + w * w)
    along = across = 0.0
    if (s > 0.0 and s < length) and m != 0.0:
        # e is known to half the digits of the height, so it decides only between the slopes at a kink.
        f = -m * d / e if e != 0.0 else 1e9
        f = max(f, profile_slope(profile, a, d * (1.0 - 1e-12), True))
        if d < a[RADIUS] * (1.0 - 1e-12):
            f = min(f, profile_slope(profile, a, d * (1.0 + 1e-12), False))
        # (along, across) has the size f; said once more, for near the axis w / d is mere rounding.
        most = math.sqrt(max((f - m) * (f + m), 0.0))
        along, across = m, min(max(f * w / d, -most), most) if d > 0.0 else 0.0
    elif d > 0.0:
        # Going inwards along the path from the end where the tip stands, does d fall?
        is_left = (e < 0.0) if s <= 0.0 else (e > 0.0)
        f = profile_slope(profile, a, d, is_left or m == 0.0)
        along, across = -f * e / d, f * w / d
    return g, along * ux - across * uy, along * uy + across * ux


@kernel
def lowest_near(code, a, dx, dy, away):
    """A height that the sweep lies nowhere below within `away` of (dx, dy) from its X, Y; inf: not there.

    Level arcs: tip height and profile at the least plan distance less `away` (exact).  Others: that, with
    the lowest tip height among the places of the path that can be within reach.
    """
    form, profile = form_of(code), profile_of(code)
    away += 1e-9  # rounding of the distances below
    reach = a[RADIUS] + RIM + away
    if form in (LEVEL_ARC_FORM, HELIX_FORM):
        r = a[R]
        d = math.sqrt(dx * dx + dy * dy)
        low = a[H]
        if form == LEVEL_ARC_FORM:
            distance = math.sqrt(arc_distance2(dx, dy, r, a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH]))
        else:
            distance = abs(d - r)
            if distance > reach:
                return math.inf
            low = helix_low(a, d, math.atan2(dy, dx), reach)
        if distance > reach:
            return math.inf
        return low + profile_near(profile, a, max(distance - away, 0.0))
    u = dx * a[UX] + dy * a[UY]
    w = dy * a[UX] - dx * a[UY]
    if form == UPRIGHT_FORM:
        beside = max(abs(w) - a[SPREAD], 0.0)
        off = min(max(u, 0.0), a[LENGTH]) - u
        distance = math.sqrt(beside * beside + off * off)
        if distance > reach:
            return math.inf
        u -= a[MIDDLE]
        half = math.sqrt(max(reach * reach - beside * beside, 0.0))
        return upright_low(a, u - half, u + half) + profile_near(profile, a, max(distance - away, 0.0))
    off = min(max(u, 0.0), a[LENGTH]) - u
    distance = math.sqrt(w * w + off * off)
    if distance > reach:
        return math.inf
    half = math.sqrt(max(reach * reach - w * w, 0.0))
    m = a[SLOPE]
    s = max(u - half, 0.0) if m >= 0.0 else min(u + half, a[LENGTH])
    return a[H] + m * s + profile_near(profile, a, max(distance - away, 0.0))


@kernel
def helix_low(a, d, phi, reach):
    """Lowest tip height of a helix among its places within `reach` of a point at polar (d, phi)."""
    r, c, sweep, turn = a[R], a[CLIMB], a[SWEEP], 2.0 * math.pi
    rest = reach * reach - (d - r) * (d - r)
    cut = 4.0 * d * r
    half = math.pi if rest >= cut else 2.0 * math.asin(math.sqrt(max(rest, 0.0) / cut)) + 1e-9
    psi = a[SENSE] * (phi - a[THETA0])
    psi -= turn * math.floor(psi / turn)
    low = math.inf
    for k in range(-1, 2):
        first, last = max(psi + k * turn - half, 0.0), min(psi + k * turn + half, sweep)
        if first <= last:
            low = min(low, a[H] + c * (first if c >= 0.0 else last))
    return low


@kernel
def upright_low(a, left, right):
    """Lowest tip height of an upright arc among its places between left and right of its centre."""
    r = a[R]
    fc, fs, lc, ls = a[FIRST_COS], a[FIRST_SIN], a[LAST_COS], a[LAST_SIN]
    sense, width = (1.0 if a[SWEEP] > 0.0 else -1.0), sweep_width(a[SWEEP])
    low = math.inf
    if left <= 0.0 <= right and is_in_sector(0.0, -1.0, fc, fs, lc, ls, sense, width):
        low = -r
    if left - 1e-9 <= r * fc <= right + 1e-9:
        low = min(low, r * fs)
    if left - 1e-9 <= r * lc <= right + 1e-9:
        low = min(low, r * ls)
    for side in range(2):
        c = (left if side == 0 else right) / r
        if abs(c) < 1.0:
            s = math.sqrt((1.0 - c) * (1.0 + c))
            # A hair inside the sector counts: the ends themselves are looked at above.
            if is_in_sector(c, -s, fc, fs, lc, ls, sense, width):
                low = min(low, -r * s)
            elif is_in_sector(c, s, fc, fs, lc, ls, sense, width):
                low = min(low, r * s)
    return a[H] + low
