"""What all maps of a blank seen from above share: rulers, outline, numbered places, scale bar, list."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.patches import Circle
from scipy import ndimage

from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL
from simkit.report.labels import place_labels
from simkit.report.lengths import MM, measured

WIDTH = 1800  # pixels of a page at 150 dpi
TALLEST = 1500  # pixels a map may be high
NARROWEST = 1240  # pixels a page needs for its keys
SIDE_ROOM, LEFT_ROOM, TOP_ROOM, FRONT_ROOM = 128, 128, 48, 84  # pixels between the page and the map
RADIUS, SPOT = 17.0, 6.5  # pixels, circle of a finding's number and ring at its place
LOW, BAND = 260, 54  # pixels: a map lower than this gets a band above for numbers
LIST_ROOM = 66  # pixels in a line of the list that are not words: its number, and the gap behind
MOST_MARKS, MOST_LISTED = 60, 16  # the list below the map gives words to the first; others are rings
GLUE_DASHES = (1.5, 4.0)  # dotted, in widths of the line
GLUE_WORDS = "glue line of the blank"
MUST = ("safety", "beyond", "undecided")

# Short words for a finding's kind; a kind that is not here is told by its own name.
KIND_WORDS = {
    "leftover-cutter": "left standing, cutter can't get in",
    "leftover-program": "left standing, within reach",
    "break-through": "too deep: cut right through",
    "gouge": "cut too deep",
    "thin-wall": "thin wall",
    "hidden": "high, hidden from both sides",
    "fragile": "times as tall as thick: fragile",
    "witness-step": "step where the sides meet",
    "rapid-contact": "rapid through wood",
    "dowel-miss": "off: dowel holes do not meet",
    "loose-piece": "loose piece",
    "weak-hold": "weak hold",
    "seat": "does not seat in its jig",
    "spill": "below the resin: it runs out",
    "pour-depth": "of resin at once: too deep",
    "inlay-lost": "deep, planed away",
    "old-thickness": "off: zero of the old thickness",
    "step": "wrong between the setups",
    "fixture-contact": "too near a clamp or a stop",
    "holder-contact": "holder meets wood",
    "shank-contact": "shank or neck meets wood",
    "table-contact": "below the blank",
    "wrong-turn": "the blank lies the wrong way",
    "wrong-unit": "read in the wrong unit",
    "cusp": "ridge between passes",
    "travel": "beyond the ends of travel",
    "unsafe-height": "in the way of a change or a stop",
    "spindle-off": "cuts with the spindle off",
    "chip-load": "chip out of its range",
    "bite": "bitten off at once: too much",
    "spindle-speed": "speed of the spindle",
    "program": "in the program, to look at",
    "setup": "in the setup, to look at",
}


def pose_words(side, turn, cell, lengths=MM):
    """How the blank lies in the picture, in words."""
    turned = {
        "none": "not turned over",
        "about x": "turned over about its length, front edge to the back",
        "about y": "turned over about its width, left end to the right",
    }[turn]
    return f"Side {side} up, {turned}. Seen from above, standing at the front. Cells of {lengths.both(cell)}."


def widened(fold):
    """Widen what is thinner than 3 pixels to 3, so that a sliver is not lost when shown smaller."""
    is_thin = (fold > 0) & ~ndimage.binary_opening(fold > 0, np.ones((3, 3)))
    return np.maximum(fold, ndimage.maximum_filter(np.where(is_thin, fold, 0), size=3))


def draw_outline(page, seen, is_target, left, top):
    """Draw the outline of the target, from cell edge to cell edge, as a thin line."""
    from contourpy import contour_generator

    lattice = seen.lattice
    padded = np.pad(is_target, 1).astype(np.float32)
    x = lattice.origin[0] + (np.arange(lattice.nx + 2) - 0.5) * lattice.cell
    y = lattice.origin[1] + (np.arange(lattice.ny + 2) - 0.5) * lattice.cell
    for line in contour_generator(x, y, padded).lines(0.5):
        px, py = seen.pixel(line[:, 0], line[:, 1])
        page.line(left + px, top + py, colours.QUIET_INK, 1.5, zorder=3.5)


def draw_rulers(page, blank, pitch, left, top, across, down, band):
    """Lengths from the left front corner as seen, and the words at the edges."""
    lengths = page.lengths
    step = lengths.ruler(max(blank.length, blank.width) / 12)
    parts = lengths.parts(step)
    bottom = top + down
    for i in range(math.floor(blank.length / (step / parts) + 1e-9) + 1):
        x = left + i * step / parts / pitch
        page.line([x, x], [bottom, bottom + (12 if i % parts == 0 else 6)], colours.QUIET_INK)
        if i % parts == 0:
            words = lengths.size(i * step / parts)
            page.text(x, bottom + 36, words, SMALL, colours.QUIET_INK, across="center")
    for i in range(math.floor(blank.width / (step / parts) + 1e-9) + 1):
        y = bottom - i * step / parts / pitch
        page.line([left, left - (12 if i % parts == 0 else 6)], [y, y], colours.QUIET_INK)
        if i % parts == 0:
            words = lengths.size(i * step / parts)
            page.text(left - 18, y, words, SMALL, colours.QUIET_INK, across="right", up="center")
    middle = top + down / 2
    page.text(left + across / 2, bottom + 68, "front", BODY, across="center", bold=True)
    page.text(left + across / 2, top - 16 - band, "back", BODY, across="center", bold=True)
    page.text(left - 88, middle, "left", BODY, across="center", up="center", turn=90, bold=True)
    page.text(
        left + across + 30 + band, middle, "right", BODY, across="center", up="center", turn=90, bold=True
    )
    # Beside "front", flush with the map where there is room, else going on to the right.
    start = {"x": left + across, "across": "right"} if across > 700 else {"x": left + across / 2 + 62}
    page.text(
        y=bottom + 68,
        text=f"{lengths.word} from the left front corner",
        size=SMALL,
        colour=colours.QUIET_INK,
        **start,
    )


def draw_numbers(page, seen, findings, left, top, busy, band, kept=()):
    """Draw the numbers of the listed findings that have a place, with leaders; of others a ring each.

    kept: pixels (x, y) of the page that no number may cover.
    """
    for finding in [f for f in findings[MOST_LISTED:] if f.get("at") is not None][: MOST_MARKS - MOST_LISTED]:
        draw_ring(page, seen.pixel(*finding["at"][:2]) + np.array((left, top)))
    placed = [f for f in findings[:MOST_LISTED] if f.get("at") is not None]
    if not placed:
        return
    points = np.array([seen.pixel(f["at"][0], f["at"][1]) for f in placed]) + np.array((left, top))
    bounds = (left - 4, top - 4 - band, left + seen.across + 4 + band, top + seen.down + 2)
    centres = place_labels(points, bounds, RADIUS, busy, kept)
    for finding, point, centre in zip(placed, points, centres, strict=True):
        along = centre - point
        length = max(float(np.hypot(*along)), 1e-9)
        ends = point + along * (np.array([[SPOT], [max(length - RADIUS, SPOT)]]) / length)
        page.line(*ends.T, "white", 4.5, zorder=6.5)
        page.line(*ends.T, colours.INK, 1.6, zorder=7)
        draw_ring(page, point)
        page.number(*centre, finding["number"], finding.get("severity") in MUST, RADIUS)


def draw_ring(page, point):
    """Mark a place with a ring, not a dot: the smallest spot must not lie hidden under its own mark."""
    for colour, wide, above in (("white", 4.0, 6.6), (colours.INK, 1.4, 7.1)):
        ring = Circle(point, SPOT, facecolor="none", edgecolor=colour, zorder=above)
        ring.set_linewidth(wide * 72 / canvas.BASE_DPI)
        page.axes.add_artist(ring)


def draw_scale_bar(page, pitch, right, y, room):
    """Draw a bar of a round length, at most `room` pixels, ending at `right`."""
    lengths = page.lengths
    length = lengths.ruler(room * pitch / 2.6)
    while length / pitch > room:
        length /= 2
    start = right - length / pitch
    for i in range(2):
        fill = colours.INK if i == 0 else "white"
        page.box(start + i * length / pitch / 2, y, length / pitch / 2, 9, fill, colours.INK)
    for i, at in enumerate((0, length / 2, length)):
        if i != 1 or length / pitch > 190:
            text = lengths.sizes(at) if i == 2 else lengths.size(at)
            page.text(start + at / pitch, y + 36, text, SMALL, across="right" if i == 2 else "center")


def flow(signs, width):
    """(row, x) of each sign, wrapped to the width."""
    row, x, places = 0, 0.0, []
    for _, words in signs:
        wide = 62 + canvas.text_width(words, SMALL) + 34
        if x and x + wide - 34 > width:
            row, x = row + 1, 0.0
        places.append((row, x))
        x += wide
    return places


def draw_head(page, title: list[str], told: list[str], pose: str) -> None:
    """Draw what stands over a map: lines of the title, of what it tells, and how the blank lies in it."""
    y = 40.0
    for lines, size, is_bold in ((title, canvas.TITLE, True), (told, BODY, False)):
        for line in lines:
            page.text(MARGIN, y, line, size, bold=is_bold, up="top")
            y += canvas.line_height(size)
    page.text(MARGIN, y + 4, pose, SMALL, colours.QUIET_INK, up="top")


def columns_of(findings, inner, lengths=MM) -> int:
    """Return in how many columns the list of findings fits into `inner` pixels, none of its words cut off."""
    wide = max((canvas.text_width(words, SMALL) for *_, words in _listed(findings, lengths)), default=0.0)
    return max(1, min(3 if inner > 1500 else 2, int(inner / (wide + LIST_ROOM))))


def draw_list(page, findings, top, columns, inner):
    """Write the first findings beside their numbers, column by column."""
    lines = _listed(findings, page.lengths)
    rows = math.ceil(len(lines) / columns)
    wide = inner / columns
    for i, (number, is_must, words) in enumerate(lines):
        x, y = MARGIN + (i // rows) * wide, top + 42 * (i % rows)
        if number is not None:
            page.number(x + RADIUS, y, number, is_must, RADIUS)
        page.text(
            x + 2 * RADIUS + 12, y, canvas.shortened(words, SMALL, wide - LIST_ROOM), SMALL, up="center"
        )


def _listed(findings, lengths) -> list[tuple[int | None, bool, str]]:
    """Return the lines of the list: number, whether it is to be put right, words."""
    lines = [
        (f["number"], f.get("severity") in MUST, finding_words(f, lengths)) for f in findings[:MOST_LISTED]
    ]
    rest = len(findings) - MOST_LISTED
    return [*lines, (None, False, f"and {rest} more in the report (rings)")] if rest > 0 else lines


def finding_words(finding, lengths=MM):
    """Return what a finding is in a few words, with its value; of what is undecided with its bound, too.

    Without the bound a value within its limit would stand there as one to put right.
    """
    kind = str(finding["kind"])
    words = KIND_WORDS.get(kind, kind)
    value = finding.get("value")
    unit = finding.get("unit", "mm")
    text = words if value is None else f"{value:.2f} {unit} {words}" if unit else f"{value:.1f} {words}"
    if value is not None and unit in ("mm", "cm3"):
        is_open = finding.get("severity") == "undecided"
        bound = finding.get("bound") if is_open else None
        told = measured({"value": value, "bound": bound, "unit": unit}, lengths)
        if is_open:  # why it stands there matters once it is known to; longer words run into the next column
            words = f"{words.partition(',')[0]}, undecided"
        text = f"{told} {words}"
    return canvas.tidy(text if finding.get("at") is not None else f"{text} (no one place)")


def draw_glue(page, seen, paths, left: float, top: float) -> None:
    """Dot the lines of the glue, each (n, 2) mm in the blank, on a map whose corner is at (left, top)."""
    for path in paths:
        x, y = seen.pixel(*np.asarray(path, float).T)
        page.line(left + x, top + y, colours.INK, 1.2, 3.6, GLUE_DASHES)
