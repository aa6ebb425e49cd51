"""Which pieces of a group of a list may take something from a block, in the replay.

Arguments that go together are those of bite_kernels.
"""

import math

import numpy as np

from simkit._jit import CAN_PACK, loop_kernel
from simkit.stock.bit_kernels import first_of, not_above_zero, without_first
from simkit.stock.bound_kernels import STEEPEST
from simkit.stock.list_kernels import (
    BIG,
    CHANCE,
    CHANCE_X,
    CHANCE_Y,
    ENTRY,
    LANES,
    LOWEST,
    POFF,
    PSHIFT,
    PUX,
    PUY,
    PX,
    PY,
    SLOPE_X,
    SLOPE_Y,
)
from simkit.stock.list_kernels import WIDE as HALF
from simkit.stock.lose_kernels import highest
from simkit.stock.wide_kernels import count_of, pack_sixteen

# Columns of a list that only the cut needs, for what is asked of a group: how far a piece is over the
# ceiling, whether it lies there at all, and its entry.
OVER, THERE, NAMED = CHANCE, CHANCE_X, CHANCE_Y


@loop_kernel
def plane_over(field, block, top, room):
    """A plane that nothing in a block stands above: slopes, and its height in the middle, counted from `top`.

    Its slope is that of the block's corners, or any other.
    """
    h, _, _, _, xs, ys = field
    _, _, _, batch, bits = room
    iy0, iy1, ix0, ix1 = block
    wide, deep = xs[ix1 - 1] - xs[ix0], ys[iy1 - 1] - ys[iy0]
    a, b, c, d = h[iy0, ix0], h[iy0, ix1 - 1], h[iy1 - 1, ix0], h[iy1 - 1, ix1 - 1]
    slope_x = 0.5 * (b - a + d - c) / wide if wide > 0.0 else 0.0
    slope_y = 0.5 * (c - a + d - b) / deep if deep > 0.0 else 0.0
    slope_x, slope_y = np.float32(slope_x), np.float32(slope_y)
    steepest = np.float32(STEEPEST)
    if not (abs(slope_x) <= steepest and abs(slope_y) <= steepest):
        slope_x, slope_y = np.float32(0.0), np.float32(0.0)
    rise = np.float32(slope_x * np.float32(xs[1] - xs[0])) if wide > 0.0 else np.float32(0.0)
    middle = np.float32(0.5) * np.float32(ix1 - 1 - ix0)
    at = np.uint64(0)
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        beside = slope_y * np.float32(ys[iy] - 0.5 * (ys[iy0] + ys[iy1 - 1]))
        for i in range(np.uint64(ix1 - ix0)):
            batch[at + i] = h[iy, np.uint64(ix0) + i] - rise * (np.float32(i) - middle) - beside
        at += np.uint64(ix1 - ix0)
    most = highest(batch, bits, np.uint64(0), at)
    return slope_x, slope_y, np.float32(most - np.float32(top))


@loop_kernel
def worth(lists, first, lanes, x, y, half_x, half_y, slope_x, slope_y, ceiling, radius, margin):
    """As wide_kernels.under_ceiling, without the pieces that carry on from another and lie beyond it here.

    They take nothing that the move before has not taken (lose_kernels.ball_heights_told).  Such pieces have
    -0 as POFF; x, y: the block's middle, seen from the tile's.  Written: OVER, and THERE, 0 for pieces that
    lie beyond, and for places that are not in use.
    """
    zero, one, far = np.float32(0.0), np.float32(1.0), np.float32(math.inf)
    for lane in range(lanes):
        i = first + lane
        low = lists[i + np.uint64(LOWEST)] - (
            half_x * abs(lists[i + np.uint64(SLOPE_X)] - slope_x)
            + half_y * abs(lists[i + np.uint64(SLOPE_Y)] - slope_y)
        )
        ux, uy = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)]
        dx, dy = x - lists[i + np.uint64(PX)], y - lists[i + np.uint64(PY)]
        ahead = dx * ux + dy * uy + (half_x * abs(ux) + half_y * abs(uy)) + margin
        shift = lists[i + np.uint64(PSHIFT)]
        across, wide = abs(dy * ux - dx * uy), half_x * abs(uy) + half_y * abs(ux) + margin
        w = across + wide if shift > zero else max(across - wide, zero)
        is_beyond = ahead < shift * math.sqrt(max(radius * radius - w * w, zero))
        is_beyond &= math.copysign(one, lists[i + np.uint64(POFF)]) < zero
        over = low - ceiling
        lists[i + np.uint64(OVER)] = far if is_beyond else over
        lists[i + np.uint64(THERE)] = zero if is_beyond | (over != over) else one
    found = not_above_zero(lists, first + np.uint64(OVER))
    if lanes > np.uint64(HALF):
        found |= np.uint32(not_above_zero(lists, first + np.uint64(OVER + HALF)) << np.uint32(HALF))
    return found


@loop_kernel
def tell_next(lists, first, lanes):
    """Write to NAMED the entry of each piece of a group, or ~ of it where the next entry is THERE beside it.

    Whether a ball's line tells what the next one does is then no question: it is asked on its own.
    """
    one = np.float32(1.0)
    for lane in range(lanes):
        i = first + lane
        entry = lists[i + np.uint64(ENTRY)]
        after, is_there = lists[i + np.uint64(ENTRY + 1)], lists[i + np.uint64(THERE + 1)] == one
        is_next = is_there & (after == entry + one) & (lane + np.uint64(1) < lanes)
        lists[i + np.uint64(NAMED)] = -one - entry if is_next else entry


@loop_kernel
def lowest_planes(lists, first, bits, lift, planes):
    """Write bounds, slopes along x and along y, and names of the chosen pieces of a group to `planes`.

    LANES apart; returns how many.  Filled up to whole vectors with what is nowhere low.
    """
    some = np.uint64(0)
    if CAN_PACK:
        for half in range(2):
            begin = first + np.uint64(half * HALF)
            own = np.uint32(np.uint32(bits >> np.uint32(half * HALF)) & np.uint32(0xFFFF))
            pack_sixteen(lists, begin + np.uint64(LOWEST), own, planes, some)
            pack_sixteen(lists, begin + np.uint64(SLOPE_X), own, planes, some + np.uint64(LANES))
            pack_sixteen(lists, begin + np.uint64(SLOPE_Y), own, planes, some + np.uint64(2 * LANES))
            pack_sixteen(lists, begin + np.uint64(NAMED), own, planes, some + np.uint64(3 * LANES))
            some += count_of(own)
    else:
        while bits != np.uint32(0):
            i = first + first_of(bits)
            bits = without_first(bits)
            planes[some] = lists[i + np.uint64(LOWEST)]
            planes[some + np.uint64(LANES)] = lists[i + np.uint64(SLOPE_X)]
            planes[some + np.uint64(2 * LANES)] = lists[i + np.uint64(SLOPE_Y)]
            planes[some + np.uint64(3 * LANES)] = lists[i + np.uint64(NAMED)]
            some += np.uint64(1)
    for i in range((some + np.uint64(15)) & ~np.uint64(15)):
        planes[i] = planes[i] + lift if i < some else BIG
    return some
