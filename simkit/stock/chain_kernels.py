"""What the lines of a ball take from a tile, move by move: for stretches of many of them.

bite_kernels asks of every leaf which of many moves may take something from it, and lowers it by these, leaf
by leaf.  Here every move is asked from which leaves it may take something (meet_kernels), and what it takes
is told once for all of them (shave_kernels): of a finishing pass that touches ten leaves with each move
that saves a third of the time.  GROUP moves are asked before the first of them is run, over the wood as it
stands then; wood only goes, so that leaves out none.  Then all heights are worked out, and the leaves are
lowered by them in the order of the moves.

As there, a line that carries on from another takes nothing behind its start.  Where the heights of the line
before are so near to a change of float32 that rounding decides, it is run after all: it is owed.

Arguments that go together go as tuples: field, moves, cutter, taken as of bite_kernels; tile (middle x, y,
top, how far from there a tip can be and still touch it, radius, half a leaf's diagonal, tie, cell, how far
from its axis the middle of a cutter reaches); yard as of yard_kernels.
"""

import math

import numpy as np

from simkit._jit import CAN_PACK, entry_kernel, kernel, late_kernel, loop_kernel
from simkit.stock.bit_kernels import first_of, not_above_zero, without_first
from simkit.stock.bound_kernels import RADIUS_AT, STEEPEST
from simkit.stock.lose_kernels import (
    AT_Y,
    BALL_LINE,
    BEFORE,
    CELLS,
    FLOOR,
    LEAF,
    LOST,
    WIDE,
    ball_heights_along,
    ball_heights_at,
    ball_heights_told,
)
from simkit.stock.meet_kernels import (
    AHEAD,
    BEHIND,
    KIND,
    LINE_FULL,
    LINE_H,
    LINE_LENGTH,
    LINE_MARGIN,
    LINE_MORE,
    LINE_SHIFT,
    LINE_SLOPE,
    LINE_TIE,
    LINE_UX,
    LINE_UY,
    LINE_X,
    LINE_Y,
    NAME,
    ROUNDING,
    UNDER,
    VECTOR,
    level_leaf,
    meet,
    reach_vectors,
    settle,
)
from simkit.stock.meet_kernels import WIDE as LANES
from simkit.stock.record_kernels import LENGTH, SHIFT, SLOPE, UX, UY, H, X, Y
from simkit.stock.shave_kernels import KEPT, begin_move, note_kinds, shave, told_of_move
from simkit.stock.take_kernels import BOTTOM, DEPTH, FAR, LEAN, NEAR, SPOT, TAKEN, TOP
from simkit.stock.take_kernels import UNDER as UNDER_TIP
from simkit.stock.told_kernels import STEEP, is_over_middle, under_middle
from simkit.stock.wide_kernels import count_of, pack_sixteen
from simkit.stock.yard_kernels import (
    BACK,
    CHANGED,
    END,
    GROUP,
    MAY,
    OWED,
    ROWS,
    TOUCHED,
    bring,
    give_back,
    heights_of,
    leaf_at,
    places_of,
    stride_of,
    vectors_across,
)

LEAST = 100  # moves: for fewer the tile is not brought into its yard, a guess
MIDST = 512.0  # cells: as bite_kernels' tie has it
ALL = np.int32(2**LANES - 1)
PLAIN, AT_END, TOLD = range(3)  # how heights are worked out


@entry_kernel
def are_lines(codes, first, last):
    """Whether the records [first, last) are lines of a ball, all of them."""
    others = 0
    for j in range(np.uint64(first), np.uint64(last)):
        others += 1 if codes[j] != BALL_LINE else 0
    return others == 0


@loop_kernel
def is_chain(codes, entries, first, last, are_all):
    """Whether the entries [first, last) are a ball's lines, and many; are_all: whether all records are."""
    others = 0
    if last - first >= LEAST and not are_all:
        for entry in range(np.uint64(first), np.uint64(last)):
            others += 1 if codes[entries[entry]] != BALL_LINE else 0
    return last - first >= LEAST and others == 0


