"""Pieces that come free while a job runs: which, at which move, and what touches them afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from simkit.compare.grips import Grip, grips
from simkit.compare.held import held_cells, is_judged
from simkit.compare.loose_contact import touched_later
from simkit.compare.loose_stage import Columns, Loose, Stage, described, without
from simkit.compare.pieces import JOIN, LEAST_VOLUME, Pieces, pieces_of, witnesses
from simkit.frames import Frame
from simkit.job.model import Job
from simkit.moves.table import Moves
from simkit.stock.field import Field, Lattice, blank_field, blank_lattice
from simkit.stock.steps import do_again

MOST = 40  # pieces of one setup that are followed, the largest first
LOOKS = 16  # moments of a setup, besides the ends of runs, at which pieces are looked for
LOOKED_CELLS = 60_000  # coarse cells for these looks


@dataclass(frozen=True)
class LoosePieces:
    """What came free in a job.

    found: in the order in which it happened.  judged[setup]: whether the job says what holds the wood there.
    more: free pieces beyond MOST that were not followed.
    grips: what tape and vacuum hold of the pieces at the end of each setup.
    """

    found: list[Loose]
    judged: list[bool]
    more: int = 0
    grips: list[Grip] = field(default_factory=list)


def loose_pieces(
    job: Job,
    moves: Moves,
    rows: Sequence[slice],
    frames: Sequence[Frame],
    starts: Sequence[Field],
    fields: Sequence[Field],
    done: Sequence[Sequence],
    is_part: np.ndarray | None,
) -> LoosePieces:
    """Return the pieces that come free in each setup, with the move that frees each.

    moves, rows, frames: of the job, rows[setup] those of one setup.  starts, fields: before and after each
    setup, on one lattice.  done[setup]: the steps that follow it, of stock.steps.  is_part (ny, nx) bool:
    columns of the target, None without one.

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
    coarse = _Coarse(job, lattice)
    gone = np.zeros(lattice.shape, bool)
    is_part_loose = False
    found, judged, more, gripped = [], [], 0, []
    for index, (setup, one, frame) in enumerate(zip(job.setups, rows, frames, strict=True)):
        before, after = without(starts[index], gone), without(fields[index], gone)
        knows = is_judged(before, setup, blank, job.holding, job.fixtures)
        judged.append(knows)
        anchor = held_cells(before, setup, blank, job.holding, job.fixtures) if knows else None
        stage = Stage(
            index,
            before,
            moves[one],
            one.start,
            frame,
            job.cutters,
            anchor,
            is_part,
            is_part_loose,
            job.limits.skin,
        )
        told, left = _of_setup(stage, after, coarse, gone)
        more += left
        found += told
        pieces = pieces_of(after)
        gripped += grips(index, after, pieces, setup, blank, job.holding, job.fixtures, is_part)
        is_free, _ = stage.free(after, pieces)
        lost = is_free[pieces.label]
        if is_part is not None:
            mine = _parts(pieces, is_part)
            is_part_loose |= bool((mine & is_free).any())
            lost &= ~mine[pieces.label]
        gone |= lost
        coarse.field = do_again(coarse.field, done[index])
    return LoosePieces(found, judged, more, gripped)


def _of_setup(stage: Stage, after: Field, coarse: _Coarse, gone: np.ndarray) -> tuple[list[Loose], int]:
    """Return what comes free in one setup, and how many pieces more there were than were followed."""
    count = len(stage.moves)
    if not count:
        return [], 0
    end = pieces_of(after)
    # Where all that held together still does, no piece can have come free.
    looked = coarse.looks(stage, gone, pieces_of(stage.field).joined != end.joined)
    is_free, anchor = stage.free(after, end)
    points = witnesses(after, end, is_free)
    more = max(len(points) - MOST, 0)
    found: dict[tuple[int, int], tuple[Loose, Columns]] = {}
    _follow(stage, points[:MOST], anchor, count, JOIN, found)
    for last, places in looked:
        _confirm(stage, last, places, found)
    told = [touched_later(stage, piece, its) for piece, its in found.values()]
    told = [one for one in told if _is_news(stage, one)]
    return sorted([*told, *_on_skin(stage, after, end, is_free)], key=lambda one: one.row), more


def _is_news(stage: Stage, one: Loose) -> bool:
    """Tell whether a piece is told: no chip; what lay loose before the setup only where that does harm."""
    if one.volume < LEAST_VOLUME:
        return False
    if one.row >= 0:
        return True
    return stage.is_anchor is not None and (one.is_part or one.touched >= 0)


def _confirm(stage: Stage, last: int, places: np.ndarray, found: dict) -> None:
    """Follow what looked free on coarse cells after `last` moves and is on no list yet.  places (k, 2) mm."""
    cells = [tuple(int(k) for k in stage.field.lattice.cell_at(x, y)) for x, y in places]
    cells = [
        cell
        for cell in cells
        if not any(piece.row < stage.first + last and its.hold(cell) for piece, its in found.values())
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


def _on_skin(stage: Stage, after: Field, end: Pieces, is_free: np.ndarray) -> list[Loose]:
    """Return the pieces that no more than a skin holds when the setup has run."""
    skin = stage.skin
    if skin <= JOIN:
        return []
    pieces = pieces_of(after, skin)
    hangs, anchor = stage.free(after, pieces)
    points = [cell for cell in witnesses(after, pieces, hangs) if not is_free[end.label[cell]]]
    found: dict[tuple[int, int], tuple[Loose, Columns]] = {}
    _follow(stage, points[:MOST], anchor, len(stage.moves), skin, found)
    told = [piece for piece, _ in found.values() if piece.row >= 0 and piece.volume >= LEAST_VOLUME]
    return [replace(piece, is_skin=True) for piece in told]


def _follow(stage: Stage, points: list, anchor: np.ndarray, last: int, least: float, found: dict) -> None:
    """Find the move at which the wood at each point comes free of the anchor, among the first `last`.

    points: cells (iy, ix) free after `last` moves.  found {(move, piece): (Loose, Columns)}: added to.
    """

    def free_of(field: Field) -> tuple[Pieces, np.ndarray]:
        pieces = pieces_of(field, least)
        return pieces, ~pieces.at(anchor)

    def keep(field: Field, pieces: Pieces, cells: list, move: int) -> None:
        for cell in cells:
            key = (move, int(pieces.label[cell]))
            if key not in found:
                mask = pieces.label == key[1]
                found[key] = (described(stage, field, mask, move), Columns.of(mask))

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

    def looks(self, stage: Stage, gone: np.ndarray, is_asked: bool) -> list[tuple[int, np.ndarray]]:
        """Cut one setup; return moments, as counts of moves, and the places (k, 2) mm of what looks free.

        is_asked: whether any is wanted.
        """
        here = replace(
            stage,
            field=without(self.field, gone[self.cells]),
            is_anchor=None if stage.is_anchor is None else stage.is_anchor[self.cells],
            is_part=None if stage.is_part is None else stage.is_part[self.cells],
        )
        count = len(stage.moves)
        if not is_asked:
            self.field = here.after(here.field, 0, count)
            return []
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
