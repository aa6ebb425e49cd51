"""Where coordinates count from: work zeros, G92, length offsets, machine places, feed modes, options.

Source of the rules: NISTIR 6556 (2000), sections 3.2, 3.5 and 3.8; G95 and numbers behind harmless words:
common usage, no source.
"""

# ruff: noqa: E501 (a message stands as it is told)

import numpy as np
import pytest

from simkit.errors import InputProblems
from simkit.program.reader import Options, read_program

HEAD = "G21 G90\nT1 M6\nS18000 M3\nG0 Z20\nG0 X0 Y0\nF600\n"  # the block under test is line 7


def read(body, **options):
    return read_program(HEAD + body + "\nM30\n", "a.nc", options=Options(**options))


def ends(body, **options):
    return read(body, **options).moves.end[1:].tolist()


def told(got):
    return [str(warning) for warning in got.warnings]


def messages(text, **options):
    with pytest.raises(InputProblems) as raised:
        read_program(text, "a.nc", options=Options(**options))
    return [str(problem) for problem in raised.value.problems]


# -- work zeros -----------------------------------------------------------------------------------

OFFSETS = {"G55": (100.0, 10.0, 1.0), "G59.1": (0.0, -5.0, 0.0)}


def test_work_zeros__several_in_one_program():
    got = read("G1 X1 Y1 Z0\nG55 X1 Y1 Z0\nG91 X1\nG90 G54 X0\nG59.1 Y0", work_offsets=OFFSETS)
    assert got.moves.end[1:].tolist() == [[1, 1, 0], [101, 11, 1], [102, 11, 1], [0, 11, 1], [0, -5, 1]]
    assert got.work_zeros == (("G55", 8, 1), ("G54", 10, 5), ("G59.1", 11, 1))
    assert got.warnings == ()


def test_work_zeros__g54_is_the_zero_unless_the_job_places_it():
    assert ends("G54 G1 X1") == [[1, 0, 20]]
    got = read_program("G21 G90 T1 M6 M3 S1\nG0 X1 Y1 Z1\nM30\n", "a.nc", options=Options({"G54": (1, 2, 3)}))
    assert got.moves.end.tolist() == [[2, 3, 4]]


def test_work_zeros__arcs_and_absolute_centres_are_shifted_once():
    body = "G55 G0 X10 Y0\n{} G3 X0 Y10 {} F600"
    for centre in (("G91.1", "I-10 J0"), ("G90.1", "I0 J0")):
        moves = read(body.format(*centre), work_offsets=OFFSETS).moves
        assert moves.centre[-1].tolist() == [100, 10]
        assert moves.sweep[-1] == pytest.approx(np.pi / 2, abs=1e-15)


def test_work_zeros__missing_ones_are_told_each_with_its_line():
    place = "(a work zero), expected the place of this work zero, for it stands in the control"
    assert messages(HEAD + "G55\nG0 X1\nG56\nG55\n", work_offsets={"G57": (0, 0, 0)}) == [
        f"a.nc:7:1: found 'G55' {place}; add \"G55\" = [0, 0, 0] to the work_offsets of the setup, with the "
        "true distance from its zero",
        f"a.nc:9:1: found 'G56' {place}; add \"G56\" = [0, 0, 0] to the work_offsets of the setup, with the "
        "true distance from its zero",
    ]


# -- G92 ------------------------------------------------------------------------------------------


def test_g92__before_any_motion_says_where_the_cutter_stands():
    got = read_program("G21 G90 T1 M6 M3 S1 F600\nG92 X0 Y0 Z10\nG1 X5\nM30\n", "a.nc")
    assert got.moves.start.tolist() == [[0, 0, 10], [0, 0, 10]]
    assert got.moves.end.tolist() == [[0, 0, 10], [5, 0, 10]]
    assert told(got) == [
        "a.nc:2:1: G92 before X, Y and Z moved: the cutter is taken to stand at X0 Y0 Z10 of this setup"
    ]


def test_g92__on_the_way_names_the_present_place():
    """The present point gets the coordinates written: X5 is called X0, so X10 lies at 15."""
    got = read("G1 X5 Y2\nG92 X0 Y0\nX10 Y1\nG92.1\nX10 Y1")
    assert got.moves.end[1:].tolist() == [[5, 2, 20], [15, 3, 20], [10, 1, 20]]
    assert told(got) == [
        "a.nc:8:1: G92 moves the zero: coordinates behind it count from 5, 2, 0 mm from the zero of this setup",
        "a.nc:10:1: G92.1 takes the shift of G92 back: coordinates behind it count from the work zero again",
    ]


