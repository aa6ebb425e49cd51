"""The words the reader accepts and refuses, as tables for the documentation, made from what it reads by."""

from __future__ import annotations

from simkit.program import refusals
from simkit.program import vocabulary as voc

_STANDARD = "ISO 6983-1, NISTIR 6556"
_COMMON = "common usage"

FORMS = (
    ("upper or lower case, spaces or none, `G01` as `G1`, `+.5`, `5.`", False),
    ("several G words in a block, in any order, done in the standard's order of execution", False),
    ("`( )` comments, `%` lines around the program", False),
    ('`/` block delete: run, or skipped with `block_delete = "skip"`', False),
    ("arcs with one axis word left out, F on rapids", False),
    ("lines of more than 256 characters, lines that end in CR alone", True),
    ("`;` comments, `/` behind the line number, line numbers of any length, a byte-order mark", True),
    ("`O1234` alone in the first block: the number of the program, which does nothing", True),
    ("G80 in one block with G0 to G3, as many programs begin", True),
    ("arcs with both axis words left out, G0 to G3 alone in a block, H alone behind G43", True),
)
# What no table of words holds: (what it looks like, what it is called, what to do).
REFUSED_FORMS = (
    ("`#1=5`, `X[1+2]`, `IF`, `WHILE`, `GOTO`", "parameters, expressions, flow words", "post as plain moves"),
    ("`,R2`, `,C1`", "a corner word after a comma", "post with the corner as an arc or a line"),
    ("`// text`", "a comment controls do not know", "write it as ( ) or after a ;"),
    ("`X1O.5`", "a letter O typed for a zero", "replace it by a zero"),
    ("`X1.2.3`, `X1,5`, `X--1`, `X`", "no number", "correct it, or post again"),
    ("`X1 X2`, `G0 G1`", "a repeated word, two words of one kind (a modal group)", "write two blocks"),
    ("`G2 ... P3`", "an arc of several turns", "write each turn as a block"),
    (
        "`T0101` (four digits, a zero first, an offset last), `T1.5`, `T-1`",
        "no plain number of a cutter; T0101 is a lathe's tool 01 with offset 01",
        "write the cutter's number, such as T1; T1, T01, T0012 and T101 are read",
    ),
    (
        "`G18 G81`, every cycle in G18 or G19",
        "a hole from the side, and the cutter stands along Z",
        "write G17 before it",
    ),
    (
        "`MSG turn the blank`, at the start of a line",
        "text that some controls take as a message",
        f"put it into a comment; if it moves nothing, {refusals.harmless_line('MSG')}",
    ),
    (
        "`:1000`",
        "a program's number, or a mark to start again from, as the control has it",
        "delete it, or put it into a comment",
    ),
    (
        "`G90.1 G2 I5 J0` (I J or K) behind G49, or behind G92.1 where G92 named the zero",
        "a centre measured from a zero that is not known here",
        "post again with incremental arc centres (G91.1)",
    ),
    ("`*71`, `$H`, text behind words", "checksums, commands to a control box, free text", "delete it"),
)


def markdown_table() -> str:
    """Return the tables of accepted and refused words, in Markdown."""
    rows = ["| accepted | what it does | from |", "| --- | --- | --- |"]
    for words, meaning, is_common in _accepted():
        rows.append(f"| {words} | {meaning} | {_COMMON if is_common else _STANDARD} |")
    rows += [f"| {form} | read | {_COMMON if is_common else _STANDARD} |" for form, is_common in FORMS]
    rows += ["", "| refused | why | what to do |", "| --- | --- | --- |"]
    for words, refusal in _refused():
        rows.append(f"| {words} | {refusal.what} | {refusal.remedy} |")
    rows += [f"| {form} | {what} | {remedy} |" for form, what, remedy in REFUSED_FORMS]
    other = refusals.unknown("M106", lambda word: f"if it moves nothing, {refusals.harmless_line(word)}")
    rows.append(f"| any other G word | {refusals.UNKNOWN_G.what} | {refusals.UNKNOWN_G.remedy} |")
    rows.append(f"| any other M word, such as `M106` | {other.what} | {other.remedy} |")
    return "\n".join(rows) + "\n"


def _accepted() -> list[tuple[str, str, bool]]:
    """Return (words, meaning, is common usage); neighbours that do the same share a row."""
    rows: list[tuple[list[str], str, bool]] = []
    for word in (*voc.G_WORDS, *voc.M_WORDS):
        if rows and rows[-1][1:] == (word.meaning, word.is_common_usage):
            rows[-1][0].append(word.word)
        else:
            rows.append(([word.word], word.meaning, word.is_common_usage))
    rows += [([letters], meaning, bool(common)) for letters, meaning, *common in voc.LETTER_WORDS]
    return [
        (" ".join(f"`{word}`" for word in words), meaning, is_common) for words, meaning, is_common in rows
    ]


def _refused() -> list[tuple[str, refusals.Refusal]]:
    """Return (words, refusal), in the order of the tables."""
    by_refusal: dict[refusals.Refusal, list[str]] = {}
    for letter, table in (("G", refusals.REFUSED_G), ("M", refusals.REFUSED_M)):
        for key, refusal in table.items():
            by_refusal.setdefault(refusal, []).append(voc.written(key, letter))
    for letter, refusal in refusals.REFUSED_LETTERS.items():
        by_refusal.setdefault(refusal, []).append(letter)
    return [(" ".join(f"`{word}`" for word in words), refusal) for refusal, words in by_refusal.items()]
