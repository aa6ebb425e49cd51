"""The compiled reader says what the plain one says: every move to the bit, every line number, every word."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simkit.errors import InputProblems
from simkit.program import reader
from simkit.program.fast import FastInterpreter
from simkit.program.interpreter import Interpreter, Options
from simkit.program.source import Source
from simkit.program.words import split_lines
from tests.program.made_programs import HEAD, ODD, SETTINGS, made_program, outcome, spoilt

quiet = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}
SAMPLES = sorted((Path(__file__).parents[2] / "samples").rglob("*.nc"))


def assert_same(data, **options):
    """Compare both readers; return what they say."""
    said = outcome(data, is_compiled=True, **options)
    assert said == outcome(data, is_compiled=False, **options)
    return said


def passed_over(data):
    """Lines of a program, and how many of them the compiled code left to the interpreter."""
    state = FastInterpreter("a.nc", Source(data, "a.nc"), None)
    left = []
    lines = state._lines_to_read
    state._lines_to_read = lambda: (left.append(number) or (number, line) for number, line in lines())
    state.run()
    return len(state.lines), len(left)


# -- whole programs -------------------------------------------------------------------------


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_samples__say_the_same(path):
    assert isinstance(assert_same(path.read_bytes()), dict)


def test_samples__are_read_in_compiled_code_nearly_whole():
    for path in SAMPLES[:2]:
        lines, left = passed_over(path.read_bytes())
        assert left < 0.02 * lines


def test_words_stated_again__are_read_in_compiled_code():
    data = HEAD + b"G90 G1 X1 Y2\nG17G90G2X2Y3I.5J.5\nG21 G94 G40 G1 Z1\nG90\n" * 100 + b"M30\n"
    assert isinstance(assert_same(data), dict)
    assert passed_over(data)[1] < 20


@pytest.mark.parametrize(
    "line",
    ["G90 G91", "G20", "G21 F5", "G90 G90", "G17 G18", "G21 G20 F2", "G90 N5", "G90.1", "G94 G93", "G90 G1"],
)
def test_words_stated_again__but_not_whatever_looks_like_it(line):
    for unit in ("G21", "G20", ""):
        for distance in ("G90", "G91"):
            text = f"{unit} {distance} T1 M6 S1 M3 F9\nG0 X0 Y0 Z0\nX1\n{line} X2 Y.5\nX3\n{line}\nX1\nM30\n"
            assert_same(text.encode(), units="in")


@pytest.mark.parametrize("seed", range(8))
def test_made_programs__say_the_same(seed):
    random = np.random.default_rng(seed)
    good = sum(isinstance(assert_same(made_program(random, random.integers(1, 40))), dict) for _ in range(60))
    assert good > 20  # not refusals alone


@pytest.mark.parametrize("seed", range(4))
def test_spoilt_programs__say_the_same(seed):
    random = np.random.default_rng(100 + seed)
    for _ in range(80):
        assert_same(spoilt(random, made_program(random, random.integers(1, 30))))


@pytest.mark.parametrize("path", SAMPLES[:2], ids=lambda path: path.name)
def test_spoilt_samples__say_the_same(path):
    random = np.random.default_rng(7)
    lines = path.read_bytes().splitlines(keepends=True)
    for _ in range(40):
        begin = random.integers(20, len(lines) - 300)
        assert_same(spoilt(random, b"".join(lines[:20] + lines[begin : begin + 150])))


@settings(max_examples=200, **quiet)
@given(st.binary(max_size=120))
def test_any_bytes__say_the_same(data):
    assert_same(data)
    assert_same(HEAD + data)


@settings(max_examples=200, **quiet)
@given(st.text(max_size=60))
def test_any_text__says_the_same(text):
    assert_same(text)
    assert_same(HEAD.decode() + text)


AXIS_WORDS = [
    "X1",
    "X-2.5",
    "x 3",
    "Y3",
    "Y.5",
    "Z-1.25",
    "G1",
    "G0",
    "G02",
    "G3",
    "I1",
    "I-1.5",
    "J0",
    "J2",
    "K0",
]
tokens = st.sampled_from(
    [*AXIS_WORDS * 3, "G90", "G17", "G21", "G94", "G40", "R2", "R-9", "F5", "N7", "( )", "", *ODD, *SETTINGS]
)
some_blocks = st.lists(st.lists(tokens, max_size=6).map(" ".join), max_size=12)


@settings(max_examples=400, **quiet)
@given(some_blocks, st.sampled_from(["\n", "\r\n", "\r", "\n\n"]))
def test_any_words__say_the_same(blocks, line_end):
    assert_same(HEAD + (line_end.join(blocks) + line_end).encode())


@settings(max_examples=100, **quiet)
@given(
    some_blocks,
    st.sampled_from([0.0005, 0.01, 0.5]),
    st.booleans(),
    st.sampled_from([(), ("M8",), ("X1",), ("MSG",)]),
)
def test_options__say_the_same(blocks, tolerance, skips, harmless):
    offsets = {"G55": (1.1, -2.3, 0.7), "G54": (0.1, 0.2, 0.3)}
    options = Options(offsets, skips, harmless, tolerance)
    assert_same(HEAD + ("\n".join(blocks) + "\n").encode(), options=options)


# -- numbers --------------------------------------------------------------------------------

digits = st.text("0123456789", max_size=20)
written = st.builds(
    "{}{}{}{}".format, st.sampled_from(["", "-", "+"]), digits, st.sampled_from(["", "."]), digits
)


@settings(max_examples=400, **quiet)
@given(written)
def test_numbers__as_python_reads_them(text):
    said = assert_same(HEAD + f"G1 X{text}\nM30\n".encode())
    if isinstance(said, dict):  # Python's float() is correctly rounded (IEEE 754-2008, 5.12.2)
        ends = np.frombuffer(said["end"][2]).reshape(-1, 3)
        assert ends[-1, 0] == float(text) + 0.0


def test_numbers__many_at_once():
    random = np.random.default_rng(3)
    texts = [f"{random.uniform(-1e4, 1e4) / 10.0 ** random.integers(0, 5):.{k % 12}f}" for k in range(20_000)]
    said = assert_same(HEAD + "".join(f"G1 X{text}\n" for text in texts).encode())
    ends = np.frombuffer(said["end"][2]).reshape(-1, 3)
    assert (ends[-len(texts) :, 0] == [float(text) + 0.0 for text in texts]).all()


# -- arcs -----------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["G21", "G20"])
@pytest.mark.parametrize("decimals", [2, 3, 4, 9])
def test_arcs__to_the_bit(unit, decimals):
    random = np.random.default_rng(decimals)
    lines = [HEAD.decode(), unit, "F20"]
    for _ in range(1500):
        x, y, z = random.uniform(-50, 50, 3)
        i, j = random.uniform(-20, 20, 2)
        turn = random.uniform(0.05, 6.2)
        sense = random.integers(2, 4)
        c, s = np.cos(turn), np.sin(turn) * (1 if sense == 3 else -1)
        end = x + i - c * i + s * j, y + j - s * i - c * j
        numbers = [f"{v:.{decimals}f}" for v in (x, y, *end, i, j, z)]
        lines.append("G1 X{} Y{}".format(*numbers[:2]))
        centre, height = "I{} J{}".format(*numbers[4:6]), f"Z{numbers[6]}" if random.integers(2) else ""
        if random.integers(3) == 0:
            centre = f"R{np.copysign(np.hypot(i, j) + 1e-4, np.pi - turn):.4f}"
        lines.append(f"G{sense} X{numbers[2]} Y{numbers[3]} {centre} {height}")
        lines.append(f"G{sense} I{numbers[4]} J{numbers[5]}")
    data = ("\n".join(lines) + "\nM30\n").encode()
    said = assert_same(data, options=Options(arc_tolerance=0.5))
    assert isinstance(said, dict)
    assert said["largest_arc_mismatch"] > 0
    assert_same(data)
    if decimals == 3:
        count, left = passed_over(data)
        assert left < 0.1 * count


def test_arcs__of_half_a_turn_whose_centre_rounding_puts_on_the_wrong_side():
    random = np.random.default_rng(5)
    lines = [HEAD.decode()]
    for _ in range(600):
        x, y = np.round(random.uniform(-50, 50, 2), 4)
        n, (a, b) = random.integers(2000, 40_000), random.choice([[3, 4], [-4, 3], [5, -12], [1, 0], [0, -1]])
        lines.append(f"G1 X{x:.4f} Y{y:.4f}")
        end_x, end_y = (f"{v + (2 * n + 1) * step / 1e4:.4f}" for v, step in ((x, a), (y, b)))
        lines.append(f"G{random.integers(2, 4)} X{end_x} Y{end_y} I{n * a / 1e4:.4f} J{n * b / 1e4:.4f}")
    said = assert_same(("\n".join(lines) + "\nM30\n").encode())
    assert isinstance(said, dict)
    assert said["largest_arc_mismatch"] > 1e-5


def test_rows__grow_where_every_line_is_two_arcs():
    data = HEAD + b"G1 X10 Y0\n" + b"G3 X0 Y-10.001 I-10 J0\nX10 Y0 I0 J10\n" * 3000
    said = assert_same(data)
    assert said["kind"][1][0] > 5000


# -- what a file may look like --------------------------------------------------------------


@settings(max_examples=300, **quiet)
@given(st.text("ab\r\n é\x85\u2028", max_size=30), st.sampled_from(["utf-8", "latin-1", "utf-8-sig"]))
def test_source__has_the_lines_of_the_file(text, encoding):
    data = text.encode(encoding, "replace")
    try:
        lines = split_lines(data, "a.nc")
    except InputProblems as problems:
        with pytest.raises(InputProblems, match=str(problems).replace("(", r"\(").replace(")", r"\)")):
            Source(data, "a.nc")
        return
    source = Source(data, "a.nc")
    assert len(source) == len(lines)
    assert [source[k] for k in range(len(lines))] == lines
    assert source[-1] == lines[-1]


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b" \r\n\t",
        "\u2003\n".encode(),
        b"G1 X\0",
        b"\xff\xfeG\0",
        b"\xfe\xff\0G",
        b"\xef\xbb\xbf",
        b"\xef\xbb\xbf" + HEAD + b"X1\n(\xe9)\n",
        HEAD + b"X1\n(\xe9)\nX\xe9\n",
        HEAD + "X1\n(é\u2028)\nX2\x85\n".encode(),
        HEAD + b"X1\nX2\nX",
        HEAD + b"X1\nX2\nX3",
        HEAD + b"X1\nX2 (cut",
        HEAD + b"X1\r\nX2\r\rX3\n\rX4\r",
        HEAD + b"X1\nM30\nX2\n",
        b"%\n" + HEAD + b"X1\n%\n",
        HEAD + b"X1\n%\n\n(end)\n",
        HEAD + b"X1\n" * 60 + b"X\n" * 60,
    ],
)
def test_odd_files__say_the_same(data):
    assert_same(data)


def test_half_a_surrogate_pair__says_the_same():
    assert_same(HEAD.decode() + "(\ud800)\nX1\n")


def test_chunks__a_letter_cut_by_the_end_of_one(monkeypatch):
    monkeypatch.setattr("simkit.program.source._CHUNK", 7)
    assert_same(HEAD + "(éééééé)\nX1\n".encode() * 9)
    assert_same(HEAD + "(éééééé)\nX1\n".encode() * 9 + b"(\xe9)")


# -- which reader ---------------------------------------------------------------------------


def test_size__decides_and_changes_nothing(monkeypatch):
    body = HEAD + b"X1 Y2\nX2 Y3 Z1\n" * 50 + b"M30\n"
    large = body + b"(" + b"-" * reader.LARGE + b")\n"
    used = []
    monkeypatch.setattr(
        "simkit.program.fast.FastInterpreter.run",
        lambda self, run=FastInterpreter.run: (used.append(1), run(self)),
    )
    small_read, large_read = reader.read_program(body, "a.nc"), reader.read_program(large, "a.nc")
    assert used == [1]
    for name, column in vars(small_read.moves).items():
        assert np.array_equal(column, getattr(large_read.moves, name), equal_nan=name == "feed")
    assert small_read.line_count + 1 == large_read.line_count


def test_state__has_no_part_the_compiled_reader_was_not_told_of():
    """Whoever adds a part says here that it changes no common block, or makes `leaves_common` see to it."""
    seen_to = "_x _y _z _unit _scale _is_incremental _shift_x _shift_y _shift_z _blind _motion _plane "
    seen_to += "_is_centre_absolute _feed_mode _feed _is_unit_used _is_doubtful has_end block_count options "
    seen_to += "largest_mismatch largest_mismatch_line rows name lines"
    no_matter = "problems notices units_seen work_zeros_seen tool_words changes spindle lengths dwell "
    no_matter += "deleted_count told _speed _turning _tool _feed_loss _work_zero _work _g92 _named_at_start "
    no_matter += "_away _has_length _has_short_cut"
    assert set(vars(Interpreter("a.nc", [""], None))) == set(seen_to.split()) | set(no_matter.split())
