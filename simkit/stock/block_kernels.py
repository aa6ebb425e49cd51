"""The fast cut of tiles: lists of moves refined from blocks of 16 cells to 8 to 4, then evaluated.

Every block keeps the pieces of moves whose lower bound over it lies below a ceiling of what will be left
there.  The ceiling is a plane: its slope is that of the move b that is lowest at the block's middle among
those that cover the whole block, its height the most that b (or the surface as it is) stands above
that slope.  A move whose bound is nowhere under the ceiling cannot win a cell, and is dropped for
all blocks inside.  Blocks of 4 x 4 cells evaluate b first, take the ceiling from the surface so lowered,
and evaluate what is left of their list.

A value is computed from the record and the cell alone, rounded to float32, and compared as (height, row): so
tiles, threads, windows and the order of the moves leave the bits alone, and dropping moves that cannot win
leaves the field and the owners of the plain sweep (cut_kernels).  A move that could draw is not dropped: the
ceiling carries `tie`, twice the rounding of float32 at the heights at hand, on top of the margins of
the bounds.
"""

import math

import numpy as np

from simkit._jit import kernel, plain_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bound_kernels import (
    CHANCE,
    ENTRY,
    GROUP,
    INPUTS,
    LANES,
    LOWEST,
    RADIUS_AT,
    SLOPE_X,
    SLOPE_Y,
    add_move,
    bounds,
    close_list,
    curve_pieces,
    group_boxes,
    groups_near,
)
from simkit.stock.height_kernels import cell_heights
from simkit.stock.line_kernels import line_ball, line_flat
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
    X,
    Y,
    code_of,
    form_of,
    is_line,
)

LEAF = 4
CELLS = LEAF * LEAF
BALL_LINE, FLAT_LINE = (int(code_of.py_func(LINE_FORM, profile)) for profile in (BALL, FLAT))


