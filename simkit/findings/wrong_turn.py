"""wrong-turn: the programs of a setup fit the part when the blank is turned the other way."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

HOW = {
    "none": "left as it lay, side 1 up",
    "about x": "turned about x (front edge to the back, left stays left)",
    "about y": "turned about y (left end to the right, front stays front)",
}


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup that another turn fits far better than the stated one."""
    findings = []
    for fit in evidence.turns:
        if fit.better is None:
            continue
        setup = evidence.job.setups[fit.setup]
        findings.append(
            Finding(
                kind="wrong-turn",
                severity="safety",
                message=(
                    f"the programs of '{setup.name}' fit the part with the blank {HOW[fit.better]}, "
                    f"not {HOW[fit.stated]}"
                ),
                advice=(
                    f'Turn the blank {fit.better} and say so in the job (turn = "{fit.better}"), or have '
                    f"these programs made for the blank as the job says; settle it before anything is cut."
                ),
                measure="mean vertical difference to the part, both sides, for each way of turning",
                setup=setup.name,
                subject=setup.name,
                side=1 if evidence.frames[fit.setup].up > 0 else 2,
                **evidence.job_line(f"setups[{fit.setup}].turn"),
            )
        )
    return findings
