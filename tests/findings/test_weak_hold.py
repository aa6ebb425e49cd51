"""How tape and vacuum hold against the cutter's force: areas and forces worked out on paper."""

import json
import math

import pytest

from simkit.effort.chips import edge_force
from simkit.job.reader import read_job
from tests.small_job import HEAD, JOB, block, check

# No ramps of speed: moves then run at their feed, and a chip is as thick as the paper says.
FAST = "[machine]\nacceleration = [1e6, 1e6, 1e6]\nspeed = [1e5, 1e5, 1e5]\n"
MADE = JOB.replace("diameter = 6", "diameter = 6\nflutes = 2").replace(
    "thickness = 12", "thickness = 12\ncutting_force = 20", 1
)
TAPE = '[[holding]]\nkind = "{}"\nbox = [[10, 10], [30, 20]]\n{}'
PASS = "G0 X20 Y-5\nG1 Z{} F1200\nY35\nG0 Z20\n"  # all across at x = 20, 6 mm wide
# By paper: f_z = 1200 / (2 * 18000), a slot of 2 mm; 2 edges over half a turn are in wood one at a time.
CHIP = 1200 / 36000
EDGE = 20 * 2 * CHIP  # N
MEAN = (20 * 6 * 2 * 1200 / 60000) / (math.pi * 6 * 18000 / 60000)  # W / (m/s)


def held(folder, program, part=None, job=MADE, **more):
    part = block(0, 40, 0, 30, 0, 12) if part is None else part
    status, found = check(folder, part, HEAD + program + "M30\n", job=job + FAST, **more)
    rows = json.loads((folder / "r.json").read_text("utf-8"))["held"]
    return status, [row for row in found if row["kind"] == "weak-hold"], rows


def test_tape__area_and_force_against_the_slot_of_a_two_edged_cutter(tmp_path):
    _, found, (row,) = held(tmp_path, PASS.format(10), job=MADE + TAPE.format("tape", "grip = 0.02\n"))
    assert (row["area"], row["bears"]) == (200.0, pytest.approx(4.0))
    # 20 x 10 mm in cells of 0.5 mm: 120 edges round it, half a cell each.
    assert row["area_bound"] == pytest.approx(120 * 0.25 / 2)
    assert row["force"] == pytest.approx(EDGE, rel=2e-3)
    assert not row["force_is_mean"]
    assert (row["by"], row["also"], row["file"], row["line"]) == (["tape"], [], "top.nc", 7)
    assert found == []  # 4 N are more than twice 1.33


def test_tape__that_bears_less_than_twice_the_force_is_told(tmp_path):
    for grip, is_told in ((2.1 * EDGE / 200, False), (1.9 * EDGE / 200, True)):
        job = MADE + TAPE.format("tape", f"grip = {grip:.6f}\n")
        _, found, _ = held(tmp_path, PASS.format(10), job=job)
        assert bool(found) == is_told
    (row,) = found
    assert (row["severity"], row["unit"], row["line"]) == ("warning", "N", 7)
    assert row["value"] == pytest.approx(1.9 * EDGE, rel=1e-3)
    assert row["limit"] == pytest.approx(2 * EDGE, rel=2e-3)
    _, found, (row,) = held(
        tmp_path, PASS.format(10), job=job + '[[holding]]\nkind = "screw"\nat = [3, 3]\ndiameter = 4\n'
    )
    assert (found, row["also"]) == ([], ["screw"])


def test_tape__left_under_each_of_two_pieces(tmp_path):
    # Cut through at x = 20, 6 mm wide: 7 x 10 mm of tape are left under each half.
    job = MADE.replace('programs = ["top.nc"]', 'programs = ["top.nc"]\nspoilboard = 2')
    part = block(0, 17, 0, 30, 0, 12)
    _, _, rows = held(tmp_path, PASS.format(0), part, job + TAPE.format("vacuum", "grip = 0.05\n"))
    assert [row["area"] for row in rows] == [70.0, 70.0]
    assert [row["bears"] for row in rows] == pytest.approx([3.5, 3.5])
    assert {row["piece"] for row in rows} == {"the part with its frame", "a piece of the frame"}


def test_tape__two_layers_count_once_and_the_stronger(tmp_path):
    more = '[[holding]]\nkind = "vacuum"\nbox = [[20, 10], [40, 20]]\ngrip = 0.05\n'
    job = MADE + TAPE.format("tape", "grip = 0.02\n") + more
    _, _, (row,) = held(tmp_path, PASS.format(10), job=job)
    assert (row["area"], row["by"]) == (300.0, ["tape", "vacuum"])
    assert row["bears"] == pytest.approx(100 * 0.02 + 200 * 0.05)


def test_tape__under_the_turned_piece_only_where_it_still_lies_on_the_table(tmp_path):
    # The first side's slot lies below after turning over end over end: x 8 to 14 comes to 26 to 32.
    (tmp_path / "first.nc").write_text(HEAD + PASS.replace("X20", "X11").format(10) + "M30\n", "utf-8")
    job = MADE.replace('name = "top"\nturn = "none"', 'name = "top"\nturn = "about y"')
    first = '[[setups]]\nname = "first"\nturn = "none"\nzero = { corner = "left front", face = "bottom" }\n'
    job = job.replace("[[setups]]", first + 'programs = ["first.nc"]\n[[setups]]', 1)
    part = block(0, 40, 0, 30, 0, 12).difference(block(8, 14, -1, 31, 10, 13))
    tape = TAPE.format("tape", 'grip = 0.02\nsetups = ["top"]\n')
    _, _, (row,) = held(tmp_path, PASS.format(11), part, job + tape)
    # Of the tape from 10 to 30 the slot takes 26 to 30.
    assert (row["setup"], row["area"]) == ("top", 160.0)
    assert row["bears"] == pytest.approx(160 * 0.02)


def test_force__mean_of_a_turn_where_the_edges_are_not_stated(tmp_path):
    job = MADE.replace("\nflutes = 2", "") + TAPE.format("tape", "")
    _, found, (row,) = held(tmp_path, PASS.format(10), job=job)
    # 30 mm of wood, in which the cutter is for no more than a diameter longer.
    assert MEAN * 30 / 36 <= row["force"] <= MEAN
    assert row["force_is_mean"]
    assert (row["bears"], row["bears_bound"], found) == (None, None, [])


def test_force__not_told_without_a_figure_for_the_wood(tmp_path):
    job = JOB + TAPE.format("tape", "grip = 0.02\n")
    _, found, (row,) = held(tmp_path, PASS.format(10), job=job)
    assert (row["force"], row["line"], found) == (None, None, [])
    _, _, rows = held(tmp_path, PASS.format(10), job=JOB)
    assert rows == []


def test_edge_force__of_several_edges_at_once():
    # 4 edges over half a turn: 2 at once; over a quarter turn one; 1 edge all round one.
    for flutes, engaged, at_once in ((4, math.pi, 2), (4, math.pi / 2, 1), (1, math.pi, 1), (3, math.pi, 2)):
        assert edge_force(2.0, 0.1, engaged, flutes, 30.0) == pytest.approx(at_once * 6.0)


def test_grip__read_as_stated(tmp_path):
    (tmp_path / "top.nc").write_text(HEAD, "utf-8")
    block(0, 40, 0, 30, 0, 12).export(tmp_path / "part.stl")
    path = tmp_path / "job.toml"
    path.write_text(MADE + TAPE.format("tape", "grip = 0.02\n"), "utf-8")
    assert read_job(path).holding[0].grip == 0.02
