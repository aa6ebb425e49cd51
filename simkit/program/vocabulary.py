"""Every G, M and letter word the reader accepts, with its modal group, and why it refuses the others.

G and M words are keyed by ten times their number (G54 -> 540, G59.1 -> 591), so keys are exact.
Sources: NISTIR 6556 (2000) for words and groups unless marked "common usage".
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

# Modal groups, numbered as in NISTIR 6556; GROUP_0 holds words that act in their own block only.
GROUP_0, MOTION, PLANE, DISTANCE, FEED_MODE, UNITS, COMPENSATION, LENGTH = 0, 1, 2, 3, 5, 6, 7, 8
WORK_ZERO, PATH, ARC_CENTRE = 12, 13, 16
STOP, CHANGE, SPINDLE, COOLANT, OVERRIDE = 104, 106, 107, 108, 109
MIST = 118  # M7 stands beside M8, so it counts apart; M9 is in COOLANT

G_GROUPS = {
    0: MOTION,
    10: MOTION,
    20: MOTION,
    30: MOTION,
    40: GROUP_0,
    170: PLANE,
    200: UNITS,
    210: UNITS,
    400: COMPENSATION,
    490: LENGTH,
    540: WORK_ZERO,
    610: PATH,
    611: PATH,
    640: PATH,
    800: MOTION,
    900: DISTANCE,
    910: DISTANCE,
    911: ARC_CENTRE,  # common usage
    940: FEED_MODE,
}
M_GROUPS = {
    0: STOP,
    10: STOP,
    20: STOP,
    300: STOP,
    30: SPINDLE,
    40: SPINDLE,
    50: SPINDLE,
    60: CHANGE,
    70: MIST,
    80: COOLANT,
    90: COOLANT,
    480: OVERRIDE,
    490: OVERRIDE,
}
GROUP_NAMES = {
    GROUP_0: "words for one block",
    MOTION: "kinds of motion",
    PLANE: "planes",
    DISTANCE: "G90 and G91",
    FEED_MODE: "feed modes",
    UNITS: "units",
    COMPENSATION: "cutter compensation",
    LENGTH: "length offsets",
    WORK_ZERO: "work zeros",
    PATH: "G61, G61.1 and G64",
    ARC_CENTRE: "arc centre modes",
    STOP: "stops",
    CHANGE: "tool changes",
    SPINDLE: "spindle words",
    COOLANT: "coolant words",
    MIST: "coolant words",
    OVERRIDE: "M48 and M49",
}

# What a refused word would have done, so that one refusal does not bring others behind it.
NOTHING, MOVES_AWAY, TAKES_MOTION, TAKES_PLANE = "nothing", "moves away", "takes motion", "takes plane"


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
    "a drilling cycle",
    "plain moves, for cycles are not read yet",
    "post again with drilling as single moves (G0 and G1)",
    TAKES_MOTION,
)
_LATHE = Refusal(
    "a turning word: this is a lathe program",
    "a program for a router or mill with X, Y and Z",
    "give the router's program, or choose a milling post",
    TAKES_MOTION,
)
_PROBE = Refusal(
    "probing",
    "moves whose end is known beforehand",
    "take the probing out and run it as a program of its own",
    MOVES_AWAY,
)
_ZERO = Refusal(
    "another work zero",
    "G54 alone, for where the other zeros lie stands in the control",
    "post with one work zero (G54), or split the program and give each part a setup of its own",
)
_SHIFT = Refusal(
    "a shift of the work zero",
    "one zero for the whole program",
    "post again without it and state the zero in the job file",
    MOVES_AWAY,
)
_MACHINE_PLACE = Refusal(
    "a move to a place known to the machine alone",
    "places measured from the work zero",
    "write a rapid to a safe height instead, such as G0 Z20",
    MOVES_AWAY,
)
_LENGTH = Refusal(
    "a tool length offset",
    "heights of the cutter's tip, for the length stands in the control",
    "post again without length offsets; every cutter is then taken as set to the same zero",
)
_TURNED = Refusal(
    "turned, scaled or mirrored coordinates",
    "coordinates as they are cut",
    "post again with the pattern drawn where it is wanted",
    TAKES_MOTION,
)
_POLAR = Refusal("polar coordinates", "X and Y coordinates", "post again with X and Y", TAKES_MOTION)
_SPLINE = Refusal("a spline", "lines and arcs", "post again with lines and arcs (G1, G2, G3)", TAKES_MOTION)
_MACRO = Refusal(
    "a subprogram or macro call",
    "one file that holds every move",
    "post again as one program without calls",
)
_PLANE = Refusal(
    "arcs in an upright plane",
    "arcs in the XY plane (G17)",
    "post again with arcs in XY alone, or with arcs as short lines",
    TAKES_PLANE,
)
_RETURN = Refusal("the return height of drilling cycles", _CYCLE.expected, _CYCLE.remedy)
_FEED_MODE = Refusal(
    "another meaning of F",
    "feeds per minute (G94)",
    "post again with feed per minute",
)

REFUSED_G = {
    **dict.fromkeys((410, 420, 411, 421), _COMPENSATION),
    **dict.fromkeys((730, 810, 820, 830, 840, 850, 860, 870, 880, 890), _CYCLE),
    **dict.fromkeys((70, 80, 320, 330, 331, 340, 710, 720, 740, 750, 760, 780, 960), _LATHE),
    **dict.fromkeys((310, 380, 382, 383, 384, 385), _PROBE),
    **dict.fromkeys((550, 560, 570, 580, 590, 591, 592, 593, 541), _ZERO),
    **dict.fromkeys((100, 520, 920, 921, 922, 923), _SHIFT),
    **dict.fromkeys((280, 281, 290, 300, 301, 530), _MACHINE_PLACE),
    **dict.fromkeys((430, 431, 432, 440), _LENGTH),
    **dict.fromkeys((500, 510, 501, 511, 680, 690), _TURNED),
    **dict.fromkeys((150, 160), _POLAR),
    **dict.fromkeys((50, 51, 52, 53, 60), _SPLINE),
    **dict.fromkeys((650, 660, 670), _MACRO),
    **dict.fromkeys((180, 190), _PLANE),
    **dict.fromkeys((980, 990), _RETURN),
    **dict.fromkeys((930, 950), _FEED_MODE),
    970: Refusal(
        "a constant spindle speed, a turning word",
        "words of a router or mill",
        "delete it if this is no lathe program, for S is then constant anyway",
    ),
    901: Refusal(
        "absolute arc centres",
        "arc centres measured from the start of the arc (G91.1)",
        "post again with incremental arc centres",
        TAKES_PLANE,
    ),
}
UNKNOWN_G = Refusal(
    "a G word this reader does not know",
    "words whose meaning is certain",
    "look up what it does on your control; if it moves nothing, delete it",
    TAKES_MOTION,
)

_PRINTER = Refusal(
    "a 3-D printer's word",
    "a program for a router or mill",
    "give the router's program",
)
REFUSED_M = {
    **dict.fromkeys((970, 980, 990), _MACRO),
    **dict.fromkeys((820, 830, 1040, 1060, 1070, 1090, 1400, 1900), _PRINTER),
    600: Refusal("a pallet change", "one blank for the whole program", "split the program there"),
    610: Refusal("a tool number set by hand", "tool changes by T and M6", "write T and M6"),
    130: Refusal("spindle and coolant in one", "a word of the standard", "write M3 and M8 instead"),
    140: Refusal("spindle and coolant in one", "a word of the standard", "write M4 and M8 instead"),
}
UNKNOWN_M = Refusal(
    "an M word this reader does not know",
    "words whose meaning is certain",
    "look up what it does on your control; if it moves nothing, delete it",
)

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
        "a program or subprogram number",
        "one file that holds every move, under its file name",
        "delete the O word, or put it into a comment; post again without subprograms if it names one",
    ),
    "H": _LENGTH,
    "D": _COMPENSATION,
    "L": Refusal("a number of repeats", "moves written out", "post again without repeats"),
    "Q": Refusal("a cycle's depth of peck", _CYCLE.expected, _CYCLE.remedy),
}


@lru_cache(maxsize=4096)
def code_key(text: str) -> int | None:
    """Return ten times the number of a G or M word, or None when it has finer decimals or is negative."""
    tenths = float(text) * 10.0
    key = round(tenths) if 0.0 <= tenths < 1e6 else -1
    return key if key >= 0 and abs(tenths - key) < 1e-6 else None
