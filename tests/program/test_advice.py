"""Advice that would mislead: what each message says of a program, and what it tells to do."""

import pytest

# ruff: noqa: E501 (a message stands on one line, as it is told)
from simkit.cli import main
from simkit.errors import InputProblems
from simkit.job.direct import cutter_from_text
from simkit.program.reader import read_program

HEAD = "G21 G90\nT1 M6\nS18000 M3\nG0 Z20\nG0 X0 Y0\nF600\n"  # what is under test begins in line 7
GOOD = HEAD + "G1 Z-1\nM30\n"


def problems(text):
    with pytest.raises(InputProblems) as caught:
        read_program(text, "a.nc", cutter=1)
    return [str(problem) for problem in caught.value.problems]


def run(tmp_path, capsys, text, *options):
    path = tmp_path / "a.nc"
    path.write_text(text, encoding="utf-8")
    status = main(["read", str(path), *options])
    told = capsys.readouterr()
    return status, told.out, told.err


def test_option__wrong_value_names_the_right_ones(tmp_path, capsys):
    assert run(tmp_path, capsys, GOOD, "--units", "furlong")[2] == (
        "command line: found 'furlong' behind --units, expected one of mm, in; write --units mm or --units in\n"
    )


def test_option__of_another_command_is_not_suggested_again(tmp_path, capsys):
    assert run(tmp_path, capsys, GOOD, "--target", "a.stl")[2] == (
        "command line: found '--target', expected an option of this command; --target is one of check; "
        "leave it out, or run simkit check (see simkit check --help)\n"
    )


def test_option__near_miss_is_suggested(tmp_path, capsys):
    assert "did you mean --units?" in run(tmp_path, capsys, GOOD, "--unitz", "mm")[2]


def test_read__second_file_is_called_a_file(tmp_path, capsys):
    assert run(tmp_path, capsys, GOOD, "b.nc")[2] == (
        "command line: found 'b.nc', one file too many here, expected one program behind simkit read, and those "
        "of simkit check side by side; run simkit read once for each program; for simkit check write the options "
        "behind them all\n"
    )


def test_read__units_of_the_option_are_told(tmp_path, capsys):
    status, out, _ = run(tmp_path, capsys, GOOD.replace("G21 ", ""), "--units", "in")
    assert status == 0
    assert "units         inches, as --units in says; the program states none\n" in out
    out = run(tmp_path, capsys, GOOD, "--units", "in")[1]
    assert "units         millimetres\n" in out


def test_read__each_zero_is_told_where_it_stands(tmp_path, capsys):
    out = run(tmp_path, capsys, HEAD + "G55 G0 X1\nG56 X2\nM30\n")[1]
    said = "where it lies is not known; read here as if it were the zero"
    assert f"a.nc:7:1: G55: {said} (--work-offset G55=X,Y,Z places it)" in out
    assert f"a.nc:8:1: G56: {said} (--work-offset G56=X,Y,Z places it)" in out


def test_read__after_refusals_says_what_is_true_of_it(tmp_path, capsys):
    err = run(tmp_path, capsys, HEAD + "G41\nG42\nM30\n")[2]
    assert err.endswith("2 problems; mend them and read the program again\n")


def test_read__arcs_that_fit_are_not_told(tmp_path, capsys):
    assert "radii differ" not in run(tmp_path, capsys, HEAD + "G2 X10 I5 J0\nM30\n")[1]


@pytest.mark.parametrize("call", ["M98 P1000", "N70 M98 P1000", "X1 M 98 P1000"])
def test_subprogram__behind_the_end_is_not_to_be_deleted(call):
    told = problems(f"{HEAD}{call}\nM30\nO1000\nG1 X1\nM99\n")
    assert told[-1] == (
        "a.nc:9:1: found 'O1000' after the end of the program, which looks like the subprogram that line 7 calls, "
        "expected one file that holds every move, in the order it is run; do not delete it: post again as one "
        "program without subprograms"
    )


@pytest.mark.parametrize("line", ["(M98 P1000)", "; M98", "M9"])
def test_subprogram__without_a_call_the_end_is_the_end(line):
    assert problems(f"{HEAD}{line}\nM30\nG1 X1\n")[-1].endswith(
        "delete what follows the end, or move the end behind it"
    )


