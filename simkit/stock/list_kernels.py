"""Lists of the moves near a tile, cut into straight pieces: what bounds are taken of.

Curved moves are bounded piece by piece by their chords.  Over a piece of angle t the place differs from
that of the chord at the same share of the angle by at most r t^2 / 8 (error of linear interpolation, the
second derivative being r), so a bound of the chord holds for the curve when it is lowered by `off` =
r t^2 / 8 times the length of (p, 1).

Places are counted from the middle of a tile and heights from its top, so that the numbers are small.
"""

import math

import numpy as np

from simkit._jit import CAN_PACK, kernel, loop_kernel
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.record_kernels import (
    CLIMB,
    EX,
    EY,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    MIDDLE,
    SENSE,
    SHIFT,
    SLOPE,
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
    form_of,
)
from simkit.stock.wide_kernels import count_of, pack_lanes

# A list of pieces is a part of a float32 array: groups of LANES pieces, in a group one row of LANES numbers
# for each column.  The distance between two columns is then known to the compiler, which needs no test
# whether they overlap before it uses the vector unit.
LANES, WIDE = 32, 16  # the compiler's vectors are half as long
PX, PY, PH, PUX, PUY, PLEN, PSLOPE, PSHIFT, POFF = (LANES * column for column in range(9))
ENTRY = 9 * LANES  # place in the entries of the tiles at hand: a whole number under 2^24
# What bounds write: how promising a piece is in the middle of the block and how that changes beside it (both
# may be estimates), then a plane that is a bound.
CHANCE, CHANCE_X, CHANCE_Y = (LANES * column for column in range(10, 13))
PIECE, COPIED = 10, 13  # columns of a piece alone, and with how promising it is
LOWEST, SLOPE_X, SLOPE_Y = (LANES * column for column in range(13, 16))
# Over leaves: the square of (BEND_X x + BEND_Y y - BEND_AT) may be added to the plane, for the sweep bends,
# and the sweep is nowhere below LEVEL.
BEND_X, BEND_Y, BEND_AT = (LANES * column for column in range(16, 19))
LEVEL = LANES * 19
GROUP = 20 * LANES

BIG = np.float32(1e30)


@kernel
def piece_at(base, k):
    """Where piece k of the list at `base` is."""
    return base + (k // LANES) * GROUP + k % LANES


@kernel
def lanes_of(n, group):
    """How many places of a group of a list of n are in use, filled up to whole vectors of sixteen."""
    return min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(15)) & ~np.uint64(15))


@loop_kernel
def copy_piece(lists, i, at, kept, columns):
    """Copy a piece to place `at`, where it is the next behind `kept` of a list; return both for the next."""
    lanes = np.uint64(LANES)
    for c in range(np.uint64(columns)):
        lists[at + c * lanes] = lists[i + c * lanes]
    kept += np.uint64(1)
    at += np.uint64(1)
    if kept % lanes == np.uint64(0):
        at += np.uint64(GROUP) - lanes
    return at, kept


@loop_kernel
def copy_pieces(lists, first, bits, to, kept):
    """Copy those of WIDE pieces whose bits are set behind the `kept` of a list; return its length."""
    lanes = np.uint64(LANES)
    while bits != np.uint32(0):
        place = kept % lanes
        at = to + kept // lanes * np.uint64(GROUP) + place
        found = count_of(bits)
        some = min(found, lanes - place)
        kept += some
        if CAN_PACK:
            for c in range(np.uint64(PIECE)):
                pack_lanes(lists, first + c * lanes, bits, lists, at + c * lanes, some)
            if some == found:
                break
            for _ in range(some):
                bits = without_first(bits)
        else:
            for _ in range(some):
                i = first + first_of(bits)
                for c in range(np.uint64(PIECE)):
                    lists[at + c * lanes] = lists[i + c * lanes]
                bits = without_first(bits)
                at += np.uint64(1)
    return kept


@loop_kernel
def extent(xs, ys, block, tile):
    """Middle of a block seen from the tile's, and half its extent, between the outermost cell centres."""
    iy0, iy1, ix0, ix1 = block
    xa, xb, ya, yb = xs[ix0], xs[ix1 - 1], ys[iy0], ys[iy1 - 1]
    return 0.5 * (xa + xb) - tile[0], 0.5 * (ya + yb) - tile[1], 0.5 * (xb - xa), 0.5 * (yb - ya)


