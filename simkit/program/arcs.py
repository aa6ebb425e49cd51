"""Geometry of one arc block in the XY plane: what was written -> true circular arcs that join.

Angles in rad, counter-clockwise positive; lengths mm; points are (x, y).
"""

from __future__ import annotations

import math
from typing import NamedTuple

FULL_TURN = 2.0 * math.pi
SAME_POINT = 1e-9  # mm; two ways of writing one point differ by rounding alone, far below this
LEAST_TOLERANCE = 0.002  # mm, the rule of NISTIR 6556
# Posts drop trailing zeros ("X10." in a file of three decimals), so few decimals in one block are
# no sign of coarse rounding: no block counts as coarser than this.
FEWEST_DECIMALS = {"mm": 2, "in": 3}
LARGEST_TOLERANCE = 0.1  # mm, above what `tolerance` gives for the fewest decimals
_ROUNDING_RADII = 4.0 * math.sqrt(2.0) / 2.0  # times the step of the last decimal


class Piece(NamedTuple):
    """A true circular arc: it ends at `end`, turns by `sweep` about `centre`.

    share: part of the whole block's turn done when it ends, for the height of a helix.
    """

    end: tuple[float, float]
    centre: tuple[float, float]
    sweep: float
    share: float


class Drawn(NamedTuple):
    """The pieces of one arc block, how far what was written contradicts itself (mm), and its turn."""

    pieces: tuple[Piece, ...]
    mismatch: float
    sweep: float


def tolerance(decimals: int, unit: str) -> float:
    """Return by how much (mm) the two radii of an honest arc block may differ.

    decimals: the most digits behind the point in the arc's words.  unit: "mm" or "in".
    Rounding every coordinate to the step u changes |r_end - r_start| by at most 4 sqrt(2) (u/2);
    never below 0.002 mm.  Source: own derivation; lower bound NISTIR 6556 (2000), section 3.5.3.2.
    """
    step = 10.0 ** -max(decimals, FEWEST_DECIMALS[unit]) * (25.4 if unit == "in" else 1.0)
    return max(LEAST_TOLERANCE, _ROUNDING_RADII * step)


def is_same_point(a: tuple[float, float], b: tuple[float, float]) -> bool:
    """Tell whether a and b (x, y) mm are one point but for the rounding of float64 (1e-9 mm)."""
    return abs(a[0] - b[0]) <= SAME_POINT and abs(a[1] - b[1]) <= SAME_POINT


def plan_length(x: float, y: float) -> float:
    """Return the length of (x, y); not math.hypot, whose last bit no compiled twin could promise to share."""
    return math.sqrt(x * x + y * y)


def distance(a, b) -> float:
    """Return the distance of (x, y, z) a and b; by a square root for the same reason."""
    x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    return math.sqrt(x * x + y * y + z * z)


def arc_about(start, end, centre, sense: int) -> Drawn:
    """Return the arc from start to end about the written centre.

    start, end, centre (x, y) mm; centre not at start or end.  sense +1 counter-clockwise (G3), -1 (G2).
    End at start is a full circle.  Where the radii at start and end differ by m = mismatch, the arc
    passes through both ends and stays within m of the written circle through either: a turn of more
    than half a circle becomes two arcs that meet at mid-angle at the mean radius, and each arc is drawn
    about the point nearest to the written centre that is equally far from its two ends.
    Error: rounding; |start - centre| = |end - centre| within 1e-9 mm for each piece.
    Source: own derivation.
    """
    if is_same_point(start, end):
        return Drawn((Piece(start, centre, sense * FULL_TURN, 1.0),), 0.0, sense * FULL_TURN)
    ax, ay = start[0] - centre[0], start[1] - centre[1]
    bx, by = end[0] - centre[0], end[1] - centre[1]
    r_start, r_end = plan_length(ax, ay), plan_length(bx, by)
    turn = sense * math.atan2(ax * by - ay * bx, ax * bx + ay * by)
    if turn <= 0.0:
        turn += FULL_TURN
    mismatch = abs(r_end - r_start)
    sweep = sense * turn
    if mismatch <= SAME_POINT:
        return Drawn((Piece(end, centre, sweep, 1.0),), mismatch, sweep)
    if turn <= math.pi:
        return Drawn((_joined(start, end, centre, sense, 1.0),), mismatch, sweep)
    angle = math.atan2(ay, ax) + 0.5 * sweep
    r_mid = 0.5 * (r_start + r_end)
    middle = (centre[0] + r_mid * math.cos(angle), centre[1] + r_mid * math.sin(angle))
    pieces = (
        _joined(start, middle, centre, sense, 0.5),
        _joined(middle, end, centre, sense, 1.0),
    )
    return Drawn(pieces, mismatch, sweep)


def _joined(start, end, centre, sense: int, share: float) -> Piece:
    """Return the arc of at most half a turn about the point nearest to `centre` between both ends."""
    half_x, half_y = 0.5 * (end[0] - start[0]), 0.5 * (end[1] - start[1])
    half = plan_length(half_x, half_y)
    mid_x, mid_y = start[0] + half_x, start[1] + half_y
    # Height of the centre above the chord, on the inner side of the arc; the turn is at most half a
    # circle, so only rounding can make it negative.
    left_x, left_y = -half_y / half, half_x / half
    height = max(0.0, sense * ((centre[0] - mid_x) * left_x + (centre[1] - mid_y) * left_y))
    new_centre = (mid_x + sense * height * left_x, mid_y + sense * height * left_y)
    return Piece(end, new_centre, sense * 2.0 * math.atan2(half, height), share)


def arc_of_radius(start, end, radius: float, sense: int) -> Drawn:
    """Return the arc of a given radius from start to another point.

    start, end (x, y) mm, not the same point.  radius mm: > 0 turns by at most half a circle, < 0 by at
    least half.  sense as in arc_about.  A radius below half the distance of the ends is drawn as half a
    circle about their middle; mismatch says by how much it is too short.
    Error: rounding; near half a turn the centre is as ill-conditioned as the radius form itself.
    Source: NISTIR 6556 (2000), section 3.5.3.1.
    """
    half_x, half_y = 0.5 * (end[0] - start[0]), 0.5 * (end[1] - start[1])
    half = plan_length(half_x, half_y)
    size = abs(radius)
    mismatch = max(0.0, half - size)
    height = math.sqrt((size - half) * (size + half)) if size > half else 0.0
    turn = 2.0 * math.atan2(half, height)
    side = sense  # the centre lies left of the chord for a short counter-clockwise arc
    if radius < 0.0:
        turn = FULL_TURN - turn
        side = -sense
    centre = (
        start[0] + half_x - side * height * half_y / half,
        start[1] + half_y + side * height * half_x / half,
    )
    return Drawn((Piece(end, centre, sense * turn, 1.0),), mismatch, sense * turn)
