"""Lowest height that a cutter moving along a level arc reaches above a point.

The tip stays at one height and f does not fall, so the least plan distance to the path decides.
"""

import math

from simkit._jit import kernel

WHOLE_TURN = 2.0 * math.pi - 1e-9


@kernel
def sweep_width(sweep):
    """0 for a sweep up to a half turn, 1 for more, 2 for a whole turn (see is_in_sector)."""
    sweep = abs(sweep)
    return 2.0 if sweep >= WHOLE_TURN else (1.0 if sweep > math.pi else 0.0)


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
