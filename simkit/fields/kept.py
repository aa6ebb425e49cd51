"""A field that an earlier check kept, taken up again: for the setups that were run, in place of cutting them.

What stands on the machine was cut by the programs as they were then.  So they come from the file, with their
names and lines as then, and every exact question (between the cells, on finer ones) is asked of their moves.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from simkit.check import Known, job_lattice
from simkit.errors import InputProblems, Problem
from simkit.fields.archive import REMEDY, Archive
from simkit.fields.keep import SURFACES, TOLD, WOOD, array_member, program_member
from simkit.fields.stated import (
    ABOUT,
    FORM,
    VERSION,
    blank_stated,
    cutter_stated,
    first_other,
    lie_stated,
    reading_stated,
    step_stated,
)
from simkit.job.files import sha256_of, shown_text
from simkit.job.locate import printable
from simkit.job.model import Job
from simkit.moves.table import Moves
from simkit.program.job_programs import LARGEST_FILE, read_as_stated, shown_name
from simkit.program.reader import ProgramRead
from simkit.stock.field import UNCUT, Field
from simkit.stock.replay import Replay

LARGEST_ABOUT = 2**22  # bytes
MOST = 1e9  # mm and mm3: of what no check looks at, so that sums stay numbers
MOST_SETUPS, MOST_PROGRAMS = 1000, 10_000
SAME, MOVED, CHANGED, GONE = "same", "moved", "changed", "gone"
AS_KEPT = " (as kept)"  # behind the name of a program that has changed since
_PARTS = ("neck", "shank", "holder")
_TYPES = {
    "lower": np.float32,
    "upper": np.float32,
    "lower_move": np.int32,
    "upper_move": np.int32,
    "wood_lower": np.float32,
    "wood_upper": np.float32,
    "depth": np.float32,
}
_WIDTH = {"at": (3,), "along": (2,)}


@dataclass(frozen=True)
class Taken:
    """The setups that come from a kept field, for check.

    reads: of their programs, as program.job_programs gives them, with the names they are told by.
    known: what each setup did.  told: of each its name and, for each program, its name then
    ("file"), sha256, what has become of it ("state": SAME, MOVED, CHANGED, GONE), and its name in findings
    ("named").
    """

    reads: list[list[tuple[Path, ProgramRead]]]
    known: list[Known]
    told: list[dict[str, Any]]


class Kept:
    """A kept field as a file.  Only what is asked for is read.

    path: the file.  cell: edge of its cells, mm.  Raises InputProblems for a file that is none.
    """

    def __init__(self, path: Path):
        self.path = path
        self._archive = Archive(path)
        if path.exists() and not path.is_file() and not path.is_dir():  # to read a pipe may take for ever
            found, expected = "something that is no ordinary file", "a field as --keep-field writes it"
            raise InputProblems(self._archive.problem(found, expected, "name a file on disk"))
        with self._archive.told():
            about = json.loads(self._archive.get(ABOUT, LARGEST_ABOUT))
            _need(isinstance(about, dict) and about.get("form") == FORM, f"{ABOUT} is of another form")
        if about.get("version") != VERSION:
            found = f"a kept field of version {shown_text(str(about.get('version')))}"
            raise InputProblems(self._archive.problem(found, f"version {VERSION}"))
        with self._archive.told():
            _check_form(about)
        self._about = about
        self.cell = float(about["cell"])

    @property
    def setups(self) -> list[dict[str, Any]]:
        """What is told of each setup in the file."""
        return self._about["setups"]

    def take(self, job: Job, count: int) -> Taken:
        """Return the first `count` setups of a job as the file has them.

        Raises InputProblems where the file does not fit the job in what their cut hangs on: blank, how it
        lay, zeros, how programs are read, cutters used, steps in between.  Steps behind the last of them are
        the job's.
        """
        problems = self._misfits(job, count)
        if problems:
            raise InputProblems(problems)
        reads, told = [], []
        for index in range(count):
            rows = self._programs(job, index)
            reads.append([(Path(row["file"]), self._read(job, index, j, row)) for j, row in enumerate(rows)])
            told.append({"name": self.setups[index]["name"], "programs": rows})
        tools = {int(tool) for own in reads for _, read in own for tool in np.unique(read.moves.tool)}
        problems = self._other_cutters(job, tools)
        if problems:
            raise InputProblems(problems)
        return Taken(reads, [partial(self._did, job, index) for index in range(count)], told)

    def otherwise(self, job: Job, reads, index: int, part: int, line: int) -> list[str]:
        """Return in words how what the job has now up to a line of a program differs from what is kept.

        index, part, line: setup, program in it (from 0) and line (from 1) up to which it was run.  Compared
        are the moves up to there, their cutters, and where the setup's zero is.  Empty: the same, or the file
        ends before that setup.
        """
        if index >= len(self.setups):
            return []
        setup, kept = job.setups[index], self.setups[index]
        words = []
        if kept["lie"] != lie_stated(setup):
            words.append(f"the turn or the zero of '{setup.name}'")
        tools: set[int] = set()
        for number, (path, read) in enumerate(reads[index][: part + 1]):
            moves = read.moves
            if number == part:
                moves = moves[np.flatnonzero(moves.line <= line)]
            tools |= {int(tool) for tool in np.unique(moves.tool)}
            its = kept["programs"][number] if number < len(kept["programs"]) else None
            if its is None:
                words.append(f"{read.name}, which is not in it")
            elif its["sha256"] != sha256_of(path) or kept["reading"] != reading_stated(job, setup):
                first = self._first_other(job, index, number, moves, is_whole=number < part)
                if first is not None:
                    words.append(f"{read.name} from line {first:,} on")
        words += [f"cutter {number}" for number in sorted(tools) if self._cutter_misfit(job, number)]
        return words

    def _first_other(self, job: Job, index: int, part: int, moves: Moves, is_whole: bool) -> int | None:
        """Return the line of the first move that is not as kept, None: all are; is_whole: of a program."""
        data, name = self._bytes(index, part), self.setups[index]["programs"][part]["name"]
        reading = self.setups[index]["reading"]
        setup = job.setups[index]
        # What cannot be read as it was then is not the same.
        broken = (TypeError, KeyError, AttributeError, ValueError, ArithmeticError)
        with contextlib.suppress(InputProblems, *broken):
            setup = replace(
                setup, **{key: reading[key] for key in ("cutter", "program_units", "work_offsets")}
            )
            job = replace(job, block_delete=reading["block_delete"], arc_tolerance=reading["arc_tolerance"])
            then = read_as_stated(data, name, job, setup, index).moves
            return first_other(moves, then if is_whole else then[: len(moves)])
        return int(moves.line[0]) if len(moves) else 1

    def _misfits(self, job: Job, count: int) -> list[Problem]:
        problem, its = self._archive.problem, self._about
        if its["blank"] != blank_stated(job):
            then, now = (
                " x ".join(f"{size:g}" for size in sizes) for sizes in (its["blank"], blank_stated(job))
            )
            return [problem(f"a field of a blank {then} mm", f"{now} mm, as the job has it")]
        lattice = job_lattice(job, self.cell)
        if its["cells"] != [lattice.nx, lattice.ny]:
            found = f"{its['cells'][0]} x {its['cells'][1]} cells of {self.cell:g} mm"
            return [problem(found, f"{lattice.nx} x {lattice.ny}, which cover the blank")]
        if len(self.setups) < count:
            found = f"a field of {len(self.setups)} setup{'s' if len(self.setups) > 1 else ''}"
            return [problem(found, f"one of the {count} that were run before '{job.setups[count].name}'")]
        found = []
        steps = [step_stated(step) for step in job.steps if step.after < count - 1]
        if [step for step in its["steps"] if step["after"] < count - 1] != steps:
            found.append(problem("other [[steps]] between its setups", "those of the job"))
        for setup, kept in zip(job.setups[:count], self.setups, strict=False):
            for then, now in (
                (kept["lie"], lie_stated(setup)),
                (kept["reading"], reading_stated(job, setup)),
            ):
                for key in now:
                    if then.get(key) != now[key]:
                        was, expected = _words(then.get(key)), f"{_words(now[key])}, as the job has it"
                        found.append(problem(f"'{setup.name}' cut with {key} {was}", expected))
        return found

    def _other_cutters(self, job: Job, tools: set[int]) -> list[Problem]:
        found = []
        for number in sorted(tools):
            if misfit := self._cutter_misfit(job, number):
                expected = f"{misfit[1]}, as the job has it"
                remedy = f"give a new cutter a number of its own in job and program, or {REMEDY}"
                found.append(
                    self._archive.problem(f"a cut with cutter {number}, {misfit[0]}", expected, remedy)
                )
        return found

    def _cutter_misfit(self, job: Job, number: int) -> tuple[str, str] | None:
        """Return what a cutter was in the file and what it is in the job, in words; None: the same."""
        then = self._about["cutters"].get(str(number), {})
        if number not in job.cutters:
            return "as kept", "one of the cutters"
        now = cutter_stated(job.cutters[number])
        keys = [key for key in now if then.get(key) != now[key]]
        if not keys:
            return None
        return tuple(", ".join(f"{key} {_words(one.get(key))}" for key in keys) for one in (then, now))

    def _programs(self, job: Job, index: int) -> list[dict[str, Any]]:
        """Return what is told of the programs of a setup in the file."""
        now = [(shown_name(path, job), _sha256(path)) for path in job.setups[index].programs]
        rows = []
        for number, kept in enumerate(self.setups[index]["programs"]):
            name, sha256 = kept["name"], kept["sha256"]
            if number < len(now) and now[number][1] == sha256:
                state, name = SAME, now[number][0]  # it may bear another name by now
            elif places := [one for one, its in now if its == sha256]:
                state, name = MOVED, places[0]
            else:
                state = CHANGED if any(name == one and its for one, its in now) else GONE
            named = name if state in (SAME, MOVED) else name + AS_KEPT
            rows.append({"file": name, "sha256": sha256, "state": state, "named": named})
        return rows

    def _bytes(self, index: int, part: int) -> bytes:
        data = self._archive.get(program_member(index, part), LARGEST_FILE)
        with self._archive.told():
            its = hashlib.sha256(data).hexdigest() == self.setups[index]["programs"][part]["sha256"]
            _need(its, f"{program_member(index, part)} is not the one it was")
        return data

    def _read(self, job: Job, index: int, part: int, row: dict[str, Any]) -> ProgramRead:
        read = read_as_stated(self._bytes(index, part), row["named"], job, job.setups[index], index)
        return replace(read, sha256=row["sha256"])

    def _did(self, job: Job, index: int, before: Field, rows: slice) -> Replay:
        """Return what a setup did: before, what stood there then; rows: of its moves."""
        about, lattice, n = self.setups[index], before.lattice, rows.stop - rows.start
        with self._archive.told():
            _need(about["moves"] == n, f"'{about['name']}' has {about['moves']} moves, its programs {n}")
        arrays = {}
        for name in (*SURFACES, *(WOOD if about["resin"] else ()), *TOLD):
            shape = (n, *_WIDTH.get(name, ())) if name in TOLD else lattice.shape
            arrays[name] = self._array(index, name, shape)
        field = Field(
            lattice,
            *(arrays[name] for name in SURFACES),
            arrays.get("wood_lower"),
            arrays.get("wood_upper"),
            None if about["sawn"] is None else tuple(about["sawn"]),
        )
        with self._archive.told():
            _check_cut(before, field, job.setups[index].frame(job.blank).up, rows)
        parts = about["parts"]
        rubbed = {part: self._array(index, f"rub_depth {part}", (n,), np.float32) for part in parts}
        rubbed_at = {part: self._array(index, f"rub_at {part}", (n, 3)) for part in parts}
        with self._archive.told():
            _check_told(arrays)
            for part in parts:
                _need(_is_measure(rubbed[part]), f"rub_depth {part}")
                _need(_is_place(rubbed_at[part], rubbed[part] > 0), f"rub_at {part}")
        return Replay(field, *(arrays[name] for name in TOLD), rubbed, rubbed_at, about["evaluations"])

    def _array(self, index: int, name: str, shape: tuple[int, ...], dtype: type | None = None) -> np.ndarray:
        return self._archive.get_array(
            array_member(index, name), shape, dtype or _TYPES.get(name, np.float64)
        )


def _sha256(path: Path) -> str:
    """Return the hash of a program of the job, "" where it has none any more."""
    try:
        return sha256_of(path)
    except InputProblems:
        return ""


def _check_cut(before: Field, after: Field, up: int, rows: slice) -> None:
    """Hold a setup's field against what stood before it: it only went down, on one side, by its own moves."""
    far = ("lower", "lower_move") if up > 0 else ("upper", "upper_move")
    is_same = all(np.array_equal(getattr(before, name), getattr(after, name)) for name in (*far, *WOOD))
    _need(
        is_same and before.sawn == after.sawn, "what stood before a setup is not what the one before it left"
    )
    old, new = (before.upper, after.upper) if up > 0 else (after.lower, before.lower)
    _need(bool((new <= old).all()), "wood that grows")
    was, owner = (before.upper_move, after.upper_move) if up > 0 else (before.lower_move, after.lower_move)
    is_own = (owner >= rows.start) & (owner < rows.stop)
    _need(bool((is_own | ((owner == was) & (owner >= UNCUT))).all()), "moves that are not its own")
    _need(bool((is_own == (new < old)).all()), "moves that are not its own")
    _need(bool((np.abs(new) <= MOST).all()), "heights")