@kernel
def _add_piece(lists, k, entry, ax, ay, ah, bx, by, bh, off):
    i = piece_at(0, k)
    dx, dy = bx - ax, by - ay
    length = math.sqrt(dx * dx + dy * dy)
    ux, uy, slope, low = 1.0, 0.0, 0.0, ah
    if length > 1e-9:
        ux, uy, slope = dx / length, dy / length, (bh - ah) / length
    else:
        length, low = 0.0, min(ah, bh)
        off += 1e-9
    lists[i + PX], lists[i + PY], lists[i + PH] = ax, ay, low
    lists[i + PUX], lists[i + PUY], lists[i + PLEN] = ux, uy, length
    lists[i + PSLOPE], lists[i + PSHIFT] = slope, slope / math.sqrt(1.0 + slope * slope)
    lists[i + POFF], lists[i + ENTRY] = off, entry


@kernel
def _curve_at(form, records, j, angle, first):
    """Place and height of a curved move at an angle; first: the angle where it begins."""
    if form == UPRIGHT_FORM:
        u = records[j, MIDDLE] + records[j, R] * math.cos(angle)
        w = records[j, CLIMB] * (angle - records[j, THETA0] - 0.5 * records[j, SWEEP])
        ux, uy = records[j, UX], records[j, UY]
        x, y = records[j, X] + u * ux - w * uy, records[j, Y] + u * uy + w * ux
        return x, y, records[j, H] + records[j, R] * math.sin(angle)
    x, y = records[j, X] + records[j, R] * math.cos(angle), records[j, Y] + records[j, R] * math.sin(angle)
    h = records[j, H]
    if form != LEVEL_ARC_FORM:
        h += records[j, CLIMB] * abs(angle - first)
    return x, y, h


@kernel
def _curve_angles(form, records, j):
    """First angle and signed sweep of a curved move."""
    if form == UPRIGHT_FORM:
        return records[j, THETA0], records[j, SWEEP]
    first = math.atan2(records[j, SY], records[j, SX])
    if form != LEVEL_ARC_FORM:
        return first, records[j, SENSE] * records[j, SWEEP]
    sweep = 2.0 * math.pi
    if records[j, WIDTH] < 2.0:
        sweep = records[j, SENSE] * (math.atan2(records[j, EY], records[j, EX]) - first)
        sweep -= 2.0 * math.pi * math.floor(sweep / (2.0 * math.pi))
    return first, records[j, SENSE] * sweep


@kernel
def curve_pieces(form, records, j, fineness):
    """How many chords a curved move is bounded by, so that they are off by about `fineness` mm."""
    _, sweep = _curve_angles(form, records, j)
    step = min(math.sqrt(8.0 * fineness / records[j, R]), 0.5)
    return math.ceil(abs(sweep) / step)


@loop_kernel
def add_line(lists, n, x, y, top, near, entry, j, records):
    """As add_move, for a straight move."""
    j = np.uint64(j)
    ax, ay, ah = records[j, X] - x, records[j, Y] - y, records[j, H] - top
    ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
    # Only the part of a long move that can touch the tile counts there.
    u = -(ax * ux + ay * uy)
    first, last = max(u - near, 0.0), min(u + near, length)
    n = np.uint64(n)
    i = n // np.uint64(LANES) * np.uint64(GROUP) + n % np.uint64(LANES)
    lists[i + np.uint64(PX)], lists[i + np.uint64(PY)] = ax + first * ux, ay + first * uy
    lists[i + np.uint64(PH)] = ah + m * first
    lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)] = ux, uy, last - first
    lists[i + np.uint64(PSLOPE)], lists[i + np.uint64(PSHIFT)] = m, records[j, SHIFT]
    lists[i + np.uint64(POFF)], lists[i + np.uint64(ENTRY)] = 0.0, entry
    return np.int64(n) if first > last else np.int64(n) + 1


