"""Good two-sided jobs, and what happens to programs: lines lost, signs lost, zeros wrong, each with its kind.

A job is a tray: a block with a pocket from either side, two dowel holes, all by G0 and G1.  A mutation
changes a program or the job in one way that happens in shops (common practice, no source), and says which
kinds of findings tell of it, any of them enough, and on which line.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import trimesh

from simkit.cli import main

REFUSED = "refused"  # the reader does not take the program, and says on which line

JOB = """\
name = "tray"
[blank]
length = {length}
width = {width}
thickness = {thickness}
[cutters.1]
shape = "flat"
diameter = 6
cutting_length = {edges}
shank = 6
stick_out = {stick_out}
holder = [[24, 24, 30]]
[cutters.2]
shape = "flat"
diameter = 8
cutting_length = 25
shank = 8
stick_out = 40
[cutters.3]
shape = "drill"
diameter = 5
cutting_length = 40
shank = 5
stick_out = 50
[machine]
low = [0, 0, -150]
high = [500, 400, 0]
[[setups]]
name = "face"
turn = "none"
zero = {{ corner = "{corner}", face = "top" }}
spoilboard = 4
machine_zero = {machine_zero}
programs = ["{first}"]
[[setups]]
name = "back"
turn = "{turn}"
zero = {{ corner = "{corner}", face = "top", offset = {offset} }}
spoilboard = 4
machine_zero = [200, 150, -60]
programs = ["{second}"]
[[fixtures]]
name = "clamp"
height = {high}
box = {clamp}
[target]
mesh = "part.stl"
units = "mm"
[[dowels]]
name = "left"
at = [6, {dowel_y}]
diameter = 5
[[dowels]]
name = "right"
at = [{dowel_x}, {dowel_y}]
diameter = 5
[limits]
gouge = 0.1
leftover = 1.4
thinnest_wall = 2
"""


@dataclass(frozen=True)
class Tray:
    """Sizes in mm: of the blank, and of the pockets (x0, x1, y0, y1, depth) of both sides, blank frame."""

    name: str
    length: float = 60.0
    width: float = 40.0
    thickness: float = 16.0
    top: tuple = (14.0, 46.0, 8.0, 32.0, 6.0)
    under: tuple = (20.0, 50.0, 6.0, 22.0, 4.0)
    corner: str = "left front"
    inches: bool = False

    def programs(self) -> tuple[str, str]:
        """Return the text of both programs."""
        return self._side(self.top, True), self._side(self.under, False)

    def _side(self, pocket, is_first: bool) -> str:
        x0, x1, y0, y1, depth = pocket
        if not is_first:  # turned about x
            y0, y1 = self.width - y1, self.width - y0
        zx = self.length / 2 if self.corner == "centre" else self.length * self.corner.startswith("right")
        zy = self.width / 2 if self.corner == "centre" else self.width * self.corner.endswith("back")
        scale = 25.4 if self.inches else 1.0

        def number(value):
            return f"{round(value / scale, 5):.6g}"

        def place(x, y):
            return f"X{number(x - zx)} Y{number(y - zy)}"

        rows = [f"G{20 if self.inches else 21} G90 G17", f"G0 Z{number(10)}"]
        if is_first:
            rows += ["T3 M6", "M3 S12000"]
            for x, y in self.dowels():
                rows += [f"G0 {place(x, y)}", f"G1 Z{number(-self.thickness - 3)} F{number(400)}"]
                rows += [f"G0 Z{number(10)}"]
            rows += ["M5"]
        rows += ["T1 M6", "M3 S18000"]
        levels = [depth / 2, depth]
        for nth, level in enumerate(levels):
            rows += [f"(level {nth + 1})", f"G0 {place(x0 + 3, y0 + 3)}", f"G0 Z{number(2)}"]
            rows += [f"G1 Z{number(-level)} F{number(500)}"]
            y, at_left = y0 + 3, True
            while y < y1 - 3 - 1e-9:
                rows += [f"G1 {place(x1 - 3 if at_left else x0 + 3, y)} F{number(2000)}"]
                y, at_left = min(y + 4, y1 - 3), not at_left
                rows += [f"G1 {place(x0 + 3 if at_left else x1 - 3, y)}"]
            rows += [f"G1 {place(x1 - 3 if at_left else x0 + 3, y)}"]
            rows += [
                f"G1 {place(x0 + 3, y0 + 3)}",
                f"G1 {place(x1 - 3, y0 + 3)}",
                f"G1 {place(x1 - 3, y1 - 3)}",
            ]
            rows += [f"G1 {place(x0 + 3, y1 - 3)}", f"G1 {place(x0 + 3, y0 + 3)}", f"G0 Z{number(10)}"]
        return "\n".join([*rows, "M5", "M30"]) + "\n"

    def dowels(self):
        """Return the places of both holes, blank frame."""
        y = self.width / 2
        return ((6.0, y), (self.length - 6.0, y))

    def part(self) -> trimesh.Trimesh:
        """Return the part."""

        def box(x0, x1, y0, y1, z0, z1):
            made = trimesh.creation.box(extents=(x1 - x0, y1 - y0, z1 - z0))
            made.apply_translation(((x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2))
            return made

        whole = box(0, self.length, 0, self.width, 0, self.thickness)
        x0, x1, y0, y1, depth = self.top
        cuts = [box(x0, x1, y0, y1, self.thickness - depth, self.thickness + 1)]
        x0, x1, y0, y1, depth = self.under
        cuts += [box(x0, x1, y0, y1, -1, depth)]
        for x, y in self.dowels():
            hole = trimesh.creation.cylinder(radius=2.5, height=self.thickness + 2, sections=96)
            hole.apply_translation((x, y, self.thickness / 2))
            cuts.append(hole)
        return trimesh.boolean.difference([whole, *cuts])


GOOD = (
    Tray("plain"),
    Tray("in inches", inches=True),
    Tray("zero in the middle", corner="centre"),
    Tray("zero right front", corner="right front"),
    Tray("zero left back", corner="left back", inches=True),
    Tray("thick", thickness=24.0, top=(14.0, 46.0, 8.0, 32.0, 9.0), under=(20.0, 50.0, 6.0, 22.0, 7.0)),
    Tray("long", length=90.0, top=(14.0, 60.0, 8.0, 30.0, 5.0), under=(30.0, 78.0, 10.0, 34.0, 6.0)),
    Tray("wide", width=60.0, top=(14.0, 46.0, 8.0, 50.0, 6.0), under=(22.0, 48.0, 6.0, 30.0, 4.0)),
    Tray("shallow", top=(16.0, 48.0, 8.0, 30.0, 3.2), under=(20.0, 44.0, 10.0, 26.0, 3.0)),
    Tray("deep above", top=(14.0, 44.0, 8.0, 32.0, 9.0), under=(20.0, 50.0, 6.0, 22.0, 3.0)),
    Tray("deep below", top=(16.0, 48.0, 12.0, 32.0, 3.0), under=(14.0, 40.0, 6.0, 26.0, 9.0)),
    Tray("thin, zero right back", thickness=12.0, corner="right back", under=(20.0, 50.0, 6.0, 22.0, 3.0)),
)


# Which lines may be named where a finding has a place but no one line is at fault: of the first level, whose
# floor is left; that cut at all; that say how a blank is turned.
LEVEL_1, CUTS, TURNS = "level 1", "cuts", "turns"


@dataclass(frozen=True)
class Mutation:
    """One thing gone wrong.

    change(tray, texts) -> texts of both programs, settings for JOB, and what is to be named: a list of (file,
    line), (file, start of the line) or (file, LEVEL_1, CUTS or TURNS), any of them enough.  kinds: any of
    them tells of it, there.
    """

    name: str
    kinds: tuple[str, ...]
    change: Callable


def _edited(side: int, wanted: str, new: Callable[[str], list[str]], nth: int = 0, told: int = 0, lines=1):
    """A change of the nth line that starts so, and the `lines` from there; told: the line to be named,
    counted from it, some of these, or which lines.
    """

    def change(tray, texts):
        rows = texts[side].splitlines()
        k = [k for k, row in enumerate(rows) if row.startswith(wanted)][nth]
        rows[k : k + lines] = new(rows[k])
        texts = list(texts)
        texts[side] = "\n".join(rows) + "\n"
        named = [told] if isinstance(told, int | str) else told
        return (
            texts,
            {},
            [(f"side{side + 1}.nc", k + 1 + one if isinstance(one, int) else one) for one in named],
        )

    return change


def _stated(*told, **settings):
    """A change of the job alone; told: what is to be named, each (file, lines)."""
    return lambda tray, texts: (texts, settings, list(told))


def lines_of(text: str, asked: int | str, nth: int = 0) -> list[int]:
    """Return the lines of a program or a job that may be named; nth: of those that start so."""
    rows = text.splitlines()
    if isinstance(asked, int):
        return [asked]
    if asked == LEVEL_1:
        return list(range(rows.index("(level 1)") + 1, rows.index("(level 2)") + 1))
    starts = {CUTS: "G1 ", TURNS: "turn ="}.get(asked, asked)
    found = [k for k, row in enumerate(rows, 1) if row.startswith(starts)]
    # Of a job the last setup is the one that is spoilt; of a program the nth such line, or all.
    return found[-1:] if asked == TURNS else found if asked == CUTS else [found[nth]]


def _gone(row):
    return []


def _signless(row):
    return [row.replace("Z-", "Z")]


def _without_point(row):
    number = row.split("Z-")[1].split()[0]
    return [row.replace(f"Z-{number}", f"Z-{number.replace('.', '') if '.' in number else number + '0'}")]


def _ten_times(row):
    number = row.split("X")[1].split()[0]
    return [row.replace(f"X{number}", f"X{float(number) * 10:g}")]


def _too_long(mm):
    """A change of every Z of side 1 behind T1: the cutter is longer than its length offset says."""

    def change(tray, texts):
        head, tail = texts[0].split("T1 M6")
        more = mm / 25.4 if tray.inches else mm
        tail = re.sub(r"Z(-?[\d.]+)", lambda found: f"Z{round(float(found[1]) - more, 5):g}", tail)
        return [f"{head}T1 M6{tail}", texts[1]], {}, [("side1.nc", CUTS)]

    return change


def _cut_off(tray, texts):
    """The second program ends in the middle of its last pass, as after a full disk."""
    rows = texts[1].splitlines()
    last = [k for k, row in enumerate(rows) if row.startswith("G1 ")][-4]
    return [texts[0], "\n".join(rows[:last]) + "\n"], {}, [("side2.nc", last)]


def _first_zero(tray, texts):
    """The second program counts from another corner, but starts with the zero of the first."""
    other = "right back" if tray.corner in ("left front", "centre") else "left front"
    return [texts[0], replace(tray, corner=other).programs()[1]], {}, [("job.toml", "zero =", 1)]


def _other_unit(row):
    return [row.replace("G21", "G20")]


CUT = ("gouge", "break-through")
LEFT = ("leftover-program", "leftover-cutter")
LOW = ("unsafe-height", "rapid-contact")
FIRST_HOLE = ("side1.nc", "G0 X")
SECOND = ("side2.nc", CUTS)
BOTH = (("job.toml", TURNS), ("side1.nc", CUTS), SECOND)
MUTATIONS = (
    Mutation("decimal point lost", ("table-contact", REFUSED), _edited(0, "G1 Z-", _without_point, 3)),
    Mutation(
        "decimal point lost, side 2", ("table-contact", REFUSED), _edited(1, "G1 Z-", _without_point, 1)
    ),
    Mutation("sign lost in the last plunge", LEFT, _edited(0, "G1 Z-", _signless, 3, LEVEL_1)),
    Mutation("retract missing before the next hole", ("rapid-contact",), _edited(0, "G0 Z", _gone, 1)),
    Mutation("retract missing at the end", ("unsafe-height",), _edited(1, "G0 Z", _gone, 4, -1)),
    Mutation("retract missing before the change", ("unsafe-height",), _edited(0, "G0 Z", _gone, 2, -1)),
    Mutation(
        "G0 typed for G1", ("rapid-contact",), _edited(0, "G1 Z-", lambda row: [row.replace("G1", "G0")], 2)
    ),
    Mutation("spindle not started again", ("spindle-off",), _edited(0, "M3", _gone, 1, 3)),
    Mutation("no feed", (REFUSED,), _edited(1, "G1 Z-", lambda row: [row.split(" F")[0]])),
    Mutation("unit lost", (REFUSED,), _edited(1, "G2", lambda row: ["G90 G17"], 0, 1)),
    Mutation("inches for millimetres", ("table-contact",), _edited(0, "G21", _other_unit, 0, 5)),
    Mutation("a wider cutter called", CUT, _edited(0, "T1", lambda row: ["T2 M6"], 0, CUTS)),
    Mutation("a cutter called that is not there", (REFUSED,), _edited(1, "T1", lambda row: ["T9 M6"])),
    Mutation(
        "decimal point of X moved", ("travel", "fixture-contact", *CUT), _edited(0, "G1 X", _ten_times, 0)
    ),
    Mutation("some lines deleted", LEFT, _edited(0, "G1 X", _gone, -14, LEVEL_1, 4)),
    Mutation(
        "programs swapped",
        ("wrong-turn", "dowel-miss", *CUT),
        _stated(*BOTH, first="side2.nc", second="side1.nc"),
    ),
    Mutation(
        "first program run twice",
        ("wrong-turn", "dowel-miss", *LEFT, *CUT),
        _stated(*BOTH, second="side1.nc"),
    ),
    Mutation("turned end over end", ("wrong-turn",), _stated(("job.toml", TURNS), turn="about y")),
    Mutation("not turned over", ("wrong-turn",), _stated(("job.toml", TURNS), turn="none")),
    Mutation("second program with the first one's zero", ("wrong-turn",), _first_zero),
    Mutation("second zero 0.8 mm off", CUT, _stated(SECOND, offset="[0.8, 0, 0]")),
    Mutation("second zero 1 mm too low", CUT, _stated(SECOND, offset="[0, 0, -1]")),
    Mutation("second zero 2 mm too high", LEFT, _stated(SECOND, offset="[0, 0, 2]")),
    Mutation(
        "clamp in the way", ("fixture-contact",), _stated(FIRST_HOLE, clamp="[[-30, 0], [5, 40]]", high=60)
    ),
    Mutation("edges too short", ("shank-contact",), _stated(("side1.nc", "G1 X"), edges=1.0)),
    Mutation(
        "cutter too far up in its holder",
        ("holder-contact",),
        _stated(("side1.nc", "G1 Z-", 2), edges=1.2, stick_out=1.2),
    ),
    Mutation(
        "work too near the end of travel", ("travel",), _stated(FIRST_HOLE, machine_zero="[-90, 150, -60]")
    ),
    Mutation("cutter 2 mm longer than its offset", CUT, _too_long(2.0)),
    Mutation("program cut off", ("unsafe-height",), _cut_off),
    Mutation("comma for a point", (REFUSED,), _edited(1, "G0 X", lambda row: [row.replace(" Y", ",5 Y")])),
    Mutation("letter O for a zero", (REFUSED,), _edited(0, "G0 Z", lambda row: [row.replace("Z", "ZO")], 2)),
    Mutation(
        "X and Y of a dowel hole exchanged",  # where it lies beside the blank, the other hole is named
        ("dowel-miss", "break-through"),
        _edited(0, "G0 X", lambda row: [row.translate(str.maketrans("XY", "YX"))], 0, (1, 4)),
    ),
    Mutation("spindle never started on side 2", ("spindle-off",), _edited(1, "M3", _gone, 0, 3)),
    Mutation("first rapid down into the wood", LOW, _edited(0, "G0 Z", lambda row: ["G0 Z-0.1"], 0, 3)),
)
_SETTINGS = {
    "edges": 22,
    "stick_out": 40,
    "first": "side1.nc",
    "second": "side2.nc",
    "turn": "about x",
    "offset": "[0, 0, 0]",
    "machine_zero": "[200, 150, -60]",
    "clamp": "[[-30, 5], [-14, 20]]",
    "high": 20,
}


def write(folder, tray: Tray, mutation: Mutation | None = None):
    """Write a job; return its file, and what may be named: each (file, line)."""
    texts, settings, wanted = (
        (tray.programs(), {}, []) if mutation is None else mutation.change(tray, tray.programs())
    )
    for name, text in zip(("side1.nc", "side2.nc"), texts, strict=True):
        (folder / name).write_text(text, encoding="utf-8")
    (_, y), (far, _) = tray.dowels()
    sizes = {name: getattr(tray, name) for name in ("length", "width", "thickness", "corner")}
    job = JOB.format(**sizes, dowel_x=far, dowel_y=y, **(_SETTINGS | settings))
    (folder / "job.toml").write_text(job, encoding="utf-8")
    tray.part().export(folder / "part.stl")
    return folder / "job.toml", [
        (file, line)
        for file, *asked in wanted or ()
        for line in lines_of((folder / file).read_text("utf-8"), *asked)
    ]


def run(folder, tray: Tray, mutation: Mutation | None = None):
    """Write a job, check it; return exit status, (kind, file, line) of what fails, and what may be named.

    A finding of several moves stands for the worst and names the line of the first: both are lines of it.
    """
    job, wanted = write(folder, tray, mutation)
    told = io.StringIO()
    with contextlib.redirect_stderr(told), contextlib.redirect_stdout(io.StringIO()):
        status = main(["check", str(job), "--quiet", "--cell", "0.5", "--json", str(folder / "r.json")])
    if status == 2:
        rows = re.findall(r"(side\d\.nc):(\d+)", told.getvalue())
        return status, [(REFUSED, file, int(line)) for file, line in rows], wanted
    found = json.loads((folder / "r.json").read_text("utf-8"))["findings"]
    failing = [row for row in found if row["severity"] in ("safety", "beyond", "undecided")]
    lines = [(row["kind"], row["file"], row["line"]) for row in failing]
    for row in failing:
        first = re.search(r"the worst of \d+ such moves, the first in line (\d+)(?! of)", row["message"])
        lines += [(row["kind"], row["file"], int(first[1]))] if first else []
    return status, lines, wanted


def is_found(mutation: Mutation, status: int, told: list, wanted) -> bool:
    """Return whether one of the kinds is told, on a line that may be named."""
    assert wanted, mutation.name
    return status in (1, 2) and any(
        kind in mutation.kinds and (file, line) in wanted for kind, file, line in told
    )
