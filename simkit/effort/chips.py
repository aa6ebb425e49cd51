"""Formulas of cutting: feed per tooth, engagement, thickness of the chip, removal, power.

Symbols of ISO 3002-3 (from memory): v_f feed, n speed, z edges, f_z feed per tooth, a_p depth of cut along
the axis, a_e width of cut, Q removal rate, k_c specific cutting force.
"""

from __future__ import annotations

import numpy as np

from simkit.cutters import Cutter

# Feed per tooth as a part of the diameter, least and largest: common practice, no source.  A 1/4 in cutter
# in hard wood at 0.004 in lies inside.
USUAL_CHIPS = {"hard": (0.008, 0.025), "soft": (0.010, 0.030)}
USUAL_SOURCE = "common practice, no source"


def feed_per_tooth(feed, speed, flutes: int) -> np.ndarray:
    """Return f_z = v_f / (z n), mm; NaN where the spindle stands.

    feed mm/min (several rows, perhaps) and speed rev/min (either sign), of one length.  flutes: cutting
    edges.  Exact.  Source: ISO 3002-3 (from memory).
    """
    speed = np.abs(np.asarray(speed, dtype=np.float64))
    return np.asarray(feed) / (flutes * np.where(speed > 0, speed, np.nan))


def usual_chips(cutter: Cutter, hardness: str) -> tuple[float, float]:
    """Return the usual least and largest feed per tooth of a cutter, mm: common practice, no source.

    hardness: "soft" or "hard".
    """
    least, largest = USUAL_CHIPS[hardness]
    return least * cutter.diameter, largest * cutter.diameter


def effective_radius(cutter: Cutter, depth) -> np.ndarray:
    """Return the radius at which the cutting part is `depth` above the tip, mm, at most its largest.

    depth mm >= 0, of any shape.  For a ball of diameter D twice of it is 2 sqrt(a_p (D - a_p)); for
    a pointed vee of full angle p it is a_p tan(p / 2).  Error: rounding.
    Source: Machinery's Handbook for the ball (from memory), else the outline turned round.
    """
    o = cutter.outline
    h = np.maximum(np.asarray(depth, dtype=np.float64) - o.base, 0.0)
    low = o.rise * max(o.arc_from - o.flat, 0.0)  # height where the line ends
    radius = np.full(h.shape, o.radius)
    if o.radius > o.arc_to and o.side_rise > 0:
        radius = np.minimum(o.arc_to + (h - o.side_z) / o.side_rise, o.radius)
    if o.arc_to > o.arc_from:
        sagging = np.maximum(o.arc_r**2 - (o.arc_f - np.minimum(h, o.arc_f)) ** 2, 0.0)
        arc = np.minimum(o.arc_e + np.sqrt(sagging), o.arc_to)
        top = o.arc_f - np.sqrt(max(o.arc_r**2 - (o.arc_to - o.arc_e) ** 2, 0.0))
        radius = np.where(h <= top, arc, radius)
    if o.arc_from > o.flat and o.rise > 0:
        radius = np.where(h <= low, o.flat + h / o.rise, radius)
    return radius


def full_section(cutter: Cutter, depth) -> np.ndarray:
    """Return the section of a cutter's lowest `depth` mm seen from the side, mm2: that of a slot so deep.

    depth mm >= 0, of any shape.  For a flat cutter D a_p; for a pointed vee of full angle p a_p^2 tan(p / 2).
    Error: rounding.
    """
    return _summed(cutter, depth, True, False)[0]


def tip_volume(cutter: Cutter, depth) -> np.ndarray:
    """Return the volume of a cutter's lowest `depth` mm, mm3: what it takes straight down into even wood.

    depth mm >= 0, of any shape.  Flat: pi D^2 a_p / 4; ball: pi a_p^2 (3 R - a_p) / 3 up to R.
    Error: rounding.
    """
    return _summed(cutter, depth, False, True)[1]


def ramp_volume(cutter: Cutter, down, level) -> np.ndarray:
    """Return what a cutter takes from even wood on an even way down that begins at its surface, mm3.

    down, level mm >= 0: how far it comes down, and its length in plan; any shape.  Each column is left at its
    lowest when the cutter's rear leaves it, so a flat cutter takes pi D^2 a_p / 4 + D a_p level / 2; others
    by Simpson's rule over their section, an estimate (a ball: up to an eighth too much).
    """
    down = np.asarray(down, dtype=np.float64)
    total = np.zeros(down.shape)
    is_some = down > 0.0  # a level way comes down by nothing, and most ways are
    if is_some.any():
        own = down[is_some]
        full, tip = _summed(cutter, own)
        sections = 4.0 * full_section(cutter, own / 2.0) + full
        total[is_some] = tip + np.broadcast_to(level, down.shape)[is_some] * sections / 6.0
    return total


