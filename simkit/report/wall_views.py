"""Plan map of wall thickness: how much wood is left behind each place of the part, side by side.

Drawn like the maps of simkit.report.plan_views, as the operator sees the blank lying in that setup.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from scipy import ndimage

from simkit.compare.thin_spots import joined_cells, thin_cells
from simkit.compare.walls import Walls
from simkit.job.model import Blank
from simkit.report import colours
from simkit.report.class_map import Painted, Sign, draw_class_map, swatch_of
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import GLUE_DASHES, GLUE_WORDS, draw_glue, widened
from simkit.report.seen_plan import SeenPlan

# ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org: the teal arm of BrBG, eleven classes, listed there as
# safe for the colour-blind.  The darker, the thinner, so a grey print tells them too.
SHADES = ("#003c30", "#35978f", "#80cdc1", "#c7eae5")
SHARES = (0.5, 0.75, 1.0, 1.5)  # borders, in multiples of the limit; beyond the last nothing was measured
THICK = "#f5f5f5"  # the middle of BrBG: a print in grey could not tell the palest teal from a darker grey
DARK_LINE, PALE_LINE = "#003c30", "#d9efec"  # hatch over what is thinner than the part wants it
KINDS = ("thin-wall", "fragile", "break-through")


def draw_walls(
    path,
    *,
    cut: Walls,
    target: Walls | None,
    limit: float,
    is_judged: np.ndarray,
    is_part: np.ndarray,
    side: int,
    turn: str,
    blank: Blank,
    title: str,
    findings: Sequence[dict[str, Any]],
    glue: Sequence[np.ndarray] = (),
    resin: np.ndarray | None = None,
    lengths: Lengths = MM,
) -> str:
    """Draw the wall thickness as seen in one setup as a PNG at `path` and return the path.

    cut, target: of the wood and of the part, as in the evidence.  limit mm.  is_judged, is_part (ny, nx)
    bool: cells that count, and those of the part.  side, turn, blank, title, findings: as draw_class_map
    takes them; findings of other kinds are left out.  glue, resin: as draw_plan_view takes them.
    lengths: how they are written.
    Accuracy: the least thickness at each cell, as measured there; what is thinner than the limit is widened
    to 3 pixels where it is narrower.
    """
    thickness = _filled(cut)
    findings = [row for row in findings if row["kind"] in KINDS]
    is_worse = _worse(cut, target, limit, is_judged, findings)

    def paint(seen: SeenPlan) -> Painted:
        # Thinner counts more, so that the thinnest place under a pixel is the one shown.
        rank = np.zeros(thickness.shape, np.int8)
        for share in SHARES:
            rank += (thickness < share * limit) & is_part
        shown = widened(seen.highest(np.where(rank >= 2, rank, 0)))
        shown = np.maximum(shown, seen.nearest(rank, 0))
        inside = seen.nearest(is_part, False)
        worse = widened(seen.highest(_spread(is_worse, cut.stride).astype(np.int8))) > 0
        picture = np.full((*inside.shape, 3), 255, np.uint8)
        picture[inside] = colours.rgb(THICK)
        for number, shade in enumerate(SHADES):
            picture[shown == len(SHADES) - number] = colours.rgb(shade)
        is_dark = shown >= len(SHADES) - 1
        _hatch(picture, worse & ~is_dark, DARK_LINE)
        _hatch(picture, worse & is_dark, PALE_LINE)
        names = [f"thinner than {lengths.told(limit * SHARES[0])}"]
        names += [
            f"{lengths.figure(low * limit)} to {lengths.told(high * limit)}" for low, high in pairwise(SHARES)
        ]
        names[2] += " (the limit)"
        signs = [Sign(words, swatch_of(shade)) for words, shade in zip(names, SHADES, strict=True)]
        signs.append(Sign(f"thicker than {lengths.told(limit * SHARES[-1])}", swatch_of(THICK)))
        if worse.any():
            swatch = swatch_of(SHADES[1], lambda image, mask: _hatch(image, mask, DARK_LINE))
            signs.append(Sign("hatched: thinner than the part has it", swatch))
        if len(glue):
            signs.append(Sign(GLUE_WORDS, line=colours.INK, dashes=GLUE_DASHES))
        return Painted(picture, shown >= 2, signs)

    return draw_class_map(
        path,
        paint,
        lattice=cut.lattice,
        is_part=is_part,
        blank=blank,
        side=side,
        turn=turn,
        title=title,
        subtitle="Thickness is the diameter of the largest ball inside the wood that touches it there. "
        "Wood left standing does not count.",
        findings=findings,
        over=lambda page, seen, left, top: draw_glue(page, seen, glue, left, top),
        resin=resin,
        lengths=lengths,
    )


def _worse(cut: Walls, target, limit: float, is_judged: np.ndarray, findings) -> np.ndarray:
    """Return the cells (ny, nx) bool thinner than the limit and than the part has it there.

    A closer look may have told of a spot that the part is as thin: the finding is a note then, and counts.
    """
    is_thin, is_wanted, _ = thin_cells(cut, target, limit, is_judged)
    is_worse = is_thin & ~is_wanted & (cut.thickness < limit)
    notes = [row["at"] for row in findings if row["kind"] == "thin-wall" and row["severity"] == "note"]
    notes = [at for at in notes if at is not None]
    if not notes or not is_worse.any():
        return is_worse
    joined = ndimage.maximum_filter(joined_cells(cut, is_thin), 3)
    x, y = np.array(notes)[:, :2].T
    return is_worse & ~np.isin(joined, np.unique(joined[cut.lattice.cell_at(x, y)]))


def _filled(walls: Walls) -> np.ndarray:
    """Return the thickness (ny, nx) mm, inf where none is known; cells passed over take a neighbour's."""
    thickness = np.where(np.isnan(walls.thickness), np.inf, walls.thickness)
    if walls.stride == 1:
        return thickness
    return np.minimum(thickness, ndimage.minimum_filter(thickness, 2 * walls.stride - 1, mode="nearest"))


def _spread(mask: np.ndarray, stride: int) -> np.ndarray:
    return mask if stride == 1 else ndimage.maximum_filter(mask, 2 * stride - 1, mode="nearest")


def _hatch(rgb: np.ndarray, mask: np.ndarray, colour: str) -> None:
    """Draw diagonals over a mask, in place."""
    iy, ix = np.indices(mask.shape)
    rgb[mask & ((ix + iy) % 8 < 2)] = colours.rgb(colour)
