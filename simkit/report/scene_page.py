"""The page of a 3-D picture: title, the ways to look side by side, numbers, legend, scale bars, list."""

from __future__ import annotations

import math

import numpy as np

from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL, TITLE, Page
from simkit.report.class_map import Sign, draw_sign, swatch_of
from simkit.report.labels import place_labels
from simkit.report.lengths import Lengths
from simkit.report.map_parts import RADIUS, draw_ring, draw_scale_bar, flow
from simkit.report.scene_file import Key, Scene

WIDTH = 1800
WHOLE = WIDTH - 2 * round(MARGIN)
HALF = (WIDTH - 3 * round(MARGIN)) // 2
CAPTION, BAR = 44, 62  # pixels above and below a picture


def compose(scene: Scene, shots: list, picture) -> str:
    """Lay pictures out on a page and write it as a PNG at `picture`; return the path.

    shots: of each look, an image (h, w, 3) uint8 and its View.  A picture as wide as the page stands alone,
    narrower ones in pairs.
    """
    inner = WIDTH - 2 * MARGIN
    head = canvas.wrapped(scene.title, TITLE, inner, True, 2)
    told = canvas.wrapped(scene.subtitle, BODY, inner, most=3) if scene.subtitle else []
    y = 40 + canvas.line_height(TITLE) * len(head) + canvas.line_height(BODY) * len(told) + 14
    places, bottom, column = [], y, 0
    for shot, _ in shots:
        if shot.shape[1] > HALF or column == 2:
            column, y = 0, bottom
        places.append((MARGIN + column * (HALF + MARGIN), y))
        bottom = max(bottom, y + CAPTION + shot.shape[0] + BAR)
        column = 2 if shot.shape[1] > HALF else column + 1
    signs = [_sign(key) for key in scene.keys]
    rows = flow([("", sign.words) for sign in signs], inner)
    key_top = bottom + 30
    list_top = key_top + 42 * (1 + max((row for row, _ in rows), default=-1)) + 14
    listed = math.ceil(len(scene.findings) / 3)
    page = Page(WIDTH, list_top + 42 * listed + 40, lengths=Lengths(scene.unit))
    y = 40.0
    for lines, size, is_bold in ((head, TITLE, True), (told, BODY, False)):
        for line in lines:
            page.text(MARGIN, y, line, size, bold=is_bold, up="top")
            y += canvas.line_height(size)
    for (shot, view), look, (x, y) in zip(shots, scene.looks, places, strict=True):
        page.text(x, y, canvas.shortened(look.caption, BODY, shot.shape[1]), BODY, up="top")
        page.image(shot, round(x), round(y) + CAPTION)
        draw_scale_bar(
            page, view.pitch, x + shot.shape[1], y + CAPTION + shot.shape[0] + 8, shot.shape[1] / 4
        )
        chosen = range(len(scene.lines)) if look.lines is None else look.lines
        for line in (scene.lines[number] for number in chosen if scene.lines[number].is_over):
            _line_over(page, line, view, round(x), round(y) + CAPTION)
        _numbers(page, look.marks, view, shot, round(x), round(y) + CAPTION)
    for (row, x), sign in zip(rows, signs, strict=True):
        draw_sign(page, MARGIN + x, key_top + 42 * row, sign)
    for nth, (number, is_must, words) in enumerate(scene.findings):
        x, y = MARGIN + (nth // listed) * inner / 3, list_top + 42 * (nth % listed)
        page.number(x + RADIUS, y, number, is_must, RADIUS)
        page.text(x + 2 * RADIUS + 12, y, canvas.shortened(words, SMALL, inner / 3 - 66), SMALL, up="center")
    page.text(MARGIN, page.height - 24, scene.note, SMALL, colours.QUIET_INK)
    return page.save(picture)


def _numbers(page: Page, marks, view, shot: np.ndarray, left: float, top: float) -> None:
    """Draw the numbered places of a look, those that are seen in the picture."""
    inside = []
    for mark in marks:
        x, y = view.pixel(mark.at)
        is_in = 0 <= x <= view.width and 0 <= y <= view.height
        if view.is_seen(mark.at) or (mark.is_over and is_in):
            inside.append((mark, (left + x, top + y)))
    if not inside:
        return
    points = np.array([point for _, point in inside])
    bounds = (left, top - 8, left + view.width, top + view.height + 8)
    busy = np.zeros((page.height, page.width), bool)
    lively = view.busy
    if lively is None:
        lively = shot.max(axis=2).astype(int) - shot.min(axis=2) > 20  # what has a colour
    busy[top : top + shot.shape[0], left : left + shot.shape[1]] = lively
    for (mark, _), point, centre in zip(
        inside, points, place_labels(points, bounds, RADIUS, busy), strict=True
    ):
        along = centre - point
        length = max(float(np.hypot(*along)), 1e-9)
        ends = point + along * (np.array([[6.5], [max(length - RADIUS, 6.5)]]) / length)
        page.line(*ends.T, "white", 4.5, zorder=6.5)
        page.line(*ends.T, colours.INK, 1.6, zorder=7)
        draw_ring(page, point)
        page.number(*centre, mark.number, mark.is_must, RADIUS)


def _line_over(page: Page, line, view, left: float, top: float) -> None:
    """Draw a line over a picture, as far as it lies inside."""
    parts = np.linspace(0, len(line.points) - 1, 600)
    rows = np.arange(len(line.points))
    dense = np.column_stack([np.interp(parts, rows, line.points[:, axis]) for axis in range(3)])
    x, y = view.pixel(dense).T
    is_out = (x < 0) | (y < 0) | (x > view.width) | (y > view.height)
    x, y = np.where(is_out, np.nan, x) + left, np.where(is_out, np.nan, y) + top
    page.line(x, y, "white", line.width + 4, zorder=6.1)
    page.line(x, y, line.colour, line.width, zorder=6.2)


def _sign(key: Key) -> Sign:
    words = canvas.shortened(canvas.tidy(key.words), SMALL, WHOLE - 120)
    if key.is_line:
        return Sign(words, line=key.colour, width=5.0)

    def hatch(image, mask):
        iy, ix = np.indices(mask.shape)
        image[mask & ((ix + iy) % 8 < 2)] = colours.rgb(key.hatch)

    return Sign(words, swatch_of(key.colour, hatch if key.hatch else None))
