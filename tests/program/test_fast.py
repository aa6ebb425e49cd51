"""The compiled reader says what the plain one says: every move to the bit, every line number, every word."""

from decimal import Decimal
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
    "words",
    [
        "S900",
        "T1",
        "M3 S900",
        "M8",
        "M7",
        "M9 M48",
        "M0",
        "M1 M49 M8 M3",
        "G54",
        "G55",
        "G61",
        "G64",
        "G98",
        "G49",
        "G18",
        "G19 G91",
        "G17 G90",
        "G91.1",
        "G90.1 G17.0",
        "G94 (a note)",
        "G90 ; another",
    ],
)
def test_words_on_each_line__are_read_in_compiled_code(words):
    data = HEAD + f"G1 {words}\n".encode() + f"G1 X1 Y2 {words}\nG1 {words} Z1\n{words}\n".encode() * 100
    options = Options({"G55": (1.0, 2.0, 3.0)}, harmless_words=("M106",))
    assert isinstance(assert_same(data + b"M30\n", options=options), dict)
    assert passed_over(data.replace(b"G55", b"G54"))[1] < 20


ALIKE = "T0101 T0001 T01 S800 S S-900 S900_S900 T2 T1_T1 T1.5 M5 M4 M6 M2 M30 M60 M106 M7_M8 M8_M9"
ALIKE += " M8_M8 M3_M5 M0_M1 M1_M2 M3.1 M3_M8_M48_M0_M7 M-3 M99 M100 G54_G55 G64_G61 G98_G99 G49_H1"
ALIKE += " G18_G19 G17_G17 G59.1 G43 G80 G53 G4 G90.1_G91.1 G90_G90.1 G91.10 G91.100 G17.0 G17."
ALIKE += " G90.0_G91 G1.0 M8.0 M08. G061 G100.0 G99999999999999.9"


@pytest.mark.parametrize("line", [words.replace("_", " ") for words in ALIKE.split()])
@pytest.mark.parametrize(
    "before", ["", "M5", "T2", "T101 M6", "T0 M6", "G43 H1", "M5\nS0 M4", "S0", "G99 G64 G55"]
)
def test_words_on_each_line__but_not_whatever_looks_like_it(before, line):
    text = f"{HEAD.decode()}{before}\nG1 X1\nX2 {line}\nX3\n{line}\nX1 Y1\nX2 Y2 {line}\nM30\n"
    for harmless in ((), ("M8",), ("M106",)):
        assert_same(text.encode(), options=Options({"G55": (1.0, 2.0, 3.0)}, harmless_words=harmless))


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


MODES = [
    "G18",
    "G19 G90.1",
    "G90.1",
    "G93",
    "G95 F.1",
    "G91",
    "G54 G64 M8",
    "G93 G19",
    "G95 G18 F.1",
    "G20\nF9",
]
more_tokens = ["G18", "G19", "G17", "G91", "G90", "F7", "S900", "M3", "T1", "M8", "G54", "G64", "K1", "K.5"]
mode_blocks = st.lists(
    st.lists(st.one_of(tokens, st.sampled_from(more_tokens)), max_size=7).map(" ".join), max_size=12
)


@settings(max_examples=400, **quiet)
@given(st.sampled_from(MODES), mode_blocks)
def test_any_words_in_any_mode__say_the_same(mode, blocks):
    assert_same(HEAD + ("\n".join([mode, "G1 X1 F5", *blocks]) + "\n").encode())


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


def test_numbers__of_more_digits_than_a_float64_holds():
    """Programs written by scripts hold 16 to 18 digits: common blocks all the same, and rounded once."""
    random = np.random.default_rng(4)
    texts = [f"{random.uniform(-1, 1) * 10.0 ** (k % 6):.{11 + k % 7}f}" for k in range(7_000)]
    # A hair beside the middle between two float64, where a quotient rounded twice goes wrong.
    values = random.uniform(1, 9, 3_000)
    middles = [Decimal(float(a)) + Decimal(float(np.spacing(a))) / 2 for a in values]
    texts += [f"{middle:.17f}" for middle in middles]
    texts = [text for text in texts if len(text.strip("-").replace(".", "")) <= 18]
    data = HEAD + "".join(f"G1 X{text}\n" for text in texts).encode()
    said = assert_same(data)
    ends = np.frombuffer(said["end"][2]).reshape(-1, 3)
    assert len(texts) > 7_000
    assert (ends[-len(texts) :, 0] == [float(text) + 0.0 for text in texts]).all()
    assert passed_over(data)[1] < 20 + HEAD.count(b"\n")


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


