"""What the values of a job must be to each other: rules that no single key can show."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from simkit.cutters import MEASURES, faults
from simkit.job.check import Checker, is_bad
from simkit.job.locate import key_path
from simkit.job.model import FIT_STEPS, clearance
from simkit.units import MM_PER_INCH

LARGEST_MISFIT = 0.25  # of the diameter: a measured size farther off is another hole's


def cutter_rules(checker: Checker, cutters: dict[int, Any], blank: dict[str, Any], table: str) -> None:
    """Check every cutter's measures against each other and against the blank.

    cutters: checked tables by tool number.  blank: its checked table.  table: path the cutters stand
    under ("cutters", or "" on the command line).
    """
    for number, cutter in cutters.items():
        if not is_bad(cutter):
            _cutter(checker, cutter, blank, key_path(table, str(number)))


def _cutter(checker: Checker, cutter: dict[str, Any], blank: dict[str, Any], path: str) -> None:
    shape, diameter = cutter["shape"], cutter["diameter"]
    edge, stick_out = cutter["cutting_length"], cutter["stick_out"]

    def problem(name: str, found: str, expected: str, remedy: str) -> None:
        inner = f"{path}.{name}" if name.endswith("]") else key_path(path, name)
        checker.problem(inner, found, expected, remedy)

    _above(cutter, problem)
    chips = cutter["chip_load"]
    if chips is not None and not is_bad(chips) and chips[0] >= chips[1]:
        problem(
            "chip_load",
            f"chip loads from {chips[0]:g} mm to {chips[1]:g} mm",
            "the least before the largest",
            "write it as [least, largest]",
        )
    if not is_bad(edge, stick_out) and edge is not None and stick_out is not None and stick_out < edge:
        problem(
            "stick_out",
            f"{stick_out:g} mm from tip to holder, with cutting edges {edge:g} mm long",
            "the holder above the cutting edges",
            "measure from the tip of the cutter to the holder",
        )
    if not is_bad(shape, diameter, edge, *(cutter[name] for name in MEASURES)):
        for fault in faults(shape, cutter):
            problem(*fault)
    if is_bad(blank) or is_bad(diameter, blank["length"], blank["width"]):
        return
    widest = max(blank["length"], blank["width"])
    if diameter > widest:
        is_inches = checker.unit == "mm" and diameter <= widest * MM_PER_INCH
        hint = "; if the blank is meant in inches, write its sizes so" if is_inches else ""
        problem(
            "diameter",
            f"a cutter {diameter:g} mm wide, wider than the blank, which is {blank['length']:g} mm"
            f" by {blank['width']:g} mm",
            "a cutter that fits on the blank",
            f"correct the cutter's diameter or the size of the blank{hint}",
        )


def _above(cutter: dict[str, Any], problem: Callable[[str, str, str, str], None]) -> None:
    """Check that neck, shank and holder stand one above the other, each where something says it begins."""
    neck, length = cutter["neck"], cutter["neck_length"]
    edge, stick_out, holder = cutter["cutting_length"], cutter["stick_out"], cutter["holder"]
    if is_bad(neck, length, edge, stick_out, holder):
        return
    if (neck is None) != (length is None):
        there, missing = ("neck", "neck_length") if length is None else ("neck_length", "neck")
        problem(there, f"'{there}' without '{missing}'", "both or neither", f"add {missing} = ...")
    elif neck is not None and edge is None:
        problem(
            "neck",
            "a neck above cutting edges of unknown length",
            "the length of the cutting edges too",
            "add cutting_length = ...",
        )
    elif (
        length is not None
        and edge is not None
        and stick_out is not None
        and edge <= stick_out < edge + length
    ):
        problem(
            "stick_out",
            f"{stick_out:g} mm from tip to holder, with {edge:g} mm of cutting edges"
            f" and {length:g} mm of neck",
            "the holder above the neck",
            "measure from the tip of the cutter to the holder",
        )
    if holder is not None and stick_out is None:
        problem(
            "holder",
            "a holder at an unknown height",
            "the distance from the tip to the holder too",
            "add stick_out = ...",
        )
    for index, piece in enumerate(holder or ()):
        if max(piece[:2]) <= 0 or piece[2] <= 0:
            problem(
                f"holder[{index}]",
                "a piece without diameter or length",
                "lower diameter, upper diameter, length",
                "write the sizes of the piece, or take it out",
            )


def setup_rules(checker: Checker, setups: Any, cutters: Any, dowels: Any) -> None:
    """Check the setups in their order: names, the first turn, cutters and pins."""
    seen: dict[str, str] = {}
    for index, setup in enumerate(setups):
        if is_bad(setup):
            continue
        path = f"setups[{index}]"
        _own_name(checker, setup, path, seen, "setup")
        turn, cutter, pins = setup["turn"], setup["cutter"], setup["pins"]
        if index == 0 and not is_bad(turn) and turn != "none":
            checker.problem(
                f"{path}.turn",
                f"'{turn}' in the first setup",
                "'none'",
                'name the side that lies up in the first setup side 1, and write turn = "none"',
            )
        if index == 0 and not is_bad(setup["swing"]) and setup["swing"] != "none":
            checker.problem(
                f"{path}.swing",
                f"'{setup['swing']}' in the first setup",
                "'none'",
                "how the blank lies there says what is left and front; take the line out",
            )
        if isinstance(cutter, int) and not is_bad(cutters) and cutter not in cutters:
            known = ", ".join(str(number) for number in sorted(cutters)) or "none"
            checker.problem(
                f"{path}.cutter",
                f"the cutter number {cutter}",
                f"a cutter of this job ({known})",
                f"add [cutters.{cutter}] or name another",
            )
        if pins is not None and not is_bad(pins, dowels) and len(pins) != len(dowels or ()):
            checker.problem(
                f"{path}.pins",
                _count(len(pins), "pin"),
                f"as many as the job has dowels ({len(dowels or ())})",
                "write one place for each of [[dowels]], in the same order",
            )
        if setup["pin_height"] is not None and not is_bad(setup["pin_height"], dowels) and not dowels:
            checker.problem(
                f"{path}.pin_height",
                "a height of pins in a job without dowels",
                "[[dowels]], which say where the pins stand and how thick they are",
                "add them, or state what stands on the table under [[fixtures]]",
            )


def dowel_rules(checker: Checker, dowels: Any, blank: Any) -> None:
    """Check that every dowel has its own name, lies in the blank and clear of the others."""
    seen: dict[str, str] = {}
    placed: list[tuple[str, tuple[float, float], float]] = []
    for index, dowel in enumerate(dowels or ()):
        if is_bad(dowel):
            continue
        path = f"dowels[{index}]"
        _own_name(checker, dowel, path, seen, "dowel")
        at, diameter = dowel["at"], dowel["diameter"]
        if not is_bad(diameter):
            _sizes(checker, dowel, path)
        if is_bad(at, diameter):
            continue
        x, y = at
        name = "it" if is_bad(dowel["name"]) else f"'{dowel['name']}'"
        is_sized = not is_bad(blank) and not is_bad(blank["length"], blank["width"])
        if is_sized and not (
            diameter / 2 <= x <= blank["length"] - diameter / 2
            and diameter / 2 <= y <= blank["width"] - diameter / 2
        ):
            checker.problem(
                f"{path}.at",
                f"a hole {diameter:g} mm wide at x {x:g} mm, y {y:g} mm, not wholly inside the blank",
                f"a hole in the blank, which is {blank['length']:g} mm by {blank['width']:g} mm",
                "measure from the left front corner of the blank, side 1 up",
            )
        for other, (ox, oy), wide in placed:
            if math.hypot(x - ox, y - oy) < (diameter + wide) / 2:
                checker.problem(
                    f"{path}.at",
                    f"a hole that runs into the hole {other}",
                    "holes apart from each other",
                    "correct one of the two places",
                )
                break
        placed.append((name, (x, y), diameter))


def _sizes(checker: Checker, dowel: dict[str, Any], path: str) -> None:
    """Check the measured sizes of a hole and its pin, and the fit, against the diameter."""
    diameter, fit = dowel["diameter"], dowel["fit"]
    for name in ("hole", "pin"):
        size = dowel[name]
        if is_bad(size) or size is None:
            continue
        if abs(size - diameter) > LARGEST_MISFIT * diameter:
            checker.problem(
                f"{path}.{name}",
                f"{size:g} mm for a dowel hole of {diameter:g} mm",
                f"a diameter within {LARGEST_MISFIT:.0%} of it",
                "measure the diameter again, or correct the hole's",
            )
    if is_bad(fit) or not fit:
        return
    if clearance(fit, diameter) is None:
        checker.problem(
            f"{path}.fit",
            f"{fit} for a hole of {diameter:g} mm",
            f"a diameter over {FIT_STEPS[0]:g} mm up to {FIT_STEPS[-1]:g} mm",
            "measure hole and pin, and write hole = ... and pin = ...",
        )


def _own_name(checker: Checker, table: dict[str, Any], path: str, seen: dict[str, str], noun: str) -> None:
    name = table["name"]
    if is_bad(name):
        return
    if name in seen:
        spot = checker.spots.get(seen[name])
        where = f", as in line {spot.line}" if spot else ""
        checker.problem(
            f"{path}.name", f"'{name}' again{where}", f"a name of its own for each {noun}", "rename one"
        )
    else:
        seen[name] = f"{path}.name"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
