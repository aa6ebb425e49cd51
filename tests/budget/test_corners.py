"""Sharp edges and corners of the part: closed forms, distances by another way, and full re-cuts."""

from itertools import combinations

import numpy as np
import pytest

from simkit.budget.motion import NAMES
from simkit.budget.region import plan_ways
from simkit.budget.rows import GOUGE, LEFTOVER, STEP
from simkit.budget.shares import between_three, between_two
from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests import budget_edge_job
from tests.budget_recuts import Recuts, compared

CELL = 0.5
SLACK = 0.0012  # mm: two walls, each bracketed to 0.0005
POINT, EDGE = 1.02, 1.0039  # by so much may a point of three faces be told too far off, and an edge


def budget_of(folder, kind, **more):
    job = read_job(budget_edge_job.KINDS[kind](folder, wall=0.2, **more))
    return check(job, read_programs(job), CELL)[0].budget


def reach(budget, name):
    nth = 2 * NAMES.index(name)
    return budget.axes.far[nth : nth + 2].tolist()


def distance(normals, missing):
    """From the corner of the part to what is left of it, {n . x <= -missing}: the nearest place of each face,
    edge and point of that, the nearest of those that lie in it."""
    found = np.inf
    for count in range(1, len(normals) + 1):
        for some in combinations(range(len(normals)), count):
            place = np.linalg.pinv(normals[list(some)]) @ -missing[list(some)]
            if (normals @ place <= -missing + 1e-9).all():
                found = min(found, float(np.linalg.norm(place)))
    return 0.0 if (missing <= 0).all() else found


def directions(rng, count):
    """Normals that differ by 30 to 150 degrees, each from each."""
    while True:
        found = rng.normal(size=(count, 3))
        found /= np.linalg.norm(found, axis=1)[:, None]
        cosine = (found @ found.T)[np.triu_indices(count, 1)]
        if (abs(cosine) < 0.85).all() and (count < 3 or abs(np.linalg.det(found)) > 0.2):
            return found


@pytest.mark.parametrize("seed", range(40))
def test_edge__is_as_far_off_as_the_nearest_place_of_the_wedge(seed):
    rng = np.random.default_rng(seed)
    normals = directions(rng, 2)
    missing = rng.uniform(-0.05, 0.1, 2)
    known = distance(normals, missing)
    says = max(float((share @ missing)[0]) for _, share in between_two(normals[None]))
    assert known - 1e-9 <= max(says, 0.0) <= EDGE * known + 1e-9


@pytest.mark.parametrize("seed", range(40))
def test_point__is_as_far_off_as_the_nearest_place_of_the_corner(seed):
    rng = np.random.default_rng(seed)
    normals = directions(rng, 3)
    missing = rng.uniform(-0.05, 0.1, 3)
    known = distance(normals, missing)
    pairs = [
        float((share @ missing[list(two)])[0])
        for two in combinations(range(3), 2)
        for _, share in between_two(normals[list(two)][None])
    ]
    says = max((between_three(normals[None])[0] @ missing).max(), max(pairs))
    assert known - 1e-9 <= max(says, 0.0)
    if (normals @ normals.T > -0.1).all():
        assert max(says, 0.0) <= known + 0.02 * np.linalg.norm(np.linalg.solve(normals, missing))


def test_point__of_a_block_is_told_within_two_hundredths():
    share = between_three(np.eye(3)[None])[0]
    way = np.abs(np.random.default_rng(1).normal(size=(2000, 3)))
    says = (share @ (way / np.linalg.norm(way, axis=1)[:, None]).T).max(axis=0)
    assert says.min() >= 1 - 1e-9
    assert says.max() < 1.02


def test_ridge__that_rises_by_t_stands_t_off(tmp_path):
    """Its faces of 45 degrees say t / sqrt(2) alone: 0.141 and 0.424 mm would be borne."""
    budget = budget_of(tmp_path, "ridges")
    low, high = reach(budget, "thickness")
    for far, limit, most in ((low, 0.1, POINT), (high, 0.3, EDGE)):
        assert limit / most - SLACK <= far <= limit + SLACK


@pytest.mark.parametrize("name", ["right", "back"])
def test_rim__of_45_degrees_moves_as_far_as_the_side_that_cut_under_it(tmp_path, name):
    budget = budget_of(tmp_path, "bevel")
    assert budget.beyond == -1
    for far in reach(budget, name):
        assert 0.1 / POINT - SLACK <= far <= 0.1 + SLACK


def test_corner__of_the_first_side_adds_what_its_wall_is_off_already(tmp_path):
    """The left wall is 0.08 mm too far in: with the top 0.06 mm lower its edge is 0.1 off."""
    budget = budget_of(tmp_path, "foot", off=0.08)
    low, high = reach(budget, "thickness")
    assert 0.06 - 2 * SLACK <= low <= 0.06 + SLACK
    assert high == pytest.approx(0.3, abs=SLACK)


def test_corner__of_the_second_side_bears_a_ball(tmp_path):
    """Moved along all three of its faces' normals by 0.07 mm the corner is sqrt(3) times as far off."""
    recuts = Recuts(budget_edge_job.lid(tmp_path, wall=0.2))
    off = 0.07
    change = np.array((-off, off, 0.0, -off, 0.0))
    told = recuts.asked(change)[GOUGE]
    assert np.sqrt(3) * off - SLACK <= told <= POINT * np.sqrt(3) * off + SLACK
    wide = dict.fromkeys(recuts.stated, 1.0)
    assert recuts.beyond(change, wide | {GOUGE: 1.08 * np.sqrt(2) * off})[GOUGE]
    assert not recuts.beyond(change, wide | {GOUGE: told})[GOUGE]


