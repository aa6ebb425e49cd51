"""A whole side that lies off the part: planted shifts are found again, local faults are no shift."""

import numpy as np
import pytest
import trimesh

from simkit.compare.deviation import deviation
from simkit.compare.offset import side_offset
from simkit.compare.offset_search import CLIP, FARTHEST, LEAST_SEEN, alike_shifts
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
    assert np.all(np.abs(np.array(one.shift) - shift) <= one.bound)
    assert max(one.bound) < 0.05
    assert one.before > 0.4  # a shift to the side shows on the slopes alone
    assert one.is_the_cause


def test_offset__flats_show_depth_alone():
    field, _ = exact_field(grid_of(TRAY), TRAY_LATTICE)
    field.upper[field.upper > 0] -= 0.4
    one = found(field, TRAY, 1, TRAY_LATTICE)
    assert one.shift == pytest.approx((0, 0, -0.4), abs=1e-4)
    assert one.bound == pytest.approx((0, 0, 0), abs=1e-3)
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
    good = found(field, bowl(), 1, LATTICE)
    assert not good.is_the_cause
    assert (good.shift, good.before, good.after) == ((0, 0, 0), 0, 0)
    around = envelopes(grid_of(TRAY), TRAY_LATTICE)
    blank = field_of(TRAY_LATTICE, 0, 12)
    limits = np.full(TRAY_LATTICE.shape, 0.1), np.full(TRAY_LATTICE.shape, 0.3)
    assert side_offset(blank, around, deviation(blank, around, grid_of(TRAY), 1), *limits) is None


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("shift", [(4.0, 3.0, 0.0), (-2.6, 1.3, 0.4), (0.0, -5.2, 0.0)])
def test_offset__millimetres_are_found_too(side, shift):
    field, _ = exact_field(grid_of(bowl(shift)), LATTICE)
    one = found(field, bowl(), side, LATTICE)
    assert one.shift == pytest.approx(shift, abs=0.05)
    assert np.all(np.abs(np.array(one.shift) - shift) <= one.bound)
    assert one.is_the_cause
    assert one.rough == LATTICE.cell


@pytest.mark.parametrize("shift", [(3.0, -2.0), (-4.5, 0.0)])
def test_offset__millimetres_of_a_part_without_slopes(shift):
    """Upright walls alone: known to the cells, which is what `rough` says."""
    moved = TRAY.copy()
    moved.apply_translation([*shift, 0.0])
    field, _ = exact_field(grid_of(moved), TRAY_LATTICE)
    field.lower[:] = 0.0  # the blank goes on all round the part, cut down to a skin of half a millimetre
    field.upper[:] = np.where(field.upper > 0, field.upper, 0.5)
    one = found(field, TRAY, 1, TRAY_LATTICE)
    assert one.is_the_cause
    assert one.shift == pytest.approx((*shift, 0.0), abs=one.rough)


def test_offset__a_side_off_in_one_place_or_not_cut_there_is_no_shift():
    field, around = exact_field(grid_of(TRAY), TRAY_LATTICE)
    x, _ = plan(TRAY_LATTICE)
    is_left = (around.upper == 3) & (x < np.median(x))
    field.upper[is_left] = 9  # half of the floor was forgotten
    assert not found(field, TRAY, 1, TRAY_LATTICE).is_the_cause


@pytest.mark.parametrize("seed", range(4))
def test_alike_shifts__the_first_is_that_of_sums_written_out(seed):
    """Twin: the spread of the differences at every shift, one after the other."""
    rng = np.random.default_rng(seed)
    ny, nx, cell = 24, 31, 1.0
    y, x = np.mgrid[:ny, :nx]
    target = np.where(np.hypot(x - 15, y - 11) < 8, 3 + np.sin(x / 2.0) + np.cos(y / 3.0), np.nan)
    away = tuple(int(k) for k in rng.integers(-3, 4, 2))
    cut = np.roll(np.where(np.isfinite(target), target, -np.inf), away, (0, 1)) + rng.normal(
        0, 0.02, (ny, nx)
    )
    low, high = np.nanmin(target) - CLIP, np.nanmax(target) + CLIP
    rows, columns = np.nonzero(np.isfinite(target))
    best = (np.inf, None)
    for ky in range(-ny + 1, ny):
        for kx in range(-nx + 1, nx):
            is_on = (rows + ky >= 0) & (rows + ky < ny) & (columns + kx >= 0) & (columns + kx < nx)
            if is_on.sum() < LEAST_SEEN * len(rows) or max(abs(ky), abs(kx)) > FARTHEST / cell:
                continue
            r, c = rows[is_on], columns[is_on]
            spread = np.var(np.clip(cut[r + ky, c + kx], low, high) - target[r, c])
            best = min(best, (spread, (ky, kx)))
    assert best[1] == away
    assert alike_shifts(cut, target, cell)[0] == (away, cell)
