"""thin-wall: a floor, side wall or rib thinner than the limit, and thinner than the part wants it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import ndimage

from simkit.compare.part_only import part_columns
from simkit.compare.thin_spots import ThinSpot, look_closer, thin_spots
from simkit.compare.walls import NO_FACE, UPPER_FACE
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.made import step_name
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes

BESIDE_HOLDING = 0.6  # mm: so near a tab its thickness would be taken for the part's
ALIKE = 0.1  # mm: a wall as thick as the part's within this and both bounds is thin by design
MEASURE = "diameter of the largest ball inside the wood that touches the surface there"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected thin spot; by design (the part is as thin) is a note."""
    if evidence.walls is None:
        return []
    limit = evidence.job.limits.thinnest_wall
    judged, lattice = is_judged(evidence), evidence.field.lattice

    def surfaces(window: Lattice):
        field = evidence.recut(window)
        around = envelopes(evidence.target_grid, window)
        return part_columns(field.lower, field.upper, around, lattice.cell)

    def wanted_surfaces(window: Lattice):
        around = envelopes(evidence.target_grid, window)
        return np.nan_to_num(around.lower), np.nan_to_num(around.upper)

    found = thin_spots(evidence.walls, evidence.target_walls, limit, judged)
    findings = []
    for nth, spot in enumerate(found[: shape.MOST]):
        looked = look_closer(spot, lattice, surfaces, mask=judged)
        if not spot.is_by_design:
            looked = _against_the_part(looked, look_closer(spot, lattice, wanted_surfaces, mask=judged), spot)
        severity = _severity(looked, limit)
        if not severity:
            continue
        rows = evidence.walls.rows(evidence.field, spot.iy, spot.ix)
        row = max(rows)  # the later cut is the one that made it thin
        others = [one for one in rows if one not in (row, -1)]
        sources = [evidence.source_of(one) for one in others]
        other = f"; the other face was cut by {sources[0]['file']}:{sources[0]['line']}" if sources else ""
        rest = len(found) - shape.MOST
        lesser = shape.not_listed(rest) if nth == shape.MOST - 1 else ""
        side = (1 if evidence.frames[int(evidence.moves.setup[row])].up > 0 else 2) if row >= 0 else None
        source, advice = evidence.source_of(row), _advice(evidence, looked, rows)
        face = _step_face(evidence, looked, rows)
        if face is not None:
            number, its_side, place = face
            name = step_name(evidence.job, number)
            other += f"; side {its_side} is as the {name} left it"
            if row < 0:
                side, source = its_side, shape.source_at(evidence, its_side, place, row)
            if not looked.is_by_design:
                advice = f"Check the {name} against the cut of the other side, and the zero of that."
        findings.append(
            Finding(
                kind="thin-wall",
                severity=severity,
                message=f"{_words(looked)}{other}{lesser}",
                advice=advice,
                value=looked.thickness,
                bound=looked.bound,
                limit=limit,
                measure=MEASURE,
                side=side,
                area=spot.area,
                cells=spot.cells,
                **evidence.place_of(looked.near, shape.setup_of_side(evidence, side or 1, row)),
                **source,
            )
        )
    return findings


def is_judged(evidence: Evidence) -> np.ndarray:
    """Return the cells of the part whose wall counts (ny, nx) bool.

    Not where a tab begins, and not where the shape of one of its two faces does not matter.
    """
    cells = max(1, round(BESIDE_HOLDING / evidence.field.lattice.cell))
    is_near_holding = ndimage.binary_dilation(evidence.outside.is_holding, iterations=cells)
    lattice, zones = evidence.field.lattice, evidence.zones
    is_judged = zones.is_judged(lattice, 1) & zones.is_judged(lattice, 2)
    return evidence.envelopes.is_part & is_judged & ~is_near_holding


def _against_the_part(looked: ThinSpot, wanted: ThinSpot, spot: ThinSpot) -> ThinSpot:
    """Return a spot with what the part has there on cells as fine: a sharp edge is thin by its own shape.

    wanted: the same place of the part, looked at as closely; `spot` itself where nothing thin is there.
    """
    if wanted is spot or looked is spot:
        return looked
    slack = looked.bound + wanted.bound + ALIKE
    return replace(looked, target=wanted.thickness, is_by_design=looked.thickness + slack >= wanted.thickness)


def _step_face(evidence: Evidence, spot: ThinSpot, rows: tuple[int, int]) -> tuple[int, int, tuple] | None:
    """Return the step that made one face of a wall, whose side that is, and its place; None for none."""
    if not evidence.job.steps:
        return None
    for row, face, place in zip(
        rows, (spot.near_face, spot.contact_face), (spot.near, spot.contact), strict=True
    ):
        if row >= 0 or face == NO_FACE:
            continue
        side = 1 if face == UPPER_FACE else 2
        number = shape.step_at(evidence, side, place)
        if number is not None:
            return number, side, place
    return None


def _advice(evidence: Evidence, spot: ThinSpot, rows: tuple[int, int]) -> str:
    """Return what to look at: the other side, or two passes of one side."""
    if spot.is_by_design:
        return "The part itself is this thin here; thicken it if it must bear load."
    setups = {int(evidence.moves.setup[row]) for row in rows if row >= 0}
    if len(rows) == 2 and min(rows) >= 0 and len(setups) == 1:
        return "Both faces were cut in this setup: one of the two passes named cuts into the part here."
    return (
        "Check depth and zero of the pass on this line against the other side's cut, and the thickness of "
        "the blank."
    )


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