@pytest.mark.parametrize("mode", ["G94", "G93", "G95", "G94 G91", "G93 G91"])
@pytest.mark.parametrize("centre_mode", ["G91.1", "G90.1"])
@pytest.mark.parametrize("plane", [17, 18, 19])
def test_arcs__to_the_bit_in_every_plane_and_mode(plane, centre_mode, mode):
    random = np.random.default_rng(plane)
    # Letters of the plane's axes in the order that turns counter-clockwise (NISTIR 6556, section 3.5.3).
    (u, v, w), (i, j) = {17: ("XYZ", "IJ"), 18: ("ZXY", "KI"), 19: ("YZX", "JK")}[plane]
    feed = {"G93": 1.5, "G95": 0.1}.get(mode[:3], 300)
    lines = [HEAD.decode(), "G92 X1 Y-2 Z3", f"G{plane} {centre_mode} G1 X0 Y0 Z0", f"{mode} F{feed}"]
    a, b, c = 0.0, 0.0, 0.0
    for k in range(400):
        m, n = (round(v, 3) for v in random.uniform(-20, 20, 2))
        turn, sense = random.uniform(0.05, 6.2), random.integers(2, 4)
        cos, sin = np.cos(turn), np.sin(turn) * (1 if sense == 3 else -1)
        to = [
            round(v, 3) for v in (a + m - cos * m + sin * n, b + n - sin * m - cos * n, random.uniform(-9, 9))
        ]
        base = (a, b) if centre_mode == "G90.1" else (0, 0)
        step = (a, b, c) if "G91" in mode else (0, 0, 0)
        ends = " ".join(f"{letter}{v - s:.3f}" for letter, v, s in zip((u, v, w), to, step, strict=True))
        centre = f"{i}{m + base[0]:.3f} {j}{n + base[1]:.3f}"
        # the start carries the rounding of the end before it
        lines.append(f"G{sense} {ends} {centre} F{feed}" + (" S900 M8" if k % 3 else ""))
        a, b, c = to
    data = ("\n".join(lines) + "\nM30\n").encode()
    said = assert_same(data, options=Options(arc_tolerance=0.1))
    assert isinstance(said, dict)
    assert said["largest_arc_mismatch"] > 0
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


def test_use_compiled__common_programs_are_read_so_with_the_same_result(monkeypatch):
    monkeypatch.setattr(reader, "_compiled_from", reader.LARGE)
    body = HEAD + b"X1 Y2\nX2 Y3 Z1\n" * 200 + b"M30\n"
    assert len(body) > reader.COMMON
    used = []
    monkeypatch.setattr(
        "simkit.program.fast.FastInterpreter.run",
        lambda self, run=FastInterpreter.run: (used.append(1), run(self)),
    )
    before = reader.read_program(body, "a.nc")
    assert used == []
    reader.use_compiled()
    after = reader.read_program(body, "a.nc")
    assert used == [1]
    reader.read_program(HEAD + b"M30\n", "a.nc")
    assert used == [1]  # for so few bytes it takes longer
    for name, column in vars(before.moves).items():
        assert np.array_equal(column, getattr(after.moves, name), equal_nan=name == "feed")
    assert before.warnings == after.warnings


def test_state__has_no_part_the_compiled_reader_was_not_told_of():
    """Whoever adds a part says here that it changes no common block, or makes `leaves_common` see to it."""
    seen_to = "_x _y _z _unit _scale _is_incremental _shift_x _shift_y _shift_z _blind _motion _plane "
    seen_to += "_is_centre_absolute _feed_mode _feed _is_unit_used _is_doubtful has_end block_count options "
    seen_to += "largest_mismatch largest_mismatch_line rows name lines"
    no_matter = "problems notices units_seen work_zeros_seen tool_words changes spindle lengths dwell "
    no_matter += "speeds_called rests exact_stops _is_ended "
    no_matter += "deleted_count told _speed _turning _tool _feed_loss _work_zero _work _g92 _named_at_start "
    no_matter += "_away _has_length _has_short_cut unknown_words _stated_cutter has_unread call_line "
    no_matter += "_stale_z _names_height leaning aslant opening _coolants _path _path_tolerance"
    assert set(vars(Interpreter("a.nc", [""], None))) == set(seen_to.split()) | set(no_matter.split())


def test_unknown_work_zero_stated_again__casts_no_new_doubt():
    """X and Y given anew end the doubt that a refused work zero casts; stating it again changes nothing."""
    data = HEAD + b"G1 F300\nG55\nG1 X0 Y0\nG55\nG3 I10\nG3 X30 Y0 R2\n"
    said = assert_same(data)
    assert [problem.split(" found ")[1].split(",")[0] for problem in said] == ["'G55' (a work zero)", "'R2'"]
