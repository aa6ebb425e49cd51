"""Heights of one packed move over points: the one place that goes from a record's code to its sweep."""

import math

import numpy as np

from simkit._jit import kernel
from simkit.cutters import BALL, CONE, FLAT, PROFILE
from simkit.stock.arc_kernels import arc_distance2
from simkit.stock.curve_kernels import curve_lowest, upright_lowest
from simkit.stock.helix_kernels import helix
from simkit.stock.line_kernels import (
    line_ball,
    line_cone,
    line_distance2,
    line_flat,
    line_outline,
    line_outline_terms,
)
from simkit.stock.profile_kernels import at_distance, outline_height
from simkit.stock.record_kernels import (
    ARC_E,
    ARC_F,
    ARC_FROM,
    ARC_R,
    ARC_TO,
    CLIMB,
    EX,
    EY,
    FIRST_COS,
    FIRST_SIN,
    FLAT_TO,
    LAST_COS,
    LAST_SIN,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    MIDDLE,
    RADIUS,
    RIM2,
    RISE,
    SENSE,
    SHIFT,
    SIDE_RISE,
    SIDE_Z,
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
    X,
    Y,
    form_of,
    profile_of,
)
from simkit.stock.upright_kernels import sweep_sense_width, upright_ball, upright_flat


@kernel
def outline_of(a):
    """The outline of a wide record's cutter as the numbers that the sweeps take."""
    return a[RISE], a[FLAT_TO], a[ARC_FROM], a[ARC_TO], a[ARC_E], a[ARC_F], a[ARC_R], a[SIDE_Z], a[SIDE_RISE]


@kernel
def outline_at(d2, h, cover2, outline):
    """Height of an outline standing at tip height h, seen at plan distance sqrt(d2)."""
    rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise = outline
    d = math.sqrt(d2)
    g = h + outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise)
    return g if d2 <= cover2 else math.inf


@kernel
def upright_height(profile, a, dx, dy):
    """Height of an upright arc over a place (dx, dy) from its X, Y."""
    radius, rim2, r = a[RADIUS], a[RIM2], a[R]
    cover2 = radius * radius + rim2
    u = dx * a[UX] + dy * a[UY] - a[MIDDLE]
    w = dy * a[UX] - dx * a[UY]
    fc, fs, lc, ls = a[FIRST_COS], a[FIRST_SIN], a[LAST_COS], a[LAST_SIN]
    if a[SPREAD] == 0.0 and profile in (BALL, FLAT):
        sense, width = sweep_sense_width(a[SWEEP])
        if profile == BALL:
            return a[H] + upright_ball(u, w, radius, rim2, r, fc, fs, lc, ls, sense, width)
        return a[H] + upright_flat(u, w, cover2, r, fc, fs, lc, ls, sense, width)
    climb, first, last = a[CLIMB], a[THETA0], a[THETA0] + a[SWEEP]
    pw = w + climb * 0.5 * (first + last)
    first, last = min(first, last), max(first, last)
    path = (r, 0.0, climb, r, 0.0)
    if a[SPREAD] == 0.0:
        return a[H] + upright_lowest(first, last, u, pw, math.sqrt(cover2), path, outline_of(a))
    return a[H] + curve_lowest(math.inf, first, last, u, pw, math.sqrt(cover2), path, outline_of(a))


@kernel
def helix_outline(a, dx, dy):
    """Height of a helix over a place (dx, dy) from its centre, any outline."""
    r, sense, theta0 = a[R], a[SENSE], a[THETA0]
    climb = a[CLIMB] * sense
    first, last = theta0, theta0 + sense * a[SWEEP]
    cover2 = a[RADIUS] * a[RADIUS] + a[RIM2]
    away = math.sqrt(dx * dx + dy * dy) - r
    if away * away > cover2:
        return math.inf
    h0, path = a[H] - climb * theta0, (r, r, 0.0, 0.0, climb)
    first, last = min(first, last), max(first, last)
    return h0 + curve_lowest(math.inf, first, last, dx, dy, math.sqrt(cover2), path, outline_of(a))


