"""What holds for every input: no crash, both scanners agree, short cut or not, written back, read again."""

# ruff: noqa: PT017 (either outcome is allowed, and both are looked at)

import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simkit.errors import InputProblems
from simkit.moves.table import ARC, PLANE_AXES
from simkit.program.reader import PROBLEM_LIMIT, _read, read_program
from simkit.program.words import quick_words, scan

quiet = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}

REAL = b"""%
(BOAT SIDE 1, 6 MM BALL)
N10 G21 G90 G17 G40 G49 G80 G94
N20 T2 M6
N30 S18000 M3
N40 G54 G0 X0 Y0
N50 G0 Z15.
G1 Z-1.5 F400
X12.345 Y6.789 F1500
G2 X20. Y10. I3.827 J-2.105 ; not quite round
X20. Y10. I5. J0.
G3 X30. Y20. Z-2. R12.5
g1 x31.5y21
G91 G1 X.5 Y-.5
G90
G20
G1 X1. F40.
G4 P0.5
G21
G0 Z15. M9
M5
M30
%
"""
REAL = REAL.replace(b"I3.827 J-2.105", b"I3.8274 J1.6055")


def outcome(source, has_short_cut=True):
    """The result or the problems, in a form that compares."""
    try:
        got = _read(source, "a.nc", 0, None, None, has_short_cut)
    except InputProblems as problems:
        assert 1 <= len(problems.problems) <= PROBLEM_LIMIT
        places = [(p.place.line or 0, p.place.column or 0) for p in problems.problems]
        assert places == sorted(places)
        str(problems).encode("utf-8")  # can be shown
        return [str(problem) for problem in problems.problems]
    moves = got.moves
    assert np.isfinite(moves.end).all()
    assert np.isfinite(moves.sweep).all()
    follows = (moves.start[1:] == moves.end[:-1]).all(axis=1)
    is_arrival = moves.rapid & (moves.start == moves.end).all(axis=1)
    assert (follows | is_arrival[1:]).all()
    assert (np.isnan(moves.feed) == moves.rapid).all()
    assert (moves.feed[~moves.rapid] > 0).all()
    is_arc = moves.kind == ARC
    u, v = np.array([PLANE_AXES[plane][:2] for plane in moves.plane[is_arc]], dtype=int).reshape(-1, 2).T
    k = np.flatnonzero(is_arc)
    arms = [
        np.hypot(p[k, u] - moves.centre[k, 0], p[k, v] - moves.centre[k, 1]) for p in (moves.start, moves.end)
    ]
    assert arms[0] == pytest.approx(arms[1], rel=1e-9, abs=2e-9)
    assert (np.abs(moves.sweep[is_arc]) > 0).all()
    assert (np.abs(moves.sweep[is_arc]) <= 2 * np.pi).all()
    columns = {
        name: np.nan_to_num(getattr(moves, name), nan=-1.0).tolist()
        for name in vars(moves)
        if name != "programs"
    }
    rest = (got.units_seen, got.tools_called, got.largest_arc_mismatch, got.largest_arc_mismatch_line)
    return columns, rest, got.has_end, got.block_count, [str(w) for w in got.warnings]


def test_real_program__is_read():
    assert len(outcome(REAL)) == 5


@settings(max_examples=300, **quiet)
@given(st.binary(max_size=120))
def test_any_bytes__give_a_result_or_problems(data):
    assert outcome(data) == outcome(data, has_short_cut=False)


@settings(max_examples=300, **quiet)
@given(st.text(max_size=80))
def test_any_text__gives_a_result_or_problems(text):
    assert outcome(text) == outcome(text, has_short_cut=False)


LETTERS = "GGGGMXXYYZZFIJRSTNPKOAEH"
NUMBERS = [
    "0",
    "1",
    "2",
    "3",
    "0",
    "1",
    "1.5",
    "-2",
    ".5",
    "-.25",
    "10.",
    "+4",
    "90",
    "91",
    "20",
    "21",
    "17",
    "54",
]
ODD = [
    "X",
    "O5",
    "X1O",
    "(a",
    "(a)",
    ";",
    "/",
    "%",
    "#1",
    "1.2.3",
    "--",
    ",",
    "é",
    "−1",
    "\t",
    " ",
    "=",
    "*",
    "$",
]
word = st.builds(str.__add__, st.sampled_from(LETTERS), st.sampled_from(NUMBERS))
block = st.lists(st.one_of(word, word, word, word, word, st.sampled_from(ODD)), max_size=6)
program = st.lists(block.map(" ".join), max_size=12).map("\n".join)
HEADS = ["", "G21 G90 T1 M6 M3 S1 G0 X0 Y0 Z0 F100\n"]


@settings(max_examples=250, **quiet)
@given(st.sampled_from(HEADS), program)
def test_likely_words__short_cut_or_not_is_the_same(head, text):
    assert outcome(head + text) == outcome(head + text, has_short_cut=False)


axis = st.sampled_from(
    ["X1", "X-2.5", "Y3", "Y.5", "Z0", "Z-1.25", "F500", "F0", "G1", "G0", "G00", "G01", "g1"]
)
common = st.one_of(
    st.lists(axis, max_size=5, unique_by=lambda w: w[0]).map(" ".join),
    st.sampled_from(["G91", "G90", "G20", "G21", "G2 X1 Y1 R9", "M5", "X1 X2", "G80", "N5 X1", "N5G1X2Y2"]),
)


