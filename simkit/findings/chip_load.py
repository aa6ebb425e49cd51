"""chip-load: a feed for each tooth outside the range that the job states for the cutter."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

NEAR = 1e-6  # of the limit: feeds that meet it are within


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup and cutter, and for too little and too much, at its worst move.

    Judged is the feed as programmed.  Too much counts wherever wood is taken; too little only along passes
    that do not come down, for the way down into the wood is slow on purpose.
    """
    findings = []
    for index, (one, own) in enumerate(zip(evidence.rows, evidence.effort.bites, strict=True)):
        for number in np.unique(own.tool):
            cutter = evidence.job.cutters[int(number)]
            if cutter.chip_load is None or not cutter.flutes:
                continue
            least, largest = cutter.chip_load
            mine = (own.tool == number) & own.in_wood & ~np.isnan(own.per_tooth)
            calm = mine & own.is_pass & ~own.is_ramp
            for is_bad, limit, word, advice in (
                (mine & (own.per_tooth > largest * (1 + NEAR)), largest, "more", "lower the feed or raise"),
                (calm & (own.per_tooth < least * (1 - NEAR)), least, "less", "raise the feed or lower"),
            ):
                if not is_bad.any():
                    continue
                away = np.where(is_bad, np.abs(own.per_tooth - limit), -1.0)
                worst = int(np.lexsort((-own.volume, -away))[0])  # of equal ones the one that takes most
                row = one.start + int(own.row[worst])
                minutes = float(own.seconds[is_bad].sum()) / 60.0
                findings.append(
                    Finding(
                        kind="chip-load",
                        severity="warning",
                        message=f"{cutter} takes {word} for each tooth than the job allows, for"
                        f" {minutes:.1f} min",
                        advice=f"For chips within the range, {advice} the spindle speed.",
                        value=float(own.per_tooth[worst]),
                        limit=limit,
                        unit="mm a tooth",
                        measure="feed as programmed for each tooth and turn",
                        side=1 if evidence.frames[index].up > 0 else 2,
                        **evidence.place_of(evidence.replays[index].at[own.row[worst]], index),
                        **evidence.source_of(row),
                    )
                )
    return findings
