"""Every pose a blank can be put back in: turned over, swung round, its zero at another corner."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from simkit.frames import Frame
from simkit.job.model import CORNERS, FACES, Blank, Setup, Zero

# Each way a blank can lie once: turned about y is turned about x and swung half round.
SIDE_1_UP = (("none", "none"), ("none", "half"), ("none", "quarter left"), ("none", "quarter right"))
SIDE_2_UP = (
    ("about x", "none"),
    ("about y", "none"),
    ("about x", "quarter left"),
    ("about x", "quarter right"),
)
SQUARE = 0.02  # of the longer side: a blank nearer to square than this is put back crosswise unnoticed


@dataclass(frozen=True, slots=True)
class Pose:
    """How a blank lies in a setup and where its zero is.

    turn, swing: of frames.TURNS and frames.SWINGS.  corner, face, offset: as in job.model.Zero.
    """

    turn: str
    swing: str
    corner: str
    face: str
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def of(self, setup: Setup) -> Setup:
        """Return a setup with the blank lying in this pose."""
        zero = Zero(self.corner, self.face, self.offset)
        return replace(setup, turn=self.turn, swing=self.swing, zero=zero)

    @property
    def is_crosswise(self) -> bool:
        """Whether length and width of the blank are exchanged on the table."""
        return self.swing.startswith("quarter")


def stated_pose(setup: Setup) -> Pose:
    """Return the pose that the job states for a setup."""
    return Pose(setup.turn, setup.swing, setup.zero.corner, setup.zero.face, setup.zero.offset)


def all_poses(setup: Setup, blank: Blank, is_first: bool) -> list[tuple[Pose, Frame]]:
    """Return the stated pose and every other one, each with its map from program to blank frame.

    is_first: the first setup lies with side 1 up by what the words mean, so only its zero may be another.
    An offset of the zero is counted inwards from the other corner, and as it is written too.  Poses with
    the same map are listed once, the stated one first, then those that differ from it in less.
    """
    stated = stated_pose(setup)
    found = [(stated, setup.frame(blank))]
    known = {_key(found[0][1])}
    ways = [(stated.turn, stated.swing)] if is_first else [*SIDE_2_UP, *SIDE_1_UP]
    poses = [
        Pose(turn, swing, corner, face, offset)
        for turn, swing in ways
        for corner in CORNERS
        for face in FACES
        for offset in _offsets(stated, corner)
    ]
    for pose in sorted(poses, key=lambda pose: _changes(pose, stated)):
        frame = pose.of(setup).frame(blank)
        if _key(frame) not in known:
            known.add(_key(frame))
            found.append((pose, frame))
    return found


def is_seen_at_once(pose: Pose, stated: Pose, blank: Blank) -> bool:
    """Return whether the blank lies crosswise to how the job says and is clearly no square."""
    longer = max(blank.length, blank.width)
    return pose.is_crosswise != stated.is_crosswise and abs(blank.length - blank.width) > SQUARE * longer


def _offsets(stated: Pose, corner: str) -> Iterator[tuple[float, float, float]]:
    """Return the offsets that a zero at another corner may have."""
    x, y, z = stated.offset
    across = {"left": 1, "right": -1}
    deep = {"front": 1, "back": -1}
    was, now = stated.corner.split(), corner.split()
    sx = across.get(was[0], 0) * across.get(now[0], 0)
    sy = deep.get(was[-1], 0) * deep.get(now[-1], 0)
    yield (0.0 - x if sx < 0 else x, 0.0 - y if sy < 0 else y, z)
    if (sx < 0 and x) or (sy < 0 and y):
        yield stated.offset


def _changes(pose: Pose, stated: Pose) -> tuple[int, int]:
    """Return how much a person would have to change in what the job states."""
    names = ("face", "corner", "turn", "swing")
    changed = [getattr(pose, name) != getattr(stated, name) for name in names]
    return sum(changed) + (pose.turn == "none"), int(pose.offset == stated.offset)


def _key(frame: Frame) -> bytes:
    return np.round(np.column_stack([frame.matrix, frame.offset]), 6).tobytes()
