"""Plan-view map of what is left standing and what is cut too deep, one side of the blank at a time.

The blank is drawn as the operator sees it lying in that setup, seen from above from its front.  matplotlib
is imported here, so the caller imports this module only when a picture is wanted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from simkit.errors import ShapeError
from simkit.frames import TURNS
from simkit.job.model import Blank
from simkit.report import canvas, colours
from simkit.report.canvas import BODY, MARGIN, SMALL, TITLE, Page
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import (
    BAND,
    FRONT_ROOM,
    GLUE_DASHES,
    GLUE_WORDS,
    LEFT_ROOM,
    LOW,
    MOST_LISTED,
    MUST,
    NARROWEST,
    SIDE_ROOM,
    TALLEST,
    TOP_ROOM,
    WIDTH,
    columns_of,
    draw_glue,
    draw_head,
    draw_list,
    draw_numbers,
    draw_outline,
    draw_rulers,
    draw_scale_bar,
    flow,
    pose_words,
    widened,
)
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice

SPECK = 40  # pixels: of wood that holds nothing, what the legend does not name


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
    glue: Sequence[np.ndarray] = (),
    resin: np.ndarray | None = None,
    stands_out: np.ndarray | None = None,
    lengths: Lengths = MM,
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
    glue: lines of the glue between boards, each (n, 2) mm, blank frame.
    resin (ny, nx) bool or None: where the surface of this side is resin; dotted, also over colours.
    stands_out (ny, nx) or None: classes of wood outside the part that is left standing on its outer wall.
    lengths: how they are written.

    Accuracy: a colour shows the worst deviation of all cells under a pixel, and what is thinner than 3
    pixels is widened to 3, so a spot may look up to 2 pixels wider than it is and is never left out.
    Same input, same bytes on one machine.  Source of the colours: simkit/report/colours.py.
    """
    for name, array in (("deviation", deviation), ("is_solid", is_solid)):
        _check_shape(name, array, lattice)
    for name, array in (
        ("holding", holding),
        ("relief", relief),
        ("resin", resin),
        ("stands_out", stands_out),
    ):
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
    is_part = index != colours.NO_TARGET
    if stands_out is not None:
        index = colours.worse(index, stands_out)
    picture, shown, flags = map_image(seen, index, is_solid, holding, relief, side, resin)

    inner = width - 2 * MARGIN
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    verdict = canvas.wrapped(subtitle, BODY, inner, most=3)
    y_head = 40 + canvas.line_height(TITLE) * len(head) + canvas.line_height(BODY) * len(verdict)
    band = BAND if down < LOW else 0
    map_top = y_head + canvas.line_height(SMALL) + TOP_ROOM + band
    key_top = map_top + down + FRONT_ROOM + 22
    signs = _signs(flags, findings, is_judged)[0 if is_judged else 1 :]
    signs += [("glue", GLUE_WORDS)] if len(glue) else []
    sign_rows = flow(signs, inner)
    list_top = key_top + canvas.KEY_HEIGHT + 50 + 42 * (1 + max((row for row, _ in sign_rows), default=-1))
    columns = columns_of(findings, inner, lengths)
    listed = findings[:MOST_LISTED]
    height = list_top + 42 * math.ceil((len(listed) + (len(findings) > MOST_LISTED)) / columns) + 22

    page = Page(width, height, dpi, lengths)
    draw_head(page, head, verdict, pose_words(side, turn, cell, lengths))

    left = LEFT_ROOM + (width - LEFT_ROOM - SIDE_ROOM - across) // 2
    top = round(map_top)
    page.image(picture, left, top)
    if is_judged:
        draw_outline(page, seen, is_part, left, top)
    draw_glue(page, seen, glue, left, top)
    page.box(left, top, across, down, edge=colours.INK, edge_width=1.6, zorder=4)
    draw_rulers(page, blank, pitch, left, top, across, down, band)
    busy = np.zeros((page.height, page.width), bool)
    busy[top : top + down, left : left + across] = (shown >= 0) & (shown != colours.WITHIN)
    draw_numbers(page, seen, findings, left, top, busy, band)
    bar_width = min(990, inner - 330)
    if is_judged:
        canvas.draw_key(page, MARGIN, key_top, bar_width, limits)
    draw_scale_bar(page, pitch, width - MARGIN, key_top + 50, inner - bar_width - 90)
    for (row, x), sign in zip(sign_rows, signs, strict=True):
        _draw_sign(page, MARGIN + x, key_top + canvas.KEY_HEIGHT + 34 + 42 * row, sign)
    draw_list(page, findings, list_top, columns, inner)
    return page.save(path)


