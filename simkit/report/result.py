"""The result as plain data: what JSON holds, and what every other report is drawn from."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

import simkit
from simkit.compare.seam import Seam
from simkit.compare.seam_fit import fit_shift
from simkit.findings.accept import paste_lines
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.glue_words import glue_remarks
from simkit.findings.identity import known_by
from simkit.findings.loose_piece import loose_remarks
from simkit.findings.mesh_words import mesh_words
from simkit.findings.seat import seat_remarks, seat_rows
from simkit.findings.unstated import not_judged
from simkit.findings.weak_hold import held_rows
from simkit.job.files import file_word, sha256_of
from simkit.report.budget_table import budget_remarks, budget_table
from simkit.report.cautions import CAUTIONS, NOT_SIMULATED
from simkit.report.effort_tables import effort_tables
from simkit.report.forms import VERSION
from simkit.report.sheet import unit_of_programs
from simkit.report.steps_table import steps_remarks, steps_table
from simkit.report.surface_tables import cusp_table, reach_table
from simkit.report.verdict import verdict_of
from simkit.report.whole_file import json_text, write_whole
from simkit.stock.field import Field, volume_of

TURNED_NOTE = (
    "what each cutter leaves and the ridges between passes are not told: they mean nothing until the turn "
    "is settled"
)


def volume_left(field: Field) -> tuple[float, float]:
    """Return the volume of what is left and how far it may be off, mm3: stock.field.volume_of."""
    return volume_of(
        np.where(field.is_solid, field.upper.astype(np.float64) - field.lower, 0.0), field.lattice
    )


def result_of(evidence: Evidence, findings: list[Finding], timings: dict[str, float]) -> dict[str, Any]:
    """Return the whole result as plain data (dicts, lists, text, numbers, None)."""
    job = evidence.job
    field = evidence.field
    volume, volume_bound = volume_left(field)
    # What the cutters leave on a blank that lies the wrong way round says nothing about the part.
    is_turned = any(finding.kind == "wrong-turn" for finding in findings)
    # What could be faster about moves of the wrong size helps nobody.
    is_misread = any(finding.kind == "wrong-unit" for finding in findings)
    remarks = evidence.remarks(is_turned) + loose_remarks(evidence) + mesh_words(evidence)
    remarks += steps_remarks(evidence) + budget_remarks(evidence)
    remarks += seat_remarks(evidence) + glue_remarks(evidence) + evidence.not_matched
    return _plain(
        {
            "form": "simkit result",
            "version": VERSION,
            "simkit": simkit.__version__,
            "job": {"name": job.name, "file": file_word(job.file), "unit": job.unit},
            "verdict": verdict_of(findings, tuple(evidence.deviations), evidence.causes),
            "strict": False,
            "against": None,
            "cell": field.lattice.cell,
            "blank": asdict(job.blank),
            "limits": asdict(job.limits),
            "zones": _zones(evidence),
            "setups": _setups(evidence),
            "left": {"volume": volume, "bound": volume_bound, "unit": "mm3"},
            "outside": _outside(evidence),
            "target": None if evidence.target is None else _target(evidence),
            "causes": [asdict(cause) for cause in evidence.causes],
            "findings": _findings(evidence, findings),
            "seam": None if is_turned or evidence.seam is None else _seam(evidence.seam),
            "seats": seat_rows(evidence),
            "held": held_rows(evidence),
            "budget": None if is_turned else budget_table(evidence),
            "reach": None if is_turned else reach_table(evidence),
            "cusps": None if is_turned else cusp_table(evidence),
            **(effort_tables(evidence) | ({"faster": []} if is_misread else {})),
            "remarks": remarks + ([TURNED_NOTE] if is_turned else []),
            "not_judged": not_judged(evidence),
            "not_simulated": list(NOT_SIMULATED),
            "cautions": list(CAUTIONS),
            "pictures": [],
            "timings": timings,
            **({"steps": steps_table(evidence)} if job.steps else {}),
        }
    )


def _setups(evidence: Evidence) -> list[dict[str, Any]]:
    rows = []
    for index, setup in enumerate(evidence.job.setups):
        programs = []
        for path, read in evidence.reads[index]:
            programs.append(
                {
                    "file": read.moves.programs[0],
                    "sha256": read.sha256 or sha256_of(path),
                    "moves": len(read.moves),
                    "unit": unit_of_programs(setup, [read]),
                    "cutters": sorted({int(tool) for tool in read.moves.tool}),
                    "largest_arc_mismatch": read.largest_arc_mismatch,
                }
            )
        rows.append({"name": setup.name, "turn": setup.turn, "swing": setup.swing, "programs": programs})
    return rows


def _seam(seam: Seam) -> dict[str, Any]:
    """Return the seam as a polyline with its steps, and how the sides lie against each other.

    Infinite bounds, of what cannot be observed, are None.
    """
    fit = fit_shift(seam)
    bound = [value if np.isfinite(value) else None for value in fit.bound]
    return {
        "stations": np.column_stack([seam.stations, seam.level]).tolist(),
        "contour": seam.contour.tolist(),
        "normal": seam.normal.tolist(),
        "offset": seam.offset.tolist(),
        "bound": seam.bound.tolist(),
        "left_out": seam.left_out,
        "worst": seam.worst,
        "side_1_against_side_2": {
            "shift": [fit.dx, fit.dy],
            "turn_degrees": fit.turn_degrees,
            "about": list(fit.about),
            "is_observable": fit.is_observable.tolist(),
            "bound": bound,
            "rms": fit.rms,
        },
    }


def _zones(evidence: Evidence) -> list[dict[str, Any]]:
    """Return the limits of the whole part and of each zone, and the area of the part each judges, mm2."""
    zones, rows, sides = evidence.zones, [], [None, *(zone.side for zone in evidence.job.zones)]
    lattice = evidence.field.lattice
    areas = {}
    for side in evidence.deviations:
        index = zones.index(lattice, side)[evidence.envelopes.is_part]
        areas[side] = np.bincount(index, minlength=len(zones.rules)) * lattice.cell**2
    for number, rule in enumerate(zones.rules):
        rows.append(
            {
                **asdict(rule),
                "side": sides[number],
                "area": {str(side): float(area[number]) for side, area in areas.items()},
            }
        )
    return rows


def _findings(evidence: Evidence, findings: list[Finding]) -> list[dict[str, Any]]:
    rows = []
    for number, finding in enumerate(findings, 1):
        row = {"number": number, **asdict(finding)}
        row["other_ids"] = sorted(known_by(finding) - {finding.id})
        row["accept"] = paste_lines(evidence, finding) if evidence.job.file else ""
        rows.append(row)
    return rows


def _outside(evidence: Evidence) -> dict[str, Any] | None:
    """Return what stands outside the outline of the part, by name: area mm2, volume mm3, pieces."""
    wood = evidence.wood_outside
    if wood is None:
        return None
    return {
        name: {"area": wood.area[name], "volume": wood.volume[name], "pieces": wood.pieces[name]}
        for name in wood.area
    }


def _target(evidence: Evidence) -> dict[str, Any]:
    target, rough = evidence.target, evidence.coarseness
    return {
        "file": evidence.job.target.mesh.name,
        "sha256": sha256_of(evidence.job.target.mesh),
        "triangles": len(target.triangles),
        "volume": target.volume,
        "facet_sagitta": None if rough is None else float(rough.sagitta[rough.worst]),
        "notes": list(target.notes),
    }


def _plain(value: Any) -> Any:
    """Return the value with NumPy scalars made plain and numbers rounded to what is meant by them."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    if isinstance(value, Path):
        return str(value)
    return value


def write_json(path: Path, result: dict[str, Any]) -> None:
    """Write the result as JSON; a half-written file never bears the name.

    Raises InputProblems when the place cannot be written.
    """
    write_whole(path, json_text(result), "--json")
