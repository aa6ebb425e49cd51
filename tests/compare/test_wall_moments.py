"""How thick a wall was at moments of a job: slabs and wedges whose thickness is known on paper."""

import numpy as np
import pytest

from simkit.compare.wall_moments import Across, across_walls, thin_since


@pytest.mark.parametrize("degrees", [0, 20, 55])
def test_across__a_slab_on_a_slope_is_as_thick_as_its_height_times_the_cosine(degrees):
    """Plane geometry: a slab of height t along z, sloped, is t cos a thick along its normal."""
    slope, cosine = np.tan(np.radians(degrees)), np.cos(np.radians(degrees))
    normal = np.array([-slope, 0.0, 1.0]) * cosine

    def heights_at(points, tall):
        return slope * points[:, 0], slope * points[:, 0] + tall

    ends = [np.array([5.0, 1.0, 5.0 * slope]) + s * normal for s in (0.0, 2.0 * cosine)]
    (found,) = across_walls(heights_at, [ends[0]], [ends[1]], (6.0, 3.0, 2.0), reach=8.0)
    for one, tall in zip(found, (6.0, 3.0, 2.0), strict=True):
        assert one.thickness == pytest.approx(tall * cosine, abs=one.bound)
        assert one.bound == pytest.approx(16.0 / 400)
        assert not one.is_least


def test_across__an_upright_rib_wood_beyond_reach_and_no_wood_at_all():
    def heights_at(points, moment):
        x = points[:, 0]
        upper = {"whole": 10.0 + 0 * x, "rib": np.where(np.abs(x - 3) < 0.7, 10.0, 1.0), "gone": 1.0 + 0 * x}
        return np.zeros(len(x)), upper[moment]

    (found,) = across_walls(heights_at, [[2.3, 0, 5]], [[3.7, 0, 5]], ("whole", "rib", "gone"), reach=2.0)
    whole, rib, gone = found
    assert whole.is_least
    assert whole.thickness == pytest.approx(4.0, abs=whole.bound)
    assert not rib.is_least
    assert rib.thickness == pytest.approx(1.4, abs=rib.bound)
    assert not gone.is_least
    assert gone.thickness == 0.0


@pytest.mark.parametrize(
    ("thick", "limit", "first"),
    [
        ((9.0, 2.0, 1.8), 2.5, 1),
        ((9.0, 2.6, 1.8), 2.5, 2),
        ((2.0, 9.0, 1.8), 2.5, 2),  # resin made it thick again
        ((9.0, 3.0, 3.0), 2.5, 1),  # no thinner than the limit: since it is as it ends
        ((1.0, 1.0, 1.0), 2.5, 0),
    ],
)
def test_thin_since__the_moment_from_which_on_it_stays_thin(thick, limit, first):
    assert thin_since([Across(one, 0.01, False) for one in thick], limit) == first


def test_thin_since__what_goes_on_beyond_the_line_is_not_thin():
    moments = [Across(2.0, 0.01, True), Across(2.0, 0.01, False)]
    assert thin_since(moments, 2.5) == 1
