"""The model of time of motion.py move by move: the same numbers, to the bit.

Operation by operation as there, where NumPy goes through all moves once for each; arcs, which are few, come
from there with their directions and limits.
"""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, loop_kernel

FREE, NOTHING, NOT_REACHED = -1, 1e-9, 0.999  # as in motion.py
SPEED, ACCELERATION, ROUNDING = 0, 3, 6  # of the limits of a machine: mm/s and mm/s2 of each axis, mm


@loop_kernel
def _least(a, b):
    """The lesser of two, or what is not a number."""
    return a if a <= b or a != a else b


@loop_kernel
def _norm(x, y, z):
    return math.sqrt(x * x + y * y + z * z)


@kernel
def _way(i, at_end, start, end, nth, arc_ways):
    """The unit direction at the start of a move, or at its end; zero where it has no length."""
    if nth[i] >= 0:
        k, c = nth[i], 3 if at_end else 0
        return arc_ways[k, c], arc_ways[k, c + 1], arc_ways[k, c + 2]
    x, y, z = end[i, 0] - start[i, 0], end[i, 1] - start[i, 1], end[i, 2] - start[i, 2]
    size = _norm(x, y, z)
    size = size if size > 0.0 else 1.0
    return x / size, y / size, z / size


@kernel
def _along(x, y, z, limits):
    """The speed that the axes allow along a line, which of them keeps it so, and the acceleration."""
    x, y, z = max(abs(x), 1e-12), max(abs(y), 1e-12), max(abs(z), 1e-12)
    fastest, slowest = limits[SPEED] / x, 0
    own = limits[SPEED + 1] / y
    if own < fastest:
        fastest, slowest = own, 1
    own = limits[SPEED + 2] / z
    if own < fastest:
        fastest, slowest = own, 2
    acceleration = min(limits[ACCELERATION] / x, limits[ACCELERATION + 1] / y)
    return fastest, slowest, min(acceleration, limits[ACCELERATION + 2] / z)


@kernel
def _wanted(rapid, feed):
    """The feed, mm/s; infinite for rapids and where there is none."""
    feed = math.inf if rapid else feed / 60.0
    return feed if feed > 0.0 else math.inf


@loop_kernel
def is_apart(i, start, end, program, tool, speed):
    """Whether a move begins elsewhere than the one before ends, or of another program, cutter or speed."""
    j = i - 1
    is_elsewhere = (
        (abs(start[i, 0] - end[j, 0]) > 1e-6)
        | (abs(start[i, 1] - end[j, 1]) > 1e-6)
        | (abs(start[i, 2] - end[j, 2]) > 1e-6)
    )
    return is_elsewhere | (program[i] != program[j]) | (tool[i] != tool[j]) | (speed[i] != speed[j])


@kernel
def _stops(i, start, end, columns, speed, rests):
    """Whether the machine stands still between the move before and this one (motion.is_stop)."""
    setup, program, tool = columns
    return is_apart(i, start, end, program, tool, speed) | (setup[i] != setup[i - 1]) | rests[i - 1]


