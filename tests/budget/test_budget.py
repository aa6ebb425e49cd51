"""The region of errors that a job bears: closed forms of straight walls, and full re-cuts."""

from dataclasses import replace

import numpy as np
import pytest

from simkit.budget.motion import NAMES
from simkit.budget.region import axis_ways, plan_ways
from simkit.budget.rows import GOUGE, KINDS, LEFTOVER, STEP, WALL
from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests import budget_job, mutations
from tests.budget_recuts import Recuts, compared

CELL = 0.5
FACET = budget_job.RADIUS * (1 - np.cos(np.pi / 96))  # the pocket's mesh stands so far inside its circle
SLACK = 0.0012  # mm: two walls, each bracketed to 0.0005


def budget_of(folder, **more):
    job = read_job(budget_job.write(folder, **more))
    return check(job, read_programs(job), CELL)[0].budget


def reach(budget, name, is_up):
    return float(budget.axes.far[2 * NAMES.index(name) + is_up])


def binds(budget, name, is_up):
    return KINDS[budget.rows.kind[budget.axes.row[2 * NAMES.index(name) + is_up]]]


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return budget_of(tmp_path_factory.mktemp("plain"))


def test_shift__reaches_as_far_as_the_limit_of_a_straight_wall(plain):
    assert plain.beyond == -1
    for name in ("right", "back"):
        for is_up in (False, True):
            assert 0.1 - FACET - SLACK <= reach(plain, name, is_up) <= 0.1 + SLACK
            assert binds(plain, name, is_up) == "gouge"


def test_shift__reaches_as_far_as_the_limit_less_the_step_there_is(tmp_path):
    """Side 2 cuts its left wall 0.06 mm too deep: 0.04 mm are left that way, and the step only just holds."""
    budget = budget_of(tmp_path, off=0.06)
    assert reach(budget, "right", True) == pytest.approx(0.04, abs=SLACK)
    assert 0.1 - FACET - SLACK <= reach(budget, "right", False) <= 0.1 + SLACK


def test_shift__reaches_as_far_as_the_witness_step(tmp_path):
    budget = budget_of(tmp_path, step=0.05, off=0.02)
    # Along the right the left wall's step of 0.02 grows, along the left the right wall's of nothing.
    assert reach(budget, "right", True) == pytest.approx(0.03, abs=0.004)
    assert reach(budget, "right", False) == pytest.approx(0.05, abs=0.004)
    assert binds(budget, "right", True) == binds(budget, "back", False) == "witness-step"


def test_turn__reaches_as_far_as_the_lever_of_the_longest_wall(plain):
    """The block lies in the middle of the blank: its walls of 24 mm gouge first, at their ends."""
    expected = np.degrees(np.arcsin(0.1 / 12))
    for is_up in (False, True):
        assert reach(plain, "turn", is_up) == pytest.approx(expected, rel=0.015)


def test_height_and_thickness__bear_the_limits_themselves(plain, tmp_path):
    # Zero on top: a thinner blank lowers side 1, and side 2 stays where it was.
    for name in ("high", "thickness"):
        assert reach(plain, name, False) == pytest.approx(0.1, abs=SLACK)
        assert reach(plain, name, True) == pytest.approx(0.3, abs=SLACK)
    # On the table: a thicker blank is cut too deep from below.
    table = budget_of(tmp_path, is_top=False)
    assert reach(table, "thickness", True) == pytest.approx(0.1, abs=SLACK)
    assert reach(table, "thickness", False) == pytest.approx(0.3, abs=SLACK)


def test_plan__corners_bear_no_more_than_walls(plain):
    """A square moved along its diagonal has its corner cut off by the whole way: the region is a circle."""
    assert (plain.plan.far <= 0.1 + SLACK).all()
    assert (plain.plan.far >= 0.1 - FACET - 2 * SLACK).all()


def test_plan__wider_limits_bear_more_in_every_direction(plain, tmp_path):
    wide = budget_of(tmp_path, gouge=0.15, step=0.3)
    assert (wide.plan.far >= plain.plan.far - SLACK).all()
    assert wide.plan.far.max() > 0.14


def test_rows__hold_at_the_edge_of_the_region(plain):
    ways = np.vstack([plan_ways(), axis_ways()])
    far = np.concatenate([plain.plan.far, plain.axes.far])
    over = (plain.rows.value - plain.rows.limit)[:, None] + plain.rows.columns(plain.motion) @ (
        ways * far[:, None]
    ).T
    assert (over.max(axis=0) <= plain.off + SLACK).all()
    assert (over.max(axis=0) >= -plain.off - SLACK).all()
    assert plain.off < 0.005


