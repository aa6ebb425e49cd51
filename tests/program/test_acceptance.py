"""What is read, and as what: modes, order of execution, file forms, cutters, spindle, warnings.

Source of the rules: NISTIR 6556 (2000) and ISO 6983-1; values marked "common usage" have no source.
"""

import math

import numpy as np
import pytest

from simkit.program.reader import read_program

HEAD = "G21 G90\nT1 M6\nS18000 M3\nG0 Z20\nG0 X0 Y0\nF600\n"


def read(body, **options):
    return read_program(HEAD + body + "\nM30\n", "a.nc", **options)


def ends(body, skip=1):
    """End points of the moves of a body, the arrival at X0 Y0 Z20 left out."""
    return read(body).moves.end[skip:].tolist()


SAME_CUT = [[10.5, -0.25, 20.0], [5.0, -0.25, 20.0]]  # G1 X10.5 Y-.25, then X5
WAYS_TO_WRITE_IT = {
    "plain": "G1 X10.5 Y-.25\nX5.",
    "leading_zeros": "G01 X010.500 Y-0.25\nG001 X05",
    "no_spaces": "G1X10.5Y-.25\nX5",
    "spaces_anywhere": "G 1  X 10.5\tY - .25\n X 5 .",
    "lower_case": "g1 x10.5 y-.25\nx5",
    "plus_signs": "G1 X+10.5 Y-.25\nX+5",
    "numbered": "N10 G1 X10.5 Y-.25\nN20X5",
    "number_with_zeros": "N00001 G1 X10.5 Y-.25\nN123456789 X5",
    "words_in_any_order": "Y-.25 X10.5 F600 G1\nX5",
    "comments": "(cut) G1 (deep) X10.5 (G0) Y-.25 ; (X99\nX5;G0 X9",
    "motion_repeated": "G1 X10.5 Y-.25\nG1 X5 Y-.25",
    "incremental": "G91 G1 X10.5 Y-.25\nX-5.5",
    "incremental_last_in_block": "G1 X10.5 Y-.25 G91\nX-5.5",
    "inches": "G20\nG1 X.4133858267716535 Y-.00984251968503937 F20\nX.19685039370078738",
    "inches_last_in_block": "F600 G1 X10.5 Y-.25\nX.19685039370078738 G20 Z.7874015748031495\nF20",
    "harmless_words": "G17 G40 G49 G54 G64 P.01 G80 G94 M8 M7\nG1 X10.5 Y-.25 M9\nG61 M48 X5 M0",
    "exact_stop_and_dwell": "G61.1 M49 G91.1\nG4 P2.5\nG1 X10.5 Y-.25\nX5 M1",
    "blank_lines": "\n\nG1 X10.5 Y-.25\n\n \t\nX5\n\n",
    "mode_alone": "G1\nX10.5 Y-.25\nF500\nG1 F300\nX5",
    "cycle_cancelled": "G0 G90\nG80\nG1 X10.5 Y-.25\nX5",
    "line_number_alone": "N5\nG1 X10.5 Y-.25\nN6\nX5",
}


@pytest.mark.parametrize("way", WAYS_TO_WRITE_IT)
def test_words__every_way_to_write_the_same_cut(way):
    body = WAYS_TO_WRITE_IT[way]
    if way == "inches_last_in_block":
        # The change of units drops the feed, so a rapid carries it.
        body = body.replace("\nX.1968", "\nG0 X.1968")
    assert ends(body) == pytest.approx(np.array(SAME_CUT), abs=1e-12)


FILE_FORMS = {
    "crlf": lambda text: text.replace("\n", "\r\n").encode(),
    "cr": lambda text: text.replace("\n", "\r").encode(),
    "byte_order_mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "percent_frame": lambda text: f"%\n{text}%\n".encode(),
    "percent_behind_comment": lambda text: f"(boat)\n%\n{text}\n%".encode(),
    "no_last_line_end": lambda text: text.rstrip("\n").encode(),
    "latin_1_comment": lambda text: b"(No\xebl)\n" + text.encode(),
    "utf_8_comment": lambda text: "(größer — ⌀6)\n".encode() + text.encode(),
    "text": lambda text: text,
    "comment_behind_the_end": lambda text: f"{text}\n(done)\n; bye\n%\n\n",
}


@pytest.mark.parametrize("form", FILE_FORMS)
def test_file__every_form_of_the_same_program(form):
    plain = HEAD + "G1 X10.5 Y-.25\nX5\nM30\n"
    got = read_program(FILE_FORMS[form](plain), "a.nc")
    assert got.moves.end.tolist() == [[0.0, 0.0, 20.0], *SAME_CUT]
    assert got.has_end
    assert got.warnings == ()
    shift = (
        2 if form == "percent_behind_comment" else 1 if form in ("percent_frame", "latin_1_comment") else 0
    )
    shift += form == "utf_8_comment"
    assert got.moves.line.tolist() == [5 + shift, 7 + shift, 8 + shift]


