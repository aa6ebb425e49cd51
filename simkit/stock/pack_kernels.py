"""Moves packed into records of plain numbers."""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.cutters import BALL, CONE
from simkit.stock.arc_kernels import is_in_sector, sweep_width
from simkit.stock.list_kernels import WIDE
from simkit.stock.profile_kernels import rim_square
from simkit.stock.record_kernels import (
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
    LINE_FORM,
    LOW,
    MIDDLE,
    RADIUS,
    RIM2,
    RISE,
    SENSE,
    SHIFT,
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
    code_of,
)
from simkit.stock.strip_kernels import STRIP_ROOM, make_strip

SLACK = 1e-6  # mm that boxes are grown by, so that rounding never drops a covered cell
BOX, LOWEST = 5, 4  # columns of a box: x0, x1, y0, y1 of the swept plan, and the lowest height of the tip
TOGETHER = 64  # moves packed before their strips are made: they are still in the nearest memory then
NO_LENGTH = 1e-9  # mm; a plan length or arc radius below this is a point
NO_SWEEP = 1e-9  # rad; an arc below this is its chord, which lies within r NO_SWEEP^2 / 8 of it


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
    width = sweep_width(sweep)
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
def _pack_upright(a, box, profile, ux, uy, sx, ax, ay, ah, bx, by, bh, rise, sweep):
    """sx: start along (ux, uy) from the centre; rise: start above the centre; sweep from (ux, uy) upwards."""
    r = math.hypot(sx, rise)
    theta0 = math.atan2(rise, sx)
    theta1 = theta0 + sweep
    sense = 1.0 if sweep > 0.0 else -1.0
    width = sweep_width(sweep)
    fc, fs, lc, ls = sx / r, rise / r, math.cos(theta1), math.sin(theta1)
    low, high = r * min(fc, lc), r * max(fc, lc)
    if is_in_sector(-1.0, 0.0, fc, fs, lc, ls, sense, width):
        low = -r
    if is_in_sector(1.0, 0.0, fc, fs, lc, ls, sense, width):
        high = r
    across = (by - ay) * ux - (bx - ax) * uy
    a[X] = ax + (low - sx) * ux - 0.5 * across * uy
    a[Y] = ay + (low - sx) * uy + 0.5 * across * ux
    a[UX], a[UY], a[LENGTH], a[SPREAD] = ux, uy, high - low, 0.5 * abs(across)
    a[R], a[MIDDLE], a[SWEEP], a[CLIMB], a[THETA0] = r, -low, sweep, across / sweep, theta0
    a[FIRST_COS], a[FIRST_SIN], a[LAST_COS], a[LAST_SIN] = fc, fs, lc, ls
    a[LOW] = min(ah, bh)
    if is_in_sector(0.0, -1.0, fc, fs, lc, ls, sense, width):
        a[LOW] = ah - rise - r
    a[H] = ah - rise
    x1, y1 = a[X] + a[LENGTH] * ux, a[Y] + a[LENGTH] * uy
    wide, deep = a[SPREAD] * abs(uy), a[SPREAD] * abs(ux)
    box[0], box[1] = min(a[X], x1) - wide, max(a[X], x1) + wide
    box[2], box[3] = min(a[Y], y1) - deep, max(a[Y], y1) + deep
    return code_of(UPRIGHT_FORM, profile)


