"""weak-hold: tape left under a piece against the largest cutting force, by hand and by formula."""

import json
import math

import pytest
import trimesh

from tests.small_job import HEAD, JOB, check

PART = trimesh.creation.box(bounds=[[10, 10, 0], [30, 20, 12]])
WOOD = JOB.replace("thickness = 12\n", "thickness = 12\ncutting_force = 20\n").replace(
    "diameter = 6\n", "diameter = 6\nflutes = 2\n"
)
TAPE = '[[holding]]\nkind = "tape"\nbox = [[5, 10], [35, 25]]\nbears = {}\n'
# A groove of the cutter's width, 2 mm deep, right across: k_c a_e a_p v_f / (pi D n).
GROOVE = HEAD + "G0 X-10 Y15\nG0 Z10\nG1 X50 F300\nG0 Z20\nM30\n"
FORCE = 20 * 6 * 2 * 300 / (math.pi * 6 * 18000)


def weak(found):
    return [row for row in found if row["kind"] == "weak-hold"]


def remark(tmp_path, job, program=GROOVE):
    check(tmp_path, PART, program, job=job)
    told = json.loads((tmp_path / "r.json").read_text("utf-8"))["remarks"]
    return [text for text in told if text.startswith(("tape", "vacuum"))]


def test_tape__that_bears_less_than_the_largest_force_is_told(tmp_path):
    (row,) = weak(check(tmp_path, PART, GROOVE, "0.1", job=WOOD + TAPE.format(0.03))[1])
    assert row["severity"] == "warning"
    assert row["value"] == pytest.approx(30 * 15 / 100 * 0.03, abs=row["bound"])
    assert row["limit"] == pytest.approx(FORCE, rel=0.1)  # of the whole way, in and out of the wood too
    assert (row["file"], row["line"]) == ("top.nc", 7)
    assert 0 < row["bound"] <= (30 + 15) * 2 * 0.1 / 100 * 0.03 + 1e-6


def test_tape__that_bears_more_is_no_finding_but_said(tmp_path):
    job = WOOD + TAPE.format(0.3)
    assert weak(check(tmp_path, PART, GROOVE, job=job)[1]) == []
    (text,) = remark(tmp_path, job)
    assert text.startswith("tape in 'top': 4 cm2 (within 0) are left under it")  # 4.5, told as even
    assert "bear about 1.4 N" in text
    assert "no promise" in text


def test_tape__counts_what_lies_on_it_at_the_end(tmp_path):
    """A groove right through takes 6 mm of the tape's 15, and what is beyond it is another piece."""
    through = GROOVE.replace("Z10", "Z0")
    job = WOOD + TAPE.format(0.1)
    (row,) = weak(check(tmp_path, PART, through, job=job.replace("programs", "spoilboard = 1\nprograms"))[1])
    # The part's cells are equally many on both sides but for rounding; 2 mm or 7 mm of tape lie beside.
    assert min(abs(row["value"] - 30 * wide / 100 * 0.1) for wide in (2, 7)) <= row["bound"]
    assert row["limit"] == pytest.approx(6 * FORCE, rel=0.1)  # a cell of 0.5 in 6 mm


def test_tape__beside_a_screw_through_the_piece_is_not_judged(tmp_path):
    job = WOOD + TAPE.format(0.1) + '[[holding]]\nkind = "screw"\nat = [3, 3]\ndiameter = 4\n'
    assert weak(check(tmp_path, PART, GROOVE, job=job)[1]) == []
    assert "other things hold it too" in remark(tmp_path, job)[0]


def test_force__that_is_not_known_is_said(tmp_path):
    job = WOOD.replace("cutting_force = 20\n", "") + TAPE.format(0.1)
    assert weak(check(tmp_path, PART, GROOVE, job=job)[1]) == []
    assert "no cutting force is known" in remark(tmp_path, job)[0]
    assert remark(tmp_path, WOOD + TAPE.replace("bears = {}\n", "")) == []
