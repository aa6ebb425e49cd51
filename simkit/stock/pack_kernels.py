"""Moves packed into records of plain numbers.

Heights h = up * z (see sweep_kernels), so lower is always deeper into the wood.
"""

import math

import numpy as np

from simkit._jit import kernel
from simkit.cutters import BALL, CONE, FLAT
from simkit.stock.record_kernels import (
    CLIMB,
    COLUMNS,
    EX,
    EY,
    HELIX_FORM,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    LOW,
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
    code_of,
)
from simkit.stock.sweep_kernels import is_in_sector, rim_square

SLACK = 1e-6  # mm that boxes are grown by, so that rounding never drops a covered cell
NO_LENGTH = 1e-9  # mm; a plan length or arc radius below this is a point
WHOLE_TURN = 2.0 * math.pi - 1e-9


@kernel
def _pack_line(a, box, profile, ax, ay, ah, bx, by, bh):
    length = math.hypot(bx - ax, by - ay)
    if length < NO_LENGTH:
        a[X], a[Y], a[H] = ax, ay, min(ah, bh)
        a[UX], a[UY], a[LENGTH], a[SLOPE] = 1.0, 0.0, 0.0, 0.0
    else:
        a[X], a[Y], a[H] = ax, ay, ah
        a[UX], a[UY] = (bx - ax) / length, (by - ay) / length
        a[LENGTH], a[SLOPE] = length, (bh - ah) / length
    m, k = a[SLOPE], a[RISE]
    a[SHIFT] = a[STEEP] = 0.0
    if profile == BALL:
        a[SHIFT] = m / math.sqrt(1.0 + m * m)
    elif profile == CONE:
        if abs(m) < k:
            a[SHIFT] = m / math.sqrt((k - m) * (k + m))
        else:
            a[STEEP] = math.copysign(1e300, m)
    a[LOW] = min(ah, bh)
    box[0], box[1] = min(ax, bx), max(ax, bx)
    box[2], box[3] = min(ay, by), max(ay, by)
    return code_of(LINE_FORM, profile)


@kernel
def _pack_arc(a, box, profile, cx, cy, ax, ay, ah, bh, sweep):
    sx, sy = ax - cx, ay - cy
    r = math.hypot(sx, sy)
    theta0 = math.atan2(sy, sx)
    ex, ey = r * math.cos(theta0 + sweep), r * math.sin(theta0 + sweep)
    sense = 1.0 if sweep > 0.0 else -1.0
    sweep = abs(sweep)
    width = 2.0 if sweep >= WHOLE_TURN else (1.0 if sweep > math.pi else 0.0)
    a[X], a[Y], a[H] = cx, cy, ah
    a[SX], a[SY], a[EX], a[EY], a[R], a[SENSE], a[WIDTH] = sx, sy, ex, ey, r, sense, width
    a[LOW] = min(ah, bh)
    box[0], box[1] = min(sx, ex), max(sx, ex)
    box[2], box[3] = min(sy, ey), max(sy, ey)
    if is_in_sector(-1.0, 0.0, sx, sy, ex, ey, sense, width):
        box[0] = -r
    if is_in_sector(1.0, 0.0, sx, sy, ex, ey, sense, width):
        box[1] = r
    if is_in_sector(0.0, -1.0, sx, sy, ex, ey, sense, width):
        box[2] = -r
    if is_in_sector(0.0, 1.0, sx, sy, ex, ey, sense, width):
        box[3] = r
    box[0] += cx
    box[1] += cx
    box[2] += cy
    box[3] += cy
    if ah == bh:
        return code_of(LEVEL_ARC_FORM, profile)
    a[SWEEP], a[CLIMB], a[THETA0] = sweep, (bh - ah) / sweep, theta0
    return code_of(HELIX_FORM, profile)


@kernel
def pack_moves(
    is_arc, start, end, centre, sweep, tool, matrix, offset, numbers, profiles, radii, rises, view
):
    """Return (codes, records, boxes, rows, fault) of the moves that can touch the viewed rectangle.

    is_arc (n,) bool; start, end (n, 3), centre (n, 2) mm, sweep (n,) rad, tool (n,) as in Moves, in the
    program frame; matrix (3, 3), offset (3,) the map to the blank frame; numbers, profiles, radii,
    rises (c,) the cutters.  view (5,) mm: x0, x1, y0, y1 of the rectangle, and the height
    above which a tip cuts nothing.
    codes (k,) int8; records (k, COLUMNS); boxes (k, 4) mm: x0, x1, y0, y1 of the swept plan; rows (k,)
    int64, growing.  fault: the first row with an unknown cutter, -1 - row for one that is not finite,
    and n when there is none.
    """
    n = start.shape[0]
    codes = np.empty(n, np.int8)
    records = np.empty((n, COLUMNS), np.float64)
    boxes = np.empty((n, 4), np.float64)
    rows = np.empty(n, np.int64)
    up = 1.0 if matrix[2, 2] > 0.0 else -1.0
    turned = 1.0 if matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0] > 0.0 else -1.0
    m00, m01, m10, m11 = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
    ox, oy = offset[0], offset[1]
    count = 0
    which = 0
    for i in range(n):
        if not (numbers.shape[0] and numbers[which] == tool[i]):
            which = -1
            for j in range(numbers.shape[0]):
                if numbers[j] == tool[i]:
                    which = j
            if which < 0:
                return codes[:0], records[:0], boxes[:0], rows[:0], i
        profile = profiles[which]
        radius = radii[which]
        rise = rises[which]
        ah = up * (matrix[2, 2] * start[i, 2] + offset[2])
        bh = up * (matrix[2, 2] * end[i, 2] + offset[2])
        ax = m00 * start[i, 0] + m01 * start[i, 1] + ox
        ay = m10 * start[i, 0] + m11 * start[i, 1] + oy
        bx = m00 * end[i, 0] + m01 * end[i, 1] + ox
        by = m10 * end[i, 0] + m11 * end[i, 1] + oy
        cx = m00 * centre[i, 0] + m01 * centre[i, 1] + ox
        cy = m10 * centre[i, 0] + m11 * centre[i, 1] + oy
        if not math.isfinite(ax + ay + ah + bx + by + bh + cx + cy + sweep[i]):
            return codes[:0], records[:0], boxes[:0], rows[:0], -1 - i
        if min(ah, bh) > view[4]:
            continue
        a = records[count]
        box = boxes[count]
        a[RADIUS], a[RIM2], a[RISE] = radius, rim_square(radius), rise
        if profile == CONE and not rise > 0.0:
            profile = FLAT
        if is_arc[i] and math.hypot(ax - cx, ay - cy) >= NO_LENGTH and sweep[i] != 0.0:
            code = _pack_arc(a, box, profile, cx, cy, ax, ay, ah, bh, turned * sweep[i])
        else:
            code = _pack_line(a, box, profile, ax, ay, ah, bx, by, bh)
        grow = radius + SLACK
        box[0] -= grow
        box[1] += grow
        box[2] -= grow
        box[3] += grow
        if box[0] > view[1] or box[1] < view[0] or box[2] > view[3] or box[3] < view[2]:
            continue
        codes[count] = code
        rows[count] = i
        count += 1
    return codes[:count], records[:count], boxes[:count], rows[:count], n
