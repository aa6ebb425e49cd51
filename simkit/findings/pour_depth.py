"""pour-depth: resin poured deeper at once than it may be."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.made import step_name
from simkit.findings.shape import severity_of
from simkit.stock.pour import Poured


def find(evidence: Evidence) -> list[Finding]:
    """Return a finding for each pour whose deepest section is deeper than the job allows."""
    findings = []
    for number, one in evidence.steps_done():
        if not isinstance(one, Poured) or one.step.most_depth is None:
            continue
        severity = severity_of(one.deepest, one.deepest_bound, one.step.most_depth)
        if not severity:
            continue
        name = step_name(evidence.job, number)
        findings.append(
            Finding(
                kind="pour-depth",
                severity=severity,
                message=f"the {name} is {one.deepest:.2f} mm deep at its deepest",
                advice="Pour in two steps and let the first one set, or take a resin for deeper pours.",
                value=one.deepest,
                bound=one.deepest_bound,
                limit=one.step.most_depth,
                measure="from the floor to the level of the resin",
                side=one.step.side,
                subject=f"step {number + 1}",
                **evidence.place_of(one.deepest_at, None),
                **evidence.job_line(f"steps[{number}].most_depth"),
            )
        )
    return findings
