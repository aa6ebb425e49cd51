"""Ridges between passes: judged where the job states a limit; advice on leftover that names cutters."""

import json
import re

import numpy as np
import pytest
import trimesh

from tests.small_job import HEAD, JOB, block, check

BALL_JOB = JOB.replace('shape = "flat"', 'shape = "ball"')


def passes(stepover, z=10.0, without=None):
    """A program of passes along X, all one way, and the line number of each pass."""
    lines = HEAD.splitlines()
    numbers = []
    for k, y in enumerate(np.arange(-2.0, 32.1, stepover)):
        if k == without:
            continue
        lines += [f"G0 X-5 Y{y:.3f}", f"G1 Z{z} F900", "X45", "G0 Z20"]
        numbers.append(len(lines) - 1)
    return "\n".join([*lines, "M30", ""]), numbers


def job(limit):
    return BALL_JOB + (f"cusp = {limit}\n" if limit else "")


def test_cusp__higher_than_the_limit_is_told_with_line_and_stepover(tmp_path):
    # h = R - sqrt(R^2 - s^2 / 4), textbook circle geometry; R 3, s 2: 0.1716.
    program, numbers = passes(2.0)
    status, rows = check(tmp_path, block(0, 40, 0, 30, 0, 10), program, job=job(0.1))
    assert status == 1
    (row,) = rows
    assert (row["kind"], row["severity"]) == ("cusp", "beyond")
    assert row["value"] == pytest.approx(3 - np.sqrt(8), abs=row["bound"])
    assert row["bound"] < 0.02
    assert row["line"] in numbers
    assert row["at"][2] == pytest.approx(10 + 3 - np.sqrt(8), abs=0.02)
    # Sites near the outline have no whole trace, so the rim of 3 mm is not in the area.
    assert 0.55 * 40 * 30 < row["area"] < 40 * 30
    assert "passes 2.00 mm apart" in row["message"]
    # s = 2 sqrt(2 R h - h^2) for h 0.1: 1.536, rounded down.
    assert "to 1.53 mm or less" in row["advice"]


def test_cusp__within_the_limit_or_without_one_is_not_told(tmp_path):
    program, _ = passes(2.0)
    part = block(0, 40, 0, 30, 0, 10)
    assert check(tmp_path, part, program, job=job(0.25)) == (0, [])
    assert check(tmp_path, part, program, job=job(None)) == (0, [])


def test_cusp__at_the_limit_is_undecided(tmp_path):
    program, _ = passes(2.0)
    status, rows = check(tmp_path, block(0, 40, 0, 30, 0, 10), program, job=job(0.1716))
    assert status == 1
    assert {row["severity"] for row in rows} == {"undecided"}


def test_cusp__one_missing_pass_is_the_only_spot(tmp_path):
    program, numbers = passes(0.8, without=20)  # 1.6 mm apart about Y 14: 0.1087 instead of 0.0268
    _, rows = check(tmp_path, block(0, 40, 0, 30, 0, 10), program, cell="0.25", job=job(0.05))
    (row,) = rows
    assert row["value"] == pytest.approx(3 - np.sqrt(9 - 0.64), abs=row["bound"])
    assert row["at"][1] == pytest.approx(14.0, abs=0.05)
    assert row["line"] in (numbers[19], numbers[20])


