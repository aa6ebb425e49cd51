"""What sawing takes away that a later setup counts on: dowel holes, and wood that is held."""

from __future__ import annotations

import numpy as np

from simkit.compare.held import held_cells
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.job.steps import SAW


def lost_holes(evidence: Evidence) -> list[Finding]:
    """Return a finding for each dowel hole that is sawn off, or into, before a setup that needs it."""
    job, findings, told = evidence.job, [], set()
    for pin in evidence.pins:
        setup, hole = job.setups[pin.setup], pin.nearest
        if hole.dowel.name in told or not any(step.do == SAW for step in setup.before):
            continue
        body, radius = setup.body(job.blank), hole.diameter / 2
        room = min(
            hole.at[0] - body.low[0],
            body.high[0] - hole.at[0],
            hole.at[1] - body.low[1],
            body.high[1] - hole.at[1],
        )
        if room >= radius:
            continue
        told.add(hole.dowel.name)
        what = "off" if room <= -radius else "into"
        findings.append(
            Finding(
                kind="dowel-miss",
                severity="beyond",
                subject=f"{hole.dowel.name}, sawn",
                message=f"the dowel hole '{hole.dowel.name}' is sawn {what} before '{setup.name}', whose pin "
                "needs it",
                advice="Saw after that setup, or drill the holes inside the box that is left.",
                measure="distance of its centre from the nearest edge that is left",
                at=(*hole.at, body.high[2]),
                setup=setup.name,
                **evidence.job_line(f"steps[{_last_saw(evidence, pin.setup)}].box"),
            )
        )
    return findings


def idle_holding(evidence: Evidence) -> list[Finding]:
    """Return a warning for each clamp, tape and so on that holds nothing in a setup of a sawn blank."""
    job, findings = evidence.job, []
    for index, setup in enumerate(job.setups):
        if not any(step.do == SAW for step in setup.before):
            continue
        for number, one in enumerate(job.holding):
            if (
                not one.stands_in(setup)
                or held_cells(evidence.starts[index], setup, job.blank, [one], ()).any()
            ):
                continue
            findings.append(
                Finding(
                    kind="step",
                    severity="warning",
                    message=f"the {one.kind} (entry {number + 1} of `holding`) holds nothing in "
                    f"'{setup.name}': the blank is sawn smaller by then, and places count from its "
                    "left front corner as it lies",
                    advice="State where it holds then, with `setups`.",
                    measure="wood in its outline",
                    setup=setup.name,
                    subject=f"holding {number + 1}, {setup.name}",
                    **evidence.job_line(f"holding[{number}].kind"),
                )
            )
    return findings


def _last_saw(evidence: Evidence, setup: int) -> int:
    """Return the number of the last step of sawing before a setup."""
    steps = evidence.job.steps
    return int(max(np.flatnonzero([step.do == SAW and step.after < setup for step in steps])))
