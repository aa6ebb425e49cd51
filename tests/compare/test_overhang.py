"""Lips and walls that lean over: closed forms of what a cut past or through them is worth."""

import numpy as np
import pytest
import trimesh

from simkit.compare.deviation import deviation
from simkit.compare.overhang import removed_below
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import box, exact_field, field_of, grid_of, prism, turned_field, turned_over

CELL = 0.25


def all_bare(places):
    return np.ones(len(places), bool)


def united(*bodies):
    return trimesh.boolean.union(bodies, engine="manifold")


def both_sides(mesh, field, length, thickness):
    """Deviation of side 1, and of side 2 of the same part and cut turned over."""
    grid = grid_of(mesh)
    yield deviation(field, envelopes(grid, field.lattice), grid, 1)
    grid = grid_of(turned_over(mesh, length, thickness))
    turned = turned_field(field, length, thickness)
    yield deviation(turned, envelopes(grid, field.lattice), grid, 2)


# A plate 4 thick, a stem of 10 x 10, and a cap of 30 x 20 and 3 thick from 15 up.
MUSHROOM = united(box((0, 0, 0), (40, 30, 4)), box((15, 10, 3), (25, 20, 16)), box((5, 5, 15), (35, 25, 18)))
LATTICE = Lattice((0.0, 0.0), CELL, 160, 120)


def test_mushroom__a_hole_through_the_cap_is_as_deep_as_the_cap():
    field, _ = exact_field(grid_of(MUSHROOM), LATTICE)
    x, y = np.meshgrid(LATTICE.x(), LATTICE.y())
    hole = (np.abs(x - 10) < 4) & (np.abs(y - 15) < 8)
    field.upper[hole] = 9.0  # in the air between plate and cap: 9 below the cap's top
    for found in both_sides(MUSHROOM, field, 40, 18):
        # Both ways: at the hole's middle what is left of the cap is 4 away, so the two agree with 3 to 4.
        deepest = np.nanmin(found.normal)
        assert -4.0 - 1e-6 <= deepest <= -3.0 + 1e-6
    narrow = (np.abs(x - 10) < 0.5) & (np.abs(y - 15) < 8)
    field.upper[hole], field.upper[narrow] = 18.0, 9.0
    for found in both_sides(MUSHROOM, field, 40, 18):
        assert np.nanmin(found.normal) == pytest.approx(-3.0, abs=1e-6)
        assert np.nanmin(found.most) == pytest.approx(-3.0, abs=1e-6)


def test_mushroom__a_hole_on_into_the_plate_counts_from_the_plate():
    grid = grid_of(MUSHROOM)
    points = np.array([[10.0, 15.0, 2.5], [10.0, 15.0, 9.0], [10.0, 15.0, 16.0]])
    found = removed_below(points, grid.distance(points, 1), grid, 1, all_bare)
    assert found == pytest.approx([1.5, 3.0, 2.0], abs=1e-9)


@pytest.mark.parametrize("lean", [0.0, 1e-3, 1.0, 10.0, 30.0])
@pytest.mark.parametrize("plan", [0.05, 0.5])
def test_leaning_wall__shaved_reads_the_same_whatever_it_leans(lean, plan):
    # The outer wall leans over; all within `plan` of its upper edge is gone.  Of what was removed, above
    # the innermost place, the point as far from the top as from the wall is t below, t (1 + sin) = plan cos,
    # whether the cut went past the foot of the wall (lean 0 to 1 at 0.5) or not.
    angle = np.radians(lean)
    foot = 30 - 12 * np.tan(angle)
    part = prism([(5, 0), (foot, 0), (30, 12), (5, 12)], 0, 20)
    grid = grid_of(part)
    at = np.array([[30 - plan + 1e-7, 10.0, -1e-6]])
    found = removed_below(at, grid.distance(at, 1), grid, 1, all_bare)
    assert found[0] == pytest.approx(plan * np.cos(angle) / (1 + np.sin(angle)), abs=1e-5)


def test_leaning_wall__exact_cut_beside_it_is_no_gouge():
    # The cutter runs down the upper edge of a wall that leans 10 degrees over, 0.05 too far in.
    foot = 30 - 12 * np.tan(np.radians(10))
    part = prism([(5, 0), (foot, 0), (30, 12), (5, 12)], 0, 20)
    lattice = Lattice((0.0, 0.0), 0.1, 350, 200)
    grid = grid_of(part)
    field, around = exact_field(grid, lattice)
    field.upper[:, lattice.x() > 29.9] = -1.0
    found = deviation(field, around, grid, 1)
    beside = np.abs(lattice.x() - 29.95) < 0.01
    assert np.nanmin(found.normal[:, beside]) >= -0.05 - 1e-5  # 0.28 by the height of what is gone there
    assert np.nanmin(found.normal) >= -0.1


def test_dovetail__wood_left_under_no_lip_counts_to_the_leaning_wall():
    # A rim with walls that lean 15 degrees over a groove; wood stands upright to 0.3 off the rim's edge.
    lean = np.tan(np.radians(15))
    body = box((0, 0, 0), (40, 20, 12))
    groove = prism([(15 - 8 * lean, 4), (25 + 8 * lean, 4), (25, 12), (15, 12)], -1, 21)
    upper = box((15, -1, 11), (25, 21, 13))
    part = trimesh.boolean.difference([body, groove, upper], engine="manifold")
    lattice = Lattice((0.0, 0.0), 0.1, 400, 200)
    grid = grid_of(part)
    field, around = exact_field(grid, lattice)
    x = lattice.x()
    field.upper[:, (x > 15) & (x < 15.3)] = 10.0
    found = deviation(field, around, grid, 1)
    row = found.normal[100]
    at = np.flatnonzero((x > 15) & (x < 15.3))
    # cut -> target: from (x, 10) to the wall through (15, 12) and (15 - 8 lean, 4).
    to_wall = (x[at] - 15 + 2 * lean) * np.cos(np.radians(15))
    assert (row[at] <= np.maximum(to_wall, 0.31) + 1e-6).all()
    assert (row[at] >= to_wall - 1e-6).all()
    assert field_of(lattice, 0, 1).upper.shape == lattice.shape
