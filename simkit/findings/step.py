"""step: what does nothing or parts the blank; resin under it, too high or never faced."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.made import step_name
from simkit.findings.parted import parted
from simkit.findings.sawn import idle_holding
from simkit.job.model import Job
from simkit.job.steps import POUR, SAW, THICKNESS, stands_over
from simkit.stock.thickness import Thicknessed

LEAST = 0.01  # mm
# mm: how high resin is trusted to stand over a face with nothing about it; more needs a dam (common practice,
# no source: the surface of a liquid in a hollow stands over its rim by a few millimetres at most).
HIGHEST = 2.0


def find(evidence: Evidence) -> list[Finding]:
    """Return findings for steps that do nothing, and for setups whose blank lies on resin."""
    job, findings = evidence.job, []
    for number, one in evidence.steps_done():
        if isinstance(one, Thicknessed) and one.step.thickness - one.before.thickness > LEAST:
            findings.append(_too_thin(evidence, number, one))
            continue
        if one.volume > 0.0:
            continue
        is_pour = one.step.do == POUR
        where = " inside its outline" if is_pour and one.step.outline else ""
        what = f"finds nothing to fill on side {one.step.side}{where}" if is_pour else "takes nothing off"
        advice = "Check side, level and outline of the pour, and after which setup it is done."
        if one.step.do == SAW:
            advice = "Check its box against the blank as it is then."
        elif not is_pour:
            advice = "Check its thickness and its side against the blank as it is then."
            if one.before.thickness - one.step.thickness < LEAST:
                what += ": the blank is no thicker then"
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
    findings += idle_holding(evidence) + parted(evidence)
    findings += _too_high(evidence) + _planed_on_resin(evidence) + _left_proud(evidence)
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


def _too_thin(evidence: Evidence, number: int, one: Thicknessed) -> Finding:
    """Return the finding for a step whose blank is thinner than it is to leave it."""
    lacks = one.step.thickness - one.before.thickness
    return Finding(
        kind="step",
        severity="beyond",
        message=f"the {step_name(evidence.job, number)} takes nothing off the wood: the blank is only"
        f" {one.before.thickness:g} mm thick then",
        advice="Take a thicker blank, or a smaller thickness for this step and a part that fits into it.",
        value=lacks,
        bound=0.0,
        limit=0.0,
        measure="what the blank lacks in thickness",
        side=one.step.side,
        subject=f"step {number + 1}, too thin",
        **evidence.job_line(f"steps[{number}].thickness"),
    )


def _too_high(evidence: Evidence) -> list[Finding]:
    """Return a warning for each pour that is to stand higher over its face than resin does by itself."""
    job = evidence.job
    return [
        Finding(
            kind="step",
            severity="warning",
            message=f"the {step_name(job, number)} is to stand {step.over:g} mm over side {step.side}: it"
            " spreads over the face where no dam holds it",
            advice=f"Pour at most {HIGHEST:g} mm over the face, or build a dam round the hollow.",
            value=step.over,
            bound=0.0,
            limit=HIGHEST,
            measure="height of the resin over the face, as stated",
            side=step.side,
            subject=f"step {number + 1}, stands high",
            **evidence.job_line(f"steps[{number}].over"),
        )
        for number, step in enumerate(job.steps)
        if step.do == POUR and (step.over or 0.0) > HIGHEST
    ]


def _planed_on_resin(evidence: Evidence) -> list[Finding]:
    """Return a finding for each step to a thickness whose blank lies on resin of an earlier pour."""
    job, findings = evidence.job, []
    for number, step in enumerate(job.steps):
        under = 3 - step.side
        over = stands_over(job.steps[:number], under) if step.do == THICKNESS else 0.0
        if over <= LEAST or _is_cut(job, under, number):
            continue
        findings.append(
            Finding(
                kind="step",
                severity="beyond",
                message=f"the {step_name(job, number)} lays the blank on resin that stands {over:.2f} mm over"
                f" side {under}: it rocks, and comes out thinner by as much",
                advice=f"Take the resin off side {under} first, as a step to a thickness.",
                value=over,
                bound=0.0,
                measure="height of the resin over the face that lies on the table, as stated",
                side=under,
                subject=f"step {number + 1}, lies on resin",
                **evidence.job_line(f"steps[{number}].do"),
            )
        )
    return findings


def _left_proud(evidence: Evidence) -> list[Finding]:
    """Return a warning for each side over which resin stands to the end, with nothing to take it off."""
    job, findings = evidence.job, []
    for side in (1, 2):
        pours = [number for number, step in enumerate(job.steps) if step.do == POUR and step.side == side]
        over = stands_over(job.steps, side)
        if over <= LEAST or _is_cut(job, side, len(job.steps), after=job.steps[pours[-1]].after):
            continue
        findings.append(
            Finding(
                kind="step",
                severity="warning",
                message=f"the resin of the {step_name(job, pours[-1])} stands {over:g} mm over side {side} to"
                " the end: nothing faces it",
                advice="Add a step to a thickness, or a setup that faces that side, after the pour.",
                value=over,
                bound=0.0,
                measure="height of the resin over the face, as stated",
                side=side,
                subject=f"step {pours[-1] + 1}, stands proud",
                **evidence.job_line(f"steps[{pours[-1]}].over"),
            )
        )
    return findings


def _is_cut(job: Job, side: int, number: int, after: int | None = None) -> bool:
    """Return whether a setup cuts a side between the last pour over it before step `number` and that step.

    after: index of the setup behind which that pour is done; found when None.
    """
    if after is None:
        pours = [step.after for step in job.steps[:number] if step.do == POUR and step.side == side]
        after = pours[-1]
    last = job.steps[number].after if number < len(job.steps) else len(job.setups) - 1
    return any(setup.side_up == side for setup in job.setups[after + 1 : last + 1])
