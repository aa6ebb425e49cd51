"""weak-hold: tape or vacuum bears less than twice the largest cutting force of its setup."""

from __future__ import annotations

from typing import Any

from simkit.compare.grips import Grip
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

# Published cutting forces of wood differ by a factor of two and more (see effort.chips.power), and this
# is all that is asked: a caution, not a promise.
MARGIN = 2.0


def find(evidence: Evidence) -> list[Finding]:
    """Return one warning for each piece that nothing but too little tape or vacuum holds."""
    if evidence.loose is None or evidence.effort is None:
        return []
    found = []
    for grip, name in piece_names(evidence.loose.grips):
        force = evidence.effort.forces[grip.setup]
        if force is None or grip.bears is None or grip.also or grip.bears >= MARGIN * force.newton:
            continue
        found.append(
            Finding(
                kind="weak-hold",
                severity="warning",
                subject=f"{evidence.job.setups[grip.setup].name}, {name}",
                message=f"{' and '.join(grip.kinds)} {_verb(grip)} {name} with {grip.bears:.1f} N"
                f" at the end ({grip.area:.0f} mm2 left), "
                f"the largest cutting force is about {force.newton:.1f} N",
                advice="Hold more of it from below, add a clamp or a screw, or cut in more levels.",
                value=grip.bears,
                bound=grip.bears_bound,
                limit=MARGIN * force.newton,
                unit="N",
                measure="area of tape and vacuum left under it times grip; limit: twice the largest force",
                side=1 if evidence.frames[grip.setup].up > 0 else 2,
                **evidence.source_of(evidence.rows[grip.setup].start + force.row),
            )
        )
    return found


def piece_name(grip: Grip) -> str:
    """Return what a held piece is called."""
    if grip.is_part:
        return "the part with its frame" if grip.at_edge else "the part"
    return "a piece of the frame" if grip.at_edge else "an offcut"


def piece_names(grips: list[Grip]) -> list[tuple[Grip, str]]:
    """Return each piece with what it is called, its place behind it where a setup has several of one name."""
    names = [piece_name(grip) for grip in grips]
    keys = [(grip.setup, name) for grip, name in zip(grips, names, strict=True)]
    return [
        (grip, name if keys.count(key) == 1 else f"{name} at x {grip.middle[0]:.0f}, y {grip.middle[1]:.0f}")
        for grip, name, key in zip(grips, names, keys, strict=True)
    ]


def _verb(grip: Grip) -> str:
    return "holds" if len(grip.kinds) == 1 else "hold"


def held_rows(evidence: Any) -> list[dict[str, Any]]:
    """Return what tape and vacuum hold at the end of each setup as rows of the result."""
    rows = []
    if evidence.loose is None or evidence.effort is None:
        return rows
    for grip, name in piece_names(evidence.loose.grips):
        force = evidence.effort.forces[grip.setup]
        source = {} if force is None else evidence.source_of(evidence.rows[grip.setup].start + force.row)
        rows.append(
            {
                "setup": evidence.job.setups[grip.setup].name,
                "piece": name,
                "by": list(grip.kinds),
                "also": list(grip.also),
                "area": grip.area,
                "area_bound": grip.area_bound,
                "bears": grip.bears,
                "bears_bound": grip.bears_bound if grip.bears is not None else None,
                "force": None if force is None else force.newton,
                "force_is_mean": None if force is None else force.is_mean,
                "file": source.get("file"),
                "line": source.get("line"),
            }
        )
    return rows


def grip_words(row: dict[str, Any]) -> str:
    """Return one row of held_rows in words, for console and page."""
    also = f"; {', '.join(row['also'])} not counted" if row["also"] else ""
    words = (
        f"'{row['setup']}': {row['piece']} lies on {row['area']:.0f} ±{row['area_bound']:.0f} mm2 of "
        f"{' and '.join(row['by'])} at the end{also}"
    )
    if row["bears"] is None:
        words += "; what that bears is not told (holding.grip)"
    else:
        words += f", which bears {row['bears']:.1f} N by the figures of the job"
    if row["force"] is None:
        return words + "; the largest cutting force is not told (blank.cutting_force, S with M3)"
    mean = ", the mean of a turn, for its flutes are not stated" if row["force_is_mean"] else ""
    return words + (
        f"; the largest cutting force along passes is about {row['force']:.1f} N "
        f"({row['file']}:{row['line']}{mean})"
    )


HELD_NOTE = "a caution, not a promise: what peels or lifts the wood, dust, and a dull edge are not in it"
