"""A whole side that lies off the part: planted shifts are found again, local faults are no shift."""

import numpy as np
import pytest
import trimesh

from simkit.compare.deviation import deviation
from simkit.compare.offset import side_offset
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import TRAY, TRAY_LATTICE, exact_field, field_of, grid_of, plan

LATTICE = Lattice((0.0, 0.0), 0.25, 160, 160)


def bowl(shift=(0.0, 0.0, 0.0)):
    mesh = trimesh.creation.icosphere(5, radius=15.0)
    mesh.apply_scale([1.0, 1.0, 0.6])
    mesh.apply_translation(np.array([20.0, 20.0, 10.0]) + shift)
    return mesh


def cut_field(field):
    field.upper_move[:] = 0
    field.lower_move[:] = 0
    return field


def found(field, mesh, side, lattice):
    grid = grid_of(mesh)
    around = envelopes(grid, lattice)
    limits = np.full(lattice.shape, 0.1), np.full(lattice.shape, 0.3)
    return side_offset(cut_field(field), around, deviation(field, around, grid, side), *limits)


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("shift", [(0.6, 0.0, 0.0), (-0.4, 0.5, 0.0), (0.0, 0.0, -0.5), (0.3, -0.3, 0.4)])
def test_offset__a_planted_shift_is_found_again(side, shift):
    field, _ = exact_field(grid_of(bowl(shift)), LATTICE)
    one = found(field, bowl(), side, LATTICE)
    assert one.shift == pytest.approx(shift, abs=0.05)
    assert one.before > 0.4  # a shift to the side shows on the slopes alone
    assert one.is_the_cause


def test_offset__flats_show_depth_alone():
    field, _ = exact_field(grid_of(TRAY), TRAY_LATTICE)
    field.upper[field.upper > 0] -= 0.4
    one = found(field, TRAY, 1, TRAY_LATTICE)
    assert one.shift == pytest.approx((0, 0, -0.4), abs=1e-4)
    assert one.is_the_cause


def test_offset__a_pocket_too_deep_is_no_shift():
    field, around = exact_field(grid_of(TRAY), TRAY_LATTICE)
    field.upper[around.upper == 3] = 2
    one = found(field, TRAY, 1, TRAY_LATTICE)
    assert not one.is_the_cause
    field, _ = exact_field(grid_of(bowl()), LATTICE)
    x, y = plan(LATTICE)
    field.upper[np.hypot(x - 20, y - 20) < 6] -= 1.0
    one = found(field, bowl(), 1, LATTICE)
    assert one.shift == pytest.approx((0, 0, 0), abs=0.02)
    assert not one.is_the_cause


def test_offset__a_good_cut_and_a_side_nobody_cut():
    field, _ = exact_field(grid_of(bowl()), LATTICE)
    assert not found(field, bowl(), 1, LATTICE).is_the_cause
    around = envelopes(grid_of(TRAY), TRAY_LATTICE)
    blank = field_of(TRAY_LATTICE, 0, 12)
    limits = np.full(TRAY_LATTICE.shape, 0.1), np.full(TRAY_LATTICE.shape, 0.3)
    assert side_offset(blank, around, deviation(blank, around, grid_of(TRAY), 1), *limits) is None
