"""Common blocks read straight from the bytes: lines, arcs and rapids that leave nothing to be said.

A block is common when it holds G0 to G3, X Y Z, I J, R, F and N words alone, each at most once, with
everything it needs in force; G words that state once more what is in force may stand beside them.
Whatever may need a word to the user, and whatever is written in an unusual way, is left to the plain
reader, line by line; so there is one place that words problems.  What is read here has the bits the plain
reader gives: the same operations in the same order.
"""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import kernel

# state of the reader that is no integer, and what limits an arc
X, Y, Z, FEED, SCALE, SHIFT_X, SHIFT_Y, SHIFT_Z, MISMATCH = range(9)
SAME_POINT, TINY_BELOW, LARGEST_NUMBER = range(9, 12)
# state in integers; LINE_END and NEXT_LINE: of the line that was not read
POSITION, NUMBER, LINE_END, NEXT_LINE, MOTION, IS_INCREMENTAL, HAS_ARCS, BLOCKS, ROWS, MISMATCH_LINE = range(
    10
)

MOST_DIGITS = 18  # the digits of a word then fit in an int64
# Up to here a whole number is a float64; 10**k is one up to k = 22.  The quotient of two is rounded
# once, so it is the float64 nearest to what is written, which is what Python's float() gives.
_LARGEST_EXACT = 2**53
_FULL_TURN = 2.0 * math.pi

LETTERS = "XYZIJKRFGN"
_I, _J, _K, _R, _F, _G, _N = range(3, 10)
_AXES, _CENTRE, _RADIUS = 0b111, 0b11 << _I, 1 << _R
_ARC_LETTERS = _CENTRE | _RADIUS | 1 << _K
_COUNTED = 0b11 | _CENTRE | _RADIUS  # letters whose decimals tell how coarse an arc is written
_BLANK, _BRACKET, _SEMICOLON, _LINE_END = 10, 11, 12, 13
_LF, _CR, _TAB, _SPACE, _OPEN, _CLOSE, _PLUS, _MINUS, _POINT, _ZERO = b"\n\r\t ()+-.0"

_SORT = np.full(256, -1, dtype=np.int8)  # of a character, where a word may begin
for _k, _letter in enumerate(LETTERS):
    _SORT[ord(_letter)] = _SORT[ord(_letter.lower())] = _k
_SORT[[_SPACE, _TAB]] = _BLANK
_SORT[_OPEN] = _BRACKET
_SORT[ord(";")] = _SEMICOLON
_SORT[[_LF, _CR]] = _LINE_END


@kernel
def count_lines(data, start):
    """Count line ends: LF, CRLF or CR."""
    count = 0
    before = np.uint8(0)
    for i in range(start, len(data)):
        char = data[i]
        count += (char == _LF) | ((before == _CR) & (char != _LF))
        before = char
    return count + (before == _CR)


@kernel
def find_line(data, start, index):
    """Find where line number `index` (from 0) begins and ends."""
    at = start
    for _ in range(index):
        at = _line_end(data, at)
        at = _behind_line_end(data, at)
    return at, _line_end(data, at)


@kernel
def _line_end(data, at):
    while at < len(data) and data[at] != _LF and data[at] != _CR:
        at += 1
    return at


@kernel
def _behind_line_end(data, at):
    """Step over the line end at `at`."""
    if at + 1 < len(data) and data[at] == _CR and data[at + 1] == _LF:
        return at + 2
    return at + 1


