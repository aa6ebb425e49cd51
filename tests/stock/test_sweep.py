"""Heights at points: against sampling, against high-precision search, and cases known on paper."""

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.cut import cut_heights
from tests.stock import naive, precise

CUTTERS = {0: Cutter(0, "flat", 6.0), 1: Cutter(1, "ball", 6.0), 2: Cutter(2, "drill", 6.0)}
HIGH = 1e6
# The rim is 1e-9 mm too wide on purpose: 2e-9 mm of height at a slope of 2; the rest is rounding.
TIGHT = 2.5e-9


def line(a, b, tool):
    return make_moves(kind=[LINE], start=[a], end=[b], tool=[tool])


def arc(centre, r, theta, sweep, z0, z1, tool):
    ends = [
        [centre[0] + r * np.cos(t), centre[1] + r * np.sin(t), z]
        for t, z in ((theta, z0), (theta + sweep, z1))
    ]
    return make_moves(kind=[ARC], start=ends[:1], end=ends[1:], centre=[centre], sweep=[sweep], tool=[tool])


def heights(points, moves):
    """Heights with +inf where nothing was cut."""
    z, rows = cut_heights(np.asarray(points, float), moves, CUTTERS, IDENTITY, HIGH)
    return np.where(rows < 0, np.inf, z)


def random_line(rng, tool):
    ends = rng.uniform(-8, 8, (2, 3)) * [1, 1, rng.choice([0.0, 0.1, 0.4, 3.0])]
    if rng.random() < 0.1:
        ends[1, :2] = ends[0, :2]
    return line(ends[0], ends[1], tool)


def random_arc(rng, tool):
    sweep = rng.choice([rng.uniform(0.05, 2 * np.pi), np.pi, 2 * np.pi]) * rng.choice([-1, 1])
    z0, z1 = rng.uniform(-3, 3, 2) * rng.choice([1.0, 0.2, 4.0])
    if rng.random() < 0.3:
        z1 = z0
    radius = rng.choice([rng.uniform(0.05, 2), rng.uniform(2, 9), 3.0])
    return arc(rng.uniform(-5, 5, 2), radius, rng.uniform(-4, 4), sweep, z0, z1, tool)


@pytest.mark.parametrize("tool", [0, 1, 2])
@pytest.mark.parametrize("make", [random_line, random_arc])
def test_heights__never_above_a_sampled_walk_and_close_below_it(make, tool):
    rng = np.random.default_rng(10 + tool)
    n = 2001
    for _ in range(40):
        moves = make(rng, tool)
        points = np.round(rng.uniform(-12, 12, (40, 2)), 6)
        exact, sampled = heights(points, moves), naive.sampled_floor(points, moves, CUTTERS, n)
        is_met = np.isfinite(sampled)
        assert (exact[is_met] <= sampled[is_met] + 1e-9).all()
        # The nearest sample is half a step h off: in z by the climb over h, and in the profile by what a
        # ball rises when its distance grows by h, at most sqrt(2 R h) at the rim.  A flat cutter and a
        # drill point jump at the rim, where a sample may miss the end of the pass by sqrt(2 R h) of path.
        h = naive.longest_step(moves, n) / 2
        climb = abs(moves.end[0, 2] - moves.start[0, 2]) / max(moves.length()[0], 1e-9)
        bound = h + (1.0 + climb) * np.sqrt(2 * 3.0 * h)
        assert (sampled[is_met] - exact[is_met]).max(initial=0) <= bound
        # A point that the samples miss is met by the exact sweep only within half a step of the rim.
        missed = points[~is_met & np.isfinite(exact)]
        if len(missed):
            tips = naive.path(moves, 0, n)[:, :2]
            nearest = np.linalg.norm(tips[None] - missed[:, None], axis=2).min(axis=1)
            assert (nearest <= 3.0 + h).all()


