"""Two tables of the whole part as plain data: what each cutter would leave, and the ridges between passes."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from simkit.compare.cusps_zones import SANDED, SMOOTHED, zone_cusps
from simkit.compare.reach_options import CUTTER, PROGRAM, WANTED_CUSP, CutterOption, common_words, waiting
from simkit.findings.evidence import Evidence

TIME_NOTE = (
    "minutes: estimate, area over the limit / (stepover for the wanted ridge x feed); links and acceleration "
    "come on top"
)
SANDING_NOTE = (
    f"sanding: rough estimate, by hand: volume of the ridges / {SANDED:g} mm3 a minute and area / "
    f"{SMOOTHED:g} mm2 a minute (common practice, a factor of three off either way)"
)


def reach_table(evidence: Evidence) -> dict[str, Any] | None:
    """Return what each cutter leaves on each side and would add to the job; None without a target.

    wanted_cusp mm: that the stepovers are for.  sides: one each, with its rows and, in mm2, what stands over
    the limit by cause.  waiting: after each program but the last of a side, the area that later
    passes still cut.
    """
    if not evidence.reach:
        return None
    area = evidence.field.lattice.cell**2
    sides = []
    for side, reach in evidence.reach.items():
        sides.append(
            {
                "side": side,
                "area_by_cause": {
                    "cutter": float((reach.cause == CUTTER).sum()) * area,
                    "program": float((reach.cause == PROGRAM).sum()) * area,
                },
                "rows": [_option_row(option) for option in reach.options],
                "waiting": _waiting(evidence, side),
            }
        )
    wanted = evidence.job.limits.cusp or WANTED_CUSP
    return {"wanted_cusp": wanted, "note": TIME_NOTE, "sides": sides}


def _option_row(option: CutterOption) -> dict[str, Any]:
    """Return one row; lengths mm, areas mm2, feed mm/min."""
    if option.cutter is None:
        words = "as programmed"
    elif option.used == "common size":
        words = common_words(option.cutter)
    else:
        words = str(option.cutter)
    return {
        "cutter": words,
        "used": option.used,
        "alone": None if option.alone is None else asdict(option.alone),
        "with_it": asdict(option.added),
        "gain": option.gain,
        "stepover": option.stepover,
        "feed": option.feed,
        "minutes": option.minutes,
    }


def _waiting(evidence: Evidence, side: int) -> list[dict[str, Any]]:
    """Return the area that waits for later passes after each program of a side but its last."""
    moves, rows = evidence.moves, []
    is_part = evidence.envelopes.is_part
    mine = np.zeros(len(moves), bool)
    for one, frame in zip(evidence.rows, evidence.frames, strict=True):
        mine[one] = frame.up == (1 if side == 1 else -1)
    ends = [
        int(np.flatnonzero(mine & (moves.program == number))[-1]) for number in np.unique(moves.program[mine])
    ]
    for last in ends[:-1]:
        waits = waiting(evidence.field, side, last) & is_part
        rows.append(
            {
                "after": moves.programs[int(moves.program[last])],
                "area": float(waits.sum()) * evidence.field.lattice.cell**2,
            }
        )
    return rows


def cusp_table(evidence: Evidence) -> dict[str, Any] | None:
    """Return the ridges between passes by side, zone and cutter; None where none were traced."""
    wanted = evidence.job.limits.cusp or WANTED_CUSP
    rows = []
    names = [rule.name for rule in evidence.zones.rules]
    for side, cusps in evidence.cusps.items():
        lattice = evidence.field.lattice
        index = evidence.zones.index(lattice, side)[lattice.cell_at(*cusps.at[:, :2].T)]
        for one in zone_cusps(cusps, evidence.job.cutters, wanted, index, names):
            row = asdict(one) | {"cutter": str(evidence.job.cutters[one.cutter])}
            source = evidence.source_of(row.pop("row"))
            rows.append(row | {"file": source.get("file", ""), "line": source.get("line")})
    return {"wanted": wanted, "note": SANDING_NOTE, "rows": rows} if rows else None
