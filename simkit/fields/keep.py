"""A check's fields written to one file, with the programs that cut them and what each move did."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import BinaryIO

import simkit
from simkit.errors import InputProblems, Place, Problem
from simkit.fields.archive import Writer
from simkit.fields.stated import (
    ABOUT,
    FORM,
    VERSION,
    blank_stated,
    cutter_stated,
    lie_stated,
    reading_stated,
    same_moves,
    step_stated,
)
from simkit.findings.evidence import Evidence
from simkit.program.job_programs import bytes_of, read_as_stated
from simkit.report.whole_file import put_whole_by, unwritten
from simkit.stock.field import Field
from simkit.stock.replay import Replay

OPTION = "--keep-field"
SURFACES = ("lower", "upper", "lower_move", "upper_move")
WOOD = ("wood_lower", "wood_upper")
TOLD = ("volume", "right", "depth", "at", "top", "along", "under")  # of each move, of stock.replay


def program_member(setup: int, part: int) -> str:
    """Return the name of a program in the file; both counted from 0."""
    return f"{setup + 1}/program {part + 1}.nc"


def array_member(setup: int, name: str) -> str:
    """Return the name of an array of a setup in the file, without its ending."""
    return f"{setup + 1}/{name}"


def keep_field(path: Path, evidence: Evidence) -> None:
    """Write what stands after each setup of a check to one file, whole or not at all.

    For each setup: the field as its programs left it (before the steps that follow), what each move did, and
    the bytes of its programs.  Written as it is made: no more memory than one array packed.
    Raises InputProblems where a program is no longer what was cut, or the place cannot be written.
    """
    programs = [[_bytes_cut(evidence, i, *one) for one in own] for i, own in enumerate(evidence.reads)]

    def write(file: BinaryIO) -> None:
        with Writer(file) as archive:
            about = json.dumps(_about(evidence, programs), indent=1, ensure_ascii=False, allow_nan=False)
            archive.put(ABOUT, about.encode("utf-8", "replace"))
            for index, met in enumerate(evidence.replays):
                for part, data in enumerate(programs[index]):
                    archive.put(program_member(index, part), data)
                for name, array in _arrays(met):
                    archive.put_array(array_member(index, name), array)

    try:
        put_whole_by(path, write)
    except OSError as reason:
        raise unwritten(str(path), OPTION, reason) from None


def _bytes_cut(evidence: Evidence, setup: int, path: Path, read) -> bytes:
    """Return the bytes of a program, which still must say what was cut."""
    job, its = evidence.job, evidence.job.setups[setup]
    data = bytes_of(path, read.name)
    try:
        is_same = same_moves(read.moves, read_as_stated(data, read.name, job, its, setup).moves)
    except InputProblems:
        is_same = False
    if not is_same:
        found, expected = (
            "other moves than those that were checked",
            "a program that nobody changes meanwhile",
        )
        raise InputProblems(Problem(Place(read.name, key=OPTION), found, expected, "check it again"))
    return data


def _about(evidence: Evidence, programs: list[list[bytes]]) -> dict:
    job, lattice = evidence.job, evidence.field.lattice
    return {
        "form": FORM,
        "version": VERSION,
        "simkit": simkit.__version__,
        "job": {"name": job.name, "file": Path(job.file).name},
        "blank": blank_stated(job),
        "cell": float(lattice.cell),
        "cells": [lattice.nx, lattice.ny],
        "cutters": {str(number): cutter_stated(cutter) for number, cutter in job.cutters.items()},
        "steps": [step_stated(step) for step in job.steps],
        "setups": [
            {
                "name": setup.name,
                "lie": lie_stated(setup),
                "reading": reading_stated(job, setup),
                "moves": len(met.volume),
                "evaluations": int(met.evaluations),
                "parts": list(met.rub_depth),
                "resin": met.field.wood_upper is not None,
                "sawn": None if met.field.sawn is None else list(met.field.sawn),
                "programs": [
                    {"name": read.name, "sha256": hashlib.sha256(data).hexdigest()}
                    for (_, read), data in zip(own, its, strict=True)
                ],
            }
            for setup, met, own, its in zip(
                job.setups, evidence.replays, evidence.reads, programs, strict=True
            )
        ],
    }


def _arrays(met: Replay):
    """Yield the arrays of one setup with their names."""
    field: Field = met.field
    for name in SURFACES:
        yield name, getattr(field, name)
    if field.wood_upper is not None:
        for name in WOOD:
            yield name, getattr(field, name)
    for name in TOLD:
        yield name, getattr(met, name)
    for part, depth in met.rub_depth.items():
        yield f"rub_depth {part}", depth
        yield f"rub_at {part}", met.rub_at[part]
