"""Strips: sixteen moves of a ball that were packed one after the other, as tiles want them, made once.

A move of finishing is near three tiles.  What their lists hold of it, and the bounds of sixteen such moves at
once (group_kernels), are made here while the moves are packed, seen from the start of the one in the
middle; a tile that a strip is near shifts it to its own middle and top, a vector at a time.  A strip of moves
that lie all over the place would be near many tiles in vain: those whose tips are farther apart than the
caller says, arcs, and moves that go straight down stay single.

Rounding, e = 2^-24, D the largest coordinate, that of the strip and of where it is seen from together: places
in a list are off by 3 e D where those of add_line are off by e D, two sums more.  In the sum of bound_kernels
that makes 6 e D of 4 e D, 38 in all of the 64 e D that are taken off; in that of hollow_kernels, with six
operations more, e^2 / (2 z) is off by 12 e D^2 / z, of 16.
Twin: tests/stock/test_strips.py makes the lists move by move.
"""

import math

import numpy as np

from simkit._jit import cgutils, instruction, ir, kernel, loop_kernel, types
from simkit.cutters import BALL
from simkit.stock.bit_kernels import ask_for
from simkit.stock.group_kernels import BEND, LONG, MOST_BEND, SAG, WIDTH, make_groups
from simkit.stock.list_kernels import (
    ENTRY,
    GROUP,
    LANES,
    PH,
    PLEN,
    POFF,
    PSHIFT,
    PSLOPE,
    PUX,
    PUY,
    PX,
    PY,
    WIDE,
)
from simkit.stock.record_kernels import LENGTH, LINE_FORM, SHIFT, SLOPE, UX, UY, H, X, Y, code_of
from simkit.stock.vector_kernels import vector_at
from simkit.stock.wide_kernels import at, fill_sixteen, shift_sixteen

_LONG = ir.IntType(64)
BALL_LINE = int(code_of.py_func(LINE_FORM, BALL))
# A row of strips, float32: columns of sixteen pieces, then the numbers of the strip as a whole.
# The pieces' columns, and those of a list, are the first eight of a record, in their order.
AT_X, AT_Y, AT_H, AT_UX, AT_UY, AT_LENGTH, AT_SLOPE, AT_SHIFT = (WIDE * k for k in range(8))
assert tuple(range(8)) == (X, Y, H, UX, UY, LENGTH, SLOPE, SHIFT)
assert tuple(LANES * k for k in range(8)) == (PX, PY, PH, PUX, PUY, PLEN, PSLOPE, PSHIFT)
MIDDLE_X, MIDDLE_Y, LINE_H, ALONG_X, ALONG_Y, HALF_LONG, HALF_WIDE, RISE, CURVE, HANG = range(128, 138)
FAR, HIGH = 138, 139  # the largest coordinate and the largest height
STRIP = 144
# A row of frames, float64: where the strip is seen from, its box as one of a move (pack_kernels.BOX).
FROM_X, FROM_Y, FROM_H, STRIP_BOX = 0, 1, 2, 3
FRAME = 8
FEWEST = 8  # moves of some length in a strip
# For make_groups, with the types that tiles call it with: a literal would be compiled for once more.
NONE, STRAIGHT = np.int64(0), np.bool_(False)
STRIP_ROOM = 3 * GROUP  # float32 to work in