@kernel
def read_blocks(data, stop, floats, ints, powers, tolerances, idle, end, code, feeds, line, centre, sweep):
    """Read common blocks from ints[POSITION] on, up to `stop` (behind a line end) or the first other line.

    data (n,) uint8.  floats, ints: the state, brought up to date.  powers: 10**k.  tolerances: of an arc
    by the decimals written, mm.  idle: by the number of a G word, 0, or its modal group when it states
    what is in force.  end to sweep: columns as in Rows; reading stops when they are full.
    """
    x, y, z, feed, scale = floats[X], floats[Y], floats[Z], floats[FEED], floats[SCALE]
    motion, number, row = ints[MOTION], ints[NUMBER], ints[ROWS]
    is_incremental = ints[IS_INCREMENTAL] != 0
    values = np.zeros(len(LETTERS))
    arc = np.zeros(9)
    begin = at = ints[POSITION]
    while at < stop and row + 2 <= len(code):
        begin = at
        seen = np.int64(0)
        repeated = np.int64(0)  # modal groups of idle words
        decimals = np.int64(0)
        is_common = True
        while True:
            sort = np.int64(_SORT[data[at]])
            if sort == _LINE_END:
                break
            if sort < 0:
                is_common = False
                break
            at += 1
            if sort == _BLANK:
                continue
            if sort >= _BRACKET:
                if sort == _SEMICOLON:
                    at = _line_end(data, at)
                    break
                while data[at] != _CLOSE and data[at] != _OPEN and data[at] != _LF and data[at] != _CR:
                    at += 1
                if data[at] != _CLOSE:
                    is_common = False
                    break
                at += 1
                continue
            # A word; the line end that is sure to come stops every loop over its digits.
            bit = np.int64(1) << sort
            while data[at] == _SPACE or data[at] == _TAB:
                at += 1
            sign = data[at]
            is_signed = sign in (_MINUS, _PLUS)
            if is_signed:
                at += 1
            first = at
            whole = np.int64(0)
            digit = np.int64(data[at]) - _ZERO
            while 0 <= digit <= 9:
                whole = whole * 10 + digit
                at += 1
                digit = np.int64(data[at]) - _ZERO
            digits = at - first
            places = np.int64(0)
            has_point = data[at] == _POINT
            if has_point:
                at += 1
                first = at
                digit = np.int64(data[at]) - _ZERO
                while 0 <= digit <= 9:
                    whole = whole * 10 + digit
                    at += 1
                    digit = np.int64(data[at]) - _ZERO
                places = at - first
                digits += places
            if digits == 0 or digits > MOST_DIGITS or whole > _LARGEST_EXACT:
                is_common = False
                break
            if sort == _G and 3 < whole < len(idle) and idle[whole] > 0 and not (is_signed or has_point):
                bit = np.int64(1) << np.int64(idle[whole])
                if repeated & bit:
                    is_common = False
                    break
                repeated |= bit
                continue
            if seen & bit:
                is_common = False
                break
            if sort >= _G:
                if (
                    is_signed
                    or has_point
                    or (sort == _N and (seen or repeated))
                    or (sort == _G and whole > 3)
                ):
                    is_common = False
                    break
                values[sort] = whole
            else:
                value = whole / powers[places]
                if value > floats[LARGEST_NUMBER]:
                    is_common = False
                    break
                values[sort] = -value if sign == _MINUS else value
                if bit & _COUNTED:
                    decimals = max(decimals, places)
            seen |= bit
        if not is_common:
            break
        if seen or repeated:
            new_motion = np.int64(values[_G]) if seen & 1 << _G else motion
            new_feed = values[_F] * scale if seen & 1 << _F else feed
            if seen & 1 << _F and not new_feed > 0.0:
                break
            is_arc = new_motion >= 2
            if seen & _ARC_LETTERS and not is_arc:
                break
            if is_arc and (ints[HAS_ARCS] == 0 or (seen & 1 << _K and values[_K] != 0.0)):
                break
            if seen & (_AXES | _ARC_LETTERS):
                if new_motion < 0 or (new_motion > 0 and math.isnan(new_feed)):
                    break
                new_x, new_y, new_z = x, y, z
                if seen & 1:
                    new_x = x + values[0] * scale if is_incremental else values[0] * scale + floats[SHIFT_X]
                if seen & 2:
                    new_y = y + values[1] * scale if is_incremental else values[1] * scale + floats[SHIFT_Y]
                if seen & 4:
                    new_z = z + values[2] * scale if is_incremental else values[2] * scale + floats[SHIFT_Z]
                if is_arc:
                    tolerance = tolerances[decimals]
                    sense = 1.0 if new_motion == 3 else -1.0
                    has_centre, has_radius = seen & _CENTRE != 0, seen & _RADIUS != 0
                    if has_centre == has_radius:
                        break
                    if has_radius:
                        radius = values[_R] * scale
                        pieces = _arc_of_radius(x, y, new_x, new_y, radius, sense, floats, tolerance, arc)
                    else:
                        centre_x = x + (values[_I] if seen & 1 << _I else 0.0) * scale
                        centre_y = y + (values[_J] if seen & 1 << _J else 0.0) * scale
                        pieces = _arc_about(
                            x, y, new_x, new_y, centre_x, centre_y, sense, floats, tolerance, arc
                        )
                    if pieces == 0:
                        break
                    if arc[0] > floats[MISMATCH] or ints[MISMATCH_LINE] < 0:
                        floats[MISMATCH], ints[MISMATCH_LINE] = arc[0], number
                    if pieces == 2:
                        end[row, 0], end[row, 1], end[row, 2] = arc[7], arc[8], z + (new_z - z) * 0.5
                        centre[row, 0], centre[row, 1], sweep[row] = arc[4], arc[5], arc[6]
                        code[row], feeds[row], line[row] = 2, new_feed, number
                        row += 1
                    is_full = _is_same(x, y, new_x, new_y, floats[SAME_POINT])
                    end[row, 0], end[row, 1] = (x, y) if is_full else (new_x, new_y)
                    centre[row, 0], centre[row, 1], sweep[row] = arc[1], arc[2], arc[3]
                else:
                    end[row, 0], end[row, 1] = new_x, new_y
                end[row, 2] = new_z
                code[row], line[row] = new_motion if new_motion < 2 else 2, number
                feeds[row] = new_feed if new_motion > 0 else np.nan
                row += 1
                x, y, z = new_x, new_y, new_z
            motion, feed = new_motion, new_feed
            ints[BLOCKS] += 1
        at = _behind_line_end(data, at)
        begin = at
        number += 1
    floats[X], floats[Y], floats[Z], floats[FEED] = x, y, z, feed
    ints[MOTION], ints[NUMBER], ints[ROWS], ints[POSITION] = motion, number, row, begin
    find_end(data, ints)


