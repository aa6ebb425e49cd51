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
        if is_idle:
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
                    **evidence.job_line(f"setups[{index}].zero"),
                )
            )
    return findings
