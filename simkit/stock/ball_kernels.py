"""The four leaves of a block of 8 lowered by a ball's moves: bounds and tests of all four, then their heights.

What bounds say of one leaf does not wait for what another's heights have done, and all four look at the same
list, so that the processor foresees where it ends.  A bound is held against the surface of its leaf where it
is computed, and never written down.
"""

import math

import numpy as np

from simkit._jit import bound_loop_kernel, loop_kernel
from simkit.stock.bit_kernels import first_of
from simkit.stock.bound_kernels import RADIUS_AT, STEEPEST, seen
from simkit.stock.half_kernels import lower_half_ball
from simkit.stock.leaf_kernels import (
    CELLS,
    HALF,
    HEIGHT,
    LEAF,
    evaluate,
    leaf_of,
    marked,
    name_pieces,
    room_of,
)
from simkit.stock.list_kernels import (
    BIG,
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
    extent,
)
from simkit.stock.record_kernels import is_line


@bound_loop_kernel
def _least_over(at, slope_x, slope_y, bend_x, bend_y, bend_at, row, hb, off):
    """The least that a bound stands over the surface of a leaf in one of its rows."""
    first = np.uint64(row * LEAF)
    x0, x1, x2, x3 = off[np.uint64(0)], off[np.uint64(1)], off[np.uint64(2)], off[np.uint64(3)]
    y = off[first + np.uint64(CELLS)]
    at += slope_y * y
    w = bend_y * y - bend_at
    w0, w1, w2, w3 = w + bend_x * x0, w + bend_x * x1, w + bend_x * x2, w + bend_x * x3
    return min(
        min(
            at + (slope_x * x0 + w0 * w0) - hb[first],
            at + (slope_x * x1 + w1 * w1) - hb[first + np.uint64(1)],
        ),
        min(
            at + (slope_x * x2 + w2 * w2) - hb[first + np.uint64(2)],
            at + (slope_x * x3 + w3 * w3) - hb[first + np.uint64(3)],
        ),
    )


@bound_loop_kernel
def balls_under(
    lists, first, n, x, y, half_x, half_y, lean_x, lean_y, radius, margin, lift, hb, off, done, marks
):
    """Which of the first n pieces of a group come under the surface of a leaf in its first and its last rows.

    A bit for each, none for the move `done`.  x, y: the leaf's middle, seen from the tile's; half_x, half_y: half the extent
    between the outermost centres; lean_x, lean_y: R lean / sqrt(1 + lean^2), lean about the slope of what will stand
    there; any will do.  lift: what is added to the bounds to compare them with the surface.
    marks: room for twice as many numbers as a group has pieces.

    The bound is a plane and a square.  p is the slope at the clamped stationary point of a ball
    (line_kernels.line_ball), at most about STEEPEST under the cutter, over that place of the leaf which is
    nearest to where the sweep has the slope `lean`: the path shifted by v = R lean / sqrt(1 + lean^2).  There
    the sweep comes nearest to a plane of that slope below it, so the plane that touches it there tells best
    whether it comes under such a plane.
    From there the sweep bends up across the path: f(v + d) - f(v) - p d >= d^2 / (2 R) for a ball
    (hollow_kernels), and wherever the cutter is, d is at least what lies across the path.
    sqrt(1 + p^2) is R / rest there, rest the height of the centre above the place of contact;
    (A + (1 + p^2) / A) / 2 is not below it for any A, and equal at A = R / rest.
    """
    zero, one, half_of = np.float32(0.0), np.float32(1.0), np.float32(0.5)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    r2 = radius * radius
    over_r = one / radius
    bend = math.sqrt(half_of * over_r)
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far = radius + half + margin
    lanes = (n + np.uint64(15)) & ~np.uint64(15)
    for lane in range(lanes):
        i = first + lane
        u, w, length, away2 = seen(lists, i, x, y)
        ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
        # The place of the leaf nearest to where the sweep has the slope that is expected.
        lean_u, lean_w = lean_x * ux + lean_y * uy, lean_y * ux - lean_x * uy
        tu = u - lean_u
        tu = min(max(tu, zero), length) - tu
        tw = lean_w - w
        tx = min(max(tu * ux - tw * uy, -half_x), half_x)
        ty = min(max(tu * uy + tw * ux, -half_y), half_y)
        v = u + (tx * ux + ty * uy)
        across = ty * ux - tx * uy
        w2 = w + across
        pw = w2
        w2 = w2 * w2
        q = math.sqrt(max(r2 - w2, tau))
        e = v - min(max(v - lists[i + np.uint64(PSHIFT)] * q, zero), length)
        rest2 = max(r2 - (w2 + e * e), tau)
        inv = one / math.sqrt(rest2)
        pu, pw = e * inv, pw * inv
        root = half_of * (radius * inv + (one + (pu * pu + pw * pw)) * (rest2 * inv * over_r))
        support = radius * root - radius
        off_path = lists[i + np.uint64(POFF)]
        low = lists[i + np.uint64(PH)] + (pu * u + pw * w - support)
        low += min(zero, length * (lists[i + np.uint64(PSLOPE)] - pu))
        low -= (margin + off_path) * (one + (abs(pu) + abs(pw)))
        out = far + off_path
        low = low if away2 <= out * out else BIG
        low = low if lists[i + np.uint64(ENTRY)] != done else BIG
        bent = bend if off_path == zero else zero
        at, slope_x, slope_y = low + lift, pu * ux - pw * uy, pu * uy + pw * ux
        bend_x, bend_y, bend_at = -bent * uy, bent * ux, bent * across
        marks[lane] = min(
            _least_over(at, slope_x, slope_y, bend_x, bend_y, bend_at, 0, hb, off),
            _least_over(at, slope_x, slope_y, bend_x, bend_y, bend_at, 1, hb, off),
        )
        marks[lane + np.uint64(LANES)] = min(
            _least_over(at, slope_x, slope_y, bend_x, bend_y, bend_at, 2, hb, off),
            _least_over(at, slope_x, slope_y, bend_x, bend_y, bend_at, 3, hb, off),
        )
    # What fills the list up to whole vectors is no number, and never counts.
    used = np.uint32(0xFFFFFFFF) >> np.uint32(np.uint64(LANES) - n)
    b0, b1 = marked(marks, np.uint64(0), lanes), marked(marks, np.uint64(LANES), lanes)
    return np.uint32(b0 & used), np.uint32(b1 & used)


