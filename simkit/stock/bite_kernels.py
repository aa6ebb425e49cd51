"""What the moves of a tile take from its wood, in the order in which they run.

What a column loses to a move depends on the column and on the moves before it alone, so each leaf of 4 x 8
cells takes its moves one after the other, whatever goes on beside it.  As for the cut (block_kernels), lists
of moves are refined from blocks of 16 cells to 8 to 4 by lower bounds that are planes (bound_kernels): a move
that is nowhere below what stands in a block takes nothing there.  But here nothing may be told from moves
that run later: the ceiling is a plane over what stands now, so long lists are gone through PASS groups at a
time, and a leaf looks at every bound again when its turn comes, over the surface that the moves before it
have left.

A finishing pass is a chain of short lines, and behind the place where one ends and the next begins the
next one takes nothing: both are a ball standing there.  Such pieces are left out of the lists where all of a
block lies behind them (worth_kernels.worth).  That is exact: only rounding could make one lower than the
line before, and where that could be it is run after all (lose_kernels.ball_heights_told).

Arguments that go together go as tuples: field (h, owner, floor, up, xs, ys); moves (first entry at hand,
entries, codes, rows, records, whether each record begins where that before it ends, and in a list the entry
behind its last); cutter (profile, support, and cell_heights and bounds as pointers); tile (middle x, y, top,
tie, margin, and how far from its axis the middle of a cutter reaches); block (iy0, iy1, ix0, ix1); taken
(entries at hand, TAKES); room of a leaf to work in: w (ROOM,), off (2 CELLS,) float32, places (PLACES,)
float64, batch (BATCH,) float32 and its bits.  batched (LANES,) float32: which entries the moves of a group
are.
"""

import math

import numpy as np

from simkit._jit import kernel, late_kernel, loop_kernel
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.bound_kernels import RADIUS_AT
from simkit.stock.leaf_kernels import level_height, winners
from simkit.stock.list_kernels import (
    GROUP,
    LANES,
    POFF,
    add_move,
    close_list,
    copy_pieces,
    curve_pieces,
    extent,
    group_boxes,
    groups_near,
    lanes_of,
    piece_at,
)
from simkit.stock.list_kernels import WIDE as HALF
from simkit.stock.lose_kernels import (
    AT_Y,
    BALL_LINE,
    CELLS,
    FLAT_ARC,
    FLAT_LINE,
    LEAF,
    WIDE,
    ball_heights,
    ball_heights_told,
    flat_arc_heights,
    flat_heights,
    is_behind,
    load,
    store,
)
from simkit.stock.record_kernels import UX, UY, X, Y, form_of, is_line
from simkit.stock.take_kernels import lower
from simkit.stock.told_kernels import add_taken
from simkit.stock.worth_kernels import lowest_planes, plane_over, tell_next, worth

BLOCK = 16  # cells along the edge of the largest blocks of a tile
PART = 8
FEW = 6  # pieces left of a block: to ask its parts about them costs more than it spares, a guess
MIDDLE = 0.1  # of the radius: what edges that do not meet leave uncut, common practice, no source
PASS = 16  # groups of pieces between two looks at what stands
START = np.int64(0)  # of the first list; a literal 0 would be a type of its own, and compiled for again


@loop_kernel
def _refine(lists, base, n, groups, count, to, field, block, tile, cutter, room):
    """Copy the pieces that may take something from a block to the list at `to`, in order; return how many."""
    profile, support, _, bounds = cutter
    _, _, top, tie, margin, _ = tile
    x, y, half_x, half_y = extent(field[4], field[5], block, tile)
    slope_x, slope_y, ceiling = plane_over(field, block, top, room)
    bounds(
        lists, base, n, groups, count, x, y, half_x, half_y, slope_x, slope_y, profile, support, margin, False
    )
    half_x, half_y, ceiling = np.float32(half_x), np.float32(half_y), np.float32(ceiling + tie)
    x, y, radius, margin = np.float32(x), np.float32(y), support[RADIUS_AT], np.float32(margin)
    n, kept = np.uint64(n), np.uint64(0)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        first = np.uint64(base) + group * np.uint64(GROUP)
        bits = worth(
            lists, first, lanes_of(n, group), x, y, half_x, half_y, slope_x, slope_y, ceiling, radius, margin
        )  # fmt: skip
        kept = copy_pieces(lists, first, np.uint32(bits & np.uint32(0xFFFF)), np.uint64(to), kept)
        second = np.uint32(bits >> np.uint32(HALF))
        kept = copy_pieces(lists, first + np.uint64(HALF), second, np.uint64(to), kept)
    close_list(lists, to, kept)
    return np.int64(kept)


