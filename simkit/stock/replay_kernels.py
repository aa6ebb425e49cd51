"""The cut once more, move by move in the order in which they run: what each takes, what rubs.

A final surface does not depend on the order of the moves; what a move takes from the wood, and what its
neck, shank or holder runs into, does.  Tiles are independent of each other, so the moves of each tile run
in their order, and tiles side by side: bite_kernels, or level_kernels, lowers a tile by a stretch of moves
between which nothing has to be asked of the whole of it.
"""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, late_kernel, loop_kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.bite_kernels import PASS, bite, middle_of, pieces_of
from simkit.stock.bound_kernels import RADIUS_AT
from simkit.stock.chain_kernels import chain, is_chain
from simkit.stock.height_kernels import row_heights
from simkit.stock.level_kernels import is_level, level_moves
from simkit.stock.line_kernels import line_flat, line_outline, line_outline_terms
from simkit.stock.list_kernels import GROUP, LANES
from simkit.stock.lose_kernels import ARCS, BATCH, CELLS, HIGHEST, LINE, PLACES, ROOM, highest
from simkit.stock.pack_kernels import SLACK
from simkit.stock.row_kernels import CHUNK, KEPT, ROW, SPAN
from simkit.stock.take_kernels import FAR, NEAR, SPOT, TAKES, TOP
from simkit.stock.yard_kernels import yard_of

MARGIN = 1e-4  # mm: more than the rounding of heights to float32, up to a metre
# Columns of a chord: start, direction and length in plan, slope, the lower of its ends, radius of the cutter.
CHORD_X, CHORD_Y, CHORD_H, CHORD_UX, CHORD_UY, CHORD_LENGTH, CHORD_SLOPE, CHORD_END, CHORD_RADIUS = range(9)
CHORD_COLUMNS = 9
# Columns of a piece of neck, shank or holder: its least height above the tip, radii below and above, rise,
# and whether it begins where the cutting edges end.
PIECE_LOW, PIECE_RADIUS, PIECE_WIDE, PIECE_RISE, PIECE_FIRST = range(5)
PIECE_COLUMNS = 5
CLEAR = 0.01  # mm in plan: less than this beside a wall is no contact


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


@loop_kernel
def _top(h, tile, batch, bits):
    """The highest of a tile; batch, bits: to work in, as lose_kernels.highest takes them."""
    iy0, iy1, ix0, ix1 = tile
    most = -np.float32(np.inf)
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for first in range(ix0, ix1, HIGHEST):
            some = np.uint64(min(ix1 - first, HIGHEST))
            for i in range(some):
                batch[i] = h[iy, np.uint64(first) + i]
            most = max(most, highest(batch, bits, np.uint64(0), some))
    return most


@loop_kernel
def _fetch(wood, tile, leaf):
    """Have what stands in a tile at hand.

    Leaf by leaf a cache line would be waited for at a time; one after the other, many are on their way.
    """
    h, owner, floor, _, _, _ = wood
    _, _, _, batch, bits = leaf
    iy0, iy1, ix0, ix1 = tile
    for iy in range(np.uint64(iy0), np.uint64(iy1)):
        for ix in range(np.uint64(ix0), np.uint64(ix1), np.uint64(LINE)):
            i = (ix - np.uint64(ix0)) // np.uint64(LINE)
            batch[i], batch[i + np.uint64(LINE)] = h[iy, ix], floor[iy, ix]
            bits[i + np.uint64(2 * LINE)] = owner[iy, ix]
        ix = np.uint64(ix1 - 1)  # rows need not begin with a line
        batch[0], batch[LINE], bits[2 * LINE] = h[iy, ix], floor[iy, ix], owner[iy, ix]


@loop_kernel
def _begin(first, last, taken):
    """Nothing is taken by the entries [first, last) yet."""
    for k in range(np.uint64(first), np.uint64(last)):
        for q in range(np.uint64(TAKES)):
            taken[k, q] = 0.0
        taken[k, np.uint64(TOP)], taken[k, np.uint64(SPOT)] = -np.inf, -1.0
        taken[k, np.uint64(NEAR)], taken[k, np.uint64(FAR)] = np.inf, -np.inf


@kernel
def _may_rub(chord, pieces, h, tile, x0, y0, cell):
    """Whether any wood stands high enough for neck, shank or holder, near a chord in a tile."""
    low = min(chord[CHORD_H], chord[CHORD_END]) + MARGIN
    for p in range(pieces.shape[0]):
        reach = max(pieces[p, PIECE_RADIUS], pieces[p, PIECE_WIDE]) + SLACK
        iy0, iy1, ix0, ix1 = _window(chord, reach, tile, x0, y0, cell)
        for iy in range(iy0, iy1):
            for ix in range(ix0, ix1):
                if h[iy, ix] > low + pieces[p, PIECE_LOW]:
                    return True
    return False


