"""High-precision reference: the lowest point of a moving cutter by search in 40-digit arithmetic.

Knows the definition only: place of the tip along the move, profile by distance.  No stationary point is
solved for: samples find the brackets, golden-section search and bisection (mpmath) finish them.
"""

import mpmath
import numpy as np

from simkit.moves.table import ARC
from tests.stock import naive

mp = mpmath.mp.clone()
mp.dps = 40
SAMPLES = 721


def profile(cutter, distance):
    """Height of the cutting edge above the tip, from what the shape's measures mean."""
    q = max(distance - mp.mpf(cutter.shift), 0)
    radius = mp.mpf(cutter.diameter) / 2
    if cutter.shape == "ball":
        return radius - mp.sqrt(max(radius**2 - q**2, 0))
    if cutter.shape == "bull-nose":
        corner = mp.mpf(cutter.corner)
        out = max(q - (radius - corner), 0)
        return corner - mp.sqrt(max(corner**2 - out**2, 0))
    if cutter.shape == "tapered ball":
        ball, taper = mp.mpf(cutter.tip) / 2, mp.radians(mp.mpf(cutter.taper))
        if q <= ball * mp.cos(taper):
            return ball - mp.sqrt(max(ball**2 - q**2, 0))
        # The side line is as far from the ball's centre as the ball's radius.
        return ball + (q * mp.cos(taper) - ball) / mp.sin(taper)
    if cutter.shape in ("vee", "drill"):
        flat = mp.mpf(cutter.tip or 0) / 2
        return max(q - flat, 0) / mp.tan(mp.radians(mp.mpf(cutter.point or 118)) / 2)
    return mp.mpf(0)


class PreciseMove:
    """One move of a table and its cutter, in the arithmetic of `mp`."""

    def __init__(self, moves, row, cutter):
        self.cutter = cutter
        self.radius = mp.mpf(cutter.diameter) / 2 + mp.mpf(cutter.shift)
        self.start = [mp.mpf(float(v)) for v in moves.start[row]]
        self.end = [mp.mpf(float(v)) for v in moves.end[row]]
        self.centre = [mp.mpf(float(v)) for v in moves.centre[row]]
        self.sweep = mp.mpf(float(moves.sweep[row]))
        self.is_arc = moves.kind[row] == ARC
        self.axes = naive.AXES[int(moves.plane[row])]

    def at(self, share, x, y):
        """Return (distance - R, height) at the share 0..1 of the move, seen from (x, y)."""
        tip = [a + share * (b - a) for a, b in zip(self.start, self.end, strict=True)]
        if self.is_arc:
            c, s = mp.cos(share * self.sweep), mp.sin(share * self.sweep)
            u, v = self.axes
            pu, pv = self.start[u] - self.centre[0], self.start[v] - self.centre[1]
            tip[u] = self.centre[0] + pu * c - pv * s
            tip[v] = self.centre[1] + pu * s + pv * c
        distance = mp.sqrt((tip[0] - x) ** 2 + (tip[1] - y) ** 2)
        return distance - self.radius, tip[2] + profile(self.cutter, distance)

    def lowest(self, x, y, away, height):
        """Return the lowest height over (x, y), +inf where the cutter does not pass.

        away, height (SAMPLES,) float64: distance - R and height at even shares, to find the brackets.
        """
        x, y = mp.mpf(float(x)), mp.mpf(float(y))
        best = mp.inf
        for i in range(SAMPLES):
            low, high = max(i - 1, 0), min(i + 1, SAMPLES - 1)
            share_low, share, share_high = (mp.mpf(k) / (SAMPLES - 1) for k in (low, i, high))
            if away[i] * away[high] <= 0 and i < high:
                best = min(best, self._rim(share, share_high, x, y))
            if away[i] <= 0 and height[low] == height[i] == height[high]:
                best = min(best, self.at(share, x, y)[1]) if best == mp.inf else best  # level here
            elif away[i] <= 0 and height[i] <= min(height[low], height[high]):
                best = min(best, self._golden(share_low, share_high, x, y))
            if away[i] > 0 and away[i] <= min(away[low], away[high]):
                best = min(best, self._graze(share_low, share_high, x, y))
            if away[i] <= 0 and i in (0, SAMPLES - 1):
                best = min(best, self.at(share, x, y)[1])
        return best

    def _rim(self, inside, outside, x, y):
        if self.at(inside, x, y)[0] > 0:
            inside, outside = outside, inside
        for _ in range(56):
            middle = (inside + outside) / 2
            if self.at(middle, x, y)[0] <= 0:
                inside = middle
            else:
                outside = middle
        return self.at(inside, x, y)[1] if self.at(inside, x, y)[0] <= 0 else mp.inf

    def _golden(self, low, high, x, y):
        """Lowest height in a bracket whose admissible part is one interval."""

        def height(share):
            away, z = self.at(share, x, y)
            return z if away <= 0 else mp.mpf(10) ** 6 + away

        return self._least(height, low, high)[1]

    def _graze(self, low, high, x, y):
        """Height of a pass so brief that no sample met it."""
        share, away = self._least(lambda s: self.at(s, x, y)[0], low, high)
        if away > 0:
            return mp.inf
        return min(self._rim(share, low, x, y), self._rim(share, high, x, y), self._golden(low, high, x, y))

    @staticmethod
    def _least(function, low, high):
        ratio = (mp.sqrt(5) - 1) / 2
        a, b = high - ratio * (high - low), low + ratio * (high - low)
        fa, fb = function(a), function(b)
        for _ in range(44):
            if fa <= fb:
                high, b, fb = b, a, fa
                a = high - ratio * (high - low)
                fa = function(a)
            else:
                low, a, fa = a, b, fb
                b = low + ratio * (high - low)
                fb = function(b)
        return (a, fa) if fa <= fb else (b, fb)


def lowest(points, moves, row, cutter):
    """Lowest heights (p,) float64 of one move over points (p, 2)."""
    move = PreciseMove(moves, row, cutter)
    tips = naive.path(moves, row, SAMPLES)
    found = []
    for point in points:
        distance = np.linalg.norm(tips[:, :2] - point, axis=1)
        height = tips[:, 2] + cutter.profile(distance)
        found.append(float(move.lowest(*point, distance - cutter.radius, height)))
    return np.array(found)
