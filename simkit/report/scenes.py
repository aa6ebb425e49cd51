"""What the 3-D pictures of a check hold: leftover alone, and both sides with their seam.

NumPy only: nothing is drawn here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from simkit.findings.evidence import Evidence
from simkit.frames import turned
from simkit.report import colours
from simkit.report.lengths import Lengths
from simkit.report.map_parts import MUST, finding_words
from simkit.report.outer_steps import step_classes
from simkit.report.pooled import pooled, pooled_share
from simkit.report.scene_file import LIT, PALE, TRUE, Key, Line, Look, Mark, Scene, Surface
from simkit.report.seam_view import FIRST_OUT, SECOND_OUT, seam_sentence, shade_of
from simkit.report.solid_mesh import RESIN, surface
from simkit.report.solid_mesh import with_resin as resin_classes
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import envelopes

# Of a surface: about a pixel each where the part fills the page.  Pooled cells would part ledges that are
# narrower than they, and their walls would not be lines.
MOST_CELLS = 750_000
MOST_MARKS = 12
FROM_ABOVE = (-0.16, -0.80, 1.35)  # from the part to the eye: the front, a little left, from above
LOW_DOWN = (-0.35, -1.0, 0.42)
FADED, WOOD = "#f0ede5", "#ece2cc"
SIDE_1, SIDE_2 = "#c9c9c4", "#f3ead6"
NEAR_PART = 1.5  # mm: wood so near the part is drawn with it, so that a step of the walls is seen
CLOSE = 14.0  # mm across a close-up of the seam
STAND_OUT = 0.25  # mm: the seam's line is drawn so far off the wall, or half of it would lie inside


def leftover_scene(evidence: Evidence, shown: dict[int, np.ndarray], turn: str, result: dict[str, Any]):
    """Return the Scene of the leftover alone, lying on the faded part; None where none is beyond its limit.

    shown[side] (ny, nx) mm: deviations as they are coloured.  turn: how the blank is turned over for side 2.
    result: its findings are numbered.  Leftover thinner in plan than three cells is drawn that wide.
    """
    job, field, target = evidence.job, evidence.field, evidence.envelopes
    limits, lengths = (job.limits.gouge, job.limits.leftover), Lengths(job.unit)
    lower, upper = (np.where(target.is_part, level, 0.0) for level in (target.lower, target.upper))
    left = leftover_surfaces(evidence, shown, result["findings"])
    if not left:
        return None
    surfaces = [_surface(field.lattice, lower, upper, FADED, PALE), *left]
    rows = [row for row in result["findings"] if row["kind"].startswith("leftover")]
    edges = [lengths.figure(edge) for edge in colours.steps(limits[1])]
    keys = [Key("the part, faded", FADED)]
    for number, words in enumerate(
        (f"{edges[0]} to {edges[1]} {lengths.name} left standing", "", "", f"over {edges[3]} {lengths.name}")
    ):
        words = words or f"{edges[number]} to {edges[number + 1]} {lengths.name}"
        keys.append(Key(words, colours.CLASSES[colours.WITHIN + 1 + number]))
    over = turned(turn, 0.0, 0.0, 0.0).matrix
    about = "length" if turn == "about x" else "width"
    return Scene(
        f"{job.name or 'part'}: what is left standing beyond the limit, alone",
        "",
        surfaces,
        [],
        [
            Look("Side 1 up", FROM_ABOVE, marks=_marks(rows, 1)),
            Look(
                f"Side 2 up, turned over about its {about}",
                tuple(np.array(FROM_ABOVE) @ over),
                tuple(np.array((0.0, 0.0, 1.0)) @ over),
                _marks(rows, 2),
            ),
        ],
        keys,
        listed(rows, lengths),
        "Seen from the front, from above. True to size, but slivers are drawn three cells wide.",
        job.unit,
    )


def leftover_surfaces(
    evidence: Evidence,
    shown: dict[int, np.ndarray],
    rows: Sequence[dict[str, Any]] = (),
    kept: np.ndarray | None = None,
) -> list[Surface]:
    """Return the leftover beyond its limit on each side and on the outer wall, as solids on the part.

    shown: as leftover_scene takes it.  rows: findings of the result; those of the outer wall let its steps be
    drawn.  kept (ny, nx) bool: cells outside it are left out; None: none is.
    """
    field, target = evidence.field, evidence.envelopes
    limits = (evidence.job.limits.gouge, evidence.job.limits.leftover)
    lower, upper = (np.where(target.is_part, level, 0.0) for level in (target.lower, target.upper))
    surfaces = []
    for side, deviation in sorted(shown.items()):
        index = colours.class_index(deviation, limits)
        mine, its, sense = (field.upper, upper, 1) if side == 1 else (field.lower, lower, -1)
        is_left = (index > colours.WITHIN) & field.is_solid & target.is_part
        height = np.where(is_left, np.maximum(sense * (mine - its), 0.0), 0.0)
        height, index = _widened(height, np.where(is_left, index, colours.NO_TARGET))
        height[~target.is_part if kept is None else ~(target.is_part & kept)] = 0.0
        if not height.any():
            continue
        ends = (its - 0.1, its + height) if side == 1 else (its - height, its + 0.1)
        ends = [np.where(height > 0, end, 0.0) for end in ends]
        surfaces.append(_classed(field.lattice, *ends, index))
    index = step_classes(evidence, rows)
    if index is not None:
        # A column of wood beside the part is leftover from its lower to its upper end.
        is_left = index > colours.WITHIN
        height, index = _widened(np.where(is_left, field.upper - field.lower, 0.0), index)
        beside = ndimage.minimum_filter(np.where(is_left, field.lower, np.inf), 3)
        low = np.where(is_left, field.lower, beside)
        is_shown = (height > 0) if kept is None else (height > 0) & kept
        if is_shown.any():
            ends = [np.where(is_shown, end, 0.0) for end in (low, low + height)]
            surfaces.append(_classed(field.lattice, *ends, index))
    return surfaces


def seam_scene(evidence: Evidence, result: dict[str, Any]) -> Scene:
    """Return the Scene of both sides with their seam: from the front, from behind, and close to."""
    job, field, seam = evidence.job, evidence.field, evidence.seam
    limit, lengths = job.limits.witness_step, Lengths(job.unit)
    surfaces = _halves(evidence, field, evidence.envelopes.is_part)
    lines = []
    fold = math.ceil(math.sqrt(max(1.0, field.lattice.shape[0] * field.lattice.shape[1] / MOST_CELLS)))
    stand_out = max(STAND_OUT, 1.5 * fold * field.lattice.cell)  # columns reach beyond the wall
    stations = np.column_stack([seam.stations + stand_out * seam.normal, seam.level])
    for run in _seam_runs(seam, limit):
        step = float(seam.offset[run[0]])
        shade = colours.INK if abs(step) <= limit else shade_of(step, limit)
        lines.append(Line(stations[run], shade, 5.0))
    whole = tuple(range(len(surfaces)))
    x, y = seam.stations[seam.worst]
    at = (float(x), float(y), float(seam.level[seam.worst]))
    iy, ix = field.lattice.cell_at(x, y)
    reach = int(np.ceil(0.75 * CLOSE / field.lattice.cell))
    divide = max(1, int(np.ceil(field.lattice.cell / 0.06)))
    window = field.lattice.window(iy - reach, iy + reach + 1, ix - reach, ix + reach + 1, divide)
    surfaces += _halves(evidence, evidence.recut(window), envelopes(evidence.target_grid, window).is_part)
    close = tuple(range(len(whole), len(surfaces)))
    normal = seam.normal[seam.worst]
    rows = [row for row in result["findings"] if row["kind"] == "witness-step"]
    marks = tuple(_mark(row) for row in rows if row["at"] is not None)
    keys = [Key("cut from side 1", SIDE_1), Key("cut from side 2", SIDE_2)]
    size = np.abs(seam.offset)
    keys.append(Key(f"the sides meet within {lengths.told(limit)}, the limit", colours.INK, True))
    for sense, shades, side in ((1, FIRST_OUT, 1), (-1, SECOND_OUT, 2)):
        if (sense * seam.offset > limit).any():
            keys.append(
                Key(
                    f"side {side} stands out, up to {lengths.told(2 * limit)}",
                    shades[0],
                    True,
                )
            )
        if ((sense * seam.offset > 0) & (size > 2 * limit)).any():
            keys.append(Key(f"side {side}, more", shades[1], True))
    behind = (-LOW_DOWN[0], -LOW_DOWN[1], LOW_DOWN[2])
    aside = np.array((-normal[1], normal[0]))
    near = {"marks": marks, "about": at, "size": (CLOSE, 0.7 * CLOSE), "surfaces": close, "lines": ()}
    return Scene(
        f"{job.name or 'part'}: both sides and their seam",
        seam_sentence(seam, "line", lengths),
        surfaces,
        lines,
        [
            Look("Seen from the front", LOW_DOWN, marks=marks if normal[1] <= 0 else (), surfaces=whole),
            Look("Seen from behind", behind, marks=marks if normal[1] > 0 else (), surfaces=whole),
            Look("Close to the largest step", (*(normal + 0.9 * aside), 0.5), **near),
            Look("The same, along the wall", (*(aside + 0.3 * normal), 0.3), **near),
        ],
        keys,
        listed(rows, lengths),
        f"Side 1 up, frame and tabs within {lengths.sizes(NEAR_PART)} of the part. Walls are lines between "
        f"columns, {lengths.both(window.cell)} wide close to: at most half of that off.",
        job.unit,
    )


def wood_surface(field: Field, colour: str) -> Surface:
    """Return the surface of what is left in one colour, resin in its own."""
    index = np.full(field.lattice.shape, colours.WITHIN, np.int8)
    low, high, lower, upper, fold = pooled(field.lower, field.upper, index, index.copy(), most=MOST_CELLS)
    with_resin(field, lower, upper, fold)
    cell, origin = field.lattice.cell * fold, field.lattice.origin
    quads, classes = surface(low, high, lower, upper, cell, origin, is_lined=True)
    palette = np.array([colours.rgb(colour), colours.rgb(colours.RESIN)], np.uint8)
    return Surface(quads, palette[(classes == RESIN).astype(int)], LIT)


def with_resin(field: Field, class_lower: np.ndarray, class_upper: np.ndarray, fold: int) -> None:
    """Let classes of a field's cells, pooled by `fold`, tell resin, in place; see solid_mesh.with_resin."""
    if field.wood_upper is not None:
        resin = {side: pooled_share(field.is_resin(side), fold) > 0.5 for side in (1, 2)}
        resin_classes(class_lower, class_upper, resin)