def test_beyond__is_told_of_a_job_that_is_beyond_its_limit(tmp_path):
    budget = budget_of(tmp_path, off=0.15)
    assert KINDS[budget.rows.kind[budget.beyond]] == "gouge"
    assert budget.rows.value[budget.beyond] == pytest.approx(0.15, abs=SLACK)


def test_corners__that_no_cutter_gets_into_bear_what_they_leave_of_the_limit(tmp_path):
    """A 6 mm cutter leaves (sqrt(2) - 1) 3 mm in a square corner, and a shift along its middle adds to it."""
    mutations.run(tmp_path, mutations.GOOD[0])
    job = read_job(tmp_path / "job.toml")
    # Its wall of 1.5 mm, thin by design, would bear less than the corners.
    job = replace(job, limits=replace(job.limits, gouge=0.5, thinnest_wall=1.0))
    budget = check(job, read_programs(job), CELL)[0].budget
    stands = (np.sqrt(2) - 1) * 3
    inside = (budget.rows.kind == LEFTOVER) & (np.abs(budget.rows.value - stands) < SLACK)
    assert set(map(tuple, np.abs(budget.rows.at[inside, :2]).round(3).tolist())) == {
        (x, y) for x in (20, 50) for y in (6, 22)
    }
    assert budget.beyond == -1
    corner = plan_ways()[:, 0] * plan_ways()[:, 1]
    diagonal = np.flatnonzero(np.abs(np.abs(corner) - 0.5) < 1e-9)
    assert len(diagonal) == 4
    assert budget.plan.far[diagonal] == pytest.approx(1.4 - stands, abs=0.002)
    # Along the right the corner goes 1 / sqrt(2) of the way along its middle.
    assert reach(budget, "right", True) == pytest.approx((1.4 - stands) * np.sqrt(2), abs=0.01)


@pytest.fixture(scope="module")
def recuts(tmp_path_factory):
    return Recuts(budget_job.write(tmp_path_factory.mktemp("recuts")))


@pytest.mark.parametrize(
    "change",
    [
        (0.12, -0.08, 0.0, 0.0, 0.0),
        (-0.05, 0.09, 0.2, 0.06, -0.05),
        (0.0, 0.0, 0.0, -0.11, 0.09),
    ],
)
def test_recut__agrees_within_a_twentieth_of_each_limit(recuts, change):
    """More of this in benchmarks/budget_proof.py."""
    rows = compared(recuts, np.array(change))
    assert {kind for kind, _, _ in rows} & {LEFTOVER, STEP}
    assert all(says in ("agree", "finer") for _, _, says in rows), rows


@pytest.mark.parametrize(
    ("change", "corner"),
    [
        ((-0.0962, -0.0763, -0.3095, 0.1103, 0.0729), 0.1491),
        ((0.2201, 0.0329, 0.4001, 0.1019, 0.096), 0.2829),
    ],
)
def test_gouge__that_is_largest_at_a_sharp_outer_corner_never_passes(recuts, change, corner):
    """The corner of the block, moved back rigidly, lies `corner` mm off: worked out from its coordinates.

    The walls beside it are within the limit but for their last mm, and the cut is farther from the corner
    than any place of the cut is from the part.
    """
    limits = dict.fromkeys(recuts.stated, 1.0)
    for below in (0.0055, 0.003):
        assert recuts.beyond(np.array(change), limits | {GOUGE: corner - below}).get(GOUGE, True)
    assert not recuts.beyond(np.array(change), limits | {GOUGE: corner + 0.005}).get(GOUGE, False)


@pytest.mark.parametrize("lower", [0.17, 0.23])
def test_floor__bears_what_it_has_above_the_limit(tmp_path_factory, lower):
    """The floor of 8.5 mm under the pocket may lose 0.2: cut 0.17 lower it holds, 0.23 lower it does not."""
    recuts = Recuts(budget_job.write(tmp_path_factory.mktemp("floor"), gouge=0.5, wall=8.3))
    assert reach(recuts.budget, "high", False) == pytest.approx(0.2, abs=0.02)
    assert binds(recuts.budget, "high", False) == "thin-wall"
    change = np.array([0.0, 0.0, 0.0, -lower, 0.0])
    limits = dict.fromkeys(recuts.stated, 1.0)
    assert recuts.beyond(change, limits)[WALL] == (lower > 0.2) == (recuts.asked(change)[WALL] > 0)
