"""The plain sweep of packed moves over the cells of tiles, and over single points.

Every move is evaluated at every cell that it covers, in row order: the reference for the fast way
(block_kernels), and what its speed is measured against.
"""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.cutters import BALL
from simkit.stock.height_kernels import height_at, row_heights
from simkit.stock.line_kernels import line_ball
from simkit.stock.pack_kernels import SLACK
from simkit.stock.record_kernels import (
    LENGTH,
    LINE_FORM,
    LOW,
    RADIUS,
    RIM2,
    SHIFT,
    SLOPE,
    UX,
    UY,
    H,
    R,
    X,
    Y,
    code_of,
    is_band,
    plan_reach,
)
from simkit.stock.slope_kernels import lowest_near

GROUP, MANY = 16, 256  # points that are looked at together
BALL_LINE = int(code_of.py_func(LINE_FORM, BALL))


@kernel
def highest(h, iy0, iy1, ix0, ix1, some):
    """The highest of a block of cells; some (any length,) float32: room."""
    most, wide = -np.float32(np.inf), np.uint64(len(some))
    for first in range(np.uint64(ix0), np.uint64(ix1), wide):
        # The most of each column first: a most of all one after the other waits for each comparison.
        n = min(wide, np.uint64(ix1) - first)
        for i in range(n):
            some[i] = most
        for iy in range(np.uint64(iy0), np.uint64(iy1)):
            for i in range(n):
                some[i] = max(some[i], h[iy, first + i])
        for i in range(n):
            most = max(most, some[i])
    return most


@entry_kernel
def tile_tops(h, tile, ty0, ty1, tops):
    """Write the highest value of h (ny, nx) in each tile of rows ty0 <= ty < ty1 to tops (nty, ntx)."""
    ny, nx = h.shape
    some = np.empty(64, np.float32)
    for ty in range(ty0, ty1):
        for tx in range(tops.shape[1]):
            rows, columns = min((ty + 1) * tile, ny), min((tx + 1) * tile, nx)
            tops[ty, tx] = highest(h, ty * tile, rows, tx * tile, columns, some)


@kernel
def _row_spans(code, a, ys, iy0, iy1, x0, cell, ix_first, ix_last, low, high):
    """Write to low, high (by row) the cells [low, high) of each row that the record can cover.

    Lines: the two round ends, and the band between them where |w| <= reach and 0 <= u <= L.
    """
    reach = plan_reach(code, a) + SLACK
    ux, uy, length = a[UX], a[UY], a[LENGTH]
    per_cell = 1.0 / cell
    origin = (a[X] - x0) * per_cell - 0.5
    first_cell, last_cell = float(ix_first), float(ix_last)
    is_round = not is_band(code)
    if is_round:
        ux, uy, length, reach = 1.0, 0.0, 0.0, a[R] + reach
    is_across, is_along = abs(ux) > 1e-9, abs(uy) > 1e-9
    over_ux, over_uy = 1.0 / ux if is_across else 0.0, 1.0 / uy if is_along else 0.0
    end_x, end_y, reach2 = length * ux, length * uy, reach * reach
    band = abs(reach * over_uy)
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        dy = ys[iy] - a[Y]
        rest = reach2 - dy * dy
        half = math.sqrt(max(rest, 0.0))
        first = -half if rest >= 0.0 else math.inf
        last = half if rest >= 0.0 else -math.inf
        away = dy - end_y
        rest = reach2 - away * away
        half = math.sqrt(max(rest, 0.0))
        first = min(first, end_x - half if rest >= 0.0 else math.inf)
        last = max(last, end_x + half if rest >= 0.0 else -math.inf)
        middle = dy * ux * over_uy
        left = middle - band if is_along else -math.inf
        right = middle + band if is_along else math.inf
        p, q = -dy * uy * over_ux, (length - dy * uy) * over_ux
        left = max(left, min(p, q) if is_across else -math.inf)
        right = min(right, max(p, q) if is_across else math.inf)
        is_beside = (is_along | (abs(dy) <= reach + 1e-9 * length)) & (left <= right) & (length > 0.0)
        first = min(first, left if is_beside else math.inf)
        last = max(last, right if is_beside else -math.inf)
        i0 = math.ceil(origin + (first - SLACK) * per_cell - 1e-6)
        i1 = math.floor(origin + (last + SLACK) * per_cell + 1e-6) + 1.0
        low[iy] = np.int32(max(min(i0, last_cell), first_cell))
        high[iy] = np.int32(max(min(i1, last_cell), first_cell))


