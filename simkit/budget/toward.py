"""Which way a cut lies from a place of the part that it misses: the way in which a row of it grows."""

from __future__ import annotations

import numpy as np

from simkit.budget.motion import SideHeights

WAYS, STEPS = 32, 12  # directions all round, and places along each
ROOM = 1.15  # the cut is looked for so much farther than the distance that is known
MOST = 4000  # places; those with the least room are asked, the rest keep the normal of their face


def toward(heights: SideHeights, at: np.ndarray, distance: np.ndarray, is_leftover: bool):
    """Return unit vectors from places to the nearest air (leftover) or wood beside them, in plan (k, 3).

    heights: of the side.  at (k, 3) mm, blank frame: of the part's surface, in wood (leftover) or in air.
    distance (k,) mm: to the nearest air or wood.  NaN where none is met so near in plan: above or below.
    """
    angle = 2 * np.pi * np.arange(WAYS) / WAYS
    way = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(WAYS)])
    share = np.arange(1, STEPS + 1) / STEPS * ROOM
    k = len(at)
    places = at[:, None, None, :] + (distance[:, None] * share)[:, None, :, None] * way[:, None, :]
    wood = heights.is_wood(places.reshape(-1, 3)).reshape(k, WAYS, STEPS)
    is_met = ~wood if is_leftover else wood
    first = np.where(is_met.any(axis=2), np.argmax(is_met, axis=2), STEPS)
    nearest = first.min(axis=1)
    # The middle of all the ways that meet it as soon as that.
    sums = ((first == nearest[:, None])[..., None] * way).sum(axis=1)
    size = np.linalg.norm(sums, axis=1)
    found = sums / np.maximum(size, 1e-12)[:, None]
    found[(nearest == STEPS) | (size < 0.5)] = np.nan
    return found
