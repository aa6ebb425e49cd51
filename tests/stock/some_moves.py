"""Cutters of every shape and random moves of every kind, for the tests of this room."""

import numpy as np

from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.cut import cut_heights
from tests.stock import naive, precise

SHAPES = {
    0: Cutter(0, "flat", 6.0),
    1: Cutter(1, "ball", 6.0),
    2: Cutter(2, "drill", 6.0),
    3: Cutter(3, "bull-nose", 6.0, corner=1.0),
    4: Cutter(4, "tapered ball", 6.0, tip=2.0, taper=10.0),
    5: Cutter(5, "vee", 6.0, point=60.0, tip=1.0),
    6: Cutter(6, "vee", 6.0, point=90.0),
    7: Cutter(7, "bull-nose", 6.0, corner=2.6),
}
# The same with the radius of the profile shifted, outwards and inwards, past kinks and the axis.
SHIFTED = {
    8: SHAPES[1].shifted(0.3),
    9: SHAPES[1].shifted(-0.3),
    10: SHAPES[3].shifted(0.2),
    11: SHAPES[4].shifted(-0.2),
    12: SHAPES[6].shifted(0.3),
    13: SHAPES[7].shifted(-0.9),
    14: SHAPES[5].shifted(-0.7),
    15: SHAPES[0].shifted(-0.4),
}
CUTTERS = SHAPES | SHIFTED
HIGH = 1e6


def heights(points, moves, cutters=CUTTERS):
    """Heights (p,) with +inf where nothing was cut."""
    z, rows = cut_heights(np.asarray(points, float), moves, cutters, IDENTITY, HIGH)
    return np.where(rows < 0, np.inf, z)


def line(a, b, tool):
    """One straight move."""
    return make_moves(kind=[LINE], start=[a], end=[b], tool=[tool])


def arc(centre, r, theta, sweep, third, tool, plane=17):
    """One arc about `centre` in its plane from the angle theta; third: first and last third coordinate."""
    u, v = naive.AXES[plane]
    ends = np.zeros((2, 3))
    for end, angle, z in zip(ends, (theta, theta + sweep), third, strict=True):
        end[u], end[v] = centre[0] + r * np.cos(angle), centre[1] + r * np.sin(angle)
        end[3 - u - v] = z
    return make_moves(
        kind=[ARC], plane=[plane], start=ends[:1], end=ends[1:], centre=[centre], sweep=[sweep], tool=[tool]
    )


def random_line(rng, tool):
    """Level, gently and steeply sloped, sometimes a plunge."""
    ends = rng.uniform(-8, 8, (2, 3)) * [1, 1, rng.choice([0.0, 0.001, 0.1, 0.4, 3.0])]
    if rng.random() < 0.1:
        ends[1, :2] = ends[0, :2]
    return line(ends[0], ends[1], tool)


def random_arc(rng, tool, plane=17):
    """Short, half, whole and any other turn, smaller and larger than the cutter, flat or helical."""
    sweep = rng.choice([rng.uniform(0.05, 2 * np.pi), np.pi, 2 * np.pi]) * rng.choice([-1, 1])
    third = rng.uniform(-3, 3, 2) * rng.choice([1.0, 0.2, 4.0])
    if rng.random() < 0.4:
        third[1] = third[0]
    radius = rng.choice([rng.uniform(0.05, 2), rng.uniform(2, 9), 3.0])
    return arc(rng.uniform(-5, 5, 2), radius, rng.uniform(-4, 4), sweep, third, tool, plane)


def random_upright(rng, tool):
    """An arc in the XZ or the YZ plane."""
    return random_arc(rng, tool, int(rng.choice([18, 19])))


def points_near(rng, moves, n):
    """Points (n, 2) within or just beyond reach of a move, on a grid of 1e-6 mm."""
    tips = naive.path(moves, 0, 50)[rng.integers(0, 50, n), :2]
    return np.round(tips + rng.uniform(-2.6, 2.6, (n, 2)), 6)


def check_precise(moves, tool, points, cutters=CUTTERS):
    """Assert the stated accuracy; return the greatest error where the slope is at most 2."""
    cutter = cutters[tool]
    exact = heights(points, moves, cutters)
    truth = precise.lowest(points, moves, 0, cutter)
    ring = 9e-7 * np.array([(np.cos(t), np.sin(t)) for t in np.arange(8) * np.pi / 4])
    worst = 0.0
    for point, g, reference in zip(points, exact, truth, strict=True):
        if np.isinf(g) and np.isinf(reference):
            continue
        step = 1e-5
        around = heights(point + step * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]), moves, cutters)
        is_gentle = np.isfinite(around).all() and np.isfinite(g) and np.abs(around - g).max() <= 2 * step
        if is_gentle:
            worst = max(worst, abs(g - reference))
        elif not abs(g - reference) <= 1e-9:
            near = np.append(precise.lowest(point + ring, moves, 0, cutter), reference)
            assert near.min() - 1e-9 <= g <= near.max() + 1e-9
    assert worst <= 1e-5
    return worst
