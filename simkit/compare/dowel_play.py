"""How far a blank can lie off its place on its dowel pins: the shift and the turn that their play permits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

from simkit.compare.dowels import Pin
from simkit.compare.pin_pair import PinPair


@dataclass(frozen=True, slots=True)
class Play:
    """What the play of the dowels of one setup permits.

    setup: index.  clearances: by how much each hole is wider than its pin at most, mm, in the order of the
    dowels; below 0 the pin is thicker.  along mm: from the middle of the widest pair of dowels the blank can
    shift by this much either way along the line through them, across mm: square to it; about its middle
    place.  turn_degrees: either way, inf when one dowel alone leaves it free.  middle (x, y) mm, table
    frame.  direction (2,): of the line, unit length.  tight mm: how much the holes stand farther apart (or
    closer) than pins and play permit; above 0 the blank does not go onto its pins.
    pair: what they permit together, of the two dowels that permit the least; None where that is nothing.
    """

    setup: int
    clearances: tuple[float, ...]
    along: float
    across: float
    turn_degrees: float
    middle: tuple[float, float]
    direction: tuple[float, float]
    tight: float
    pair: PinPair | None

    def at_most(self, x: float, y: float) -> float:
        """Return a bound on how far a place (x, y) mm of the table frame can move by the play, mm."""
        if math.isinf(self.turn_degrees):
            return math.inf
        rx, ry = x - self.middle[0], y - self.middle[1]
        u, v = self.direction
        turn = math.radians(self.turn_degrees)
        return math.hypot(self.along + turn * abs(u * ry - v * rx), self.across + turn * abs(u * rx + v * ry))


def two_dowels(
    holes_apart: float, pins_apart: float, play1: float, play2: float
) -> tuple[float, float, float]:
    """Return half the ranges of shift along, shift across and turn that two dowels permit.

    holes_apart, pins_apart mm: distances a and b between the two holes and between the two pins.  play1,
    play2 mm: hole minus pin, diameters, >= 0.  Returns mm, mm, radians; zeros when the blank does not go on.

    Let u1 and u2 be where the centres of the holes lie from the centres of their pins; the pins hold them
    within discs, |u1| <= r1 = play1 / 2 and |u2| <= r2 = play2 / 2.  With v the vector between the holes as
    the blank lies turned by t, and w that between the pins, u2 - u1 = v - w.

    Turn: as u1 and u2 go through their discs, u2 - u1 goes through the disc of radius r = r1 + r2, so a turn
    is possible exactly when |v - w| <= r: a^2 + b^2 - 2 a b cos t <= r^2,

        t = arccos((a^2 + b^2 - r^2) / (2 a b)),

    which is 2 arcsin(r / (2 a)) for a = b, and none when |a - b| > r.

    Shift along the line, without a turn: u1 = s and u2 = s + d with d = a - b, so s runs from
    max(-r1, -r2 - d) to min(r1, r2 - d): half the range is (min(r1, r2 - d) - max(-r1, -r2 - d)) / 2.

    Shift of the middle across the line: it is (t1 + t2) / 2 with s^2 + t1^2 <= r1^2 and
    (s + d)^2 + t2^2 <= r2^2: half the height of the sum of two discs at the distance d of their centres,
    sqrt(r^2 - d^2) / 2.

    Error: the turn is exact.  A turn t shortens the holes' distance along the line by a t^2 / 2 at most,
    which the two shifts leave out: under r^2 / a, 4e-5 mm for 0.1 mm of play and 260 mm between the dowels.
    Source: derived here; against brute force in tests.
    """
    a, b, r1, r2 = holes_apart, pins_apart, play1 / 2, play2 / 2
    d, r = a - b, r1 + r2
    if abs(d) > r or min(a, b) <= 0:
        return 0.0, 0.0, 0.0
    cosine = (a * a + b * b - r * r) / (2 * a * b)
    turn = math.acos(min(1.0, max(-1.0, cosine)))
    along = (min(r1, r2 - d) - max(-r1, -r2 - d)) / 2
    return along, math.sqrt(max(r * r - d * d, 0.0)) / 2, turn


def play_of(pins: list[Pin], setup: int) -> Play | None:
    """Return what the dowels of one setup permit, None where hole or pin sizes are not known or none holds.

    pins: of compare.dowels, each with the hole nearest to its pin.  The most play of each is taken.
    With more than two dowels each pair permits what two alone would, and the blank no more than the least
    of these: the numbers are then 'at most'.  Error: see two_dowels.  Shift and turn are each told alone: at
    the end of one of them nothing is left of the others, see PinPair.
    """
    mine = [pin for pin in pins if pin.setup == setup]
    plays = [pin.nearest.dowel.play(pin.nearest.diameter) for pin in mine]
    if not mine or None in plays:
        return None
    most = tuple(play[1] for play in plays)
    names = [pin.nearest.dowel.name for pin in mine]
    if len(mine) == 1:
        radius = max(most[0], 0.0) / 2
        alone = PinPair((names[0],), (mine[0].hole,), (radius,)) if radius > 0 else None
        return Play(setup, most, radius, radius, math.inf, mine[0].hole, (1.0, 0.0), 0.0, alone)
    pairs = []
    together = []
    for i, j in combinations(range(len(mine)), 2):
        a, b = math.dist(mine[i].hole, mine[j].hole), math.dist(mine[i].pin, mine[j].pin)
        room = [max(most[k], 0.0) for k in (i, j)]
        tight = abs(a - b) - sum(room) / 2
        pairs.append((a, i, j, tight, two_dowels(a, b, *room)))
        radii = (room[0] / 2, room[1] / 2)
        if a > 0:  # two names for one hole hold nothing together
            together.append(PinPair((names[i], names[j]), (mine[i].hole, mine[j].hole), radii, a - b))
    widest, i, j, _, _ = max(pairs, key=lambda pair: pair[0])
    (x0, y0), (x1, y1) = mine[i].hole, mine[j].hole
    along, across, turn = (min(pair[4][k] for pair in pairs) for k in range(3))
    tightest = max(0.0, *(pair[3] for pair in pairs))
    alone = PinPair((names[0],), (mine[0].hole,), (max(min(most), 0.0) / 2,))
    least = min(together, key=lambda pair: pair.volume, default=alone)
    return Play(
        setup=setup,
        clearances=most,
        along=along,
        across=across,
        turn_degrees=math.degrees(turn),
        middle=((x0 + x1) / 2, (y0 + y1) / 2),
        direction=((x1 - x0) / widest, (y1 - y0) / widest) if widest > 0 else (1.0, 0.0),
        tight=tightest,
        pair=least if tightest <= 0 and max(least.sizes) > 0 else None,
    )
