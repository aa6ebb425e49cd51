"""Plan map of which program and which cutter cut where, one side of the blank at a time.

Drawn like the maps of simkit.report.plan_views, as the operator sees the blank lying in that setup.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.patheffects import withStroke
from scipy import ndimage

from simkit.cutters import Cutter
from simkit.job.model import Blank
from simkit.moves.table import Moves
from simkit.report import canvas, colours
from simkit.report.canvas import BODY, Page
from simkit.report.class_map import Painted, Sign, draw_class_map, swatch_of
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import MOST_MARKS, SPOT, widened
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Field

# The qualitative scheme "light" of Paul Tol, Colour Schemes, SRON/EPS/TN/09-002, made to fill labelled areas
# and safe for the colour-blind; its pale grey is what nothing cut.  Letters tell the areas in a grey print.
LIGHT = ("#77aadd", "#eedd88", "#44bb99", "#ee8866", "#99ddff", "#bbcc33", "#ffaabb", "#aaaa00")
UNCUT = "#dddddd"
MOST = 2 * len(LIGHT)  # pairs told apart: each colour plain, then hatched
THROUGH = 0.45  # of the colour where nothing is left; the rest is white
LETTERS = 4  # areas of one pair that bear its letter, the largest that stand and that are gone
WIDEST = 760.0  # pixels that a name takes in the legend
LEAST = 15.0  # pixels from the middle of an area to its edge, for a letter to fit


@dataclass(frozen=True)
class Owners:
    """Who left each cell as it is: index (ny, nx) into `names`, -1 nobody.

    names: of cutters and their programs, in the order in which they first ran; then of steps.
    """

    index: np.ndarray
    names: tuple[str, ...]


def owners_of(rows: np.ndarray, moves: Moves, cutters: dict[int, Cutter]) -> Owners:
    """Return who cut each cell of a surface.

    rows (ny, nx): of `moves`, negative where none cut, as a field has them.  Pairs of program and cutter are
    in the order in which they first run; those that own no cell are left out.
    """
    is_cut = rows >= 0
    row = np.maximum(rows, 0)
    key = moves.program[row].astype(np.int64) * (int(moves.tool.max(initial=0)) + 1) + moves.tool[row]
    found, first = np.unique(key[is_cut], return_index=True)
    # The lowest row of each pair puts them in order.
    lowest = [int(rows[is_cut][key[is_cut] == one].min()) for one in found]
    order = np.argsort(lowest, kind="stable")
    index = np.full(rows.shape, -1, np.int16)
    names = []
    for number, at in enumerate(order):
        index[is_cut & (key == found[at])] = number
        one = int(rows[is_cut][first[at]])
        names.append(f"{cutters[int(moves.tool[one])]}, {moves.programs[int(moves.program[one])]}")
    return Owners(index, tuple(names))


def with_steps(owners: Owners, made: np.ndarray, names: Sequence[str]) -> Owners:
    """Return owners with the steps of a job behind the cutters, those that left no cell left out.

    made (ny, nx): number of the step that left a cell as it is, -1 for none: see findings.made.step_map.
    names: of all steps.
    """
    index, told = owners.index.copy(), list(owners.names)
    for number in np.unique(made[made >= 0]).tolist():
        index[made == number] = len(told)
        told.append(names[number])
    return Owners(index, tuple(told))


def draw_who_cut(
    path,
    *,
    field: Field,
    owners: Owners,
    is_part: np.ndarray | None,
    side: int,
    turn: str,
    blank: Blank,
    title: str,
    findings: Sequence[dict[str, Any]],
    resin: np.ndarray | None = None,
    lengths: Lengths = MM,
) -> str:
    """Draw who cut each place of one side as a PNG at `path` and return the path.

    field: what is left.  owners: of that side.  is_part (ny, nx) bool, or None.  side, turn, blank, title,
    findings, resin: as draw_class_map takes them.  lengths: how they are written.
    Accuracy: the cell under each pixel; what is thinner than 3 pixels is widened to 3.  Beyond MOST pairs the
    rest shares one colour.
    """
    index = np.minimum(owners.index, MOST)
    index = np.where((index == -1) & ~field.is_solid, -2, index)  # cells beyond the blank's own edge
    letters = [chr(ord("A") + number) for number in range(min(len(owners.names), MOST))]
    placed: list[tuple[str, float, float]] = []  # letters on the map

    def paint(seen: SeenPlan) -> Painted:
        shown = seen.nearest(index, -2)
        for number in range(len(letters)):  # an area thinner than a pixel is not lost
            is_mine = seen.highest((index == number).astype(np.int8))
            is_lost = widened(is_mine) > 0
            is_lost &= ~(ndimage.binary_dilation(shown == number, np.ones((3, 3)), iterations=2))
            shown = np.where(is_lost, number, shown)
        picture = np.full((*shown.shape, 3), 255, np.uint8)
        picture[shown == -1] = colours.rgb(UNCUT)
        for number in range(len(letters)):
            _fill(picture, shown == number, number)
        picture[shown == MOST] = colours.rgb(colours.QUIET_INK)
        is_gone = ~seen.nearest(field.is_solid, True) & (shown >= 0)
        picture[is_gone] = _paler(picture[is_gone])
        signs = []
        for number, letter in enumerate(letters):
            swatch = np.empty((26, 48, 3), np.uint8)
            _fill(swatch, np.ones(swatch.shape[:2], bool), number)
            words = canvas.shortened(canvas.tidy(lengths.cutter(owners.names[number])), canvas.SMALL, WIDEST)
            signs.append(Sign(words, swatch, letter=letter))
        if (shown == MOST).any():
            signs.append(Sign("further programs and cutters", swatch_of(colours.QUIET_INK)))
        if (shown == -1).any():
            signs.append(Sign("as it was: no program cut here", swatch_of(UNCUT)))
        if is_gone.any():
            pale = swatch_of(LIGHT[int(shown[is_gone].max()) % len(LIGHT)])
            pale[:, pale.shape[1] // 2 :] = _paler(pale[:, pale.shape[1] // 2 :])
            signs.append(Sign("pale: nothing left", pale))
        is_busy, is_ring = np.zeros(shown.shape, bool), _rings(seen, findings, shown.shape)
        for number, letter in enumerate(letters):
            is_mine = shown == number
            places = _middles(is_mine & ~is_ring, is_gone) or _middles(is_mine, is_gone)
            for x, y in places:
                placed.append((letter, x, y))
                is_busy[int(y) - 16 : int(y) + 17, int(x) - 16 : int(x) + 17] = True
        return Painted(picture, is_busy, signs, [(x, y) for _, x, y in placed])

    def over(page: Page, seen: SeenPlan, left: float, top: float) -> None:
        for letter, x, y in placed:
            for wide, colour in ((5.0, "white"), (0.0, colours.INK)):
                _letter(page, left + x, top + y, letter, colour, wide)

    return draw_class_map(
        path,
        paint,
        lattice=field.lattice,
        is_part=is_part,
        blank=blank,
        side=side,
        turn=turn,
        title=title,
        subtitle="Each place has the colour and the letter of the program and the cutter that cut it last, "
        "or of the step that left it so.",
        findings=findings,
        resin=resin,
        over=over,
        lengths=lengths,
    )


def _fill(picture: np.ndarray, mask: np.ndarray, number: int) -> None:
    """Give a mask the look of the pair `number`, in place."""
    picture[mask] = colours.rgb(LIGHT[number % len(LIGHT)])
    if number >= len(LIGHT):
        iy, ix = np.indices(mask.shape)
        picture[mask & ((ix - iy) % 10 < 2)] = colours.rgb(colours.QUIET_INK)


def _paler(rgb: np.ndarray) -> np.ndarray:
    return np.round(255 - THROUGH * (255.0 - rgb)).astype(np.uint8)


def _rings(seen: SeenPlan, findings: Sequence[dict[str, Any]], shape: tuple[int, int]) -> np.ndarray:
    """Return where a letter would touch the ring of a finding (down, across)."""
    is_ring = np.zeros(shape, bool)
    iy, ix = np.indices(shape, sparse=True)
    for finding in findings[:MOST_MARKS]:
        if finding.get("at") is not None:
            x, y = seen.pixel(*finding["at"][:2])
            is_ring |= (ix - x) ** 2 + (iy - y) ** 2 < (SPOT + LEAST) ** 2
    return is_ring


def _middles(mask: np.ndarray, is_gone: np.ndarray) -> list[tuple[float, float]]:
    """Return the innermost pixel (x, y) of the largest areas of a mask, where a letter fits."""
    return [*_innermost(mask & ~is_gone), *_innermost(mask & is_gone)]


def _innermost(mask: np.ndarray) -> list[tuple[float, float]]:
    if not mask.any():
        return []
    # Passes of two cutters by turns make one area of each: what is mostly its own counts.
    mask = ndimage.uniform_filter(mask.astype(np.float32), 15) > 0.5
    label, count = ndimage.label(mask)
    if not count:
        return []
    size = np.bincount(label.ravel())[1:]
    boxes, places = ndimage.find_objects(label), []
    for one in np.argsort(-size, kind="stable")[:LETTERS]:
        rows, columns = boxes[one]
        if min(rows.stop - rows.start, columns.stop - columns.start) < LEAST:
            continue
        # Areas meet at corners at most, so what is another one is no nearer than what is none.
        depth = ndimage.distance_transform_edt(np.pad(label[rows, columns] == one + 1, 1))[1:-1, 1:-1]
        y, x = np.unravel_index(depth.argmax(), depth.shape)
        if depth[y, x] >= LEAST:
            places.append((float(columns.start + x), float(rows.start + y)))
    return places


def _letter(page: Page, x: float, y: float, letter: str, colour: str, halo: float) -> None:
    """Write a letter, with a halo of so many pixels round it."""
    text = page.axes.text(
        x, y, letter, fontproperties=canvas.font(BODY, True), color=colour, ha="center",
        va="center_baseline", zorder=6,
    )  # fmt: skip
    if halo:
        text.set_path_effects([withStroke(linewidth=halo * 72 / canvas.BASE_DPI, foreground=colour)])
