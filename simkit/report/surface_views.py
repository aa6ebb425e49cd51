"""Plan map of the ridges between passes, and of leftover by its cause, one side of the blank at a time.

Drawn like the maps of simkit.report.plan_views, as the operator sees the blank lying in that setup.
"""

from __future__ import annotations

import numpy as np

from simkit.compare.cusps import Cusps
from simkit.compare.reach_options import CUTTER, PROGRAM
from simkit.job.model import Blank
from simkit.report import canvas, colours
from simkit.report.canvas import MARGIN, SMALL, TITLE, Page
from simkit.report.class_map import draw_sign, resin_sign
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import (
    FRONT_ROOM,
    LEFT_ROOM,
    NARROWEST,
    SIDE_ROOM,
    TALLEST,
    TOP_ROOM,
    WIDTH,
    draw_outline,
    draw_rulers,
    draw_scale_bar,
    flow,
    pose_words,
)
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice

# ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org: purples of PuOr for ridges, brown and teal of BrBG,
# eleven classes, for the causes; both listed there as safe for the colour-blind.
LOW, HIGH, HIGHER, HIGHEST = colours.CLASSES[colours.WITHIN], *colours.PUOR_11[7:10]
CANNOT, DID_NOT = "#8c510a", "#35978f"
UNTOLD = "#f9f9f8"
NOTHING, NOT_TOLD = 0, 1  # classes of the map; 2 to 5 ridges, 6 and 7 causes
WAY, RESIN = -1, -2  # what the legend has beside them
STROKE, MOST_STROKES = 8.0, 260  # pixels, half a stroke along the passes; at most so many


def draw_surface_view(
    path,
    *,
    lattice: Lattice,
    is_part: np.ndarray,
    cusps: Cusps | None,
    cause: np.ndarray,
    wanted: float,
    is_limit: bool,
    side: int,
    turn: str,
    blank: Blank,
    title: str,
    resin: np.ndarray | None = None,
    lengths: Lengths = MM,
) -> str:
    """Draw the map of one side as a PNG at `path` and return the path.

    lattice: of is_part and cause (ny, nx), blank frame.  cusps: of that side, None when none were traced.
    cause: of compare.reach_options.  wanted mm: the ridge that the classes are multiples of; is_limit: the
    job states it.  side 1 or 2; turn of that setup.  blank mm.  resin: as draw_plan_view takes it.
    lengths: how they are written.
    Accuracy: a trace colours the cells it stands for; a cause is widened to 3 pixels where it is thinner,
    so that none is lost.
    """
    room = WIDTH - LEFT_ROOM - SIDE_ROOM
    pitch = max(blank.length / room, blank.width / TALLEST)
    across, down = max(round(blank.length / pitch), 8), max(round(blank.width / pitch), 8)
    width = max(across + LEFT_ROOM + SIDE_ROOM, NARROWEST)
    seen = SeenPlan(lattice, blank, turn, pitch, across, down)
    index = _classes(lattice, is_part, cusps, wanted)
    palette = [colours.NOTHING, UNTOLD, LOW, HIGH, HIGHER, HIGHEST, CANNOT, DID_NOT]
    shown = seen.nearest(index, NOTHING)
    for value, at in ((CUTTER, 6), (PROGRAM, 7)):
        shown = np.where(_widened(seen.highest((cause == value).astype(np.int8)) > 0), at, shown)
    picture = np.array([colours.rgb(colour) for colour in palette], np.uint8)[shown]
    is_dotted = np.zeros(shown.shape, bool) if resin is None else seen.nearest(resin & is_part, False)
    canvas.dot_over(picture, is_dotted)

    word = "limit" if is_limit else "wanted"
    # What is told at all comes into the legend.
    names = [
        (NOT_TOLD, "not told: steep, at an edge, or a single pass"),
        (2, f"ridges up to {lengths.told(wanted)} ({word})"),
        (3, f"up to {lengths.told(2 * wanted)}"),
        (4, f"up to {lengths.told(4 * wanted)}"),
        (5, "higher"),
        (6, "left standing: cutter can't get in"),
        (7, "left standing: program did not go there"),
    ]
    signs = [(number, text) for number, text in names if number == 2 or (shown == number).any()]
    has_strokes = cusps is not None and bool((cusps.height > wanted / 20).any())
    signs += [(RESIN, "dots: resin")] if is_dotted.any() else []
    signs += [(WAY, "direction of the passes")] if has_strokes else []
    inner = width - 2 * MARGIN
    places = flow(signs, inner)
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    y_head = 40 + canvas.line_height(TITLE) * len(head)
    top = round(y_head + canvas.line_height(SMALL) + TOP_ROOM)
    key_top = top + down + FRONT_ROOM + 40
    page = Page(width, key_top + 42 * (2 + max(row for row, _ in places)) + 30, lengths=lengths)
    y = 40.0
    for line in head:
        page.text(MARGIN, y, line, TITLE, bold=True, up="top")
        y += canvas.line_height(TITLE)
    page.text(
        MARGIN, y + 4, pose_words(side, turn, lattice.cell, lengths), SMALL, colours.QUIET_INK, up="top"
    )
    left = LEFT_ROOM + (width - LEFT_ROOM - SIDE_ROOM - across) // 2
    page.image(picture, left, top)
    draw_outline(page, seen, is_part, left, top)
    page.box(left, top, across, down, edge=colours.INK, edge_width=1.6, zorder=4)
    draw_rulers(page, blank, pitch, left, top, across, down, 0)
    if has_strokes:
        _strokes(page, seen, cusps, wanted, left, top)
    for (row, x), (number, text) in zip(places, signs, strict=True):
        at = (MARGIN + x, key_top + 42 * row)
        if number == RESIN:
            draw_sign(page, *at, resin_sign())
            continue
        if number == WAY:
            page.line([at[0], at[0] + 48], [at[1], at[1]], colours.INK, 1.6)
        else:
            page.box(round(at[0]), round(at[1]) - 13, 48, 26, palette[number])
        page.text(at[0] + 60, at[1], text, SMALL, up="center")
    draw_scale_bar(page, pitch, width - MARGIN, key_top + 42 * (1 + max(row for row, _ in places)), inner / 3)
    return page.save(path)


