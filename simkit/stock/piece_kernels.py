"""Kernel of the connected pieces of a field: which columns hold together."""

from __future__ import annotations

import numpy as np

from simkit._jit import entry_kernel


@entry_kernel
def label_columns(lower, upper, least, label):
    """Number the connected pieces of columns; return how many there are, and how many pairs are joined.

    lower, upper (ny, nx) float32 mm: a column holds wood where it is thicker than `least` mm.
    Two columns side by side along x or y are joined where their wood overlaps by more than `least`.
    label (ny, nx) int32: filled in, 0 where there is no wood, else the piece, from 1, in the order of the
    first column of each, row by row.
    Source: union by smallest root with path halving (Tarjan, van Leeuwen 1984).
    """
    ny, nx = lower.shape
    root = np.empty(ny * nx, np.int32)
    joined = 0
    for iy in range(ny):
        for ix in range(nx):
            k = iy * nx + ix
            low, high = lower[iy, ix], upper[iy, ix]
            if not high - low > least:
                root[k] = -1
                continue
            root[k] = k
            has_left = ix > 0 and root[k - 1] >= 0
            if has_left and min(high, upper[iy, ix - 1]) - max(low, lower[iy, ix - 1]) > least:
                joined += 1
                root[k] = root[k - 1]
            if iy == 0 or root[k - nx] < 0:
                continue
            if not min(high, upper[iy - 1, ix]) - max(low, lower[iy - 1, ix]) > least:
                continue
            joined += 1
            if root[k] == root[k - nx]:
                continue
            a = k
            while root[a] != a:
                root[a] = root[root[a]]
                a = root[a]
            b = k - nx
            while root[b] != b:
                root[b] = root[root[b]]
                b = root[b]
            # The smaller number is the root, so that a root is the first column of its piece.
            if a < b:
                root[b] = a
                root[k] = a
            else:
                root[a] = b
                root[k] = b
    count = 0
    for iy in range(ny):
        for ix in range(nx):
            k = iy * nx + ix
            if root[k] < 0:
                label[iy, ix] = 0
            elif root[k] == k:
                count += 1
                label[iy, ix] = count
            else:
                # A parent always comes earlier, so it is numbered already.
                parent = root[k]
                label[iy, ix] = label[parent // nx, parent % nx]
    return count, joined
