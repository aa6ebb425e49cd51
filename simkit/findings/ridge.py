"""Words for leftover that stands between two passes which both touch the part: a ridge on a steep face."""

from __future__ import annotations

import numpy as np

from simkit.compare.cusps import TURN
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.moves.table import LINE

ADVICE = "The passes lie too far apart for so steep a face"
RINGS, AROUND = (0.03, 0.1, 0.3), 16  # mm: how far about the highest place it is asked who cut there
APART = 0.02  # mm: passes nearer to each other are one
TOUCH = 1 / 3  # of the limit: a pass that comes as near as this to the part was made to touch it


def ridge_words(evidence: Evidence, one: shape.Looked) -> tuple[str, str] | None:
    """Return what stands between two passes at a spot, and advice; None where it is no ridge.

    Two straight passes of one ball that run within 30 degrees of one way, no farther apart than its
    diameter, meet at the highest place, and both come within a third of the limit of the part: exact
    distances from the ball's middle on the moves that cut there, less its radius.
    """
    place = np.array(one.look.at[:2])
    turn = np.linspace(0.0, 2 * np.pi, AROUND, endpoint=False)
    ring = np.concatenate([np.column_stack([np.cos(turn), np.sin(turn)]) * far for far in RINGS])
    rows = evidence.heights(np.concatenate([place[None], place + ring]))[4 - one.side]
    own = int(rows[0])
    if own < 0 or not _is_pass(evidence, own, own):
        return None
    cutter = evidence.cutter_of(own)
    start, along = _plan(evidence, own)
    best = None
    for row in dict.fromkeys(int(row) for row in rows[1:]):
        if not _is_pass(evidence, row, own):
            continue
        other, way = _plan(evidence, row)
        apart = abs(float(along[0] * (other - start)[1] - along[1] * (other - start)[0]))
        if abs(float(way @ along)) >= TURN and APART < apart <= cutter.diameter:
            best = min(best or (apart, row), (apart, row))
    if best is None or abs(one.look.value) > best[0]:
        return None  # what stands between two passes that touch a face is nowhere thicker than they lie apart
    off = max(_off(evidence, row, one.look.at) for row in (own, best[1]))
    if off > TOUCH * one.limit:
        return None
    return (
        f"between passes of {cutter} that lie {best[0]:.2f} mm apart in plan and both touch the part, "
        f"to {max(off, 0.0):.2f} mm",
        f"{ADVICE}: bring them closer together here, or add passes round it, level by level.",
    )


def _is_pass(evidence: Evidence, row: int, like: int) -> bool:
    """Tell whether a move is a straight pass of a ball, of the same cutter and setup as another move."""
    moves = evidence.moves
    if row < 0 or moves.rapid[row] or moves.kind[row] != LINE or evidence.cutter_of(row).shape != "ball":
        return False
    is_same = moves.tool[row] == moves.tool[like] and moves.setup[row] == moves.setup[like]
    return bool(is_same and np.hypot(*(moves.end[row] - moves.start[row])[:2]) > APART)


def _plan(evidence: Evidence, row: int) -> tuple[np.ndarray, np.ndarray]:
    """Return where a move begins in plan and which way it goes, blank frame."""
    start, end = _ends(evidence, row, 0.0)[:, :2]
    return start, (end - start) / np.hypot(*(end - start))


def _ends(evidence: Evidence, row: int, up: float) -> np.ndarray:
    """Return both ends of a move, `up` mm above the tip along the spindle, blank frame (2, 3) mm."""
    moves = evidence.moves
    ends = np.array([moves.start[row], moves.end[row]]) + np.array([0.0, 0.0, up])
    return evidence.frames[int(moves.setup[row])].apply(ends)


def _off(evidence: Evidence, row: int, at) -> float:
    """Return how far a ball stays off the part where its move comes nearest to a place, mm."""
    radius = evidence.cutter_of(row).radius
    a, b = _ends(evidence, row, radius)
    along = b - a
    share = np.clip((np.asarray(at) - a) @ along / (along @ along), 0.0, 1.0)
    return float(evidence.target_grid.distance((a + share * along)[None], 0)[0]) - radius
