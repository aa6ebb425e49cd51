"""Ids of findings and fingerprints of moves, by themselves."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.findings.finding import Finding
from simkit.findings.fingerprint import moves_fingerprint
from simkit.findings.identity import JITTER, known_by, with_ids
from simkit.frames import IDENTITY, turned
from simkit.job.model import Blank, Setup
from simkit.moves.table import make_moves

SPOT = Finding("gouge", "beyond", "m", "a", value=1.0, at=(41.0, 22.0, 3.0), side=1, zone="whole part")


@pytest.mark.parametrize("seed", range(20))
def test_id__known_again_wherever_the_place_moves_a_little(seed):
    # Every grid has borders; a place that crosses one keeps being known by its former id.
    rng = np.random.default_rng(seed)
    for _ in range(50):
        x, y = rng.uniform(0, 60, 2)
        dx, dy = rng.uniform(-JITTER, JITTER, 2)
        (before,) = with_ids([replace(SPOT, centre=(x, y))])
        assert before.id in known_by(replace(SPOT, centre=(x + dx, y + dy)))
        far = replace(SPOT, centre=(x + 13, y))
        assert before.id not in known_by(far)


def test_id__depends_on_sort_side_zone_and_not_on_the_rest():
    (one,) = with_ids([SPOT])
    for other in (
        replace(SPOT, kind="thin-wall"),
        replace(SPOT, side=2),
        replace(SPOT, zone="face"),
        replace(SPOT, at=(61.0, 22.0, 3.0)),
    ):
        assert with_ids([other])[0].id != one.id
    for same in (
        replace(SPOT, value=7.0, message="other", line=12, cutter="T2", area=3.0),
        replace(SPOT, severity="undecided", at=(41.2, 22.1, 9.0)),
    ):
        assert with_ids([same])[0].id == one.id
    left = replace(SPOT, kind="leftover-cutter")
    assert with_ids([left])[0].id == with_ids([replace(left, kind="leftover-program")])[0].id


def test_id__each_has_its_own():
    twins = [SPOT, replace(SPOT, at=(44.0, 22.0, 3.0)), SPOT]
    found = [finding.id for finding in with_ids(twins)]
    assert len(set(found)) == 3
    assert all(one in known_by(finding) for one, finding in zip(found[:2], twins, strict=False))


CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "ball", 6.0), 7: Cutter(7, "flat", 6.0)}
BOX = (20.0, 10.0, 30.0, 20.0)


def evidence_of(start, end, tool=1, rapid=False, frame=IDENTITY):
    count = len(start)
    moves = make_moves(start=start, end=end, tool=[tool] * count, rapid=[rapid] * count)
    setups = (Setup("one", (), turn="none" if frame.up > 0 else "about x"),)
    job = SimpleNamespace(cutters=CUTTERS, blank=Blank(60.0, 40.0, 12.0), setups=setups)
    return SimpleNamespace(moves=moves, rows=[slice(0, count)], frames=[frame], job=job)


def printed(start, end, side=1, **rest):
    return moves_fingerprint(evidence_of(start, end, **rest), BOX, side)


ACROSS = ([[0, 15, 5], [60, 16, 5]], [[60, 15, 5], [0, 16, 5]])
NOTHING = printed([[0, 39, 5]], [[60, 39, 5]])


def test_fingerprint__same_whatever_leaves_the_same_surface():
    one = printed(*ACROSS)
    assert len(one) == 8
    assert one != NOTHING
    assert one == printed(ACROSS[0][::-1], ACROSS[1][::-1])  # order
    assert one == printed(*ACROSS, tool=7)  # another number for the same cutter
    assert one == printed([*ACROSS[0], [0, 39, 5]], [*ACROSS[1], [60, 39, 5]])  # something elsewhere
    assert one == printed(*ACROSS, side=None)
    assert printed(*ACROSS, rapid=True) == printed(*ACROSS, side=2) == NOTHING
    assert one == printed([*ACROSS[0], [0, 0, 20]], [*ACROSS[1], [0, 30, 20]])


def test_fingerprint__another_when_the_cut_is():
    one = printed(*ACROSS)
    assert one != printed(*ACROSS, tool=2)
    assert one != printed(ACROSS[0], [[60, 15, 5], [0, 16, 4.998]])
    assert one != printed(ACROSS[0][:1], ACROSS[1][:1])
    plunge = printed([[25, 15, 30]], [[25, 15, 5]])
    assert plunge == printed([[25, 15, 20]], [[25, 15, 5]])  # from where in the air it comes says nothing
    assert plunge != printed([[25, 15, 30]], [[25, 15, 5.1]])


def test_fingerprint__of_the_turned_side_lives_in_the_blank():
    frame = turned("about x", 60.0, 40.0, 12.0)
    start, end = [[0, 25, 5]], [[60, 25, 5]]  # y 15 in the blank
    assert printed(start, end, side=2, frame=frame) != NOTHING
    assert printed(start, end, side=1, frame=frame) == NOTHING
    assert printed([[0, 38, 5]], [[60, 38, 5]], side=2, frame=frame) == NOTHING


@pytest.mark.parametrize("seed", range(5))
def test_fingerprint__takes_the_lines_that_come_near(seed):
    # Against points along each line: one within the box, grown by the cutter, means it comes in.
    rng = np.random.default_rng(seed)
    start = np.column_stack([rng.uniform(0, 60, (200, 2)) * [1, 40 / 60], np.full(200, 5.0)])
    end = np.column_stack([rng.uniform(0, 60, (200, 2)) * [1, 40 / 60], np.full(200, 5.0)])
    steps = np.linspace(0, 1, 4001)[:, None]
    for k in range(200):
        along = start[k, :2] + steps * (end[k, :2] - start[k, :2])
        inside = ((along >= np.array(BOX[:2]) - 3) & (along <= np.array(BOX[2:]) + 3)).all(axis=1)
        margin = np.abs(along[:, None, :] - [[17, 7], [33, 23]]).min()
        found = printed(start[k : k + 1], end[k : k + 1]) != NOTHING
        assert found == inside.any() or margin < 0.02
