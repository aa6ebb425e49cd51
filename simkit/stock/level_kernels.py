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
from simkit.stock.arc_kernels import arc_distance2
from simkit.stock.line_kernels import line_flat
from simkit.stock.lose_kernels import FLAT_ARC, FLAT_LINE, ON_PATH
from simkit.stock.pack_kernels import SLACK
from simkit.stock.record_kernels import (
    EX,
    EY,
    LENGTH,
    LEVEL_ARC_FORM,
    RADIUS,
    RIM2,
    SENSE,
    SLOPE,
    SX,
    SY,
    UX,
    UY,
    WIDTH,
    H,
    R,
    X,
    Y,
)
from simkit.stock.told_kernels import (
    ABOUT,
    BOTTOM,
    DEPTH,
    FAR,
    LEAN,
    NEAR,
    SPOT,
    TAKEN,
    TOP,
    TURN,
    UNDER,
    about_from,
    arc_turn,
    on_arc,
)

SPAN = 128  # columns of a tile at most
# Places of a row's numbers: what stands, what the other side leaves, the move's heights and what is lost.
STANDS, GROUND, COMES, LOST = (SPAN * k for k in range(4))
ROW = 4 * SPAN
# Of each column: what it lost, and of that on the right less on the left; the least and the most way along
# the line that a row adds to it; the highest wood; the most that one cell lost, and in which row; and how
# far a cell lies beside the path, or what else tells on which side.
SUM, SIDE, NEAREST, FARTHEST, HIGH, DEEP, DEEP_ROW, ASIDE = (SPAN * k for k in range(8))
KEPT = 8 * SPAN
UNSURE = 1e-8  # mm2: more than rounding makes of squares of distances, for places up to some metres away
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
def _whole(first, last, size):
    """A part of a row of `size` cells, so much longer that loops over it fill whole vectors."""
    return first & ~15, min((last + 15) & ~15, size)


@loop_kernel
def _standing(h, iy, ix0, ix1, level):
    """The first cell of [ix0, ix1) in a row that stands higher than a level, and the one behind the last."""
    first, last = np.int32(SPAN), np.int32(0)
    for i in range(np.uint32(ix1 - ix0)):
        is_over = h[iy, np.uint64(ix0) + np.uint64(i)] > level
        low, high = np.int32(i) if is_over else np.int32(SPAN), np.int32(i + 1) if is_over else np.int32(0)
        first = np.int32(low if low < first else first)
        last = np.int32(high if high > last else last)
    return first, last


@loop_kernel
def _heights_arc(a, dy, level, xs, ix0, n, row):
    """Write the heights of a level arc over n cells of a row to `row`."""
    ax, cover2, r, far = a[X], a[RADIUS] * a[RADIUS] + a[RIM2], a[R], np.float32(math.inf)
    sx, sy, ex, ey, sense, width = a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH]
    for i in range(n):
        d2 = arc_distance2(xs[ix0 + i] - ax, dy, r, sx, sy, ex, ey, sense, width)
        row[i + np.uint64(COMES)] = level if d2 <= cover2 else far


@loop_kernel
def _heights_line(a, dy, level, xs, ix0, n, row):
    """Write the heights of a level line over n cells of a row to `row`.

    Covered is what lies within reach of the line, which tells line_flat's answer without its root but where
    rounding might decide; there line_flat is asked.
    """
    ax, h0, ux, uy, length = a[X], a[H], a[UX], a[UY], a[LENGTH]
    cover2, far, unsure = a[RADIUS] * a[RADIUS] + a[RIM2], np.float32(math.inf), np.int32(0)
    for i in range(n):
        dx = xs[ix0 + i] - ax
        u, w = dx * ux + dy * uy, dy * ux - dx * uy
        e = u - min(max(u, 0.0), length)
        beyond = e * e + w * w - cover2
        row[i + np.uint64(COMES)] = level if beyond <= 0.0 else far
        unsure = np.int32(unsure | (np.int32(1) if abs(beyond) < UNSURE else np.int32(0)))
    if unsure != np.int32(0):
        for i in range(n):
            g = line_flat(xs[ix0 + i] - ax, dy, h0, cover2, ux, uy, length, 0.0)
            row[i + np.uint64(COMES)] = level if g < math.inf else far


