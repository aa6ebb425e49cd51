"""Plan map of the witness step: how far the walls that the two sides cut stand apart, along the seam."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from simkit.compare.seam import Seam
from simkit.job.model import Blank
from simkit.report import colours
from simkit.report.canvas import Page
from simkit.report.class_map import SWATCH, Painted, Sign, draw_class_map, swatch_of
from simkit.report.lengths import MM, Lengths
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice
from simkit.units import MM_PER_INCH

# ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org: both arms of BrBG, eleven classes, listed there as
# safe for the colour-blind.  Which side stands out is also told by which way the band leans.
FIRST_OUT = ("#dfc27d", "#8c510a")  # side 1 stands out: up to twice the limit, more
SECOND_OUT = ("#80cdc1", "#01665e")  # side 2
WITHIN = "#9a9a96"
WOOD = "#f1f1ee"
TALLEST = 46.0  # pixels that the band is wide at the largest step, at most; fits a swatch
FLOOR = 5.0  # pixels: a band is never thinner, so that what is within the limit is seen to be told
GAP = 2.6  # mm between neighbouring stations, above which the seam is not told between them


def draw_seam(
    path,
    *,
    seam: Seam,
    limit: float,
    lattice: Lattice,
    is_part: np.ndarray,
    side: int,
    turn: str,
    blank: Blank,
    title: str,
    findings: Sequence[dict[str, Any]],
    lengths: Lengths = MM,
) -> str:
    """Draw the step along the seam as a PNG at `path` and return the path.

    seam: of compare.seam, with stations.  limit mm.  lattice, is_part (ny, nx) bool: blank frame.  side,
    turn, blank, title, findings: as draw_class_map takes them; findings of other kinds are left out.
    Accuracy: the band is as wide as the step at each station, enlarged as the legend says, and never
    thinner than FLOOR pixels.
    """
    most = max(float(np.abs(seam.offset).max()), limit)
    within = lengths.told(limit)

    def paint(seen: SeenPlan) -> Painted:
        inside = seen.nearest(is_part, False)
        picture = np.full((*inside.shape, 3), 255, np.uint8)
        picture[inside] = colours.rgb(WOOD)
        signs = [Sign(f"the sides meet within {within}, the limit", swatch_of(WITHIN))]
        for sense, shades, words in (
            (1, FIRST_OUT, "away from the part: side 1"),
            (-1, SECOND_OUT, "into the part: side 2"),
        ):
            size = sense * seam.offset
            if (size > limit).any():
                signs.append(
                    Sign(
                        f"band {words} stands out, up to {lengths.told(2 * limit)}",
                        swatch_of(shades[0]),
                    )
                )
            if (size > 2 * limit).any():
                signs.append(Sign("more", swatch_of(shades[1])))
        factor, unit = _scale(most, seen.pitch, lengths)
        bar = np.full((*SWATCH, 3), 255, np.uint8)
        bar[8:-8, : round(unit * factor / seen.pitch)] = colours.rgb(colours.INK)
        signs.append(Sign(f"a step of {lengths.told(unit)}, drawn {factor:g} times as large", bar))
        return Painted(picture, np.zeros(inside.shape, bool), signs)

    def over(page: Page, seen: SeenPlan, left: float, top: float) -> None:
        factor, _ = _scale(most, seen.pitch, lengths)
        corner = np.array((left, top))
        place = corner + np.column_stack(seen.pixel(*seam.stations.T))
        way = corner + np.column_stack(seen.pixel(*(seam.stations + seam.normal).T)) - place
        way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        size = np.abs(seam.offset) * factor / seen.pitch
        # Within the limit and drawn no wider than it must be, which side stands out means nothing.
        is_out = (seam.offset >= 0) | ((size < FLOOR) & (seam.offset >= -limit))
        wide = np.where(is_out, 1, -1) * np.maximum(size, FLOOR)
        tip = place + way * wide[:, None]
        pairs = neighbours(seam)
        corners, fills = [], []
        for first, last in pairs:
            middle, far = place[[first, last]].mean(axis=0), tip[[first, last]].mean(axis=0)
            if wide[first] * wide[last] < 0:
                far = middle  # from one side to the other: each half runs out
            for one in (first, last):
                corners.append(np.array([place[one], tip[one], far, middle]))
                fills.append(shade_of(float(seam.offset[one]), limit))
        # An edge of its own colour, or the white below would show between neighbours.
        page.areas(corners, fills, 0.5, zorder=4.4)
        page.lines(place[np.array(pairs, int).reshape(-1, 2)], colours.INK, 1.2, zorder=4.6)

    return draw_class_map(
        path,
        paint,
        lattice=lattice,
        is_part=is_part,
        blank=blank,
        side=side,
        turn=turn,
        title=title,
        subtitle=seam_sentence(seam, lengths=lengths),
        findings=[row for row in findings if row["kind"] == "witness-step"],
        over=over,
        lengths=lengths,
    )


def seam_sentence(seam: Seam, drawn: str = "band", lengths: Lengths = MM) -> str:
    """Return the largest step, and where nothing is told, in words; drawn: what the picture shows it by."""
    size, bound = float(np.abs(seam.offset[seam.worst])), float(seam.bound[seam.worst])
    farther = 1 if seam.offset[seam.worst] > 0 else 2
    x, y = seam.stations[seam.worst]
    at = f"x {lengths.place(x)}, y {lengths.place(y)}" if lengths.is_inch else f"x {x:.0f}, y {y:.0f}"
    words = f"The largest step is {lengths.value(size, bound)}, at {at} {lengths.name} of the blank, "
    words += f"where side {farther} stands out."
    if seam.left_out:
        words += f" Where no {drawn} is drawn, at tabs, sharp corners and open sides, no step can be told."
    return words


def neighbours(seam: Seam) -> list[tuple[int, int]]:
    """Return the pairs of stations that follow one another on a contour."""
    pairs = []
    for contour in np.unique(seam.contour):
        rows = np.flatnonzero(seam.contour == contour)
        after = np.roll(rows, -1)
        apart = np.hypot(*(seam.stations[after] - seam.stations[rows]).T)
        is_near = (apart < GAP) & (rows != after)
        pairs += [(int(a), int(b)) for a, b in zip(rows[is_near], after[is_near], strict=True)]
    return pairs


def _scale(most: float, pitch: float, lengths: Lengths = MM) -> tuple[float, float]:
    """Return how many times steps are enlarged, and a round step for the legend, mm.

    most mm: the largest step to be drawn; pitch: mm a pixel.
    """
    one = MM_PER_INCH if lengths.is_inch else 1.0
    return _round_down(TALLEST * pitch / most), _round_down(most / one) * one


def _round_down(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return max(m * power for m in (1, 2, 5) if m * power <= value * (1 + 1e-9))


def shade_of(offset: float, limit: float) -> str:
    """Return the colour of a step, mm, against its limit, mm."""
    if abs(offset) <= limit:
        return WITHIN
    return (FIRST_OUT if offset > 0 else SECOND_OUT)[int(abs(offset) > 2 * limit)]
