"""How a piece seats in a jig, against closed forms and a plain search."""

import math

import numpy as np
import pytest
from scipy import ndimage
from scipy.optimize import linprog

from simkit.compare.edges import rims
from simkit.compare.relief import loops_of, straightened
from simkit.compare.seat import BOUND, _best, outside_by, seat
from simkit.compare.seat_walls import Pose, Walls
from simkit.stock.field import Lattice

FLOOR, TOP = 5.0, 10.0


def lattice(half: float, cell: float = 0.5) -> Lattice:
    n = math.ceil(2 * half / cell)
    return Lattice((-half, -half), cell, n, n)


def turned(points, degrees):
    a = math.radians(degrees)
    return points @ np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])


def square(side, z=FLOOR, shift=(0.0, 0.0), degrees=0.0):
    def bottom(points):
        return np.where(np.abs(turned(points - shift, degrees)).max(axis=1) < side / 2, z, np.inf)

    return bottom


def pocket(side, radius):
    def top(points):
        q = np.abs(points)
        corner = np.hypot(*np.maximum(q - (side / 2 - radius), 0.0).T)
        is_open = (q.max(axis=1) < side / 2) & (corner < radius)
        return np.where(is_open, FLOOR, TOP)

    return top


@pytest.mark.parametrize("radius", [1.0, 3.0])
@pytest.mark.parametrize("off", [-0.2, -0.03, 0.03, 0.2])
def test_square__drops_in_exactly_from_the_clearance_of_geometry(radius, off):
    clearance = (1 - 1 / math.sqrt(2)) * radius + off
    found = seat(square(20), pocket(20 + 2 * clearance, radius), lattice(11), lattice(14), np.zeros(2))
    assert found.drops_in == (off > 0)
    # The tip of the corner lies (r - c) sqrt 2 from the middle of the arc; farther in, the sides are nearer.
    room = min(radius - max(radius - clearance, 0) * math.sqrt(2), clearance)
    assert found.room == pytest.approx(room, abs=BOUND)
    assert found.stands_up == pytest.approx(0.0 if off > 0 else TOP - FLOOR, abs=found.stands_up_bound)
    if off < 0:
        middles = np.array([outline.mean(axis=0) for outline in found.relief])
        assert len(middles) == 4
        assert np.abs(np.abs(middles) - 10).max() < 0.5


def test_square__off_its_place_and_turned_settles_into_a_pocket():
    bottom = square(20, shift=(0.4, -0.3), degrees=0.8)
    found = seat(bottom, pocket(20.4, 0.0001), lattice(11.5), lattice(14), np.array([0.4, -0.3]))
    assert found.drops_in
    assert found.room == pytest.approx(0.2, abs=BOUND)
    assert (found.pose.dx, found.pose.dy) == pytest.approx((-0.4, 0.3), abs=BOUND)
    assert abs(found.pose.degrees) == pytest.approx(0.8, abs=0.1)


@pytest.mark.parametrize("play", [0.05, 0.4])
def test_round__has_the_stated_play_every_way_and_turns_freely(play):
    def bottom(points):
        return np.where(np.hypot(*points.T) < 8.0, FLOOR, np.inf)

    def jig(points):
        return np.where(np.hypot(*points.T) < 8.0 + play, FLOOR, TOP)

    found = seat(bottom, jig, lattice(9), lattice(12), np.zeros(2))
    assert found.room == pytest.approx(play, abs=BOUND)
    left, right, front, back = found.play_shift
    assert ((left + right) / 2, (front + back) / 2) == pytest.approx((play, play), abs=BOUND)
    assert min(found.play_turn) == pytest.approx(2.0)  # as far as it is looked for


