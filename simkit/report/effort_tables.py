"""Time, bite and what could be faster, as plain data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from simkit.effort.bite import Bites
from simkit.effort.chips import USUAL_SOURCE, power, tangential_force, usual_chips
from simkit.findings.evidence import Evidence
from simkit.report.time_table import DEFAULTS, assumed, time_table

MOST_POINTS = 2000  # of a program's plot


def effort_tables(evidence: Evidence) -> dict[str, Any]:
    """Return `time`, `bite`, `along` and `faster` of the result; minutes, mm, mm3/min.

    time: of each program and cutter.  bite: of each setup and cutter.  along: of each program the removal
    rate, feed per tooth and feed reached against the minutes it has run.  faster: advice with the minutes.
    """
    effort, job = evidence.effort, evidence.job
    missing = [key for key in DEFAULTS if f"machine.{key}" not in job.lines]
    return {
        "time": time_table(effort.programs, job.machine, assumed(missing, job.machine)),
        "bite": _bite_table(evidence),
        "along": _along(evidence),
        "faster": [asdict(advice) for advice in effort.advice],
    }


def _bite_table(evidence: Evidence) -> dict[str, Any]:
    """Return what the cutters of each setup bite off; the widest and so on along passes."""
    job, rows = evidence.job, []
    for index, own in enumerate(evidence.effort.bites):
        for number in np.unique(own.tool):
            row = _bite_row(evidence, index, own, int(number))
            if row is not None:
                rows.append({"setup": job.setups[index].name, **row})
    return {
        "usual_source": USUAL_SOURCE,
        "hardness": job.blank.hardness,
        "rows": rows,
        **_not_judged(evidence),
    }


def _not_judged(evidence: Evidence) -> dict[str, Any]:
    """Return what is not judged of the cutters that take wood, and why: drills, no `flutes`, no speed."""
    effort = evidence.effort.bites
    cutters = {number for own in effort for number in own.tool[own.in_wood].tolist()}
    # With edges known no feed for each of them means that no speed is in force there.
    still = {number for own in effort for number in own.tool[own.in_wood & np.isnan(own.per_tooth)].tolist()}
    words = []
    for cutter in (evidence.job.cutters[number] for number in sorted(cutters)):
        if not cutter.flutes:
            words.append(f"chips of {cutter} (the job does not state its flutes)")
        elif cutter.shape == "drill" and cutter.chip_load is None:
            words.append(f"chips of {cutter} (no usual range for drills; chip_load would state one)")
        elif cutter.number in still:
            words.append(f"chips of {cutter} where no speed of the spindle is in force (S with M3)")
    return {"not_judged": words}


def _bite_row(evidence: Evidence, index: int, own: Bites, number: int) -> dict[str, Any] | None:
    job, cutter = evidence.job, evidence.job.cutters[number]
    wood = (own.tool == number) & own.in_wood
    passes = wood & own.is_pass & own.is_whole
    if not wood.any():
        return None
    speed = evidence.moves.speed[evidence.rows[index]][own.row]
    climbs = own.climbs(speed)
    volume, along = own.volume[wood].sum(), own.volume[passes].sum()
    peak = int(np.argmax(np.where(passes if passes.any() else wood, own.removal, 0.0)))
    widest = int(np.argmax(np.where(passes, own.width, 0.0)))
    teeth = own.per_tooth[passes][~np.isnan(own.per_tooth[passes])]
    watts = None if job.blank.cutting_force is None else power(own.removal[peak], job.blank.cutting_force)
    range_of = cutter.chip_load or (
        usual_chips(cutter, job.blank.hardness) if cutter.shape != "drill" else None
    )
    source = evidence.source_of(evidence.rows[index].start + int(own.row[peak]))
    return {
        "cutter": str(cutter),
        "volume": volume,
        "depth": float(own.depth[wood].max()),
        "width": float(own.width[widest]) if passes.any() else None,
        "width_bound": float(own.bound[widest]) if passes.any() else None,
        "engagement": float(np.degrees(own.engaged[widest])) if passes.any() else None,
        "mean_width": float((own.width * own.length)[passes].sum() / own.length[passes].sum())
        if passes.any()
        else None,
        "per_tooth": [float(teeth.min()), float(teeth.max())] if len(teeth) else None,
        "chip_range": None if range_of is None else list(range_of),
        "chip_range_stated": cutter.chip_load is not None,
        "thickest_chip": float(np.nanmax(own.thickest[passes])) if len(teeth) else None,
        "mean_chip": float(np.average(own.mean[passes], weights=own.length[passes])) if len(teeth) else None,
        "removal": float(own.removal[peak]),
        "removal_bound": float(own.removal[peak] * min(own.bound[peak] / max(own.width[peak], 1e-9), 1.0)),
        "climb": float(own.volume[passes & (climbs > 0)].sum() / along) if along else None,
        "conventional": float(own.volume[passes & (climbs < 0)].sum() / along) if along else None,
        "power": None if watts is None else float(watts),
        "force": None
        if watts is None or not speed[peak]
        else float(tangential_force(watts, speed[peak], own.diameter[peak])),
        "file": source["file"],
        "line": source["line"],
    }


def _along(evidence: Evidence) -> list[dict[str, Any]]:
    """Return for each program what a plot along it shows, stretch by stretch, thinned to the peaks."""
    effort, moves, told = evidence.effort, evidence.moves, []
    for index, name in enumerate(moves.programs):
        rows = np.flatnonzero(moves.program == index)
        if not len(rows):
            continue
        setup = int(moves.setup[rows[0]])
        own, first = effort.bites[setup], evidence.rows[setup].start
        mine = np.flatnonzero((moves.program[first + own.row] == index) & own.in_wood)
        clock = np.cumsum(effort.times.seconds[rows]) / 60.0
        minutes = clock[np.clip(first + own.row[mine] - rows[0], 0, len(rows) - 1)]
        # Of each bin in time the stretch that takes most a minute.
        kept = np.arange(len(mine))
        if len(mine) > MOST_POINTS:
            bins = np.minimum((minutes / clock[-1] * MOST_POINTS).astype(int), MOST_POINTS - 1)
            order = np.lexsort((own.removal[mine], bins))
            last = np.append(bins[order][1:] != bins[order][:-1], True)
            kept = np.sort(order[last])
        chosen = mine[kept]
        reached = 60.0 * own.length[chosen] / np.maximum(own.seconds[chosen], 1e-9)
        told.append(
            {
                "program": name,
                "minutes": minutes[kept].tolist(),
                "removal": own.removal[chosen].tolist(),
                "per_tooth": own.per_tooth[chosen].tolist(),
                "thickest_chip": own.thickest[chosen].tolist(),
                "climb": own.climbs(moves.speed[first + own.row])[chosen].tolist(),
                "feed": reached.tolist(),
                "cutter": own.tool[chosen].tolist(),
                "line": moves.line[first + own.row[chosen]].tolist(),
            }
        )
    return told
