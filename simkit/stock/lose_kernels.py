"""A leaf of the replay: its cells in a room of their own, and what they lose to one move after the other.

Arguments that go together are those of bite_kernels.
"""

import math

import numpy as np

from simkit._jit import loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.arc_kernels import arc_distance2
from simkit.stock.line_kernels import line_ball, line_flat
from simkit.stock.list_kernels import LANES
from simkit.stock.record_kernels import (
    EX,
    EY,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    RADIUS,
    RIM2,
    SENSE,
    SHIFT,
    SLOPE,
    SX,
    SY,
    UX,
    UY,
    WIDTH,
    H,
    R,
    X,
    Y,
    code_of,
)

LEAF, WIDE = 4, 8  # rows and columns of a leaf
CELLS = LEAF * WIDE
LINE = 16  # cells in a cache line
# Places of a leaf's numbers, in arrays of their own: the distance between two is then known to the compiler,
# which needs no test whether they overlap.  What stands is at 0.
FLOOR, KEEPER = CELLS, 2 * CELLS
ROOM = 3 * CELLS
# The same of float64: x of the cells at 0, and of each column what it lost on the right less on the left.
AT_Y = CELLS
SIDE = 2 * CELLS
# Of arcs that were asked about last: the entry, where it starts and how far it sweeps, angles.
ARCS, ARCS_KEPT = SIDE + WIDE, 8
PLACES = ARCS + 3 * ARCS_KEPT
# Heights of the moves of a group, one move after the other, what each takes, and what stood before it.
LOST, BEFORE = LANES * CELLS, 2 * LANES * CELLS
HIGHEST = 3 * LANES * CELLS
TURNED = HIGHEST + 1  # how far round an arc its cells lie: two numbers of each
BATCH = TURNED + 2 * CELLS
ON_PATH = 1e-9  # mm off a line, mm2 on arcs: what rounding makes of nothing
BALL_LINE, FLAT_LINE = (int(code_of.py_func(LINE_FORM, profile)) for profile in (BALL, FLAT))
FLAT_ARC = int(code_of.py_func(LEVEL_ARC_FORM, FLAT))


@loop_kernel
def load(field, block, room, cells):
    """Copy the cells of a leaf to the room; what one at an edge lacks is lower than anything.

    cells: CELLS, as a number that the compiler does not know: it would write short loops out.
    """
    h, _, floor, up, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    w, off, places, _, _ = room
    mx, my = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    wide, is_whole = cells // np.uint64(LEAF), ix1 - ix0 == WIDE
    for r in range(LEAF):
        iy = np.uint64(min(iy0 + r, iy1 - 1))
        first, y = np.uint64(r * WIDE), ys[iy]
        is_there = iy0 + r < iy1
        if is_whole and is_there:
            # In loops of few arrays, or the compiler would not take the time to test whether they overlap.
            for c in range(wide):
                x = xs[np.uint64(ix0) + c]
                places[first + c], off[first + c] = x, x - mx
            for c in range(wide):
                places[first + c + np.uint64(AT_Y)], off[first + c + np.uint64(CELLS)] = y, y - my
            for c in range(wide):
                w[first + c] = h[iy, np.uint64(ix0) + c]
                w[first + c + np.uint64(KEEPER)] = np.float32(-1.0)
            for c in range(wide):
                w[first + c + np.uint64(FLOOR)] = up * floor[iy, np.uint64(ix0) + c]
        else:
            for c in range(wide):
                i, ix = first + c, np.uint64(min(ix0 + np.int64(c), ix1 - 1))
                places[i], places[i + np.uint64(AT_Y)] = xs[ix], y
                off[i], off[i + np.uint64(CELLS)] = xs[ix] - mx, y - my
                w[i] = h[iy, ix] if is_there and ix0 + np.int64(c) < ix1 else -np.float32(np.inf)
                w[i + np.uint64(FLOOR)], w[i + np.uint64(KEEPER)] = up * floor[iy, ix], np.float32(-1.0)