@pytest.mark.parametrize("slope", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("wider", [0.3, 0.8])
def test_sloped_walls__stand_off_by_geometry(slope, wider):
    def bottom(points):
        q = np.abs(points).max(axis=1)
        return np.where(q < 9.0, FLOOR + slope * np.maximum(q - (6.0 + wider), 0.0), np.inf)

    def jig(points):
        return FLOOR + slope * np.maximum(np.abs(points).max(axis=1) - 6.0, 0.0)

    # The floor of the piece is wider by as much on each side: its walls meet the jig's that much higher.
    found = seat(bottom, jig, lattice(9.5), lattice(12), np.zeros(2))
    assert found.stands_up == pytest.approx(slope * wider, abs=found.stands_up_bound)
    assert found.stands_up_bound < 0.05
    assert found.tips < 0


def test_sloped_walls__no_place_of_a_plain_search_lies_deeper():
    def bottom(points):
        x, y = points.T
        return np.where(np.hypot(x, y) < 7, FLOOR + 0.05 * (x**2 + y**2), np.inf)

    def jig(points):
        x, y = points.T
        return FLOOR + 0.2 + 0.06 * ((x - 0.7) ** 2 + (y + 0.4) ** 2)

    found = seat(bottom, jig, lattice(7.5), lattice(12), np.zeros(2))
    cells = np.stack(np.meshgrid(*2 * [np.arange(-7, 7.01, 0.1)]), axis=-1).reshape(-1, 2)
    low = bottom(cells)
    shifts = [(dx, dy) for dx in np.arange(-2, 2.01, 0.1) for dy in np.arange(-2, 2.01, 0.1)]
    plain = min(float((jig(cells + shift) - low).max()) for shift in shifts)
    assert found.stands_up <= plain + found.stands_up_bound
    assert (found.pose.dx, found.pose.dy) == pytest.approx((0.7, -0.4), abs=0.1)


def test_piece__over_a_narrow_rail_rocks_by_the_distance_of_its_weight():
    def jig(points):
        return np.where(points[:, 0] < -4.0, TOP, 0.0)

    found = seat(square(20, z=TOP), jig, lattice(11), lattice(14), np.zeros(2))
    assert found.rests_on == "jig"
    assert found.tips == pytest.approx(4.0, abs=0.5)


def test_outside_by__places_and_lines():
    corners = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 2.0], [0.0, 2.0]])
    assert outside_by(corners, np.array([1.0, 1.0])) == pytest.approx(-1.0)
    assert outside_by(corners, np.array([7.0, 6.0])) == pytest.approx(5.0)
    assert outside_by(corners[:2], np.array([2.0, 3.0])) == pytest.approx(3.0)
    assert outside_by(corners[:1], np.array([3.0, 4.0])) == pytest.approx(5.0)


def test_walls__room_and_rows_as_if_every_point_were_asked():
    bottom, jig = square(20), pocket(21, 2.0)
    stated = Pose(0.0, 0.0, 0.0, (1.0, -2.0))
    walls = Walls(bottom, jig, rims(bottom, lattice(11)), rims(jig, lattice(14)), stated)
    everything = np.flatnonzero(walls.tree_of >= 0)
    rng = np.random.default_rng(5)
    for dx, dy, degrees in rng.uniform(-1.5, 1.5, (12, 3)):
        pose = Pose(dx, dy, degrees, stated.about)
        gap = walls._ask(pose, everything)[0]
        assert walls.room(pose) == gap.min()
        assert np.array_equal(np.sort(walls._near(pose, 0.4)[1]), np.sort(gap[gap < 0.4]))


def test_best__is_the_answer_with_all_rows():
    rng = np.random.default_rng(6)
    for _ in range(5):
        table, limits = rng.normal(size=(5000, 4)), rng.uniform(0.5, 2.0, 5000)
        table[:, 3] = -np.abs(table[:, 3])
        box = [(-1.0, 1.0), (-1.0, 1.0), (-0.1, 0.1)]
        full = linprog([0, 0, 0, 1], table, limits, bounds=[*box, (None, None)])
        step = _best([0, 0, 0, 1], table, limits, box)
        rest = ((table[:, :3] @ step - limits) / -table[:, 3]).max()
        assert rest == pytest.approx(full.fun, abs=1e-6)


@pytest.mark.parametrize("rise", [0.3, 1.0])
def test_upright_walls__a_floor_that_rises_towards_them_is_no_wall(rise):
    walls = pocket(20.6, 0.0001)

    def jig(points):
        floor = FLOOR + rise * np.minimum((points[:, 0] / 10) ** 2, 1.0)
        return np.where(walls(points) > FLOOR, TOP, floor)

    found = seat(square(20), jig, lattice(11), lattice(14), np.zeros(2))
    assert found.drops_in
    assert found.room == pytest.approx(0.3, abs=BOUND)
    assert found.stands_up == pytest.approx(rise, abs=found.stands_up_bound)


@pytest.mark.parametrize("higher", [0.1, 0.4, 2.0])
def test_upright_walls__a_rail_under_the_piece_lifts_it(higher):
    walls = pocket(20.6, 0.0001)

    def jig(points):
        return np.where(np.abs(points).max(axis=1) < 5.0, FLOOR + higher, walls(points))

    found = seat(square(20), jig, lattice(11), lattice(14), np.zeros(2))
    assert found.drops_in
    assert found.room == pytest.approx(0.3, abs=BOUND)
    assert found.stands_up == pytest.approx(higher, abs=found.stands_up_bound)