def test_g92__holds_for_every_work_zero():
    """The shift is added to whichever work zero is in force."""
    assert ends("G92 X-1\nG55 G1 X0 Y0", work_offsets=OFFSETS) == [[101, 10, 20]]


def test_g92__in_inches_and_incremental():
    assert ends("G20 G92 X1\nG0 X2\nG91 X1") == [
        [pytest.approx(25.4), 0, 20],
        [pytest.approx(50.8), 0, 20],
    ]


def test_g92_1__after_the_operators_zero_leaves_the_zero_unknown():
    head = "G21 G90 T1 M6 M3 S1 F600\nG92 X0 Y0 Z10\nG1 X5\nG92.1\n"
    got = read_program(head + "G0 Z50\nM30\n", "a.nc")
    assert got.moves.end[-1].tolist() == [5, 0, 10]
    assert told(got)[1:] == [
        "a.nc:5:4: 'Z50' behind G92.1 says no place known here: taken as a retract that leaves the work; "
        "Z is unknown from here on"
    ]
    assert messages(head + "G1 X3\nM30\n") == [
        "a.nc:5:4: found 'X3' in a cutting move that starts at an unknown X since G92.1, expected the zeros that the "
        "other cuts count from, for where this one lies stands in the control; delete G92.1, or move it to "
        "the end"
    ]


LOST_CENTRES = {
    "G92 X0 Y0 Z0\nG92.1\nG90.1 G2 I5 J0": ("I5", "G92.1", "delete G92.1, or move it to the end"),
    "G92 X0 Y0 Z0\nG92.1\nG90.1 G91 G3 X10 I5 J0": ("I5", "G92.1", "delete G92.1, or move it to the end"),
    "G92 X0 Y0 Z0\nG43 H1\nG49\nG90.1 G18 G2 X10 I5 K0": ("K0", "G49", "write G43 and H before it"),
}


@pytest.mark.parametrize("body", LOST_CENTRES)
def test_absolute_centres__count_from_no_zero_that_is_lost(body):
    """An absolute centre is a word of its axis: where G92.1 or G49 made that unknown, so is the centre."""
    word, since, remedy = LOST_CENTRES[body]
    head = "G21 G90 T1 M6 M3 S1 F600\n" + ("G43 H1\n" if since == "G49" else "")
    body = body.replace("G43 H1\n", "")
    (message,) = messages(f"{head}{body}\nM30\n")
    assert f"found '{word}' in G90.1 behind {since}, which leaves its zero unknown" in message
    assert message.endswith(f"post again with incremental arc centres (G91.1), or {remedy}")
    about_start = read_program(f"{head}{body.replace('G90.1', 'G91.1')}\nM30\n", "a.nc")
    assert about_start.moves.sweep[-1] != 0.0  # from the start of the arc it is read


# -- length offsets -------------------------------------------------------------------------------


def test_g43__the_tip_is_where_z_says():
    got = read("G43 H1 Z5\nG1 Z-1\nG0 Z5\nG49")
    assert got.moves.end[1:, 2].tolist() == [5, -1, 5]
    assert told(got) == ["a.nc:7:1: G43: the tip of the cutter is taken to be at the Z that is programmed"]


def test_g43__h_of_another_cutter_is_told_with_what_it_would_do():
    high = "for it, so every cut is too deep or too high by the"
    got = read("G43 H2 Z5\nG1 Z-1")
    assert told(got)[1] == (
        "a.nc:7:5: H2 is in force where cutter 1 cuts in line 8: the control takes the length of cutter 2 "
        f"{high} difference of the lengths 2 and 1; write H1, or call T2"
    )
    got = read("T2 M6\nM3\nG43 H2 G0 Z5\nG1 Z-1\nT3 M6\nM3\nG1 X5 Z-1")
    assert told(got)[1:] == [
        "a.nc:9:5: H2 is in force where cutter 3 cuts in line 13: the control takes the length of cutter 2 "
        f"{high} difference of the lengths 2 and 3; write H3, or call T2"
    ]
    got = read("G43 H0 Z5\nG1 Z-1")
    assert told(got)[1] == (
        "a.nc:7:5: H0 is in force where cutter 1 cuts in line 8: the control takes no length "
        f"{high} length of cutter 1; write H1"
    )
    assert len(told(read("T2 M6\nM3\nG43 H2 G0 Z5\nG1 Z-1\nT3 M6\nM3\nG43 H3\nG1 X5 Z-1"))) == 1
    assert len(told(read("G43 H1 Z5\nG1 Z-1\nT2 M6\nM3\nH2\nG1 X5 Z-1"))) == 1  # a new H alone: common usage