@kernel
def find_end(data, ints):
    """Fill in where the line at ints[POSITION] ends and the next one begins."""
    ints[LINE_END] = _line_end(data, ints[POSITION])
    ints[NEXT_LINE] = _behind_line_end(data, ints[LINE_END])


@kernel
def _is_same(ax, ay, bx, by, same_point):
    return abs(ax - bx) <= same_point and abs(ay - by) <= same_point


@kernel
def _length(x, y):
    return math.sqrt(x * x + y * y)


@kernel
def _is_tiny(sx, sy, ex, ey, floats, tolerance):
    """Whether the ends are so near that the plain reader may have to tell of it; in doubt, yes."""
    apart = _length(ex - sx, ey - sy)
    is_between = 0.5 * floats[SAME_POINT] < apart and apart < 1.01 * floats[TINY_BELOW]
    return is_between and apart <= 1.01 * tolerance


@kernel
def _arc_about(sx, sy, ex, ey, cx, cy, sense, floats, tolerance, arc):
    """Fill `arc` as arcs.arc_about does; returns the number of pieces, 0 to leave it to the plain reader.

    arc: mismatch; centre x, y and sweep of the last piece; the same of the first of two; where they meet.
    """
    same_point = floats[SAME_POINT]
    if _is_same(cx, cy, sx, sy, same_point) or _is_same(cx, cy, ex, ey, same_point):
        return 0
    if _is_same(sx, sy, ex, ey, same_point):
        arc[0], arc[1], arc[2], arc[3] = 0.0, cx, cy, sense * _FULL_TURN
        return 1
    if _is_tiny(sx, sy, ex, ey, floats, tolerance):
        return 0
    ax, ay = sx - cx, sy - cy
    bx, by = ex - cx, ey - cy
    r_start, r_end = _length(ax, ay), _length(bx, by)
    mismatch = abs(r_end - r_start)
    if mismatch > tolerance:
        return 0
    turn = sense * math.atan2(ax * by - ay * bx, ax * bx + ay * by)
    if turn <= 0.0:
        turn += _FULL_TURN
    arc[0] = mismatch
    if mismatch <= same_point:
        arc[1], arc[2], arc[3] = cx, cy, sense * turn
        return 1
    if turn <= math.pi:
        return 1 if _joined(sx, sy, ex, ey, cx, cy, sense, arc, 1) else 0
    angle = math.atan2(ay, ax) + 0.5 * (sense * turn)
    r_mid = 0.5 * (r_start + r_end)
    arc[7], arc[8] = cx + r_mid * math.cos(angle), cy + r_mid * math.sin(angle)
    is_drawn = _joined(sx, sy, arc[7], arc[8], cx, cy, sense, arc, 4)
    is_drawn &= _joined(arc[7], arc[8], ex, ey, cx, cy, sense, arc, 1)
    return 2 if is_drawn else 0


@kernel
def _joined(sx, sy, ex, ey, cx, cy, sense, arc, to):
    """Fill centre and sweep, from arc[to] on, as arcs._joined does; returns whether there is one."""
    half_x, half_y = 0.5 * (ex - sx), 0.5 * (ey - sy)
    half = _length(half_x, half_y)
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
def _arc_of_radius(sx, sy, ex, ey, radius, sense, floats, tolerance, arc):
    """Fill `arc` as arcs.arc_of_radius does; returns 1, or 0 to leave it to the plain reader."""
    if radius == 0.0 or _is_same(sx, sy, ex, ey, floats[SAME_POINT]):
        return 0
    if _is_tiny(sx, sy, ex, ey, floats, tolerance):
        return 0
    half_x, half_y = 0.5 * (ex - sx), 0.5 * (ey - sy)
    half = _length(half_x, half_y)
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
    arc[0] = mismatch
    arc[1] = sx + half_x - side * height * half_y / half
    arc[2] = sy + half_y + side * height * half_x / half
    arc[3] = sense * turn
    return 1
