"""How the second side moves: against the frames that a changed job has, and against differences."""

from dataclasses import replace

import numpy as np
import pytest

from simkit.budget.motion import motion_of
from simkit.job.change import Change
from simkit.job.model import Blank, Job, Setup, Zero

BLANK = Blank(80.0, 50.0, 20.0)
POSES = [
    (turn, swing, face)
    for turn in ("about x", "about y")
    for swing in ("none", "quarter left", "half")
    for face in ("top", "bottom")
]


def job_of(turn, swing, face):
    second = Setup("b", (), turn=turn, swing=swing, zero=Zero("right front", face, (1.0, -2.0, 0.5)))
    return Job("", BLANK, {}, (Setup("a", ()), second))


@pytest.mark.parametrize(("turn", "swing", "face"), POSES)
def test_back_from__undoes_what_a_changed_job_does(turn, swing, face):
    job = job_of(turn, swing, face)
    frames = [setup.frame(BLANK) for setup in job.setups]
    motion = motion_of(job, frames)
    assert (motion.side, motion.setup) == (2, 1)
    change = np.array([0.7, -0.4, 1.3, 0.2, 0.35])
    right, back, degrees, high, thicker = change
    changed = Change({"b": (right, back, high)}, {"b": degrees}, thicker).of(job)
    places = np.random.default_rng(1).uniform(-10, 90, (50, 3))
    moved = changed.setups[1].frame(changed.blank).apply(places)
    found = motion.back_from(moved, np.tile(change, (50, 1)), np.tile(motion.lift[1], (50, 1)))
    assert np.allclose(found, frames[1].apply(places), atol=1e-9)


@pytest.mark.parametrize(("turn", "swing", "face"), POSES)
def test_columns__are_what_a_small_change_does(turn, swing, face):
    job = job_of(turn, swing, face)
    frames = [setup.frame(BLANK) for setup in job.setups]
    motion = motion_of(job, frames)
    places = np.random.default_rng(2).uniform(-10, 90, (20, 3))
    at = frames[1].apply(places)
    columns = motion.columns(at)
    small = 1e-5
    for k, change in enumerate(np.eye(4) * small):
        supposed = Change({"b": (change[0], change[1], change[3])}, {"b": change[2]})
        moved = supposed.of(job).setups[1].frame(BLANK).apply(places)
        assert np.allclose((moved - at) / small, columns[:, k], atol=1e-5)


def test_lift__of_a_zero_on_the_table_and_on_top():
    for first, second, lift in (("top", "top", (1.0, 0.0)), ("bottom", "bottom", (0.0, 1.0))):
        job = job_of("about x", "none", second)
        job = replace(job, setups=(Setup("a", (), zero=Zero(face=first)), job.setups[1]))
        assert motion_of(job, [setup.frame(BLANK) for setup in job.setups]).lift.T.tolist() == [list(lift)]


def test_one_side__has_no_second():
    setups = (Setup("a", ()), Setup("b", ()))
    assert motion_of(Job("", BLANK, {}, setups), [setup.frame(BLANK) for setup in setups]) is None