def test_g43__says_nothing_of_a_cutter_the_program_does_not_call():
    text = "G21 G90 M3 S1 F9\nG0 X0 Y0\nG43 H1 Z5\nG1 Z-1\nM30\n"
    assert len(told(read_program(text, "a.nc", cutter=3))) == 1
    assert len(told(read_program(text, "a.nc", options=Options(needs_cutter=False)))) == 2
    alone = told(read_program("T2\n" + text, "a.nc"))  # T with no M6: taken to be in the spindle
    assert alone[-1].startswith("a.nc:4:5: H1 is in force where cutter 2 cuts in line 5")


def test_h_and_d__alone_do_nothing_and_are_told():
    assert told(read("H1\nD1")) == [
        "a.nc:7:1: 'H1' does nothing without G43",
        "a.nc:8:1: 'D1' does nothing without cutter compensation",
    ]


def test_g49__behind_g43_leaves_z_unknown_until_g43():
    got = read("G43 H1 Z5\nG49 G0 Z100\nG0 X5\nG43 H1 Z5\nG1 X9")
    assert got.moves.end[1:].tolist() == [[0, 0, 5], [5, 0, 5], [9, 0, 5]]
    assert got.moves.start[2].tolist() == [5, 0, 5]  # an arrival: the way to it is not known
    assert told(got)[1:] == [
        "a.nc:8:8: 'Z100' behind G49 says no place known here: taken as a retract that leaves the work; "
        "Z is unknown from here on"
    ]
    assert ends("G49\nG1 Z5") == [[0, 0, 5]]  # with no G43 before it, it changes nothing


# -- machine places -------------------------------------------------------------------------------

PLACE = "goes to a machine place not known here: taken as a retract that leaves the work; "


def test_g53__takes_its_axes_away_until_they_are_programmed():
    got = read("G53 G0 Z0\nX7 Y8\nZ5\nG1 Z-1")
    assert got.moves.end[1:].tolist() == [[7, 8, 5], [7, 8, -1]]
    assert got.moves.start[1:].tolist() == [[7, 8, 5], [7, 8, 5]]
    assert got.moves.line[1:].tolist() == [9, 10]
    assert told(got) == [f"a.nc:7:1: G53 {PLACE}Z is unknown until programmed again"]


@pytest.mark.parametrize("word", ["G28", "G30"])
def test_g28__goes_by_way_of_the_place_written(word):
    got = read(f"G1 X5 Z-1\n{word} Z0\nG0 X1 Y1\nZ5")
    assert got.moves.end[1:].tolist() == [[5, 0, -1], [5, 0, 0], [1, 1, 5]]
    assert got.moves.rapid[1:].tolist() == [False, True, True]
    assert got.moves.start[-1].tolist() == [1, 1, 5]
    assert told(got) == [f"a.nc:8:1: {word} {PLACE}X, Y and Z are unknown until they are programmed again"]


@pytest.mark.parametrize(
    "body", ["G91 G28 Z0\nG90 G0 X1 Y1 Z5", "G28\nG0 X1 Y1 Z5", "G28 G91 Z0\nG90 X1 Y1 Z5\n"]
)
def test_g28__from_where_the_tip_stands_adds_no_motion(body):
    assert ends(body) == [[1, 1, 5]]


def test_g28__at_the_head_needs_neither_units_nor_place():
    got = read_program("G91 G28 Z0\nG90 G21 T1 M6 M3 S1 F9\nG0 X1 Y1\nG0 Z5\nG1 Z0\nM30\n", "a.nc")
    assert got.moves.end.tolist() == [[1, 1, 5], [1, 1, 0]]


# -- feed modes -----------------------------------------------------------------------------------


def test_g93__feed_is_the_length_over_the_time():
    """100 mm at 1500 mm/min is F15 (NISTIR 6556: F is one over the minutes of the move)."""
    assert read("G93 G1 X100 F15").moves.feed[-1] == pytest.approx(1500)
    half = read("G93 G2 X10 I5 F3").moves
    assert half.feed[-1] == pytest.approx(3 * 5 * np.pi)
    helix = read("G93 G3 Z22 I5 F2").moves
    assert helix.feed[-1] == pytest.approx(2 * 31.47952414, abs=1e-7)
    assert read("G93 G1 X0 F15").moves.feed[-1] > 0
    assert read("G20 G93 G1 X1 F10").moves.feed[-1] == pytest.approx(254)


