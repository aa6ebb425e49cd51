"""thin-wall: a floor, side wall or rib thinner than the limit, and thinner than the part wants it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from scipy import ndimage

from simkit.compare.part_only import part_columns
from simkit.compare.thin_spots import (
    FINE,
    SLACK,
    ThinSpot,
    elsewhere,
    joined_cells,
    look_closer,
    thin_cells,
    thin_spots,
    wall_there,
)
from simkit.compare.wall_lost import is_parallel, is_wall, lost_along
from simkit.compare.walls import Walls
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Face, Finding
from simkit.findings.walls_told import faces_of, faces_words, moments_of, since_words
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes

BESIDE_HOLDING = 0.6  # mm: so near a tab its thickness would be taken for the part's
ALIKE = 0.1  # mm: a wall as thick as the part's within this is thin by design
ALONG = 0.9962  # cosine of 5 degrees
STEADY = 0.03  # mm: by no more do bounds of balls change when a wall gets thinner by as much
TRIES = 6  # so many places of a spot are looked at until one is a wall
MEASURE = "diameter of the largest ball inside the wood that touches the surface there"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected thin spot; by design (the part is as thin) is a note."""
    if evidence.walls is None:
        return []
    limit = evidence.job.limits.thinnest_wall
    told, rest = looks(evidence)
    severities = [_severity(looked, limit) for _, looked in told]
    told = [one for one, severity in zip(told, severities, strict=True) if severity]
    every = moments_of(evidence, [looked for _, looked in told])
    rest = shape.not_listed(rest)
    findings = []
    for nth, ((spot, looked), moments) in enumerate(zip(told, every, strict=True)):
        faces, names = faces_of(evidence, looked)
        later = faces[1]  # the one that made it thin
        setup = shape.setup_of_side(evidence, later.side or 1, max(looked.rows))
        lesser = rest if nth == len(told) - 1 else ""
        words = f"{_words(looked)}{faces_words(faces, names)}{since_words(moments, limit)}{lesser}"
        findings.append(
            Finding(
                kind="thin-wall",
                severity=_severity(looked, limit),
                message=words,
                advice=_advice(looked, faces, names),
                value=looked.thickness,
                bound=looked.bound,
                limit=limit,
                measure=MEASURE,
                side=later.side,
                area=spot.area,
                cells=spot.cells,
                file=later.file,
                line=later.line,
                cutter=later.cutter,
                setup=later.setup,
                **evidence.place_of(looked.near, setup),
                faces=faces,
                moments=moments,
            )
        )
    return findings


def looks(evidence: Evidence) -> tuple[list[tuple[ThinSpot, ThinSpot]], int]:
    """Return the worst thin spots, each as its cells tell it and as looked at closer, and how many more are.

    Made when first asked for.
    """
    if evidence.thin_looks is not None:
        return evidence.thin_looks
    limit = evidence.job.limits.thinnest_wall
    judged, lattice = is_judged(evidence), evidence.field.lattice

    def surfaces(window: Lattice):
        field = evidence.recut(window)
        around = envelopes(evidence.target_grid, window)
        return *part_columns(field.lower, field.upper, around, lattice.cell), field

    def wanted_surfaces(window: Lattice):
        around = envelopes(evidence.target_grid, window)
        return np.nan_to_num(around.lower), np.nan_to_num(around.upper), None

    found = thin_spots(evidence.walls, evidence.target_walls, limit, judged, field=evidence.field)
    told = []
    for spot in found[: shape.MOST]:
        looked = _looked(evidence, spot, surfaces, judged)
        if looked is None:
            continue
        # Else it is as its cells tell: at the edge of the blank a window shows no face.
        if looked.lost is not None:
            part = wall_there(looked, lattice, wanted_surfaces, evidence.walls.cap, judged)
            looked = _against_the_part(looked, part, limit)
            if looked is None:
                continue
        told.append((spot, looked))
    evidence.thin_looks = told, len(found) - shape.MOST
    return evidence.thin_looks


def _looked(evidence: Evidence, spot: ThinSpot, surfaces, judged: np.ndarray) -> ThinSpot | None:
    """Return a spot looked at closer, with what its wall lost; None where nothing of it is a wall."""
    lattice, limit = evidence.field.lattice, evidence.job.limits.thinnest_wall
    for place in _places(evidence, spot, judged):
        if place is None:
            return replace(spot, is_open=True)
        looked = look_closer(
            place, lattice, surfaces, mask=judged, is_wall=partial(is_wall, evidence.heights)
        )
        if looked is place and _is_at_edge(place, lattice):
            return looked
        if looked is None or looked is place:
            continue  # the finer cells see all of it, and no wall as thin
        lost, bound = lost_along(
            evidence.heights, evidence.target_grid.heights, looked.near, looked.contact, FINE, 1.5 * limit
        )
        if lost > ALIKE and not is_parallel(evidence.heights, looked.near, looked.contact, FINE):
            lost = math.inf  # then a line tells more than the wall lost
        return replace(looked, lost=lost, lost_bound=bound)
    return None


def _places(evidence: Evidence, spot: ThinSpot, judged: np.ndarray) -> Iterator[ThinSpot | None]:
    """Return where to look for the wall of a spot, until one is there: first where the part is thicker.

    None where too many of these were no wall to look at all.
    """
    yield spot
    walls = evidence.walls
    is_thin, is_wanted, wanted = thin_cells(
        walls, evidence.target_walls, evidence.job.limits.thinnest_wall, judged
    )
    joined = joined_cells(walls, is_thin)
    rest = is_thin & (joined == joined[spot.iy, spot.ix])
    far, place = SLACK + 1, spot
    for is_asked in (~is_wanted, is_wanted):
        for _ in range(TRIES):
            rest[max(place.iy - far, 0) : place.iy + far + 1, max(place.ix - far, 0) : place.ix + far + 1] = (
                False
            )
            found = elsewhere(
                spot, walls, rest & is_asked, partial(is_wall, evidence.heights), evidence.field
            )
            if found is None:
                break
            # As the cells have it, for where no closer look tells: at the edge of the blank.
            here = found.iy, found.ix
            there = float(wanted[here]) if math.isfinite(wanted[here]) else None
            place = replace(found, target=there, is_by_design=bool(is_wanted[here]))
            yield place
        else:
            if is_asked is not is_wanted:
                yield None


