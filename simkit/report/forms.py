"""What a result holds, as types: the JSON Schema is made of them, and so are the objects of the Python API.

Lengths mm, areas mm2, volumes mm3, times minutes unless a key says otherwise; places (x, y, z) in the blank
frame.  A number that is not known, or has no bound, is None.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from simkit.kinds import KINDS
from simkit.report.budget_forms import Budget
from simkit.report.step_forms import Steps
from simkit.report.table_forms import Along, Bite, Cusps, Faster, Held, Place, Reach, Seam, Seat, Time, told

VERSION = 1  # of the result's form; raised when a key changes its meaning
FAILING = ("safety", "beyond", "undecided")
SEVERITY = Literal["safety", "beyond", "undecided", "warning", "accepted", "note"]
STATUS = Literal["within limits", "beyond limits", "undecided", "warnings", "no worse"]


@dataclass(frozen=True, slots=True)
class JobName:
    """Which job it was."""

    name: str = told("for people")
    file: str = told("the job file as it was named, '' without one")
    unit: str | None = told("of plain numbers in the job file; lengths here are mm", is_optional=True)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of the check."""

    status: STATUS = told("'warnings' only with --strict, 'no worse' only with --against")
    sentence: str = told("the line that a check ends with")
    exit_status: Literal[0, 1] = told("1 fails a build")


@dataclass(frozen=True, slots=True)
class Blank:
    """The blank as the job states it."""

    length: float = told("mm, along x")
    width: float = told("mm, along y")
    thickness: float = told("mm, along z")
    species: str = told("the wood, '' when not stated")
    grain: str = told("which way the fibres run, '' when not stated")
    hardness: str = told("'soft' or 'hard'")
    cutting_force: float | None = told("N/mm2")


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of the whole part, mm."""

    gouge: float = told("deepest cut into the part")
    leftover: float = told("most that may stand proud of it")
    thinnest_wall: float = told("thinnest wall")
    witness_step: float = told("highest step where the two sides meet")
    dowel_miss: float = told("farthest from a dowel hole to its pin")
    cusp: float | None = told("highest ridge between passes; None: not judged")
    slenderness: float = told("height of what stands, as a multiple of its thickness")
    finish_allowance: float = told("left on purpose for sanding")
    skin: float = told("wood thinner than this holds no piece")


@dataclass(frozen=True, slots=True)
class Zone:
    """The limits of a place; the first zone is the whole part."""

    name: str = told("as the job names it")
    gouge: float = told("mm")
    leftover: float = told("mm")
    finish_allowance: float = told("mm")
    is_judged: bool = told("False: the shape does not matter there")
    side: int | None = told("1 or 2, None: both")
    area: dict[str, float] = told("of the part that it judges, by side, mm2")


@dataclass(frozen=True, slots=True)
class Program:
    """A program that was run."""

    file: str = told("from the job file's folder")
    sha256: str = told("of its bytes")
    moves: int = told("how many")
    cutters: tuple[int, ...] = told("numbers of those it uses")
    largest_arc_mismatch: float = told("mm, between the radii of an arc as written")
    unit: str | None = told("'in' where it counts in inches alone, else 'mm'", is_optional=True)


@dataclass(frozen=True, slots=True)
class SetupRun:
    """A setup and what was run in it."""

    name: str = told("as the job names it")
    turn: str = told("'none', 'about x' or 'about y'")
    swing: str = told("how it is swung round after that")
    programs: tuple[Program, ...] = told("in the order they run")


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of the blank."""

    volume: float = told("sum of the columns at cell centres")
    bound: float = told("how far that may be off")
    unit: str = told("mm3")


@dataclass(frozen=True, slots=True)
class Outside:
    """Wood of one sort that stands outside the outline of the part."""

    area: float = told("mm2")
    volume: float = told("mm3")
    pieces: int = told("how many")


