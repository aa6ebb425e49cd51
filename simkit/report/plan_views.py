"""Plan-view map of what is left standing and what is cut too deep, one side of the blank at a time.

The blank is drawn as the operator sees it lying in that setup, seen from above from its front.  matplotlib
is imported here, so the caller imports this module only when a picture is wanted.
"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.patches import Circle
from scipy import ndimage

from simkit.errors import ShapeError
from simkit.frames import TURNS
from simkit.job.model import Blank
from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL, TITLE, Page
from simkit.report.labels import place_labels
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice

WIDTH = 1800  # pixels of a page at 150 dpi
TALLEST = 1500  # pixels a map may be high
NARROWEST = 1240  # pixels a page needs for its keys
SIDE_ROOM, LEFT_ROOM, TOP_ROOM, FRONT_ROOM = 128, 128, 48, 84  # pixels between the page and the map
RADIUS, SPOT = 17.0, 6.5  # pixels, circle of a finding's number and ring at its place
LOW, BAND = 260, 54  # pixels: a map lower than this gets a band above for numbers
MOST_MARKS, MOST_LISTED = 60, 16  # the list below the map gives words to the first; others are rings
MUST = ("safety", "beyond", "undecided")

# Short words for a finding's kind; a kind that is not here is told by its own name.
KIND_WORDS = {
    "leftover-cutter": "left standing, cutter can't get in",
    "leftover-program": "left standing, no pass there",
    "break-through": "too deep: cut right through",
    "gouge": "cut too deep",
    "thin-wall": "thin wall",
    "hidden": "hidden from both sides",
    "fragile": "times as tall as thick: fragile",
    "witness-step": "step where the sides meet",
    "rapid-contact": "rapid through wood",
    "dowel-miss": "dowel holes do not meet",
    "loose-piece": "loose piece",
    "weak-hold": "weak hold",
    "seat": "does not seat in its jig",
}

GLUE_DASHES = (1.5, 4.0)  # dotted, in widths of the line


def draw_plan_view(
    path,
    *,
    lattice: Lattice,
    deviation: np.ndarray,
    is_solid: np.ndarray,
    holding: np.ndarray | None,
    side: int,
    turn: str,
    blank: Blank,
    limits: tuple[float, float],
    findings: list[dict],
    title: str,
    subtitle: str,
    cell: float,
    relief: np.ndarray | None = None,
    is_judged: bool = True,
    dpi: float = canvas.BASE_DPI,
    glue: list[float] | None = None,
) -> str:
    """Draw the map of one side as a PNG at `path` and return the path.

    lattice: of the arrays, blank frame.  deviation (ny, nx) mm, + left standing, - too deep, NaN where
    there is no target.  is_solid (ny, nx) bool, cells that still hold wood.  holding (ny, nx) bool or
    None: wood outside the outline that holds the part (frame, skin, tabs); None: all of it does.
    side 1 or 2; turn of that setup, of TURNS.  blank mm.  limits (gouge, leftover) mm.
    findings: dicts with number, kind, severity, at (x, y, z) mm blank frame or None, value or None, and
    unit where the value is not mm; in the order to be read.  title; subtitle, the verdict sentence.
    cell mm, as the check says it.  relief (ny, nx) mm, height of the surface of this side in the blank
    frame, or None: shades what is within the limits a little.  is_judged: False where there is no
    target: the shaded surface alone is drawn, without the colour scale.  dpi: 150 gives 1800 pixels at most.
    glue: y of the glue lines that stand upright along the blank, mm.

    Accuracy: a colour shows the worst deviation of all cells under a pixel, and what is thinner than 3
    pixels is widened to 3, so a spot may look up to 2 pixels wider than it is and is never left out.
    Same input, same bytes on one machine.  Source of the colours: simkit/report/colours.py.
    """
    for name, array in (("deviation", deviation), ("is_solid", is_solid)):
        _check_shape(name, array, lattice)
    for name, array in (("holding", holding), ("relief", relief)):
        if array is not None:
            _check_shape(name, array, lattice)
    if turn not in TURNS:
        raise ValueError(f"turn must be one of {TURNS}, not {turn!r}")

    room = WIDTH - LEFT_ROOM - SIDE_ROOM
    pitch = max(blank.length / room, blank.width / TALLEST)  # mm a pixel
    across, down = max(round(blank.length / pitch), 8), max(round(blank.width / pitch), 8)
    width = max(across + LEFT_ROOM + SIDE_ROOM, NARROWEST)
    seen = SeenPlan(lattice, blank, turn, pitch, across, down)
    if not is_judged:  # all wood is drawn like what is within the limits: grey and shaded
        deviation = np.where(np.asarray(is_solid, bool), 0.0, np.nan)
    index = colours.class_index(deviation, limits)
    picture, shown, flags = map_image(seen, index, is_solid, holding, relief, side)

    inner = width - 2 * MARGIN
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    verdict = canvas.wrapped(subtitle, BODY, inner, most=3)
    y_head = 40 + canvas.line_height(TITLE) * len(head) + canvas.line_height(BODY) * len(verdict)
    band = BAND if down < LOW else 0
    map_top = y_head + canvas.line_height(SMALL) + TOP_ROOM + band
    key_top = map_top + down + FRONT_ROOM + 22
    signs = _signs(flags, findings)[0 if is_judged else 1 :]
    signs += [("glue", "glue line of the blank")] if glue else []
    sign_rows = flow(signs, inner)
    list_top = key_top + canvas.KEY_HEIGHT + 50 + 42 * (1 + max((row for row, _ in sign_rows), default=-1))
    columns = 3 if inner > 1500 else 2
    listed = findings[:MOST_LISTED]
    height = list_top + 42 * math.ceil((len(listed) + (len(findings) > MOST_LISTED)) / columns) + 22

    page = Page(width, height, dpi)
    y = 40.0
    for lines, size, is_bold in ((head, TITLE, True), (verdict, BODY, False)):
        for line in lines:
            page.text(MARGIN, y, line, size, bold=is_bold, up="top")
            y += canvas.line_height(size)
    page.text(MARGIN, y + 4, pose_words(side, turn, cell), SMALL, colours.QUIET_INK, up="top")

    left = LEFT_ROOM + (width - LEFT_ROOM - SIDE_ROOM - across) // 2
    top = round(map_top)
    page.image(picture, left, top)
    if is_judged:
        draw_outline(page, seen, index != colours.NO_TARGET, left, top)
    for y_glue in glue or ():
        _, y = seen.pixel(0.0, y_glue)
        page.line([left, left + across], [top + y] * 2, colours.INK, 1.2, 3.6, GLUE_DASHES)
    page.box(left, top, across, down, edge=colours.INK, edge_width=1.6, zorder=4)
    draw_rulers(page, blank, pitch, left, top, across, down, band)
    busy = np.zeros((page.height, page.width), bool)
    busy[top : top + down, left : left + across] = (shown >= 0) & (shown != colours.WITHIN)
    _numbers(page, seen, findings, left, top, busy, band)
    bar_width = min(990, inner - 330)
    if is_judged:
        canvas.draw_key(page, MARGIN, key_top, bar_width, limits)
    draw_scale_bar(page, pitch, width - MARGIN, key_top + 50, inner - bar_width - 90)
    for (row, x), sign in zip(sign_rows, signs, strict=True):
        _draw_sign(page, MARGIN + x, key_top + canvas.KEY_HEIGHT + 34 + 42 * row, sign)
    _list(page, findings, list_top, columns, inner)
    return page.save(path)


def _check_shape(name, array, lattice):
    if np.shape(array) != lattice.shape:
        raise ShapeError(f"{name} must have the shape {lattice.shape}, not {np.shape(array)}")


def pose_words(side, turn, cell):
    """How the blank lies in the picture, in words."""
    turned = {
        "none": "not turned over",
        "about x": "turned over about its length, front edge to the back",
        "about y": "turned over about its width, left end to the right",
    }[turn]
    return f"Side {side} up, {turned}. Seen from above, standing at the front. Cells of {cell:g} mm."


def map_image(seen, index, is_solid, holding, relief, side):
    """Return the map as an image (down, across, 3) uint8, the class of each pixel, and masks of the rest.

    seen: a SeenPlan of the arrays' lattice; the others as draw_plan_view takes them, index: their classes.
    """
    shown, flags = _raster(seen, index, np.asarray(is_solid, bool), holding)
    return _paint(shown, flags, _shade(seen, relief, side) if relief is not None else None), shown, flags


def _raster(seen, index, is_solid, holding):
    """Class of each pixel, worst first, and masks of what is drawn outside or through the part."""
    off = np.where(index == colours.NO_TARGET, 0, index - colours.WITHIN)
    proud = _widened(seen.highest(np.maximum(off, 0)))
    deep = _widened(seen.highest(np.maximum(-off, 0)))
    shown = seen.nearest(index, colours.NO_TARGET)
    is_beyond = (proud > 0) | (deep > 0)
    worst = np.where(deep >= proud, colours.WITHIN - deep, colours.WITHIN + proud)
    shown = np.where(is_beyond, worst, shown).astype(np.int8)

    through = (index >= 0) & (index < colours.WITHIN) & ~is_solid
    outside = is_solid & (index == colours.NO_TARGET)
    holds = outside if holding is None else outside & np.asarray(holding, bool)
    free = shown == colours.NO_TARGET
    flags = {
        "holding": seen.nearest(holds, False) & free,
        "other": (_widened(seen.highest((outside & ~holds).astype(np.int8))) > 0) & free,
        "through": (_widened(seen.highest(through.astype(np.int8))) > 0) & (deep > 0),
    }
    flags["nothing"] = free & ~flags["holding"] & ~flags["other"]
    return shown, flags


def _widened(fold):
    """Widen what is thinner than 3 pixels to 3, so that a sliver is not lost when shown smaller."""
    is_thin = (fold > 0) & ~ndimage.binary_opening(fold > 0, np.ones((3, 3)))
    return np.maximum(fold, ndimage.maximum_filter(np.where(is_thin, fold, 0), size=3))


def _shade(seen, relief, side):
    """Grey of what is within limits, from slopes lit from the back left; few levels, small files."""
    height = seen.between(np.nan_to_num(np.asarray(relief, np.float32)))
    height = ndimage.gaussian_filter(height if side == 1 else -height, 1.5)
    slope_down, slope_right = np.gradient(height, seen.pitch)
    light = (slope_down + slope_right) / np.sqrt(1 + slope_down**2 + slope_right**2)
    return np.clip(np.round(light * 7), -7, 3) * 3.0


def _paint(shown, flags, shade):
    """The map as an image (h, w, 3) uint8."""
    palette = np.vstack([colours.class_rgb(), np.array([colours.rgb(colours.NOTHING)], np.uint8)])
    picture = palette[shown]  # NO_TARGET, -1, takes the last row
    if shade is not None:
        is_within = shown == colours.WITHIN
        picture[is_within] = np.clip(picture[is_within] + shade[is_within][:, None], 0, 255)
    canvas.hatch_too_deep(picture, shown)
    canvas.hatch_through(picture, flags["through"])
    canvas.hatch_holding(picture, flags["holding"])
    picture[flags["other"]] = colours.rgb(colours.OTHER_WOOD)
    return picture


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
    """Millimetres from the left front corner as seen, and the words at the edges."""
    step = nice_step(max(blank.length, blank.width) / 12)
    bottom = top + down
    for i in range(math.floor(blank.length / (step / 5) + 1e-9) + 1):
        x = left + i * step / 5 / pitch
        page.line([x, x], [bottom, bottom + (12 if i % 5 == 0 else 6)], colours.QUIET_INK)
        if i % 5 == 0:
            page.text(x, bottom + 36, f"{i * step / 5:g}", SMALL, colours.QUIET_INK, across="center")
    for i in range(math.floor(blank.width / (step / 5) + 1e-9) + 1):
        y = bottom - i * step / 5 / pitch
        page.line([left, left - (12 if i % 5 == 0 else 6)], [y, y], colours.QUIET_INK)
        if i % 5 == 0:
            page.text(
                left - 18, y, f"{i * step / 5:g}", SMALL, colours.QUIET_INK, across="right", up="center"
            )
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
        y=bottom + 68, text="mm from the left front corner", size=SMALL, colour=colours.QUIET_INK, **start
    )


def nice_step(least: float) -> float:
    """Return the smallest of 1, 2, 5, 10, 20, ... that is not below `least` (> 0), same unit."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= least * (1 - 1e-9))


