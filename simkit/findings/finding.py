"""A finding: kind, severity, measured value with its bound, limit, place, source line, advice."""

from __future__ import annotations

from dataclasses import dataclass

# The whole list of kinds (DEVELOPERS.md has one line on each).
KINDS = (
    "gouge",
    "break-through",
    "leftover-cutter",
    "leftover-program",
    "hidden",
    "thin-wall",
    "fragile",
    "cusp",
    "witness-step",
    "wrong-turn",
    "dowel-miss",
    "seat",
    "loose-piece",
    "rapid-contact",
    "shank-contact",
    "holder-contact",
    "fixture-contact",
    "table-contact",
    "travel",
    "chip-load",
    "bite",
    "program",
    "setup",
)
SAFETY_KINDS = frozenset(
    ["wrong-turn", "loose-piece", "travel", *(kind for kind in KINDS if kind.endswith("-contact"))]
)
SEVERITIES = ("safety", "beyond", "undecided", "warning", "note")  # worst first


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person must look at.

    kind: of KINDS.  severity: of SEVERITIES; the first three make a check fail.
    value, bound, limit: mm (or the unit in `unit`), None where there is no number; the true value
        lies within value +- bound.  measure: what exactly was measured, in words.
    at (x, y, z) mm in the blank frame, None when it has no place; program_at: the same place in the
        program frame of `setup`.
    setup: name.  side: 1 or 2, None when neither.  area mm2.  cells: how many.
    file, line: program (or job file) and line from 1.  cutter: in words, "" when none.
    advice: one sentence that says what to do.
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
    cutter: str = ""

    def __post_init__(self):
        assert self.kind in KINDS, self.kind
        assert self.severity in SEVERITIES, self.severity
