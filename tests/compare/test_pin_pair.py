"""What two dowels permit together: against closed forms and against trial by chance."""

import math

import numpy as np
import pytest
from scipy.stats import qmc

from simkit.compare.dowel_play import play_of
from simkit.compare.dowels import Hole, Pin
from simkit.compare.pin_pair import PinPair
from simkit.job.model import Dowel


def pair_of(r1, r2, differ=0.0, apart=60.0):
    return PinPair(("a", "b"), ((8.0, 45.0), (8.0 + apart, 45.0)), (r1, r2), differ)


def cube(points=14):
    return qmc.Sobol(3, scramble=True, seed=5).random_base2(points)


def by_trial(pair, count=400_000):
    """Places from a box, kept where the pins permit them; s counted from the first hole about its pin."""
    (r1, r2), rng = pair.radii, np.random.default_rng(4)
    s, t1, t2 = rng.uniform(-1, 1, (3, count)) * np.array([[r1 + r2], [r1], [r2]])
    kept = (s**2 + t1**2 <= r1**2) & ((s + pair.differ) ** 2 + t2**2 <= r2**2)
    return np.column_stack([s, t1, t2])[kept]


def test_alike__by_hand():
    """Density of s as r^2 - s^2: its variance is r^2 / 5, that of t1 a third of the mean of r^2 - s^2."""
    r = 0.05
    pair = pair_of(r, r)
    assert pair.sizes == pytest.approx([r] * 3)
    assert pair.standards == pytest.approx([r / math.sqrt(5)] + [r * math.sqrt(4 / 15)] * 2, rel=1e-5)
    assert pair.volume == pytest.approx(16 / 3 * r**3 / 60.0, rel=1e-5)
    s = pair.places(cube())[:, 0] / r
    for at in (-0.7, 0.2, 0.8):  # its distribution: 1/2 + (3 x - x^3) / 4
        assert (s <= at).mean() == pytest.approx(0.5 + (3 * at - at**3) / 4, abs=1e-3)


def test_turn_and_shift__of_dowels_alike():
    """Across is (t1 + t2) / 2, the turn (t2 - t1) / a: what one takes is lost to the other."""
    r, a = 0.05, 60.0
    _, t1, t2 = pair_of(r, r).places(cube()).T
    across, turn = (t1 + t2) / 2, (t2 - t1) / a
    assert (np.abs(across) + np.abs(turn) * a / 2).max() <= r
    assert np.abs(across).max() > 0.98 * r
    assert np.abs(turn).max() > 0.98 * 2 * r / a
    # Not correlated, so that across has half the variance of each of the two.
    assert np.std(across) == pytest.approx(r * math.sqrt(2 / 15), rel=2e-3)


def test_one_hole_without_play():
    """A tight first hole leaves the second to swing: s = 0, t1 = 0, t2 even within what it has."""
    pair = pair_of(0.0, 0.1)
    assert pair.sizes == pytest.approx([0, 0, 0.1])
    s, t1, t2 = pair.places(cube()).T
    assert not s.any()
    assert not t1.any()
    assert np.std(t2) == pytest.approx(0.1 / math.sqrt(3), rel=1e-3)
    # Holes 0.06 farther apart than their pins leave it a chord of its disc: 0.08 either way.
    assert pair_of(0.0, 0.1, 0.06).sizes == pytest.approx([0, 0, 0.08])


def test_one_dowel__is_a_disc():
    pair = PinPair(("a",), ((8.0, 45.0),), (0.1,))
    places = pair.places(cube())
    assert np.hypot(*places[:, :2].T).max() <= 0.1 + 1e-9
    assert not places[:, 2].any()
    assert pair.standards[:2] == pytest.approx([0.05, 0.05], rel=1e-4)  # r / 2 of an even disc
    assert (np.hypot(*places[:, :2].T) <= 0.05).mean() == pytest.approx(0.25, abs=2e-3)


@pytest.mark.parametrize(
    ("r1", "r2", "differ"),
    [(0.05, 0.05, 0.04), (0.05, 0.02, 0.0), (0.02, 0.08, -0.05), (0.05, 0.05, 0.08), (0.1, 0.02, 0.09)],
)
def test_places__are_those_that_the_pins_permit_and_evenly_so(r1, r2, differ):
    pair = pair_of(r1, r2, differ)
    tried = by_trial(pair)
    s0 = tried[:, 0].mean()
    found = pair.places(cube())
    assert np.all((found[:, 0] + pair._mean) ** 2 + found[:, 1] ** 2 <= r1**2 + 1e-12)
    assert np.all((found[:, 0] + pair._mean + differ) ** 2 + found[:, 2] ** 2 <= r2**2 + 1e-12)
    size = pair.sizes
    assert np.abs(found[:, 0].mean()) < 2e-3 * size[0]
    # As spread as what trial finds, each and two together, within what the number of trials allows.
    near = 4 / len(tried) ** 0.5
    moved = tried - [s0, 0, 0]
    assert found.std(axis=0) == pytest.approx(moved.std(axis=0), rel=near)
    assert pair.standards == pytest.approx(moved.std(axis=0), rel=near)
    assert np.abs(np.corrcoef(found.T)[np.triu_indices(3, 1)]).max() < 0.02
    for k in ((0, 1), (0, 2), (1, 2)):
        product = (found[:, k[0]] * found[:, k[1]]).std()
        assert product == pytest.approx((moved[:, k[0]] * moved[:, k[1]]).std(), rel=2 * near)


def test_pair__of_more_dowels_the_two_that_permit_the_least():
    loose, tight = (
        Dowel(name, (8.0, 45.0), 6.0, hole=6.0 + play, pin=6.0) for name, play in (("a", 0.2), ("c", 0.02))
    )
    pins = []
    for x, dowel in ((0.0, loose), (200.0, loose), (120.0, tight)):
        hole = Hole(dowel, (x, 45.0), 0.0, 0.0, 6.0, True, 0, "drilled", 1, -1.0, 0.0)
        pins.append(Pin(dowel, hole, 1, (x, 45.0), (x, 45.0), 0.0, 0.0))
    pair = play_of(pins, 1).pair
    # What two permit goes down with their distance: the tight one with the farther of the others.
    assert set(pair.names) == {"a", "c"}
    assert pair.apart == pytest.approx(120.0)
    assert play_of([], 1) is None
