"""What the finders of deviations share: spots looked at closely, judged, and put in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from scipy import ndimage

from simkit.compare.closer import FINEST, Look, closer_look
from simkit.compare.overrated import overrated
from simkit.compare.peaks import proved_peaks, regions, slack
from simkit.compare.spots import Spot, labelled, spots
from simkit.findings.evidence import Evidence
from simkit.job.steps import SAW, THICKNESS
from simkit.stock.field import Field, Lattice
from simkit.stock.pour import Poured
from simkit.stock.saw import Sawn

CLOSEST = 0.00005  # mm: half the diagonal of the finest cells, where a verdict hangs on it
TIP = 1e-6  # mm: or where it hangs on the height of a tip
LAST = 2e-6  # mm: half edge of the last squares of the proof then
EVEN = 2e-5  # mm: as near as this to a limit rounding would decide
CLOSE = 0.03  # mm: bounds after a closer look are smaller, so what lies lower cannot reach the limit
MOST_CLOSE = 60  # spots near the limit that are looked at closely; more are told as their cells have it
MOST = 12  # spots of one kind, side and zone that are told one by one, worst first; as many near the limit
SAME = 1e-4  # mm: heights in float32 nearer than this are the same
PEAK_ROOM = 2.0  # finest cells within which two closer looks have found the same place
GAP = 2.0  # mm: spots nearer to each other than this are one thing to look at


@dataclass(frozen=True)
class Looked:
    """A spot after a closer look.

    severity: "beyond" or "undecided".
    row: the move that cut its worst place, -1 for none.
    limit mm: of the zone that judged it.  zone: its name.
    """

    spot: Spot
    look: Look
    severity: str
    row: int
    side: int
    limit: float
    zone: str


def severity_of(value: float, bound: float, limit: float) -> str:
    """Return how a value with its bound stands against the most it may be: '' within the limit."""
    if value - bound > limit:
        return "beyond"
    return "undecided" if value + bound > limit else ""


def looked_spots(
    evidence: Evidence, side: int, is_gouge: bool, mask: np.ndarray | None = None
) -> tuple[list[Looked], list[Spot]]:
    """Return the spots beyond a limit, or near it, after a closer look; and lesser ones beyond MOST.

    side: 1 or 2.  mask (ny, nx) bool: cells that count; None all.  Each zone is judged by itself, by its
    own limit: a spot that crosses into another is told once for each.
    A spot whose cells stay just below the limit is looked at too: between them it may reach beyond.
    """
    zones = evidence.zones
    index = zones.index(evidence.field.lattice, side)
    told, lesser = [], []
    for number, rule in enumerate(zones.rules):
        here = index == number if mask is None else mask & (index == number)
        if not rule.is_judged or not here.any():
            continue

        def counts(lattice: Lattice, number=number) -> np.ndarray:
            return zones.index(lattice, side) == number

        limit = rule.gouge if is_gouge else rule.leftover
        mine, more = _zone_spots(_Judged(evidence, side, limit, is_gouge, rule.name, counts), here)
        told += mine
        lesser += more
    lesser.sort(key=lambda spot: -abs(spot.value))
    return sorted(told, key=lambda one: -abs(one.look.value)), lesser


@dataclass(frozen=True)
class _Judged:
    """What spots of one zone and side are judged by."""

    evidence: Evidence
    side: int
    limit: float
    is_gouge: bool
    zone: str
    counts: Callable[[Lattice], np.ndarray]


def _zone_spots(judged: _Judged, here: np.ndarray) -> tuple[list[Looked], list[Spot]]:
    """Return the spots of one zone, told one by one and lesser ones."""
    deviation, limit = judged.evidence.deviations[judged.side], judged.limit
    sign = -1.0 if judged.is_gouge else 1.0
    is_out = np.isnan(deviation.normal) | ~here
    least, most = (np.where(is_out, 0.0, sign * values) for values in (deviation.normal, deviation.most))
    for (iy, ix, is_gouge), (_, off) in (getattr(deviation, "rims", None) or {}).items():
        if is_gouge == judged.is_gouge and not is_out[iy, ix]:
            most[iy, ix] = max(most[iy, ix], off)
    found = spots(deviation.normal, least > limit, deviation.lattice, GAP)
    # Near the limit, or straddling it, and not part of a spot that is beyond it anyway.
    is_near = ((most > limit) | (least > limit - min(CLOSE, limit / 3))) & ~is_out
    label, _ = ndimage.label(is_near, np.ones((3, 3)))
    is_beyond = np.zeros(label.max() + 1, bool)
    is_beyond[label[least > limit]] = True
    # A cell may be near the limit by one measure and lie on the other side of the part by the other.
    close = spots(sign * np.maximum(least, most), is_near & ~is_beyond[label], deviation.lattice, GAP)
    certain = [_looked(judged, *one) for one in _with_rims(judged, found[:MOST], least > limit, here)]
    certain = _proved(judged, certain, least > limit, here)
    certain += _higher(judged, certain, found[MOST:], least > limit, here)
    told = _once(certain)
    # Beyond by its own cells, though the look at it found a neighbour's peak: counted, not told as that.
    beside = [one.spot for one in certain if one not in told]
    among = is_near & ~is_beyond[label]
    near = _once([_looked(judged, *one) for one in _with_rims(judged, close[:MOST_CLOSE], among, here)], told)
    # A look finds one peak; where the cells leave it open, another beside it may be higher.
    doubted = [one for one in near if not one.severity and most[one.spot.cell] > limit]
    near += [_unlooked(judged, spot) for spot in close[MOST_CLOSE:]]
    told, near = ([one for one in some if one.severity] for some in (told, near))
    near.sort(key=lambda one: (one.severity != "beyond", -abs(one.look.value)))
    shown = _proved(judged, near[:MOST], among, here)
    doubted = [replace(one, severity="undecided") for one in doubted]
    shown = _once(shown + _proved(judged, doubted, among, here), told)
    shown = [one for one in shown if one.severity]
    lesser = [spot for spot in found[MOST:] if not any(spot.box == one.spot.box for one in certain)]
    return told + shown, beside + lesser + [one.spot for one in near[MOST:]]


def _higher(
    judged: _Judged, told: list[Looked], lesser: list[Spot], mask: np.ndarray, here: np.ndarray
) -> list[Looked]:
    """Return those of the lesser spots that between their samples are higher than all that are told.

    mask, here: as for `_proved`.
    """
    evidence, side = judged.evidence, judged.side
    if not lesser or evidence.may_exceed is None:
        return []
    region = _regions(judged, lesser, mask, here)
    highest = max(abs(one.look.value) + slack(one.look) for one in told)
    is_asked, found = region > 0, []
    while is_asked.any() and len(found) < MOST:
        met = evidence.may_exceed(side, judged.is_gouge, np.where(is_asked, highest, np.inf), is_asked)
        place = met.place(is_asked)
        if place is None:
            break
        number = region[place[0]]
        one = _looked(judged, lesser[number - 1])
        found += _proved(judged, [one], mask, here)
        is_asked = met.is_found & (region != number)
    return found


def _regions(judged: _Judged, some: list[Spot], mask: np.ndarray, here: np.ndarray) -> np.ndarray:
    """Return which of some spots each cell is looked at with (ny, nx): 1 for the first, 0 for none."""
    evidence = judged.evidence
    lattice = evidence.field.lattice
    label, _ = labelled(mask, GAP / lattice.cell)
    region = regions(label, [_number_at(label, spot.cell) for spot in some], lattice.cell)
    return np.where(here & ~np.isnan(evidence.envelopes.side(judged.side)), region, 0)


def _number_at(label: np.ndarray, cell: tuple[int, int]) -> int:
    """Return the number of the spot at a cell, or nearest to it: an edge's place may lie beside its cells."""
    if label[cell] or not label.any():
        return int(label[cell])
    iy, ix = np.nonzero(label)
    nearest = int(np.argmin((iy - cell[0]) ** 2 + (ix - cell[1]) ** 2))
    return int(label[iy[nearest], ix[nearest]])