@late_kernel
def _run_tiles(
    field, stood, room, cell, size, first_tile, last_tile, starts, cutter, moves, outer, taken, tops,
    chord_starts, chord_entries, chords, chord_rows, chord_codes, chord_records, pieces, rubs, rub_places,
    rub_tops, are_lines,
):  # fmt: skip
    """The loop of replay_tiles over its tiles: here, where nothing is allocated, no array is counted."""
    h, owner, floor, up, xs, ys, x0, y0 = field
    wood = (h, owner, floor, up, xs, ys)
    g, lists, boxes, near, every, before, leaf, planes, batched, chosen, spans, yard = room
    _, entries, codes, rows, records, _ = moves
    is_flat, is_ball = cutter[0] == FLAT and size <= SPAN, cutter[0] == BALL
    middle = middle_of(float(cutter[1][RADIUS_AT]), cell)
    ny, nx = h.shape
    ntx = (nx + size - 1) // size
    evaluated = 0
    first_chord = chord_starts[first_tile]
    for t in range(first_tile, last_tile):
        iy_first, ix_first = (t // ntx) * size, (t % ntx) * size
        iy_last, ix_last = min(iy_first + size, ny), min(ix_first + size, nx)
        entry, at, last, last_chord = starts[t], chord_starts[t], starts[t + 1], chord_starts[t + 1]
        if entry == last and at == last_chord:
            continue
        tile, before_it = (iy_first, iy_last, ix_first, ix_last), evaluated
        in_chunks = is_flat and ix_last - ix_first >= CHUNK
        _begin(entry - starts[first_tile], last - starts[first_tile], taken)
        if not is_flat:  # rows come one after the other
            _fetch(wood, tile, leaf)
        while entry < last or at < last_chord:
            # Moves that no wood stands high enough for now never rub: wood only goes.
            while at < last_chord:
                behind, is_near, row = at, False, chord_rows[chord_entries[at]]
                while behind < last_chord and chord_rows[chord_entries[behind]] == row:
                    c = chord_entries[behind]
                    is_near = is_near or _may_rub(chords[c], pieces, h, tile, x0, y0, cell)
                    behind += 1
                if is_near:
                    break
                at = behind
            # The moves before the next one whose neck, shank or holder is asked about.
            until = last
            if at < last_chord:
                until, row = entry, chord_rows[chord_entries[at]]
                while until < last and rows[entries[until]] < row:
                    until += 1
            while entry < until:
                # Level moves of a flat cutter in rows, all others by lists, one lot after the other.
                begins, in_rows = entry, False
                while entry < until:
                    j = entries[entry]
                    is_own = in_chunks and is_level(
                        codes, records, j, entry - moves[0], tile, xs, ys, leaf[2]
                    )
                    if entry > begins and is_own != in_rows:
                        break
                    in_rows = is_own
                    entry += 1
                if in_rows:
                    evaluated += level_moves(
                        begins, entry, wood, tile, x0, y0, cell, middle, moves, outer, taken, spans, leaf[2]
                    )
                elif is_ball and is_chain(codes, entries, begins, entry, are_lines):
                    evaluated += chain(
                        begins,
                        entry,
                        wood,
                        tile,
                        float(tops[t]),
                        cell,
                        size,
                        cutter,
                        middle,
                        moves,
                        taken,
                        yard,
                    )
                else:
                    evaluated += bite(
                        begins, entry, wood, tile, float(tops[t]), cell, cutter, moves, taken, lists, boxes,
                        near, every, before, leaf, planes, batched, chosen,
                    )  # fmt: skip
            if at == last_chord:
                continue
            # What stands above the cutting edges, before the move itself cuts.
            row = chord_rows[chord_entries[at]]
            for iy in range(iy_first, iy_last):
                for ix in range(ix_first, ix_last):
                    stood[iy - iy_first, ix - ix_first] = h[iy, ix]
            while at < last_chord and chord_rows[chord_entries[at]] == row:
                c = chord_entries[at]
                for p in range(pieces.shape[0]):
                    k = at - first_chord
                    rubs[p, k], rub_places[p, k], rub_tops[p, k] = _rub(
                        chords[c], pieces[p], field, tile, cell, stood, rubs[p, k], rub_places[p, k],
                        rub_tops[p, k],
                    )  # fmt: skip
                at += 1
                if at < last_chord and chord_rows[chord_entries[at]] == row:
                    _lower_stood(chords[c], chord_codes[c], chord_records[c], field, tile, cell, g, stood)
        if evaluated > before_it:
            tops[t] = _top(h, tile, leaf[3], leaf[4])
    return evaluated


@entry_kernel
def low_moves(start, end, plane, rise, offset, lowest, limit, rows):
    """Write which moves bring what begins `lowest` above the tip below a limit; return how many.

    start, end (n, 3), plane (n,): of the moves; heights in the field are rise z + offset.  An upright arc may
    dip below both ends: it is always one.  rows (n,): as many are written as there are.
    """
    count = 0
    for i in range(np.uint64(len(plane))):
        low = min(rise * start[i, 2] + offset, rise * end[i, 2] + offset)
        rows[count] = i
        count += 1 if (low + lowest < limit) | (plane[i] != 17) else 0
    return count


@kernel
def _longest(cell, first_tile, last_tile, starts, entries, codes, records):
    """The most pieces that any tile's list of moves comes to."""
    longest = 0
    for t in range(first_tile, last_tile):
        longest = max(longest, pieces_of(entries, codes, records, starts[t], starts[t + 1], cell))
    return longest


@entry_kernel
def replay_tiles(
    h, owner, floor, up, xs, ys, x0, y0, cell, size, first_tile, last_tile, starts, entries, codes, rows,
    records, outer, follows, profile, support, tops, taken,
    chord_starts, chord_entries, chords, chord_rows, chord_codes, chord_records, pieces, rubs, rub_places,
    rub_tops, heights, bounds, are_lines,
):  # fmt: skip
    """Run the moves of one cutter over the tiles [first_tile, last_tile), in order; h and owner change.

    h, owner, floor (ny, nx), up, xs, ys, x0, y0, cell, size (cells along the edge of a tile), starts,
    entries, codes, rows, records: as cut_kernels.cut_plain takes them.  profile, support, heights, bounds: as
    tile_kernels.cut_blocks does.  tops (tiles,) float32: the highest h of each, kept up to date.
    outer (records, 5): boxes of the moves in plan (pack_kernels).
    follows (records,) bool: a ball's line that begins where that of the record before ends.
    taken (entries of these tiles, TAKES) float64, written: for each entry the sum over cells of what its
    column lost, mm; of that, what lay on the right of the path less what lay on the left, in plan; the
    highest wood taken, and how far along its path, in plan, the first and the last column lies that loses
    something;
    the most that one column lost, the lowest wood taken there, and that cell (iy * nx + ix), -1 for none.
    Returns how many heights were evaluated.
    chord_starts (tiles + 1,), chord_entries: the chords of each tile, growing; chords (c, CHORD_COLUMNS),
    chord_rows (c,): of which move; chord_codes, chord_records: the cutting part along each.
    pieces (p, PIECE_COLUMNS); rubs, rub_places (p, entries of chords): as depths and places, for each
    piece; rub_tops float32: what stands there then.
    are_lines: whether all records are lines of a ball, of which many go move by move (chain_kernels).
    """
    n_groups = _longest(cell, first_tile, last_tile, starts, entries, codes, records) // LANES + 1
    lists = np.empty((n_groups + 2 * (PASS + 1)) * GROUP, np.float32)
    near, every = np.empty(n_groups, np.int32), np.arange(PASS + 1).astype(np.int32)
    batch = np.empty(BATCH, np.float32)
    leaf = (
        np.empty(ROOM, np.float32), np.empty(2 * CELLS, np.float32), np.empty(PLACES, np.float64), batch,
        batch.view(np.int32),
    )  # fmt: skip
    leaf[2][ARCS:] = -1.0
    planes, batched = np.zeros(4 * LANES, np.float32), np.empty(LANES, np.float32)
    chosen = np.empty(2 * LANES, np.int32)
    stood = np.empty((size, size), np.float32)
    boxes, row = np.empty((n_groups, 4), np.float32), np.empty(ROW, np.float32)
    room = (
        np.empty(h.shape[1], np.float32),
        lists,
        boxes,
        near,
        every,
        np.empty(CELLS, np.float32),
        leaf,
        planes,
        batched,
        chosen,
        (row, row.view(np.int32), np.empty(KEPT, np.float64)),
        yard_of(size, profile == BALL),
    )
    return _run_tiles(
        (h, owner, floor, up, xs, ys, x0, y0), stood, room, cell, size, first_tile, last_tile, starts,
        (profile, support, heights, bounds), (starts[first_tile], entries, codes, rows, records, follows),
        outer, taken, tops,
        chord_starts, chord_entries, chords, chord_rows, chord_codes, chord_records, pieces, rubs, rub_places,
        rub_tops, are_lines,
    )  # fmt: skip