@loop_kernel
def _lower_curves(lists, first, bits, moves, heights, room):
    """Lower a leaf by the curved moves among the pieces whose bits are set; return theirs and how many."""
    codes, _, _ = moves
    curved, last, evaluated = np.uint32(0), np.int64(-1), 0
    while bits != np.uint32(0):
        alone, lane = np.uint32(bits & (~bits + np.uint32(1))), first_of(bits)
        bits = np.uint32(bits ^ alone)
        j = np.int64(lists[first + lane + np.uint64(ENTRY)])
        if is_line(codes[j]):
            continue
        curved = np.uint32(curved | alone)
        if j != last:
            evaluate(moves, heights, j, room)
            evaluated += CELLS
        last = j
    return curved, evaluated


@loop_kernel
def lower_balls(lists, base, n, done, field, part, tile, cutter, moves, room, lean):
    """Lower the leaves of a block of 8 by a list of a ball's moves; return how many heights were evaluated.

    They are loaded.  done: the move that lowered each before, -1 for none.
    """
    _, rows, records = moves
    _, support, heights, _ = cutter
    _, _, top, tie, margin, has_curves = tile
    _, w, hb, off, marks, _, keys = room
    radius, margin, lift = support[RADIUS_AT], np.float32(margin), np.float32(top - tie)
    lean_x, lean_y = np.float32(lean[0]), np.float32(lean[1])
    shift = radius / math.sqrt(np.float32(1.0) + (lean_x * lean_x + lean_y * lean_y))
    lean_x, lean_y = lean_x * shift, lean_y * shift
    names, evaluated = np.uint64(2 * LANES), 0
    for group in range(np.uint64((n + LANES - 1) // LANES)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        some = min(np.uint64(n) - group * np.uint64(LANES), np.uint64(LANES))
        for leaf in range(4):
            x, y, half_x, half_y = extent(field[2], field[3], leaf_of(part, leaf), tile)
            its = room_of(room, leaf)
            for i in range(np.uint64(CELLS)):
                its[2][i] = its[1][i + np.uint64(HEIGHT)]
            b0, b1 = balls_under(
                lists, first, some, np.float32(x), np.float32(y), np.float32(half_x), np.float32(half_y),
                lean_x, lean_y, radius, margin, lift, its[2], its[3], np.float32(done[leaf]), marks,
            )  # fmt: skip
            if has_curves:
                curved, more = _lower_curves(lists, first, np.uint32(b0 | b1), moves, heights, its)
                b0, b1 = np.uint32(b0 & ~curved), np.uint32(b1 & ~curved)
                evaluated += more
            keys[2 * leaf], keys[2 * leaf + 1] = np.int32(b0), np.int32(b1)
        for half in range(np.uint64(8)):
            count = name_pieces(lists, first, np.uint32(keys[half]), marks, names)
            at = (half >> np.uint64(1)) * np.uint64(4 * CELLS) + (half & np.uint64(1)) * np.uint64(HALF)
            lower_half_ball(marks, names, np.int64(count), rows, records, w, at, np.uint64(CELLS))
            evaluated += HALF * np.int64(count)
    return evaluated
