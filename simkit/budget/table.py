"""Rows of the table under the blank: how deep the tip goes below what the job allows, setup by setup."""

from __future__ import annotations

import numpy as np

from simkit.budget.lifts import face_lifts
from simkit.budget.motion import Motion
from simkit.budget.rows import TABLE, Rows, make_rows
from simkit.machine.room import TOUCH
from simkit.moves.extremes import extremes


def table_rows(evidence, motion: Motion) -> list[Rows]:
    """Return a row for each setup, of its lowest place: mm below the spoilboard, negative over it.

    evidence: of findings.  A zero on top goes down with a thinner blank, one on the table stays; the second
    side goes with its height, too.  A setup that is too deep already is left to its finding.
    """
    job, parts = evidence.job, []
    for setup, one, frame in zip(job.setups, evidence.rows, evidence.frames, strict=True):
        if one.stop <= one.start:
            continue
        part = evidence.moves[one]
        low, _ = extremes(part)
        deepest = int(np.argmin(low[:, 2]))
        body = setup.body(job.blank)
        rise = frame.up * (frame.offset[2] - body.face(-frame.up))
        below = -(low[deepest, 2] + rise) - (setup.spoilboard or 0.0)
        if below > TOUCH:
            continue
        is_second = frame.up == (1 if motion.side == 1 else -1)
        lower, upper = face_lifts(job, len(setup.before))
        thick = (lower - upper) if setup.zero.face == "top" else np.zeros_like(lower)
        at = frame.apply(np.array([[*part.end[deepest, :2], low[deepest, 2]]]))
        parts.append(
            make_rows(
                TABLE, 1 if frame.up > 0 else 2, at, [below], TOUCH, -motion.lie.matrix[:, 2] * is_second,
                thick[None], np.full((1, 3), np.nan), np.zeros((1, len(lower))),
            )
        )  # fmt: skip
    return parts
