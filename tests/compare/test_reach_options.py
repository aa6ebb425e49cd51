"""What each cutter would leave on a side, why it stands, and how long its pass would take."""

import numpy as np
import pytest
import trimesh

from simkit.compare.deviation import deviation
from simkit.compare.reach_options import (
    CUTTER,
    PROGRAM,
    common_cutters,
    common_words,
    feeds_of,
    side_reach,
    waiting,
)
from simkit.cutters import Cutter
from simkit.moves.table import make_moves
from simkit.stock.field import Lattice
from tests.compare.parts import TRAY, box, exact_field, field_of, grid_of, minus, plan

LATTICE = Lattice((0.0, 0.0), 0.2, 200, 150)
SIX, THREE = Cutter(1, "flat", 6.0), Cutter(2, "flat", 3.0)
LIMIT = 0.3


def tray_left(radius, strip=False):
    """A tray whose corners keep what a cutter of a radius leaves, and a strip 2 mm proud if asked for."""
    grid = grid_of(TRAY)
    field, around = exact_field(grid, LATTICE)
    x, y = plan(LATTICE)
    qx, qy = np.abs(x - 20) - (12 - radius), np.abs(y - 15) - (7 - radius)
    is_floor = around.upper == 3
    field.upper[is_floor & (np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) > radius)] = 10
    if strip:
        field.upper[is_floor & (np.abs(x - 20) < 1) & (np.abs(y - 15) < 3)] = 5
    return deviation(field, around, grid, 1, LIMIT / 2), around, grid


def asked(cutters, used, radius=3.0, strip=False, feeds=None):
    found, around, grid = tray_left(radius, strip)
    return side_reach(found, around, grid, cutters, used, LIMIT, None, feeds or {0: 1000.0})


def test_side_reach__corners_are_the_cutters_and_a_strip_is_the_programs():
    found = asked([SIX], [1], strip=True)
    x, y = plan(LATTICE)
    is_strip = (np.abs(x - 20) < 1) & (np.abs(y - 15) < 3)
    assert (found.cause[is_strip] == PROGRAM).all()
    corners = (np.abs(x - 20) > 9) & (np.abs(y - 15) > 4)
    assert (found.cause[corners & (found.cause > 0)] == CUTTER).all()
    assert (found.cause == CUTTER).sum() > 20
    assert found.is_corner[found.cause == CUTTER].all()
    assert not found.is_corner[is_strip].any()
    # With the 3 mm cutter used too it could have gone into most of the corner.
    both = asked([SIX, THREE], [1, 2])
    assert (both.cause == PROGRAM).sum() > (both.cause == CUTTER).sum()


def test_side_reach__table_of_a_corner():
    # (sqrt 2 - 1) R in the corners, plane geometry, within the bound.
    found = asked([SIX, THREE], [1])
    now, six, three, *common = found.options
    assert (now.cutter, now.used, now.alone) == (None, "programmed", None)
    for standing, radius in ((six.alone, 3.0), (six.added, 3.0), (three.alone, 1.5)):
        assert 0 <= (np.sqrt(2) - 1) * radius - standing.worst <= standing.bound
    assert (six.used, three.used) == ("used", "of the job")
    assert six.added.area == pytest.approx(now.added.area, abs=40 * LATTICE.cell**2)
    assert three.added.worst == pytest.approx(three.alone.worst, abs=1e-6)
    assert three.added.area < now.added.area / 2
    # Area of the four corners that it lowers, over stepover and feed: a flat cutter on a floor takes half its
    # diameter.
    assert three.stepover == 1.5
    assert three.minutes == pytest.approx(three.gain / (1.5 * 1000.0))
    assert 0 < three.gain <= now.added.area
    assert common == []  # with the 3 mm cutter nothing is certainly over the limit


def test_side_reach__common_sizes_where_the_jobs_cutters_do_not_do():
    found = asked([SIX], [1])
    now, six, *common = found.options
    assert six.added.area > 0
    assert [option.used for option in common] == ["common size"] * len(common)
    assert [option.cutter.diameter for option in common] == [4.0, 4.0, 3.175, 3.175, 2.0, 2.0]
    flats = [option for option in common if option.cutter.shape == "flat"]
    areas = [option.added.area for option in (now, *flats)]
    assert areas == sorted(areas, reverse=True)
    assert areas[-1] == 0
    for option in flats:
        exact = (np.sqrt(2) - 1) * option.cutter.radius
        assert 0 <= exact - option.added.worst <= option.added.bound
        assert option.alone is None
    # A ball cannot stand in the corner between floor and wall.
    assert common[0].added.area >= flats[0].added.area