@loop_kernel
def _leaf(lists, base, n, groups, field, block, tile, cutter, moves, taken, g, room, planes, batched, chosen):
    """Lower a leaf by the moves of its list, one after the other; return how many were evaluated.

    The moves of a group are tested, and evaluated, one and all before the first is run: what one does to the
    surface then holds up nothing but the lowering itself.  Some are evaluated in vain for it, an eighth.
    """
    first_entry, entries, codes, _, records, follows, last_entry = moves
    profile, support, heights, bounds = cutter
    _, _, top, tie, margin, middle = tile
    w, off, places, batch, _ = room
    x, y, half_x, half_y = extent(field[4], field[5], block, tile)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    count = (n + LANES - 1) // LANES
    slope_x, slope_y, ceiling = plane_over(field, block, top, room)
    bounds(
        lists, base, n, groups, count, x, y, half_x, half_y, slope_x, slope_y, profile, support, margin, True
    )
    ceiling, lift = np.float32(ceiling + tie), np.float32(top - tie)
    wide, deep, radius, margin = (
        np.float32(half_x),
        np.float32(half_y),
        support[RADIUS_AT],
        np.float32(margin),
    )
    near_x, near_y = np.float32(x), np.float32(y)
    x, y = x + tile[0], y + tile[1]
    last, evaluated, is_loaded = np.int32(-1), 0, False
    lowered = np.float32(math.inf)  # what stands nowhere above, so far as level arcs of a flat cutter tell
    # Not a number that the compiler knows: it would write a short loop out, one cell after the other.
    cells = np.uint64(len(g)) & ~np.uint64(7)
    for group in range(np.uint64(count)):
        first = np.uint64(base) + group * np.uint64(GROUP)
        lanes = lanes_of(np.uint64(n), group)
        bits = worth(
            lists, first, lanes, near_x, near_y, wide, deep, slope_x, slope_y, ceiling, radius, margin
        )  # fmt: skip
        if bits == np.uint32(0):
            continue
        tell_next(lists, first, lanes)
        if not is_loaded:
            load(field, block, room, cells)
            is_loaded = True
        bits = winners(planes, lowest_planes(lists, first, bits, lift, planes), w, off, WIDE)
        owed = np.int64(-1)  # an entry left out of the lists that has to be run after all
        while bits != np.uint32(0) or owed >= 0:
            some = np.uint64(0)
            while (bits != np.uint32(0) or owed >= 0) and some < np.uint64(LANES):
                name = owed
                if owed >= 0:
                    owed = np.int64(-1)
                else:
                    name = np.int64(planes[first_of(bits) + np.uint64(3 * LANES)])
                    bits = without_first(bits)
                entry = first_entry + (name ^ (name >> 63))
                j = entries[entry]
                if j <= last:
                    continue  # another piece of a move that has run
                if lowered < np.float32(math.inf) and np.float32(level_height(codes, records, j)) >= lowered:
                    continue
                last, code, at = j, codes[j], some * np.uint64(CELLS)
                after = entry + 1
                if (
                    name >= 0
                    and after < last_entry
                    and follows[j + 1]
                    and entries[after] == j + 1
                    and is_behind(records, j + 1, x, y, half_x, half_y)
                ):
                    if ball_heights_told(records, j, places, np.uint64(0), np.uint64(AT_Y), batch, at):
                        owed = after - first_entry
                elif code == BALL_LINE:
                    ball_heights(records, j, x, y, half_x, half_y, places, batch, at)
                elif code == FLAT_LINE:
                    flat_heights(records, j, places, batch, at)
                elif code == FLAT_ARC:
                    lowered = min(lowered, flat_arc_heights(records, j, x, y, half, places, batch, at))
                else:
                    heights(code, records[j], places, CELLS, g)
                    for c in range(np.uint64(CELLS)):
                        batch[at + c] = g[c]
                batched[some], chosen[some + np.uint64(LANES)] = np.float32(entry - first_entry), j
                some += np.uint64(1)
            taking = np.uint64(0)
            for k in range(some):
                at = k * np.uint64(CELLS)
                chosen[taking] = np.int32(k)
                taking += np.uint64(1) if lower(batched[k], w, batch, at) != np.uint32(0) else np.uint64(0)
            evaluated += np.int64(some)
            for place in range(taking):
                k = np.uint64(chosen[place])
                j = np.uint64(chosen[k + np.uint64(LANES)])
                add_taken(
                    codes[j], records, j, np.uint64(batched[k]), field, block, taken, room,
                    k * np.uint64(CELLS), x, y, half, middle, cells,
                )  # fmt: skip
    if evaluated:
        store(field, block, moves, room)
    return evaluated * CELLS