def test_moves__every_column():
    got = read("G1 Z-1 F300 S12000\nG3 X10 Y10 I0 J10\nG0 Z5", setup=2)
    moves = got.moves
    assert moves.programs == ("a.nc",)
    assert moves.kind.tolist() == [0, 0, 1, 0]
    assert moves.rapid.tolist() == [True, False, False, True]
    assert moves.start.tolist() == [[0, 0, 20], [0, 0, 20], [0, 0, -1], [10, 10, -1]]
    assert moves.end.tolist() == [[0, 0, 20], [0, 0, -1], [10, 10, -1], [10, 10, 5]]
    assert moves.centre.tolist() == [[0, 0], [0, 0], [0, 10], [0, 0]]
    assert moves.sweep == pytest.approx([0, 0, math.pi / 2, 0], abs=1e-15)
    assert moves.feed[1:3].tolist() == [300, 300]
    assert np.isnan(moves.feed[[0, 3]]).all()
    assert moves.speed.tolist() == [18000, 12000, 12000, 12000]
    assert (moves.tool.tolist(), moves.setup.tolist()) == ([1] * 4, [2] * 4)
    assert (moves.program.tolist(), moves.line.tolist()) == ([0] * 4, [5, 7, 8, 9])
    assert (got.block_count, got.line_count, got.units_seen) == (10, 10, ("mm",))
    assert got.tools_called == ((1, 2, 4),)


def test_units__inch_is_25_4_mm_in_lengths_and_feeds():
    """0.125 in = 3.175 mm, 60 in/min = 1524 mm/min: international yard and pound agreement, 1959."""
    got = read_program("G20 G90 T1 M6 S1 M3\nG0 X0 Y0 Z1\nG1 X.125 F60\nM30\n", "a.nc")
    assert got.moves.end[-1, 0] == pytest.approx(3.175, abs=1e-14)
    assert got.moves.feed[-1] == pytest.approx(1524.0, abs=1e-12)
    assert got.units_seen == ("in",)


def test_units__change_on_the_way_acts_on_its_own_block():
    got = read("G1 X1 F600\nG0 G20 X1\nG21 X2\nG1 X3 F100")
    assert got.moves.end[1:, 0].tolist() == [1.0, 25.4, 2.0, 3.0]
    assert got.units_seen == ("mm", "in")


def test_start__rows_begin_when_all_three_axes_are_known():
    got = read_program("G21 G90 T1 M6 S1 M3\nG0 Z20\nG0 X1\nG91\nG0 Z5\nG90\nG0 Y2\nX7\nM30\n", "a.nc")
    assert got.moves.line.tolist() == [7, 8]
    assert got.moves.start.tolist() == [[1, 2, 25], [1, 2, 25]]
    assert got.moves.end.tolist() == [[1, 2, 25], [7, 2, 25]]


def test_moves__a_block_that_goes_nowhere_is_a_row():
    assert ends("G1 X0\nX0") == [[0, 0, 20], [0, 0, 20]]


def test_end__stop_comes_after_the_motion_of_its_block():
    got = read_program(HEAD + "G1 X5 M2\n", "a.nc")
    assert (got.moves.end[-1].tolist(), got.has_end) == ([5, 0, 20], True)


def test_tools__change_takes_the_last_t_word():
    body = "G1 X1\nT2\nX2\nM6\nM3\nX3 Z9\nM6 T5\nM3\nX4 Z9\nT0"
    got = read(body)
    assert got.moves.tool.tolist() == [1, 1, 1, 2, 5]
    assert got.tools_called == ((1, 2, 4), (2, 10, 1), (5, 13, 1))
    assert [str(w) for w in got.warnings] == [
        "a.nc:16:1: T0 is chosen but no M6 changes to it: cutter 5 stays in the spindle"
    ]


def warnings(text, **options):
    return [str(warning) for warning in read_program(text, "a.nc", **options).warnings]


def test_tools__t_alone_is_taken_with_a_warning():
    text = "G21 G90 T3 M3 S1\nG0 X0 Y0 Z5\nG1 X5 F600\nM30\n"
    got = read_program(text, "a.nc")
    assert got.moves.tool.tolist() == [3, 3]
    assert got.tools_called == ((3, 1, 9),)
    assert warnings(text) == [
        "a.nc:1:9: T3 with no M6 in the program: cutter 3 is taken to be in the spindle from here on"
    ]


