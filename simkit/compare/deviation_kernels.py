"""Kernel: the distance from points to the nearest column of a height field that reaches them."""

from __future__ import annotations

import numpy as np

from simkit._jit import entry_kernel, kernel


@entry_kernel
def columns(heights, sign, is_least, block, table, highest, summits):
    """Fill the tables that nearest_column searches, of heights (ny, nx) times sign.

    table (ny, nx): the heights; is_least: of each and the next along x, along y and both the highest.
    highest: of each block of `block` x `block` of these, summits: of so many blocks.
    """
    ny, nx = heights.shape
    highest[:] = -np.inf
    summits[:] = -np.inf
    for iy in range(ny):
        after = min(iy + 1, ny - 1) if is_least else iy
        for ix in range(nx):
            beside = min(ix + 1, nx - 1) if is_least else ix
            top = max(
                max(sign * heights[iy, ix], sign * heights[iy, beside]),
                max(sign * heights[after, ix], sign * heights[after, beside]),
            )
            table[iy, ix] = top
            highest[iy // block, ix // block] = max(highest[iy // block, ix // block], top)
    for by in range(highest.shape[0]):
        for bx in range(highest.shape[1]):
            summits[by // block, bx // block] = max(summits[by // block, bx // block], highest[by, bx])


@kernel
def _outside(v, low, high):
    """Return how far v lies outside [low, high]."""
    return max(0.0, max(low - v, v - high))


@kernel
def _block_gap(px, py, h, top, table, x0, y0, pitch, width, iy0, ix0, block):
    """Return the least that the squared distance from a point to columns up to `top` can be."""
    iy1, ix1 = min(table.shape[0], iy0 + block), min(table.shape[1], ix0 + block)
    gx = _outside(px, x0 + ix0 * pitch, x0 + (ix1 - 1) * pitch + width)
    gy = _outside(py, y0 + iy0 * pitch, y0 + (iy1 - 1) * pitch + width)
    dz = max(0.0, h - top)
    return gx * gx + gy * gy + dz * dz


@kernel
def _column_gap(px, py, h, table, x0, y0, pitch, width, iy, ix):
    """Return the squared distance from a point to a column."""
    dx = _outside(px, x0 + ix * pitch, x0 + ix * pitch + width)
    dy = _outside(py, y0 + iy * pitch, y0 + iy * pitch + width)
    dz = max(0.0, h - table[iy, ix])
    return dx * dx + dy * dy + dz * dz


@kernel
def _search_block(px, py, h, best, table, highest, x0, y0, pitch, width, block, by, bx, skip, found):
    """Return the lesser of best and the squared distance to the columns of one block; found: which it is."""
    iy0, ix0 = by * block, bx * block
    if not _block_gap(px, py, h, highest[by, bx], table, x0, y0, pitch, width, iy0, ix0, block) < best:
        return best
    for iy in range(iy0, min(table.shape[0], iy0 + block)):
        for ix in range(ix0, min(table.shape[1], ix0 + block)):
            if skip[0] <= iy < skip[1] and skip[2] <= ix < skip[3]:
                continue
            gap = _column_gap(px, py, h, table, x0, y0, pitch, width, iy, ix)
            if gap < best:
                best = gap
                found[0], found[1] = iy, ix
    return best


@entry_kernel
def nearest_column(
    first, last, x, y, heights, within, enough, table, highest, summits, x0, y0, pitch, width, block, skip,
    out,
):  # fmt: skip
    """Fill out[first:last] with the distance from a point to the nearest column, at most within, mm.

    Column (iy, ix) stands on the square of edge `width` with low corner (x0 + ix*pitch,
    y0 + iy*pitch) and fills everything up to table[iy, ix]; -inf: nothing there.
    x, y, heights, within (k,) mm.  enough (k,) mm: once it is known to be no farther than this, what was
    found is the answer.  highest: the highest column of each block of `block` x `block`; summits: the
    highest of so many blocks.
    skip (4,) int64: rows [0], [1] and columns [2], [3] that are left out.
    The column nearest to the point before is tried first, then the block under the point; then groups of
    blocks in square rings about it, until a ring is farther than the best.
    """
    by_count, bx_count = highest.shape
    gy_count, gx_count = summits.shape
    edge, wide = block * pitch, block * block
    found = np.full(2, -1, np.int64)
    for p in range(first, last):
        px, py, h = x[p], y[p], heights[p]
        best, done = within[p] * within[p], enough[p] * abs(enough[p])
        if found[0] >= 0:
            best = min(best, _column_gap(px, py, h, table, x0, y0, pitch, width, found[0], found[1]))
        if best > done:
            cy = int(max(0.0, min(by_count - 1.0, np.floor((py - y0) / edge))))
            cx = int(max(0.0, min(bx_count - 1.0, np.floor((px - x0) / edge))))
            best = _search_block(
                px, py, h, best, table, highest, x0, y0, pitch, width, block, cy, cx, skip, found
            )
        cy = int(max(0.0, min(gy_count - 1.0, np.floor((py - y0) / (block * edge)))))
        cx = int(max(0.0, min(gx_count - 1.0, np.floor((px - x0) / (block * edge)))))
        inner_x = min(px - (x0 + cx * block * edge), x0 + (cx + 1) * block * edge - px)
        inner_y = min(py - (y0 + cy * block * edge), y0 + (cy + 1) * block * edge - py)
        # Squares overhang their pitch never, so a ring is at least this far away.
        inner = max(0.0, min(inner_x, inner_y))
        rings = max(max(cx, gx_count - 1 - cx), max(cy, gy_count - 1 - cy))
        for ring in range(rings + 1):
            if ring > 0:
                reach = inner + (ring - 1) * block * edge
                if reach * reach >= best:
                    break
            if best <= done:
                break
            for gy in range(max(0, cy - ring), min(gy_count - 1, cy + ring) + 1):
                step = 1 if gy in (cy - ring, cy + ring) or ring == 0 else 2 * ring
                for gx in range(cx - ring, cx + ring + 1, step):
                    if gx < 0 or gx >= gx_count or best <= done:
                        continue
                    gap = _block_gap(
                        px, py, h, summits[gy, gx], table, x0, y0, pitch, width, gy * wide, gx * wide, wide
                    )
                    if not gap < best:
                        continue
                    for by in range(gy * block, min(by_count, (gy + 1) * block)):
                        for bx in range(gx * block, min(bx_count, (gx + 1) * block)):
                            if best > done:
                                best = _search_block(
                                    px, py, h, best, table, highest, x0, y0, pitch, width, block, by, bx,
                                    skip, found,
                                )  # fmt: skip
        out[p] = np.sqrt(best)
