"""Kernel: grey dilation of a height map by a round cutter, with whole groups of offsets left out.

For outputs x and offsets q the dilation is C(x) = max over q of f(x + q) - p(q).  Written about any plane
g (f = f' + g.x) it is C'(x) = max of f'(x + q) - (p(q) - g.q): with the plane fitted to the surface about a
block of outputs, f' hardly changes there, so the highest f' under a group of offsets, less the lowest
p(q) - g.q of the group, bounds what the group can give.  Groups are taken best bound first, and the rest
is left out as soon as the lowest output of the block stands as high as the next bound: near a slope that
is all but the few offsets about the place where the cutter touches.
"""

from __future__ import annotations

import numpy as np

from simkit._jit import entry_kernel, kernel

BLOCK = 16  # outputs along the edge of a block
GROUP = 4  # offsets along the edge of a group, and sources along the edge of a patch with one highest
LOW = -1e5  # mm: stands for "nothing here"; a part is never as large
SAME = 1e-9  # mm: a group that could raise an output by no more is left out


@kernel
def _plane(source, y0, y1, x0, x1, steep):
    """Return the mean rise per row and per column over a window, steps above `steep` left out."""
    gy, gx, ny, nx = 0.0, 0.0, 0, 0
    for y in range(y0, y1):
        for x in range(x0, x1):
            here = source[y, x]
            if y + 1 < y1:
                step = source[y + 1, x] - here
                if abs(step) <= steep:
                    gy += step
                    ny += 1
            if x + 1 < x1:
                step = source[y, x + 1] - here
                if abs(step) <= steep:
                    gx += step
                    nx += 1
    return gy / max(ny, 1), gx / max(nx, 1)


@kernel
def _patch_tops(source, y0, x0, gy, gx, tops):
    """Fill tops with the highest source less the plane, patch by patch from (y0, x0); return the highest."""
    highest = -np.inf
    for a in range(tops.shape[0]):
        for b in range(tops.shape[1]):
            top = -np.inf
            for y in range(GROUP * a, GROUP * (a + 1)):
                base = gy * y + gx * GROUP * b
                for x in range(GROUP):
                    v = source[y0 + y, x0 + GROUP * b + x] - (base + gx * x)
                    top = v if v > top else top
            tops[a, b] = top
            highest = max(highest, top)
    return highest


@kernel
def _bounds(tops, profile, k, first, gy, gx, bounds):
    """Fill bounds (groups along y, along x) with the most that each group of offsets can give.

    first: offset (both axes) of the first group.  Outputs and tops are counted from the plane's own
    origin at the first output; a group that holds no offset of the cutter gets -inf.
    """
    span = BLOCK // GROUP + 1
    for a in range(bounds.shape[0]):
        for b in range(bounds.shape[1]):
            least = np.inf
            for dy in range(max(first + GROUP * a, -k), min(first + GROUP * (a + 1), k + 1)):
                for dx in range(max(first + GROUP * b, -k), min(first + GROUP * (b + 1), k + 1)):
                    tilted = profile[dy + k, dx + k] - gy * dy - gx * dx
                    least = tilted if tilted < least else least
            if least == np.inf:
                bounds[a, b] = -np.inf
                continue
            top = -np.inf
            for i in range(a, a + span):
                for j in range(b, b + span):
                    top = tops[i, j] if tops[i, j] > top else top
            bounds[a, b] = top - least


@kernel
def _raise(source, profile, k, sy, sx, ay, ax, height, width, block):
    """Raise a block of outputs by one group of offsets, first offset (ay, ax).

    Unsigned indices spare the inner loop the test for negative ones.
    """
    tall, wide = np.uint64(height), np.uint64(width)
    for dy in range(max(ay, -k), min(ay + GROUP, k + 1)):
        for dx in range(max(ax, -k), min(ax + GROUP, k + 1)):
            p = profile[dy + k, dx + k]
            if p == np.inf:
                continue
            row, column = np.uint64(sy + dy), np.uint64(sx + dx)
            for y in range(tall):
                for x in range(wide):
                    v = source[row + y, column + x] - p
                    block[y, x] = v if v > block[y, x] else block[y, x]


@kernel
def _sort_falling(values, order):
    """Fill order with the places of values, the greatest first, in steps that shrink (D. L. Shell, 1959)."""
    n = len(order)
    for i in range(n):
        order[i] = i
    gap = 1
    while 3 * gap < n:
        gap = 3 * gap + 1
    while gap > 0:
        for i in range(gap, n):
            one, j = order[i], i
            while j >= gap and values[order[j - gap]] < values[one]:
                order[j] = order[j - gap]
                j -= gap
            order[j] = one
        gap //= 3


@entry_kernel
def dilate(first, last, source, profile, margin, steep, blocks, out):
    """Fill out (ny, nx) with max over q of f(x + q) - p(q), exact to SAME.

    source (ny + 2 margin and a block more, same along x): f, LOW where nothing is; out[y, x] lies over
    source[y + margin, x + margin].  profile (2k + 1, 2k + 1): p at the offsets of cells, +inf outside
    the cutter; margin >= k + 2 GROUP.  steep: steps beyond it do not count for a block's plane.
    blocks (blocks along y, along x) bool: those wanted; the others are filled with LOW.
    Blocks first <= place < last are done.
    """
    ny, nx = out.shape
    k = profile.shape[0] // 2
    around = (k + GROUP - 1) // GROUP * GROUP
    groups = 2 * around // GROUP + 1
    patches = groups + BLOCK // GROUP
    columns = blocks.shape[1]
    for task in range(first, last):
        by = np.int64(task) // columns
        bx = np.int64(task) - by * columns
        y0, x0 = by * BLOCK, bx * BLOCK
        height, width = min(BLOCK, ny - y0), min(BLOCK, nx - x0)
        for y in range(height):
            for x in range(width):
                out[y0 + y, x0 + x] = LOW
        if not blocks[by, bx]:
            continue
        sy, sx = y0 + margin, x0 + margin
        gy, gx = _plane(source, sy, sy + height, sx, sx + width, steep)
        tops = np.empty((patches, patches))
        # From the first offset of the first group; the plane counts from the first output.
        highest = _patch_tops(source, sy - around, sx - around, gy, gx, tops)
        if highest <= LOW / 2:
            continue
        bounds = np.empty((groups, groups))
        _bounds(tops, profile, k, -around, gy, gx, bounds)
        flat = bounds.reshape(groups * groups)
        order = np.empty(groups * groups, np.int64)
        _sort_falling(flat, order)
        block = np.empty((height, width))
        for y in range(height):
            for x in range(width):
                block[y, x] = LOW
        lowest = -np.inf
        for n in order:
            # tops count the plane from (-around, -around): bring the bound to the first output.
            if flat[n] + around * (gy + gx) <= lowest + SAME:
                break
            a = n // groups
            b = n - a * groups
            _raise(source, profile, k, sy, sx, GROUP * a - around, GROUP * b - around, height, width, block)
            lowest = np.inf
            for y in range(height):
                for x in range(width):
                    v = block[y, x] - (gy * y + gx * x)
                    lowest = v if v < lowest else lowest
        for y in range(height):
            for x in range(width):
                out[y0 + y, x0 + x] = block[y, x]
