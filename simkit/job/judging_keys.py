"""The keys of zones and accepted findings, part of the table in `schema`."""

from __future__ import annotations

from simkit.job.key import BIGGEST, Key

LIMIT = {"kind": "length", "low": 0.0, "high": 100.0}
_PLACES = {"kind": "points", "size": 2, "low": -BIGGEST, "high": BIGGEST}
_SIDE = {"kind": "count", "low": 1, "high": 2}

ZONE_KEYS: tuple[Key, ...] = (
    Key(
        "zones",
        "tables",
        "Places in plan with limits of their own. Where zones overlap the later one counts; a limit that a"
        " zone leaves out is that of [limits].",
        is_aside=True,
    ),
    Key(
        "zones[].name",
        "text",
        "What the zone is called in the findings; each has its own.",
        required=True,
        examples=('"show face"', '"tabs"'),
    ),
    Key(
        "zones[].box",
        **_PLACES,
        help="Two opposite corners, from the left front corner of the blank, side 1 up.",
        examples=("[[20, 10], [260, 80]]", "[[130, 0], [150, 90]]"),
    ),
    Key(
        "zones[].outline",
        **_PLACES,
        help="In place of a box: the corners of an outline, one after the other all the way round.",
        examples=("[[20, 10], [260, 10], [140, 80]]",),
        is_aside=True,
    ),
    Key("zones[].side", **_SIDE, help="The side it speaks of; both when left out.", examples=("1",)),
    Key("zones[].gouge", **LIMIT, help="Deepest cut into the part there.", examples=("0.05",)),
    Key("zones[].leftover", **LIMIT, help="Most that may stand proud of it there.", examples=("0.1",)),
    Key(
        "zones[].finish_allowance",
        **LIMIT,
        help="What is left on purpose there.",
        examples=("0.2",),
        is_aside=True,
    ),
    Key(
        "zones[].judged",
        "flag",
        "false: the shape does not matter there (safety findings are told all the same).",
        default=True,
        examples=("true", "false"),
    ),
)
ACCEPTED_KEYS: tuple[Key, ...] = (
    Key(
        "accepted",
        "tables",
        "Findings that you let stand; `simkit check JOB.toml --accept` prints the lines to paste. Each needs"
        " an id, or a kind and a box. Safety findings cannot be accepted.",
        is_aside=True,
    ),
    Key("accepted[].id", "text", "The finding's id.", default="", examples=('"k3f9q2"',)),
    Key("accepted[].kind", "text", "Its kind.", default="", examples=('"leftover-cutter"',)),
    Key("accepted[].side", **_SIDE, help="Its side.", examples=("2",)),
    Key(
        "accepted[].box",
        **_PLACES,
        help="Two opposite corners of its place in plan, blank frame.",
        examples=("[[58, 43], [63, 48]]",),
    ),
    Key(
        "accepted[].value",
        "length",
        "The size that you accept. A finding that is worse comes back; so does one that has a size when"
        " this is left out.",
        low=0.0,
        high=BIGGEST,
        examples=("0.55",),
    ),
    Key(
        "accepted[].moves",
        "text",
        "Fingerprint of the moves that cut in the box. When they change, the finding comes back.",
        default="",
        examples=('"9c1e04d2"',),
    ),
    Key(
        "accepted[].reason",
        "text",
        "Why it may stand, for those who come after.",
        required=True,
        examples=('"is sanded by hand"',),
    ),
)
