"""How long each move takes on a machine that has to speed up and slow down.

The speed along a move follows a trapezoid: up with the acceleration that the axes allow, on at the feed,
down again.  How fast the machine goes round a corner between two moves follows from how far it may cut
the corner.  Derived here: let it turn from direction d1 to d2, at speed v on both sides, by an even
acceleration over a time T.  Each axis k changes its speed by v (d2 - d1)_k, so its acceleration limit a_k
asks for T >= v q with q = max_k |d2 - d1|_k / a_k.  The way is a parabola with its ends v T / 2 before and
behind the corner; its middle passes the corner at v T |d2 - d1| / 8.  With at most `rounding` there, and the
parabola within half of each move (lengths L1, L2),

    v^2 <= min(8 rounding / (q |d2 - d1|), L1 / q, L2 / q).

For a reversal that is v^2 = 2 a rounding, stopping that much short; for chords L of a circle of radius r
the last two are a r, the limit of centripetal acceleration.  On arcs tangential and centripetal acceleration
get 1/sqrt(2) of what the slower axis of the plane allows each, so that together, whatever their
direction, no axis exceeds its own.

Speeds at the corners are then lowered until each can be reached from both neighbours: with w = v^2 a move
of length d and acceleration a allows w to grow by 2 a d, so with S the running sum of these the forward
pass is w_i = S_i + min over j <= i of (limit_j - S_j); the backward pass is its mirror image.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from simkit.job.model import Machine
from simkit.moves.table import ARC, PLANE_AXES, Moves, norms

NOTHING = 1e-9  # mm: a move shorter than this takes no time
ARC_SHARE = math.sqrt(0.5)  # of the acceleration, each for tangential and centripetal
FREE, CURVE = -1, 3  # what holds a move: nothing, or the turn of an arc; an axis is 0 to 2
BLOCK = 2**14  # moves looked at together: their columns stay in the cache
NOT_REACHED = 0.999  # a top speed below this part of the feed counts as not reached


@dataclass(frozen=True)
class MoveTimes:
    """How n moves run.

    seconds (n,): time of each move; standing (changes of cutter, spindle, dwells) not counted.
    top (n,) mm/s: the highest speed on it.  wanted (n,) mm/s: its feed, or on rapids the speed that its axes
    allow, along its direction.  held (n,) int8: what keeps a feed move below its F however long it is: an
    axis, 0 to 2, or CURVE, the acceleration on an arc; FREE for nothing.  entry, exit (n,) mm/s: speeds at
    its ends.
    Error: rounding, for this model of the machine; a real control rounds speeds off besides (jerk).
    """

    seconds: np.ndarray
    top: np.ndarray
    wanted: np.ndarray
    held: np.ndarray
    entry: np.ndarray
    exit: np.ndarray

    def __getitem__(self, rows) -> MoveTimes:
        """Return the chosen moves (slice, mask or index array)."""
        return MoveTimes(*(getattr(self, each.name)[rows] for each in fields(self)))

    @property
    def reaches_feed(self) -> np.ndarray:
        """Whether each move (n,) reaches what is wanted; one that has no length does."""
        return (self.top >= NOT_REACHED * self.wanted) | (self.seconds == 0)


def in_turn(job: Callable[[int], None], count: int) -> None:
    """Call job(0) to job(count - 1), one after the other."""
    for index in range(count):
        job(index)


def move_times(moves: Moves, machine: Machine, share: Callable = in_turn) -> MoveTimes:
    """Return how long each move takes.

    share: calls a job for each of some blocks of moves; stock.workers.share lets all threads work, which
    reading programs, without compiled code, cannot.

    moves: in their program frames, all in the order in which they run.  machine: its speed (mm/min),
    acceleration (mm/s^2) and rounding (mm).  The machine stands still before the first and behind the last
    move, where the programs, the cutter or the spindle change, where a move does not begin where the
    one before ended (as after G28), for dwells, and behind every move under G61.1.
    """
    length = moves.length()
    n = len(moves)
    seconds, top, entry, leaving = (np.zeros(n) for _ in range(4))
    ways = np.empty((n, 3)), np.empty((n, 3))
    wanted, acceleration, held = np.empty(n), np.empty(n), np.empty(n, np.int8)
    stops = np.zeros(n + 1, np.int64)  # how many lie before each move

    def look(index: int) -> None:
        a = index * BLOCK
        here = slice(a, a + BLOCK)
        own = is_stop(moves[a : a + BLOCK + 1])  # between a move of the block and the one behind it
        stops[a + 1 : a + 1 + len(own)] = own
        ways[0][here], ways[1][here] = directions(moves[here])
        wanted[here], acceleration[here], held[here] = along(moves[here], ways[0][here], machine)

    share(look, -(-n // BLOCK))
    rows = np.flatnonzero(length > NOTHING)
    if len(rows):
        stops = np.cumsum(stops)
        # A stop at a move of no length is one between its neighbours.
        stops, d = stops[rows[1:]] > stops[rows[:-1]], length
        if len(rows) < n:
            d, ways = length[rows], [each.take(rows, axis=0) for each in ways]
        most = np.empty(len(d) + 1)  # w = v^2 at each corner
        most[0] = most[-1] = 0.0
        v = wanted[rows]

        def turn(index: int) -> None:
            a = index * BLOCK
            own = slice(a, a + BLOCK + 1)  # the corners of a block lie between it and the move behind it
            most[a + 1 : -1][:BLOCK] = _corners(
                d[own], [each[own] for each in ways], v[own], stops[a : a + BLOCK], machine
            )

        share(turn, -(-(len(d) - 1) // BLOCK))
        growth = 2.0 * acceleration[rows] * d
        w = _reachable(most, growth)

        def run(index: int) -> None:
            own = slice(index * BLOCK, (index + 1) * BLOCK)
            here, w0, w1 = rows[own], w[:-1][own], w[1:][own]
            seconds[here], top[here] = _run(d[own], v[own], acceleration[here], growth[own], w0, w1)
            entry[here], leaving[here] = np.sqrt(w0), np.sqrt(w1)

        share(run, -(-len(d) // BLOCK))
    return MoveTimes(seconds, top, wanted, held, entry, leaving)


def _run(d, v, acceleration, growth, w0, w1) -> tuple[np.ndarray, np.ndarray]:
    """Return how long moves (n,) of length d take, s, and the highest speed on each, mm/s.

    v: the speed wanted; growth: 2 acceleration d; w0, w1: the square of the speed at their ends.
    """
    peak2 = np.maximum(np.minimum(v * v, 0.5 * (w0 + w1 + growth)), np.maximum(w0, w1))
    peak, v0, v1 = np.sqrt(peak2), np.sqrt(w0), np.sqrt(w1)
    even = np.maximum(d - (2.0 * peak2 - w0 - w1) / (2.0 * acceleration), 0.0)
    return (2.0 * peak - v0 - v1) / acceleration + even / peak, peak


def _reachable(most: np.ndarray, growth: np.ndarray) -> np.ndarray:
    """Return v^2 at the corners (m + 1,), lowered to what can be reached and left again.

    most (m + 1,): limits of v^2.  growth (m,): by how much each move can change it.
    """
    total = np.concatenate([[0.0], np.cumsum(growth)])
    forward = total + np.minimum.accumulate(most - total)
    both = np.minimum.accumulate((forward + total)[::-1])[::-1] - total
    return np.maximum(np.minimum(both, most), 0.0)


def directions(moves: Moves) -> tuple[np.ndarray, np.ndarray]:
    """Return the unit directions (n, 3) at start and end of each move; zero where it has no length."""
    delta = moves.end - moves.start
    size = norms(delta)
    first = delta / np.where(size > 0, size, 1.0)[:, None]
    last, arcs = first.copy(), np.flatnonzero(moves.kind == ARC)
    for number, (u, v, normal) in PLANE_AXES.items():
        rows = arcs[moves.plane[arcs] == number]
        if not len(rows):
            continue
        sense = np.sign(moves.sweep[rows])
        for place, into in ((moves.start, first), (moves.end, last)):
            arm = place[rows][:, [u, v]] - moves.centre[rows]
            tangent = np.zeros((len(rows), 3))
            # d(place) / d(swept angle)
            tangent[:, u], tangent[:, v] = -sense * arm[:, 1], sense * arm[:, 0]
            tangent[:, normal] = delta[rows, normal] / np.maximum(np.abs(moves.sweep[rows]), 1e-12)
            long = norms(tangent)
            into[rows] = tangent / np.where(long > 0, long, 1.0)[:, None]
    return first, last


def along(moves: Moves, first: np.ndarray, machine: Machine) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return of each move the speed wanted and the acceleration along it (n,) mm/s, mm/s^2, and `held`.

    first (n, 3): direction at the start of each.
    """
    speed, limit = np.array(machine.speed) / 60.0, np.array(machine.acceleration)
    fastest, held, acceleration = np.full(len(moves), np.inf), np.zeros(len(moves), np.int8), np.inf
    for axis in range(3):
        share = np.maximum(np.abs(first[:, axis]), 1e-12)
        own = speed[axis] / share
        held[own < fastest] = axis
        fastest, acceleration = np.minimum(fastest, own), np.minimum(acceleration, limit[axis] / share)
    delta, arcs = moves.end - moves.start, np.flatnonzero(moves.kind == ARC)
    for number, (u, v, normal) in PLANE_AXES.items():
        rows = arcs[moves.plane[arcs] == number]
        if not len(rows):
            continue
        arm = moves.start[rows][:, [u, v]] - moves.centre[rows]
        radius = np.maximum(np.hypot(*arm.T), 1e-12)
        around, rise = radius * np.abs(moves.sweep[rows]), np.abs(delta[rows, normal])
        whole = np.maximum(np.hypot(around, rise), 1e-12)
        level, upright = np.maximum(around / whole, 1e-12), np.maximum(rise / whole, 1e-12)
        turning = ARC_SHARE * min(limit[u], limit[v])
        slower = u if speed[u] <= speed[v] else v
        limits = np.array([speed[slower] / level, speed[normal] / upright, np.sqrt(turning * radius) / level])
        fastest[rows] = limits.min(axis=0)
        held[rows] = np.array([slower, normal, CURVE])[limits.argmin(axis=0)]
        acceleration[rows] = np.minimum(turning / level, limit[normal] / upright)
    feed = np.where(moves.rapid, np.inf, moves.feed) / 60.0
    feed = np.where(np.isfinite(feed) & (feed > 0), feed, np.inf)
    held[moves.rapid | (fastest >= NOT_REACHED * feed)] = FREE
    return np.minimum(fastest, feed), acceleration, held


