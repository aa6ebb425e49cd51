"""The cut: the moves of one setup lower one surface of a field, exactly at the cell centres."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np

from simkit._jit import pointer, threads
from simkit.cutters import BALL, Cutter
from simkit.errors import ShapeError
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import ARC, LINE, Moves, make_moves
from simkit.stock import bound_kernels, height_kernels, tile_kernels
from simkit.stock import cut_kernels as kernels
from simkit.stock.field import UNCUT, Field, Lattice, blank_field
from simkit.stock.memory import new_array
from simkit.stock.packed import Packed
from simkit.stock.workers import share

TILE = 96  # cells along the edge of a tile: 74 kB of surface and owner, so that a tile stays in cache
BATCH = 8_000_000  # bounds and heights between two calls of progress, a guess: some 10 ms of work
PARTS, LEAST = 8, 500_000  # parts for each thread, where they are so large: none waits long for the last
MOST_MOVES = 2**19  # moves packed at a time: 70 MB of records, 120 MB with wide ones
SMALL = 300_000  # cells: fewer are looked through by one thread
GRID = 1e9  # places are rounded to 1 / GRID mm


@dataclass(frozen=True)
class CutOutcome:
    """What a cut left.

    field: the new field.  evaluations: heights evaluated; bound_tests: lower bounds of a move over a block
    of cells computed to avoid evaluations, leaf_tests: those over leaves among them, group_tests: those of
    sixteen moves at once.  For benchmarks.
    """

    field: Field
    evaluations: int
    bound_tests: int = 0
    leaf_tests: int = 0
    group_tests: int = 0


def on_grid(places: np.ndarray) -> np.ndarray:
    """Return places rounded to 1e-9 mm.

    The centre of a cell is computed from another origin in every window; rounded, it has the same bits
    in all of them.
    """
    return np.rint(np.asarray(places, dtype=np.float64) * GRID) / GRID


@cache
def _pointers():
    """Return the heights of one move over a few cells, and the bounds of a list, as pointers for kernels."""
    bounds = pointer(bound_kernels.bounds, bound_kernels.BOUNDS)
    return pointer(height_kernels.cell_heights, height_kernels.CELL_HEIGHTS), bounds


def cell_heights_pointer():
    """Return the heights of one move over a few places, as a pointer for kernels (height_kernels)."""
    return _pointers()[0]


def bounds_pointer():
    """Return the bounds of a list of moves over a block, as a pointer for kernels (bound_kernels)."""
    return _pointers()[1]


def support_of(cutter: Cutter) -> np.ndarray:
    """Return the numbers of a cutter that bounds of its sweep need (bound_kernels)."""
    outline = cutter.outline
    on_arc = outline.arc_to > outline.arc_from
    places = np.array([outline.arc_from, outline.arc_to, outline.radius])
    places = np.minimum(places, outline.radius)
    heights = outline.heights(places) - outline.base
    side = outline.side_rise if outline.arc_to < outline.radius else np.inf
    arc = (outline.arc_e, outline.arc_f, outline.arc_r) if on_arc else (places[1], heights[1], 0.0)
    numbers = [outline.rise, min(outline.flat, outline.radius), *places, min(side, 1e9), *heights, *arc]
    return np.array(numbers, dtype=np.float32)


def _check_field(field: Field) -> None:
    for name, dtype in (
        ("lower", np.float32),
        ("upper", np.float32),
        ("lower_move", np.int32),
        ("upper_move", np.int32),
    ):
        array = getattr(field, name)
        if array.shape != field.lattice.shape or array.dtype != dtype:
            wanted = f"{dtype.__name__} {field.lattice.shape}"
            raise ShapeError(f"field.{name} is {array.dtype} {array.shape}, expected {wanted}")


def begun(field: Field, up: float, tile: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return h and owner of the side that is to be cut, to be changed, and the highest h of each tile.

    By all threads: memory fresh to a process is slow.  up: +1 the upper side, -1 the lower one, upside down.
    """
    surface = field.upper if up > 0 else field.lower
    old_owner = field.upper_move if up > 0 else field.lower_move
    h, owner = new_array(surface.shape, np.float32), new_array(surface.shape, np.int32)
    ny, nx = surface.shape
    tops = np.empty((-(-ny // tile), -(-nx // tile)), np.float32)

    def begin(a: int, b: int) -> None:
        np.copyto(owner[a:b], old_owner[a:b])
        np.multiply(surface[a:b], np.float32(up), out=h[a:b])
        kernels.tile_tops(h, tile, a // tile, -(-b // tile), tops)

    _share_rows(begin, h, tile)
    return h, owner, tops


def ended(field: Field, up: float, h: np.ndarray, owner: np.ndarray) -> Field:
    """Return the field with what `begun` gave on the side that was cut."""
    if up > 0:
        return replace(field, upper=h, upper_move=owner)
    _share_rows(lambda a, b: np.negative(h[a:b], out=h[a:b]), h, 1)
    return replace(field, lower=h, lower_move=owner)


def _share_rows(job: Callable[[int, int], None], cells: np.ndarray, step: int) -> None:
    """Call job(first, last) for parts of the rows of an array, multiples of `step` long."""
    steps = -(-len(cells) // step)
    parts = min(steps, 8) if cells.size > SMALL else 1
    edges = [min(i * steps // parts * step, len(cells)) for i in range(parts + 1)] if steps else [0]
    share(lambda i: job(edges[i], edges[i + 1]), len(edges) - 1, is_short=True)


def cut(
    field: Field,
    moves: Moves,
    cutters: Mapping[int, Cutter],
    frame: Frame,
    first_row: int = 0,
    progress: Callable[[float], None] | None = None,
    tile: int = TILE,
    is_plain: bool = False,
) -> CutOutcome:
    """Return the field after the moves of one setup.

    field: before the cut, on any lattice; left as it is.  moves: of one setup, tip positions in its
    program frame, mm; every move cuts, rapids too.  cutters: by tool number.  frame: program frame to
    blank frame; up = +1 lowers the upper surface, -1 raises the lower one.  first_row: what is added to
    a row of `moves` to give the number kept in upper_move or lower_move (the lowest on ties).
    progress: called with the fraction done, between batches of tiles.  tile: cells along the edge of a
    tile; the result does not depend on it, nor on the number of threads.  is_plain: evaluate every move
    at every cell it covers (cut_kernels) instead of the fast way (tile_kernels): same result, slower.
    The side that is not cut is shared with the field given, not copied.

    Error: within 1e-5 mm of the exact swept surface where its slope is at most 2, elsewhere the exact
    value of a point within 1e-6 mm in plan; stored as float32 (2e-6 mm at 32 mm).
    Source: derived in the docstrings of the *_kernels modules; twin tests/stock/naive.py.
    Raises ShapeError for a malformed field, ValueError for an unknown cutter or a place not finite.
    """
    _check_field(field)
    lattice = field.lattice
    up = frame.up
    h, owner, tops = begun(field, up, tile)
    sweep = _Sweep(lattice, h, owner, tops, first_row, tile, is_plain)
    if h.size:
        done = 0
        for first, last in runs(moves.tool, MOST_MOVES):
            share_of = (done / len(moves), (last - first) / len(moves))
            told = None if progress is None else (lambda part, a=share_of: progress(a[0] + part * a[1]))
            sweep.add(moves[first:last], cutters, frame, first, told)
            done += last - first
    new = ended(field, up, h, owner)
    heights, in_blocks, in_leaves, of_groups = (int(count) for count in sweep.counts)
    return CutOutcome(new, heights, in_blocks + in_leaves + of_groups, in_leaves, of_groups)


def _parts(work: float) -> int:
    """Return in how many parts a work is shared out: what comes out does not depend on it."""
    return int(max(work / BATCH, min(PARTS * threads(), work / LEAST), 1))


def runs(tool: np.ndarray, most: int) -> list[tuple[int, int]]:
    """Return (first, last) of runs of moves of one cutter, at most `most` long."""
    edges = np.concatenate([[0], np.flatnonzero(np.diff(tool)) + 1, [len(tool)]])
    return [
        (int(a), int(min(a + most, last)))
        for first, last in pairwise(edges)
        for a in range(first, last, most)
    ]


class _Sweep:
    """A surface on its way down: h and owner change in place with every run of moves of one cutter."""

    def __init__(self, lattice: Lattice, h, owner, tops, first_row, tile, is_plain):
        self.lattice, self.h, self.owner, self.tops = lattice, h, owner, tops
        self.first_row, self.tile, self.is_plain = first_row, tile, is_plain
        self.xs, self.ys = on_grid(lattice.x()), on_grid(lattice.y())
        self.counts = np.zeros(4, np.int64)

    def add(self, moves: Moves, cutters: Mapping[int, Cutter], frame: Frame, first: int, progress) -> None:
        """Cut a run of moves of one cutter; first: its row in the whole table."""
        number = int(moves.tool[0])
        one = {number: cutters[number]} if number in cutters else {}
        view = np.array([self.xs[0], self.xs[-1], self.ys[0], self.ys[-1], float(self.tops.max())])
        row0 = self.first_row + first
        is_strips = bool(one) and one[number].code == BALL and not self.is_plain
        extent = 1.5 * self.tile * self.lattice.cell if is_strips else 0.0
        packed = Packed(moves, one, frame, view, row0, first, extent)
        if not one:
            return
        tops, tile, lattice = self.tops.reshape(-1), self.tile, self.lattice
        x0, y0 = lattice.origin
        starts, entries = packed.bins(x0, y0, tile * lattice.cell, self.tops)
        support, pointers = support_of(one[number]), _pointers()
        profile = one[number].code
        per_tile = np.diff(starts)
        busy = np.flatnonzero(per_tile)
        # A tile costs some work for each of its moves, and some for each cell.
        work = np.cumsum(120.0 * per_tile[busy] + 8.0 * tile * tile)
        parts = _parts(work[-1]) if len(busy) else 0
        cuts = (
            np.unique(np.searchsorted(work, np.linspace(0, 1, parts + 1)[1:-1] * work[-1])) if parts else []
        )
        edges = [0, *(busy[cuts] if parts else []), tops.size]
        counts = np.zeros((tops.size, 4), np.int64)

        def cut_part(i: int) -> None:
            t0, t1 = int(edges[i]), int(edges[i + 1])
            common = (self.h, self.owner, self.xs, self.ys)
            lists = (starts, entries, packed.codes, packed.rows, packed.records)
            strips = (packed.strips, packed.frames)
            if self.is_plain:
                kernels.cut_plain(
                    *common, x0, y0, lattice.cell, tile, t0, t1, *lists, packed.boxes, tops, counts,
                )  # fmt: skip
            else:
                tile_kernels.cut_blocks(
                    *common, lattice.cell, tile, t0, t1, *lists, *strips, profile, support, *pointers, tops,
                    counts,
                )  # fmt: skip

        after = None
        if progress is not None:
            after = lambda done: progress(done / (len(edges) - 1))  # noqa: E731
        share(cut_part, len(edges) - 1 if len(busy) else 0, after)
        self.counts += counts.sum(axis=0)
        if progress is not None:
            progress(1.0)


def cut_heights(
    points: np.ndarray,
    moves: Moves,
    cutters: Mapping[int, Cutter],
    frame: Frame,
    start: float | np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Return the surface that the moves of one setup leave at any points, and the moves that cut it.

    points (n, 2) mm, blank frame; moves, cutters, frame as for `cut`; start: height of the uncut
    surface there, blank-frame z, mm, one number or (n,).
    Returns heights (n,) float64 mm, blank-frame z of the side that the frame cuts, and rows (n,) int32:
    row in `moves` of the lowest cut (the first on ties), -1 where nothing cut below `start`.
    Error: as for `cut`, without the rounding to float32; points are rounded to 1e-9 mm.
    """
    return _heights(points, lambda view: Packed(moves, cutters, frame, view, 0, 0), float(frame.up), start)


def packed_heights(
    points: np.ndarray, packed: Packed, up: int, start: float | np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return what `cut_heights` does, of moves packed for any view; up: of their frame.

    For those who ask again and again: packing takes longer than the heights at a few points.
    """
    return _heights(points, lambda view: packed.within(*view[:4]), float(up), start)


def _heights(points, pack: Callable[[np.ndarray], Packed], up: float, start):
    """Return what `cut_heights` does; pack(view): the moves that may cut in a view, see `pack_kernels`."""
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ShapeError(f"points are {points.shape}, expected (n, 2)")
    if not np.isfinite(points).all():
        raise ShapeError("points are not all finite")
    n = len(points)
    begin = np.ascontiguousarray(up * np.broadcast_to(np.asarray(start, dtype=np.float64), (n,)))
    heights, owners = np.empty(n), np.empty(n, np.int32)
    if n == 0:
        return heights, owners
    points = on_grid(points)
    low, high = points.min(axis=0), points.max(axis=0)
    # Buckets of about eight points, so that each point meets few moves in vain.
    size = max(float((high - low).max()) / max(np.sqrt(n / 8), 1.0), 0.25)
    shape = np.floor((high - low) / size).astype(np.int64) + 1
    place = np.minimum(np.floor((points - low) / size).astype(np.int64), shape - 1)
    bucket = place[:, 1] * shape[0] + place[:, 0]
    order = np.argsort(bucket, kind="stable")
    first = np.concatenate([[0], np.cumsum(np.bincount(bucket, minlength=int(shape.prod())))])
    tops = np.full(int(shape.prod()), -np.inf)
    np.maximum.at(tops, bucket, begin)
    view = np.array([low[0], high[0], low[1], high[1], begin.max()])
    packed = pack(view)
    # Rounded up, so that no move below the start is left out.
    tops = np.nextafter(tops.astype(np.float32), np.float32(np.inf)).reshape(shape[1], shape[0])
    starts, entries = packed.bins(low[0], low[1], size, tops)
    work = np.cumsum(np.diff(starts) * np.diff(first))
    parts = min(_parts(work[-1]), len(work))
    edges = np.unique(np.searchsorted(work, np.linspace(0, 1, parts + 1)[1:-1] * work[-1]))
    edges = np.concatenate([[0], edges[edges > 0], [len(work)]])
    call = cell_heights_pointer()

    def look(i: int) -> None:
        kernels.lowest_at_points(
            points, order, first, edges[i], edges[i + 1], begin, starts, entries, packed.codes,
            packed.records, packed.rows, call, heights, owners,
        )  # fmt: skip

    share(look, len(edges) - 1)
    return up * heights, owners


def _few_moves() -> tuple[Moves, dict[int, Cutter]]:
    moves = make_moves(
        kind=[LINE, ARC], rapid=[True, False], start=[[1, 1, 1], [3, 1, 1]], end=[[3, 1, 1], [1, 3, 1]],
        centre=[[0, 0], [1, 1]], sweep=[0, np.pi / 2], tool=[1, 1],
    )  # fmt: skip
    return moves, {1: Cutter(1, "ball", 2.0)}


def warm_up() -> None:
    """Compile, or load from the cache, every kernel that a check needs for its cuts."""
    _pointers()
    field = blank_field(Lattice((0.0, 0.0), 1.0, 4, 4), 4.0, 4.0, 2.0)
    cut(field, *_few_moves(), IDENTITY)
    cut_heights(np.array([[1.0, 1.0]]), *_few_moves(), IDENTITY, 2.0)


assert UNCUT < 0  # an uncut cell keeps its mark on ties