@instruction
def columns_of(typingctx, records, first, middle, room, strip):
    """Write the first eight columns of sixteen records from `first` on, seen from the place of `middle`.

    As float32, to room as a list's columns, LANES apart, and to strip, WIDE apart: eight numbers of a record
    are one vector, and sixteen such rows become columns by exchanging halves, quarters and neighbours.
    """

    def generate(context, builder, signature, arguments):
        b, kinds = builder, signature.args
        records, first, middle, room, strip = arguments
        table = context.make_array(kinds[0])(context, b, records)
        columns = cgutils.unpack_tuple(b, table.shape)[1]
        eight, whole = ir.VectorType(ir.DoubleType(), 8), ir.IntType(32)
        narrow = ir.VectorType(ir.FloatType(), 8)

        def mixed(one, other, order):
            return b.shuffle_vector(one, other, ir.Constant(ir.VectorType(whole, 16), order))

        def row(j):
            at_j = b.gep(table.data, [b.mul(j, columns)])
            return b.load(b.bitcast(at_j, eight.as_pointer()), align=8)

        # Of X, Y, H the place is taken off, of the others nothing.
        none = ir.Constant(eight, None)
        order = ir.Constant(ir.VectorType(whole, 8), [0, 1, 2, 11, 12, 13, 14, 15])
        place = b.shuffle_vector(row(middle), none, order)
        rows = [b.fptrunc(b.fsub(row(b.add(first, _LONG(k))), place), narrow) for k in range(16)]
        both = [mixed(rows[k], rows[k + 8], list(range(16))) for k in range(8)]
        for apart in (4, 2, 1):
            for k in range(8):
                if k & apart:
                    continue
                one, other = both[k], both[k + apart]
                low = [lane if not lane & apart else 16 + lane - apart for lane in range(16)]
                high = [lane + apart if not lane & apart else 16 + lane for lane in range(16)]
                both[k], both[k + apart] = mixed(one, other, low), mixed(one, other, high)
        for column, value in enumerate(both):
            for array, kind, wide in ((room, kinds[3], LANES), (strip, kinds[4], WIDE)):
                there, _ = at(context, b, kind, array, _LONG(wide * column), WIDE)
                b.store(value, there, align=4)
        return context.get_dummy_value()

    return types.void(records, types.uint64, types.uint64, room, strip), generate


@kernel
def make_strip(codes, records, boxes, first, last, extent, strip, frame, room):
    """Make a strip of the packed moves first <= j < last, if they are sixteen and it is worth it.

    codes, records, boxes: as of pack_kernels; the boxes are as large as the cutter.  extent: how far apart
    tips may be in plan, mm.  strip (STRIP,), frame (FRAME,): written; FROM_X is no number where there is
    none.  room (STRIP_ROOM,) float32.
    """
    frame[FROM_X] = math.nan
    if last - first < WIDE:
        return
    is_fit, count, lowest = True, 0, math.inf
    x0, x1, y0, y1 = math.inf, -math.inf, math.inf, -math.inf
    first, some = np.uint64(first), np.uint64(last - first)
    for j in range(first, first + some):
        is_fit &= codes[j] == BALL_LINE
        x0, x1 = min(x0, boxes[j, 0]), max(x1, boxes[j, 1])
        y0, y1 = min(y0, boxes[j, 2]), max(y1, boxes[j, 3])
        lowest = min(lowest, boxes[j, 4])
    if not is_fit:
        return
    grown = boxes[first, 1] - boxes[first, 0] - abs(records[first, LENGTH] * records[first, UX])
    if max(x1 - x0, y1 - y0) - grown > extent:
        return
    for j in range(first, first + some):
        count += 1 if records[j, LENGTH] > 0.0 else 0
    if count < FEWEST:
        return
    middle = first + some // np.uint64(2)  # so that numbers are small
    ox, oy, oh = records[middle, X], records[middle, Y], records[middle, H]
    columns_of(records, first, middle, room, strip)
    # Of places at most 1.42 extents apart: see group_kernels.
    most_bend = np.float32(min(MOST_BEND, 0.5 / (0.71 * extent)))
    far, high = make_groups(
        room, NONE, np.int64(WIDE), np.int64(GROUP), most_bend, STRAIGHT, room[2 * GROUP :]
    )
    strip[MIDDLE_X], strip[MIDDLE_Y], strip[LINE_H] = room[GROUP + PX], room[GROUP + PY], room[GROUP + PH]
    strip[ALONG_X], strip[ALONG_Y] = room[GROUP + PUX], room[GROUP + PUY]
    strip[HALF_LONG], strip[HALF_WIDE] = room[GROUP + LONG], room[GROUP + WIDTH]
    strip[RISE], strip[CURVE], strip[HANG] = room[GROUP + PSLOPE], room[GROUP + BEND], room[GROUP + SAG]
    strip[FAR], strip[HIGH] = far, high
    frame[FROM_X], frame[FROM_Y], frame[FROM_H] = ox, oy, oh
    frame[STRIP_BOX], frame[STRIP_BOX + 1], frame[STRIP_BOX + 2], frame[STRIP_BOX + 3] = x0, x1, y0, y1
    frame[STRIP_BOX + 4] = lowest


