"""Edges sawn between the sides: what an edge off its place does to the zero of the second side."""

import re

import numpy as np
import pytest

from simkit.api import load
from simkit.budget.motion import motion_of
from simkit.budget.sawn import sawn_edges
from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests import budget_job

STEP = '[[steps]]\nafter = "first"\ndo = "saw"\nside = 1\nbox = [[{}, {}], [{}, {}]]\n'
LOW, HIGH = (3.0, 2.0), (42.0, 31.0)
ALL_ROUND = STEP.format(*LOW, *HIGH)


def moved(program, x, y):
    """Return a program that counts from a place x, y mm farther right and back."""
    return re.sub(
        r"([XY])([\d.]+)",
        lambda word: f"{word[1]}{float(word[2]) - (x if word[1] == 'X' else y):g}",
        program,
    )


def job_of(folder, more="", step=ALL_ROUND, corner="left front"):
    """The block of budget_job, sawn before side 2: turned about x its front edge is at y = 31."""
    path = budget_job.write(folder, more=step + more)
    head, second = path.read_text("utf-8").split('name = "second"')
    path.write_text(f'{head}name = "second"{second.replace("left front", corner, 1)}', "utf-8")
    x, y = {
        "left front": (LOW[0], budget_job.WIDTH - HIGH[1]),
        "centre": (sum(h + low for h, low in zip(HIGH[:1], LOW[:1], strict=True)) / 2,
                   budget_job.WIDTH - (LOW[1] + HIGH[1]) / 2),
    }[corner]  # fmt: skip
    second = (folder / "side2.nc").read_text("utf-8")
    (folder / "side2.nc").write_text(moved(second, x, y), "utf-8")
    return read_job(path)


def edges_of(job):
    motion = motion_of(job, [setup.frame(job.blank) for setup in job.setups])
    return [
        (words.removeprefix("sawing the edge at "), way.tolist()) for words, way in sawn_edges(job, motion)
    ]


def test_edges__those_at_the_corner_of_the_zero(tmp_path):
    assert edges_of(job_of(tmp_path)) == [("x = 3 mm", [1, 0, 0]), ("y = 31 mm", [0, 1, 0])]


def test_edges__the_centre_goes_by_half_with_all_four(tmp_path):
    assert edges_of(job_of(tmp_path, corner="centre")) == [
        ("x = 3 mm", [0.5, 0, 0]),
        ("x = 42 mm", [0.5, 0, 0]),
        ("y = 2 mm", [0, 0.5, 0]),
        ("y = 31 mm", [0, 0.5, 0]),
    ]


def test_edges__that_are_written_where_they_were_are_not_sawn(tmp_path):
    job = job_of(tmp_path, step=STEP.format(0, 0, 42, 31))
    assert edges_of(job) == [("y = 31 mm", [0, 1, 0])]
    assert edges_of(job_of(tmp_path, step=STEP.format(0, 0, 42, 34))) == []


def test_edges__that_both_sides_are_set_at_move_both(tmp_path):
    """Sawn before side 1, too: the left edge is that of both, the front one is another after turning over."""
    job = job_of(tmp_path)
    path = tmp_path / "job.toml"
    before = '[[setups]]\nname = "before"\nturn = "none"\nzero = { corner = "left front", face = "top" }\n'
    text = path.read_text("utf-8").replace("[[setups]]", before + 'programs = ["side1.nc"]\n[[setups]]', 1)
    path.write_text(text.replace('after = "first"', 'after = "before"'), "utf-8")
    job = read_job(path)
    assert edges_of(job) == [("y = 2 mm", [0, -1, 0]), ("y = 31 mm", [0, 1, 0])]


def budget_of(folder, more, **changes):
    job = job_of(folder, more, **changes)
    return check(job, read_programs(job), 0.5)[0].budget


def test_budget__an_edge_moves_a_wall_as_much_as_it_is_off(tmp_path):
    """Walls across x move with the left edge alone, those across y with the other; sizes as stated."""
    budget = budget_of(tmp_path, "[budget]\nsawing = 0.08\n")
    assert [(part.key, part.size, part.unit) for part in budget.parts] == [("sawing", 0.08, "mm")] * 2
    left, front = budget.parts
    wall = (np.abs(budget.rows.at[:, 0] - budget_job.X0) < 0.002) & (np.abs(budget.rows.grow[:, 0]) > 0.99)
    wall &= budget.rows.faces[:, 0] < 0  # corners move as what lies between two walls
    assert wall.any()
    assert np.abs(left.column[wall]) == pytest.approx(0.08, rel=1e-2)
    assert np.abs(front.column[wall]) == pytest.approx(0.0, abs=1e-3)
    # As a zero set off by as much each way: the same region, the same errors.
    as_zero = budget_of(tmp_path, "[budget]\nzero_setting = 0.08\n")
    assert budget.chance.holds == pytest.approx(as_zero.chance.holds, abs=budget.chance.bound)
    assert budget.chance.holds < 1
    assert "sawing the edges that the zero is set at" in as_zero.left_out


def test_budget__an_edge_sawn_off_its_place_is_that_much_cut_anew(tmp_path):
    """The box 0.15 mm farther in at the left: the same program is then 0.15 mm off, and breaks the limit."""
    budget = budget_of(tmp_path, "[budget]\nsawing = 0.15\n")
    worst = max(budget.rows.value[k] + abs(budget.parts[0].column[k]) for k in range(len(budget.rows.value)))
    job_of(tmp_path, step=STEP.format(LOW[0] + 0.15, LOW[1], *HIGH))
    result = load(tmp_path / "job.toml").check(cell=0.5)
    found = [row.value for row in result.findings if row.kind == "gouge"]
    assert max(found) == pytest.approx(0.15, abs=0.01)
    assert worst == pytest.approx(max(found), abs=0.02)


def test_budget__sawing_that_moves_no_zero_is_said_to(tmp_path):
    budget = budget_of(tmp_path, "[budget]\nsawing = 0.1\n", step=STEP.format(0, 0, 42, 34))
    assert budget.parts == []
    assert [words for words in budget.left_out if words.startswith("sawing (no sawn edge")]
