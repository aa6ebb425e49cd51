"""Leftover that stands out from the outer wall of the part, as the pictures colour it; NumPy only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.leftover import STEP_MEASURE
from simkit.report import colours


def outer_steps(evidence: Evidence, rows: Sequence[dict[str, Any]]) -> np.ndarray | None:
    """Return how far wood stands out from the outer wall, mm (ny, nx); NaN elsewhere, and None for nowhere.

    rows: findings of the result.  Only what is beyond the limit is told, in steps of the limit of the whole
    part where a zone has its own, and only where a finding tells of such a step: a closer look may have
    found less than the cells show.  Accuracy: at cell centres, that of compare.outline.
    """
    outside, field = evidence.outside, evidence.field
    if outside is None or not any(row.get("measure") == STEP_MEASURE for row in rows):
        return None
    zones, whole = evidence.zones, evidence.job.limits.leftover
    # As in findings.leftover: a step belongs to the side that cut it last on its way through.
    is_upper = field.upper_move > field.lower_move
    index = np.where(is_upper, *(zones.index(field.lattice, side) for side in (1, 2)))
    steps = np.full(field.lattice.shape, np.nan, np.float32)
    for number, rule in enumerate(zones.rules):
        run = outside.run - rule.finish_allowance
        is_mine = outside.is_step & (index == number) & (run > rule.leftover) & rule.is_judged
        factor = whole / rule.leftover if rule.leftover > 0 and whole > 0 else 1.0
        steps[is_mine] = (run * factor)[is_mine]
    return steps if np.isfinite(steps).any() else None


def step_classes(evidence: Evidence, rows: Sequence[dict[str, Any]]) -> np.ndarray | None:
    """Return the classes of colours.class_index of what outer_steps tells (ny, nx), or None."""
    steps = outer_steps(evidence, rows)
    limits = evidence.job.limits
    return None if steps is None else colours.class_index(steps, (limits.gouge, limits.leftover))
