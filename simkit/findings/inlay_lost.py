"""inlay-lost: a step to a thickness goes through a pattern, so that resin or a carving is gone there."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.made import step_name
from simkit.stock.thickness import Lost, Thicknessed
from simkit.units import area_words

LEAST = 1.0  # mm2: less is a crumb
MOST = 20  # places of one step that are told, the largest first


def find(evidence: Evidence) -> list[Finding]:
    """Return a finding for each place where resin (beyond) or a carving (a warning) is planed away."""
    findings = []
    for number, one in evidence.steps_done():
        if not isinstance(one, Thicknessed):
            continue
        findings += [_of(evidence, number, one, lost, "resin") for lost in _large(one.resin_lost)]
        findings += [_of(evidence, number, one, lost, "carving") for lost in _large(one.carving_lost)]
    return findings


def _large(lost: tuple[Lost, ...]) -> list[Lost]:
    return [one for one in lost if one.area >= LEAST][:MOST]


def _of(evidence: Evidence, number: int, one: Thicknessed, lost: Lost, what: str) -> Finding:
    x0, y0, x1, y1 = lost.box
    down = abs(one.before.face(one.up) - one.face)
    name = step_name(evidence.job, number)
    pattern = "the whole of an inlay" if what == "resin" else "the whole of a carved place"
    part = "part of an inlay" if what == "resin" else "part of a carved place"
    return Finding(
        kind="inlay-lost",
        severity="beyond" if what == "resin" else "warning",
        message=(
            f"the {name} takes away {pattern if lost.is_whole else part}, {area_words(lost.area)}: it was"
            f" {lost.depth:.2f} mm deep there at most, and {down:.2f} mm of the face go"
        ),
        advice="Leave the blank thicker, or cut the pocket deeper by what is planed off.",
        value=lost.depth,
        bound=0.0,
        limit=down,
        measure=f"deepest {what} there, below the face before the step, at cell centres",
        area=lost.area,
        cells=lost.cells,
        side=one.step.side,
        box=lost.box,
        centre=((x0 + x1) / 2, (y0 + y1) / 2),
        **evidence.place_of(lost.at, None),
        **evidence.job_line(f"steps[{number}].thickness"),
    )
