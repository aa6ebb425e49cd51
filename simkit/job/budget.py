"""What a job states of its errors, and the keys for it, part of the table in `schema`."""

from __future__ import annotations

from dataclasses import dataclass

from simkit.job.key import Key


@dataclass(frozen=True, slots=True)
class BudgetSpec:
    """The errors a person reckons with, None for what is not stated.

    zero_setting, height_setting, thickness_error, planing, sawing mm, squareness degrees, moisture_change in
    percent of moisture content: the most either way, every error up to it as likely as any other.
    scatter mm: one standard deviation of a normal error.
    """

    zero_setting: float | None = None
    height_setting: float | None = None
    squareness: float | None = None
    scatter: float | None = None
    thickness_error: float | None = None
    planing: float | None = None
    sawing: float | None = None
    moisture_change: float | None = None


_MM = {"kind": "length", "low": 0.0, "high": 5.0}
_EVEN = "; every error up to that is taken as likely as any other."

BUDGET_KEYS: tuple[Key, ...] = (
    Key(
        "budget",
        "table",
        "The errors you reckon with when the second side is cut; the check says how likely all limits hold."
        " What is left out does not count.",
        is_aside=True,
    ),
    Key(
        "budget.zero_setting",
        **_MM,
        help=f"How far off you may set the zero of the second side, either way, in each of x and y{_EVEN}",
        examples=("0.05",),
        is_aside=True,
    ),
    Key(
        "budget.height_setting",
        **_MM,
        help=f"The same for its height{_EVEN}",
        examples=("0.05",),
        is_aside=True,
    ),
    Key(
        "budget.squareness",
        "number",
        f"How many degrees the turned blank may lie out of square, either way, dowels not counted{_EVEN}",
        low=0.0,
        high=5.0,
        examples=("0.05",),
        is_aside=True,
    ),
    Key(
        "budget.scatter",
        **_MM,
        help="How well the machine comes back to a place, in each of x and y: one standard deviation of an"
        " error that is normally distributed.",
        examples=("0.01",),
        is_aside=True,
    ),
    Key(
        "budget.thickness_error",
        **_MM,
        help=f"How far the blank's thickness may be from what the job states, either way{_EVEN}",
        examples=("0.1",),
        is_aside=True,
    ),
    Key(
        "budget.planing",
        **_MM,
        help="How uneven planing leaves it beside that, either way, and how far off each step to a thickness"
        f" leaves it, each an error of its own{_EVEN}",
        examples=("0.1",),
        is_aside=True,
    ),
    Key(
        "budget.sawing",
        **_MM,
        help="How far a sawn edge may lie from where the step has it, either way, in x and in y: it takes the"
        f" zero of the second side along that is set at it{_EVEN}",
        examples=("0.1",),
        is_aside=True,
    ),
    Key(
        "budget.moisture_change",
        "number",
        "By how many percent its moisture content may change between the two sides, either way"
        f"{_EVEN} Needs blank.species (of a wood whose shrinkage is known) and blank.grain.",
        low=0.0,
        high=20.0,
        examples=("0.5",),
        is_aside=True,
    ),
)