def _numbers(page, seen, findings, left, top, busy, band):
    """Draw the numbers of the listed findings that have a place, with leaders; of others a ring each."""
    for finding in [f for f in findings[MOST_LISTED:] if f.get("at") is not None][: MOST_MARKS - MOST_LISTED]:
        _ring(page, seen.pixel(*finding["at"][:2]) + np.array((left, top)))
    placed = [f for f in findings[:MOST_LISTED] if f.get("at") is not None]
    if not placed:
        return
    points = np.array([seen.pixel(f["at"][0], f["at"][1]) for f in placed]) + np.array((left, top))
    bounds = (left - 4, top - 4 - band, left + seen.across + 4 + band, top + seen.down + 2)
    centres = place_labels(points, bounds, RADIUS, busy)
    for finding, point, centre in zip(placed, points, centres, strict=True):
        along = centre - point
        length = max(float(np.hypot(*along)), 1e-9)
        ends = point + along * (np.array([[SPOT], [max(length - RADIUS, SPOT)]]) / length)
        page.line(*ends.T, "white", 4.5, zorder=6.5)
        page.line(*ends.T, colours.INK, 1.6, zorder=7)
        _ring(page, point)
        page.number(*centre, finding["number"], finding.get("severity") in MUST, RADIUS)


def _ring(page, point):
    """Mark a place with a ring, not a dot: the smallest spot must not lie hidden under its own mark."""
    for colour, wide, above in (("white", 4.0, 6.6), (colours.INK, 1.4, 7.1)):
        ring = Circle(point, SPOT, facecolor="none", edgecolor=colour, zorder=above)
        ring.set_linewidth(wide * 72 / canvas.BASE_DPI)
        page.axes.add_patch(ring)


