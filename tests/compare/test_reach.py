"""Reach of a cutter: grey closing against a general library, closed forms, and why a spot was left."""

import numpy as np
import pytest
import trimesh
from scipy import ndimage

from simkit.compare.deviation import deviation
from simkit.compare.reach import must_leave, reach
from simkit.compare.spots import spots
from simkit.compare.why_left import why_left, why_left_at
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import TRAY, box, exact_field, grid_of, minus, plan, prism, turned_over

BALL, FLAT = Cutter(1, "ball", 6.0), Cutter(2, "flat", 4.0)
DRILL = Cutter(3, "drill", 5.0)


def outside_closing(heights, cutter, cell):
    """Grey closing by scipy.ndimage with the cutter's profile as the structure."""
    k = int(cutter.radius / cell + 1e-9)
    q = np.arange(-k, k + 1) * cell
    r = np.hypot(q[:, None], q)
    footprint = r <= cutter.radius + 1e-9
    structure = np.where(footprint, -cutter.profile(np.minimum(r, cutter.radius)), 0.0)
    wide = np.pad(heights, 2 * k, constant_values=-1e9)
    tips = ndimage.grey_dilation(wide, footprint=footprint, structure=structure)
    left = ndimage.grey_erosion(tips, footprint=footprint, structure=structure)
    return left[2 * k : -2 * k, 2 * k : -2 * k]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("cutter", [BALL, FLAT, DRILL], ids=str)
def test_reach__against_grey_morphology(seed, cutter):
    rng = np.random.default_rng(seed)
    lattice = Lattice((0.0, 0.0), 0.5, 45, 38)
    heights = ndimage.gaussian_filter(rng.normal(0, 20, lattice.shape), 2.0)
    found = reach(heights, lattice, [cutter])
    assert np.allclose(found, outside_closing(heights, cutter, 0.5), atol=1e-9)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("cutter", [Cutter(1, "ball", 9.0), Cutter(2, "flat", 7.0), DRILL], ids=str)
def test_reach__cliffs_holes_and_slopes_against_grey_morphology(seed, cutter):
    # Terraces on a slope with holes through them: nothing may be left out wrongly beside a cliff.
    rng = np.random.default_rng(seed)
    lattice = Lattice((0.0, 0.0), 0.4, 71, 53)
    x, y = plan(lattice)
    heights = np.floor(ndimage.gaussian_filter(rng.normal(0, 25, lattice.shape), 3.0)) * 2
    heights += x * rng.normal(0, 1) + y * rng.normal(0, 1)
    heights[10:14, 20:30] = -30.0
    heights[40, :] += 15.0
    found = reach(heights, lattice, [cutter])
    assert np.allclose(found, outside_closing(heights, cutter, 0.4), atol=1e-8)


@pytest.mark.parametrize("seed", range(3))
def test_reach__shank_against_grey_morphology(seed):
    # Raised by cutting part and shank, lowered by the cutting part alone.
    rng = np.random.default_rng(seed)
    cell, lattice = 0.5, Lattice((0.0, 0.0), 0.5, 45, 38)
    heights = np.where(ndimage.gaussian_filter(rng.normal(0, 9, lattice.shape), 2.0) > 0, 9.0, 0.0)
    cutter = Cutter(1, "ball", 3.0, cutting_length=5.0, shank=6.0)
    q = np.arange(-6, 7) * cell
    r = np.hypot(q[:, None], q)
    cutting = np.where(r <= 1.5, 1.5 - np.sqrt(np.maximum(1.5**2 - r**2, 0)), 5.0)
    wide = np.pad(heights, 24, constant_values=-1e9)
    tips = ndimage.grey_dilation(wide, footprint=r <= 3.0, structure=-cutting)
    left = ndimage.grey_erosion(tips, footprint=r <= 1.5, structure=-cutting)[24:-24, 24:-24]
    assert np.allclose(reach(heights, lattice, [cutter]), left, atol=1e-9)
    assert (left > reach(heights, lattice, [Cutter(1, "ball", 3.0)]) + 1).any()


@pytest.mark.parametrize("seed", range(3))
def test_reach__is_a_closing(seed):
    # Serra 1982: extensive, idempotent, increasing, moves with the height map.
    rng = np.random.default_rng(seed)
    lattice = Lattice((0.0, 0.0), 0.5, 40, 40)
    heights = ndimage.gaussian_filter(rng.normal(0, 20, lattice.shape), 1.5)
    found = reach(heights, lattice, [BALL])
    assert (found >= heights - 1e-12).all()
    assert np.allclose(reach(found, lattice, [BALL]), found, atol=1e-9)
    higher = heights + rng.random(lattice.shape)
    assert (reach(higher, lattice, [BALL]) >= found - 1e-12).all()
    assert np.allclose(reach(heights + 3, lattice, [BALL]), found + 3, atol=1e-9)


