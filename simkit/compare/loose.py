"""Pieces that come free while a job runs: which, at which move, and what touches them afterwards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.held import held_cells, is_judged
from simkit.compare.pieces import EDGE, JOIN, Pieces, main_piece, pieces_of, witnesses
from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.job.model import Job
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.cut import cut
from simkit.stock.field import Field, Lattice, blank_field, blank_lattice
from simkit.stock.replay import replay

MOST = 12  # pieces of one setup that are followed, the largest first
LOOKS = 16  # moments of a setup, besides the ends of runs, at which pieces are looked for
LOOKED_CELLS = 60_000  # coarse cells for these looks
TOUCH = 0.02  # mm: what goes less deep touches nothing


@dataclass(frozen=True, slots=True)
class Loose:
    """A piece that came free.

    setup: index.  row: of the move that freed it, -1 when nothing held it from the start of the setup.
    volume mm3, size (x, y, z) mm, box (x low, y low, x high, y high) mm, at (x, y, z) mm: when it came
        free, blank frame; at: top of its thickest column, as it lies.
    is_part: it is the part, or one of them.  at_edge: it goes on to the blank's edge.
    is_skin: no more than a skin still holds it.
    touched: row of the first later move that takes wood off it or runs neck, shank or holder into it, -1
        for none; contact: with what, "" for none; depth mm: how deep at most; touches: how many moves.
    grazed: row of the first later move that runs along it within a cell, -1 for none.
    """

    setup: int
    row: int
    volume: float
    size: tuple[float, float, float]
    box: tuple[float, float, float, float]
    at: tuple[float, float, float]
    is_part: bool
    at_edge: bool
    is_skin: bool = False
    touched: int = -1
    contact: str = ""
    depth: float = 0.0
    touches: int = 0
    grazed: int = -1


@dataclass(frozen=True)
class LoosePieces:
    """What came free in a job.

    found: in the order in which it happened.  judged[setup]: whether the job says what holds the wood there.
    more: free pieces beyond MOST that were not followed.
    """

    found: list[Loose]
    judged: list[bool]
    more: int = 0


@dataclass
class _Stage:
    """One setup on its way: moves, from row `first` on; is_anchor (ny, nx) bool: cells of what is held.

    is_anchor is None where the job does not say; then the main piece is what is held.
    """

    index: int
    field: Field
    moves: Moves
    first: int
    frame: Frame
    cutters: Mapping[int, Cutter]
    is_anchor: np.ndarray | None
    is_part: np.ndarray | None
    prefers_part: bool
    skin: float

    def after(self, field: Field, first: int, last: int) -> Field:
        """Return a field after moves first to last of the setup, the last left out."""
        row = self.first + first
        return cut(field, self.moves[first:last], self.cutters, self.frame, first_row=row).field

    def free(self, field: Field, pieces: Pieces) -> tuple[np.ndarray, np.ndarray]:
        """Return which pieces nothing holds, bool (count + 1,), and the cells of what is held."""
        cells = self.is_anchor
        if cells is None:
            main = main_piece(field, pieces, self.is_part, self.prefers_part)
            cells = (pieces.label == main) & (pieces.label > 0)
        is_free = ~pieces.at(cells)
        is_free[0] = False
        return is_free, cells


def loose_pieces(
    job: Job,
    moves: Moves,
    rows: Sequence[slice],
    frames: Sequence[Frame],
    fields: Sequence[Field],
    is_part: np.ndarray | None,
) -> LoosePieces:
    """Return the pieces that come free in each setup, with the move that frees each.

    moves, rows, frames: of the job, rows[setup] those of one setup.  fields: after each setup, on one
    lattice.  is_part (ny, nx) bool: columns of the target, None without one.

    A piece is free as soon as it holds together with nothing that is held (compare.held); where the job
    says nothing of that in a setup, with the main piece.  Wood only goes, so once free it stays free, and
    the move is found by halving: whole prefixes of the setup are cut on the lattice of `fields`, so it is
    the move after which the columns at cell centres no longer hold together, while before it they did.
    Pieces are looked for at the end of each setup; and on coarser cells at the ends of runs of a cutter and
    LOOKS moments between, which are then confirmed on the lattice: what comes free and is cut up wholly
    between two of these is missed.  Pieces below LEAST_VOLUME are not told.
    A free piece that is not the part is taken to be lifted off before the next setup.
    """
    blank, lattice = job.blank, fields[0].lattice
    before = blank_field(lattice, blank.length, blank.width, blank.thickness)
    coarse = _Coarse(job, lattice)
    gone = np.zeros(lattice.shape, bool)
    is_part_loose = False
    found, judged, more = [], [], 0
    for index, (setup, one, frame, after) in enumerate(zip(job.setups, rows, frames, fields, strict=True)):
        before, after = _without(before, gone), _without(after, gone)
        knows = is_judged(before, setup, blank, job.holding, job.fixtures)
        judged.append(knows)
        anchor = held_cells(before, setup, blank, job.holding, job.fixtures) if knows else None
        stage = _Stage(
            index, before, moves[one], one.start, frame, job.cutters, anchor, is_part, is_part_loose,
            job.limits.skin,
        )
        told, left = _of_setup(stage, after, coarse, gone)
        more += left
        found += told
        pieces = pieces_of(after)
        is_free, _ = stage.free(after, pieces)
        lost = is_free[pieces.label]
        if is_part is not None:
            mine = _parts(pieces, is_part)
            is_part_loose |= bool((mine & is_free).any())
            lost &= ~mine[pieces.label]
        gone |= lost
        before = fields[index]
    return LoosePieces(found, judged, more)


def _of_setup(stage: _Stage, after: Field, coarse: _Coarse, gone: np.ndarray) -> tuple[list[Loose], int]:
    """Return what comes free in one setup, and how many pieces more there were than were followed."""
    count = len(stage.moves)
    looked = coarse.looks(stage, gone)
    if not count:
        return [], 0
    start, end = pieces_of(stage.field), pieces_of(after)
    is_free, anchor = stage.free(after, end)
    points = witnesses(after, end, is_free)
    more = max(len(points) - MOST, 0)
    found: dict[tuple[int, int], tuple[Loose, np.ndarray]] = {}
    _follow(stage, points[:MOST], anchor, count, JOIN, found)
    if end.joined != start.joined:
        for last, places in looked:
            _confirm(stage, last, places, found)
    told = [_touched(stage, piece, mask) for piece, mask in found.values()]
    told = [one for one in told if _is_news(stage, one)]
    return sorted([*told, *_on_skin(stage, after, end, is_free)], key=lambda one: one.row), more


def _is_news(stage: _Stage, one: Loose) -> bool:
    """Tell whether a piece is to be told: what lay loose before the setup only where that is known to harm."""
    if one.row >= 0:
        return True
    return stage.is_anchor is not None and (one.is_part or one.touched >= 0)


def _confirm(stage: _Stage, last: int, places: np.ndarray, found: dict) -> None:
    """Follow what looked free on coarse cells after `last` moves and is on no list yet.  places (k, 2) mm."""
    cells = [tuple(int(k) for k in stage.field.lattice.cell_at(x, y)) for x, y in places]
    cells = [
        cell
        for cell in cells
        if not any(mask[cell] and piece.row < stage.first + last for piece, mask in found.values())
    ]
    if not cells:
        return
    field = stage.after(stage.field, 0, last)
    pieces = pieces_of(field)
    is_free, anchor = stage.free(field, pieces)
    free = [cell for cell in cells if is_free[pieces.label[cell]]]
    room = MOST - len(found)
    if free and room > 0:
        _follow(stage, free[:room], anchor, last, JOIN, found)


def _on_skin(stage: _Stage, after: Field, end: Pieces, is_free: np.ndarray) -> list[Loose]:
    """Return the pieces that no more than a skin holds when the setup has run."""
    skin = stage.skin
    if skin <= JOIN:
        return []
    pieces = pieces_of(after, skin)
    hangs, anchor = stage.free(after, pieces)
    points = [cell for cell in witnesses(after, pieces, hangs) if not is_free[end.label[cell]]]
    found: dict[tuple[int, int], tuple[Loose, np.ndarray]] = {}
    _follow(stage, points[:MOST], anchor, len(stage.moves), skin, found)
    return [replace(piece, is_skin=True) for piece, _ in found.values() if piece.row >= 0]


def _follow(stage: _Stage, points: list, anchor: np.ndarray, last: int, least: float, found: dict) -> None:
    """Find the move at which the wood at each point comes free of the anchor, among the first `last`.

    points: cells (iy, ix) free after `last` moves.  found {(move, piece): (Loose, mask)}: added to.
    """

    def free_of(field: Field) -> tuple[Pieces, np.ndarray]:
        pieces = pieces_of(field, least)
        return pieces, ~pieces.at(anchor)

    def keep(field: Field, pieces: Pieces, cells: list, move: int) -> None:
        for cell in cells:
            key = (move, int(pieces.label[cell]))
            if key not in found:
                mask = pieces.label == key[1]
                found[key] = (_described(stage, field, mask, move), mask)

    if not points:
        return
    pieces, is_free = free_of(stage.field)
    from_start = [cell for cell in points if is_free[pieces.label[cell]]]
    keep(stage.field, pieces, from_start, -1)
    # Stretches of moves, each with the points that come free in it and the field before it.
    open_stretches = [(0, last, stage.field, [cell for cell in points if cell not in from_start])]
    while open_stretches:
        low, high, field, mine = open_stretches.pop()
        if not mine:
            continue
        middle = (low + high) // 2 if high - low > 1 else high
        then = stage.after(field, low, middle)
        pieces, is_free = free_of(then)
        if middle == high:
            keep(then, pieces, mine, high - 1)
            continue
        sooner = [cell for cell in mine if is_free[pieces.label[cell]]]
        later = [cell for cell in mine if cell not in sooner]
        open_stretches += [(middle, high, then, later), (low, middle, field, sooner)]


def _described(stage: _Stage, field: Field, mask: np.ndarray, move: int) -> Loose:
    """Return what can be said of a piece, mask (ny, nx) bool, as it comes free at a move of the setup."""
    lattice = field.lattice
    iy, ix = np.nonzero(mask)
    low, high = field.lower[mask].astype(np.float64), field.upper[mask].astype(np.float64)
    thickest = int(np.argmax(high - low))
    (x0, y0), cell = lattice.origin, lattice.cell
    box = (x0 + ix.min() * cell, y0 + iy.min() * cell, x0 + (ix.max() + 1) * cell, y0 + (iy.max() + 1) * cell)
    y, x = lattice.y()[iy[thickest]], lattice.x()[ix[thickest]]
    top = high[thickest] if stage.frame.up > 0 else low[thickest]
    room = max(1, round(EDGE / cell))
    at_edge = iy.min() < room or ix.min() < room or iy.max() >= lattice.ny - room or ix.max() >= lattice.nx - room
    mine = 0 if stage.is_part is None else np.count_nonzero(mask & stage.is_part)
    return Loose(
        stage.index,
        -1 if move < 0 else stage.first + move,
        float((high - low).sum()) * cell**2,
        (float(box[2] - box[0]), float(box[3] - box[1]), float(high.max() - low.min())),
        tuple(float(value) for value in box),
        (float(x), float(y), float(top)),
        bool(mine) and mine * 2 >= min(len(iy), np.count_nonzero(stage.is_part)),
        bool(at_edge),
    )


def _touched(stage: _Stage, piece: Loose, mask: np.ndarray) -> Loose:
    """Return the piece with what later moves of the setup do to it.

    The feed moves that follow the one that freed it without a lift and end within a diameter of its end
    belong to that cut, and do not count.
    """
    moves, done = stage.moves, piece.row + 1 - stage.first if piece.row >= 0 else 0
    rows = np.arange(done + _run_on(stage, done), len(moves))
    field = stage.after(stage.field, 0, done) if done else stage.field
    window, alone = _alone(field, mask, stage.frame.up)
    rows = rows[_is_near(moves[rows], stage, window)]
    if not len(rows):
        return piece
    met = replay(alone, moves[rows], stage.cutters, stage.frame)
    kinds = {"cutting part": met.depth, **met.rub_depth}
    deepest = np.max(list(kinds.values()), axis=0)
    hit = np.flatnonzero(deepest > TOUCH)
    if len(hit):
        first = hit[0]
        contact = max(kinds, key=lambda name: kinds[name][first])
        return replace(
            piece,
            touched=stage.first + int(rows[first]),
            contact=contact,
            depth=float(deepest[hit].max()),
            touches=len(hit),
        )
    return replace(piece, grazed=_grazed(stage, alone, rows))


def _grazed(stage: _Stage, alone: Field, rows: np.ndarray) -> int:
    """Return the row of the first later feed move along a piece that takes nothing off it; -1 for none.

    Only where such moves together are longer than the cutter is wide: a lift beside the piece is none.
    """
    moves = stage.moves[rows]
    delta = moves.end - moves.start
    is_along = ~moves.rapid & ((np.hypot(delta[:, 0], delta[:, 1]) > 0.01) | (moves.sweep != 0))
    rows = rows[is_along]
    if not len(rows):
        return -1
    is_wood = alone.is_solid
    around = ndimage.maximum_filter(np.where(is_wood, alone.upper, -np.inf), footprint=_CROSS)
    below = ndimage.minimum_filter(np.where(is_wood, alone.lower, np.inf), footprint=_CROSS)
    is_rim = ~is_wood & np.isfinite(around)
    upper = np.where(is_rim, around, alone.lower).astype(np.float32)
    lower = np.where(is_rim, below, alone.lower).astype(np.float32)
    rim = Field(alone.lattice, lower, np.where(is_rim, upper, lower), alone.lower_move, alone.upper_move)
    met = replay(rim, stage.moves[rows], stage.cutters, stage.frame)
    hit = np.flatnonzero(met.depth > TOUCH)
    if not len(hit):
        return -1
    width = stage.cutters[int(stage.moves.tool[rows[hit[0]]])].diameter
    return stage.first + int(rows[hit[0]]) if stage.moves[rows[hit]].length().sum() > width else -1


_CROSS = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], bool)


def _run_on(stage: _Stage, done: int) -> int:
    """Return how many moves behind the first `done` still belong to the cut that freed a piece."""
    moves = stage.moves
    if not done or moves.rapid[done - 1]:
        return 0
    place, width = moves.end[done - 1], stage.cutters[int(moves.tool[done - 1])].diameter
    count = 0
    while done + count < len(moves):
        k = done + count
        is_apart = moves.rapid[k] or moves.tool[k] != moves.tool[done - 1]
        if is_apart or np.linalg.norm(moves.end[k] - place) > width or moves.length()[k] > width:
            break
        count += 1
    return count


def _alone(field: Field, mask: np.ndarray, up: int) -> tuple[Lattice, Field]:
    """Return a window round a piece, and the field there without any other wood."""
    iy, ix = np.nonzero(mask)
    y0, x0 = max(iy.min() - 1, 0), max(ix.min() - 1, 0)
    here = np.s_[y0 : iy.max() + 2, x0 : ix.max() + 2]
    window = field.lattice.window(int(y0), int(iy.max() + 2), int(x0), int(ix.max() + 2))
    lower, upper, mine = field.lower[here], field.upper[here], mask[here]
    # Where nothing stands the surface that is cut lies on the other one.
    lower, upper = (lower, np.where(mine, upper, lower)) if up > 0 else (np.where(mine, lower, upper), upper)
    return window, Field(window, lower.copy(), upper.copy(), field.lower_move[here], field.upper_move[here])


def _is_near(moves: Moves, stage: _Stage, window: Lattice) -> np.ndarray:
    """Return which moves may come over a window in plan, with all that is above the cutter, bool (n,)."""
    low, high = extremes(moves.in_frame(stage.frame))
    cones = [cone for cutter in stage.cutters.values() for cone in cutter.stack]
    widths = [cutter.radius for cutter in stage.cutters.values()]
    reach = max([*widths, *(max(cone.low_radius, cone.high_radius) for cone in cones)])
    x, y = window.x(), window.y()
    return (
        (low[:, 0] - reach <= x[-1])
        & (high[:, 0] + reach >= x[0])
        & (low[:, 1] - reach <= y[-1])
        & (high[:, 1] + reach >= y[0])
    )


def _without(field: Field, gone: np.ndarray) -> Field:
    """Return the field without the wood of some cells."""
    if not gone.any():
        return field
    return Field(
        field.lattice, field.lower, np.where(gone, field.lower, field.upper), field.lower_move, field.upper_move
    )


def _parts(pieces: Pieces, is_part: np.ndarray) -> np.ndarray:
    """Return which pieces are mostly of the part, or hold most of it, bool (count + 1,)."""
    mine = pieces.sums(is_part & (pieces.label > 0))
    area = pieces.sums(pieces.label > 0)
    found = (mine > 0) & (2 * mine >= np.minimum(area, np.count_nonzero(is_part)))
    found[0] = False
    return found


class _Coarse:
    """The job cut once more on coarse cells, to look for pieces while it runs."""

    def __init__(self, job: Job, fine: Lattice):
        blank = job.blank
        cell = max(fine.cell, float(np.sqrt(blank.length * blank.width / LOOKED_CELLS)))
        self.lattice = blank_lattice(blank.length, blank.width, cell)
        self.field = blank_field(self.lattice, blank.length, blank.width, blank.thickness)
        x, y = np.meshgrid(self.lattice.x(), self.lattice.y())
        self.cells = fine.cell_at(x, y)  # the fine cell at the centre of each coarse one

    def looks(self, stage: _Stage, gone: np.ndarray) -> list[tuple[int, np.ndarray]]:
        """Cut one setup; return moments, as counts of moves, and the places (k, 2) mm of what looks free."""
        here = replace(
            stage,
            field=_without(self.field, gone[self.cells]),
            is_anchor=None if stage.is_anchor is None else stage.is_anchor[self.cells],
            is_part=None if stage.is_part is None else stage.is_part[self.cells],
        )
        count = len(stage.moves)
        runs = np.flatnonzero(np.diff(stage.moves.tool.astype(np.int64))) + 1
        moments = np.unique([*runs, *np.linspace(0, count, LOOKS + 2).astype(int)[1:], count])
        found, field, done = [], here.field, 0
        joined = pieces_of(field).joined
        for last in moments[moments > 0].tolist():
            field = here.after(field, done, last)
            done, pieces = last, pieces_of(field)
            if pieces.joined == joined:
                continue
            joined = pieces.joined
            is_free, _ = here.free(field, pieces)
            cells = witnesses(field, pieces, is_free)
            if cells and last < count:
                iy, ix = np.array(cells).T
                found.append((last, np.column_stack([self.lattice.x()[ix], self.lattice.y()[iy]])))
        self.field = field
        return found
