"""The ceiling over a block of 16: how high the lowest moves of its quarters stand over a slope, at most.

The lists and the tuples of arguments are those of block_kernels.
"""

import math

import numpy as np

from simkit._jit import loop_kernel
from simkit.stock.half_kernels import heights_of_ball
from simkit.stock.list_kernels import (
    ENTRY,
)
from simkit.stock.record_kernels import (
    is_line,
)

MOST_LEAN = 5.0  # a steeper slope tells nothing of the next block


@loop_kernel
def corners_of(field, block, room):
    """Write the corners of the four quarters of a block of 16 to places: quarter by quarter 16 x, then y."""
    _, _, xs, ys = field
    iy0, iy1, ix0, ix1 = block
    places = room[0]
    mid_x, mid_y = min(ix0 + 8, ix1 - 1), min(iy0 + 8, iy1 - 1)
    x = (xs[ix0], xs[max(mid_x - 1, ix0)], xs[mid_x], xs[ix1 - 1])
    y = (ys[iy0], ys[max(mid_y - 1, iy0)], ys[mid_y], ys[iy1 - 1])
    for k in range(4):
        left, low = x[2] if k % 2 else x[0], y[2] if k >= 2 else y[0]
        right, high = x[3] if k % 2 else x[1], y[3] if k >= 2 else y[1]
        i = 4 * k
        places[i], places[i + 1], places[i + 2], places[i + 3] = left, right, left, right
        places[i + 16], places[i + 17], places[i + 18], places[i + 19] = low, low, high, high


@loop_kernel
def _leans(places, corners, leans):
    """Write the slopes of four quarters, by the quadric that fits the heights at their corners best.

    places: of _corners; corners: the heights from 32 on.  A guess for bounds: any slope is right.
    """
    a, s = 0.5 * (places[5] - places[0]), 0.5 * (places[4] - places[1])
    b, t = 0.5 * (places[26] - places[16]), 0.5 * (places[24] - places[18])
    left = right = near_left = near_right = 0.0
    low = high = near_low = near_high = 0.0
    twist = 0.0
    for k in range(4):
        c = 32 + 4 * k
        g0, g1, g2, g3 = corners[c], corners[c + 1], corners[c + 2], corners[c + 3]
        if k % 2:
            near_right += g0 + g2
            right += g1 + g3
        else:
            left += g0 + g2
            near_left += g1 + g3
        if k >= 2:
            near_high += g0 + g1
            high += g2 + g3
        else:
            low += g0 + g1
            near_low += g2 + g3
        sign = 1.0 if k == 0 or k == 3 else -1.0
        twist += sign * (g0 + g1 + g2 + g3)
    along_x = (a * (right - left) + s * (near_right - near_left)) / max(8.0 * (a * a + s * s), 1e-12)
    along_y = (b * (high - low) + t * (near_high - near_low)) / max(8.0 * (b * b + t * t), 1e-12)
    bend_x = (right + left - near_right - near_left) / max(8.0 * (a * a - s * s), 1e-12)
    bend_y = (high + low - near_high - near_low) / max(8.0 * (b * b - t * t), 1e-12)
    mx, my = 0.5 * (a + s), 0.5 * (b + t)
    twist /= max(16.0 * mx * my, 1e-12)
    is_whole = abs(s) < 0.2 * a and abs(t) < 0.2 * b
    for k in range(4):
        x, y = mx if k % 2 else -mx, my if k >= 2 else -my
        lean_x, lean_y = along_x, along_y
        if is_whole:
            lean_x += 2.0 * bend_x * x + twist * y
            lean_y += 2.0 * bend_y * y + twist * x
        is_sure = max(abs(lean_x), abs(lean_y)) < MOST_LEAN
        leans[2 * k] = lean_x if is_sure else 0.0
        leans[2 * k + 1] = lean_y if is_sure else 0.0
    return along_x, along_y


@loop_kernel
def corner_ceiling(lists, bests, x, y, moves, heights, slope_x, slope_y, room, leans):
    """The most that the best moves of four quarters stand above a plane of the slope through (x, y).

    bests: where they are in the list, -1 for none.  Over a quarter a straight move is convex, so a corner is
    the highest; of several moves the one counts that is the lowest there.  +inf if there is none.
    leans (8,): written, the slopes of the quarters as these moves leave them.
    """
    codes, _, records = moves
    places, _, _, _, g, corners, _, _ = room
    for i in range(16):
        corners[i + 32] = math.inf
    for k in range(4):
        corners[k] = math.inf
    before = np.int64(-1)
    for i in bests:
        if i >= 0:
            j = np.int64(lists[i + ENTRY])
            if j != before and is_line(codes[j]):
                before = j
                heights(codes[j], records[j], places, 16, g)
                for k in range(4):
                    most = -math.inf
                    for c in range(4 * k, 4 * k + 4):
                        above = g[c] - (slope_x * (places[c] - x) + slope_y * (places[c + 16] - y))
                        most = max(most, above)
                        corners[c + 32] = min(corners[c + 32], np.float64(g[c]))
                    corners[k] = min(corners[k], most)
    _leans(places, corners, leans)
    return max(max(corners[0], corners[1]), max(corners[2], corners[3]))


@loop_kernel
def quarters_ceiling(lists, bests, x, y, moves, lean_x, lean_y, room, leans):
    """Slope of a ball's block of 16 as the best moves of its quarters leave it, and their ceiling.

    lean_x, lean_y: the slope to take where they tell none.  Returns slope along x and y, and the ceiling.
    """
    codes, _, records = moves
    places, _, _, _, g, corners, _, _ = room
    for i in range(16):
        corners[i + 32] = math.inf
    for k in range(4):
        corners[k] = math.inf
    before, first = np.int64(-1), 0
    for i in bests:
        if i >= 0:
            j = np.int64(lists[i + ENTRY])
            if j != before and is_line(codes[j]):
                before = j
                for c in range(np.uint64(0), np.uint64(16), np.uint64(8)):
                    heights_of_ball(j, records, places, c, np.uint64(16), g, np.uint64(first) + c)
                for c in range(16):
                    corners[c + 32] = min(corners[c + 32], np.float64(g[first + c]))
                first += 16
    along_x, along_y = _leans(places, corners, leans)
    if max(abs(along_x), abs(along_y)) < MOST_LEAN:  # false where it is no number
        lean_x, lean_y = along_x, along_y
    for c in range(16):
        corners[c + 32] = lean_x * (places[c] - x) + lean_y * (places[c + 16] - y)
    for begin in range(0, first, 16):
        for k in range(4):
            most = -math.inf
            for c in range(4 * k, 4 * k + 4):
                most = max(most, g[begin + c] - corners[c + 32])
            corners[k] = min(corners[k], most)
    return lean_x, lean_y, max(max(corners[0], corners[1]), max(corners[2], corners[3]))