@plain_kernel
def _piece(base, k):
    return base + (k // LANES) * GROUP + k % LANES


@plain_kernel
def _lanes(n, group):
    """How many places of a group are in use, filled up to whole vectors of eight."""
    return min(np.uint64(LANES), (n - group * np.uint64(LANES) + np.uint64(7)) & ~np.uint64(7))


@plain_kernel
def _level_height(codes, records, j):
    """Height that a move nowhere comes under, rounding and all, if it is that of the whole move; else -inf.

    A move that starts at its lowest place has g = start + something not negative, in floating point too.
    """
    return records[j, H] if records[j, H] == records[j, LOW] else -math.inf


@plain_kernel
def _keep(
    lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling, to, level, best_entry, first_entry,
    entries, codes, records,
):  # fmt: skip
    """Copy the pieces that come under the ceiling to the list at `to`; return its length.

    level: height of a level flat move that covers the whole block, +inf if there is none, best_entry its
    entry: moves that run later and nowhere come under it can only draw, and lose.
    """
    half_x, half_y, ceiling = np.float32(half_x), np.float32(half_y), np.float32(ceiling)
    lanes, columns = np.uint64(LANES), np.uint64(INPUTS)
    n, at, kept = np.uint64(n), np.uint64(to), np.uint64(0)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        first = np.uint64(base) + group * np.uint64(GROUP)
        some = _lanes(n, group)
        under = np.int32(0)
        for i in range(first, first + some):
            low = lists[i + np.uint64(LOWEST)] - (
                half_x * abs(lists[i + np.uint64(SLOPE_X)] - slope_x)
                + half_y * abs(lists[i + np.uint64(SLOPE_Y)] - slope_y)
            )
            lists[i + np.uint64(CHANCE)] = low
            under |= np.int32(1) if low <= ceiling else np.int32(0)
        if under == 0:
            continue
        for i in range(first, first + some):
            if lists[i + np.uint64(CHANCE)] <= ceiling:
                entry = np.int64(lists[i + np.uint64(ENTRY)])
                if (
                    entry > best_entry
                    and _level_height(codes, records, entries[first_entry + entry]) >= level
                ):
                    continue
                for c in range(columns):
                    lists[at + c * lanes] = lists[i + c * lanes]
                kept += np.uint64(1)
                at += np.uint64(1)
                if kept % lanes == np.uint64(0):
                    at += np.uint64(GROUP) - lanes
    close_list(lists, to, kept)
    return np.int64(kept)


@plain_kernel
def _copy_record(records, j, a):
    """Copy a record to a row of its own: no view, so nothing to count references of in the inner loops."""
    for c in range(np.uint64(a.shape[0])):
        a[c] = records[j, c]


@plain_kernel
def _corner_ceiling(code, records, j, x0, x1, y0, y1, slope_x, slope_y, top, a, corners, g):
    """The most that a straight move stands above a plane of the slope through the middle of a block.

    The lower surface of a convex cutter swept along a line is convex, so the most is at a corner.
    a, corners (8,), g (4,): room to work in.
    """
    corners[0], corners[1], corners[2], corners[3] = x0, x1, x0, x1
    corners[4], corners[5], corners[6], corners[7] = y0, y0, y1, y1
    _copy_record(records, j, a)
    cell_heights(code, a, corners, 4, g)
    rise_x, rise_y = 0.5 * (x1 - x0) * slope_x, 0.5 * (y1 - y0) * slope_y
    low = max(g[0] + (rise_x + rise_y), g[1] + (rise_y - rise_x))
    return max(low, max(g[2] + (rise_x - rise_y), g[3] - (rise_x + rise_y))) - top


@plain_kernel
def _refine(
    lists, base, n, groups, count, to, xs, ys, iy0, iy1, ix0, ix1, tx, ty, top, tie, profile, support, margin,
    first_entry, entries, codes, records, a, corners, some,
):  # fmt: skip
    """Keep the pieces that can win a cell of a block; return how many."""
    xa, xb, ya, yb = xs[ix0], xs[ix1 - 1], ys[iy0], ys[iy1 - 1]
    half_x, half_y = 0.5 * (xb - xa), 0.5 * (yb - ya)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    x, y = 0.5 * (xa + xb) - tx, 0.5 * (ya + yb) - ty
    best = bounds(lists, base, n, groups, count, x, y, half, profile, support, margin)
    slope_x, slope_y, ceiling = np.float32(0.0), np.float32(0.0), 0.0
    level, best_entry = math.inf, np.int64(2**62)
    if best >= 0:
        i = _piece(base, best)
        j = entries[first_entry + np.int64(lists[i + ENTRY])]
        if is_line(codes[j]):
            slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
            ceiling = half_x * abs(slope_x) + half_y * abs(slope_y)
            of_best = _corner_ceiling(
                codes[j], records, j, xa, xb, ya, yb, slope_x, slope_y, top, a, corners, some
            )
            ceiling = min(ceiling, of_best)
        if profile == FLAT and records[j, SLOPE] == 0.0 and is_line(codes[j]):
            level, best_entry = records[j, H], np.int64(lists[i + ENTRY])
    return _keep(
        lists, base, n, groups, count, half_x, half_y, slope_x, slope_y, ceiling + tie, to, level, best_entry,
        first_entry, entries, codes, records,
    )  # fmt: skip


@plain_kernel
def _keep_below(
    lists, base, n, groups, count, to, xs, ys, iy0, iy1, ix0, ix1, tx, ty, ceiling, profile, support, margin,
    first_entry, entries, codes, records, is_checked,
):  # fmt: skip
    """Keep the pieces that come under a level ceiling in a block, if a move is among them whose contacts are
    asked for; return how many, 0 if there is no such move."""
    xa, xb, ya, yb = xs[ix0], xs[ix1 - 1], ys[iy0], ys[iy1 - 1]
    half_x, half_y = 0.5 * (xb - xa), 0.5 * (yb - ya)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    bounds(
        lists,
        base,
        n,
        groups,
        count,
        0.5 * (xa + xb) - tx,
        0.5 * (ya + yb) - ty,
        half,
        profile,
        support,
        margin,
    )
    level = np.float32(0.0)
    kept = _keep(
        lists, base, n, groups, count, half_x, half_y, level, level, ceiling, to, math.inf, np.int64(2**62),
        first_entry, entries, codes, records,
    )  # fmt: skip
    for k in range(kept):
        if is_checked[entries[first_entry + np.int64(lists[_piece(to, k) + ENTRY])]]:
            return kept
    return 0


@plain_kernel
def _evaluate_ball(records, j, row, places, hb, ob):
    j = np.uint64(j)
    ax, ay, h0, radius, rim2 = (
        records[j, X],
        records[j, Y],
        records[j, H],
        records[j, RADIUS],
        records[j, RIM2],
    )
    ux, uy, length, m, shift = (
        records[j, UX],
        records[j, UY],
        records[j, LENGTH],
        records[j, SLOPE],
        records[j, SHIFT],
    )
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(CELLS)] - ay
        g = np.float32(line_ball(dx, dy, h0, radius, rim2, ux, uy, length, m, shift))
        before, keeper = hb[i], ob[i]
        is_lower = (g < before) | ((g == before) & (row < keeper))
        hb[i] = min(g, before)
        ob[i] = row if is_lower else keeper


