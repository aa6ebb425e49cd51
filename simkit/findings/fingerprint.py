"""A short fingerprint of the moves that cut within a box in plan: has the program changed there?"""

from __future__ import annotations

import hashlib

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.moves.table import ARC, PLANE_AXES, Moves

STEP = 1e-3  # mm, rad: programs are written to this


def moves_fingerprint(evidence: Evidence, box: tuple[float, float, float, float], side: int | None) -> str:
    """Return the fingerprint of the cutting moves of a side that come into a box, 8 hexadecimal digits.

    box (x low, y low, x high, y high) mm, blank frame.  side: 1, 2, or None for both.
    It holds where they go in the blank and the shape of their cutters.  It does not hold line numbers,
    feeds, speeds, rapids, tool numbers, the order of moves or from how high a plunge comes, for these
    leave the same surface.
    An arc counts as coming in when it might, going by its start and diameter.
    """
    rows = []
    for setup, one, frame in zip(evidence.job.setups, evidence.rows, evidence.frames, strict=True):
        if side is not None and frame.up != (1 if side == 1 else -1):
            continue
        moves = evidence.moves[one]
        moves = moves[np.flatnonzero(~moves.rapid)].in_frame(frame)
        chosen = moves[np.flatnonzero(_comes_in(evidence, moves, box))]
        if len(chosen):
            rows.append(_numbers(evidence, chosen, frame.up, setup.body(evidence.job.blank).face(frame.up)))
    table = np.unique(np.concatenate(rows), axis=0) if rows else np.zeros((0, 0), np.int64)
    return hashlib.blake2s(np.ascontiguousarray(table, dtype="<i8").tobytes(), digest_size=4).hexdigest()


def _comes_in(evidence: Evidence, moves: Moves, box: tuple[float, float, float, float]) -> np.ndarray:
    """Return the moves whose cutter comes over the box (n,) bool."""
    tools, which = np.unique(moves.tool, return_inverse=True)
    radius = np.array([evidence.job.cutters[int(tool)].radius for tool in tools])[which][:, None]
    low, high = np.array(box[:2]) - radius, np.array(box[2:]) + radius
    start, end = moves.start[:, :2], moves.end[:, :2]
    is_arc = moves.kind == ARC
    least, most = np.minimum(start, end), np.maximum(start, end)
    for plane, (u, v, _) in PLANE_AXES.items():
        rows = np.flatnonzero(is_arc & (moves.plane == plane))
        if len(rows):  # no place of a circle is farther from its start than its diameter
            wide = 2 * np.linalg.norm(moves.start[rows][:, [u, v]] - moves.centre[rows], axis=1)[:, None]
            least[rows], most[rows] = start[rows] - wide, start[rows] + wide
    is_near = ((least <= high) & (most >= low)).all(axis=1)
    return is_near & (is_arc | _line_meets(start, end, low, high))


def _line_meets(start: np.ndarray, end: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return which lines in plan meet their box (n,) bool: what is left of them between its four sides."""
    along = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (low - start) / along, (high - start) / along
    enters = np.where(along == 0, -np.inf, np.minimum(first, second))
    leaves = np.where(along == 0, np.inf, np.maximum(first, second))
    return np.maximum(enters.max(axis=1), 0.0) <= np.minimum(leaves.min(axis=1), 1.0)


def _numbers(evidence: Evidence, moves: Moves, up: int, top: float) -> np.ndarray:
    """Return where moves go and with what, as whole numbers of STEP (n, k) int64.

    up: of their frame.  top mm: the face that they come in by, blank frame.
    """
    start, end = moves.start.copy(), moves.end.copy()
    is_plunge = (np.abs(start[:, :2] - end[:, :2]) < STEP / 2).all(axis=1)
    for ends in (start, end):  # above the blank there is nothing to cut
        ends[is_plunge, 2] = up * np.minimum(up * ends[is_plunge, 2], up * top)
    tools, which = np.unique(moves.tool, return_inverse=True)
    cutters = [evidence.job.cutters[int(tool)] for tool in tools]
    shapes = np.array(
        [
            int.from_bytes(
                hashlib.blake2s(
                    repr((cutter.shape, round(cutter.diameter, 3), cutter.point)).encode(), digest_size=6
                ).digest()
            )
            for cutter in cutters
        ],
        dtype=np.int64,
    )[which]
    lengths = np.column_stack([start, end, moves.centre, moves.sweep])
    return np.column_stack(
        [moves.kind.astype(np.int64), moves.plane.astype(np.int64), shapes, np.round(lengths / STEP)]
    ).astype(np.int64)
