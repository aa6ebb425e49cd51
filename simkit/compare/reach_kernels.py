"""Kernels: grey dilation and erosion of a height map by a round cutter."""

from __future__ import annotations

import numpy as np

from simkit._jit import parallel_kernel, prange


@parallel_kernel
def highest_under(heights, profile, out):
    """Fill out (ny, nx) with the lowest tip height that clears the heights: max of f(x + q) - p(q).

    heights (ny, nx) mm, -inf where nothing stands.  profile (2k + 1, 2k + 1) mm at the offsets of
    cells, +inf outside the cutter, symmetric.
    """
    ny, nx = heights.shape
    k = profile.shape[0] // 2
    for task in prange(ny):
        iy = np.int64(task)  # the loop's own index is unsigned: -iy would wrap
        out[iy, :] = -np.inf
        for dy in range(max(-k, -iy), min(k, ny - 1 - iy) + 1):
            for dx in range(-k, k + 1):
                p = profile[dy + k, dx + k]
                if p == np.inf:
                    continue
                for ix in range(max(0, -dx), min(nx, nx - dx)):
                    v = heights[iy + dy, ix + dx] - p
                    out[iy, ix] = v if v > out[iy, ix] else out[iy, ix]


@parallel_kernel
def lowest_cut(tips, profile, out):
    """Fill out (ny, nx) with what a cutter leaves that visits all tips: min of C(x - q) + p(q)."""
    ny, nx = tips.shape
    k = profile.shape[0] // 2
    for task in prange(ny):
        iy = np.int64(task)  # the loop's own index is unsigned: -iy would wrap
        out[iy, :] = np.inf
        for dy in range(max(-k, -iy), min(k, ny - 1 - iy) + 1):
            for dx in range(-k, k + 1):
                p = profile[dy + k, dx + k]
                if p == np.inf:
                    continue
                for ix in range(max(0, -dx), min(nx, nx - dx)):
                    v = tips[iy + dy, ix + dx] + p
                    out[iy, ix] = v if v < out[iy, ix] else out[iy, ix]
