"""What a wider cutter gets at, against closings of scipy and an area on paper."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from simkit.effort.advice import _gets_at, _near, _over_disc
from simkit.effort.timing import timed
from simkit.frames import IDENTITY, turned
from simkit.stock.field import Field, blank_field, blank_lattice
from tests.effort.test_motion import UNEVEN, lines


@pytest.mark.parametrize("reach", [1, 2, 5])
def test_disc__row_by_row_is_the_closing_of_the_whole_disc(reach):
    values = np.random.default_rng(reach).normal(size=(40, 55))
    around = np.pad(values, 2 * reach, constant_values=-9.0)
    closed = _over_disc(_over_disc(around, reach, np.maximum), reach, np.minimum)
    along = np.arange(-reach, reach + 1)
    disc = along[:, None] ** 2 + along**2 <= reach**2
    inside = (slice(2 * reach, -2 * reach),) * 2
    assert np.array_equal(closed[inside], ndimage.grey_closing(around, footprint=disc)[inside])


@pytest.mark.parametrize("turn", ["none", "about x"])
@pytest.mark.parametrize("diameter", [8.0, 16.0])
def test_wider_cutter__leaves_the_corners_of_a_pocket(turn, diameter):
    # A pocket 30 x 20: a disc gets at all of it but what four square corners hold beside a quarter of it.
    before = blank_field(blank_lattice(60.0, 40.0, 0.2), 60.0, 40.0, 12.0)
    lower, upper = before.lower.copy(), before.upper.copy()
    box = (slice(50, 150), slice(75, 225))
    if turn == "none":
        upper[box] = 7.0
    else:
        lower[box] = 5.0
    after = Field(before.lattice, lower, upper, before.lower_move, before.upper_move)
    frame = IDENTITY if turn == "none" else turned(turn, 60.0, 40.0, 12.0)
    left = (4.0 - math.pi) * (diameter / 2) ** 2
    # A disc of whole cells of 0.2.
    assert _gets_at(before, after, frame, diameter) == pytest.approx(1 - left / 600.0, abs=0.02)
    assert _gets_at(before, after, frame, 24.0) == pytest.approx(0.0, abs=1e-9)  # wider than the pocket


@pytest.mark.parametrize("seed", range(3))
def test_near__what_lies_farther_takes_the_time_it_took(seed):
    rng = np.random.default_rng(seed)
    n = 4000
    turn = np.cumsum(rng.normal(0, 0.3, n))
    ways = np.column_stack([np.cos(turn), np.sin(turn), rng.normal(0, 0.1, n)])
    # Some are long.
    ways *= np.where(rng.random((n, 1)) < 0.02, 40.0, rng.uniform(0.05, 0.6, (n, 1)))
    places = np.concatenate([np.zeros((1, 3)), np.cumsum(ways, axis=0)])
    for at in (900, 910, 2500):
        places[at, 2] += 20.0  # a lift, and down again
    moves = lines(places, feed=9000.0)
    lower = places.copy()
    lower[:, 2] = np.minimum(lower[:, 2], places[[899, 909, 2499], 2].max() + 5.0)
    changed = (lower != places).any(axis=1)
    is_changed = changed[1:] | changed[:-1]
    after = replace(moves, start=lower[:-1], end=lower[1:])
    found, asked = _near(moves, np.flatnonzero(is_changed), UNEVEN)
    near = np.isin(np.arange(n), found)
    before, whole = timed(moves, UNEVEN).seconds, timed(after, UNEVEN).seconds
    assert np.abs(before - whole)[~near].max() < 1e-12
    part = timed(after[asked], UNEVEN).seconds
    assert np.abs(part - whole[asked])[near[asked]].max() < 1e-12
    assert np.abs(before - whole).sum() > 0.01
    assert is_changed.sum() < len(found) < len(asked) < n