@loop_kernel
def ask_strip(number, strips, records):
    """Ask the memory for a strip, and for what heights need of the records of its moves."""
    first = np.uint64(number) * np.uint64(STRIP)
    for k in range(np.uint64(STRIP // WIDE)):
        ask_for(strips, first + k * np.uint64(WIDE))
    columns = np.uint64(records.shape[1])
    at = np.uint64(number) * np.uint64(WIDE) * columns
    for k in range(np.uint64(WIDE)):
        ask_for(records, at + k * columns)


@loop_kernel
def add_strip(lists, vector, base, x, y, top, number, strips, frames):
    """Put a strip into a tile's list as its sixteen pieces `vector`, and into that of groups at `base`.

    x, y, top: middle and top of the tile.  Returns the largest coordinate and the largest height.
    """
    to = vector_at(0, vector)
    first = np.uint64(number) * np.uint64(STRIP)
    dx, dy = np.float32(frames[number, FROM_X] - x), np.float32(frames[number, FROM_Y] - y)
    dh, zero = np.float32(frames[number, FROM_H] - top), np.float32(0.0)
    shift_sixteen(lists, to + np.uint64(PX), strips, first + np.uint64(AT_X), dx)
    shift_sixteen(lists, to + np.uint64(PY), strips, first + np.uint64(AT_Y), dy)
    shift_sixteen(lists, to + np.uint64(PH), strips, first + np.uint64(AT_H), dh)
    shift_sixteen(lists, to + np.uint64(PUX), strips, first + np.uint64(AT_UX), zero)
    shift_sixteen(lists, to + np.uint64(PUY), strips, first + np.uint64(AT_UY), zero)
    shift_sixteen(lists, to + np.uint64(PLEN), strips, first + np.uint64(AT_LENGTH), zero)
    shift_sixteen(lists, to + np.uint64(PSLOPE), strips, first + np.uint64(AT_SLOPE), zero)
    shift_sixteen(lists, to + np.uint64(PSHIFT), strips, first + np.uint64(AT_SHIFT), zero)
    fill_sixteen(lists, to + np.uint64(POFF), zero, zero)
    fill_sixteen(lists, to + np.uint64(ENTRY), np.float32(number * WIDE), np.float32(1.0))
    vector = np.uint64(vector)
    i = vector_at(base, vector // np.uint64(WIDE)) + vector % np.uint64(WIDE)
    lists[i + np.uint64(PX)] = strips[number, MIDDLE_X] + dx
    lists[i + np.uint64(PY)] = strips[number, MIDDLE_Y] + dy
    lists[i + np.uint64(PH)] = strips[number, LINE_H] + dh
    lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)] = strips[number, ALONG_X], strips[number, ALONG_Y]
    lists[i + np.uint64(LONG)] = strips[number, HALF_LONG]
    lists[i + np.uint64(WIDTH)] = strips[number, HALF_WIDE]
    lists[i + np.uint64(PSLOPE)] = strips[number, RISE]
    lists[i + np.uint64(BEND)], lists[i + np.uint64(SAG)] = strips[number, CURVE], strips[number, HANG]
    far = max(abs(dx), abs(dy)) + strips[number, FAR]
    return far, abs(dh) + strips[number, HIGH]