def test_reach__smaller_ball_never_leaves_more_and_the_best_counts():
    rng = np.random.default_rng(0)
    lattice = Lattice((0.0, 0.0), 0.25, 60, 60)
    heights = ndimage.gaussian_filter(rng.normal(0, 5, lattice.shape), 3.0)
    small = Cutter(4, "ball", 3.0)
    both = reach(heights, lattice, [BALL, small])
    assert np.array_equal(both, np.minimum(reach(heights, lattice, [BALL]), reach(heights, lattice, [small])))
    # A large ball is a union of small ones; on a grid to second order in the cell.
    assert (reach(heights, lattice, [small]) <= reach(heights, lattice, [BALL]) + 0.25**2 / 1.5).all()


@pytest.mark.parametrize("angle", [60.0, 90.0, 120.0])
def test_reach__ball_in_a_vee(angle):
    # It stays R (1 / sin(phi / 2) - 1) above the bottom of a vee of full angle phi.
    cell, radius = 0.05, 1.0
    lattice = Lattice((-4.0 - cell / 2, 0.0), cell, 161, 85)
    steep = 1 / np.tan(np.radians(angle / 2))
    heights = np.tile(np.abs(lattice.x()) * steep, (85, 1))
    found = reach(heights, lattice, [Cutter(1, "ball", 2 * radius)])
    exact = radius * (1 / np.sin(np.radians(angle / 2)) - 1)
    assert found[42, 80] == pytest.approx(exact, abs=cell**2 / radius)


