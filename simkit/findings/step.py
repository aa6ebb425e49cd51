"""step: a pour or a step to a thickness that does nothing, and a blank that lies on resin."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.job.model import Job
from simkit.job.steps import POUR, stands_over

LEAST = 0.01  # mm


def step_name(job: Job, number: int) -> str:
    """Return what a step is called in a sentence, such as "pour after 'outside'"."""
    step = job.steps[number]
    what = "pour" if step.do == POUR else f"step to {step.thickness:g} mm"
    return f"{what} after '{job.setups[step.after].name}'"


def find(evidence: Evidence) -> list[Finding]:
    """Return findings for steps that do nothing, and for setups whose blank lies on resin."""
    job, findings = evidence.job, []
    for number, one in evidence.steps_done():
        if one.volume > 0.0:
            continue
        is_pour = one.step.do == POUR
        where = " inside its outline" if is_pour and one.step.outline else ""
        what = f"finds nothing to fill on side {one.step.side}{where}" if is_pour else "takes nothing off"
        advice = "Check side, level and outline of the pour, and after which setup it is done."
        if not is_pour:
            advice = "Check its thickness and its side against the blank as it is then."
        findings.append(
            Finding(
                kind="step",
                severity="beyond",
                message=f"the {step_name(job, number)} {what}",
                advice=advice,
                measure="volume",
                side=one.step.side,
                subject=f"step {number + 1}",
                **evidence.job_line(f"steps[{number}].do"),
            )
        )
    for index, setup in enumerate(job.setups):
        under = 3 - setup.side_up
        stated = stands_over(setup.before, under)
        if stated <= 0.0:
            continue
        start, body = evidence.starts[index], setup.body(job.blank)
        if under == 1:
            over = float(start.upper[start.is_solid].max(initial=body.high[2])) - body.high[2]
        else:
            over = body.low[2] - float(start.lower[start.is_solid].min(initial=body.low[2]))
        if over <= LEAST:
            continue
        findings.append(
            Finding(
                kind="step",
                severity="beyond",
                message=(
                    f"'{setup.name}' lays the blank on resin that stands {over:.2f} mm over side {under}: it"
                    " rocks, and all heights are off"
                ),
                advice="Plane the resin flush first, as a step to a thickness.",
                value=over,
                bound=0.0,
                measure="height of the resin over the face that lies on the table",
                setup=setup.name,
                side=under,
                subject=f"lies on resin, {setup.name}",
                **evidence.job_line(f"setups[{index}].turn"),
            )
        )
    return findings
