"""The four leaves of a block of 8 at once, of straight moves of a ball: what leaf_kernels does one by one.

What comes under the surface is asked of all four before a height is evaluated, and then all heights are one
loop: four times two loops of a few rounds each would end at places that the processor cannot foresee.
The bounds are those of bound_kernels.ball_bounds, held against the surface as they are computed.
Twin: tests/stock/test_quads.py, against ball_bounds and halves_under.
"""

import math

import numpy as np

from simkit._jit import bound_loop_kernel, kernel, loop_kernel
from simkit.stock.bound_kernels import RADIUS_AT, STEEPEST
from simkit.stock.half_kernels import STREAMS, lower_halves_ball
from simkit.stock.leaf_kernels import (
    CELLS,
    HALF,
    HEIGHT,
    LEAF,
    marked,
    name_pieces,
    store_leaf,
)
from simkit.stock.list_kernels import (
    BIG,
    ENTRY,
    GROUP,
    LANES,
    PH,
    PLEN,
    PSHIFT,
    PSLOPE,
    PUX,
    PUY,
    PX,
    PY,
    WIDE,
    extent,
)
from simkit.stock.wide_kernels import fill_sixteen

LEAVES = 4
# Room, float32: marks of a list's group for both halves of a leaf, then names and places of what is to be
# evaluated, with as much to spare as is written at once.
NAMES = 2 * LANES
MOST_NAMES = LEAVES * 2 * LANES + LANES
# Then what is known of a group's pieces over each leaf: first where they touch, then bounds in its place.
PLANES, COLUMNS = NAMES + 2 * MOST_NAMES, 5
ALONG, ASIDE, AWAY, THERE, BESIDE = (LANES * k for k in range(COLUMNS))
OVER, RISE_X, RISE_Y, BENT = (LANES * k for k in range(4))
QUAD_ROOM = PLANES + LEAVES * LANES * COLUMNS
HALF_ROOM = 2 * HALF * MOST_NAMES  # float64, of halves between two steps


@loop_kernel
def leaf_of(part, leaf):
    """The cells of one of the four leaves of a block of 8; where that is smaller some again, to no harm."""
    iy0, iy1, ix0, ix1 = part
    iy = min(iy0 + LEAF, iy1 - 1) if leaf >= 2 else iy0
    ix = min(ix0 + LEAF, ix1 - 1) if leaf % 2 else ix0
    return iy, min(iy + LEAF, iy1), ix, min(ix + LEAF, ix1)


@loop_kernel
def room_of(room, leaf):
    """The room to work in of one of the four leaves of a block of 8."""
    places, w, hb, off, g, corners, keys, some = room
    return (
        places, w[leaf * 4 * CELLS : (leaf + 1) * 4 * CELLS], hb[leaf * CELLS : (leaf + 1) * CELLS],
        off[leaf * 2 * CELLS : (leaf + 1) * 2 * CELLS], g, corners, keys, some,
    )  # fmt: skip


@bound_loop_kernel
def _least_in_row(at, slope, w, bend, y, slope_y, bend_y, row, hb, off):
    """The least that a bound stands over the surface of a leaf in one of its rows, y from its middle."""
    first = np.uint64(row * LEAF)
    x0, x1, x2, x3 = off[np.uint64(0)], off[np.uint64(1)], off[np.uint64(2)], off[np.uint64(3)]
    at += slope_y * y
    w += bend_y * y
    w0, w1, w2, w3 = w + bend * x0, w + bend * x1, w + bend * x2, w + bend * x3
    over = min(
        (at + (slope * x0 + w0 * w0)) - hb[first],
        (at + (slope * x1 + w1 * w1)) - hb[first + np.uint64(1)],
    )
    return min(
        over,
        min(
            (at + (slope * x2 + w2 * w2)) - hb[first + np.uint64(2)],
            (at + (slope * x3 + w3 * w3)) - hb[first + np.uint64(3)],
        ),
    )


