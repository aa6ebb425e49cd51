"""Programs as hobby shops really have them: read as meant, and what is odd about them is told.

What such programs look like: common practice, no source.
"""

# ruff: noqa: E501 (a message stands as it is told)

import pytest

from simkit.program.reader import Options, read_program

# A slot from X0 to X40, then an arc to X50 Y10, cut from Z5 down to Z-2.
SLOT = [[0, 0, 5], [0, 0, -2], [40, 0, -2], [50, 10, -2], [50, 10, 5]]
USUAL = "G21 G90\nT1 M6\nS18000 M3\n"
BODY = "G0 Z5\nG0 X0 Y0\nG1 Z-2 F300\nG1 X40 F900\nG3 X50 Y10 I0 J10\nG0 Z5\n"

# name: (program, options of read_program, warnings)
PROGRAMS = {
    "as_it_should_be": (USUAL + BODY + "M30\n", {}, []),
    "no_tool_number": ("G21 G90\nS18000 M3\n" + BODY + "M30\n", {"cutter": 1}, []),
    "tool_number_with_no_change": (
        "G21 G90\nT1\nS18000 M3\n" + BODY + "M30\n",
        {},
        ["2:1: T1 with no M6 in the program: cutter 1 is taken to be in the spindle from here on"],
    ),
    "spindle_by_hand_not_said": (
        "G21 G90\nT1 M6\n" + BODY + "M30\n",
        {},
        [
            "5:1: no M3 in the program: the spindle has to be switched on by hand (spindle_by_hand = true in the job says that it is)"
        ],
    ),
    "spindle_by_hand_said": (
        "G21 G90\nT1 M6\n" + BODY + "M30\n",
        {"options": Options(spindle_by_hand=True)},
        [],
    ),
    "no_end": (
        USUAL + BODY,
        {},
        ["9:1: the program ends with no M2, M30 or closing %: the file may be cut off"],
    ),
    "units_not_said": (("G90\nT1 M6\nS1 M3\n" + BODY + "M30\n"), {"units": "mm"}, []),
    "k_of_zero": (USUAL + BODY.replace("J10", "J10 K0") + "M30\n", {}, []),
    "centre_word_left_out": (USUAL + BODY.replace("I0 J10", "J10") + "M30\n", {}, []),
    "axis_word_left_out": (USUAL + BODY.replace("G3 X50 Y10 I0 J10", "G3 X50 Y10 R10") + "M30\n", {}, []),
    "feed_on_rapids": (USUAL + BODY.replace("G0 Z5", "G0 Z5 F5000") + "M30\n", {}, []),
    "modal_words_again": (USUAL + BODY.replace("G1 X40", "G90 G21 G17 G1 X40") + "M30\n", {}, []),
    "modal_words_left_out": (
        USUAL + BODY.replace("G0 X0 Y0", "X0Y0").replace("G1 X40 F900", "X40F900") + "M30\n",
        {},
        [],
    ),
    "commented_code": (
        USUAL + "(G1 X99 Z-50)\n; G0 X99\n" + BODY.replace("F300", "F300 (was F600)") + "M30\n",
        {},
        [],
    ),
    "styles_of_decimals": (
        USUAL
        + BODY.replace("X40 F900", "X40. F900.0").replace("Z-2", "Z-2.0000").replace("J10", "J+10.")
        + "M30\n",
        {},
        [],
    ),
    "start_block": (
        "%\n(SLOT)\nG0 G17 G21 G40 G49 G80 G90 G94 G54\nN10T1M6\nN20S18000M3\n" + BODY + "M5\nM9\nM30\n%\n",
        {},
        [],
    ),
    "old_line_ends_and_lower_case": ((USUAL + BODY + "M30\n").lower().replace("\n", "\r\n").encode(), {}, []),
    "length_offset": (
        USUAL + BODY.replace("G0 Z5", "G0 G43 Z5 H1", 1) + "G49\nG53 G0 Z0\nM30\n",
        {},
        [
            "4:4: G43: the tip of the cutter is taken to be at the Z that is programmed",
            "11:1: G53 goes to a machine place not known here: taken as a retract that leaves the work; Z is unknown until programmed again",
        ],
    ),
    "home_at_both_ends": (
        "G91 G28 Z0\nG90\n" + USUAL + BODY + "G91 G28 Z0\nG28 X0 Y0\nM30\n",
        {},
        [
            "1:5: G28 goes to a machine place not known here: taken as a retract that leaves the work; X, Y and Z are unknown until they are programmed again (and 2 more like it behind this line)"
        ],
    ),
    "operators_zero": (
        "G21 G90\nG92 X0 Y0 Z5\nT1 M6\nS18000 M3\n" + BODY + "M30\n",
        {},
        ["2:1: G92 before X, Y and Z moved: the cutter is taken to stand at X0 Y0 Z5 of this setup"],
    ),
    "fan_and_message": (
        USUAL + "M106 S255\nM117 Slot now\n" + BODY + "M30\n",
        {"options": Options(harmless_words=("M106", "M117"))},
        [
            "4:1: 'M106 S255' does nothing, as stated",
            "5:1: 'M117 Slot now' does nothing, as stated",
        ],
    ),
    "arc_in_absolute_centre": (USUAL + "G90.1\n" + BODY.replace("I0 J10", "I40 J10") + "M30\n", {}, []),
}


@pytest.mark.parametrize("name", PROGRAMS)
def test_shop_program__is_read_as_meant(name):
    text, options, expected = PROGRAMS[name]
    got = read_program(text, "a.nc", **options)
    end = got.moves.end.tolist()
    if name == "operators_zero":  # it stands there already
        assert end[:3] == [[0, 0, 5]] * 3
        end = end[2:]
    assert end == SLOT
    assert got.moves.sweep[3 - len(SLOT) :][0] == pytest.approx(1.5707963267948966)
    assert set(got.moves.tool.tolist()) == {1}
    assert [str(warning) for warning in got.warnings] == [f"a.nc:{text}" for text in expected]


def test_shop_program__zero_at_the_bottom_of_the_blank():
    text = USUAL + BODY.replace("Z5", "Z43").replace("Z-2", "Z36") + "M30\n"
    assert read_program(text, "a.nc").moves.end[:, 2].tolist() == [43, 36, 36, 36, 43]


def test_shop_program__four_parts_at_four_zeros():
    offsets = {"G55": (100.0, 0.0, 0.0), "G56": (0.0, 60.0, 0.0), "G57": (100.0, 60.0, 0.0)}
    body = "".join(f"{zero}\n{BODY}" for zero in ("G54", *offsets))
    got = read_program(USUAL + body + "M30\n", "a.nc", options=Options(offsets))
    first, *others = [
        [[x + a, y + b, z] for x, y, z in SLOT] for a, b in ((0, 0), (100, 0), (0, 60), (100, 60))
    ]
    expected = first
    for part in others:
        expected = [*expected, expected[-1], *part]  # G0 Z5 where the part before ended
    assert got.moves.end.tolist() == expected
    assert got.warnings == ()