@plain_kernel
def _evaluate_flat(records, j, row, places, hb, ob):
    j = np.uint64(j)
    ax, ay, h0 = records[j, X], records[j, Y], records[j, H]
    cover2 = records[j, RADIUS] * records[j, RADIUS] + records[j, RIM2]
    ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - ax, places[i + np.uint64(CELLS)] - ay
        g = np.float32(line_flat(dx, dy, h0, cover2, ux, uy, length, m))
        before, keeper = hb[i], ob[i]
        is_lower = (g < before) | ((g == before) & (row < keeper))
        hb[i] = min(g, before)
        ob[i] = row if is_lower else keeper


@plain_kernel
def _lower(g, row, hb, ob):
    """Take over heights where they are lower, or as low and of an earlier move."""
    for i in range(np.uint64(CELLS)):
        before, keeper = hb[i], ob[i]
        is_lower = (g[i] < before) | ((g[i] == before) & (row < keeper))
        hb[i] = min(g[i], before)
        ob[i] = row if is_lower else keeper


@plain_kernel
def _evaluate(codes, rows, records, j, a, places, hb, ob, g):
    """Lower the cells of a leaf by one move: hb heights, ob owners, places their x, then their y."""
    code = codes[j]
    if code == BALL_LINE:
        _evaluate_ball(records, j, rows[j], places, hb, ob)
    elif code == FLAT_LINE:
        _evaluate_flat(records, j, rows[j], places, hb, ob)
    else:
        _copy_record(records, j, a)
        cell_heights(code, a, places, CELLS, g)
        _lower(g, rows[j], hb, ob)


@plain_kernel
def _load(h, owner, xs, ys, iy0, iy1, ix0, ix1, places, hb, ob, off):
    """Copy the cells of a leaf, return its middle and half its extent.

    A leaf at an edge is filled up with copies of its last cells.  off: places seen from the middle.
    """
    mx, my = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    for r in range(LEAF):
        iy = np.uint64(min(iy0 + r, iy1 - 1))
        for c in range(LEAF):
            ix = np.uint64(min(ix0 + c, ix1 - 1))
            i = np.uint64(r * LEAF + c)
            places[i], places[i + np.uint64(CELLS)] = xs[ix], ys[iy]
            off[i], off[i + np.uint64(CELLS)] = xs[ix] - mx, ys[iy] - my
            hb[i], ob[i] = h[iy, ix], owner[iy, ix]
    return mx, my, xs[ix1 - 1] - mx, ys[iy1 - 1] - my


