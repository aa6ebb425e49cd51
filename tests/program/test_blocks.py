"""Words for one block alone (G4, G28, G30, G92, G92.1) beside motion, and letters that nothing uses.

Source: NISTIR 6556 (2000), sections 3.4 and 3.8 (numbers from memory): a word of group 0 that takes axis
words suspends the kind of motion in force for its block; G4 and G92.1 take none and come before the motion.
"""

import pytest

from simkit.errors import InputProblems
from simkit.program.reader import Options, _read, read_program

HEAD = "G21 G90\nT1 M6\nS18000 M3\nG0 Z20\nG0 X0 Y0\nF600\n"  # the block under test is line 7


def both(text, **words):
    """What both ways of reading give, as ends of moves or messages; they must agree."""
    told = []
    for is_compiled in (False, True):
        try:
            got = _read((HEAD + text).encode(), "a.nc", 0, None, None, True, is_compiled, Options(**words))
            told.append(got.moves.end[1:].tolist())
        except InputProblems as problems:
            told.append([str(problem) for problem in problems.problems])
    assert told[0] == told[1]
    return told[0]


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("G1 Z-1\nG92 X5\nG92.1 G1 X50 Z-5\nX60\nM30", [[0, 0, -1], [50, 0, -5], [60, 0, -5]]),
        ("G1 Z-1\nG92.1 X5\nM30", [[0, 0, -1], [5, 0, -1]]),
        (
            "G81 X10 Z-5 R2\nG92.1 X20\nM30",
            [
                [10, 0, 20],
                [10, 0, 2],
                [10, 0, -5],
                [10, 0, 20],
                [20, 0, 20],
                [20, 0, 2],
                [20, 0, -5],
                [20, 0, 20],
            ],
        ),
        ("G81 X10 Z-5 R2\nG92 X0\nG4 P2\nM30", [[10, 0, 20], [10, 0, 2], [10, 0, -5], [10, 0, 20]]),
        ("G2 X10 I5\nG4 P1\nG4 P1 G1\nM30", [[10, 0, 20]]),
    ],
)
def test_block__moves_what_the_standard_says(text, ends):
    assert both(text) == ends


@pytest.mark.parametrize(
    ("before", "block", "column"),
    [
        (before, block, block.index(word) + 1)
        for before, block, word in [
            ("G81 X10 Z-5 R2", "G92 X0 R2", "R2"),
            ("G82 X10 Z-5 R2 P1", "G92 X0 P1", "P1"),
            ("G81 X10 Z-5 R2", "G4 P1 R9", "R9"),
            ("G81 X10 Z-5 R2", "G4 P1 L3", "L3"),
            ("G83 X10 Z-5 R2 Q1", "G28 Q1", "Q1"),
            ("G2 X10 I5", "G92 X0 I3", "I3"),
            ("G2 X10 I5", "G92.1 P3", "P3"),
            ("G2 X10 I5", "G28 P1", "P1"),
            ("G2 X10 I5", "G30 I3", "I3"),
            ("G2 X10 I5", "G28 R3", "R3"),
            ("G2 X10 I5", "G4 P1 I-5", "I-5"),
            ("G1 X1", "G4 P1 G2 I5", "I5"),
            ("G1 X1", "G92 X0 J5", "J5"),
            ("G1 X1", "G92.1 L2", "L2"),
            ("G81 X10 Z-5 R2", "X20 P1", "P1"),
            ("G83 X10 Z-5 R2 Q1", "X20 P1", "P1"),
        ]
    ],
)
def test_letter__that_nothing_in_its_block_uses_is_refused(before, block, column):
    (message,) = both(f"{before}\n{block}\nM30")
    assert message.startswith(f"a.nc:8:{column}: found '{block[column - 1 :].split()[0]}' ")


def test_arc_with_the_modal_word_alone_still_turns_behind_g92_1():
    assert both("G2 X10 I5\nG92.1 I3\nM30") == [[10, 0, 20], [10, 0, 20]]


def test_p__of_g64_and_a_dwelling_cycle_in_one_block_is_refused():
    assert both("G82 X10 Z-5 R2 P1\nG64 P3 X20\nM30") == [
        "a.nc:8:5: found 'P3' in one block with G64 and a cycle, expected a P that belongs to one "
        "word: to G64 or to the dwell of G82; write two blocks"
    ]


def told(text, **words):
    got = [
        _read(
            (HEAD + text).encode(),
            "a.nc",
            0,
            words.get("cutter"),
            None,
            True,
            is_compiled,
            words.get("options"),
        )
        for is_compiled in (False, True)
    ]
    assert got[0].warnings == got[1].warnings
    return [str(notice) for notice in got[0].warnings]


