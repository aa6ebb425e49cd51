"""The error of what a step to a thickness leaves: on paper, by changed jobs, and by full re-cuts."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from simkit.budget.lifts import cut_lifts, last_lifts, part_lift, reach_of, stated_sizes, taken
from simkit.budget.rows import GOUGE, KINDS, TABLE
from simkit.check import check
from simkit.job.budget import BudgetSpec
from simkit.job.change import Change
from simkit.job.model import Blank, Job, Setup, Zero
from simkit.job.reader import read_job
from simkit.job.steps import THICKNESS, Step
from simkit.program.job_programs import read_programs
from tests import budget_job
from tests.budget_planed_job import KINDS as JOBS
from tests.budget_planed_job import OVER, planed
from tests.budget_recuts import Recuts, compared

CELL = 0.5
SLACK = 0.0012  # mm: two walls, each bracketed to 0.0005


def of_four(sides, faces):
    """A blank of 20 mm planed three times between four setups, side 1, 1, 2 and 2 up."""
    steps = tuple(
        Step(THICKNESS, after, side, thickness=thick)
        for after, (side, thick) in enumerate(zip(sides, (18.0, 17.0, 15.5), strict=True))
    )
    turns = ("none", "none", "about x", "about y")
    setups = tuple(
        Setup(f"{k}", (), turn=turn, zero=Zero(face=face), before=steps[:k])
        for k, (turn, face) in enumerate(zip(turns, faces, strict=True))
    )
    return Job("", Blank(80.0, 50.0, 20.0), {}, setups, steps=steps)


@pytest.mark.parametrize("sides", list(product((1, 2), repeat=3)))
@pytest.mark.parametrize(
    "faces", [("top",) * 4, ("bottom",) * 4, ("top", "bottom") * 2, ("bottom", "top") * 2]
)
def test_lifts__are_what_the_changed_job_has(sides, faces):
    job = of_four(sides, faces)
    errors = np.array([0.3, -0.2, 0.15, 0.1])
    changed = Change(thickness=0.3, planed={0: -0.2, 1: 0.15, 2: 0.1}).of(job)
    part = changed.last_body.low[2] - job.last_body.low[2]
    assert part == pytest.approx(part_lift(job) @ errors, abs=1e-12)
    for setup, then, lift in zip(job.setups, changed.setups, cut_lifts(job), strict=True):
        rise = then.frame(changed.blank).offset[2] - setup.frame(job.blank).offset[2]
        assert rise - part == pytest.approx(lift @ errors, abs=1e-12)
    high = changed.last_body.high[2] - job.last_body.high[2]
    assert last_lifts(job) @ errors == pytest.approx([high - part, 0.0], abs=1e-12)
    for number, size, grows in taken(job):
        less = changed.body(number).thickness - changed.steps[number].thickness
        assert less == pytest.approx(size + grows @ errors, abs=1e-12)


def test_reach__ends_where_a_step_takes_nothing():
    """2 mm go first, then 1 and 1.5: the first step may leave 1 mm less and 2 mm more."""
    job = of_four((1, 1, 1), ("top",) * 4)
    assert reach_of(job).tolist() == [[2.0, np.inf], [1.0, 2.0], [1.5, 1.0], [np.inf, 1.5]]
    job = replace(job, budget=BudgetSpec(planing=0.1, thickness_error=0.2))
    assert stated_sizes(job) == pytest.approx([0.3, 0.1, 0.1, 0.1])
    assert stated_sizes(replace(job, budget=None)).tolist() == [0.0] * 4


def budget_of(path):
    job = read_job(path)
    return check(job, read_programs(job), CELL)[0].budget


def planed_reach(budget):
    return [
        float(budget.axes.far[k]) if budget.axes.row[k] >= 0 else ("end", float(budget.axes.far[k]))
        for k in (10, 11)
    ]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        # Side 1 lies so much nearer to or farther from the planed face: limits of gouge and leftover.
        ("lower face", [0.1, 0.3]),
        # It lies 0.5 mm over the part, which side 1 had cut before: 0.6 less takes 0.1 off that.
        ("upper face", [0.6, ("end", OVER)]),
        # Side 2 is cut as much higher, into the part, or leaves as much.
        ("table", [0.3, 0.1]),
        ("face of the part", [0.1, 0.3]),
        ("inlay", [0.1, 0.3]),
    ],
)
def test_planed__bears_by_geometry(tmp_path, name, expected):
    budget = budget_of(JOBS[name](tmp_path))
    assert budget.beyond == -1
    assert budget.motion.names[5:] == [("planed", "mm", 1 if name == "inlay" else 0)]
    for found, known in zip(planed_reach(budget), expected, strict=True):
        assert found == (known if isinstance(known, tuple) else pytest.approx(known, abs=SLACK))


def test_hidden_cut__shows_where_the_face_that_took_it_off_is_left_higher(tmp_path):
    """Side 1 was faced at 11.5, its zero below a face at 13.5; planed to 10.9, 0.4 mm under the cut now."""
    path = planed(tmp_path, 1, to=10.9, first_up=-OVER)
    text = path.read_text("utf-8").replace("gouge = 0.1", "gouge = 1.0")
    path.write_text(text, encoding="utf-8")
    job = read_job(path)
    evidence = check(job, read_programs(job), CELL)[0]
    from simkit.budget.motion import motion_of
    from simkit.budget.under import under_rows

    parts = under_rows(evidence, motion_of(job, evidence.frames))
    assert {KINDS[one.kind[0]] for one in parts} == {KINDS[GOUGE]}
    # The cut ends at the part's own top: nothing of it is missing but by the face itself.
    tops = np.concatenate([one.value[one.side == 1] for one in parts])
    lifts = np.concatenate([one.thick[one.side == 1] for one in parts])
    assert tops.max() == pytest.approx(0.0, abs=1e-5)
    assert np.unique(lifts[tops > -0.1], axis=0).tolist() == [[-1.0, 0.0]]


@pytest.mark.parametrize("name", JOBS)
def test_recut__agrees_within_a_twentieth_of_each_limit(tmp_path, name):
    """More of this in benchmarks/budget_proof.py."""
    recuts = Recuts(JOBS[name](tmp_path))
    far = -0.65 if name == "upper face" else 0.08
    rows = compared(recuts, np.array((0.05, -0.08, 0.1, 0.04, -0.06, far)))
    assert {kind for kind, _, _ in rows} >= {GOUGE}
    assert {says for _, _, says in rows} <= {"agree", "finer"}, rows


def test_contributions__each_planing_is_an_error_of_its_own(tmp_path):
    budget = budget_of(planed(tmp_path, 2, part_up=OVER, more="[budget]\nplaning = 0.2\n"))
    first, second = budget.parts
    assert first.words == "planing the blank to an even thickness, before the steps"
    assert second.words == "planing side 2 to 12 mm, step 1"
    is_table = budget.rows.kind == TABLE
    assert not first.column[~is_table].any()
    assert np.abs(first.column[is_table]).tolist() == [0.2, 0.0]  # side 1 is cut in the blank as it was
    assert np.abs(second.column).max() == pytest.approx(0.2, abs=1e-6)
    assert not [words for words in budget.left_out if "planing" in words]
    # Even within 0.2 mm either way, of which 0.1 down and all of it up is borne: three quarters.
    assert budget.chance.holds == pytest.approx(0.75, abs=budget.chance.bound + SLACK / 0.4)
    words = "planing to an even thickness, the blank and all steps together"
    assert budget.parts[budget.chance.work_on].together == words
    assert budget.chance.holds_without == 1.0


def test_contributions__none_of_a_step_in_a_job_without(tmp_path):
    budget = budget_of(budget_job.write(tmp_path, more="[budget]\nplaning = 0.2\n"))
    assert [part.words for part in budget.parts] == ["planing the blank to an even thickness"]
    assert budget.chance.holds == pytest.approx(0.75, abs=budget.chance.bound + SLACK / 0.4)
