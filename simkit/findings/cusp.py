"""cusp: ridges between neighbouring passes higher than the limit, where the job states one."""

from __future__ import annotations

import math

import numpy as np
from scipy import ndimage

from simkit.compare.cusps import Cusps
from simkit.compare.cusps_formula import stepover_for
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.units import area_words

MOST = 6  # spots of a side that are told one by one, worst first
APART = 2.0  # distances between sites: ridges nearer than this are one spot
MEASURE = "height of the ridge above the line through the lowest places of both passes, normal to the part"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each spot where the ridges between passes are higher than the limit."""
    limit = evidence.job.limits.cusp
    if limit is None:
        return []
    findings = []
    for side, cusps in evidence.cusps.items():
        spots = _spots(cusps, cusps.height + cusps.bound > limit)
        for nth, spot in enumerate(spots[:MOST]):
            rest = len(spots) - MOST if nth == MOST - 1 and len(spots) > MOST else 0
            finding = _finding(evidence, cusps, spot, limit, rest, side)
            findings += [finding] if finding else []
    return findings


def _spots(cusps: Cusps, is_high: np.ndarray) -> list[np.ndarray]:
    """Return the sites (k,) of each spot of high ridges, the one with the highest first."""
    high = np.flatnonzero(is_high)
    if not len(high):
        return []
    size = APART * max(np.sqrt(cusps.area), 0.5)
    place = np.floor((cusps.at[high, :2] - cusps.at[high, :2].min(axis=0)) / size).astype(np.int64)
    grid = np.zeros(place.max(axis=0) + 1, bool)
    grid[tuple(place.T)] = True
    label, _ = ndimage.label(grid, np.ones((3, 3)))
    of = label[tuple(place.T)]
    spots = [high[of == number] for number in np.unique(of)]
    return sorted(spots, key=lambda spot: -cusps.height[spot].max())


def _finding(
    evidence: Evidence, cusps: Cusps, spot: np.ndarray, limit: float, rest: int, side: int
) -> Finding | None:
    """Return the finding of one spot, its worst ridge evaluated with every move of the job."""
    worst = int(spot[np.argmax(cusps.height[spot])])
    at, row = cusps.at[worst], int(cusps.row[worst])
    lower, upper, _, _ = evidence.heights(at[None, :2])
    lowered = float(at[2] - upper[0] if side == 1 else lower[0] - at[2]) / np.hypot(1.0, cusps.slope[worst])
    value, bound = float(cusps.height[worst]) - max(lowered, 0.0), float(cusps.bound[worst])
    severity = shape.severity_of(value, bound, limit)
    if not severity:
        return None
    cutter = evidence.cutter_of(row)
    stepover, across = float(cusps.stepover[worst]), float(cusps.across[worst])
    wanted = math.floor(100 * stepover_for(cutter, limit, across)) / 100  # rounded up it would leave more
    area = max(int(cusps.is_even[spot].sum()), 1) * cusps.area
    more = shape.not_listed(rest)
    return Finding(
        kind="cusp",
        severity=severity,
        message=(
            f"ridges of {value:.3f} mm between passes {stepover:.2f} mm apart, over about "
            f"{area_words(area)}{more}"
        ),
        advice=f"Bring the passes of {cutter} to {wanted:.2f} mm or less here, or sand.",
        value=value,
        bound=bound,
        limit=limit,
        measure=MEASURE,
        side=side,
        area=area,
        **evidence.place_of(at, shape.setup_of_side(evidence, side, row)),
        **evidence.source_of(row),
    )