def test_spindle__that_stands_with_s0_is_told():
    assert told("G1 X1\nS0\nX2\nX3\nS9000\nX4\nM5\nX5\nM3\nX6\nM5\nX7\nM30") == [
        "a.nc:9:1: a cutting move with the spindle off: S0 is in force",
        "a.nc:14:1: a cutting move with the spindle off: no M3 since it was last stopped "
        "(and 1 more like it behind this line)",
    ]
    text = "G21 G90\nT1 M6\nS0 M3\nG0 Z20\nG0 X0 Y0\nF600\nG1 X1\nM30\n"
    (notice,) = read_program(text, "a.nc").warnings
    assert str(notice) == "a.nc:7:1: a cutting move with the spindle standing, for S0 is the only speed"


def test_warnings__each_place_that_says_something_new():
    assert told("G92 X1\nG92 X2\nG92 X1\nM30")[0].startswith(
        "a.nc:7:1: G92 moves the zero: coordinates behind it count from -1"
    )
    assert len(told("G92 X1\nG92 X2\nG92 X3\nM30")) == 3
    assert told("T2\nT3\nM30") == [
        f"a.nc:{line}:1: T{tool} is chosen but no M6 changes to it: cutter 1 stays in the spindle"
        for line, tool in ((7, 2), (8, 3))
    ]
    tiny = "".join(f"G3 Y0.00{k} I{10 + k}\nG1 Y0\n" for k in range(1, 10))
    tiny += "G3 Y0.010 I9\nG1 Y0\n" * 3
    arcs = told(tiny + "M30", options=Options(arc_tolerance=0.05))
    assert len(arcs) == 10
    assert arcs[-1].endswith("(and 2 more like it behind this line)")
    assert [line.split(":")[1] for line in arcs[:3]] == ["7", "9", "11"]


def test_warnings__harmless_words_with_what_stands_behind_them():
    options = Options(harmless_words=("M106",))
    assert told("M106 hello G1 X50\nM106 S1\nM106 S1\nM106 M106 bye\nM30", options=options) == [
        "a.nc:7:1: 'M106 hello G1 X50' does nothing, as stated",
        "a.nc:8:1: 'M106 S1' does nothing, as stated (and 1 more like it behind this line)",
        "a.nc:10:1: 'M106 M106 bye' does nothing, as stated",
    ]


def test_warnings__are_told_with_the_problems_sorted_by_line():
    with pytest.raises(InputProblems) as raised:
        read_program(HEAD + "G64\nG41\nG92 X1\nG1 X1\nM5\nX2\nM98 P1\nM30\n", "a.nc")
    lines = str(raised.value).splitlines()
    assert [line.split(" ")[0] for line in lines] == [
        "a.nc:7:1:",
        "a.nc:8:1:",
        "a.nc:9:1:",
        "a.nc:12:1:",
        "a.nc:13:1:",
    ]
    assert ["warning: " in line for line in lines] == [True, False, True, True, False]


def test_change_with_no_t__is_to_the_one_cutter_that_is_stated():
    text = "G21 G90\nM6\nS18000 M3\nG0 X0 Y0 Z5\nG1 X5 F600\nM30\n"
    got = read_program(text, "a.nc", cutter=4)
    assert set(got.moves.tool.tolist()) == {4}
    assert [str(notice) for notice in got.warnings] == [
        "a.nc:2:1: M6 with no T before it: cutter 4, stated for the program, is taken to cut"
    ]


@pytest.mark.parametrize(
    ("decimals", "why"),
    [(1, "the most that is put down to rounding (2 decimals)"), (2, "which is what rounding explains")],
)
def test_arc__the_bound_says_whose_it_is(decimals, why):
    (message,) = both(f"G2 X{10:.{decimals}f} I{5.2:.{decimals}f}\nM30")
    assert f"a difference of at most 0.0283 mm, {why};" in message


@pytest.mark.parametrize(
    ("word", "behind"),
    [
        ("G1", "M106 G1 X10 Y20.5."),
        ("T2", "M106 T2 M6 é"),
        ("G20", "M106 G20 #"),
        ("M30", "M106 M30 ,"),
        ("G1", "M106 G1 X1O"),
        ("G0", "M106 G0 Z50 *5"),
        ("G1", "M106 G1 X5 F10 (a(b))"),
    ],
)
def test_harmless__what_reads_as_a_word_behind_it_is_refused_whatever_follows(word, behind):
    (message,) = both(f"{behind}\nM30", harmless_words=("M106",))
    assert message.startswith(f"a.nc:7:6: found '{word}' behind a harmless word")


