"""Sawn edges that the zero of the second side is set at: an edge off its place takes the zero along."""

from __future__ import annotations

import numpy as np

from simkit.budget.motion import Motion
from simkit.job.model import Blank, Job, Setup

SAME = 1e-6  # mm


def sawn_edges(job: Job, motion: Motion) -> list[tuple[str, np.ndarray]]:
    """Return each sawn edge that counts, in words, and how the second side moves when it lies 1 mm off.

    The way (3,) mm, blank frame.  A zero at a corner goes with both edges there, one in the centre by half
    with all four.  Against the setup before it: an edge that both zeros are set at moves both.
    """
    after = _edges(job.setups[motion.setup], job.blank)
    before = _edges(job.setups[motion.setup - 1], job.blank)
    found = []
    for axis, place in sorted(after.keys() | before.keys()):
        share = after.get((axis, place), 0.0) - before.get((axis, place), 0.0)
        if share:
            way = np.zeros(3)
            way[axis] = share
            found.append((f"sawing the edge at {'xy'[axis]} = {place:g} mm", way))
    return found


def _edges(setup: Setup, blank: Blank) -> dict[tuple[int, float], float]:
    """Return the sawn edges that the zero of a setup is set at: (axis, place mm) -> its share in the zero."""
    body, first = setup.body(blank), (blank.length, blank.width)
    table = setup.to_table(blank).apply(np.zeros(3)) - np.array(setup.zero.offset)
    zero = setup.lie(blank).apply(table)
    shares = {}
    for axis in (0, 1):
        low, high = body.low[axis], body.high[axis]
        from_low = (high - zero[axis]) / (high - low)
        for place, share, was in ((low, from_low, 0.0), (high, 1.0 - from_low, first[axis])):
            if share > SAME and abs(place - was) > SAME:
                shares[axis, round(place, 6)] = round(share, 6)
    return shares
