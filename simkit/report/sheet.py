"""The sheet for the shop: boards to cut, then for each setup how the blank lies, zero, pins, cutters, checks.

Everything is counted from the left front corner of the blank as the operator sees it lying there, heights
from its lower face.
"""

from __future__ import annotations

from typing import Any

import numpy as np

import simkit
from simkit.job.layup import glue_lines, pieces, sawn_from
from simkit.job.model import Blank, Holding, Job, Setup
from simkit.job.wood import density
from simkit.moves.extremes import extremes
from simkit.moves.table import join_moves
from simkit.report.cautions import CAUTIONS
from simkit.report.lengths import Lengths
from simkit.report.sheet_steps import resin_lines, sheet_steps, step_lines

VERSION = 1
_NEAR = 1e-6


def sheet_of(job: Job, reads, done=None) -> dict[str, Any]:
    """Return the sheet of a job as plain data: mm, kg, dm3; of resin cm3 and g.

    reads: of its programs, by setup.  done[setup]: the steps that follow it, of stock.steps; None: not known.
    """
    return {
        "form": "simkit sheet",
        "version": VERSION,
        "simkit": simkit.__version__,
        "job": {"name": job.name, "file": job.file},
        "blank": _blank(job.blank),
        "boards": _boards(job),
        "setups": [
            _setup(job, index, [read for _, read in programs]) for index, programs in enumerate(reads)
        ],
        "cautions": list(CAUTIONS),
        **({"steps": sheet_steps(job, reads, done)} if job.steps else {}),
    }


def _blank(blank: Blank) -> dict[str, Any]:
    volume = blank.length * blank.width * blank.thickness / 1e6
    heavy = density(blank.species)
    return {
        "length": blank.length,
        "width": blank.width,
        "thickness": blank.thickness,
        "species": blank.species,
        "grain": blank.grain,
        "volume": volume,
        "mass": None if heavy is None else volume * heavy / 1000,
        "density": heavy,
    }


def _boards(job: Job) -> dict[str, Any] | None:
    layup, blank = job.layup, job.blank
    if layup is None:
        return None
    rows = [
        {
            "count": piece.count,
            "length": piece.length,
            "width": piece.width,
            "thickness": piece.thickness,
            "sawn_from": sawn_from(piece, layup.saw),
        }
        for piece in pieces(layup, blank)
    ]
    volume = sum(row["count"] * row["length"] * row["width"] * row["thickness"] for row in rows) / 1e6
    return {
        "joined": layup.joined,
        "rings": layup.rings,
        "allowances": {name: getattr(layup, name) for name in ("jointing", "planing", "saw", "ends")},
        "pieces": rows,
        "volume": volume,
        "glue_lines": glue_lines(layup),
    }


def _setup(job: Job, index: int, reads) -> dict[str, Any]:
    setup, blank = job.setups[index], job.blank
    across, deep = setup.size_on_table(blank)
    thick = setup.body(blank).thickness
    moves = join_moves([read.moves for read in reads])
    zero = setup.to_table(blank).apply(np.zeros(3))
    cutters = [_cutter(job, setup, moves, int(tool)) for tool in dict.fromkeys(moves.tool.tolist()) if tool]
    return {
        "name": setup.name,
        "size": [across, deep, thick],
        "lies": _lies(setup),
        "mark": _mark(setup, blank),
        "zero": {
            "corner": setup.zero.corner,
            "face": setup.zero.face,
            "offset": list(setup.zero.offset),
            "at": zero.tolist(),
            "machine": list(setup.machine_zero) if setup.machine_zero else None,
        },
        "work_offsets": {name: list(place) for name, place in setup.work_offsets.items()},
        "programs": [
            {"file": read.name, "ends": read.has_end, "spindle": _speeds(read.moves)} for read in reads
        ],
        "cutters": cutters,
        "spoilboard": setup.spoilboard,
        "below_blank": max([cutter["deepest"] - thick for cutter in cutters], default=0.0),
        "program_unit": _program_unit(setup, reads),
        "pins": _pins(job, setup, index),
        "fixtures": [
            {"name": fixture.name, "height": fixture.height, "box": list(fixture.box_in_plan)}
            for fixture in job.fixtures
            if fixture.stands_in(setup)
        ],
        "holding": [_holding(one) for one in job.holding if one.stands_in(setup)],
    }


