"""Arcs of a large program, drawn as arcs.py and arc_words.py draw them, to the bit.

The axes of a plane are numbered as in arc_planes.PLANES; lengths mm, angles rad.
"""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import kernel

# Of plane 17, 18 and 19: its two axes in the order that turns counter-clockwise, and the third.
_U, _V, _NORMAL = np.array([0, 2, 1]), np.array([1, 0, 2]), np.array([2, 1, 0])
_I, _R = 3, 6  # of the letters X Y Z I J K R
_FULL_TURN = 2.0 * math.pi

# What a drawn arc holds: mismatch; centre and sweep of its last piece; the same of the first of two; where
# they meet; the whole sweep; its length with the rise of a helix.
MISMATCH, LAST, FIRST, MEETING, SWEEP, LENGTH, ARC_SIZE = 0, 1, 4, 7, 9, 10, 11


@kernel
def draw_arc(
    plane, start, end, seen, values, places, shifts, is_absolute, sense, scale, same_point, tiny_below,
    tolerances, arc,
):  # fmt: skip
    """Fill `arc` from the words of a block; returns the number of pieces, 0 to leave it to the plain reader.

    start, end (3,) mm.  seen: a bit for each of X, Y, Z, I, J, K and R that is written.  values, places:
    their numbers and decimals.  shifts (3,) mm: where absolute offsets count from.  tolerances: mm, by the
    decimals written.
    """
    u, v, normal = _U[plane - 17], _V[plane - 17], _NORMAL[plane - 17]
    has_u, has_v, has_radius = seen >> (_I + u) & 1 != 0, seen >> (_I + v) & 1 != 0, seen >> _R & 1 != 0
    if seen >> (_I + normal) & 1 and values[_I + normal] != 0.0:
        return 0
    has_centre = has_u or has_v
    if has_centre == has_radius or (has_centre and is_absolute and not (has_u and has_v)):
        return 0
    decimals = np.int64(0)
    for k in (u, v, _I + u, _I + v, _R):
        if seen >> k & 1:
            decimals = max(decimals, places[k])
    tolerance = tolerances[decimals]
    su, sv, eu, ev = start[u], start[v], end[u], end[v]
    if has_radius:
        pieces = _arc_of_radius(
            su, sv, eu, ev, values[_R] * scale, sense, same_point, tiny_below, tolerance, arc
        )
    else:
        base_u, base_v = (shifts[u], shifts[v]) if is_absolute else (su, sv)
        cu = base_u + (values[_I + u] if has_u else 0.0) * scale
        cv = base_v + (values[_I + v] if has_v else 0.0) * scale
        pieces = _arc_about(su, sv, eu, ev, cu, cv, sense, same_point, tiny_below, tolerance, arc)
    if pieces:
        first = FIRST if pieces == 2 else LAST
        radius = plan_length(su - arc[first], sv - arc[first + 1])
        arc[LENGTH] = plan_length(abs(arc[SWEEP]) * radius, end[normal] - start[normal])
    return pieces


@kernel
def put_arc(plane, start, end, pieces, same_point, arc, row, ends, centres, sweeps):
    """Write end, centre and sweep of the pieces into the columns from `row` on."""
    u, v, normal = _U[plane - 17], _V[plane - 17], _NORMAL[plane - 17]
    if pieces == 2:
        ends[row, u], ends[row, v] = arc[MEETING], arc[MEETING + 1]
        ends[row, normal] = start[normal] + (end[normal] - start[normal]) * 0.5
        centres[row, 0], centres[row, 1], sweeps[row] = arc[FIRST], arc[FIRST + 1], arc[FIRST + 2]
        row += 1
    is_full = is_same(start[u], start[v], end[u], end[v], same_point)
    ends[row, u], ends[row, v] = (start[u], start[v]) if is_full else (end[u], end[v])
    ends[row, normal] = end[normal]
    centres[row, 0], centres[row, 1], sweeps[row] = arc[LAST], arc[LAST + 1], arc[LAST + 2]


@kernel
def is_same(ax, ay, bx, by, same_point):
    return abs(ax - bx) <= same_point and abs(ay - by) <= same_point


@kernel
def plan_length(x, y):
    return math.sqrt(x * x + y * y)


