"""The keys of what is done to the blank between the setups, part of the table in `schema`."""

from __future__ import annotations

from simkit.job.key import BIGGEST, SMALLEST, Key
from simkit.job.steps import DOINGS, RESIN_DENSITY, TOOLS

STEP_KEYS: tuple[Key, ...] = (
    Key(
        "steps",
        "tables",
        "What is done to the blank between the setups and after the last, in the order of the work: resin"
        " poured, a face taken to a thickness, length and width sawn.",
        is_aside=True,
    ),
    Key(
        "steps[].after",
        "text",
        "The setup after which it is done; steps after the same setup follow in their order here.",
        required=True,
        examples=('"outside and foot"',),
    ),
    Key(
        "steps[].do",
        "choice",
        "What is done.",
        required=True,
        choices=DOINGS,
        examples=('"pour"',),
    ),
    Key(
        "steps[].side",
        "count",
        "The side that lies up while resin is poured or the blank is sawn, or the face that is taken off.",
        required=True,
        low=1,
        high=2,
        examples=("1",),
    ),
    Key(
        "steps[].below",
        "length",
        "Pour: how far below the face of that side the resin stands, 0 for flush. This or `over`.",
        low=0.0,
        high=BIGGEST,
        examples=("0",),
        is_aside=True,
    ),
    Key(
        "steps[].over",
        "length",
        "Pour: how far the resin stands over the face, over the hollows alone, to be planed off.",
        low=0.0,
        high=100.0,
        examples=("1",),
    ),
    Key(
        "steps[].outline",
        "points",
        "Pour: corners of an outline, all the way round, from the left front corner of the blank, side 1 up;"
        " every hollow that reaches into it is filled. When left out: every hollow of that side.",
        size=2,
        low=-BIGGEST,
        high=BIGGEST,
        examples=("[[20, 10], [60, 10], [60, 40], [20, 40]]",),
        is_aside=True,
    ),
    Key(
        "steps[].density",
        "number",
        "Pour: density of the resin, kg/m3 (the default is common practice, no source).",
        low=500.0,
        high=3000.0,
        default=RESIN_DENSITY,
        examples=("1100",),
        is_aside=True,
    ),
    Key(
        "steps[].most_depth",
        "length",
        "Pour: the deepest that this resin may be poured at once, from its data sheet. When left out, it is"
        " not judged.",
        low=0.1,
        high=1000.0,
        examples=("10",),
        is_aside=True,
    ),
    Key(
        "steps[].closed",
        "flag",
        "Pour: openings below and at the edges are closed with tape or a dam, flat against the blank.",
        default=False,
        examples=("true",),
        is_aside=True,
    ),
    Key(
        "steps[].thickness",
        "length",
        "Thickness: what is left between the two faces.",
        low=SMALLEST,
        high=BIGGEST,
        examples=("36",),
        is_aside=True,
    ),
    Key(
        "steps[].by",
        "choice",
        "Thickness: with what.",
        default=TOOLS[0],
        choices=TOOLS,
        examples=('"planer"',),
        is_aside=True,
    ),
    Key(
        "steps[].box",
        "points",
        "Saw: two opposite corners of what is left, from the left front corner of the blank as it was first,"
        " side 1 up; the saw's own cut lies outside. An edge that is not sawn is written where it is.",
        size=2,
        low=-BIGGEST,
        high=BIGGEST,
        examples=("[[5, 5], [275, 85]]",),
        is_aside=True,
    ),
)
