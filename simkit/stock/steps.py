"""The steps between the setups, done to a field, or once more on other cells and at any points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.frames import Frame
from simkit.job.model import Job
from simkit.job.steps import POUR, SAW
from simkit.moves.table import Moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import Field, blank_field, blank_lattice
from simkit.stock.pour import Poured, fill_again, pour
from simkit.stock.saw import Sawn, saw, take_off
from simkit.stock.thickness import Thicknessed, take, thickness

Done = Poured | Thicknessed | Sawn


def do_steps(field: Field, job: Job, setup: int) -> tuple[Field, list[Done]]:
    """Return the field after the steps that follow a setup (its index), and what each did.

    field: after that setup, on any lattice.  Each pour begins a new segment: within one the order of cuts
    does not matter, from one to the next it does.
    """
    done: list[Done] = []
    for number, step in job.steps_after(setup):
        do = pour if step.do == POUR else saw if step.do == SAW else thickness
        field, one = do(field, step, job.body(number))
        done.append(one)
    return field, done


def steps_alone(job: Job, moves: Sequence[Moves], cell: float) -> list[list[Done]]:
    """Return what the steps behind each setup do, [setup][step], where no check is run: cut here.

    moves: of each setup.  cell mm: of the cells that it is cut on; in a job without steps nothing is cut.
    """
    if not job.steps:
        return [[] for _ in job.setups]
    blank, done = job.blank, []
    lattice = blank_lattice(blank.length, blank.width, cell)
    field = blank_field(lattice, blank.length, blank.width, blank.thickness)
    for index, (setup, one) in enumerate(zip(job.setups, moves, strict=True)):
        if len(one):
            field = cut(field, one, job.cutters, setup.frame(blank)).field
        field, its = do_steps(field, job, index)
        done.append(its)
    return done


def do_again(field: Field, done: Sequence[Done]) -> Field:
    """Return a field on other cells after steps that were done on a check's cells."""
    for one in done:
        if isinstance(one, Poured):
            field = fill_again(field, one)
        elif isinstance(one, Sawn):
            field = take_off(field, one)
        else:
            field = take(field, one.up, one.face)
    return field


def columns_after(
    points: np.ndarray,
    job: Job,
    moves: Moves,
    rows: Sequence[slice],
    frames: Sequence[Frame],
    done: Sequence[Sequence[Done]],
) -> AtPoints:
    """Return the columns at any points (n, 2) after some setups and the steps that follow each: exact.

    rows, frames, done: of these setups, the first ones of the job.
    """
    left = AtPoints.of_blank(points, job.blank.thickness)
    for one, frame, its in zip(rows, frames, done, strict=True):
        start = left.upper if frame.up > 0 else left.lower
        heights, local = cut_heights(points, moves[one], job.cutters, frame, start)
        left.cut(frame.up, heights, np.where(local >= 0, local + one.start, -1))
        left.do(its)
    return left


@dataclass
class AtPoints:
    """The columns at points (n, 2) mm while a job runs: exact, as `pour.fill_again` and `thickness.take` are.

    lower, upper (n,) mm float64: of what is left.  row_lower, row_upper: of the moves that cut them, -1 for
    none.  wood_lower, wood_upper: where wood ends and resin begins, as in a Field.
    """

    points: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    row_lower: np.ndarray
    row_upper: np.ndarray
    wood_lower: np.ndarray
    wood_upper: np.ndarray

    @classmethod
    def of_blank(cls, points: np.ndarray, thickness: float) -> AtPoints:
        """Return the columns of a whole blank, thickness mm."""
        n = len(points)
        rows = [np.full(n, -1, np.int64) for _ in range(2)]
        heights = [np.full(n, height) for height in (0.0, thickness, -np.inf, np.inf)]
        return cls(points, *heights[:2], *rows, *heights[2:])

    def cut(self, up: int, heights: np.ndarray, rows: np.ndarray) -> None:
        """Take over what a setup left of one side: heights (n,) mm and rows (n,), -1 where it cut nothing."""
        is_cut = rows >= 0
        if up > 0:
            self.upper, self.row_upper = heights, np.where(is_cut, rows, self.row_upper)
        else:
            self.lower, self.row_lower = heights, np.where(is_cut, rows, self.row_lower)

    def do(self, done: Sequence[Done]) -> None:
        """Do steps that were done on a check's cells."""
        for one in done:
            if isinstance(one, Poured):
                self._fill(one)
            elif isinstance(one, Sawn):
                is_off = one.is_off(*self.points.T)
                self.upper = np.where(is_off, np.minimum(self.upper, self.lower), self.upper)
                self.row_upper = np.where(is_off, -1, self.row_upper)
                self.row_lower = np.where(is_off, -1, self.row_lower)
            else:
                self._take(one.up, one.face)

    def _take(self, up: int, face: float) -> None:
        if up > 0:
            self.row_upper = np.where(self.upper > face, -1, self.row_upper)
            self.upper = np.minimum(self.upper, face)
        else:
            self.row_lower = np.where(self.lower < face, -1, self.row_lower)
            self.lower = np.maximum(self.lower, face)

    def _fill(self, one: Poured) -> None:
        is_filled = one.hollow(self.lower, self.upper, one.near(*self.points.T))
        is_open = is_filled & (self.upper <= self.lower)
        far = one.body.face(-one.up)
        for name, is_reset in (("row_upper", one.up > 0), ("row_lower", one.up < 0)):
            setattr(self, name, np.where(is_filled if is_reset else is_open, -1, getattr(self, name)))
        if one.up > 0:
            floor = np.where(is_open, far, self.upper)
            self.wood_upper = np.where(is_filled, np.minimum(self.wood_upper, floor), self.wood_upper)
            self.lower = np.where(is_open, far, self.lower)
            self.upper = np.where(is_filled, one.level, self.upper)
        else:
            floor = np.where(is_open, far, self.lower)
            self.wood_lower = np.where(is_filled, np.maximum(self.wood_lower, floor), self.wood_lower)
            self.upper = np.where(is_open, far, self.upper)
            self.lower = np.where(is_filled, one.level, self.lower)
