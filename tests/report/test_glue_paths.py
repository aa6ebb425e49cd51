"""Glue lines on maps: where planes come out of a bowl, a wall, a lip and resin, by geometry."""

from dataclasses import replace

import numpy as np
import pytest

from simkit.job.model import Blank, Layup
from simkit.report.glue_paths import glue_paths
from simkit.stock.field import UNCUT, Field, blank_lattice

BLANK = Blank(60.0, 50.0, 40.0)
STACK = Layup("along z", (20.0, 10.0, 10.0))  # glue lines at z = 20 and 30
LATTICE = blank_lattice(60, 50, 0.2)
X, Y = np.meshgrid(LATTICE.x(), LATTICE.y())
UNOWNED = np.full(LATTICE.shape, UNCUT, np.int32)


def field(lower, upper):
    lower, upper = (np.broadcast_to(part, LATTICE.shape).astype(np.float32) for part in (lower, upper))
    return Field(LATTICE, lower, upper, UNOWNED, UNOWNED)


def rings(paths, middle=(30.0, 25.0)):
    return sorted((float(np.mean(r)), float(np.ptp(r))) for r in (np.hypot(*(p - middle).T) for p in paths))


def bowl(radius=22.0):
    """A hollow ball about (30, 25, 40)."""
    return 40 - np.sqrt(np.maximum(radius**2 - (X - 30) ** 2 - (Y - 25) ** 2, 0.0))


def test_bowl__a_level_plane_comes_out_in_a_circle():
    """At z the bowl is as wide as sqrt(22 ** 2 - (40 - z) ** 2)."""
    (inner, _), (outer, _) = found = rings(glue_paths(STACK, BLANK, field(0, bowl()), 1))
    assert (inner, outer) == pytest.approx((84**0.5, 384**0.5), abs=0.01)
    assert max(spread for _, spread in found) < 0.02
    assert glue_paths(STACK, BLANK, field(0, bowl()), 2) == []
    turned = field(40 - bowl(), 40)  # the same hollow in side 2: 10 and 20 mm up
    assert rings(glue_paths(STACK, BLANK, turned, 2))[-1][0] == pytest.approx(84**0.5, abs=0.01)


def test_wall__its_own_line_to_half_a_cell():
    """A floor at 25 in front: the plane at 30 comes out in the wall at y = 20.1, that at 20 nowhere."""
    (path,) = glue_paths(STACK, BLANK, field(0, np.where(Y > 20.1, 40, 25)), 1)
    assert path[:, 1] == pytest.approx(20.1, abs=0.1001)
    assert np.ptp(path[:, 0]) == pytest.approx(59.8)


def test_hole__through_and_through_on_both_sides():
    is_gone = np.hypot(X - 30, Y - 25) < 10
    for side in (1, 2):
        found = rings(glue_paths(STACK, BLANK, field(0, np.where(is_gone, 0, 40)), side))
        assert [ring for ring, _ in found] == pytest.approx([10, 10], abs=0.1)


def test_lip__is_told_on_the_side_that_sees_it():
    """Side 2 hollowed to 35 in the right half: both planes come out below the lip, none above it."""
    lip = field(np.where(X > 30.1, 35, 0), 40)
    assert glue_paths(STACK, BLANK, lip, 1) == []
    places = [path[:, 0].mean() for path in glue_paths(STACK, BLANK, lip, 2)]
    assert places == pytest.approx([30.1, 30.1], abs=0.1001)


def test_resin__has_no_glue_line():
    """A pocket down to 15 filled to 40 hides both lines; filled to 25 it shows that at 30 in its walls."""
    is_pocket = (abs(X - 30) < 10) & (abs(Y - 25) < 8)
    whole = replace(
        field(0, 40),
        wood_upper=np.where(is_pocket, 15, np.inf).astype(np.float32),
        wood_lower=np.full(LATTICE.shape, -np.inf, np.float32),
    )
    assert glue_paths(STACK, BLANK, whole, 1) == []
    half = replace(whole, upper=np.where(is_pocket, 25, 40).astype(np.float32))
    (path,) = glue_paths(STACK, BLANK, half, 1)
    assert np.ptp(path, axis=0) == pytest.approx([20, 16], abs=0.21)


def test_shown__only_where_the_map_shows_something():
    found = glue_paths(STACK, BLANK, field(0, bowl()), 1, np.hypot(X - 30, Y - 25) < 15)
    assert [ring for ring, _ in rings(found)] == pytest.approx([84**0.5], abs=0.01)


def test_blank_that_ends_within_a_cell__has_no_line_at_its_edge():
    blank = Blank(59.85, 49.85, 40.0)
    is_wood = (X < 59.85) & (Y < 49.85)
    assert glue_paths(STACK, blank, field(0, np.where(is_wood, 40, 0)), 1) == []


def test_boards_along_y__run_straight_along_the_blank():
    upright = Layup("along y", (20.0, 30.0))
    (path,) = glue_paths(upright, BLANK, field(0, 40), 2)
    assert path.tolist() == [[0, 20], [60, 20]]
    assert glue_paths(None, BLANK, field(0, 40), 1) == []


def test_boards_along_x__run_straight_across_the_blank():
    """One glue line at x = 15, of boards that run along y, and a hole from y = 10 to 20."""
    layup = Layup("along x", (15.0, 45.0), run="along y")
    paths = glue_paths(layup, BLANK, field(0, np.where((Y > 10) & (Y < 20), 0, 40)), 1)
    assert [path.tolist() for path in paths] == [[[15, 0], [15, 10]], [[15, 20], [15, BLANK.width]]]


def test_boards_along_y__not_over_holes_nor_over_resin():
    """A hole from x = 10 to 20, and a pocket full of resin from 40 to 50 in side 1."""
    is_pocket = (X > 40) & (X < 50)
    whole = field(0, np.where((X > 10) & (X < 20), 0, 40))
    whole = replace(
        whole,
        wood_upper=np.where(is_pocket, 15, np.inf).astype(np.float32),
        wood_lower=np.full(LATTICE.shape, -np.inf, np.float32),
    )
    upright = Layup("along y", (20.0, 30.0))
    for side, ends in ((1, [(0, 10), (20, 40), (50, 60)]), (2, [(0, 10), (20, 60)])):
        paths = glue_paths(upright, BLANK, whole, side)
        assert [tuple(path[:, 0]) for path in paths] == [pytest.approx(one) for one in ends]