def _check_shape(name, array, lattice):
    if np.shape(array) != lattice.shape:
        raise ShapeError(f"{name} must have the shape {lattice.shape}, not {np.shape(array)}")


def map_image(seen, index, is_solid, holding, relief, side, resin=None):
    """Return the map as an image (down, across, 3) uint8, the class of each pixel, and masks of the rest.

    seen: a SeenPlan of the arrays' lattice; the others as draw_plan_view takes them, index: their classes.
    """
    shown, flags = _raster(seen, index, np.asarray(is_solid, bool), holding)
    is_plain = (shown == colours.WITHIN) | flags["holding"] | flags["other"]
    is_resin = np.zeros_like(is_plain) if resin is None else seen.nearest(resin, False)
    flags["resin"], flags["resin_off"] = is_resin & is_plain, is_resin & (shown >= 0) & ~is_plain
    return _paint(shown, flags, _shade(seen, relief, side) if relief is not None else None), shown, flags


def _raster(seen, index, is_solid, holding):
    """Class of each pixel, worst first, and masks of what is drawn outside or through the part."""
    off = np.where(index == colours.NO_TARGET, 0, index - colours.WITHIN)
    proud = widened(seen.highest(np.maximum(off, 0)))
    deep = widened(seen.highest(np.maximum(-off, 0)))
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
        "other": (widened(seen.highest((outside & ~holds).astype(np.int8))) > 0) & free,
        "through": (widened(seen.highest(through.astype(np.int8))) > 0) & (deep > 0),
    }
    flags["nothing"] = free & ~flags["holding"] & ~flags["other"]
    return shown, flags


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
    canvas.dot_resin(picture, flags["resin"])
    canvas.dot_over(picture, flags["resin_off"])
    return picture


def _signs(flags, findings, is_judged=True):
    """What the map holds beside the colours, as (sign, words); only what is there."""
    signs = [("edge", "edge of the part")]
    words = {
        "holding": "holds the part: frame, skin, tabs",
        "other": "offcut, or a step on the part",
        "resin": _resin_words(flags, is_judged),
        "through": "cut right through the part",
        "nothing": "nothing left",
    }
    is_there = {name: flags[name].any() for name in words}
    # Single cells beside the outline, within limits, are specks that nobody looks up.
    sizes = np.bincount(ndimage.label(flags["other"])[0].ravel())[1:]
    is_there["other"] = sizes.max(initial=0) >= SPECK
    is_there["resin"] |= flags["resin_off"].any()
    signs += [(name, text) for name, text in words.items() if is_there[name]]
    severities = [f.get("severity") in MUST for f in findings]
    if any(severities):
        signs.append(("must", "to put right, see the list"))
    if not all(severities):
        signs.append(("note", "worth knowing, see the list"))
    return signs


def _resin_words(flags, is_judged):
    if not is_judged:
        return "resin"
    return (
        "resin (dots on a colour: resin, off by as much)"
        if flags["resin_off"].any()
        else "resin, within limits"
    )


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
        elif name == "resin":
            canvas.dot_resin(swatch, is_all)
        elif name == "through":
            canvas.hatch_through(swatch, is_all)
        elif name == "other":
            swatch[:] = colours.rgb(colours.OTHER_WOOD)
        page.image(swatch, round(x), round(y) - 13)
        page.box(round(x), round(y) - 13, 48, 26)
    page.text(x + 60, y, words, SMALL, up="center")