@loop_kernel
def _lower_row(keeper, field, iy, ix0, n, row):
    """Lower n cells of a row from ix0 on to the heights in `row`; write there what stood and what is lost.

    Returns the first cell that loses something and the one behind the last, counted from ix0.  In loops of
    few arrays, as lose_kernels.load.
    """
    h, owner, floor, up, _, _ = field
    zero = np.float32(0.0)
    for i in range(n):
        row[i + np.uint64(STANDS)] = h[iy, ix0 + i]
    for i in range(n):
        row[i + np.uint64(GROUND)] = up * floor[iy, ix0 + i]
    for i in range(n):
        before, to, ground = row[i + np.uint64(STANDS)], row[i + np.uint64(COMES)], row[i + np.uint64(GROUND)]
        loses = before - (to if to > ground else ground)
        row[i + np.uint64(LOST)] = loses if loses > zero else zero
    first, last = np.int32(SPAN), np.int32(0)
    for k in range(np.uint32(n)):
        loses = row[np.uint64(k) + np.uint64(LOST)] > zero
        low, high = np.int32(k) if loses else np.int32(SPAN), np.int32(k + 1) if loses else np.int32(0)
        first = np.int32(low if low < first else first)
        last = np.int32(high if high > last else last)
    for i in range(n):
        before, to = row[i + np.uint64(STANDS)], row[i + np.uint64(COMES)]
        h[iy, ix0 + i] = to if to < before else before
    for i in range(n):
        is_low = row[i + np.uint64(COMES)] < row[i + np.uint64(STANDS)]
        owner[iy, ix0 + i] = keeper if is_low else owner[iy, ix0 + i]
    return first, last


@loop_kernel
def _add_row(is_arc, a, xs, dy, nth, ix0, at, n, row, columns):
    """Add what n cells of a row, from ix0 on, lost to what is kept of their columns, from `at` on.

    dy: of the row, from where Y of the record is.  nth: which row of the tile it is.
    """
    far, none, ax = np.float64(math.inf), np.float32(0.0), a[X]
    q = 0.0
    if is_arc:
        round_, base = a[SENSE], -a[SENSE] * a[R] * a[R]
        for i in range(n):
            dx = xs[ix0 + i] - ax
            columns[at + i + np.uint64(ASIDE)] = round_ * (dx * dx + dy * dy) + base
    else:
        q, across, beside = dy * a[UY], a[UY], dy * -a[UX]
        for i in range(n):
            columns[at + i + np.uint64(ASIDE)] = (xs[ix0 + i] - ax) * across + beside
    for i in range(n):
        lost, c = np.float64(row[i + np.uint64(LOST)]), at + i
        s = columns[c + np.uint64(ASIDE)]
        loses = row[i + np.uint64(LOST)] > none
        columns[c + np.uint64(SUM)] += lost
        columns[c + np.uint64(SIDE)] += lost if s > ON_PATH else (-lost if s < -ON_PATH else 0.0)
        near, most = q if loses else far, q if loses else -far
        known = columns[c + np.uint64(NEAREST)]
        columns[c + np.uint64(NEAREST)] = near if near < known else known
        known = columns[c + np.uint64(FARTHEST)]
        columns[c + np.uint64(FARTHEST)] = most if most > known else known
        high, known = np.float64(row[i + np.uint64(STANDS)]) if loses else -far, columns[c + np.uint64(HIGH)]
        columns[c + np.uint64(HIGH)] = high if high > known else known
        known = columns[c + np.uint64(DEEP)]
        columns[c + np.uint64(DEEP_ROW)] = nth if lost > known else columns[c + np.uint64(DEEP_ROW)]
        columns[c + np.uint64(DEEP)] = lost if lost > known else known


@kernel
def _clear(columns, first, last):
    """Nothing is lost by the columns [first, last) yet."""
    for c in range(np.uint64(first), np.uint64(last)):
        columns[c + np.uint64(SUM)] = columns[c + np.uint64(SIDE)] = 0.0
        columns[c + np.uint64(NEAREST)] = math.inf
        columns[c + np.uint64(FARTHEST)] = columns[c + np.uint64(HIGH)] = -math.inf
        columns[c + np.uint64(DEEP)] = columns[c + np.uint64(DEEP_ROW)] = 0.0


@loop_kernel
def _under(a, middle, xs, dy, ix0, n, row):
    """As told_kernels._under_middle, of what a row lost to a way straight down."""
    most = 0.0
    for i in range(n):
        dx = xs[ix0 + i] - a[X]
        if dx * dx + dy * dy <= middle * middle and row[i + np.uint64(LOST)] > np.float32(0.0):
            most = max(most, np.float64(row[i + np.uint64(STANDS)]) - a[H])
    return most


