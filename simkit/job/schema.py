"""The keys of the job file, as one table: it drives checking, defaults, template and documentation.

A path names a key as it is written: "blank.length", "cutters.N.shape" (N: the tool number),
"setups[].turn" ([]: one of a list of tables).
"""

from __future__ import annotations

import re
import textwrap
from typing import Any

from simkit.cutters import DRILL_POINT_DEGREES, SHAPES
from simkit.frames import SWINGS, TURNS
from simkit.job.budget import BUDGET_KEYS
from simkit.job.judging_keys import ACCEPTED_KEYS, LIMIT, ZONE_KEYS
from simkit.job.key import BIGGEST, SMALLEST, Key
from simkit.job.layup_keys import LAYUP_KEYS
from simkit.job.machine_keys import FIXTURE_KEYS, HOLDING_KEYS, MACHINE_KEYS
from simkit.job.model import (
    ANCHORS,
    BLOCK_DELETE,
    CORNERS,
    FACES,
    FITS,
    GRAINS,
    HARDNESSES,
    PROGRAM_UNITS,
    WORK_ZEROS,
    Limits,
)
from simkit.job.step_keys import STEP_KEYS
from simkit.units import MM_PER_UNIT

VERSION = "1"  # of the form of job files; raised when a key changes its meaning
UNITS = tuple(MM_PER_UNIT)
TOOL_NUMBERS = (1, 9999)


_LIMITS = Limits()
_SHIFT = {"kind": "lengths", "low": -BIGGEST, "high": BIGGEST}
_SIZE = {"kind": "length", "low": SMALLEST, "high": BIGGEST, "required": True}