def _proved(judged: _Judged, looked: list[Looked], mask: np.ndarray, here: np.ndarray) -> list[Looked]:
    """Return spots with their highest peaks: nothing over them, between the samples or not, is higher.

    mask (ny, nx): the cells of these and other spots.  here (ny, nx): the cells that count.
    """
    evidence, side = judged.evidence, judged.side
    lattice = evidence.field.lattice
    if not looked or evidence.may_exceed is None:
        return looked
    region = _regions(judged, [one.spot for one in looked], mask, here)
    peaks = proved_peaks(
        [one.look for one in looked],
        region,
        partial(evidence.may_exceed, side, judged.is_gouge),
        lambda _, cell, place: _look_closely(judged, cell, place),
    )
    found = []
    for nth, (one, (look, cell)) in enumerate(zip(looked, peaks, strict=True)):
        severity = _severity(look, judged.limit)
        if severity == "undecided" or (one.severity == "undecided" and not severity):
            severity, look, cell = _decided(judged, look, region == nth + 1)
        row, spot = one.row, one.spot
        if cell is not None:
            row = owner_at(evidence, side, cell, look.at)
            spot = replace(spot, cell=cell, at=tuple(float(v) for v in lattice.centre_of(*cell)))
        found.append(replace(one, spot=spot, look=look, severity=severity, row=row))
    return found