@settings(max_examples=250, **quiet)
@given(st.lists(common, max_size=15).map("\n".join))
def test_common_blocks__short_cut_or_not_is_the_same(text):
    assert outcome(HEADS[1] + text) == outcome(HEADS[1] + text, has_short_cut=False)


@settings(max_examples=250, **quiet)
@given(st.one_of(st.text(alphabet="GXYNOo019.+- \t(;)/,#", max_size=20), block.map(" ".join)))
def test_scanners__agree_where_both_read(line):
    quick = quick_words(line)
    words, complaints = scan(line)
    if quick is not None:
        assert (quick, complaints) == ([w.letter + w.text for w in words], [])
    for found in words:
        written = line[found.start : found.end]
        assert re.sub(r"[ \t]", "", written).upper() == found.letter + found.text
    assert all(0 <= complaint.start < len(line) for complaint in complaints)


@pytest.mark.parametrize("seed", range(6))
def test_mutations__of_a_real_program(seed):
    """Bytes flipped, lines cut, doubled and swapped, words doubled, the end lost."""
    random = np.random.default_rng(seed)
    for _ in range(60):
        data = bytearray(REAL)
        for _ in range(random.integers(1, 4)):
            lines = bytes(data).split(b"\n")
            k, i = random.integers(len(lines)), random.integers(len(data))
            match random.integers(7):
                case 0:
                    data[i] = random.integers(256)
                case 1:
                    del data[i]
                case 2:
                    lines[k] = lines[k][: random.integers(len(lines[k]) + 1)]
                    data = bytearray(b"\n".join(lines))
                case 3:
                    lines.insert(k, lines[random.integers(len(lines))])
                    data = bytearray(b"\n".join(lines))
                case 4:
                    del lines[k]
                    data = bytearray(b"\n".join(lines) or b"G")
                case 5:
                    lines[k] += b" " + lines[k][-6:]
                    data = bytearray(b"\n".join(lines))
                case 6:
                    data = data[: max(1, i)]
        assert outcome(bytes(data)) == outcome(bytes(data), has_short_cut=False)


LONG = ["1", "X1", "(", "#", "é ", "X1O", ",", "G41", "/"]


@pytest.mark.parametrize("part", LONG)
def test_long_lines__are_told_in_short(part):
    for text in (part * 5000, "X" + part * 5000):
        told = outcome(HEADS[1] + text)
        assert isinstance(told, list)
        assert max(map(len, told)) < 400


def test_long_lines__may_be_good():
    columns, _, _, _, warnings = outcome(
        HEADS[1] + "N" + "1 " * 5000 + "G1 X" + "0" * 5000 + "1" + "(x)" * 5000
    )
    assert columns["end"][-1] == [1.0, 0.0, 0.0]
    assert max(map(len, warnings)) < 400


def written_back(moves):
    """Moves as plain G0 G1 G2 G3, with digits enough to keep every bit."""
    lines = ["G21 G90"]
    tool = speed = None
    for k in range(len(moves)):
        if moves.tool[k] != tool:
            tool = moves.tool[k]
            lines.append(f"T{tool} M6")
            speed = None
        if moves.speed[k] != speed:
            speed = moves.speed[k]
            lines.append(f"M{3 if speed > 0 else 4} S{abs(speed):.17f}" if speed else "M5")
        x, y, z = (f"{v:.17f}" for v in moves.end[k])
        if moves.rapid[k]:
            lines.append(f"G0 X{x} Y{y} Z{z}")
        elif moves.kind[k] == ARC:
            i, j = (f"{v:.17f}" for v in moves.centre[k] - moves.start[k, :2])
            lines.append(f"G{3 if moves.sweep[k] > 0 else 2} X{x} Y{y} Z{z} I{i} J{j} F{moves.feed[k]:.17f}")
        else:
            lines.append(f"G1 X{x} Y{y} Z{z} F{moves.feed[k]:.17f}")
    return "\n".join([*lines, "M30", ""])


number = st.integers(-20_000, 20_000).map(lambda n: f"{n / 1000:.3f}")
line_block = st.builds("G{} X{} Y{} Z{}".format, st.sampled_from("01"), number, number, number)
arc_block = st.builds("G{} X{} Y{} R{}".format, st.sampled_from("23"), number, number, st.integers(41, 99))
circle_block = st.builds("G{} I{} J{} Z{}".format, st.sampled_from("23"), number, st.integers(1, 20), number)
modes = st.sampled_from(["G91", "G90", "T2 M6", "M3 S900", "M4", "M5", "G20\nF10", "G21\nF900"])


@settings(max_examples=150, **quiet)
@given(st.lists(st.one_of(line_block, line_block, arc_block, circle_block, modes), min_size=1, max_size=12))
def test_round_trip__moves_written_back_read_the_same(blocks):
    try:
        first = read_program(HEADS[1] + "\n".join(blocks) + "\nM30\n", "a.nc").moves
    except InputProblems as problems:
        # Sums in G91 and inches leave the reach of an arc; nothing else may stand in the way.
        assert all("R" in p.found or "centre" in p.found for p in problems.problems)
        return
    again = read_program(written_back(first), "a.nc").moves
    assert len(again) == len(first)
    for name in ("kind", "rapid", "tool", "speed"):
        assert (getattr(again, name) == getattr(first, name)).all(), name
    for name in ("start", "end", "centre", "sweep"):
        assert getattr(again, name) == pytest.approx(getattr(first, name), abs=1e-8), name
    assert again.feed == pytest.approx(first.feed, nan_ok=True, rel=1e-14)