def test_g95__feed_counts_per_turn():
    assert read("G95 F0.1\nG1 X5\nS900 X6").moves.feed[1:].tolist() == [1800, 90]


# -- block delete, harmless words, spindle, arc tolerance --------------------------------------------


@pytest.mark.parametrize("block", ["/G1 X5", "N10 /G1 X5", "/N10 G1 X5", "  / G1 X5"])
def test_block_delete__run_or_passed_over_and_said(block):
    got = read(f"{block}\nG1 X9")
    assert (got.moves.end[1:, 0].tolist(), got.deleted_count, got.skips_deleted) == ([5, 9], 1, False)
    column = block.index("/") + 1
    assert told(got) == [
        f"a.nc:7:{column}: blocks with / are run, whatever the switch at the machine says "
        '(block_delete = "skip" in the job passes over them)'
    ]
    got = read(f"{block}\nG1 X9", skip_deleted=True)
    assert (got.moves.end[1:, 0].tolist(), got.deleted_count, got.skips_deleted) == ([9], 1, True)
    assert told(got) == [
        f"a.nc:7:{column}: blocks with / are passed over, whatever the switch at the machine says"
    ]


@pytest.mark.parametrize(
    "line", ["M106 S255", "m0106s255", "MSG Hello, X1 (a)", "N5 M106", "M117 X is 5", "M117"]
)
def test_harmless_words__do_nothing_with_what_belongs_to_them(line):
    got = read(f"{line}\nG1 X9", harmless_words=("M106", "M117", "MSG"))
    assert got.moves.end[1:].tolist() == [[9, 0, 20]]
    assert got.moves.speed[-1] == 18000
    (warning,) = told(got)
    assert warning.endswith("' does nothing, as stated")


def test_harmless_words__words_before_them_count():
    assert ends("G1 X9 M106 S255", harmless_words=("M106",)) == [[9, 0, 20]]


def test_harmless_words__nothing_that_moves_may_stand_behind_them():
    assert messages(HEAD + "M106 G1 X5\nM30\n", harmless_words=("M106",)) == [
        "a.nc:7:6: found 'G1' behind a harmless word, expected nothing that moves or sets anything behind it, "
        "for the rest of its line belongs to it; write it on a line of its own"
    ]


def test_harmless_words__are_whole_words():
    (first, *_) = messages(HEAD + "M1060\nMSGS a\nM30\n", harmless_words=("M106", "MSG"))
    assert first == (
        "a.nc:7:1: found 'M1060' (an M word this reader does not know), expected words whose meaning is certain; "
        "look up what it does on your control; if it moves nothing, write "
        'harmless_words = ["M106", "MSG", "M1060"] at the top of the job file'
    )


def test_spindle_by_hand__is_no_warning():
    text = "G21 G90 T1 M6\nG0 X0 Y0 Z5\nG1 X5 F600\nM30\n"
    assert len(told(read_program(text, "a.nc"))) == 1
    assert told(read_program(text, "a.nc", options=Options(spindle_by_hand=True))) == []
    stopped = text.replace("G1 X5", "M3 S1\nM5\nG1 X5")  # a program that does switch it must do it right
    assert len(told(read_program(stopped, "a.nc", options=Options(spindle_by_hand=True)))) == 1


def test_arc_tolerance__of_the_job_goes_before_the_decimals():
    arc = "G3 X0 Y10.{} I-10 J0"
    assert read("G0 X10\n" + arc.format("050"), arc_tolerance=0.06).largest_arc_mismatch == pytest.approx(
        0.05
    )
    assert messages(HEAD + "G0 X10\n" + arc.format("002"), arc_tolerance=0.001) == [
        "a.nc:8:15: found 'I-10', a centre 0.0020 mm nearer to one end of its arc than to the other, expected a "
        "difference of at most 0.0010 mm, as stated; correct I or J or the end point, or post again with "
        "more decimals; if so much does not matter, raise the tolerance (--arc-tolerance, or arc_tolerance in "
        "the job file)"
    ]


def test_noted__path_blending_and_pallets():
    assert told(read("G64 P.01\nG61\nM60")) == [
        "a.nc:7:1: G64 lets the control round corners off: they are checked as written",
        "a.nc:8:1: G61 asks for the exact path: everything is checked as written anyway",
        "a.nc:9:1: M60 is taken as a stop: the blank stays where it is",
    ]
