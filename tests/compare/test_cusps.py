"""Ridges between passes: constructed passes on a floor, on slopes, round a bowl, against closed forms."""

import numpy as np
import pytest

from simkit.compare.cusps import cusps
from simkit.compare.cusps_paths import nearest_on, plan_paths
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.frames import IDENTITY, turned
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import Lattice, blank_field
from simkit.target.envelope import envelopes
from tests.compare.parts import box, grid_of, prism

LENGTH, WIDTH, THICK = 30.0, 24.0, 14.0
LATTICE = Lattice((0.0, 0.0), 0.2, 150, 120)
BALL, FLAT = Cutter(1, "ball", 6.0), Cutter(2, "flat", 6.0)


def lines(starts, ends, tool):
    return make_moves(
        kind=[LINE] * len(starts), start=starts, end=ends, tool=[tool] * len(starts), programs=("p",)
    )


def measured(moves, part, frame=IDENTITY, lattice=LATTICE, corner=None, **more):
    cutters = {1: BALL, 2: FLAT}
    field = cut(blank_field(lattice, LENGTH, WIDTH, THICK), moves, cutters, frame).field
    start = THICK if frame.up > 0 else 0.0
    around = envelopes(grid_of(part), lattice)
    options = {"widest": 6.0, "proud": 0.3} | more
    return cusps(
        field,
        around,
        1 if frame.up > 0 else 2,
        plan_paths(moves, [slice(0, len(moves))], [frame]),
        lambda points: cut_heights(points, moves, cutters, frame, start)[0],
        np.zeros(lattice.shape, bool) if corner is None else corner,
        **options,
    )


def along_x(tips, z, tool):
    """Passes along x at the given y, tips at heights z."""
    ones = np.ones(len(tips))
    return lines(
        np.column_stack([-5 * ones, tips, z * ones]), np.column_stack([40 * ones, tips, z * ones]), tool
    )


@pytest.mark.parametrize("stepover", [0.5, 0.83, 2.0])
def test_cusps__ball_on_a_floor(stepover):
    # h = R - sqrt(R^2 - s^2 / 4), textbook circle geometry.
    found = measured(along_x(np.arange(-4, 30, stepover), 8.0, 1), box((1, 1, 0), (29, 23, 8)))
    exact = 3 - np.sqrt(9 - stepover**2 / 4)
    assert len(found.height) > 300
    assert (np.abs(found.height - exact) <= found.bound + 1e-6).all()
    assert found.bound.max() < 0.105 * exact + 1e-6  # a 48th of the stepover, down the flank
    assert found.stepover == pytest.approx(stepover, abs=1e-9)
    assert np.minimum(found.direction, 180 - found.direction) == pytest.approx(0.0, abs=1e-9)
    # Between two arcs and the line under them: R s - s/2 sqrt(R^2 - s^2 / 4) - R^2 asin(s / 2R), over s.
    half = stepover / 2
    area = 3 * stepover - half * np.sqrt(9 - half**2) - 9 * np.arcsin(half / 3)
    assert found.mean == pytest.approx(area / stepover, rel=0.05)
    assert found.at[:, 2] == pytest.approx(8 + exact, abs=found.bound.max() + 1e-6)


@pytest.mark.parametrize("degrees", [30.0, 60.0])
def test_cusps__ball_on_a_slope(degrees):
    # Normal to a slope of angle t: R - sqrt(R^2 - (s / (2 cos t))^2); the ball touches it R / cos t - R below
    # the plane's distance along z.
    t = np.radians(degrees)
    low = 2.0
    part = prism([(20, 0), (26, 0), (26, low + 6 * np.tan(t)), (20, low)], 1, 23)
    x = np.arange(16, 32, 0.6)
    z = low + (x - 20) * np.tan(t) + 3 / np.cos(t) - 3
    starts = np.column_stack([x, -5 + 0 * x, z])
    ends = np.column_stack([x, 30 + 0 * x, z])
    found = measured(lines(starts, ends, 1), part)
    is_slope = (found.at[:, 0] > 21) & (found.at[:, 0] < 25)
    assert is_slope.sum() > 50
    exact = 3 - np.sqrt(9 - (0.6 / (2 * np.cos(t))) ** 2)
    if degrees == 30.0:
        assert exact == pytest.approx(0.02006711485, abs=1e-9)
    assert (np.abs(found.height - exact) <= found.bound + 1e-6)[is_slope].all()
    assert found.direction[is_slope] == pytest.approx(90.0)
    assert found.across[is_slope] == pytest.approx(np.tan(t), abs=1e-6)


def test_cusps__flat_cutter_on_a_slope_leaves_a_stair():
    # s sin t normal to the plane.
    t = np.radians(20.0)
    part = prism([(1, 0), (29, 0), (29, 2 + 28 * np.tan(t)), (1, 2)], 1, 23)
    x = np.arange(-4, 36, 0.7)
    z = 2 + (x + 3 - 1) * np.tan(t)  # the uphill rim touches
    found = measured(lines(np.column_stack([x, 0 * x - 5, z]), np.column_stack([x, 0 * x + 30, z]), 2), part)
    is_inside = (found.at[:, 0] > 3) & (found.at[:, 0] < 26)
    assert is_inside.sum() > 200
    assert (np.abs(found.height - 0.7 * np.sin(t)) <= found.bound + 1e-6)[is_inside].all()
    assert found.stepover[is_inside] == pytest.approx(0.7)


