"""The data and the controls of the 3-D view, which scene.js draws from the page alone."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Sequence
from typing import Any

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.report import colours
from simkit.report.lengths import Lengths
from simkit.report.map_parts import finding_words
from simkit.report.outer_steps import step_classes
from simkit.report.page.html import Html, el
from simkit.report.pictures import in_steps_of_zones
from simkit.report.pooled import pooled, pooled_most, pooled_share, pooled_wood
from simkit.report.solid_mesh import walls
from simkit.report.wall_lines import corner_shifts

MOST_CELLS = 160_000  # 0.4 mm cells on a blank of 280 x 90 mm: two million bytes, some 600,000 triangles
STEP = 0.005  # mm: heights are told to half of this
NONE = 65535  # height of a cell without wood
SHIFTS = 200  # parts of a cell that the middles of columns move by
MOST_NUMBERS = 40
# Colours of the part alone and of the face of a section; ink for the part's outline on it.
TARGET, CUT_FACE = "#d8d6cf", "#d9b98a"
RESIN, RESIN_FACE = 13, "#80cdc1"  # its number among the classes of scene.js; a teal of BrBG that bears shade


def scene_of(
    evidence: Evidence, is_inch: bool = False, starts_on: int = 1, rows: Sequence[dict[str, Any]] = ()
) -> dict[str, Any]:
    """Return the height fields of what is left and of the part, as plain data that JSON holds.

    starts_on: the side, 1 or 2, that is shown first.  rows: findings of the result; see outer_steps.

    Heights are uint16 steps above `low`, NONE where there is no wood; each row as differences, the low bytes
    of a grid before its high bytes, then the classes of colours.class_index plus one; all of it deflated
    (RFC 1950) and in base64.  Behind the classes: how far the middles of columns move, see shifts_of.
    Accuracy: heights to half a `step` (at most the blank's thickness / 65000), cells pooled to MOST_CELLS
    with the highest upper, the lowest lower surface and the worst class.  Of a job with resin also where wood
    begins and ends in each column: the rest is resin.
    """
    job, field = evidence.job, evidence.field
    lattice = field.lattice
    limits = (job.limits.gouge, job.limits.leftover)
    nothing = np.full(lattice.shape, colours.NO_TARGET, np.int8)
    if evidence.target is None:
        nothing = np.where(field.is_solid, colours.WITHIN, colours.NO_TARGET).astype(np.int8)
    classes = {
        side: colours.class_index(in_steps_of_zones(evidence, side), limits) for side in evidence.deviations
    }
    stands_out = step_classes(evidence, rows)
    if stands_out is not None:
        classes = {side: colours.worse(index, stands_out) for side, index in classes.items()}
    lower, upper, class_lower, class_upper, fold = pooled(
        field.lower, field.upper, classes.get(2, nothing), classes.get(1, nothing), MOST_CELLS, True
    )
    heights = {"lower": lower, "upper": upper}
    if field.wood_upper is not None:
        wood = pooled_wood(field.lower, field.upper, field.wood_lower, field.wood_upper, fold)
        heights["wood_lower"], heights["wood_upper"] = wood
    if evidence.envelopes is not None:
        part = evidence.envelopes
        surfaces = (np.nan_to_num(surface).astype(np.float32) for surface in (part.lower, part.upper))
        heights["target_lower"], heights["target_upper"], *_ = pooled(*surfaces, nothing, nothing, MOST_CELLS)
    low = min(0.0, *(float(grid.min()) for grid in heights.values()))
    high = max(job.blank.thickness, *(float(grid.max()) for grid in heights.values()))
    step = max(STEP, (high - low) / (NONE - 2))
    solid = {"": upper > lower}
    if "target_upper" in heights:
        solid["target_"] = heights["target_upper"] > heights["target_lower"]
    parts = []
    for name, grid in heights.items():
        is_solid = solid["target_" if name.startswith("target_") else ""]
        counts = np.where(is_solid, np.rint((grid - low) / step), NONE).astype(np.uint16)
        differences = np.diff(counts, axis=1, prepend=np.uint16(0))  # modulo 65536, as uint16 counts
        parts += [(differences & 255).astype(np.uint8), (differences >> 8).astype(np.uint8)]
    for side, index in ((2, class_lower), (1, class_upper)):
        kinds = (index.astype(np.int16) + 1).astype(np.uint8)
        if field.wood_upper is not None:
            is_resin = pooled_share(field.is_resin(side), fold) > 0.5
            kinds[is_resin & ((index == colours.WITHIN) | (index == colours.NO_TARGET))] = RESIN
        parts.append(kinds)
    moved = {"": shifts_of(lower, upper, lattice.cell * fold)}
    if "target_upper" in heights:
        moved["target_"] = shifts_of(heights["target_lower"], heights["target_upper"], lattice.cell * fold)
    parts.append(
        (_walls(upper > lower, colours.worse(class_lower, class_upper), stands_out, fold) + 1).astype(
            np.uint8
        )
    )
    parts += [part for pair in moved.values() for part in pair]
    data = zlib.compress(b"".join(part.tobytes() for part in parts), 9)
    palette = [colours.HOLDING, *colours.CLASSES, TARGET, CUT_FACE, colours.INK, RESIN_FACE]
    return {
        "nx": int(upper.shape[1]),
        "ny": int(upper.shape[0]),
        "cell": lattice.cell * fold,
        "origin": list(lattice.origin),
        "low": low,
        "high": high,
        "step": step,
        "heights": list(heights),
        "classes": ["class_lower", "class_upper", "class_wall"]
        + [f"{name}shift_{axis}" for name in moved for axis in "xy"],
        "palette": [list(colours.rgb(colour)) for colour in palette],
        "is_inch": is_inch,
        "starts_on": starts_on,
        "data": base64.b64encode(data).decode("ascii"),
    }


def shifts_of(lower, upper, cell: float) -> tuple[np.ndarray, np.ndarray]:
    """Return how far the middles of columns beside walls move along x and y: walls are lines, not teeth.

    lower, upper (ny, nx) mm.  Each (ny, nx) uint8: 128 and as many SHIFTS-ths of a cell; at most half a cell.
    Own derivation: a column goes with the corners of walls that it touches, as wall_lines lays them; of a
    wall that is straight on both sides of the column that is the line itself.
    """
    ends = [np.pad(end, 1) for end in (upper, lower)]  # air all round
    is_solid = ends[0] > ends[1]
    sides = [walls(end, is_solid, cell) for end in ends]
    beside = sides[0][0] | sides[1][0] | (is_solid[:, :-1] != is_solid[:, 1:])
    before = sides[0][1] | sides[1][1] | (is_solid[:-1] != is_solid[1:])
    corners = corner_shifts(beside, before)
    is_wall = np.zeros(corners.shape[:2], bool)
    is_wall[1:, 1:-1] |= beside
    is_wall[:-1, 1:-1] |= beside
    is_wall[1:-1, 1:] |= before
    is_wall[1:-1, :-1] |= before
    touches = np.zeros(is_solid.shape, bool)
    for edge, first, last in ((beside, np.s_[:, :-1], np.s_[:, 1:]), (before, np.s_[:-1], np.s_[1:])):
        touches[first] |= edge
        touches[last] |= edge
    ny, nx = is_solid.shape
    total, count = np.zeros((ny, nx, 2)), np.zeros((ny, nx))
    for y, x in ((0, 0), (0, 1), (1, 0), (1, 1)):
        near = is_wall[y : y + ny, x : x + nx]
        total += np.where(near[..., None], corners[y : y + ny, x : x + nx], 0.0)
        count += near
    moved = np.where(touches[..., None], total / np.maximum(count, 1)[..., None], 0.0)
    counts = (np.rint(moved[1:-1, 1:-1] * SHIFTS) + 128).astype(np.uint8)
    return np.ascontiguousarray(counts[..., 0]), np.ascontiguousarray(counts[..., 1])


def _walls(is_solid, index, stands_out, fold: int) -> np.ndarray:
    """Return the class of the walls of each column that is drawn, before which nothing is left (ny, nx).

    is_solid, index: on those cells; index the worse class of both sides.  stands_out: of
    outer_steps.step_classes, on those of the field.
    Wood left standing on the outer wall has its class there, and so has the wood beside what is cut through.
    """
    walls = np.where(index == colours.NO_TARGET, colours.NO_TARGET, colours.WITHIN)
    is_through = ~is_solid & (index >= 0) & (index < colours.WITHIN)
    gone = np.pad(np.where(is_through, index, colours.WITHIN), 1, constant_values=colours.WITHIN)
    ny, nx = is_solid.shape
    near = [gone[y : y + ny, x : x + nx] for y in range(3) for x in range(3)]
    deepest = np.min(near, axis=0)
    walls = np.where(deepest < colours.WITHIN, deepest, walls)
    if stands_out is None:
        return walls
    proud = pooled_most(stands_out, fold)
    return np.where(proud > colours.WITHIN, proud, walls)


def scene_part(evidence: Evidence, result: dict[str, Any], lengths: Lengths) -> Html:
    """Return the 3-D view: its canvas, its controls, its data, and what is said where it cannot be drawn."""
    frame = scene_frame(evidence, result, lengths)
    return Html(frame.replace(EMPTY_SCENE, scene_script(scene_text(evidence, result, lengths))))


def scene_text(evidence: Evidence, result: dict[str, Any], lengths: Lengths) -> str:
    """Return the data of the view as JSON for a script; it begins with the side of the first finding."""
    rows = result["findings"]
    first = next((row["side"] for row in rows if row["at"] is not None and row["side"]), 1)
    scene = scene_of(evidence, lengths.is_inch, first, rows)
    return json.dumps(scene, separators=(",", ":")).replace("<", "\\u003c")


def scene_script(text: str) -> Html:
    """Return the element that holds the data of the view."""
    return el("script", Html(text), type="application/json", id="solid-data")


EMPTY_SCENE = scene_script("")


def scene_frame(evidence: Evidence, result: dict[str, Any], lengths: Lengths) -> Html:
    """Return the 3-D view without its data."""
    has_target = evidence.target is not None
    subjects = [("cut", "what is left, coloured by deviation" if has_target else "what is left")]
    if has_target:
        subjects += [("left", "wood left standing, on the part"), ("target", "the part as wanted")]
    ways = [("-1", "none"), ("0", "across the length"), ("1", "along the length")]
    views = [
        ("corner", "from a corner"),
        ("above", "side 1"),
        ("below", "side 2"),
        ("front", "from the front"),
        ("nearer", "nearer"),
        ("farther", "farther"),
    ]
    return el(
        "div",
        el(
            "p",
            "The 3-D view is drawn by a small program in this file; this browser does not run it.",
            class_="instead",
        ),
        el(
            "div",
            el(
                "div",
                el(
                    "canvas",
                    tabindex="0",
                    aria_label="The part in 3-D: drag to turn, pinch or + and - to zoom",
                ),
                _labels(evidence, result),
                class_="stage",
            ),
            el("p", "Left, right, front and back are those of the blank with side 1 up.", class_="quiet"),
            el(
                "div",
                [el("button", words, type="button", data_act=act) for act, words in views],
                class_="row",
            ),
            _findings(result, lengths),
            _choices("subject", "Show", subjects),
            _resin() if evidence.field.wood_upper is not None else None,
            _choices("section", "Section", ways),
            el(
                "label",
                "Place of the section ",
                el("input", type="range", name="place", min="0", max="1000", value="500", disabled=True),
                el("output", ""),
                class_="place",
            ),
            class_="works",
        ),
        EMPTY_SCENE,
        id="solid",
    )


def _findings(result: dict[str, Any], lengths: Lengths) -> Html | None:
    """Return the choice of a finding to turn to, None where none has a place."""
    options = [
        el("option", f"{row['number']}: {finding_words(row, lengths)}", value=str(row["number"]))
        for row in _placed(result)
    ]
    if not options:
        return None
    choice = el("select", el("option", "–", value=""), *options, name="finding", autocomplete="off")
    return el("label", "Turn to finding ", choice, class_="place")


def _resin() -> Html:
    box = el("input", type="checkbox", name="resin", checked=True, autocomplete="off")
    return el("label", box, " with its resin", class_="place")


def _placed(result: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the findings that have a number in the view."""
    return [row for row in result["findings"] if row["at"] is not None][:MOST_NUMBERS]


def _choices(name: str, legend: str, rows: list[tuple[str, str]]) -> Html:
    boxes = [
        el(
            "label",
            el("input", type="radio", name=name, value=value, checked=index == 0, autocomplete="off"),
            f" {words}",
        )
        for index, (value, words) in enumerate(rows)
    ]
    return el("fieldset", el("legend", legend), *boxes)


def _labels(evidence: Evidence, result: dict[str, Any]) -> list[Html]:
    """The numbers of the findings and the ends of the blank, put to their places by scene.js."""
    blank = evidence.job.blank
    middle = blank.thickness / 2
    ends = (
        ("left", 0.0, blank.width / 2),
        ("right", blank.length, blank.width / 2),
        ("front", blank.length / 2, 0.0),
        ("back", blank.length / 2, blank.width),
    )
    labels = [el("span", words, class_="end", data_at=f"{x:g} {y:g} {middle:g}") for words, x, y in ends]
    for row in _placed(result):
        at = " ".join(f"{value:.2f}" for value in row["at"])
        number = str(row["number"])
        labels.append(
            el("span", number, class_="spot", data_number=number, data_at=at, data_side=str(row["side"] or 0))
        )
    return labels