def _decided(judged: _Judged, look: Look, region: np.ndarray) -> tuple[str, Look, tuple[int, int]]:
    """Return the severity of a spot near its limit, looked at as closely as that asks for, its look and cell.

    region (ny, nx) bool: its cells.
    """
    limit, top = judged.limit, _top(look)
    cell = tuple(int(k) for k in judged.evidence.field.lattice.cell_at(*look.at[:2]))
    look = _look(judged, cell, look.at[:2], CLOSEST)
    if look.certain <= limit + EVEN:
        most = np.where(region, limit - EVEN, np.inf)
        left = judged.evidence.zones.allowance(judged.evidence.field.lattice, judged.side)
        found = judged.evidence.may_exceed(judged.side, judged.is_gouge, most, region, LAST, with_faces=True)
        worst = found.worst(region)
        if worst is None and (look.is_surface or _top(look) <= limit):
            return "", look, cell
        if worst is not None:
            *met, size, is_met = worst
            other = _look(judged, *met, CLOSEST)
            if is_met and left is None and size > abs(other.value):  # the look went on to a place beside it
                value = -size if judged.is_gouge else size
                other = replace(other, value=value, certain=size, at=(*met[1], other.at[2]), is_surface=True)
            if abs(other.value) > abs(look.value):
                look, cell = other, met[0]
            away = np.where(region, found.away, 0.0)
            if look.certain <= limit + EVEN and away.any():  # the tip of a spike: samples beside it lie lower
                at = tuple(int(k) for k in np.unravel_index(np.argmax(away), away.shape))
                other = _look(judged, at, tuple(float(v) for v in found.away_at[at]), TIP)
                if abs(other.value) > abs(look.value):
                    look, cell = other, at
            top = max(top, limit)  # what was met there is not proved to keep below it
    severity = "beyond" if look.certain > limit + EVEN else "undecided"
    return severity, replace(look, bound=max(look.bound, top - abs(look.value))), cell


def _top(look: Look) -> float:
    """Return the most that a peak may be, mm."""
    return abs(look.value) + look.bound


def _severity(look: Look, limit: float) -> str:
    """Return how a look stands against the most it may be: '' within the limit."""
    if look.certain > limit + EVEN:
        return "beyond"
    return "undecided" if _top(look) > limit else ""


