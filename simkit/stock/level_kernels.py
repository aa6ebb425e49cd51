"""Level moves of a flat cutter in the replay, row by row: no lists, bounds or leaves.

All of such a move is as high, so in a row of cells that nowhere stands higher there is nothing to ask; and
between the first and the last cell that does, whether each is covered is what line_flat or arc_distance2
says of it, and so the same as in a leaf.  What is told of the move is kept for each column of the tile until
its last row.

Arguments that go together are those of bite_kernels; spans: (row (ROW,) float32, columns (KEPT,) float64),
to work in.
"""

import math

import numpy as np

from simkit._jit import kernel, late_kernel, loop_kernel
from simkit.stock.lose_kernels import FLAT_ARC, FLAT_LINE
from simkit.stock.pack_kernels import SLACK
from simkit.stock.record_kernels import LENGTH, LEVEL_ARC_FORM, RADIUS, SENSE, SLOPE, UX, UY, H, R, X, Y
from simkit.stock.row_kernels import (
    CHUNK,
    DEEP,
    ENDS,
    HIGH,
    PLACE,
    SIDE,
    SPAN,
    STOOD,
    SUM,
    find_ends,
    standing,
    take_arc,
    take_line,
)
from simkit.stock.take_kernels import BOTTOM, DEPTH, FAR, LEAN, NEAR, SPOT, TAKEN, TOP, UNDER
from simkit.stock.told_kernels import ABOUT, TURN, about_from, arc_turn, on_arc

OBLIQUE = 0.01  # of a unit direction along y: from here on a row is cut short by how far the cutter reaches


@kernel
def is_level(codes, records, j, k, box, xs, ys, places):
    """Whether record j is a level move of a flat cutter that level_moves takes in this tile.

    Lines, ways straight up or down, which are as high as their lower end; and arcs that the tile lies beside,
    far enough from the centre for its cells to be in order round it.  k, places: as of told_kernels.arc_turn.
    """
    if codes[j] == FLAT_LINE:
        return records[j, SLOPE] == 0.0
    if codes[j] != FLAT_ARC:
        return False
    a = records[j]
    iy0, iy1, ix0, ix1 = box
    wide, deep = 0.5 * (xs[ix1 - 1] - xs[ix0]), 0.5 * (ys[iy1 - 1] - ys[iy0])
    half = math.sqrt(wide * wide + deep * deep)
    dx, dy = 0.5 * (xs[ix0] + xs[ix1 - 1]) - a[X], 0.5 * (ys[iy0] + ys[iy1 - 1]) - a[Y]
    away = math.sqrt(dx * dx + dy * dy)
    if not away > 2.0 * half:
        return False
    _, sweep = arc_turn(LEVEL_ARC_FORM, a, k, places)
    switch, middle = 0.5 * (TURN + sweep), about_from(a, dx, dy)
    middle = middle - TURN if middle > switch else middle
    round_ = 1.05 * half / away + ABOUT  # asin(t) < 1.05 t up to t = 1/2
    return middle + round_ < switch and middle - round_ > switch - TURN


@loop_kernel
def _clear(columns, row, first, last):
    """Nothing is lost by the columns [first, last) yet, nor by any lane."""
    for c in range(np.uint64(first), np.uint64(last)):
        columns[c + np.uint64(SUM)] = columns[c + np.uint64(SIDE)] = 0.0
    for lane in range(np.uint64(CHUNK)):
        row[lane + np.uint64(HIGH)], row[lane + np.uint64(DEEP)] = -np.float32(math.inf), np.float32(0.0)


@kernel
def _under(a, middle, xs, dy, ix, losing, spans):
    """As told_kernels.under_middle, of the row that a way straight down took from last.

    ix: of the first column of the tile; losing: a bit for each cell that lost something.
    """
    row, bits, _ = spans
    most = 0.0
    for c in range(np.uint64(bits[ENDS]), np.uint64(bits[ENDS + 1] + 1)):
        dx, loses = xs[np.uint64(ix) + c] - a[X], (losing >> c) & np.uint64(1)
        if dx * dx + dy * dy <= middle * middle and loses != np.uint64(0):
            most = max(most, np.float64(row[c + np.uint64(STOOD)]) - a[H])
    return most


@kernel
def _tell(has_side, level, field, box, losing, spans, taken, k):
    """Write what is told of entry k but NEAR and FAR; losing: a bit for each column that lost something."""
    _, _, floor, up, _, _ = field
    row, bits, columns = spans
    nx = np.int64(floor.shape[1])
    total, side = 0.0, 0.0
    find_ends(bits, losing)
    for c in range(np.uint64(bits[ENDS]), np.uint64(bits[ENDS + 1] + 1)):
        total += columns[c + np.uint64(SUM)]
        side += columns[c + np.uint64(SIDE)]
    high, deepest, place = -np.float32(math.inf), np.float32(0.0), np.int32(0)
    for lane in range(np.uint64(CHUNK)):
        high = max(high, row[lane + np.uint64(HIGH)])
        deep, its = row[lane + np.uint64(DEEP)], bits[lane + np.uint64(PLACE)]
        if deep > deepest or (deep == deepest and deep > np.float32(0.0) and its < place):
            deepest, place = deep, its
    iy, ix = box[0] + np.int64(place) // SPAN, box[2] + np.int64(place) % SPAN
    taken[k, TAKEN], taken[k, LEAN], taken[k, TOP] = total, side if has_side else 0.0, high
    taken[k, DEPTH], taken[k, SPOT], taken[k, BOTTOM] = deepest, iy * nx + ix, max(level, up * floor[iy, ix])


