"""bite: deeper slots, or steeper ways down into the wood, than the job allows the cutter."""

from __future__ import annotations

import numpy as np

from simkit.effort.slots import is_deep_slot, limit_of
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

DEGREE = 0.05  # degrees: places of programs are rounded


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup, cutter and cause, at its worst move."""
    findings = []
    for index, own in enumerate(evidence.effort.bites):
        is_deep = is_deep_slot(own, evidence.job.cutters)
        for number in np.unique(own.tool):
            mine = (own.tool == number) & own.in_wood
            findings += _steep(evidence, index, int(number), mine)
            findings += _deep(evidence, index, int(number), mine & is_deep)
    return findings


def _steep(evidence: Evidence, index: int, number: int, mine: np.ndarray) -> list[Finding]:
    """Return the finding of ways down that are too steep; mine (m,): stretches of one cutter in wood."""
    own, cutter = evidence.effort.bites[index], evidence.job.cutters[number]
    if cutter.plunge_angle is None:
        return []
    bad = np.flatnonzero(mine & own.is_plunge & (own.plunge_angle > cutter.plunge_angle + DEGREE))
    if not len(bad):
        return []
    worst = bad[np.lexsort((-own.volume[bad], -own.plunge_angle[bad]))[0]]
    row = int(own.row[worst])
    return [
        Finding(
            kind="bite",
            severity="warning",
            message=f"{cutter} goes down into the wood more steeply than it may, {own.down[bad].sum():.1f} mm"
            " in all",
            advice="Post with a ramp or a helix into the wood, or drill a hole to go down in.",
            value=float(own.plunge_angle[worst]),
            limit=cutter.plunge_angle,
            unit="deg",
            measure="angle of the way down in wood, from level",
            side=1 if evidence.frames[index].up > 0 else 2,
            **evidence.place_of(evidence.replays[index].at[row], index),
            **evidence.source_of(evidence.rows[index].start + row),
        )
    ]


def _deep(evidence: Evidence, index: int, number: int, is_deep: np.ndarray) -> list[Finding]:
    """Return the finding of slots that are too deep: whole stretches (m,), and pieces of long moves."""
    own, cutter = evidence.effort.bites[index], evidence.job.cutters[number]
    pieces, start = evidence.effort.slots[index], evidence.rows[index].start
    mine = evidence.moves.tool[start + pieces.row] == number
    depth = np.concatenate([own.depth[is_deep], pieces.depth[mine]])
    if not len(depth):
        return []
    length = np.concatenate([own.length[is_deep], pieces.length[mine]])
    row = np.concatenate([own.row[is_deep], pieces.row[mine]])
    at = np.concatenate([evidence.replays[index].at[own.row[is_deep]], pieces.at[mine]])
    # Of equally deep ones, such as float32 tells them, the first.
    worst = int(np.lexsort((row, -depth.round(3)))[0])
    return [
        Finding(
            kind="bite",
            severity="warning",
            message=f"{cutter} cuts over its whole width, deeper than {cutter.slot_depth:g} times its"
            f" diameter, for {length.sum():.0f} mm",
            advice="Post with more levels, or with a way in that leaves wood on one side alone.",
            value=float(depth[worst]),
            limit=limit_of(cutter),
            measure="depth along the axis where the width of cut is the cutter's",
            side=1 if evidence.frames[index].up > 0 else 2,
            **evidence.place_of(at[worst], index),
            **evidence.source_of(start + int(row[worst])),
        )
    ]
