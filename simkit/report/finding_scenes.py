"""The 3-D picture at a finding: the part as it ends where its shape is off, else the cutter as it gets there.

NumPy only: nothing is drawn here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from scipy import ndimage

from simkit.findings.evidence import Evidence
from simkit.frames import Frame
from simkit.moves.chords import places_on
from simkit.moves.table import join_moves
from simkit.report import colours
from simkit.report.eyes import best_eyes
from simkit.report.lengths import Lengths
from simkit.report.map_parts import MUST
from simkit.report.outer_steps import outer_classes, target_columns
from simkit.report.pictures import in_steps_of_zones
from simkit.report.pooled import pooled, pooled_target
from simkit.report.scene_file import LIT, PALE, TRUE, Key, Line, Look, Mark, Scene, Surface
from simkit.report.scenes import LOW_DOWN, MOST_CELLS, WOOD, listed, with_resin, wood_surface
from simkit.report.solid_mesh import HOLDS, RESIN, coloured, surface
from simkit.report.standing_things import cutter_surfaces, fixture_surfaces
from simkit.stock.cut import cut
from simkit.stock.field import Field, Lattice

MOST_SHOWN = 4  # findings with a picture of their own: each costs a cut up to its line
PATH = "#01665e"  # dark teal of ColorBrewer's BrBG, as in the film
TABLE, CUT_OPEN = "#f7f6f2", "#b9ae9b"
CONTACTS = ("fixture-contact", "holder-contact", "shank-contact", "rapid-contact", "table-contact")
IN_WOOD = CONTACTS[1:]  # hidden by the wood: shown with the wood before the cutter taken away
SHAPES = (
    "leftover-cutter", "leftover-program", "hidden", "gouge", "break-through", "thin-wall", "fragile", "cusp",
    "witness-step",
)  # fmt: skip
LEFT = ("leftover-cutter", "leftover-program", "hidden", "cusp")  # of these, what stands too high
DEEP = ("gouge", "break-through")
ROUND = 0.9  # of a close-up's width that is shown round its middle, and more than fits into it
FEWEST, MOST_WIDE = 40.0, 90.0  # mm across a close-up


def finding_scenes(evidence: Evidence, result: dict[str, Any]) -> dict[int, Scene]:
    """Return finding_scene of the first finding of each cause, by number; contacts first, MOST_SHOWN."""
    chosen = _chosen(evidence, result)[:MOST_SHOWN]
    return {row["number"]: _finding_scene(evidence, result, row, move) for row, move in chosen}


def finding_scene(evidence: Evidence, result: dict[str, Any]) -> Scene | None:
    """Return the Scene of the first contact of the findings, else of the first that must be put right.

    It has a place and a line of a program; None where there is none.  All of it lies as on the table in that
    setup.
    """
    scenes = [_finding_scene(evidence, result, row, move) for row, move in _chosen(evidence, result)[:1]]
    return scenes[0] if scenes else None


def _finding_scene(evidence: Evidence, result: dict[str, Any], row: dict[str, Any], move: int) -> Scene:
    if row["kind"] in SHAPES and row["at"] is not None and evidence.deviations:
        return _ends_scene(evidence, result, row, move)
    return _moment_scene(evidence, row, move)


def _ends_scene(evidence: Evidence, result: dict[str, Any], row: dict[str, Any], move: int) -> Scene:
    """Return the Scene of the part as it ends, coloured as far as it is off, round the place of a finding."""
    job, field, lengths = evidence.job, evidence.field, Lengths(evidence.job.unit)
    setup = job.setups[int(evidence.moves.setup[move])]
    lie = setup.lie(job.blank).inverse()
    at = np.array(row["at"], float)
    index = _classes(evidence, result["findings"])
    spot = _spot(evidence, index, row)
    across = float(np.clip(1.6 * _reach(field.lattice, spot, at), FEWEST, MOST_WIDE))
    region = _region(field.lattice, at, ROUND * across)
    surfaces = []
    for part in (None, region):
        surfaces.append(_coloured_part(evidence, index, result["findings"], part))
    looks_at = [
        [sum(map(len, surfaces[:k])) + n for n in range(len(surfaces[k]))] for k in range(len(surfaces))
    ]
    made = [_laid(one, lie) for part in surfaces for one in part]
    mark = lie.apply(at)
    marks = (Mark(tuple(map(float, mark)), row["number"], row["severity"] in MUST, True),)
    places = _places(evidence, spot, row)
    own = np.zeros_like(spot)
    own[field.lattice.cell_at(*at[:2])] = True
    marked = _places(evidence, own, row)
    whole, first, second = best_eyes(field, setup.lie(job.blank), places, mark=marked)
    near = {"about": tuple(map(float, mark)), "size": (across, 0.75 * across), "surfaces": tuple(looks_at[1])}
    where = f"{row['file']}, line {row['line']}"
    return Scene(
        f"{job.name or 'part'}: finding {row['number']}, as the part ends",
        lengths.text(f"{where}, in '{setup.name}': {row['message']}."),
        made,
        [],
        [
            Look(
                f"The part as it ends, seen {_from(whole)}", whole, marks=marks, surfaces=tuple(looks_at[0])
            ),
            Look(f"Close to, seen {_from(first)}", first, marks=marks, **near),
            Look(f"The same, seen {_from(second)}", second, marks=marks, **near),
        ],
        _keys(evidence, made, lengths),
        listed([row], lengths),
        "The part after all programs, coloured as far as it is off; looked at from where the place shows. "
        f"Walls are lines between columns {lengths.sizes(field.lattice.cell)} wide.",
        job.unit,
    )  # fmt: skip


def _classes(evidence: Evidence, rows) -> list[np.ndarray]:
    """Return the classes below and above of each cell, (ny, nx) int8, as the other pictures colour them."""
    limits = (evidence.job.limits.gouge, evidence.job.limits.leftover)
    nothing = np.full(evidence.field.lattice.shape, np.nan, np.float32)
    shown = {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}
    index = [colours.class_index(shown.get(side, nothing), limits) for side in (2, 1)]
    stands_out = outer_classes(evidence, rows)
    return index if stands_out is None else [colours.worse(one, stands_out) for one in index]


def _coloured_part(evidence: Evidence, index, rows, region) -> list[Surface]:
    """Return the part as cut in its classes, blank frame; region: slices of the cells shown, None: all."""
    field = evidence.field
    region = region or (slice(None), slice(None))
    lattice = _lattice_of(field.lattice, region)
    ends = (field.lower[region], field.upper[region])
    index = [one[region] for one in index]
    low, high, below, above, fold = pooled(*ends, *index, most=MOST_CELLS, is_even=True)
    below, above = below.copy(), above.copy()
    wanted, stands_out = target_columns(evidence), outer_classes(evidence, rows)
    if wanted is not None:
        stands_out = None if stands_out is None else stands_out[region]
        wanted = pooled_target(tuple(end[region] for end in wanted), stands_out, fold)
    with_resin(_part_of(field, region), below, above, fold)
    cell = lattice.cell * fold
    quads, classes = surface(low, high, below, above, cell, lattice.origin, wanted, is_lined=True)
    faces = coloured(quads, classes, float(np.ptp(quads[..., :2], axis=(0, 1)).max()), cell)
    is_plain = (classes == colours.WITHIN) | (classes == RESIN)
    is_off = ~is_plain & (classes != HOLDS)
    parts = ((is_plain, LIT, False), (classes == HOLDS, PALE, False), (is_off, TRUE, True))
    return [Surface(quads[one], faces[one], light, off) for one, light, off in parts if one.any()]


def _keys(evidence: Evidence, surfaces: list[Surface], lengths: Lengths) -> list[Key]:
    """Return the legend of what is off, as far as it is in the picture."""
    shown = {tuple(one) for part in surfaces for one in np.unique(part.colours, axis=0).tolist()}
    limits = evidence.job.limits
    keys = [Key("within limits", colours.CLASSES[colours.WITHIN])]
    for sense, limit, words in ((1, limits.leftover, colours.PROUD), (-1, limits.gouge, colours.TOO_DEEP)):
        edges = colours.steps(limit)
        for number, edge in enumerate(edges):
            at = colours.WITHIN + sense * (number + 1)
            if colours.rgb(colours.CLASSES[at]) not in shown:
                continue
            last = number + 1 == len(edges)
            text = (
                f"over {lengths.told(edge)}"
                if last
                else f"{lengths.figure(edge)} to {lengths.told(edges[number + 1])}"
            )
            hatch = colours.STRIPES[at] if sense < 0 else ""
            keys.append(Key(f"{text} {words}", colours.CLASSES[at], hatch=hatch))
    if colours.rgb(colours.RESIN) in shown:
        keys.append(Key("resin; dotted where it is off", colours.RESIN))
    if colours.rgb(colours.HOLDING) in shown:
        keys.append(Key("wood outside the part", colours.HOLDING))
    return keys


def _spot(evidence: Evidence, index, row: dict[str, Any]) -> np.ndarray:
    """Return the cells (ny, nx) bool that are off like a finding and hang together with its place."""
    lattice = evidence.field.lattice
    mine = index[0] if row["side"] == 2 else index[1]
    is_off = mine > colours.WITHIN
    if row["kind"] not in LEFT:
        is_off = (mine >= 0) & (mine < colours.WITHIN)
    iy, ix = lattice.cell_at(*row["at"][:2])
    if row["kind"] not in (*LEFT, *DEEP):  # of its place alone: what is off about it may be all of a side
        near = np.zeros(lattice.shape, bool)
        near[_region(lattice, np.array(row["at"], float), FEWEST / 4)] = True
        is_off &= near
    label, _ = ndimage.label(is_off, np.ones((3, 3)))
    near = label[max(iy - 3, 0) : iy + 4, max(ix - 3, 0) : ix + 4]
    found = np.unique(near[near > 0])
    spot = np.isin(label, found) if len(found) else np.zeros(lattice.shape, bool)
    spot[iy, ix] = True
    return spot


def _reach(lattice: Lattice, spot: np.ndarray, at: np.ndarray) -> float:
    """Return how far across a spot is from its place, mm, both ways."""
    x, y = lattice.centre_of(*np.nonzero(spot))
    return 2 * float(np.maximum(np.abs(x - at[0]), np.abs(y - at[1])).max())


def _places(evidence: Evidence, spot: np.ndarray, row: dict[str, Any], most: int = 150) -> np.ndarray:
    """Return places (n, 3) mm of the surface of a spot, blank frame, and where it looks to (n, 3)."""
    field = evidence.field
    sense, level = (-1, field.lower) if row["side"] == 2 else (1, field.upper)
    iy, ix = np.nonzero(spot)
    chosen = np.linspace(0, len(iy) - 1, min(most, len(iy))).astype(int)
    iy, ix = iy[chosen], ix[chosen]
    x, y = field.lattice.centre_of(iy, ix)
    slope = []
    for axis, at, size in ((1, ix, field.lattice.nx), (0, iy, field.lattice.ny)):
        ends = []
        for step in (2, -2):
            beside = np.clip(at + step, 0, size - 1)
            ends.append(level[iy, beside] if axis == 1 else level[beside, ix])
        slope.append((ends[0] - ends[1]) / (4 * field.lattice.cell))
    normal = sense * np.stack([-slope[0], -slope[1], np.ones(len(x))], axis=1)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return np.stack([np.stack([x, y, level[iy, ix]], axis=1), normal])


def _moment_scene(evidence: Evidence, row: dict[str, Any], move: int) -> Scene:
    """Return the Scene of wood, clamps and cutter when the cutter comes to the place of a finding."""
    job, moves, lengths = evidence.job, evidence.moves, Lengths(evidence.job.unit)
    number = int(moves.setup[move])
    setup, cutter = job.setups[number], job.cutters[int(moves.tool[move])]
    to_table, lie = setup.to_table(job.blank), setup.lie(job.blank).inverse()
    parts = np.linspace(0, 1, 241)
    way = to_table.apply(places_on(moves, np.full(len(parts), move), parts))
    mark = None if row["at"] is None else lie.apply(np.array(row["at"], float))
    part = 1.0 if mark is None else _comes_to(way, mark, parts)
    at = to_table.apply(places_on(moves, np.array([move]), np.array([part])))[0]
    wood = _wood_at(evidence, number, move, part)
    surfaces = [_laid(wood_surface(wood, WOOD), lie)]
    keys = [Key("the wood at that moment", WOOD)]
    if wood.wood_upper is not None:
        keys.append(Key("resin", colours.RESIN))
    standing = [fixture for fixture in job.fixtures if fixture.stands_in(setup)]
    clamps, names = fixture_surfaces(standing, evidence.meshes)
    tool, tool_names = cutter_surfaces(cutter, at)
    things = [replace(one, is_thing=True) for one in (*clamps, *tool)]
    surfaces += things
    keys += names + tool_names
    lines = [Line(way, PATH, 5.0, True)] if np.ptp(way, axis=0).max() > 0.01 else []
    keys += [Key(f"way of the tip in line {row['line']}", PATH, True)] if lines else []
    surfaces.append(_table_under(surfaces))
    marks = ()
    if mark is not None:
        marks = (Mark(tuple(map(float, mark)), row["number"], row["severity"] in MUST, True),)
    across = max(10 * cutter.radius, FEWEST)
    middle = at if mark is None else np.array((*at[:2], (at[2] + max(mark[2], at[2])) / 2))
    near = {"about": tuple(map(float, middle)), "size": (across, 0.75 * across)}
    boxes = [(one.faces.min(axis=(0, 1)), one.faces.max(axis=(0, 1))) for one in clamps]
    ring = _round_the_tip(at, cutter.radius, middle[2] - at[2])
    _, *eyes = best_eyes(wood, setup.lie(job.blank), ring, boxes, lie)
    looks = [Look("On the table, as the operator sees it from the front", (*LOW_DOWN[:2], 0.75), marks=marks)]
    if row["kind"] in IN_WOOD:
        reach = 1.2 * across
        opened = _cut_open(wood, lie, at, reach)
        if opened:
            first = len(surfaces)
            surfaces += opened
            keys.append(Key("the wood cut open at the cutter", CUT_OPEN))
            shown = (*range(first, len(surfaces)), *range(1, 1 + len(things)))
            looks.append(
                Look(
                    "Close to, the wood before the cutter taken away",
                    (-0.3, -1.0, 0.42), marks=marks, surfaces=shown, **near,
                )
            )  # fmt: skip
            eyes = eyes[:1]
    whole = tuple(range(2 + len(things)))
    looks[0] = replace(looks[0], surfaces=whole)
    for eye in eyes:
        looks.append(Look(f"Close to, seen {_from(eye)}", eye, marks=marks, surfaces=whole, **near))
    where = f"{row['file']}, line {row['line']}"
    return Scene(
        f"{job.name or 'part'}: cutter and wood at finding {row['number']}",
        lengths.text(f"{where}, {cutter}, in '{setup.name}': {row['message']}."),
        surfaces,
        lines,
        looks,
        keys,
        listed([row], lengths),
        "The wood is shown as it stands when the tip is there"
        + ("; the way of the tip also where wood hides it." if lines else "."),
        job.unit,
    )


def _comes_to(way: np.ndarray, mark: np.ndarray, parts: np.ndarray) -> float:
    """Return the part of a move after which its tip is nearest to a place: in plan where it goes along."""
    axes = slice(0, 2) if np.ptp(way[:, :2], axis=0).max() > 0.1 else slice(0, 3)
    return float(parts[np.argmin(np.linalg.norm((way - mark)[:, axes], axis=1))])


def _round_the_tip(at: np.ndarray, radius: float, more: float) -> np.ndarray:
    """Return places (2, n, 3) round a cutter near its tip, mm, table frame, and where they look to."""
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    away = np.stack([np.cos(angle), np.sin(angle), np.zeros(24)], axis=1)
    heights = np.array([0.3, 2.0, 5.0, 9.0]) + max(more, 0.0)
    places = at + 1.1 * radius * away[None] + heights[:, None, None] * np.array((0.0, 0.0, 1.0))
    return np.stack([places.reshape(-1, 3), np.tile(away, (len(heights), 1))])


def _cut_open(wood: Field, lie: Frame, at: np.ndarray, reach: float) -> list[Surface]:
    """Return the wood round a tip (table frame), without what lies before it, its cut face in CUT_OPEN."""
    place = lie.inverse().apply(np.asarray(at, float))
    region = _region(wood.lattice, place, reach)
    part = _part_of(wood, region)
    x, y = np.meshgrid(part.lattice.x(), part.lattice.y())
    behind = lie.apply(np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1))[:, 1].reshape(x.shape)
    is_kept = behind > at[1]
    if not (is_kept & part.is_solid).any():
        return []
    low, high = (np.where(is_kept, end, np.float32(0)) for end in (part.lower, part.upper))
    made = _laid(wood_surface(replace(part, lower=low, upper=high), WOOD), lie)
    plane = behind[is_kept].min() - wood.lattice.cell / 2
    is_cut = (np.abs(made.faces[..., 1] - plane) < 0.6 * wood.lattice.cell).all(axis=1)
    tone = made.colours.copy()
    is_wood = (tone == colours.rgb(WOOD)).all(axis=1)
    tone[is_cut & is_wood] = colours.rgb(CUT_OPEN)
    return [Surface(made.faces, tone, TRUE)]


def _table_under(surfaces: list[Surface]) -> Surface:
    low, high = (
        np.array([getattr(one.faces, end)(axis=(0, 1)) for one in surfaces]) for end in ("min", "max")
    )
    (x0, y0), (x1, y1) = low[:, :2].min(axis=0) - 8, high[:, :2].max(axis=0) + 8
    table = np.array([[(x0, y0, -0.05), (x1, y0, -0.05), (x1, y1, -0.05), (x0, y1, -0.05)]], np.float32)
    return Surface(table, np.array([colours.rgb(TABLE)], np.uint8), PALE)


def _from(eye) -> str:
    """Return from where an eye looks, in words."""
    words = [word for value, word in ((-eye[1], "the front"), (eye[1], "behind")) if value > 0.35]
    words += [word for value, word in ((-eye[0], "the left"), (eye[0], "the right")) if value > 0.35]
    steep = eye[2] / max(float(np.hypot(eye[0], eye[1])), 1e-9)
    return " and ".join(f"from {word}" for word in words) + (", from above" if steep > 1 else "")


def _laid(one: Surface, lie: Frame) -> Surface:
    return replace(one, faces=lie.apply(one.faces).astype(np.float32))


def _region(lattice: Lattice, at: np.ndarray, reach: float) -> tuple[slice, slice]:
    """Return the cells within `reach` mm of a place, as slices."""
    iy, ix = (int(one) for one in lattice.cell_at(at[0], at[1]))
    cells = int(np.ceil(reach / lattice.cell))
    return tuple(
        slice(max(one - cells, 0), min(one + cells + 1, size))
        for one, size in ((iy, lattice.ny), (ix, lattice.nx))
    )


def _lattice_of(lattice: Lattice, region: tuple[slice, slice]) -> Lattice:
    rows, columns = (part.indices(size) for part, size in zip(region, lattice.shape, strict=True))
    return lattice.window(rows[0], rows[1], columns[0], columns[1])


def _part_of(field: Field, region: tuple[slice, slice]) -> Field:
    """Return a window of a field."""
    names = ("lower", "upper", "lower_move", "upper_move", "wood_lower", "wood_upper")
    arrays = {name: getattr(field, name) for name in names}
    arrays = {name: one if one is None else one[region] for name, one in arrays.items()}
    return replace(field, lattice=_lattice_of(field.lattice, region), **arrays)


def _chosen(evidence: Evidence, result: dict[str, Any]) -> list[tuple[dict[str, Any], int]]:
    """Return the findings to show, one of each cause, each with the row of the move it names."""
    chosen: dict[int, tuple[dict[str, Any], int]] = {}
    rows = sorted(result["findings"], key=lambda row: row["kind"] not in CONTACTS)
    for row in rows:
        if row["severity"] in MUST and row["cause"] not in chosen:
            move = move_of(evidence, row)
            if move is not None:
                chosen[row["cause"]] = (row, move)
    return list(chosen.values())


def move_of(evidence: Evidence, row: dict[str, Any]) -> int | None:
    """Return the move that a finding names, as a row of the job's table; None where it names none.

    Of several moves of its line: the one that comes nearest to its place.
    """
    moves = evidence.moves
    if row["line"] is None or row["file"] not in moves.programs:
        return None
    program = [number for number, name in enumerate(moves.programs) if name == row["file"]]
    rows = np.flatnonzero((moves.line == row["line"]) & np.isin(moves.program, program))
    names = [setup.name for setup in evidence.job.setups]
    if row["setup"] in names:
        rows = rows[moves.setup[rows] == names.index(row["setup"])]
    if not len(rows):
        return None
    if row["program_at"] is None:
        return int(rows[0])
    parts = np.linspace(0, 1, 50)
    away = [
        np.linalg.norm(places_on(moves, np.full(50, one), parts) - np.array(row["program_at"]), axis=1).min()
        for one in rows
    ]
    return int(rows[int(np.argmin(away))])


def _wood_at(evidence: Evidence, setup: int, move: int, part: float) -> Field:
    """Return the field when a part, 0 to 1, of a move has run."""
    job, start, moves = evidence.job, evidence.starts[setup], evidence.moves
    first = evidence.rows[setup].start
    last = moves[move : move + 1]
    if part < 1.0:
        end = places_on(last, np.array([0]), np.array([part]))
        last = replace(last, end=end, sweep=last.sweep * part)
    done = join_moves([moves[first:move], last])
    return cut(start, done, job.cutters, evidence.frames[setup], first_row=first).field
