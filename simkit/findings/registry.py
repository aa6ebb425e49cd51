"""The one list of finders, in the order in which a person should read their findings."""

from __future__ import annotations

from collections.abc import Callable

from simkit.findings import (
    break_through,
    cusp,
    dowel_miss,
    fragile,
    gouge,
    hidden,
    leftover,
    program,
    rapid_contact,
    setup,
    thin_wall,
    witness_step,
    wrong_turn,
)
from simkit.findings.evidence import Evidence
from simkit.findings.finding import SEVERITIES, Finding

FINDERS = (
    rapid_contact,
    wrong_turn,
    dowel_miss,
    setup,
    witness_step,
    break_through,
    gouge,
    thin_wall,
    fragile,
    leftover,
    cusp,
    hidden,
    program,
)


def judge(evidence: Evidence, progress: Callable[[float], None] | None = None) -> list[Finding]:
    """Return all findings: worst severity first, then in the order of FINDERS, then as found."""
    found: list[Finding] = []
    for done, finder in enumerate(FINDERS, 1):
        found.extend(finder.find(evidence))
        if progress is not None:
            progress(done / len(FINDERS))
    return sorted(found, key=lambda finding: SEVERITIES.index(finding.severity))
