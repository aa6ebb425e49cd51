"""What the values of a job must be to each other: rules that no single key can show."""

from __future__ import annotations

import math
from typing import Any

from simkit.job.check import Checker, is_bad
from simkit.job.locate import key_path
from simkit.units import MM_PER_INCH


def cutter_rules(checker: Checker, cutters: dict[int, Any], blank: dict[str, Any], table: str) -> None:
    """Check every cutter's measures against each other and against the blank.

    cutters: checked tables by tool number.  blank: its checked table.  table: path the cutters stand
    under ("cutters", or "" on the command line).
    """
    for number, cutter in cutters.items():
        if not is_bad(cutter):
            _cutter(checker, cutter, blank, key_path(table, str(number)))


def _cutter(checker: Checker, cutter: dict[str, Any], blank: dict[str, Any], path: str) -> None:
    shape, diameter, point = cutter["shape"], cutter["diameter"], cutter["point"]
    edge, stick_out = cutter["cutting_length"], cutter["stick_out"]

    def problem(name: str, found: str, expected: str, remedy: str) -> None:
        checker.problem(key_path(path, name), found, expected, remedy)

    if not is_bad(shape) and shape != "drill" and key_path(path, "point") in checker.spots:
        problem("point", f"a point angle on the shape '{shape}'", "one only on a drill", "take it out")
    if not is_bad(edge, stick_out) and edge is not None and stick_out is not None and stick_out < edge:
        problem(
            "stick_out",
            f"{stick_out:g} mm from tip to holder, with cutting edges {edge:g} mm long",
            "the holder above the cutting edges",
            "measure from the tip of the cutter to the holder",
        )
    if not is_bad(shape, diameter, edge, point) and edge is not None:
        tip = {"flat": 0.0, "ball": diameter / 2}.get(shape, diameter / 2 / math.tan(math.radians(point / 2)))
        if edge < tip:
            problem(
                "cutting_length",
                f"cutting edges {edge:g} mm long",
                f"at least the {tip:.4g} mm that the tip of this {shape} takes up",
                "measure from the tip to the end of the cutting edges",
            )
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
