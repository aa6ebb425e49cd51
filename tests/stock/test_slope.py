"""Bounds near a point: tangent planes of straight moves, lowest heights of arcs, shifted cutters."""

import numpy as np
import pytest

from simkit.frames import IDENTITY
from simkit.stock import cut as cut_module
from simkit.stock.record_kernels import X, Y
from simkit.stock.slope_kernels import height_and_slope, lowest_near
from tests.stock.some_moves import (
    CUTTERS,
    SHAPES,
    heights,
    points_near,
    random_arc,
    random_line,
    random_upright,
)

EVERYWHERE = np.array([-1e3, 1e3, -1e3, 1e3, 1e9])


def record_of(moves):
    packed = cut_module.Packed(moves, CUTTERS, IDENTITY, EVERYWHERE, 0, 0)
    return packed.codes[0], packed.records[0]


@pytest.mark.parametrize("tool", CUTTERS)
def test_height_and_slope__is_a_plane_below_the_whole_sweep(tool):
    rng = np.random.default_rng(tool)
    checked = 0
    for _ in range(25):
        moves = random_line(rng, tool)
        code, a = record_of(moves)
        points = points_near(rng, moves, 12)
        others = np.concatenate([points_near(rng, moves, 40), points + rng.normal(0, 1e-3, points.shape)])
        there = heights(others, moves)
        for point, g in zip(points, heights(points, moves), strict=True):
            value, gx, gy = height_and_slope(code, a, point[0] - a[X], point[1] - a[Y])
            if np.isinf(g):
                assert (value, gx, gy) == (np.inf, 0.0, 0.0)
                continue
            assert value == g
            if np.hypot(gx, gy) > 50:
                continue  # so near the rim that 1e-9 mm in plan tells
            plane = value + (others - point) @ [gx, gy]
            assert (there >= plane - 1e-6).all()
            checked += 1
    assert checked > 60


@pytest.mark.parametrize("tool", CUTTERS)
def test_height_and_slope__is_the_slope_where_there_is_one(tool):
    rng = np.random.default_rng(50 + tool)
    step, seen = 1e-4, 0
    for _ in range(20):
        moves = random_line(rng, tool)
        code, a = record_of(moves)
        points = points_near(rng, moves, 12)
        sides = np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]) * step
        around = np.array([heights(points + side, moves) for side in sides])
        for point, (east, west, north, south), g in zip(
            points, around.T, heights(points, moves), strict=True
        ):
            if not np.isfinite([east, west, north, south, g]).all():
                continue
            if np.abs([east + west - 2 * g, north + south - 2 * g]).max() > 1e-7:
                continue  # a kink or the rim close by
            _, gx, gy = height_and_slope(code, a, point[0] - a[X], point[1] - a[Y])
            assert [gx, gy] == pytest.approx(
                [(east - west) / (2 * step), (north - south) / (2 * step)], abs=2e-3
            )
            seen += 1
    assert seen > 25


@pytest.mark.parametrize("make", [random_line, random_arc, random_upright])
@pytest.mark.parametrize("tool", SHAPES)
def test_lowest_near__is_below_all_heights_of_its_disc(make, tool):
    rng = np.random.default_rng(20 + tool)
    close = []
    for _ in range(15):
        moves = make(rng, tool)
        code, a = record_of(moves)
        for point in points_near(rng, moves, 4):
            away = float(rng.choice([0.0, 0.05, 0.7]))
            turn, part = rng.uniform(0, 2 * np.pi, 60), np.sqrt(rng.uniform(0, 1, 60))
            part[:20] = 1.0
            disc = point + away * (part * [np.cos(turn), np.sin(turn)]).T
            there = heights(disc, moves).min()
            bound = lowest_near(code, a, point[0] - a[X], point[1] - a[Y], away)
            assert bound <= there + 1e-9
            if np.isfinite(there) and away == 0.0:
                close.append(there - bound)
    assert np.median(close) < 3.0


@pytest.mark.parametrize("make", [random_line, random_arc, random_upright])
@pytest.mark.parametrize("tool", SHAPES)
def test_shifted__bounds_the_sweep_over_a_disc(make, tool):
    """Outwards it lies below everything within the shift, inwards above everything."""
    rng = np.random.default_rng(90 + tool)
    by = 0.35
    cutters = {tool: SHAPES[tool].shifted(by)}, SHAPES, {tool: SHAPES[tool].shifted(-by)}
    for _ in range(6):
        moves = make(rng, tool)
        points = points_near(rng, moves, 6)
        low, here, high = (heights(points, moves, one) for one in cutters)
        assert (low <= here).all()
        assert (here <= high).all()
        for k, point in enumerate(points):
            turn, part = rng.uniform(0, 2 * np.pi, 40), np.sqrt(rng.uniform(0, 1, 40))
            part[:15] = 1.0
            there = heights(point + by * (part * [np.cos(turn), np.sin(turn)]).T, moves)
            assert low[k] <= there.min() + 2e-7
            assert there.max() <= high[k] + 2e-7
