"""How the blank lies in each setup, as the operator standing at the front sees it."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.report.lengths import Lengths
from simkit.report.page import svg
from simkit.report.page.html import Html, el
from simkit.units import MM_PER_INCH

ROOM = 44.0  # units round the blank
TALLEST = 250.0
STRIP = 54.0  # units under the plan for the view from the front


def setup_sketch(evidence: Evidence, index: int, row: dict[str, Any], lengths: Lengths) -> Html:
    """Return the plan of one setup and below it the blank seen from the front, as SVG.

    index: of the setup.  row: the same setup of a sheet (report.sheet).
    """
    across, deep, _ = row["size"]
    boxes = [(0.0, across, 0.0, deep)] + [fixture["box"] for fixture in row["fixtures"]]
    zero = row["zero"]["at"]
    low_x, high_x = min(b[0] for b in boxes), max(b[1] for b in boxes)
    low_y, high_y = min(b[2] for b in boxes), max(b[3] for b in boxes)
    low_x, high_x = min(low_x, zero[0]), max(high_x, zero[0])
    low_y, high_y = min(low_y, zero[1]), max(high_y, zero[1])
    pitch = max((high_x - low_x) / (svg.WIDE - 2 * ROOM), (high_y - low_y) / TALLEST)
    left = (svg.WIDE - (high_x - low_x) / pitch) / 2
    top = 24.0
    base = top + (high_y - low_y) / pitch

    def at(x: float, y: float) -> tuple[float, float]:
        return left + (x - low_x) / pitch, base - (y - low_y) / pitch

    x0, y0 = at(0, deep)
    wide, tall = across / pitch, deep / pitch
    shapes = [svg.box(x0, y0, wide, tall, "blank-wood")]
    shapes += _part(evidence, index, at)
    shapes += [_fixture(box, sign, at) for (_, sign), box in zip(fixture_signs(row), boxes[1:], strict=True)]
    corner = _corner_mark(row["mark"], x0, y0, wide, tall)
    shapes += [
        _pin(pin, sign, at, pitch, corner) for (_, sign), pin in zip(pin_signs(row), row["pins"], strict=True)
    ]
    steps = " ".join(f"{a:.1f} {b:.1f}" for a, b in corner)
    shapes.append(el("path", d=f"M{steps}Z", class_=f"mark-{row['mark']['face']}"))
    shapes += _zero(*at(*zero[:2]))
    middle_x, middle_y = x0 + wide / 2, y0 + tall / 2
    right = left + (high_x - low_x) / pitch
    shapes += [  # beside all that stands there
        svg.text(middle_x, top - 8, "back", "middle"),
        svg.text(middle_x, base + 15, "front", "middle"),
        svg.text(left - 8, middle_y + 4, "left", "end"),
        svg.text(right + 8, middle_y + 4, "right", "start"),
    ]
    unit_mm = MM_PER_INCH if lengths.is_inch else 1.0
    shapes.append(svg.scale_bar(x0 + wide, base + 10, pitch, 70, unit_mm, lengths.name))
    strip, height = _from_front(row, x0, wide, base + 46, pitch, lengths)
    words = f"Setup {row['name']}: {row['lies']}; zero at the {row['zero']['corner']}"
    return svg.drawing(svg.WIDE, base + 46 + height, words, *shapes, *strip, class_="sketch")


def _part(evidence: Evidence, index: int, at) -> list[Html]:
    """The outline of the part as it lies in this setup."""
    if evidence.envelopes is None:
        return []
    from contourpy import contour_generator

    lattice = evidence.field.lattice
    is_part = np.pad(evidence.envelopes.is_part, 1).astype(np.float32)
    x = lattice.origin[0] + (np.arange(lattice.nx + 2) - 0.5) * lattice.cell
    y = lattice.origin[1] + (np.arange(lattice.ny + 2) - 0.5) * lattice.cell
    job = evidence.job
    to_table = job.setups[index].lie(job.blank).inverse()
    shapes = []
    for line in contour_generator(x, y, is_part).lines(0.5):
        table = to_table.apply_plan(line)
        shapes.append(svg.path(np.column_stack(at(table[:, 0], table[:, 1])), "part", is_closed=True))
    return shapes


def fixture_signs(row: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the name of each clamp or stop and the letter it has in the sketch: names would not fit."""
    letters = [chr(ord("A") + k) if k < 26 else f"A{k - 25}" for k in range(len(row["fixtures"]))]
    return [(one["name"], letter) for one, letter in zip(row["fixtures"], letters, strict=True)]


