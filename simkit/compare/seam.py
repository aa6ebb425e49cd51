"""The seam: where the cuts of the two sides meet around the part, and the witness step there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.compare.seam_stations import stations
from simkit.errors import ShapeError
from simkit.stock.field import Field

SAMPLES = 81  # along each normal
FINEST = 0.002  # mm: a wall is bracketed this closely
LEAST_OVERLAP = 0.1  # mm: below it the sides do not meet in an upright wall
LEANING = 0.2  # mm: where the part's own two walls lie farther apart at the seam, it has none to compare
BESIDE = 0.5  # mm to either side along the wall: there the true tangent is measured
STEEPEST = np.tan(np.radians(30.0))  # a first normal worse than this is not mended but left out
PARALLEL = np.tan(np.radians(10.0))  # walls that differ more belong to different features: a tab's flank
NORMAL_DEGREES = 5.0  # what the mended normal may still be off, for the bound
PLACES = 8  # looked at inside a bracket in one call
SURFACE_ERROR = 2e-5  # mm: of two heights on an upright wall
CHUNK = 512  # stations in one call for heights


@dataclass(frozen=True)
class Seam:
    """Stations along the seam at which both sides' walls were found.

    stations (n, 2) float64 mm, blank frame, plan: on the outermost of the two walls, in order along
    each contour.  contour (n,) int32: which contour a station is on.  normal (n, 2): outward, plan.
    offset (n,) float64 mm: side 1's wall minus side 2's along the normal; positive where side 1's wall
    stands farther out.  bound (n,) mm: the offset may be off by this much; a wall's roughness is real
    and not in it.  level (n,) mm: z of the seam.  row_upper, row_lower (n,) int32: moves that cut side
    1's and side 2's wall, -1 none.  left_out: stations looked at where no seam can be seen (tabs,
    frame, sharp corners).  worst: index of the largest |offset|, None without stations.
    """

    stations: np.ndarray
    contour: np.ndarray
    normal: np.ndarray
    offset: np.ndarray
    bound: np.ndarray
    level: np.ndarray
    row_upper: np.ndarray
    row_lower: np.ndarray
    left_out: int = 0

    @property
    def worst(self) -> int | None:
        """Index of the station with the largest step, the first on ties; None without stations."""
        return int(np.argmax(np.abs(self.offset))) if len(self.offset) else None

    @property
    def words(self) -> str:
        """What was found, in one sentence."""
        if self.worst is None:
            if self.left_out:
                return "no seam: nowhere do the cuts of both sides meet in an open outer wall"
            return "no seam: the part is nowhere cut through at its outline"
        x, y = self.stations[self.worst]
        size, bound = abs(self.offset[self.worst]), self.bound[self.worst]
        farther = 1 if self.offset[self.worst] > 0 else 2
        return (
            f"seam: largest step {size:.3f} \N{PLUS-MINUS SIGN} {bound:.3f} mm at x {x:.1f}, y {y:.1f} mm "
            f"(side {farther} stands out), measured at {len(self.offset)} places, {self.left_out} left out"
        )


def find_seam(
    field: Field,
    is_part: np.ndarray | None,
    heights: Callable[[np.ndarray], tuple],
    spacing: float = 1.0,
    reach: float = 3.0,
    wanted: Callable[[np.ndarray], tuple] | None = None,
) -> Seam:
    """Return the step between both sides' walls at stations along the outside of the part.

    field: after all setups; says only where to look.  is_part (ny, nx) bool: cells of the part; None
    takes the largest connected piece of wood.  heights(points (k, 2) mm, blank frame) -> lower, upper
    (k,) mm, row_lower, row_upper (k,): the exact surfaces; a column is empty where lower >= upper.
    wanted(points) -> lower, upper of the target, NaN beside it: the step that the target has itself at the
    seam's level is taken off, and stations where it is larger than LEANING (a side that leans, so that the
    two sides meet elsewhere than at the skin) are left out.
    spacing mm: of stations.  reach mm: how far along the normal either wall is looked for.

    Just outside the part a column is empty, side 1 having cut below side 2.  The level of the seam is
    the middle between the two surfaces there; each wall is the place where its surface crosses that
    level.  Through holes larger than TINY are outside too.  Where the walls are upright the offset is
    the step itself.  Where they slope or end in a fillet (less than LEAST_OVERLAP of overlap at the
    edge) the level comes from the widest gap within reach, and the offset is a mix: an error in height
    shows as that height divided by the slope, on both walls with opposite sign.

    A tab's flank is a wall of one side only: stations where the walls are not parallel are left out.

    Error: bracket of both walls, FINEST in all, rounding of the heights, a normal NORMAL_DEGREES off,
    which makes the offset 0.4 % too long, and how much the offset changes over a quarter of a
    millimetre along walls that are not quite parallel.  Source: own derivation; twin in the tests.
    Raises ShapeError for a mask of another shape, ValueError for lengths that are not positive.
    """
    if is_part is not None and is_part.shape != field.lattice.shape:
        raise ShapeError(f"is_part is {is_part.shape}, expected {field.lattice.shape}")
    if not (spacing > 0 and reach > 0):
        raise ValueError(f"spacing {spacing:g} and reach {reach:g} must be positive")
    places, normals, contour = stations(field, is_part, spacing)
    is_normal = np.isfinite(normals[:, 0])
    looked_at = len(places)
    places, normals, contour = places[is_normal], normals[is_normal], contour[is_normal]
    parts = [
        _measured(
            places[k : k + CHUNK], normals[k : k + CHUNK], contour[k : k + CHUNK], heights, reach, wanted
        )
        for k in range(0, len(places), CHUNK)
    ]
    if not parts:
        parts = [_nothing()]
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return Seam(*columns, left_out=looked_at - len(columns[0]))


def _nothing() -> tuple:
    return (
        np.zeros((0, 2)),
        np.zeros(0, np.int32),
        np.zeros((0, 2)),
        np.zeros(0),
        np.zeros(0),
        np.zeros(0),
        np.zeros(0, np.int32),
        np.zeros(0, np.int32),
    )


def _measured(places, normals, contour, heights, reach, wanted) -> tuple:
    """Return the columns of a Seam for the stations at which both walls were found."""
    s = np.linspace(-reach, reach, SAMPLES)
    n, step = len(places), s[1] - s[0]

    def at(rows, along, beside=0.0):
        """Return the heights at places along the normals of some stations, and beside them."""
        tangents = np.stack([-normals[rows, 1], normals[rows, 0]], axis=1)
        return heights(
            places[rows] + np.asarray(along)[:, None] * normals[rows] + np.asarray(beside) * tangents
        )

    every = np.repeat(np.arange(n), SAMPLES)
    lower, upper = (np.asarray(h, dtype=np.float64).reshape(n, SAMPLES) for h in at(every, np.tile(s, n))[:2])
    is_solid = upper > lower
    leaves = is_solid[:, :-1] & ~is_solid[:, 1:]
    away = np.where(leaves, np.abs(s[:-1] + step / 2), np.inf)
    k = np.argmin(away, axis=1)
    rows = np.flatnonzero(leaves[np.arange(n), k])
    if not len(rows):
        return _nothing()
    k, lower, upper, is_solid = k[rows], lower[rows], upper[rows], is_solid[rows]

    def is_wood(which, along):
        """Return whether the columns hold wood."""
        low, high = at(rows[which], along)[:2]
        return high > low

    edge = _bracketed(is_wood, s[k], s[k + 1])[1]
    low, high = at(rows, edge)[:2]
    level, gap = (low + high) / 2, low - high
    # The empty run outside the wall, and the solid run inside it.
    index = np.arange(SAMPLES)
    is_beyond, is_within = index > k[:, None], index <= k[:, None]
    is_run = is_beyond & (np.cumsum(is_beyond & is_solid, axis=1) == 0)
    hollow = np.cumsum((is_within & ~is_solid)[:, ::-1], axis=1)[:, ::-1]
    is_run |= is_within & (hollow == 0)
    gaps = np.where(is_run & is_beyond, lower - upper, -np.inf)
    widest = np.argmax(gaps, axis=1)
    each = np.arange(len(rows))
    middle = (lower[each, widest] + upper[each, widest]) / 2
    level = np.where(gap >= LEAST_OVERLAP, level, middle)
    j1, j2 = (
        _last_inside(upper > level[:, None], is_run, k),
        _last_inside(lower < level[:, None], is_run, k),
    )
    is_found = (j1 >= 0) & (j2 >= 0)
    rows, level, j1, j2 = rows[is_found], level[is_found], j1[is_found], j2[is_found]
    if not len(rows):
        return _nothing()

    # Both walls, then four places beside them, in one call each: side 1 first.
    n = len(rows)
    both, is_first = np.tile(np.arange(n), 2), np.repeat([True, False], n)

    def is_inside(which, along, beside=0.0):
        """Return whether the places lie inside the wall of their side at the seam's level."""
        low, high = at(rows[both[which]], along, beside)[:2]
        height = level[both[which]]
        return np.where(is_first[which], high > height, low < height)

    j = np.concatenate([j1, j2])
    inner, outer = _bracketed(is_inside, s[j], s[j + 1])
    out1, out2 = outer[:n], outer[n:]
    wall = (inner + outer) / 2
    s1, s2 = wall[:n], wall[n:]
    side = np.repeat([-BESIDE, BESIDE], 2 * n)

    def is_inside_there(which, along):
        """Return the same beside the stations."""
        return is_inside(which % (2 * n), along, side[which][:, None])

    every, aside = np.arange(4 * n), np.tile(wall, 2)
    inner, outer = aside - 2 * BESIDE * STEEPEST, aside + 2 * BESIDE * STEEPEST
    is_true = (is_inside_there(every, inner) & ~is_inside_there(every, outer)).reshape(4, n).all(axis=0)
    aside = np.mean(_bracketed(is_inside_there, inner, outer), axis=0).reshape(2, 2, n)
    slopes = (aside[1] - aside[0]) / (2 * BESIDE)
    slope = np.mean(slopes, axis=0)
    spread = np.abs(slopes[1] - slopes[0])
    is_true &= (np.abs(slope) < STEEPEST) & (spread < PARALLEL)
    cosine = 1 / np.sqrt(1 + slope**2)
    normal = normals[rows]
    tangent = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    own = np.zeros(n)
    if wanted is not None:
        own = _own_step(places[rows], normals[rows], level, wall, s, wanted)
        is_true &= np.abs(own) <= LEANING  # NaN compares false
        own = np.nan_to_num(own)
    offset = (s1 - s2 - own) * cosine
    bound = FINEST + SURFACE_ERROR + np.abs(offset) * (1 / np.cos(np.radians(NORMAL_DEGREES)) - 1)
    bound += spread * BESIDE / 2 + (FINEST if wanted is not None else 0.0)
    row_upper, row_lower = at(rows, out1)[3], at(rows, out2)[2]
    columns = (
        places[rows] + np.maximum(s1, s2)[:, None] * normal,
        contour[rows],
        (normal - slope[:, None] * tangent) * cosine[:, None],
        offset,
        bound,
        level,
        np.asarray(row_upper, dtype=np.int32),
        np.asarray(row_lower, dtype=np.int32),
    )
    return tuple(column[is_true] for column in columns)