def _holding(one: Holding) -> dict[str, Any]:
    """What holds, and over what: the box round it in plan; round: its diameter; corners: of an outline."""
    corners = np.array(one.box or one.outline or [one.at])
    half = 0.0 if one.diameter is None else one.diameter / 2
    low, high = corners.min(axis=0) - half, corners.max(axis=0) + half
    return {
        "kind": one.kind,
        "box": [float(low[0]), float(high[0]), float(low[1]), float(high[1])],
        "diameter": one.diameter,
        "corners": None if one.outline is None else len(one.outline),
    }


def _lies(setup: Setup) -> str:
    side = {
        "none": "side 1 up",
        "about x": "side 2 up, turned over about its length (the front edge comes to the back)",
        "about y": "side 2 up, turned over end over end (the left end comes to the right)",
    }[setup.turn]
    swing = {"none": "", "half": ", then swung half round"}.get(setup.swing, f", then swung {setup.swing}")
    return side + swing


def _mark(setup: Setup, blank: Blank) -> dict[str, Any]:
    """Where the corner of side 1 lies that is left front with side 1 up: what shows a wrong turn."""
    across, deep = setup.size_on_table(blank)
    body = setup.body(blank)
    corner = (body.low[0], body.low[1], body.high[2])
    x, y, z = setup.lie(blank).inverse().apply(np.array(corner))
    return {
        "corner": f"{'left' if x < across / 2 else 'right'} {'front' if y < deep / 2 else 'back'}",
        "face": "up" if z > body.thickness / 2 else "down",
    }


def _speeds(moves) -> list[float] | None:
    is_on = ~moves.rapid & (moves.speed != 0)
    speeds = np.abs(moves.speed[is_on])
    return [float(speeds.min()), float(speeds.max())] if len(speeds) else None


def _cutter(job: Job, setup: Setup, moves, tool: int) -> dict[str, Any]:
    """What a cutter must be and reach; `deepest` mm: its tip below the highest face of the blank."""
    cutter, blank = job.cutters[tool], job.blank
    mine = moves[np.flatnonzero(moves.tool == tool)]
    low, _ = extremes(mine)
    lowest = float(low[:, 2].min())
    tip = setup.to_table(blank).apply(np.array([0.0, 0.0, lowest]))
    deepest = setup.body(blank).thickness - float(tip[2])
    return {
        "number": tool,
        "shape": cutter.shape,
        "diameter": cutter.diameter,
        "flutes": cutter.flutes,
        "lowest": lowest,
        "deepest": deepest,
        "stick_out": cutter.stick_out,
        "stick_out_for_sure": max(deepest, 0.0) + job.machine.clearance,
        "cutting_length": cutter.cutting_length,
    }


def _program_unit(setup: Setup, reads) -> str:
    """Return "in" where all programs of a setup count in inches, else "mm"."""
    units = {unit for read in reads for unit in (read.units_seen or (setup.program_units,))}
    return "in" if units == {"in"} else "mm"


def _pins(job: Job, setup: Setup, index: int) -> list[dict[str, Any]]:
    """Where pins stand in this setup: as it states them, else where the dowel holes come to lie.

    In the first setup the holes are drilled or wait for their pins.
    """
    to_program = setup.to_table(job.blank).inverse()
    if setup.pins is None:
        to_table = setup.lie(job.blank).inverse()
        places = [(one.name, to_table.apply_plan(np.array(one.at)), one.diameter) for one in job.dowels]
    else:
        places = [(f"pin {k}", np.array(at), None) for k, at in enumerate(setup.pins, 1)]
    return [
        {
            "name": name,
            "diameter": diameter,
            "at": at.tolist(),
            "program": to_program.apply_plan(at).tolist(),
            "is_hole": index == 0 and setup.pins is None,
        }
        for name, at, diameter in places
    ]


# -- as text ----------------------------------------------------------------------------------------


def sheet_text(sheet: dict[str, Any]) -> str:
    """Return the sheet as lines to print."""
    name = sheet["job"]["name"] or sheet["job"]["file"]
    lines = [
        f"{name}: sheet for the shop",
        "This sheet checks nothing: run simkit check first.",
        "Lengths in mm.",
        "",
    ]
    lines += _blank_lines(sheet["blank"])
    if sheet["boards"] is not None:
        lines += _board_lines(sheet["boards"])
    lines += resin_lines(sheet.get("steps", ()))
    for number, setup in enumerate(sheet["setups"], 1):
        lines += ["", f"Setup {number} of {len(sheet['setups'])}: {setup['name']}"]
        lines += [f"  {line}" for line in _setup_lines(setup, number)]
        for step in sheet.get("steps", ()):
            if step["after"] == number:
                lines += ["", f"Then step {step['number']}: {step['words']}"]
                lines += [f"  {line}" for line in step_lines(step)]
    lines += ["", *sheet["cautions"]]
    return "\n".join(lines)