@pytest.mark.parametrize("cell", [0.2, 0.1])
def test_reach__ball_in_a_slot_narrower_than_it(cell):
    # R - sqrt(R^2 - w^2 / 4) below the rim; R 3, w 4: 0.7639320225.  On the grid the slot is w + cell
    # wide at most, from rim centre to rim centre.
    rows = round(13 / cell)
    lattice = Lattice((-6.0, 0.0), cell, round(12 / cell), rows)
    is_slot = np.abs(lattice.x()) < 2.0
    heights = np.tile(np.where(is_slot, -20.0, 0.0), (rows, 1))
    found = -reach(heights, lattice, [BALL])[rows // 2, is_slot].min()
    assert 0.7639320225 - cell / 2 <= found <= 3 - np.sqrt(9 - (4 + cell) ** 2 / 4) + 1e-9


def test_reach__flat_cutter_in_a_vertical_corner():
    # It leaves (1 - pi / 4) R^2 in plan at each of the four corners.
    cell = 0.05
    lattice = Lattice((0.0, 0.0), cell, 300, 260)
    x, y = plan(lattice)
    is_pocket = (np.abs(x - 7.5) < 6) & (np.abs(y - 6.5) < 5)
    found = reach(np.where(is_pocket, 2.0, 9.0), lattice, [FLAT])
    left = ((found > 2.0) & is_pocket).sum() * cell**2
    assert left == pytest.approx(4 * (1 - np.pi / 4) * 2**2, abs=4 * 2 * np.pi / 2 * cell)
    assert set(np.unique(found)) == {2.0, 9.0}


def test_reach__both_measures_of_a_vertical_corner():
    # In plan (sqrt 2 - 1) R from the corner's edge to the cut, (1 - 1 / sqrt 2) R from the cut to the walls.
    cell, radius = 0.05, 2.0
    lattice = Lattice((0.0, 0.0), cell, 200, 200)
    x, y = plan(lattice)
    heights = np.where((x > 1) & (y > 1) & (x < 9) & (y < 9), 0.0, 8.0)
    is_left = (reach(heights, lattice, [FLAT]) > 4) & (heights == 0) & (x < 5) & (y < 5)
    is_cut = (heights == 0) & ~is_left & (x < 5) & (y < 5)
    to_corner = np.hypot(x - 1, y - 1)[is_cut].min()
    assert to_corner == pytest.approx((np.sqrt(2) - 1) * radius, abs=1.5 * cell)
    to_wall = np.minimum(x, y)[is_left].max() - 1
    assert to_wall == pytest.approx((1 - 1 / np.sqrt(2)) * radius, abs=1.5 * cell)


def test_must_leave__part_of_a_map_is_as_in_the_whole():
    lattice = Lattice((0.0, 0.0), 0.2, 200, 150)
    grid = grid_of(TRAY)
    around = envelopes(grid, lattice)
    cutter = Cutter(1, "flat", 5.0)
    whole = must_leave(around, grid, 1, cutter, 0.1)
    is_wanted = np.zeros(lattice.shape, bool)
    is_wanted[38:60, 38:60] = True
    part = must_leave(around, grid, 1, cutter, 0.1, is_wanted)
    # (sqrt 2 - 1) R, plane geometry, lies in the range; reach itself is off by up to a cell.
    worst = np.unravel_index(np.nanargmax(whole.normal), lattice.shape)
    assert whole.normal[worst] <= (np.sqrt(2) - 1) * 2.5 <= whole.most[worst] + lattice.cell
    assert np.nanmax(whole.normal[38:60, 38:60]) > 0.5
    assert np.array_equal(part.normal[40:58, 40:58], whole.normal[40:58, 40:58], equal_nan=True)
    assert (part.normal[70:] == 0).sum() == (~np.isnan(whole.normal[70:])).sum()
    nowhere = must_leave(around, grid, 1, cutter, 0.1, np.zeros(lattice.shape, bool))
    assert np.nanmax(nowhere.normal) == 0


def test_reach__outside_the_outline_nothing_is_in_the_way():
    lattice = Lattice((0.0, 0.0), 0.25, 80, 40)
    heights = np.full(lattice.shape, np.nan)
    heights[10:30, 20:60] = 5.0
    found = reach(heights, lattice, [BALL])
    assert np.array_equal(found, heights, equal_nan=True)
    raised = reach(heights, lattice, [BALL], floor=7.0)
    assert raised[10, 20] > 6.0
    assert raised[20, 40] == pytest.approx(7 - 3 + np.sqrt(9 - 2.5**2), abs=0.15)


def test_reach__from_side_2_is_the_mirror():
    rng = np.random.default_rng(2)
    lattice = Lattice((0.0, 0.0), 0.5, 30, 30)
    heights = ndimage.gaussian_filter(rng.normal(0, 20, lattice.shape), 2.0)
    assert np.array_equal(reach(heights, lattice, [BALL], side=2), -reach(-heights, lattice, [BALL]))


def test_reach__wide_shank_keeps_a_short_cutter_out():
    lattice = Lattice((-10.0, 0.0), 0.25, 80, 40)
    heights = np.tile(np.where(np.abs(lattice.x()) < 2.5, 0.0, 12.0), (40, 1))
    slim = Cutter(1, "flat", 3.0, cutting_length=8.0, shank=3.0)
    thick = Cutter(2, "flat", 3.0, cutting_length=8.0, shank=6.0)
    assert reach(heights, lattice, [slim])[20, 40] == 0.0
    assert reach(heights, lattice, [thick])[20, 40] == 4.0


def test_reach__mistakes_of_the_caller():
    lattice = Lattice((0.0, 0.0), 0.5, 30, 30)
    with pytest.raises(ShapeError, match=r"heights \(2, 2\) must be \(30, 30\)"):
        reach(np.zeros((2, 2)), lattice, [BALL])
    with pytest.raises(ShapeError, match="at least one cutter"):
        reach(np.zeros((30, 30)), lattice, [])


def corner_job(radius, cell=0.1, left=0.0):
    lattice = Lattice((0.0, 0.0), cell, round(40 / cell), round(30 / cell))
    grid = grid_of(TRAY)
    field, around = exact_field(grid, lattice)
    x, y = plan(lattice)
    qx, qy = np.abs(x - 20) - (12 - radius), np.abs(y - 15) - (7 - radius)
    is_left = (around.upper == 3) & (np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) > radius)
    field.upper[is_left] = 10
    allowance = np.full((2, *lattice.shape), left) if left else None
    found = deviation(field, around, grid, 1, allowance=allowance)
    return spots(found.normal, found.normal > 0.3, lattice), around, grid


def test_why_left__corner_the_cutter_cannot_enter():
    found, around, grid = corner_job(3.0)
    assert len(found) == 4
    six, three = Cutter(1, "flat", 6.0), Cutter(2, "flat", 3.0)
    for spot in found:
        alone = why_left(spot, around, grid, 1, [six])
        assert alone.cause == "cutter"
        # (sqrt 2 - 1) R; both measured on this grid, a cell diagonal at each end.
        assert alone.must_leave[1] == pytest.approx((np.sqrt(2) - 1) * 3.0, abs=0.3)
        assert alone.must_leave[1] == pytest.approx(spot.value, abs=alone.tolerance)
        both = why_left(spot, around, grid, 1, [six, three])
        assert (both.cause, both.best) == ("program", 2)
        assert both.must_leave[2] == pytest.approx((np.sqrt(2) - 1) * 1.5, abs=0.3)