@loop_kernel
def store(field, block, moves, room):
    """Write what the cells of a leaf were lowered to, and by which moves, back to the field."""
    h, owner, _, _, _, _ = field
    iy0, iy1, ix0, ix1 = block
    first_entry, entries, _, rows, _, _, _ = moves
    w = room[0]
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        first = (iy - np.uint64(iy0)) * np.uint64(WIDE)
        for c in range(np.uint64(ix1 - ix0)):
            h[iy, np.uint64(ix0) + c] = w[first + c]
        for c in range(np.uint64(ix1 - ix0)):
            keeper = np.int64(w[first + c + np.uint64(KEEPER)])
            if keeper >= 0:
                owner[iy, np.uint64(ix0) + c] = rows[entries[first_entry + keeper]]


@loop_kernel
def ball_heights(records, j, x, y, half_x, half_y, places, batch, at):
    """Heights of a ball along a line over a leaf; x, y: middle of the leaf; half_x, half_y: half its extent.

    The place that counts for a cell is u - shift q, q^2 = R^2 - w^2 (line_kernels), from u - shift R to u.
    Before a short move has come to the leaf, and behind it, it is an end of its path all over the leaf, and
    need not be looked for.  How large q is there would tell that more often, but a root is waited for.
    """
    j = np.uint64(j)
    radius, ux, uy = records[j, RADIUS], records[j, UX], records[j, UY]
    length, shift = records[j, LENGTH], records[j, SHIFT]
    mx, my = x - records[j, X], y - records[j, Y]
    u, along = mx * ux + my * uy, half_x * abs(ux) + half_y * abs(uy)
    is_before = u + along + ON_PATH < min(shift, 0.0) * radius
    s = 0.0 if is_before else length
    if is_before or u - along - ON_PATH > length + max(shift, 0.0) * radius:
        ball_heights_at(records, j, s, places, np.uint64(0), np.uint64(AT_Y), batch, at)
    else:
        ball_heights_along(records, j, places, np.uint64(0), np.uint64(AT_Y), batch, at)


@loop_kernel
def ball_heights_at(records, j, s, places, on_x, on_y, batch, at):
    """Heights of a ball along a line over a leaf for which the place s of its path counts, all over it.

    places: x of the cells from on_x on, y from on_y.  As line_ball, operation by operation, with s at hand.
    """
    j = np.uint64(j)
    ax, ay = records[j, X], records[j, Y]
    radius, rim2 = records[j, RADIUS], records[j, RIM2]
    ux, uy = records[j, UX], records[j, UY]
    low = records[j, H] + records[j, SLOPE] * s
    for i in range(np.uint64(CELLS)):
        dx, dy = places[on_x + i] - ax, places[on_y + i] - ay
        along, across = dx * ux + dy * uy, dy * ux - dx * uy
        e = s - along
        rest = radius * radius - across * across - e * e
        g = low + (radius - math.sqrt(max(rest, 0.0)))
        batch[at + i] = np.float32(g if rest >= -rim2 else math.inf)


@loop_kernel
def ball_heights_along(records, j, places, on_x, on_y, batch, at):
    """As ball_heights_at, wherever on its path a cell is met."""
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    radius, rim2 = records[j, RADIUS], records[j, RIM2]
    ux, uy, length = records[j, UX], records[j, UY], records[j, LENGTH]
    m, shift = records[j, SLOPE], records[j, SHIFT]
    for i in range(np.uint64(CELLS)):
        dx, dy = places[on_x + i] - ax, places[on_y + i] - ay
        batch[at + i] = np.float32(line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift))


@loop_kernel
def is_behind(records, j, x, y, half_x, half_y):
    """Whether a ball's line is nowhere nearer to a leaf than at its start; arguments as of ball_heights.

    q is least for the cell that is farthest across the path, and most for the nearest.
    """
    j = np.uint64(j)
    ux, uy, radius, shift = records[j, UX], records[j, UY], records[j, RADIUS], records[j, SHIFT]
    dx, dy = x - records[j, X], y - records[j, Y]
    ahead = dx * ux + dy * uy + half_x * abs(ux) + half_y * abs(uy)
    # Most are not, which shows without waiting for a root.
    if ahead > max(shift, 0.0) * radius + ON_PATH:
        return False
    across, wide = abs(dy * ux - dx * uy), half_x * abs(uy) + half_y * abs(ux)
    w = across + wide if shift > 0.0 else max(across - wide, 0.0)
    return ahead - shift * math.sqrt(max(radius * radius - w * w, 0.0)) <= ON_PATH