def _n(value: float) -> str:
    """Return a length to 0.01 mm, with no minus before a zero."""
    return f"{round(value, 2) + 0.0:g}"


def _by(*sizes: float) -> str:
    return " x ".join(_n(size) for size in sizes)


def _blank_lines(blank: dict[str, Any]) -> list[str]:
    size = _by(blank["length"], blank["width"], blank["thickness"])
    words = [blank["species"]] if blank["species"] else []
    words += [f"fibres {blank['grain']}"] if blank["grain"] else []
    line = f"Blank ready to cut: {size} mm" + (f", {', '.join(words)}" if words else "")
    line += f"; {blank['volume']:.2f} dm3"
    if blank["mass"] is not None:
        heavy = f"{blank['density']:.0f} kg/m3 at 12 % moisture, Wood Handbook"
        line += f", about {blank['mass']:.2f} kg ({heavy})"
    return [line]


def _board_lines(boards: dict[str, Any]) -> list[str]:
    taken = boards["allowances"]
    side = "front to back" if boards["joined"] == "along y" else "lower face to upper face"
    rings = f", rings {boards['rings']}" if boards["rings"] else ""
    lines = [f"Boards to cut ({boards['volume']:.2f} dm3{rings}), side by side from {side}:"]
    for piece in boards["pieces"]:
        size = _by(piece["length"], piece["width"], piece["thickness"])
        lines.append(f"  {piece['count']} of {size} mm; sawn side by side: from {_n(piece['sawn_from'])} mm")
    lines.append(
        f"  with {_n(taken['jointing'])} mm for jointing a glued face, {_n(taken['planing'])} for planing an "
        f"outer face, {_n(taken['saw'])} for the saw, {_n(taken['ends'])} off each end"
    )
    if boards["glue_lines"]:
        axis = boards["joined"][-1]
        places = ", ".join(_n(place) for place in boards["glue_lines"])
        lines.append(f"  glue lines at {axis} = {places} mm")
    return lines


def _setup_lines(setup: dict[str, Any], number: int) -> list[str]:
    mark, zero = setup["mark"], setup["zero"]
    lines = [f"lies       {setup['lies']}; {_by(*setup['size'][:2])} mm on the table"]
    if number == 1:
        lines.append(
            f"mark       write an arrow on the upper face at its {mark['corner']} corner before anything else"
        )
    else:
        lines.append(f"mark       the marked corner is now at the {mark['corner']}, face {mark['face']}")
    face = "the upper face" if zero["face"] == "top" else "the table"
    text = f"zero       {zero['corner']} corner, on {face}"
    if zero["corner"] == "centre":
        text = f"zero       the middle of the blank, on {face}"
    if any(zero["offset"]):
        text += ", off by X{} Y{} Z{}".format(*map(_n, zero["offset"]))
    text += "; that is X{} Y{} Z{} from the left front corner on the table".format(*map(_n, zero["at"]))
    lines.append(text)
    if zero["machine"]:
        lines.append("           machine X{} Y{} Z{}".format(*map(_n, zero["machine"])))
    lines += [
        "           {}: X{} Y{} Z{} from there".format(name, *map(_n, place))
        for name, place in setup["work_offsets"].items()
    ]
    for k, program in enumerate(setup["programs"]):
        lines.append(f"{'programs' if k == 0 else '':<10} {program['file']}{_spindle(program['spindle'])}")
    for k, cutter in enumerate(setup["cutters"]):
        lines.append(f"{'cutters' if k == 0 else '':<10} {_cutter_text(cutter)}")
    lines += _below_lines(setup["below_blank"], setup["spoilboard"])
    for k, pin in enumerate(setup["pins"]):
        what = "holes" if pin["is_hole"] else "pins"
        # Beside a control that counts in inches, a place in mm would be typed in as it stands.
        place = Lengths(setup["program_unit"]).place if setup["program_unit"] == "in" else _n
        text = "{} at {}, {} mm from the left front corner (program X{} Y{}{})".format(
            pin["name"],
            *map(_n, pin["at"]),
            *map(place, pin["program"]),
            " in" if setup["program_unit"] == "in" else "",
        )
        wide = "" if pin["diameter"] is None else f", diameter {_n(pin['diameter'])}"
        lines.append(f"{what if k == 0 else '':<10} {text}{wide}")
    for k, fixture in enumerate(setup["fixtures"]):
        low_x, high_x, low_y, high_y = fixture["box"]
        text = f"{fixture['name']}: x {_n(low_x)} to {_n(high_x)}, y {_n(low_y)} to {_n(high_y)}, "
        lines.append(f"{'clamps' if k == 0 else '':<10} {text}{_n(fixture['height'])} mm high")
    lines += [
        f"{'held by' if k == 0 else '':<10} {_holding_text(one)}" for k, one in enumerate(setup["holding"])
    ]
    lines += [
        f"{'measure' if k == 0 else '':<10} [ ] {text}" for k, text in enumerate(to_measure(setup, number))
    ]
    return lines


