"""The keys of the machine and of what stands on its table, part of the table in `schema`."""

from __future__ import annotations

from simkit.job.key import BIGGEST, Key
from simkit.job.model import HOLDINGS, Machine
from simkit.units import MM_PER_UNIT

_ENDS = {"kind": "lengths", "size": 3, "low": -2 * BIGGEST, "high": 2 * BIGGEST}
_MACHINE = Machine()

MACHINE_KEYS: tuple[Key, ...] = (
    Key("machine", "table", "The machine, as far as the check needs it.", is_aside=True),
    Key(
        "machine.low",
        **_ENDS,
        help="The low ends of X, Y and Z in machine coordinates; with `high` and the setups' machine_zero"
        " programs are held against the travel.",
        examples=("[0, 0, -120]",),
    ),
    Key("machine.high", **_ENDS, help="The high ends of X, Y and Z.", examples=("[800, 600, 0]",)),
    Key(
        "machine.clearance",
        "length",
        "Distance to keep from fixtures.",
        low=0.0,
        high=100.0,
        default=f"{_MACHINE.clearance:g} mm",
        examples=("2",),
    ),
    Key(
        "machine.speed",
        "lengths",
        "Top speed of X, Y and Z, mm/min in a job in mm, to tell how long the work takes. The default is"
        " common practice, no source: the machine's own stand in the settings of its control.",
        size=3,
        per=" a minute",
        low=10.0,
        high=1e6,
        default=tuple(f"{speed:g} mm" for speed in _MACHINE.speed),
        examples=("[8000, 8000, 4000]",),
    ),
    Key(
        "machine.acceleration",
        "lengths",
        "Acceleration of X, Y and Z, mm/s2 in a job in mm. The default is common practice, no source.",
        size=3,
        per=" a second squared",
        low=1.0,
        high=1e6,
        default=tuple(f"{value:g} mm" for value in _MACHINE.acceleration),
        examples=("[500, 500, 300]",),
    ),
    Key(
        "machine.rounding",
        "length",
        "By how much the machine may round a corner, to keep its speed there. The default is common practice,"
        " no source.",
        low=0.0001,
        high=5.0,
        default=f"{_MACHINE.rounding:g} mm",
        examples=("0.02",),
    ),
    Key(
        "machine.spindle_start",
        "number",
        "Seconds until the spindle turns at its speed. The default is common practice, no source.",
        low=0.0,
        high=600.0,
        default=_MACHINE.spindle_start,
        examples=("4",),
    ),
    Key(
        "machine.cutter_change",
        "number",
        "Seconds to change the cutter. The default is common practice, no source, for a change by hand.",
        low=0.0,
        high=3600.0,
        default=_MACHINE.cutter_change,
        examples=("60",),
    ),
    Key(
        "machine.spindle",
        "numbers",
        "Lowest and highest speed of the spindle, rev/min. When left out, speeds are not judged.",
        size=2,
        low=1.0,
        high=200000.0,
        examples=("[8000, 24000]",),
    ),
)
FIXTURE_KEYS: tuple[Key, ...] = (
    Key(
        "fixtures",
        "tables",
        "What stands on the table beside or on the blank and must not be touched: clamps, stops, screws."
        " Places are counted from the left front corner of the blank as it lies there, heights from the"
        " table; each reaches down to the table, or to its `bottom`.",
        is_aside=True,
    ),
    Key(
        "fixtures[].name",
        "text",
        "What it is called in the findings; each has its own.",
        required=True,
        examples=('"clamp left"', '"stop"'),
    ),
    Key(
        "fixtures[].height",
        "length",
        "Its highest place over the table.",
        required=True,
        low=0.1,
        high=1000.0,
        examples=("52", "20"),
    ),
    Key(
        "fixtures[].bottom",
        "length",
        "Its lowest place over the table, where it bridges over: a part of a cutter that stays below passes"
        " under it. What stands above that part, as its shank, is looked at too.",
        low=0.0,
        high=1000.0,
        default=0.0,
        examples=("38",),
        is_aside=True,
    ),
    Key(
        "fixtures[].setups",
        "texts",
        "The setups in which it stands, by name; all when left out.",
        default=(),
        examples=('["outside and foot"]',),
        is_aside=True,
    ),
    Key(
        "fixtures[].box",
        "points",
        "Two opposite corners in plan.",
        size=2,
        low=-BIGGEST,
        high=BIGGEST,
        examples=("[[-30, 30], [10, 60]]", "[[270, 30], [310, 60]]"),
    ),
    Key(
        "fixtures[].mesh",
        "path",
        "The form of what stands in the box: a closed triangle mesh as it stands there, Z up, as large as box"
        " and height say. It is put into the middle of the box. What hangs over counts as solid below.",
        noun="a mesh",
        examples=('"clamp.stl"',),
        is_aside=True,
    ),
    Key(
        "fixtures[].units",
        "choice",
        "The unit of that mesh.",
        default="mm",
        choices=tuple(MM_PER_UNIT),
        examples=('"mm"',),
        is_aside=True,
    ),
    Key(
        "fixtures[].at",
        "lengths",
        "In place of a box: the centre of something round.",
        size=2,
        low=-BIGGEST,
        high=BIGGEST,
        examples=("[290, 45]",),
        is_aside=True,
    ),
    Key(
        "fixtures[].diameter",
        "length",
        "Its diameter.",
        low=0.1,
        high=BIGGEST,
        examples=("12",),
        is_aside=True,
    ),
)
_IN_PLAN = {"kind": "points", "size": 2, "low": -BIGGEST, "high": BIGGEST}
HOLDING_KEYS: tuple[Key, ...] = (
    Key(
        "holding",
        "tables",
        "What keeps the wood in place, to tell which pieces come free. Places are counted from the left front"
        " corner of the blank as it lies there. Fixtures that cover wood hold it too and need not be named"
        " again.",
        is_aside=True,
    ),
    Key(
        "holding[].kind",
        "choice",
        "Tape and vacuum hold what still lies on the table over their area, the others any wood there.",
        required=True,
        choices=HOLDINGS,
        examples=('"tape"',),
    ),
    Key(
        "holding[].setups",
        "texts",
        "The setups in which it holds, by name; all when left out.",
        default=(),
        examples=('["outside and foot"]',),
        is_aside=True,
    ),
    Key(
        "holding[].box", **_IN_PLAN, help="Two opposite corners in plan.", examples=("[[20, 20], [260, 70]]",)
    ),
    Key(
        "holding[].outline",
        **_IN_PLAN,
        help="In place of a box: the corners of an outline, one after the other all the way round.",
        examples=("[[20, 20], [260, 20], [140, 70]]",),
        is_aside=True,
    ),
    Key(
        "holding[].at",
        "lengths",
        "In place of a box: the centre of something round.",
        size=2,
        low=-BIGGEST,
        high=BIGGEST,
        examples=("[6, 6]",),
        is_aside=True,
    ),
    Key(
        "holding[].diameter",
        "length",
        "Its diameter.",
        low=0.1,
        high=BIGGEST,
        examples=("8",),
        is_aside=True,
    ),
    Key(
        "holding[].grip",
        "number",
        "Of tape and vacuum: the force sideways that each square millimetre bears, N/mm2, from a trial of"
        " your own. The check holds what is left of the area against the largest cutting force it estimates.",
        low=0.0001,
        high=10.0,
        examples=("0.02",),
        is_aside=True,
    ),
)
