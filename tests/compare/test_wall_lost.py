"""Whether wood lies between two places, and what was lost along their line: lengths known by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simkit.compare.thin_spots import look_closer, thin_spots
from simkit.compare.wall_lost import is_wall, lost_along
from simkit.compare.walls import wall_thickness
from simkit.stock.field import Lattice

FLOOR, TOP = 8.0, 20.0
NORMAL = np.array([0.8, 0.6])


def rib(left, right):
    """A rib on a floor, from `left` to `right` mm along its normal, which is no axis."""

    def heights(points):
        across = points @ NORMAL
        return np.zeros(len(points)), np.where((across > left) & (across < right), TOP, FLOOR)

    return heights


def grooved(middle, wide, deep):
    """A solid block, 10 high, with an upright groove along y."""

    def heights(points):
        is_groove = np.abs(points[:, 0] - middle) < wide / 2
        return np.zeros(len(points)), np.where(is_groove, 10.0 - deep, 10.0)

    return heights


def at(across, z):
    return np.array([*(across * NORMAL), z])


@pytest.mark.parametrize(
    ("cut", "part", "lost"),
    [
        ((0.0, 2.909), (-0.05, 3.027), 0.168),
        ((0.0, 2.909), (0.0, 2.909), 0.0),
        ((-0.4, 2.909), (0.0, 2.909), 0.0),  # what stands proud makes it no thicker
        ((0.0, 2.909), (-4.0, 2.909), math.inf),
    ],
)
def test_lost_along__is_what_the_part_has_beyond_both_faces(cut, part, lost):
    # The places lie half a fine cell off the faces, as those of closer looks do.
    found, bound = lost_along(rib(*cut), rib(*part), at(0.012, 12.0), at(2.897, 12.0), 0.025, 3.0)
    assert bound < 1e-4
    assert found == pytest.approx(lost, abs=bound)


def test_is_wall__wants_wood_between_and_a_ball_that_touches():
    heights = grooved(0.0, 0.04, 3.0)
    near = np.array([[0.02, 0.0, 8.0], [-0.3, 0.0, 8.0], [0.0, 0.0, 8.0], [0.02, 0.0, 8.0]])
    contact = np.array([[2.02, 0.0, 8.0], [0.3, 0.0, 8.0], [0.0, 0.3, 8.0], [0.02 + 0.3, 0.0, 8.0]])
    # Beside the groove; across it; along it; and two places too near each other for a ball as large.
    thickness = np.array([2.0, 0.6, 0.3, 1.7])
    assert is_wall(heights, near, contact, thickness, 0.025).tolist() == [True, False, False, False]


def test_look_closer__passes_over_what_is_no_wall():
    """Where all pairs are refused nothing is told; where those on one half are the other half is."""

    def surfaces(lattice):
        x = np.broadcast_to(lattice.x(), lattice.shape)
        return np.zeros(lattice.shape), np.where(x < 15.0, 1.98, 2.0), None

    lattice = Lattice((0.0, 0.0), 0.25, 120, 60)
    lower, upper, _ = surfaces(lattice)
    (spot, *_) = thin_spots(wall_thickness(lattice, lower, upper, 4.0), None, 3.0)
    iy, ix = (int(one) for one in lattice.cell_at(14.9, 7.4))
    beside = replace(spot, iy=iy, ix=ix, near=(14.9, 7.4, 1.98), contact=(14.9, 7.4, 0.0))

    def nowhere(near, contact, thickness, cell):
        return np.zeros(len(near), bool)

    def on_the_right(near, contact, thickness, cell):
        return (near[:, 0] > 15.0) & (contact[:, 0] > 15.0)

    assert look_closer(beside, lattice, surfaces, is_wall=nowhere) is None
    assert look_closer(beside, lattice, surfaces).thickness == pytest.approx(1.98, abs=1e-5)
    right = look_closer(beside, lattice, surfaces, is_wall=on_the_right)
    assert right.thickness == pytest.approx(2.0, abs=1e-5)
    assert right.near[0] > 15.0