def draw_scale_bar(page, pitch, right, y, room):
    """Draw a bar of a round length, at most `room` pixels, ending at `right`."""
    length = nice_step(room * pitch / 2.6)
    while length / pitch > room:
        length /= 2
    start = right - length / pitch
    for i in range(2):
        fill = colours.INK if i == 0 else "white"
        page.box(start + i * length / pitch / 2, y, length / pitch / 2, 9, fill, colours.INK)
    for i, at in enumerate((0, length / 2, length)):
        if i != 1 or length / pitch > 190:
            text = f"{at:g} mm" if i == 2 else f"{at:g}"
            page.text(start + at / pitch, y + 36, text, SMALL, across="right" if i == 2 else "center")


def _signs(flags, findings):
    """What the map holds beside the colours, as (sign, words); only what is there."""
    signs = [("edge", "edge of the part")]
    words = {
        "holding": "holds the part: frame, skin, tabs",
        "other": "offcut, or a step on the part",
        "through": "cut right through the part",
        "nothing": "nothing left",
    }
    signs += [(name, text) for name, text in words.items() if flags[name].any()]
    severities = [f.get("severity") in MUST for f in findings]
    if any(severities):
        signs.append(("must", "to put right, see the list"))
    if not all(severities):
        signs.append(("note", "worth knowing, see the list"))
    return signs


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


