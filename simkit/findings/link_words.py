"""A gouge that one straight feed move cut on its way: a link between two places that was not lifted."""

from __future__ import annotations

import numpy as np

from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.moves.table import LINE

# Both common practice, no source: passes are made of moves alike, a link stands out among them.
LONGER = 5.0  # times the usual feed move of its cutter there
ALONE = 0.8  # of the spot's cells that this move alone cut last


def link_words(evidence: Evidence, one: shape.Looked) -> tuple[str, str] | None:
    """Return what is said behind the message of a gouge that a link cut, and the advice; None for others."""
    moves, row = evidence.moves, one.row
    if row < 0 or moves.kind[row] != LINE or moves.rapid[row]:
        return None
    alike = ~moves.rapid & (moves.setup == moves.setup[row]) & (moves.tool == moves.tool[row])
    length = np.hypot(*(moves.end[:, :2] - moves.start[:, :2])[alike].T)
    own = float(np.hypot(*(moves.end[row, :2] - moves.start[row, :2])))
    usual = float(np.median(length[length > 0])) if (length > 0).any() else 0.0
    if own <= LONGER * usual or _share(evidence, one) < ALONE:
        return None
    return (
        f"; the straight move of {own:.1f} mm in this line cuts it on its way",
        "This move leads from one place to the next and cuts on its way: lift the cutter to a safe height "
        "before it and come down again behind it, or have the links of this operation made higher. The "
        "passes beside it are not the cause.",
    )


def _share(evidence: Evidence, one: shape.Looked) -> float:
    """Return which part of a spot's cells its worst move alone cut last."""
    field, deviation = evidence.field, evidence.deviations[one.side].normal
    iy0, iy1, ix0, ix1 = one.spot.box
    window = (slice(iy0, iy1), slice(ix0, ix1))
    owners = (field.upper_move if one.side == 1 else field.lower_move)[window]
    with np.errstate(invalid="ignore"):
        is_deep = deviation[window] < -one.limit
    return float((owners[is_deep] == one.row).mean()) if is_deep.any() else 0.0
