"""simkit's reader against the second one, move by move: programs made at random, and all of the samples."""

import ast
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
SHARES, IN_A_SHARE = 8, 30


def differences(text: str, **stated) -> list[str]:
    """Return where the two readers differ; InputProblems when simkit refuses the program."""
    asked = dict(stated)
    also = {name: stated.pop(name) for name in ("cutter", "units") if name in stated}
    options = Options(**stated)
    got = read_program(text, "a.nc", options=options, **also)
    expected = read(text, **asked)
    rows = [0]
    for move in expected.moves:
        rows.append(rows[-1] + (rows_of(move, got.moves, rows[-1]) if move.kind == ARC else 1))
    if rows[-1] != len(got.moves):
        found = [f"{len(got.moves)} rows, expected {rows[-1]}"]
        rows = [row for row in rows if row <= len(got.moves)]  # where they part says more
    else:
        found = []
    if abs(got.dwell - expected.dwell) > 1e-9 * (1 + expected.dwell):
        found.append(f"dwells {got.dwell}, expected {expected.dwell}")
    still = np.zeros(len(got.moves), bool)
    for count in [*expected.rests, *expected.exact]:
        if 0 < count < len(rows):
            still[rows[count] - 1] = True
    if not np.array_equal(still, got.moves.rests):
        found.append(f"rests behind rows {np.flatnonzero(got.moves.rests)}, expected {np.flatnonzero(still)}")
    doubtful = unlike_at_a_glance(expected.moves[: len(rows) - 1], rows, got.moves)
    for k in doubtful:
        move = expected.moves[k]
        texts = unlike(move, got.moves[rows[k] : rows[k + 1]])
        found += [f"line {move.line}, row {rows[k]}: {text}" for text in texts]
        if found:
            break
    return found


def unlike_at_a_glance(expected: list[Move], rows: list[int], moves) -> list[int]:
    """Return which moves have to be looked at one by one: arcs, and whatever is not the same to the bit."""
    if not expected:
        return []
    at = np.array(rows[: len(expected)], dtype=int)
    is_like = np.array([move.kind != ARC for move in expected], dtype=bool)
    columns = {
        "rapid": [move.kind in (RAPID, ARRIVAL) for move in expected],
        **{name: [getattr(move, name) for move in expected] for name in ("line", "tool", "speed", "plane")},
    }
    for name, column in columns.items():
        is_like &= getattr(moves, name)[at] == column
    is_like &= moves.kind[at] != ARC_ROW
    is_like &= (moves.start[at] == [move.start for move in expected]).all(axis=1)
    is_like &= (moves.end[at] == [move.end for move in expected]).all(axis=1)
    feed = np.array([move.feed for move in expected])
    is_like &= (moves.feed[at] == feed) | (np.isnan(moves.feed[at]) & np.isnan(feed))
    return np.flatnonzero(~is_like).tolist()


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


def test_second_reader__shares_no_code_with_the_first():
    tree = ast.parse(Path(__file__).with_name("second_reader.py").read_text(encoding="utf-8"))
    imported = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    imported += [a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names]
    assert sorted(imported) == ["__future__", "cmath", "dataclasses", "math", "re"]


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


def test_samples__are_read_alike():
    programs = sorted(SAMPLES.rglob("*.nc"))
    assert len(programs) > 3
    seen = {}  # some are copies
    for path in programs:
        seen.setdefault(path.read_text(encoding="utf-8"), path)
    for text, path in seen.items():
        assert differences(text) == [], path