@dataclass(frozen=True, slots=True)
class Target:
    """The wanted part."""

    file: str = told("name of the mesh")
    sha256: str = told("of its bytes")
    triangles: int = told("how many")
    volume: float = told("mm3")
    facet_sagitta: float | None = told("mm, how far its facets stand off a smooth surface")
    notes: tuple[str, ...] = told("in words")


@dataclass(frozen=True, slots=True)
class Cause:
    """Findings that one thing explains."""

    number: int = told("from 1, worst first")
    kind: Literal[KINDS] = told("of its worst finding")
    severity: SEVERITY = told("of its worst finding")
    findings: tuple[int, ...] = told("their numbers")
    message: str = told("one sentence")
    advice: str = told("what to do")
    file: str = told("what is to be changed, where that is not the line of its worst finding; else ''")
    line: int | None = told("in it, from 1")
    column: int | None = told("in it, from 1")


@dataclass(frozen=True, slots=True)
class Face:
    """One face of a wall that is too thin."""

    side: int | None = told("1 or 2: whose cut or step made it; None: it is the edge of the blank")
    at: Place = told("mm, blank frame")
    program_at: Place | None = told("the same place as the program of `setup` counts")
    file: str = told("program, or job file for a step; '' where nothing cut it")
    line: int | None = told("in it, from 1")
    cutter: str = told("in words")
    setup: str = told("name")