@kernel
def _tell(a, has_side, level, field, box, ix0, ix1, columns, taken, k):
    """Write what is told of entry k; ix0, ix1: of the columns of the tile that may have lost something."""
    _, _, floor, up, xs, _ = field
    iy_first, _, ix_first, _ = box
    nx = np.int64(floor.shape[1])
    total, side, near, most, high, deepest = 0.0, 0.0, math.inf, -math.inf, -math.inf, 0.0
    spot, bottom = np.int64(-1), level
    for ix in range(ix0, ix1):
        c = np.uint64(ix - ix_first)
        deep = columns[c + np.uint64(DEEP)]
        if not deep > 0.0:
            continue
        total += columns[c + np.uint64(SUM)]
        side += columns[c + np.uint64(SIDE)]
        u = (xs[ix] - a[X]) * a[UX]
        near = min(near, u + columns[c + np.uint64(NEAREST)])
        most = max(most, u + columns[c + np.uint64(FARTHEST)])
        high = max(high, columns[c + np.uint64(HIGH)])
        if deep >= deepest:
            iy = iy_first + np.int64(columns[c + np.uint64(DEEP_ROW)])
            if deep > deepest or iy * nx + ix < spot:
                deepest, spot, bottom = deep, iy * nx + ix, max(level, up * floor[iy, ix])
    taken[k, TAKEN], taken[k, LEAN], taken[k, TOP] = total, side if has_side else 0.0, high
    taken[k, NEAR], taken[k, FAR] = near, most
    taken[k, DEPTH], taken[k, SPOT], taken[k, BOTTOM] = deepest, spot, bottom


@late_kernel
def level_moves(first, last, field, box, x0, y0, cell, middle, moves, outer, taken, spans, places):
    """Lower the tile `box` by the entries [first, last), of each of which is_level is true, in their order.

    x0, y0, cell: of the lattice.  middle mm: how far from its axis the middle of a cutter reaches.  outer
    (records, 5): boxes of the moves in plan (pack_kernels).  places: as of told_kernels.arc_turn.  Returns
    how many heights were evaluated.
    """
    first_entry, entries, codes, rows, records, _ = moves
    h, _, _, _, xs, ys = field
    iy_first, iy_last, ix_first, ix_last = box
    row, columns = spans
    evaluated = 0
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
            for part in range(2 if hole > 0.0 else 1):
                begin = left if part == 0 else ax + hole
                end = right if part == 1 or not hole > 0.0 else ax - hole
                begin, end = (begin - x0) / cell - 0.5, (end - x0) / cell - 0.5
                jx0 = max(np.int64(math.floor(max(begin, ix0 - 1.0))), ix0) - ix_first
                jx1 = min(np.int64(math.ceil(min(end, ix1 + 1.0))) + 1, ix1) - ix_first
                if jx0 >= jx1:
                    continue
                jx0, jx1 = _whole(jx0, jx1, ix_last - ix_first)
                low, high = _standing(h, np.uint64(iy), ix_first + jx0, ix_first + jx1, level)
                if low >= high:
                    continue
                jx0, jx1 = _whole(jx0 + low, jx0 + high, ix_last - ix_first)
                n, ix = np.uint64(jx1 - jx0), np.uint64(ix_first + jx0)
                evaluated += np.int64(n)
                if is_arc:
                    _heights_arc(a, dy, level, xs, ix, n, row)
                else:
                    _heights_line(a, dy, level, xs, ix, n, row)
                low, high = _lower_row(rows[j], field, np.uint64(iy), ix, n, row)
                if low >= high:
                    continue
                if not is_any:
                    _clear(columns, *_whole(ix0 - ix_first, ix1 - ix_first, ix_last - ix_first))
                if is_point and abs(dy) <= middle:
                    taken[k, UNDER] = max(taken[k, UNDER], _under(a, middle, xs, dy, ix, n, row))
                if is_arc:
                    # In a row angles grow or fall from end to end; over less than half a turn the sign of a
                    # cross product tells which is the greater.
                    for which in range(2):
                        dx = xs[ix + np.uint64(low if which == 0 else high - 1)] - ax
                        if not is_any or a[SENSE] * (low_x * dy - low_y * dx) < 0.0:
                            low_x, low_y = dx, dy
                        if not is_any or a[SENSE] * (high_x * dy - high_y * dx) > 0.0:
                            high_x, high_y = dx, dy
                        is_any = True
                is_any = True
                at = ix - np.uint64(ix_first)
                _add_row(is_arc, a, xs, dy, np.float64(iy - iy_first), ix, at, n, row, columns)
        if is_any:
            _tell(a, is_arc or not is_point, level, field, box, ix0, ix1, columns, taken, k)
            if is_arc:
                begin, sweep = arc_turn(LEVEL_ARC_FORM, a, k, places)
                switch = 0.5 * (TURN + sweep)
                taken[k, NEAR] = a[R] * on_arc(a, low_x, low_y, begin, switch)
                taken[k, FAR] = a[R] * on_arc(a, high_x, high_y, begin, switch)
    return evaluated
