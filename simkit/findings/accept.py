"""Accepted findings: which the job lets stand, which come back and why, and the lines to paste."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.fingerprint import moves_fingerprint
from simkit.findings.identity import known_by
from simkit.job.model import Accepted
from simkit.kinds import LESS_IS_WORSE, SAFETY_KINDS, family

NEAR = 2.0  # mm: boxes this far apart still mean one place
ROUNDING = 0.01  # mm: values are printed to a hundredth, the worse way
ACCEPTABLE = ("beyond", "undecided", "warning")


def apply_accepted(evidence: Evidence, findings: list[Finding]) -> tuple[list[Finding], list[str]]:
    """Return the findings with the accepted ones marked, and words on entries of the job that match none.

    findings: with their ids.  An accepted one gets the severity "accepted", the entry's reason and its
    id; one that counts again keeps its severity and says why in `returned`.
    """
    entries = evidence.job.accepted
    result = list(findings)
    matched: dict[int, int] = {}
    for _, _, entry, finding in sorted(_pairs(entries, findings)):
        if entry not in matched and finding not in matched.values():
            matched[entry] = finding
    for entry, finding in matched.items():
        result[finding] = _judged(evidence, entries[entry], findings[finding])
    unmatched = [
        _not_found(evidence, number, entry) for number, entry in enumerate(entries) if number not in matched
    ]
    return result, unmatched


def _pairs(entries: tuple[Accepted, ...], findings: list[Finding]):
    """Yield (how badly they fit, distance, entry, finding) of what may belong together."""
    ids = [known_by(finding) for finding in findings]
    for number, entry in enumerate(entries):
        for other, finding in enumerate(findings):
            if entry.kind and family(entry.kind) != family(finding.kind):
                continue
            if entry.side is not None and finding.side is not None and entry.side != finding.side:
                continue
            gap = _gap(entry.box, finding)
            if entry.id and entry.id == finding.id:
                yield 0, gap, number, other
            elif entry.id and entry.id in ids[other]:
                yield 1, gap, number, other
            elif entry.kind and entry.box and gap <= NEAR:
                yield 2, gap, number, other


def _gap(box, finding: Finding) -> float:
    """Return how far the places of an entry and a finding lie apart in plan, mm; 0 where nothing tells."""
    if box is None or finding.at is None:
        return 0.0
    x, y = finding.at[:2]
    other = finding.box or (x, y, x, y)
    apart = [max(box[k] - other[k + 2], other[k] - box[k + 2], 0.0) for k in (0, 1)]
    return math.hypot(*apart)


def _judged(evidence: Evidence, entry: Accepted, finding: Finding) -> Finding:
    if finding.severity == "safety" or finding.kind in SAFETY_KINDS:
        return replace(finding, returned="it is about safety, and cannot be accepted")
    if finding.severity not in ACCEPTABLE:
        return finding
    returned = _worse(entry, finding)
    if not returned and entry.moves and entry.box:
        now = moves_fingerprint(evidence, entry.box, finding.side)
        if now != entry.moves:
            returned = f"the moves that cut there have changed since (now {now}): look at it again"
    if returned:
        return replace(finding, returned=returned, id=entry.id or finding.id)
    return replace(finding, severity="accepted", reason=entry.reason, id=entry.id or finding.id)


def _worse(entry: Accepted, finding: Finding) -> str:
    """Return why a finding is worse than what was accepted, '' when it is not."""
    if finding.value is None:
        return ""
    if entry.value is None:
        return f"the entry states no value, and this is {finding.value:.2f} mm"
    room = (finding.bound or 0.0) + ROUNDING
    less = finding.kind in LESS_IS_WORSE
    worse = entry.value - finding.value if less else finding.value - entry.value
    if worse <= room:
        return ""
    return f"it got worse: {finding.value:.2f} mm, accepted was {entry.value:g} mm"


def _not_found(evidence: Evidence, number: int, entry: Accepted) -> str:
    what = f"'{entry.id}'" if entry.id else f"a {entry.kind} at {_places(entry.box)}"
    line = evidence.job.lines.get(f"accepted[{number}]")
    where = f"{Path(evidence.job.file).name}:{line}" if line else Path(evidence.job.file).name
    return f"{where}: the accepted finding {what} is not there any more; take the entry out"


def paste_lines(evidence: Evidence, finding: Finding) -> str:
    """Return the lines that accept a finding, for the job file; '' for one that cannot be accepted.

    Reason is left empty: the job is refused until somebody writes one.
    """
    if finding.kind in SAFETY_KINDS or finding.severity not in ACCEPTABLE:
        return ""
    lines = ["[[accepted]]", f'id = "{finding.id}"', f'kind = "{finding.kind}"']
    if finding.side is not None:
        lines.append(f"side = {finding.side}")
    box = _around(evidence, finding)
    if box is not None:
        lines.append(f"box = {_places(box, evidence.job.unit)}")
    if finding.value is not None:
        round_off = math.floor if finding.kind in LESS_IS_WORSE else math.ceil
        hair = 1e-3 if finding.kind in LESS_IS_WORSE else -1e-3  # of rounding, in hundredths
        value = round_off(finding.value * 100 + hair) / 100
        lines.append(f'value = "{value:.2f} mm"' if evidence.job.unit != "mm" else f"value = {value:.2f}")
    if box is not None and finding.side is not None:
        lines.append(f'moves = "{moves_fingerprint(evidence, box, finding.side)}"')
    lines.append('reason = ""')
    return "\n".join(lines)


def _around(evidence: Evidence, finding: Finding) -> tuple[float, float, float, float] | None:
    """Return the box of a finding in plan, with a millimetre to spare, in whole millimetres."""
    if finding.at is None or (finding.subject and finding.box is None):
        return None
    x, y = finding.at[:2]
    low_x, low_y, high_x, high_y = finding.box or (x, y, x, y)
    return (
        float(math.floor(low_x - 1)),
        float(math.floor(low_y - 1)),
        float(math.ceil(high_x + 1)),
        float(math.ceil(high_y + 1)),
    )


def _places(box: tuple[float, float, float, float], unit: str = "mm") -> str:
    """Return a box as two corners, as a job file in that unit writes it."""
    x0, y0, x1, y1 = (f"{value:g}" if unit == "mm" else f'"{value:g} mm"' for value in box)
    return f"[[{x0}, {y0}], [{x1}, {y1}]]"