def _own_step(places, normals, level, wall, s, wanted) -> np.ndarray:
    """Return how far out the target's wall of side 1 lies against that of side 2, mm (n,), NaN if unseen.

    wall (2n,): where the cut walls are along the normals, side 1 first; the nearest wall of the target is
    taken.  s (m,): samples along a normal.
    """
    n, m = len(places), len(s)
    both, is_first = np.tile(np.arange(n), 2), np.repeat([True, False], n)

    def is_inside(which, along):
        """Return whether places are inside the target's wall of their side at the seam's level."""
        rows = both[which]
        low, high = wanted(places[rows] + np.asarray(along)[:, None] * normals[rows])
        return np.where(is_first[which], high > level[rows], low < level[rows])

    inside = is_inside(np.repeat(np.arange(2 * n), m), np.tile(s, 2 * n)).reshape(2 * n, m)
    leaves = inside[:, :-1] & ~inside[:, 1:]
    k = np.argmin(np.where(leaves, np.abs(s[:-1] - wall[:, None]), np.inf), axis=1)
    is_seen = leaves[np.arange(2 * n), k]
    found = np.full(2 * n, np.nan)
    seen = np.flatnonzero(is_seen)
    inner, outer = _bracketed(lambda which, along: is_inside(seen[which], along), s[k[seen]], s[k[seen] + 1])
    found[seen] = (inner + outer) / 2
    return found[:n] - found[n:]


