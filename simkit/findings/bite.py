"""bite: deeper slots, or steeper ways down into the wood, than the job allows the cutter."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

DEGREE = 0.05  # degrees: places of programs are rounded
NEAR = 1e-3  # mm: depths come in float32


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup, cutter and cause, at its worst move."""
    findings = []
    for index, own in enumerate(evidence.effort.bites):
        for number in np.unique(own.tool):
            cutter = evidence.job.cutters[int(number)]
            mine = (own.tool == number) & own.in_wood
            if cutter.plunge_angle is not None:
                steep = mine & own.is_plunge & (own.plunge_angle > cutter.plunge_angle + DEGREE)
                findings += _told(
                    evidence,
                    index,
                    steep,
                    own.plunge_angle,
                    cutter.plunge_angle,
                    unit="deg",
                    message=f"{cutter} goes down into the wood more steeply than it may",
                    advice="Post with a ramp or a helix into the wood, or drill a hole to go down in.",
                    measure="angle of the way down, from level",
                )
            if cutter.slot_depth is not None and cutter.shape != "drill":
                limit = cutter.slot_depth * cutter.diameter
                deep = mine & own.is_slot & (own.depth > limit + NEAR)
                findings += _told(
                    evidence,
                    index,
                    deep,
                    own.depth,
                    limit,
                    message=f"{cutter} cuts over its whole width, deeper than {cutter.slot_depth:g} times its"
                    " diameter",
                    advice="Post with more levels, or with a way in that leaves wood on one side alone.",
                    measure="depth along the axis where the width of cut is the cutter's",
                )
    return findings


def _told(evidence: Evidence, index: int, is_bad, values, limit: float, **words) -> list[Finding]:
    """Return the finding of the worst of some stretches of a setup, none if there is none."""
    own = evidence.effort.bites[index]
    if not is_bad.any():
        return []
    worst = int(np.lexsort((-own.volume, -np.where(is_bad, values, -np.inf)))[0])
    words["message"] += f", for {float(own.length[is_bad].sum()):.0f} mm"
    return [
        Finding(
            kind="bite",
            severity="warning",
            value=float(values[worst]),
            limit=limit,
            side=1 if evidence.frames[index].up > 0 else 2,
            **evidence.place_of(evidence.replays[index].at[own.row[worst]], index),
            **evidence.source_of(evidence.rows[index].start + int(own.row[worst])),
            **words,
        )
    ]
