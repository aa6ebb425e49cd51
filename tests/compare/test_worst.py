"""The worst of many cells, found without measuring all of them, against all of them measured."""

import numpy as np
import pytest

from simkit.compare.deviation import CutSurface, _vertical, two_way
from simkit.compare.worst import BOTH_ENDS, MIDDLE, SAME, worst_two_way
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import field_of, grid_of
from tests.verdict_jobs import solid

LATTICE = Lattice((2.0, 2.0), 0.1, 60, 50)


def steps_and_waves(seed):
    """A target of waves and steep steps, a cut rough about it, and the cells of one group by their blocks."""
    rng = np.random.default_rng(seed)
    z = 8.0 + rng.normal(0, 0.2, (21, 25))
    z[8:, 10:] += 1.5
    grid = grid_of(solid(z, 12.0, 10.0))
    around = envelopes(grid, LATTICE)
    x, y = np.meshgrid(LATTICE.x(), LATTICE.y())
    off = rng.uniform(-0.6, 0.6) + 0.8 * np.sin(rng.uniform(1, 3) * x) * np.cos(rng.uniform(1, 3) * y)
    upper = around.upper + off + rng.normal(0, 0.02, LATTICE.shape)
    upper[rng.uniform(size=LATTICE.shape) < 0.02] -= 2.0
    lower = np.where(rng.uniform(size=LATTICE.shape) < 0.03, 20.0, 0.0)  # columns that hold nothing
    return field_of(LATTICE, lower, upper), around, grid


@pytest.mark.parametrize("shares", [MIDDLE, BOTH_ENDS])
@pytest.mark.parametrize("seed", range(6))
def test_worst__is_that_of_all_cells_measured(seed, shares):
    field, around, grid = steps_and_waves(seed)
    vertical = _vertical(field, around, 1)
    flat = np.flatnonzero(vertical)
    iy, ix = np.divmod(flat, LATTICE.nx)
    group = 2 * (iy // 25 * 2 + ix // 30) + (vertical.ravel()[flat] < 0)
    asked = (flat, field, around, grid, 1, vertical.ravel()[flat], (CutSurface(field, 1),))
    every = np.array(two_way(*asked))
    worst = np.array(worst_two_way(*asked, group, shares))
    is_told = ~np.isnan(worst[0])
    assert (worst[:, is_told] == every[:, is_told]).all()
    for share in shares:
        score = np.array(share) @ np.abs(every)
        for number in np.unique(group):
            mine = np.flatnonzero(group == number)
            assert is_told[mine[score[mine] >= score[mine].max() - SAME / 2]].all()
    assert is_told.mean() < 0.8  # and not by measuring all