KEYS: tuple[Key, ...] = (
    Key("name", "text", "What the part is called, for people.", examples=('"my part"',)),
    Key(
        "version",
        "choice",
        "The form of this file, so that a later simkit knows how it is meant.",
        default=VERSION,
        choices=(VERSION,),
        examples=(f'"{VERSION}"',),
        is_aside=True,
    ),
    Key(
        "unit",
        "choice",
        'The unit of plain numbers. Text carries its own: "1/4 in", "2 1/4 in", "6 mm".',
        default="mm",
        choices=UNITS,
        examples=('"mm"',),
    ),
    Key(
        "harmless_words",
        "texts",
        "Words of the programs that do nothing here, with what belongs to them on their line: M words the"
        " reader does not know, or text at the start of a line.",
        default=(),
        examples=('["M106", "MSG"]',),
        is_aside=True,
    ),
    Key(
        "block_delete",
        "choice",
        "What becomes of blocks with a /.",
        default="run",
        choices=BLOCK_DELETE,
        examples=('"run"',),
        is_aside=True,
    ),
    Key(
        "arc_tolerance",
        "length",
        "By how much the radii at start and end of an arc may differ. When left out: what rounding to the"
        " decimals in its block explains.",
        low=0.0001,
        high=1.0,
        examples=("0.01",),
        is_aside=True,
    ),
    Key(
        "spindle_by_hand",
        "flag",
        "The spindle is switched on by hand: programs need no M3.",
        default=False,
        examples=("true",),
        is_aside=True,
    ),
    Key("blank", "table", "The prepared block of wood before the first cut.", required=True),
    Key("blank.length", **_SIZE, help="Size along x.", examples=("280",)),
    Key("blank.width", **_SIZE, help="Size along y.", examples=("90",)),
    Key("blank.thickness", **_SIZE, help="Size along z.", examples=("38",)),
    Key(
        "blank.species",
        "text",
        "The wood. Density and shrinkage are known of cherry, walnut, hard and red maple, white and red oak,"
        " white ash, beech, yellow birch, yellow poplar and white pine; of others mass and movement are not"
        " told.",
        default="",
        examples=('"cherry"',),
    ),
    Key(
        "blank.grain",
        "choice",
        "Which way the fibres run.",
        default="",
        choices=GRAINS,
        examples=('"along x"',),
        is_aside=True,
    ),
    Key(
        "blank.hardness",
        "choice",
        "Which usual chip loads are told beside those of the programs.",
        default="hard",
        choices=HARDNESSES,
        examples=('"hard"',),
        is_aside=True,
    ),
    Key(
        "blank.cutting_force",
        "number",
        "Specific cutting force of the wood, N/mm2, from a trial or a table that you trust: power and force"
        " are estimated with it. When left out, they are not told.",
        low=1.0,
        high=1000.0,
        examples=("25",),
        is_aside=True,
    ),
    Key(
        "cutters",
        "numbered tables",
        "The cutters, by the number that T calls: [cutters.1], [cutters.2] and so on.",
        required=True,
    ),
    Key(
        "cutters.N.shape",
        "choice",
        "The shape of the cutting part.",
        required=True,
        choices=SHAPES,
        examples=('"flat"', '"drill"'),
    ),
    Key(
        "cutters.N.diameter",
        "length",
        "Largest diameter of the cutting part.",
        required=True,
        low=0.05,
        high=200.0,
        examples=("6", "6"),
    ),
    Key("cutters.N.flutes", "count", "Cutting edges.", low=1, high=12, examples=("2",)),
    Key(
        "cutters.N.chip_load",
        "lengths",
        "Least and largest feed for each cutting edge and turn. When left out, it is not judged.",
        size=2,
        low=0.0001,
        high=10.0,
        examples=("[0.03, 0.12]",),
        is_aside=True,
    ),
    Key(
        "cutters.N.plunge_angle",
        "number",
        "Steepest way down into the wood, degrees from level, that the cutter bears (90: straight down). When"
        " left out, it is not judged.",
        low=0.0,
        high=90.0,
        examples=("10",),
        is_aside=True,
    ),
    Key(
        "cutters.N.slot_depth",
        "number",
        "Deepest cut over the whole width of the cutter, as a multiple of its diameter. When left out, it is"
        " not judged.",
        low=0.01,
        high=50.0,
        examples=("1",),
        is_aside=True,
    ),
    Key(
        "cutters.N.cutting_length",
        "length",
        "From the tip to the end of the cutting edges.",
        low=0.1,
        high=500.0,
        examples=("25",),
    ),
    Key("cutters.N.shank", "length", "Diameter of the shank.", low=0.5, high=100.0, examples=("6",)),
    Key(
        "cutters.N.stick_out",
        "length",
        "From the tip to the holder.",
        low=0.1,
        high=1000.0,
        examples=("40",),
    ),
    Key(
        "cutters.N.neck",
        "length",
        "Diameter of a neck between the cutting edges and the shank.",
        low=0.05,
        high=200.0,
        examples=("5.5",),
        is_aside=True,
    ),
    Key(
        "cutters.N.neck_length",
        "length",
        "Length of that neck.",
        low=0.1,
        high=500.0,
        examples=("5",),
        is_aside=True,
    ),
    Key(
        "cutters.N.holder",
        "points",
        "The holder from below, piece by piece: lower diameter, upper diameter, length.",
        low=0.0,
        high=1000.0,
        size=3,
        noun="piece",
        examples=("[[20, 30, 15], [40, 40, 30]]",),
        is_aside=True,
    ),
    Key(
        "cutters.N.point",
        "number",
        f"Drill, vee: full angle of the point, degrees. A drill has {DRILL_POINT_DEGREES:g} when left out.",
        low=10.0,
        high=180.0,
        examples=("118", "118"),
        is_aside=True,
    ),
    Key(
        "cutters.N.corner",
        "length",
        "Bull-nose: radius of its corner.",
        low=0.01,
        high=100.0,
        examples=("1",),
        is_aside=True,
    ),
    Key(
        "cutters.N.tip",
        "length",
        "Tapered ball: diameter of the ball at its tip. Vee: width of the flat at its tip, pointed when left"
        " out.",
        low=0.01,
        high=200.0,
        examples=("2",),
        is_aside=True,
    ),
    Key(
        "cutters.N.taper",
        "number",
        "Tapered ball: angle of its side to the axis, degrees.",
        low=0.5,
        high=80.0,
        examples=("5",),
        is_aside=True,
    ),
    Key("setups", "tables", "How the blank lies and what is run, in the order of the work.", required=True),
    Key(
        "setups[].name",
        "text",
        "What the setup is called in the findings; each has its own.",
        required=True,
        examples=('"outside and foot"', '"hollows"'),
    ),
    Key(
        "setups[].turn",
        "choice",
        'How the blank lies, against side 1 up. "about x" lays it over its long side, "about y" end over'
        ' end. The first setup has "none".',
        required=True,
        choices=TURNS,
        examples=('"none"', '"about x"'),
    ),
    Key(
        "setups[].swing",
        "choice",
        "How the blank is swung round on the table after that, seen from above: a quarter turn to the left"
        " (counter-clockwise) or right, or half a turn. The first setup has none.",
        default="none",
        choices=SWINGS,
        examples=('"none"', '"none"'),
        is_aside=True,
    ),
    Key(
        "setups[].zero",
        "table",
        "Where X0 Y0 Z0 of the programs is, as the operator sees the blank lying in this setup.",
        required=True,
        examples=('{ corner = "left front", face = "top" }', '{ corner = "left front", face = "top" }'),
    ),
    Key(
        "setups[].zero.corner",
        "choice",
        "Which corner, or the centre, in plan.",
        required=True,
        choices=CORNERS,
        examples=('"left front"',),
    ),
    Key(
        "setups[].zero.face",
        "choice",
        "Top of the blank as it lies, or bottom (the table).",
        required=True,
        choices=FACES,
        examples=('"top"',),
    ),
    Key(
        "setups[].zero.offset",
        **_SHIFT,
        size=3,
        help="From there to the zero: right, back, up.",
        default=(0, 0, 0),
        examples=("[0, 0, 0]",),
        is_aside=True,
    ),
    Key(
        "setups[].programs",
        "paths",
        "The program files in the order they are run, seen from the folder of the job file.",
        required=True,
        noun="a program",
        examples=('["side1.nc"]', '["side2.nc"]'),
    ),
    Key(
        "setups[].cutter",
        "count",
        "The cutter for a program that calls none.",
        low=TOOL_NUMBERS[0],
        high=TOOL_NUMBERS[1],
        examples=("1", "1"),
        is_aside=True,
    ),
    Key(
        "setups[].pins",
        "points",
        "Where dowel pins stand in the table, from the left front corner of the blank as it lies there."
        " When left out: where the dowel holes were in the first setup.",
        size=2,
        low=-BIGGEST,
        high=BIGGEST,
        examples=("[[8, 45], [268, 45]]", "[[8, 45], [268, 45]]"),
        is_aside=True,
    ),
    Key(
        "setups[].pin_height",
        "length",
        "How high the dowel pins of this setup stand over the table: cutters, shanks and holders then keep"
        " clear of them as of `fixtures`. When left out they are not looked at.",
        low=0.1,
        high=1000.0,
        examples=("20", "20"),
        is_aside=True,
    ),
    Key(
        "setups[].work_offsets",
        "named lengths",
        "Where the work zeros that the programs call lie, from the zero: right, back, up. G54 is the zero"
        " itself when it is left out.",
        choices=WORK_ZEROS,
        size=3,
        low=-BIGGEST,
        high=BIGGEST,
        default=(),
        examples=('{ "G55" = [100, 0, 0] }', '{ "G55" = [100, 0, 0] }'),
        is_aside=True,
    ),
    Key(
        "setups[].program_units",
        "choice",
        "The unit of a program that states neither G21 nor G20.",
        choices=PROGRAM_UNITS,
        examples=('"mm"', '"mm"'),
        is_aside=True,
    ),
    Key(
        "setups[].spoilboard",
        "length",
        "How deep cutters may go below the lower face of the blank, into a board under it. When left out,"
        " none may.",
        low=0.0,
        high=200.0,
        examples=("6", "6"),
        is_aside=True,
    ),
    Key(
        "setups[].jig",
        "path",
        "The job file of the jig that the blank is laid into: a job of its own, with its own board and"
        " programs, side 1 up. The check then tells how the piece seats in it.",
        noun="a job file",
        examples=('"jig/job.toml"', '"jig/job.toml"'),
        is_aside=True,
    ),
    Key(
        "setups[].jig_at",
        "lengths",
        "Where the left front bottom corner of the blank as it lies should come to rest, from that of the"
        " jig's board on the table: right, back, up.",
        size=3,
        low=-BIGGEST,
        high=BIGGEST,
        default=(0, 0, 0),
        examples=("[0, 0, 0]", "[0, 0, 0]"),
        is_aside=True,
    ),
    Key(
        "setups[].jig_play",
        "length",
        "How far the piece may shift in its jig, from one end of its play to the other. When left out, the"
        " play is told and not judged.",
        low=0.001,
        high=100.0,
        examples=("0.2", "0.2"),
        is_aside=True,
    ),
    Key(
        "setups[].machine_zero",
        "lengths",
        "Where the zero lies in machine coordinates, to hold the programs against the travel of [machine].",
        size=3,
        low=-2 * BIGGEST,
        high=2 * BIGGEST,
        examples=("[250, 180, -70]", "[250, 180, -70]"),
        is_aside=True,
    ),
    *STEP_KEYS,
    Key("target", "table", "The wanted part. When left out, the shape is not judged."),
    Key(
        "target.mesh",
        "path",
        "A closed triangle mesh of the part.",
        required=True,
        noun="a mesh",
        examples=('"my_part.stl"',),
    ),
    Key(
        "target.units",
        "choice",
        "The unit of the mesh (many mesh files carry none).",
        required=True,
        choices=UNITS,
        examples=('"mm"',),
    ),
    Key(
        "target.rotate",
        "numbers",
        "Degrees about x, then y, then z.",
        size=3,
        low=-360.0,
        high=360.0,
        default=(0, 0, 0),
        examples=("[0, 0, 0]",),
        is_aside=True,
    ),
    Key(
        "target.anchor",
        "choice",
        "The point of the rotated mesh that lies at `at`: its own origin, the low corner or the centre of"
        " its bounding box.",
        default="origin",
        choices=ANCHORS,
        examples=('"origin"',),
        is_aside=True,
    ),
    Key(
        "target.at",
        **_SHIFT,
        size=3,
        help="Where that point lies, from the left front bottom corner of the blank, side 1 up.",
        default=(0, 0, 0),
        examples=("[0, 0, 0]",),
        is_aside=True,
    ),
    Key("dowels", "tables", "Holes through the blank that hold its place when it is turned over."),
    Key(
        "dowels[].name",
        "text",
        "What the hole is called in the findings; each has its own.",
        required=True,
        examples=('"left"', '"right"'),
    ),
    Key(
        "dowels[].at",
        "lengths",
        "Its centre, from the left front corner of the blank, side 1 up.",
        required=True,
        size=2,
        low=0.0,
        high=BIGGEST,
        examples=("[8, 45]", "[268, 45]"),
    ),
    Key(
        "dowels[].diameter",
        "length",
        "Diameter of the hole.",
        required=True,
        low=0.5,
        high=100.0,
        examples=("6", "6"),
    ),
    Key(
        "dowels[].hole",
        "length",
        "Diameter of the hole as measured. When left out: that of the cutter that drilled it.",
        low=0.5,
        high=100.0,
        examples=("6.05", "6.05"),
        is_aside=True,
    ),
    Key(
        "dowels[].pin",
        "length",
        "Diameter of the dowel pin as measured. With it the check tells how much play the blank has.",
        low=0.5,
        high=100.0,
        examples=("5.98", "5.98"),
        is_aside=True,
    ),
    Key(
        "dowels[].fit",
        "choice",
        "Hole and pin are made to this fit of ISO 286 (diameters over 3 mm up to 30 mm); counts when `pin` is"
        " not given. A hole routed in wood holds no such fit.",
        default="",
        choices=tuple(FITS),
        examples=('"H7/g6"',),
        is_aside=True,
    ),
    Key("limits", "table", "What you accept."),
    Key(
        "limits.gouge",
        **LIMIT,
        help="Deepest cut into the part.",
        default=f"{_LIMITS.gouge:g} mm",
        examples=("0.1",),
    ),
    Key(
        "limits.leftover",
        **LIMIT,
        help="Most that may stand proud of it.",
        default=f"{_LIMITS.leftover:g} mm",
        examples=("0.3",),
    ),
    Key(
        "limits.thinnest_wall",
        **LIMIT,
        help="Thinnest wall.",
        default=f"{_LIMITS.thinnest_wall:g} mm",
        examples=("3",),
    ),
    Key(
        "limits.witness_step",
        **LIMIT,
        help="Highest step where the two sides meet.",
        default=f"{_LIMITS.witness_step:g} mm",
        examples=("0.2",),
    ),
    Key(
        "limits.dowel_miss",
        **LIMIT,
        help="Farthest from a dowel hole to its pin.",
        default=f"{_LIMITS.dowel_miss:g} mm",
        examples=("0.1",),
    ),
    Key(
        "limits.cusp",
        "length",
        "Highest ridge between neighbouring passes. When left out, cusps are told and not judged.",
        low=0.001,
        high=100.0,
        examples=("0.05",),
        is_aside=True,
    ),
    Key(
        "limits.slenderness",
        "number",
        "Tallest a rib, rim or spire may stand while cutting goes on, as a multiple of its thickness.",
        low=1.0,
        high=100.0,
        default=_LIMITS.slenderness,
        examples=("8",),
    ),
    Key(
        "limits.finish_allowance",
        **LIMIT,
        help="What is left on purpose all over, for sanding: gouge and leftover count from there.",
        default=f"{_LIMITS.finish_allowance:g} mm",
        examples=("0.2",),
        is_aside=True,
    ),
    Key(
        "limits.skin",
        **LIMIT,
        help="Wood thinner than this holds no piece. The default is common practice, no source.",
        default=f"{_LIMITS.skin:g} mm",
        examples=("0.5",),
        is_aside=True,
    ),
    *ZONE_KEYS,
    *MACHINE_KEYS,
    *FIXTURE_KEYS,
    *HOLDING_KEYS,
    *LAYUP_KEYS,
    *BUDGET_KEYS,
    *ACCEPTED_KEYS,
)