def test_rim__between_a_level_top_and_a_wall_of_the_other_side_each_counts_alone(tmp_path):
    """The check judges each side by itself: a square of shift and thickness is borne."""
    recuts = Recuts(budget_edge_job.rim(tmp_path, wall=0.2))
    budget = recuts.budget
    assert reach(budget, "thickness") == pytest.approx([0.1, 0.3], abs=SLACK)
    assert budget.plan.far == pytest.approx(np.full(len(plan_ways()), 0.1), abs=SLACK)
    for change in ((-0.09, 0.0, 0.0, 0.0, -0.09), (0.07, 0.0, 0.0, 0.0, -0.09)):
        asked = recuts.asked(np.array(change))[GOUGE]
        assert asked == pytest.approx(0.09, abs=SLACK)
        rows = compared(recuts, np.array(change))
        assert {(kind, is_above) for kind, is_above, _ in rows} >= {(GOUGE, True), (GOUGE, False)}
        assert {says for _, _, says in rows} <= {"agree", "finer"}, rows


@pytest.mark.parametrize("degrees", [20.0, 45.0, 70.0])
def test_rim__that_one_side_alone_lost_is_as_far_off_as_what_is_left_ends(tmp_path, degrees):
    """At a corner of it t / tan a along both walls, and t below, of a top that is t too low."""
    job = read_job(budget_edge_job.bevel(tmp_path, degrees, wall=0.2))
    budget = check(job, read_programs(job), CELL)[0].budget
    low, high = reach(budget, "thickness")
    known = 0.1 / np.sqrt(2 / np.tan(np.radians(degrees)) ** 2 + 1)
    assert known / POINT**2 - SLACK <= low <= known + SLACK
    assert high == pytest.approx(0.3, abs=SLACK)


@pytest.mark.parametrize("degrees", [45.0, 70.0])  # the steeper goes on above the wall
def test_rim__is_lost_by_a_wall_beside_it_also_where_its_faces_stand_proud(tmp_path, degrees):
    """The bevel is raised by 0.2 mm, the top by 0.1: what ends the wood is the wall, 0.12 mm in."""
    recuts = Recuts(budget_edge_job.bevel(tmp_path, degrees, wall=0.2))
    change = np.array((0.12, 0.0, 0.0, 0.2, 0.1))
    assert recuts.asked(change)[GOUGE] == pytest.approx(0.12, abs=SLACK)
    rows = compared(recuts, change)
    assert {says for kind, _, says in rows if kind == GOUGE} <= {"agree", "finer"}, rows


def test_chamfer__above_a_wall_of_the_other_side_is_no_farther_off_than_it_is_too_deep(tmp_path):
    """20 degrees, 0.1 mm too low, over a wall 0.08 mm in: the edge is 0.107 mm off, 0.1 is told."""
    recuts = Recuts(budget_edge_job.chamfer(tmp_path, 20.0, wall=0.2))
    change = np.array((-0.08, 0.0, 0.0, 0.0, -0.1))
    assert recuts.asked(change)[GOUGE] == pytest.approx(0.1, abs=SLACK)
    rows = compared(recuts, change)
    assert {says for kind, _, says in rows if kind == GOUGE} <= {"agree", "finer"}, rows


@pytest.mark.parametrize("degrees", [20.0, 40.0])
def test_chamfer__whose_end_a_wall_of_the_other_side_takes_is_off_as_far_as_it_goes(tmp_path, degrees):
    """On paper: a wall 0.2 too far in meets the chamfer 0.2 / cos 20 from the wall's last edge.

    The check comes near that from below, for it has columns, and none at the rim itself.
    """
    recuts = Recuts(budget_edge_job.chamfer(tmp_path, degrees, wall=0.2))
    change, far = np.array((0.2, 0.0, 0.0, 0.0, 0.0)), 0.2 / np.cos(np.radians(degrees))
    assert recuts.asked(change)[GOUGE] == pytest.approx(far, abs=SLACK)
    wide = dict.fromkeys(recuts.stated, 1.0)
    assert recuts.beyond(change, wide | {GOUGE: 0.97 * far})[GOUGE]
    assert not recuts.beyond(change, wide | {GOUGE: far + 0.001})[GOUGE]


@pytest.mark.parametrize(
    ("kind", "change", "most"),
    [
        ("ridges", (0.0, 0.0, 0.0, 0.0, -0.1), {GOUGE: 0.1}),
        ("ridges", (0.0, 0.0, 0.0, 0.0, 0.25), {LEFTOVER: 0.25}),
        ("bevel", (-0.12, 0.0, 0.0, 0.0, 0.0), {GOUGE: 0.12, LEFTOVER: 0.12}),
    ],
)
def test_recut__of_a_sharp_edge_agrees_within_a_twentieth(tmp_path, kind, change, most):
    """Faces alone say up to 1 / sqrt(2) of it.  More of this in benchmarks/budget_proof.py."""
    recuts = Recuts(budget_edge_job.KINDS[kind](tmp_path, wall=0.2))
    asked = recuts.asked(np.array(change))
    for one, known in most.items():
        assert known - SLACK <= asked[one] <= POINT * known + SLACK
    rows = compared(recuts, np.array(change))
    assert {one for one, _, _ in rows if one != STEP} >= set(most)
    assert {says for _, _, says in rows} <= {"agree", "finer"}, rows
