"""What the finders of deviations share: spots looked at closely, judged, and put in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.compare.closer import Look, closer_look
from simkit.compare.spots import Spot, spots
from simkit.findings.evidence import Evidence

CLOSE = 0.03  # mm: bounds after a closer look are smaller, so what lies lower cannot reach the limit
MOST = 12  # spots of one kind and side that are told one by one, worst first


@dataclass(frozen=True)
class Looked:
    """A spot after a closer look.

    severity: "beyond" or "undecided".
    row: the move that cut its worst place, -1 for none.
    """

    spot: Spot
    look: Look
    severity: str
    row: int
    side: int


def severity_of(value: float, bound: float, limit: float) -> str:
    """Return how a value with its bound stands against the most it may be: '' within the limit."""
    if value - bound > limit:
        return "beyond"
    return "undecided" if value + bound > limit else ""


def looked_spots(
    evidence: Evidence, side: int, limit: float, is_gouge: bool, mask: np.ndarray | None = None
) -> tuple[list[Looked], list[Spot]]:
    """Return the spots beyond a limit, or near it, after a closer look; and lesser ones beyond MOST.

    side: 1 or 2.  limit mm of the deviation's size.  mask (ny, nx) bool: cells that count; None all.
    A spot whose cells stay just below the limit is looked at too: between them it may reach beyond.
    """
    deviation = evidence.deviations[side]
    size = -deviation.normal if is_gouge else deviation.normal
    size = np.where(np.isnan(size) if mask is None else np.isnan(size) | ~mask, 0.0, size)
    found = spots(deviation.normal, size > limit, deviation.lattice)
    close = spots(deviation.normal, size > limit - min(CLOSE, limit / 3), deviation.lattice)
    close = [spot for spot in close if abs(spot.value) <= limit]
    looked = []
    for spot in found[:MOST] + close[:MOST]:
        look = closer_look(evidence.recut, evidence.field, evidence.target_grid, side, spot.cell, is_gouge)
        row = owner_at(evidence, side, spot.cell)
        looked.append(Looked(spot, look, severity_of(abs(look.value), look.bound, limit), row, side))
    return [one for one in looked if one.severity], found[MOST:]


def owner_at(evidence: Evidence, side: int, cell: tuple[int, int]) -> int:
    """Return the row of the move that cut a cell from a side, or of the nearest cut cell; -1 for none."""
    field = evidence.field
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


def setup_of_side(evidence: Evidence, side: int, row: int) -> int | None:
    """Return the index of the setup that a place of a side belongs to: the move's, else the first."""
    if row >= 0:
        return int(evidence.moves.setup[row])
    ups = [index for index, frame in enumerate(evidence.frames) if frame.up == (1 if side == 1 else -1)]
    return ups[0] if ups else None


def common_fields(evidence: Evidence, one: Looked, limit: float, measure: str) -> dict[str, Any]:
    """Return the fields of a Finding that follow from a looked-at spot."""
    return {
        "severity": one.severity,
        "value": abs(one.look.value),
        "bound": one.look.bound,
        "limit": limit,
        "measure": measure,
        "side": one.side,
        "area": one.spot.area,
        "cells": one.spot.cells,
        **evidence.place_of(one.look.at, setup_of_side(evidence, one.side, one.row)),
        **evidence.source_of(one.row),
    }


def area_words(area: float) -> str:
    """Return an area in words, mm2: what is smaller than a tenth is said to be so."""
    return "less than 0.1 mm2" if area < 0.1 else f"{area:.1f} mm2" if area < 10 else f"{area:.0f} mm2"


def lesser_words(lesser: list[Spot]) -> str:
    """Return words for the spots that are not told one by one, '' when there are none."""
    if not lesser:
        return ""
    return f" ({len(lesser)} lesser spots like it, up to {abs(lesser[0].value):.2f} mm, are not listed)"