@kernel
def _is_tiny(sx, sy, ex, ey, same_point, tiny_below, tolerance):
    """Whether the ends are so near that the plain reader may have to tell of it; in doubt, yes."""
    apart = plan_length(ex - sx, ey - sy)
    is_between = 0.5 * same_point < apart and apart < 1.01 * tiny_below
    return is_between and apart <= 1.01 * tolerance


@kernel
def _arc_about(sx, sy, ex, ey, cx, cy, sense, same_point, tiny_below, tolerance, arc):
    """Fill `arc` as arcs.arc_about does; returns the number of pieces, 0 to leave it to the plain reader."""
    if is_same(cx, cy, sx, sy, same_point) or is_same(cx, cy, ex, ey, same_point):
        return 0
    if is_same(sx, sy, ex, ey, same_point):
        arc[MISMATCH], arc[LAST], arc[LAST + 1] = 0.0, cx, cy
        arc[LAST + 2] = arc[SWEEP] = sense * _FULL_TURN
        return 1
    if _is_tiny(sx, sy, ex, ey, same_point, tiny_below, tolerance):
        return 0
    ax, ay = sx - cx, sy - cy
    bx, by = ex - cx, ey - cy
    r_start, r_end = plan_length(ax, ay), plan_length(bx, by)
    mismatch = abs(r_end - r_start)
    if mismatch > tolerance:
        return 0
    turn = sense * math.atan2(ax * by - ay * bx, ax * bx + ay * by)
    if turn <= 0.0:
        turn += _FULL_TURN
    arc[MISMATCH], arc[SWEEP] = mismatch, sense * turn
    if mismatch <= same_point:
        arc[LAST], arc[LAST + 1], arc[LAST + 2] = cx, cy, sense * turn
        return 1
    if turn <= math.pi:
        return 1 if _joined(sx, sy, ex, ey, cx, cy, sense, arc, LAST) else 0
    angle = math.atan2(ay, ax) + 0.5 * (sense * turn)
    r_mid = 0.5 * (r_start + r_end)
    arc[MEETING], arc[MEETING + 1] = cx + r_mid * math.cos(angle), cy + r_mid * math.sin(angle)
    is_drawn = _joined(sx, sy, arc[MEETING], arc[MEETING + 1], cx, cy, sense, arc, FIRST)
    is_drawn &= _joined(arc[MEETING], arc[MEETING + 1], ex, ey, cx, cy, sense, arc, LAST)
    return 2 if is_drawn else 0


@kernel
def _joined(sx, sy, ex, ey, cx, cy, sense, arc, to):
    """Fill centre and sweep, from arc[to] on, as arcs._joined does; returns whether there is one."""
    half_x, half_y = 0.5 * (ex - sx), 0.5 * (ey - sy)
    half = plan_length(half_x, half_y)
    if half == 0.0:
        return False
    mid_x, mid_y = sx + half_x, sy + half_y
    left_x, left_y = -half_y / half, half_x / half
    height = sense * ((cx - mid_x) * left_x + (cy - mid_y) * left_y)
    if not height > 0.0:
        height = 0.0
    arc[to], arc[to + 1] = mid_x + sense * height * left_x, mid_y + sense * height * left_y
    arc[to + 2] = sense * 2.0 * math.atan2(half, height)
    return True


@kernel
def _arc_of_radius(sx, sy, ex, ey, radius, sense, same_point, tiny_below, tolerance, arc):
    """Fill `arc` as arcs.arc_of_radius does; returns 1, or 0 to leave it to the plain reader."""
    if radius == 0.0 or is_same(sx, sy, ex, ey, same_point):
        return 0
    if _is_tiny(sx, sy, ex, ey, same_point, tiny_below, tolerance):
        return 0
    half_x, half_y = 0.5 * (ex - sx), 0.5 * (ey - sy)
    half = plan_length(half_x, half_y)
    size = abs(radius)
    mismatch = half - size if half > size else 0.0
    if mismatch > tolerance:
        return 0
    height = math.sqrt((size - half) * (size + half)) if size > half else 0.0
    turn = 2.0 * math.atan2(half, height)
    side = sense
    if radius < 0.0:
        turn = _FULL_TURN - turn
        side = -sense
    arc[MISMATCH] = mismatch
    arc[LAST] = sx + half_x - side * height * half_y / half
    arc[LAST + 1] = sy + half_y + side * height * half_x / half
    arc[LAST + 2] = arc[SWEEP] = sense * turn
    return 1