HEAD = "G21 G90\nT1 M6\nS900 M3\nG0 Z20\nG0 X0 Y0\nF600\n"
UNPLACED = "G21 G90 T1 M6 S900 M3 F600\n"
# Corners of the language that made programs seldom reach; / parts lines, and a deleted block is written !.
BEGINNINGS = """
G0 X1 Y2 / G91 G28 Z0 / G90 G0 X1 Y2 / G0 Z3 / G1 Z0
G28 / G0 X1 Y1 Z1 / G1 X3
G53 G0 Z0 / G0 X1 Y1 / Z3 / G53 G1 Z-1 / G0 Z7 / G1 X2
G92 X1 / G92 Y2 / G92 Z3 / G1 X5 / X6
G92 X1 Y1 / G0 Z3 / G1 X5
G92 X1 Y1 Z1 / G92 X5 / G1 X7 / G92.1 / G0 X3 / G0 Y1
G92 X1 Y1 Z1 / G1 X7 / G92.1 / G91 G1 X3 / G90
G92 X1 Y1 Z1 / G1 X7 / G92.1 / G91 G0 X3 / G92 X0 / G90 G1 X9
G92 X1 Y1 Z1 / G1 X7 / G28 / G0 X1 Y1 Z3 / G1 X2
G55 G92 X1 Y1 Z1 / G1 X7 / G54 X7
G0 X1 / G92 X5 / G0 Y0 Z0 / G1 X5
G0 X1 Y1 / G28 Z3 / G0 X1 Y1 Z1
"""
BODIES = """
G91 G92 X5 / G90 G1 X6
G91 G1 X5 / G92 X0 / X5 / G90 X5
G55 / G92 X0 Y0 / G1 X1 Y1 / G54 X1 Y1 / G92.1 X1 / Y1
G92 X5 / G92 Y5 / G1 X5 Y5 / X6 Y6
G43 H1 / G49 / G0 Z5 / G0 X3 / G43 H1 / G0 Z7 / G1 X1
G43 H1 / G49 / G0 X5 / G1 X7 / G43 H1 G1 Z3
G43 H1 / G49 / G91 G1 Z-1 / G90 X5
G43 H1 / G49 / G92 Z5 / G1 Z-1
G43 H1 / G49 / G28 Z50 / G0 X1 Y1 / G43 H1 Z1 / G1 X3
G0 F300 X1 / G1 X2
G93 G0 X5 F3 / G1 X7 F2
G93 G1 X5 F3 / G94 / G0 X1 / F200 / G1 X2
G95 F.1 S500 G1 X3 / S700 X4 / M4 X5
M4 / G86 X5 Z-2 R1 P.5 / X6 S500 / G80
M5 / G86 X5 Z-2 R1 / M3 / G1 X3
G82 X5 Z-2 R1 P1 / G89 X6 Z-2 R1 P2 / X7 / G82 X8 Z-1 R1 P3 / G82 X9
G81 X5 Z-2 R1 / G81 Z-3 / X6 R2 / R3 Y1 / G80
G82 X5 Z-2 R1 P1 / G92 X0 / X5 / G80
G81 X5 Z-2 R1 / G43 H1 / X6 / G55 X6 / G59.1 X1
G99 G81 X5 Z-2 R1 / G98 X6 / X7 / G99 X8
G91 G98 G81 X5 Z-2 R-1 L3 / X1 L2 / G90 G80
G91 G99 G81 X5 Z-2 R3 L3 / X5 R-1 / G80
G83 X5 Z-2 R1 Q1.5 / X6 Q1 / X7 / Z-4 X8
G73 X5 Z-2 R1 Q5 / G80 / G73 X5 Z-2 R1 Q1 / X6
G99 G86 X5 Z-1 R25 / G98 X6
G85 X5 Z-1 R1 L2 / G0 G80 X5 / X6
G2 X10 Z-1 I5 / G2 I5 Z-2 / G2 I5 / I-3 K0
G3 X0 Z3 I5 / G3 Y0 X0 I-4
G90.1 G2 X0 Y0 I5 J0 / G55 I100 J5 K0
G18 G3 Z20 X0 K-2 / K3 / G19 J2 K2 / J1 X5
G18 G2 X10 R7 / Z10 R-6 / X3 R9 Y4
G19 G3 Y10 R7 / Z10 R-6 X5 / Y3 R9
G17 G2 X5 R2.5 / X0 R-2.5 / Y5 R-3 Z1
G91 G2 X5 Y5 R5 / X0 Y0 I3 / X5 J5 Y5 I0
G20 / F20 / G2 X.5 I.25 / G18 X1 R.3 / G19 Y.5 R.25
G2 X10.001 I5
G2 X0.001 Y0 I5
G3 X0.001 Y0 I5
G3 X0.001 Y-0.001 I5
G2 X7.5 R3.749
T2 / X1 / M6 M3 / X2 / T3 M6 S50 M4 / X3
T2 M6 / G0 X3 Z2 / M3 / G1 X5
S0 / G1 X3 / S500 X4
G1 X5 M5 / G0 X6 / M3 / X7 M0
G1 / X5 / G2 / X3 R1 / G1 X1 / G3 / I1
!G1 X5 / N5!X6 / !N6 X7 / X8
G1 X5(a)Y6;Z7 / (b)X7(;)Y8
G1 X 1 . 5 Y - 2
G01X+.5Y-0.Z5.
G81 X1 Z-1 R1 / G80 G1 X5
G28 X0 Y0 Z20 / G0 X1 Y1 Z1
G28 Z30 G20 / G0 X1 Y1 Z1
G90 G91.1 G1 X5
G91 X5 G0 Z-5 S50 M4
G55 G91 G1 X5 / G54 X5 / G90 X5
G59.1 G1 X0 Y0 Z0 / G54 G91 X0 / G90 Y0
G20 / F10 / G91 G81 X1 Z-.5 R-.1 L2 / X.5
"""


@pytest.mark.parametrize(
    "text",
    [UNPLACED + body for body in BEGINNINGS.strip().splitlines()]
    + [HEAD + body for body in BODIES.strip().splitlines()],
)
def test_corners__are_read_alike(text):
    text = text.replace(" / ", "\n").replace("!", "/") + "\nM30\n"
    offsets = {"G55": (100.0, 10.0, 1.0), "G59.1": (0.0, -5.0, 2.0)}
    for skip_deleted in (False, True):
        assert differences(text, work_offsets=offsets, skip_deleted=skip_deleted) == []


@pytest.mark.parametrize("words", ["", "T5 ", "T2\nM6\nM3\nG1 X3 Z1\n"])
def test_cutter_stated__beside_changes(words):
    text = f"G21 G90 S900 M3 F600\nG0 X1 Y1 Z1\nG1 X2\n{words}M6\nM3\nG1 X3 Z1\nM30\n"
    assert differences(text, cutter=4) == []
