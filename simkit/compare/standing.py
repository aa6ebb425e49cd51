"""Standing features: ribs, rims and spires that stand tall and thin while the cutting goes on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from simkit.compare.thin_spots import joined_cells
from simkit.compare.walls import wall_thickness
from simkit.errors import ShapeError
from simkit.stock.field import Field, Lattice

UPRIGHT = 0.5  # rise per length of a chord across it: a wall whose chord is steeper is a floor
STRIDE = 2  # cells between two looks at level places
ROUGH = 0.5  # of the thickness: a bound larger than this makes the ratio known from below only
LEAST_THICKNESS = 1.0  # cells: what is thinner may be an artefact of the lattice


@dataclass(frozen=True, slots=True)
class Standing:
    """One connected feature that stands taller than a multiple of its thickness.

    ratio: its lever over its thickness at its worst place, true to ratio +- bound; bound inf
    where the thickness is not known to half of itself: the ratio is then at least
    lever / (thickness + thickness_bound).
    thickness (+- thickness_bound), height, lever mm there.
    at (x, y, z) mm, blank frame: top of it, or bottom where it hangs.
    cell (iy, ix): that place.  is_up: it stands up from the ground, else it hangs down.
    run (ux, uy): unit direction in plan along it.  length mm: how far it runs that way.
    area mm2 in plan, cells: how many.  rows: moves that cut its two faces, -1 where none did.
    """

    ratio: float
    bound: float
    thickness: float
    thickness_bound: float
    height: float
    lever: float
    at: tuple[float, float, float]
    cell: tuple[int, int]
    is_up: bool
    run: tuple[float, float]
    length: float
    area: float
    cells: int
    rows: tuple[int, int]


def standing_features(field: Field, ratio: float, thickest: float) -> list[Standing]:
    """Return the features that stand taller than `ratio` times their thickness, worst first.

    field: what is left at some moment.  ratio: at least 1.  thickest mm: features thicker than this
    are not looked for.

    Thickness is that of the largest ball inside the wood (see walls.wall_thickness) where the chord
    between its two contacts is level within 27 degrees, and with the far side of the blank taken to be
    out of the way.  Height is measured from the top of the columns
    across the chord down to the ground: the lowest wood within `thickest` outwards on each side,
    the higher of the two sides; a side that is open all the way down has its ground where the wall
    ends.  The same is done upside down.
    The lever is the height; but where thicker wood as tall holds the feature at one end or both, it is no
    longer than the feature, or half of it: what a web beside a bored hole shows.
    Bound: from that of the thickness, and 1e-5 mm of each height; the highest place of a top that is
    not level may lie between two cells.
    Source: own derivation.
    """
    if not ratio >= 1 or not thickest > 0:
        raise ShapeError(f"ratio {ratio} must be at least 1 and thickest {thickest} above 0")
    features = _standing(field, ratio, thickest, True)
    below = field.lower[field.is_solid]
    if len(below) and below.max() > below.min():  # a side that nothing has cut holds no feature
        features += _standing(field, ratio, thickest, False)
    return sorted(features, key=lambda one: (-one.ratio, one.cell))


def _standing(field: Field, ratio: float, thickest: float, is_up: bool) -> list[Standing]:
    """Return the features that stand up, or hang down, taller than `ratio` times their thickness."""
    lattice, solid = field.lattice, field.is_solid
    # Thick below, so that a thin floor at the foot of a feature does not count for the feature.
    extra = np.float32(thickest + 1.0)
    lower = np.where(solid & is_up, field.lower - extra, field.lower)
    upper = np.where(solid & (not is_up), field.upper + extra, field.upper)
    walls = wall_thickness(lattice, lower, upper, thickest, STRIDE)
    iy, ix = np.nonzero(walls.thickness >= LEAST_THICKNESS * lattice.cell)  # NaN compares false
    near = walls.near[iy, ix].astype(np.float64)
    chord = walls.contact[iy, ix] - near
    flat = np.hypot(chord[:, 0], chord[:, 1])
    is_upright = np.abs(chord[:, 2]) <= UPRIGHT * flat
    iy, ix, near, chord, flat = (a[is_upright] for a in (iy, ix, near, chord, flat))
    if not len(iy):
        return []
    sign = 1.0 if is_up else -1.0
    tops = sign * (field.upper if is_up else field.lower).astype(np.float64)
    ends = sign * (field.lower if is_up else field.upper).astype(np.float64)
    u = chord[:, :2] / flat[:, None]
    height, top = _heights(lattice, tops, ends, solid, near, u, flat, thickest)
    tall, found, at_z = (np.zeros(lattice.shape) for _ in range(3))
    tall[iy, ix], found[iy, ix], at_z[iy, ix] = height, height / walls.thickness[iy, ix], sign * top
    is_tall = found > ratio
    if not is_tall.any():
        return []
    features = _features(field, walls, found, tall, at_z, is_tall, is_up)
    return [one for one in features if one.ratio > ratio]


def _heights(lattice: Lattice, tops, ends, is_solid, near, u, flat, reach) -> tuple[np.ndarray, np.ndarray]:
    """Return height above the ground and top of the walls (k,) mm, in heights that grow away from it.

    tops, ends (ny, nx): free and far surface in such heights.  near (k, 3), u (k, 2), flat (k,): a
    face of each wall, the direction across, and the distance to the other face.
    """
    steps = np.arange(0.25, 1.0, 0.25)
    top = np.full(len(near), -np.inf)
    base = np.full(len(near), np.inf)
    for s in steps:
        here = _cells(lattice, near[:, :2] + (s * flat)[:, None] * u)
        top = np.maximum(top, np.where(is_solid[here], tops[here], -np.inf))
        base = np.minimum(base, np.where(is_solid[here], ends[here], np.inf))
    grounds = []
    for start, way in ((np.zeros(len(near)), -1.0), (flat, 1.0)):
        ground = np.full(len(near), np.inf)
        for s in np.arange(0.75 * lattice.cell, reach, lattice.cell):
            place = near[:, :2] + (start + way * s)[:, None] * u
            here = _cells(lattice, place)
            is_wood = is_solid[here] & _is_inside(lattice, place)
            # Wood that lies wholly beyond the far end of the wall is no ground to stand on.
            ground = np.minimum(ground, np.where(is_wood & (tops[here] > base), tops[here], base))
        grounds.append(ground)
    height = top - np.maximum(grounds[0], grounds[1])
    return np.where(np.isfinite(height), height, 0.0), top


def _cells(lattice: Lattice, place: np.ndarray) -> tuple:
    return lattice.cell_at(place[:, 0], place[:, 1])


def _is_inside(lattice: Lattice, place: np.ndarray) -> np.ndarray:
    x, y = (place - np.array(lattice.origin)).T / lattice.cell
    return (x >= 0) & (x < lattice.nx) & (y >= 0) & (y < lattice.ny)


def _features(field: Field, walls, found, tall, at_z, is_tall, is_up: bool) -> list[Standing]:
    """Return the connected features among the tall cells."""
    lattice = field.lattice
    joined = joined_cells(walls, is_tall)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    features = []
    for number, box in enumerate(ndimage.find_objects(np.where(is_tall, joined, 0)), start=1):
        if box is None:
            continue
        is_mine = is_tall[box] & (joined[box] == number)
        value = np.where(is_mine, found[box], -np.inf)
        row, column = np.unravel_index(np.argmax(value), value.shape)
        cell = (int(row + box[0].start), int(column + box[1].start))
        across = (walls.contact[box] - walls.near[box])[is_mine][:, :2].astype(np.float64)
        _, axes = np.linalg.eigh(across.T @ across)
        run = axes[:, 0]  # least of the chords: along the wall
        run = run if (run[0], run[1]) > (0.0, 0.0) else -run
        along = np.column_stack([x[box][is_mine], y[box][is_mine]]) @ run
        thickness, bound = float(walls.thickness[cell]), float(walls.bound[cell])
        height = float(tall[cell])
        length = float(np.ptp(along)) + lattice.cell
        cells = int(walls.stood_for(is_tall & (joined == number)).sum())
        ends = _held_ends(field, joined == number, run, (thickness, height, at_z[cell]), is_up)
        lever = height if ends == 0 else min(height, length / ends)
        ratio = lever / thickness
        near, contact = walls.near[cell], walls.contact[cell]
        features.append(
            Standing(
                ratio=ratio,
                bound=lever / (thickness - bound) - ratio if bound <= ROUGH * thickness else math.inf,
                thickness=thickness,
                thickness_bound=bound,
                height=height,
                lever=lever,
                at=(
                    float(near[0] + contact[0]) / 2,
                    float(near[1] + contact[1]) / 2,
                    float(at_z[cell]),
                ),
                cell=cell,
                is_up=is_up,
                run=(float(run[0]), float(run[1])),
                length=length,
                area=cells * lattice.cell**2,
                cells=cells,
                rows=tuple(int(row) for row in walls.rows(field, *cell)),
            )
        )
    return features


def _held_ends(field: Field, is_mine: np.ndarray, run, feature: tuple, is_up: bool) -> int:
    """Return at how many of its two ends (0 to 2) a feature goes over into other wood as tall.

    is_mine (ny, nx) bool: its cells.  run: unit direction along it.  feature: thickness, height and top
    of its worst place, mm.  Wood counts as tall from half the height above the ground on; it holds the
    feature where it reaches farther from it than its thickness.
    """
    thickness, height, top = feature
    cell = field.lattice.cell
    far = thickness + 3 * cell
    box = _grown_box(is_mine, math.ceil(far / cell) + 2)
    is_mine = is_mine[box]
    surface = (field.upper if is_up else field.lower)[box]
    is_tall = field.is_solid[box] & ((surface > top - height / 2) if is_up else (surface < top + height / 2))
    label, _ = ndimage.label(is_tall, np.ones((3, 3)))
    is_connected = np.isin(label, np.setdiff1d(label[is_mine], 0))
    distance = ndimage.distance_transform_edt(~is_mine, sampling=cell)
    held = np.argwhere(is_connected & (distance > far) & (distance <= far + 2 * cell))
    if not len(held):
        return 0
    mine = np.argwhere(is_mine)
    along_held, along_mine = held[:, ::-1] @ run, mine[:, ::-1] @ run
    middle = (along_mine.min() + along_mine.max()) / 2
    return int((along_held < middle).any()) + int((along_held > middle).any())


def _grown_box(mask: np.ndarray, room: int) -> tuple[slice, slice]:
    """Return the rows and columns within `room` cells of the mask."""
    (rows, columns) = ndimage.find_objects(mask.astype(np.uint8))[0]
    return (
        slice(max(rows.start - room, 0), rows.stop + room),
        slice(max(columns.start - room, 0), columns.stop + room),
    )


@dataclass(frozen=True, slots=True)
class Stood:
    """A standing feature at the moment of the job at which it stood tallest for its thickness.

    last_row: the last move made before that moment.  is_left: it still stands so at the end.
    """

    feature: Standing
    last_row: int
    is_left: bool


def stage_ends(tools: np.ndarray, rows: list[slice]) -> list[int]:
    """Return the row after each run of one cutter in one setup, growing: the moments to look at.

    tools (n,): number of the cutter of each move.  rows[setup]: rows of the setup.
    """
    ends = []
    for one in rows:
        changes = np.flatnonzero(np.diff(tools[one])) + 1
        ends += [one.start + int(change) for change in changes]
        if one.stop > one.start:
            ends.append(one.stop)
    return ends


class StandingWatch:
    """Gathers the standing features of one stage after another; each is told at its worst stage."""

    def __init__(self, ratio: float, thickest: float):
        self.ratio, self.thickest = ratio, thickest
        self._kept: list[tuple[Standing, int]] = []
        self._latest: list[Standing] = []

    def look(self, field: Field, last_row: int) -> None:
        """Look at the field after a stage."""
        self._latest = standing_features(field, self.ratio, self.thickest)
        for feature in self._latest:
            same = [kept for kept in self._kept if _is_same(kept[0], feature)]
            if any(kept[0].ratio >= feature.ratio for kept in same):
                continue
            self._kept = [kept for kept in self._kept if kept not in same]
            self._kept.append((feature, last_row))

    def stood(self) -> list[Stood]:
        """Return the features, worst first."""
        found = [
            Stood(feature, last_row, any(_is_same(feature, latest) for latest in self._latest))
            for feature, last_row in self._kept
            if feature.is_up or not any(_is_same_wood(feature, other) for other, _ in self._kept)
        ]
        return sorted(found, key=lambda one: (-one.feature.ratio, one.feature.cell))


def _is_same(a: Standing, b: Standing) -> bool:
    """Whether two features of different moments are the same wood: their worst places are close."""
    return a.is_up == b.is_up and _is_close(a, b)


def _is_close(a: Standing, b: Standing) -> bool:
    apart = np.hypot(a.at[0] - b.at[0], a.at[1] - b.at[1])
    return bool(apart <= max(a.length, b.length) / 2 + max(a.thickness, b.thickness))


def _is_same_wood(hanging: Standing, other: Standing) -> bool:
    """Whether a feature that hangs also stands: free at both ends, seen from either."""
    if hanging.is_up or not other.is_up or not _is_close(hanging, other):
        return False
    return abs(other.at[2] - other.height - hanging.at[2]) <= max(other.thickness, hanging.thickness)
