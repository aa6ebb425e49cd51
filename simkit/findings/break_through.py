"""break-through: nothing of the part is left in a column."""

from __future__ import annotations

import math

import numpy as np

from simkit.compare.deviation import SHAVED
from simkit.compare.spots import Spot, spots
from simkit.findings import made, shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.units import area_words

BESIDE = 3  # cells: so near a cell of which nothing is left a look may have found that one's peak
MEASURE_NARROW = "thickness of the part that is gone, along the cutter's axis, at that place"
ALONE = (
    "This side alone went through it: check depth and zero of this setup, and where the part lies in the "
    "blank."
)
TOGETHER = (
    "The cuts of both sides meet inside the part: check depth and zero of both setups, "
    "and the thickness of the blank."
)


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
                    else ALONE
                    if _is_alone(evidence, spot)
                    else TOGETHER
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


def is_narrow(evidence: Evidence, one: shape.Looked) -> bool:
    """Return whether nothing of the part is left at the worst place of a gouge, between the centres of cells.

    Beside cells of which nothing is left it is their break-through, and near the outline a shaved wall.
    """
    if one.row < 0:
        return False
    lattice, part = evidence.field.lattice, evidence.envelopes.is_part
    iy, ix = (int(k) for k in lattice.cell_at(*one.look.at[:2]))
    room = math.ceil(SHAVED / lattice.cell) + 1
    inside = (slice(iy - room, iy + room + 1), slice(ix - room, ix + room + 1))
    is_inside = min(iy, ix) >= room and part[inside].shape == (2 * room + 1,) * 2 and part[inside].all()
    beside = (slice(max(iy - BESIDE, 0), iy + BESIDE + 1), slice(max(ix - BESIDE, 0), ix + BESIDE + 1))
    if not is_inside or evidence.break_through.mask[beside].any():
        return False
    left = shape.column_at(evidence, one.look.at)
    low, high = _part_at(evidence, one.look.at)
    return min(float(left.upper[0, 0]), high) <= max(float(left.lower[0, 0]), low)


def narrow(evidence: Evidence, one: shape.Looked, more: str) -> Finding:
    """Return the finding for a place narrower than a cell where nothing of the part is left.

    more: words for the spots that are not listed.
    """
    low, high = _part_at(evidence, one.look.at)
    left = shape.column_at(evidence, one.look.at)
    is_alone = min(int(left.upper_move[0, 0]), int(left.lower_move[0, 0])) < 0
    fields = shape.common_fields(evidence, one, MEASURE_NARROW) | made.source_fields(evidence, one)
    fields |= {"severity": "beyond", "value": high - low, "bound": 1e-4, "limit": 0.0}
    return Finding(
        kind="break-through",
        message=(
            f"cut right through: nothing is left of the part, {high - low:.2f} mm thick here, in a place "
            "between the centres of cells" + more
        ),
        advice=ALONE if is_alone else TOGETHER,
        **fields,
    )


def _part_at(evidence: Evidence, at) -> tuple[float, float]:
    """Return the lower and upper height of the part at a place (x, y, ...), mm."""
    lower, upper = evidence.target_grid.heights(np.array([at[:2]], float))
    return float(lower[0]), float(upper[0])


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