def _once(looked: list[Looked], before: Sequence[Looked] = ()) -> list[Looked]:
    """Return spots whose peak is not that of an earlier one: neighbours may find the same worst place."""
    kept: list[Looked] = []
    for one in looked:
        for other in (*before, *kept):
            apart = max(abs(a - b) for a, b in zip(one.look.at[:2], other.look.at[:2], strict=True))
            is_alike = abs(one.look.value - other.look.value) <= one.look.bound + other.look.bound
            if is_alike and apart <= PEAK_ROOM * max(one.look.cell, other.look.cell):
                break
        else:
            kept.append(one)
    return kept


def _with_rims(judged: _Judged, some: list[Spot], mask: np.ndarray, here: np.ndarray) -> list[tuple]:
    """Return spots, each with the cell and place of the edge farthest off among its cells, if there is one.

    mask, here: as for `_proved`.
    """
    deviation = judged.evidence.deviations[judged.side]
    rims: list = [None] * len(some)
    if getattr(deviation, "rims", None) and some:
        region = _regions(judged, some, mask, here)
        mine = [
            (off, (iy, ix), place)
            for (iy, ix, is_gouge), (place, off) in deviation.rims.items()
            if is_gouge == judged.is_gouge
        ]
        for _, cell, place in sorted(mine, key=lambda one: (-one[0], one[1])):
            nth = region[cell] - 1
            if nth >= 0 and rims[nth] is None:
                rims[nth] = (cell, place)
    return [(spot,) if rim is None else (spot, rim) for spot, rim in zip(some, rims, strict=True)]


def _looked(judged: _Judged, spot: Spot, rim: tuple | None = None) -> Looked:
    """Return a spot after a closer look at its worst place; rim: cell and place of one of its cells."""
    evidence, side = judged.evidence, judged.side
    look = surest = _look(judged, spot.cell)
    if rim is not None:  # it may be lost in a strip that cells miss
        looks = [
            _narrowed(judged, one) for one in (_look(judged, *rim), _look(judged, rim[0], is_narrow=True))
        ]
        closer = max(looks, key=lambda one: abs(one.value))
        surest = max(look, *looks, key=lambda one: one.certain)
        if abs(closer.value) > abs(look.value):
            at = evidence.field.lattice.centre_of(*rim[0])
            look, spot = closer, replace(spot, cell=rim[0], at=tuple(float(v) for v in at))
    if _top(look) < abs(spot.value):  # its cells were cut finer than a look begins: a knife's edge, a slit
        look = _look(judged, spot.cell, is_narrow=True)
    if _top(look) < abs(spot.value) and not _is_overrated(judged, spot):
        look = _as_cells_have_it(judged, spot)
    look = _narrowed(judged, look)
    if abs(look.value) < surest.certain:  # a rim's cell tells no more than that: it may be less far off
        look = surest
    row = owner_at(evidence, side, spot.cell, look.at)
    return Looked(spot, look, _severity(look, judged.limit), row, side, judged.limit, judged.zone)


def _narrowed(judged: _Judged, look: Look) -> Look:
    """Return a look whose bound no proof will make narrower, taken closer; else the look itself."""
    if look.is_surface or look.bound <= slack(look):
        return look
    cell = tuple(int(k) for k in judged.evidence.field.lattice.cell_at(*look.at[:2]))
    closer = _look(judged, cell, look.at[:2], FINEST / 8)
    return closer if abs(closer.value) >= look.certain - look.bound else look


def _look(
    judged: _Judged,
    cell: tuple[int, int],
    place: tuple[float, float] | None = None,
    finest: float = FINEST,
    is_narrow: bool = False,
) -> Look:
    """Return a closer look at a cell, or at a place in it."""
    evidence, side = judged.evidence, judged.side
    return closer_look(
        evidence.recut,
        evidence.field,
        evidence.target_grid,
        side,
        cell,
        judged.is_gouge,
        finest,
        allowance=partial(evidence.zones.allowance, side=side),
        counts=judged.counts if len(evidence.zones.rules) > 1 else None,
        place=place,
        is_narrow=is_narrow,
    )


