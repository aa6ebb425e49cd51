"""spindle-speed: a program asks for a speed that the spindle does not have."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup, and for too slow and too fast, at the first move at the worst speed.

    None where the job does not state the spindle's range.
    """
    spindle = evidence.job.machine.spindle
    if spindle is None:
        return []
    findings = []
    for index, one in enumerate(evidence.rows):
        moves = evidence.moves[one]
        speed = np.abs(moves.speed)
        turns = ~moves.rapid & (speed > 0)
        for is_bad, limit, worst_of, word in (
            (turns & (speed < spindle[0]), spindle[0], np.min, "slower"),
            (turns & (speed > spindle[1]), spindle[1], np.max, "faster"),
        ):
            if not is_bad.any():
                continue
            worst = worst_of(speed[is_bad])
            row = int(np.flatnonzero(is_bad & (speed == worst))[0])
            findings.append(
                Finding(
                    kind="spindle-speed",
                    severity="warning",
                    message=f"S{worst:g} is {word} than the spindle turns",
                    advice="Post with a speed that the spindle has; the feeds then follow from the chips.",
                    value=float(worst),
                    limit=limit,
                    unit="rev/min",
                    measure="speed as programmed",
                    side=1 if evidence.frames[index].up > 0 else 2,
                    **evidence.source_of(one.start + row),
                )
            )
    return findings
