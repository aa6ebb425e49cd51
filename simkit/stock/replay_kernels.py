"""The cut once more, move by move in the order in which they run: what each takes, what rubs.

A final surface does not depend on the order of the moves; what a move takes from the wood, and what its
neck, shank or holder runs into, does.  Tiles are independent of each other, so the moves of each tile run
in their order, and tiles side by side.  Blocks of BLOCK cells keep the highest surface left in them: a
move whose lowest height over a block is not below it takes nothing there.
"""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, loop_kernel
from simkit.cutters import BALL, CONE
from simkit.stock.arc_kernels import arc_distance2
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.height_kernels import row_heights
from simkit.stock.line_kernels import line_flat, line_outline, line_outline_terms
from simkit.stock.pack_kernels import SLACK
from simkit.stock.record_kernels import (
    EX,
    EY,
    HELIX_FORM,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    LOW,
    RADIUS,
    RISE,
    SENSE,
    SX,
    SY,
    UX,
    UY,
    WIDTH,
    R,
    X,
    Y,
    form_of,
    profile_of,
)

BLOCK = 8
ON_PATH = 1e-9  # mm off a line, mm2 on arcs: what rounding makes of nothing
MARGIN = 1e-4  # mm: more than the rounding of heights to float32, up to a metre
# Columns of a chord: start, direction and length in plan, slope, the lower of its ends, radius of the cutter.
CHORD_X, CHORD_Y, CHORD_H, CHORD_UX, CHORD_UY, CHORD_LENGTH, CHORD_SLOPE, CHORD_END, CHORD_RADIUS = range(9)
CHORD_COLUMNS = 9
# Columns of a piece of neck, shank or holder: its least height above the tip, radii below and above, rise,
# and whether it begins where the cutting edges end.
PIECE_LOW, PIECE_RADIUS, PIECE_WIDE, PIECE_RISE, PIECE_FIRST = range(5)
PIECE_COLUMNS = 5
CLEAR = 0.01  # mm in plan: less than this beside a wall is no contact


@loop_kernel
def lowest_over(code, a, x, y, half):
    """A height that the record nowhere comes under within `half` of a place; +inf where it is not covered.

    The lowest tip, and the profile at the least plan distance from the path: tight where a path is level.
    """
    form, profile = form_of(code), profile_of(code)
    dx, dy = x - a[X], y - a[Y]
    if form == LINE_FORM:
        u = dx * a[UX] + dy * a[UY]
        w = dy * a[UX] - dx * a[UY]
        e = u - min(max(u, 0.0), a[LENGTH])
        away = math.sqrt(e * e + w * w)
    elif form == LEVEL_ARC_FORM:
        away = math.sqrt(arc_distance2(dx, dy, a[R], a[SX], a[SY], a[EX], a[EY], a[SENSE], a[WIDTH]))
    else:
        return a[LOW]
    away = max(away - half - SLACK, 0.0)
    radius = a[RADIUS]
    if away > radius + SLACK:
        return math.inf
    if profile == BALL:
        return a[LOW] + radius - math.sqrt(max(radius * radius - away * away, 0.0))
    if profile == CONE:
        return a[LOW] + a[RISE] * away
    return a[LOW]


@loop_kernel
def _block_top(h, iy0, iy1, ix0, ix1):
    top = -np.float32(np.inf)
    for iy in range(iy0, iy1):
        for ix in range(ix0, ix1):
            top = max(top, h[iy, ix])
    return top


@loop_kernel
def side_of(code, a, dx, dy):
    """+1 for a place on the right of the path as the move runs, seen in plan; -1 left, 0 not told.

    dx, dy: from where X and Y of the record are.
    """
    form = form_of(code)
    if form == LINE_FORM:
        right = dx * a[UY] - dy * a[UX] if a[LENGTH] > 0.0 else 0.0
    elif form in (LEVEL_ARC_FORM, HELIX_FORM):
        right = a[SENSE] * (dx * dx + dy * dy - a[R] * a[R])
    else:
        return 0.0
    return 1.0 if right > ON_PATH else (-1.0 if right < -ON_PATH else 0.0)


@loop_kernel
def _low_ones(h, iy, ix0, wide, g, k):
    """Which of the heights g[k], g[k + 1], .. come under the cells of a row of a block, as bits."""
    bits = np.uint32(0)
    for i in range(wide):
        bit = np.uint32(np.uint32(1) << np.uint32(i))
        bits = np.uint32(bits | (bit if g[k + i] < h[iy, ix0 + i] else np.uint32(0)))
    return bits