def test_side_reach__between_the_centres_of_cells_in_a_corner():
    # (sqrt 2 - 1) R, plane geometry.  The corner lies between four centres, and common sizes are asked only
    # in the few cells where the 3 mm cutter leaves too much: 0.414 of the 2 mm one read 0.3 with no bound.
    found, around, grid = tray_left(3.0)
    limit = 0.29
    now, _, _, *common = side_reach(found, around, grid, [SIX, THREE], [1], limit, None, {0: 1000.0}).options
    assert 0 <= (np.sqrt(2) - 1) * 3.0 - now.added.worst <= now.added.bound
    (two,) = [one for one in common if one.cutter.shape == "flat" and one.cutter.diameter == 2.0]
    assert 0 <= (np.sqrt(2) - 1) * 1.0 - two.added.worst <= two.added.bound
    assert two.added.bound < 2.2 * LATTICE.cell


@pytest.mark.parametrize("angle", [60.0, 90.0, 120.0])
def test_side_reach__between_the_centres_of_cells_in_a_vee(angle):
    # R (1 / sin(phi / 2) - 1) above the bottom of a vee of full angle phi, plane geometry.  The bottom runs
    # between two rows of centres, where less stands: 2.83 for 3.00 in a vee of 60 degrees.
    radius, tangent = 3.0, np.tan(np.radians(angle / 2))
    up = 7.0 / max(tangent, 1.0)  # how high its walls are
    ends = [[x, 15 + side * up * tangent, 10.0] for x in (-1, 41) for side in (-1, 1)]
    vee = trimesh.convex.convex_hull([*ends, *([x, 15.0, 10 - up] for x in (-1, 41))])
    grid = grid_of(minus(box((2, 2, 0), (38, 28, 10)), vee))
    field, around = exact_field(grid, LATTICE)
    y = np.abs(plan(LATTICE)[1] - 15)
    # A ball that touches both walls has its middle R / sin(phi / 2) above the bottom.
    under = 10 - up + radius / np.sin(np.radians(angle / 2)) - np.sqrt(np.maximum(radius**2 - y**2, 0))
    touches = radius * np.cos(np.radians(angle / 2))
    field.upper[:] = np.where(around.is_part & (y < touches), under, field.upper)
    found = deviation(field, around, grid, 1, LIMIT / 2)
    now, six, *_ = side_reach(
        found, around, grid, [Cutter(1, "ball", 6.0)], [1], LIMIT, None, {0: 1000.0}
    ).options
    exact = radius * (1 / np.sin(np.radians(angle / 2)) - 1)
    for standing in (now.added, six.added):
        assert 0 < exact - standing.worst <= standing.bound
        assert standing.bound < 1.5 * LATTICE.cell
    assert abs(exact - six.alone.worst) <= six.alone.bound


def test_side_reach__a_good_job_asks_for_no_other_sizes():
    grid = grid_of(TRAY)
    field, around = exact_field(grid, LATTICE)
    found = side_reach(
        deviation(field, around, grid, 1, 0.15), around, grid, [SIX], [1], LIMIT, None, {0: 900.0}
    )
    assert (found.cause == 0).all()
    now, six = found.options
    assert (now.added.worst, now.added.area) == (0.0, 0.0)
    assert six.alone.area > 0
    assert (six.gain, six.minutes) == (0.0, None)


def test_side_reach__where_no_program_carves_it_is_the_programs():
    found = asked([SIX], [])
    assert set(np.unique(found.cause)) == {0, PROGRAM}


def test_feeds_of__the_feed_most_is_cut_at():
    moves = make_moves(
        start=[[0, 0, 0], [10, 0, 0], [0, 0, 0], [0, 0, 0], [0, 0, 0]],
        end=[[10, 0, 0], [12, 0, 0], [5, 0, 0], [90, 0, 0], [3, 0, 0]],
        feed=[800, 300, 1200, np.nan, 700],
        rapid=[False, False, False, True, False],
        tool=[1, 1, 2, 2, 3],
    )
    assert feeds_of(moves, [2, 3]) == {1: 800.0, 2: 1200.0, 3: 700.0, 0: 1200.0}


def test_common_cutters__smaller_than_the_smallest():
    assert common_cutters([]) == []
    made = common_cutters([SIX, Cutter(7, "ball", 25.4 / 8)])
    assert [(one.shape, one.diameter) for one in made[::2]] == [
        ("ball", 2.0),
        ("ball", 1.5875),
        ("ball", 1.0),
    ]
    assert {one.number for one in made} == {-1, -2, -3, -4, -5, -6}
    assert common_words(made[2]) == "1/16 in ball"
    assert common_words(made[1]) == "2 mm flat"


def test_waiting__what_a_later_move_finally_cuts():
    lattice = Lattice((0.0, 0.0), 1.0, 3, 1)
    field = field_of(lattice, 0.0, 5.0)
    field.upper_move[0] = [-1, 4, 9]
    assert waiting(field, 1, 4).tolist() == [[False, False, True]]
    assert not waiting(field, 2, 4).any()
