"""Plan map of the ridges between passes, and of leftover by its cause, one side of the blank at a time.

Drawn like the maps of simkit.report.plan_views, as the operator sees the blank lying in that setup.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from simkit.compare.cusps import Cusps
from simkit.compare.reach_options import CUTTER, PROGRAM
from simkit.job.model import Blank
from simkit.report import colours
from simkit.report.canvas import Page
from simkit.report.class_map import Painted, Sign, draw_class_map, swatch_of
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import widened
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice

# ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org, eleven classes: teals of BrBG for ridges, purples of
# PuOr for the causes, as purple is left standing on all maps; both listed there as safe for the colour-blind.
# No orange or brown, which is cut too deep.  The causes are hatched, each its own way, or a grey print could
# not tell them.
LOW, HIGH, HIGHER, HIGHEST = colours.CLASSES[colours.WITHIN], "#80cdc1", "#35978f", "#01665e"
CANNOT, DID_NOT = colours.PUOR_11[9], colours.PUOR_11[7]
LINES = {CANNOT: (colours.PUOR_11[6], 1), DID_NOT: (colours.PUOR_11[10], -1)}  # of the hatch: colour, lean
UNTOLD = "#f9f9f8"
NOTHING, NOT_TOLD = 0, 1  # classes of the map; 2 to 5 ridges, 6 and 7 causes
STROKE, MOST_STROKES = 8.0, 260  # pixels, half a stroke along the passes; at most so many
KINDS = ("leftover-cutter", "leftover-program", "cusp")


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
    findings: Sequence[dict[str, Any]] = (),
    resin: np.ndarray | None = None,
    lengths: Lengths = MM,
) -> str:
    """Draw the map of one side as a PNG at `path` and return the path.

    lattice: of is_part and cause (ny, nx), blank frame.  cusps: of that side, None when none were traced.
    cause: of compare.reach_options.  wanted mm: the ridge that the classes are multiples of; is_limit: the
    job states it.  side 1 or 2; turn of that setup.  blank mm.  findings: as draw_class_map takes them; those
    of other kinds are left out.  resin: as draw_plan_view takes it.  lengths: how they are written.
    Accuracy: a trace colours the cells it stands for; a cause is widened to 3 pixels where it is thinner,
    so that none is lost.
    """
    index = _classes(lattice, is_part, cusps, wanted)
    has_strokes = cusps is not None and bool((cusps.height > wanted / 20).any())

    def paint(seen: SeenPlan) -> Painted:
        palette = [colours.NOTHING, UNTOLD, LOW, HIGH, HIGHER, HIGHEST, CANNOT, DID_NOT]
        shown = seen.nearest(index, NOTHING)
        for value, at in ((CUTTER, 6), (PROGRAM, 7)):
            shown = np.where(widened(seen.highest((cause == value).astype(np.int8))) > 0, at, shown)
        picture = np.array([colours.rgb(colour) for colour in palette], np.uint8)[shown]
        for at in (6, 7):
            _hatch(picture, shown == at, palette[at])
        word = "limit" if is_limit else "wanted"
        # What is told at all comes into the legend.
        names = [
            (NOT_TOLD, "not told: steep, at an edge, or a single pass"),
            (2, f"ridges up to {lengths.told(wanted)} ({word})"),
            (3, f"ridges up to {lengths.told(2 * wanted)}"),
            (4, f"ridges up to {lengths.told(4 * wanted)}"),
            (5, "higher ridges"),
            (6, "left standing: cutter can't get in"),
            (7, "left standing: program did not go there"),
        ]
        signs = [
            Sign(
                words,
                swatch_of(palette[at], lambda image, mask, at=at: _hatch(image, mask, palette[at])),
            )
            for at, words in names
            if at == 2 or (shown == at).any()
        ]
        if has_strokes:
            signs.append(Sign("direction of the passes", line=colours.INK, width=1.6))
        return Painted(picture, shown >= 3, signs)

    def over(page: Page, seen: SeenPlan, left: float, top: float) -> None:
        if has_strokes:
            _strokes(page, seen, cusps, wanted, left, top)

    return draw_class_map(
        path,
        paint,
        lattice=lattice,
        is_part=is_part,
        blank=blank,
        side=side,
        turn=turn,
        title=title,
        findings=[row for row in findings if row["kind"] in KINDS],
        over=over,
        resin=None if resin is None else resin & is_part,
        lengths=lengths,
    )


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


def _hatch(rgb: np.ndarray, mask: np.ndarray, colour: str) -> None:
    """Draw the diagonals of a colour over a mask, in place; none for a colour without."""
    if colour in LINES:
        line, lean = LINES[colour]
        iy, ix = np.indices(mask.shape)
        rgb[mask & ((ix + lean * iy) % 8 < 2)] = colours.rgb(line)


def _strokes(page: Page, seen: SeenPlan, cusps: Cusps, wanted: float, left: float, top: float) -> None:
    """Draw short strokes along the passes at some of the sites."""
    chosen = np.flatnonzero(cusps.is_even & (cusps.height > wanted / 20))
    chosen = chosen[:: max(1, -(-len(chosen) // MOST_STROKES))]
    angle = np.radians(cusps.direction[chosen])
    way = STROKE * seen.pitch * np.column_stack([np.cos(angle), np.sin(angle)])
    ends = np.stack([cusps.at[chosen, :2] - way, cusps.at[chosen, :2] + way], axis=1)
    x, y = seen.pixel(ends[..., 0], ends[..., 1])
    page.lines(np.stack([left + x, top + y], axis=-1), colours.INK, 1.0, zorder=3.8)
