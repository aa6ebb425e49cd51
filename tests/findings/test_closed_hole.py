"""A hole through the part that no program opens, or not quite; a step in the wall of a job of one side."""

import numpy as np
import pytest
import trimesh

from simkit.compare.outline import outline_step
from simkit.compare.outside import told_apart
from simkit.findings.closed_holes import closing
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import box, field_of, grid_of, minus, plan
from tests.findings.programs import END
from tests.small_job import HEAD, block, check

# The whole blank with a hole of 16 x 12 through it, its corners a little less round than the cutter.
ROUND = np.exp(1j * np.arange(0, 2 * np.pi, 0.05)) * 2.99
RIM = np.concatenate([ROUND + x + 1j * y for x in (15, 25) for y in (12, 18)])
HOLE = trimesh.convex.convex_hull([(p.real, p.imag, z) for p in RIM for z in (-1, 13)])
PART = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), HOLE], engine="manifold")


def hole(z):
    """A program that clears the hole down to a height over the table, its corners left round."""
    lines = ["G0 X15 Y12", f"G1 Z{z} F300", *(f"G1 X25 Y{y}\nX15\nY{y + 3}" for y in (12, 15)), "X25", "X15"]
    return HEAD + "\n".join(lines) + "\nY12\nX25\nY18\n" + END


@pytest.mark.parametrize(("z", "thick"), [(9.0, 9.0), (0.5, 0.5)])
def test_hole__closed_is_left_standing_with_its_thickness(tmp_path, z, thick):
    status, findings = check(tmp_path, PART, hole(z))
    told = [one for one in findings if "in a hole through the part" in one["message"]]
    assert status == 1
    assert [one["kind"] for one in told] == ["leftover-program"]
    assert told[0]["value"] == pytest.approx(thick, abs=1e-3)
    assert told[0]["side"] == 1


@pytest.mark.parametrize("z", [0.2, -0.0])
def test_hole__open_or_closed_by_less_than_the_limit_is_not_told(tmp_path, z):
    _, findings = check(tmp_path, PART, hole(z))
    assert not [one for one in findings if "in a hole through the part" in one["message"]]


def test_step__of_the_outer_wall_in_a_job_of_one_side_is_told_of_that_side(tmp_path):
    # Cut out a millimetre too far off, all round.
    out = HEAD + "G0 X6 Y6\nG1 Z0 F300\nX34 F1200\nY24\nX6\nY6\n" + END
    _, findings = check(tmp_path, block(10, 30, 10, 20, 0, 12), out, cell="0.2")
    steps = [one for one in findings if "stands out from the outer wall" in one["message"]]
    assert steps
    assert {(one["side"], one["kind"]) for one in steps} == {(1, "leftover-program")}
    assert max(one["value"] for one in steps) == pytest.approx(1.0, abs=max(one["bound"] for one in steps))


CELL = 0.25
LATTICE = Lattice((0.0, 0.0), CELL, 320, 240)  # a blank 80 x 60
BODY = box((20, 15, 0), (60, 45, 12))
OPENING = (28.0, 22.0), (44.0, 34.0)  # 16 x 12


def holed(change):
    """The part with a hole, cut free and changed by change(x, y, upper, off); off: from the rim, mm."""
    part = minus(BODY, box((*OPENING[0], -1), (*OPENING[1], 13)))
    around = envelopes(grid_of(part), LATTICE)
    x, y = plan(LATTICE)
    out = np.maximum(np.maximum(20 - x, x - 60), np.maximum(15 - y, y - 45))
    off = np.minimum(
        np.minimum(x - OPENING[0][0], OPENING[1][0] - x), np.minimum(y - OPENING[0][1], OPENING[1][1] - y)
    )
    upper = np.where((out > 0) & (out < 6) | (off > 0), 0.0, 12.0)
    change(x, y, upper, off)
    field = field_of(LATTICE, 0.0, upper)
    step = outline_step(field, around)
    return closing(around, step, told_apart(field, around, step)), step


@pytest.mark.parametrize("thick", [0.5, 12.0])
def test_closing__a_hole_that_was_not_cut_or_not_through(thick):
    found, _ = holed(lambda x, y, upper, off: np.putmask(upper, off > 0, thick))
    assert found.sum() * CELL**2 == pytest.approx(16 * 12)


def test_closing__a_skin_under_a_plug_counts_with_it():
    def change(x, y, upper, off):
        upper[off > 0] = 1.0
        upper[off > 3.1] = 12.0

    assert holed(change)[0].sum() * CELL**2 == pytest.approx(16 * 12)


def test_closing__half_a_hole():
    found, _ = holed(lambda x, y, upper, off: np.putmask(upper, (off > 0) & (x < 40), 12.0))
    assert found.sum() * CELL**2 == pytest.approx(12 * 12, rel=0.15)


def test_closing__tabs_and_offcuts_and_steps_do_not():
    def tabs(x, y, upper, off):
        upper[off > 3.1] = 12.0
        upper[(off > 0) & (np.abs(y - 28) < 2)] = 2.0

    def plug(x, y, upper, off):
        upper[off > 3.1] = 12.0

    def step(x, y, upper, off):
        upper[(off > 0) & (off < 0.6)] = 12.0

    for change in (tabs, plug, step):
        found, outline = holed(change)
        assert not found.any(), change.__name__
        assert outline.is_step.any() == (change is step)


def test_closing__a_small_hole_whose_whole_rim_is_shorter_than_a_tab():
    part = minus(BODY, box((30, 25, -1), (34, 29, 13)))
    around = envelopes(grid_of(part), LATTICE)
    field = field_of(LATTICE, 0.0, np.where(around.is_part, 12.0, 0.0))
    step = outline_step(field, around)
    assert not closing(around, step, told_apart(field, around, step)).any()
    x, y = plan(LATTICE)
    is_hole = (np.abs(x - 32) < 2) & (np.abs(y - 27) < 2)
    field = field_of(LATTICE, 0.0, np.where(around.is_part | is_hole, 12.0, 0.0))
    step = outline_step(field, around)
    found = closing(around, step, told_apart(field, around, step))
    assert found.sum() * CELL**2 == pytest.approx(16)
