"""The budget of jobs in which a face is taken to a thickness on the way: closed forms, and full re-cuts."""

from dataclasses import replace

import numpy as np
import pytest

from simkit.budget.faces import hidden_over, least_taken, why_not
from simkit.budget.motion import NAMES, SideHeights, motion_of
from simkit.check import check
from simkit.job.budget import BudgetSpec
from simkit.job.change import Change
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests import budget_job
from tests.budget_planed_job import LEAF, OVER, inlaid, planed
from tests.budget_recuts import OF_KIND, Recuts, compared

CELL = 0.5
SLACK = 0.0012  # mm: two walls, each bracketed to 0.0005


def looked_at(path):
    job = read_job(path)
    return job, check(job, read_programs(job), CELL)[0]


def reach(budget, name):
    nth = 2 * NAMES.index(name)
    return [float(budget.axes.far[k]) if budget.axes.row[k] >= 0 else None for k in (nth, nth + 1)]


@pytest.mark.parametrize(
    ("side", "more", "thickness"),
    [
        # All of both sides goes with the upper face: a thicker blank makes the same part.
        (2, {"part_up": OVER}, [None, None]),
        # Side 1 goes with a face that is taken off, its zero 1.5 mm below it; side 2 stays on the lower one.
        (1, {"first_up": -OVER}, [0.1, 0.3]),
        # Both zeros on the table: below at first, then on a face that stands at 12 mm in any blank.
        (1, {"is_top": False}, [None, None]),
    ],
    ids=["lower-face", "upper-face", "table"],
)
def test_planed__bears_by_geometry(tmp_path, side, more, thickness):
    job, evidence = looked_at(planed(tmp_path, side, **more))
    budget = evidence.budget
    assert budget.beyond == -1
    assert reach(budget, "high") == pytest.approx([0.1, 0.3], abs=SLACK)
    assert max(reach(budget, "right") + reach(budget, "back")) <= 0.1 + SLACK
    found = reach(budget, "thickness")
    assert found == (thickness if thickness[0] is None else pytest.approx(thickness, abs=SLACK))
    assert least_taken(job) == OVER


def test_upper_face__recuts_agree_within_a_twentieth_of_each_limit(tmp_path):
    recuts = Recuts(planed(tmp_path, 1, first_up=-OVER))
    rows = compared(recuts, np.array((0.05, -0.08, 0.1, 0.04, -0.06)))
    assert rows
    assert {says for _, _, says in rows} <= {"agree", "finer"}


def test_lower_face__a_full_recut_of_a_thicker_blank_makes_the_same_part(tmp_path):
    job = read_job(planed(tmp_path, 2, part_up=OVER))
    thicker = Change(thickness=0.7).of(job)
    assert thicker.target.at[2] == pytest.approx(OVER + 0.7)
    _, findings, _ = check(thicker, read_programs(job), CELL)
    assert not [one for one in findings if one.kind in OF_KIND and one.severity in ("beyond", "undecided")]


def test_lifts__of_cuts_and_faces_are_what_a_thicker_blank_has(tmp_path):
    job = read_job(planed(tmp_path, 2, part_up=OVER))
    frames = [setup.frame(job.blank) for setup in job.setups]
    motion = motion_of(job, frames)
    # Of the blank, and of the lower face planed: side 1, cut before, stands as much higher over that.
    assert (motion.lift.tolist(), motion.face_lift.tolist()) == ([[0.0, 1.0], [0.0, 0.0]],) * 2
    plain = motion_of(replace(job, steps=(), setups=tuple(replace(s, before=()) for s in job.setups)), frames)
    assert (plain.lift.tolist(), plain.face_lift.tolist()) == ([[1.0], [0.0]],) * 2


def test_side_heights__are_what_is_left_after_all_cuts_and_steps(tmp_path):
    steps = '[[steps]]\nafter = "second"\ndo = "thickness"\nside = 1\nthickness = 11.7\n'
    job, evidence = looked_at(planed(tmp_path, 2, part_up=OVER, more=steps))
    places = np.random.default_rng(4).uniform((0, 0), (job.blank.length, job.blank.width), (400, 2))
    lower, upper = evidence.heights(places)[:2]
    assert (lower.min(), upper.max()) == (OVER, OVER + 11.7)
    assert np.allclose(SideHeights(evidence, 1).at(places), upper, atol=1e-9)
    assert np.allclose(SideHeights(evidence, 2).at(places), -lower, atol=1e-9)


