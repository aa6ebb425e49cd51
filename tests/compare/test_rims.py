"""Sharp rims between both sides: closed forms, cells that miss them, and finer cells."""

import numpy as np
import pytest

from simkit.check import check
from simkit.compare.both_ways import AWAY
from simkit.compare.rims import lost, rim_places
from simkit.job.change import Change
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.stock.field import Lattice
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target
from tests import budget_edge_job
from tests.budget_job import X0, X1, Y0, Y1


class Left:
    """What is left at a rim x = 0, z = 0: up to -top, and from an underside that lies `deep` too high."""

    def __init__(self, steep, top, deep):
        self.steep, self.top, self.deep = steep, top, deep

    def __call__(self, points):
        self.upper = np.full(len(points), -self.top)
        self.lower = self.steep * points[:, 0] + self.deep
        return self


def wedge(steep):
    """A wedge that ends in a rim along y at x = 0, z = 0: level above, of that slope below."""
    x, long = -5.0, 4.0
    v = np.array(
        [(0, 0, 0), (0, long, 0), (x, 0, 0), (x, long, 0), (x, 0, steep * x), (x, long, steep * x)], float
    )
    faces = [(0, 1, 3), (0, 3, 2), (0, 4, 5), (0, 5, 1), (2, 3, 5), (2, 5, 4), (0, 2, 4), (1, 5, 3)]
    return TargetGrid(make_target(v, np.array(faces)))


@pytest.mark.parametrize("degrees", [20, 45, 70])
@pytest.mark.parametrize(("top", "deep"), [(0.1, 0.0), (0.0, 0.1), (0.2, 0.1), (0.15, -0.05)])
def test_lost__is_as_far_as_the_end_of_the_wedge_that_is_left(degrees, top, deep):
    steep = np.tan(np.radians(degrees))
    rim, inward = np.zeros((1, 3)), np.array([[-1.0, 0.0]])
    known = np.hypot((top + deep) / steep, top)
    told = [lost(rim, inward, wedge(steep), side, Left(steep, top, deep))[0] for side in (1, 2)]
    assert max(told) == pytest.approx(known, abs=1e-3)
    assert [one > 0 for one in told] == [top > 0, deep > 0]
    if deep > 0:  # from below the end of what is left lies level with the rim, however low its top
        assert told[1] == pytest.approx((top + deep) / steep, abs=1e-3)


def test_lost__is_no_more_than_is_looked_for():
    rim, inward = np.zeros((1, 3)), np.array([[-1.0, 0.0]])
    assert lost(rim, inward, wedge(0.1), 1, Left(0.1, 0.4, 0.0))[0] == AWAY


def test_rim_places__keep_to_the_rim_and_lead_in():
    rim, inward = rim_places(wedge(1.0), 0.5)
    mine = np.abs(rim[:, 0]) < 1e-9
    assert mine.sum() == 8 + 2
    assert np.allclose(rim[mine][:, 2], 0.0)
    assert (inward[mine][:8] == [-1.0, 0.0]).all()


def gouge_of(folder, limit, cell, back=0.0, thicker=-0.1, **more):
    """The check's gouges by side, of a bevel whose top is 0.1 mm too low."""
    return moved_gouges(folder, limit, cell, (back, 0.0, 0.0), 0.0, thicker, **more)


def moved_gouges(folder, limit, cell, shift, turn, thicker, **more):
    """The check's gouges of a bevel whose second side lies otherwise than supposed, by mm and degrees."""
    job = read_job(budget_edge_job.bevel(folder, gouge=limit, **more))
    second = job.setups[1].name
    changed = Change({second: shift}, {second: turn}, thicker, planed={}).of(job)
    evidence, findings, _ = check(changed, read_programs(job), cell)
    return evidence, [one for one in findings if one.kind == "gouge"]