@dataclass(frozen=True, slots=True)
class Moment:
    """How thick a wall was at a moment of the job: after one cutter has run in one setup."""

    setup: str = told("name")
    cutter: str = told("in words")
    file: str = told("program")
    line: int = told("of the last move before it, from 1")
    has_steps: bool = told("the steps after that setup are done too")
    thickness: float = told("mm, across the wall where it is thinnest at the end; true to ± bound")
    bound: float = told("mm")
    is_least: bool = told("it is that thick at least")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person must look at."""

    number: int = told("from 1, in the order to be read")
    kind: Literal[KINDS] = told("what it is")
    severity: SEVERITY = told("the first three fail a check")
    message: str = told("one sentence")
    advice: str = told("what to do")
    value: float | None = told("measured, in `unit`; the true value lies within value ± bound")
    bound: float | None = told("in `unit`")
    limit: float | None = told("in `unit`")
    unit: str = told("mm unless said otherwise")
    measure: str = told("what exactly was measured")
    at: Place | None = told("mm, blank frame")
    program_at: Place | None = told("the same place as the program of `setup` counts")
    setup: str = told("name")
    side: int | None = told("1 or 2")
    area: float | None = told("mm2")
    cells: int | None = told("how many")
    file: str = told("program or job file")
    line: int | None = told("in it, from 1")
    column: int | None = told("in it, from 1, where one is known")
    cutter: str = told("in words")
    zone: str = told("whose limits judged it")
    box: tuple[float, float, float, float] | None = told("x low, y low, x high, y high, mm, blank frame")
    centre: tuple[float, float] | None = told("the middle of its cells, mm")
    subject: str = told("what it is about when it has no place")
    id: str = told("the same from run to run")
    reason: str = told("why the job accepts it")
    returned: str = told("why an accepted one counts again")
    cause: int | None = told("number of its cause")
    faces: tuple[Face, ...] = told("of a wall: its two faces, in the order in which they were made")
    moments: tuple[Moment, ...] = told("of a wall: how thick it was, in the order of the work")
    other_ids: tuple[str, ...] = told("ids it would have a little to the side")
    accept: str = told("lines that accept it in the job file, '' when nothing can")


@dataclass(frozen=True, slots=True)
class Better:
    """A finding of the stored result that is gone or smaller."""

    id: str = told("as stored")
    kind: Literal[KINDS] = told("as stored")
    message: str = told("as stored")
    was: float | None = told("the stored value")
    now: float | None = told("None: it is gone")


@dataclass(frozen=True, slots=True)
class Against:
    """What differs from a stored result (--against), by the numbers of findings that would fail a check."""

    file: str = told("the stored result")
    new: tuple[int, ...] = told("not in it")
    worse: tuple[int, ...] = told("in it, and worse than it may be off")
    known: tuple[int, ...] = told("in it, and no worse: they do not fail this check")
    better: tuple[Better, ...] = told("what got better")


@dataclass(frozen=True, slots=True)
class Result:
    """Everything a check found."""

    form: Literal["simkit result"] = told("what this is")
    version: Literal[1] = told("of this form; raised when a key changes its meaning")
    simkit: str = told("version of simkit")
    job: JobName = told("which job")
    verdict: Verdict = told("what came of it")
    strict: bool = told("warnings fail")
    against: Against | None = told("with --against")
    cell: float = told("mm, edge of a field cell")
    blank: Blank = told("as stated")
    limits: Limits = told("of the whole part")
    zones: tuple[Zone, ...] = told("the whole part first")
    setups: tuple[SetupRun, ...] = told("in order")
    left: Left = told("what is left of the blank")
    outside: dict[str, Outside] | None = told("by sort")
    target: Target | None = told("None: the shape was not judged")
    causes: tuple[Cause, ...] = told("worst first")
    findings: tuple[Finding, ...] = told("in the order to be read")
    seam: Seam | None = told("of a part cut from two sides")
    seats: tuple[Seat, ...] = told("how the piece seats in each jig")
    held: tuple[Held, ...] = told("what tape and vacuum hold at the end of each setup")
    budget: Budget | None = told("how much error of the second side the job bears")
    reach: Reach | None = told("what each cutter leaves at best")
    cusps: Cusps | None = told("ridges between passes")
    time: Time = told("how long it takes")
    bite: Bite = told("what the cutters bite off")
    along: tuple[Along, ...] = told("one for each program")
    faster: tuple[Faster, ...] = told("what could be faster")
    remarks: tuple[str, ...] = told("what a person should know beside the findings")
    not_judged: tuple[str, ...] | None = told(
        "what the job does not say, so that it is not judged; none in results of earlier versions",
        is_optional=True,
    )
    not_simulated: tuple[str, ...] = told("what a check knows nothing of")
    cautions: tuple[str, ...] = told("before pressing start")
    pictures: tuple[str, ...] = told("files written")
    timings: dict[str, float] = told("seconds by stage; differs from run to run")
    steps: Steps | None = told(
        "what is done between the setups; only where the job states it", is_optional=True
    )

    @property
    def passed(self) -> bool:
        """Whether the check would not fail a build."""
        return self.verdict.exit_status == 0

    def of_kind(self, *kinds: str) -> tuple[Finding, ...]:
        """Return the findings of some kinds, in order."""
        return tuple(row for row in self.findings if row.kind in kinds)

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings that fail the check, as strictness and a stored result have it."""
        known = set() if self.against is None else set(self.against.known)
        return tuple(
            row
            for row in self.findings
            if (row.severity in FAILING or (self.strict and row.severity == "warning"))
            and (row.severity == "safety" or row.number not in known)
        )


@dataclass(frozen=True, slots=True)
class ProblemRow:
    """Why a job cannot be checked."""

    file: str = told("where")
    line: int | None = told("from 1")
    column: int | None = told("from 1")
    key: str | None = told("of the job file, or an option")
    found: str = told("what stands there")
    expected: str = told("what should")
    remedy: str = told("what to do")


@dataclass(frozen=True, slots=True)
class Unchecked:
    """Stands among the results of many jobs for one that could not be checked."""

    form: Literal["simkit unchecked"] = told("what this is")
    version: Literal[1] = told("of this form")
    simkit: str = told("version of simkit")
    job: JobName = told("which job")
    status: Literal["cannot be used", "stopped", "fault"] = told(
        "input, a limit on time or memory, or simkit"
    )
    exit_status: Literal[2, 3] = told("3: a fault of simkit itself")
    sentence: str = told("one line")
    problems: tuple[ProblemRow, ...] = told("every reason")

    @property
    def passed(self) -> bool:
        """False: nothing is known of the job."""
        return False
