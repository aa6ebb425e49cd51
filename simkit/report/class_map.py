"""A map of the blank from above with classes of its own: picture, rulers, numbers, legend, scale, list."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.errors import ShapeError
from simkit.job.model import Blank
from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL, TITLE, Page
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import (
    BAND,
    FRONT_ROOM,
    LEFT_ROOM,
    LOW,
    MOST_LISTED,
    MUST,
    NARROWEST,
    RADIUS,
    SIDE_ROOM,
    TALLEST,
    TOP_ROOM,
    WIDTH,
    columns_of,
    draw_head,
    draw_list,
    draw_numbers,
    draw_outline,
    draw_rulers,
    draw_scale_bar,
    flow,
    pose_words,
)
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice

SWATCH = (26, 48)  # pixels of a legend's swatch, high and wide


@dataclass(frozen=True)
class Sign:
    """One entry of a legend: words, and the swatch (26, 48, 3) uint8 before them, or a line's colour.

    letter: stands in the swatch, as it stands on the map.  dashes: of the line, in widths of it; width: in
    pixels.
    """

    words: str
    swatch: np.ndarray | None = None
    line: str = colours.QUIET_INK
    letter: str = ""
    dashes: tuple[float, float] | None = None
    width: float = 1.5


@dataclass(frozen=True)
class Painted:
    """A map as an image (down, across, 3) uint8, where it says something (bool), its legend, and letters.

    kept: pixels (x, y) of the image that no number may cover.
    """

    picture: np.ndarray
    is_busy: np.ndarray
    signs: Sequence[Sign]
    kept: Sequence[tuple[float, float]] = ()


def swatch_of(colour: str, hatch: Callable[[np.ndarray, np.ndarray], None] | None = None) -> np.ndarray:
    """Return a legend's swatch of one colour; hatch(image, mask) draws over it in place."""
    swatch = np.empty((*SWATCH, 3), np.uint8)
    swatch[:] = colours.rgb(colour)
    if hatch is not None:
        hatch(swatch, np.ones(SWATCH, bool))
    return swatch


def resin_sign() -> Sign:
    """Return the entry of a legend for resin that is dotted over the colours of a map."""
    return Sign("dots: resin", swatch_of(colours.CLASSES[colours.WITHIN], canvas.dot_over))


def draw_class_map(
    path,
    paint: Callable[[SeenPlan], Painted],
    *,
    lattice: Lattice,
    is_part: np.ndarray | None,
    blank: Blank,
    side: int,
    turn: str,
    title: str,
    subtitle: str = "",
    findings: Sequence[dict[str, Any]] = (),
    over: Callable[[Page, SeenPlan, float, float], None] | None = None,
    resin: np.ndarray | None = None,
    lengths: Lengths = MM,
) -> str:
    """Draw a map as a PNG at `path` and return the path.

    paint: what lies under each pixel.  over(page, seen, left, top): what is drawn on it, in pixels of the
    page.  lattice, is_part (ny, nx) bool or None: blank frame; the part gets an outline.  side 1 or 2; turn
    of that setup.  blank mm.  subtitle: a sentence or two below the title.  findings: as plan_views takes
    them; those with a place are numbered on the map, and listed below it.  resin (ny, nx) bool: where what is
    seen is resin, dotted over the colours.  lengths: how they are written.
    Accuracy: that of `paint`.  Same input, same bytes on one machine.
    """
    if is_part is not None and np.shape(is_part) != lattice.shape:
        raise ShapeError(f"is_part must have the shape {lattice.shape}, not {np.shape(is_part)}")
    pitch = max(blank.length / (WIDTH - LEFT_ROOM - SIDE_ROOM), blank.width / TALLEST)  # mm a pixel
    across, down = max(round(blank.length / pitch), 8), max(round(blank.width / pitch), 8)
    width = max(across + LEFT_ROOM + SIDE_ROOM, NARROWEST)
    seen = SeenPlan(lattice, blank, turn, pitch, across, down)
    painted = paint(seen)
    signs = list(painted.signs)
    if resin is not None and resin.any():
        canvas.dot_over(painted.picture, seen.nearest(resin, False))
        signs.append(resin_sign())
    if is_part is not None:
        signs.append(Sign("edge of the part"))
    inner = width - 2 * MARGIN
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    told = canvas.wrapped(subtitle, BODY, inner, most=3) if subtitle else []
    y_head = 40 + canvas.line_height(TITLE) * len(head) + canvas.line_height(BODY) * len(told)
    band = BAND if down < LOW and findings else 0
    top = round(y_head + canvas.line_height(SMALL) + TOP_ROOM + band)
    key_top = top + down + FRONT_ROOM + 40
    places = flow([("", sign.words) for sign in signs], inner)
    bar_top = key_top + 42 * (1 + max(row for row, _ in places))
    columns = columns_of(findings, inner, lengths)
    rows = math.ceil((min(len(findings), MOST_LISTED) + (len(findings) > MOST_LISTED)) / columns)
    list_top = bar_top + 84
    page = Page(width, list_top + 42 * rows - (0 if rows else 14), lengths=lengths)
    draw_head(page, head, told, pose_words(side, turn, lattice.cell, lengths))
    left = LEFT_ROOM + (width - LEFT_ROOM - SIDE_ROOM - across) // 2
    page.image(painted.picture, left, top)
    if is_part is not None:
        draw_outline(page, seen, is_part, left, top)
    page.box(left, top, across, down, edge=colours.INK, edge_width=1.6, zorder=4)
    draw_rulers(page, blank, pitch, left, top, across, down, band)
    if over is not None:
        over(page, seen, left, top)
    busy = np.zeros((page.height, page.width), bool)
    busy[top : top + down, left : left + across] = painted.is_busy
    kept = [(left + x, top + y) for x, y in painted.kept]
    draw_numbers(page, seen, list(findings), left, top, busy, band, kept)
    for (row, x), sign in zip(places, signs, strict=True):
        draw_sign(page, MARGIN + x, key_top + 42 * row, sign)
    draw_scale_bar(page, pitch, width - MARGIN, bar_top, inner / 3)
    for at, is_must in enumerate(sorted({one.get("severity") in MUST for one in findings}, reverse=True)):
        x = MARGIN + at * 330
        page.number(x + RADIUS, bar_top + 8, None, is_must, 12)
        words = "to put right, see the list" if is_must else "worth knowing, see the list"
        page.text(x + 2 * RADIUS + 12, bar_top + 8, words, SMALL, up="center")
    draw_list(page, list(findings), list_top, columns, inner)
    return page.save(path)


def draw_sign(page: Page, x: float, y: float, sign: Sign) -> None:
    """Draw an entry of a legend, its swatch from x on, its middle at the height y."""
    if sign.swatch is None:
        page.line([x, x + SWATCH[1]], [y, y], sign.line, sign.width, dashes=sign.dashes)
    else:
        page.image(sign.swatch, round(x), round(y) - SWATCH[0] // 2)
        page.box(round(x), round(y) - SWATCH[0] // 2, SWATCH[1], SWATCH[0])
    if sign.letter:
        page.text(x + SWATCH[1] / 2, y + 0.5, sign.letter, SMALL, bold=True, across="center", up="center")
    page.text(x + SWATCH[1] + 12, y, sign.words, SMALL, up="center")
