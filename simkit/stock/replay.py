"""The cut in the order of its moves: what each takes from the wood, and what rubs above the cutting edges."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from simkit._jit import threads
from simkit.cutters import Cone, Cutter
from simkit.errors import ShapeError
from simkit.frames import Frame
from simkit.moves.chords import chords_of
from simkit.moves.table import Moves
from simkit.stock import bin_kernels, chain_kernels, replay_kernels, sum_kernels
from simkit.stock.cut import (
    Packed,
    begun,
    bounds_pointer,
    cell_heights_pointer,
    ended,
    on_grid,
    runs,
    support_of,
)
from simkit.stock.field import Field, Lattice
from simkit.stock.memory import new_array
from simkit.stock.packed import CHUNK
from simkit.stock.record_kernels import COLUMNS
from simkit.stock.replay_kernels import CLEAR
from simkit.stock.take_kernels import TAKES
from simkit.stock.workers import share, share_ranges

MOST_MOVES = 2**19
TILE = 64  # cells along the edge of a tile: a compromise of few moves for each and few lists, measured
# What a tile costs, in steps of some 40 ns, measured: each of its moves, each chord above the edges, and the
# tile itself where moves touch it.
MOVE_WORK, CHORD_WORK, TILE_WORK = 60, 2000, 2000
BATCH = 1_200_000  # work done between two calls of progress, a guess
PARTS, LEAST = 4, 60_000  # parts for each thread, where they are so large: none waits long for the last
# Arcs are followed by chords this close (mm) for what stands above the cutting edges; less than CLEAR.
SAGITTA = CLEAR * 0.4
NO_PLACE = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Replay:
    """What each of n moves met at the moment it ran.

    field: what is left, as `cut` gives it.
    volume (n,) float64 mm3: removed by the move, the sum over columns at cell centres; exact at these,
    so off by about a cell along the edge of its cut.
    right (n,) float64 mm3: of that, what stood on the right of the path less what stood on the left, as the
    tip runs, seen from above the setup; 0 for plunges, and for upright arcs that run back below or above
    themselves or are helices.
    depth (n,) float32 mm: the most that one column lost, along the axis.  at (n, 3) mm: that cell's centre
    and the height of the lowest wood taken there, blank frame; NaN where nothing was taken.
    top (n,) mm: the highest wood that it took, z of the program frame; along (n, 2) mm: how far along a
    move, in plan from its start, the first and the last column lies that it took something from, NaN on
    upright arcs.  Both NaN where nothing was taken.
    under (n,) mm: on straight ways down steeper than they are long, the most wood that stood above the tip
    where the middle of the cutter came over it, a tenth of its radius or three quarters of a cell wide
    to all sides; 0 for none, and for other moves.
    rub_depth {part: (n,) float32 mm}: the most that neck, shank or holder went into standing wood;
    rub_at {part: (n, 3) mm}: where, blank frame, at the top of what stood there then, NaN for none.
    Parts: "neck", "shank", "holder", those that some cutter has.
    evaluations: heights evaluated, for benchmarks.
    """

    field: Field
    volume: np.ndarray
    right: np.ndarray
    depth: np.ndarray
    at: np.ndarray
    top: np.ndarray
    along: np.ndarray
    under: np.ndarray
    rub_depth: dict[str, np.ndarray]
    rub_at: dict[str, np.ndarray]
    evaluations: int


def replay(
    field: Field,
    moves: Moves,
    cutters: Mapping[int, Cutter],
    frame: Frame,
    first_row: int = 0,
    progress: Callable[[float], None] | None = None,
    tile: int = TILE,
) -> Replay:
    """Return what each move of one setup takes and runs into, in the order in which they run.

    field, moves, cutters, frame, first_row, progress, tile: as for `cut`, whose field comes out, to the bit.

    Neck, shank and holder are a stack of cylinders and cones.  Where the cutting part itself comes over
    a place of the move, wood counts that stands before it arrives: a plunge clears its own way; in a
    slot deeper than the edges are long, what is higher than they are runs into whatever follows them.
    Along straight moves exact at the cell centres; arcs are followed by chords within SAGITTA, and a part
    counts as CLEAR narrower than it is, so a contact of less than CLEAR in plan is not told.  On a path
    of slope s a depth is off by up to s times CLEAR.
    Source: own derivation; twin in tests/stock.
    """
    up = float(frame.up)
    opposite = np.ascontiguousarray(field.lower if up > 0 else field.upper)
    for cells in (field.upper, field.lower):
        if cells.shape != field.lattice.shape:
            raise ShapeError(f"a surface of shape {cells.shape} on a lattice {field.lattice.shape}")
    h, owner, tops = begun(field, up, tile)
    state = _State(field.lattice, (h, owner, opposite, tops), up, len(moves), first_row, tile)
    done = 0
    for first, last in runs(moves.tool, MOST_MOVES) if h.size else []:
        number = int(moves.tool[first])
        if number not in cutters:
            raise ValueError(f"move {first} calls cutter {number}, which is not among the cutters")
        share_of = (done / len(moves), (last - first) / len(moves))
        told = None if progress is None else (lambda part, a=share_of: progress(a[0] + part * a[1]))
        state.run(moves[first:last], cutters[number], frame, first, told)
        done += last - first
    return state.result(ended(field, up, h, owner), moves, frame)


class _State:
    """A surface on its way down, and what its moves have met so far."""

    def __init__(self, lattice: Lattice, cells, up: float, n: int, first_row: int, tile: int):
        self.lattice, self.up, self.first_row, self.tile = lattice, up, first_row, tile
        self.h, self.owner, self.floor, self.tops = cells
        self.xs, self.ys = on_grid(self.lattice.x()), on_grid(self.lattice.y())
        self.volume, self.right, self.under = (_filled(n, 0.0) for _ in range(3))
        self.bites = _nothing(n)
        self.highest, self.nearest, self.farthest = (_filled(n, far) for far in (-np.inf, np.inf, -np.inf))
        self.evaluations = 0
        self.spare: list[np.ndarray] = []  # what the tiles of a part told, when it is added
        self.rubs: dict[str, tuple] = {}  # part -> depth, place, top of each move

    def run(self, moves: Moves, cutter: Cutter, frame: Frame, first: int, progress) -> None:
        """Run moves of one cutter; first: row of the first one among all."""
        tile, lattice = self.tile, self.lattice
        tops = self.tops
        highest = float(tops.max())
        row0 = self.first_row + first
        view = np.array([self.xs[0], self.xs[-1], self.ys[0], self.ys[-1], highest])
        packed = Packed(moves, {cutter.number: cutter}, frame, view, row0, first)
        size = tile * lattice.cell
        starts, entries = packed.bins(*lattice.origin, size, tops)
        pieces, names = _pieces(cutter)
        above = _Above(moves, cutter, frame, pieces, tops, lattice, size, row0)
        per_tile = np.diff(starts)
        work = per_tile * MOVE_WORK + np.diff(above.starts) * CHORD_WORK + (per_tile > 0) * TILE_WORK
        work = np.cumsum(work + 1)
        parts = int(max(work[-1] / BATCH, min(PARTS * threads(), work[-1] / LEAST), 1))
        edges = np.unique(np.searchsorted(work, np.linspace(0, 1, parts + 1)[1:-1] * work[-1]))
        edges = [0, *edges[edges > 0], tops.size]
        found: list = [None] * (len(edges) - 1)
        heights, bounds = cell_heights_pointer(), bounds_pointer()
        follows = _follows(moves, packed, row0)
        are_lines = all(chain_kernels.are_lines(packed.codes, a, b) for a, b in packed.chunks)
        support, flat_tops = support_of(cutter), tops.reshape(-1)

        def part(i: int) -> None:
            t0, t1 = int(edges[i]), int(edges[i + 1])
            n, m = int(starts[t1] - starts[t0]), int(above.starts[t1] - above.starts[t0])
            taken = self._room(n)
            rubs = np.zeros((len(pieces), m), np.float32)
            rub_places, rub_tops = (
                np.full((len(pieces), m), -1, np.int64),
                np.zeros((len(pieces), m), np.float32),
            )
            evaluated = replay_kernels.replay_tiles(
                self.h, self.owner, self.floor, np.float32(self.up), self.xs, self.ys, *lattice.origin,
                lattice.cell, tile, t0, t1, starts, entries, packed.codes, packed.rows, packed.records,
                packed.boxes, follows, cutter.code, support, flat_tops, taken, above.starts, above.entries,
                above.chords,
                above.rows, above.codes, above.records, pieces, rubs, rub_places, rub_tops, heights, bounds,
                are_lines,
            )  # fmt: skip
            bites = (slice(starts[t0], starts[t1]), taken)
            stacks = (slice(above.starts[t0], above.starts[t1]), rubs, rub_places, rub_tops)
            found[i] = (bites, stacks, evaluated)

        mine = slice(first, first + len(moves))
        area, rubbing, added = lattice.cell**2, [], 0

        def after(done: int) -> None:
            # In the order of the tiles, so that sums have the same bits whatever the number of threads.
            nonlocal added
            while added < len(found) and found[added] is not None:
                (here, taken), (chords, *stacks), evaluated = found[added]
                # Where the plan is seen from below, right is left.
                sum_kernels.add_entries(
                    entries[here], packed.rows, row0, taken, area, area * frame.plan_sense,
                    self.volume[mine], self.right[mine], self.highest[mine], self.nearest[mine],
                    self.farthest[mine], self.under[mine],
                    *(its[mine] for its in self.bites),
                )  # fmt: skip
                rows = above.rows[above.entries[chords]] - self.first_row
                for name, *rub in zip(names, *stacks, strict=True):
                    if name not in self.rubs:
                        self.rubs[name] = _nothing(len(self.volume))
                    rubbing.append((self.rubs[name], rows, rub))
                self.evaluations += evaluated
                self.spare.append(taken.base)
                found[added] = ()
                added += 1
            if progress is not None:
                progress(done / len(found))

        share(part, len(found), after)
        _deepest(rubbing)

    def _room(self, n: int) -> np.ndarray:
        """Return room for what n entries take: what another part needs no more, where it is large enough."""
        try:
            room = self.spare.pop()
        except IndexError:
            room = np.empty((0, TAKES))
        if len(room) < n:
            room = np.empty((n + n // 4, TAKES))
        return room[:n]

    def result(self, field: Field, moves: Moves, frame: Frame) -> Replay:
        """Return what was found, with places in the blank frame."""
        n = len(moves)
        top, along = new_array(n, np.float64), new_array((n, 2), np.float64)
        offset, rise = float(frame.offset[2]), float(frame.matrix[2, 2])

        def told(first: int, last: int) -> None:
            sum_kernels.tell_moves(
                first, last, moves.start, moves.end, self.up, offset, rise, self.highest, self.nearest,
                self.farthest, self.under, top, along,
            )  # fmt: skip

        share_ranges(told, n, CHUNK)
        return Replay(
            field,
            self.volume,
            self.right,
            self.bites[0],
            self._places(self.bites),
            top,
            along,
            self.under,
            {name: rub[0] for name, rub in self.rubs.items()},
            {name: self._places(rub) for name, rub in self.rubs.items()},
            self.evaluations,
        )

    def _places(self, kept) -> np.ndarray:
        """Return where (n, 3) mm, blank frame, NaN for none; kept: depth, cell and height h of each move."""
        _, place, h = kept
        at = new_array((len(place), 3), np.float64)

        def some(first: int, last: int) -> None:
            sum_kernels.tell_places(first, last, place, h, self.xs, self.ys, self.up, at)

        share_ranges(some, len(place), CHUNK)
        return at


def _follows(moves: Moves, packed: Packed, row0: int) -> np.ndarray:
    """Return whether each packed move (n,) is a ball's line that begins where that before it ends."""
    follows = np.zeros(len(moves), bool)

    def chunk(index: int) -> None:
        first, last = packed.chunks[index]
        bin_kernels.follow(
            first, last, row0, packed.codes, packed.rows, packed.records, moves.start, moves.end, follows
        )

    share(chunk, len(packed.chunks))
    return follows


