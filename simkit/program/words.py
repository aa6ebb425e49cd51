"""Program text -> lines -> words, each with the place where it stands.

Two scanners read a line.  `quick_words` is fast and says nothing about places; it gives up on
whatever it cannot read whole.  `scan` reads any line, knows every column and words every complaint.
Where `quick_words` gives an answer, `scan` gives the same words (the tests hold them together).
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable
from typing import NamedTuple

from simkit.errors import InputProblems, Place, Problem

_NUMBER = r"[+-]?(?:[0-9]++(?:\.[0-9]*+)?|\.[0-9]++)"
_WORDS = re.compile(rf"[A-Z]{_NUMBER}")
_IS_NUMBER = re.compile(_NUMBER).fullmatch
_NUMBER_CHARS = frozenset("+-.0123456789 \t")
_LETTERS = re.compile(r"[A-Za-z]+")
_has_space_in_number = re.compile(r"[0-9.][ \t]+[0-9.]").search
_begins_with_slash = re.compile(r"[ \t]*(?:[Nn][ \t]*[0-9][0-9 \t]*)?/(?!/)").match
_first_text = re.compile(r"[ \t]*(?:[Nn][ \t]*[0-9][0-9 \t]*)?([A-Za-z]{2,})(?![A-Za-z0-9.+#\[-])").match
_spaced_corner = re.compile(r"[ \t]+[RCrc][ \t]*[-+.0-9]").match  # other letters: a comma between two words
_MINUS_LOOKALIKES = "‐‑‒–—−"
_LONGEST_QUOTE = 40

_FLOW_WORD = re.compile(
    r"IF|THEN|ELSE(IF)?|END(IF)?|(END)?WHILE|DO|GOTO|CALL|(END)?SUB|(END)?REPEAT|RETURN|BREAK|CONTINUE"
).fullmatch


class Word(NamedTuple):
    """A letter and its number as text; it fills line[start:end] (characters, from 0)."""

    letter: str
    text: str
    start: int
    end: int


class Complaint(NamedTuple):
    """What `scan` could not read: where (character, from 0), and the three parts of a Problem."""

    start: int
    found: str
    expected: str
    remedy: str


def quoted(text: str) -> str:
    """Return text in quotes, fit for one line of a message: long text cut, odd characters spelt out."""
    if len(text) > _LONGEST_QUOTE:
        text = text[:_LONGEST_QUOTE] + "..."
    plain = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
    return f"'{plain}'"


def split_lines(source: bytes | str, name: str) -> list[str]:
    """Return the lines of a program file, line ends removed (LF, CRLF or CR).

    source: the bytes of the file (UTF-8 with or without byte-order mark; else every byte is taken as
    one Latin-1 character, which only comments may hold), or text.  name: for messages.
    The last item is the text behind the last line end: "" in a file that ends as it should.
    Raises InputProblems when there is nothing to read or the file is no text.
    """
    if isinstance(source, bytes):
        if source.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise _unreadable(name, 1, 1, "a file in UTF-16", "save it again as plain text (ASCII or UTF-8)")
        try:
            text = source.decode("utf-8")
        except UnicodeDecodeError:
            text = source.decode("latin-1")
    else:
        text = source
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if foreign := _foreign(text):
        remedy = "give the program that goes to the machine, not the drawing or the part"
        raise _unreadable(name, 1, 1, f"{foreign}, for it begins {quoted(text.split()[0])}", remedy)
    if not text.strip():
        remedy = "post the program again and look whether the disk is full"
        raise _unreadable(name, None, None, "an empty file", remedy)
    null = text.find("\0")
    if null >= 0:
        line = text.count("\n", 0, null) + 1
        column = null - text.rfind("\n", 0, null)
        remedy = "give the program that goes to the machine, not the drawing or an archive"
        raise _unreadable(name, line, column, "a binary file (a zero byte)", remedy)
    return text.split("\n")


_FIRST = 4096  # characters
# What the first characters of files that lie beside programs say they are; common practice, no source.
_FOREIGN = (
    (re.compile(r"\s*(solid|ply|OFF)\s", re.ASCII), "a mesh"),
    (re.compile(r"\s*(<|%PDF|%!PS|0\s+SECTION\s)", re.ASCII), "a drawing or a document"),
    (re.compile(r"\s*\{", re.ASCII), "a file of settings or a document"),
)


def _foreign(text: str) -> str | None:
    """Return what a file seems to be when its first characters are not those of a program."""
    return next((what for begins, what in _FOREIGN if begins.match(text[:_FIRST])), None)


def may_be_foreign(data: bytes) -> bool:
    """Tell whether split_lines may find a file foreign: a CRLF is one character to it, so look farther."""
    first = data[: 2 * _FIRST + 3].removeprefix(codecs.BOM_UTF8).replace(b"\r\n", b"\n")
    return _foreign(first.decode("latin-1")) is not None


def _unreadable(name, line, column, found, remedy) -> InputProblems:
    return InputProblems(Problem(Place(name, line, column), found, "a program as plain text", remedy))


def quick_words(line: str) -> list[str] | None:
    """Return the words of a line without comments ("X-1.5", ...), or None when `scan` has to read it."""
    if not line.isascii():
        return None
    compact = line.replace(" ", "").replace("\t", "").upper()
    words = _WORDS.findall(compact)
    # An O may be a mistyped zero: only `scan` can tell.
    return words if "".join(words) == compact and "O" not in compact else None


def space_in_number(line: str) -> int | None:
    """Return the index of the first word whose digits stand apart ("X1 0"), None when there is none.

    line: one that `quick_words` or `scan` reads without complaint.
    """
    if _has_space_in_number(line) is None:
        return None
    spaced = (i for i, word in enumerate(scan(line)[0]) if _has_space_in_number(line, word.start, word.end))
    return next(spaced, None)


def scan(
    line: str, is_cut_off: bool = False, harmless_remedy: Callable[[str], str] | None = None
) -> tuple[list[Word], list[Complaint]]:
    """Return every word that can be read, and a complaint for everything that cannot.

    line: one line of the program.  is_cut_off: it is the last one and has no line end.  harmless_remedy: of
    text at the start of the line, what makes it count as harmless.
    Spaces and tabs have no meaning outside comments, not even inside a number (NISTIR 6556, 3.3).
    """
    words: list[Word] = []
    complaints: list[Complaint] = []
    at, length = 0, len(line)
    slash = deletes_block(line)
    while at < length:
        char = line[at]
        if char in " \t":
            at += 1
        elif char == ";":
            break
        elif char == "/" and slash:
            slash = False
            at = _behind_slash(line, at, complaints)
        elif char == "(":
            at = _skip_comment(line, at, is_cut_off, complaints)
        elif char.isascii() and char.isalpha():
            at = _read_word(line, at, is_cut_off, words, complaints, harmless_remedy)
        else:
            at = _odd_text(line, at, words, complaints)
    return words, complaints


def has_switch_number(line: str) -> bool:
    """Tell whether the / of a block that it deletes has a number: one of several switches."""
    return line.partition("/")[2][:1].isdigit()


def deletes_block(line: str) -> bool:
    """Tell whether a line begins with the / of block delete (behind a line number, too: common usage)."""
    return _begins_with_slash(line) is not None


def harmless_part(
    line: str, words: list[Word], complaints: list[Complaint], harmless: tuple[str, ...]
) -> tuple[list[Word], Word, Complaint | None] | None:
    """Return what a harmless word takes with it: (words before it, the word, what must not be behind it).

    words, complaints: of `scan`.  harmless: "M106" for a word, "MSG" for text at the start of its line.
    All that follows on the line belongs to the word, but up to the first text that cannot be read it must
    not hold any word that could move or set something.  None when no harmless word is in the line.
    """
    names = {name.upper() for name in harmless}
    taken = next((word for word in words if is_named(word.letter + word.text, harmless)), None)
    match = _first_text(line)
    if match and match[1].upper() in names:
        taken = Word("", match[1], match.start(1), match.end(1))
    if taken is None:
        return None
    wrong = None
    text = min((one.start for one in complaints if one.start >= taken.start), default=len(line))
    for word in words:
        if not taken.start < word.start < text or word.letter in "SPQ":
            continue
        if is_named(word.letter + word.text, harmless):
            continue
        wrong = Complaint(
            word.start,
            f"{quoted(line[word.start : word.end])} behind a harmless word",
            "nothing that moves or sets anything behind it, for the rest of its line belongs to it",
            "write it on a line of its own",
        )
        break
    return [word for word in words if word.start < taken.start], taken, wrong


def may_be_message(word: str) -> bool:
    """Tell whether letters alone can be a message: no flow word (GOTO), no letter O for a zero (GO)."""
    text = word.upper()
    return re.fullmatch(r"[A-Z]{2,}", text) is not None and not _FLOW_WORD(text) and text[1:] != "O"


def is_named(word: str, harmless: tuple[str, ...]) -> bool:
    """Tell whether a word such as "M0106" is one of `harmless`: the same letter, the same number."""
    return any(
        name[:1].upper() == word[0]
        and _IS_NUMBER(name[1:]) is not None
        and float(name[1:]) == float(word[1:])
        for name in harmless
    )


def _behind_slash(line: str, at: int, complaints: list[Complaint]) -> int:
    """Return where the block behind the / of block delete begins."""
    stop = at + 1
    while stop < len(line) and line[stop] in "0123456789":
        stop += 1
    if stop > at + 1:
        found = f"{quoted(line[at:stop])} (block delete with a number)"
        expected = "/ alone, for which of several switches is set is known at the machine alone"
        remedy = "take the number away, or delete the line"
        complaints.append(Complaint(at, found, expected, remedy))
    return stop


def _is_at_start(words: list[Word]) -> bool:
    return not words or (len(words) == 1 and words[0].letter == "N")


def _skip_comment(line: str, at: int, is_cut_off: bool, complaints: list[Complaint]) -> int:
    close = line.find(")", at + 1)
    if close < 0:
        remedy = "the file is cut off here: post it again" if is_cut_off else "close the comment on its line"
        complaints.append(Complaint(at, f"{quoted(line[at:])} with no ')'", "a closed comment", remedy))
        return len(line)
    inner = line.find("(", at + 1, close)
    if inner >= 0:
        complaints.append(
            Complaint(
                inner,
                f"the comment {quoted(line[at : close + 1])} with a second '(' inside",
                "comments that are not nested, for controls differ on where such a comment ends",
                "take this inner bracket out",
            )
        )
        # What follows may be comment or program: nothing behind it can be judged.
        return len(line)
    return close + 1


def _read_word(line, at, is_cut_off, words, complaints, harmless_remedy) -> int:
    """Read the word that begins with the letter at `at`; return where to go on."""
    length = len(line)
    stop = at + 1
    while stop < length and line[stop] in _NUMBER_CHARS:
        stop += 1
    written = line[at:stop].rstrip(" \t")
    text = written[1:].replace(" ", "").replace("\t", "")
    following = line[stop] if stop < length else ""
    if following in ("o", "O") and stop == at + len(written) and _is_zero_typed_as_letter(line, at, stop):
        end = stop + 1
        while end < length and line[end] in "+-.0123456789oO":
            end += 1
        found = f"{quoted(line[at:end])} (a letter O)"
        remedy = "replace the letter O by a zero"
        complaints.append(Complaint(at, found, f"a number after {line[at].upper()}", remedy))
        return end
    if _IS_NUMBER(text):
        words.append(Word(line[at].upper(), text, at, at + len(written)))
        return stop
    if text:
        if text.count(".") > 1:
            found = f"{quoted(written)} (a number with {text.count('.')} points)"
        else:
            found = quoted(written)
        expected = "one number: a sign or none, digits, at most one point"
        if is_cut_off and stop == length:
            complaints.append(Complaint(at, found, expected, "the file is cut off here: post it again"))
        else:
            complaints.append(Complaint(at, found, expected, "correct the number, or post the program again"))
        return stop
    if following and following in _MINUS_LOOKALIKES:
        return _odd_dash(line, at, stop, complaints)
    if following.isnumeric() and not following.isascii():
        end = stop + 1
        while end < length and line[end].isnumeric():
            end += 1
        found = f"{quoted(line[at:end])} (a digit or a fraction that controls do not know)"
        expected = f"a number after {written.upper()}, in the digits 0 to 9"
        complaints.append(Complaint(at, found, expected, "write it as a decimal number, such as 0.5"))
        return end
    if following in ("#", "["):
        complaints.append(_programming(line, at))
        return length
    run = _LETTERS.match(line, at).group()
    if _FLOW_WORD(run.upper()):
        complaints.append(_programming(line, at))
        return length
    if len(run) > 1:
        remedy = "put text into a comment ( ), or delete it"
        is_short = len(run) <= _LONGEST_QUOTE
        if harmless_remedy and is_short and _is_at_start(words) and may_be_message(run):
            remedy += f"; {harmless_remedy(run.upper())}"
        complaints.append(Complaint(at, quoted(line[at:].rstrip()), "a number after each letter", remedy))
        return length
    if is_cut_off and stop == length:
        remedy = "the file is cut off here: post it again"
    else:
        remedy = "add the number or delete the letter"
    complaints.append(
        Complaint(at, f"{quoted(written)} with no number", f"a number after {written.upper()}", remedy)
    )
    return stop


def _is_zero_typed_as_letter(line: str, at: int, stop: int) -> bool:
    """Tell whether the O at `stop` stands for a zero in the word that begins at `at`."""
    if line[at] in "oO":
        return False
    run = _LETTERS.match(line, stop).group()
    if stop > at + 1:  # digits, then O: X1O.5, S18OOO
        return len(run.lstrip("oO")) <= 1
    return len(run) <= 2 and not (at > 0 and line[at - 1].isalpha())  # XO.5, GOX5


def _programming(line: str, at: int) -> Complaint:
    return Complaint(
        at,
        f"{quoted(line[at:].rstrip())} (parameters, expressions or flow words)",
        "plain numbers, for what a control computes depends on what is stored in it",
        "post the program again as plain moves, without macros",
    )


def _odd_text(line: str, at: int, words: list[Word], complaints: list[Complaint]) -> int:
    """Complain about text that begins with no letter; return where to go on."""
    length, char = len(line), line[at]
    if char in "+-.0123456789":
        stop = at
        while stop < length and line[stop] in _NUMBER_CHARS:
            stop += 1
        found = f"the number {quoted(line[at:stop].rstrip())} with no letter before it"
        remedy = "put its letter before it, or delete it"
        complaints.append(Complaint(at, found, "a letter before each number", remedy))
        return stop
    if char == "/":
        if line.startswith("//", at):
            found, remedy = f"{quoted(line[at:].rstrip())} (a // comment)", "write it as ( ) or after a ;"
            expected = "comments in ( ) or after ;, for controls do not know // as a comment"
        else:
            return _finish(complaints, _programming(line, at), length)
        return _finish(complaints, Complaint(at, found, expected, remedy), length)
    if char in "#[]=<>":
        return _finish(complaints, _programming(line, at), length)
    if char == ",":
        return _comma(line, at, words, complaints)
    if char == "*":
        found = f"{quoted(line[at:].rstrip())} (a checksum or a product)"
        expected = "words of a letter and a number"
        return _finish(complaints, Complaint(at, found, expected, "post without checksums"), length)
    if char == "$":
        found = f"{quoted(line[at:].rstrip())} (a command to a control box)"
        expected = "words of a program, for a setting of the machine is not part of it"
        return _finish(complaints, Complaint(at, found, expected, "delete the line"), length)
    if char == ")":
        complaints.append(
            Complaint(at, "')' with no '(' before it", "a '(' that opens the comment", "delete the bracket")
        )
        return at + 1
    if (
        char == ":"
    ):  # ISO 6983-1 (from memory): marks where to start again; on some controls names the program
        stop = at + 1
        while stop < length and line[stop] in "0123456789":
            stop += 1
        found = f"{quoted(line[at:stop])} (a program's number, or a mark, of some controls)"
        expected = "words of a letter and a number, for controls differ on what ':' says"
        complaints.append(Complaint(at, found, expected, "delete it, or put it into a comment ( )"))
        return stop
    if char == "%":
        remedy = "put the % on a line of its own, or delete it"
        complaints.append(Complaint(at, "'%' among other words", "'%' alone on its line", remedy))
        return at + 1
    if char in _MINUS_LOOKALIKES:
        return _odd_dash(line, at, at, complaints)
    if char == "?":  # asked of a control box while it runs; common practice, no source
        found = f"{quoted(line[at:].rstrip())} (a question to a control box)"
        expected = "words of a letter and a number, for '?' is no letter of G-code"
        return _finish(
            complaints, Complaint(at, found, expected, "delete it, and what belongs to it"), length
        )
    stop = at + 1
    while stop < length and not line[stop].isascii() and line[stop] not in _MINUS_LOOKALIKES:
        stop += 1
    found = f"the character{'s'[: stop - at - 1]} {quoted(line[at:stop])}"
    remedy = "delete it, or put it into a comment ( )"
    if not line[at:stop].isprintable() or char.isspace():
        found, remedy = f"{found}, which cannot be seen", "type a plain space in its place, or delete it"
    complaints.append(Complaint(at, found, "letters, numbers and comments", remedy))
    return stop


def _comma(line: str, at: int, words: list[Word], complaints: list[Complaint]) -> int:
    before, behind = line[at - 1 : at], line[at + 1 : at + 2]
    if words and before.isdigit() and behind.isdigit():
        stop = at + 1
        while stop < len(line) and line[stop] in ".0123456789":
            stop += 1
        word = words.pop()  # half a number is none
        found = f"{quoted(line[word.start : stop])} (a comma for a decimal point)"
        remedy = "post again with points as decimal signs"
        complaints.append(Complaint(word.start, found, "a number with a point", remedy))
        return stop
    if behind.isalpha() or _spaced_corner(line, at + 1):
        found = f"{quoted(line[at:].rstrip())} (a corner word after a comma)"
        expected = "corners drawn as moves, for this word asks the control to draw a round or a chamfer"
        remedy = "post again with the corner as an arc or a line"
        return _finish(complaints, Complaint(at, found, expected, remedy), len(line))
    complaints.append(Complaint(at, "a comma", "spaces or nothing between words", "delete the comma"))
    return at + 1


def _odd_dash(line: str, start: int, dash: int, complaints: list[Complaint]) -> int:
    """Complain about a dash at `dash` that is no minus sign, and pass over the number behind it."""
    stop = dash + 1
    while stop < len(line) and line[stop] in _NUMBER_CHARS:
        stop += 1
    found = f"{quoted(line[start:stop].rstrip())} (a dash that is no minus sign)"
    complaints.append(Complaint(start, found, "the plain minus sign '-'", "type '-' instead"))
    return stop


def _finish(complaints: list[Complaint], complaint: Complaint, length: int) -> int:
    complaints.append(complaint)
    return length
