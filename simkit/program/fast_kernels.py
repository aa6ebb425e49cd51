"""Common blocks read straight from the bytes: lines, arcs and rapids that leave nothing to be said.

A block is common when it holds G0 to G3, X Y Z, I J K, R, F and N words alone, each at most once, with
everything it needs in force; planes, G90 and G91, G90.1 and G91.1, and words that state once more what is in
force, may stand beside them.  Whatever may need a word to the user, and whatever is in an unusual way, is
left to the plain reader, line by line; so there is one place that words problems.  What is read here has
the bits the plain reader gives: the same operations in the same order.
"""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.program.arc_kernels import ARC_SIZE, LENGTH, draw_arc, put_arc
from simkit.program.arc_kernels import MISMATCH as OF_ARC

# State of the reader that is no integer, and what limits an arc.  PER_MINUTE: times a feed, mm/min.
# IDLE_SPEED, IDLE_TOOL: the S and T that would change nothing, NaN for none.
X, Y, Z, FEED, SCALE, SHIFT_X, SHIFT_Y, SHIFT_Z, MISMATCH, PER_MINUTE, IDLE_SPEED, IDLE_TOOL = range(12)
SAME_POINT, TINY_BELOW, LARGEST_NUMBER = range(12, 15)
FLOATS = 15
# State in integers; LINE_END and NEXT_LINE: of the line that was not read.  IS_INVERSE: in G93.
POSITION, NUMBER, LINE_END, NEXT_LINE, MOTION, IS_INCREMENTAL, PLANE, IS_CENTRE_ABSOLUTE = range(8)
IS_INVERSE, BLOCKS, ROWS, MISMATCH_LINE = range(8, 12)
INTS = 12

MOST_DIGITS = 18  # the digits of a word then fit in an int64
# Up to here a whole number is a float64; 10**k is one up to k = 22.  The quotient of two is rounded
# once, so it is the float64 nearest to what is written, which is what Python's float() gives.
_LARGEST_EXACT = 2**53
_SPLIT, _SLACK = 2.0**27 + 1.0, 2.0**-50

LETTERS = "XYZIJKRFSTGMN"
_I, _F, _S, _T, _G, _M, _N = 3, 7, 8, 9, 10, 11, 12
_AXES, _ARC_LETTERS = 0b111, 0b1111 << _I
PLANE_BIT, DISTANCE_BIT, CENTRE_BIT = 1, 2, 3  # of the idle words that may change something
_BLANK, _BRACKET, _SEMICOLON, _LINE_END = 13, 14, 15, 16
_LF, _CR, _TAB, _SPACE, _OPEN, _CLOSE, _PLUS, _MINUS, _POINT, _ZERO = b"\n\r\t ()+-.0"

_SORT = np.full(256, -1, dtype=np.int8)  # of a character, where a word may begin
for _k, _letter in enumerate(LETTERS):
    _SORT[ord(_letter)] = _SORT[ord(_letter.lower())] = _k
_SORT[[_SPACE, _TAB]] = _BLANK
_SORT[_OPEN] = _BRACKET
_SORT[ord(";")] = _SEMICOLON
_SORT[[_LF, _CR]] = _LINE_END


@entry_kernel
def count_lines(data, start):
    """Count line ends: LF, CRLF or CR."""
    count = 0
    before = np.uint8(0)
    for i in range(start, len(data)):
        char = data[i]
        count += (char == _LF) | ((before == _CR) & (char != _LF))
        before = char
    return count + (before == _CR)


@entry_kernel
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