def test_arc__incremental_centre_is_not_told_to_be_incremental():
    told = problems(f"{HEAD}G91.1\nG2 X10 Y0 I3 J0\nM30\n")
    assert told[0].endswith("; correct I or J or the end point, or post again with more decimals")
    told = problems(f"{HEAD}G91.1\nG2 X10 Y0 I5.05 J0\nM30\n")
    assert told[0].endswith(
        "; correct I or J or the end point, or post again with more decimals; if so much does not matter, "
        "raise the tolerance (--arc-tolerance, or arc_tolerance in the job file)"
    )


def test_cutter__missing_measure_is_written_as_on_the_command_line():
    with pytest.raises(InputProblems) as caught:
        cutter_from_text("1=bull-nose:3")
    assert str(caught.value).endswith('; write it behind the diameter: --cutter "1=bull-nose:3,corner=..."')


@pytest.mark.parametrize("word", ["G10 L2 P1 X0", "G52 X1"])
def test_shift__advice_fits_with_and_without_a_job_file(word):
    assert problems(f"{HEAD}{word}\nM30\n")[0].endswith(
        "state where the zero is: zero and work_offsets in the job file, or --zero and --work-offset"
    )


def test_tool__of_a_lathe_is_refused():
    assert problems(GOOD.replace("T1 ", "T0101 ")) == [
        "a.nc:2:1: found 'T0101', expected the number of a cutter, for a lathe reads it as tool 01 with offset "
        "01; write T1 if that is the cutter, or T101 without the zero before it"
    ]


@pytest.mark.parametrize(("word", "tool"), [("T01", 1), ("T0012", 12), ("T101", 101), ("T1010", 1010)])
def test_tool__other_zeros_before_the_number_are_none(word, tool):
    assert read_program(GOOD.replace("T1 ", f"{word} "), "a.nc").tools_called[0][0] == tool


def test_g50__may_be_of_a_lathe():
    assert "this is then a lathe program" in problems(f"{HEAD}G50 S2000\nM30\n")[0]


def test_question_mark__is_no_word():
    assert problems(f"{HEAD}?\n? status\nM30\n") == [
        f"a.nc:{line}:1: found '{text}' (a question to a control box), expected words of a letter and a number, "
        "for '?' is no letter of G-code; delete it, and what belongs to it"
        for line, text in ((7, "?"), (8, "? status"))
    ]


def test_fraction__is_told_once():
    assert problems(f"{HEAD}G1 X½ Y1\nM30\n") == [
        "a.nc:7:4: found 'X½' (a digit or a fraction that controls do not know), expected a number after X, in "
        "the digits 0 to 9; write it as a decimal number, such as 0.5"
    ]


def test_comment__the_inner_bracket_is_pointed_at():
    assert problems(f"{HEAD}(a (b) c)\nM30\n")[0].startswith("a.nc:7:4: ")


@pytest.mark.parametrize("block", ["X5, C1", "X5 , R2", "X5,\tR2"])
def test_corner_word__behind_a_comma_and_spaces_is_one(block):
    (told,) = problems(f"{HEAD}{block}\nM30\n")
    assert " (a corner word after a comma), expected corners drawn as moves" in told


def test_message__of_more_letters_than_a_quote_is_not_offered_as_harmless():
    assert problems(f"{HEAD}{'X' * 200}\nM30\n") == [
        f"a.nc:7:1: found '{'X' * 40}...', expected a number after each letter; put text into a comment ( ), or delete it"
    ]


def test_repeats_of_a_cycle__by_k_are_written_as_l():
    assert problems(f"{HEAD}G91 G81 X10 Z-5 R-18 K3\nM30\n") == [
        "a.nc:7:22: found 'K3' in G81, expected L for the repeats of a cycle; write L3 if repeats are meant, else delete it"
    ]
    assert "only with G2 or G3" in problems(f"{HEAD}G81 X10 Z-5 R2 J3\nM30\n")[0]


@pytest.mark.parametrize("word", ["G70", "G71"])
def test_units_by_iso_words__are_not_called_a_lathe_program(word):
    """Where the program states its units by them alone, that is the one thing to say."""
    told = problems(GOOD.replace("G21 ", f"{word} "))
    assert told[0] == (
        f"a.nc:1:1: found '{word}' (units on some controls, a turning cycle on others), expected G20 (inch) or G21 (mm), "
        "for controls differ on what G70 and G71 do; write G20 in place of G70, G21 in place of G71 if it sets the units; "
        "else give the router's program"
    )
    assert len(told) == 1
