"""wrong-turn: the programs of a setup fit the part when the blank lies or is zeroed another way."""

from __future__ import annotations

from simkit.compare.pose_fit import PoseFit
from simkit.compare.poses import Pose
from simkit.findings import wrong_unit
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.pose_words import how_to, joined


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup that another pose fits far better than the stated one."""
    findings = []
    in_doubt = {finding.setup for finding in wrong_unit.find(evidence)}
    for fit in evidence.poses:
        setup = evidence.job.setups[fit.setup]
        if fit.better is None or setup.name in in_doubt:  # at another size no pose fits, or by chance
            continue
        stated, right = fit.stated.pose, fit.better.pose
        misses = f"it then misses by {fit.better.miss:.2f} mm, as stated by {fit.stated.miss:.1f} mm"
        if not fit.better.is_carving:
            into = "into the part" if fit.stated.gouged else "past the part"
            misses = f"they then cut round the part, as stated {into}"
        if _are_exchanged(evidence, fit):
            first = evidence.job.setups[0].name
            fits = "fit side 1" if fit.better.is_carving else "cut round the part from side 1"
            there = "go into the part" if evidence.poses[0].stated.gouged else "cut past the part"
            findings.append(
                Finding(
                    kind="wrong-turn",
                    severity="safety",
                    message=(
                        f"the programs of '{first}' and '{setup.name}' look exchanged: those of"
                        f" '{setup.name}' {fits}, and those of '{first}' {there} there"
                    ),
                    advice=(
                        "Exchange them in the job, or look which side each was made for; settle it before "
                        "anything is cut."
                    ),
                    measure="vertical difference to the part that a hundredth of its plan exceeds",
                    setup=setup.name,
                    subject=setup.name,
                    side=2,
                    **evidence.job_line(f"setups[{fit.setup}].programs"),
                )
            )
            continue
        other = joined([how_to(one.pose, stated) for one in fit.alike], "; or ")
        other = f"; or {other}" if other else ""
        findings.append(
            Finding(
                kind="wrong-turn",
                severity="safety",
                message=(
                    f"the programs of '{setup.name}' do not fit the part as the job says the blank lies; "
                    f"{how_to(right, stated)}{other} ({misses})"
                ),
                advice=(
                    f"Lay the blank so and say so in the job ({_job_text(right, stated)}), or have "
                    f"these programs made for the blank as the job says; settle it before anything is cut."
                ),
                measure="vertical difference to the part that a hundredth of its plan exceeds",
                setup=setup.name,
                subject=setup.name,
                side=1 if evidence.frames[fit.setup].up > 0 else 2,
                **evidence.job_line(_key(evidence, fit.setup, right, stated)),
            )
        )
    return findings


def _are_exchanged(evidence: Evidence, fit: PoseFit) -> bool:
    """Return whether the second of two setups fits the first side, and the first does not fit as it lies."""
    first = evidence.poses[0]
    is_other_side = evidence.job.setups[fit.setup].side_up == 2 and fit.better.pose.turn == "none"
    is_wrong = first.setup == 0 and not first.stated.is_usable
    return len(evidence.job.setups) == 2 and is_other_side and is_wrong


def _job_text(right: Pose, stated: Pose) -> str:
    """Return the keys of the job file that change, as they are written there."""
    names = ("turn", "swing", "corner", "face")
    parts = [
        f'{name} = "{getattr(right, name)}"'
        for name in names
        if getattr(right, name) != getattr(stated, name)
    ]
    if right.offset != stated.offset:
        parts.append(f"offset = [{', '.join(f'{value:g}' for value in right.offset)}]")
    return ", ".join(parts)


def _key(evidence: Evidence, index: int, right: Pose, stated: Pose) -> str:
    """Return the key of the job file that says the first thing that is wrong."""
    setup, zero = f"setups[{index}]", f"setups[{index}].zero"
    keys = []
    if right.turn != stated.turn:
        keys = [f"{setup}.turn"]
    elif right.swing != stated.swing:
        keys = [f"{setup}.swing", f"{setup}.turn"]
    elif right.corner != stated.corner:
        keys = [f"{zero}.corner"]
    elif right.face != stated.face:
        keys = [f"{zero}.face"]
    return next((key for key in keys if key in evidence.job.lines), zero)