@entry_kernel
def read_blocks(data, stop, floats, ints, powers, tolerances, idle, end, code, feeds, line, centre, sweep):
    """Read common blocks from ints[POSITION] on, up to `stop` (behind a line end) or the first other line.

    data (n,) uint8.  floats, ints: the state, brought up to date.  powers: 10**k.  tolerances: of an arc
    by the decimals written, mm.  idle (2, 1000): of a G and of an M word by its key, as in
    vocabulary.py, 0, or a bit for its modal group when it changes nothing, or no more than the plane, G90 and
    G91, G90.1 and G91.1.  end to sweep: columns as in Rows; reading stops when they are full.
    """
    x, y, z, feed, scale = floats[X], floats[Y], floats[Z], floats[FEED], floats[SCALE]
    motion, plane, is_incremental = ints[MOTION], ints[PLANE], ints[IS_INCREMENTAL] != 0
    number, row, is_inverse = ints[NUMBER], ints[ROWS], ints[IS_INVERSE] != 0
    is_absolute = ints[IS_CENTRE_ABSOLUTE] != 0
    values, places = np.zeros(len(LETTERS)), np.zeros(len(LETTERS), dtype=np.int64)
    arc, shifts = np.zeros(ARC_SIZE), floats[SHIFT_X : SHIFT_Z + 1]
    here, there = np.zeros(3), np.zeros(3)
    begin = at = ints[POSITION]
    while at < stop and row + 2 <= len(code):
        begin = at
        seen = np.int64(0)
        repeated = np.int64(0)  # modal groups of idle words
        new_plane, new_incremental, new_absolute = plane, is_incremental, is_absolute
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
            is_led_by_zero = data[at] == _ZERO
            whole = np.int64(0)
            digit = np.int64(data[at]) - _ZERO
            while 0 <= digit <= 9:
                whole = whole * 10 + digit
                at += 1
                digit = np.int64(data[at]) - _ZERO
            digits = at - first
            decimals = np.int64(0)
            has_point = data[at] == _POINT
            if has_point:
                at += 1
                first = at
                digit = np.int64(data[at]) - _ZERO
                while 0 <= digit <= 9:
                    whole = whole * 10 + digit
                    at += 1
                    digit = np.int64(data[at]) - _ZERO
                decimals = at - first
                digits += decimals
            if digits == 0 or digits > MOST_DIGITS or (whole > _LARGEST_EXACT and sort >= _S):
                is_common = False
                break
            if sort < _S:
                if whole > _LARGEST_EXACT:
                    value = _long_quotient(whole, powers[decimals])
                else:
                    value = whole / powers[decimals]
                if seen & bit or not value <= floats[LARGEST_NUMBER]:
                    is_common = False
                    break
                values[sort] = -value if sign == _MINUS else value
                places[sort] = decimals
                seen |= bit
            elif sort == _G and whole <= 3 and not (is_signed or has_point or seen & bit):
                values[sort] = whole
                seen |= bit
            elif sort == _N and not (is_signed or has_point or seen or repeated):
                seen |= bit
            elif sort in (_S, _T):
                value = whole / powers[decimals]
                is_of_lathe = sort == _T and is_led_by_zero and digits == 4  # T0101, which is refused
                value = math.nan if is_of_lathe else value
                if seen & bit or is_signed or value != floats[IDLE_SPEED if sort == _S else IDLE_TOOL]:
                    is_common = False
                    break
                seen |= bit
            else:
                group = np.int64(0)
                key = whole if decimals == 1 else 10 * whole
                if sort in (_G, _M) and decimals < 2 and key < idle.shape[1] and not is_signed:
                    group = np.int64(idle[sort - _G, key])
                bit = np.int64(1) << group
                if group == 0 or repeated & bit:
                    is_common = False
                    break
                repeated |= bit
                if group == PLANE_BIT:
                    new_plane = key // 10
                elif group == DISTANCE_BIT:
                    new_incremental = key == 910
                elif group == CENTRE_BIT:
                    new_absolute = key == 901
        if not is_common:
            break
        if seen or repeated:
            new_motion = np.int64(values[_G]) if seen & 1 << _G else motion
            new_feed = feed
            if seen & 1 << _F:
                if not values[_F] * scale > 0.0:
                    break
                new_feed = feed if is_inverse else values[_F] * scale
            is_arc = new_motion >= 2
            if seen & _ARC_LETTERS and not is_arc:
                break
            if seen & (_AXES | _ARC_LETTERS):
                lacks_feed = seen & 1 << _F == 0 if is_inverse else math.isnan(new_feed)
                if new_motion < 0 or (new_motion > 0 and lacks_feed):
                    break
                new_x, new_y, new_z = x, y, z
                if seen & 1:
                    new_x = x + values[0] * scale if new_incremental else values[0] * scale + floats[SHIFT_X]
                if seen & 2:
                    new_y = y + values[1] * scale if new_incremental else values[1] * scale + floats[SHIFT_Y]
                if seen & 4:
                    new_z = z + values[2] * scale if new_incremental else values[2] * scale + floats[SHIFT_Z]
                pieces, length = 1, 0.0
                if is_arc:
                    here[0], here[1], here[2] = x, y, z
                    there[0], there[1], there[2] = new_x, new_y, new_z
                    sense = 1.0 if new_motion == 3 else -1.0
                    pieces = draw_arc(
                        new_plane, here, there, seen, values, places, shifts, new_absolute, sense, scale,
                        floats[SAME_POINT], floats[TINY_BELOW], tolerances, arc,
                    )  # fmt: skip
                    if pieces == 0:
                        break
                    if arc[OF_ARC] > floats[MISMATCH] or ints[MISMATCH_LINE] < 0:
                        floats[MISMATCH], ints[MISMATCH_LINE] = arc[OF_ARC], number
                    put_arc(new_plane, here, there, pieces, floats[SAME_POINT], arc, row, end, centre, sweep)
                    length = arc[LENGTH]
                else:
                    end[row, 0], end[row, 1], end[row, 2] = new_x, new_y, new_z
                    if is_inverse:
                        length = _distance(x, y, z, new_x, new_y, new_z)
                if new_motion == 0:
                    row_feed = np.nan
                elif is_inverse:
                    row_feed = values[_F] * (length if length != 0.0 else 1.0)
                else:
                    row_feed = new_feed * floats[PER_MINUTE]
                for k in range(row, row + pieces):
                    code[k] = new_motion if new_motion < 2 else new_plane - 15
                    feeds[k], line[k] = row_feed, number
                row += pieces
                x, y, z = new_x, new_y, new_z
            motion, feed, plane = new_motion, new_feed, new_plane
            is_incremental, is_absolute = new_incremental, new_absolute
            ints[BLOCKS] += 1
        at = _behind_line_end(data, at)
        begin = at
        number += 1
    floats[X], floats[Y], floats[Z], floats[FEED] = x, y, z, feed
    ints[MOTION], ints[NUMBER], ints[ROWS], ints[POSITION] = motion, number, row, begin
    ints[PLANE], ints[IS_INCREMENTAL], ints[IS_CENTRE_ABSOLUTE] = plane, is_incremental, is_absolute
    find_end(data, ints)


