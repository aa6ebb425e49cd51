"""What steps between the setups must be: where they belong, and keys that make sense together."""

from __future__ import annotations

from typing import Any

from simkit.job.check import Checker, is_bad
from simkit.job.steps import POUR, SAW, THICKNESS, Body, Step, body_after
from simkit.job.zones import outline_rules

OF_POUR = ("below", "over", "outline", "most_depth")
MARGIN = 1e-6  # mm: sizes nearer than this are alike
LEAST_LEFT = 1.0  # mm: as the least blank of a job
BADNAME = ""  # no setup's name is empty
_ONE_THING = "take it out, or make another [[steps]] of it"


def step_rules(checker: Checker, steps: Any, setups: Any, blank: Any) -> None:
    """Check the steps in their order: the setups they follow, and what each needs.

    steps, setups, blank: checked tables.
    """
    if is_bad(steps):
        return
    names = [] if is_bad(setups) else [BADNAME if is_bad(one) else one["name"] for one in setups]
    body, latest = _first_body(blank), 0
    for number, step in enumerate(steps or ()):
        if is_bad(step):
            body = None
            continue
        path = f"steps[{number}]"
        latest = _order(checker, step, names, latest, path)
        do, side = step["do"], step["side"]
        if is_bad(do):
            body = None
            continue
        if do != SAW and step["box"] is not None:
            checker.problem(f"{path}.box", f"'box' in a {do}", "a step that does one thing", _ONE_THING)
        if do == POUR:
            _pour(checker, step, blank, body, path)
        elif do == SAW:
            body = _saw(checker, step, body, path)
        else:
            body = _thickness(checker, step, None if is_bad(side) else body, path)


def _first_body(blank: Any) -> Body | None:
    if is_bad(blank) or is_bad(blank["length"], blank["width"], blank["thickness"]):
        return None
    return body_after(blank["length"], blank["width"], blank["thickness"], ())


def _order(checker: Checker, step: dict[str, Any], names: list, latest: int, path: str) -> int:
    """Check the setup that a step follows; return the index of the latest one so far."""
    after = step["after"]
    if is_bad(after) or any(is_bad(name) or name == BADNAME for name in names) or not names:
        return latest
    if after not in names:
        known = ", ".join(f"'{name}'" for name in names)
        checker.problem(
            f"{path}.after", f"the setup '{after}'", f"a setup of this job ({known})", "correct it"
        )
        return latest
    index = names.index(after)
    if index < latest:
        checker.problem(
            f"{path}.after",
            f"a step after '{after}' below one after '{names[latest]}'",
            "the steps in the order of the work",
            "move it up",
        )
    return max(index, latest)


def _pour(checker: Checker, step: dict[str, Any], blank: Any, body: Body | None, path: str) -> None:
    below, over, outline = step["below"], step["over"], step["outline"]
    if step["thickness"] is not None:
        checker.problem(
            f"{path}.thickness", "a thickness in a pour", "a step that does one thing", _ONE_THING
        )
    if not is_bad(below, over) and (below is None) == (over is None):
        found = "neither 'below' nor 'over'" if below is None else "'below' and 'over'"
        remedy = "add below = ... or over = ..." if below is None else "take one of the two out"
        checker.problem(path, found, "one of the two: how high the resin stands", remedy)
    if body is not None and below is not None and not is_bad(below) and below >= body.thickness - MARGIN:
        checker.problem(
            f"{path}.below",
            f"a level {below:g} mm below the face",
            f"less than the blank is thick then, {body.thickness:g} mm",
            "measure down from the face of that side",
        )
    if outline is not None and not is_bad(outline):
        outline_rules(checker, outline, blank, f"{path}.outline", has_box=False)


def _thickness(checker: Checker, step: dict[str, Any], body: Body | None, path: str) -> Body | None:
    """Check a step to a thickness; return the blank after it, None where that is not known."""
    for name in OF_POUR:
        if step[name] is not None:
            checker.problem(
                f"{path}.{name}",
                f"'{name}' in a step to a thickness",
                "a step that does one thing",
                _ONE_THING,
            )
    thickness = step["thickness"]
    if thickness is None:
        checker.problem(path, "no key 'thickness'", "what is left between the faces", "add thickness = ...")
        return None
    if is_bad(thickness) or body is None:
        return None
    if thickness > body.thickness + MARGIN:
        checker.problem(
            f"{path}.thickness",
            f"{thickness:g} mm, and the blank is {body.thickness:g} mm thick then",
            "no more than that",
            "write what is left, measured from the other face",
        )
        return body
    return body.after(Step(THICKNESS, 0, step["side"], thickness=thickness))


def _saw(checker: Checker, step: dict[str, Any], body: Body | None, path: str) -> Body | None:
    """Check a step of sawing; return the blank after it, None where that is not known."""
    for name in (*OF_POUR, "thickness"):
        if step[name] is not None:
            checker.problem(
                f"{path}.{name}", f"'{name}' in a step of sawing", "a step that does one thing", _ONE_THING
            )
    corners = step["box"]
    if corners is None:
        checker.problem(path, "no key 'box'", "what is left in plan", "add box = [[x, y], [x, y]]")
        return None
    if is_bad(corners):
        return None
    if len(corners) != 2:
        found = f"{len(corners)} place{'s' if len(corners) != 1 else ''}"
        checker.problem(f"{path}.box", found, "two opposite corners", "write both, as [[x, y], [x, y]]")
        return None
    if body is None:
        return None
    box = saw_box(corners)
    (x0, y0, x1, y1), low, high = box, body.low, body.high
    size = f"x {low[0]:g} to {high[0]:g}, y {low[1]:g} to {high[1]:g} mm"
    if min(x0 - low[0], y0 - low[1], high[0] - x1, high[1] - y1) < -MARGIN:
        found = f"x {x0:g} to {x1:g}, y {y0:g} to {y1:g} mm"
        remedy = "count from the left front corner of the blank as it was first, side 1 up"
        checker.problem(f"{path}.box", found, f"a box on the blank as it is then, {size}", remedy)
        return None
    if min(x1 - x0, y1 - y0) < LEAST_LEFT:
        found = f"{x1 - x0:g} by {y1 - y0:g} mm"
        checker.problem(f"{path}.box", found, f"at least {LEAST_LEFT:g} mm each way", "correct a corner")
        return None
    return body.after(Step(SAW, 0, 1, box=box))


def saw_box(corners) -> tuple[float, float, float, float]:
    """Return x0, y0, x1, y1 of two opposite corners, mm."""
    (xa, ya), (xb, yb) = corners
    return min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb)


def made_step(values: dict[str, Any], names: list[str]) -> Step:
    """Return the step of checked values.  names: of the setups."""
    rest = {name: values[name] for name in ("do", "side", *OF_POUR, "thickness", "density")}
    rest["box"] = None if values["box"] is None else saw_box(values["box"])
    return Step(after=names.index(values["after"]), is_closed=values["closed"], tool=values["by"], **rest)