def _look_closely(judged: _Judged, cell: tuple[int, int], place: tuple[float, float]) -> Look:
    """Return a closer look at a place; on finer cells where no proof will make its bound narrower."""
    look = _look(judged, cell, place)
    if not look.is_surface and look.bound > slack(look):
        finer = _look(judged, cell, place, FINEST / 8)
        look = finer if abs(finer.value) >= abs(look.value) else look
    return look


def _is_overrated(judged: _Judged, spot: Spot) -> bool:
    """Return whether the worst cell of a spot tells more than its sample is off (`compare.overrated`)."""
    evidence, side = judged.evidence, judged.side
    if evidence.zones.allowance(evidence.field.lattice, side) is not None:
        return False
    return overrated(evidence.recut, evidence.field, evidence.target_grid, side, spot.cell, abs(spot.value))


def _as_cells_have_it(judged: _Judged, spot: Spot) -> Look:
    """Return a spot without a closer look."""
    deviation = judged.evidence.deviations[judged.side]
    sign = -1.0 if judged.is_gouge else 1.0
    ends = sorted(float(sign * values[spot.cell]) for values in (deviation.normal, deviation.most))
    least = max(ends[0], 0.0)
    most = max(ends[1], abs(spot.value))  # a cell may hold what is off the other way, see Deviation.rims
    surface = judged.evidence.field.upper if judged.side == 1 else judged.evidence.field.lower
    at = (*spot.at, float(surface[spot.cell]))
    return Look(sign * least, most - least, at, deviation.lattice.cell, certain=least)


def _unlooked(judged: _Judged, spot: Spot) -> Looked:
    """Return a spot near the limit as its cells have it, where there are too many to look at each."""
    evidence, side = judged.evidence, judged.side
    look = _as_cells_have_it(judged, spot)
    severity = severity_of(look.certain, look.bound, judged.limit)
    row = owner_at(evidence, side, spot.cell, look.at)
    return Looked(spot, look, severity, row, side, judged.limit, judged.zone)


def owner_at(evidence: Evidence, side: int, cell: tuple[int, int], at=None) -> int:
    """Return the row of the move that cut a cell from a side, or of the nearest cut cell; -1 for none.

    at (x, y, ...) mm: the place that is meant, where it is known: what lies between the centres of cells is
    not the cell's, and in a job with steps a face that was planed or poured hides who cut beside it.
    """
    field = evidence.field
    if at is not None and (evidence.job.steps or not _is_centre(field.lattice, cell, at)):
        there = column_at(evidence, at)
        row = int((there.upper_move if side == 1 else there.lower_move)[0, 0])
        if row >= 0 or (evidence.job.steps and step_at(evidence, side, at) is not None):
            return row
    owners = field.upper_move if side == 1 else field.lower_move
    iy, ix = cell
    if owners[iy, ix] >= 0:
        return int(owners[iy, ix])
    reach = 30  # cells
    box = (slice(max(iy - reach, 0), iy + reach + 1), slice(max(ix - reach, 0), ix + reach + 1))
    near = owners[box]
    rows, columns = np.nonzero(near >= 0)
    if not len(rows):
        return -1
    y, x = rows + box[0].start - iy, columns + box[1].start - ix
    nearest = int(np.argmin(y * y + x * x))
    return int(near[rows[nearest], columns[nearest]])


def column_at(evidence: Evidence, at) -> Field:
    """Return what is left at a place (x, y, ...) mm: a field of one cell, with its middle there, exact."""
    x, y = (float(v) for v in at[:2])
    return evidence.recut(Lattice((x - FINEST / 2, y - FINEST / 2), FINEST, 1, 1))


