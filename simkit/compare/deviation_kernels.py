"""Kernel: the distance from points to the nearest column of a height field that reaches them."""

from __future__ import annotations

import numpy as np

from simkit._jit import entry_kernel, kernel


@kernel
def _outside(v, low, high):
    """Return how far v lies outside [low, high]."""
    return max(0.0, max(low - v, v - high))


@kernel
def _search_block(px, py, h, best, table, highest, x0, y0, pitch, width, block, by, bx, skip):
    """Return the lesser of best and the squared distance to the columns of one block."""
    top = h - highest[by, bx]
    dz = max(0.0, top)
    ny, nx = table.shape
    iy0, iy1 = by * block, min(ny, (by + 1) * block)
    ix0, ix1 = bx * block, min(nx, (bx + 1) * block)
    gx = _outside(px, x0 + ix0 * pitch, x0 + (ix1 - 1) * pitch + width)
    gy = _outside(py, y0 + iy0 * pitch, y0 + (iy1 - 1) * pitch + width)
    if not gx * gx + gy * gy + dz * dz < best:
        return best
    for iy in range(iy0, iy1):
        dy = _outside(py, y0 + iy * pitch, y0 + iy * pitch + width)
        for ix in range(ix0, ix1):
            if skip[0] <= iy < skip[1] and skip[2] <= ix < skip[3]:
                continue
            dx = _outside(px, x0 + ix * pitch, x0 + ix * pitch + width)
            dz = max(0.0, h - table[iy, ix])
            best = min(best, dx * dx + dy * dy + dz * dz)
    return best


@entry_kernel
def nearest_column(
    first, last, x, y, heights, within, enough, table, highest, x0, y0, pitch, width, block, skip, out
):
    """Fill out[first:last] with the distance from a point to the nearest column, at most within, mm.

    Column (iy, ix) stands on the square of edge `width` with low corner (x0 + ix*pitch,
    y0 + iy*pitch) and fills everything up to table[iy, ix]; -inf: nothing there.
    x, y, heights, within (k,) mm.  enough (k,) mm: once it is known to be no farther than this, what was
    found is the answer.  highest: the highest column of each block of `block` x `block`.
    skip (4,) int64: rows [0], [1] and columns [2], [3] that are left out.
    Blocks are searched in square rings about the point, until a ring is farther than the best.
    """
    by_count, bx_count = highest.shape
    edge = block * pitch
    for p in range(first, last):
        px, py, h = x[p], y[p], heights[p]
        best, done = within[p] * within[p], enough[p] * abs(enough[p])
        cx = int(max(0.0, min(bx_count - 1.0, np.floor((px - x0) / edge))))
        cy = int(max(0.0, min(by_count - 1.0, np.floor((py - y0) / edge))))
        inner_x = min(px - (x0 + cx * edge), x0 + (cx + 1) * edge - px)
        inner_y = min(py - (y0 + cy * edge), y0 + (cy + 1) * edge - py)
        # Squares overhang their pitch never, so a ring is at least this far away.
        inner = max(0.0, min(inner_x, inner_y))
        rings = max(max(cx, bx_count - 1 - cx), max(cy, by_count - 1 - cy))
        for ring in range(rings + 1):
            if ring > 0:
                reach = inner + (ring - 1) * edge
                if reach * reach >= best:
                    break
            if best <= done:
                break
            for by in range(max(0, cy - ring), min(by_count - 1, cy + ring) + 1):
                step = 1 if by in (cy - ring, cy + ring) or ring == 0 else 2 * ring
                for bx in range(cx - ring, cx + ring + 1, step):
                    if 0 <= bx < bx_count and best > done:
                        best = _search_block(
                            px, py, h, best, table, highest, x0, y0, pitch, width, block, by, bx, skip
                        )
        out[p] = np.sqrt(best)