@kernel
def line_height(profile, a, dx, dy):
    """Height of a straight move over a place (dx, dy) from its start."""
    cover2 = a[RADIUS] * a[RADIUS] + a[RIM2]
    if profile == FLAT:
        return line_flat(dx, dy, a[H], cover2, a[UX], a[UY], a[LENGTH], a[SLOPE])
    if profile == BALL:
        return line_ball(dx, dy, a[H], a[RADIUS], a[RIM2], a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT])
    if profile == CONE:
        return line_cone(dx, dy, a[H], a[RISE], cover2, a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT], a[STEEP])
    outline = outline_of(a)
    if a[SLOPE] == 0.0:
        return outline_at(line_distance2(dx, dy, a[UX], a[UY], a[LENGTH]), a[H], cover2, outline)
    terms = line_outline_terms(a[SLOPE], a[RADIUS], a[RISE], a[SIDE_RISE], a[ARC_R])
    return line_outline(dx, dy, a[H], cover2, a[UX], a[UY], a[LENGTH], a[SLOPE], *outline, *terms)


@kernel
def height_at(code, a, dx, dy):
    """Height h of the sweep of one record over the place (dx, dy) from its X, Y; +inf if not covered."""
    form, profile = form_of(code), profile_of(code)
    if form == LINE_FORM:
        return line_height(profile, a, dx, dy)
    if form == LEVEL_ARC_FORM:
        cover2 = a[RADIUS] * a[RADIUS] + a[RIM2]
        d2 = arc_distance2(dx, dy, a[R], a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH])
        if profile == PROFILE:
            return outline_at(d2, a[H], cover2, outline_of(a))
        return at_distance(profile, d2, a[H], a[RADIUS], a[RISE], cover2)
    if form == UPRIGHT_FORM:
        return upright_height(profile, a, dx, dy)
    if profile == PROFILE:
        return helix_outline(a, dx, dy)
    return helix(
        profile, dx, dy, a[H], a[RADIUS], a[RISE], a[RIM2], a[R], a[THETA0], a[SENSE], a[SWEEP], a[CLIMB]
    )


@kernel
def row_heights(code, a, xs, y, first, last, g):
    """Write the heights of one record over the points (xs[i], y), first <= i < last, to g[i] float32.

    The loops repeat `height_at` with everything that does not change taken out, so that the compiler
    can use the vector unit; unsigned indices spare it the test for negative ones.
    """
    x0, h0, radius, rim2, rise = a[X], a[H], a[RADIUS], a[RIM2], a[RISE]
    dy = y - a[Y]
    cover2 = radius * radius + rim2
    form, profile = form_of(code), profile_of(code)
    first, last = np.uint64(first), np.uint64(last)
    if form == LINE_FORM:
        ux, uy, length, m, shift, steep = a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT], a[STEEP]
        if profile == BALL:
            for i in range(first, last):
                dx = xs[i] - x0
                g[i] = np.float32(line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift))
        elif profile == FLAT:
            for i in range(first, last):
                g[i] = np.float32(line_flat(xs[i] - x0, dy, h0, cover2, ux, uy, length, m))
        elif profile == CONE:
            for i in range(first, last):
                dx = xs[i] - x0
                g[i] = np.float32(line_cone(dx, dy, h0, rise, cover2, ux, uy, length, m, shift, steep))
        elif m == 0.0:
            outline = outline_of(a)
            for i in range(first, last):
                d2 = line_distance2(xs[i] - x0, dy, ux, uy, length)
                g[i] = np.float32(outline_at(d2, h0, cover2, outline))
        else:
            outline = outline_of(a)
            terms = line_outline_terms(m, radius, rise, a[SIDE_RISE], a[ARC_R])
            for i in range(first, last):
                dx = xs[i] - x0
                g[i] = np.float32(line_outline(dx, dy, h0, cover2, ux, uy, length, m, *outline, *terms))
    elif form == LEVEL_ARC_FORM:
        r, sx, sy, ex, ey, sense, width = a[R], a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH]
        if profile == BALL:
            for i in range(first, last):
                d2 = arc_distance2(xs[i] - x0, dy, r, sx, sy, ex, ey, sense, width)
                g[i] = np.float32(at_distance(BALL, d2, h0, radius, rise, cover2))
        elif profile == FLAT:
            for i in range(first, last):
                d2 = arc_distance2(xs[i] - x0, dy, r, sx, sy, ex, ey, sense, width)
                g[i] = np.float32(at_distance(FLAT, d2, h0, radius, rise, cover2))
        elif profile == CONE:
            for i in range(first, last):
                d2 = arc_distance2(xs[i] - x0, dy, r, sx, sy, ex, ey, sense, width)
                g[i] = np.float32(at_distance(CONE, d2, h0, radius, rise, cover2))
        else:
            outline = outline_of(a)
            for i in range(first, last):
                d2 = arc_distance2(xs[i] - x0, dy, r, sx, sy, ex, ey, sense, width)
                g[i] = np.float32(outline_at(d2, h0, cover2, outline))
    else:
        for i in range(first, last):
            g[i] = np.float32(height_at(code, a, xs[i] - x0, dy))


