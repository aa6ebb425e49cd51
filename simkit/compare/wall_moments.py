"""How thick a wall was at moments of the job: across it, where it is thinnest at the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

STEPS = 400  # places on a line across a wall


@dataclass(frozen=True, slots=True)
class Across:
    """How much wood a line across a wall met at one moment.

    thickness mm, true to bound mm.  is_least: the wood goes on beyond the end of the line: it is that thick
    at least.
    """

    thickness: float
    bound: float
    is_least: bool


def across_walls(
    heights_at: Callable[[np.ndarray, Any], tuple[np.ndarray, np.ndarray]],
    near: np.ndarray,
    contact: np.ndarray,
    moments: Sequence[Any],
    reach: float,
) -> list[list[Across]]:
    """Return for each wall how thick it was at each moment.

    heights_at(points (n, 2), moment): lower, upper (n,) mm, blank frame, of the columns then, exact.
    near, contact (k, 3) mm: where the ball in each wall touches.  moments: whatever heights_at knows.
    reach mm: how far to either side of the middle between them wood is followed.
    Thickness is the length of the wood about that middle along the line through both places: that of the
    ball where the faces are parallel, a little more where they are not; 0 where the middle is air.
    Bound: the distance of two places on the line.  Source: own derivation; twin in the tests.
    """
    near, contact = np.asarray(near, float).reshape(-1, 3), np.asarray(contact, float).reshape(-1, 3)
    way = contact - near
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    s = np.linspace(-reach, reach, STEPS + 1)
    places = ((near + contact) / 2)[:, None] + s[:, None] * way[:, None]
    step, middle = s[1] - s[0], STEPS // 2
    found: list[list[Across]] = [[] for _ in near]
    for moment in moments:
        lower, upper = heights_at(places[..., :2].reshape(-1, 2), moment)
        z = places[..., 2].ravel()
        is_wood = ((lower < z) & (z < upper)).reshape(len(near), -1)
        ahead = np.cumprod(is_wood[:, middle:], axis=1).sum(axis=1)
        behind = np.cumprod(is_wood[:, middle::-1], axis=1).sum(axis=1)
        for one, a, b in zip(found, ahead, behind, strict=True):
            is_least = max(a, b) == middle + 1
            # The wood ends up to a step beyond the last place in it, at each end.
            length = (a + b - (2 if is_least else 1)) * step if a else 0.0
            one.append(Across(float(length), float(step), bool(is_least)))
    return found


def thin_since(moments: Sequence[Across], limit: float) -> int:
    """Return which is the first of the moments from which on a wall stays below a limit, mm.

    moments: in the order of the work.  A wall that ends no thinner than the limit counts as thin while it is
    no thicker than it ends.
    """
    most = max(limit, moments[-1].thickness) + moments[-1].bound
    first = len(moments) - 1
    while first > 0 and moments[first - 1].thickness <= most and not moments[first - 1].is_least:
        first -= 1
    return first
