"""The cut: the moves of one setup lower one surface of a field, exactly at the cell centres."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from simkit._jit import threads
from simkit.cutters import PROFILE, Cutter, kernel_table
from simkit.errors import ShapeError
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import ARC, LINE, Moves, make_moves
from simkit.stock import bin_kernels, pack_kernels
from simkit.stock import cut_kernels as kernels
from simkit.stock.field import UNCUT, Field, Lattice, blank_field
from simkit.stock.record_kernels import COLUMNS, WIDE_COLUMNS

TILE = 64  # cells along the edge of a tile: 32 kB of surface and owner, so that a tile stays in cache
BATCH = 30_000_000  # evaluations between two calls of progress: under 0.2 s of work
GRID = 1e9  # places are rounded to 1 / GRID mm


@dataclass(frozen=True)
class CutOutcome:
    """What a cut left, and what its rapids ran into.

    field: the new field.  contact_depth (n,) float32 mm: for a rapid the greatest depth of material, along
    z, that it took from a column at the moment it ran; 0 for all other moves.  contact_at (n, 3)
    float64 mm, blank frame: centre of that cell and height of the lowest material taken there, NaN
    where there was no contact.  evaluations: heights evaluated, for benchmarks.
    """

    field: Field
    contact_depth: np.ndarray
    contact_at: np.ndarray
    evaluations: int


def _on_grid(places: np.ndarray) -> np.ndarray:
    """Return places rounded to 1e-9 mm.

    The centre of a cell is computed from another origin in every window; rounded, it has the same bits
    in all of them.
    """
    return np.rint(np.asarray(places, dtype=np.float64) * GRID) / GRID


def _packed(moves: Moves, cutters: Mapping[int, Cutter], frame: Frame, view: np.ndarray):
    """Return codes, records, boxes, rows of the moves that can touch the view, and complain in words."""
    numbers, profiles, outlines = kernel_table(cutters)
    is_upright = (moves.kind == ARC) & (moves.plane != 17)
    is_wide = bool((profiles == PROFILE).any() or is_upright.any())
    codes, records, boxes, rows, fault = pack_kernels.pack_moves(
        moves.kind == ARC,
        moves.plane,
        moves.start,
        moves.end,
        moves.centre,
        moves.sweep,
        moves.tool,
        frame.matrix,
        frame.offset,
        numbers,
        profiles,
        outlines,
        view,
        WIDE_COLUMNS if is_wide else COLUMNS,
    )
    if fault < 0:
        raise ValueError(f"move {-1 - fault} has a coordinate that is not finite")
    if fault < len(moves):
        raise ValueError(f"move {fault} calls cutter {moves.tool[fault]}, which is not among the cutters")
    return codes, records, boxes, rows


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


def cut(
    field: Field,
    moves: Moves,
    cutters: Mapping[int, Cutter],
    frame: Frame,
    first_row: int = 0,
    progress: Callable[[float], None] | None = None,
    tile: int = TILE,
) -> CutOutcome:
    """Return the field after the moves of one setup, and the contacts of its rapids.

    field: before the cut, on any lattice; left as it is.  moves: of one setup, tip positions in its
    program frame, mm; every move cuts, rapids too.  cutters: by tool number.  frame: program frame to
    blank frame; up = +1 lowers the upper surface, -1 raises the lower one.  first_row: what is added to
    a row of `moves` to give the number kept in upper_move or lower_move (the lowest on ties).
    progress: called with the fraction done, between batches of tiles.  tile: cells along the edge of a
    tile; the result does not depend on it, nor on the number of threads.

    Error: within 1e-5 mm of the exact swept surface where its slope is at most 2, elsewhere the exact
    value of a point within 1e-6 mm in plan; stored as float32 (2e-6 mm at 32 mm).
    Source: derived in the docstrings of the *_kernels modules; twin tests/stock/naive.py.
    Raises ShapeError for a malformed field, ValueError for an unknown cutter or a place not finite.
    """
    _check_field(field)
    lattice = field.lattice
    up = frame.up
    surface, opposite = (field.upper, field.lower) if up > 0 else (field.lower, field.upper)
    owner = (field.upper_move if up > 0 else field.lower_move).astype(np.int32)
    h = np.float32(up) * np.ascontiguousarray(surface)
    floor = np.float32(up) * np.ascontiguousarray(opposite)
    contact_depth = np.zeros(len(moves), np.float32)
    contact_at = np.full((len(moves), 3), np.nan)
    evaluations = 0
    if h.size:
        evaluations = _sweep(
            lattice,
            h,
            owner,
            floor,
            moves,
            cutters,
            frame,
            first_row,
            contact_depth,
            contact_at,
            progress,
            tile,
        )
    contact_at[:, 2] *= up
    surface = np.float32(up) * h
    if up > 0:
        new = Field(lattice, field.lower.copy(), surface, field.lower_move.copy(), owner)
    else:
        new = Field(lattice, surface, field.upper.copy(), owner, field.upper_move.copy())
    return CutOutcome(new, contact_depth, contact_at, evaluations)


def _sweep(
    lattice: Lattice,
    h,
    owner,
    floor,
    moves,
    cutters,
    frame,
    first_row,
    contact_depth,
    contact_at,
    progress,
    tile,
) -> int:
    """Lower h and owner in place, fill the contacts; return the number of heights evaluated."""
    xs, ys = _on_grid(lattice.x()), _on_grid(lattice.y())
    tops = kernels.tile_tops(h, tile)
    view = np.array([xs[0], xs[-1], ys[0], ys[-1], tops.max()])
    codes, records, boxes, rows = _packed(moves, cutters, frame, view)
    size = tile * lattice.cell
    x0, y0 = lattice.origin
    starts, entries, area = bin_kernels.bin_moves(codes, records, boxes, x0, y0, size, tops)
    # A floor to the work of a tile keeps the number of batches in bounds, and lists short.
    work = np.cumsum(area / lattice.cell**2 + 100.0 * np.diff(starts) + 100.0)
    counts = np.zeros(tops.size, np.int64)
    owners = (rows + first_row).astype(np.int32)
    is_rapid = moves.rapid[rows]
    workers = threads()
    done = 0.0
    tile_at = 0
    while tile_at < tops.size:
        last = max(int(np.searchsorted(work, done + BATCH, side="right")), tile_at + 1)
        here = entries[starts[tile_at] : starts[last]]
        depths = np.zeros(len(here), np.float32)
        cells = np.zeros(len(here), np.int64)
        kernels.cut_tiles(
            h, owner, floor, xs, ys, x0, y0, lattice.cell, tile, tile_at, last, workers,
            starts, entries, codes, records, boxes, owners, is_rapid, depths, cells, counts,
        )  # fmt: skip
        if is_rapid.any():
            kernels.gather_contacts(
                depths, cells, here, records, codes, rows, floor, xs, ys, contact_depth, contact_at
            )
        tile_at, done = last, float(work[last - 1])
        if progress is not None:
            progress(done / float(work[-1]))
    return int(counts.sum())


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
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ShapeError(f"points are {points.shape}, expected (n, 2)")
    if not np.isfinite(points).all():
        raise ShapeError("points are not all finite")
    n = len(points)
    up = float(frame.up)
    begin = np.ascontiguousarray(up * np.broadcast_to(np.asarray(start, dtype=np.float64), (n,)))
    heights, owners = np.empty(n), np.empty(n, np.int32)
    if n == 0:
        return heights, owners
    points = _on_grid(points)
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
    codes, records, boxes, rows = _packed(moves, cutters, frame, view)
    starts, entries, _ = bin_kernels.bin_moves(
        codes, records, boxes, low[0], low[1], size, tops.reshape(shape[1], shape[0])
    )
    kernels.lowest_at_points(
        points, order, first, begin, starts, entries, codes, records, rows.astype(np.int32), heights, owners
    )
    return up * heights, owners


def warm_up() -> None:
    """Compile, or load from the cache, every kernel that a check needs for its cuts."""
    field = blank_field(Lattice((0.0, 0.0), 1.0, 4, 4), 4.0, 4.0, 2.0)
    cutters = {1: Cutter(1, "ball", 2.0)}
    moves = make_moves(
        kind=[LINE, ARC], rapid=[True, False], start=[[1, 1, 1], [3, 1, 1]], end=[[3, 1, 1], [1, 3, 1]],
        centre=[[0, 0], [1, 1]], sweep=[0, np.pi / 2], tool=[1, 1],
    )  # fmt: skip
    cut(field, moves, cutters, IDENTITY)
    cut_heights(np.array([[1.0, 1.0]]), moves, cutters, IDENTITY, 2.0)


assert UNCUT < 0  # an uncut cell keeps its mark on ties
