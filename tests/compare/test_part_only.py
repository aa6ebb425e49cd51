"""The part's own columns: tabs, frame and the hair of the trench are left out, a gouge is not."""

import numpy as np
import pytest

from simkit.compare.part_only import part_columns
from simkit.stock.field import Lattice
from simkit.target.envelope import Envelopes

LATTICE = Lattice((0.0, 0.0), 0.5, 40, 20)
X, Y = np.meshgrid(LATTICE.x(), LATTICE.y())
IS_PART = (X > 5) & (X < 15)
PART = Envelopes(
    LATTICE,
    np.where(IS_PART, 1.0, np.nan),
    np.where(IS_PART, 9.0, np.nan),
    np.zeros(LATTICE.shape),
)


def test_part_columns__what_stands_outside_the_outline_is_left_out():
    lower, upper = part_columns(np.full(LATTICE.shape, 1.0), np.full(LATTICE.shape, 9.0), PART, 0.5)
    assert np.array_equal(upper > lower, IS_PART)
    assert upper[IS_PART] == pytest.approx(9.0)


def test_part_columns__the_outermost_cell_cut_with_the_trench_goes():
    cut = np.where(X < 5.5, 4.0, 9.0)  # the trench took the first column of the part down to 4
    lower, upper = part_columns(np.full(LATTICE.shape, 1.0), cut, PART, 0.5)
    assert np.array_equal(upper > lower, IS_PART & (X > 5.5))


def test_part_columns__a_shallow_cut_at_the_edge_and_a_deep_one_inside_stay():
    cut = np.where(X < 5.5, 8.5, np.where(np.abs(X - 10) < 1, 2.0, 9.0))
    lower, upper = part_columns(np.full(LATTICE.shape, 1.0), cut, PART, 0.5)
    assert np.array_equal(upper > lower, IS_PART)
    assert np.array_equal(upper[IS_PART], cut[IS_PART].astype(np.float32))


def test_part_columns__what_stands_proud_is_left_out():
    left = np.full(LATTICE.shape, 0.2)
    lower, upper = part_columns(left, np.where(Y > 5, 12.0, 8.5), PART, 0.5)
    assert lower[IS_PART] == pytest.approx(1.0)
    assert np.array_equal(upper[IS_PART], np.where(Y > 5, 9.0, 8.5)[IS_PART].astype(np.float32))