@bound_loop_kernel
def _contacts(lists, first, lanes, x, y, half_x, half_y, lean_x, lean_y, radius, room, at):
    """Where each of a group's pieces is seen from, and about where it touches: the first half of ball_bounds.

    room: from `at` on, LANES apart: along, across and away (squared) as of bound_kernels._seen, how far along
    the place is that is looked at, and how far across that lies beyond.
    """
    zero, one = np.float32(0.0), np.float32(1.0)
    x, y, radius = np.float32(x), np.float32(y), np.float32(radius)
    half_x, half_y = np.float32(half_x), np.float32(half_y)
    lean_x, lean_y = np.float32(lean_x), np.float32(lean_y)
    over_lean = radius / math.sqrt(one + (lean_x * lean_x + lean_y * lean_y))
    lean_x, lean_y = lean_x * over_lean, lean_y * over_lean
    for lane in range(lanes):
        i, k = first + lane, at + lane
        dx, dy = x - lists[i + np.uint64(PX)], y - lists[i + np.uint64(PY)]
        ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
        u = dx * ux + dy * uy
        w = dy * ux - dx * uy
        beyond = u - min(max(u, zero), length)
        lean_u, lean_w = lean_x * ux + lean_y * uy, lean_y * ux - lean_x * uy
        tu = u - lean_u
        tu = min(max(tu, zero), length) - tu
        tw = lean_w - w
        tx = min(max(tu * ux - tw * uy, -half_x), half_x)
        ty = min(max(tu * uy + tw * ux, -half_y), half_y)
        room[k + np.uint64(ALONG)], room[k + np.uint64(ASIDE)] = u, w
        room[k + np.uint64(AWAY)] = beyond * beyond + w * w
        room[k + np.uint64(THERE)] = u + (tx * ux + ty * uy)
        room[k + np.uint64(BESIDE)] = ty * ux - tx * uy


@bound_loop_kernel
def _planes(lists, first, lanes, half_x, half_y, radius, margin, lift, done, room, at):
    """Bounds of a group's pieces, of what _contacts wrote: the second half of ball_bounds.

    Written over it: the bound at the middle, with `lift` added, its slopes, and BEND_AT.
    """
    zero, one, half_of = np.float32(0.0), np.float32(1.0), np.float32(0.5)
    radius, margin = np.float32(radius), np.float32(margin)
    half_x, half_y = np.float32(half_x), np.float32(half_y)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    r2 = radius * radius
    over_r = one / radius
    bend = math.sqrt(half_of * over_r)
    tau = r2 / np.float32(1.0 + STEEPEST * STEEPEST)
    far = radius + half + margin
    far2 = far * far
    for lane in range(lanes):
        i, k = first + lane, at + lane
        ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
        u, w, v = room[k + np.uint64(ALONG)], room[k + np.uint64(ASIDE)], room[k + np.uint64(THERE)]
        across = room[k + np.uint64(BESIDE)]
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
        low = lists[i + np.uint64(PH)] + (pu * u + pw * w - support)
        low += min(zero, length * (lists[i + np.uint64(PSLOPE)] - pu))
        low -= margin * (one + (abs(pu) + abs(pw)))
        is_out = (room[k + np.uint64(AWAY)] > far2) | (lists[i + np.uint64(ENTRY)] == done)
        room[k + np.uint64(OVER)] = BIG if is_out else low + lift
        room[k + np.uint64(RISE_X)] = pu * ux - pw * uy
        room[k + np.uint64(RISE_Y)] = pu * uy + pw * ux
        room[k + np.uint64(BENT)] = bend * across


@bound_loop_kernel
def _under(lists, first, n, radius, hb, off, room, at):
    """Which of the first n bounds that _planes wrote come under the surface of a leaf: see halves_under."""
    bend = math.sqrt(np.float32(0.5) / np.float32(radius))
    y0, y1 = off[np.uint64(CELLS)], off[np.uint64(CELLS + LEAF)]
    y2, y3 = off[np.uint64(CELLS + 2 * LEAF)], off[np.uint64(CELLS + 3 * LEAF)]
    lanes = (n + np.uint64(15)) & ~np.uint64(15)
    for lane in range(lanes):
        i, k = first + lane, at + lane
        low, bent = room[k + np.uint64(OVER)], -room[k + np.uint64(BENT)]
        slope_x, slope_y = room[k + np.uint64(RISE_X)], room[k + np.uint64(RISE_Y)]
        bend_x, bend_y = -bend * lists[i + np.uint64(PUY)], bend * lists[i + np.uint64(PUX)]
        room[lane] = min(
            _least_in_row(low, slope_x, bent, bend_x, y0, slope_y, bend_y, 0, hb, off),
            _least_in_row(low, slope_x, bent, bend_x, y1, slope_y, bend_y, 1, hb, off),
        )
        room[lane + np.uint64(LANES)] = min(
            _least_in_row(low, slope_x, bent, bend_x, y2, slope_y, bend_y, 2, hb, off),
            _least_in_row(low, slope_x, bent, bend_x, y3, slope_y, bend_y, 3, hb, off),
        )
    # What fills the list up to whole vectors is no number, and never counts.
    used = np.uint32(0xFFFFFFFF) >> np.uint32(np.uint64(LANES) - n)
    b0, b1 = marked(room, np.uint64(0), lanes), marked(room, np.uint64(LANES), lanes)
    return np.uint32(b0 & used), np.uint32(b1 & used)