def _holding_text(one: dict[str, Any]) -> str:
    low_x, high_x, low_y, high_y = one["box"]
    text = f"{one['kind']}: x {_n(low_x)} to {_n(high_x)}, y {_n(low_y)} to {_n(high_y)}"
    if one["diameter"] is not None:
        return text + f", round, {_n(one['diameter'])} mm across"
    return text if one["corners"] is None else text + f", an outline of {one['corners']} corners within that"


def _below_lines(below: float, allowed: float | None) -> list[str]:
    """Say how deep cutters go below the blank, against what is stated."""
    if below > _NEAR:
        text = f"below      cutters go {_n(below)} mm below the blank"
        if allowed is None:
            return [f"{text}: INTO THE TABLE, for no spoilboard is stated"]
        enough = "" if allowed + _NEAR >= below else ": NOT ENOUGH"
        return [f"{text}; stated are {_n(allowed)} mm of spoilboard{enough}"]
    return [] if allowed is None else ["below      spoilboard, not cut into"]


def _spindle(speeds: list[float] | None) -> str:
    if speeds is None:
        return ""
    low, high = speeds
    return f", spindle {low:g} rev/min" if low == high else f", spindle {low:g} to {high:g} rev/min"


def _cutter_text(cutter: dict[str, Any]) -> str:
    text = f"T{cutter['number']} {_n(cutter['diameter'])} mm {cutter['shape']}"
    if cutter["deepest"] > 0:
        text += f", down to {_n(cutter['deepest'])} mm below the upper face (Z{_n(cutter['lowest'])})"
    needed, stated = cutter["stick_out_for_sure"], cutter["stick_out"]
    if stated is None:
        return text + f"; stick out {_n(needed)} mm or more, which keeps the holder above the wood"
    text += f"; stick out {_n(stated)} mm as stated"
    if stated + _NEAR >= needed:
        return text + f" ({_n(needed)} keeps the holder above the wood)"
    text += f": less than {_n(needed)}, so the holder comes below the upper face; the check says whether it"
    return text + " meets wood"


def to_measure(setup: dict[str, Any], number: int) -> list[str]:
    """Return what to measure before pressing start.  setup: of a sheet; number: of the setup, from 1."""
    across, deep, thick = setup["size"]
    size = " x ".join(f"{_n(one)} mm" for one in (across, deep, thick))
    rows = [f"the blank: {size} thick at all four corners, and flat"]
    if number > 1:
        rows.append("turned over as above: the mark is where it should be, nothing under the blank")
        if setup["pins"]:
            rows.append("the pins without play in the table and in the holes")
    rows += [
        f"T{cutter['number']}: diameter {_n(cutter['diameter'])} mm, stick-out, sharp, clean in its collet"
        for cutter in setup["cutters"]
    ]
    rows.append("the zero touched off anew, X, Y and Z, with the paper or plate taken off again")
    if setup["spoilboard"] is not None or setup["below_blank"] > _NEAR:
        deep = max(setup["spoilboard"] or 0.0, setup["below_blank"])
        rows.append(f"the spoilboard thicker than {_n(deep)} mm, no screws in the way")
    rows.append("clamps, tape and pins hold; nothing lies in the way; first pass in the air")
    return rows
