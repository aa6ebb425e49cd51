"""What steps between the setups must be: where they belong, and keys that make sense together."""

from __future__ import annotations

from typing import Any

from simkit.job.check import Checker, is_bad
from simkit.job.steps import POUR, THICKNESS, Body, Step, body_after
from simkit.job.zones import outline_rules

OF_POUR = ("below", "over", "outline", "most_depth")
MARGIN = 1e-6  # mm: sizes nearer than this are alike
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
        if do == POUR:
            _pour(checker, step, blank, body, path)
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


def made_step(values: dict[str, Any], names: list[str]) -> Step:
    """Return the step of checked values.  names: of the setups."""
    rest = {name: values[name] for name in ("do", "side", *OF_POUR, "thickness", "density")}
    return Step(after=names.index(values["after"]), is_closed=values["closed"], tool=values["by"], **rest)