def _classes(lattice: Lattice, is_part: np.ndarray, cusps: Cusps | None, wanted: float) -> np.ndarray:
    """Return the class of each cell (ny, nx): nothing, not told, or how high the ridges are."""
    from scipy.spatial import cKDTree

    index = np.where(is_part, NOT_TOLD, NOTHING).astype(np.int8)
    if cusps is None or not len(cusps.height):
        return index
    cells = np.argwhere(cusps.is_open & is_part)
    kind = 2 + (cusps.height[:, None] > wanted * np.array([1, 2, 4])).sum(axis=1)
    spacing = float(np.sqrt(cusps.area)) / lattice.cell
    # An even site stands for the cells nearest to it, one at a worst place for a small disc on top.
    for is_mine, reach in ((cusps.is_even, 1.2 * spacing), (~cusps.is_even, 0.25 * spacing)):
        if not is_mine.any():
            continue
        away, nearest = cKDTree(cusps.cell[is_mine]).query(cells, distance_upper_bound=max(reach, 1.0))
        is_near = np.isfinite(away)
        found = kind[is_mine][nearest[is_near]]
        at = tuple(cells[is_near].T)
        index[at] = np.maximum(index[at], found)
    return index


def _widened(mask: np.ndarray) -> np.ndarray:
    """Widen a mask by a pixel all round, so that a sliver is seen."""
    from scipy import ndimage

    return ndimage.maximum_filter(mask, size=3)


def _strokes(page: Page, seen: SeenPlan, cusps: Cusps, wanted: float, left: float, top: float) -> None:
    """Draw short strokes along the passes at some of the sites."""
    chosen = np.flatnonzero(cusps.is_even & (cusps.height > wanted / 20))
    chosen = chosen[:: max(1, -(-len(chosen) // MOST_STROKES))]
    angle = np.radians(cusps.direction[chosen])
    way = STROKE * seen.pitch * np.column_stack([np.cos(angle), np.sin(angle)])
    ends = np.stack([cusps.at[chosen, :2] - way, cusps.at[chosen, :2] + way], axis=1)
    x, y = seen.pixel(ends[..., 0], ends[..., 1])
    page.lines(np.stack([left + x, top + y], axis=-1), colours.INK, 1.0, zorder=3.8)
