"""simkit's reader against the second one, move by move: programs made at random, and all of the samples."""

import math
from pathlib import Path

import numpy as np
import pytest

from simkit.errors import InputProblems
from simkit.moves.table import ARC as ARC_ROW
from simkit.moves.table import PLANE_AXES
from simkit.program.reader import Options, read_program
from tests.program.second_programs import HARMLESS, made_program
from tests.program.second_reader import ARC, ARRIVAL, FEED, RAPID, Move, read

SAMPLES = Path(__file__).parents[2] / "samples"
SHARES, IN_A_SHARE = 8, 40


def differences(text: str, **stated) -> list[str]:
    """Return where the two readers differ; InputProblems when simkit refuses the program."""
    expected = read(text, **stated)
    also = {name: stated.pop(name) for name in ("cutter", "units") if name in stated}
    options = Options(**stated)
    got = read_program(text, "a.nc", options=options, **also)
    found, row = [], 0
    for move in expected.moves:
        count = rows_of(move, got.moves, row)
        found += [
            f"line {move.line}, row {row}: {text}" for text in unlike(move, got.moves[row : row + count])
        ]
        row += count
        if found:
            return found
    if row != len(got.moves):
        found.append(f"{len(got.moves)} moves, expected {row}")
    if abs(got.dwell - expected.dwell) > 1e-9 * (1 + expected.dwell):
        found.append(f"dwells {got.dwell}, expected {expected.dwell}")
    return found


def rows_of(move: Move, moves, row: int) -> int:
    """Return how many rows draw a move: two for an arc of more than half a turn whose radii differ."""
    is_two = move.kind == ARC and abs(move.sweep) > 3 and row + 1 < len(moves)
    is_two = is_two and moves.line[row + 1] == move.line and moves.kind[row + 1] == ARC_ROW
    return 2 if is_two and math.dist(moves.end[row], move.end) > 1e-9 else 1


def unlike(move: Move, rows) -> list[str]:
    """Return in what the rows of one move are not the move."""
    if not len(rows):
        return ["no such move"]
    found = []
    kind = {RAPID: (0, True), ARRIVAL: (0, True), FEED: (0, False), ARC: (ARC_ROW, False)}[move.kind]
    pairs = {
        "kind": ({(int(k), bool(r)) for k, r in zip(rows.kind, rows.rapid, strict=True)}, {kind}),
        "line": (set(rows.line.tolist()), {move.line}),
        "tool": (set(rows.tool.tolist()), {move.tool}),
        "speed": (set(rows.speed.tolist()), {move.speed}),
        "plane": (set(rows.plane.tolist()), {move.plane}),
    }
    found += [f"{name} {got}, expected {wanted}" for name, (got, wanted) in pairs.items() if got != wanted]
    for name, got, wanted in (("start", rows.start[0], move.start), ("end", rows.end[-1], move.end)):
        if math.dist(got, wanted) > 1e-9:
            found.append(f"{name} {got.tolist()}, expected {wanted}")
    mismatch = abs(move.radii[0] - move.radii[1])
    if move.kind in (FEED, ARC) and math.dist(move.start, move.end) + abs(move.sweep) > 1e-9:
        share = 1e-9 + (4 * mismatch / min(move.radii) if move.kind == ARC else 0.0)
        if not np.allclose(rows.feed, move.feed, rtol=share, atol=0):
            found.append(f"feed {rows.feed.tolist()}, expected {move.feed}")
    return found + (unlike_arc(move, rows, mismatch) if move.kind == ARC and not found else [])


def unlike_arc(move: Move, rows, mismatch: float) -> list[str]:
    """Return in what the arcs drawn are not the arc written.

    They may be off by as much as the radii at its ends differ (README), along the radius and along the arc.
    """
    u, v, w = PLANE_AXES[move.plane]
    away = mismatch + 1e-6
    sweep = rows.sweep.sum()
    if abs(sweep - move.sweep) * min(move.radii) > 4 * away or sweep * move.sweep <= 0:
        return [f"sweep {sweep}, expected {move.sweep}"]
    found, turned = [], 0.0
    for row in range(len(rows)):
        share = np.linspace(0, 1, 9)
        centre = complex(*rows.centre[row])
        arm = complex(rows.start[row, u], rows.start[row, v]) - centre
        drawn = centre + arm * np.exp(1j * share * rows.sweep[row])
        done = (turned + share * rows.sweep[row]) / sweep
        arm = complex(move.start[u], move.start[v]) - move.centre
        wanted = move.centre + arm * np.exp(1j * done * move.sweep)
        if np.abs(drawn - wanted).max() > 4 * away:
            found.append(f"arc {np.abs(drawn - wanted).max()} mm off, radii differ by {mismatch}")
        radius = np.abs(drawn - move.centre)
        if radius.min() < min(move.radii) - away or radius.max() > max(move.radii) + away:
            found.append(f"radius {radius.min()} to {radius.max()}, expected {move.radii}")
        turned += rows.sweep[row]
        rise = (move.end[w] - move.start[w]) * turned / sweep
        if abs(rows.end[row, w] - move.start[w] - rise) > 1e-6 + (len(rows) - 1) * abs(rise) * away:
            found.append(f"helix at {rows.end[row, w]}, expected {move.start[w] + rise}")
    return found


@pytest.mark.parametrize("share", range(SHARES))
def test_made_programs__are_read_alike(share):
    refused = 0
    for seed in range(share * IN_A_SHARE, (share + 1) * IN_A_SHARE):
        text, stated = made_program(seed)
        try:
            assert differences(text, harmless_words=HARMLESS, **stated) == [], f"seed {seed}:\n{text}"
        except InputProblems:
            refused += 1
    assert refused <= IN_A_SHARE // 10