def test_cusps__flat_cutter_on_a_floor_leaves_none():
    found = measured(along_x(np.arange(-4, 30, 2.5), 8.0, 2), box((1, 1, 0), (29, 23, 8)))
    assert len(found.height)
    assert found.height == pytest.approx(0.0, abs=1e-9)


def test_cusps__circular_passes():
    # Rings about the middle, 0.6 mm apart: the ridge of straight passes, their direction round the middle.
    rings = np.arange(1.0, 11.0, 0.6)
    moves = make_moves(
        kind=[ARC] * len(rings),
        start=np.column_stack([15 + rings, 12 + 0 * rings, 8 + 0 * rings]),
        end=np.column_stack([15 + rings, 12 + 0 * rings, 8 + 0 * rings]),
        centre=np.tile([15.0, 12.0], (len(rings), 1)),
        sweep=np.full(len(rings), 2 * np.pi),
        tool=[1] * len(rings),
        programs=("p",),
    )
    found = measured(moves, box((1, 1, 0), (29, 23, 8)))
    r = np.hypot(found.at[:, 0] - 15, found.at[:, 1] - 12)
    is_ring = (r > 2) & (r < 9)
    exact = 3 - np.sqrt(9 - 0.3**2)
    assert (np.abs(found.height - exact) <= found.bound + 1e-4)[is_ring].all()
    round_about = np.degrees(np.arctan2(found.at[:, 1] - 12, found.at[:, 0] - 15)) + 90
    off = (found.direction - round_about + 90) % 180 - 90
    assert np.abs(off[is_ring]).max() < 15  # the site lies up to a stepover beside its ridge


def test_cusps__from_side_2_is_the_same():
    frame = turned("about x", LENGTH, WIDTH, THICK)
    moves = along_x(np.arange(-4, 30, 0.83), 8.0, 1)
    found = measured(moves, box((1, 1, 6), (29, 23, 14)), frame=frame)
    assert (np.abs(found.height - (3 - np.sqrt(9 - 0.83**2 / 4))) <= found.bound + 1e-6).all()
    assert found.at[:, 2] == pytest.approx(6.0, abs=0.05)


def test_cusps__a_missing_pass_is_the_worst_and_is_found():
    # One pass left out: there the passes lie 1.2 mm apart over the whole length.
    tips = np.delete(np.arange(-4, 30, 0.6), 25)
    found = measured(along_x(tips, 8.0, 1), box((1, 1, 0), (29, 23, 8)))
    worst = int(np.argmax(found.height))
    exact = 3 - np.sqrt(9 - 0.6**2)
    assert found.height[worst] == pytest.approx(exact, abs=found.bound[worst] + 1e-6)
    assert found.stepover[worst] == pytest.approx(1.2)
    assert found.at[worst, 1] == pytest.approx(-4 + 25 * 0.6, abs=0.05)
    usual = np.median(found.height[found.is_even])
    assert usual == pytest.approx(3 - np.sqrt(9 - 0.3**2), abs=0.001)


def test_cusps__not_where_cutters_or_patterns_meet_nor_in_corners_nor_where_nothing_is_finished():
    part = box((1, 1, 0), (29, 23, 8))
    # The back half by another cutter, 0.1 mm higher: no ridge is told across the border.
    back = along_x(np.arange(12.0, 30, 0.6), 8.1, 2)
    front = along_x(np.arange(-4, 9.0, 0.6), 8.0, 1)
    both = make_moves(
        kind=[LINE] * (len(back) + len(front)),
        start=np.vstack([front.start, back.start]),
        end=np.vstack([front.end, back.end]),
        tool=[1] * len(front) + [2] * len(back),
    )
    found = measured(both, part)
    assert set(np.unique(found.tool)) == {1, 2}
    assert found.height.max() < 0.03
    corner = np.zeros(LATTICE.shape, bool)
    corner[:, :75] = True
    assert measured(front, part, corner=corner).at[:, 0].min() > 15
    assert len(measured(along_x(np.arange(-4, 30, 0.6), 9.0, 1), part).height) == 0


def test_cusps__mistakes_of_the_caller():
    field = blank_field(LATTICE, LENGTH, WIDTH, THICK)
    around = envelopes(grid_of(box((1, 1, 0), (29, 23, 8))), Lattice((0.0, 0.0), 0.5, 10, 10))
    with pytest.raises(ShapeError, match="side 1 or 2"):
        cusps(field, around, 1, None, None, None, 6.0, 0.3)


def test_nearest_on__lines_and_arcs():
    moves = make_moves(
        kind=[LINE, ARC],
        start=[[0, 0, 0], [2, 0, 0]],
        end=[[10, 0, 0], [0, 2, 0]],
        centre=[[0, 0], [0, 0]],
        sweep=[0, np.pi / 2],
    )
    paths = plan_paths(moves, [slice(0, 2)], [IDENTITY])
    place, along = nearest_on(paths, np.array([0, 0, 1]), np.array([[3.0, 4.0], [-3.0, 4.0], [3.0, 4.0]]))
    assert place == pytest.approx(np.array([[3, 0], [0, 0], [1.2, 1.6]]))
    assert along == pytest.approx(np.array([[1, 0], [1, 0], [-0.8, 0.6]]))
