"""The tables of words in README are those the reader reads by, and it does with each word what they say."""

from pathlib import Path

import pytest

from simkit.errors import InputProblems
from simkit.program import refusals
from simkit.program import vocabulary as voc
from simkit.program.reader import Options, read_program
from simkit.program.word_table import REFUSED_FORMS, markdown_table

README = Path(__file__).parents[2] / "README.md"
HEAD = "G21 G90\nT1 M6\nS18000 M3\nG0 Z20\nG0 X0 Y0\nF600\n"  # the block under test is line 7
OPTIONS = Options(
    dict.fromkeys(("G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"), (1.0, 2.0, 3.0))
)

NEEDS = {
    "G2": "X9 R9",
    "G3": "X9 R9",
    "G4": "P1",
    "G43": "H1",
    "G53": "G0 Z0",
    "G73": "X1 Z1 R2 Q1",
    "G83": "X1 Z1 R2 Q1",
}
NEEDS |= dict.fromkeys(("G82", "G86", "G89"), "X1 Z1 R2 P1") | {
    "G81": "X1 Z1 R2",
    "G85": "X1 Z1 R2",
    "G92": "X1",
    "G93": "F1",
    "M6": "T2",
}


def test_readme__holds_the_tables():
    begin, end = "<!-- program words -->\n", "<!-- /program words -->"
    text = README.read_text("utf-8")
    assert (text.count(begin), text.count(end)) == (1, 1)
    assert text.split(begin)[1].split(end)[0] == markdown_table()


@pytest.mark.parametrize("word", [word.word for word in (*voc.G_WORDS, *voc.M_WORDS)])
def test_accepted_word__is_read(word):
    block = f"{word} {NEEDS.get(word, '')}"
    got = read_program(f"{HEAD}{block}\n", "a.nc", options=OPTIONS)
    assert got.block_count == 7
    assert read_program(f"{HEAD}{block.lower().replace(' ', '')}\n", "a.nc", options=OPTIONS).block_count == 7


REFUSED = [
    *((voc.written(key, "G"), refusal) for key, refusal in refusals.REFUSED_G.items()),
    *((voc.written(key, "M"), refusal) for key, refusal in refusals.REFUSED_M.items()),
    *((f"{letter}1", refusal) for letter, refusal in refusals.REFUSED_LETTERS.items()),
]


@pytest.mark.parametrize(("word", "refusal"), REFUSED, ids=[word for word, _ in REFUSED])
def test_refused_word__is_told_as_the_table_says(word, refusal):
    with pytest.raises(InputProblems) as raised:
        read_program(f"{HEAD}{word}\nM30\n", "a.nc")
    (problem,) = raised.value.problems
    assert (
        str(problem)
        == f"a.nc:7:1: found '{word}' ({refusal.what}), expected {refusal.expected}; {refusal.remedy}"
    )


FORMS = [form.lstrip("`").partition("`")[0] for row, _, _ in REFUSED_FORMS for form in row.split(", `")]


@pytest.mark.parametrize("form", FORMS)
def test_refused_form__is_refused(form):
    whole = {"G2 ... P3": "G2 I5 P3", "IF": "IF [#1 EQ 1]", "WHILE": "WHILE [1]", "GOTO": "GOTO 5"}
    whole |= {"G18 G81": "G18 G81 X1 Z-1 R1"}
    whole |= {"G90.1 G2 I5 J0": "G43 H1\nG49\nG90.1 G18 G2 X5 I2.5 K0"}
    with pytest.raises(InputProblems) as raised:
        read_program(f"{HEAD}{whole.get(form, form)}\nM30\n", "a.nc")
    assert len(raised.value.problems) == 1


@pytest.mark.parametrize(("word", "tool"), [("T1", 1), ("T01", 1), ("T0012", 12), ("T101", 101)])
def test_tool__forms_that_the_table_says_are_read(word, tool):
    assert read_program(f"{HEAD}{word} M6\nM30\n", "a.nc").tools_called[-1][0] == tool


def test_tables__no_word_is_in_two():
    assert not voc.G_GROUPS.keys() & refusals.REFUSED_G.keys()
    assert not voc.M_GROUPS.keys() & refusals.REFUSED_M.keys()
    letters = set("".join(letters for letters, *_ in voc.LETTER_WORDS)) - {" "}
    assert letters | refusals.REFUSED_LETTERS.keys() | {"G", "M"} == set("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    assert not letters & refusals.REFUSED_LETTERS.keys()


@pytest.mark.parametrize("word", ["M106", "M117", "m3000", "M106.5", "MSG", "msg"])
def test_may_be_harmless__words_nobody_here_knows(word):
    assert voc.may_be_harmless(word)


@pytest.mark.parametrize(
    "word",
    [
        "",
        "M",
        "M3",
        "M03",
        "M98",
        "G123",
        "X1",
        "M106 S1",
        "M-1",
        "Mé",
        "M1e3",
        "GOTO",
        "while",
        "GO",
        "MS G",
    ],
)
def test_may_be_harmless__not_what_counts_or_is_no_word(word):
    assert not voc.may_be_harmless(word)
