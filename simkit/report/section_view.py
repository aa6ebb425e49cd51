"""Picture of the blank cut open along a line: stock, wood left, the part, too much, too little, to scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy import ndimage

from simkit.findings.evidence import Evidence
from simkit.job.layup import glue_lines
from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL, TITLE, Page
from simkit.report.class_map import Sign, draw_sign, swatch_of
from simkit.report.labels import place_labels
from simkit.report.lengths import Lengths
from simkit.report.line_section import LineSection, cut_along, runs
from simkit.report.map_parts import (
    BAND,
    GLUE_DASHES,
    GLUE_WORDS,
    LOW,
    MUST,
    RADIUS,
    draw_ring,
    draw_scale_bar,
    finding_words,
    flow,
)
from simkit.report.section_line import SectionLine

WIDTH, TALLEST = 1800, 760  # pixels of the page, and that the section may be high
LEFT, RIGHT = 128, 72  # pixels beside the section
CLOSE, DETAIL, MOST_CLOSE = 12.0, (404, 300), 3  # mm across a close-up, its pixels, how many there are
TALL = CLOSE * DETAIL[1] / DETAIL[0]  # mm, how high it is
LETTER, OFF_RINGS = 18.0, 30.0  # pixels: a letter's height, and how far from a ring it stands free
BESIDE = 1.0  # mm: a finding so near the line is numbered on it
MOST_NUMBERS = 8
LEAST = 4  # pixels: what is off by more than a limit is never drawn thinner
DASHES = (5.0, 3.0)
WOOD = colours.CLASSES[colours.WITHIN]
AIR = "#fbfaf7"  # the stock that was cut away
PROUD, DEEP = colours.CLASSES[colours.WITHIN + 2], colours.CLASSES[colours.WITHIN - 2]
DOWN_WORDS = "side 2 (down)"  # below the section


def draw_section(
    path,
    evidence: Evidence,
    line: SectionLine,
    *,
    title: str,
    findings: Sequence[dict[str, Any]] = (),
) -> str:
    """Draw the blank cut open along a line as a PNG at `path` and return the path.

    line: in the blank, side 1 up.  findings: rows of the result; those within BESIDE mm of the line are
    numbered.  Both directions have one scale, in the close-ups too.
    Accuracy: a column of pixels shows the exact heights in its middle; what lies off the part by more than a
    limit, along the shortest way, is coloured and at least LEAST pixels thick.
    """
    blank = evidence.job.blank
    field = evidence.field  # resin may stand over the blank's faces
    z_low = min(0.0, float(field.lower.min()))
    tall = max(blank.thickness, float(field.upper.max())) - z_low
    pitch = max(line.length / (WIDTH - LEFT - RIGHT), tall / TALLEST)
    across, down = max(round(line.length / pitch), 8), max(round(tall / pitch), 8)
    cut = cut_along(evidence, line, across)
    window = _Window(0.0, z_low, across, down, pitch)
    image, shown = window.image(cut)
    close = _close_places(cut)
    near = _near(findings, line)
    signs = _signs(shown, evidence)
    inner = WIDTH - 2 * MARGIN
    rows = flow([("", sign.words) for sign in signs], inner - 420)
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    lengths = Lengths(evidence.job.unit)
    words = "From x {}, y {} to x {}, y {} {} of the blank."
    words = words.format(*map(lengths.place, (*line.start, *line.end)), lengths.name)
    words += " Heights and lengths to one scale."
    y_head = 40 + canvas.line_height(TITLE) * len(head) + canvas.line_height(SMALL)
    band = BAND if down < LOW else 0
    top = round(y_head + 74 + band)
    key_top = top + down + 136
    close_top = key_top + 42 * (1 + max(row for row, _ in rows)) + 30
    list_top = close_top + (DETAIL[1] if close else _plan_size(evidence)[1]) + 92
    listed = -(-len(near) // 2)
    page = Page(WIDTH, list_top + 42 * listed - (0 if near else 30), lengths=lengths)
    y = 40.0
    for text in head:
        page.text(MARGIN, y, text, TITLE, bold=True, up="top")
        y += canvas.line_height(TITLE)
    page.text(MARGIN, y + 4, words, SMALL, colours.QUIET_INK, up="top")
    left = round(LEFT + (WIDTH - LEFT - RIGHT - across) / 2)
    window.put(page, left, top, image, cut, evidence)
    _rulers(page, window, blank.thickness)
    middle = left + across / 2
    page.text(middle, top - 16 - band, "side 1 (up)", BODY, bold=True, across="center")
    page.text(middle, top + down + 92, DOWN_WORDS, BODY, bold=True, across="center")
    page.text(left, top - 16 - band, "start", SMALL, colours.QUIET_INK)
    page.text(left + across, top - 16 - band, "end", SMALL, colours.QUIET_INK, across="right")
    busy = np.zeros((page.height, page.width), bool)
    rings = np.array([window.pixel(row["along"], row["at"][2]) for row in near], float).reshape(-1, 2)
    letters = []
    for letter, place in zip("ABC", close, strict=False):
        x, y = _frame(page, window, letter, place, _foot(evidence, place[1]), rings)
        busy[max(int(y) - 26, 0) : int(y) + 6, max(int(x) - 16, 0) : int(x) + 16] = True
        letters.append((x, y - LETTER / 2))
    _numbers(page, window, near, rings, band, busy, letters)
    for (row, x), sign in zip(rows, signs, strict=True):
        draw_sign(page, MARGIN + x, key_top + 42 * row, sign)
    draw_scale_bar(page, pitch, WIDTH - MARGIN, key_top - 8, 380)
    _plan(page, evidence, line, MARGIN, close_top)
    for nth, (letter, place) in enumerate(zip("ABC", close, strict=False), 1):
        _close_up(page, evidence, line, MARGIN + nth * (DETAIL[0] + 32), close_top, letter, place)
    if not close:
        text = "Along this line nothing is off by more than its limit." if evidence.deviations else ""
        middle = close_top + _plan_size(evidence)[1] / 2
        page.text(MARGIN + DETAIL[0] + 60, middle, text, SMALL, colours.QUIET_INK)
    for nth, finding in enumerate(near):
        x, y = MARGIN + (nth // listed) * inner / 2, list_top + 42 * (nth % listed)
        page.number(x + RADIUS, y, finding["number"], finding["severity"] in MUST, RADIUS)
        text = canvas.shortened(finding_words(finding, lengths), SMALL, inner / 2 - 66)
        page.text(x + 2 * RADIUS + 12, y, text, SMALL, up="center")
    return page.save(path)


class _Window:
    """A window on the section: its left end at `along` mm, its lower end at `z` mm, `pitch` mm a pixel."""

    def __init__(self, along: float, z: float, across: int, down: int, pitch: float):
        self.along, self.z, self.across, self.down, self.pitch = along, z, across, down, pitch
        self.left = self.top = 0

    def pixel(self, along, z) -> tuple:
        """Return pixels of the page (x, y) of places on the section, mm."""
        x = self.left + (np.asarray(along) - self.along) / self.pitch
        return x, self.top + self.down - (np.asarray(z) - self.z) / self.pitch

    def image(self, cut: LineSection) -> tuple[np.ndarray, dict[str, bool]]:
        """Return the wood as an image (down, across, 3) uint8, and what is to be seen in it.

        cut: one place for each column of pixels.
        """
        z = self.z + (self.down - np.arange(self.down) - 0.5)[:, None] * self.pitch
        is_wood = (z > cut.lower) & (z < cut.upper)
        with np.errstate(invalid="ignore"):
            is_part = (z > cut.target_lower) & (z < cut.target_upper)
            is_over, is_under = cut.proud > cut.over, cut.deep > cut.under
        image = np.empty((self.down, self.across, 3), np.uint8)
        image[:] = colours.rgb(AIR)
        image[is_wood] = colours.rgb(WOOD)
        iy, ix = np.indices(is_wood.shape)
        image[is_wood & ((ix + iy) % 16 < 1)] = colours.rgb("#b9b9b4")
        is_outside = is_wood & ~cut.is_part
        if cut.is_part.any():
            canvas.hatch_holding(image, is_outside)
        is_resin = np.zeros(is_wood.shape, bool)
        if cut.wood_upper is not None:
            is_resin = is_wood & ((z > cut.wood_upper) | (z < cut.wood_lower))
            canvas.dot_resin(image, is_resin)
        proud, deep = np.zeros(is_wood.shape, bool), np.zeros(is_wood.shape, bool)
        ends = ((cut.upper, cut.target_upper, 1), (cut.lower, cut.target_lower, -1))
        for row, (mine, its, sense) in enumerate(ends):
            least = LEAST * self.pitch
            with np.errstate(invalid="ignore"):
                # Outwards from the part's outline, and from what is left of it inwards.
                out = sense * (z - its)
                proud |= is_over[row] & (out > 0) & (out < np.maximum(sense * (mine - its), least))
                into = sense * (its - z)
                depth = np.where(cut.is_solid, sense * (its - mine), np.inf)
                deep |= is_under[row] & (into > 0) & (into < np.maximum(depth, least)) & (is_part | ~is_wood)
        # A steep stretch is as thin along the line as it is thick: one more pixel to either side.
        proud |= ndimage.maximum_filter(proud, (1, 3)) & ~is_part
        deep |= ndimage.maximum_filter(deep, (1, 3)) & ~is_wood
        image[proud] = colours.rgb(PROUD)
        index = np.where(deep, colours.WITHIN - 2, colours.NO_TARGET)
        image[deep] = colours.rgb(DEEP)
        canvas.hatch_too_deep(image, index)
        seen = {"outside": cut.is_part.any() and is_outside.any(), "proud": proud.any(), "deep": deep.any()}
        seen["resin"] = is_resin.any()
        return image, {name: bool(flag) for name, flag in seen.items()}

    def put(self, page: Page, left: int, top: int, image: np.ndarray, cut: LineSection, evidence: Evidence):
        """Draw the image, the outline of the part, glue lines and the stock, its corner at (left, top)."""
        self.left, self.top = left, top
        page.image(image, left, top)
        bounds = (top, top + self.down)
        for run in runs(cut.is_part):
            along = np.concatenate(
                [cut.along[run][:1] - cut.step / 2, cut.along[run], cut.along[run][-1:] + cut.step / 2]
            )
            for edge in (cut.target_upper[run], cut.target_lower[run]):
                z = np.concatenate([edge[:1], edge, edge[-1:]])
                x, y = self.pixel(along, z)
                page.line(x, np.clip(y, *bounds), colours.INK, 1.4, 4.2, DASHES)
            for end in (0, -1):
                z = np.array([cut.target_lower[run][end], cut.target_upper[run][end]])
                x, y = self.pixel(np.full(2, along[end]), z)
                if left < x[0] < left + self.across:
                    page.line(x, np.clip(y, *bounds), colours.INK, 1.4, 4.2, DASHES)
        self._glue(page, cut.line, evidence)
        page.box(left, top, self.across, self.down, edge=colours.INK, edge_width=1.6, zorder=5)

    def _glue(self, page: Page, line: SectionLine, evidence: Evidence) -> None:
        layup = evidence.job.layup
        for glue in glue_lines(layup) if layup is not None else ():
            if layup.joined == "along z":
                _, y = self.pixel(0.0, glue)
                if self.top < y < self.top + self.down:
                    page.line(
                        [self.left, self.left + self.across], [y, y], colours.INK, 1.2, 4.1, GLUE_DASHES
                    )
                continue
            start, end = line.start[layup.axis], line.end[layup.axis]
            if abs(end - start) > 1e-9:
                part = (glue - start) / (end - start)
                x, _ = self.pixel(part * line.length, 0.0)
                if self.left < x < self.left + self.across:
                    page.line([x, x], [self.top, self.top + self.down], colours.INK, 1.2, 4.1, GLUE_DASHES)


def _close_places(cut: LineSection) -> list[tuple[float, float, int, float, str]]:
    """Return the worst places off by more than a limit, (along, z, side, distance, what)."""
    found = []
    for what, values, limits in (
        ("left standing", cut.proud, cut.over),
        ("cut too deep", cut.deep, cut.under),
    ):
        for row, edge in enumerate((cut.target_upper, cut.target_lower)):
            with np.errstate(invalid="ignore"):
                is_beyond = values[row] > limits[row]
            for run in runs(is_beyond):
                at = run[int(np.argmax(values[row][run]))]
                found.append((float(cut.along[at]), float(edge[at]), row + 1, float(values[row][at]), what))
    chosen = []
    for one in sorted(found, key=lambda item: (-item[3], item[0])):
        if all(abs(one[0] - other[0]) > CLOSE / 2 or abs(one[1] - other[1]) > CLOSE / 3 for other in chosen):
            chosen.append(one)
    return sorted(chosen[:MOST_CLOSE])


def _near(findings, line: SectionLine) -> list[tuple]:
    """Return the findings that lie on the line."""
    start, end = np.array(line.start), np.array(line.end)
    way = (end - start) / line.length
    near = []
    for row in findings:
        if row["at"] is None:
            continue
        to = np.array(row["at"][:2]) - start
        along, beside = float(to @ way), abs(float(to[0] * way[1] - to[1] * way[0]))
        if beside <= BESIDE and -BESIDE <= along <= line.length + BESIDE:
            near.append(row | {"along": min(max(along, 0.0), line.length)})
    return near[:MOST_NUMBERS]


def _numbers(page: Page, window: _Window, near, points, band: float, busy: np.ndarray, letters) -> None:
    if not near:
        return
    bounds = (window.left, window.top - 6 - band, window.left + window.across, window.top + window.down + 40)
    centres = place_labels(points, bounds, RADIUS, busy, letters)
    for row, point, centre in zip(near, points, centres, strict=True):
        along = centre - point
        length = max(float(np.hypot(*along)), 1e-9)
        ends = point + along * (np.array([[6.5], [max(length - RADIUS, 6.5)]]) / length)
        page.line(*ends.T, "white", 4.5, zorder=6.5)
        page.line(*ends.T, colours.INK, 1.6, zorder=7)
        draw_ring(page, point)
        page.number(*centre, row["number"], row["severity"] in MUST, RADIUS)


def _foot(evidence: Evidence, z: float) -> float:
    """Return how high the lower end of a close-up about the height z lies, mm."""
    return min(max(z - TALL / 2, -1.0), max(evidence.job.blank.thickness + 1.0 - TALL, -1.0))


def _frame(page: Page, window: _Window, letter: str, place, foot: float, rings: np.ndarray) -> tuple:
    """Show on the section what a close-up holds; return where its letter stands, in pixels.

    rings (n, 2): the places of findings, which the letter keeps off.
    """
    wide, tall = CLOSE, TALL
    x, y = window.pixel(place[0] - wide / 2, foot + tall)
    right, foot = x + wide / window.pitch, y + tall / window.pitch
    x, right = max(x, window.left), min(right, window.left + window.across)
    y, foot = max(y, window.top), min(foot, window.top + window.down)
    page.box(x, y, right - x, foot - y, edge=colours.INK, edge_width=1.2, zorder=6)
    has_room = y > window.top + 30 or window.down < LOW
    middle = (x + right) / 2
    over, under = (y - 8 if has_room else foot + 26), (foot + 26 if has_room else y - 8)
    # Over its middle; where a finding is marked there, over or under the box where none is.
    places = [(at, level) for level in (over, under) for at in (middle, x + 12, right - 12)]
    free = [np.hypot(*(rings - (at, level - LETTER / 2)).T).min(initial=OFF_RINGS) for at, level in places]
    at = places[int(np.argmax(free))]
    page.text(*at, letter, SMALL, bold=True, across="center")
    return at


def _close_up(
    page: Page, evidence: Evidence, line: SectionLine, left: float, top: float, letter, place
) -> None:
    along, z, side, distance, what = place
    across, down = DETAIL
    pitch = CLOSE / across
    low = min(max(along - CLOSE / 2, 0.0), max(line.length - CLOSE, 0.0))
    high = min(low + CLOSE, line.length)
    window = _Window(low, _foot(evidence, z), round((high - low) / pitch), down, pitch)
    cut = cut_along(evidence, line, window.across, low, high)
    image, _ = window.image(cut)
    thick = evidence.job.blank.thickness
    rows = window.z + (down - np.arange(down) - 0.5) * pitch
    image[(rows < 0) | (rows > thick)] = 255
    window.put(page, round(left), round(top), image, cut, evidence)
    size = page.lengths.value(distance) if np.isfinite(distance) else "all of it"
    page.text(left, top + down + 32, f"{letter}: {size} {what}, side {side}", SMALL)


def _plan(page: Page, evidence: Evidence, line: SectionLine, left: float, top: float) -> None:
    """Draw where the line runs, on the blank from above."""
    from contourpy import contour_generator

    wide, tall = _plan_size(evidence)
    scale = wide / evidence.job.blank.length
    y0 = top + tall
    page.box(left, y0 - tall, wide, tall, fill=AIR, edge=colours.INK, edge_width=1.4)
    if evidence.envelopes is not None:
        lattice = evidence.field.lattice
        mask = evidence.envelopes.is_part.astype(np.float32)
        for contour in contour_generator(lattice.x(), lattice.y(), mask).lines(0.5):
            page.line(left + contour[:, 0] * scale, y0 - contour[:, 1] * scale, colours.QUIET_INK, 1.2)
    ends = np.array([line.start, line.end]) * scale
    x, y = left + ends[:, 0], y0 - ends[:, 1]
    page.line(x, y, "white", 5.0, zorder=4.4)
    page.line(x, y, colours.INK, 2.2, zorder=4.5)
    page.number(x[0], y[0], None, True, 8)
    page.number(x[1], y[1], None, False, 8)
    page.text(left, y0 + 32, "from above; dark end: the start", SMALL)


def _plan_size(evidence: Evidence) -> tuple[float, float]:
    """Return how wide and how tall the blank from above is drawn, pixels."""
    blank = evidence.job.blank
    scale = min(DETAIL[0] / blank.length, DETAIL[1] / blank.width)
    return blank.length * scale, blank.width * scale


def _rulers(page: Page, window: _Window, thickness: float) -> None:
    """Draw lengths along the section and in height."""
    lengths = page.lengths
    bottom = window.top + window.down
    length = window.across * window.pitch
    for axis, size in ((0, length), (1, thickness)):
        step = lengths.ruler(max(size / 12, 46 * window.pitch))
        for value in np.arange(0, size + 1e-6, step):
            x, y = window.pixel(value, value)
            if axis == 0:
                page.line([x, x], [bottom, bottom + 10], colours.QUIET_INK)
                page.text(x, bottom + 36, lengths.size(value), SMALL, colours.QUIET_INK, across="center")
            else:
                page.line([window.left, window.left - 10], [y, y], colours.QUIET_INK)
                look = {"size": SMALL, "colour": colours.QUIET_INK, "across": "right", "up": "center"}
                page.text(window.left - 16, y, lengths.size(value), **look)
    note = f"{lengths.word} from the start, {lengths.word} above side 2's face"
    half = canvas.text_width(DOWN_WORDS, BODY, True) / 2 + 24
    if window.across / 2 < canvas.text_width(note, SMALL) + half:  # else it would run into the words below
        page.text(window.left + window.across / 2 + half, bottom + 92, note, SMALL, colours.QUIET_INK)
    else:
        page.text(window.left + window.across, bottom + 68, note, SMALL, colours.QUIET_INK, across="right")


def _signs(seen: dict[str, bool], evidence: Evidence) -> list[Sign]:
    def hatched(image, mask):
        iy, ix = np.indices(mask.shape)
        image[mask & ((ix + iy) % 16 < 1)] = colours.rgb("#b9b9b4")

    def deep(image, mask):
        canvas.hatch_too_deep(image, np.where(mask, colours.WITHIN - 2, colours.NO_TARGET))

    signs = [Sign("wood that is left", swatch_of(WOOD, hatched))]
    if seen["outside"]:
        signs.append(
            Sign("outside the part: frame, skin, tabs", swatch_of(colours.HOLDING, canvas.hatch_holding))
        )
    if seen["resin"]:
        signs.append(Sign("resin", swatch_of(AIR, canvas.dot_resin)))
    signs.append(Sign("cut away", swatch_of(AIR)))
    if seen["proud"]:
        signs.append(Sign("left standing, beyond the limit", swatch_of(PROUD)))
    if seen["deep"]:
        signs.append(Sign("cut too deep, beyond the limit", swatch_of(DEEP, deep)))
    if evidence.target_grid is not None:
        signs.append(Sign("the part", line=colours.INK, dashes=DASHES))
    if evidence.job.layup is not None:
        signs.append(Sign(GLUE_WORDS, line=colours.INK, dashes=GLUE_DASHES))
    return signs
