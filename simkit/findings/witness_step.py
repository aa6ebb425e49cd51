"""witness-step: the walls that the two sides cut do not meet at the seam."""

from __future__ import annotations

import math

import numpy as np

from simkit.compare.seam_fit import ShiftFit, fit_shift
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

MEASURE = "distance in plan, along the outline's normal, between the walls that the two sides cut"


def find(evidence: Evidence) -> list[Finding]:
    """Return the seam's worst step as a finding when it is above the limit, and the shift behind it."""
    seam = evidence.seam
    if seam is None or seam.worst is None:
        return []
    limit = evidence.job.limits.witness_step
    size = np.where(is_judged(evidence), np.abs(seam.offset), 0.0)
    worst = int(np.argmax(size))
    value, bound = float(size[worst]), float(seam.bound[worst])
    severity = shape.severity_of(value, bound, limit)
    if not severity:
        return []
    rows = sorted((int(seam.row_upper[worst]), int(seam.row_lower[worst])))
    other = evidence.source_of(rows[0])
    beside = f"; the other wall was cut by {other['file']}:{other['line']}" if other else ""
    share = float((size > limit).mean())
    fit = fit_shift(seam)
    beyond = seam.stations[size >= min(limit, value)]
    is_explained = fit.explains(seam, worst)
    cause = f"side 2 lies off side 1 by {_shift_words(fit)}: " if is_explained else ""
    at = (*seam.stations[worst], float(seam.level[worst]))
    setup = shape.setup_of_side(evidence, 2, rows[1])
    return [
        Finding(
            kind="witness-step",
            severity=severity,
            message=(
                f"{cause}the walls of the two sides meet in a step of {value:.2f} mm, "
                f"{share:.0%} of the seam is over the limit{beside}"
            ),
            advice=(
                "Correct the zero of one side by that much and check the pins for play; other findings "
                "of that side may follow from it."
                if is_explained
                else "Compare the outline passes of the two sides: same outline, same cutter, same offset."
            ),
            value=value,
            bound=bound,
            limit=limit,
            measure=MEASURE,
            subject="seam",
            box=(*map(float, beyond.min(axis=0)), *map(float, beyond.max(axis=0))),
            side=2 if setup is not None and evidence.frames[setup].up < 0 else 1,
            **evidence.place_of(at, setup),
            **evidence.source_of(rows[1]),
        )
    ]


def is_judged(evidence: Evidence) -> np.ndarray:
    """Return the stations of the seam where the shape of both sides matters (n,) bool."""
    zones = evidence.zones
    if all(rule.is_judged for rule in zones.rules):
        return np.ones(len(evidence.seam.stations), bool)
    return np.array(
        [all(zones.rule_at((x, y), side).is_judged for side in (1, 2)) for x, y in evidence.seam.stations]
    )


def _shift_words(fit: ShiftFit) -> str:
    """Return where side 2 lies against side 1 in the blank frame, in words; what is nothing is left out."""
    dx, dy, turn = fit.bound
    parts = [
        f"{-value:+.2f} ±{_up(bound)} mm in {name}"
        for name, value, bound in (("x", fit.dx, dx), ("y", fit.dy, dy))
        if abs(value) >= 0.005
    ]
    if abs(fit.turn_degrees) >= 0.005:
        parts.append(f"{-fit.turn_degrees:+.2f} ±{_up(turn)} degrees")
    return ", ".join(parts) + " (blank frame)"


def _up(bound: float) -> str:
    """Return a bound rounded up to the digits of its value."""
    return f"{max(math.ceil(100 * bound - 1e-9), 1) / 100:.2f}"
