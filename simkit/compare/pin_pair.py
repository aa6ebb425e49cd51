"""All places at once that two dowels leave a blank: how far it lies off along them, and across at each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

PARTS = 2048  # of the range along the line, for sums over it


@dataclass(frozen=True)
class PinPair:
    """Two dowels, or one.

    names: of the dowels.  at: their holes (x, y) mm, table frame.  radii mm: by how much a hole's centre can
    lie off its pin's, half the play of each, >= 0.  differ mm: how much farther the holes stand apart than
    the pins.  With one dowel there is one name, place and radius, and differ is 0.

    Places of the blank: (s, t1, t2) mm.  s: off along the line from the first hole to the second, counted
    from its mean; t1, t2: off square to it at each hole, counter-clockwise seen from above.  Let s count from
    where the first hole is about its pin: the pins permit exactly

        s^2 + t1^2 <= r1^2,   (s + d)^2 + t2^2 <= r2^2,

    but for what a turn of t = (t2 - t1) / a, a the distance, takes off the distance along the line: under
    r^2 / a with r = r1 + r2, 4e-5 mm for 0.1 mm of play and 260 mm.  Every permitted place is taken to be as
    likely as any other.  One dowel permits the disc s^2 + t1^2 <= r1^2; the turn is free.
    """

    names: tuple[str, ...]
    at: tuple[tuple[float, float], ...]
    radii: tuple[float, ...]
    differ: float = 0.0

    @property
    def has_two(self) -> bool:
        """Whether it is two dowels."""
        return len(self.radii) == 2

    @property
    def apart(self) -> float:
        """Distance of the two holes, mm."""
        return float(np.hypot(*np.subtract(self.at[1], self.at[0])))

    @property
    def direction(self) -> tuple[float, float]:
        """Unit vector from the first hole to the second, to the right with one dowel."""
        if not self.has_two or self.apart <= 0:
            return 1.0, 0.0
        u, v = np.subtract(self.at[1], self.at[0]) / self.apart
        return float(u), float(v)

    @cached_property
    def sizes(self) -> np.ndarray:
        """The most that s, t1 and t2 can be, (3,) mm."""
        low, high = self._range
        t1, t2 = self._across(
            np.array([low, high, min(max(low, 0.0), high), min(max(low, -self.differ), high)])
        )
        return np.array([max(high - self._mean, self._mean - low), t1.max(), t2.max()])

    @cached_property
    def standards(self) -> np.ndarray:
        """Standard deviations of s, t1 and t2, (3,) mm; the three are not correlated."""
        s, weight = self._sums
        t1, t2 = self._across(s)
        means = (weight @ (s - self._mean) ** 2, weight @ t1**2 / 3, weight @ t2**2 / 3)
        return np.sqrt(np.array(means))

    @property
    def volume(self) -> float:
        """How much the pins permit, mm2: of shifts, and turns in radians; one dowel: its disc."""
        low, high = self._range
        if high <= low:
            return 0.0
        s, dense = self._dense
        return float(np.trapezoid(dense, s)) / (self.apart if self.has_two else 1.0)

    def places(self, unit: np.ndarray) -> np.ndarray:
        """Return places (n, 3) mm for points (n, 3) of the unit cube: evenly spread in, evenly spread out.

        s by the inverse of its distribution (its density goes as the room for t1 times that for t2), then t1
        and t2 even within what it leaves them.  Error of s: 1e-6 of its range.
        """
        s, weight = self._sums
        if len(s) == 1:
            along = np.full(len(unit), s[0])
        else:
            share = np.concatenate([[0.0], np.cumsum(weight)])
            along = np.interp(unit[:, 0], share, self._edges)
        t1, t2 = self._across(along)
        return np.column_stack([along - self._mean, (2 * unit[:, 1] - 1) * t1, (2 * unit[:, 2] - 1) * t2])

    @cached_property
    def _range(self) -> tuple[float, float]:
        if not self.has_two:
            return -self.radii[0], self.radii[0]
        (r1, r2), d = self.radii, self.differ
        low, high = max(-r1, -r2 - d), min(r1, r2 - d)
        return (low, high) if high > low else ((low + high) / 2,) * 2

    def _across(self, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return how far t1 and t2 can go at s, (n,) mm each."""
        t1 = np.sqrt(np.maximum(self.radii[0] ** 2 - s**2, 0.0))
        if not self.has_two:
            return t1, np.zeros_like(t1)
        return t1, np.sqrt(np.maximum(self.radii[1] ** 2 - (s + self.differ) ** 2, 0.0))

    @cached_property
    def _edges(self) -> np.ndarray:
        """Edges of parts of the range, closer together at its ends, where the room goes as a root."""
        low, high = self._range
        return (low + high) / 2 - (high - low) / 2 * np.cos(np.linspace(0, np.pi, PARTS + 1))

    def _room(self, s: np.ndarray) -> np.ndarray:
        t1, t2 = self._across(s)
        return 4 * t1 * t2 if self.has_two else 2 * t1

    @cached_property
    def _dense(self) -> tuple[np.ndarray, np.ndarray]:
        return self._edges, self._room(self._edges)

    @cached_property
    def _sums(self) -> tuple[np.ndarray, np.ndarray]:
        """Return middles of the parts and the probability of each; one place where the range is none."""
        low, high = self._range
        if high - low < 1e-9:
            return np.array([(low + high) / 2]), np.ones(1)
        edges = self._edges
        middle = (edges[1:] + edges[:-1]) / 2
        weight = self._room(middle) * np.diff(edges)
        return middle, weight / weight.sum()

    @cached_property
    def _mean(self) -> float:
        s, weight = self._sums
        return float(weight @ s)
