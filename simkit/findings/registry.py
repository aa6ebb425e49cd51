"""The one list of finders, in the order in which a person should read their findings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from simkit.findings import (
    break_through,
    cusp,
    dowel_miss,
    fragile,
    gouge,
    hidden,
    leftover,
    outer_wall,
    program,
    rapid_contact,
    setup,
    thin_wall,
    witness_step,
    wrong_turn,
)
from simkit.findings.accept import apply_accepted
from simkit.findings.causes import by_cause
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.identity import with_ids

FINDERS = (
    rapid_contact,
    wrong_turn,
    dowel_miss,
    setup,
    witness_step,
    break_through,
    gouge,
    outer_wall,
    thin_wall,
    fragile,
    leftover,
    cusp,
    hidden,
    program,
)

ORDER = (
    "rapid-contact",
    "wrong-turn",
    "dowel-miss",
    "setup",
    "witness-step",
    "break-through",
    "gouge",
    "thin-wall",
    "fragile",
    "leftover-cutter",
    "leftover-program",
    "cusp",
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
    found = with_ids([_in_zone(evidence, finding) for finding in found])
    found, evidence.not_matched = apply_accepted(evidence, found)
    found, evidence.causes = by_cause(evidence, found, ORDER)
    return found


def _in_zone(evidence: Evidence, finding: Finding) -> Finding:
    """Return the finding with the zone it lies in, where it does not say so itself."""
    if finding.zone or finding.at is None:
        return finding
    return replace(finding, zone=evidence.zones.rule_at(finding.at[:2], finding.side or 1).name)