def pin_signs(row: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the name of each dowel hole or pin and the number it has in the sketch."""
    return [(one["name"], str(k)) for k, one in enumerate(row["pins"], 1)]


def _fixture(box: list[float], letter: str, at) -> Html:
    low_x, high_x, low_y, high_y = box
    x0, y0 = at(low_x, high_y)
    x1, y1 = at(high_x, low_y)
    sign = svg.text((x0 + x1) / 2, (y0 + y1) / 2 + 4, letter, "middle", "t small halo")
    return el("g", svg.box(x0, y0, x1 - x0, y1 - y0, "clamp"), sign)


def _pin(pin: dict[str, Any], number: str, at, pitch: float, corner: np.ndarray) -> Html:
    """A dowel hole or pin with its number above it, or below it where the corner's mark is above."""
    x, y = at(*pin["at"])
    radius = max((pin["diameter"] or 6.0) / 2 / pitch, 3.0)
    (low_x, low_y), (high_x, high_y) = corner.min(axis=0), corner.max(axis=0)
    is_beside = low_x - 6 < x < high_x + 6
    is_above = not (is_beside and low_y - 2 < y - radius - 4 < high_y + 10)
    return el(
        "g",
        svg.circle(x, y, radius, "hole" if pin["is_hole"] else "pin"),
        svg.text(x, y - radius - 4 if is_above else y + radius + 11, number, "middle", "t small halo"),
    )


def _corner_mark(mark: dict[str, Any], x0: float, y0: float, wide: float, tall: float) -> np.ndarray:
    """The corners (3, 2) of the triangle drawn on the corner left front of side 1."""
    is_left, is_front = mark["corner"].startswith("left"), mark["corner"].endswith("front")
    x, y = x0 + (4 if is_left else wide - 4), y0 + (tall - 4 if is_front else 4)
    sx, sy = (1 if is_left else -1), (-1 if is_front else 1)
    size = min(26.0, wide / 3, tall / 3)
    return np.array([[x, y], [x + sx * size, y], [x, y + sy * size]])


def _zero(x: float, y: float) -> list[Html]:
    """The zero with the ways in which X and Y grow."""
    return [
        svg.circle(x, y, 7, "zero-ring"),
        svg.line(x - 10, y, x + 22, y, "zero-line"),
        svg.line(x, y + 10, x, y - 22, "zero-line"),
        el("path", d=f"M{x + 27:.1f} {y:.1f}l-7 -3.5v7z", class_="zero-head"),
        el("path", d=f"M{x:.1f} {y - 27:.1f}l-3.5 7h7z", class_="zero-head"),
        svg.text(x + 29, y + 4, "X", "start", "t small halo"),
        svg.text(x - 5, y - 18, "Y", "end", "t small halo"),
    ]


def _from_front(row, x0: float, wide: float, top: float, pitch: float, lengths: Lengths):
    """The blank from the front: thickness, which side is up, height of the zero, how deep cutters go."""
    thick = row["size"][2]
    scale = 1 / pitch
    tall = max(thick * scale, 8.0)
    zero_y = top + tall - row["zero"]["at"][2] * tall / thick
    side = "side 1 up" if row["lies"].startswith("side 1") else "side 2 up"
    shapes = [
        svg.box(x0, top, wide, tall, "blank-wood"),
        svg.text(x0 + wide / 2, top + tall / 2 + 4, f"from the front: {side}", "middle", "t small halo"),
        svg.line(x0 - 18, zero_y, x0 + 14, zero_y, "zero-line"),
        svg.text(x0 - 20, zero_y + 4, "Z0", "end", "t small"),
        svg.text(x0 + wide + 6, top + tall / 2 + 4, lengths.size(thick), "start", "t small"),
    ]
    height = tall
    board = row["spoilboard"]
    if board is not None:
        thin = max(board * scale, 4.0)
        shapes.append(svg.box(x0 - 10, top + tall, wide + 20, thin, "board"))
        what = "spoilboard" if row["jig"] is None else "jig below"
        words = f"{what}, may be cut {lengths.sizes(board)} deep"
        shapes.append(svg.text(x0 + wide / 2, top + tall + thin + 12, words, "middle", "t small"))
        height += thin + 16
    else:
        shapes.append(svg.line(x0 - 10, top + tall, x0 + wide + 10, top + tall, "table"))
        words = f"{'table' if row['jig'] is None else 'jig'}, must not be cut"
        shapes.append(svg.text(x0 + wide / 2, top + tall + 13, words, "middle", "t small"))
        height += 18
    return shapes, height + 6


def turning_sketch(turn: str) -> Html | None:
    """Return how the blank is turned over, seen from its end or its front; None when it is not."""
    if turn == "none":
        return None
    about_x = turn == "about x"
    ends = ("front", "back") if about_x else ("left", "right")
    seen = "seen from the left end" if about_x else "seen from the front"
    if about_x:  # from the left end the front is at the right hand
        ends = ends[::-1]
    y, height = 30.0, 26.0
    shapes = []
    for start, sides, edge in ((12.0, ("side 1", "side 2"), ends), (208.0, ("side 2", "side 1"), ends)):
        shapes += [
            svg.box(start, y, 120, height, "blank-wood"),
            svg.text(start + 60, y - 5, f"{sides[0]} up", "middle", "t small"),
            svg.text(start + 60, y + height + 12, f"{sides[1]} down", "middle", "t small"),
            svg.text(start, y + height + 25, edge[0], "start", "t small"),
            svg.text(start + 120, y + height + 25, edge[1], "end", "t small"),
        ]
    # The edge that is lifted: the front about x, the left about y.
    lifted = 12.0 + (112 if about_x else 8)
    landed = 208.0 + (8 if about_x else 112)
    shapes += [
        svg.circle(lifted, y + 13, 5, "zero-head"),
        svg.circle(landed, y + 13, 5, "zero-head"),
        el("path", d="M140 40C155 12 185 12 199 36", class_="turn"),
        el("path", d="M202 42l-9 -5l7 -5z", class_="zero-head"),
        svg.text(svg.WIDE / 2, 96, f"{seen}; the dot marks one edge", "middle", "t small"),
    ]
    return svg.drawing(svg.WIDE, 104, f"Turned over {turn}", *shapes, class_="sketch")