def nearest_wood(recut, place, room, cell):
    """How far a place (3,) is from the nearest column of what is left, by brute force."""
    n = 2 * int(room / cell)
    left = recut(Lattice((place[0] - room, place[1] - room), cell, n, n))
    lower, upper = (heights.astype(float) for heights in (left.lower, left.upper))
    x, y = left.lattice.x()[None, :] - place[0], left.lattice.y()[:, None] - place[1]
    z = np.maximum(np.maximum(lower - place[2], place[2] - upper), 0.0)
    return float(np.min(np.sqrt(x * x + y * y + z * z), where=left.is_solid, initial=np.inf))


@pytest.mark.parametrize("degrees", [45.0, 30.0])
@pytest.mark.parametrize("cell", [0.5, 0.2])
def test_check__tells_a_rim_of_one_side_that_is_right_as_far_as_it_is_lost(tmp_path, degrees, cell):
    """At a corner of it what is left ends t / tan a off along both walls, and t below."""
    known = 0.1 * np.sqrt(2 / np.tan(np.radians(degrees)) ** 2 + 1)
    for limit, is_told in ((0.97 * known, True), (1.03 * known, False)):
        _, found = gouge_of(tmp_path, limit, cell, degrees=degrees)
        assert {(one.side, one.severity) for one in found} == ({(1, "beyond")} if is_told else set())
    _, found = gouge_of(tmp_path, 0.5 * known, cell, degrees=degrees)
    worst = max(found, key=lambda one: abs(one.value))
    assert abs(worst.value) == pytest.approx(known, abs=worst.bound + 0.002)
    x, y, _ = worst.at
    assert min(abs(x - X0), abs(x - X1)) < 0.02
    assert min(abs(y - Y0), abs(y - Y1)) < 0.02


def test_check__tells_a_strip_of_a_rim_that_no_cell_meets(tmp_path):
    """Moved by 0.03 mm as well, within a limit that each side by itself would keep."""
    known = np.sqrt(0.13**2 + 0.1**2 + 0.1**2)
    for limit, is_told in ((0.95 * known, True), (1.05 * known, False)):
        _, found = gouge_of(tmp_path, limit, 0.5, back=-0.03)
        assert bool(found) == is_told


@pytest.mark.parametrize("cell", [0.5, 0.2])
def test_check__tells_a_corner_of_a_rim_that_straight_in_is_farther_off_than_beside(tmp_path, cell):
    """Moved by (0.022, 0.133) mm and 0.033 mm deeper: held against columns 0.001 mm wide about the corner.

    By hand: a bevel of 70 degrees that lies deeper by d ends d / tan 70 farther in, on both walls.
    Straight in from the corner nothing is left for 0.205 mm: a bound, no value.  Cells see 0.137.
    """
    right, back, deeper = 0.02188428, 0.13326458, 0.03270356
    changed = ((right, back, -deeper), 0.0, 0.0)
    evidence, _ = moved_gouges(tmp_path, 9.0, cell, *changed, degrees=70.0)
    corner = np.array([X0, Y1, 11.5])
    known = nearest_wood(evidence.recut, corner, 0.25, 0.001)
    farther = deeper / np.tan(np.radians(70.0))
    assert known == pytest.approx(np.hypot(right + farther, back + farther), abs=7e-4)
    for limit, is_told in ((0.965 * known, True), (1.02 * known, False)):
        _, found = moved_gouges(tmp_path, limit, cell, *changed, degrees=70.0)
        assert [one.severity for one in found] == (["beyond"] if is_told else [])
        assert all(abs(abs(one.value) - known) <= one.bound + 0.0005 for one in found)
        assert all(np.hypot(*(np.array(one.at) - corner)[:2]) < 0.01 for one in found)


def test_check__tells_no_rim_where_the_part_has_a_wall(tmp_path):
    path = budget_edge_job.rim(tmp_path, gouge=0.105)
    job = read_job(path)
    changed = Change({}, {}, -0.1, planed={}).of(job)
    evidence, findings, _ = check(changed, read_programs(job), 0.5)
    assert not [one for one in findings if one.kind == "gouge"]
    assert not evidence.deviations[1].rims
