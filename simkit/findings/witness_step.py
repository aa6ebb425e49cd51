"""witness-step: the walls that the two sides cut do not meet at the seam."""

from __future__ import annotations

import numpy as np

from simkit.compare.seam import Seam, fit_shift
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

MEASURE = "distance in plan, along the outline's normal, between the walls that the two sides cut"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each contour whose seam has a step above the limit, at its worst place."""
    seam = evidence.seam
    if seam is None or seam.worst is None:
        return []
    limit = evidence.job.limits.witness_step
    size = np.abs(seam.offset)
    findings = []
    for contour in np.unique(seam.contour):
        here = np.flatnonzero((seam.contour == contour) & (size > limit))
        if len(here):
            findings.append(_finding(evidence, seam, here, limit))
    return findings


def _finding(evidence: Evidence, seam: Seam, here: np.ndarray, limit: float) -> Finding:
    worst = int(here[np.argmax(np.abs(seam.offset[here]))])
    value, bound = float(abs(seam.offset[worst])), float(seam.bound[worst])
    farther = 1 if seam.offset[worst] > 0 else 2
    row = max(int(seam.row_upper[worst]), int(seam.row_lower[worst]))
    other = evidence.source_of(min(int(seam.row_upper[worst]), int(seam.row_lower[worst])))
    beside = f"; the other wall was cut by {other['file']}:{other['line']}" if other else ""
    share = len(here) / len(seam.offset)
    at = (*seam.stations[worst], float(seam.level[worst]))
    return Finding(
        kind="witness-step",
        severity=shape.severity_of(value, bound, limit),
        message=(
            f"the walls of the two sides meet in a step of {value:.2f} mm, side {farther} stands out; "
            f"{share:.0%} of the seam is over the limit{beside}"
        ),
        advice=_advice(seam),
        value=value,
        bound=bound,
        limit=limit,
        measure=MEASURE,
        side=2 if row >= 0 and evidence.frames[int(evidence.moves.setup[row])].up < 0 else 1,
        **evidence.place_of(at, shape.setup_of_side(evidence, farther, row)),
        **evidence.source_of(row),
    )


def _advice(seam: Seam) -> str:
    """Return what to do, with the shift that would explain the step where one does."""
    fit = fit_shift(seam)
    explained = fit.is_observable.any() and fit.rms < 0.25 * float(np.abs(seam.offset).max())
    if not explained:
        return "Compare the outline passes of the two sides: same outline, same cutter, same offset."
    words = fit.words[0].upper() + fit.words[1:]
    return f"{words}: correct the zero of one side by that much, and check the pins for play."