def _check_told(arrays: dict[str, np.ndarray]) -> None:
    """Look at what was told of each move, as later code takes it for granted.  Raises ValueError."""
    for name in ("volume", "depth", "under"):
        _need(_is_measure(arrays[name]), name)
    volume, right, along = arrays["volume"], arrays["right"], arrays["along"]
    with np.errstate(invalid="ignore"):
        _need(bool((np.abs(right) <= volume * (1 + 1e-9)).all()), "right")
    is_cut = volume > 0
    _need(bool(((arrays["depth"] > 0) == is_cut).all()), "depth")
    _need(_is_place(arrays["at"], is_cut), "at")
    _need(_is_place(arrays["top"][:, None], is_cut), "top")
    # Upright arcs tell none.
    _need(_is_place(along, is_cut & ~np.isnan(along).any(axis=1)), "along")


def _is_measure(values: np.ndarray) -> bool:
    """Whether all are numbers, none of them below 0 or beyond any machine."""
    return bool(((values >= 0) & (values <= MOST)).all())


def _is_place(values: np.ndarray, is_told: np.ndarray) -> bool:
    """Whether the rows that are told hold numbers of some machine, and the others nothing."""
    near, none = (np.abs(values) <= MOST).all(axis=1), ~np.isfinite(values).any(axis=1)
    return bool(np.where(is_told, near, none).all())


