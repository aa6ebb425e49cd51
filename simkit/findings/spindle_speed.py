"""spindle-speed: a program asks for a speed that the spindle does not have."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup, and for too slow and too fast, at the S of the worst speed.

    Told on the last line before the first cut at it that calls it.  None where the job does not state the
    spindle's range.
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
            source = evidence.source_of(one.start + row)
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
                    **source | _called(evidence, index, source, worst),
                )
            )
    return findings


def _called(evidence: Evidence, setup: int, source: dict, speed: float) -> dict:
    """Return line and column of the S that calls a speed for the move at a source."""
    for _, read in evidence.reads[setup]:
        lines = [(line, column) for called, line, column in read.speeds_called if called == speed]
        before = [place for place in lines if place[0] <= source["line"]]
        if read.name == source["file"] and before:
            return {"line": before[-1][0], "column": before[-1][1]}
    return {}
