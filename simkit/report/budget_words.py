"""The budget in sentences, the same on the terminal, on the page and in the picture."""

from __future__ import annotations

import math
from typing import Any

from simkit.budget.motion import NAMES
from simkit.budget.region import FAR
from simkit.report.lengths import MM, Lengths
from simkit.units import MM_PER_INCH

DIRECTIONS = {
    "right": ("to the left", "to the right"),
    "back": ("to the front", "to the back"),
    "turn": ("turned right", "turned left"),
    "high": ("cut lower", "cut higher"),
    "thickness": ("blank thinner", "blank thicker"),
    "planed": ("step {step} leaves it thinner", "step {step} leaves it thicker"),
}
NOTHING_TAKEN = "a step takes nothing off then"
OVER = f"over {FAR[0]:g} mm"  # as far as limits are looked for
BEYOND = "a limit is broken already as the job is, so side 2 may not be off at all until that is put right"


def axis_rows(budget: dict[str, Any]) -> list[tuple[str, float | None, str, str]]:
    """Return (direction, how far, unit, what breaks first) down and up along each axis alone."""
    rows = []
    for axis in budget["axes"]:
        for word, direction in zip(("low", "high"), DIRECTIONS[axis["name"]], strict=True):
            far, binds = axis[word], axis[f"{word}_binds"]
            if binds is not None:
                words = budget["binds"][binds]["words"]
            else:
                words = "" if far is None else NOTHING_TAKEN
            direction = direction.format(step=axis.get("step"))
            rows.append((direction, None if far is None else abs(far), axis["unit"], words))
    return rows


def far_text(far: float | None, unit: str, lengths: Lengths = MM) -> str:
    """Return how far, rounded down: a region must not be told larger than it is.  far: mm or degrees."""
    if far is None:
        return f"over {FAR[NAMES.index('turn')]:g} degrees" if unit == "degrees" else lengths.text(OVER)
    digits = 3
    if unit == "mm" and lengths.is_inch:
        far, unit, digits = far / MM_PER_INCH, lengths.name, 4
    return f"{math.floor(far * 10**digits + 1e-6) / 10**digits:.{digits}f} {unit}"


def head(budget: dict[str, Any]) -> str:
    """Return what the numbers are, in one sentence."""
    return (
        f"How far side {budget['side']} may land off its place until a limit breaks, each alone, as you see "
        f"it lying in '{budget['setup']}'"
    )


def size_words(part: dict[str, Any]) -> str:
    """Return how large a stated error is: 1.96 standard deviations hold 95 of 100 normal ones."""
    if part["shape"] == "uniform":
        return f"up to {part['size']:.4g} {part['unit']} either way, all as likely"
    if part["shape"] == "pins":
        return f"up to {part['size']:.4g} {part['unit']} either way, all three as the pins permit together"
    return f"within {1.96 * part['size']:.2g} {part['unit']} in 95 of 100 cases"


def without_words(part: dict[str, Any]) -> str:
    """Return the probability that would be left without an error."""
    return f"{100 * part['holds_without']:.0f} %"


def chance_lines(budget: dict[str, Any]) -> list[str]:
    """Return what the stated errors make of it, in sentences; what is left out last."""
    lines, chance = [], budget["chance"]
    if chance is not None:
        percent = f"{100 * chance['holds']:.1f} ± {math.ceil(1000 * chance['bound']) / 10:.1f} %"
        lines.append(
            f"With the errors that the job states all these limits hold with a probability of {percent}: "
            f"{chance['verdict']}"
        )
        binds = chance["breaks_first"]
        if chance["work_on"] is not None and binds is not None:
            lines.append(
                f"Work first on {chance['work_on']}: without that error it would be "
                f"{100 * chance['holds_without']:.0f} %. What breaks most often: "
                f"{budget['binds'][binds]['words']}"
            )
    if chance is None:
        lines.append("How likely all limits hold is told when the job states its errors in [budget]")
    elif budget["left_out"]:
        lines.append(f"Left out, not stated in [budget] or [[dowels]]: {', '.join(budget['left_out'])}")
    return lines