@kernel
def _pack_moves(
    first, n, count,
    is_arc, plane, start, end, centre, sweep, tool, matrix, offset, numbers, profiles, outlines, view,
    codes, records, boxes, rows,
):  # fmt: skip
    """Pack the moves first <= i < n behind `count` others; return how many there are then, and the fault."""
    up = 1.0 if matrix[2, 2] > 0.0 else -1.0
    turned = 1.0 if matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0] > 0.0 else -1.0
    m00, m01, m10, m11 = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
    ox, oy = offset[0], offset[1]
    which = 0
    for i in range(first, n):
        if not (numbers.shape[0] and numbers[which] == tool[i]):
            which = -1
            for j in range(numbers.shape[0]):
                if numbers[j] == tool[i]:
                    which = j
            if which < 0:
                return 0, i
        profile = profiles[which]
        outline = outlines[which]
        radius, base = outline[0], outline[1]
        ah = up * (matrix[2, 2] * start[i, 2] + offset[2]) + base
        bh = up * (matrix[2, 2] * end[i, 2] + offset[2]) + base
        ax = m00 * start[i, 0] + m01 * start[i, 1] + ox
        ay = m10 * start[i, 0] + m11 * start[i, 1] + oy
        bx = m00 * end[i, 0] + m01 * end[i, 1] + ox
        by = m10 * end[i, 0] + m11 * end[i, 1] + oy
        cx = m00 * centre[i, 0] + m01 * centre[i, 1] + ox
        cy = m10 * centre[i, 0] + m11 * centre[i, 1] + oy
        if not math.isfinite(ax + ay + ah + bx + by + bh + cx + cy + sweep[i]):
            return 0, -1 - i
        turns = is_arc[i] and abs(sweep[i]) >= NO_SWEEP
        is_upright = turns and plane[i] != 17
        a = records[count]
        box = boxes[count]
        # Of moves left out too: half_kernels reads these of the first record, whatever became of its move.
        a[RADIUS], a[RIM2], a[RISE] = radius, rim_square(radius), outline[2]
        if (min(ah, bh) > view[4] and not is_upright) or radius < 0.0:
            continue
        if records.shape[1] > FLAT_TO:
            for j in range(3, outlines.shape[1]):
                a[FLAT_TO + j - 3] = outline[j]
        if is_upright:
            # The angle grows from the level axis of the plane to z: that is the sense of plane 19.
            axis, level = (0, 1) if plane[i] == 18 else (1, 0)
            sx, rise = start[i, axis] - centre[i, level], start[i, 2] - centre[i, 1 - level]
            upward = -sweep[i] if plane[i] == 18 else sweep[i]
            if math.hypot(sx, rise) < NO_LENGTH:
                code = _pack_line(a, box, profile, ax, ay, ah, bx, by, bh)
            else:
                ux, uy = matrix[0, axis], matrix[1, axis]
                code = _pack_upright(a, box, profile, ux, uy, sx, ax, ay, ah, bx, by, bh, rise, upward)
            if a[LOW] > view[4]:
                continue
        elif turns and math.hypot(ax - cx, ay - cy) >= NO_LENGTH:
            code = _pack_arc(a, box, profile, cx, cy, ax, ay, ah, bh, turned * sweep[i])
        else:
            code = _pack_line(a, box, profile, ax, ay, ah, bx, by, bh)
        grow = radius + SLACK
        box[0] -= grow
        box[1] += grow
        box[2] -= grow
        box[3] += grow
        box[LOWEST] = a[LOW]
        if box[0] > view[1] or box[1] < view[0] or box[2] > view[3] or box[3] < view[2]:
            continue
        codes[count] = code
        rows[count] = i
        count += 1
    return count, n


@entry_kernel
def pack_moves(
    is_arc, plane, start, end, centre, sweep, tool, matrix, offset, numbers, profiles, outlines, view,
    codes, records, boxes, rows, extent, strips, frames,
):  # fmt: skip
    """Fill codes, records, boxes, rows with the moves that can touch the viewed rectangle; return (k, fault).

    is_arc (n,) bool; plane (n,) uint8; start, end (n, 3), centre (n, 2) mm, sweep (n,) rad, tool (n,) as
    in Moves, in the program frame; matrix (3, 3), offset (3,) the map to the blank frame; numbers,
    profiles, outlines the cutters (simkit.cutters.kernel_table).  view (5,) mm: x0, x1, y0, y1 of the
    rectangle, and the height above which a tip cuts nothing.
    codes (n,) int8; records (n, columns), columns: COLUMNS, or WIDE_COLUMNS when a cutter has the profile
    code PROFILE or an arc is upright; boxes (n, BOX) mm: x0, x1, y0, y1 of the swept plan, and the
    lowest height of the tip; rows (n,) int32, growing: the first k are filled.  strips, frames (k / 16, ...):
    filled too, or none (strip_kernels), extent mm: how far apart tips of a strip may be.  fault: the first
    row with an unknown cutter, -1 - row for one that is not finite, and n when there is none.
    """
    n, count, made, fault = len(start), 0, 0, 0
    room = np.empty(STRIP_ROOM, np.float32)
    for first in range(0, n, TOGETHER):
        last = min(first + TOGETHER, n)
        count, fault = _pack_moves(
            first, last, count,
            is_arc, plane, start, end, centre, sweep, tool, matrix, offset, numbers, profiles, outlines, view,
            codes, records, boxes, rows,
        )  # fmt: skip
        if fault != last:
            return count, fault
        while made < len(strips) and (count >= (made + 1) * WIDE or last == n):  # the last ones are none
            j1 = min((made + 1) * WIDE, count)
            make_strip(codes, records, boxes, made * WIDE, j1, extent, strips[made], frames[made], room)
            made += 1
    return count, n
