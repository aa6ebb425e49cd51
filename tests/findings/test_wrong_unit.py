"""Inches read for millimetres and the other way round: said first, and only where it is plain."""

import json
import re

import pytest

from simkit.cli import main
from tests.runs.some_jobs import write_one_sided, write_two_sided
from tests.small_job import JOB, block

# Sizes in mm; the part of `JOB` is 40 x 30 x 12 in a blank of that size.
POCKET = "G90 G17\nT1 M6\nS18000 M3\nG0 Z20\nX8 Y8\nG1 Z9 F600\nX32\nY22\nX8\nY8\nG0 Z20\nM30\n"


def scaled(program, factor):
    """The program with every length and feed multiplied."""
    return re.sub(r"(?<=[XYZF])-?[\d.]+", lambda found: f"{float(found[0]) * factor:.5f}", program)


def told(folder, program, job=JOB):
    part = block(0, 40, 0, 30, 0, 12).difference(block(5, 35, 5, 25, 9, 13))
    part = part.union(block(11, 29, 11, 19, 8, 12))
    part.export(folder / "part.stl")
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    return checked(folder)


def stored(folder):
    return json.loads((folder / "r.json").read_text("utf-8"))


def checked(folder):
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", "1", "--json", str(folder / "r.json")]
    main(words)
    return json.loads((folder / "r.json").read_text("utf-8"))["findings"]


def units(findings):
    return [row for row in findings if row["kind"] == "wrong-unit"]


@pytest.mark.parametrize(("word", "factor"), [("G21\n", 1.0), ("G20\n", 1 / 25.4)])
def test_in_the_unit_it_states__nothing(tmp_path, word, factor):
    assert units(told(tmp_path, word + scaled(POCKET, factor))) == []


@pytest.mark.parametrize("face", ["top", "bottom"])
def test_mm_read_in_inches__first_of_all(tmp_path, face):
    job = JOB.replace('face = "bottom"', f'face = "{face}"')
    program = POCKET if face == "bottom" else POCKET.replace("Z9", "Z-3").replace("Z20", "Z8")
    rows = told(tmp_path, "G20\n" + program, job)
    first = rows[0]
    assert (first["kind"], first["file"], first["line"]) == ("wrong-unit", "top.nc", 1)  # where G20 stands
    # Over the zero at the table everything is in the air; below that at the top it is a crash.
    assert first["severity"] == ("safety" if face == "top" else "beyond")
    # 24 x 14 mm of axis, 25.4 times as much as it is read.
    assert "covers 610 x 356 mm" in first["message"]
    assert "in mm it would cover 24 x 14 mm" in first["message"]
    assert first["advice"].startswith("If its numbers are mm, write G21 in place of G20 in ")
    # Nor is anything told of such moves that could be faster.
    assert stored(tmp_path)["faster"] == []
    # What the setup leaves standing or runs into follows from it.
    assert len(rows) > 2
    assert {row["cause"] for row in rows if row["severity"] in ("safety", "beyond")} == {1}


def test_inches_read_in_mm__fails_as_the_part_is_left_standing(tmp_path):
    rows = told(tmp_path, "G21\n" + scaled(POCKET, 1 / 25.4))
    (row,) = units(rows)
    assert row["severity"] == "beyond"
    assert "with its numbers in inches it would cover 24 x 14 mm" in row["message"]
    # No pose of the blank is named for a program of another size.
    assert not [one for one in rows if one["kind"] == "wrong-turn"]


def test_a_small_place_cut_on_purpose__a_warning_at_most(tmp_path):
    # 1.3 x 1.2 mm in the middle, as deep as wanted: fits in inches too, and nothing is left standing.
    program = "G21\n" + scaled(POCKET, 1 / 25.4)
    rows = told(tmp_path, program, JOB.replace("leftover = 0.3", "leftover = 20"))
    assert [row["severity"] for row in units(rows)] == ["warning"]
    # A spot of a few tenths says nothing about units.
    spot = "G21 G90\nT1 M6\nS9000 M3\nG0 Z20\nX20 Y15\nG1 Z9 F600\nX20.3\nG0 Z20\nM30\n"
    assert units(told(tmp_path, spot)) == []


def test_a_face_milled_far_beyond_the_blank__nothing(tmp_path):
    program = "G20 G90\nT1 M6\nS9000 M3\nG0 Z1\nX-4 Y0\nG1 Z0.46 F60\nX4\nY0.2\nX-4\nG0 Z1\nM30\n"
    assert units(told(tmp_path, program)) == []


@pytest.mark.parametrize("write", [write_one_sided, write_two_sided])
def test_good_jobs__nothing(tmp_path, write):
    write(tmp_path)
    assert units(checked(tmp_path)) == []


@pytest.mark.parametrize(("unit", "factor"), [("in", 25.4), ("cm", 10.0)])
def test_a_part_in_another_unit__said_on_the_job_files_line(tmp_path, unit, factor):
    # A part of 400 x 300 x 20 whose mesh counts in another unit, read in mm; 6 mm of cutter round it.
    block(0, 400 / factor, 0, 300 / factor, 0, 20 / factor).export(tmp_path / "part.stl")
    program = "G21 G90\nT1 M6\nS9000 M3\nG0 Z30\nX-3 Y-3\nG1 Z0 F900\nX403\nY303\nX-3\nY-3\nG0 Z30\nM30\n"
    job = JOB.replace("length = 40", "length = 420").replace("width = 30", "width = 320")
    (tmp_path / "top.nc").write_text(program, encoding="utf-8")
    (tmp_path / "job.toml").write_text(job.replace("thickness = 12", "thickness = 20"), encoding="utf-8")
    rows = checked(tmp_path)
    assert (rows[0]["kind"], rows[0]["severity"], rows[0]["file"]) == ("wrong-unit", "beyond", "job.toml")
    assert job.splitlines()[rows[0]["line"] - 1] == 'units = "mm"'
    assert "the programs cut 406 x 306 mm" in rows[0]["message"]
    assert (
        f"with its mesh in {'inches' if unit == 'in' else unit} it would be 400 x 300 mm"
        in rows[0]["message"]
    )
    # Read in its unit it is as large as what is cut.
    right = (tmp_path / "job.toml").read_text("utf-8").replace('units = "mm"', f'units = "{unit}"')
    (tmp_path / "job.toml").write_text(right, encoding="utf-8")
    assert units(checked(tmp_path)) == []
