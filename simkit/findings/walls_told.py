"""What is told of a thin wall beside its thickness: who made its two faces, and how thick it was when."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simkit.compare.standing import stage_ends
from simkit.compare.thin_spots import ThinSpot
from simkit.compare.wall_moments import Across, across_walls, thin_since
from simkit.compare.walls import NO_FACE, UPPER_FACE
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Face, Moment
from simkit.findings.made import step_name
from simkit.stock.field import UNCUT
from simkit.stock.steps import columns_after

REACH = 2.0  # of the limit: so far to either side of its middle wood is followed
RINGS, BESIDE = 10, 16  # places asked about one, out to a cell: so many circles of so many each
LEVEL = 0.001  # mm: so near the height of an uncut face a place lies on it
ALIKE = 0.1  # mm: where wood goes farther than the wall does, more of it is left there than the part has


def faces_of(evidence: Evidence, spot: ThinSpot) -> tuple[tuple[Face, Face], tuple[str, str]]:
    """Return the two faces of a wall, in the order in which they were made, and the steps that made them.

    Of steps the names, "" where none made the face.
    """
    faces = []
    for row, whose, at in zip(
        spot.rows, (spot.near_face, spot.contact_face), (spot.near, spot.contact), strict=True
    ):
        side = None if whose == NO_FACE else 1 if whose == UPPER_FACE else 2
        number = None
        if row < 0 and side is not None:
            row = _cut_beside(evidence, side, at)
        if row < 0 and side is not None and evidence.job.steps:
            number = shape.step_at(evidence, side, at)
        setup = shape.setup_of_side(evidence, side, row) if side is not None else None
        source = dict(evidence.source_of(row) if number is None else shape.source_at(evidence, side, at, row))
        if row < 0 and number is None:
            setup = None
        order = row if number is None else _row_before_step(evidence, number)
        name = "" if number is None else step_name(evidence.job, number)
        source.pop("column", None)  # a face is known by its line
        faces.append((order, Face(side=side, **evidence.place_of(at, setup), **source), name))
    _, told, names = zip(*sorted(faces, key=lambda one: one[0]), strict=True)
    return told, names


def _cut_beside(evidence: Evidence, side: int, at) -> int:
    """Return the row of the move that made the air beside a place of a side, within a cell, UNCUT for none.

    Between an uncut top and the foot of a wall a place on the wall may count to the column of the top.
    """
    cell = evidence.field.lattice.cell
    angle = np.linspace(0.0, 2.0 * np.pi, BESIDE, endpoint=False)
    radius = cell * np.arange(RINGS + 1)[:, None] / RINGS
    x, y = at[0] + radius * np.cos(angle), at[1] + radius * np.sin(angle)
    lower, upper, row_lower, row_upper = evidence.heights(np.column_stack([x.ravel(), y.ravel()]))
    out = upper - at[2] if side == 1 else at[2] - lower  # of the wood, over the place
    row = row_upper if side == 1 else row_lower
    is_uncut = row < 0
    # On the uncut face itself nothing else made it.
    if is_uncut.any() and out[is_uncut].min() <= LEVEL:
        return UNCUT
    made = np.flatnonzero(~is_uncut & (out < 0))
    return int(row[made[0]]) if len(made) else UNCUT


def _row_before_step(evidence: Evidence, number: int) -> float:
    """Return a number between the row before a step and the row after it."""
    return evidence.rows[evidence.job.steps[number].after].stop - 0.5


def faces_words(faces: Sequence[Face], names: Sequence[str]) -> str:
    """Return both faces and who made them, in words; names: of the steps that made them, "" for none."""
    parts = []
    for face, name in zip(faces, names, strict=True):
        if face.side is None:
            parts.append("the edge of the blank")
        elif name:
            parts.append(f"side {face.side} is as the {name} left it")
        elif face.line is None:
            parts.append(f"side {face.side} not cut")
        else:
            parts.append(f"side {face.side} cut by {face.file}:{face.line}")
    return "; faces: " + ", ".join(parts)


def moments_of(evidence: Evidence, spots: Sequence[ThinSpot]) -> list[tuple[Moment, ...]]:
    """Return how thick walls were after each run of a cutter, and at the end, in the order of the work.

    Nothing of a wall on which leftover stands: the walls that are judged have none of it.
    """
    ends = [row - 1 for row in stage_ends(evidence.moves.tool, evidence.rows)]
    if not ends or not spots:
        return [() for _ in spots]
    when = [(row, False) for row in ends] + [(ends[-1], True)] * bool(evidence.done[-1])
    near, contact = ([getattr(spot, name) for spot in spots] for name in ("near", "contact"))
    reach = REACH * evidence.job.limits.thinnest_wall
    found = across_walls(
        lambda points, moment: _heights(evidence, points, moment), near, contact, when, reach
    )
    told = []
    for spot, row in zip(spots, found, strict=True):
        is_bare = row[-1].thickness <= spot.thickness + spot.bound + row[-1].bound + ALIKE
        told.append(
            tuple(_moment(evidence, moment, one) for moment, one in zip(when, row, strict=True))
            if is_bare
            else ()
        )
    return told


def _heights(
    evidence: Evidence, points: np.ndarray, moment: tuple[int, bool]
) -> tuple[np.ndarray, np.ndarray]:
    """Return lower and upper (n,) mm at points (n, 2) after a move, and the steps after its setup or not."""
    last_row, has_steps = moment
    setup = int(evidence.moves.setup[last_row])
    rows = [*evidence.rows[:setup], slice(evidence.rows[setup].start, last_row + 1)]
    done = [*evidence.done[:setup], evidence.done[setup] if has_steps else []]
    left = columns_after(points, evidence.job, evidence.moves, rows, evidence.frames[: setup + 1], done)
    return left.lower, left.upper


def _moment(evidence: Evidence, when: tuple[int, bool], one: Across) -> Moment:
    return Moment(
        has_steps=when[1],
        thickness=one.thickness,
        bound=one.bound,
        is_least=one.is_least,
        **evidence.source_of(when[0]),
    )


def run_words(cutter: str, setup: str, file: str, line: int) -> str:
    """Return words for the moment at which a cutter has run in a setup: with its last move, in that line."""
    return f"{cutter} has run in '{setup}' ({file}:{line})"


def since_words(moments: Sequence[Moment], limit: float) -> str:
    """Return since when a wall is so thin, and how thick before, in words; "" where nothing is to tell."""
    if len(moments) < 2 or not moments[-1].thickness:
        return ""
    first = thin_since(moments, limit)
    one = moments[first]
    if one.has_steps:  # a step made it so thin, and is named as what made its face
        return ""
    follows = sum(not later.has_steps for later in moments[first + 1 :])
    words = f"; that thin once {run_words(one.cutter, one.setup, one.file, one.line)}"
    if first:
        before = moments[first - 1]
        least = "at least " if before.is_least else ""
        words += f"; before that it was {least}{before.thickness:.1f} mm"
    if follows:
        runs = "1 more run of a cutter follows" if follows == 1 else f"{follows} more runs of cutters follow"
        words += f"; {runs} while it is {one.thickness:.2f} mm"
    return words
