"""dowel-miss: a dowel hole is not where the job says, does not meet its pin, or is narrower than it."""

from __future__ import annotations

from simkit.compare.dowel_play import play_of
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.sawn import lost_holes
from simkit.findings.shape import severity_of

ROUNDING = 1e-6  # mm: sizes in inches come out so much off


def find(evidence: Evidence) -> list[Finding]:
    """Return findings for holes off their place, holes not through, and pins that do not fit a hole."""
    limit = evidence.job.limits.dowel_miss
    thickness = evidence.job.blank.thickness
    findings = []
    for index, hole in enumerate(evidence.holes):
        common = {
            "kind": "dowel-miss",
            "limit": limit,
            "at": (*hole.at, thickness),
            **(evidence.source_of(hole.row) or evidence.job_line(f"dowels[{index}].at")),
        }
        name = f"dowel hole '{hole.dowel.name}'"
        if hole.other is not None:
            row, wide = hole.other
            findings.append(
                Finding(
                    severity="warning",
                    subject=f"{hole.dowel.name}, another size",
                    message=f"a cutter of {wide:.2f} mm goes down at the place of the {name}, which is"
                    f" {hole.dowel.diameter:.2f} mm wide as the job says",
                    advice="Check the diameter of that cutter in the job first, then that of the dowel.",
                    **(common | evidence.source_of(row)),
                )
            )
            continue
        if hole.how == "not made":
            findings.append(
                Finding(
                    severity="note",
                    subject=f"{hole.dowel.name}, not made",
                    message=f"no program makes the {name}; it is taken to be where the job says",
                    advice="Drill it there before the first side, or name its place as drilled.",
                    **common,
                )
            )
            continue
        if severity := severity_of(hole.off, hole.bound, limit):
            findings.append(
                Finding(
                    severity=severity,
                    subject=f"{hole.dowel.name}, off its place",
                    message=f"the {name} is {hole.how} {hole.off:.2f} mm from its stated place",
                    advice="Correct the place in the job or in the program, so that the pins fit.",
                    value=hole.off,
                    bound=hole.bound,
                    measure="distance in plan, hole to stated place",
                    **common,
                )
            )
        if not hole.is_through and len(evidence.job.setups) > 1:
            findings.append(
                Finding(
                    severity="beyond",
                    subject=f"{hole.dowel.name}, not through",
                    message=f"the {name} does not go through the blank",
                    advice="Drill it deeper, point and all, or no pin can hold the turned blank.",
                    measure="whether the column at its centre is open",
                    **common,
                )
            )
    findings += lost_holes(evidence) + _thick(evidence) + _tight(evidence)
    for pin in evidence.pins:
        severity = severity_of(pin.miss, pin.bound, limit)
        if not severity:
            continue
        setup = evidence.job.setups[pin.setup]
        findings.append(
            Finding(
                kind="dowel-miss",
                severity=severity,
                subject=f"{pin.dowel.name}, pin of {setup.name}",
                message=(
                    f"as the blank lies for '{setup.name}', no hole meets the pin of '{pin.dowel.name}' at "
                    f"x {pin.pin[0]:.2f}, y {pin.pin[1]:.2f} mm: the nearest, '{pin.nearest.dowel.name}', "
                    f"lies at x {pin.hole[0]:.2f}, y {pin.hole[1]:.2f} mm"
                ),
                advice=(
                    "Check the blank's length and width, which way it is turned over, and where the pins "
                    "stand: holes on the line it is turned about meet themselves, others need `pins`."
                ),
                value=pin.miss,
                bound=pin.bound,
                limit=limit,
                measure="distance in plan, hole to pin, table frame of the setup",
                at=(*pin.nearest.at, thickness),
                setup=setup.name,
                **evidence.job_line(f"setups[{pin.setup}].turn"),
            )
        )
    return findings


def _thick(evidence: Evidence) -> list[Finding]:
    """Return a finding for each dowel whose pin is thicker than its hole, as both are stated.

    A warning up to the limit on how far a hole may miss its pin: wood gives by so much, and a press fit may
    be meant.
    """
    findings = []
    limit = evidence.job.limits.dowel_miss
    for index, hole in enumerate(evidence.holes):
        play = hole.dowel.play(hole.diameter)
        if len(evidence.job.setups) < 2 or play is None or play[1] >= -ROUNDING:
            continue
        over = -play[1]
        findings.append(
            Finding(
                kind="dowel-miss",
                severity="beyond" if over > limit else "warning",
                subject=f"{hole.dowel.name}, pin too thick",
                message=f"the pin of '{hole.dowel.name}' is {over:.2f} mm thicker than its hole: the blank "
                "goes onto it by force, or not at all",
                advice="Measure both, and ream the hole or take a thinner pin; where a press fit is meant, "
                "try it on an offcut.",
                value=over,
                bound=0.0,
                limit=limit,
                measure="diameter of the pin less that of the hole, as stated",
                at=(*hole.at, evidence.job.blank.thickness),
                **evidence.job_line(f"dowels[{index}].pin"),
            )
        )
    return findings


def _tight(evidence: Evidence) -> list[Finding]:
    """Return a finding for each setup whose blank does not go onto its pins, with the play that is known."""
    findings = []
    for index in sorted({pin.setup for pin in evidence.pins}):
        play = play_of(evidence.pins, index)
        if play is None or play.tight <= 0:
            continue
        setup = evidence.job.setups[index]
        findings.append(
            Finding(
                kind="dowel-miss",
                severity="beyond",
                subject=f"play, {setup.name}",
                message=(
                    f"the blank does not go onto the pins of '{setup.name}': their distance differs from "
                    f"that of its holes by {play.tight:.3f} mm more than the play allows"
                ),
                advice="Open one hole a little, or correct the distance of the holes or the pins.",
                value=play.tight,
                bound=0.0,
                measure="distance of holes less distance of pins, beyond the play",
                setup=setup.name,
                **evidence.job_line(f"setups[{index}].turn"),
            )
        )
    return findings
