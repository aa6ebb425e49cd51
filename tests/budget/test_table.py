"""The table under the blank limits how much lower the second side may be cut, as the check tells it."""

from dataclasses import replace

import pytest

from simkit.budget.motion import NAMES
from simkit.budget.rows import KINDS, TABLE
from simkit.check import check
from simkit.job.change import Change
from simkit.job.reader import read_job
from simkit.machine.room import TOUCH
from simkit.program.job_programs import read_programs
from simkit.report.budget_table import budget_table
from simkit.report.budget_words import axis_rows, far_text
from simkit.report.lengths import Lengths
from tests import budget_edge_job

CELL = 0.5
BOARD = 1.0  # mm: the walls are cut 0.4 mm below the blank
ROOM = BOARD - (budget_edge_job.THROUGH - budget_edge_job.THICK) + TOUCH


def looked_at(folder, board=BOARD, is_top=True, **more):
    path = budget_edge_job.rim(folder, wall=0.2, **more)
    text = path.read_text("utf-8").replace("spoilboard = 6", f"spoilboard = {board:g}")
    path.write_text(text, encoding="utf-8")
    job = read_job(path)
    return job, check(job, read_programs(job), CELL)[0]


def reach(budget, name):
    """Return how far it goes down and up, and what breaks there."""
    nth, rows = 2 * NAMES.index(name), budget.axes.row
    return [
        (float(budget.axes.far[k]), KINDS[budget.rows.kind[rows[k]]] if rows[k] >= 0 else "")
        for k in (nth, nth + 1)
    ]


def test_lower__reaches_to_the_board_and_a_changed_job_says_so(tmp_path):
    job, evidence = looked_at(tmp_path)
    (low, binds), high = reach(evidence.budget, "high")
    assert (low, binds) == (pytest.approx(ROOM, abs=1e-6), "table-contact")
    assert high == (5.0, "")
    reads = read_programs(job)
    for lower, is_told in ((ROOM - 0.002, False), (ROOM + 0.002, True)):
        changed = Change({"second": (0.0, 0.0, -lower)}, {}, 0.0).of(job)
        kinds = {one.kind for one in check(changed, reads, CELL)[1]}
        assert ("table-contact" in kinds) == is_told


def test_thinner__blank_brings_the_tip_as_much_lower_where_the_zero_is_on_top(tmp_path):
    job, evidence = looked_at(tmp_path, gouge=1.0)
    (low, binds), _ = reach(evidence.budget, "thickness")
    assert (low, binds) == (pytest.approx(ROOM, abs=1e-6), "table-contact")
    reads = read_programs(job)
    for thinner, is_told in ((ROOM - 0.002, False), (ROOM + 0.002, True)):
        changed = Change({}, {}, -thinner).of(job)
        changed = replace(changed, limits=replace(changed.limits, gouge=2.0))
        kinds = {one.kind for one in check(changed, reads, CELL)[1]}
        assert ("table-contact" in kinds) == is_told


def test_deeper_than_the_board_already__is_left_to_its_finding(tmp_path):
    _, evidence = looked_at(tmp_path, board=0.3)
    assert evidence.budget.beyond == -1
    rows = evidence.budget.rows
    assert rows.side[rows.kind == TABLE].tolist() == [1]
    assert evidence.below_table[1] is not None


def test_words__name_the_board_and_how_far_is_looked(tmp_path):
    _, evidence = looked_at(tmp_path)
    told = {row[0]: row for row in axis_rows(budget_table(evidence))}
    _, far, unit, words = told["cut lower"]
    assert (far_text(far, unit), words.partition(",")[0]) == (
        "0.610 mm",
        "cutter deeper than the table or its spoilboard allows with side 2 up",
    )
    _, far, unit, words = told["cut higher"]
    assert (far, words) == (None, "")
    assert far_text(far, unit) == "over 5 mm"
    assert far_text(None, "degrees") == "over 2 degrees"
    assert far_text(None, "mm", Lengths("in")) == "over 0.197 in"