def _summed(cutter: Cutter, depth, section: bool = True, volume: bool = True) -> tuple:
    """Return the sums of the width and of the area of a cutter over the heights from 0 to `depth`.

    Piece by piece of its outline, in closed form; 0 for what is not asked.  Where t is the height below the
    centre of an arc, the sum of sqrt(r^2 - t^2) is (t sqrt(r^2 - t^2) + r^2 asin(t / r)) / 2.
    """
    o, r = cutter.outline, cutter.outline.arc_r
    h = np.maximum(np.asarray(depth, dtype=np.float64) - o.base, 0.0)
    wide, area, end = 0.0, 0.0, 0.0

    def straight(low, high, radius, rise):
        # From `low` on the radius grows from `radius` by 1 / rise.
        up = high - low
        more = up / rise
        return (
            up * (2.0 * radius + more) if section else 0.0,
            np.pi * up * (radius**2 + more * (radius + more / 3.0)) if volume else 0.0,
        )

    def below(t):
        return 0.5 * (
            t * np.sqrt(np.maximum(r**2 - t**2, 0.0))
            + r**2 * np.arcsin(np.minimum(np.maximum(t / r, -1.0), 1.0))
        )

    if o.arc_from > o.flat and o.rise > 0:
        end = o.rise * (o.arc_from - o.flat)
        own = straight(0.0, np.minimum(h, end), o.flat, o.rise)
        wide, area = wide + own[0], area + own[1]
    if o.arc_to > o.arc_from:
        low, end = end, o.arc_f - np.sqrt(max(r**2 - (o.arc_to - o.arc_e) ** 2, 0.0))
        own = np.minimum(np.maximum(h, low), end)
        up, first, last = own - low, o.arc_f - low, o.arc_f - own
        half = below(first) - below(last)
        wide = wide + 2.0 * (o.arc_e * up + half)
        area = area + np.pi * ((o.arc_e**2 + r**2) * up + 2.0 * o.arc_e * half - (first**3 - last**3) / 3.0)
    if o.radius > o.arc_to and o.side_rise > 0:
        low, end = o.side_z, o.side_z + o.side_rise * (o.radius - o.arc_to)
        own = straight(low, np.clip(h, low, end), o.arc_to, o.side_rise)
        wide, area = wide + own[0], area + own[1]
    up = np.maximum(h - end, 0.0)
    return wide + 2.0 * o.radius * up, area + np.pi * o.radius**2 * up


def _part(width, diameter) -> np.ndarray:
    """Return a width as a part of a diameter, 0 to 1."""
    return np.minimum(np.maximum(np.asarray(width) / np.maximum(diameter, 1e-12), 0.0), 1.0)


def engagement_angle(width, diameter) -> np.ndarray:
    """Return the angle over which an edge cuts when the wood stands on one side, rad: acos(1 - 2 a_e / D).

    width, diameter mm, of one shape; a width of D or more is a slot, pi.  Exact for wood of even height.
    """
    part = _part(width, diameter)
    return np.arccos(1.0 - 2.0 * part)


def largest_chip(per_tooth, width, diameter) -> np.ndarray:
    """Return the largest thickness of a chip, mm: 2 f_z sqrt(a_e/D (1 - a_e/D)), f_z from a_e = D/2 on.

    Of an upright edge; as seen from above, of others (`edge_lean`).
    per_tooth, width, diameter mm.  The path of an edge taken as a circle: off by about f_z / (pi D) of it.
    Source: M. E. Martellotti, 1941 (from memory).
    """
    part = _part(width, diameter)
    thin = 2.0 * np.sqrt(part * (1.0 - part))
    return per_tooth * np.where(part < 0.5, thin, 1.0)


def mean_chip(per_tooth, width, diameter) -> np.ndarray:
    """Return the mean thickness of a chip over the arc of contact, mm: f_z (2 a_e/D) / acos(1 - 2 a_e/D).

    Arguments and source as for `largest_chip`; 0 where nothing is cut.
    """
    part = _part(width, diameter)
    angle = np.arccos(1.0 - 2.0 * part)
    return per_tooth * np.where(angle > 0, 2.0 * part / np.where(angle > 0, angle, 1.0), 0.0)