@plain_kernel
def _most_above(hb, slope_x, slope_y, off, some):
    """The most that the surface of a leaf stands above a plane of the slope through its middle."""
    half = np.uint64(CELLS // 2)
    for i in range(half):
        some[i] = max(
            hb[i] - (slope_x * off[i] + slope_y * off[i + np.uint64(CELLS)]),
            hb[i + half] - (slope_x * off[i + half] + slope_y * off[i + half + np.uint64(CELLS)]),
        )
    most = some[0]
    for i in range(half):
        most = max(most, some[i])
    return most


@plain_kernel
def _can_win(low, slope_x, slope_y, hb, off):
    """Whether a bound, as a plane, comes under the surface of a leaf at any of its cells."""
    found = np.int32(0)
    for i in range(np.uint64(CELLS)):
        is_under = low + (slope_x * off[i] + slope_y * off[i + np.uint64(CELLS)]) <= hb[i]
        found |= np.int32(1) if is_under else np.int32(0)
    return found != 0


@plain_kernel
def _store(h, owner, iy0, iy1, ix0, ix1, hb, ob):
    for iy in range(iy0, iy1):
        for ix in range(ix0, ix1):
            i = (iy - iy0) * LEAF + ix - ix0
            h[iy, ix], owner[iy, ix] = hb[i], ob[i]


@plain_kernel
def _leaf(
    lists, base, n, groups, h, owner, xs, ys, iy0, iy1, ix0, ix1, tx, ty, top, tie, profile, support, margin,
    first_entry, entries, codes, rows, records, a, places, hb, ob, off, some,
):  # fmt: skip
    """Lower a leaf by the moves of its list, in any order; return how many were evaluated."""
    mx, my, half_x, half_y = _load(h, owner, xs, ys, iy0, iy1, ix0, ix1, places, hb, ob, off)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    count = (n + LANES - 1) // LANES
    best = bounds(lists, base, n, groups, count, mx - tx, my - ty, half, profile, support, margin)
    slope_x, slope_y, done = np.float32(0.0), np.float32(0.0), np.int32(-1)
    evaluated, level = 0, math.inf
    if best >= 0:
        i = _piece(base, best)
        slope_x, slope_y = lists[i + SLOPE_X], lists[i + SLOPE_Y]
        done = entries[first_entry + np.int64(lists[i + ENTRY])]
        _evaluate(codes, rows, records, done, a, places, hb, ob, some)
        evaluated = 1
        if profile == FLAT and codes[done] == FLAT_LINE and records[done, SLOPE] == 0.0:
            level = records[done, H]
    lift = np.float32(top - tie)
    ceiling = _most_above(hb, slope_x, slope_y, off, some) - lift
    wide, deep = np.float32(half_x), np.float32(half_y)
    last = done
    for group in range(np.uint64(count)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        lanes = _lanes(np.uint64(n), group)
        under = np.int32(0)
        for i in range(first, first + lanes):
            low = lists[i + np.uint64(LOWEST)] - (
                wide * abs(lists[i + np.uint64(SLOPE_X)] - slope_x)
                + deep * abs(lists[i + np.uint64(SLOPE_Y)] - slope_y)
            )
            lists[i + np.uint64(CHANCE)] = low
            under |= np.int32(1) if low <= ceiling else np.int32(0)
        if under == 0:
            continue
        for i in range(first, first + lanes):
            if lists[i + np.uint64(CHANCE)] <= ceiling:
                slope_x1, slope_y1 = lists[i + np.uint64(SLOPE_X)], lists[i + np.uint64(SLOPE_Y)]
                lifted = lists[i + np.uint64(LOWEST)] + lift
                wins = np.int32(0)
                for c in range(np.uint64(CELLS)):
                    plane = lifted + (slope_x1 * off[c] + slope_y1 * off[c + np.uint64(CELLS)])
                    wins |= np.int32(1) if plane <= hb[c] else np.int32(0)
                if wins:
                    j = entries[first_entry + np.int64(lists[i + np.uint64(ENTRY)])]
                    is_late = j > done and _level_height(codes, records, j) >= level
                    if j != done and j != last and not is_late:
                        _evaluate(codes, rows, records, j, a, places, hb, ob, some)
                        evaluated += 1
                        last = j
    if evaluated:
        _store(h, owner, iy0, iy1, ix0, ix1, hb, ob)
    return evaluated


@plain_kernel
def _check_contact(g, floor, up, iy0, iy1, ix0, ix1, nx, hb, depth, cell):
    """Return the greatest depth of material that heights g take from a leaf and the cell, from those so far."""
    for iy in range(iy0, iy1):
        for ix in range(ix0, ix1):
            i = (iy - iy0) * LEAF + ix - ix0
            taken = hb[i] - max(g[i], up * floor[iy, ix])
            place = iy * nx + ix
            if taken > depth or (taken == depth and taken > np.float32(0.0) and place < cell):
                depth, cell = taken, place
    return depth, cell


@plain_kernel
def _leaf_in_order(
    lists, base, n, groups, h, owner, floor, up, xs, ys, iy0, iy1, ix0, ix1, tx, ty, top, tie, profile, support,
    margin, first_entry, entries, codes, rows, records, is_checked, a, places, hb, ob, off, some, depths, cells,
):  # fmt: skip
    """Lower a leaf by the moves of its list in the order in which they run, and note contacts.

    A move that stays above all that is left of the leaf at its moment is passed over.  This is where a
    check that needs the surface as it is at a move's moment belongs: hb is the surface before it.
    depths, cells: of each entry of the tiles at hand the greatest depth taken and the cell where.
    """
    mx, my, half_x, half_y = _load(h, owner, xs, ys, iy0, iy1, ix0, ix1, places, hb, ob, off)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    count = (n + LANES - 1) // LANES
    bounds(lists, base, n, groups, count, mx - tx, my - ty, half, profile, support, margin)
    lift = np.float32(top - tie)
    last, evaluated = np.int32(-1), 0
    for k in range(n):
        i = _piece(base, k)
        j = entries[first_entry + np.int64(lists[i + ENTRY])]
        if j == last or not _can_win(
            lists[i + LOWEST] + lift, lists[i + SLOPE_X], lists[i + SLOPE_Y], hb, off
        ):
            continue
        last = j
        if is_checked[j]:
            entry = np.int64(lists[i + ENTRY])
            _copy_record(records, j, a)
            cell_heights(codes[j], a, places, CELLS, some)
            depths[entry], cells[entry] = _check_contact(
                some, floor, up, iy0, iy1, ix0, ix1, xs.shape[0], hb, depths[entry], cells[entry]
            )
            _lower(some, rows[j], hb, ob)
        else:
            _evaluate(codes, rows, records, j, a, places, hb, ob, some)
        evaluated += 1
    if evaluated:
        _store(h, owner, iy0, iy1, ix0, ix1, hb, ob)
    return evaluated


@plain_kernel
def _block_top(h, iy0, iy1, ix0, ix1):
    most = h[iy0, ix0]
    for iy in range(iy0, iy1):
        for ix in range(ix0, ix1):
            most = max(most, h[iy, ix])
    return most


@kernel
def cut_blocks(
    h, owner, floor, up, xs, ys, cell, tile, first_tile, last_tile, starts, entries, codes, rows, records,
    is_checked, profile, support, tops, depths, cells, counts,
):  # fmt: skip
    """Cut the tiles [first_tile, last_tile) by the moves of one cutter; the one entry to the fast way.

    h, owner (ny, nx): surface and row that cut it, changed in place; floor (ny, nx): the opposite
    surface, in heights up * floor.  xs (nx,), ys (ny,): cell centres, mm; cell mm; tile: cells along its edge.
    starts (tiles + 1,), entries: the moves of each tile as places in codes, rows, records (pack_moves),
    growing.  is_checked: which moves ask for contacts.  support: see bound_kernels.  tops (tiles,)
    float32: highest h of each tile, kept up to date.  depths, cells: for each entry of these tiles the
    greatest depth a checked move took, and the cell (iy * nx + ix) where.  counts (tiles, 2): adds the
    heights evaluated and the bounds tested.
    """
    ny, nx = h.shape
    ntx = (nx + tile - 1) // tile
    fineness = 0.25 * cell
    radius = float(support[RADIUS_AT])
    capacity = 0
    for t in range(first_tile, last_tile):
        n = 0
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            n += 1 if is_line(codes[j]) else curve_pieces(form_of(codes[j]), records, j, fineness)
        capacity = max(capacity, n)
    size = (capacity // LANES + 1) * GROUP
    lists = np.empty(3 * size, np.float32)
    boxes = np.empty((capacity // LANES + 1, 4), np.float32)
    near_ones, every_one = (
        np.empty(capacity // LANES + 1, np.int32),
        np.arange(capacity // LANES + 1).astype(np.int32),
    )
    off, some = np.empty(2 * CELLS, np.float32), np.empty(CELLS, np.float32)
    a, corners = np.empty(records.shape[1], np.float64), np.empty(8, np.float64)
    places, hb, ob = np.empty(2 * CELLS, np.float64), np.empty(CELLS, np.float32), np.empty(CELLS, np.int32)
    first_entry = starts[first_tile]
    for t in range(first_tile, last_tile):
        iy_first, ix_first = (t // ntx) * tile, (t % ntx) * tile
        iy_last, ix_last = min(iy_first + tile, ny), min(ix_first + tile, nx)
        tx, ty = 0.5 * (xs[ix_first] + xs[ix_last - 1]), 0.5 * (ys[iy_first] + ys[iy_last - 1])
        wide, deep = 0.5 * (xs[ix_last - 1] - xs[ix_first]), 0.5 * (ys[iy_last - 1] - ys[iy_first])
        top = float(tops[t])
        near = math.sqrt(wide * wide + deep * deep) + radius * (1.0 + 1e-6) + 1e-6
        n, is_in_order = 0, False
        for entry in range(starts[t], starts[t + 1]):
            j = entries[entry]
            is_in_order |= is_checked[j]
            n = add_move(lists, n, tx, ty, top, near, entry - first_entry, j, codes[j], records, fineness)
        if n == 0:
            continue
        close_list(lists, 0, n)
        far, high = group_boxes(lists, n, boxes)
        margin = 64.0 * 2.0**-24 * (far + wide + deep + radius + high)
        tie = 2.0**-21 * (abs(top) + high + radius)
        tests = 0
        evaluations = 0
        for iy16 in range(iy_first, iy_last, 16):
            for ix16 in range(ix_first, ix_last, 16):
                iy_end, ix_end = min(iy16 + 16, iy_last), min(ix16 + 16, ix_last)
                reach = radius * (1.0 + 1e-6) + margin + 1e-6
                count = groups_near(
                    boxes, n, np.float32(xs[ix16] - tx - reach), np.float32(xs[ix_end - 1] - tx + reach),
                    np.float32(ys[iy16] - ty - reach), np.float32(ys[iy_end - 1] - ty + reach), near_ones,
                )  # fmt: skip
                if count == 0:
                    continue
                found = count * LANES
                if is_in_order:
                    ceiling = _block_top(h, iy16, iy_end, ix16, ix_end) - top + tie
                    n1 = _keep_below(
                        lists, 0, n, near_ones, count, size, xs, ys, iy16, iy_end, ix16, ix_end, tx, ty, ceiling, profile, support,
                        margin, first_entry, entries, codes, records, is_checked,
                    )  # fmt: skip
                    tests += found
                    for iy4 in range(iy16, iy_end if n1 else iy16, LEAF):
                        for ix4 in range(ix16, ix_end, LEAF):
                            iy4_end, ix4_end = min(iy4 + LEAF, iy_end), min(ix4 + LEAF, ix_end)
                            evaluations += CELLS * _leaf_in_order(
                                lists, size, n1, every_one, h, owner, floor, up, xs, ys, iy4, iy4_end, ix4, ix4_end, tx, ty,
                                top, tie, profile, support, margin, first_entry, entries, codes, rows, records, is_checked, a,
                                places, hb, ob, off, some, depths, cells,
                            )  # fmt: skip
                            tests += n1
                    if n1:
                        continue
                n1 = _refine(
                    lists, 0, n, near_ones, count, size, xs, ys, iy16, iy_end, ix16, ix_end, tx, ty, top, tie, profile, support,
                    margin, first_entry, entries, codes, records, a, corners, some,
                )  # fmt: skip
                tests += found
                evaluations += 4
                for iy8 in range(iy16, iy_end if n1 else iy16, 8):
                    for ix8 in range(ix16, ix_end, 8):
                        iy8_end, ix8_end = min(iy8 + 8, iy_end), min(ix8 + 8, ix_end)
                        n2 = _refine(
                            lists, size, n1, every_one, (n1 + LANES - 1) // LANES, 2 * size, xs, ys, iy8, iy8_end, ix8, ix8_end, tx, ty, top, tie,
                            profile, support, margin, first_entry, entries, codes, records, a, corners, some,
                        )  # fmt: skip
                        tests += n1
                        evaluations += 4
                        for iy4 in range(iy8, iy8_end if n2 else iy8, LEAF):
                            for ix4 in range(ix8, ix8_end, LEAF):
                                iy4_end, ix4_end = min(iy4 + LEAF, iy8_end), min(ix4 + LEAF, ix8_end)
                                evaluations += CELLS * _leaf(
                                    lists, 2 * size, n2, every_one, h, owner, xs, ys, iy4, iy4_end, ix4, ix4_end, tx, ty, top,
                                    tie, profile, support, margin, first_entry, entries, codes, rows,
                                    records, a, places, hb, ob, off, some,
                                )  # fmt: skip
                                tests += n2
        counts[t, 0] += evaluations
        counts[t, 1] += tests
        tops[t] = _block_top(h, iy_first, iy_last, ix_first, ix_last)
