"""What zones of a job must be: an outline in plan that can be used, and limits that make sense."""

from __future__ import annotations

from typing import Any

from simkit.job.check import Checker, is_bad
from simkit.job.model import WHOLE_PART, Zone

Point = tuple[float, float]
SLACK = 1e-6  # mm: places on the blank's edge are in it


def box_corners(places: tuple[Point, ...]) -> tuple[float, float, float, float]:
    """Return x low, y low, x high, y high of a box given by two opposite corners."""
    (ax, ay), (bx, by) = places
    return min(ax, bx), min(ay, by), max(ax, bx), max(ay, by)


def box_problem(checker: Checker, places: tuple[Point, ...], path: str) -> bool:
    """Tell what is wrong with a box of places (x, y) mm; return whether something is."""
    if len(places) != 2:
        found, remedy = f"a list of {len(places)}", "write two opposite corners, such as [[20, 10], [60, 40]]"
        checker.problem(path, found, "two places", remedy)
        return True
    x0, y0, x1, y1 = box_corners(places)
    if x1 - x0 <= 0 or y1 - y0 <= 0:
        checker.problem(
            path, "a box without area", "two opposite corners of a box", "correct one of the corners"
        )
        return True
    return False


def zone_rules(checker: Checker, zones: Any, blank: Any) -> None:
    """Check zones: names, one outline each that can be used, and limits only where something is judged."""
    seen: set[str] = set()
    for index, zone in enumerate(zones or ()):
        if is_bad(zone):
            continue
        path = f"zones[{index}]"
        if not is_bad(zone["name"]):
            if zone["name"] in seen or zone["name"] == WHOLE_PART:
                again = " again" if zone["name"] in seen else ", which means all that lies in no zone"
                checker.problem(
                    f"{path}.name", f"'{zone['name']}'{again}", "a name of its own for each zone", "rename it"
                )
            seen.add(zone["name"])
        _limits(checker, zone, path)
        if is_bad(zone["box"], zone["outline"]):
            continue
        if (zone["box"] is None) == (zone["outline"] is None):
            found = "neither box nor outline" if zone["box"] is None else "a box and an outline"
            remedy = "add one" if zone["box"] is None else "take one of the two out"
            checker.problem(path, found, "one of the two for each zone", remedy)
        elif zone["box"] is not None:
            if not box_problem(checker, zone["box"], f"{path}.box"):
                _inside(checker, zone["box"], blank, f"{path}.box")
        else:
            outline_rules(checker, zone["outline"], blank, f"{path}.outline")


def _limits(checker: Checker, zone: dict[str, Any], path: str) -> None:
    if zone["judged"] is not False:
        return
    for name in ("gouge", "leftover", "finish_allowance"):
        if zone[name] is not None:
            checker.problem(
                f"{path}.{name}",
                "a limit in a zone that is not judged",
                "limits only where judged is true",
                "take the limit out, or judged = false",
            )


def outline_rules(
    checker: Checker, places: tuple[Point, ...], blank: Any, path: str, has_box: bool = True
) -> None:
    """Check an outline of places (x, y) mm on the blank.  has_box: as for `outline_problem`."""
    if not outline_problem(checker, places, path, "two zones" if has_box else "two steps", has_box):
        _inside(checker, places[:-1] if places[0] == places[-1] else places, blank, path)


def outline_problem(
    checker: Checker,
    places: tuple[Point, ...],
    path: str,
    several: str = "two zones",
    has_box: bool = True,
) -> bool:
    """Tell what is wrong with an outline of places (x, y) mm; return whether something is.

    several: what may be made of one that crosses itself.  has_box: whether a box can stand in its place.
    """
    if len(places) > 1 and places[0] == places[-1]:
        places = places[:-1]  # an outline may say its first place again
    if len(places) < 3:
        found = "1 place" if len(places) == 1 else f"{len(places)} places"
        remedy = f"write every corner of the outline{', or use a box' if has_box else ''}"
        checker.problem(path, found, "at least 3 places", remedy)
        return True
    count = len(places)
    for k in range(count):
        if places[k] == places[(k + 1) % count]:
            checker.problem(
                f"{path}[{(k + 1) % count}]", "a place twice in a row", "each corner once", "take one out"
            )
            return True
    for i in range(count):
        for j in range(i + 1, count):
            if _is_crossing(places, i, j):
                checker.problem(
                    path,
                    f"an outline that crosses or touches itself: the edge from {_words(places[i])} to "
                    f"{_words(places[(i + 1) % count])} and the one from {_words(places[j])} to "
                    f"{_words(places[(j + 1) % count])}",
                    "an outline that goes round once",
                    f"put the corners in the order of going round, or make {several} of it",
                )
                return True
    return False


def _is_crossing(places: tuple[Point, ...], i: int, j: int) -> bool:
    """Tell whether two edges of an outline meet anywhere but at a corner they share."""
    count = len(places)
    a, b, c, d = places[i], places[(i + 1) % count], places[j], places[(j + 1) % count]
    if b == c or d == a:  # neighbours: they may only fold back onto each other
        if d == a:
            a, b, c, d = c, d, a, b
        return _turn(a, b, d) == 0 and (b[0] - a[0]) * (d[0] - b[0]) + (b[1] - a[1]) * (d[1] - b[1]) < 0
    one, two, three, four = _turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b)
    if one * two < 0 and three * four < 0:
        return True
    return any(
        turn == 0 and _is_between(p, q, r)
        for turn, p, q, r in ((one, a, b, c), (two, a, b, d), (three, c, d, a), (four, c, d, b))
    )


def _turn(a: Point, b: Point, c: Point) -> int:
    """Return 1 when c lies left of the line from a to b, -1 right of it, 0 on it."""
    size = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return 0 if abs(size) < 1e-9 else 1 if size > 0 else -1


def _is_between(a: Point, b: Point, c: Point) -> bool:
    """Tell whether c, on the line through a and b, lies between them."""
    return all(min(p, q) - 1e-9 <= r <= max(p, q) + 1e-9 for p, q, r in zip(a, b, c, strict=True))


def _inside(checker: Checker, places: tuple[Point, ...], blank: Any, path: str) -> None:
    if is_bad(blank) or is_bad(blank["length"], blank["width"]):
        return
    length, width = blank["length"], blank["width"]
    for index, (x, y) in enumerate(places):
        if not (-SLACK <= x <= length + SLACK and -SLACK <= y <= width + SLACK):
            checker.problem(
                f"{path}[{index}]",
                f"a place at {_words((x, y))}, outside the blank",
                f"places on the blank, which is {length:g} mm by {width:g} mm",
                "measure from the left front corner of the blank, side 1 up",
            )


def _words(place: Point) -> str:
    return f"x {place[0]:g} mm, y {place[1]:g} mm"


def made_zone(values: dict[str, Any]) -> Zone:
    """Return the zone of checked values: a box becomes the outline of its four corners."""
    outline = values["outline"]
    if outline is None:
        x0, y0, x1, y1 = box_corners(values["box"])
        outline = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    elif outline[0] == outline[-1]:
        outline = outline[:-1]
    rest = {name: value for name, value in values.items() if name not in ("box", "outline")}
    return Zone(outline=outline, **rest)