def _corners(length: np.ndarray, ways, wanted: np.ndarray, stops: np.ndarray, machine: Machine) -> np.ndarray:
    """Return the limit of v^2 (n - 1,) at each corner between two moves of some length.

    ways: directions (n, 3) at start and end of each.  stops (n - 1,): whether the machine stands still there.
    """
    first, last = ways
    turn = np.abs(first[1:] - last[:-1])
    x, y, z = (turn[:, axis] / machine.acceleration[axis] for axis in range(3))
    q = np.maximum(np.maximum(x, y), z)
    size = norms(turn)
    shorter = np.minimum(length[:-1], length[1:])
    with np.errstate(divide="ignore"):
        limit = np.minimum(8.0 * machine.rounding / (q * size), shorter / q)
    limit = np.minimum(limit, np.minimum(wanted[:-1], wanted[1:]) ** 2)
    limit[stops] = 0.0
    return limit


def is_stop(moves: Moves) -> np.ndarray:
    """Return whether the machine stands still (n - 1,) between each move and the next."""
    changes = np.zeros(max(len(moves) - 1, 0), bool)
    for name in ("setup", "program", "tool", "speed"):
        column = getattr(moves, name)
        changes |= column[1:] != column[:-1]
    return changes | moves.rests[:-1] | is_apart(moves)


def is_apart(moves: Moves) -> np.ndarray:
    """Return whether each move but the first (n - 1,) begins elsewhere than where the one before ended."""
    x, y, z = (np.abs(moves.start[1:] - moves.end[:-1]) > 1e-6).T
    return x | y | z
