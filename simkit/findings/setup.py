"""setup: a setup whose programs do not meet the blank as it lies."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.stock.field import UNCUT


def find(evidence: Evidence) -> list[Finding]:
    """Return a finding for each setup whose programs remove nothing at all from the blank."""
    findings = []
    before = np.full(evidence.field.lattice.shape, UNCUT, np.int32)
    owners = {1: before, -1: before}
    for index, (setup, frame, field) in enumerate(
        zip(evidence.job.setups, evidence.frames, evidence.fields, strict=True)
    ):
        now = field.upper_move if frame.up > 0 else field.lower_move
        is_idle = np.array_equal(now, owners[frame.up])
        owners[frame.up] = now
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
    blank, frame = evidence.job.blank, evidence.frames[index]
    moves = evidence.moves[evidence.rows[index]].in_frame(frame)
    ends = np.concatenate([moves.start[~moves.rapid], moves.end[~moves.rapid]])
    depth = blank.thickness - ends[:, 2] if frame.up > 0 else ends[:, 2]
    is_inside = (ends[:, 0] > 0) & (ends[:, 0] < blank.length) & (ends[:, 1] > 0) & (ends[:, 1] < blank.width)
    return bool((is_inside & (depth > 0.01)).any())