# Words people use for the ways of turning over.
SAME_TURN = {
    "about length": "about x",
    "about its length": "about x",
    "about the length": "about x",
    "about the long axis": "about x",
    "about width": "about y",
    "about its width": "about y",
    "about the width": "about y",
    "end over end": "about y",
}
# Words people use for the shapes we have, and shapes that cannot be simulated, each with the reason.
SAME_SHAPE = {
    "ballnose": "ball",
    "ball nose": "ball",
    "ball-nose": "ball",
    "ball end": "ball",
    "round nose": "ball",
    "end mill": "flat",
    "endmill": "flat",
    "flat end": "flat",
    "square": "flat",
    "square end": "flat",
    "straight": "flat",
    "twist drill": "drill",
    "bullnose": "bull-nose",
    "bull nose": "bull-nose",
    "corner radius": "bull-nose",
    "tapered": "tapered ball",
    "tapered ball nose": "tapered ball",
    "tapered-ball": "tapered ball",
    "v-bit": "vee",
    "v bit": "vee",
    "v": "vee",
}
_UNDERCUT = "it cuts wider below than above, and what it leaves under an overhang cannot be held here"
_HOLLOW = "its edge is hollow, and only edges that bulge or run straight can be swept exactly"
REFUSED_SHAPES = {
    **dict.fromkeys(
        ["dovetail", "t-slot", "t slot", "tslot", "keyhole", "lollipop", "undercut", "slot cutter"], _UNDERCUT
    ),
    **dict.fromkeys(["round-over", "roundover", "round over", "ogee", "cove", "roman ogee"], _HOLLOW),
}