@kernel
def _is_from_start(records, j, x, y, near):
    """Whether the piece of a line near a tile (list_kernels.add_move) begins where the line does."""
    return (x - records[j, X]) * records[j, UX] + (y - records[j, Y]) * records[j, UY] <= near


@kernel
def pieces_of(entries, codes, records, first, last, cell):
    """How many pieces the moves of some entries come to."""
    n = 0
    for entry in range(first, last):
        j = entries[entry]
        n += 1 if is_line(codes[j]) else curve_pieces(form_of(codes[j]), records, j, 0.25 * cell)
    return n


@kernel
def middle_of(radius, cell):
    """How far from its axis the middle of a cutter reaches, mm: at least the nearest cells."""
    return max(MIDDLE * radius, 0.75 * cell)


@late_kernel
def bite(first, last, field, box, top, cell, cutter, moves, taken, lists, boxes, near, every, g, room, planes,
    batched, chosen,
):  # fmt: skip
    """Lower the tile `box` by the entries [first, last), in order; return how many heights were evaluated.

    top: nothing in the tile stands higher.  lists, boxes, near, every: to work in, for all pieces of these
    entries and two lists of PASS groups more.
    """
    first_entry, entries, codes, rows, records, follows = moves
    _, _, _, _, xs, ys = field
    radius = float(cutter[1][RADIUS_AT])
    iy0, iy1, ix0, ix1 = box
    tx, ty = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    wide, deep = 0.5 * (xs[ix1 - 1] - xs[ix0]), 0.5 * (ys[iy1 - 1] - ys[iy0])
    reach = radius * (1.0 + 1e-6) + 1e-6
    n, before = START, np.int64(-1)
    near_tile = math.sqrt(wide * wide + deep * deep) + reach
    for entry in range(first, last):
        j, n0 = np.int64(entries[entry]), n
        n = add_move(
            lists, n, tx, ty, top, near_tile, entry - first_entry, j, codes[j], records, 0.25 * cell
        )  # fmt: skip
        if n > n0 and follows[j] and before == j - 1 and _is_from_start(records, j, tx, ty, near_tile):
            lists[piece_at(START, n0) + POFF] = -np.float32(0.0)
        before = j
    moves = (first_entry, entries, codes, rows, records, follows, last)
    if n == 0:
        return 0
    close_list(lists, START, n)
    far, high = group_boxes(lists, n, boxes, room[3])
    margin = 64.0 * 2.0**-24 * (far + wide + deep + radius + high)
    # As for the cut, and what the planes of steep surfaces add over a block.
    tie = 2.0**-21 * (abs(top) + high + radius + 32.0 * BLOCK * cell)
    tile = (tx, ty, top, tie, margin, middle_of(radius, cell))
    reach += margin
    n_groups = (n + LANES - 1) // LANES
    list1, list2 = n_groups * GROUP, (n_groups + PASS + 1) * GROUP
    evaluated = 0
    for iy in range(iy0, iy1, BLOCK):
        for ix in range(ix0, ix1, BLOCK):
            block = (iy, min(iy + BLOCK, iy1), ix, min(ix + BLOCK, ix1))
            count = groups_near(
                boxes, n, np.float32(xs[ix] - tx - reach), np.float32(xs[block[3] - 1] - tx + reach),
                np.float32(ys[iy] - ty - reach), np.float32(ys[block[1] - 1] - ty + reach), near,
            )  # fmt: skip
            for at in range(0, count, PASS):
                some = near[at : min(at + PASS, count)]
                n1 = _refine(lists, START, n, some, len(some), list1, field, block, tile, cutter, room)
                if n1 == 0:
                    continue
                count1 = (n1 + LANES - 1) // LANES
                size = BLOCK if n1 <= FEW else PART
                for part_y in range(iy, block[1], size):
                    for part_x in range(ix, block[3], size):
                        part = (part_y, min(part_y + size, block[1]), part_x, min(part_x + size, block[3]))
                        own, n2 = list1, n1
                        if n1 > FEW:
                            own, n2 = (
                                list2,
                                _refine(
                                    lists, list1, n1, every, count1, list2, field, part, tile, cutter, room
                                ),
                            )
                        if n2 == 0:
                            continue
                        for leaf_y in range(part_y, part[1], LEAF):
                            for leaf_x in range(part_x, part[3], WIDE):
                                leaf = (
                                    leaf_y, min(leaf_y + LEAF, part[1]), leaf_x, min(leaf_x + WIDE, part[3])
                                )  # fmt: skip
                                evaluated += _leaf(
                                    lists, own, n2, every, field, leaf, tile, cutter, moves, taken, g,
                                    room, planes, batched, chosen,
                                )  # fmt: skip
    return evaluated
