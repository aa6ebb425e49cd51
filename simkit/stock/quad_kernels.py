"""The four leaves of a block of 8 at once, of straight moves of a ball: what leaf_kernels does one by one.

What comes under the surface is asked of all four before a height is evaluated, and then all heights are one
loop: four times two loops of a few rounds each would end at places that the processor cannot foresee.
The bounds are those of bound_kernels.ball_bounds, held against the surface as they are computed.
Twin: tests/stock/test_quads.py, against ball_bounds and halves_under.
"""

import math

import numpy as np

from simkit._jit import bound_loop_kernel, instruction, ir, kernel, loop_kernel, types
from simkit.stock.bound_kernels import RADIUS_AT, STEEPEST
from simkit.stock.half_kernels import STREAMS, lower_halves_ball
from simkit.stock.leaf_kernels import (
    CELLS,
    HALF,
    HEIGHT,
    LEAF,
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
from simkit.stock.wide_kernels import at, call_of, fill_sixteen, spread

LEAVES = 4
_LONG = ir.IntType(64)
# Room, float32: names and places of what is to be evaluated, with as much to spare as is written at once.
NAMES = 2 * LANES
MOST_NAMES = LEAVES * 2 * LANES + LANES
# Then what is known of a group's pieces over each leaf: first where they touch, then bounds in its place; the
# surface; and where its cells are.
PLANES = NAMES + 2 * MOST_NAMES
ALONG, ASIDE, AWAY, THERE, BESIDE = (LANES * k for k in range(5))
OVER, RISE_X, RISE_Y, BENT, BENT_X, BENT_Y = (LANES * k for k in range(6))
SURFACE, OFF = LANES * 6, LANES * 6 + CELLS
LEAF_ROOM = LANES * 8
QUAD_ROOM = PLANES + LEAVES * LEAF_ROOM
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


@instruction
def sixteen_under(typingctx, room, planes, surface, places):
    """Which of sixteen bounds come under the surface of a leaf: sixteen bits for each of its halves.

    room float32: from `planes` on the columns that _planes writes; from `surface` on the leaf's heights, from
    `places` on x of its cells from its middle, CELLS behind y.  Zero or less is under, no number is not.
    """

    def generate(context, builder, signature, arguments):
        b, kind, (array, planes, surface, places) = builder, signature.args[0], arguments
        numbers = context.make_array(kind)(context, b, array).data
        several = at(context, b, kind, array, planes, WIDE)[1]
        least = call_of(b, "llvm.minnum.v16f32", ir.FunctionType(several, [several, several]))
        is_fused = {"flags": ("contract",)}  # as of bound_kernel

        def fused(one, two, three):
            return b.fadd(b.fmul(one, two, **is_fused), three, **is_fused)

        def column(offset):
            where, _ = at(context, b, kind, array, b.add(planes, _LONG(offset)), WIDE)
            return b.load(where, align=4)

        def number(first, k):
            return spread(b, b.load(b.gep(numbers, [b.add(first, _LONG(k))])), WIDE)

        low, rise_x, rise_y = column(OVER), column(RISE_X), column(RISE_Y)
        bent, bent_x, bent_y = b.fneg(column(BENT)), column(BENT_X), column(BENT_Y)
        bits = []
        for half in range(2):
            over = []
            for row in (2 * half, 2 * half + 1):
                y = number(places, CELLS + row * LEAF)
                height, w = fused(rise_y, y, low), fused(bent_y, y, bent)
                for k in range(LEAF):
                    x = number(places, k)
                    away = fused(bent_x, x, w)
                    g = fused(away, away, fused(rise_x, x, height))
                    over.append(b.fsub(g, number(surface, row * LEAF + k)))
            while len(over) > 1:
                over = [b.call(least, list(pair)) for pair in zip(over[::2], over[1::2], strict=True)]
            found = b.fcmp_ordered("<=", over[0], ir.Constant(several, None))
            bits.append(b.zext(b.bitcast(found, ir.IntType(WIDE)), ir.IntType(32)))
        return b.or_(bits[0], b.shl(bits[1], ir.IntType(32)(WIDE)))

    whole = types.uint64
    return types.uint32(room, whole, whole, whole), generate


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
        room[k + np.uint64(BENT_X)], room[k + np.uint64(BENT_Y)] = -bend * uy, bend * ux


@loop_kernel
def _under(n, room, at):
    """Which of the first n bounds that _planes wrote come under the surface of a leaf: see halves_under."""
    b0, b1 = np.uint32(0), np.uint32(0)
    surface, places = at + np.uint64(SURFACE), at + np.uint64(OFF)
    for lane in range(np.uint64(0), n, np.uint64(WIDE)):
        bits = sixteen_under(room, at + lane, surface, places)
        b0 = np.uint32(b0 | np.uint32((bits & np.uint32(0xFFFF)) << np.uint32(lane)))
        b1 = np.uint32(b1 | np.uint32((bits >> np.uint32(WIDE)) << np.uint32(lane)))
    return b0, b1


@loop_kernel
def _show(own, room, at):
    """Write the surface of a leaf as its cells are now, and where they are, beside the bounds over it."""
    _, w, _, off, _, _, _, _ = own
    for i in range(np.uint64(CELLS)):
        room[at + np.uint64(SURFACE) + i] = w[i + np.uint64(HEIGHT)]
    for i in range(np.uint64(2 * CELLS)):
        room[at + np.uint64(OFF) + i] = off[i]


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
            at = np.uint64(PLANES + leaf * LEAF_ROOM)
            _contacts(lists, first, lanes, x, y, half_x, half_y, lean[0], lean[1], radius, names, at)
        for leaf in range(LEAVES):
            x, y, half_x, half_y = extent(field[2], field[3], leaf_of(part, leaf), tile)
            at = np.uint64(PLANES + leaf * LEAF_ROOM)
            _planes(
                lists, first, lanes, half_x, half_y, radius, margin, lift, np.float32(done[leaf]), names, at
            )
        for leaf in range(LEAVES):
            at = np.uint64(PLANES + leaf * LEAF_ROOM)
            _show(room_of(room, leaf), names, at)
            b0, b1 = _under(some, names, at)
            count = _name(lists, first, b0, names, count, leaf * 4 * CELLS)
            count = _name(lists, first, b1, names, count, leaf * 4 * CELLS + HALF)
        _lower_named(names, count, rows, records, w, room[7])
        evaluated += HALF * np.int64(count)
    for leaf in range(LEAVES):
        store_leaf(field, leaf_of(part, leaf), room_of(room, leaf))
    return evaluated
