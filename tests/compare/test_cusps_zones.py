"""Ridges put together by zone and cutter."""

import numpy as np
import pytest

from simkit.compare.cusps import Cusps
from simkit.compare.cusps_zones import SANDED, SMOOTHED, zone_cusps
from simkit.cutters import Cutter

CUTTERS = {1: Cutter(1, "ball", 6.0), 2: Cutter(2, "ball", 3.0)}


def made(height, direction, tool, is_even, slope=0.0):
    n = len(height)
    zero = np.zeros(n)
    return Cusps(
        side=1,
        area=4.0,
        is_open=np.ones((80, 120), bool),
        is_even=np.array(is_even),
        cell=np.column_stack([np.zeros(n, int), np.arange(n)]),
        at=np.column_stack([np.arange(n), zero, zero]),
        height=np.array(height),
        bound=zero + 0.001,
        mean=np.array(height) / 3,
        stepover=zero + 0.6,
        direction=np.array(direction),
        slope=zero + slope,
        across=zero + slope,
        row=np.arange(n),
        tool=np.array(tool),
    )


def test_zone_cusps__typical_of_the_even_sites_worst_of_all():
    cusps = made([0.010, 0.012, 0.014, 0.09], [179.0, 1.0, 0.0, 90.0], [1] * 4, [True] * 3 + [False])
    (row,) = zone_cusps(cusps, CUTTERS, 0.01)
    assert (row.zone, row.cutter, row.sites, row.area) == ("whole part", 1, 4, 12.0)
    assert row.typical == pytest.approx(0.012)
    assert (row.worst, row.at, row.row) == (0.09, (3.0, 0.0, 0.0), 3)
    # Passes have no sense: 179 and 1 degree are 2 apart, and their mean is 0.
    assert np.sin(np.radians(row.direction)) == pytest.approx(0.0, abs=1e-3)
    # s = 2 sqrt(2 R h - h^2); R 3, h 0.01: 0.48948953.
    assert row.wanted_stepover == pytest.approx(0.48948953, abs=1e-5)
    assert row.volume == pytest.approx((0.010 + 0.012 + 0.014) / 3 * 4.0)
    assert row.sanding == pytest.approx(row.volume / SANDED + 12.0 / SMOOTHED)


def test_zone_cusps__zones_and_cutters_apart():
    cusps = made([0.01, 0.02, 0.03, 0.04], [0.0, 45.0, 90.0, 135.0], [1, 1, 2, 1], [True] * 4)
    zones = np.array([0, 1, 1, 1])
    rows = zone_cusps(cusps, CUTTERS, 0.02, zones, ("show", "floor"))
    assert [(row.zone, row.cutter, row.typical) for row in rows] == [
        ("show", 1, 0.01),
        ("floor", 1, 0.03),
        ("floor", 2, 0.03),
    ]
    assert (
        zone_cusps(made([0.02] * 4, [0.0, 45.0, 90.0, 135.0], [1] * 4, [True] * 4), CUTTERS, 0.02)[
            0
        ].direction
        is None
    )


def test_zone_cusps__a_slope_needs_closer_passes_and_has_more_area():
    # Along the plane the passes lie s / cos t apart, so the plan stepover is the flat one times cos t.
    t = np.radians(40.0)
    (row,) = zone_cusps(made([0.02], [0.0], [1], [True], np.tan(t)), CUTTERS, 0.01)
    assert row.wanted_stepover == pytest.approx(0.48948953 * np.cos(t), abs=1e-5)
    assert row.volume == pytest.approx(0.02 / 3 * 4.0 / np.cos(t))


def test_zone_cusps__nothing_traced():
    assert zone_cusps(made([], [], [], []), CUTTERS, 0.02) == []
