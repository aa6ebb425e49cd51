"""Cutters: the rotating profile z = f(r), height of the cutting edge above the tip at radius r.

Every shape is a case of the seven-parameter cutter of APT (CUTTER/ d, r, e, f, a, b, h; ISO 3592 carries
the form).  What cuts is convex and non-decreasing on 0 <= r <= R: an outline of at most four pieces.
Above it stand neck, shank and holder, a stack of cones and cylinders that must not touch the wood.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

FLAT, BALL, CONE, PROFILE = 0, 1, 2, 3  # profile codes inside kernels: closed forms, and any outline
PROFILES = 4
SHAPES = ("flat", "ball", "bull-nose", "tapered ball", "vee", "drill")
DRILL_POINT_DEGREES = 118.0  # common practice for twist drills, no source
# Which measures a shape has beside its diameter -> the words for one.
MEASURES = {
    "corner": ("a corner radius", ("bull-nose",)),
    "tip": ("a tip diameter", ("tapered ball", "vee")),
    "taper": ("a taper", ("tapered ball",)),
    "point": ("a point angle", ("drill", "vee")),
}
_NEEDED = {"bull-nose": ("corner",), "tapered ball": ("tip", "taper"), "vee": ("point",)}


@dataclass(frozen=True, slots=True)
class SevenParameters:
    """The cutter of APT: a bottom line, a corner circle, a side line, each tangent to the next.

    d: twice the radius where bottom and side line meet.  r: corner radius.  e, f: the corner circle's
    centre, from the axis and above the tip.  a: angle of the bottom line to the plane square to the axis;
    b: angle of the side line to the axis, degrees.  h: height of the cutting part.  Lengths mm.
    Source: the CUTTER statement of APT; ISO 3592, ISO 4343 (from memory).
    """

    d: float
    r: float
    e: float
    f: float
    a: float
    b: float
    h: float

    def outline(self) -> Outline:
        """Return the profile.  Error: rounding."""
        a, b = math.radians(self.a), math.radians(self.b)
        if self.r > 0:
            arc_from, arc_to = self.e + self.r * math.sin(a), self.e + self.r * math.cos(b)
            side_z = self.f - self.r * math.sin(b)
        else:
            arc_from = arc_to = self.d / 2
            side_z = arc_to * math.tan(a)
        radius, side_rise = arc_to, 0.0
        if self.b > 0:
            radius, side_rise = arc_to + max(self.h - side_z, 0.0) * math.tan(b), 1 / math.tan(b)
        rise = math.tan(a) if a > 1e-12 else 0.0
        flat = 0.0 if rise else arc_from
        # Kernels divide by the arc's radius, so an arc that is missing has some circle too.
        e, f, r = (self.e, self.f, self.r) if self.r > 0 else (0.0, 0.0, 1.0)
        return Outline(radius, 0.0, rise, flat, arc_from, arc_to, e, f, r, side_z, side_rise)


@dataclass(frozen=True, slots=True)
class Outline:
    """A convex profile: level, line, arc, line, one after the other; any of them may be missing.

    Height over the tip, mm, at radius x: base, and on top of it
    0 up to `flat`; rise (x - flat) up to `arc_from`; arc_f - sqrt(arc_r^2 - (x - arc_e)^2) up to `arc_to`;
    side_z + side_rise (x - arc_to) up to `radius`.  A negative radius: nothing at all.
    The order of the fields is the order in which kernels get them (OUTLINE_NUMBERS).
    """

    radius: float
    base: float
    rise: float
    flat: float
    arc_from: float
    arc_to: float
    arc_e: float
    arc_f: float
    arc_r: float
    side_z: float
    side_rise: float

    def heights(self, r: np.ndarray) -> np.ndarray:
        """Return the height above the tip at radii r (any shape) mm, +inf beyond `radius`."""
        r = np.asarray(r, dtype=np.float64)
        on_arc = self.arc_f - np.sqrt(np.maximum(self.arc_r**2 - (r - self.arc_e) ** 2, 0.0))
        height = np.where(r <= self.arc_from, self.rise * np.maximum(r - self.flat, 0.0), on_arc)
        height = np.where(r > self.arc_to, self.side_z + self.side_rise * (r - self.arc_to), height)
        return np.where(r <= self.radius, self.base + height, np.inf)

    def shifted(self, by: float) -> Outline:
        """Return the outline f(max(r - by, 0)) on radius + by; for by < 0 what is left of f(r - by).

        Both are convex and non-decreasing again.  Error: rounding.
        """
        if by >= 0:
            return replace(
                self,
                radius=self.radius + by,
                flat=self.flat + by,
                arc_from=self.arc_from + by,
                arc_to=self.arc_to + by,
                arc_e=self.arc_e + by,
            )
        if self.radius + by < 0:
            return replace(self, radius=-1.0)
        start = float(self.heights(np.array(-by))) - self.base
        side_z = self.side_z - start if self.arc_to + by >= 0 else 0.0
        return Outline(
            self.radius + by,
            self.base + start,
            self.rise,
            max(self.flat + by, 0.0),
            max(self.arc_from + by, 0.0),
            max(self.arc_to + by, 0.0),
            self.arc_e + by,
            self.arc_f - start,
            self.arc_r,
            side_z,
            self.side_rise,
        )

    @property
    def code(self) -> int:
        """Profile code that kernels switch on."""
        if self.flat >= self.radius:
            return FLAT
        if self.arc_from == 0 and self.arc_to >= self.radius and self.arc_e == 0:
            return BALL
        return CONE if self.flat == 0 and self.arc_from >= self.radius else PROFILE


OUTLINE_NUMBERS = 11


@dataclass(frozen=True, slots=True)
class Cone:
    """One piece of what stands above the cutting part: heights above the tip and radii, mm.

    part: "neck", "shank" or "holder".  high may be inf for a shank whose end is not known.
    """

    part: str
    low: float
    high: float
    low_radius: float
    high_radius: float


@dataclass(frozen=True)
class Cutter:
    """One cutter as it sits in the spindle.

    number: the tool number that T calls.  shape: one of SHAPES.  diameter mm: largest of the cutting part.
    flutes: cutting edges.  cutting_length, shank (diameter) and stick_out (tip to holder) mm, None
    when not stated.  point: full angle of a drill's (None: 118) or a vee's point, degrees.
    corner mm: corner radius of a bull-nose.  tip mm: of a tapered ball the diameter of the ball, of a vee
    the width of its flat (None: pointed).  taper: angle of a tapered ball's side to the axis, degrees.
    neck, neck_length mm: diameter and length between the cutting edges and the shank.
    holder: from below, each (lower diameter, upper diameter, length) mm.
    chip_load (least, largest) mm for each edge and turn, plunge_angle degrees from level, slot_depth a
    multiple of the diameter: what the cutter bears, None when not stated.
    shift mm: the profile with its radius shifted, see `shifted`.
    Raises ValueError for measures that no cutter can have (`faults` tells them).
    """

    number: int
    shape: str
    diameter: float
    flutes: int | None = None
    cutting_length: float | None = None
    shank: float | None = None
    stick_out: float | None = None
    point: float | None = None
    corner: float | None = None
    tip: float | None = None
    taper: float | None = None
    neck: float | None = None
    neck_length: float | None = None
    holder: tuple[tuple[float, float, float], ...] | None = None
    chip_load: tuple[float, float] | None = None
    plunge_angle: float | None = None
    slot_depth: float | None = None
    shift: float = 0.0

    def __post_init__(self):
        if self.shape not in SHAPES:
            raise ValueError(f"the shape of a cutter must be one of {', '.join(SHAPES)}, not {self.shape!r}")
        for _, found, expected, _ in faults(self.shape, vars(self)):
            raise ValueError(f"cutter {self.number}: found {found}, expected {expected}")

    @cached_property
    def seven(self) -> SevenParameters:
        """The cutting part as the seven-parameter cutter; the height is where the profile ends."""
        return _seven(self.shape, vars(self))

    @cached_property
    def outline(self) -> Outline:
        """The profile that cuts, with its radius shifted by `shift`."""
        outline = self.seven.outline()
        return outline.shifted(self.shift) if self.shift else outline

    @property
    def radius(self) -> float:
        """Largest radius of the cutting part, mm."""
        return self.outline.radius

    @property
    def code(self) -> int:
        """Profile code that kernels switch on."""
        return self.outline.code

    def profile(self, r: np.ndarray) -> np.ndarray:
        """Return the height of the cutting edge above the tip, mm, at radii r (any shape) mm.

        +inf beyond the cutter's radius.  Error: rounding only.
        """
        return self.outline.heights(r)

    def shifted(self, by: float) -> Cutter:
        """Return the cutter with the radius of its profile f shifted by `by` mm.

        by > 0: f(max(r - by, 0)) up to R + by; what it sweeps lies nowhere above what the cutter itself
        sweeps anywhere within `by`.  by < 0: f(r - by) up to R + by; it lies nowhere below.  So the two
        bound a sweep over a whole disc from its centre.  A cutter of radius below -by cuts nothing.
        """
        return replace(self, shift=self.shift + by)

    @cached_property
    def stack(self) -> tuple[Cone, ...]:
        """Neck, shank and holder from below, as far as the job states where they begin."""
        made = []
        end = self.cutting_length
        if end is not None and self.neck is not None and self.neck_length is not None:
            made.append(Cone("neck", end, end + self.neck_length, self.neck / 2, self.neck / 2))
            end += self.neck_length
        if end is not None and self.shank is not None:
            high = math.inf if self.stick_out is None else self.stick_out
            made.append(Cone("shank", end, max(high, end), self.shank / 2, self.shank / 2))
        if self.stick_out is not None:
            low = self.stick_out
            for lower, upper, length in self.holder or ():
                made.append(Cone("holder", low, low + length, lower / 2, upper / 2))
                low += length
        return tuple(made)

    def profile_above(self, r: np.ndarray) -> np.ndarray:
        """Return the least height above the tip, mm, at which neck, shank or holder reach the radius r mm.

        +inf where none of them does.  r of any shape.  Error: rounding.
        """
        r = np.asarray(r, dtype=np.float64)
        lowest = np.full(r.shape, np.inf)
        for cone in self.stack:
            height = np.where(r <= cone.low_radius, cone.low, np.inf)
            if cone.high_radius > cone.low_radius:
                part = (r - cone.low_radius) / (cone.high_radius - cone.low_radius)
                up = cone.low + part * (cone.high - cone.low)
                height = np.where((part > 0) & (part <= 1), up, height)
            lowest = np.minimum(lowest, height)
        return lowest

    def __str__(self) -> str:
        return f"T{self.number} {round(self.diameter, 3):g} mm {self.shape}"  # 0.23622 in is 6 mm


def _seven(shape: str, sizes: Mapping) -> SevenParameters:
    d, radius = sizes["diameter"], sizes["diameter"] / 2
    if shape == "flat":
        return SevenParameters(d, 0.0, radius, 0.0, 0.0, 0.0, 0.0)
    if shape == "ball":
        return SevenParameters(d, radius, 0.0, radius, 0.0, 0.0, radius)
    if shape == "bull-nose":
        corner = sizes["corner"]
        return SevenParameters(d, corner, radius - corner, corner, 0.0, 0.0, corner)
    if shape == "tapered ball":
        ball, b = sizes["tip"] / 2, math.radians(sizes["taper"])
        # Bottom and side line meet where the side line comes down to the tip plane.
        meet = ball * math.tan(math.pi / 4 - b / 2)
        end = ball * (1 - math.sin(b)) + (radius - ball * math.cos(b)) / math.tan(b)
        return SevenParameters(2 * meet, ball, 0.0, ball, 0.0, sizes["taper"], end)
    half = (sizes["point"] or DRILL_POINT_DEGREES) / 2
    tip = sizes.get("tip") or 0.0
    if tip:
        end = (radius - tip / 2) / math.tan(math.radians(half))
        return SevenParameters(tip, 0.0, tip / 2, 0.0, 0.0, half, end)
    return SevenParameters(d, 0.0, 0.0, 0.0, 90.0 - half, 0.0, radius * math.tan(math.radians(90.0 - half)))


def faults(shape: str, sizes: Mapping) -> list[tuple[str, str, str, str]]:
    """Return what is impossible about a cutter's measures, each (key, found, expected, remedy).

    sizes: the fields of Cutter by name, mm and degrees, None where one is not stated; those that are
    stated lie in their ranges.
    """
    told = []
    d = sizes["diameter"]
    for name, (words, shapes) in MEASURES.items():
        if sizes.get(name) is not None and shape not in shapes:
            told.append(
                (
                    name,
                    f"{words} on the shape '{shape}'",
                    f"one only on a {' or a '.join(shapes)}",
                    "take it out",
                )
            )
    for name in _NEEDED.get(shape, ()):
        if sizes.get(name) is None:
            words = MEASURES[name][0]
            told.append((name, f"a {shape} without {words}", f"a {shape} with {words}", f"add {name} = ..."))
    if told:
        return told
    corner, tip, taper = sizes.get("corner"), sizes.get("tip"), sizes.get("taper")
    if corner is not None and corner >= d / 2:
        told.append(
            (
                "corner",
                f"a corner radius of {corner:g} mm on a cutter {d:g} mm wide",
                f"one below half the diameter, {d / 2:g} mm",
                'write shape = "ball"' if corner == d / 2 else "correct the corner radius or the diameter",
            )
        )
    if tip is not None and tip >= d:
        told.append(
            (
                "tip",
                f"a tip {tip:g} mm wide on a cutter {d:g} mm wide",
                "a tip narrower than the cutter",
                "write the largest diameter of the cutting part as diameter, that of its tip as tip",
            )
        )
    if told:
        return told
    edge = sizes.get("cutting_length")
    outline = _seven(shape, sizes).outline()
    height = float(outline.heights(np.array(outline.radius)))
    if edge is not None and edge < height:
        found, expected = f"cutting edges {edge:g} mm long", f"at least the {height:.4g} mm that "
        remedy = "measure from the tip to the end of the cutting edges"
        if shape == "tapered ball":
            reached = 2 * (outline.arc_to + max(edge - outline.side_z, 0.0) / outline.side_rise)
            found += f", where a taper of {taper:g} degrees is only {min(reached, d):.4g} mm wide"
            expected += f"this taper needs to reach the diameter of {d:g} mm"
            remedy = "write the diameter at the end of the cutting edges, or correct the taper or the length"
        else:
            expected += f"the tip of this {shape} takes up"
        told.append(("cutting_length", found, expected, remedy))
    return told


def kernel_table(cutters: Mapping[int, Cutter]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the cutters as plain arrays for kernels.

    numbers (c,) int32: their tool numbers.  codes (c,) int64: profile codes.  outlines (c, 11) float64:
    the fields of Outline in their order, mm.
    """
    outlines = [cutter.outline for cutter in cutters.values()]
    numbers = np.array(list(cutters), dtype=np.int32)
    codes = np.array([outline.code for outline in outlines], dtype=np.int64)
    names = [one.name for one in fields(Outline)]
    rows = [[getattr(outline, name) for name in names] for outline in outlines]
    table = np.array(rows, dtype=np.float64)
    return numbers, codes, table.reshape(len(outlines), OUTLINE_NUMBERS)