@loop_kernel
def _bite(code, a, box, row, field, tile, tops, heights, places, g, cell):
    """Lower one tile by one move, block by block.

    Returns what columns lose in all, on the right less on the left, and at most, and where: the cell and the
    lowest wood taken there; reach: the highest wood taken, the least and the greatest way along a line to a
    column that loses something; and how many heights were evaluated.
    """
    h, owner, floor, up, xs, ys, x0, y0 = field
    iy_first, iy_last, ix_first, ix_last = tile
    by0 = max(math.floor((box[2] - y0) / cell - 0.5) - 1, iy_first) - iy_first
    by1 = min(math.ceil((box[3] - y0) / cell - 0.5) + 2, iy_last) - iy_first
    bx0 = max(math.floor((box[0] - x0) / cell - 0.5) - 1, ix_first) - ix_first
    bx1 = min(math.ceil((box[1] - x0) / cell - 0.5) + 2, ix_last) - ix_first
    taken, lean, depth, place, bottom, evaluated = 0.0, 0.0, np.float32(0.0), np.int64(-1), np.float32(0.0), 0
    highest, nearest, farthest = -np.float32(np.inf), math.inf, -math.inf
    is_line = form_of(code) == LINE_FORM
    half = 0.5 * (BLOCK - 1) * cell * math.sqrt(2.0)
    middle = 0.5 * (BLOCK - 1)
    nx = np.int64(h.shape[1])
    for by in range(by0 // BLOCK, (by1 - 1) // BLOCK + 1 if bx0 < bx1 and by0 < by1 else 0):
        y = y0 + (iy_first + by * BLOCK + middle + 0.5) * cell
        row0, row1 = iy_first + by * BLOCK, min(iy_first + (by + 1) * BLOCK, iy_last)
        for bx in range(bx0 // BLOCK, (bx1 - 1) // BLOCK + 1):
            top = tops[by, bx]
            x = x0 + (ix_first + bx * BLOCK + middle + 0.5) * cell
            if a[LOW] - MARGIN >= top or lowest_over(code, a, x, y, half) - MARGIN >= top:
                continue
            first, last = ix_first + bx * BLOCK, min(ix_first + (bx + 1) * BLOCK, ix_last)
            ix0, wide = np.uint64(first), np.uint64(last - first)
            n = wide * np.uint64(row1 - row0)
            k = np.uint64(0)
            for iy in range(np.uint64(row0), np.uint64(row1)):
                for i in range(wide):
                    places[k + i], places[k + i + n] = xs[ix0 + i], ys[iy]
                k += wide
            heights(code, a, places, np.int64(n), g)
            evaluated += np.int64(n)
            is_lower, k = False, np.uint64(0)
            for iy in range(np.uint64(row0), np.uint64(row1)):
                bits = _low_ones(h, iy, ix0, wide, g, k)
                dy = ys[iy] - a[Y]
                while bits != np.uint32(0):
                    i = first_of(bits)
                    bits = without_first(bits)
                    ix = ix0 + i
                    before = h[iy, ix]
                    left = max(g[k + i], up * floor[iy, ix])
                    lost = before - left
                    if lost > 0.0:
                        at = np.int64(iy) * nx + np.int64(ix)
                        dx = xs[ix] - a[X]
                        taken += lost
                        lean += lost * side_of(code, a, dx, dy)
                        highest = max(highest, before)
                        u = dx * a[UX] + dy * a[UY] if is_line else 0.0
                        nearest, farthest = min(nearest, u), max(farthest, u)
                        if lost > depth or (lost == depth and at < place):
                            depth, place, bottom = lost, at, left
                    h[iy, ix] = g[k + i]
                    owner[iy, ix] = row
                    is_lower = True
                k += wide
            if is_lower:
                tops[by, bx] = _block_top(h, row0, row1, first, last)
    if not is_line:
        nearest, farthest = math.inf, -math.inf
    return taken, lean, depth, place, bottom, (highest, nearest, farthest), evaluated


@kernel
def piece_height(chord, piece, dx, dy):
    """Lowest height of a piece of neck, shank or holder over a place while the wood there still stands.

    dx, dy: from the start of a straight chord.  Where the cutting part comes over the place, wood counts as
    it stands until then: the edges take what they meet up to their own end, and what is higher runs
    into the piece that begins there, however thin.  +inf if the piece never gets there.
    A piece is a cylinder, or a cone that widens upwards: a flat cutter, or an outline of one line.
    """
    u = dx * chord[CHORD_UX] + dy * chord[CHORD_UY]
    w = dy * chord[CHORD_UX] - dx * chord[CHORD_UY]
    length, m, h0 = chord[CHORD_LENGTH], chord[CHORD_SLOPE], chord[CHORD_H]
    radius, wide, rise = piece[PIECE_RADIUS] - CLEAR, piece[PIECE_WIDE] - CLEAR, piece[PIECE_RISE]
    q2 = chord[CHORD_RADIUS] * chord[CHORD_RADIUS] - w * w
    q = math.sqrt(max(q2, 0.0))
    met = math.inf
    if q2 >= 0.0 and u + q >= 0.0 and u - q <= length:
        length = max(u - q, 0.0)
        if u > q and piece[PIECE_FIRST] > 0.0:
            met = h0 + m * length + piece[PIECE_LOW]
        if u <= q:
            return math.inf  # it stood over the place already
    elif length == 0.0:
        h0 = chord[CHORD_END]
    h0 += piece[PIECE_LOW]
    ux, uy = chord[CHORD_UX], chord[CHORD_UY]
    if wide <= radius:
        return min(met, line_flat(dx, dy, h0, radius * radius, ux, uy, length, m)) if radius > 0.0 else met
    if length == 0.0 or m == 0.0:
        e = u - min(max(u, 0.0), length)
        d = math.sqrt(e * e + w * w)
        return min(met, h0 + rise * max(d - radius, 0.0)) if d <= wide else met
    flat = max(radius, 0.0)
    terms = line_outline_terms(m, wide, rise, 0.0, 1.0)
    g = line_outline(
        dx, dy, h0, wide * wide, ux, uy, length, m, rise, flat, wide, wide, 0.0, 0.0, 1.0, 0.0, 0.0, *terms
    )
    return min(met, g)


@kernel
def _window(chord, reach, tile, x0, y0, cell):
    """The cells of a tile within `reach` of the box round a chord."""
    iy_first, iy_last, ix_first, ix_last = tile
    ax, ay = chord[CHORD_X], chord[CHORD_Y]
    bx = ax + chord[CHORD_LENGTH] * chord[CHORD_UX]
    by = ay + chord[CHORD_LENGTH] * chord[CHORD_UY]
    iy0 = max(math.floor((min(ay, by) - reach - y0) / cell - 0.5), iy_first)
    iy1 = min(math.ceil((max(ay, by) + reach - y0) / cell - 0.5) + 1, iy_last)
    ix0 = max(math.floor((min(ax, bx) - reach - x0) / cell - 0.5), ix_first)
    ix1 = min(math.ceil((max(ax, bx) + reach - x0) / cell - 0.5) + 1, ix_last)
    return iy0, iy1, ix0, ix1


@kernel
def _rub(chord, piece, field, tile, cell, stood, depth, place, top):
    """Return the most that one piece goes into standing wood along one chord in a tile, where, and its top.

    stood: the surface before this chord, of the tile alone.
    """
    h, _, floor, up, xs, ys, x0, y0 = field
    iy_first, _, ix_first, _ = tile
    reach = max(piece[PIECE_RADIUS], piece[PIECE_WIDE]) + SLACK
    iy0, iy1, ix0, ix1 = _window(chord, reach, tile, x0, y0, cell)
    low = min(chord[CHORD_H], chord[CHORD_END]) + piece[PIECE_LOW]
    nx = h.shape[1]
    for iy in range(iy0, iy1):
        for ix in range(ix0, ix1):
            stands = stood[iy - iy_first, ix - ix_first]
            ground = up * floor[iy, ix]
            if stands <= low + MARGIN or stands <= ground:
                continue
            lowest = piece_height(chord, piece, xs[ix] - chord[CHORD_X], ys[iy] - chord[CHORD_Y])
            into = np.float32(stands - max(lowest, ground))
            if into > depth:  # cells come in their order, so the first stays
                depth, place, top = into, np.int64(iy) * nx + ix, stands
    return depth, place, top


@kernel
def _lower_stood(chord, code, a, field, tile, cell, g, stood):
    """Lower the copy of a tile by the cutting part along one chord: what stands before the next one."""
    _, _, _, _, xs, ys, x0, y0 = field
    iy_first, _, ix_first, _ = tile
    iy0, iy1, ix0, ix1 = _window(chord, chord[CHORD_RADIUS] + SLACK, tile, x0, y0, cell)
    for iy in range(iy0, iy1):
        if ix0 >= ix1:
            break
        row_heights(code, a, xs, ys[iy], ix0, ix1, g)
        for ix in range(ix0, ix1):
            stood[iy - iy_first, ix - ix_first] = min(stood[iy - iy_first, ix - ix_first], g[ix])


@kernel
def _run_tiles(
    field, tops, stood, room, cell, size, first_tile, last_tile, starts, entries, codes, rows, records, boxes,
    taken, leans, depths, places, bottoms, reaches,
    chord_starts, chord_entries, chords, chord_rows, chord_codes, chord_records, pieces, rubs, rub_places,
    rub_tops,
):  # fmt: skip
    """The loop of replay_tiles over its tiles: here, where nothing is allocated, no array is counted."""
    h = field[0]
    g, heights, spots, block = room
    ny, nx = h.shape
    ntx = (nx + size - 1) // size
    n_blocks = tops.shape[0]
    evaluated = 0
    first_entry, first_chord = starts[first_tile], chord_starts[first_tile]
    for t in range(first_tile, last_tile):
        iy_first, ix_first = (t // ntx) * size, (t % ntx) * size
        iy_last, ix_last = min(iy_first + size, ny), min(ix_first + size, nx)
        if starts[t] == starts[t + 1] and chord_starts[t] == chord_starts[t + 1]:
            continue
        tile = (iy_first, iy_last, ix_first, ix_last)
        for by in range(n_blocks):
            for bx in range(n_blocks):
                i0, i1 = iy_first + by * BLOCK, ix_first + bx * BLOCK
                tops[by, bx] = _block_top(h, i0, min(i0 + BLOCK, iy_last), i1, min(i1 + BLOCK, ix_last))
        entry, at = starts[t], chord_starts[t]
        while entry < starts[t + 1] or at < chord_starts[t + 1]:
            row = np.int32(2**31 - 1) if entry == starts[t + 1] else rows[entries[entry]]
            if at < chord_starts[t + 1] and chord_rows[chord_entries[at]] <= row:
                # What stands above the cutting edges, before the move itself cuts.
                row = chord_rows[chord_entries[at]]
                for iy in range(iy_first, iy_last):
                    for ix in range(ix_first, ix_last):
                        stood[iy - iy_first, ix - ix_first] = h[iy, ix]
                while at < chord_starts[t + 1] and chord_rows[chord_entries[at]] == row:
                    c = chord_entries[at]
                    for p in range(pieces.shape[0]):
                        k = at - first_chord
                        rubs[p, k], rub_places[p, k], rub_tops[p, k] = _rub(
                            chords[c], pieces[p], field, tile, cell, stood, rubs[p, k], rub_places[p, k],
                            rub_tops[p, k],
                        )  # fmt: skip
                    at += 1
                    if at < chord_starts[t + 1] and chord_rows[chord_entries[at]] == row:
                        _lower_stood(chords[c], chord_codes[c], chord_records[c], field, tile, cell, g, stood)
            if entry < starts[t + 1] and rows[entries[entry]] == row:
                j = entries[entry]
                k = entry - first_entry
                taken[k], leans[k], depths[k], places[k], bottoms[k], reach, some = _bite(
                    codes[j], records[j], boxes[j], row, field, tile, tops, heights, spots, block, cell
                )
                reaches[k, 0], reaches[k, 1], reaches[k, 2] = reach
                evaluated += some
                entry += 1
    return evaluated


@entry_kernel
def replay_tiles(
    h, owner, floor, up, xs, ys, x0, y0, cell, size, first_tile, last_tile, starts, entries, codes, rows,
    records, boxes, taken, leans, depths, places, bottoms, reaches,
    chord_starts, chord_entries, chords, chord_rows, chord_codes, chord_records, pieces, rubs, rub_places,
    rub_tops, heights,
):  # fmt: skip
    """Run the moves of one cutter over the tiles [first_tile, last_tile), in order; h and owner change.

    h, owner, floor (ny, nx), up, xs, ys, x0, y0, cell, size (cells along the edge of a tile), starts,
    entries, codes, rows, records, boxes: as cut_kernels.cut_plain takes them.
    taken (entries,) float64: for each entry of these tiles the sum over cells of what its column lost, mm;
    leans float64: of that, what lay on the right of the path less what lay on the left, in plan;
    depths float32: the most that one column lost; places int64: that cell (iy * nx + ix), -1 for none;
    bottoms float32: the lowest wood taken there; reaches (entries, 3) float64: the highest wood taken, and
    how far along a line, in plan, the first and the last column lies that loses something.
    heights: height_kernels.cell_heights as a pointer.  Returns how many heights were evaluated.
    chord_starts (tiles + 1,), chord_entries: the chords of each tile, growing; chords (c, CHORD_COLUMNS),
    chord_rows (c,): of which move; chord_codes, chord_records: the cutting part along each.
    pieces (p, PIECE_COLUMNS); rubs, rub_places (p, entries of chords): as depths and places, for each
    piece; rub_tops float32: what stands there then.
    """
    n_blocks = (size + BLOCK - 1) // BLOCK
    tops, stood = np.empty((n_blocks, n_blocks), np.float32), np.empty((size, size), np.float32)
    spots, block = np.empty(2 * BLOCK * BLOCK, np.float64), np.empty(BLOCK * BLOCK, np.float32)
    room = (np.empty(h.shape[1], np.float32), heights, spots, block)
    return _run_tiles(
        (h, owner, floor, up, xs, ys, x0, y0), tops, stood, room, cell, size, first_tile, last_tile, starts,
        entries, codes, rows, records, boxes, taken, leans, depths, places, bottoms, reaches,
        chord_starts, chord_entries, chords, chord_rows, chord_codes, chord_records, pieces, rubs, rub_places,
        rub_tops,
    )  # fmt: skip
