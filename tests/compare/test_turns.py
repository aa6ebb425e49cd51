"""Which turn fits: told when another is far better, never on a symmetric or a fitting part."""

import numpy as np
import pytest

from simkit.compare.turns import CLIP, GOOD, fit_turn, side_error
from simkit.stock.field import Lattice, blank_field
from simkit.target.envelope import Envelopes

LATTICE = Lattice((0.0, 0.0), 1.0, 30, 20)
TURNS = ("about x", "about y")


def fit(stated, **errors):
    return fit_turn(1, stated, lambda turn: errors[turn.replace(" ", "_")], TURNS)


def test_fit_turn__another_that_is_far_better_is_named():
    found = fit("about y", about_x=0.02, about_y=2.8)
    assert found.better == "about x"
    assert found.errors == {"about y": 2.8, "about x": 0.02}


def test_fit_turn__the_stated_one_that_fits_stays():
    found = fit("about x", about_x=0.02, about_y=2.8)
    assert found.better is None
    assert found.is_told_apart


def test_fit_turn__a_symmetric_part_cannot_be_told_apart():
    found = fit("about x", about_x=0.02, about_y=0.02)
    assert found.better is None
    assert not found.is_told_apart


def test_fit_turn__neither_fits_is_no_wrong_turn():
    assert fit("about y", about_x=1.5, about_y=2.8).better is None


def test_fit_turn__a_small_error_is_no_wrong_turn():
    assert fit("about y", about_x=0.0, about_y=GOOD).better is None


@pytest.mark.parametrize("up", [1, -1])
def test_side_error__mean_of_clipped_differences_inside_the_outline(up):
    field = blank_field(LATTICE, 30.0, 20.0, 10.0)
    wanted = np.full(LATTICE.shape, np.nan)
    wanted[5:15, :10] = 10.0 - 2.0 if up > 0 else 2.0  # half the outline 2 mm off
    wanted[5:15, 10:20] = 10.0 - 40.0 if up > 0 else 40.0  # the other half far off: clipped
    envelopes = Envelopes(LATTICE, wanted, wanted, np.zeros(LATTICE.shape))
    assert side_error(field, envelopes, up) == pytest.approx((2.0 + CLIP) / 2)
