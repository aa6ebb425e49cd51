"""What bites are summed up of, compiled, against its twin of NumPy, to the bit."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.effort import bite, stretch_kernels
from simkit.effort.in_wood import parts_in_wood
from simkit.effort.motion import move_times
from simkit.job.model import Machine
from tests.effort import plain_bites
from tests.effort.test_motion import random_moves

CUTTERS = {
    1: Cutter(1, "flat", 6.0),
    2: Cutter(2, "ball", 6.0),
    3: Cutter(3, "vee", 12.0, point=90.0),
    4: Cutter(4, "bull-nose", 8.0, corner=2.0),
    5: Cutter(5, "tapered ball", 6.0, tip=2.0, taper=8.0),
    6: Cutter(6, "drill", 3.0),
}


def case(seed):
    """Random moves of all cutters, and a replay made up of them: what it tells need not be so anywhere."""
    rng = np.random.default_rng(seed)
    moves = random_moves(seed)
    n = len(moves)
    for at in np.flatnonzero((moves.kind == 0) & (rng.random(n) < 0.1)):
        moves.end[at] = moves.start[at]
    moves = replace(
        moves,
        rapid=rng.random(n) < 0.1,
        tool=np.sort(rng.integers(1, 8, n)).astype(np.int32),  # 7: of no cutter
        feed=np.where(rng.random(n) < 0.1, np.nan, 600.0),
    )
    volume = np.where(rng.random(n) < 0.7, rng.uniform(0, 2, n).round(1), 0.0)
    low = np.minimum(moves.start, moves.end)[:, 2]
    along = np.sort(rng.uniform(-1, 1, (n, 2)) * moves.length()[:, None], axis=1)
    along[rng.random(n) < 0.1] = np.nan
    met = SimpleNamespace(
        volume=volume,
        right=volume * rng.uniform(-1, 1, n),
        depth=np.float32(rng.uniform(0, 3, n)),
        along=along,
        top=low + rng.uniform(0, 4, n),
        under=rng.uniform(0, 2, n),
    )
    return moves, met


@pytest.mark.parametrize("seed", range(20))
def test_stretches_and_sums__as_by_numpy(seed):
    moves, met = case(seed)
    times = move_times(moves, Machine())
    plain = plain_bites.summed(moves, met, times, CUTTERS, 0.3)
    compiled = bite.summed(moves, met, times, CUTTERS, 0.3)
    for one, other in zip(plain[:5], compiled[:5], strict=True):
        assert one.dtype == other.dtype
        assert np.array_equal(one, other)
    assert len(plain[5]) == stretch_kernels.SUMS
    for name, values in plain[5].items():
        assert np.array_equal(values, compiled[5][getattr(stretch_kernels, name)]), name


@pytest.mark.parametrize("seed", range(20))
def test_parts_in_wood__as_by_numpy(seed):
    moves, met = case(seed)
    found = parts_in_wood(moves, met, CUTTERS)
    assert np.array_equal(found, plain_bites.parts_in_wood(moves, met, CUTTERS))
    assert (found[:, 1] > 0).any()