@kernel
def _sweep_ball_line(a, xs, ys, iy0, iy1, low, high, ix_first, ix_last, row, h, owner):
    """Lower the rows by a ball along a line, four cells at a time, the last ones perhaps in vain."""
    ax, ay, h0, radius, rim2 = a[X], a[Y], a[H], a[RADIUS], a[RIM2]
    ux, uy, length, m, shift = a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT]
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        dy = ys[iy] - ay
        if low[iy] >= high[iy]:
            continue
        first = ix_first + ((low[iy] - ix_first) & ~3)
        last = min(first + ((high[iy] - first + 3) & ~3), ix_last)
        for i in range(np.uint64(first), np.uint64(last)):
            g = np.float32(line_ball(xs[i] - ax, dy, h0, radius, rim2, ux, uy, length, m, shift))
            before, keeper = h[iy, i], owner[iy, i]
            is_lower = (g < before) | ((g == before) & (row < keeper))
            owner[iy, i] = row if is_lower else keeper
            h[iy, i] = min(g, before)


@kernel
def _lower_row(g, h, owner, iy, first, last, row):
    """Take over the heights g in row iy where they are lower, or as low and of an earlier move."""
    iy = np.uint64(iy)
    for i in range(np.uint64(first), np.uint64(last)):
        before, keeper = h[iy, i], owner[iy, i]
        is_lower = (g[i] < before) | ((g[i] == before) & (row < keeper))
        owner[iy, i] = row if is_lower else keeper
        h[iy, i] = min(g[i], before)


