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


def outer_classes(evidence: Evidence, rows: Sequence[dict[str, Any]]) -> np.ndarray | None:
    """Return step_classes (ny, nx), in which steps that are within the limit are WITHIN; None for no steps.

    For pictures that show the wall itself, which is a wall of the part all along.
    """
    outside = evidence.outside
    if outside is None or not outside.is_step.any():
        return None
    classes = np.where(outside.is_step, colours.WITHIN, colours.NO_TARGET).astype(np.int8)
    beyond = step_classes(evidence, rows)
    return classes if beyond is None else colours.worse(classes, beyond)


def target_columns(evidence: Evidence) -> tuple[np.ndarray, np.ndarray] | None:
    """Return where the part as wanted begins and ends in each column, (ny, nx) mm each; 0 and 0 for none.

    None without a target.
    """
    part = evidence.envelopes
    if part is None:
        return None
    return tuple(np.where(part.is_part, end, 0.0) for end in (part.lower, part.upper))


def step_classes(evidence: Evidence, rows: Sequence[dict[str, Any]]) -> np.ndarray | None:
    """Return the classes of colours.class_index of what outer_steps tells (ny, nx), or None."""
    steps = outer_steps(evidence, rows)
    limits = evidence.job.limits
    return None if steps is None else colours.class_index(steps, (limits.gouge, limits.leftover))
