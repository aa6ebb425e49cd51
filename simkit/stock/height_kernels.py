"""Heights of one packed move over points: the one place that goes from a record's code to its closed form."""

import numpy as np

from simkit._jit import kernel
from simkit.cutters import BALL, CONE, FLAT
from simkit.stock.record_kernels import (
    CLIMB,
    EX,
    EY,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    RADIUS,
    RIM2,
    RISE,
    SENSE,
    SHIFT,
    SLOPE,
    STEEP,
    SWEEP,
    SX,
    SY,
    THETA0,
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
from simkit.stock.sweep_kernels import (
    arc_distance2,
    at_distance,
    helix,
    line_ball,
    line_cone,
    line_flat,
)


@kernel
def height_at(code, a, dx, dy):
    """Height h of the sweep of one record over the place (dx, dy) from its X, Y; +inf if not covered."""
    form, profile = form_of(code), profile_of(code)
    if form == LINE_FORM:
        if profile == FLAT:
            cover2 = a[RADIUS] * a[RADIUS] + a[RIM2]
            return line_flat(dx, dy, a[H], cover2, a[UX], a[UY], a[LENGTH], a[SLOPE])
        if profile == BALL:
            return line_ball(dx, dy, a[H], a[RADIUS], a[RIM2], a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT])
        cover2 = a[RADIUS] * a[RADIUS] + a[RIM2]
        return line_cone(dx, dy, a[H], a[RISE], cover2, a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT], a[STEEP])
    if form == LEVEL_ARC_FORM:
        cover2 = a[RADIUS] * a[RADIUS] + a[RIM2]
        d2 = arc_distance2(dx, dy, a[R], a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH])
        return at_distance(profile, d2, a[H], a[RADIUS], a[RISE], cover2)
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
        else:
            for i in range(first, last):
                dx = xs[i] - x0
                g[i] = np.float32(line_cone(dx, dy, h0, rise, cover2, ux, uy, length, m, shift, steep))
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
        else:
            for i in range(first, last):
                d2 = arc_distance2(xs[i] - x0, dy, r, sx, sy, ex, ey, sense, width)
                g[i] = np.float32(at_distance(CONE, d2, h0, radius, rise, cover2))
    else:
        for i in range(first, last):
            g[i] = np.float32(height_at(code, a, xs[i] - x0, dy))