def test_why_left__what_is_left_on_purpose_does_not_count():
    """Walls that are to stand 0.4 mm proud meet 0.4 sqrt 2 up the diagonal: the cutter leaves less beyond."""
    found, around, grid = corner_job(3.0, left=0.4)
    left = np.full((2, *around.lattice.shape), 0.4)
    for spot in found[:4]:  # smaller ones lie beside them
        why = why_left(spot, around, grid, 1, [Cutter(1, "flat", 6.0)], allowance=left)
        assert why.cause == "cutter"
        assert why.must_leave[1] == pytest.approx((np.sqrt(2) - 1) * 3.0 - 0.4 * np.sqrt(2), abs=0.3)


def test_why_left__strip_along_a_wall_the_program_kept_away_from():
    lattice = Lattice((0.0, 0.0), 0.2, 200, 150)
    grid = grid_of(TRAY)
    field, around = exact_field(grid, lattice)
    x, y = plan(lattice)
    field.upper[(np.abs(y - 15) < 3) & (x > 8) & (x < 8.8)] = 10
    found = deviation(field, around, grid, 1)
    spot = spots(found.normal, found.normal > 0.3, lattice)[0]
    assert why_left(spot, around, grid, 1, [Cutter(1, "flat", 6.0)]).cause == "program"


def test_why_left__slot_too_narrow_and_floor_not_cut():
    part = minus(box((1, 1, 0), (47, 59, 30)), box((22.5, 0, 10), (25.5, 60, 31)))
    lattice = Lattice((0.0, 0.0), 0.5, 96, 120)
    grid = grid_of(part)
    field, around = exact_field(grid, lattice)
    field.upper[field.upper > 0] = 30
    found = deviation(field, around, grid, 1)
    (spot,) = spots(found.normal, found.normal > 0.3, lattice)
    six, two = Cutter(1, "ball", 6.0), Cutter(2, "ball", 2.0)
    wide = why_left(spot, around, grid, 1, [six])
    assert wide.cause == "cutter"
    narrow = why_left(spot, around, grid, 1, [six, two])
    assert (narrow.cause, narrow.best) == ("program", 2)
    assert narrow.must_leave[2] <= (np.sqrt(2) - 1) * 1.0 + 0.5  # beside the foot of a wall, and a cell


def test_why_left__from_side_2():
    part = turned_over(TRAY, 40, 10)
    lattice = Lattice((0.0, 0.0), 0.2, 200, 150)
    grid = grid_of(part)
    field, around = exact_field(grid, lattice)
    field.lower[around.lower == 7] = 6.0  # the floor stands 1 mm proud
    found = deviation(field, around, grid, 2)
    (spot,) = spots(found.normal, found.normal > 0.3, lattice)
    assert spot.value == pytest.approx(1.0)
    why = why_left(spot, envelopes(grid, lattice), grid, 2, [Cutter(1, "flat", 6.0)])
    assert (why.cause, why.must_leave) == ("program", {1: 0.0})


@pytest.mark.parametrize("lean", [90.0, 80.0, 70.0])
def test_why_left_at__the_foot_of_a_wall_whose_cells_are_coarse(lean):
    """A ball of radius R leaves R (1 / sin(a / 2) - 1) at a foot of angle a: plane geometry.

    At a cell of 0.4 mm the foot lies up to a cell away from what is asked, and the cutter seems to get in.
    """
    rise, foot = 8.0, 20.13
    back = foot + rise / np.tan(np.radians(lean))
    part = prism([(2, 0), (38, 0), (38, 3), (2, 3)], 2, 28)
    wall = prism([(foot, 2), (38, 2), (38, 3 + rise), (back, 3 + rise), (foot, 3)], 2, 28)
    grid = grid_of(trimesh.boolean.union([part, wall], engine="manifold"))
    lattice = Lattice((0.0, 0.0), 0.4, 100, 75)
    three = Cutter(1, "ball", 3.0)
    leaves = 1.5 * (1 / np.sin(np.radians(180 - lean) / 2) - 1)
    why = why_left_at(leaves, (foot - 0.01, 15.0, 4.0), lattice, grid, 1, [three])
    assert why.cell == pytest.approx(0.05)
    assert why.must_leave[1] == pytest.approx(leaves, abs=0.1)  # the corner is up to a cell's diagonal away
    assert why.cause == "cutter"
    # Twice as much stands there: then the program is to blame.
    assert why_left_at(2.5 * leaves, (foot - 0.01, 15.0, 4.0), lattice, grid, 1, [three]).cause == "program"
    # What is left on purpose does not count: with all of it on purpose the cutter leaves nothing beyond.
    aside = why_left_at(
        0.1, (foot - 0.01, 15.0, 4.0), lattice, grid, 1, [three], lambda one: np.full((2, *one.shape), 1.0)
    )
    assert aside.must_leave[1] == 0.0
