"""A gouge that one straight feed move cut on its way: a link that was not lifted, or a chord of a pass."""

from __future__ import annotations

import numpy as np

from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.moves.table import LINE

# Both common practice, no source: passes are made of moves alike, a link stands out among them.
LONGER = 5.0  # times the usual feed move of its cutter there
ALONE = 0.8  # of the spot's cells that this move alone cut last
NEAR_END = 0.5  # of the cutter's radius: so near a pass beside a chord comes to both of its ends


def link_words(evidence: Evidence, one: shape.Looked) -> tuple[str, str] | None:
    """Return what is said behind the message of a gouge that such a move cut, and the advice; else None."""
    moves, row = evidence.moves, one.row
    if row < 0 or moves.kind[row] != LINE or moves.rapid[row]:
        return None
    alike = ~moves.rapid & (moves.setup == moves.setup[row]) & (moves.tool == moves.tool[row])
    length = np.hypot(*(moves.end[:, :2] - moves.start[:, :2]).T)
    usual = float(np.median(length[alike & (length > 0)])) if (alike & (length > 0)).any() else 0.0
    own = float(length[row])
    if own <= LONGER * usual or _share(evidence, one) < ALONE:
        return None
    beside = _pass_beside(evidence, row, alike & (length <= LONGER * usual))
    if beside is not None:
        first, last = (int(moves.line[end]) for end in (beside[0], beside[-1]))
        before = int(moves.line[max(row - 1, 0)])
        return (
            f"; the straight move of {own:.1f} mm in this line cuts it as a chord of its own pass: the pass"
            f" beside it leads there in {len(beside)} moves (lines {first} to {last})",
            f"Points of this pass are missing between line {before} and this one, or it was made too coarse:"
            " put the lost lines back, or have the pass made anew with a finer tolerance. It goes on where it"
            " was, so there is nothing to lift over.",
        )
    return (
        f"; the straight move of {own:.1f} mm in this line cuts it on its way",
        "This move leads from one place to the next and cuts on its way: lift the cutter to a safe height "
        "before it and come down again behind it, or have the links of this operation made higher. The "
        "passes beside it are not the cause.",
    )


def _pass_beside(evidence: Evidence, row: int, is_short: np.ndarray) -> np.ndarray | None:
    """Return the rows of a pass that leads beside a move from its one end to the other; None for none.

    is_short (n,) bool: feed moves of that setup and cutter that are as long as passes have them.
    A chord goes on the way that the moves before and behind it go, and beside it, within the radius of the
    cutter, another pass leads over the same ground without a break, near its ends in height too.  A link
    turns back, or leads over what no pass may cut: what stands between two places is farther than the
    radius from every pass, and where other levels lead over it, they do so higher up.
    """
    moves = evidence.moves
    start, end = moves.start[row], moves.end[row]
    way = end[:2] - start[:2]
    for other in (row - 1, row + 1):
        if not 0 <= other < len(moves) or moves.rapid[other] or moves.program[other] != moves.program[row]:
            continue
        if _direction(moves, other, at_end=other < row) @ way < 0:
            return None
    radius = evidence.cutter_of(row).radius
    is_near = is_short & (_distance(moves.end[:, :2], start[:2], end[:2]) <= radius)
    rows = np.flatnonzero(is_near)
    best = None
    for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if len(rows) else []:
        nearest = [_distance(place, moves.start[run], moves.end[run]) for place in (start, end)]
        if max(one.min() for one in nearest) > NEAR_END * radius:
            continue
        first, last = sorted(int(one.argmin()) for one in nearest)
        part = run[first : last + 1]
        if len(part) > 1 and (best is None or len(part) < len(best)):
            best = part
    return best


def _direction(moves, row: int, at_end: bool) -> np.ndarray:
    """Return the way in plan (2,) of a move at its end or start; 0 where it goes straight up or down."""
    if moves.kind[row] == LINE or moves.plane[row] != 17:
        return moves.end[row, :2] - moves.start[row, :2]
    arm = (moves.end if at_end else moves.start)[row, :2] - moves.centre[row]
    return np.sign(moves.sweep[row]) * np.array([-arm[1], arm[0]])


def _distance(places: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Return the distances of places from segments, either of them one or many."""
    way = end - start
    square = np.maximum((way * way).sum(axis=-1), 1e-12)
    along = np.clip(((places - start) * way).sum(axis=-1) / square, 0.0, 1.0)
    return np.linalg.norm(places - start - along[..., None] * way, axis=-1)


def _share(evidence: Evidence, one: shape.Looked) -> float:
    """Return which part of a spot's cells its worst move alone cut last."""
    field, deviation = evidence.field, evidence.deviations[one.side].normal
    iy0, iy1, ix0, ix1 = one.spot.box
    window = (slice(iy0, iy1), slice(ix0, ix1))
    owners = (field.upper_move if one.side == 1 else field.lower_move)[window]
    with np.errstate(invalid="ignore"):
        is_deep = deviation[window] < -one.limit
    return float((owners[is_deep] == one.row).mean()) if is_deep.any() else 0.0
