"""Which way back: every wrong pose of random parts is found and the right one named, right ones stay."""

import numpy as np
import pytest

from simkit.compare.pose_fit import PoseScore, fit_poses, is_better
from simkit.compare.poses import Pose, all_poses, stated_pose
from simkit.findings.pose_words import how_to, joined, remark
from simkit.job.model import Blank, Job, Setup, Zero
from simkit.moves.table import join_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.target.envelope import Envelopes
from tests.outlined_parts import CUTTERS, OutlinedPart, run
from tests.random_parts import RandomPart

FRONT = Pose("about x", "none", "left front", "top")


@pytest.mark.parametrize("seed", range(24))
def test_fit__random_part(seed):
    part = RandomPart(seed)
    fit = fit_poses(part.job, part.moves, part.rows, part.frames, part.envelopes)[1]
    assert fit.better is None
    assert fit.is_told_apart
    assert fit.next_best.miss > 1.0
    assert "confirmed" in remark("two", fit)
    wrong = list(part.wrong_jobs())
    pick = np.random.default_rng(seed).choice(len(wrong), 3, replace=False)
    for pose, job, frames in (wrong[k] for k in pick):
        fit = fit_poses(job, part.moves, part.rows, frames, part.envelopes)[1]
        assert fit.better is not None, pose
        frame = fit.better.pose.of(job.setups[1]).frame(part.blank)
        assert np.allclose(frame.matrix, part.frames[1].matrix), pose
        assert np.allclose(frame.offset, part.frames[1].offset), pose


@pytest.mark.parametrize("shift", [-0.3, 0.0, 0.3])
def test_fit__a_narrow_slot_a_little_off_is_no_other_pose(shift):
    """Of a narrow slot a strip of 0.3 mm counts as a whole column: its zero is off, not its pose.

    Columns of this blank are 1 mm wide, so the strip is a sixth of what the side cuts wherever it holds their
    middles; slots at four places in a column hold them in one.
    """
    blank = Blank(280.0, 90.0, 20.0)
    setups = (Setup("one", ()), FRONT.of(Setup("two", (), turn="about x")))
    frames = [one.frame(blank) for one in setups]
    lattice = blank_lattice(280.0, 90.0, 0.5)
    for x in (200.1, 200.35, 200.6, 200.85):
        first = run(np.array([[20, 20, 14], [60, 40, 14]], float), 0, 30.0).in_frame(frames[0].inverse())
        both = []
        for off in (0.0, shift):
            slot = run(np.array([[x + off, 20, 6], [x + off, 60, 6]], float), 1, -10.0)
            both.append(join_moves([first, slot.in_frame(frames[1].inverse())]))
        rows = [slice(0, len(first)), slice(len(first), len(both[0]))]
        field = blank_field(lattice, 280.0, 90.0, 20.0)
        for one, frame in zip(rows, frames, strict=True):
            field = cut(field, both[0][one], CUTTERS, frame).field
        part = Envelopes(lattice, field.lower, field.upper, np.zeros(lattice.shape))
        fit = fit_poses(Job("", blank, CUTTERS, setups), both[1], rows, frames, part)[1]
        assert fit.better is None
        assert "confirmed" in remark("two", fit)


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_fit__symmetric_part_is_said_to_be_so(seed):
    part = RandomPart(seed, symmetric=True)
    fit = fit_poses(part.job, part.moves, part.rows, part.frames, part.envelopes)[1]
    assert fit.better is None
    (other,) = fit.alike
    # The same corner as seen on the table, the blank turned over the other way.
    assert other.pose.corner == part.right.corner
    assert {other.pose.turn, part.right.turn} == {"about x", "about y"}
    assert "cannot tell which" in remark("two", fit)
    unsettled = remark("two", fit, is_settled=False)
    assert "the same each way" not in unsettled
    assert unsettled.endswith("can be told when the wrong turn is settled")


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_fit__nearly_symmetric_part_is_named_as_such(seed):
    """One half of each side stands 0.2 mm higher: no more than a pose may be off by, and said with that."""
    part = RandomPart(seed, symmetric=True, nearly=0.2)
    fit = fit_poses(part.job, part.moves, part.rows, part.frames, part.envelopes)[1]
    assert fit.better is None
    (other,) = fit.alike
    assert {other.pose.turn, part.right.turn} == {"about x", "about y"}
    assert "nearly the same (within 0.2 mm) each way" in remark("two", fit)
    # A wrong statement of that other pose is not told either: the benchmark counts it apart.
    assert not fit.is_told_apart