@kernel
def add_move(lists, n, x, y, top, near, entry, j, code, records, fineness):
    """Add the pieces of record j to the list at the start of `lists`, n long; return its new length.

    x, y, top: middle and top of the tile; near: how far from its middle a tip can be and still touch it.
    """
    form = form_of(code)
    if form == LINE_FORM:
        return add_line(lists, n, x, y, top, near, entry, j, records)
    first, sweep = _curve_angles(form, records, j)
    count = curve_pieces(form, records, j, fineness)
    step = sweep / count
    off = records[j, R] * step * step / 8.0 + 1e-7
    bx, by, bh = _curve_at(form, records, j, first, first)
    for k in range(count):
        ax, ay, ah = bx, by, bh
        bx, by, bh = _curve_at(form, records, j, first + (k + 1) * step, first)
        reach = near + 0.5 * math.sqrt((bx - ax) * (bx - ax) + (by - ay) * (by - ay)) + off
        mx, my = 0.5 * (ax + bx) - x, 0.5 * (ay + by) - y
        if mx * mx + my * my <= reach * reach:
            _add_piece(lists, n, entry, ax - x, ay - y, ah - top, bx - x, by - y, bh - top, off)
            n += 1
    return n


@kernel
def close_list(lists, base, n):
    """Fill the last sixteen places of a list with pieces that are nowhere: whole vectors can then be read."""
    n = np.uint64(n)
    for k in range(n, (n + np.uint64(15)) & ~np.uint64(15)):
        i = np.uint64(base) + k // np.uint64(LANES) * np.uint64(GROUP) + k % np.uint64(LANES)
        lists[i], lists[i + np.uint64(CHANCE)] = math.nan, BIG


@kernel
def group_boxes(lists, n, boxes, sides):
    """Write x0, x1, y0, y1 of the tips of each group of the first list to boxes (groups, 4) float32.

    sides (5 LANES,) float32: room.  Returns the largest coordinate and the largest height of all.
    """
    far, high = np.float32(0.0), np.float32(0.0)
    n, lanes, half = np.uint64(n), np.uint64(LANES), np.uint64(LANES // 2)
    # How far to the left, the right, below and above, and how high: the most of each lane first.
    for i in range(np.uint64(5 * LANES)):
        sides[i] = -BIG
    for group in range((n + lanes - np.uint64(1)) // lanes):
        at, some = group * np.uint64(GROUP), min(lanes, n - group * lanes)
        for lane in range(some):
            i = at + lane
            length, off = lists[i + np.uint64(PLEN)], lists[i + np.uint64(POFF)]
            ax, ay = lists[i + np.uint64(PX)], lists[i + np.uint64(PY)]
            bx, by = ax + length * lists[i + np.uint64(PUX)], ay + length * lists[i + np.uint64(PUY)]
            sides[lane] = off - min(ax, bx)
            sides[lane + lanes] = off + max(ax, bx)
            sides[lane + np.uint64(2) * lanes] = off - min(ay, by)
            sides[lane + np.uint64(3) * lanes] = off + max(ay, by)
            rise = abs(lists[i + np.uint64(PH)]) + abs(lists[i + np.uint64(PSLOPE)] * length)
            sides[lane + np.uint64(4) * lanes] = max(sides[lane + np.uint64(4) * lanes], rise)
        for i in range(some, lanes):
            sides[i] = sides[i + lanes] = sides[i + lanes + lanes] = sides[i + np.uint64(3) * lanes] = -BIG
        x0, x1, y0, y1 = sides[0], sides[LANES], sides[2 * LANES], sides[3 * LANES]
        for i in range(half):
            x, y = i + lanes, i + lanes + lanes
            sides[i], sides[x] = max(sides[i], sides[i + half]), max(sides[x], sides[x + half])
            sides[y] = max(sides[y], sides[y + half])
            sides[y + lanes] = max(sides[y + lanes], sides[y + lanes + half])
        for i in range(half):
            x, y = i + lanes, i + lanes + lanes
            x0, x1 = max(x0, sides[i]), max(x1, sides[x])
            y0, y1 = max(y0, sides[y]), max(y1, sides[y + lanes])
        boxes[group, 0], boxes[group, 1], boxes[group, 2], boxes[group, 3] = -x0, x1, -y0, y1
        far = max(far, max(max(x0, x1), max(y0, y1)))
    for lane in range(lanes):
        high = max(high, sides[lane + np.uint64(4) * lanes])
    return float(far), float(high)


@kernel
def groups_near(boxes, n, x0, x1, y0, y1, groups):
    """Write to groups those of the first list whose box meets a rectangle; return how many."""
    count = 0
    for group in range((n + LANES - 1) // LANES):
        groups[count] = group
        is_off = (
            (boxes[group, 0] > x1) | (boxes[group, 1] < x0) | (boxes[group, 2] > y1) | (boxes[group, 3] < y0)
        )
        count += 0 if is_off else 1
    return count
