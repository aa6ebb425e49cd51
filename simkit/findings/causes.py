"""Findings of one cause told together, the worst first: ten rows to read, not ten thousand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from simkit.compare.cutter_size import OUTER
from simkit.compare.offset import SideOffset
from simkit.findings import ridge
from simkit.findings.cutter_words import call_words, in_run, size_words
from simkit.findings.evidence import Evidence
from simkit.findings.finding import SEVERITIES, WORST, Cause, Finding
from simkit.findings.leftover import HELD, STEP_MEASURE
from simkit.findings.lost_lift import follows, lift_words, lost_lifts
from simkit.findings.offset_words import both_words, side_words
from simkit.findings.supposed import supposed_words
from simkit.kinds import KINDS, LESS_IS_WORSE

SHAPE_KINDS = ("gouge", "break-through", "leftover-cutter", "leftover-program", "thin-wall", "witness-step")
OF_ITS_CUTTER = ("shank-contact", "holder-contact", "witness-step", "bite", "chip-load", "cusp")
FOLLOWING = (*SHAPE_KINDS, "dowel-miss", "setup", "table-contact", "wrong-turn")  # what a wrong turn leaves
MOST_PLACES = 3  # of findings that are not told in rows of their own
ALIKE = 0.1  # mm: what a misplaced zero leaves may be this much more than the shift itself
BOTH, BOTH_SHARE = 0.2, 0.1  # mm, and of the shift: nearer to each other both sides are off in the same way
BESIDE = 2  # cells


def by_cause(
    evidence: Evidence, findings: list[Finding], order: Sequence[str]
) -> tuple[list[Finding], list[Cause]]:
    """Return the findings in the order to be read, each with the number of its cause, and the causes.

    order: kinds as a person should read them.  Worst severity first, then by kind, then the farthest
    beyond its limit, of those as far beyond in the order of the work; findings of one cause stand together
    behind its worst.
    """
    groups: dict[tuple, list[Finding]] = {}
    lifts = lost_lifts(evidence) if findings else []
    for finding in findings:
        key = _key(evidence, finding, findings)
        if key[0] in KINDS or key[0] in ("call", "cutter"):
            key = next((("lift", lift) for lift in lifts if follows(evidence, lift, finding)), key)
        groups.setdefault(key, []).append(finding)

    def rank(finding: Finding) -> tuple:
        kind = order.index(finding.kind) if finding.kind in order else len(order)
        return SEVERITIES.index(finding.severity), kind, -_share(finding), _when(evidence, finding)

    def in_group(finding: Finding) -> tuple:
        return finding.kind != "wrong-turn", rank(finding)

    ranked = [(key, sorted(group, key=in_group)) for key, group in groups.items()]
    # Under a wrong turn nothing else means what it says: it is the first thing to be settled.
    ranked.sort(key=lambda item: (item[0][0] != "turn", rank(item[1][0])))
    told, causes = [], []
    for number, (key, group) in enumerate(ranked, 1):
        first = len(told) + 1
        told += [replace(finding, cause=number) for finding in group]
        message, advice, place = _words(evidence, key, group)
        numbers = tuple(range(first, len(told) + 1))
        causes.append(Cause(number, group[0].kind, group[0].severity, numbers, message, advice, **place))
    return told, causes


def _share(finding: Finding) -> float:
    """Return how far beyond its limit a finding is, as a part of it; values to 0.001 mm, as they are told."""
    if finding.value is None:
        return 0.0
    value, limit = round(finding.value, 3), finding.limit or 0.0
    if finding.kind in LESS_IS_WORSE:
        return limit / max(value, 1e-3)
    return value / max(limit, 1e-3)


def _when(evidence: Evidence, finding: Finding) -> tuple[int, int, int]:
    """Return when the move of a finding runs: setup, program, line; what has no setup comes last."""
    for index, setup in enumerate(evidence.job.setups):
        if setup.name == finding.setup:
            names = [read.name for _, read in evidence.reads[index]]
            program = names.index(finding.file) if finding.file in names else len(names)
            return index, program, finding.line or 0
    return len(evidence.job.setups), 0, finding.line or 0


def _key(evidence: Evidence, finding: Finding, findings: list[Finding]) -> tuple:
    """Return what the cause of a finding is, so far as that can be told."""
    if finding.severity == "accepted":
        return ("accepted", finding.kind, finding.side, finding.reason)
    if finding.kind == "thin-wall" and finding.severity == "note":
        return ("note", finding.kind, finding.side)  # one sharp edge may be thin in many places
    if finding.severity in ("warning", "note"):
        return (finding.severity, finding.kind, finding.side, finding.message)
    if evidence.supposed is not None and evidence.supposed.follows(finding):
        return ("supposed",)
    for one in findings:
        if one.kind == "wrong-unit" and one.severity != "warning" and _is_misread(one, finding):
            return ("unit", one.setup, one.file)
    turned = _turned(evidence, finding, findings)
    if turned:
        return ("turn", turned)
    if finding.kind in SHAPE_KINDS:
        for offset in evidence.offsets:
            if offset.is_the_cause and offset.side == finding.side and _follows(offset, finding):
                return ("offset", 0 if are_alike(evidence.offsets) else offset.side)
        is_wall = finding.kind == "leftover-program" and finding.measure == STEP_MEASURE
        for name, other in (("call", evidence.wrong_call), ("cutter", evidence.other_size)):
            if other and (OUTER if is_wall else finding.side) in other.before:
                return (name,)
    if evidence.wrong_call and finding.kind in OF_ITS_CUTTER and in_run(evidence, finding):
        return ("call",)
    own_words = [finding.advice.startswith(words) for words in (ridge.ADVICE, HELD)]
    alike = (finding.zone, finding.cutter, *own_words) if finding.kind in SHAPE_KINDS else ()
    if finding.kind in ("dowel-miss", "seat", "witness-step"):
        alike = (finding.subject,)
    return (finding.kind, finding.side, finding.setup, *alike)


def _turned(evidence: Evidence, finding: Finding, findings: list[Finding]) -> str:
    """Return the setup whose wrong turn a finding is, or follows from; "" for none.

    Beside a hole that such a setup cut through the part, the columns that are left, and so the faces of a
    thin wall there, are those of other setups.  The outer wall stands where no setup cut it: where the right
    turn would cut the part out, a step in it follows, whatever setup it is told of.
    """
    turned = [one.setup for one in findings if one.kind == "wrong-turn"]
    if finding.setup in turned and finding.kind in FOLLOWING:
        return finding.setup
    if finding.kind in LESS_IS_WORSE:
        holes = {one.setup for one in findings if one.kind == "break-through"}
        if holes and holes <= set(turned) and _is_beside_hole(evidence, finding):
            return min(holes, key=turned.index)
    if finding.kind == "leftover-program" and finding.measure == STEP_MEASURE:
        for fit in evidence.poses:
            name = evidence.job.setups[fit.setup].name
            if name in turned and fit.better is not None and fit.better.is_freeing:
                return name
    if finding.kind in SHAPE_KINDS and not finding.setup:
        # Nothing was cut there: what would have cut it lies wrong, where all setups of that side do.
        of_side = [one.name for one in evidence.job.setups if one.side_up == finding.side]
        if of_side and set(of_side) <= set(turned):
            return min(of_side, key=turned.index)
    return ""


def _is_beside_hole(evidence: Evidence, finding: Finding) -> bool:
    """Return whether a face of a wall lies within BESIDE cells of where nothing of the part is left."""
    lattice, is_gone = evidence.field.lattice, evidence.break_through.mask
    for face in finding.faces:
        iy, ix = (int(one) for one in lattice.cell_at(*face.at[:2]))
        if is_gone[max(iy - BESIDE, 0) : iy + BESIDE + 1, max(ix - BESIDE, 0) : ix + BESIDE + 1].any():
            return True
    return False


def _is_misread(unit: Finding, finding: Finding) -> bool:
    """Tell whether a finding is a wrong unit, of the part or of a program, or follows from it."""
    if finding is unit or not unit.setup:
        return finding is unit or finding.kind in SHAPE_KINDS
    is_worse = SEVERITIES.index(finding.severity) < SEVERITIES.index(unit.severity)
    if finding.kind in SHAPE_KINDS:
        return finding.side == unit.side and not is_worse
    is_there = finding.setup == unit.setup and finding.kind in ("dowel-miss", "setup", "table-contact")
    return is_there and not is_worse


def _follows(offset, finding: Finding) -> bool:
    """Tell whether a finding is no larger than a shift of that size leaves."""
    size = math.hypot(*offset.shift)
    if finding.kind in ("thin-wall", "break-through"):
        return True
    return (finding.value or 0.0) <= size + offset.rough + (finding.bound or 0.0) + ALIKE


def are_alike(offsets: Sequence[SideOffset]) -> bool:
    """Tell whether two sides lie off the part in the same way, each of them the cause of what it leaves."""
    if len(offsets) != 2 or not all(one.is_the_cause for one in offsets):
        return False
    first, second = (one.shift for one in offsets)
    apart = math.dist(first, second)
    return apart <= max(BOTH, BOTH_SHARE * math.hypot(*first)) + max(one.rough for one in offsets)


def _words(evidence: Evidence, key: tuple, group: list[Finding]) -> tuple[str, str, dict[str, Any]]:
    """Return message, advice and place of a cause; {} where its worst finding says where it is."""
    lead, rest = group[0], len(group) - 1
    message = _message(lead)
    if key[0] == "offset":
        if not key[1]:
            said = both_words(evidence, evidence.offsets)
        else:
            said = side_words(evidence, next(one for one in evidence.offsets if one.side == key[1]))
        if said.place and lead.line:
            message += f"; its line: {lead.file}:{lead.line}"
        return f"{said.message}{WORST}{message}", said.advice, said.place
    if key[0] == "supposed":
        said, advice = supposed_words(evidence)
        return f"{said}{WORST}{message}", advice, {}
    if key[0] == "cutter":
        return *size_words(evidence, message), {}
    if key[0] == "lift":
        return lift_words(evidence, key[1], message)
    if key[0] == "call":
        return call_words(evidence, message)
    if key[0] in ("turn", "unit") and rest:
        return (
            f"{message}; {rest} more {'finding follows' if rest == 1 else 'findings follow'} from it",
            lead.advice,
            {},
        )
    if rest:
        return f"{message} ({rest} more alike{_places(group[1:])})", lead.advice, {}
    return message, lead.advice, {}


def _message(finding: Finding) -> str:
    """Return what a finding says, with what the job file says of it."""
    if finding.severity == "accepted":
        return f"accepted ({finding.reason}): {finding.message}"
    if finding.returned:
        return f"{finding.message}; accepted in the job, but {finding.returned}"
    return finding.message


def _places(group: list[Finding]) -> str:
    """Return where the first few findings are, in words; '' when none has a place."""
    places = [one.program_at or one.at for one in group if one.at is not None]
    if not places:
        return ""
    words = "; ".join(f"X{x:.1f} Y{y:.1f}" for x, y, _ in places[:MOST_PLACES])
    return f", at {words} mm" + ("; ..." if len(places) > MOST_PLACES else "")