def test_tools__the_jobs_cutter_goes_before_t_alone():
    text = "G21 G90 T3 M3 S1\nG0 X0 Y0 Z5\nG1 X5 F600\nM30\n"
    got = read_program(text, "a.nc", cutter=8)
    assert (got.moves.tool.tolist(), got.tools_called) == ([8, 8], ())
    assert warnings(text, cutter=8) == [
        "a.nc:1:9: T3 with no M6 in the program: cutter 8, stated for it, is taken to cut"
    ]


def test_tools__moves_before_the_first_change():
    rapids = "G21 G90\nG0 X0 Y0 Z5\nX3\nT2 M6\nM3 S1\nG1 X5 F600\nM30\n"
    assert read_program(rapids, "a.nc").moves.tool.tolist() == [2, 2, 2]
    text = "rapids before the first change of cutter are taken as made with cutter 2"
    assert warnings(rapids) == [f"a.nc:2:1: {text}"]
    cuts = "G21 G90 M3 S1\nG0 X0 Y0 Z5\nG1 X3 F600\nT2 M6\nM3\nG1 X5 Z5\nM30\n"
    assert read_program(cuts, "a.nc", cutter=1).moves.tool.tolist() == [1, 1, 2]
    text = "moves before the first change of cutter are taken as made with cutter 1, as stated"
    assert warnings(cuts, cutter=1) == [f"a.nc:2:1: {text}"]


def test_spindle__signed_speed_and_what_stops_it():
    """M6 leaves the spindle standing (NISTIR 6556, M6)."""
    got = read("G1 X1\nM4\nX2\nS500\nX3\nM5\nG0 X4\nT2 M6\nG1 X5 Z9")
    assert got.moves.speed.tolist() == [18000, 18000, -18000, -500, 0, 0]
    assert [str(w) for w in got.warnings] == [
        "a.nc:8:1: 'M4' turns the spindle backwards: most cutters then rub and burn",
        "a.nc:15:1: a cutting move with the spindle off: no M3 since it was last stopped",
    ]


WARNINGS = {
    "no_end": (
        HEAD + "G1 X5\n",
        ["a.nc:7:1: the program ends with no M2, M30 or closing %: the file may be cut off"],
    ),
    "no_end_no_line_end": (
        HEAD + "G1 X5\nX6.2",
        [
            "a.nc:8:1: the program ends with no M2, M30 or closing %: the file may be cut off, "
            "perhaps in the middle of its last line 'X6.2'"
        ],
    ),
    "no_spindle": (
        "G21 G90 T1 M6\nG0 X0 Y0 Z5\n  G1 X5 F600\nM30\n",
        [
            "a.nc:3:3: no M3 in the program: the spindle has to be switched on by hand "
            "(spindle_by_hand = true in the job says that it is)"
        ],
    ),
    "spindle_late": (
        "G21 G90 T1 M6\nG0 X0 Y0 Z5\nG1 X5 F600\nM3 S1\nM30\n",
        ["a.nc:3:1: a cutting move with the spindle off: M3 comes only later"],
    ),
    "no_speed": (
        "G21 G90 T1 M6\nM3\nG0 X0 Y0 Z5\nM30\n",
        ["a.nc:2:1: 'M3' with no S: the spindle speed is whatever is set by hand"],
    ),
    "no_distance_mode": (
        "G21 T1 M6\nG0 X0 Y0 Z5\nX3\nM30\n",
        ["a.nc:2:4: neither G90 nor G91 before the first motion: read as absolute coordinates (G90)"],
    ),
    "spaces_in_a_number": (
        HEAD + "G1 X1 0 Y1\nM30\n",
        ["a.nc:7:4: 'X1 0' is read as 'X10': spaces mean nothing in a number"],
    ),
    "tiny_arc": (
        HEAD + "G0 X10\nG3 X10 Y.002 I-10 J0\nM30\n",
        [
            "a.nc:8:4: the ends of this arc are only 0.0020 mm apart: it is read as a turn of 0.01 degrees, "
            "but controls may differ by a full turn"
        ],
    ),
    "nothing_moves": ("G21\nM30\n", ["a.nc:1:1: the program moves nothing"]),
}


@pytest.mark.parametrize("name", WARNINGS)
def test_warnings__whole_text(name):
    text, expected = WARNINGS[name]
    assert warnings(text) == expected


def test_warnings__carry_line_and_column():
    (warning,) = read_program(WARNINGS["no_spindle"][0], "a.nc").warnings
    assert (warning.line, warning.column, warning.place.file) == (3, 3, "a.nc")