@late_kernel
def level_moves(first, last, field, box, x0, y0, cell, middle, moves, outer, taken, spans, places):
    """Lower the tile `box` by the entries [first, last), of each of which is_level is true, in their order.

    x0, y0, cell: of the lattice.  middle mm: how far from its axis the middle of a cutter reaches.  outer
    (records, 5): boxes of the moves in plan (pack_kernels).  places: as of told_kernels.arc_turn.  Returns
    how many heights were evaluated.
    """
    first_entry, entries, codes, rows, records, _ = moves
    h, owner, floor, up, xs, ys = field
    iy_first, iy_last, ix_first, ix_last = box
    row, bits, columns = spans
    nx, last_chunk, evaluated = np.uint64(h.shape[1]), ix_last - ix_first - CHUNK, 0
    for entry in range(first, last):
        j = entries[entry]
        k, a, level = entry - first_entry, records[j], np.float32(records[j, H])
        iy0 = max(math.floor((outer[j, 2] - y0) / cell - 0.5), iy_first)
        iy1 = min(math.ceil((outer[j, 3] - y0) / cell - 0.5) + 1, iy_last)
        ix0 = max(math.floor((outer[j, 0] - x0) / cell - 0.5), ix_first)
        ix1 = min(math.ceil((outer[j, 1] - x0) / cell - 0.5) + 1, ix_last)
        is_arc, ax, reach, uy = codes[j] == FLAT_ARC, a[X], a[RADIUS] + SLACK, a[UY]
        is_point = (not is_arc) and a[LENGTH] == 0.0
        is_oblique = (not is_arc) and abs(uy) > OBLIQUE
        lean, aside = a[UX] / uy if is_oblique else 0.0, reach / abs(uy) if is_oblique else 0.0
        inner, beyond = max(a[R] - reach, 0.0), a[R] + reach
        is_any, low_x, low_y, high_x, high_y = False, 0.0, 0.0, 0.0, 0.0
        near, most, losing, is_clear = math.inf, -math.inf, np.uint64(0), False
        first_column = max(min((ix0 - ix_first) & ~(CHUNK - 1), last_chunk), 0)
        for iy in range(iy0, iy1):
            dy = ys[iy] - a[Y]
            # Where the row meets what lies within reach: of the line without ends, or of the circle, left and
            # right of what it leaves in its middle.
            left, right, hole = -math.inf, math.inf, -1.0
            if is_oblique:
                left, right = ax + dy * lean - aside, ax + dy * lean + aside
            elif is_arc:
                across2 = beyond * beyond - dy * dy
                if across2 < 0.0:
                    continue
                left, right = ax - math.sqrt(across2), ax + math.sqrt(across2)
                hole = math.sqrt(max(inner * inner - dy * dy, 0.0))
            q = dy * uy
            for part in range(2 if hole > 0.0 else 1):
                begin = left if part == 0 else ax + hole
                end = right if part == 1 or not hole > 0.0 else ax - hole
                begin, end = (begin - x0) / cell - 0.5, (end - x0) / cell - 0.5
                jx0 = max(np.int64(math.floor(max(begin, ix0 - 1.0))), ix0) - ix_first
                jx1 = min(np.int64(math.ceil(min(end, ix1 + 1.0))) + 1, ix1) - ix_first
                if jx0 >= jx1:
                    continue
                lost = np.uint64(0)
                for c in range(jx0 & ~(CHUNK - 1), jx1, CHUNK):
                    # Those at the end of a tile begin earlier: what is lowered already loses nothing more.
                    at = np.uint64(min(c, last_chunk))
                    place, ix = np.uint64(iy) * nx + np.uint64(ix_first) + at, np.uint64(ix_first) + at
                    if standing(h, place, level) == np.uint64(0):
                        continue
                    if not is_clear:
                        _clear(columns, row, first_column, ix1 - ix_first)
                        is_clear = True
                    evaluated += CHUNK
                    nth = np.int32((iy - iy_first) * SPAN + np.int64(at))
                    if is_arc:
                        lost |= (
                            take_arc(
                                h, owner, floor, up, xs, place, ix, records, j, dy, level, rows[j], row,
                                bits, columns, at, nth,
                            )
                            << at
                        )  # fmt: skip
                    else:
                        lost |= (
                            take_line(
                                h, owner, floor, up, xs, place, ix, records, j, dy, level, rows[j], row,
                                bits, columns, at, nth,
                            )
                            << at
                        )  # fmt: skip
                if lost == np.uint64(0):
                    continue
                losing |= lost
                find_ends(bits, lost)
                if is_point and abs(dy) <= middle:
                    taken[k, UNDER] = max(taken[k, UNDER], _under(a, middle, xs, dy, ix_first, lost, spans))
                for which in range(2):
                    dx = xs[np.uint64(ix_first) + np.uint64(bits[ENDS + which])] - ax
                    if not is_arc:
                        # Along a row the way along a line grows or falls from end to end.
                        near, most = min(near, dx * a[UX] + q), max(most, dx * a[UX] + q)
                        continue
                    # In a row angles grow or fall from end to end; over less than half a turn the sign of a
                    # cross product tells which is the greater.
                    if not is_any or a[SENSE] * (low_x * dy - low_y * dx) < 0.0:
                        low_x, low_y = dx, dy
                    if not is_any or a[SENSE] * (high_x * dy - high_y * dx) > 0.0:
                        high_x, high_y = dx, dy
                    is_any = True
        if losing != np.uint64(0):
            _tell(is_arc or not is_point, level, field, box, losing, spans, taken, k)
            if is_arc:
                begin, sweep = arc_turn(LEVEL_ARC_FORM, a, k, places)
                switch = 0.5 * (TURN + sweep)
                near = a[R] * on_arc(a, low_x, low_y, begin, switch)
                most = a[R] * on_arc(a, high_x, high_y, begin, switch)
            taken[k, NEAR], taken[k, FAR] = near, most
    return evaluated
