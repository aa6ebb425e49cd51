"""The sweep of packed moves over the cells of tiles, and over single points.

One thread owns a tile; the moves of a tile run in row order, so every cell meets them in the order in
which the machine makes them.
"""

import math

import numpy as np

from simkit._jit import kernel, parallel_kernel, prange
from simkit.stock.height_kernels import height_at, row_heights
from simkit.stock.pack_kernels import SLACK
from simkit.stock.record_kernels import LENGTH, UX, UY, R, X, Y, is_band, plan_reach


@parallel_kernel
def tile_tops(h, tile):
    """Return the highest value of h (ny, nx) in each tile of `tile` cells, (nty, ntx) float64."""
    ny, nx = h.shape
    nty, ntx = (ny + tile - 1) // tile, (nx + tile - 1) // tile
    tops = np.empty((nty, ntx), np.float64)
    for ty in prange(nty):
        for tx in range(ntx):
            top = -np.inf
            for iy in range(ty * tile, min((ty + 1) * tile, ny)):
                for ix in range(tx * tile, min((tx + 1) * tile, nx)):
                    top = max(top, h[iy, ix])
            tops[ty, tx] = top
    return tops


@kernel
def _row_span(code, a, y):
    """Return x0, x1 between which the record can cover points of the row y (x0 > x1: none)."""
    dy = y - a[Y]
    reach = plan_reach(code, a) + SLACK
    if not is_band(code):
        rest = (a[R] + reach) * (a[R] + reach) - dy * dy
        half = math.sqrt(max(rest, 0.0))
        return (a[X] - half, a[X] + half) if rest >= 0.0 else (1.0, 0.0)
    ux, uy, length = a[UX], a[UY], a[LENGTH]
    # The two round ends, and the band between them where |w| <= reach and 0 <= u <= L.
    first, last = math.inf, -math.inf
    if abs(dy) <= reach:
        half = math.sqrt(reach * reach - dy * dy)
        first, last = -half, half
    end_x = length * ux
    dy_end = dy - length * uy
    if abs(dy_end) <= reach:
        half = math.sqrt(reach * reach - dy_end * dy_end)
        first, last = min(first, end_x - half), max(last, end_x + half)
    if length > 0.0:
        low, high = -math.inf, math.inf
        if abs(uy) > 1e-9:
            p, q = (dy * ux - reach) / uy, (dy * ux + reach) / uy
            low, high = min(p, q), max(p, q)
        elif abs(dy) > reach + 1e-9 * length:
            return 1.0, 0.0
        if abs(ux) > 1e-9:
            p, q = -dy * uy / ux, (length - dy * uy) / ux
            low, high = max(low, min(p, q)), min(high, max(p, q))
        if low <= high:
            first, last = min(first, low), max(last, high)
    return a[X] + first - SLACK, a[X] + last + SLACK


@kernel
def _cell_range(low, high, x0, cell, first, last):
    """Return the cells [i0, i1) inside [first, last) whose centres x0 + (i + 0.5) cell lie in low..high."""
    i0 = math.ceil((low - x0) / cell - 0.5 - 1e-6)
    i1 = math.floor((high - x0) / cell - 0.5 + 1e-6) + 1.0
    return int(max(i0, float(first))), int(min(i1, float(last)))


@kernel
def _lower_row(g, h, owner, iy, first, last, row):
    """Take over the heights g in row iy where they are lower, or as low and of an earlier move."""
    iy = np.uint64(iy)
    for i in range(np.uint64(first), np.uint64(last)):
        before, keeper = h[iy, i], owner[iy, i]
        is_lower = (g[i] < before) | ((g[i] == before) & (row < keeper))
        owner[iy, i] = row if is_lower else keeper
        h[iy, i] = g[i] if is_lower else before


@kernel
def _deepest_in_row(g, h, floor, iy, first, last):
    """Return (depth, i): the greatest depth of material that the heights g take from row iy.

    h: the present surface, floor: the opposite one; both before the cut.  i: the first such place.
    """
    depth, place = np.float32(0.0), first
    for i in range(first, last):
        taken = h[iy, i] - max(g[i], floor[iy, i])
        if taken > depth:
            depth, place = taken, i
    return depth, place