def test_leftover__advice_names_common_sizes_beyond_the_jobs(tmp_path):
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), block(10, 30, 8, 22, 8, 13)])
    lines = ["G0 X13 Y11", "G1 Z8 F300"]
    for y in (11.0, 15.0, 19.0):
        lines += [f"G1 X13 Y{y:g}", "X27"]
    program = HEAD + "\n".join([*lines, "G1 X13 Y11", "Y19", "X27", "Y11", "X13"]) + "\nG0 Z20\nM30\n"
    _, rows = check(tmp_path, part, program, cell="0.2")
    assert {row["kind"] for row in rows} == {"leftover-cutter"}
    for row in rows:
        assert row["advice"].startswith("Of common sizes beyond the job's, a ")
        # A flat cutter of radius R stays (sqrt 2 - 1) R from the corner: of 2 mm 0.41, over the limit of 0.3.
        assert not row["advice"].endswith("within the limit.")
        assert " flat would leave about " in row["advice"]  # a ball cannot stand in such a corner
    # With a 3 mm cutter in the job, that one.
    with_three = JOB.replace("[[setups]]", '[cutters.3]\nshape = "flat"\ndiameter = 2\n[[setups]]')
    _, rows = check(tmp_path, part, program, cell="0.2", job=with_three)
    assert {row["advice"].split(":")[0] for row in rows} == {"Add a pass with T3 2 mm flat"}
    for row in rows:
        # All four corners alike, 0.41 and over the limit: asked on the cells alone one said 0.30, within it.
        told = re.search(
            r"it can get as near as (\d\.\d\d) mm to the part, still over the limit", row["advice"]
        )
        assert float(told[1]) == pytest.approx((np.sqrt(2) - 1) * 1.0, abs=2 * np.sqrt(2) * 0.05)


def test_leftover__advice_on_common_sizes_says_what_cells_leave_open(tmp_path):
    # With a 3 mm cutter in the job 1/16 in is tried: (sqrt 2 - 1) R, plane geometry, is 0.329, over the limit
    # of 0.3, and cells of 0.05 mm about the corner tell 0.21 at least.
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), block(10, 30, 8, 22, 8, 13)])
    lines = ["G0 X13 Y11", "G1 Z8 F300"]
    for y in (11.0, 15.0, 19.0):
        lines += [f"G1 X13 Y{y:g}", "X27"]
    program = HEAD + "\n".join([*lines, "G1 X13 Y11", "Y19", "X27", "Y11", "X13"]) + "\nG0 Z20\nM30\n"
    three = JOB.replace("[[setups]]", '[cutters.3]\nshape = "flat"\ndiameter = 3\n[[setups]]')
    _, rows = check(tmp_path, part, program, cell="0.2", job=three)
    assert len(rows) == 4
    for row in rows:
        job_words, common = row["advice"].split(" Of common sizes beyond the job's, a ")
        assert job_words.endswith("still over the limit.")
        assert common.startswith("1/16 in flat")
        told = re.search(r"about (\d\.\d\d) mm, known to (\d\.\d\d) mm, perhaps over the limit", common)
        least, doubt = float(told[1]), float(told[2])
        assert least <= (np.sqrt(2) - 1) * 25.4 / 32 <= least + doubt


def test_cusp_table__a_ridge_counts_in_the_zone_it_lies_in(tmp_path):
    # To the left of X 20 passes 1 mm apart along Y, to the right 0.5 mm along X: R - sqrt(R^2 - s^2 / 4) is
    # 0.0420 and 0.0104.  Sites right of the border are traced to the last ridge on its left.
    lines = HEAD.splitlines()
    for x in np.arange(-1, 20.01, 1.0):
        lines += [f"G0 X{x:.3f} Y-5", "G1 Z10 F900", "Y35", "G0 Z20"]
    for y in np.arange(-2, 32.01, 0.5):
        lines += [f"G0 X45 Y{y:.3f}", "G1 Z10 F900", "X20", "G0 Z20"]
    zones = "".join(
        f'[[zones]]\nname = "{name}"\nbox = [[{x}, 0], [{x + 20}, 30]]\n'
        for name, x in (("left", 0), ("right", 20))
    )
    program = "\n".join([*lines, "M30", ""])
    check(tmp_path, block(0, 40, 0, 30, 0, 10), program, cell="0.4", job=job(None) + zones)
    rows = json.loads((tmp_path / "r.json").read_text("utf-8"))["cusps"]["rows"]
    assert [(row["zone"], round(row["direction"]) % 180) for row in rows] == [("left", 90), ("right", 0)]
    for row, stepover in zip(rows, (1.0, 0.5), strict=True):
        assert row["worst"] == pytest.approx(3 - np.sqrt(9 - stepover**2 / 4), abs=row["bound"])
        assert row["stepover"] == pytest.approx(stepover)
        assert (row["at"][0] > 20) == (row["zone"] == "right")