def check_precise(moves, tool, points):
    """Assert the stated accuracy; return the greatest error where the slope is at most 2."""
    cutter = CUTTERS[tool]
    exact = heights(points, moves)
    truth = precise.lowest(points, moves, 0, cutter)
    ring = 9e-7 * np.array([(np.cos(t), np.sin(t)) for t in np.arange(8) * np.pi / 4])
    worst = 0.0
    for point, g, reference in zip(points, exact, truth, strict=True):
        if np.isinf(g) and np.isinf(reference):
            continue
        step = 1e-5
        around = heights(point + step * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]), moves)
        is_gentle = np.isfinite(around).all() and np.isfinite(g) and np.abs(around - g).max() <= 2 * step
        if is_gentle:
            worst = max(worst, abs(g - reference))
        else:
            near = np.append(precise.lowest(point + ring, moves, 0, cutter), reference)
            assert near.min() - 1e-9 <= g <= near.max() + 1e-9
    assert worst <= 1e-5
    return worst


@pytest.mark.parametrize("tool", [0, 1, 2])
@pytest.mark.parametrize("make", [random_line, random_arc])
def test_heights__within_their_stated_error_of_a_40_digit_search(make, tool):
    rng = np.random.default_rng(100 + tool)
    worst = 0.0
    for _ in range(4):
        moves = make(rng, tool)
        tips = naive.path(moves, 0, 50)[rng.integers(0, 50, 5), :2]
        points = np.round(tips + rng.uniform(-2.6, 2.6, (5, 2)), 6)
        worst = max(worst, check_precise(moves, tool, points))
    assert worst <= TIGHT


@pytest.mark.parametrize("tool", [0, 1, 2])
@pytest.mark.parametrize("climb", [0.02, 0.4, 2.5, 12.0])
def test_heights__whole_turn_helix_passed_twice(tool, climb):
    """Near the seam of a whole turn a point sees the start and the end: two minima."""
    for sense in (1, -1):
        moves = arc((0.0, 0.0), 4.0, 0.3, sense * 2 * np.pi, 1.0, 1.0 - climb, tool)
        points = np.round([[4 * np.cos(a), 4 * np.sin(a)] for a in (0.1, 0.3, 0.35, 0.7, -0.4)], 6)
        assert check_precise(moves, tool, points) <= TIGHT


@pytest.mark.parametrize("tool", [0, 1, 2])
def test_heights__helix_smaller_than_its_cutter(tool):
    """The cutter covers the centre all the way round (a bored hole)."""
    moves = arc((0.5, 0.25), 1.25, -1.0, 1.9 * np.pi, 2.0, 1.0, tool)
    points = np.array([[0.5, 0.25], [0.5, 0.26], [0.9, 0.0], [1.5, 1.25], [-2.75, 0.25], [0.5, -3.5]])
    assert check_precise(moves, tool, points) <= TIGHT


def test_heights__drill_point_as_steep_as_its_path():
    k = CUTTERS[2].rise
    for slope in (k, -1.5 * k, 0.99999 * k):
        moves = line([0, 0, 0], [8, 0, 8 * slope], 2)
        points = np.array([[4.0, 0.0], [4.0, 1.0], [0.0, 0.0], [-1.5, -2.0]])
        assert check_precise(moves, 2, points) <= TIGHT


@pytest.mark.parametrize("tool", [0, 1, 2])
def test_heights__moves_without_plan_length_stand_at_the_low_end(tool):
    points = np.array([[1.0, 2.0], [2.5, 2.0], [1.0, -0.75], [4.25, 2.0]])
    profile = CUTTERS[tool].profile(np.array([0.0, 1.5, 2.75, 3.25]))
    for a, b in (([1, 2, 5], [1, 2, -1]), ([1, 2, -1], [1, 2, 5]), ([1, 2, -1], [1, 2, -1])):
        assert heights(points, line(a, b, tool)) == pytest.approx(profile - 1, abs=1e-12)
    tiny = line([1, 2, 5], [1 + 1e-10, 2, -1], tool)
    assert heights(points, tiny) == pytest.approx(profile - 1, abs=1e-9)
    point = make_moves(
        kind=[ARC], start=[[1, 2, 5]], end=[[1, 2, -1]], centre=[[1, 2]], sweep=[1.0], tool=[tool]
    )
    assert heights(points, point) == pytest.approx(profile - 1, abs=1e-12)


