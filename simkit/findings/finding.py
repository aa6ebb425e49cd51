"""A finding: kind, severity, measured value with its bound, limit, place, source line, advice."""

from __future__ import annotations

from dataclasses import dataclass

from simkit.kinds import KINDS, SAFETY_KINDS

__all__ = ["KINDS", "SAFETY_KINDS", "SEVERITIES", "WORST", "Cause", "Face", "Finding", "Moment"]

WORST = "; worst: "  # in the message of a cause: between what explains findings and the worst of them
SEVERITIES = ("safety", "beyond", "undecided", "warning", "accepted", "note")  # worst first


@dataclass(frozen=True, slots=True)
class Face:
    """One face of a wall.

    side: whose cut, or step, made it; None where nothing did and it is the edge of the blank.
    at (x, y, z) mm, blank frame; program_at: as the program of `setup` counts it, None without one.
    file, line, cutter, setup: of the move that cut it; of the job file for a step; "" and None for neither.
    """

    side: int | None
    at: tuple[float, float, float]
    program_at: tuple[float, float, float] | None = None
    file: str = ""
    line: int | None = None
    cutter: str = ""
    setup: str = ""


@dataclass(frozen=True, slots=True)
class Moment:
    """How thick a wall was at a moment of the job.

    file, line, cutter, setup: of the last move before it.  has_steps: those after that setup are done too.
    thickness mm, true to bound mm, measured across the wall where it is thinnest at the end; is_least: it
    is that thick at least.
    """

    setup: str
    cutter: str
    file: str
    line: int
    has_steps: bool
    thickness: float
    bound: float
    is_least: bool


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person must look at.

    kind: of KINDS.  severity: of SEVERITIES; the first three make a check fail.
    value, bound, limit: mm (or the unit in `unit`), None where there is no number; the true value
        lies within value +- bound.  measure: what exactly was measured, in words.
    at (x, y, z) mm in the blank frame, None when it has no place; program_at: the same place in the
        program frame of `setup`.
    setup: name.  side: 1 or 2, None when neither.  area mm2.  cells: how many.
    file, line, column: program (or job file), from 1; no column where the whole line is meant.
    cutter: in words, "" when none.
    advice: one sentence that says what to do.
    zone: whose limits judged it, or where it lies; "whole part" outside all zones, "" without a place.
    box (x low, y low, x high, y high) mm, blank frame: what the spot covers in plan.
    centre (x, y) mm: the middle of its cells, steadier than its worst place when the cells change.
    subject: what it is about when it has no place of its own (a dowel's name, a notice's words).
    id: the same from run to run, `findings.identity`.  reason: why the job accepts it.
    returned: why an accepted one counts again.  cause: of `findings.causes`, from 1.
    faces: the two faces of a wall.  moments: how thick it was in the order of the work.
    """

    kind: str
    severity: str
    message: str
    advice: str
    value: float | None = None
    bound: float | None = None
    limit: float | None = None
    unit: str = "mm"
    measure: str = ""
    at: tuple[float, float, float] | None = None
    program_at: tuple[float, float, float] | None = None
    setup: str = ""
    side: int | None = None
    area: float | None = None
    cells: int | None = None
    file: str = ""
    line: int | None = None
    column: int | None = None
    cutter: str = ""
    zone: str = ""
    box: tuple[float, float, float, float] | None = None
    centre: tuple[float, float] | None = None
    subject: str = ""
    id: str = ""
    reason: str = ""
    returned: str = ""
    cause: int | None = None
    faces: tuple[Face, ...] = ()
    moments: tuple[Moment, ...] = ()

    def __post_init__(self):
        assert self.kind in KINDS, self.kind
        assert self.severity in SEVERITIES, self.severity


@dataclass(frozen=True)
class Cause:
    """Findings that one thing explains.

    number: from 1, in the order to be read.  kind, severity: of the first finding, the worst.
    findings: their numbers, from 1, one after the other.  message, advice: for all of them.
    file, line, column: what is to be changed, where that is not the line of its worst finding; else "", None.
    """

    number: int
    kind: str
    severity: str
    findings: tuple[int, ...]
    message: str
    advice: str
    file: str = ""
    line: int | None = None
    column: int | None = None
