"""Everything that was computed for a job, as the finders read it.  Judged nowhere but in findings."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from simkit.compare.zones import Zones
from simkit.cutters import Cutter
from simkit.findings.sides_words import sides_remarks
from simkit.frames import Frame
from simkit.job.model import Job, Setup
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.field import Field
from simkit.stock.pour import Poured
from simkit.stock.replay import Replay
from simkit.stock.steps import AtPoints
from simkit.units import area_words


@dataclass
class Evidence:
    """The facts of one check.

    job, reads: reads[setup] is a list of (path, ProgramRead).
    moves: of all setups in the order they run, each in its own program frame; `moves.setup` says
        whose.  rows[setup]: slice of them.  frames[setup]: program frame -> blank frame.
    field: the blank after all setups and steps.  starts: before each setup.  fields: after each setup.
    done[setup]: the steps that follow it, of stock.steps.
    replays[setup]: what each move took and what rubbed, of stock.replay.
    effort: of effort.effort, time and bite of all moves.
    meshes: of the fixtures that have one, target.fixture_mesh.
    grazes, first_ways: of machine.grazes, one list for each setup.
    stops, below_table, beyond_travel, fixture_contacts: of the modules of `machine`, one for each setup.
    target, target_grid, envelopes, deviations {1: ..., 2: ...}, break_through, walls, target_walls: of
        the modules of those names in `target` and `compare`; None or empty without a target.
    coarseness: of target.coarseness.  outside: of compare.outline.  wood_outside: of compare.outside.
    reach, cusps {1: ..., 2: ...}: of compare.reach_options and compare.cusps, for the sides in `deviations`.
    loose: of compare.loose.
    stood: of compare.standing.  seam: of compare.seam.  holes, pins: of compare.dowels.
    poses: of compare.pose_fit, one for each setup.  seats: of compare.jig, one for each piece in a jig.
    recut(lattice) -> Field: the whole job cut again on another lattice, by the moves near it alone.
    columns(points (n, 2)) -> stock.steps.AtPoints: what is left, exact at any points.
    thin_looks, may_lose (ny, nx) mm: of findings.thin_wall, made when first asked for, and for the budget.
    sweeps {1: ..., 2: ...}: of compare.sweeps, made when first asked for.
    may_exceed(side, is_gouge, most (ny, nx), is_asked (ny, nx), floor mm) -> compare.between.Unproved: where
        between the samples a deviation may be larger than `most`.
    offsets: of compare.offset, for each side judged.  other_size: of compare.cutter_size.
    wrong_call: of compare.wrong_call.
    budget: of budget.budget, None for a job of one side or without a target.
    supposed: of findings.supposed, where this is the check of a changed job.
    lines: of report.section_line, along which the person wants to see it cut open; nothing is judged there.
    causes, not_matched: filled in by judging: of findings.causes, and words of findings.accept.
    """

    job: Job
    reads: list[list[tuple[Any, Any]]]
    moves: Moves
    rows: list[slice]
    frames: list[Frame]
    recut: Callable[..., Field]
    columns: Callable[..., AtPoints]
    field: Field
    starts: list[Field]
    fields: list[Field]
    replays: list[Replay]
    done: list[list[Any]]
    may_exceed: Callable[..., Any] | None = None
    sweeps: dict[int, Any] = field(default_factory=dict)
    effort: Any = None
    meshes: dict[str, np.ndarray] = field(default_factory=dict)
    grazes: list[list] = field(default_factory=list)
    first_ways: list[list] = field(default_factory=list)
    stops: list[list] = field(default_factory=list)
    below_table: list[Any] = field(default_factory=list)
    beyond_travel: list[list] = field(default_factory=list)
    fixture_contacts: list[list] = field(default_factory=list)
    target: Any = None
    target_grid: Any = None
    envelopes: Any = None
    deviations: dict[int, Any] = field(default_factory=dict)
    coarseness: Any = None
    outside: Any = None
    wood_outside: Any = None
    break_through: Any = None
    walls: Any = None
    target_walls: Any = None
    thin_looks: Any = None
    may_lose: Any = None
    reach: dict[int, Any] = field(default_factory=dict)
    cusps: dict[int, Any] = field(default_factory=dict)
    loose: Any = None
    stood: list[Any] = field(default_factory=list)
    seam: Any = None
    holes: list[Any] = field(default_factory=list)
    pins: list[Any] = field(default_factory=list)
    seats: list[Any] = field(default_factory=list)
    poses: list[Any] = field(default_factory=list)
    offsets: list[Any] = field(default_factory=list)
    other_size: Any = None
    wrong_call: Any = None
    budget: Any = None
    supposed: Any = None
    lines: list[Any] = field(default_factory=list)
    causes: list[Any] = field(default_factory=list)
    not_matched: list[str] = field(default_factory=list)

    @cached_property
    def zones(self) -> Zones:
        """The zones of the job, with the limits that count in each."""
        return Zones(self.job.limits, self.job.zones)

    @cached_property
    def cut_boxes(self) -> list[list[np.ndarray | None]]:
        """How far the cutting moves of a program go, [setup][program], its own frame: (2, 3) mm, or None."""
        boxes = []
        for own in self.reads:
            boxes.append([])
            for _, read in own:
                low, high = extremes(read.moves[np.flatnonzero(~read.moves.rapid)])
                boxes[-1].append(np.array([low.min(axis=0), high.max(axis=0)]) if len(low) else None)
        return boxes

    def heights(self, points: np.ndarray) -> tuple[np.ndarray, ...]:
        """Return lower, upper (n,) mm, row_lower, row_upper (n,) at any points (n, 2): exact."""
        left = self.columns(points)
        return left.lower, left.upper, left.row_lower, left.row_upper

    def steps_done(self) -> list[tuple[int, Any]]:
        """Return what each step of the job did, with its number in `job.steps`, in the order of the work."""
        return [
            (number, one)
            for setup, its in enumerate(self.done)
            for (number, _), one in zip(self.job.steps_after(setup), its, strict=True)
        ]

    @property
    def is_poured(self) -> np.ndarray | None:
        """Cells that a pour of the job filled, and those beside them, bool (ny, nx); None without one."""
        near = [one.is_near for its in self.done for one in its if isinstance(one, Poured)]
        return np.any(near, axis=0) if near else None

    def setup_of(self, row: int) -> Setup:
        """Return the setup in which a move runs."""
        return self.job.setups[int(self.moves.setup[row])]

    def cutter_of(self, row: int) -> Cutter:
        """Return the cutter of a move."""
        return self.job.cutters[int(self.moves.tool[row])]

    def carving(self, side: int) -> list[Cutter]:
        """Return the cutters that the programs of a side cut with, drills left out, by number."""
        numbers: set[int] = set()
        for one, frame in zip(self.rows, self.frames, strict=True):
            if frame.up == (1 if side == 1 else -1):
                moves = self.moves[one]
                numbers |= {int(tool) for tool in np.unique(moves.tool[~moves.rapid])}
        cutters = [self.job.cutters[number] for number in sorted(numbers)]
        return [cutter for cutter in cutters if cutter.shape != "drill"]

    def source_of(self, row: int) -> dict[str, Any]:
        """Return the fields of a Finding that say which line of which program a move is."""
        if row < 0:
            return {}
        return {
            "file": self.moves.programs[int(self.moves.program[row])],
            "line": int(self.moves.line[row]),
            "cutter": str(self.cutter_of(row)),
            "setup": self.setup_of(row).name,
        }

    @property
    def calls(self) -> dict[tuple[int, int], list[int]]:
        """The lines that call a cutter, by setup and program as `moves` numbers them."""
        return {
            (setup, self.moves.programs.index(read.name)): [line for _, line, _ in read.tools_called]
            for setup, own in enumerate(self.reads)
            for _, read in own
            if read.tools_called and read.name in self.moves.programs
        }

    def run_words(self, rows: np.ndarray, row: int) -> str:
        """Return how many moves of one kind there are and where they begin, told beside that of one of them.

        rows: all of them, in order.  row: whose figures are told.  "" where it is the only one.
        """
        if len(rows) < 2:
            return ""
        first = int(rows[0])
        if first == row:
            return f"; the first of {len(rows)} such moves"
        moves = self.moves
        program = moves.programs[int(moves.program[first])]
        of = "" if moves.program[first] == moves.program[row] else f" of {program}"
        return f"; the worst of {len(rows)} such moves, the first in line {moves.line[first]}{of}"

    def place_of(self, at, setup_index: int | None) -> dict[str, Any]:
        """Return the fields of a Finding that say where it is, in blank and program frame."""
        at = tuple(float(value) for value in at)
        if setup_index is None:
            return {"at": at}
        program_at = self.frames[setup_index].inverse().apply(np.array(at))
        return {"at": at, "program_at": tuple(float(value) for value in program_at)}

    @property
    def evaluations(self) -> int:
        """Heights of swept cutters that were evaluated for `field`."""
        return sum(one.evaluations for one in self.replays)

    def job_line(self, key: str) -> dict[str, Any]:
        """Return the fields of a Finding that point at a key of the job file."""
        job = self.job
        return {"file": Path(job.file).name, "line": job.lines.get(key), "column": job.columns.get(key)}

    def remarks(self, is_turned: bool = False) -> list[str]:
        """Return what a person should know beside the findings, in words.

        is_turned: a setup was found to lie the wrong way; what follows from that is left out.
        """
        words = []
        if self.wood_outside is not None:
            words += _outside_words(self.wood_outside)
        words += self._stated_words()
        words += self._elsewhere_words()
        words += self._not_judged_words()
        if self.target is not None:
            words += list(self.target.notes)
        words += sides_remarks(self, is_turned)
        return words

    def _stated_words(self) -> list[str]:
        """Return what the reader did because the job states it, in words."""
        reads = [read for setup in self.reads for _, read in setup]
        return [str(notice) for read in reads for notice in read.warnings if notice.is_stated]

    def _elsewhere_words(self) -> list[str]:
        """Return which files of the job lie outside its folder, in words."""
        if not self.job.file:
            return []
        folder = os.path.normcase(os.path.abspath(Path(self.job.file).parent))
        files = [path for setup in self.job.setups for path in setup.programs]
        files += [self.job.target.mesh] if self.job.target is not None else []
        files += [fixture.mesh for fixture in self.job.fixtures if fixture.mesh is not None]
        files += [setup.jig for setup in self.job.setups if setup.jig is not None]
        outside = []
        for path in files:
            full = os.path.normcase(os.path.abspath(path))
            if not full.startswith(os.path.join(folder, "")) and path.name not in outside:
                outside.append(path.name)
        return [f"outside the folder of the job file: {', '.join(outside)}"] if outside else []

    def _not_judged_words(self) -> list[str]:
        """Return what of the part is not judged because the job says so, in words."""
        words = []
        for side in self.deviations:
            index = self.zones.index(self.field.lattice, side)[self.envelopes.is_part]
            for number, rule in enumerate(self.zones.rules):
                area = np.count_nonzero(index == number) * self.field.lattice.cell**2
                if not rule.is_judged and area:
                    words.append(f"not judged: zone '{rule.name}', {area_words(area)} of side {side}")
        return words


def _outside_words(outside: Any) -> list[str]:
    """Return what is left outside the outline of the part, in words."""
    parts = []
    for name, word in (("frame", "frame"), ("tabs", "tab"), ("skin", "skin"), ("offcut", "offcut")):
        pieces = outside.pieces[name]
        if outside.area[name] < 1.0:  # crumbs
            continue
        counted = name in ("tabs", "offcut")
        what = f"{pieces} {word}{'s' if pieces > 1 else ''}" if counted else word
        parts.append(f"{what} {area_words(outside.area[name])}")
    return [f"left outside the outline of the part, not judged: {', '.join(parts)}"] if parts else []
