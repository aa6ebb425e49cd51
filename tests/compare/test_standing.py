"""Standing features of constructed fields: thickness and height are known by construction."""

import numpy as np
import pytest

from simkit.compare.standing import StandingWatch, stage_ends, standing_features
from simkit.errors import ShapeError
from simkit.stock.field import Field, blank_field, blank_lattice

LATTICE = blank_lattice(60, 50, 0.4)
X, Y = np.meshgrid(LATTICE.x(), LATTICE.y())
TOP, GROUND = 30.0, 5.0


def carved(is_low, ground=GROUND, is_gone=None):
    """A blank 60 x 50 x 30 with a ground cut where is_low holds, and nothing where is_gone does."""
    field = blank_field(LATTICE, 60, 50, TOP)
    upper = np.where(is_low, np.float32(ground), field.upper)
    if is_gone is not None:
        upper = np.where(is_gone, np.float32(0), upper)
    return Field(LATTICE, field.lower, upper, field.lower_move, field.upper_move)


def turned_over(field):
    return Field(
        field.lattice,
        (TOP - field.upper).astype(np.float32),
        (TOP - field.lower).astype(np.float32),
        field.upper_move,
        field.lower_move,
    )


@pytest.mark.parametrize("thickness", [2.0, 3.0])
def test_rib__that_ends_free_stands_its_height_over_its_thickness(thickness):
    is_rib = (np.abs(X - 30) < thickness / 2) & (np.abs(Y - 25) < 15)
    (rib,) = standing_features(carved(~is_rib), 6.0, 5.0)
    assert rib.height == pytest.approx(TOP - GROUND)
    assert rib.ratio == pytest.approx((TOP - GROUND) / thickness, abs=rib.bound)
    assert rib.lever == rib.height
    assert np.abs(rib.run) == pytest.approx((0, 1), abs=0.02)
    assert rib.length == pytest.approx(30, abs=2 * thickness)
    assert rib.at[0] == pytest.approx(30, abs=0.5)
    assert rib.at[2] == TOP
    assert rib.is_up


@pytest.mark.parametrize("cell", [0.2, 0.3])
@pytest.mark.parametrize("first", [30.0, 30.1, 30.2, 30.3, 30.45])
def test_rib__wherever_its_faces_fall_among_the_cells(cell, first):
    lattice = blank_lattice(60, 50, cell)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    is_rib = (x > first) & (x < first + 1.0) & (np.abs(y - 25) < 15)
    blank = blank_field(lattice, 60, 50, TOP)
    upper = np.where(is_rib, blank.upper, np.float32(18.0))
    field = Field(lattice, blank.lower, upper, blank.lower_move, blank.upper_move)
    for one in (field, turned_over(field)):
        (rib,) = standing_features(one, 8.0, 3.0)
        # Its width is known to a cell.
        assert 12.0 / (1.0 + 2 * cell) <= rib.ratio <= 12.0 / (1.0 - cell) + 0.1
        assert rib.length == pytest.approx(30, abs=2.0)


def test_rib__held_at_both_ends_leans_no_farther_than_half_its_length():
    is_pocket = (np.abs(X - 30) < 20) & (np.abs(Y - 25) < 6)
    is_rib = np.abs(X - 30) < 1.0
    (rib,) = standing_features(carved(is_pocket & ~is_rib), 2.0, 5.0)
    assert rib.height == pytest.approx(TOP - GROUND)
    assert rib.lever == pytest.approx(6.0, abs=1.0)


def test_web__beside_a_bored_hole_is_no_standing_feature():
    is_hole = np.hypot(X - 5.0, Y - 25.0) < 3.0  # a web of 2 mm to the edge of the blank
    assert standing_features(carved(is_hole & False, is_gone=is_hole), 6.0, 5.0) == []


def test_spire__square_post_is_as_slender_as_it_is():
    is_post = (np.abs(X - 30) < 2.0) & (np.abs(Y - 25) < 2.0)
    (post,) = standing_features(carved(~is_post), 5.0, 5.0)
    assert post.ratio == pytest.approx((TOP - GROUND) / 4.0, abs=post.bound)


def test_wall__open_on_one_side_stands_on_the_floor_of_the_other():
    is_tray = (np.abs(X - 30) < 25) & (np.abs(Y - 25) < 20)
    is_outside = (np.abs(X - 30) > 27.4) | (np.abs(Y - 25) > 22.4)
    rims = standing_features(carved(is_tray, is_gone=is_outside), 6.0, 5.0)
    assert len(rims) == 1
    assert rims[0].height == pytest.approx(TOP - GROUND)
    assert rims[0].thickness == pytest.approx(2.4, abs=0.5)


