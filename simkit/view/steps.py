"""The field as it stands at any line of the programs, cut forward from where it was last asked for."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from simkit.errors import InputProblems, Place, Problem
from simkit.frames import Frame
from simkit.job.model import Job
from simkit.moves.table import ARC, Moves, join_moves
from simkit.program.job_programs import shown_name
from simkit.program.words import split_lines
from simkit.stock.cut import cut
from simkit.stock.field import Field, Lattice, blank_field
from simkit.stock.steps import do_steps


class Steps:
    """A job on its way: moves (n,) of all programs in the order they run, and the field behind any of them.

    job, reads: as program.job_programs gives them.  lattice: of all fields given back.
    """

    def __init__(self, job: Job, reads, lattice: Lattice):
        self.job, self.lattice = job, lattice
        self.moves: Moves = join_moves([read.moves for setup in reads for _, read in setup])
        self.frames: list[Frame] = [setup.frame(job.blank) for setup in job.setups]
        count = len(job.setups)
        self._edges = np.searchsorted(self.moves.setup, np.arange(count + 1))
        blank = job.blank
        self._starts: dict[int, Field] = {0: blank_field(lattice, blank.length, blank.width, blank.thickness)}
        self._last: tuple[int, int, Field] = (0, 0, self._starts[0])
        runs = [(i, path) for i, setup in enumerate(job.setups) for path in setup.programs]
        self.runs: list[tuple[int, Path, str]] = [(i, path, shown_name(path, job)) for i, path in runs]
        sizes = [len(read.moves) for setup in reads for _, read in setup]
        self.run_edges = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)

    def field_at(self, done: int) -> Field:
        """Return the field behind the first `done` moves, 0 to n.

        Exact as stock.cut is: the same as one cut of those moves.  Fast where `done` has grown within the
        setup it was last asked for; else the setup is cut from its start.
        """
        setup = self.setup_at(done)
        was_setup, was, field = self._last
        if was_setup != setup or was > done:
            was, field = int(self._edges[setup]), self._start(setup)
        field = self._cut(setup, was, done, field)
        self._last = (setup, done, field)
        return field

    def field_at_end(self) -> Field:
        """Return the field behind all moves and the steps that follow the last setup."""
        return do_steps(self.field_at(len(self.moves)), self.job, len(self.job.setups) - 1)[0]

    def setup_at(self, done: int) -> int:
        """Return the setup of the last of the first `done` moves."""
        return int(self.moves.setup[done - 1]) if done else 0

    def run_at(self, done: int) -> int:
        """Return the run of a program, an index into `runs`, in which the last of `done` moves is."""
        return int(np.clip(np.searchsorted(self.run_edges, done, side="left") - 1, 0, len(self.runs) - 1))

    def done_by(self, run: int, line: int) -> int:
        """Return how many moves are done when the line of that run, from 1, is."""
        first, last = self.run_edges[run : run + 2]
        return int(first + np.searchsorted(self.moves.line[first:last], line, side="right"))

    def line_at(self, done: int) -> int:
        """Return the line of the last of the first `done` moves; 1 at the start."""
        return int(self.moves.line[done - 1]) if done else 1

    def text(self, run: int) -> list[str]:
        """Return the lines of the program of a run, none where it has gone since."""
        _, path, name = self.runs[run]
        try:
            return [line.rstrip("\r\n") for line in split_lines(path.read_bytes(), name)]
        except (OSError, InputProblems):
            return []

    def chosen(self, words: str, option: str) -> int:
        """Return how many moves are done at PROGRAM:LINE, as a user writes it.  Raises InputProblems."""
        name, _, number = words.rpartition(":")
        names = [shown for _, _, shown in self.runs]
        hits = [i for i, shown in enumerate(names) if name in (shown, Path(shown).name)]
        place = Place("command line", key=option)
        if not hits:
            expected = f"PROGRAM:LINE with one of {', '.join(dict.fromkeys(names))}"
            raise InputProblems(Problem(place, f"'{words}'", expected, f"write it like {names[0]}:100"))
        lines = len(self.text(hits[0]))
        if not (number.isascii() and number.isdigit() and 1 <= int(number) <= lines):
            expected = f"a line from 1 to {lines} behind the colon"
            raise InputProblems(Problem(place, f"'{words}'", expected, f"write it like {names[hits[0]]}:1"))
        return self.done_by(hits[0], int(number))

    def lengths(self) -> np.ndarray:
        """Return how far each move goes, mm (n,)."""
        moves = self.moves
        far = np.linalg.norm(moves.end - moves.start, axis=1)
        first = np.where(moves.plane == 18, 2, np.where(moves.plane == 19, 1, 0))
        second = np.where(moves.plane == 18, 0, np.where(moves.plane == 19, 2, 1))
        rows = np.arange(len(moves))
        out = np.stack([moves.start[rows, first], moves.start[rows, second]], 1) - moves.centre
        around = np.abs(moves.sweep) * np.hypot(*out.T)
        rest = moves.end[rows, 3 - first - second] - moves.start[rows, 3 - first - second]
        return np.where(moves.kind == ARC, np.hypot(around, rest), far)

    def _start(self, setup: int) -> Field:
        if setup not in self._starts:
            before = self._start(setup - 1)
            first, last = int(self._edges[setup - 1]), int(self._edges[setup])
            self._starts[setup], _ = do_steps(self._cut(setup - 1, first, last, before), self.job, setup - 1)
        return self._starts[setup]

    def _cut(self, setup: int, first: int, last: int, field: Field) -> Field:
        if last <= first:
            return field
        part = self.moves[first:last]
        return cut(field, part, self.job.cutters, self.frames[setup], first_row=first).field
