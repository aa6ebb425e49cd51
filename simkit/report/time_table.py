"""Where the time of programs goes, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from simkit.effort.program_time import ProgramTime
from simkit.job.model import Machine

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
                    "lost": one.lost / 60.0,
                }
            )
        rows.append(
            {
                "program": program.program,
                "minutes": program.total / 60.0,
                "dwell": program.dwell / 60.0,
                "cutters": cutters,
            }
        )
    return {
        "minutes": sum(row["minutes"] for row in rows),
        "programs": rows,
        "machine": {key: _plain(getattr(machine, key)) for key in DEFAULTS},
        "note": note,
    }


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value