CHANGES = ["T2 M6\nM3", "G43 H1", "T2 M6\nM3\nG43 H2"]


@pytest.mark.parametrize("change", CHANGES)
def test_height__programmed_before_a_change_of_cutter_or_length_is_not_kept(change):
    """NISTIR 6556, M6 and G43: the axes stay where they are, so the new tip stands elsewhere."""
    lines = change.count("\n") + 1
    (message,) = both(f"G1 Z-1\n{change}\nG1 X5\nX6\nM30")
    assert message.startswith(f"a.nc:{8 + lines}:4: found 'X5' in a cutting move at a height that was ")
    drilled = ("G81 X5 Z-5 R2", "G99 G81 X5 Z-5 R2\nG1 X6")
    for good in ("G0 Z5\nG1 X5", "G1 X5 Z-1", "G0 X9\nG0 Z2\nG1 X5", *drilled):
        assert isinstance(both(f"G1 Z-1\n{change}\n{good}\nM30")[0], list)
    for bad in ("G91 G0 Z5\nG1 X5", "G2 X5 I2", "G81 X5 Z-5 R2\nG1 X6"):
        (message,) = both(f"G1 Z-1\n{change}\n{bad}\nM30")
        assert " at a height that was programmed before " in message


def test_height__is_kept_where_the_cutter_stays():
    assert both("G1 Z-1\nT1 M6\nM3\nG1 X5\nM30")[-1] == [5, 0, -1]
    assert both("G43 H1 Z5\nG1 Z-1\nG43 H1\nG1 X5\nM30")[-1] == [5, 0, -1]


def test_height__programmed_for_the_stated_cutter_is_not_kept_behind_a_change():
    head = "G21 G90 S18000 M3\nG0 X0 Y0 Z20\nF600\n"
    with pytest.raises(InputProblems) as raised:
        read_program(f"{head}G1 Z-1\nT2 M6\nM3\nG1 X5\nM30\n", "a.nc", cutter=1)
    (problem,) = raised.value.problems
    assert str(problem).startswith(
        "a.nc:7:4: found 'X5' in a cutting move at a height that was programmed before the change "
        "to cutter 2, expected Z first, "
    )
    for good in ("G1 Z-1\nT1 M6\nM3\nG1 X5", "G1 Z-1\nT2 M6\nM3\nG1 X5 Z-1", "T2 M6\nM3\nG1 X5"):
        got = read_program(f"{head}{good}\nM30\n", "a.nc", cutter=1)
        assert got.moves.end[-1, 0] == 5


def test_length__stated_behind_cuts_without_one_is_told():
    notices = told("G1 Z-2\nG43 H1 Z5\nG1 Z-2 X5\nM30")
    assert notices[0] == (
        "a.nc:8:1: G43 behind cuts without a length offset: those behind it and those before it count "
        "from one zero only if the length 1 is none"
    )


def test_length__of_another_is_told_for_each_cutter():
    cut = "M3\nG0 Z5\nG1 Z-2\nG0 Z5\n"
    notices = told(f"G43 H1 Z5\n{cut}T2 M6\n{cut}T3 M6\n{cut}M30")
    cutters = [line.split(" where ")[1][:8] for line in notices if "is in force" in line]
    assert cutters == ["cutter 2", "cutter 3"]


def test_machine_place__sideways_at_depth_is_no_retract():
    for block in ("G53 G0 X0 Y0", "G91 G28 X0 Y0"):
        notices = told(f"G1 Z-5\n{block}\nG90 G0 X0 Y0 Z5\nM30")
        assert "goes sideways, at the Z -5 mm" in notices[-1]
        assert "retract" not in notices[-1]
    assert "taken as a retract" in told("G1 Z-5\nG53 G0 Z0\nG0 Z5\nM30")[-1]


def test_block_delete__with_a_number_is_refused_when_skipped_too():
    for skips in (False, True):
        (message,) = both("/2 G1 X5\nM30", skip_deleted=skips)
        assert "'/2' (block delete with a number)" in message


def test_p__of_g64_and_a_dwell_in_one_block_is_refused():
    (message,) = both("G64 P.1 G4\nM30")
    assert message.startswith("a.nc:7:5: found 'P.1' in one block with G64 and G4")


