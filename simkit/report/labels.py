"""Where to put numbered circles beside the places they name, so that none hides another."""

from __future__ import annotations

import numpy as np

MARK = 8.0  # pixels round a point that no circle may cover
_ANGLES = 32
_SWEEPS = 6
# Costs in pixels of leader length that one would accept to avoid the fault.
_OVERLAP, _CROSSING, _HIDES = 1e5, 2e4, 160.0


def place_labels(points, bounds, radius: float, busy: np.ndarray | None = None, kept=()) -> np.ndarray:
    """Return a centre for the circle of each point: near it, clear of the others and of their leaders.

    points (n, 2) pixels, x right, y down.  bounds (left, top, right, bottom) pixels: circles stay
    inside.  radius pixels.  busy (height, width) bool from pixel (0, 0), or None: what a circle should
    not hide if it can be helped.  kept (m, 2) pixels: other places no circle may cover.  Returns (n, 2)
    float64.  Deterministic: candidates on rings round each point, the cheapest taken in the order given,
    then again with all others in place until nothing moves.  A crowd too dense for the bounds overlaps as
    little as the candidates allow.
    """
    points = np.asarray(points, np.float64).reshape(-1, 2)
    shown = np.concatenate([points, np.asarray(kept, np.float64).reshape(-1, 2)])
    left, top, right, bottom = bounds
    reach = max(right - left, bottom - top)
    rings = radius * np.array([1.7, 2.2, 2.8, 3.5, 4.3, 5.2, 6.3, 7.6, 9.1, 11, 13, 15.5, 18.5, 22, 26, 31])
    rings = rings[rings < max(reach, 4 * radius)]
    turn = np.arange(_ANGLES) * (2 * np.pi / _ANGLES) + 0.1
    offsets = (rings[:, None, None] * np.stack([np.cos(turn), np.sin(turn)], -1)).reshape(-1, 2)
    hidden = _summed(busy)
    centres = np.full(points.shape, np.nan)
    for _ in range(_SWEEPS):
        before = centres.copy()
        for i, point in enumerate(points):
            tries = np.clip(point + offsets, (left + radius, top + radius), (right - radius, bottom - radius))
            others = np.flatnonzero(~np.isnan(centres[:, 0]) & (np.arange(len(points)) != i))
            cost = np.hypot(*(tries - point).T) + _HIDES * _share(hidden, tries, radius)
            near = _gap(tries, shown)
            cost += _OVERLAP * (near < radius + MARK).sum(1)
            if len(others):
                cost += _OVERLAP * np.clip(2 * radius + 5 - _gap(tries, centres[others]), 0, None).sum(1)
                cost += _CROSSING * _crossings(point, tries, points[others], centres[others])
                through = _distance(centres[others][None], point[None, None], tries[:, None])
                under = _distance(tries[:, None], points[others][None], centres[others][None])
                cost += _CROSSING * ((through < radius + 3).sum(1) + (under < radius + 3).sum(1))
            centres[i] = tries[np.argmin(cost)]
        if np.array_equal(before, centres):
            break
    return centres


def _gap(a, b):
    return np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])


def _distance(p, a, b):
    """Distance of points p from the segments a-b, all (..., 2)."""
    along = b - a
    length2 = np.maximum((along**2).sum(-1), 1e-12)
    s = np.clip(((p - a) * along).sum(-1) / length2, 0, 1)
    return np.hypot(*np.moveaxis(p - a - s[..., None] * along, -1, 0))


def _crossings(start, ends, starts, stops):
    """How many segments starts-stops each segment start-end crosses; touching at an end is none."""

    def side(a, b, c):
        return (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
            c[..., 0] - a[..., 0]
        )

    start, ends = start[None, None], ends[:, None]
    starts, stops = starts[None], stops[None]
    is_crossed = (side(start, ends, starts) * side(start, ends, stops) < 0) & (
        side(starts, stops, start) * side(starts, stops, ends) < 0
    )
    return is_crossed.sum(1)


def _summed(busy):
    if busy is None:
        return None
    return np.pad(np.cumsum(np.cumsum(busy, 0, dtype=np.int64), 1), ((1, 0), (1, 0)))


def _share(hidden, centres, radius):
    """Share of the square round each circle that is busy."""
    if hidden is None:
        return 0.0
    height, width = hidden.shape
    x0, x1 = (np.clip(np.rint(centres[:, 0] + d).astype(int), 0, width - 1) for d in (-radius, radius))
    y0, y1 = (np.clip(np.rint(centres[:, 1] + d).astype(int), 0, height - 1) for d in (-radius, radius))
    return (hidden[y1, x1] - hidden[y0, x1] - hidden[y1, x0] + hidden[y0, x0]) / (2 * radius) ** 2
