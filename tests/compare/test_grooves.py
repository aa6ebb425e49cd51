"""Grooves and holes about as wide as the cutter: what is certain of reach, by plane geometry."""

import numpy as np
import pytest
import trimesh

from simkit.compare.deviation import deviation
from simkit.compare.reach import LEAST, MOST, closing, reach_range
from simkit.compare.reach_options import side_reach
from simkit.compare.spots import Spot
from simkit.compare.why_left import why_left, why_left_at
from simkit.cutters import Cutter
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import box, exact_field, grid_of, minus, plan

DEEP, LIMIT = 6.0, 0.3
FLAT, BALL = Cutter(1, "flat", 6.0), Cutter(1, "ball", 6.0)
WIDTHS = (5.8, 5.95, 6.0, 6.05, 6.3)


def grooved(width, angle):
    """A block with a groove right through, its middle at (20, 15), floor at 9, rims at 15."""
    tool = box((-40, -width / 2, 15 - DEEP), (40, width / 2, 16))
    tool.apply_transform(trimesh.transformations.rotation_matrix(np.radians(angle), [0, 0, 1]))
    tool.apply_translation((20, 15, 0))
    return grid_of(minus(box((0, 0, 0), (40, 30, 15)), tool))


def lowest_middle(width, radius):
    """How far above the floor the tip of a ball stays in a groove: it rests on the rims of a narrow one."""
    if width >= 2 * radius:
        return 0.0
    return max(DEEP - (radius - np.sqrt(radius**2 - width**2 / 4)), 0.0)


def exact_closing(away, width, cutter):
    """The surface that a cutter leaves in a groove, above the floor, at distances from its middle line."""
    radius, inside = cutter.radius, away < width / 2
    if cutter.shape == "flat":
        return np.where(inside, 0.0 if width >= cutter.diameter else DEEP, DEEP)
    beside = np.maximum(away - max(width / 2 - radius, 0.0), 0.0)
    under = radius - np.sqrt(np.maximum(radius**2 - beside**2, 0.0))
    return np.where(inside, np.minimum(lowest_middle(width, radius) + under, DEEP), DEEP)


@pytest.mark.parametrize("shape", ["flat", "ball"])
@pytest.mark.parametrize("seed", range(12))
def test_closing__least_and_most_hold_the_truth(seed, shape):
    """In grooves of any width, place and direction: the closing between walls, plane geometry."""
    rng = np.random.default_rng(seed)
    cell = rng.choice([0.15, 0.2, 0.3])
    cutter = Cutter(1, shape, float(rng.choice([3.0, 3.175, 4.0])))
    width = cutter.diameter + rng.choice([-1.2, -0.3, -0.1, 0.0, 0.1, 0.3, 1.2]) * rng.choice([1.0, cell])
    lattice = Lattice((0.0, 0.0), cell, round(14 / cell), round(14 / cell))
    x, y = plan(lattice)
    turn, (x0, y0) = rng.uniform(0, np.pi) * (seed % 3 > 0), 7 + rng.uniform(-cell, cell, 2)
    away = np.abs((y - y0) * np.cos(turn) - (x - x0) * np.sin(turn))
    heights = np.where(away < width / 2, 0.0, DEEP)
    exact = exact_closing(away, width, cutter)
    middle = np.hypot(x - 7, y - 7) < 2.5  # elsewhere the groove's ends are not walls
    least, most = (np.maximum(closing(heights, cell, cutter, None, one), heights) for one in (LEAST, MOST))
    assert (least <= exact + 1e-9)[middle].all()
    assert (most >= exact - 1e-9)[middle].all()
    if abs(width - cutter.diameter) > 4 * cell and shape == "flat":
        assert np.array_equal(least[middle], exact[middle])
        assert np.array_equal(most[middle], exact[middle])


@pytest.mark.parametrize("angle", [0.0, 30.0])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("cutter", [FLAT, BALL], ids=["flat", "ball"])
def test_why_left_at__a_groove_left_a_millimetre_too_shallow(cutter, width, angle):
    grid, lattice = grooved(width, angle), Lattice((0.0, 0.0), 0.5, 80, 60)
    why = why_left_at(1.0, (20.01, 15.01, 10.0), lattice, grid, 1, [cutter], limit=LIMIT)
    if width < 6:
        assert why.cause == "cutter"  # down to cells of 0.02 mm it is certain
        exact = lowest_middle(width, 3.0) if cutter is BALL else DEEP
        assert why.least[1] - 0.1 <= exact <= why.must_leave[1] + 0.1
    else:
        assert why.cause == ("program" if width > 6.1 else "open")
        # A ball leaves d^2 / 2R beside the middle; asked up to 0.08 mm from it.
        assert min(why.must_leave[1], why.least.get(1, np.inf)) <= 0.08**2 / 6