def _draw_sign(page, x, y, sign):
    name, words = sign
    if name in ("must", "note"):
        page.number(x + 34, y, None, name == "must", 12)
    elif name == "glue":
        page.line([x, x + 48], [y, y], colours.INK, 1.2, dashes=GLUE_DASHES)
    elif name == "edge":
        page.line([x, x + 48], [y, y], colours.QUIET_INK, 1.5)
    else:
        swatch = np.full((26, 48, 3), 255, np.uint8)
        is_all = np.ones((26, 48), bool)
        if name == "holding":
            canvas.hatch_holding(swatch, is_all)
        elif name == "through":
            canvas.hatch_through(swatch, is_all)
        elif name == "other":
            swatch[:] = colours.rgb(colours.OTHER_WOOD)
        page.image(swatch, round(x), round(y) - 13)
        page.box(round(x), round(y) - 13, 48, 26)
    page.text(x + 60, y, words, SMALL, up="center")


def _list(page, findings, top, columns, inner):
    """Write the first findings beside their numbers, column by column."""
    lines = [(f["number"], f.get("severity") in MUST, _words(f)) for f in findings[:MOST_LISTED]]
    rest = len(findings) - MOST_LISTED
    if rest > 0:
        lines.append((None, False, f"and {rest} more in the report"))
    rows = math.ceil(len(lines) / columns)
    wide = inner / columns
    for i, (number, is_must, words) in enumerate(lines):
        x, y = MARGIN + (i // rows) * wide, top + 42 * (i % rows)
        if number is not None:
            page.number(x + RADIUS, y, number, is_must, RADIUS)
        page.text(x + 2 * RADIUS + 12, y, canvas.shortened(words, SMALL, wide - 66), SMALL, up="center")


def _words(finding):
    kind = str(finding["kind"])
    words = KIND_WORDS.get(kind, kind)
    value = finding.get("value")
    unit = finding.get("unit", "mm")
    text = words if value is None else f"{value:.2f} {unit} {words}" if unit else f"{value:.1f} {words}"
    return canvas.tidy(text if finding.get("at") is not None else f"{text} (no one place)")