def children(parent: str) -> tuple[Key, ...]:
    """Return the keys of one table: parent "" (the top), "blank", "cutters.N", "setups[]" and so on."""
    return tuple(key for key in KEYS if key.parent == parent)


def toml_value(value: Any) -> str:
    """Return a default of the table as it is written in a job file."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return "[" + ", ".join(toml_value(part) for part in value) + "]"
    return f"{value:g}"


def _note(key: Key) -> str:
    """Return the comment on a key: help, what it may be, whether it may be left out."""
    parts = [key.help]
    if key.kind == "choice":
        parts.append(key.expected[0].upper() + key.expected[1:].replace("'", '"') + ".")
    if not key.required:
        parts.append("(optional)")
    return " ".join(parts)


def _comment(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, 92, initial_indent="# " + indent, subsequent_indent="# " + indent)


def _lines(key: Key, index: int) -> list[str]:
    """Return the template lines of one plain key in the table number `index`; notes in the first only."""
    if index >= len(key.examples):
        return []
    line = f"{'# ' * key.is_aside}{key.name} = {key.examples[index]}"
    if index > 0:
        return [line]
    beside = f"{line:<27} # {_note(key)}"
    lines = [beside] if len(beside) <= 94 else [*_comment(_note(key)), line]
    if key.kind == "table":
        for sub in children(key.path):
            example = f" {sub.name} = {sub.examples[0]}" if not sub.required else ""
            lines[-1:-1] = _comment(f"{sub.name}: {_note(sub)}{example}", "  ")
    return lines


_IS_ROW = re.compile(r"(# )?([a-z_]+ = |\[\[)")


def template_text() -> str:
    """Return a complete job file with a comment on every key, ready to be changed.

    It reads back as a valid job once the programs and the mesh it names stand beside it.
    """
    lines = [
        "# A job for simkit: one blank, its cutters, and the programs that carve it from two sides.",
        "# Change the values to yours.  Keys behind a # are optional; take the # away to use one.",
        "",
    ]
    for key in children(""):
        inner = children(key.inside)
        if not inner:
            lines += _lines(key, 0)
            continue
        lines += ["", *_comment(_note(key))]
        heads = {
            "table": [f"[{key.name}]"],
            "tables": [f"[[{key.name}]]"] * 2,
            "numbered tables": [f"[{key.name}.1]", f"[{key.name}.2]"],
        }[key.kind]
        most = max(len(sub.examples) for sub in inner)
        for index, head in enumerate(heads[:most]):
            table = [head]
            for sub in inner:
                table += _lines(sub, index)
            lines += [""] * (index > 0)
            # In a table set aside, keys that are set aside themselves keep a mark of their own.
            lines += (
                [f"# {line}" if _IS_ROW.match(line) else line for line in table] if key.is_aside else table
            )
    return "\n".join(lines) + "\n"


def markdown_table() -> str:
    """Return the table of all keys for the documentation, in Markdown."""
    rows = ["| key | value | when left out | meaning |", "| --- | --- | --- | --- |"]
    for key in KEYS:
        if key.required:
            default = "required"
        elif key.default in (None, "", ()):
            default = "-"
        else:
            default = f"`{toml_value(key.default)}`"
        value = key.expected.replace("'", "`")
        rows.append(f"| `{key.path}` | {value} | {default} | {key.help} |")
    return "\n".join(rows) + "\n"
