"""thin-wall: a floor, side wall or rib thinner than the limit, and thinner than the part wants it."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from simkit.compare.part_only import part_columns
from simkit.compare.walls import ThinSpot, look_closer, thin_spots
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes

BESIDE_HOLDING = 0.6  # mm: so near a tab its thickness would be taken for the part's
MEASURE = "diameter of the largest ball inside the wood that touches the surface there"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected thin spot; by design (the part is as thin) is a note."""
    if evidence.walls is None:
        return []
    limit = evidence.job.limits.thinnest_wall
    judged, lattice = _judged(evidence), evidence.field.lattice

    def surfaces(window: Lattice):
        field = evidence.recut(window)
        around = envelopes(evidence.target_grid, window)
        return part_columns(field.lower, field.upper, around, lattice.cell)

    found = thin_spots(evidence.walls, evidence.target_walls, limit, judged)
    findings = []
    for nth, spot in enumerate(found[: shape.MOST]):
        looked = look_closer(spot, lattice, surfaces, mask=judged)
        severity = _severity(looked, limit)
        if not severity:
            continue
        rows = evidence.walls.rows(evidence.field, spot.iy, spot.ix)
        row = max(rows)  # the later cut is the one that made it thin
        others = [one for one in rows if one not in (row, -1)]
        sources = [evidence.source_of(one) for one in others]
        other = f"; the other face was cut by {sources[0]['file']}:{sources[0]['line']}" if sources else ""
        rest = len(found) - shape.MOST
        lesser = f" ({rest} lesser spots are not listed)" if nth == shape.MOST - 1 and rest > 0 else ""
        side = (1 if evidence.frames[int(evidence.moves.setup[row])].up > 0 else 2) if row >= 0 else None
        findings.append(
            Finding(
                kind="thin-wall",
                severity=severity,
                message=f"{_words(looked)}{other}{lesser}",
                advice=(
                    "The part itself is this thin here; thicken it if it must bear load."
                    if spot.is_by_design
                    else "Check depth and zero of the pass on this line against the other side's cut, "
                    "and the thickness of the blank."
                ),
                value=looked.thickness,
                bound=looked.bound,
                limit=limit,
                measure=MEASURE,
                side=side,
                area=spot.area,
                cells=spot.cells,
                **evidence.place_of(looked.near, shape.setup_of_side(evidence, side or 1, row)),
                **evidence.source_of(row),
            )
        )
    return findings


def _judged(evidence: Evidence) -> np.ndarray:
    """Return the cells of the part whose wall counts (ny, nx) bool: all but those where a tab begins."""
    cells = max(1, round(BESIDE_HOLDING / evidence.field.lattice.cell))
    is_near_holding = ndimage.binary_dilation(evidence.outside.is_holding, iterations=cells)
    return evidence.envelopes.is_part & ~is_near_holding


def _words(spot: ThinSpot) -> str:
    """Return how thick the wood is and what the part has there, in words."""
    if spot.is_by_design:
        return f"the part is thin here by design, {spot.target:.2f} mm; the wood is {spot.thickness:.2f} mm"
    wanted = "" if spot.target is None else f", the part has {spot.target:.2f} mm"
    return f"wood only {spot.thickness:.2f} mm thick{wanted}"


def _severity(spot: ThinSpot, limit: float) -> str:
    if spot.thickness - spot.bound >= limit:
        return ""
    if spot.is_by_design:
        return "note"
    return "beyond" if spot.thickness + spot.bound < limit else "undecided"