def _filled(n: int, number: float, dtype=np.float64) -> np.ndarray:
    """Return n times a number, in memory that is quick to touch."""
    new = new_array(n, dtype)
    new.fill(number)
    return new


def _nothing(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return depth, cell and height of n finds that are none."""
    return _filled(n, 0.0, np.float32), _filled(n, -1, np.int64), _filled(n, 0.0, np.float32)


def _deepest(finds) -> None:
    """Keep for each row the deepest of all finds, the first cell on ties.

    finds: (kept, rows, found) each; kept, found: (depth, place, and what goes with them), of all moves, and
    one for each of `rows`.  Of these rows nothing is kept yet.
    """
    finds = [(kept, rows[found[0] > 0], [its[found[0] > 0] for its in found]) for kept, rows, found in finds]
    for (depth, *_), rows, (depths, *_) in finds:
        np.maximum.at(depth, rows, depths)
    best = [depths == kept[0][rows] for kept, rows, (depths, *_) in finds]
    for (kept, rows, _), own in zip(finds, best, strict=True):
        kept[1][rows[own]] = NO_PLACE
    for (kept, rows, found), own in zip(finds, best, strict=True):
        np.minimum.at(kept[1], rows[own], found[1][own])
    for (kept, rows, found), own in zip(finds, best, strict=True):
        is_it = own & (found[1] == kept[1][rows])
        for all_of_them, its in zip(kept[2:], found[2:], strict=True):
            all_of_them[rows[is_it]] = its[is_it]


def _pieces(cutter: Cutter) -> tuple[np.ndarray, list[str]]:
    """Return neck, shank and holder as pieces (p, PIECE_COLUMNS), and the name of each.

    A cone that narrows upwards reaches as far as its lower end: a cylinder.  Where nothing is known of what
    follows the cutting edges, it is a shank of no width: it still meets wood higher than they are long.
    """
    rows, names = [], []
    stack = cutter.stack
    if cutter.cutting_length is not None and not any(cone.low == cutter.cutting_length for cone in stack):
        stack = (Cone("shank", cutter.cutting_length, cutter.cutting_length, 0.0, 0.0), *stack)
    for cone in stack:
        rise, wide = 0.0, 0.0
        if cone.high_radius > cone.low_radius:
            rise, wide = (cone.high - cone.low) / (cone.high_radius - cone.low_radius), cone.high_radius
        rows.append((cone.low, cone.low_radius, wide, rise, cone.low == cutter.cutting_length))
        names.append(cone.part)
    return np.array(rows, float).reshape(-1, replay_kernels.PIECE_COLUMNS), names


class _Above:
    """Chords of the moves whose neck, shank or holder comes below what stands, binned to tiles."""

    def __init__(self, moves: Moves, cutter: Cutter, frame: Frame, pieces, tops, lattice, size, row0: int):
        n_tiles = tops.size
        self.starts, self.entries = np.zeros(n_tiles + 1, np.int64), np.empty(0, np.int64)
        self.chords = np.empty((0, replay_kernels.CHORD_COLUMNS))
        self.rows, self.codes = np.empty(0, np.int32), np.empty(0, np.int8)
        self.records = np.empty((0, COLUMNS))
        lowest = pieces[:, replay_kernels.PIECE_LOW].min(initial=np.inf)
        up, limit = float(frame.up), float(tops.max())
        rise, offset = float(frame.matrix[2, 2]) * up, float(frame.offset[2]) * up
        chosen = np.empty(len(moves), np.int64)
        ends = (moves.start, moves.end, moves.plane)
        count = replay_kernels.low_moves(*ends, rise, offset, float(lowest), limit, chosen)
        if not (count and len(pieces)):
            return
        straight, of = chords_of(moves[chosen[:count]], SAGITTA)
        seen = straight.in_frame(frame)
        start, end = seen.start.copy(), seen.end.copy()
        start[:, 2] *= up
        end[:, 2] *= up
        keep = np.minimum(start[:, 2], end[:, 2]) + lowest < limit
        start, end, rows = start[keep], end[keep], chosen[of[keep]]
        delta = end - start
        length = np.hypot(delta[:, 0], delta[:, 1])
        is_long = length > 1e-9
        safe = np.where(is_long, length, 1.0)
        made = np.zeros((len(start), replay_kernels.CHORD_COLUMNS))
        made[:, replay_kernels.CHORD_X], made[:, replay_kernels.CHORD_Y] = start[:, 0], start[:, 1]
        made[:, replay_kernels.CHORD_H] = start[:, 2]
        made[:, replay_kernels.CHORD_UX] = np.where(is_long, delta[:, 0] / safe, 1.0)
        made[:, replay_kernels.CHORD_UY] = np.where(is_long, delta[:, 1] / safe, 0.0)
        made[:, replay_kernels.CHORD_LENGTH] = np.where(is_long, length, 0.0)
        made[:, replay_kernels.CHORD_SLOPE] = np.where(is_long, delta[:, 2] / safe, 0.0)
        made[:, replay_kernels.CHORD_END] = np.minimum(start[:, 2], end[:, 2])
        made[:, replay_kernels.CHORD_RADIUS] = cutter.radius
        self.chords = made
        self.rows = (rows + row0).astype(np.int32)
        self._bin(start, end, lowest, pieces, tops, lattice, size)
        self._cutting(straight[np.flatnonzero(keep)], cutter, frame)

    def _bin(self, start, end, lowest, pieces, tops, lattice, size) -> None:
        """Write down for each tile the chords whose pieces may reach what stands in it, in order."""
        reach = float(pieces[:, 1:3].max())
        nty, ntx = tops.shape
        low = np.minimum(start, end) - reach
        high = np.maximum(start, end) + reach
        origin = np.array(lattice.origin)
        first = np.clip(np.floor((low[:, :2] - origin) / size), 0, [ntx, nty]).astype(np.int64)
        last = np.clip(np.floor((high[:, :2] - origin) / size) + 1, 0, [ntx, nty]).astype(np.int64)
        wide = np.maximum(last - first, 0)
        count = wide.prod(axis=1)
        chord = np.repeat(np.arange(len(start)), count)
        nth = np.arange(len(chord)) - np.repeat(np.cumsum(count) - count, count)
        width = np.maximum(wide[chord, 0], 1)
        tile = (first[chord, 1] + nth // width) * ntx + first[chord, 0] + nth % width
        bottom = np.minimum(start[chord, 2], end[chord, 2]) + lowest
        is_near = bottom < tops.reshape(-1)[tile]
        chord, tile = chord[is_near], tile[is_near]
        order = np.argsort(tile, kind="stable")
        self.entries = chord[order]
        self.starts = np.concatenate([[0], np.cumsum(np.bincount(tile, minlength=tops.size))])

    def _cutting(self, straight: Moves, cutter: Cutter, frame: Frame) -> None:
        """Pack the cutting part along every chord."""
        everywhere = np.array([-np.inf, np.inf, -np.inf, np.inf, np.inf])
        packed = Packed(straight, {cutter.number: cutter}, frame, everywhere, 0, 0)
        codes = np.empty(len(straight), np.int8)
        records = np.empty((len(straight), packed.records.shape[1]))
        for a, b in packed.chunks:
            codes[packed.rows[a:b]], records[packed.rows[a:b]] = packed.codes[a:b], packed.records[a:b]
        self.codes, self.records = codes, records