def _is_centre(lattice: Lattice, cell: tuple[int, int], at) -> bool:
    """Return whether a place (x, y, ...) mm is the centre of a cell."""
    return all(abs(a - b) <= EVEN for a, b in zip(at[:2], lattice.centre_of(*cell), strict=True))


def step_at(evidence: Evidence, side: int, at) -> int | None:
    """Return the number of the step that made the surface of a side at (x, y, ...) mm, None for none."""
    columns = evidence.columns(np.array([at[:2]], float))
    if (columns.row_upper if side == 1 else columns.row_lower)[0] >= 0:
        return None
    height = float((columns.upper if side == 1 else columns.lower)[0])
    for number, one in reversed(evidence.steps_done()):
        if isinstance(one, Sawn):
            if bool(one.is_off(*at[:2])):
                return number
            continue
        made = one.level if isinstance(one, Poured) else one.face
        is_here = not isinstance(one, Poured) or bool(one.near(*at[:2]))
        if one.step.side == side and is_here and abs(made - height) < SAME:
            return number
    return None


def setup_of_side(evidence: Evidence, side: int, row: int) -> int | None:
    """Return the index of the setup that a place of a side belongs to: the move's, else the first."""
    if row >= 0:
        return int(evidence.moves.setup[row])
    ups = [index for index, frame in enumerate(evidence.frames) if frame.up == (1 if side == 1 else -1)]
    return ups[0] if ups else None


def spot_fields(spot: Spot, lattice: Lattice) -> dict[str, Any]:
    """Return the fields of a Finding that say where its cells lie in plan, mm."""
    iy0, iy1, ix0, ix1 = spot.box
    (x0, y0), cell = lattice.origin, lattice.cell
    return {
        "area": spot.area,
        "cells": spot.cells,
        "box": (x0 + ix0 * cell, y0 + iy0 * cell, x0 + ix1 * cell, y0 + iy1 * cell),
        "centre": spot.centre,
    }


def cut_fields(evidence: Evidence, spot: Spot, at, side: int, row: int) -> dict[str, Any]:
    """Return the fields of a Finding that say where a spot is and which cut made it.

    at: x, y, z of its worst place, mm, blank frame.  row: of the move that cut it from `side`; -1 for none.
    """
    return {
        "side": side,
        **spot_fields(spot, evidence.field.lattice),
        **evidence.place_of(at, setup_of_side(evidence, side, row)),
        **source_at(evidence, side, at, row),
    }


def source_at(evidence: Evidence, side: int, at, row: int) -> dict[str, Any]:
    """Return the fields of a Finding that say who made a surface: a line of a program, or a step of a job."""
    number = step_at(evidence, side, at) if row < 0 and evidence.job.steps else None
    if number is None:
        return evidence.source_of(row)
    step = evidence.job.steps[number]
    key = {THICKNESS: "thickness", SAW: "box"}.get(step.do, "below" if step.over is None else "over")
    return evidence.job_line(f"steps[{number}].{key}")


def common_fields(evidence: Evidence, one: Looked, measure: str) -> dict[str, Any]:
    """Return the fields of a Finding that follow from a looked-at spot."""
    return {
        "severity": one.severity,
        "value": abs(one.look.value),
        "bound": one.look.bound,
        "limit": one.limit,
        "measure": measure,
        "zone": one.zone,
        **cut_fields(evidence, one.spot, one.look.at, one.side, one.row),
    }


def lesser_words(lesser: list[Spot]) -> str:
    """Return words for the spots that are not told one by one, '' when there are none."""
    return not_listed(len(lesser), abs(lesser[0].value)) if lesser else ""


def not_listed(count: int, up_to: float | None = None) -> str:
    """Return words for so many spots that are not told one by one, up to a value, mm; '' for none."""
    if count <= 0:
        return ""
    value = "" if up_to is None else f", up to {up_to:.2f} mm,"
    if count == 1:
        return f" (1 lesser spot like it{value} is not listed)"
    return f" ({count} lesser spots like it{value} are not listed)"