def test_thick_or_low__features_are_not_told():
    is_thick = np.abs(X - 30) < 5.0
    assert standing_features(carved(~is_thick), 4.0, 6.0) == []
    is_rib = np.abs(X - 30) < 1.5
    assert standing_features(carved(~is_rib, ground=24.0), 4.0, 6.0) == []


def test_turned_over__hangs_as_it_stood():
    is_rib = (np.abs(X - 30) < 1.5) & (np.abs(Y - 25) < 15)
    (up,) = standing_features(carved(~is_rib), 6.0, 5.0)
    (down,) = standing_features(turned_over(carved(~is_rib)), 6.0, 5.0)
    assert not down.is_up
    assert down.at[2] == 0.0
    assert (down.ratio, down.height, down.length) == pytest.approx((up.ratio, up.height, up.length), rel=1e-4)


def test_watch__a_rib_that_is_cut_away_later_is_told_at_its_moment():
    is_rib = np.abs(X - 30) < 1.5
    watch = StandingWatch(6.0, 5.0)
    watch.look(carved(~is_rib, ground=12.0), 3)
    watch.look(carved(~is_rib), 7)
    watch.look(carved(np.ones_like(is_rib)), 9)
    (stood,) = watch.stood()
    assert (stood.last_row, stood.is_left) == (7, False)
    assert stood.feature.height == pytest.approx(TOP - GROUND)


def test_watch__a_rib_that_stays_is_told_once_and_as_left():
    is_rib = np.abs(X - 30) < 1.5
    watch = StandingWatch(6.0, 5.0)
    watch.look(carved(~is_rib), 7)
    watch.look(carved(~is_rib), 9)
    (stood,) = watch.stood()
    assert (stood.last_row, stood.is_left) == (7, True)


def test_stage_ends__after_each_run_of_a_cutter_and_each_setup():
    tools = np.array([1, 1, 2, 2, 1, 1, 1])
    assert stage_ends(tools, [slice(0, 5), slice(5, 7)]) == [2, 4, 5, 7]
    assert stage_ends(tools, [slice(0, 0), slice(0, 7)]) == [2, 4, 7]


@pytest.mark.parametrize(("ratio", "thickest"), [(0.5, 4.0), (8.0, 0.0)])
def test_standing_features__refuses_limits_that_mean_nothing(ratio, thickest):
    with pytest.raises(ShapeError, match="ratio"):
        standing_features(carved(X < 0), ratio, thickest)


def test_watch__a_blade_free_at_both_ends_is_told_once():
    is_blade = (np.abs(X - 30) < 1.2) & (np.abs(Y - 25) < 15)
    is_frame = (np.abs(X - 30) > 20) | (np.abs(Y - 25) > 20)
    field = carved(is_blade & False, is_gone=~(is_blade | is_frame))
    lower = np.where(is_blade, np.float32(4.0), field.lower)  # side 2 has cut too
    field = Field(LATTICE, lower, field.upper, field.lower_move, field.upper_move)
    assert [one.is_up for one in standing_features(field, 6.0, 5.0)] == [True, False]
    watch = StandingWatch(6.0, 5.0)
    watch.look(field, 7)
    (stood,) = watch.stood()
    assert stood.feature.is_up
    assert stood.feature.height == pytest.approx(TOP - 4.0)


def test_watch__ribs_above_and_below_one_web_are_two():
    is_rib = (np.abs(X - 30) < 1.2) & (np.abs(Y - 25) < 15)
    field = blank_field(LATTICE, 60, 50, TOP)
    lower = np.where(is_rib, np.float32(0), np.float32(13))
    upper = np.where(is_rib, np.float32(TOP), np.float32(17))
    watch = StandingWatch(4.0, 5.0)
    watch.look(Field(LATTICE, lower, upper, field.lower_move, field.upper_move), 7)
    assert sorted(one.feature.is_up for one in watch.stood()) == [False, True]


def test_rib__thinner_than_cells_can_tell_has_no_bound_but_a_least_ratio():
    is_rib = (np.abs(X - 30.0) < 0.3) & (np.abs(Y - 25) < 15)
    (rib,) = standing_features(carved(~is_rib), 6.0, 5.0)
    assert rib.thickness_bound > rib.thickness / 2
    assert rib.bound == np.inf
    assert rib.lever / (rib.thickness + rib.thickness_bound) > 6.0
