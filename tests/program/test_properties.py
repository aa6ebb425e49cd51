"""What holds for every input: no crash, both scanners agree, short cut or not, written back, read again."""

# ruff: noqa: PT017 (either outcome is allowed, and both are looked at)

import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simkit.errors import InputProblems
from simkit.moves.table import ARC, PLANE_AXES
from simkit.program.reader import PROBLEM_LIMIT, Options, _read, read_program
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
OTHER_WORDS = b"""%
N10 G20 G90 G17 G40 G49 G80 G94 (holes and a rib)
N20 T3 M6
S9000 M3
G55 G0 X0 Y0
G43 H3 Z1.
G99 G81 X.5 Y.5 Z-.5 R.1 F12.
X1.
/X1.5
G98 G83 Y1. Z-.75 R.1 Q.2
G80
G91 G73 X.25 Z-.5 R-.05 Q.1 L3
G90 G80
G18 G3 X2. Z.1 R.6
G19 G90.1 G2 Y1.2 Z.1 J1.1 K.1
G17 G91.1
G92 X0
G93 G1 X.5 F20.
G94 F30.
G95 G1 Y.5 F.002
G92.1
G53 G0 Z0
G28
M106 S50
MSG ready
M30
%
"""
REAL = REAL.replace(b"I3.827 J-2.105", b"I3.8274 J1.6055")


OPTIONS = Options({"G55": (10.0, -5.0, 2.0)}, harmless_words=("M106", "MSG"))


def outcome(source, has_short_cut=True):
    """The result or the problems, in a form that compares."""
    try:
        got = _read(source, "a.nc", 0, None, None, has_short_cut, options=OPTIONS)
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


def test_real_programs__are_read():
    assert len(outcome(REAL)) == 5
    columns, *_, warnings = outcome(OTHER_WORDS)
    assert len(columns["end"]) > 40
    assert set(columns["plane"]) == {17, 18, 19}
    assert len(warnings) == 8


@settings(max_examples=300, **quiet)
@given(st.binary(max_size=120))
def test_any_bytes__give_a_result_or_problems(data):
    assert outcome(data) == outcome(data, has_short_cut=False)


@settings(max_examples=300, **quiet)
@given(st.text(max_size=80))
def test_any_text__gives_a_result_or_problems(text):
    assert outcome(text) == outcome(text, has_short_cut=False)


LETTERS = "GGGGGMXXYYZZFIJRSTNPKOAEHDQL"
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
    "18",
    "19",
    "28",
    "43",
    "49",
    "53",
    "55",
    "73",
    "81",
    "83",
    "90.1",
    "92",
    "92.1",
    "93",
    "95",
    "98",
    "99",
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
@pytest.mark.parametrize("program", [REAL, OTHER_WORDS], ids=["common words", "other words"])
def test_mutations__of_a_real_program(seed, program):
    """Bytes flipped, lines cut, doubled and swapped, words doubled, the end lost."""
    random = np.random.default_rng(seed)
    for _ in range(60):
        data = bytearray(program)
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


# Blocks of several words that all act on each other, each begun from the same place.
ORDERS = [
    "G91 G1 X10 F300",
    "G20 G0 X1 Y2",
    "G90.1 G18 G3 X10 Z20 I5 K20 F100",
    "G99 G81 X3 Z-5 R2 F90 M8",
    "G17 G98 G83 X3 Y4 Z-5 R2 Q2 G55",
    "T2 M6 G43 H2 S500 M3",
    "G55 G91 G0 X1 Y1",
    "G93 G1 X5 F3 S100",
    "G95 G1 X5 F.1 M4",
    "G54 G53 G0 Z0",
    "G91 G28 Z5 G80",
    "M5 G1 X4 M30",
    "G92 X4 G80 G94",
    "G0 G17 G40 G49 G80 G90 G94 X7",
]


@pytest.mark.parametrize("block", ORDERS)
def test_order__of_words_in_a_block_changes_nothing(block):
    """The order of execution is the standard's, not that of writing (NISTIR 6556, section 3.8)."""
    head, random = HEADS[1].replace("Z0", "Z20"), np.random.default_rng(3)
    tail = "" if "M30" in block else "\nG90 G21 G17 G94 G0 X1 Y1 Z1\nG1 X2 F60\nM30\n"
    first = outcome(head + block + tail)
    assert isinstance(first, tuple), first
    for _ in range(8):
        words = random.permutation(block.split()).tolist()
        again = outcome(head + " ".join(words) + tail)
        assert again[0] == first[0], words
        assert [w.split(": ", 1)[1] for w in again[4]] == [w.split(": ", 1)[1] for w in first[4]]


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
