"""What the reader refuses: why, what it needs instead, and what to do, in the shop's words.

Keyed as in vocabulary.py: ten times the number of a G or M word.  Sources: NISTIR 6556 (2000) and
ISO 6983-1 for what these words are; words that some controls know alone: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from simkit.errors import Place, Problem
from simkit.program.words import quoted

# What a refused word would have done, so that one refusal does not bring others behind it.
NOTHING, MOVES_AWAY, TAKES_MOTION, SETS_UNITS = "nothing", "moves away", "takes motion", "sets units"


class Refusal(NamedTuple):
    """Why a word is refused: its name, what the reader needs instead, what to do, what it would do."""

    what: str
    expected: str
    remedy: str
    effect: str = NOTHING


_COMPENSATION = Refusal(
    "cutter compensation",
    "the path of the cutter's centre, for the width it would be shifted by stands in the control",
    "post again without cutter compensation",
)
_CYCLE = Refusal(
    "a cycle for tapping, back boring or boring by hand",
    "a drilling or boring cycle (G73, G81 to G83, G85, G86, G89), for this one needs more than a router",
    "post again with G81 or G83, or with single moves (G0 and G1)",
    TAKES_MOTION,
)
_LATHE = Refusal(
    "a turning word: this is a lathe program",
    "a program for a router or mill with X, Y and Z",
    "give the router's program, or choose a milling post",
    TAKES_MOTION,
)
_OLD_UNITS = Refusal(  # ISO 6983-1 (from memory) has G70 and G71 for inch and metric; NISTIR 6556 G20 and G21
    "units on some controls, a turning cycle on others",
    "G20 (inch) or G21 (mm), for controls differ on what G70 and G71 do",
    "write G20 in place of G70, G21 in place of G71 if it sets the units; else give the router's program",
    SETS_UNITS,
)
_PROBE = Refusal(
    "probing",
    "moves whose end is known beforehand",
    "take the probing out and run it as a program of its own",
    MOVES_AWAY,
)
_MORE_ZEROS = Refusal(
    "one of many further work zeros",
    "G54 to G59.3, for the numbers of further zeros differ from control to control",
    "post with one of G54 to G59.3, and state where it lies: work_offsets in the job file, or --work-offset",
)
_MACHINE_PLACE = Refusal(
    "a stored place of the machine, or the way back from one",
    "places measured from the work zero, for what is stored is known to the control alone",
    "write a rapid to a safe height instead, such as G0 Z20",
    MOVES_AWAY,
)
_SHIFT = Refusal(
    "a shift of the work zero",
    "one zero for the whole program",
    "post again without it and state where the zero is: zero and work_offsets in the job file, "
    "or --zero and --work-offset",
    MOVES_AWAY,
)
_LENGTH = Refusal(
    "a length offset that adds, subtracts or is written in the program",
    "G43 with H, or none, so that Z is the height of the cutter's tip",
    "post again with G43 and H, or without length offsets",
)
_TURNED = Refusal(
    "turned, scaled or mirrored coordinates",
    "coordinates as they are cut",
    "post again with the pattern drawn where it is wanted",
    TAKES_MOTION,
)
_POLAR = Refusal("polar coordinates", "X and Y coordinates", "post again with X and Y", TAKES_MOTION)
_SPLINE = Refusal("a spline", "lines and arcs", "post again with lines and arcs (G1, G2, G3)", TAKES_MOTION)
CALL = Refusal(
    "a subprogram or macro call",
    "one file that holds every move",
    "post again as one program without calls",
)

REFUSED_G = {
    **dict.fromkeys((410, 420, 411, 421), _COMPENSATION),
    **dict.fromkeys((840, 841, 870, 880), _CYCLE),
    **dict.fromkeys((70, 80, 320, 330, 331, 340, 720, 740, 750, 760, 780, 960), _LATHE),
    **dict.fromkeys((700, 710), _OLD_UNITS),
    **dict.fromkeys((310, 380, 382, 383, 384, 385), _PROBE),
    541: _MORE_ZEROS,
    **dict.fromkeys((100, 520, 922, 923), _SHIFT),
    **dict.fromkeys((281, 290, 301), _MACHINE_PLACE),
    **dict.fromkeys((431, 432, 440), _LENGTH),
    500: _TURNED._replace(
        what="scaling or mirroring off; with S a lathe's highest spindle speed: this is then a lathe program",
        remedy="with S: give the router's program, or choose a milling post; else post again without scaling",
    ),
    **dict.fromkeys((510, 501, 511, 680, 690), _TURNED),
    **dict.fromkeys((150, 160), _POLAR),
    **dict.fromkeys((50, 51, 52, 53, 60), _SPLINE),
    **dict.fromkeys((650, 660, 670), CALL),
    970: Refusal(
        "a constant spindle speed, a turning word",
        "words of a router or mill",
        "delete it if this is no lathe program, for S is then constant anyway",
    ),
}
UNKNOWN_G = Refusal(
    "a G word this reader does not know",
    "words whose meaning is certain",
    "look up what it does on your control; if it moves nothing, delete it",
    TAKES_MOTION,
)

REFUSED_M = {
    **dict.fromkeys((970, 980), CALL),
    990: CALL._replace(what="the end of a subprogram, or a jump to the start"),
    610: Refusal("a tool number set by hand", "tool changes by T and M6", "write T and M6"),
    130: Refusal("spindle and coolant in one", "a word of the standard", "write M3 and M8 instead"),
    140: Refusal("spindle and coolant in one", "a word of the standard", "write M4 and M8 instead"),
}
# Of two kinds of motion in a block: told at the words; what the block does is then not certain.
TWO_MOTIONS = Refusal("two kinds of motion", "one", "write two blocks", TAKES_MOTION)

# Words of 3-D printers; some router controls use them for fans and outputs, so they may be called harmless.
PRINTER_M = frozenset((820, 830, 1040, 1060, 1070, 1090, 1400, 1900))


def unknown(word: str, harmless_remedy: Callable[[str], str] | None) -> Refusal:
    """Return why a G or M word that stands in no table is refused.

    word: as Block has it, such as "M117".  harmless_remedy: of a word, what makes it count as harmless; None
    for words that cannot.
    """
    if harmless_remedy is None:
        return UNKNOWN_G
    is_printer = word[1:].isdigit() and 10 * int(word[1:]) in PRINTER_M
    what = "a 3-D printer's word on most controls" if is_printer else "an M word this reader does not know"
    return Refusal(
        what,
        "words whose meaning is certain",
        "look up what it does on your control; " + harmless_remedy(word),
    )


def harmless_line(*words: str) -> str:
    """Return the line of the job file that makes words count as harmless, as a clause in the imperative."""
    names = ", ".join(f'"{word}"' for word in words)
    return f"write harmless_words = [{names}] at the top of the job file"


_ROTARY = Refusal(
    "a rotary axis",
    "moves of X, Y and Z alone",
    "post again for a three-axis router",
    MOVES_AWAY,
)
_SECOND = Refusal(
    "a second linear axis",
    "moves of X, Y and Z alone",
    "post again for a three-axis router",
    MOVES_AWAY,
)
REFUSED_LETTERS = {
    **dict.fromkeys("ABC", _ROTARY),
    **dict.fromkeys("UVW", _SECOND),
    "E": Refusal(
        "an extruder's word, or a number with an exponent",
        "X, Y and Z in plain decimals",
        "give the router's program, or write the number without exponent",
        MOVES_AWAY,
    ),
    "O": Refusal(
        "a subprogram's number, or a program's that is not alone in the first block",
        "one file that holds every move, under its file name",
        "delete it if it is the program's, or put it into a comment; else post again without subprograms",
    ),
}


def empty_frame(first: Place, second: Place) -> Problem:
    """Return the problem of two % lines with no block between them; first, second: where they stand.

    Source: NISTIR 6556, section 2 (from memory): what stands behind a second % does not count.
    """
    found = f"a second '%' with no block between it and the one in line {first.line}"
    expected = "the program between two % lines, for a control may run nothing behind the second"
    return Problem(second, found, expected, "delete one of the two % lines")


def text_after_end(name: str, number: int, line: str, call_line: int | None) -> Problem:
    """Return the problem of a line behind the end of the program.

    name: of the file.  number: of the line, from 1.  call_line: of the first subprogram called, or None.
    """
    place = Place(name, number, len(line) - len(line.lstrip(" \t")) + 1)
    found = f"{quoted(line.strip())} after the end of the program"
    expected = "nothing but comments behind M2, M30 or the closing %, for the control never runs it"
    remedy = "delete what follows the end, or move the end behind it"
    if not line.strip(" \t\x1a"):  # the end mark of files of old systems
        found = f"{quoted(line.strip())}, an end mark that cannot be seen, after the end of the program"
        remedy = "delete it: it is the last character of the file"
    elif call_line is not None:
        expected = "one file that holds every move, in the order it is run"
        found += f", which looks like the subprogram that line {call_line} calls"
        remedy = "do not delete it: post again as one program without subprograms"
    return Problem(place, found, expected, remedy)
