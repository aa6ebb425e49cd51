"""What machine and fixtures of a job must be: measures that fit together, names that exist."""

from __future__ import annotations

from typing import Any

from simkit.job.check import Checker, is_bad
from simkit.job.zones import box_problem

AXES = ("X", "Y", "Z")


def machine_rules(checker: Checker, machine: Any, fixtures: Any, setups: Any) -> None:
    """Check the travel, the setups' places in it, and the fixtures."""
    has_travel = False
    if machine is not None and not is_bad(machine):
        has_travel = _travel(checker, machine)
        spindle = machine["spindle"]
        if spindle is not None and not is_bad(spindle) and spindle[0] >= spindle[1]:
            checker.problem(
                "machine.spindle",
                f"speeds from {spindle[0]:g} to {spindle[1]:g} rev/min",
                "the lowest before the highest",
                "write it as [lowest, highest]",
            )
    if not is_bad(setups):
        _machine_zeros(checker, setups, machine, has_travel)
    if fixtures is not None and not is_bad(fixtures):
        _fixtures(checker, fixtures, setups)


def _travel(checker: Checker, machine: dict[str, Any]) -> bool:
    """Check the ends of the travel; return whether they are stated."""
    low, high = machine["low"], machine["high"]
    if is_bad(low, high):
        return True
    if (low is None) != (high is None):
        there, missing = ("low", "high") if high is None else ("high", "low")
        checker.problem(
            f"machine.{there}",
            f"'{there}' without '{missing}'",
            "both ends of the travel",
            f"add {missing} = ...",
        )
        return True
    for axis, name in enumerate(AXES if low is not None else ()):
        if low[axis] >= high[axis]:
            checker.problem(
                f"machine.low[{axis}]",
                f"{name} from {low[axis]:g} mm to {high[axis]:g} mm",
                "the low end below the high end",
                "write machine coordinates as the control shows them at both ends",
            )
    return low is not None


def _machine_zeros(checker: Checker, setups: Any, machine: Any, has_travel: bool) -> None:
    for index, setup in enumerate(setups):
        if is_bad(setup) or is_bad(setup["machine_zero"]) or is_bad(machine):
            continue
        if setup["machine_zero"] is not None and not has_travel:
            checker.problem(
                f"setups[{index}].machine_zero",
                "a zero in machine coordinates, and no travel to hold it against",
                "the ends of the travel too",
                "add low and high under [machine], or take machine_zero out",
            )


def _fixtures(checker: Checker, fixtures: Any, setups: Any) -> None:
    seen: set[str] = set()
    for index, fixture in enumerate(fixtures):
        if is_bad(fixture):
            continue
        path = f"fixtures[{index}]"
        if not is_bad(fixture["name"]):
            if fixture["name"] in seen:
                checker.problem(
                    f"{path}.name",
                    f"'{fixture['name']}' again",
                    "a name of its own for each fixture",
                    "rename it",
                )
            seen.add(fixture["name"])
        setup_names(checker, fixture["setups"], setups, path)
        height, bottom = fixture["height"], fixture["bottom"]
        if not is_bad(height, bottom) and bottom >= height:
            checker.problem(
                f"{path}.bottom",
                f"{bottom:g} mm up, and its highest place at {height:g} mm",
                "the lowest place below the highest",
                "count both from the table",
            )
        box, at, diameter = fixture["box"], fixture["at"], fixture["diameter"]
        if is_bad(box, at, diameter):
            continue
        if fixture["mesh"] is not None and box is None and not is_bad(fixture["mesh"]):
            checker.problem(
                f"{path}.mesh", "a mesh without a box", "the box it stands in", "add box = [[x, y], [x, y]]"
            )
            continue
        if (box is None) == (at is None and diameter is None):
            found = "neither box nor at and diameter" if box is None else "a box, and at or diameter"
            remedy = "add a box, or at and diameter" if box is None else "take one of the two out"
            checker.problem(path, found, "a box, or something round", remedy)
        elif box is not None:
            box_problem(checker, box, f"{path}.box")
        elif at is None or diameter is None:
            missing = "at" if at is None else "diameter"
            checker.problem(
                path, f"something round without '{missing}'", "at and diameter", f"add {missing} = ..."
            )


def setup_names(checker: Checker, named: Any, setups: Any, path: str) -> None:
    """Check that the setups which something names are there.  named: its `setups`; path: of it."""
    if is_bad(named) or is_bad(setups):
        return
    names = {setup["name"] for setup in setups if not is_bad(setup)}
    for part, name in enumerate(named):
        if name not in names:
            known = ", ".join(f"'{one}'" for one in sorted(map(str, names)))
            checker.problem(
                f"{path}.setups[{part}]",
                f"the setup '{name}'",
                f"a setup of this job ({known})",
                "correct it",
            )
