"""Cutters: the rotating profile z = f(r), height of the cutting edge above the tip at radius r.

A profile is convex and non-decreasing on 0 <= r <= R.  Flat, ball and drill point are cases of the
seven-parameter cutter of APT (CUTTER/ d, r, e, f, a, b, h; ISO 3592 carries the form).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

FLAT, BALL, CONE = 0, 1, 2  # profile codes inside kernels
PROFILES = 3
SHAPES = {"flat": FLAT, "ball": BALL, "drill": CONE}
DRILL_POINT_DEGREES = 118.0  # common practice for twist drills, no source


@dataclass(frozen=True, slots=True)
class Cutter:
    """One cutter as it sits in the spindle.

    number: the tool number that T calls.  shape: "flat", "ball" or "drill".  diameter mm.
    flutes: cutting edges.  cutting_length, shank (diameter) and stick_out (tip to holder) mm, None
    when not stated.  point: full angle of a drill point, degrees.
    """

    number: int
    shape: str
    diameter: float
    flutes: int | None = None
    cutting_length: float | None = None
    shank: float | None = None
    stick_out: float | None = None
    point: float = DRILL_POINT_DEGREES

    @property
    def radius(self) -> float:
        """Largest radius of the cutting part, mm."""
        return self.diameter / 2

    @property
    def code(self) -> int:
        """Profile code that kernels switch on."""
        return SHAPES[self.shape]

    @property
    def rise(self) -> float:
        """Rise of the profile per mm of radius, for a cone; 0 for the others."""
        if self.shape != "drill":
            return 0.0
        return 1.0 / math.tan(math.radians(self.point / 2))

    def profile(self, r: np.ndarray) -> np.ndarray:
        """Return the height of the cutting edge above the tip, mm, at radii r (any shape) mm.

        +inf beyond the cutter's radius.  Error: rounding only.
        Source: ball R - sqrt(R^2 - r^2); a drill point of full angle p rises r / tan(p/2).
        """
        r = np.asarray(r, dtype=np.float64)
        radius = self.radius
        if self.shape == "flat":
            height = np.zeros_like(r)
        elif self.shape == "ball":
            height = radius - np.sqrt(np.maximum(radius**2 - r**2, 0.0))
        else:
            height = r * self.rise
        return np.where(r <= radius, height, np.inf)

    def __str__(self) -> str:
        return f"T{self.number} {self.diameter:g} mm {self.shape}"