@kernel
def _long_quotient(whole, power):
    """Divide a whole number of up to 18 digits by a power of ten, rounded once; NaN where it is not certain.

    Source: Dekker (1971), the exact product of two float64.  The remainder below needs at most 51 bits, so it
    is exact.  The true quotient lies between the two sums: where both are rounded to one float64, so is it.
    """
    near = np.float64(whole)
    quotient = near / power
    product = quotient * power
    spread = _SPLIT * quotient
    high = spread - (spread - quotient)
    low = quotient - high
    spread = _SPLIT * power
    power_high = spread - (spread - power)
    power_low = power - power_high
    error = ((high * power_high - product) + high * power_low + low * power_high) + low * power_low
    rest = ((near - product) - error) + np.float64(whole - np.int64(near))
    step = rest / power
    least, most = quotient + step * (1.0 - _SLACK), quotient + step * (1.0 + _SLACK)
    return least if least == most else math.nan


@kernel
def _distance(ax, ay, az, bx, by, bz):
    x, y, z = bx - ax, by - ay, bz - az
    return math.sqrt(x * x + y * y + z * z)


@entry_kernel
def find_end(data, ints):
    """Fill in where the line at ints[POSITION] ends and the next one begins."""
    ints[LINE_END] = _line_end(data, ints[POSITION])
    ints[NEXT_LINE] = _behind_line_end(data, ints[LINE_END])
