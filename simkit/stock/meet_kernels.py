"""Which leaves of a tile a ball's line may take something from: sixteen leaves at once, four by four.

The bound is that of hollow_kernels over a leaf, with a slope p for each: that of what stands in it, a plane
that nothing there is above (shave_kernels.plane_of).  Where a line comes nowhere under that plane it
takes nothing.  Beside it stand, as worth_kernels and lose_kernels have them for one leaf at a time, whether
the line is nowhere nearer to any place of a leaf than at its start, and whether nowhere nearer than at its
end: the place that counts, u - shift q with q^2 = R^2 - w^2, is least and most for the outermost u and w.

Rounding is that of bound_kernels, but for the numbers of a leaf, which are float32 here: R / sqrt(1 + p^2) is
off by 4 e of itself, the height of the contact less p v, which comes of it, by 8 e R (1 + |p|), e = 2^-24.
The margin holds twice what is there.
Twin: tests/stock/test_chain.py takes the sweep of every line over every leaf.
"""

import math

import numpy as np

from simkit._jit import bound_kernel, loop_kernel
from simkit.stock.list_kernels import BIG
from simkit.stock.lose_kernels import LEAF
from simkit.stock.lose_kernels import WIDE as COLUMNS
from simkit.stock.shave_kernels import plane_of

WIDE, SIDE = 16, 4  # leaves in a vector, and in its rows and columns
# Rows of a vector: middle and half extent of each leaf, slopes of the plane and its height, what follows from
# these, what is found, and the names of the leaves.
AT_X, AT_Y, HALF_X, HALF_Y, SLOPE_X, SLOPE_Y, MOST = (WIDE * k for k in range(7))
HOLLOW, OVER, FOOT, SLOPES = (WIDE * k for k in range(7, 11))
UNDER, BEHIND, AHEAD, NAME, KIND = (WIDE * k for k in range(11, 16))
VECTOR = 16 * WIDE
# What a line is told by: start, height there, direction, length, slope, shift, how far its end is from the
# start (the length is that near the tile), and what bounds are lowered by: the margin, its square, the tie.
LINE_X, LINE_Y, LINE_H, LINE_UX, LINE_UY, LINE_LENGTH, LINE_SLOPE, LINE_SHIFT = range(8)
LINE_FULL, LINE_MARGIN, LINE_MORE, LINE_TIE = range(8, 12)
LINE_NUMBERS = 12
ROUNDING = 2.0**-24


@bound_kernel
def settle(about, vector, radius):
    """Write what follows from the planes of the leaves of a vector."""
    one, radius = np.float32(1.0), np.float32(radius)
    at = np.uint64(vector) * np.uint64(VECTOR)
    for lane in range(np.uint64(WIDE)):
        i = at + lane
        px, py = about[i + np.uint64(SLOPE_X)], about[i + np.uint64(SLOPE_Y)]
        p2 = px * px + py * py
        root = math.sqrt(one + p2)
        hollow = radius / root
        about[i + np.uint64(HOLLOW)] = hollow
        about[i + np.uint64(OVER)] = root / radius
        about[i + np.uint64(FOOT)] = (radius - hollow) - p2 * hollow - about[i + np.uint64(MOST)]
        about[i + np.uint64(SLOPES)] = one + abs(px) + abs(py)


@loop_kernel
def level_leaf(about, cells, leaf, on, cell, top, steepest):
    """Write the plane of one leaf; on: where its cells are."""
    slope_x, slope_y, most = plane_of(cells, on, np.float32(steepest * cell))
    i = leaf // np.uint64(WIDE) * np.uint64(VECTOR) + leaf % np.uint64(WIDE)
    over = np.float32(1.0 / cell)
    about[i + np.uint64(SLOPE_X)], about[i + np.uint64(SLOPE_Y)] = slope_x * over, slope_y * over
    about[i + np.uint64(MOST)] = most - np.float32(top)


