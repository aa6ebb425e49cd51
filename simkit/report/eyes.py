"""From where a place on the wood is seen: eyes to choose from, and what hides it; NumPy only."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simkit.frames import Frame
from simkit.stock.field import Field

LOW, HIGH = 0.55, 1.65  # rise per run of the two rings of eyes: 29 and 59 degrees
START = -101.0  # degrees: the first eye is at the front, a little left
BETTER = 1.15  # times as much to be seen, or an eye nearer to the front stays
ENOUGH = 0.3  # of what the best eye sees: then the first, which shows the whole as one knows it, will do
APART = 60.0  # degrees between the first eye and the second
STEPS = 220  # looks along each line of sight


def _ring() -> list[tuple[float, float, float]]:
    """Return eyes as unit vectors, table frame: from the front first, then by turns to either side."""
    eyes = []
    for turn in (0, 45, -45, 90, -90, 135, -135, 180):
        for rise in (HIGH, LOW):
            angle = np.radians(START + turn)
            eye = np.array((np.cos(angle), np.sin(angle), rise))
            eyes.append(tuple(float(one) for one in eye / np.linalg.norm(eye)))
    return eyes


EYES = _ring()


def best_eyes(field: Field, lying: Frame, places, boxes=(), lie: Frame | None = None, mark=None):
    """Return three of EYES: one near the front that sees the places, and two, apart, that see most of them.

    field: the wood.  lying: from the table frame to the blank frame.  places (2, n, 3): places mm and where
    their surfaces look to, in the blank frame; with `lie`, from the blank to the table frame, in the table
    frame.  boxes: (low, high) mm of what else may hide them, table frame.  mark: one place (2, 1, 3) like
    those, blank frame, that the first eye does not have hidden where any sees it and enough of the places.
    Accuracy: by the cells' centres along each line of sight; for pictures.
    """
    at, normal = places
    if lie is not None:
        at, normal = lying.apply(at), normal @ lying.matrix.T
    seen = np.array([_seen(field, lying, at, normal, eye, boxes) for eye in EYES])
    first = 0
    for number, value in enumerate(seen):
        if value > BETTER * seen[first] + 1e-9:
            first = number
    near = 0 if seen[0] > ENOUGH * seen[first] else first
    if mark is not None:
        enough = [number for number, value in enumerate(seen) if value > ENOUGH * seen[first]]
        sees = (number for number in enough if _seen(field, lying, *mark, EYES[number], boxes) > 0)
        near = next(sees, near)
    away = np.array([_turn(EYES[first], eye) for eye in EYES])
    others = [number for number in range(len(EYES)) if away[number] >= APART]
    return (
        EYES[near],
        EYES[first],
        EYES[max(others, key=lambda number: (round(float(seen[number]), 3), -number))],
    )


def _turn(one, other) -> float:
    """Return by how many degrees one eye is turned round the wood from another."""
    turn = np.degrees(np.arctan2(one[1], one[0]) - np.arctan2(other[1], other[0]))
    return float(abs((turn + 180) % 360 - 180))


def _seen(field: Field, lying: Frame, at, normal, eye, boxes: Sequence) -> float:
    """Return how much of the places an eye sees, 0 to 1: what faces it fully counts most."""
    way = lying.matrix @ np.array(eye)
    lattice = field.lattice
    if not field.is_solid.any():
        return 0.0
    tall = float(field.upper[field.is_solid].max() - field.lower[field.is_solid].min())
    far = tall / abs(way[2]) + 2 * lattice.cell
    along = np.linspace(1.5 * lattice.cell, far, STEPS)
    path = at[:, None, :] + along[None, :, None] * way
    inside = (path[..., 0] > lattice.origin[0]) & (
        path[..., 0] < lattice.origin[0] + lattice.nx * lattice.cell
    )
    inside &= (path[..., 1] > lattice.origin[1]) & (
        path[..., 1] < lattice.origin[1] + lattice.ny * lattice.cell
    )
    iy, ix = lattice.cell_at(path[..., 0], path[..., 1])
    slack = 0.3 * lattice.cell
    is_hidden = (
        inside & (path[..., 2] < field.upper[iy, ix] - slack) & (path[..., 2] > field.lower[iy, ix] + slack)
    )
    hidden = is_hidden.any(axis=1)
    on_table = lying.inverse().apply(at) if boxes else at
    for low, high in boxes:
        with np.errstate(divide="ignore", invalid="ignore"):
            ends = np.stack([(np.asarray(end) - on_table) / np.array(eye) for end in (low, high)])
        near, last = np.nanmax(ends.min(axis=0), axis=1), np.nanmin(ends.max(axis=0), axis=1)
        hidden |= (last > np.maximum(near, 0.0)) & (last > 1e-6)
    faces = np.clip(normal @ way, 0.0, 1.0)
    return float((~hidden * (0.15 + 0.85 * faces)).mean())
