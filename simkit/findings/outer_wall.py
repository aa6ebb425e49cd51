"""gouge of the outer wall: it was cut nearer to the part than the finish allowance leaves."""

from __future__ import annotations

import numpy as np

from simkit.compare.outline import outline_step
from simkit.compare.spots import Spot, spots
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.target.envelope import envelopes

DIVIDE = 10  # cells of the closer look to a cell of the field
ROOM = 2.0  # mm about the worst place
MEASURE = "what the outer wall lacks in plan of the finish allowance, at cell centres"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected stretch of outer wall that lacks its allowance.

    Wood inside the outline, cut away, is told as any other gouge; this is about wood that should have
    been left outside it.
    """
    if evidence.outside is None or not evidence.zones.has_allowance:
        return []
    left, limit = _left(evidence), _limit(evidence)
    wall, lattice = evidence.outside.wall, evidence.field.lattice
    with np.errstate(invalid="ignore"):
        lack = np.where(np.isfinite(wall) & (left > 0), left - wall, 0.0)
        is_beyond = lack > limit - lattice.cell / 2
    is_beyond &= lack > lattice.cell / 2
    findings = []
    found = spots(lack, is_beyond, lattice, shape.GAP)
    for nth, spot in enumerate(found[: shape.MOST]):
        value, bound = _closer(evidence, spot, float(left[spot.cell]))
        severity = shape.severity_of(value, bound, float(limit[spot.cell]))
        if not severity:
            continue
        side, row = _cut_by(evidence, spot.cell)
        z = float(evidence.envelopes.side(side)[spot.cell])
        lesser = found[shape.MOST :] if nth == shape.MOST - 1 else []
        findings.append(
            Finding(
                kind="gouge",
                severity=severity,
                message=(
                    f"the outer wall lacks {value:.2f} mm of the {left[spot.cell]:g} mm that are to be left"
                    + shape.lesser_words(lesser)
                ),
                advice="Let the outline pass leave the allowance, or take it out of the job.",
                value=value,
                bound=bound,
                limit=float(limit[spot.cell]),
                measure=MEASURE,
                zone=evidence.zones.rule_at(spot.at, side).name,
                **shape.cut_fields(evidence, spot, (*spot.at, z), side, row),
            )
        )
    return findings


def _left(evidence: Evidence) -> np.ndarray:
    """Return what is to be left at each cell, the least that either side's zones ask, mm (ny, nx)."""
    lattice = evidence.field.lattice
    return np.minimum(*(evidence.zones.allowance(lattice, side)[0] for side in (1, 2)))


def _limit(evidence: Evidence) -> np.ndarray:
    """Return the larger of both sides' limits of each cell, mm (ny, nx)."""
    lattice = evidence.field.lattice
    return np.maximum(*(evidence.zones.limits(lattice, side)[0] for side in (1, 2)))


def _cut_by(evidence: Evidence, cell: tuple[int, int]) -> tuple[int, int]:
    """Return side and row of the cut nearest to a cell of the wall."""
    rows = {side: shape.owner_at(evidence, side, cell) for side in evidence.deviations}
    side = max(rows, key=lambda one: rows[one])
    return side, rows[side]


def _closer(evidence: Evidence, spot: Spot, left: float) -> tuple[float, float]:
    """Return what the wall lacks near a spot and its bound, mm, measured again on finer cells."""
    lattice = evidence.field.lattice
    room = round((left + ROOM) / lattice.cell) + 2
    iy, ix = spot.cell
    box = (
        max(iy - room, 0),
        min(iy + room + 1, lattice.ny),
        max(ix - room, 0),
        min(ix + room + 1, lattice.nx),
    )
    window = lattice.window(*box, DIVIDE)
    fine = outline_step(evidence.recut(window), envelopes(evidence.target_grid, window), left + ROOM)
    y, x = window.y()[:, None], window.x()
    is_here = np.isfinite(fine.wall) & (np.hypot(x - spot.at[0], y - spot.at[1]) <= 2 * lattice.cell)
    if not is_here.any():
        return 0.0, fine.bound
    return max(left - float(fine.wall[is_here].min()), 0.0), fine.bound