def _surface(lattice: Lattice, lower, upper, colour: str, light) -> Surface:
    """Return the surface round columns in one colour."""
    index = np.full(lattice.shape, colours.WITHIN, np.int8)
    low, high, mine, its, fold = pooled(
        np.asarray(lower, np.float32), np.asarray(upper, np.float32), index, index, most=MOST_CELLS
    )
    quads, _ = surface(low, high, mine, its, lattice.cell * fold, lattice.origin, is_lined=True)
    return Surface(quads, np.tile(np.array(colours.rgb(colour), np.uint8), (len(quads), 1)), light)


def _classed(lattice: Lattice, lower, upper, index) -> Surface:
    """Return the surface round columns in the colours of their classes, walls too."""
    low, high, mine, its, fold = pooled(
        np.asarray(lower, np.float32), np.asarray(upper, np.float32), index, index, most=MOST_CELLS
    )
    quads, _ = surface(low, high, mine, its, lattice.cell * fold, lattice.origin, is_lined=True)
    middle = quads.mean(axis=1)
    inside = Lattice(lattice.origin, lattice.cell * fold, low.shape[1], low.shape[0])
    # The class of the column that a face belongs to; a wall lies between two, of which one may be empty.
    classes = ndimage.maximum_filter(its, 3)[inside.cell_at(middle[:, 0], middle[:, 1])]
    own = its[inside.cell_at(middle[:, 0], middle[:, 1])]
    classes = np.where(own > colours.WITHIN, own, classes)
    return Surface(quads, colours.class_rgb()[np.maximum(classes, colours.WITHIN + 1)], TRUE)