@parallel_kernel
def cut_tiles(
    h, owner, floor, xs, ys, x0, y0, cell, tile, first_tile, last_tile, workers,
    starts, entries, codes, records, boxes, rows, is_rapid, depths, cells, counts,
):  # fmt: skip
    """Sweep the moves of the tiles [first_tile, last_tile) over their cells, in row order.

    h, owner (ny, nx): surface and row that cut it, changed in place; floor (ny, nx): the opposite
    surface in the same heights.  xs (nx,), ys (ny,): cell centres; x0, y0, cell: the lattice.
    starts, entries: from bin_moves; depths, cells: for each entry of these tiles the greatest depth a
    rapid took, and the cell (iy * nx + ix) where.  counts (tiles,): evaluations of a height.
    """
    ny, nx = h.shape
    ntx = (nx + tile - 1) // tile
    first_entry = starts[first_tile]
    for worker in prange(workers):
        g = np.empty(nx, np.float32)
        for t in range(first_tile + worker, last_tile, workers):
            iy_first, ix_first = (t // ntx) * tile, (t % ntx) * tile
            iy_last, ix_last = min(iy_first + tile, ny), min(ix_first + tile, nx)
            count = 0
            for entry in range(starts[t], starts[t + 1]):
                j = entries[entry]
                a = records[j]
                code = codes[j]
                row = rows[j]
                iy0, iy1 = _cell_range(boxes[j, 2], boxes[j, 3], y0, cell, iy_first, iy_last)
                is_checked = is_rapid[j]
                for iy in range(iy0, iy1):
                    y = ys[iy]
                    low, high = _row_span(code, a, y)
                    ix0, ix1 = _cell_range(low, high, x0, cell, ix_first, ix_last)
                    if ix0 >= ix1:
                        continue
                    row_heights(code, a, xs, y, ix0, ix1, g)
                    if is_checked:
                        depth, place = _deepest_in_row(g, h, floor, iy, ix0, ix1)
                        if depth > depths[entry - first_entry]:
                            depths[entry - first_entry] = depth
                            cells[entry - first_entry] = iy * nx + place
                    _lower_row(g, h, owner, iy, ix0, ix1, row)
                    count += ix1 - ix0
            counts[t] = count


@kernel
def gather_contacts(depths, cells, entries, records, codes, rows, h_floor, xs, ys, depth, at):
    """Keep for each move the deepest of its contacts in several tiles, the first cell on ties.

    depths, cells: as left by cut_tiles for `entries`; depth (n,) float32, cell-wise best so far, and
    at (n, 3): x, y and the height h of the lowest material taken, both changed in place.
    """
    nx = xs.shape[0]
    for e in range(entries.shape[0]):
        if not depths[e] > 0.0:
            continue
        j = entries[e]
        row = rows[j]
        iy, ix = cells[e] // nx, cells[e] % nx
        x, y = xs[ix], ys[iy]
        is_first = depths[e] == depth[row] and (y < at[row, 1] or (y == at[row, 1] and x < at[row, 0]))
        if depths[e] > depth[row] or is_first:
            g = np.float32(height_at(codes[j], records[j], x - records[j, X], y - records[j, Y]))
            depth[row] = depths[e]
            at[row, 0], at[row, 1] = x, y
            at[row, 2] = max(g, h_floor[iy, ix])


@parallel_kernel
def lowest_at_points(points, order, first, start, starts, entries, codes, records, rows, heights, owners):
    """Write to heights, owners (n,) the lowest sweep over each point and its row, start and -1 if none.

    points (n, 2), start (n,); order (n,): points sorted by bucket, first (buckets + 1,): where each
    bucket begins in it; starts, entries: the moves of each bucket.
    """
    for bucket in prange(first.shape[0] - 1):
        for place in range(first[bucket], first[bucket + 1]):
            i = order[place]
            x, y = points[i, 0], points[i, 1]
            best, owner = start[i], -1
            for entry in range(starts[bucket], starts[bucket + 1]):
                j = entries[entry]
                g = height_at(codes[j], records[j], x - records[j, X], y - records[j, Y])
                if g < best:
                    best, owner = g, rows[j]
            heights[i], owners[i] = best, owner