@entry_kernel
def cut_plain(
    h, owner, xs, ys, x0, y0, cell, tile, first_tile, last_tile, starts, entries, codes, rows, records, boxes,
    tops, counts,
):  # fmt: skip
    """As tile_kernels.cut_blocks, by evaluating every move at every cell that it covers."""
    ny, nx = h.shape
    ntx = (nx + tile - 1) // tile
    g = np.empty(nx, np.float32)
    low, high = np.empty(ny, np.int32), np.empty(ny, np.int32)
    for t in range(first_tile, last_tile):
        iy_first, ix_first = (t // ntx) * tile, (t % ntx) * tile
        iy_last, ix_last = min(iy_first + tile, ny), min(ix_first + tile, nx)
        count = 0
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            a, code, row = records[j], codes[j], rows[j]
            iy0 = max(math.ceil((boxes[j, 2] - y0) / cell - 0.5 - 1e-6), iy_first)
            iy1 = min(math.floor((boxes[j, 3] - y0) / cell - 0.5 + 1e-6) + 1, iy_last)
            if iy0 >= iy1:
                continue
            _row_spans(code, a, ys, iy0, iy1, x0, cell, ix_first, ix_last, low, high)
            for iy in range(iy0, iy1):
                count += high[iy] - low[iy]
            if code == BALL_LINE:
                _sweep_ball_line(a, xs, ys, iy0, iy1, low, high, ix_first, ix_last, row, h, owner)
                continue
            for iy in range(iy0, iy1):
                ix0, ix1 = low[iy], high[iy]
                if ix0 >= ix1:
                    continue
                row_heights(code, a, xs, ys[iy], ix0, ix1, g)
                _lower_row(g, h, owner, iy, ix0, ix1, row)
        counts[t, 0] += count
        top = h[iy_first, ix_first]
        for iy in range(iy_first, iy_last):
            for ix in range(ix_first, ix_last):
                top = max(top, h[iy, ix])
        tops[t] = top


@kernel
def _just_over(height):
    """A height above any that rounds to `height`, or to its neighbour, in float32."""
    return height + (np.float32(1e-6) + np.float32(2.0**-22) * abs(height))


@kernel
def _bounds_of_group(middle_x, middle_y, away, begin, listed, codes, records, kept, low):
    """Keep of the listed moves those that may cut below `begin` near a place; return how many, the lowest.

    Near: within `away` mm.  kept, low (moves,): which are kept, and a height that each lies nowhere below
    there.  kept may be `listed` itself.
    """
    count, lowest = np.uint64(0), np.uint64(0)
    limit = np.float64(_just_over(begin))
    for i in range(np.uint64(listed.shape[0])):
        j = listed[i]
        if records[j, LOW] > limit:
            continue
        bound = lowest_near(
            codes[j], records[j], middle_x - records[j, X], middle_y - records[j, Y], away + SLACK
        )
        if bound <= limit and bound < np.inf:
            kept[count], low[count] = j, bound
            lowest = count if bound < low[lowest] else lowest
            count += np.uint64(1)
    return count, lowest


@kernel
def _middle_of(group, points):
    """Return the middle of the box about some points, and how far they may be from it, mm."""
    x0, y0 = points[group[0], 0], points[group[0], 1]
    x1, y1 = x0, y0
    for i in range(np.uint64(1), np.uint64(group.shape[0])):
        x, y = points[group[i], 0], points[group[i], 1]
        x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
    return 0.5 * (x0 + x1), 0.5 * (y0 + y1), 0.5 * math.hypot(x1 - x0, y1 - y0)


@kernel
def _lowest_of_group(
    group, points, start, listed, codes, records, rows, call, kept, low, places, g, best, heights, owners
):
    """Fill heights and owners of a few points: the moves over all of them in float32, the lowest in float64.

    group (k,): which points.  listed: moves, growing.  call: height_kernels.cell_heights.  kept, low
    (moves,), places (2 k,), best (k,), g (moves * k,): room.  Only moves that may cut near the group are
    asked: first the one that may cut deepest, then from the last, as finishing passes come late, and what
    stays above those asked, but for rounding, need not be evaluated.
    """
    k = np.uint64(group.shape[0])
    top = -np.float32(np.inf)
    for i in range(k):
        places[i], places[k + i] = points[group[i], 0], points[group[i], 1]
        heights[group[i]], owners[group[i]] = start[group[i]], -1
        best[i] = np.float32(start[group[i]])
        top = max(top, best[i])
    middle_x, middle_y, away = _middle_of(group, points)
    count, deepest = _bounds_of_group(middle_x, middle_y, away, top, listed, codes, records, kept, low)
    if count == 0:
        return
    kept[deepest], kept[count - 1] = kept[count - 1], kept[deepest]
    low[deepest], low[count - 1] = low[count - 1], low[deepest]
    asked = np.uint64(0)
    for back in range(count):
        entry = count - np.uint64(1) - back
        if low[entry] > _just_over(top):
            continue
        j = kept[entry]
        at = asked * k
        call(codes[j], records[j], places, np.int64(k), g[at : at + k])
        top = -np.float32(np.inf)
        for i in range(k):
            best[i] = min(best[i], g[at + i])
            top = max(top, best[i])
        # Those asked take the places of those looked through, from the end.
        kept[count - np.uint64(1) - asked] = j
        asked += np.uint64(1)
    for n in range(asked):
        j = kept[count - np.uint64(1) - n]
        for i in range(k):
            if g[n * k + i] > _just_over(best[i]):
                continue
            p = group[i]
            height = height_at(
                codes[j], records[j], points[p, 0] - records[j, X], points[p, 1] - records[j, Y]
            )
            if height < heights[p] or (height == heights[p] and rows[j] < owners[p]):
                heights[p], owners[p] = height, rows[j]


@entry_kernel
def lowest_at_points(
    points, order, first, bucket0, bucket1, start, starts, entries, codes, records, rows, call, heights,
    owners,
):  # fmt: skip
    """Write to heights, owners (n,) the lowest sweep over each point and its row, start and -1 if none.

    points (n, 2), start (n,); order (n,): points sorted by bucket, first (buckets + 1,): where each
    bucket begins in it; starts, entries: the moves of each bucket, growing.  Buckets bucket0 <= b < bucket1
    are done.  call: height_kernels.cell_heights as a pointer.
    Points near each other in `order` are looked at together, best where they are so in plan: of the moves of
    a bucket those that may cut over MANY of its points are kept, and of these those over GROUP of them.
    """
    most = 1
    for bucket in range(bucket0, bucket1):
        if first[bucket + 1] > first[bucket]:
            most = max(most, starts[bucket + 1] - starts[bucket])
    places, best = np.empty(2 * GROUP, np.float64), np.empty(GROUP, np.float32)
    g = np.empty(most * GROUP, np.float32)
    some, kept, low = np.empty(most, np.int32), np.empty(most, np.int32), np.empty(most, np.float64)
    for bucket in range(bucket0, bucket1):
        for part in range(first[bucket], first[bucket + 1], MANY):
            last = min(part + MANY, first[bucket + 1])
            listed = entries[starts[bucket] : starts[bucket + 1]]
            if last - part > 2 * GROUP:
                many = order[part:last]
                top = -np.float32(np.inf)
                for i in range(many.shape[0]):
                    top = max(top, np.float32(start[many[i]]))
                middle_x, middle_y, away = _middle_of(many, points)
                count, _ = _bounds_of_group(middle_x, middle_y, away, top, listed, codes, records, some, low)
                listed = some[:count]
            for place in range(part, last, GROUP):
                group = order[place : min(place + GROUP, last)]
                _lowest_of_group(
                    group, points, start, listed, codes, records, rows, call, kept, low, places, g, best,
                    heights, owners,
                )  # fmt: skip