def test_feed__in_the_block_that_sets_inches_is_told():
    (notice,) = read_program("G90 F100 G20\nT1 M6\nM3 S1\nG0 X0 Y0 Z1\nG1 X1\nM30\n", "a.nc").warnings
    assert str(notice) == "a.nc:1:5: 'F100' in the block that sets the units is read as inches per minute"


def test_spindle_by_hand__holds_with_an_m5_in_the_program():
    text = "G21 G90\nT1 M6\nG0 X0 Y0 Z5\nG1 Z-1 F100\nG0 Z5\nM5\nM30\n"
    assert read_program(text, "a.nc", options=Options(spindle_by_hand=True)).warnings == ()
    assert len(read_program(text, "a.nc").warnings) == 1


def test_g43__behind_a_height_named_by_g92_is_refused():
    """NISTIR 6556 (from memory): G92 with no length in force stores a shift that holds the length."""
    for before in ("", "G43 H1\nG49\n"):
        lines = before.count("\n")
        messages = both(f"{before}G92 Z5\nG0 X3\nG43 H1 Z3\nG1 Z-1\nM30")
        assert messages[0].startswith(
            f"a.nc:{9 + lines}:1: found 'G43' behind a G92 with Z and no length offset"
        )
    assert isinstance(both("G43 H1\nG92 Z5\nG0 X3 Z3\nM30")[0], list)
    assert isinstance(both("G92 X5\nG43 H1 Z3\nM30")[0], list)
    assert isinstance(both("G92 Z5\nG92.1\nG43 H1 Z3\nM30")[0], list)


def test_cycle__words_do_not_outlive_a_change_of_units():
    (message,) = both("G81 X1 Z-5 R1\nG20\nF10\nX1\nM30")
    assert message.startswith("a.nc:10:1: found 'X1' in G81 with no R and Z in force")
    assert isinstance(both("G81 X1 Z-5 R1\nG21\nX2\nM30")[0], list)


def test_arc__with_a_word_of_another_axis_alone_is_refused():
    (message,) = both("G3 K0\nM30")
    assert message.startswith("a.nc:7:4: found 'K0' in an arc with neither centre nor radius")


@pytest.mark.parametrize("top", ["%\n%", "%\n(boat)\n\n % ", "%\n%\n%"])
def test_percent__twice_before_any_block_is_an_empty_program(top):
    """NISTIR 6556, section 2 (from memory): what stands behind the second % line is not read."""
    line = 4 if "boat" in top else 2
    column = 2 if "boat" in top else 1
    told = []
    for is_compiled in (False, True):
        with pytest.raises(InputProblems) as raised:
            _read(f"{top}\n{HEAD}G1 X1 A5\n%\n".encode(), "a.nc", 0, None, None, True, is_compiled)
        told.append([str(problem) for problem in raised.value.problems])
    assert told[0] == told[1]
    assert told[0][0] == (
        f"a.nc:{line}:{column}: found a second '%' with no block between it and the one in line 1, "
        "expected the program between two % lines, for a control may run nothing behind the second; "
        "delete one of the two % lines"
    )
    assert [message.partition(" (")[0] for message in told[0][1:]] == [
        f"a.nc:{top.count(chr(10)) + 8}:7: found 'A5'"
    ]


@pytest.mark.parametrize("end", ["M30", "M2", "%"])
@pytest.mark.parametrize("block", ["/G1 X5", "N9 /G1 X5", " /X1 O"])
def test_text_behind_the_end__is_refused_in_a_block_that_is_skipped_too(end, block):
    for skips in (False, True):
        (message,) = both(f"G1 X1\n{end}\n{block}\n", skip_deleted=skips)
        column = len(block) - len(block.lstrip()) + 1
        assert message.startswith(f"a.nc:9:{column}: found '{block.strip()}' after the end of the program")
    assert both(f"G1 X1\n{end}\n/(a comment)\n/\n", skip_deleted=True) == [[1, 0, 20]]


def test_end__that_is_skipped_ends_nothing():
    assert both("/M30\nG1 X1\nM30\n", skip_deleted=True) == [[1, 0, 20]]
    assert "after the end" in both("/M30\nG1 X1\nM30\n")[0]


def unused(text):
    return [line for line in told(text) if " is chosen but no M6 changes to it: " in line]