@loop_kernel
def ball_heights_told(records, j, places, on_x, on_y, batch, at):
    """As ball_heights_along; return whether rounding decides the float32 of any, or one is near the rim.

    A move that carries on from the end of this one, and is nowhere nearer to a place than there, is as
    high as this one or higher.  So is what is computed of it, but for rounding: then the same float32, or
    a higher one, comes of it, unless this height lies within `wide` of where float32 changes.  Both are
    exact for a place within 2^-53 64 (R + L) in plan and 2^-53 16 (|h| + |m| L + R) in height; where rest >
    (R / 32)^2 the slope is less than 32.
    """
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    radius, rim2 = records[j, RADIUS], records[j, RIM2]
    ux, uy, length = records[j, UX], records[j, UY], records[j, LENGTH]
    m, shift = records[j, SLOPE], records[j, SHIFT]
    steep2 = radius * radius / 1024.0
    wide = 2.0**-53 * (4096.0 * (radius + length) + 32.0 * (abs(h0) + abs(m) * length + radius))
    is_near = False
    for i in range(np.uint64(CELLS)):
        # As line_ball, operation by operation.
        dx, dy = places[on_x + i] - ax, places[on_y + i] - ay
        u, w = dx * ux + dy * uy, dy * ux - dx * uy
        q2 = radius * radius - w * w
        s = min(max(u - shift * math.sqrt(max(q2, 0.0)), 0.0), length)
        e = s - u
        rest = q2 - e * e
        g = h0 + m * s + (radius - math.sqrt(max(rest, 0.0)))
        batch[at + i] = np.float32(g if rest >= -rim2 else math.inf)
        is_near |= (abs(rest) < steep2) | (np.float32(g - wide) != np.float32(g + wide))
    return is_near


@loop_kernel
def flat_heights(records, j, places, batch, at):
    """Heights of a flat cutter along a line over a leaf."""
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    cover2 = records[j, RADIUS] * records[j, RADIUS] + records[j, RIM2]
    ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
        batch[at + i] = np.float32(line_flat(dx, dy, h0, cover2, ux, uy, length, m))


@loop_kernel
def flat_arc_heights(records, j, x, y, half, places, batch, at):
    """Heights of a flat cutter along a level arc over a leaf; return what none is above, or inf.

    x, y, half: middle of the leaf, and how far its cells are from there.  As high all over the leaf where the
    ring covers it and all of it lies beside the arc: a cell lies within `half` of the lines through its ends
    and the centre as the middle does, and sign and distance of these are those of a cross product.
    """
    j = np.uint64(j)
    ax, ay, h0, r = records[j, X], records[j, Y], records[j, H], records[j, R]
    cover2 = records[j, RADIUS] * records[j, RADIUS] + records[j, RIM2]
    sx, sy, ex, ey = records[j, SX], records[j, SY], records[j, EX], records[j, EY]
    sense, width = records[j, SENSE], records[j, WIDTH]
    dx, dy = x - ax, y - ay
    around = half + 2.0 * ON_PATH
    if abs(math.sqrt(dx * dx + dy * dy) - r) + around <= records[j, RADIUS]:
        edge = r * around * (1.0 + ON_PATH) + ON_PATH
        is_after, is_before = sense * (sx * dy - sy * dx) >= edge, sense * (dx * ey - dy * ex) >= edge
        if (is_after and is_before) or (width >= 1.0 and (is_after or is_before)) or width >= 2.0:
            level = np.float32(h0)
            for i in range(np.uint64(CELLS)):
                batch[at + i] = level
            return level
    for i in range(np.uint64(CELLS)):
        px, py = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
        d2 = arc_distance2(px, py, r, sx, sy, ex, ey, sense, width)
        batch[at + i] = np.float32(h0 if d2 <= cover2 else math.inf)
    return np.float32(math.inf)


@loop_kernel
def highest(batch, bits, first, last):
    """The highest of the numbers [first, last) of a batch; bits: the same as whole numbers.

    Of whole numbers the compiler finds the most in the vector unit, of floats it may not.  Of negative floats
    the order of their bits is the other way round.
    """
    most = np.int32(-(2**31))
    for i in range(first, last):
        height = bits[i]
        height = np.int32(height ^ ((height >> np.int32(31)) & np.int32(2**31 - 1)))
        most = np.int32(height if height > most else most)
    bits[HIGHEST] = np.int32(most ^ ((most >> np.int32(31)) & np.int32(2**31 - 1)))
    return batch[HIGHEST]