def test_square__a_large_round_in_a_shallow_pocket_is_still_missing_room():
    # Radius 8, no clearance: the tip of the corner stands 8 (sqrt 2 - 1) in the wall, which is 5 mm high.
    found = seat(square(20), pocket(20, 8.0), lattice(11), lattice(14), np.zeros(2))
    assert found.room == pytest.approx(-8 * (math.sqrt(2) - 1), abs=BOUND)
    assert found.stands_up == pytest.approx(TOP - FLOOR, abs=found.stands_up_bound)


def area_of(loop):
    """The shoelace formula."""
    x, y = np.transpose(loop)
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def is_within(point, loop):
    """By the turns of a straight line from the point to each corner in turn."""
    away = np.asarray(loop) - point
    angle = np.unwrap(np.arctan2(*away[np.r_[0 : len(away), 0]].T[::-1]))
    return abs(angle[-1] - angle[0]) > np.pi


def test_loops__of_cells_by_hand():
    cells = np.array([[1, 1, 1, 0], [1, 0, 1, 0], [1, 1, 1, 1]], bool)
    [loop] = loops_of(cells)  # the hole is no outer border
    assert area_of(loop) == 10
    assert area_of(straightened(loop, 0.0)) == 10
    assert len(straightened(loop, 0.0)) == 6
    corner = np.array([[1, 0], [0, 1]], bool)
    assert sorted(area_of(one) for one in loops_of(corner)) == [1, 1]
    assert loops_of(np.zeros((3, 3), bool)) == []


@pytest.mark.parametrize("seed", range(6))
def test_loops__hold_the_cells_and_no_others(seed):
    rng = np.random.default_rng(seed)
    cells = ndimage.binary_fill_holes(ndimage.binary_opening(rng.random((30, 40)) < 0.6))
    loops = loops_of(cells)
    for iy, ix in np.argwhere(np.ones_like(cells)):
        assert any(is_within((ix + 0.5, iy + 0.5), one) for one in loops) == cells[iy, ix]
    for loop in loops:
        # Each corner of the loop lies near the straightened one.
        short = straightened(loop, 0.7)
        ends = np.roll(short, -1, axis=0)
        along = np.maximum(((ends - short) ** 2).sum(axis=1), 1e-12)
        share = np.clip(((loop[:, None] - short) * (ends - short)).sum(axis=2) / along, 0, 1)
        off = np.linalg.norm(loop[:, None] - short - share[..., None] * (ends - short), axis=2).min(axis=1)
        assert off.max() <= 0.7 + 1e-9


@pytest.mark.parametrize("at", [(0.07, -0.11), (2.31, 1.9)])
def test_first__contact_with_a_knob_is_told_to_its_bound(at):
    """A round knob on the floor, of which no cell's centre is the top."""

    def jig(points):
        return np.where(np.abs(points).max(axis=1) < 12, FLOOR + 1 - 0.2 * np.hypot(*(points - at).T), TOP)

    found = seat(square(20), jig, lattice(11), lattice(14), np.zeros(2))
    assert math.dist(found.first[:2], at) <= found.first_bound * math.sqrt(2) + 1e-9
    assert found.first_bound <= 0.01
    assert found.first[2] == pytest.approx(FLOOR + 1, abs=0.01)
    flat = seat(square(20), pocket(21, 0.5), lattice(11), lattice(14), np.zeros(2))
    assert np.abs(flat.first[:2]).max() < 1.0
    assert flat.first[2] == FLOOR


def test_relief__of_a_pocket_too_narrow_all_round_is_its_rim_and_not_its_floor():
    found = seat(square(20), pocket(19.8, 1.0), lattice(11), lattice(14), np.zeros(2))
    [outline], [[hole]] = found.relief, found.relief_holes
    # The rim is 20 x 20 less 19.8 x 19.8, and what the round corners leave; on cells of an eighth of a mm.
    wanted = 20**2 - 19.8**2 + (4 - math.pi) * 1.0**2
    assert wanted < area_of(outline) - area_of(hole) < 4 * wanted

    def is_taken(point):
        return is_within(point, outline) and not is_within(point, hole)

    for along in np.linspace(-9.9, 9.9, 40):
        for place in ((along, 9.95), (along, -9.95), (9.95, along), (-9.95, along)):
            assert is_taken(np.array(place))
    assert not any(is_taken(np.array(place)) for place in ((0, 0), (9, 0), (0, -9), (-8.5, 8.5)))