@pytest.mark.parametrize("more", [{}, {"tabs": 3}, {"half": True, "tabs": 3}, {"whole": True}])
@pytest.mark.parametrize("seed", range(6))
def test_fit__side_that_only_cuts_the_part_out(seed, more):
    """No face of the part is cut on side 2: what is beside its outline tells the pose."""
    part = OutlinedPart(seed, **more)
    fit = fit_poses(part.job, part.moves, part.rows, part.frames, part.envelopes)[1]
    assert fit.better is None
    assert fit.is_told_apart
    assert not fit.stated.is_carving
    assert "confirmed" in remark("two", fit)
    wrong = list(part.wrong_jobs())
    over = [one for one in wrong if one[0].corner == part.right.corner and one[0].turn != part.right.turn]
    pick = np.random.default_rng(seed).choice(len(wrong), 3, replace=False)
    for pose, job, frames in [over[0], *(wrong[k] for k in pick)]:
        fit = fit_poses(job, part.moves, part.rows, frames, part.envelopes)[1]
        assert fit.better is not None, pose
        frame = fit.better.pose.of(job.setups[1]).frame(part.blank)
        assert np.allclose(frame.matrix, part.frames[1].matrix), pose
        assert np.allclose(frame.offset, part.frames[1].offset), pose


def test_fit__symmetric_outline_cut_out_is_said_to_be_so():
    part = OutlinedPart(1, symmetric=True)
    fit = fit_poses(part.job, part.moves, part.rows, part.frames, part.envelopes)[1]
    assert fit.better is None
    (other,) = fit.alike
    assert {other.pose.turn, part.right.turn} == {"about x", "about y"}
    assert "its outline, all that is cut there, is the same each way" in remark("two", fit)


def test_poses__each_map_once_and_the_stated_one_first():
    setup = Setup("b", (), turn="about y", zero=Zero("left back", "top", (2.0, 3.0, 0.0)))
    poses = all_poses(setup, Blank(80.0, 50.0, 20.0), False)
    assert poses[0][0] == stated_pose(setup)
    keys = {np.round(np.column_stack([f.matrix, f.offset]), 6).tobytes() for _, f in poses}
    assert len(keys) == len(poses)
    first = all_poses(Setup("a", ()), Blank(80.0, 50.0, 20.0), True)
    assert {pose.turn for pose, _ in first} == {"none"}
    assert len(first) == 10  # five corners, two faces


def score(worst):
    return PoseScore(FRONT, 0.0, 0.0, 10, 0, np.asarray(worst, np.float32), True)


def test_is_better__by_a_feature_and_not_by_a_fault_that_both_have():
    hole, none = np.zeros(2000), np.zeros(2000)
    hole[:10] = 5.0
    assert is_better(score(none), score(hole))
    moved = np.roll(hole, 500)
    assert not is_better(score(hole), score(moved))
    assert not is_better(score(none), score(np.full(2000, 0.2)))


@pytest.mark.parametrize(
    ("right", "stated", "words"),
    [
        (
            Pose("about x", "none", "left back", "top"),
            Pose("about y", "none", "left front", "top"),
            "turn it edge over edge (about x: front edge to the back), not end over end: "
            "zero is then at the back left corner",
        ),
        (FRONT, Pose("about x", "none", "right front", "top"),
         "zero is at the front left corner, not at the front right corner"),
        (FRONT, Pose("about x", "quarter left", "left front", "top"),
         "do not swing it round: zero stays at the front left corner"),
        (FRONT, Pose("about x", "none", "left front", "bottom"),
         "zero stays at the front left corner on top of the blank, not on the table"),
    ],
)  # fmt: skip
def test_words__of_the_shop(right, stated, words):
    assert how_to(right, stated) == words


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (0, ""),
        (1, "a"),
        (4, "a or b or c or d"),
        (5, "a or b or c or 2 more ways"),
        (7, "a or b or c or 4 more ways"),
    ],
)
def test_joined__many_ways_are_counted(count, words):
    assert joined(list("abcdefg")[:count], " or ") == words
