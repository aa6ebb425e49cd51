"""The sheet for the shop as data: boards to cut, then for each setup how the blank lies, zero, pins, cutters.

Everything is counted from the left front corner of the blank as the operator sees it lying there, heights
from its lower face.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

import simkit
from simkit.job.layup import glue_lines, pieces, sawn_from
from simkit.job.model import Blank, Holding, Job, Setup
from simkit.job.wood import density
from simkit.moves.extremes import extremes
from simkit.moves.table import join_moves
from simkit.report.cautions import CAUTIONS
from simkit.report.sheet_steps import sheet_steps

VERSION = 1
ALLOWANCES = "jointing", "planing", "saw", "ends"
_NEAR = 1e-6


def sheet_of(job: Job, reads, done=None) -> dict[str, Any]:
    """Return the sheet of a job as plain data: mm, kg, dm3; of resin cm3 and g.

    reads: of its programs, by setup.  done[setup]: the steps that follow it, of stock.steps; None: not known.
    """
    return {
        "form": "simkit sheet",
        "version": VERSION,
        "simkit": simkit.__version__,
        "job": {"name": job.name, "file": job.file, "unit": job.unit},
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
        "run": layup.run,
        "rings": layup.rings,
        "allowances": {name: getattr(layup, name) for name in ALLOWANCES},
        "assumed": [name for name in ALLOWANCES if f"layup.{name}" not in job.lines],
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
        "jig": None if setup.jig is None else {"file": _seen_from(job, setup.jig), "at": list(setup.jig_at)},
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
        "program_unit": unit_of_programs(setup, reads),
        "pins": _pins(job, setup),
        "fixtures": [
            {"name": fixture.name, "height": fixture.height, "box": list(fixture.box_in_plan)}
            for fixture in job.fixtures
            if fixture.stands_in(setup)
        ],
        "holding": [_holding(one) for one in job.holding if one.stands_in(setup)],
    }


def _seen_from(job: Job, path: Path) -> str:
    """Return a path as the job file would name it; whole where no way leads there."""
    try:
        return Path(os.path.relpath(path, Path(job.file).parent)).as_posix()
    except ValueError:  # another drive
        return path.as_posix()


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


def unit_of_programs(setup: Setup, reads) -> str:
    """Return "in" where all programs of a setup count in inches, else "mm"."""
    units = {unit for read in reads for unit in (read.units_seen or (setup.program_units,))}
    return "in" if units == {"in"} else "mm"


def _pins(job: Job, setup: Setup) -> list[dict[str, Any]]:
    """Where pins stand in this setup: as it states them, else where the dowel holes come to lie.

    Where the blank lies as in the first setup the holes are drilled or wait for their pins.
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
            "is_hole": not setup.stands_on_pins(job.setups[0]),
        }
        for name, at, diameter in places
    ]
