"""The play of dowels: closed form against brute force, and the fit of the standard."""

import math

import numpy as np
import pytest

from simkit.compare.dowel_play import play_of, two_dowels
from simkit.compare.dowels import Hole, Pin
from simkit.job.model import Dowel


def brute(a, b, play1, play2):
    """Half the ranges of shift along, across and turn, by trying every place of the first hole and turn."""
    r1, r2 = play1 / 2, play2 / 2
    most = (r1 + r2) / min(a, b) * 1.2
    x, y, t = np.meshgrid(
        np.linspace(-r1, r1, 81), np.linspace(-r1, r1, 81), np.linspace(-most, most, 401), indexing="ij"
    )
    ux, uy = x + a * np.cos(t) - b, y + a * np.sin(t)
    is_possible = (np.hypot(x, y) <= r1 + 1e-12) & (np.hypot(ux, uy) <= r2 + 1e-12)
    along, across = ((x + ux) / 2)[is_possible], ((y + uy) / 2)[is_possible]
    return (
        np.ptp(along) / 2,
        np.ptp(across) / 2,
        np.ptp(t[is_possible]) / 2,
    )


@pytest.mark.parametrize(
    ("a", "b", "play1", "play2"),
    [(260, 260, 0.1, 0.1), (60, 60, 0.2, 0.05), (60, 60.06, 0.2, 0.1), (40, 39.95, 0.1, 0.3)],
)
def test_two_dowels__agrees_with_brute_force(a, b, play1, play2):
    found, tried = two_dowels(a, b, play1, play2), brute(a, b, play1, play2)
    scale = (play1 + play2) / 2
    assert found[0] == pytest.approx(tried[0], abs=0.03 * scale)
    assert found[1] == pytest.approx(tried[1], abs=0.03 * scale)
    assert found[2] == pytest.approx(tried[2], abs=0.03 * scale / a)


def test_two_dowels__by_hand():
    # Equal play p on both: the middle shifts p / 2 any way, the turn is 2 arcsin(p / (2 a)).
    along, across, turn = two_dowels(260.0, 260.0, 0.1, 0.1)
    assert (along, across) == pytest.approx((0.05, 0.05), abs=1e-9)
    assert turn == pytest.approx(2 * math.asin(0.1 / 520), rel=1e-6)
    assert two_dowels(260.0, 260.2, 0.1, 0.1) == (0.0, 0.0, 0.0)


def pins_of(dowel, apart=260.0, off=0.0):
    hole = Hole(dowel, (8.0, 45.0), 0.0, 0.0, 6.0, True, 0, "drilled", 1, -1.0, 0.0)
    pins = []
    for x, shift in ((8.0, 0.0), (8.0 + apart, off)):
        pins.append(Pin(dowel, hole, 1, (x + shift, 45.0), (x, 45.0), abs(shift), 0.0))
    return pins


def test_play__of_the_fit_is_the_most_clearance_of_the_standard():
    # ISO 286 at 6 mm: H7 0 to +12 um (a reprint), g6 -12 to -4 um (from memory): clearance 4 to 24 um.
    dowel = Dowel("d", (8.0, 45.0), 6.0, fit="H7/g6")
    assert dowel.play(6.0) == pytest.approx((0.004, 0.024))
    play = play_of(pins_of(dowel), 1)
    assert (play.along, play.across) == pytest.approx((0.012, 0.012), abs=1e-6)


@pytest.mark.parametrize(
    ("fit", "diameter", "least", "most"),
    [
        # Limits of hole and pin by ISO 286-2 in um, from memory: 8 H7 0/+15, g6 -5/-14; 10 h6 -9/0;
        # 12 H7 0/+18, g6 -6/-17; 12.7 h6 -11/0; 25 H7 0/+21, g6 -7/-20.
        ("H7/g6", 8.0, 5, 15 + 14),
        ("H7/h6", 10.0, 0, 15 + 9),
        ("H7/g6", 12.0, 6, 18 + 17),
        ("H7/h6", 12.7, 0, 18 + 11),
        ("H7/g6", 25.0, 7, 21 + 20),
        ("H7/h6", 6.0, 0, 12 + 8),
    ],
)
def test_play__of_fits_of_common_dowels(fit, diameter, least, most):
    dowel = Dowel("d", (8.0, 45.0), diameter, fit=fit)
    assert dowel.play(diameter) == pytest.approx((least / 1000, most / 1000))


def test_play__of_a_diameter_in_no_step_is_not_known():
    assert Dowel("d", (8.0, 45.0), 3.0, fit="H7/g6").play(3.0) is None
    assert Dowel("d", (8.0, 45.0), 30.5, fit="H7/g6").play(30.5) is None


def test_play__unknown_tight_and_one_dowel():
    assert play_of(pins_of(Dowel("d", (8.0, 45.0), 6.0)), 1) is None
    dowel = Dowel("d", (8.0, 45.0), 6.0, hole=6.05, pin=5.95)
    assert play_of(pins_of(dowel, off=0.15), 1).tight == pytest.approx(0.05, abs=1e-9)
    alone = play_of(pins_of(dowel)[:1], 1)
    assert alone.along == pytest.approx(0.05)
    assert math.isinf(alone.turn_degrees)
    play = play_of(pins_of(dowel), 1)
    # At the far dowel: 0.05 along, and across half of it from the shift and half from the turn, at most.
    assert play.at_most(268.0, 45.0) == pytest.approx(math.hypot(0.05, 0.1), abs=1e-4)


def test_play__two_names_for_one_hole_hold_as_one():
    dowel = Dowel("d", (8.0, 45.0), 6.0, hole=6.05, pin=5.95)
    play = play_of(pins_of(dowel, apart=0.0), 1)
    assert play.pair.radii == (pytest.approx(0.05),)
    # A third dowel elsewhere: its pairs with them count.
    pins = [*pins_of(dowel, apart=0.0), pins_of(dowel)[1]]
    assert play_of(pins, 1).pair.apart == pytest.approx(260.0)