def test_not_told__where_a_cut_is_hidden_or_nothing_is_taken(tmp_path):
    # Faced to 11.5 by the program, then planed to 11.4: a deeper cut would show, and nothing of it is seen.
    job, evidence = looked_at(planed(tmp_path, 1, is_top=False, to=11.4))
    assert evidence.budget is None
    assert why_not(evidence).startswith("a face was taken off down to below what had been cut")
    evidence.job = replace(job, steps=(replace(job.steps[0], thickness=12 + OVER),))
    assert why_not(evidence) == "a step takes nothing off the blank"
    evidence.job = replace(job, budget=BudgetSpec(planing=1.0))
    assert "takes only 2.10 mm off" not in why_not(evidence)
    # The blank 1.2 mm thinner, and a step that leaves 1 mm more.
    evidence.job = replace(job, budget=BudgetSpec(planing=1.0, thickness_error=0.2))
    assert why_not(evidence) == (
        "a step takes only 2.10 mm off, and by the errors that the job states that may be 2.20 mm less"
    )


def test_inlaid__bears_what_the_same_part_of_wood_does(tmp_path):
    """The resin is as the wood would be: limits of 0.1 and 0.3 mm up and down, and 0.1 mm in plan."""
    _, evidence = looked_at(inlaid(tmp_path))
    budget = evidence.budget
    assert why_not(evidence) == ""
    assert evidence.is_poured[evidence.envelopes.is_part].any()
    assert budget.beyond == -1
    assert reach(budget, "high") == pytest.approx([0.1, 0.3], abs=SLACK)
    assert max(reach(budget, "right") + reach(budget, "back")) <= 0.1 + SLACK
    # The resin stands 1 mm over the part, as far under the first face in any blank; planed, both are level.
    assert reach(budget, "thickness") == [pytest.approx(1.1, abs=SLACK), None]


@pytest.mark.parametrize("thinner", [1.05, 1.15])
def test_inlaid__a_full_recut_of_a_thinner_blank_has_resin_as_low_as_the_budget_says(tmp_path, thinner):
    job = read_job(inlaid(tmp_path))
    changed = Change(thickness=-thinner).of(job)
    found = [one for one in check(changed, read_programs(job), CELL)[1] if one.kind == "gouge"]
    assert [one.severity for one in found] == (["beyond"] if thinner > 1.1 else [])


def test_inlaid__recuts_agree_within_a_twentieth_of_each_limit(tmp_path):
    recuts = Recuts(inlaid(tmp_path))
    rows = compared(recuts, np.array((0.05, -0.08, 0.1, 0.04, -0.06)))
    assert rows
    assert {says for _, _, says in rows} <= {"agree", "finer"}


def test_inlaid__not_told_where_the_resin_moves_with_either_side(tmp_path):
    _, evidence = looked_at(inlaid(tmp_path))
    job = evidence.job
    flipped = [replace(one, up=-1) if hasattr(one, "hollows") else one for _, one in evidence.steps_done()]
    evidence.done = [flipped, *evidence.done[1:]]
    assert why_not(evidence) == "resin is poured into what the side cut second opened"
    evidence.job = replace(job, budget=BudgetSpec(thickness_error=1.6))
    assert "resin" in why_not(evidence)


def test_hidden__a_cut_far_over_the_planed_face_shows_in_a_thinner_blank_alone(tmp_path):
    """A scratch before all else ends 0.6 mm over the face that takes it off."""
    path = planed(tmp_path, 1)
    text = path.read_text("utf-8").replace("[[setups]]\n", LEAF, 1)
    path.write_text(text.replace('after = "first"', 'after = "leaf"'), encoding="utf-8")
    scratch = budget_job.HEAD.format(tool=1, safe=20) + "G0 X22 Y17\nG1 Z-0.9 F600\nG0 Z20\nM30\n"
    (tmp_path / "leaf.nc").write_text(scratch, encoding="utf-8")
    job, evidence = looked_at(path)
    assert hidden_over(evidence) == pytest.approx(0.6, abs=1e-5)
    assert why_not(evidence) == ""
    evidence.job = replace(job, budget=BudgetSpec(thickness_error=0.7))
    assert why_not(evidence) == (
        "a face was taken off 0.60 mm below what had been cut into it, within the part, and by the errors "
        "that the job states that may be 0.70 mm less"
    )
