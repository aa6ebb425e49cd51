"""Wood outside the outline told apart: frame, tabs, skin, offcut, and what hangs on the part."""

import numpy as np
import pytest

from simkit.compare.outline import outline_step
from simkit.compare.outside import FRAME, OFFCUT, SKIN, STEP, TABS, told_apart
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import box, field_of, grid_of, plan

CELL = 0.25
LATTICE = Lattice((0.0, 0.0), CELL, 320, 240)  # a blank 80 x 60
PART = box((20, 15, 0), (60, 45, 12))  # with a trench 6 wide round it, the frame begins 6 mm off


def outside(change):
    """The part cut free in a blank 12 thick, spoilt by change(x, y, upper, is_trench)."""
    around = envelopes(grid_of(PART), LATTICE)
    x, y = plan(LATTICE)
    off = np.maximum(np.maximum(20 - x, x - 60), np.maximum(15 - y, y - 45))
    is_trench = (off > 0) & (off < 6)
    upper = np.where(is_trench, 0.0, 12.0)
    change(x, y, upper, is_trench, off)
    field = field_of(LATTICE, 0.0, upper)
    step = outline_step(field, around)
    return told_apart(field, around, step), step, x, y


FRAME_AREA = 80 * 60 - 52 * 42


def test_outside__only_a_frame():
    found, step, _, _ = outside(lambda *_: None)
    assert found.area == pytest.approx({"frame": FRAME_AREA, "tabs": 0, "skin": 0, "offcut": 0, "step": 0})
    assert found.volume["frame"] == pytest.approx(12 * FRAME_AREA)
    assert found.pieces["frame"] == 1
    assert not step.is_step.any()


def test_outside__tabs_are_counted():
    def change(x, y, upper, is_trench, off):
        for at in (30, 50):
            upper[is_trench & (np.abs(x - at) < 4)] = 2.0

    found, _, x, y = outside(change)
    # Four tabs 8 wide, 6 long, 2 high.
    assert found.pieces["tabs"] == 4
    assert found.area["tabs"] == pytest.approx(4 * 8 * 6)
    assert found.volume["tabs"] == pytest.approx(4 * 8 * 6 * 2)
    assert found.area["frame"] == pytest.approx(FRAME_AREA)
    assert (found.kind[(np.abs(x - 30) < 3.9) & (np.abs(y - 12) < 2.9)] == TABS).all()


def test_outside__a_skin_below_the_trench_is_no_tab():
    found, _, _, _ = outside(lambda x, y, upper, is_trench, off: np.putmask(upper, is_trench, 0.5))
    assert found.area["skin"] == pytest.approx(52 * 42 - 40 * 30)
    assert found.volume["skin"] == pytest.approx(0.5 * (52 * 42 - 40 * 30))
    assert found.pieces["skin"] == 1
    assert found.area["tabs"] == 0


def test_outside__a_sliver_left_along_the_frame_is_frame():
    def change(x, y, upper, is_trench, off):
        upper[is_trench & (off > 5.5)] = 0.5
        upper[is_trench & (np.abs(x - 40) < 4) & (y < 30)] = 2.0

    found, _, _, _ = outside(change)
    assert found.pieces["tabs"] == 1
    assert found.area["tabs"] == pytest.approx(8 * 6, abs=8 * 0.5 + 0.1)
    assert found.area["skin"] == 0
    assert (found.kind > 0).sum() * CELL**2 == pytest.approx(sum(found.area.values()))


def test_outside__an_island_is_an_offcut():
    def change(x, y, upper, is_trench, off):
        upper[(np.abs(x - 17) < 1) & (np.abs(y - 30) < 3)] = 12.0

    found, _, _, _ = outside(change)
    assert found.pieces["offcut"] == 1
    assert found.area["offcut"] == pytest.approx(2 * 6)


def test_outside__what_hangs_on_the_part_alone_is_leftover_however_far_it_stands_out():
    def change(x, y, upper, is_trench, off):
        upper[is_trench & (off < 5)] = 12.0  # the outline was cut 5 mm too far out

    found, step, _, _ = outside(change)
    assert found.area["step"] == pytest.approx(50 * 40 - 40 * 30, rel=0.03)
    assert found.area["frame"] == pytest.approx(FRAME_AREA)
    assert np.nanmax(step.run) == pytest.approx(5.0, abs=step.bound)


def test_outside__a_small_step_beside_a_tab():
    def change(x, y, upper, is_trench, off):
        upper[is_trench & (np.abs(x - 40) < 4) & (y < 15)] = 2.0
        upper[is_trench & (off < 0.5) & (x > 60)] = 12.0

    found, _, _, _ = outside(change)
    assert found.area["step"] == pytest.approx(0.5 * 30, rel=0.1)
    assert found.pieces["tabs"] == 1
    kinds = set(np.unique(found.kind))
    assert kinds == {0, FRAME, TABS, STEP}
    assert not kinds & {SKIN, OFFCUT}