@loop_kernel
def _ask(row, entry, first, tile, moves, yard, vectors):
    """Find for one move which leaves it may take something from, and which lie behind and ahead of it."""
    _, entries, _, _, records, follows, _ = moves
    tx, ty, top, near, radius, half, tie, _, _ = tile
    about, line, found = yard[1], yard[5], yard[10]
    j = np.uint64(entries[entry])
    # As list_kernels.add_line: only the part of a long move that can touch the tile counts there.
    ax, ay, ah = records[j, X] - tx, records[j, Y] - ty, records[j, H] - top
    ux, uy, length, m = records[j, UX], records[j, UY], records[j, LENGTH], records[j, SLOPE]
    u = -(ax * ux + ay * uy)
    begin, end = max(u - near, 0.0), min(u + near, length)
    is_on = follows[j] & (entry > first) & (u <= near)
    is_on = is_on and np.int64(entries[entry - 1]) == np.int64(j) - 1
    ax, ay, ah = ax + begin * ux, ay + begin * uy, ah + m * begin
    bx, by = ax + (end - begin) * ux, ay + (end - begin) * uy
    high = abs(ah) + abs(m * (end - begin))
    margin = 128.0 * ROUNDING * (2.0 * near + radius + high)
    line[LINE_X], line[LINE_Y], line[LINE_H], line[LINE_UX], line[LINE_UY] = ax, ay, ah, ux, uy
    line[LINE_LENGTH], line[LINE_SLOPE], line[LINE_SHIFT] = end - begin, m, records[j, SHIFT]
    line[LINE_FULL], line[LINE_MARGIN] = length - begin, margin
    line[LINE_MORE], line[LINE_TIE] = margin * margin / (256.0 * ROUNDING), tie + 8.0 * ROUNDING * high
    is_near = (begin <= end) & (max(max(abs(ax), abs(ay)), max(abs(bx), abs(by))) <= 2.0 * near)
    stride = stride_of(vectors)
    may, back = np.uint64(MAY + row) * stride, np.uint64(BACK + row) * stride
    ahead = np.uint64(END + row) * stride
    for vector in range(stride):
        found[may + vector] = found[back + vector] = found[ahead + vector] = np.int32(0)
    for chunk in range(stride // np.uint64(LANES) if is_near else np.uint64(0)):
        i, first_one = (np.uint64(vectors) + chunk) * np.uint64(VECTOR), chunk * np.uint64(LANES)
        reach_vectors(about, i, line, radius)
        bits = not_above_zero(about, i + np.uint64(UNDER))
        behind = not_above_zero(about, i + np.uint64(BEHIND)) if is_on else np.uint32(0)
        while bits != np.uint32(0):
            lane = first_of(bits)
            bits = without_first(bits)
            vector = first_one + lane
            if (behind >> np.uint32(lane)) & np.uint32(1):
                found[back + vector] = ALL
                continue
            meet(about, vector, line, radius, half)
            i = vector * np.uint64(VECTOR)
            found[may + vector] = np.int32(not_above_zero(about, i + np.uint64(UNDER)))
            found[back + vector] = (
                np.int32(not_above_zero(about, i + np.uint64(BEHIND))) if is_on else np.int32(0)
            )
            found[ahead + vector] = np.int32(not_above_zero(about, i + np.uint64(AHEAD)))


@loop_kernel
def _choose(row, n, vectors, yard):
    """Give every leaf that a move is run over a slot, from slot n on; return how many there are then."""
    about, slots, found, of = yard[1], yard[6], yard[10], yard[11]
    most = np.uint64(len(of))
    before, stride = n, stride_of(vectors)
    for vector in range(np.uint64(vectors)):
        at = np.uint64(row) * stride + vector
        bits = np.uint32(found[at + np.uint64(MAY) * stride] & ~found[at + np.uint64(BACK) * stride])
        if bits == np.uint32(0):
            continue
        told, end = found[at + np.uint64(BACK + 1) * stride], found[at + np.uint64(END) * stride]
        i = vector * np.uint64(VECTOR)
        kinds = (np.float32(PLAIN), np.float32(AT_END), np.float32(TOLD))
        note_kinds(about, i + np.uint64(KIND), np.uint32(end), np.uint32(told), kinds)
        if CAN_PACK:
            pack_sixteen(about, i + np.uint64(NAME), bits, slots, n)
            pack_sixteen(about, i + np.uint64(KIND), bits, slots, n + most)
            n += count_of(bits)
        else:
            while bits != np.uint32(0):
                k = i + first_of(bits)
                bits = without_first(bits)
                slots[n], slots[n + most] = about[k + np.uint64(NAME)], about[k + np.uint64(KIND)]
                n += np.uint64(1)
    for slot in range(before, n):
        of[slot] = np.int32(row)
    return n


@loop_kernel
def _owe(row, leaf, vectors, yard):
    """The move behind is run over a leaf after all."""
    found = yard[10]
    at = np.uint64(OWED + row + 1) * stride_of(vectors) + leaf // np.uint64(LANES)
    found[at] = np.int32(found[at] | (np.int32(1) << np.int32(leaf % np.uint64(LANES))))


@loop_kernel
def _work_out(begin, n, vectors, moves, yard):
    """Work out the heights of all slots; begin: the first entry of the group."""
    _, entries, _, _, records, _, _ = moves
    batch, slots, places, of, lots = yard[2], yard[6], yard[7], yard[11], yard[13]
    most = np.uint64(len(of))
    plain, ends, told = np.uint64(0), np.uint64(0), np.uint64(0)
    for slot in range(n):
        kind = slots[slot + most]
        lots[plain] = lots[most + ends] = lots[most + most + told] = np.int32(slot)
        plain += np.uint64(1) if kind == np.float32(PLAIN) else np.uint64(0)
        ends += np.uint64(1) if kind == np.float32(AT_END) else np.uint64(0)
        told += np.uint64(1) if kind == np.float32(TOLD) else np.uint64(0)
    for place in range(told):
        slot = np.uint64(lots[most + most + place])
        leaf = np.uint64(slots[slot])
        on_x, on_y = places_of(leaf, yard)
        row = np.int64(of[slot])
        j = entries[begin + row]
        if ball_heights_told(records, j, places, on_x, on_y, batch, heights_of(slot)):
            _owe(row, leaf, vectors, yard)
    for place in range(ends):
        slot = np.uint64(lots[most + place])
        on_x, on_y = places_of(np.uint64(slots[slot]), yard)
        j = np.uint64(entries[begin + np.int64(of[slot])])
        ball_heights_at(records, j, records[j, LENGTH], places, on_x, on_y, batch, heights_of(slot))
    for place in range(plain):
        slot = np.uint64(lots[place])
        on_x, on_y = places_of(np.uint64(slots[slot]), yard)
        j = entries[begin + np.int64(of[slot])]
        ball_heights_along(records, j, places, on_x, on_y, batch, heights_of(slot))


@kernel
def _under_tip(a, leaf, slot, sides, tile, k, taken, yard):
    """Note of a steep way what stands above its tip in a leaf that is to be lowered by it (told_kernels)."""
    half, middle, spots = tile[5], tile[8], yard[12]
    cells, batch, places = yard[0], yard[2], yard[7]
    on, at = leaf * np.uint64(KEPT), heights_of(slot)
    on_x, on_y = places_of(leaf, yard)
    x = 0.5 * (places[on_x] + places[on_x + np.uint64(WIDE - 1)])
    y = 0.5 * (places[on_y] + places[on_y + np.uint64(CELLS - 1)])
    side = (x - a[X]) * sides[1] - (y - a[Y]) * sides[0]
    if abs(side) <= half + 1e-6 + middle and is_over_middle(a, places, on_x, on_y, middle):
        for i in range(np.uint64(CELLS)):
            spots[i], spots[i + np.uint64(AT_Y)] = places[on_x + i], places[on_y + i]
            stood = cells[on + i]
            lost = stood - max(batch[at + i], cells[on + i + np.uint64(FLOOR)])
            batch[i + np.uint64(LOST)], batch[i + np.uint64(BEFORE)] = max(lost, np.float32(0.0)), stood
        taken[k, UNDER_TIP] = max(taken[k, UNDER_TIP], under_middle(a, np.uint64(0), batch, spots, middle))


@kernel
def _work_out_owed(row, j, n, vectors, moves, yard):
    """Work out the heights of a move over the leaves that are owed, from slot n on; return how many."""
    _, _, _, _, records, _, _ = moves
    batch, slots, places, found = yard[2], yard[6], yard[7], yard[10]
    stride, slot = stride_of(vectors), n
    for vector in range(np.uint64(vectors)):
        at = np.uint64(row) * stride + vector
        bits = np.uint32(found[at + np.uint64(OWED) * stride])
        found[at + np.uint64(OWED) * stride] = np.int32(0)
        while bits != np.uint32(0):
            lane = first_of(bits)
            bits = without_first(bits)
            leaf = vector * np.uint64(LANES) + lane
            on_x, on_y = places_of(leaf, yard)
            is_near = ball_heights_told(records, j, places, on_x, on_y, batch, heights_of(slot))
            if is_near and (found[at + np.uint64(BACK + 1) * stride] >> np.int32(lane)) & np.int32(1):
                _owe(row, leaf, vectors, yard)
            slots[slot] = np.float32(leaf)
            slot += np.uint64(1)
    return slot - n


@loop_kernel
def _run(row, entry, begin, end, n, across, vectors, box, size, nx, moves, taken, tile, yard):
    """Lower the leaves by one move, the heights of the slots [begin, end) and what is owed; return how many.

    Counted are those owed.  n: the first slot that is free.
    """
    first_entry, entries, _, _, records, _, _ = moves
    cells, sums, deep, slots, marks, found = yard[0], yard[3], yard[4], yard[6], yard[8], yard[10]
    stride, owed = stride_of(vectors), np.int32(0)
    for vector in range(stride):
        owed |= found[np.uint64(OWED + row) * stride + vector]
    if begin == end and owed == np.int32(0):
        return 0
    j = np.uint64(entries[entry])
    ux, uy, has_sides = records[j, UX], records[j, UY], records[j, LENGTH] > 0.0
    line = (records[j, X], records[j, Y], ux, uy)
    sides = (ux if has_sides else 0.0, uy if has_sides else 0.0)
    is_steep, k = records[j, SLOPE] < -STEEP or not has_sides, entry - first_entry
    begin_move(sums, deep, marks)
    count = np.uint64(0)
    for lot in range(2):
        if lot == 1:
            if owed == np.int32(0):
                break
            count = _work_out_owed(row, j, n, vectors, moves, yard)
            begin, end = n, n + count
        if is_steep:
            for slot in range(begin, end):
                _under_tip(records[j], np.uint64(slots[slot]), slot, sides, tile, k, taken, yard)
        shave(
            np.float32(k), slots, begin, end, heights_of(np.uint64(0)), yard[9], yard[15], cells, yard[2],
            sums, deep, marks, yard[7], line, sides, found, np.uint64(CHANGED) * stride,
        )  # fmt: skip
    total, lean, near, far, top, depth, cell = told_of_move(sums, deep, marks, np.int64(size))
    if total > 0.0:
        cell = np.int64(cell)
        iy, ix = cell // size, cell % size
        on = leaf_at(iy // LEAF, ix // WIDE, across) * np.uint64(KEPT)
        on += np.uint64(iy % LEAF * WIDE + ix % WIDE)
        taken[k, TAKEN], taken[k, LEAN], taken[k, NEAR], taken[k, FAR] = total, lean, near, far
        taken[k, TOP], taken[k, DEPTH] = top, depth
        # What stands there stands as this move left it.
        taken[k, BOTTOM] = max(cells[on], cells[on + np.uint64(FLOOR)])
        taken[k, SPOT] = (box[0] + iy) * nx + box[2] + ix
    return np.int64(count)


@loop_kernel
def _settle_changed(vectors, top, cell, radius, yard):
    """Take the planes anew of the leaves that were lowered."""
    cells, about, found = yard[0], yard[1], yard[10]
    stride = stride_of(vectors)
    for vector in range(np.uint64(vectors)):
        changed, touched = np.uint64(CHANGED) * stride + vector, np.uint64(TOUCHED) * stride + vector
        bits = np.uint32(found[changed])
        if bits == np.uint32(0):
            continue
        found[touched] = np.int32(found[touched] | found[changed])
        found[changed] = np.int32(0)
        while bits != np.uint32(0):
            leaf = vector * np.uint64(LANES) + first_of(bits)
            bits = without_first(bits)
            level_leaf(about, cells, leaf, leaf * np.uint64(KEPT), cell, top, STEEPEST)
        settle(about, vector, radius)


@late_kernel
def chain(first, last, field, box, top, cell, size, cutter, middle, moves, taken, yard):
    """Lower the tile `box` by the entries [first, last), in order; return how many heights were evaluated.

    top: nothing in the tile stands higher.  size: cells along the edge of a whole tile.  moves: with `last`.
    middle: how far from its axis the middle of a cutter reaches.
    """
    first_entry, entries, codes, rows, records, follows = moves
    h, _, _, _, xs, ys = field
    about, found, ends = yard[1], yard[10], yard[14]
    iy0, iy1, ix0, ix1 = box
    tx, ty = 0.5 * (xs[ix0] + xs[ix1 - 1]), 0.5 * (ys[iy0] + ys[iy1 - 1])
    wide, deep = 0.5 * (xs[ix1 - 1] - xs[ix0]), 0.5 * (ys[iy1 - 1] - ys[iy0])
    radius = float(cutter[1][RADIUS_AT])
    near = math.sqrt(wide * wide + deep * deep) + radius * (1.0 + 1e-6) + 1e-6
    half = 0.5 * cell * math.sqrt((WIDE - 1.0) ** 2 + (LEAF - 1.0) ** 2)
    # As of bite_kernels.bite, but for the height of the move at hand.
    tie = 2.0**-21 * (abs(top) + radius + MIDST * cell)
    tile = (tx, ty, top, near, radius, half, tie, cell, middle)
    moves = (first_entry, entries, codes, rows, records, follows, last)
    across, down = vectors_across(size)
    vectors = across * down
    stride = stride_of(vectors)
    for k in range(np.uint64(len(found))):
        found[k] = np.int32(0)
    bring(field, box, tile, across, down, size, yard)
    for vector in range(np.uint64(vectors)):
        settle(about, vector, radius)
    evaluated = 0
    for begin in range(first, last, GROUP):
        count = min(GROUP, last - begin)
        for row in range(0 if begin == first else 1, count + 1):
            if begin + row < last:
                _ask(row, begin + row, first, tile, moves, yard, vectors)
            else:
                for vector in range(stride):
                    found[np.uint64(BACK + row) * stride + vector] = np.int32(0)
        n = np.uint64(0)
        for row in range(count):
            n = _choose(row, n, vectors, yard)
            ends[np.uint64(row)] = np.int32(n)
        _work_out(begin, n, vectors, moves, yard)
        evaluated += np.int64(n)
        at = np.uint64(0)
        for row in range(count):
            until = np.uint64(ends[np.uint64(row)])
            evaluated += _run(
                row, begin + row, at, until, n, across, vectors, box, size, np.int64(h.shape[1]), moves,
                taken, tile, yard,
            )  # fmt: skip
            at = until
        _settle_changed(vectors, top, cell, radius, yard)
        # The next group begins with the move that was asked last.
        for kind in range(np.uint64(OWED // ROWS + 1)):
            first_row = kind * np.uint64(ROWS) * stride
            for vector in range(stride):
                k = first_row + np.uint64(count) * stride + vector
                found[first_row + vector], found[k] = found[k], np.int32(0)
    give_back(field, box, across, down, moves, yard)
    return evaluated * CELLS
