"""break-through: nothing of the part is left in a column."""

from __future__ import annotations

import numpy as np

from simkit.compare.spots import Spot, spots
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.units import area_words


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected spot where the part is cut right through."""
    if evidence.target is None:
        return []
    gone = evidence.break_through
    lattice = evidence.field.lattice
    # Where neither side is judged, nothing need be left.
    is_gone = gone.mask & (evidence.zones.is_judged(lattice, 1) | evidence.zones.is_judged(lattice, 2))
    found = spots(np.where(is_gone, gone.depth, 0), is_gone, lattice, shape.GAP)
    findings = []
    for nth, spot in enumerate(found[: shape.MOST]):
        row, side = _last_cut(evidence, spot)
        lesser = found[shape.MOST :] if nth == shape.MOST - 1 else []
        z = float(evidence.envelopes.side(side)[spot.cell])
        source = shape.source_at(evidence, side, spot.at, row)
        by_step = source.get("file") == evidence.job_line("")["file"]
        findings.append(
            Finding(
                kind="break-through",
                severity="beyond",
                message=(
                    f"cut right through: nothing is left of the part, {spot.value:.2f} mm thick here, over "
                    f"{area_words(spot.area)}" + shape.lesser_words(lesser)
                ),
                advice=(
                    "This step takes that off the part, or goes down into what the other side cut: check its "
                    "sizes, and where the part lies in the blank."
                    if by_step
                    else "This side alone went through it: check depth and zero of this setup, and where the "
                    "part lies in the blank."
                    if _is_alone(evidence, spot)
                    else "The cuts of both sides meet inside the part: check depth and zero of both setups, "
                    "and the thickness of the blank."
                ),
                value=spot.value,
                bound=1e-4,
                limit=0.0,
                measure="thickness of the part that is gone, along the cutter's axis, at cell centres",
                side=side,
                **shape.spot_fields(spot, lattice),
                **evidence.place_of((*spot.at, z), shape.setup_of_side(evidence, side, row)),
                **source,
            )
        )
    return findings


def _is_alone(evidence: Evidence, spot: Spot) -> bool:
    """Return whether one side alone cut at the worst cell of a spot."""
    field, cell = evidence.field, spot.cell
    return min(field.upper_move[cell], field.lower_move[cell]) < 0


def _last_cut(evidence: Evidence, spot: Spot) -> tuple[int, int]:
    """Return row and side of the cut that goes deeper beyond the part at a spot; row -1 where a step does."""
    field, envelopes, cell = evidence.field, evidence.envelopes, spot.cell
    above = float(envelopes.upper[cell] - field.upper[cell])
    below = float(field.lower[cell] - envelopes.lower[cell])
    side = 1 if above >= below else 2
    return shape.owner_at(evidence, side, cell, spot.at), side