@entry_kernel
def look(
    first, last, start, end, length, rapid, feed, columns, speed, rests, nth, arc_ways, limits,
    wanted, acceleration, held, most,
):  # fmt: skip
    """Write of the moves [first, last) what is wanted of them, and v^2 at the corner before each.

    start, end (n, 3), length (n,) mm, rapid, feed, speed, rests (n,), columns (setup, program, tool): of all
    moves.  nth (n,): which arc it is, -1 for lines; arc_ways (arcs, 6): directions at start and end of these.
    limits (7,): see SPEED.  Written, (n,): wanted mm/s, acceleration mm/s2, held int8, those of arcs stand
    there before; most (mm/s)^2, 0 where the machine stands still, of moves of some length alone.
    """
    before, has_stopped = first - 1, False
    while before >= 0 and not length[before] > NOTHING:
        if before > 0:
            has_stopped |= _stops(before, start, end, columns, speed, rests)
        before -= 1
    ax, ay, az, v = 0.0, 0.0, 0.0, 0.0
    if before >= 0:
        ax, ay, az = _way(before, True, start, end, nth, arc_ways)
        v = wanted[before]
        if nth[before] < 0:
            v = min(_along(ax, ay, az, limits)[0], _wanted(rapid[before], feed[before]))
    for i in range(first, last):
        x, y, z = _way(i, False, start, end, nth, arc_ways)
        if nth[i] < 0:
            most_of, slowest, acceleration[i] = _along(x, y, z, limits)
            own = _wanted(rapid[i], feed[i])
            is_free = rapid[i] or most_of >= NOT_REACHED * own
            held[i] = np.int8(FREE if is_free else slowest)
            wanted[i] = min(most_of, own)
        if i > 0:
            has_stopped |= _stops(i, start, end, columns, speed, rests)
        if not length[i] > NOTHING:
            continue
        most[i] = 0.0
        if before >= 0 and not has_stopped:
            dx, dy, dz = abs(x - ax), abs(y - ay), abs(z - az)
            q = max(
                max(dx / limits[ACCELERATION], dy / limits[ACCELERATION + 1]), dz / limits[ACCELERATION + 2]
            )
            shorter = min(length[before], length[i])
            limit = _least(8.0 * limits[ROUNDING] / (q * _norm(dx, dy, dz)), shorter / q)
            slower = min(v, wanted[i])
            most[i] = _least(limit, slower * slower)
        before, has_stopped, v = i, False, wanted[i]
        ax, ay, az = x, y, z
        if nth[i] >= 0:
            ax, ay, az = _way(i, True, start, end, nth, arc_ways)


@entry_kernel
def reach(length, acceleration, most, total, both, w0, w1):
    """Write v^2 at both ends of each move of some length: limits `most`, lowered to what can be reached.

    total, both (n + 1,): to work in.  w0, w1 (n,): written; 0 for moves of no length.  As motion._reachable.
    """
    n = len(length)
    so_far, least = 0.0, math.inf
    for i in range(n):
        if not length[i] > NOTHING:
            continue
        total[i] = so_far
        least = min(least, most[i] - so_far)
        both[i] = (so_far + least) + so_far
        so_far += 2.0 * acceleration[i] * length[i]
    least = min(least, 0.0 - so_far)
    # The machine stands still behind the last one: the limit there is 0.
    least = (so_far + least) + so_far
    behind = max(min(least - so_far, 0.0), 0.0)
    for i in range(n - 1, -1, -1):
        if not length[i] > NOTHING:
            w0[i] = w1[i] = 0.0
            continue
        w1[i] = behind
        least = min(least, both[i])
        behind = max(min(least - total[i], most[i]), 0.0)
        w0[i] = behind


@entry_kernel
def run(first, last, length, wanted, acceleration, w0, w1, seconds, top, entry, leaving):
    """Write how long the moves [first, last) take, s, and their speeds, mm/s; as motion._run.

    w0, w1 (n,): v^2 at their ends.  Written: seconds, top, entry, leaving (n,); 0 for moves of no length.
    """
    for i in range(np.uint64(first), np.uint64(last)):
        d, v, a, before, behind = length[i], wanted[i], acceleration[i], w0[i], w1[i]
        growth = 2.0 * a * d
        peak2 = max(min(v * v, 0.5 * (before + behind + growth)), max(before, behind))
        peak, v0, v1 = math.sqrt(peak2), math.sqrt(before), math.sqrt(behind)
        even = max(d - (2.0 * peak2 - before - behind) / (2.0 * a), 0.0)
        took = (2.0 * peak - v0 - v1) / a + even / peak
        is_move = d > NOTHING
        seconds[i], top[i] = took if is_move else 0.0, peak if is_move else 0.0
        entry[i], leaving[i] = v0, v1
