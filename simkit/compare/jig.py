"""The jigs of a job: each a job of its own, read, cut, and held against the piece that is laid into it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy import ndimage

from simkit.compare.pieces import LEAST_VOLUME, pieces_of, volumes
from simkit.compare.seat import REACH, Seat, seat
from simkit.errors import InputProblems, Place, Problem
from simkit.frames import Frame
from simkit.job.model import Job
from simkit.job.reader import read_job
from simkit.moves.table import Moves, join_moves
from simkit.program.job_programs import read_programs
from simkit.stock.field import Field, Lattice, blank_lattice
from simkit.stock.steps import Done, columns_after, steps_alone

CELLS, FINEST = 250_000, 0.2  # over the board of a jig with steps, mm: where resin stands is known to a cell
JIG_CELL = 1.0  # mm: a wall of the jig is found where it parts the corners of such a cell


@dataclass(frozen=True)
class Jig:
    """The jig of a setup (its index), as its own job cuts it, with what the steps between its setups did."""

    setup: int
    job: Job
    moves: list[Moves]
    done: list[list[Done]]

    def top(self, points: np.ndarray) -> np.ndarray:
        """Return its height over the table at points (n, 2), mm, 0 where it is open and beside it."""
        body, frames = self.job.last_body, [setup.frame(self.job.blank) for setup in self.job.setups]
        inside = ((points > body.low[:2]) & (points < body.high[:2])).all(axis=1)
        ends = np.cumsum([len(one) for one in self.moves])
        rows = [slice(int(end) - len(one), int(end)) for end, one in zip(ends, self.moves, strict=True)]
        left = columns_after(points[inside], self.job, join_moves(self.moves), rows, frames, self.done)
        top = np.zeros(len(points))
        top[inside] = np.where(left.upper > left.lower, left.upper - body.low[2], 0.0)
        return top


@dataclass(frozen=True)
class Laid:
    """One piece of the blank in the jig of a setup (its index).

    name: "the piece", with its middle in the blank where that is in several pieces, each laid in by itself.
    number: from 1, 0 where the blank is in one piece.
    """

    setup: int
    name: str
    number: int
    seat: Seat


def read_jigs(job: Job) -> list[Jig]:
    """Return the jigs that the setups of a job name.

    Raises InputProblems for what is wrong in a jig's job file or its programs, and for a jig laid into a jig.
    """
    jigs = []
    for index, setup in enumerate(job.setups):
        if setup.jig is None:
            continue
        jig = read_job(setup.jig)
        if any(one.jig is not None for one in jig.setups):
            key = f"setups[{index}].jig"
            place = Place(job.file, job.lines.get(key), key=key)
            found, remedy = (
                f"'{setup.jig.name}', whose own setups name a jig",
                "check the jig's job by itself",
            )
            raise InputProblems(Problem(place, found, "the job of a jig that lies on the table", remedy))
        reads = read_programs(jig)
        moves = [join_moves([read.moves for _, read in one]) for one in reads]
        cell = max(FINEST, float(np.sqrt(jig.blank.length * jig.blank.width / CELLS)))
        jigs.append(Jig(index, jig, moves, steps_alone(jig, moves, cell)))
    return jigs


def seats(
    job: Job,
    jigs: list[Jig],
    moves: Moves,
    rows: list[slice],
    frames: list[Frame],
    starts: list[Field],
    done: list[list[Done]],
    is_part: np.ndarray | None,
) -> list[Laid]:
    """Return how the blank, as the setups and steps before left it, seats in each jig, piece by piece.

    starts: the blank before each setup.  done[setup]: the steps that follow it.  is_part (ny, nx) bool:
    columns of the target, None without one.
    """
    found = []
    for jig in jigs:
        start = starts[jig.setup]
        masks = _pieces(start, is_part)
        for number, is_mine in enumerate(masks, 1):
            is_one = is_mine is None
            name = "the piece"
            if not is_one:
                x, y = start.lattice.centre_of(*np.argwhere(is_mine).mean(axis=0))
                name += f" at x {x:.0f}, y {y:.0f}"
            one = _seat(job, jig, moves, rows, frames, start, done, is_mine)
            found.append(Laid(jig.setup, name, 0 if is_one else number, one))
    return found


def _pieces(start: Field, is_part: np.ndarray | None) -> list[np.ndarray | None]:
    """Return the cells of each piece that is laid in, the largest first; None: all that is left.

    Offcuts, that hold nothing of the part, are lifted off before.
    """
    pieces = pieces_of(start)
    size = volumes(start, pieces)
    is_asked = size >= LEAST_VOLUME
    if is_asked.sum() <= 1:
        return [None]
    if is_part is not None and (holds := is_asked & pieces.at(is_part)).any():
        is_asked = holds
    chosen = np.flatnonzero(is_asked)
    return [pieces.label == one for one in chosen[np.argsort(-size[chosen], kind="stable")]]


def _seat(
    job: Job, jig: Jig, moves: Moves, rows, frames, start: Field, done, is_mine: np.ndarray | None
) -> Seat:
    index, setup, blank = jig.setup, job.setups[jig.setup], job.blank
    lie, face = setup.lie(blank), setup.body(blank).face(-setup.lie(blank).up)
    up = setup.jig_at[2]
    across, deep = setup.size_on_table(blank)
    # What lies between the cells of a piece and the next belongs to the nearer one.
    nearest = None if is_mine is None else _nearest(start, is_mine)

    def bottom(points: np.ndarray) -> np.ndarray:
        on_table = points - setup.jig_at[:2]
        inside = (on_table > 0).all(axis=1) & (on_table[:, 0] < across) & (on_table[:, 1] < deep)
        at = lie.apply_plan(on_table[inside])
        left = columns_after(at, job, moves, rows[:index], frames[:index], done[:index])
        found = np.full(len(points), np.inf)
        # The stated height is that of the lower face; resin poured over it reaches below.
        under = left.lower - face if lie.up > 0 else face - left.upper
        is_wood = left.upper > left.lower
        if nearest is not None:
            is_wood &= nearest[start.lattice.cell_at(*at.T)]
        found[inside] = np.where(is_wood, under + up, np.inf)
        return found

    cell = max(start.lattice.cell, 0.2)
    low, high = np.zeros(2), np.array([across, deep])
    if is_mine is not None:
        iy, ix = np.nonzero(is_mine)
        ends = np.column_stack(start.lattice.centre_of(iy[[0, -1]], np.array([ix.min(), ix.max()])))
        ends = np.sort(lie.inverse().apply_plan(ends), axis=0)
        rim = 1.5 * cell  # from the middles of its outer cells: one more cell, on the lattice of the field
        low, high = np.maximum(ends[0] - rim, low), np.minimum(ends[1] + rim, high)
    right, back = np.add(setup.jig_at[:2], low)
    lattice = blank_lattice(*(high - low), cell)
    lattice = Lattice((right, back), cell, lattice.nx, lattice.ny)
    mass = _mass_centre(start, is_mine)
    on_table = lie.inverse().apply_plan(np.array([mass]))[0] + setup.jig_at[:2]
    room = 2 * REACH
    size = blank_lattice(*(high - low + 2 * room), JIG_CELL)
    board = Lattice((right - room, back - room), JIG_CELL, size.nx, size.ny)
    return seat(bottom, partial(Jig.top, jig), lattice, board, on_table)


def _nearest(field: Field, is_mine: np.ndarray) -> np.ndarray:
    """Return which cells are a piece's, or without wood and nearer to it than to any other, bool."""
    _, (iy, ix) = ndimage.distance_transform_edt(~field.is_solid, return_indices=True)
    return is_mine[iy, ix]


def _mass_centre(field: Field, is_mine: np.ndarray | None) -> tuple[float, float]:
    """Return where the weight acts (x, y) mm, blank frame; resin counts as wood."""
    is_mine = field.is_solid if is_mine is None else field.is_solid & is_mine
    depth = np.where(is_mine, field.upper.astype(np.float64) - field.lower, 0.0)
    total = max(float(depth.sum()), 1e-12)
    return (
        float(depth.sum(axis=0) @ field.lattice.x()) / total,
        float(depth.sum(axis=1) @ field.lattice.y()) / total,
    )
