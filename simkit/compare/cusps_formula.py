"""The ridge that level passes leave on a plane, for any cutter profile, and the stepover for a wanted one."""

from __future__ import annotations

import math

import numpy as np

from simkit.cutters import Cutter
from simkit.errors import ShapeError

HALVINGS = 60  # of a radius: below rounding
STEPS = 33  # stepovers tried in each round of the search


def cusp_height(cutter: Cutter, stepover: float | np.ndarray, slope: float = 0.0) -> np.ndarray:
    """Return the height of the ridge between two passes over a plane, mm, normal to the plane.

    cutter: its profile z = f(r) is all that counts.  stepover: of the passes in plan, mm, any shape.
    slope: rise of the plane across the passes, mm per mm; the passes are level.  +inf where the passes
    lie more than a diameter apart.
    For a ball of radius R it is R - sqrt(R^2 - (s / (2 cos t))^2) with t the angle of the slope, on a
    floor R - sqrt(R^2 - s^2 / 4); for a flat cutter s sin t.
    Error: rounding.  Source: the flat-floor formula as in trade handbooks of milling (textbook circle
    geometry); for any profile the two passes are cut with each other: own derivation.
    """
    s = np.asarray(stepover, dtype=np.float64)
    if not (s > 0).all():
        raise ShapeError("a stepover is more than nothing")
    t, radius = abs(float(slope)), cutter.radius
    touch = _touch(cutter, t)
    # The pass at 0 rises to the right of its axis, the one at s, s t higher, falls towards its own: their
    # difference only grows, so halving finds where they meet, or the rim of the first.
    low, high = np.maximum(s - radius, -radius), np.full(s.shape, radius)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        first = cutter.profile(np.minimum(np.abs(middle), radius))
        second = cutter.profile(np.minimum(np.abs(middle - s), radius)) + s * t
        is_past = first >= second
        low, high = np.where(is_past, low, middle), np.where(is_past, middle, high)
    ridge = cutter.profile(np.minimum(np.abs(high - s), radius)) + s * t
    height = (ridge - (high * t - touch)) / math.hypot(1.0, t)
    return np.where(s <= 2 * radius, np.maximum(height, 0.0), np.inf)


def _touch(cutter: Cutter, slope: float) -> float:
    """Return how far below the tip the plane of a slope that the cutter touches passes its axis, mm."""
    low, high = 0.0, cutter.radius
    golden = (math.sqrt(5) - 1) / 2
    for _ in range(2 * HALVINGS):  # the profile is convex, so this has one top
        a, b = high - golden * (high - low), low + golden * (high - low)
        rise_a, rise_b = slope * np.array([a, b]) - cutter.profile(np.array([a, b]))
        low, high = (a, high) if rise_b >= rise_a else (low, b)
    ends = np.array([0.0, (low + high) / 2, cutter.radius])
    return float((slope * ends - cutter.profile(ends)).max())


def stepover_for(cutter: Cutter, height: float, slope: float = 0.0) -> float:
    """Return the widest stepover in plan, mm, whose ridge on a plane is no higher than `height` mm.

    height > 0, normal to the plane; slope across the passes, mm per mm.  At most the diameter.
    For a ball on a floor it is 2 sqrt(2 R h - h^2).  Error: under 1e-6
    of the diameter.  Source: `cusp_height`.
    """
    if not height > 0:
        raise ShapeError("a wanted cusp is more than nothing")
    low, high = 0.0, cutter.diameter
    for _ in range(5):
        tried = np.linspace(low, high, STEPS)[1:]
        is_low = cusp_height(cutter, tried, slope) <= height
        if is_low.all():
            return float(high)
        first = int(np.argmin(is_low))  # the ridge only grows with the stepover
        low, high = (tried[first - 1] if first else low), tried[first]
    return float(low) if low else float(high)