def _is_at_edge(spot: ThinSpot, lattice: Lattice) -> bool:
    """Return whether one of the two places of a spot lies at the edge of the blank."""
    places = np.array([spot.near, spot.contact])[:, :2] - lattice.origin
    last = lattice.cell * np.array([lattice.nx, lattice.ny])
    return bool((np.minimum(places, last - places) < lattice.cell).any())


def may_lose(evidence: Evidence) -> np.ndarray:
    """Return how much thinner a wall that is thin by design may get before it is told (ny, nx) mm.

    NaN at all other cells, and in spots that were not looked at closer.
    """
    found = np.full(evidence.field.lattice.shape, np.nan)
    alike = [
        (spot, looked)
        for spot, looked in looks(evidence)[0]
        if looked.is_by_design and looked.target_bound is not None
    ]
    if not alike:
        return found
    walls, judged = evidence.walls, is_judged(evidence)
    is_thin = thin_cells(walls, evidence.target_walls, evidence.job.limits.thinnest_wall, judged)[0]
    joined = joined_cells(walls, is_thin)
    for spot, looked in alike:
        is_mine = is_thin & (joined == joined[spot.iy, spot.ix])
        by_balls = ALIKE + looked.bound + looked.target_bound - STEADY + looked.thickness - looked.target
        found[is_mine] = max(by_balls, 0.0)
        # Of a wall that lies as the one looked at the line tells; elsewhere its faces may meet at an angle.
        if math.isfinite(looked.lost):
            found[is_mine & _lies_as(walls, looked)] = max(ALIKE - looked.lost, 0.0)
    return found


def _lies_as(walls: Walls, looked: ThinSpot) -> np.ndarray:
    """Return the cells (ny, nx) whose wall is measured within 5 degrees of the way of a spot's."""
    way = np.array(looked.contact) - looked.near
    with np.errstate(invalid="ignore", divide="ignore"):
        its = walls.contact - walls.near
        cosine = np.abs(its @ way) / (np.linalg.norm(its, axis=-1) * np.linalg.norm(way))
    return cosine > ALONG


def is_judged(evidence: Evidence) -> np.ndarray:
    """Return the cells of the part whose wall counts (ny, nx) bool.

    Not where a tab begins, and not where the shape of one of its two faces does not matter.
    """
    cells = max(1, round(BESIDE_HOLDING / evidence.field.lattice.cell))
    is_near_holding = ndimage.binary_dilation(evidence.outside.is_holding, iterations=cells)
    lattice, zones = evidence.field.lattice, evidence.zones
    is_judged = zones.is_judged(lattice, 1) & zones.is_judged(lattice, 2)
    return evidence.envelopes.is_part & is_judged & ~is_near_holding


def _against_the_part(looked: ThinSpot, part: tuple[float, float] | None, limit: float) -> ThinSpot | None:
    """Return a spot with what the part has there on cells as fine; None where it is none of the part's walls.

    part: thickness and its bound, mm, None where it has no wall there below the cap.  Along the line through
    both places what was lost is exact; where faces meet at an angle the part's largest ball may lie beside
    it.  By design is what is as thin as the part for certain, where that is not as thick as the limit for
    certain.
    """
    thickness, bound = part or (math.inf, 0.0)
    here = looked.thickness + looked.lost
    is_same = looked.lost + looked.lost_bound <= ALIKE
    if thickness - bound >= limit:
        if is_same and here + looked.bound + looked.lost_bound < limit:
            return None  # the part's faces are there as well, and make no wall: a hair moved the ball
        return replace(looked, target=part and thickness, is_by_design=False, target_bound=part and bound)
    if math.isinf(looked.lost):  # only the balls tell, and what they leave open is by design
        is_alike = looked.thickness + looked.bound + bound + ALIKE >= thickness
        return replace(looked, target=thickness, is_by_design=is_alike, target_bound=bound)
    is_less = looked.lost - looked.lost_bound > ALIKE
    is_alike = is_same
    # A part that may be as thick as the limit, and wood that is thinner than that for certain.
    is_thick = thickness + bound >= limit > looked.thickness + looked.bound
    is_near = here + looked.bound + looked.lost_bound < limit and is_same
    is_open = not is_less and (not is_alike or (is_thick and not is_near))
    return replace(
        looked,
        target=here if is_same else thickness,
        is_by_design=is_alike and not is_open,
        is_open=is_open,
        target_bound=looked.bound + looked.lost_bound if is_same else bound,
    )


def _advice(spot: ThinSpot, faces: Sequence[Face], names: Sequence[str]) -> str:
    """Return what to look at: the other side, two passes of one side, or a step.

    names: of the steps that made the faces, "" for none.
    """
    if spot.is_by_design:
        return "The part itself is this thin here; thicken it if it must bear load."
    if any(names):
        name = next(name for name in names if name)
        return f"Check the {name} against the cut of the other side, and the zero of that."
    if all(face.cutter for face in faces) and faces[0].setup == faces[1].setup:
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
    if spot.is_open:
        return "undecided"
    return "beyond" if spot.thickness + spot.bound < limit else "undecided"
