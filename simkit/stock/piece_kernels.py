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
            root[k] = k
            low, high = lower[iy, ix], upper[iy, ix]
            if not high - low > least:
                root[k] = -1
                continue
            for side in range(2):
                j = k - 1 if side == 0 else k - nx
                if (ix if side == 0 else iy) == 0 or root[j] < 0:
                    continue
                other_low = lower[iy, ix - 1] if side == 0 else lower[iy - 1, ix]
                other_high = upper[iy, ix - 1] if side == 0 else upper[iy - 1, ix]
                if not min(high, other_high) - max(low, other_low) > least:
                    continue
                joined += 1
                a = k
                while root[a] != a:
                    root[a] = root[root[a]]
                    a = root[a]
                b = j
                while root[b] != b:
                    root[b] = root[root[b]]
                    b = root[b]
                # The smaller number is the root, so that a root is the first column of its piece.
                if a < b:
                    root[b] = a
                elif b < a:
                    root[a] = b
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
