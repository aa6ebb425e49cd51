"""Where the time of programs goes, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from simkit.effort.program_time import ProgramTime
from simkit.job.model import Machine
from simkit.report.lengths import Lengths
from simkit.units import MM_PER_INCH

LEAST_PART = 0.02  # of the way: small arcs, as at the ends of passes, are not worth a sentence
MOST_OPERATIONS = 12  # told one by one, of a program
HELD_BY = ("X", "Y", "Z", "arc")
DEFAULTS = ("speed", "acceleration", "rounding", "spindle_start", "cutter_change")


def assumed(missing: Sequence[str], machine: Machine) -> str:
    """Return the assumed figures of a machine in words, mm."""
    words = {
        "speed": "axes at most {0:g}, {1:g}, {2:g} mm/min",
        "acceleration": "{0:g}, {1:g}, {2:g} mm/s2",
        "rounding": "corners within {0:g} mm",
        "spindle_start": "{0:g} s for a spindle start",
        "cutter_change": "{0:g} s for a change of cutter",
    }
    parts = []
    for key in missing:
        value = getattr(machine, key)
        parts.append(words[key].format(*(value if isinstance(value, tuple) else (value,))))
    return f"assumed, common practice, no source: {'; '.join(parts)}" if parts else ""


def time_table(programs: list[ProgramTime], machine: Machine, note: str) -> dict[str, Any]:
    """Return where the time goes, minutes.

    programs: as effort.program_time gives them.  note: what is assumed.  `in_wood` and `air` are None
    where no wood was cut.
    """
    rows = []
    for program in programs:
        cutters = []
        for one in program.cutters:
            air = None if one.in_wood is None else (one.cutting - one.in_wood) / 60.0
            cutters.append(
                {
                    "cutter": one.tool or None,
                    "minutes": one.total / 60.0,
                    "in_wood": None if one.in_wood is None else one.in_wood / 60.0,
                    "air": air,
                    "cutting": one.cutting / 60.0,
                    "rapids": one.rapids / 60.0,
                    "standing": one.standing / 60.0,
                    "changes": one.changes,
                    "spindle_starts": one.starts,
                    "feed_not_reached": one.not_reached,
                    "held": [
                        {
                            "by": HELD_BY[each.by],
                            "feed": each.feed,
                            "reached": each.reached,
                            "part": each.part,
                        }
                        for each in one.held
                    ],
                    "lost": one.lost / 60.0,
                }
            )
        rows.append(
            {
                "program": program.program,
                "minutes": program.total / 60.0,
                "dwell": program.dwell / 60.0,
                "cutters": cutters,
                **_operations(program),
            }
        )
    return {
        "minutes": sum(row["minutes"] for row in rows),
        "programs": rows,
        "machine": {key: _plain(getattr(machine, key)) for key in DEFAULTS},
        "note": note,
    }


def _operations(program: ProgramTime) -> dict[str, Any]:
    """Return the longest operations of a program in their order, and how long the others take together."""
    longest = sorted(program.operations, key=lambda one: -one.total)
    told, others = longest[:MOST_OPERATIONS], longest[MOST_OPERATIONS:]
    rows = [
        {
            "cutter": one.tool or None,
            "first": one.first,
            "last": one.last,
            "lowest": one.lowest,
            "stretches": one.count,
            "levels": one.levels,
            "minutes": one.total / 60.0,
            "in_wood": None if one.in_wood is None else one.in_wood / 60.0,
            "air": None if one.in_wood is None else (one.cutting - one.in_wood) / 60.0,
            "rapids": one.rapids / 60.0,
        }
        for one in sorted(told, key=lambda one: one.first)
    ]
    return {
        "operations": rows,
        "other_operations": {
            "count": len(others),
            "minutes": sum(one.total for one in others) / 60.0,
        },
    }


def operation_words(row: dict[str, Any], lengths: Lengths) -> tuple[str, str]:
    """Return the lines of an operation, and its lowest place, in words.  lengths: of its program."""
    lines = f"{row['first']}" if row["first"] == row["last"] else f"{row['first']}-{row['last']}"
    times = "" if row["stretches"] == 1 else f", {row['stretches']} times"
    times = times if row["levels"] == 1 else f", {row['levels']} levels"
    lowest = row["lowest"] / MM_PER_INCH if lengths.is_inch else row["lowest"]
    return lines, f"Z{round(lowest, 4 if lengths.is_inch else 3) + 0.0:g}{times}"


def part_not_reached(row: dict[str, Any]) -> float:
    """Return on which part of the way, 0 to 1, a cutter's feed moves do not reach their F, for any reason."""
    return min(row["feed_not_reached"] + sum(one["part"] for one in row["held"]), 1.0)


def held_words(time: dict[str, Any]) -> list[str]:
    """Return what keeps moves below their feed however long they are, a sentence each."""
    words = []
    for program in time["programs"]:
        for row in program["cutters"]:
            for one in row["held"]:
                if one["by"] == "arc" and one["part"] < LEAST_PART:
                    continue
                cutter = "" if row["cutter"] is None else f" T{row['cutter']}"
                why = (
                    f"turning on arcs (machine.acceleration) allows {one['reached']:.0f} mm/min at most"
                    if one["by"] == "arc"
                    else f"axis {one['by']} (machine.speed) allows {one['reached']:.0f} mm/min at most"
                )
                words.append(
                    f"{program['program']}{cutter}: the feed of {one['feed']:g} mm/min is not reached, {why} "
                    f"there, {100 * one['part']:.0f} % of the way"
                )
    return words


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value