# What cell_heights takes: it is called through a pointer (simkit._jit.pointer).
CELL_HEIGHTS = "void(int8, float64[::1], float64[::1], int64, float32[::1])"


def cell_heights(code, a, places, n, g):
    """Write the heights of one record over n points to g (n,) float32; places (2 n,): their x, then their y.

    As row_heights, for points that do not stand in a row.  Compiled by the cut, for CELL_HEIGHTS.
    """
    x0, y0, h0, radius, rim2, rise = a[X], a[Y], a[H], a[RADIUS], a[RIM2], a[RISE]
    cover2 = radius * radius + rim2
    form, profile = form_of(code), profile_of(code)
    n = np.uint64(n)
    if form == LINE_FORM:
        ux, uy, length, m, shift, steep = a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT], a[STEEP]
        if profile == BALL:
            for i in range(n):
                dx, dy = places[i] - x0, places[i + n] - y0
                g[i] = np.float32(line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift))
        elif profile == FLAT:
            for i in range(n):
                dx, dy = places[i] - x0, places[i + n] - y0
                g[i] = np.float32(line_flat(dx, dy, h0, cover2, ux, uy, length, m))
        elif profile == CONE:
            for i in range(n):
                dx, dy = places[i] - x0, places[i + n] - y0
                g[i] = np.float32(line_cone(dx, dy, h0, rise, cover2, ux, uy, length, m, shift, steep))
        elif m == 0.0:
            outline = outline_of(a)
            for i in range(n):
                d2 = line_distance2(places[i] - x0, places[i + n] - y0, ux, uy, length)
                g[i] = np.float32(outline_at(d2, h0, cover2, outline))
        else:
            outline = outline_of(a)
            terms = line_outline_terms(m, radius, rise, a[SIDE_RISE], a[ARC_R])
            for i in range(n):
                dx, dy = places[i] - x0, places[i + n] - y0
                g[i] = np.float32(line_outline(dx, dy, h0, cover2, ux, uy, length, m, *outline, *terms))
    elif form == LEVEL_ARC_FORM and profile != PROFILE:
        r, sx, sy, ex, ey, sense, width = a[R], a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH]
        for i in range(n):
            d2 = arc_distance2(places[i] - x0, places[i + n] - y0, r, sx, sy, ex, ey, sense, width)
            g[i] = np.float32(at_distance(profile, d2, h0, radius, rise, cover2))
    else:
        for i in range(n):
            g[i] = np.float32(height_at(code, a, places[i] - x0, places[i + n] - y0))