@bound_kernel
def meet(about, vector, line, radius, half):
    """Write UNDER, BEHIND, AHEAD of the leaves of a vector: zero or less where it is so.

    Whether the line may come under the plane of a leaf; whether the place that counts is its start for all of
    a leaf; whether it is its end.  half: from the middle of a leaf to its corner, at most.
    """
    zero, half_of = np.float32(0.0), np.float32(0.5)
    radius = np.float32(radius)
    ax, ay, ah = line[LINE_X], line[LINE_Y], line[LINE_H]
    ux, uy, length = line[LINE_UX], line[LINE_UY], line[LINE_LENGTH]
    slope, shift, full = line[LINE_SLOPE], line[LINE_SHIFT], line[LINE_FULL]
    margin, more, tie = line[LINE_MARGIN], line[LINE_MORE], line[LINE_TIE]
    far = radius + np.float32(half) + margin
    far2, r2 = far * far, radius * radius
    size_x, size_y = abs(ux), abs(uy)
    low_h = ah - tie
    at = np.uint64(vector) * np.uint64(VECTOR)
    for lane in range(np.uint64(WIDE)):
        i = at + lane
        px, py = about[i + np.uint64(SLOPE_X)], about[i + np.uint64(SLOPE_Y)]
        half_x, half_y = about[i + np.uint64(HALF_X)], about[i + np.uint64(HALF_Y)]
        hollow, over = about[i + np.uint64(HOLLOW)], about[i + np.uint64(OVER)]
        bx, by = ax - about[i + np.uint64(AT_X)], ay - about[i + np.uint64(AT_Y)]
        along, across = -(bx * ux + by * uy), abs(by * ux - bx * uy)
        # How far the middle is from the path.
        e = along - min(max(along, zero), length)
        away2 = e * e + across * across
        # hollow_kernels.hollow_bounds.
        vx, vy = bx + px * hollow, by + py * hollow
        m = slope - (px * ux + py * uy)
        s = min(max(-(vx * ux + vy * uy) - m * hollow, zero), length)
        qx, qy = vx + s * ux, vy + s * uy
        ex, ey = qx - min(max(qx, -half_x), half_x), qy - min(max(qy, -half_y), half_y)
        tilt = m + (ex * ux + ey * uy) * over
        low = low_h - (px * bx + py * by) + about[i + np.uint64(FOOT)] + m * s
        low += half_of * over * (ex * ex + ey * ey) + min(-tilt * s, tilt * (length - s))
        low -= (margin + more * over) * about[i + np.uint64(SLOPES)]
        about[i + np.uint64(UNDER)] = low if away2 <= far2 else BIG
        tall, broad = half_x * size_x + half_y * size_y, half_x * size_y + half_y * size_x + margin
        widest, nearest = across + broad, max(across - broad, zero)
        q0 = shift * math.sqrt(max(r2 - widest * widest, zero))
        q1 = shift * math.sqrt(max(r2 - nearest * nearest, zero))
        about[i + np.uint64(BEHIND)] = (along + tall + margin) - min(q0, q1)
        about[i + np.uint64(AHEAD)] = full - ((along - tall - margin) - max(q0, q1))


@bound_kernel
def reach_vectors(about, at, line, radius):
    """Write UNDER and BEHIND of sixteen vectors, as of meet, by the boxes round all their leaves.

    UNDER where the line may touch one, BEHIND where its start counts for all of one, roughly.
    """
    zero = np.float32(0.0)
    ax, ay, ux, uy = line[LINE_X], line[LINE_Y], line[LINE_UX], line[LINE_UY]
    along, up = line[LINE_LENGTH] * ux, line[LINE_LENGTH] * uy
    reach, margin = np.float32(radius) + line[LINE_MARGIN], line[LINE_MARGIN]
    least = min(line[LINE_SHIFT], zero) * reach
    x0, x1, y0, y1 = ax + min(along, zero), ax + max(along, zero), ay + min(up, zero), ay + max(up, zero)
    reach2, size_x, size_y = reach * reach, abs(ux), abs(uy)
    for lane in range(np.uint64(WIDE)):
        i = at + lane
        x, y = about[i + np.uint64(AT_X)], about[i + np.uint64(AT_Y)]
        half_x, half_y = about[i + np.uint64(HALF_X)] + margin, about[i + np.uint64(HALF_Y)] + margin
        beside, below = max(max(x0 - x, x - x1) - half_x, zero), max(max(y0 - y, y - y1) - half_y, zero)
        about[i + np.uint64(UNDER)] = beside * beside + below * below - reach2
        u = (x - ax) * ux + (y - ay) * uy
        about[i + np.uint64(BEHIND)] = u + half_x * size_x + half_y * size_y - least


assert (LEAF, COLUMNS) == (4, 8)
