"""Height of the ridge between passes: handbook values, closed forms on slopes, a sampled twin."""

import numpy as np
import pytest

from simkit.compare.cusps_formula import cusp_height, stepover_for
from simkit.cutters import Cutter
from simkit.errors import ShapeError

BALL, FLAT = Cutter(1, "ball", 6.0), Cutter(2, "flat", 6.0)
DRILL = Cutter(3, "drill", 6.0, point=90.0)


def test_cusp_height__ball_on_a_floor():
    # h = R - sqrt(R^2 - s^2 / 4), textbook circle geometry; R 3, s 0.6: 0.01503768868.
    assert cusp_height(BALL, 0.6) == pytest.approx(0.01503768868, abs=1e-10)
    assert cusp_height(BALL, 6.0) == pytest.approx(3.0, abs=1e-9)
    assert cusp_height(BALL, 6.01) == np.inf


def test_cusp_height__ball_on_a_slope():
    # Spacing along the plane is s / cos t; t 30 degrees, R 3, s 0.6: 0.02006711485 normal to the plane.
    assert cusp_height(BALL, 0.6, np.tan(np.radians(30))) == pytest.approx(0.02006711485, abs=1e-10)


@pytest.mark.parametrize("degrees", [5.0, 20.0, 45.0, 70.0])
def test_cusp_height__flat_on_a_slope_is_a_stair(degrees):
    t = np.radians(degrees)
    assert cusp_height(FLAT, 0.8, np.tan(t)) == pytest.approx(0.8 * np.sin(t), abs=1e-9)
    assert cusp_height(FLAT, 0.8) == pytest.approx(0.0, abs=1e-12)


def test_cusp_height__cone_on_a_floor():
    # A cone of 90 degrees rises 1 mm per mm: half the stepover.
    assert cusp_height(DRILL, 0.5) == pytest.approx(0.25, abs=1e-9)


@pytest.mark.parametrize("cutter", [BALL, FLAT, DRILL], ids=str)
@pytest.mark.parametrize("slope", [0.0, 0.3, 0.9])
def test_cusp_height__against_passes_sampled_finely(cutter, slope):
    # The lowest of many passes above a plane, sampled every 1e-4 mm; lines and slopes only.
    s, u = 1.1, np.arange(-1.2, 1.2, 1e-4)
    r = np.linspace(0, cutter.radius, 200_001)
    touch = (slope * r - cutter.profile(r)).max()
    lowest = np.full(u.shape, np.inf)
    for k in range(-6, 7):
        lowest = np.minimum(lowest, cutter.profile(np.abs(u - k * s)) + k * s * slope)
    height = (lowest - (u * slope - touch)).max() / np.hypot(1, slope)
    assert cusp_height(cutter, s, slope) == pytest.approx(height, abs=2e-4)


def test_stepover_for__ball_on_a_floor():
    # s = 2 sqrt(2 R h - h^2); R 3, h 0.01: 0.48948953.
    assert stepover_for(BALL, 0.01) == pytest.approx(0.48948953, abs=6e-6)


@pytest.mark.parametrize("slope", [0.0, 0.5, 2.0])
@pytest.mark.parametrize("cutter", [BALL, FLAT, DRILL], ids=str)
def test_stepover_for__undoes_the_height(cutter, slope):
    s = stepover_for(cutter, 0.02, slope)
    assert 0 < s <= 6.0
    if s < 6.0:
        assert cusp_height(cutter, s, slope) <= 0.02
        assert cusp_height(cutter, s + 2e-5, slope) > 0.02


def test_cusp_height__mistakes_of_the_caller():
    with pytest.raises(ShapeError, match="more than nothing"):
        cusp_height(BALL, 0.0)
    with pytest.raises(ShapeError, match="more than nothing"):
        stepover_for(BALL, 0.0)