@pytest.mark.parametrize("cell", [0.2, 0.5])
@pytest.mark.parametrize("angle", [0.0, 30.0])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("cutter", [FLAT, BALL], ids=["flat", "ball"])
def test_side_reach__the_table_holds_what_is_left_of_a_groove(cutter, width, angle, cell):
    """Flat: all of it or nothing.  Ball: from the foot of a wall to the round, plane geometry."""
    grid, lattice = grooved(width, angle), Lattice((0.0, 0.0), cell, round(40 / cell), round(30 / cell))
    field, around = exact_field(grid, lattice)
    field.upper[around.upper < 10] = 10.0
    found = deviation(field, around, grid, 1, LIMIT / 2)
    told = side_reach(found, around, grid, [cutter], [1], LIMIT, None, {0: 1000.0})
    now, mine = told.options[:2]
    if cutter is FLAT:
        exact = 0.0 if width >= 6 else DEEP
    else:
        middle = lowest_middle(width, 3.0) + 3.0
        exact = np.hypot(min(width / 2, 3.0), middle) - 3.0
    assert abs(exact - mine.alone.worst) <= mine.alone.bound + 1e-6
    assert now.added.worst == pytest.approx(1.0, abs=0.01)
    if cutter is FLAT and width >= 6:
        # Not the cutter's fault: with it there is nothing left to be had by another.
        assert (told.cause == 2).sum() * cell**2 > 0.9 * now.added.area
        assert mine.gain > 0.9 * now.added.area


def test_why_left__a_flat_cutter_wider_than_the_groove_by_less_than_a_cell():
    """6.35 in 6.2 mm: between centres of cells of 0.2 mm it seems to get in, and it never does."""
    grid, lattice = grooved(6.21, 0.0), Lattice((0.0, 0.0), 0.2, 200, 150)
    quarter = Cutter(1, "flat", 6.35)
    one, most = reach_range(envelopes(grid, lattice), grid, 1, quarter, 0.1)
    assert np.nanmax(one.normal) < 1 < most.max()
    iy, ix = (int(k) for k in lattice.cell_at(20.01, 15.01))
    box_of = (iy, iy + 1, ix, ix + 1)
    spot = Spot(1.0, (iy, ix), (20.01, 15.01), (20.01, 15.01), 1, lattice.cell**2, box_of)
    assert why_left(spot, envelopes(grid, lattice), grid, 1, [quarter], limit=LIMIT).cause == "open"
    assert why_left_at(1.0, (20.01, 15.01, 10.0), lattice, grid, 1, [quarter], limit=LIMIT).cause == "cutter"


@pytest.mark.parametrize("radius", [2.9, 3.0, 3.1])
def test_why_left_at__a_round_hole_of_the_cutters_own_radius(radius):
    hole = trimesh.creation.cylinder(radius=radius, height=20, sections=720)
    hole.apply_translation((20.03, 15.07, 9 + 10))
    grid, lattice = grid_of(minus(box((0, 0, 0), (40, 30, 15)), hole)), Lattice((0.0, 0.0), 0.5, 80, 60)
    why = why_left_at(1.0, (20.5, 15.3, 10.0), lattice, grid, 1, [FLAT], limit=LIMIT)
    assert why.cause == {2.9: "cutter", 3.0: "open", 3.1: "program"}[radius]


@pytest.mark.parametrize("cell", [0.2, 0.5])
def test_why_left_at__a_square_corner_stays_the_cutters(cell):
    """(sqrt 2 - 1) R from the edge of the corner to the cut, plane geometry."""
    part = minus(box((0, 0, 0), (40, 30, 15)), box((8.03, 8.07, 9), (32, 22, 16)))
    exact = (np.sqrt(2) - 1) * 3.0
    why = why_left_at(
        exact, (8.04, 8.08, 15.0), Lattice((0.0, 0.0), cell, 80, 60), grid_of(part), 1, [FLAT], limit=LIMIT
    )
    assert why.cause == "cutter"
    assert LIMIT < why.least[1] <= exact + 0.08  # asked up to half a diagonal off the edge