def _bracketed(is_inside, inner, outer) -> tuple[np.ndarray, np.ndarray]:
    """Return brackets (n,) of at most FINEST in which is_inside turns from True to False.

    is_inside(which (m,), s (m,)) -> (m,) bool.  Each call looks at PLACES places of every bracket, as a
    call costs more than its points.
    """
    inner, outer = np.array(inner, dtype=np.float64), np.array(outer, dtype=np.float64)
    n = len(inner)
    which = np.repeat(np.arange(n), PLACES)
    share = np.arange(1, PLACES + 1) / (PLACES + 1)
    while np.max(outer - inner, initial=0.0) > FINEST:
        places = inner[:, None] + (outer - inner)[:, None] * share
        inside = is_inside(which, places.ravel()).reshape(n, PLACES)
        first_out = np.cumprod(inside, axis=1).sum(axis=1)
        ends = np.column_stack([inner, places, outer])
        inner, outer = ends[np.arange(n), first_out], ends[np.arange(n), first_out + 1]
    return inner, outer


def _last_inside(is_inside: np.ndarray, is_run: np.ndarray, k: np.ndarray) -> np.ndarray:
    """Return per row the sample after which is_inside ends, looked for from sample k; -1 if none.

    is_inside, is_run (n, m) bool: only the run of samples around k is looked at.
    """
    n, m = is_inside.shape
    each, index = np.arange(n), np.arange(m)
    before = np.where(is_inside & is_run & (index <= k[:, None]), index, -1).max(axis=1)
    after = np.where(~is_inside & is_run & (index > k[:, None]), index, m).min(axis=1) - 1
    after = np.where(after + 1 < m, after, -1)
    return np.where(is_inside[each, k], after, before)