@pytest.mark.parametrize("tool", [0, 1, 2])
def test_heights__a_rim_on_paper_is_covered_and_beyond_it_is_not(tool):
    """Decimal coordinates that touch the rim exactly on paper count as covered, whatever they round to."""
    rim = float(CUTTERS[tool].profile(3.0))
    for y in np.round(np.arange(0.05, 20, 0.7), 2):
        moves = line([0, y, 0], [5, y, 0], tool)
        on = np.round([[2.5, y + 3], [2.5, y - 3], [-3, y], [8, y]], 2)
        # A ball is vertical at its rim: 1e-9 mm in plan are sqrt(2 R 1e-9) = 8e-5 mm there.
        assert np.abs(heights(on, moves) - rim).max() <= 1e-4
        beyond = on + np.array([[0, 1e-6], [0, -1e-6], [-1e-6, 0], [1e-6, 0]])
        assert np.isinf(heights(beyond, moves)).all()
        circle = arc((2.5, y), 4.0, 0.0, 2 * np.pi, 0.0, 0.0, tool)
        on = np.round([[9.5, y], [-4.5, y], [2.5, y + 7], [2.5, y + 1], [3.5, y]], 2)
        assert np.abs(heights(on, circle) - rim).max() <= 1e-4
        beyond = on + 1e-6 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1], [-1, 0]])
        assert np.isinf(heights(beyond, circle)).all()


@pytest.mark.parametrize("sweep", [0.3, np.pi, 4.0, 2 * np.pi, -np.pi, -5.0, -2 * np.pi])
def test_heights__level_arc_depends_on_the_nearest_place_of_the_path(sweep):
    moves = arc((1.0, -2.0), 5.0, 0.7, sweep, -1.5, -1.5, 1)
    rng = np.random.default_rng(3)
    points = np.round(rng.uniform(-9, 9, (150, 2)) + moves.centre, 6)
    # Exactly opposite the start, at the centre, and straight behind the ends.
    points = np.concatenate(
        [points, [[1.0, -2.0]], np.round([[1 - 5 * np.cos(0.7), -2 - 5 * np.sin(0.7)]], 6)]
    )
    tips = naive.path(moves, 0, 20_001)[:, :2]
    nearest = np.array([np.linalg.norm(tips - p, axis=1).min() for p in points])
    # A sampled distance is too long by at most step^2 / (8 distance), 4e-7 mm at the rim.
    is_clear = np.abs(nearest - 3) > 1e-6
    assert np.array_equal(np.isfinite(heights(points, moves))[is_clear], (nearest < 3)[is_clear])
    is_inside = (nearest < 2.9) & (nearest > 0.01)
    expected = -1.5 + 3 - np.sqrt(9 - nearest[is_inside] ** 2)
    assert heights(points[is_inside], moves) == pytest.approx(expected, abs=1e-5)


def test_heights__cusp_between_parallel_passes_of_a_ball():
    """Cusp height R - sqrt(R^2 - s^2 / 4): R = 3, s = 0.6 gives 0.01503768868 (circle geometry)."""
    starts = [[0, 0.6 * i, 0] for i in range(5)]
    ends = [[10, 0.6 * i, 0] for i in range(5)]
    moves = make_moves(start=starts, end=ends, tool=np.ones(5))
    z, _ = cut_heights(np.array([[5.0, 0.3], [2.2, 1.5], [5.0, 0.6]]), moves, CUTTERS, IDENTITY, 9.0)
    assert z == pytest.approx([0.01503768868, 0.01503768868, 0.0], abs=2e-11)


def test_heights__cusp_on_a_plane_tilted_across_the_passes():
    """Passes s = 0.6 apart in plan on a plane of 30 degrees: cusp along z 0.02317150832 (derived from the
    same circle geometry, spacing s / cos t along the plane)."""
    tan, cos = np.tan(np.pi / 6), np.cos(np.pi / 6)
    # A ball whose tip stands R / cos t - R above the plane touches it R sin t = 1.5 mm up the slope.
    y = 0.6 * np.arange(6)
    tip = y * tan + 3 / cos - 3
    moves = make_moves(
        start=np.stack([0 * y, y, tip], 1), end=np.stack([0 * y + 9, y, tip], 1), tool=np.ones(6)
    )
    low, high = 2.1, 2.7
    for _ in range(3):
        across = np.round(np.linspace(low, high, 601), 9)
        z, _ = cut_heights(np.stack([0 * across + 4, across], 1), moves, CUTTERS, IDENTITY, 50.0)
        ridge = across[np.argmax(z - across * tan)]
        low, high = ridge - (high - low) / 300, ridge + (high - low) / 300
    assert (z - across * tan).max() == pytest.approx(0.02317150832, abs=1e-8)
