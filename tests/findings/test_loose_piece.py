"""loose-piece from job file and program: severity, words, line, mass."""

import json
import math

import pytest

from tests.small_job import HEAD, JOB, block, check

PART = block(10, 30, 10, 20, 0, 12)
# Round the part with a 6 mm cutter, its middle 3 mm off; through at the second turn.
LEVELS = "G0 X7 Y7\n{}G0 Z20\n"


def around(*depths):
    """A program round the part, one turn for each depth, and the number of its last line but the lift."""
    turns = "".join(f"G1 Z{z} F300\nX33 F1200\nY23\nX7\nY7\n" for z in depths)
    return HEAD + LEVELS.format(turns)


def rows(found):
    return [row for row in found if row["kind"] == "loose-piece"]


HELD = '[[holding]]\nkind = "{}"\nbox = {}\n'
SCREW = '[[holding]]\nkind = "screw"\nat = [3, 3]\ndiameter = 4\n'


def test_part__comes_free_of_its_frame_with_the_last_line_of_the_contour(tmp_path):
    program = around(6, 0)
    status, found = check(tmp_path, PART, program + "M30\n")
    (row,) = rows(found)
    line = len(program.splitlines()) - 1
    assert program.splitlines()[line - 1] == "Y7"
    assert (row["file"], row["line"], row["severity"]) == ("top.nc", line, "warning")
    assert (
        row["message"] == "the part (20 x 10 x 12 mm, 2.4 cm3) comes free here; nothing touches it afterwards"
    )
    assert row["value"] == pytest.approx(2.4)
    assert row["bound"] == pytest.approx(60 * 12 * 0.5 / 2 / 1000)  # half a cell along the rim, 60 round
    assert row["unit"] == "cm3"
    assert "say so under [[holding]]" in row["advice"]
    assert status == 0


def test_part__that_nothing_holds_fails_the_check_where_the_job_says_what_is_held(tmp_path):
    job = JOB + SCREW
    status, found = check(tmp_path, PART, around(6, 0) + "M30\n", job=job)
    (row,) = rows(found)
    assert row["severity"] == "safety"
    assert "[[holding]]" not in row["advice"]
    assert status == 1
    status, found = check(
        tmp_path, PART, around(6, 0) + "M30\n", job=job + HELD.format("tape", "[[12, 12], [28, 18]]")
    )
    assert rows(found) == []
    assert status == 0


def test_part__mass_from_the_wood_of_the_blank(tmp_path):
    # Cherry: specific gravity 0.50, so 560 kg/m3 at 12 % moisture; 2.4 cm3 of it are 1.344 g.
    job = JOB.replace("thickness = 12", 'thickness = 12\nspecies = "cherry"', 1)
    _, found = check(tmp_path, PART, around(6, 0) + "M30\n", job=job)
    assert "about 1 g" in rows(found)[0]["message"]


def test_part__milled_after_it_came_free(tmp_path):
    program = around(6, 0) + "G0 X20 Y0\nG1 Z11.8 F600\nY30\nG0 Z20\nM30\n"
    status, found = check(tmp_path, PART, program)
    (row,) = rows(found)
    assert status == 1
    assert row["severity"] == "safety"
    assert "T1 6 mm flat runs into it in top.nc:19, up to 0.2 mm deep" in row["message"]


def test_part__a_last_turn_below_the_wood_runs_along_it(tmp_path):
    program = around(6, 0, -0.5) + "M30\n"
    job = JOB.replace('programs = ["top.nc"]', 'programs = ["top.nc"]\nspoilboard = 2')
    status, found = check(tmp_path, PART, program, job=job)
    (row,) = rows(found)
    assert row["line"] == 15
    assert "runs along it again from top.nc:17 on" in row["message"]
    assert (row["severity"], status) == ("safety", 1)


def test_skin__told_with_its_limit(tmp_path):
    _, found = check(tmp_path, block(10, 30, 10, 20, 0.4, 12), around(6, 0.4) + "M30\n")
    (row,) = rows(found)
    assert row["severity"] == "warning"
    assert "is held by no more than a skin from here on" in row["message"]
    assert "thinner than 0.5 mm (limits.skin)" in row["advice"]
    job = JOB.replace("thinnest_wall = 1", "thinnest_wall = 1\nskin = 0.3")
    _, found = check(tmp_path, block(10, 30, 10, 20, 0.4, 12), around(6, 0.4) + "M30\n", job=job)
    assert rows(found) == []


def test_offcut__is_named_with_its_size(tmp_path):
    # A hole of 9 mm radius cut by its rim: the core left inside it has a radius of 3 mm.
    program = HEAD + "G0 X26 Y15\nG1 Z-0.1 F300\nG3 I-6 F1200\nG0 Z20\nM30\n"
    job = JOB.replace('programs = ["top.nc"]', 'programs = ["top.nc"]\nspoilboard = 2')
    part = block(0, 40, 0, 30, 0, 12).difference(block(8, 32, 3, 27, -1, 13))
    _, found = check(tmp_path, part, program, job=job, cell="0.25")
    (row,) = rows(found)
    assert row["message"].startswith("an offcut (6 x 6 x 12 mm, 0.3 cm3) comes free here")
    assert row["value"] == pytest.approx(math.pi * 9 * 12 / 1000, abs=math.pi * 6 * 12 * 0.25 / 2 / 1000)
    assert row["line"] == 7


def test_holding__told_once_where_the_job_says_nothing_of_it(tmp_path):
    for job, is_told in ((JOB, True), (JOB + SCREW, False)):
        check(tmp_path, block(0, 40, 0, 30, 0, 12), HEAD + "G0 X50 Y40\nM30\n", job=job)
        remarks = json.loads((tmp_path / "r.json").read_text("utf-8"))["remarks"]
        assert sum(remark.startswith("holding not judged:") for remark in remarks) == is_told


def test_holding__beside_the_blank_holds_nothing(tmp_path):
    program = HEAD + "G0 X50 Y15\nG1 Z11 F600\nX35\nG0 Z20\nM30\n"
    part = block(0, 40, 0, 30, 0, 12).difference(block(32, 41, 12, 18, 11, 13))
    status, found = check(tmp_path, part, program, job=JOB + SCREW.replace("[3, 3]", "[-30, 3]"))
    (row,) = rows(found)
    assert (status, row["severity"]) == (1, "safety")
    assert row["message"].startswith("the part (40 x 30 x 12 mm, 14.4 cm3) is held by nothing in this setup")
    assert row["file"] == "job.toml"


@pytest.mark.parametrize(("beyond", "severity"), [("Y40", "warning"), ("Y40\nX30 Y27\nX34", "safety")])
def test_offcut__a_straight_cut_that_runs_out_of_the_blank_takes_the_web_with_it(tmp_path, beyond, severity):
    """The blank cut across at x = 25, the last 0.2 mm of the web with a move that ends far outside."""
    program = HEAD + "G0 X25 Y-5\nG1 Z0 F300\nY26.8 F1200\nY27.3\n" + f"{beyond}\nG0 Z20\nM30\n"
    _, found = check(tmp_path, PART, program, cell="0.25", job=JOB + SCREW)
    row = next(row for row in rows(found) if "frame" in row["message"] or "offcut" in row["message"])
    assert (program.splitlines()[row["line"] - 1], row["severity"]) == ("Y27.3", severity)
    # What is left then, the rest of the web taken off: from the slot's edge at x = 28 to the end at 40.
    assert row["message"].split("(")[1].startswith("12 x 30 x 12 mm")
