"""What a result holds of the budget, as types."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from simkit.report.table_forms import Place, told


@dataclass(frozen=True, slots=True)
class Binding:
    """A place where a limit breaks first."""

    kind: Literal["gouge", "leftover", "thin-wall", "witness-step", "table-contact"] = told("which limit")
    side: int = told("1 or 2")
    at: Place = told("mm, blank frame")
    value: float = told("mm, as the job is; of table-contact: below what is allowed, negative over it")
    limit: float = told("mm")
    words: str = told("as the operator sees it")


@dataclass(frozen=True, slots=True)
class BudgetAxis:
    """How far one error alone may go."""

    name: Literal["right", "back", "turn", "high", "thickness", "planed"] = told(
        "of the second side, as it lies; planed: what a step leaves"
    )
    unit: Literal["mm", "degrees"] = told("of low and high")
    low: float | None = told("0 or less; None: no limit breaks within 5 mm or 2 degrees")
    low_binds: int | None = told("index in `binds`; None with a number: then a step takes nothing off")
    high: float | None = told("0 or more; None as low")
    high_binds: int | None = told("index in `binds`, as low_binds")
    step: int | None = told("number of the step to a thickness, from 1; only of planed", is_optional=True)


@dataclass(frozen=True, slots=True)
class BudgetPlace:
    """A corner of the region of shifts without a turn; between two it comes in no farther than a chord."""

    shift: tuple[float, float] = told("mm, right and back")
    binds: int | None = told("index in `binds`, None: no limit breaks so near")


@dataclass(frozen=True, slots=True)
class Contribution:
    """An error that the job states."""

    key: str = told("of the job file")
    words: str = told("what it is")
    size: float = told("the most either way, or one standard deviation")
    unit: str = told("of size and standard")
    shape: Literal["uniform", "normal", "pins"] = told(
        "how it is distributed; pins: what these permit together"
    )
    standard: float = told("standard uncertainty")
    share: float = told("of the variance of what breaks first")
    holds_without: float = told("probability that all limits hold if this error alone were none")


@dataclass(frozen=True, slots=True)
class Chance:
    """What the stated errors together make of the limits."""

    verdict: Literal["likely", "at risk", "not possible"] = told("likely from 95 %, not possible below 1 %")
    holds: float = told("probability that all limits hold")
    bound: float = told("how far that may be off")
    breaks_first: int | None = told("index in `binds`")
    work_on: str | None = told("the error without which that probability would be the highest")
    holds_without: float | None = told("the probability without it")


@dataclass(frozen=True, slots=True)
class Budget:
    """How much error of the second side the job bears."""

    side: int = told("the side that is cut second")
    setup: str = told("in which right, left, back and front are seen")
    beyond: int | None = told("index in `binds`: broken already; axes and plan are then empty")
    axes: tuple[BudgetAxis, ...] = told("each alone")
    plan: tuple[BudgetPlace, ...] = told("all round, counter-clockwise from the right")
    bound: float = told("mm, how far values may be off where limits break")
    contributions: tuple[Contribution, ...] = told("what the job states")
    left_out: tuple[str, ...] = told("what it does not state")
    chance: Chance | None = told("None without contributions")
    binds: tuple[Binding, ...] = told("places where limits break")
    note: str = told("how it was found")