def test_tool__chosen_and_never_changed_to_is_told():
    replaced = "a.nc:{}:1: T{} is chosen but no M6 changes to it: line {} chooses T{} before the next M6"
    assert unused("T2\nT3\nM6\nT4\nX1\nT3\nT5 M6\nM30") == [
        replaced.format(7, 2, 8, 3),
        replaced.format(10, 4, 12, 3),
    ]
    text = "G21 G90 T7\nT2 M6\nS1 M3\nG0 X0 Y0 Z5\nG1 Z-1 F100\nM30\n"
    assert [str(notice) for notice in read_program(text, "a.nc").warnings] == [
        "a.nc:1:9: T7 is chosen but no M6 changes to it: line 2 chooses T2 before the next M6"
    ]
    assert unused("T2\nT2\nX1\nM6\nT3\nX2\nM6\nT3\nT1\nM6\nM30") == []


def test_tool__refused_brings_no_second_message():
    text = "G21 G90 T0101 M6\nS1 M3\nG0 X0 Y0 Z5\nG1 Z-1 F100\nM30\n"
    for needs_cutter in (False, True):
        with pytest.raises(InputProblems) as raised:
            read_program(text, "a.nc", options=Options(needs_cutter=needs_cutter))
        assert len(str(raised.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("before", "block", "word", "letter"),
    [
        ("G1 X1", "G4 P1 G2 I5", "G4", "I"),
        ("G2 X10 I5", "G4 P1 J-5", "G4", "J"),
        ("G2 X10 I5", "G92 X0 K3", "G92", "K"),
        ("G3 X10 I5", "G28 R3", "G28", "R"),
    ],
)
def test_arc_words__beside_a_word_for_one_block_say_which(before, block, word, letter):
    (message,) = both(f"{before}\n{block}\nM30")
    assert (
        f" in one block with '{word}', which makes no arc of it, expected {letter} only with G2 or G3"
        in message
    )
    assert message.endswith(f"; write the arc in a block without {word}, or delete {letter}")


@pytest.mark.parametrize(
    ("word", "q", "unit"), [("G83", "Q.1", ""), ("G73", "Q0.25", ""), ("G83", "Q.009", "G20\nF9\n")]
)
def test_step__smaller_than_the_way_back_is_told(word, q, unit):
    depth = "Z-.1 R.05"
    (notice,) = told(f"{unit}{word} X1 {depth} {q}\nX2\nM30")
    line, column = 7 + unit.count("\n"), len(f"{word} X1 {depth} ") + 1
    assert notice == (
        f"a.nc:{line}:{column}: '{q}' is a smaller step than the 0.254 mm (0.010 in) that {word} backs "
        "off before the next one: read so, though controls may back off less"
    )
    assert told(f"{unit}{word} X1 {depth} Q.254\nM30") == []


@pytest.mark.parametrize(("plane", "along"), [("G18", "Y"), ("G19", "X")])
@pytest.mark.parametrize("cycle", ["G73 Q1", "G81", "G82 P1", "G83 Q1", "G85", "G86", "G89 P1"])
def test_cycle__in_an_upright_plane_says_which_way_it_would_drill(plane, along, cycle):
    """NISTIR 6556, section 3.5.16: a cycle runs along the axis square to the plane in force."""
    (message,) = both(f"{plane} {cycle} X5 Z-1 R1\nM30")
    assert (
        f"expected G17, for {plane} asks for a hole along {along}, and the cutter stands along Z; " in message
    )


@pytest.mark.parametrize("top", ["O1234\n", "%\no12 (boat)\n", "(boat)\n\n O 7 ; seven\n"])
def test_program_number__alone_in_the_first_block_does_nothing(top):
    """ISO 6983-1 (from memory): a program begins with its number; it names the file at the control."""
    body = HEAD + "G1 X5\nM30\n"
    plain = read_program(body, "a.nc")
    for is_compiled in (False, True):
        got = _read((top + body).encode(), "a.nc", 0, None, None, True, is_compiled)
        assert got.block_count == plain.block_count + 1
        assert got.moves.end.tobytes() == plain.moves.end.tobytes()
        assert (got.moves.line == plain.moves.line + top.count("\n")).all()
        assert got.warnings == ()


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ("O1\nO2\n", 2, "O2"),
        ("G21\nO2\n", 2, "O2"),
        ("O1 G21\n", 1, "O1"),
        ("N5 O1\n", 1, "O1"),
        ("O1.5\n", 1, "O1.5"),
        ("O100 sub\n", 1, "O100"),
    ],
)
def test_program_number__elsewhere_may_be_of_a_subprogram(text, line, word):
    with pytest.raises(InputProblems) as raised:
        read_program(f"{text}{HEAD}G1 X5\nM30\n", "a.nc")
    told = [str(problem) for problem in raised.value.problems]
    assert any(
        f"a.nc:{line}:" in message and f"found '{word}' (a subprogram's number" in message for message in told
    )