def edge_lean(cutter: Cutter, depth) -> np.ndarray:
    """Return sin(kappa) of the edge `depth` above the tip, 0 to 1: what of a level feed goes across it.

    depth mm >= 0, of any shape.  A chip is so much thinner than seen from above: h = f_z sin(phi) sin(kappa).
    Flat 1; ball of diameter D, a_p up to D / 2: 2 sqrt(a_p (D - a_p)) / D; vee of full angle p: cos(p / 2).
    Profiles are convex, so further down the edge leans more and chips are thinner.  Error: rounding.
    Source: ISO 3002-3 (from memory), the angle from the outline.
    """
    o = cutter.outline
    h = np.maximum(np.asarray(depth, dtype=np.float64) - o.base, 0.0)
    lean = np.ones(h.shape)
    for _, top, sine in _edge_pieces(cutter):
        lean = np.where((lean == 1.0) & (h <= top), sine(h), lean)
    return lean


def edge_length(cutter: Cutter, depth) -> np.ndarray:
    """Return the length of an edge from where it leaves the plane of the tip up to `depth`, mm.

    depth mm >= 0, of any shape.  Flat: a_p; ball of radius R, a_p up to R: R acos(1 - a_p / R); vee of full
    angle p: a_p / cos(p / 2).  a_p over it is the mean of sin(kappa) along the edge.  Error: rounding.
    """
    o = cutter.outline
    h = np.maximum(np.asarray(depth, dtype=np.float64) - o.base, 0.0)
    length, end = np.zeros(h.shape), 0.0
    for low, top, sine in _edge_pieces(cutter):
        own = np.minimum(np.maximum(h, low), top)
        if sine(low) == sine(top):  # straight
            length = length + (own - low) / sine(top)
        else:
            length = length + o.arc_r * (np.arcsin(sine(own)) - np.arcsin(sine(low)))
        end = top
    return length + np.maximum(h - end, 0.0)


def _edge_pieces(cutter: Cutter):
    """Return the pieces of an edge that rise, from below: (low, top, sine), heights mm over the lowest one.

    sine(h): sin(kappa) at height h.  Above the last piece the edge stands upright.
    """
    o, pieces, low = cutter.outline, [], 0.0

    def straight(rise):
        return lambda h: np.full(np.shape(h), rise / np.hypot(1.0, rise))

    def round_(h):
        return np.sqrt(np.clip(1.0 - ((o.arc_f - np.asarray(h)) / o.arc_r) ** 2, 0.0, 1.0))

    if o.arc_from > o.flat and o.rise > 0:
        pieces.append((low, o.rise * (o.arc_from - o.flat), straight(o.rise)))
    if o.arc_to > o.arc_from:
        low = pieces[-1][1] if pieces else o.arc_f - np.sqrt(max(o.arc_r**2 - (o.arc_from - o.arc_e) ** 2, 0))
        top = o.arc_f - np.sqrt(max(o.arc_r**2 - (o.arc_to - o.arc_e) ** 2, 0.0))
        pieces.append((low, top, round_))
    if o.radius > o.arc_to and o.side_rise > 0:
        pieces.append((o.side_z, o.side_z + o.side_rise * (o.radius - o.arc_to), straight(o.side_rise)))
    return pieces


def power(removal, cutting_force: float) -> np.ndarray:
    """Return the power to cut, W: an estimate, P = k_c Q.

    removal mm3/min.  cutting_force N/mm2: k_c, as the job states it.  Published values for wood vary with
    species, direction of the grain, moisture and chip by a factor of two and more, and so does this.
    Source: ISO 3002-4 (from memory).
    """
    return np.asarray(removal) * cutting_force / 60000.0  # N/mm2 mm3/min = N mm/min


def tangential_force(watts, speed, diameter) -> np.ndarray:
    """Return the mean force along the edges' path, N: an estimate, P / v_c with v_c = pi D n.

    watts W; speed rev/min; diameter mm where it cuts.
    """
    metres_per_second = np.pi * np.asarray(diameter) * np.abs(speed) / 60000.0
    return np.asarray(watts) / np.maximum(metres_per_second, 1e-12)


def edge_force(depth, thickest, engaged, flutes: int, cutting_force: float) -> np.ndarray:
    """Return the largest force of the edges that cut at one moment, N: at most k_c a_p h_max each.

    depth mm: a_p; thickest mm: h_max as seen from above, for an edge that leans is longer by as much as its
    chip is thinner; engaged rad: the angle over which an edge cuts, as engagement_angle
    tells it; of one shape.  flutes: edges, evenly spaced: up to ceil(z engaged / 2 pi) of them cut at once.
    cutting_force N/mm2: k_c; an estimate like it.  Exact for one straight edge in even wood; a twisted edge
    spreads it, so it bears less.
    Source: ISO 3002-4 (from memory), F_c = k_c A.
    """
    at_once = np.ceil(flutes * np.asarray(engaged) / (2.0 * np.pi) - 1e-9)
    return cutting_force * np.asarray(depth) * np.asarray(thickest) * np.maximum(at_once, 1.0)
