"""The one list of finders, in the order in which a person should read their findings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from simkit.findings import (
    bite,
    break_through,
    chip_load,
    cusp,
    dowel_miss,
    fixture_contact,
    fragile,
    gouge,
    hidden,
    inlay_lost,
    leftover,
    loose_piece,
    old_thickness,
    outer_wall,
    pour_depth,
    program,
    rapid_contact,
    seat,
    setup,
    spill,
    spindle_off,
    spindle_speed,
    stack_contact,
    step,
    table_contact,
    thin_wall,
    travel,
    unsafe_height,
    weak_hold,
    witness_step,
    wrong_turn,
    wrong_unit,
)
from simkit.findings.accept import apply_accepted
from simkit.findings.causes import by_cause
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.identity import with_ids
from simkit.findings.resin_words import with_resin_words

FINDERS = (
    wrong_unit,
    rapid_contact,
    stack_contact,
    fixture_contact,
    table_contact,
    loose_piece,
    weak_hold,
    travel,
    unsafe_height,
    spindle_off,
    wrong_turn,
    dowel_miss,
    seat,
    setup,
    old_thickness,
    step,
    spill,
    pour_depth,
    inlay_lost,
    witness_step,
    break_through,
    gouge,
    outer_wall,
    thin_wall,
    fragile,
    leftover,
    cusp,
    bite,
    chip_load,
    spindle_speed,
    hidden,
    program,
)

ORDER = (
    "wrong-unit",
    "rapid-contact",
    "fixture-contact",
    "holder-contact",
    "shank-contact",
    "table-contact",
    "loose-piece",
    "weak-hold",
    "travel",
    "unsafe-height",
    "spindle-off",
    "wrong-turn",
    "dowel-miss",
    "seat",
    "setup",
    "old-thickness",
    "step",
    "spill",
    "pour-depth",
    "inlay-lost",
    "witness-step",
    "break-through",
    "gouge",
    "thin-wall",
    "fragile",
    "leftover-cutter",
    "leftover-program",
    "cusp",
    "bite",
    "chip-load",
    "spindle-speed",
    "hidden",
    "program",
)


def judge(evidence: Evidence, progress: Callable[[float], None] | None = None) -> list[Finding]:
    """Return all findings in the order to be read, with zone, id and cause, accepted ones marked.

    evidence: its causes and not_matched are filled in.  Order: see findings.causes.
    """
    found: list[Finding] = []
    for done, finder in enumerate(FINDERS, 1):
        found.extend(finder.find(evidence))
        if progress is not None:
            progress(done / len(FINDERS))
    found = with_resin_words(evidence, found)
    found = with_ids([_in_zone(evidence, finding) for finding in found])
    found, evidence.not_matched = apply_accepted(evidence, found)
    found, evidence.causes = by_cause(evidence, found, ORDER)
    return found


def _in_zone(evidence: Evidence, finding: Finding) -> Finding:
    """Return the finding with the zone it lies in, where it does not say so itself."""
    if finding.zone or finding.at is None:
        return finding
    return replace(finding, zone=evidence.zones.rule_at(finding.at[:2], finding.side or 1).name)
