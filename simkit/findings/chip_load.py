"""chip-load: a feed for each tooth outside the range that the job states for the cutter."""

from __future__ import annotations

import numpy as np

from simkit.effort.program_time import about
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

NEAR = 1e-6  # of the limit: feeds that meet it are within
WRITTEN = "feed as programmed for each tooth and turn"
REACHED = "highest feed reached for each tooth and turn"
TOO_MUCH = "For chips within the range, lower the feed or raise the spindle speed."
TOO_LITTLE = "For chips within the range, raise the feed or lower the spindle speed."
TOO_SHORT = (
    "The moves are too short, or the axes too slow, for the feed: lower the spindle speed, or post longer "
    "moves; a higher feed would change nothing."
)


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup and cutter, for too little and too much, at its worst move.

    Too much is judged by the feed as programmed, wherever wood is taken; whether it is reached is said.  Too
    little by the feed as programmed, and where that is enough by the highest feed that is reached; only along
    passes that do not come down, for the way down into the wood is slow on purpose.
    """
    findings = []
    for index, own in enumerate(evidence.effort.bites):
        for number in np.unique(own.tool):
            cutter = evidence.job.cutters[int(number)]
            if cutter.chip_load is None or not cutter.flutes:
                continue
            least, largest = cutter.chip_load
            mine = (own.tool == number) & own.in_wood & ~np.isnan(own.per_tooth)
            calm = mine & own.is_pass & ~own.is_ramp
            over, under = own.per_tooth > largest * (1 + NEAR), own.per_tooth < least * (1 - NEAR)
            below = ~under & (own.reached < least * (1 - NEAR))
            findings += _told(evidence, index, mine & over, largest, own.per_tooth, _MORE)
            findings += _told(evidence, index, calm & under, least, own.per_tooth, _LESS)
            findings += _told(evidence, index, calm & below, least, own.reached, _BELOW)
    return findings


_MORE = {"word": "more", "advice": TOO_MUCH, "measure": WRITTEN}
_LESS = {"word": "less", "advice": TOO_LITTLE, "measure": WRITTEN}
_BELOW = {"word": "less", "advice": TOO_SHORT, "measure": REACHED}


def _told(evidence: Evidence, index: int, is_bad, limit: float, values, said: dict) -> list[Finding]:
    """Return the finding of the worst of some stretches (m,) of a setup, none if there is none.

    values (m,) mm a tooth: what is held against the limit.  said: its words.
    """
    own = evidence.effort.bites[index]
    if not is_bad.any():
        return []
    away = np.where(is_bad, np.abs(values - limit), -1.0)
    worst = int(np.lexsort((-own.volume, -away))[0])  # of equal ones the one that takes most
    row = int(own.row[worst])
    minutes = float(own.seconds[is_bad].sum()) / 60.0
    return [
        Finding(
            kind="chip-load",
            severity="warning",
            message=f"{evidence.cutter_of(evidence.rows[index].start + row)} takes {said['word']} for each"
            f" tooth than the job allows, {_which(own, is_bad, limit, said)}, for {about(minutes)}",
            advice=said["advice"],
            value=float(values[worst]),
            limit=limit,
            unit="mm a tooth",
            measure=said["measure"],
            side=1 if evidence.frames[index].up > 0 else 2,
            **evidence.place_of(evidence.replays[index].at[row], index),
            **evidence.source_of(evidence.rows[index].start + row),
        )
    ]


def _which(own, is_bad, limit: float, said: dict) -> str:
    """Return by which feed it is so: as written, as reached."""
    if said is _BELOW:
        return "for its feed is never reached there"
    highest = float(own.reached[is_bad].max())
    if said is _MORE and highest <= limit * (1 + NEAR):
        return f"as programmed (what is reached, {highest:.3f} mm at most, stays within)"
    return "as programmed"
