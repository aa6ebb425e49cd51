"""Clamps, stops and pins: everything that stands beside the wood and must not be touched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.job.model import Fixture
from simkit.machine.fixture_field import fixture_field, path_distance
from simkit.moves.chords import chords_of
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.field import Field
from simkit.stock.replay import Replay, replay

EQUAL = 1e-3  # mm: places are written so; nearer by less than this is at the clearance
SAGITTA = 1e-4  # mm: of the chords that stand for arcs


@dataclass(frozen=True)
class FixtureContact:
    """The moves that come too near a fixture with one part of the cutter, and the worst of them.

    fixture: its name.  part: "cutting part", "neck", "shank" or "holder".  rows: all of them, in order.
    row: the one that goes deepest, the first on ties; depth mm: how far into the fixture grown by the
    clearance, at (3,) mm, table frame.  clearance mm: by how much it was grown there.
    """

    fixture: str
    part: str
    rows: np.ndarray
    row: int
    depth: float
    at: tuple[float, float, float]
    clearance: float


def fixture_contacts(
    moves: Moves,
    one: slice,
    to_table: Frame,
    cutters: Mapping[int, Cutter],
    fixtures: Sequence[Fixture],
    clearance: float,
    cell: float,
    meshes: Mapping[str, np.ndarray] | None = None,
) -> list[FixtureContact]:
    """Return what the moves of one setup run into, one entry for each fixture and part of the cutter.

    to_table: program frame -> table frame.  clearance mm: to be kept all round; what keeps it to EQUAL is no
    contact.  cell mm: of the columns that the fixtures are taken as (solid down to the table).  meshes: by
    the name of a fixture, its triangles (m, 3, 3) mm, table frame.
    Each fixture is replayed as if it were wood; a place that was touched once is not told again.  The
    clearance is added to the outline and the top of the fixture, so near an upper edge it is kept square,
    up to 1.42 times.  Nothing nearer than that is missed, of parts wider than 1.5 cells.  Error the other
    way: moves that keep the clearance from a box or a cylinder with the widest place of a part are never
    told; else a contact may be told up to 1.42 cells too early, 3 for a mesh.  For one that bridges over
    (`bottom`) see `_under_a_bridge`.
    """
    found = []
    part = moves[one]
    for fixture in fixtures:
        away = _away(part, fixture, to_table, cutters, clearance)
        kinds = parts_of(part, cutters)
        close = {name: away < radius + clearance - EQUAL for name, radius in kinds.items()}
        close = {name: rows for name, rows in close.items() if rows.any()}
        if not close:
            continue
        field = fixture_field(fixture, clearance, cell, (meshes or {}).get(fixture.name))
        if fixture.bottom > 0:
            for name in close:
                rows, met = _under_a_bridge(part, name, fixture.bottom - clearance, to_table, cutters, field)
                is_close = close[name][rows]
                told = _contact(fixture.name, name, one.start, rows, met.depth, met.at, is_close, clearance)
                found += [told] if told is not None else []
            continue
        found += contacts_with(field, fixture.name, part, one.start, close, cutters, to_table, clearance)
    return found


def contacts_with(
    field: Field,
    name: str,
    moves: Moves,
    first: int,
    close: Mapping[str, np.ndarray],
    cutters: Mapping[int, Cutter],
    to_table: Frame,
    clearance: float,
) -> list[FixtureContact]:
    """Return what moves run into of the columns of something, one entry for each part of the cutter.

    field: its columns grown by the clearance, table frame.  first: row of the first move among the job's.
    close: by part of the cutter, which moves (n,) bring it near.
    """
    found: list[FixtureContact] = []
    if not close:
        return found
    any_part = np.flatnonzero(np.logical_or.reduce(list(close.values())))
    runs: dict[bytes, Replay] = {}
    for part, is_close in close.items():
        # The cutting part takes away what it meets: what only another part comes near must not do so.
        rows = np.flatnonzero(is_close) if part == "cutting part" else any_part
        key = rows.tobytes()
        if key not in runs:
            runs[key] = replay(field, moves[rows], cutters, to_table)
        met = runs[key]
        if part == "cutting part":
            depth, at = met.depth, met.at
        elif part in met.rub_depth:
            depth, at = met.rub_depth[part], met.rub_at[part]
        else:
            continue
        told = _contact(name, part, first, rows, depth, at, is_close[rows], clearance)
        found += [told] if told is not None else []
    return found


def parts_of(moves: Moves, cutters: Mapping[int, Cutter]) -> dict[str, np.ndarray]:
    """Return for each part of a cutter its widest place with each move (n,) mm, -inf where it has none."""
    names = {cone.part for cutter in cutters.values() for cone in cutter.stack}
    return {"cutting part": _radius_of(moves, cutters, "")} | {
        name: _radius_of(moves, cutters, name) for name in sorted(names)
    }


def _contact(
    fixture: str, part: str, first: int, rows, depth, at, is_close, clearance: float
) -> FixtureContact | None:
    """Return the contact of some moves, None for none; depth, at, is_close: of each of `rows`."""
    hit = np.flatnonzero((depth > EQUAL) & is_close)
    if not len(hit):
        return None
    worst = hit[np.argmax(depth[hit])]
    return FixtureContact(
        fixture,
        part,
        first + np.unique(rows[hit]),
        first + int(rows[worst]),
        float(depth[worst]),
        tuple(float(v) for v in at[worst]),
        clearance,
    )


def _under_a_bridge(moves: Moves, part: str, bottom: float, to_table: Frame, cutters, field):
    """Return chords of moves (k,) as rows, and their replay over a fixture that begins at `bottom` mm.

    A part of a cutter is taken as a cylinder of its widest place, from its lowest to its highest place; the
    edges reach as high as they are long, or without end where that is not stated, a holder without end.  A
    chord on which all of it stays below `bottom` passes under the fixture.
    """
    straight, of = chords_of(moves, SAGITTA)
    lift, high = np.full(len(moves), np.nan), np.full(len(moves), -np.inf)
    pseudo = {}
    for number in np.unique(moves.tool):
        cutter = cutters[int(number)]
        cones = [cone for cone in cutter.stack if cone.part == part]
        if part == "cutting part":
            low, top, radius = 0.0, cutter.cutting_length or np.inf, cutter.radius
        elif cones:
            low, top = min(cone.low for cone in cones), max(cone.high for cone in cones)
            radius = max(max(cone.low_radius, cone.high_radius) for cone in cones)
        else:
            continue
        if part == "holder":
            top = np.inf
        shape = "flat" if part != "cutting part" else cutter.shape
        pseudo[int(number)] = cutter if shape != "flat" else Cutter(int(number), "flat", 2.0 * radius)
        lift[moves.tool == number], high[moves.tool == number] = low, top
    rise = to_table.matrix[2, 2]
    ends = [rise * place[:, 2] + to_table.offset[2] for place in (straight.start, straight.end)]
    kept = np.flatnonzero(np.isfinite(lift[of]) & (np.maximum(*ends) + high[of] > bottom + EQUAL))
    of, straight = of[kept], straight[kept]
    start, end = straight.start.copy(), straight.end.copy()
    start[:, 2] += rise * lift[of]
    end[:, 2] += rise * lift[of]
    return of, replay(field, replace(straight, start=start, end=end), pseudo, to_table)


def _away(moves: Moves, fixture: Fixture, to_table: Frame, cutters, clearance: float) -> np.ndarray:
    """Return how far each move (n,) stays from a fixture in plan, mm; +inf where it is clearly far off."""
    away = np.full(len(moves), np.inf)
    x0, x1, y0, y1 = fixture.box_in_plan
    reach = max(widest(cutter) for cutter in cutters.values()) + clearance
    seen = moves.in_frame(to_table)
    lowest, highest = (places[:, :2] for places in extremes(seen))
    is_near = ((lowest - reach <= (x1, y1)) & (highest + reach >= (x0, y0))).all(axis=1)
    rows = np.flatnonzero(is_near)
    if len(rows):
        straight, of = chords_of(seen[rows], SAGITTA)
        np.minimum.at(
            away, rows[of], path_distance(fixture, straight.start[:, :2], straight.end[:, :2]) - SAGITTA
        )
    return away


def _radius_of(moves: Moves, cutters: Mapping[int, Cutter], part: str) -> np.ndarray:
    """Return the widest place of a part of each move's cutter (n,) mm, "" the cutting part; -inf for none."""
    radius = np.full(len(moves), -np.inf)
    for number in np.unique(moves.tool):
        cutter = cutters[int(number)]
        wide = [max(cone.low_radius, cone.high_radius) for cone in cutter.stack if cone.part == part]
        radius[moves.tool == number] = cutter.radius if not part else max(wide, default=-np.inf)
    return radius


def widest(cutter: Cutter) -> float:
    """Return the largest radius of a cutter and all that is above it, mm."""
    return max([cutter.radius, *(max(cone.low_radius, cone.high_radius) for cone in cutter.stack)])
