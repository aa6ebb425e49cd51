"""Programs walked in fine steps of time: the same machine, none of the formulas."""

import math

import numpy as np

from simkit.moves.table import ARC, PLANE_AXES


def path_of(moves, row, steps=64):
    """Places (m, 3) along a move, close together on arcs."""
    start, end = moves.start[row], moves.end[row]
    part = np.linspace(0.0, 1.0, steps + 1)
    place = start + part[:, None] * (end - start)
    if moves.kind[row] == ARC:
        u, v, _ = PLANE_AXES[int(moves.plane[row])]
        centre = moves.centre[row]
        arm = complex(start[u] - centre[0], start[v] - centre[1])
        turned = arm * np.exp(1j * moves.sweep[row] * part)
        place[:, u], place[:, v] = centre[0] + turned.real, centre[1] + turned.imag
    return place


def corner_speed(before, after, shorter, acceleration, corner):
    """The highest speed whose turn keeps all limits, by trying: bisection over a turn walked in time.

    before, after (3,): unit directions.  shorter mm: of both moves.
    """

    def is_allowed(v):
        change = v * (after - before)
        time = float((np.abs(change) / acceleration).max())  # every axis changes its speed evenly
        if time == 0.0:
            return True
        t = np.linspace(0.0, time, 2001)[:, None]
        way = before * v * t + 0.5 * (change / time) * t**2 - before * v * time / 2
        return np.linalg.norm(way, axis=1).min() <= corner and v * time / 2 <= shorter / 2

    low, high = 0.0, 1e4
    if is_allowed(high):
        return math.inf
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if is_allowed(middle) else (low, middle)
    return low


def walk(lengths, wanted, acceleration, corners, dt=2e-4):
    """Seconds for moves in a row, in steps of time: as fast as braking for everything ahead allows.

    lengths, wanted, acceleration (n,); corners (n + 1,): highest speeds at their ends.
    """
    ends = np.cumsum(lengths)
    # What can still be braked for, as the square of speed at each end: looked ahead end by end.
    ahead = np.array(corners, float) ** 2
    for i in range(len(lengths) - 1, -1, -1):
        ahead[i] = min(ahead[i], ahead[i + 1] + 2 * acceleration[i] * lengths[i])
    s, v, seconds, i = 0.0, 0.0, 0.0, 0
    while True:
        a = acceleration[i]
        left = ends[i] - s
        faster = min(v + a * dt, wanted[i])
        # A step at that speed, and then braking must still do.
        ok = ahead[i + 1] + 2 * a * max(left - 0.5 * (v + faster) * dt, 0.0)
        v_new = min(faster, math.sqrt(ok))
        step = 0.5 * (v + v_new) * dt
        if step < left and left > a * dt * dt:  # nearer than one step from standing counts as there
            s, v, seconds = s + step, v_new, seconds + dt
            continue
        part = min(left / step, 1.0) if step > 0 else 1.0
        seconds += part * dt
        s, v = ends[i], min(v + part * (v_new - v), math.sqrt(ahead[i + 1]))
        i += 1
        if i == len(lengths):
            return seconds
