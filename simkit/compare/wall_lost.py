"""Whether there is wood between two places, and how much less than in the part: along their line, exact.

The largest ball at a place jumps where a rim or a narrow groove begins or ceases to stop it, so the part's
ball need not be the one of the cut.  Along one line both bodies are compared like with like.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

TOUCHING = 0.75  # of a diameter: 0.87 less what normals told from cells are off
BESIDE = 0.05  # mm
TURNED = 0.364  # tangent of 20 degrees
PLACES = 17  # on a line across a wall, of which all must be wood
HALVINGS = 12  # of a step, until an end of the wood is known
Heights = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


def is_wall(
    cut_at: Heights, near: np.ndarray, contact: np.ndarray, thickness: np.ndarray, cell: float
) -> np.ndarray:
    """Return for balls that touch at places near, contact (n, 3) mm whether a wall lies between these (n,).

    cut_at: takes points (k, 2), returns lower, upper (k,) mm, exact.  thickness (n,) mm: the diameters.
    cell mm: so far into the wood either place may be air.  Cells cannot tell a gap of two of them from wood,
    nor a groove's normals: along or across one as narrow they see a wall between its faces.  There must be
    wood on the line; and a ball inside touches faces turned by 120 degrees or more at places at least 0.87
    of its diameter from each other (twice the half of it by the sine of 60 degrees).
    """
    near, contact = (np.asarray(one, float).reshape(-1, 3) for one in (near, contact))
    length = np.linalg.norm(contact - near, axis=1)
    # Of a short line the middle part, whatever the cell.
    within = np.maximum(1.0 - 2.0 * cell / np.maximum(length, 1e-12), 0.25)
    share = 0.5 * within[:, None] * np.linspace(-1.0, 1.0, PLACES)
    places = (near + contact)[:, None] / 2 + share[..., None] * (contact - near)[:, None]
    return _inside(cut_at, places).all(axis=1) & (length + 2.0 * cell >= TOUCHING * np.asarray(thickness))


def lost_along(
    cut_at: Heights, part_at: Heights, near, contact, cell: float, reach: float
) -> tuple[float, float]:
    """Return by how much a wall is shorter than the part's along the line through two places, and its bound.

    near, contact (3,) mm: places with wood between.  cut_at, part_at: as in is_wall, NaN where there is
    nothing.  cell mm: so wide are the gaps that may be missed.  reach mm: how far the part is followed
    beyond the places; where it goes on to there at either end, inf is returned.
    What stands proud of the part does not count.  Source: own derivation.
    """
    near, contact = np.asarray(near, float), np.asarray(contact, float)
    length = float(np.linalg.norm(contact - near))
    way, middle = (contact - near) / max(length, 1e-12), (near + contact) / 2

    def in_part(places):
        return _inside(part_at, places)

    def in_both(places):
        return _inside(cut_at, places) & in_part(places)

    lost, most = 0.0, length / 2 + reach
    for out in (-way, way):
        ends = [_end(body, middle, out, cell / 2, most) for body in (in_both, in_part)]
        if ends[1] == np.inf:
            return np.inf, 0.0
        lost += ends[1] - ends[0]
    return lost, 4 * cell / 2 / 2**HALVINGS


def is_parallel(cut_at: Heights, near, contact, cell: float) -> bool:
    """Return whether the faces of a wall are parallel within 20 degrees: lines beside its own are as long.

    Of lines BESIDE mm off to either side, in plan and across that, those whose middle is wood.
    """
    near, contact = np.asarray(near, float), np.asarray(contact, float)
    length = float(np.linalg.norm(contact - near))
    way, middle = (contact - near) / max(length, 1e-12), (near + contact) / 2
    first = np.cross(way, np.eye(3)[np.argmin(np.abs(way))])
    first /= np.linalg.norm(first)
    found = []
    for off in (0.0 * first, first, -first, np.cross(way, first), -np.cross(way, first)):
        ends = [
            _end(lambda places: _inside(cut_at, places), middle + BESIDE * off, out, cell / 2, length)
            for out in (-way, way)
        ]
        found.append(sum(ends))
    # At a top rim one of them is air, at a foot one runs on in the floor.
    beside = np.array([one for one in found[1:] if 0 < one < np.inf])
    return bool((np.abs(beside - found[0]) <= BESIDE * TURNED + 1e-9).all())


def _inside(heights_at: Heights, places: np.ndarray) -> np.ndarray:
    """Return which places (..., 3) lie in a body."""
    lower, upper = heights_at(places[..., :2].reshape(-1, 2))[:2]
    z = places[..., 2].ravel()
    return ((lower < z) & (z < upper)).reshape(places.shape[:-1])


def _end(inside, middle: np.ndarray, out: np.ndarray, step: float, most: float) -> float:
    """Return how far from a middle a body ends along a way, mm, inf where not before `most`."""
    s = step * np.arange(int(np.ceil(most / step)) + 1)
    is_in = inside(middle + s[:, None] * out)
    if is_in.all():
        return np.inf
    high = float(s[np.argmin(is_in)])
    low = max(high - step, 0.0)
    for _ in range(HALVINGS):
        half = (low + high) / 2
        low, high = (half, high) if inside(middle + half * out) else (low, half)
    return low
