"""Glue lines that come out: planes of known slope and walls of known thickness, angles by trigonometry."""

import math

import numpy as np
import pytest

from simkit.compare.glue import feather_spots, thin_glue_spots
from simkit.compare.walls import wall_thickness
from simkit.stock.field import Lattice

LATTICE = Lattice((0.0, 0.0), 0.25, 160, 120)  # 40 x 30 mm
X, Y = np.meshgrid(LATTICE.x(), LATTICE.y())
ALL = np.ones(LATTICE.shape, bool)
BOTH = (ALL, ALL)
NOTHING = np.zeros(LATTICE.shape)


@pytest.mark.parametrize("slope", [5.0, 12.0, 14.5, 15.5, 40.0])
@pytest.mark.parametrize("heading", [0.0, 30.0, 90.0])
def test_feather__a_level_glue_plane_meets_a_slope(slope, heading):
    """A plane that falls by `slope` meets a level plane at that very angle, whatever its heading."""
    way = (X - 20) * math.cos(math.radians(heading)) + (Y - 15) * math.sin(math.radians(heading))
    spots = feather_spots(LATTICE, NOTHING - 20, 9 + math.tan(math.radians(slope)) * way, BOTH, 2, 9.0)
    assert len(spots) == (1 if slope < 15 else 0)
    for spot in spots:
        assert spot.least == pytest.approx(slope, abs=1e-6)
        assert abs(spot.at[2] - 9) <= 0.25 * math.tan(math.radians(slope)) * 1.5
        # The line in which they meet, through (20, 15) across the heading, as long as the lattice lets it be.
        across, down = {0.0: (0.5, 30), 30.0: (30 * math.tan(math.radians(30)), 30), 90.0: (40, 0.5)}[heading]
        assert spot.size == pytest.approx((across, down), abs=0.8)


@pytest.mark.parametrize("slope", [50.0, 74.0, 76.0, 85.0])
def test_feather__an_upright_glue_plane_meets_a_steep_wall(slope):
    """A wall that leans back from upright by 90 - slope degrees meets the plane y = 15.1 at that angle."""
    upper = 100 + math.tan(math.radians(slope)) * (Y - 15)
    spots = feather_spots(LATTICE, NOTHING - 500, upper, BOTH, 1, 15.1)
    assert len(spots) == (1 if 90 - slope < 15 else 0)
    for spot in spots:
        assert spot.least == pytest.approx(90 - slope, abs=1e-6)
        assert spot.size[0] == 40
        assert spot.line == 15.1
        assert abs(spot.at[1] - 15.1) <= 0.25


@pytest.mark.parametrize(("aslant", "is_told"), [(0.0, True), (45.0, False), (90.0, False)])
def test_feather__an_upright_wall_in_plan(aslant, is_told):
    """An upright wall 8 mm high at an angle to the glue plane: a sliver along it, none aslant."""
    turned = math.radians(aslant)
    is_high = (Y - 15.1) * math.cos(turned) - (X - 20) * math.sin(turned) > 0
    spots = feather_spots(LATTICE, NOTHING, np.where(is_high, 12.0, 4.0), BOTH, 1, 15.1)
    assert bool(spots) is is_told
    assert not feather_spots(LATTICE, NOTHING, np.where(is_high, 12.0, 4.0), BOTH, 1, 6.0)


def test_thin__a_floor_that_falls_through_the_limit():
    """A level glue plane 0.4 mm up in a floor of 1 mm, that beyond x = 20 is 6 mm thick.

    A ball of 2 mm that stands on the underside touches the upper edge, 1 mm up, when it stands up to
    sqrt(2 * 1 - 1 * 1) = 1 mm beyond it: so far the wood is below the limit, too.
    """
    walls = wall_thickness(LATTICE, NOTHING, np.where(X < 20, 1.0, 6.0), 3.0)
    (spot,) = thin_glue_spots(walls, ALL, 2.0, 2, 0.4)
    assert spot.least == pytest.approx(1.0, abs=1e-5)
    assert spot.size == pytest.approx((21, 30), abs=0.3)
    assert not thin_glue_spots(walls, ALL, 2.0, 2, 4.0)  # in the thick wood
    assert not thin_glue_spots(walls, ALL, 0.9, 2, 0.4)  # thick enough


def test_thin__an_upright_plane_across_a_floor():
    walls = wall_thickness(LATTICE, NOTHING, np.full(LATTICE.shape, 1.5), 3.0)
    (spot,) = thin_glue_spots(walls, ALL, 2.0, 1, 15.1)
    assert spot.size == pytest.approx((40, 0.25), abs=0.01)
    assert spot.at[1] == pytest.approx(15.1, abs=0.13)


@pytest.mark.parametrize(("aslant", "is_told"), [(5.0, True), (10.0, True), (19.0, False), (25.0, False)])
def test_feather__an_upright_wall_aslant_is_known_to_3_degrees(aslant, is_told):
    turned = math.radians(aslant)
    is_high = (Y - 15.1) * math.cos(turned) - (X - 20) * math.sin(turned) > 0
    spots = feather_spots(LATTICE, NOTHING, np.where(is_high, 30.0, 4.0), BOTH, 1, 15.1)
    assert bool(spots) is is_told
    for spot in spots:
        assert spot.least == pytest.approx(aslant, abs=3.0)


def test_thin__a_level_plane_across_an_upright_rib():
    """A rib of 2 mm stands 10 mm high on a base of 4: a glue plane at 8 runs in it, one at 2 in the base."""
    upper = np.where(np.abs(X - 20) < 1, 14.0, 4.0)
    walls = wall_thickness(LATTICE, NOTHING, upper, 3.0)
    (spot,) = thin_glue_spots(walls, ALL, 3.0, 2, 8.0, upper > 8)
    assert abs(spot.least - 2) <= spot.bound <= 0.5
    assert spot.size == pytest.approx((2, 30), abs=0.3)
    assert spot.at[0] == pytest.approx(20, abs=1)
    assert spot.at[2] == 8.0
    assert not thin_glue_spots(walls, ALL, 3.0, 2, 2.0, upper > 2)
    assert not thin_glue_spots(walls, ALL, 1.4, 2, 8.0, upper > 8)  # thick enough


def test_thin__a_rib_that_is_thick_where_the_plane_runs():
    """The rib 2 mm thick over z = 10 alone, and 8 mm below: nothing thin is there at 8."""
    upper = np.where(np.abs(X - 20) < 1, 14.0, np.where(np.abs(X - 20) < 4, 10.0, 4.0))
    walls = wall_thickness(LATTICE, NOTHING, upper, 3.0)
    assert thin_glue_spots(walls, ALL, 3.0, 2, 12.0, upper > 12)
    assert not thin_glue_spots(walls, ALL, 3.0, 2, 8.0, upper > 8)