@loop_kernel
def _name(lists, first, bits, names, count, place):
    """Add the pieces of a group whose bits are set to what is to be evaluated, for a half of a leaf."""
    some = name_pieces(lists, first, bits, names, np.uint64(NAMES) + count)
    at = np.uint64(NAMES + MOST_NAMES) + count
    fill_sixteen(names, at, np.float32(place), np.float32(0.0))
    fill_sixteen(names, at + np.uint64(WIDE), np.float32(place), np.float32(0.0))
    return count + some


@loop_kernel
def lower_firsts(lists, bests, done, moves, room):
    """Lower the leaves, which are loaded, by the piece that seems the lowest in each; -1: there is none.

    done (4,): written, the moves.  Returns how many heights were evaluated.
    """
    _, rows, records = moves
    names, count = room[4], np.uint64(0)
    for leaf in range(LEAVES):
        i = bests[leaf]
        done[leaf] = -1.0
        if i >= 0:
            done[leaf] = lists[i + ENTRY]
            for half in range(2):
                names[np.uint64(NAMES) + count] = lists[i + ENTRY]
                names[np.uint64(NAMES + MOST_NAMES) + count] = np.float32(leaf * 4 * CELLS + half * HALF)
                count += np.uint64(1)
    _lower_named(names, count, rows, records, room[1], room[7])
    return np.int64(count) * HALF


@kernel
def _lower_named(names, count, rows, records, w, some):
    """Lower halves of leaves by what was named: compiled once for all who call it."""
    if count == np.uint64(0):
        return
    last, room_for = np.uint64(NAMES) + count - np.uint64(1), np.uint64(MOST_NAMES)
    for k in range(np.uint64(1), np.uint64(STREAMS)):  # the last once more, up to parts of the same length
        names[last + k], names[last + k + room_for] = names[last], names[last + room_for]
    count = (count + np.uint64(STREAMS - 1)) // np.uint64(STREAMS) * np.uint64(STREAMS)
    lower_halves_ball(
        names[NAMES:], names[NAMES + MOST_NAMES :], np.int64(count), rows, records, w, np.uint64(CELLS), some
    )


@loop_kernel
def lower_leaves(lists, base, n, done, field, part, tile, cutter, moves, room, lean):
    """Lower the four leaves of a block, which are loaded, by its list, and write them back.

    done (4,): the moves that lowered them before, -1 for none.  Returns how many heights were evaluated.
    """
    _, rows, records = moves
    _, _, top, tie, margin, _ = tile
    radius, lift = float(cutter[1][RADIUS_AT]), np.float32(top - tie)
    names, w, evaluated = room[4], room[1], 0
    for group in range(np.uint64((n + LANES - 1) // LANES)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        some = min(np.uint64(n) - group * np.uint64(LANES), np.uint64(LANES))
        lanes = (some + np.uint64(15)) & ~np.uint64(15)
        count = np.uint64(0)
        for leaf in range(LEAVES):
            x, y, half_x, half_y = extent(field[2], field[3], leaf_of(part, leaf), tile)
            at = np.uint64(PLANES + leaf * LANES * COLUMNS)
            _contacts(
                lists, first, lanes, x, y, half_x, half_y, lean[0], lean[1], radius, names, at
            )
        for leaf in range(LEAVES):
            x, y, half_x, half_y = extent(field[2], field[3], leaf_of(part, leaf), tile)
            at = np.uint64(PLANES + leaf * LANES * COLUMNS)
            _planes(
                lists, first, lanes, half_x, half_y, radius, margin, lift, np.float32(done[leaf]), names, at
            )
        for leaf in range(LEAVES):
            own = room_of(room, leaf)
            for i in range(np.uint64(CELLS)):
                own[2][i] = own[1][i + np.uint64(HEIGHT)]
            at = np.uint64(PLANES + leaf * LANES * COLUMNS)
            b0, b1 = _under(lists, first, some, radius, own[2], own[3], names, at)
            count = _name(lists, first, b0, names, count, leaf * 4 * CELLS)
            count = _name(lists, first, b1, names, count, leaf * 4 * CELLS + HALF)
        _lower_named(names, count, rows, records, w, room[7])
        evaluated += HALF * np.int64(count)
    for leaf in range(LEAVES):
        store_leaf(field, leaf_of(part, leaf), room_of(room, leaf))
    return evaluated
