"""Every G, M and letter word the reader accepts: its modal group, what it does, where it is published.

G and M words are keyed by ten times their number (G54 -> 540, G59.1 -> 591), so keys are exact.  What is
refused stands in refusals.py.  Sources: NISTIR 6556 (2000) for words and groups; words marked
`is_common_usage` are not in it.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from simkit.program import refusals
from simkit.program.words import may_be_message

# Modal groups, numbered as in NISTIR 6556; GROUP_0 holds words that act in their own block only.
GROUP_0, MOTION, PLANE, DISTANCE, FEED_MODE, UNITS, COMPENSATION, LENGTH = 0, 1, 2, 3, 5, 6, 7, 8
CYCLE_RETURN, WORK_ZERO, PATH, ARC_CENTRE = 10, 12, 13, 16
STOP, CHANGE, SPINDLE, COOLANT, OVERRIDE = 104, 106, 107, 108, 109
MIST = 118  # M7 stands beside M8, so it counts apart; M9 is in COOLANT

GROUP_NAMES = {
    GROUP_0: "the words for one block alone",
    MOTION: "the kinds of motion",
    PLANE: "the planes",
    DISTANCE: "G90 and G91",
    FEED_MODE: "the feed modes",
    UNITS: "the units",
    COMPENSATION: "the words of cutter compensation",
    LENGTH: "the length offsets",
    CYCLE_RETURN: "G98 and G99",
    WORK_ZERO: "the work zeros",
    PATH: "G61, G61.1 and G64",
    ARC_CENTRE: "the arc centre modes",
    STOP: "the stops",
    CHANGE: "the tool changes",
    SPINDLE: "the spindle words",
    COOLANT: "the coolant words",
    MIST: "the coolant words",
    OVERRIDE: "M48 and M49",
}


class Accepted(NamedTuple):
    """A word the reader accepts: its group, and what it does, in the words of the documentation."""

    word: str
    group: int
    meaning: str
    is_common_usage: bool = False


_CYCLE = "with R, Z, and L for repeats"
G_WORDS = (
    Accepted("G0", MOTION, "rapid, taken as a straight line"),
    Accepted("G1", MOTION, "straight cut"),
    Accepted("G2", MOTION, "arc or helix, clockwise"),
    Accepted("G3", MOTION, "arc or helix, counter-clockwise"),
    Accepted("G4", GROUP_0, "dwell of P; moves nothing"),
    Accepted("G17", PLANE, "arcs in the XY plane"),
    Accepted("G18", PLANE, "arcs in the XZ plane"),
    Accepted("G19", PLANE, "arcs in the YZ plane"),
    Accepted("G20", UNITS, "inches from here on"),
    Accepted("G21", UNITS, "millimetres from here on"),
    Accepted(
        "G28", GROUP_0, "by way of the programmed place to a machine place: a retract, position unknown after"
    ),
    Accepted("G30", GROUP_0, "the same, to a second machine place"),
    Accepted("G40", COMPENSATION, "no cutter compensation"),
    Accepted("G43", LENGTH, "length offset H: the tip is where Z says"),
    Accepted("G49", LENGTH, "no length offset; after G43, Z words then say no known place"),
    Accepted("G53", GROUP_0, "with G0 or G1, to a machine place: a retract, position unknown after"),
    *(Accepted(f"G{n}", WORK_ZERO, "work zero, from `work_offsets` of the job") for n in range(54, 60)),
    *(Accepted(f"G59.{n}", WORK_ZERO, "work zero, from `work_offsets` of the job") for n in (1, 2, 3)),
    Accepted("G61", PATH, "exact path; told, everything is checked as written"),
    Accepted(
        "G61.1", PATH, "exact stop; told, everything is checked as written, the stops count in the time"
    ),
    Accepted("G64", PATH, "path blending; told, for corners are checked as written"),
    Accepted("G73", MOTION, f"drilling in steps of Q, chips broken, {_CYCLE}", True),
    Accepted("G80", MOTION, "no cycle, no motion"),
    Accepted("G81", MOTION, f"drilling {_CYCLE}"),
    Accepted("G82", MOTION, f"drilling with dwell P, {_CYCLE}"),
    Accepted("G83", MOTION, f"drilling in steps of Q, {_CYCLE}"),
    Accepted("G85", MOTION, f"boring, feed out, {_CYCLE}"),
    Accepted("G86", MOTION, f"boring, dwell P, spindle stopped, rapid out, {_CYCLE}"),
    Accepted("G89", MOTION, f"boring with dwell P, feed out, {_CYCLE}"),
    Accepted("G90", DISTANCE, "absolute coordinates"),
    Accepted("G91", DISTANCE, "incremental coordinates"),
    Accepted("G90.1", ARC_CENTRE, "I J K measured from the zero", True),
    Accepted("G91.1", ARC_CENTRE, "I J K measured from the start of the arc", True),
    Accepted(
        "G92", GROUP_0, "names the present place: at the start the operator's zero, later a shift; told"
    ),
    Accepted("G92.1", GROUP_0, "takes the shift of G92 back"),
    Accepted("G93", FEED_MODE, "F is one over the minutes of the move"),
    Accepted("G94", FEED_MODE, "F per minute"),
    Accepted("G95", FEED_MODE, "F per turn of the spindle", True),
    Accepted("G98", CYCLE_RETURN, "cycles return to the height before them"),
    Accepted("G99", CYCLE_RETURN, "cycles return to R"),
)
M_WORDS = (
    Accepted("M0", STOP, "stop until the operator goes on"),
    Accepted("M1", STOP, "stop where the machine's switch says so"),
    Accepted("M2", STOP, "end of the program"),
    Accepted("M3", SPINDLE, "spindle clockwise"),
    Accepted("M4", SPINDLE, "spindle counter-clockwise"),
    Accepted("M5", SPINDLE, "spindle off"),
    Accepted("M6", CHANGE, "change to the cutter T chose; the spindle then stands"),
    Accepted("M7", MIST, "mist or air on"),
    Accepted("M8", COOLANT, "coolant or air on"),
    Accepted("M9", COOLANT, "both off"),
    Accepted("M30", STOP, "end of the program"),
    Accepted("M48", OVERRIDE, "override knobs on"),
    Accepted("M49", OVERRIDE, "override knobs off"),
    Accepted("M60", STOP, "stop with pallet change; told, taken as a stop"),
)
LETTER_WORDS = (
    ("N", "line number, at the start of its line"),
    ("X Y Z", "where the tip goes"),
    ("I J K", "centre of an arc"),
    ("I J K", "a zero for the axis that is not in the plane of the arc: harmless", True),
    ("R", "radius of an arc (negative: the longer one), or height above the hole in a cycle"),
    ("F", "feed"),
    ("F", "on a rapid: in force for the cuts behind it"),
    ("S", "spindle speed"),
    ("T", "number of the cutter"),
    ("T", "with no M6: the cutter is taken to be in the spindle; told", True),
    ("H", "number of the length offset; told when it is not the cutter's"),
    ("D", "number of a compensation; told, does nothing without G41 and G42"),
    ("P", "time of a dwell: of G4, and in G82, G86 and G89, where it stays in force"),
    ("P", "in G86 left out: no dwell", True),
    ("P", "tolerance of G64; checked as written", True),
    ("Q", "depth of a step in G73 and G83"),
    ("L", "repeats of a cycle"),
)


@lru_cache(maxsize=4096)
def code_key(text: str) -> int | None:
    """Return ten times the number of a G or M word, or None when it has finer decimals or is negative."""
    tenths = float(text) * 10.0
    key = round(tenths) if 0.0 <= tenths < 1e6 else -1
    return key if key >= 0 and abs(tenths - key) < 1e-6 else None


G_GROUPS = {code_key(word.word[1:]): word.group for word in G_WORDS}
M_GROUPS = {code_key(word.word[1:]): word.group for word in M_WORDS}
CYCLES = frozenset((73, 81, 82, 83, 85, 86, 89))
PECKING = frozenset((73, 83))  # cycles with Q
DWELLING = frozenset((82, 86, 89))  # cycles with P
NO_MOTION = frozenset((40, 280, 300, 920))  # words of GROUP_0 whose block makes no motion of another word


def written(key: int, letter: str = "G") -> str:
    """Return a G or M word of its key: 591 -> "G59.1"."""
    return f"{letter}{key // 10}" + (f".{key % 10}" if key % 10 else "")


def may_be_harmless(word: str) -> bool:
    """Tell whether a job may call a word harmless: an M word in no table here, or text of two letters up."""
    letter, number = word[:1].upper(), word[1:]
    if letter == "M" and re.fullmatch(r"[0-9]+(\.[0-9]+)?", number):
        return is_unknown_m(number)
    return may_be_message(word)


def is_unknown_m(number: str) -> bool:
    """Tell whether an M word of this number stands in no table here."""
    key = code_key(number)
    return key not in M_GROUPS and key not in refusals.REFUSED_M
