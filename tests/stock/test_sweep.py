"""Heights at points: against sampling, against high-precision search, and cases known on paper."""

import numpy as np
import pytest

from simkit.frames import IDENTITY
from simkit.moves.table import ARC, make_moves
from simkit.stock.cut import cut_heights
from tests.stock import naive
from tests.stock.some_moves import (
    CUTTERS,
    SHAPES,
    arc,
    check_precise,
    heights,
    line,
    points_near,
    random_arc,
    random_line,
    random_upright,
)

# The rim is 1e-9 mm too wide on purpose: that is 2e-9 mm of height at a slope of 2; the rest is rounding.
TIGHT = 2.5e-9
# A minimum found by search is at most 1e-7 mm too high by proof (curve_kernels), and in practice:
SEARCHED = 5e-9


@pytest.mark.parametrize("tool", SHAPES)
@pytest.mark.parametrize("make", [random_line, random_arc, random_upright])
def test_heights__never_above_a_sampled_walk_and_close_below_it(make, tool):
    rng = np.random.default_rng(10 + tool)
    n, cutter = 2001, CUTTERS[tool]
    steepest = np.diff(cutter.profile(np.linspace(0, 2.9, 400))).max() / (2.9 / 399)
    for _ in range(16):
        moves = make(rng, tool)
        points = np.round(rng.uniform(-12, 12, (40, 2)), 6)
        exact, sampled = heights(points, moves), naive.sampled_floor(points, moves, CUTTERS, n)
        is_met = np.isfinite(sampled)
        assert (exact[is_met] <= sampled[is_met] + 1e-7).all()
        # The nearest sample is half a step h off: in z by the climb over h, and in the profile by its slope,
        # or by what a ball rises when its distance grows by h, at most sqrt(2 R h) at the rim.  A flat
        # cutter and a cone jump at the rim, where a sample may miss the end of the pass by sqrt(2 R h).
        h = naive.longest_step(moves, n) / 2
        climb = abs(moves.end[0, 2] - moves.start[0, 2]) / max(moves.length()[0], 1e-9)
        climb = 1.0 if moves.plane[0] != 17 else climb
        bound = (1.0 + steepest) * h + (1.0 + climb) * np.sqrt(2 * 3.0 * h)
        assert (sampled[is_met] - exact[is_met]).max(initial=0) <= bound
        # A point that the samples miss is met by the exact sweep only within half a step of the rim.
        missed = points[~is_met & np.isfinite(exact)]
        if len(missed):
            tips = naive.path(moves, 0, n)[:, :2]
            nearest = np.linalg.norm(tips[None] - missed[:, None], axis=2).min(axis=1)
            assert (nearest <= 3.0 + h).all()


@pytest.mark.parametrize("tool", CUTTERS)
@pytest.mark.parametrize("make", [random_line, random_arc, random_upright])
def test_heights__within_their_stated_error_of_a_40_digit_search(make, tool):
    rng = np.random.default_rng(100 + tool)
    for _ in range(3):
        moves = make(rng, tool)
        assert check_precise(moves, tool, points_near(rng, moves, 4)) <= SEARCHED


@pytest.mark.parametrize("tool", [0, 1, 2])
@pytest.mark.parametrize("climb", [0.02, 0.4, 2.5, 12.0])
def test_heights__whole_turn_helix_passed_twice(tool, climb):
    """Near the seam of a whole turn a point sees the start and the end: two minima."""
    for sense in (1, -1):
        moves = arc((0.0, 0.0), 4.0, 0.3, sense * 2 * np.pi, (1.0, 1.0 - climb), tool)
        points = np.round([[4 * np.cos(a), 4 * np.sin(a)] for a in (0.1, 0.3, 0.35, 0.7, -0.4)], 6)
        assert check_precise(moves, tool, points) <= TIGHT


@pytest.mark.parametrize("tool", SHAPES)
def test_heights__helix_smaller_than_its_cutter(tool):
    """The cutter covers the centre all the way round (a bored hole)."""
    moves = arc((0.5, 0.25), 1.25, -1.0, 1.9 * np.pi, (2.0, 1.0), tool)
    points = np.array([[0.5, 0.25], [0.5, 0.26], [0.9, 0.0], [1.5, 1.25], [-2.75, 0.25], [0.5, -3.5]])
    assert check_precise(moves, tool, points) <= SEARCHED


@pytest.mark.parametrize(
    ("tool", "k"), [(2, 0.6008606190275604), (6, 1.0), (5, 3**0.5), (4, 5.671281819617709)]
)
def test_heights__a_path_as_steep_as_the_side_of_its_cutter(tool, k):
    """k: slope of the straight piece, 1 / tan of half its angle (59, 45, 30 degrees, taper 10)."""
    for slope in (k, -1.5 * k, 0.99999 * k):
        moves = line([0, 0, 0], [8, 0, 8 * slope], tool)
        points = np.array([[4.0, 0.0], [4.0, 1.0], [0.0, 0.0], [-1.5, -2.0], [4.0, 2.75], [7.5, 0.25]])
        assert check_precise(moves, tool, points) <= TIGHT


@pytest.mark.parametrize("tool", SHAPES)
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


@pytest.mark.parametrize("tool", SHAPES)
def test_heights__a_rim_on_paper_is_covered_and_beyond_it_is_not(tool):
    """Decimal coordinates that touch the rim exactly on paper count as covered, whatever they round to."""
    rim = float(CUTTERS[tool].profile(np.array(CUTTERS[tool].radius)))
    for y in np.round(np.arange(0.05, 20, 0.7), 2):
        moves = line([0, y, 0], [5, y, 0], tool)
        on = np.round([[2.5, y + 3], [2.5, y - 3], [-3, y], [8, y]], 2)
        # A ball is vertical at its rim: 1e-9 mm in plan are sqrt(2 R 1e-9) = 8e-5 mm there.
        assert np.abs(heights(on, moves) - rim).max() <= 1e-4
        beyond = on + np.array([[0, 1e-6], [0, -1e-6], [-1e-6, 0], [1e-6, 0]])
        assert np.isinf(heights(beyond, moves)).all()
        circle = arc((2.5, y), 4.0, 0.0, 2 * np.pi, (0.0, 0.0), tool)
        on = np.round([[9.5, y], [-4.5, y], [2.5, y + 7], [2.5, y + 1], [3.5, y]], 2)
        assert np.abs(heights(on, circle) - rim).max() <= 1e-4
        beyond = on + 1e-6 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1], [-1, 0]])
        assert np.isinf(heights(beyond, circle)).all()


@pytest.mark.parametrize("sweep", [0.3, np.pi, 4.0, 2 * np.pi, -np.pi, -5.0, -2 * np.pi])
def test_heights__level_arc_depends_on_the_nearest_place_of_the_path(sweep):
    moves = arc((1.0, -2.0), 5.0, 0.7, sweep, (-1.5, -1.5), 1)
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
