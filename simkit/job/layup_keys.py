"""The keys of the boards a blank is glued up from, part of the table in `schema`."""

from __future__ import annotations

from simkit.job.key import Key
from simkit.job.model import GRAINS, JOINED, RINGS, Layup

_LEFT = {"kind": "length", "low": 0.0, "high": 200.0, "is_aside": True}

LAYUP_KEYS: tuple[Key, ...] = (
    Key(
        "layup",
        "table",
        "The boards the blank is glued up from: for `simkit sheet`, and notes on glue lines.",
        is_aside=True,
    ),
    Key(
        "layup.run",
        "choice",
        "The direction of the boards' length, that of their fibres; left out, that of `blank.grain`, without"
        " one along x.",
        default="",
        choices=GRAINS,
        examples=('"along x"',),
        is_aside=True,
    ),
    Key(
        "layup.joined",
        "choice",
        "The direction in which the boards lie side by side, not that of their length; left out, the other"
        " direction in plan.",
        default="",
        choices=JOINED,
        examples=('"along y"',),
        is_aside=True,
    ),
    Key(
        "layup.jointing",
        **_LEFT,
        help="What jointing takes off each face that is glued (the default is common practice, no source).",
        default=f"{Layup.jointing:g} mm",
        examples=("0.5",),
    ),
    Key(
        "layup.planing",
        **_LEFT,
        help="What planing takes off each outer face of the glued blank (common practice, no source).",
        default=f"{Layup.planing:g} mm",
        examples=("1.5",),
    ),
    Key(
        "layup.saw",
        **_LEFT,
        help="Width of the saw's cut (common practice, no source).",
        default=f"{Layup.saw:g} mm",
        examples=("3",),
    ),
    Key(
        "layup.ends",
        **_LEFT,
        help="What is sawn off each end of the glued blank (common practice, no source).",
        default=f"{Layup.ends:g} mm",
        examples=("10",),
    ),
    Key(
        "layup.boards",
        "lengths",
        "Size of each board along that direction (of boards glued edge to edge their width), as in the blank"
        " that is ready to cut: from left to right, from front to back, or from the lower face to the upper"
        " one.",
        low=0.5,
        high=1000.0,
        examples=("[18, 18, 18, 18, 18]",),
    ),
    Key(
        "layup.rings",
        "choice",
        "How the growth rings lie to the wide faces of the boards: along them (flat), across them (quarter),"
        " between (rift).",
        default="",
        choices=RINGS,
        examples=('"quarter"',),
        is_aside=True,
    ),
)