def _check_form(about: dict[str, Any]) -> None:
    """Look at what later code takes for granted of the words beside a field.  Raises ValueError, KeyError.

    Names are made such that a terminal only shows them.
    """
    cell, cells = about["cell"], about["cells"]
    _need(isinstance(cell, float) and 0.001 <= cell <= 100, "cell")
    _need(_is_list(cells, int) and len(cells) == 2, "cells")
    _need(_is_list(about["blank"], float) and len(about["blank"]) == 3, "blank")
    _need(_is_list(about["steps"], dict) and isinstance(about["cutters"], dict), "steps or cutters")
    _need(all(isinstance(step.get("after"), int) for step in about["steps"]), "steps")
    _need(all(isinstance(one, dict) for one in about["cutters"].values()), "cutters")
    setups = about["setups"]
    _need(_is_list(setups, dict) and 1 <= len(setups) <= MOST_SETUPS, "setups")
    for setup in setups:
        _need(isinstance(setup["name"], str), "name of a setup")
        setup["name"] = printable(setup["name"])
        _need(isinstance(setup["lie"], dict) and isinstance(setup["reading"], dict), "lie or reading")
        _need(type(setup["moves"]) is int and type(setup["evaluations"]) is int, "moves or evaluations")
        _need(setup["moves"] >= 0 and 0 <= setup["evaluations"] < 2**62, "moves or evaluations")
        _need(_is_list(setup["parts"], str) and set(setup["parts"]) <= set(_PARTS), "parts")
        _need(isinstance(setup["resin"], bool), "resin")
        sawn = setup["sawn"]
        _need(sawn is None or (_is_list(sawn, (int, float)) and len(sawn) == 4), "sawn")
        programs = setup["programs"]
        _need(_is_list(programs, dict) and len(programs) <= MOST_PROGRAMS, "programs")
        for program in programs:
            _need(isinstance(program["name"], str) and isinstance(program["sha256"], str), "a program")
            program["name"] = printable(program["name"])


def _is_list(value: Any, kind) -> bool:
    return isinstance(value, list) and all(isinstance(one, kind) for one in value)


def _need(is_so: bool, words: str) -> None:
    if not is_so:
        raise ValueError(words)


def _words(value: Any) -> str:
    if value is None:
        return "not stated"
    return shown_text(value) if isinstance(value, str) else shown_text(json.dumps(value)).strip("'")
