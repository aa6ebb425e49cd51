"""setup: a setup whose programs do not meet the blank as it lies."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding


def find(evidence: Evidence) -> list[Finding]:
    """Return a finding for each setup whose programs remove nothing at all from the blank."""
    findings = []
    for index, (setup, frame, before, after) in enumerate(
        zip(evidence.job.setups, evidence.frames, evidence.starts, evidence.fields, strict=True)
    ):
        was, now = (one.upper_move if frame.up > 0 else one.lower_move for one in (before, after))
        is_idle = np.array_equal(now, was)
        if is_idle and not _meets_blank(evidence, index):
            findings.append(
                Finding(
                    kind="setup",
                    severity="beyond",
                    message=f"the programs of '{setup.name}' remove nothing from the blank",
                    advice=(
                        "Check where this setup's zero is (corner, top or bottom, offset) against the "
                        "zero the program was made for."
                    ),
                    measure="cells that a move of this setup cut",
                    setup=setup.name,
                    subject=setup.name,
                    **evidence.job_line(f"setups[{index}].zero"),
                )
            )
    return findings


def _meets_blank(evidence: Evidence, index: int) -> bool:
    """Return whether some cutting move of a setup goes below the blank's face inside its outline.

    Then it only went again where another had cut (a spring pass), and its zero is not in doubt.
    """
    frame = evidence.frames[index]
    body = evidence.job.setups[index].body(evidence.job.blank)
    moves = evidence.moves[evidence.rows[index]].in_frame(frame)
    ends = np.concatenate([moves.start[~moves.rapid], moves.end[~moves.rapid]])
    depth = frame.up * (body.face(frame.up) - ends[:, 2])
    is_inside = ((ends[:, :2] > body.low[:2]) & (ends[:, :2] < body.high[:2])).all(axis=1)
    return bool((is_inside & (depth > 0.01)).any())