def _widened(height: np.ndarray, index: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Widen what is thinner than three cells to three; return heights and classes."""
    is_thin = (height > 0) & ~ndimage.binary_opening(height > 0, np.ones((3, 3)))
    wide = np.maximum(height, ndimage.maximum_filter(np.where(is_thin, height, 0.0), 3))
    spread = ndimage.maximum_filter(np.where(is_thin, index, colours.NO_TARGET), 3)
    return wide, np.where(height > 0, index, spread).astype(np.int8)


def _halves(evidence: Evidence, field: Field, is_part: np.ndarray) -> list[Surface]:
    """Return the part as its upper half, cut from side 1, and its lower half, parted at the seam's level."""
    seam, lattice = evidence.seam, field.lattice
    near = max(1, round(NEAR_PART / lattice.cell))
    kept = field.is_solid & ndimage.binary_dilation(is_part, np.ones((3, 3)), iterations=near)
    ends = (np.where(kept, end, 0.0).astype(np.float32) for end in (field.lower, field.upper))
    index = np.full(lattice.shape, colours.WITHIN, np.int8)
    low, high, *_, fold = pooled(*ends, index, index, most=MOST_CELLS)
    lattice = Lattice(lattice.origin, lattice.cell * fold, low.shape[1], low.shape[0])
    iy, ix = np.nonzero(high > low)
    places = np.column_stack(lattice.centre_of(iy, ix))
    level = np.zeros(lattice.shape, np.float32)
    level[iy, ix] = seam.level[cKDTree(seam.stations).query(places)[1]]
    made = []
    for lower, upper, colour in (
        (np.maximum(low, level), high, SIDE_1),
        (low, np.minimum(high, level), SIDE_2),
    ):
        is_there = (high > low) & (upper > lower)
        if is_there.any():
            ends = [np.where(is_there, end, 0.0) for end in (lower, upper)]
            made.append(_surface(lattice, *ends, colour, LIT))
    return made


def _seam_runs(seam, limit: float) -> list[np.ndarray]:
    """Return stations that follow one another and have one shade, each with the next one, as index arrays."""
    from simkit.report.seam_view import neighbours

    runs: list[list[int]] = []
    for first, last in neighbours(seam):
        shade = shade_of(float(seam.offset[first]), limit)
        if runs and runs[-1][-1] == first and shade_of(float(seam.offset[runs[-1][0]]), limit) == shade:
            runs[-1].append(last)
        else:
            runs.append([first, last])
    return [np.array(run) for run in runs]


def _mark(row: dict[str, Any]) -> Mark:
    return Mark(tuple(float(value) for value in row["at"]), row["number"], row["severity"] in MUST)


def _marks(rows, side: int) -> tuple[Mark, ...]:
    return tuple(_mark(row) for row in rows[:MOST_MARKS] if row["side"] == side and row["at"] is not None)


def listed(rows, lengths: Lengths) -> list[tuple[int, bool, str]]:
    """Return (number, is_must, words) of the first findings, as a Scene lists them."""
    chosen = rows[:MOST_MARKS]
    return [(row["number"], row["severity"] in MUST, finding_words(row, lengths)) for row in chosen]
