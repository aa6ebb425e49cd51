"""The peak of a spot: looked for until it is proved that nothing in the spot reaches higher."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy import ndimage

from simkit.compare.between import FLOOR, Unproved
from simkit.compare.closer import Look
from simkit.compare.second_look import BESIDE

SLACK = 0.02  # mm: nothing is asked about peaks that are higher by less,
SHARE = 0.05  # or by less than this share of the peak
FINER = 0.001  # mm: half edge of the last squares where FLOOR settles nothing
MOST_ROUNDS = 24  # of doubling steps: many times any blank


def regions(label: np.ndarray, numbers: Sequence[int], cell: float) -> np.ndarray:
    """Return which spot each cell is looked at with (ny, nx) int: 1 + its place in numbers, 0 for none.

    label (ny, nx): spots by number, 0 outside.  numbers: those asked for.  cell: edge of a cell, mm.
    A cell within BESIDE of a spot belongs to the nearest one.
    """
    if not len(numbers):
        return np.zeros(label.shape, np.int32)
    table = np.zeros(label.max() + 1, np.int32)
    table[list(numbers)] = np.arange(1, len(numbers) + 1)
    away, (iy, ix) = ndimage.distance_transform_edt(label == 0, return_indices=True)
    return np.where(away * cell <= BESIDE, table[label[iy, ix]], 0)


def proved_peaks(
    looks: Sequence[Look],
    region: np.ndarray,
    ask: Callable[[np.ndarray, np.ndarray, float], Unproved],
    look_at: Callable[[int, tuple[int, int], tuple[float, float]], Look],
) -> list[tuple[Look, tuple[int, int] | None]]:
    """Return for each spot its highest look, and its cell (iy, ix) where that is another one.

    looks: of the spots, one each.  region (ny, nx): from `regions`.  ask(most (ny, nx) mm, cells (ny, nx)
    bool, floor mm, with_faces): where a deviation may be larger than `most`, see `between`.
    look_at(spot, cell, place (x, y) mm): a closer look.
    A look tells the peak near one place.  Over the whole region of its spot no deviation from cut to target
    exceeds |value| + bound of the look returned.  Where the target is seen to be farther from the cut than
    that (a knife's edge deeper in the cut elsewhere in the spot) the look is taken there first, until nothing
    farther is seen; what smaller squares do not rule out then is in the bound.  A peak of cut to target needs
    no other bound than that proof; any other keeps the bound of its look where that is wider.  To prove less
    than SLACK or SHARE would take long on a plateau.
    """
    best = list(looks)
    cells: list[tuple[int, int] | None] = [None] * len(best)
    faces = _climb_faces(best, cells, region, ask, look_at)
    proved = np.array([_asked(look) for look in best])  # tried: nothing is higher than this
    step = np.full(len(best), SLACK)
    is_open = np.ones(len(best) + 1, bool)
    is_open[0] = False
    is_asked = is_open[region]
    floor = FLOOR
    for _ in range(MOST_ROUNDS):
        if not is_asked.any():
            break
        found = ask(np.r_[np.inf, proved][region], is_asked, floor)
        for k in np.flatnonzero(is_open[1:]):
            met = found.place(region == k + 1)
            if met is None:
                is_open[k + 1] = False
                continue
            look = look_at(int(k), *met)
            if abs(look.value) > abs(best[k].value):
                best[k], cells[k] = look, met[0]
            if _asked(best[k]) > proved[k]:
                proved[k] = _asked(best[k])
            elif floor == FINER:
                proved[k] += step[k]
                step[k] *= 2
        is_asked, floor = found.is_found & is_open[region], FINER
    bounds = [
        max(float(most) - abs(look.value), 0.0 if look.is_surface else look.bound, face - abs(look.value))
        for look, most, face in zip(best, proved, faces, strict=True)
    ]
    return [(replace(look, bound=bound), cell) for look, bound, cell in zip(best, bounds, cells, strict=True)]


def _climb_faces(best: list[Look], cells: list, region: np.ndarray, ask, look_at) -> list[float]:
    """Put higher looks into `best`, and their cells, where the target is seen to be farther from the cut.

    As for `proved_peaks`.  Returns how far no face of each spot is farther from the cut, mm.
    """
    is_asked, faces = region > 0, [0.0] * len(best)
    for _ in range(MOST_ROUNDS):  # of several tips in one cell a round may meet a lesser one
        most = np.r_[np.inf, [_asked(look) for look in best]][region]
        found = ask(most, is_asked, FLOOR, with_faces=True)
        away = np.where(is_asked & (found.away > most), found.away, 0.0)
        is_higher = np.zeros(len(best) + 1, bool)
        for k in np.unique(region[away > 0]) - 1:
            mine = np.where(region == k + 1, away, 0.0)
            cell = tuple(int(v) for v in np.unravel_index(np.argmax(mine), mine.shape))
            look = look_at(int(k), cell, tuple(float(v) for v in found.away_at[cell]))
            if abs(look.value) > abs(best[k].value):
                best[k], cells[k], is_higher[k + 1] = look, cell, True
        is_settled = is_asked & found.is_found & ~is_higher[region]
        if is_settled.any():  # nothing higher was seen, yet it is not ruled out: smaller squares
            finer = ask(most, is_settled, FINER, with_faces=True)
            for k in np.unique(region[finer.is_found & is_settled]) - 1:
                faces[k] = max(faces[k], finer.not_ruled_out(region == k + 1))
        is_asked = is_higher[region] & found.is_found
        if not is_asked.any():
            break
    return [face if np.isfinite(face) else 0.0 for face in faces]


def slack(look: Look) -> float:
    """Return how much higher than a look a peak may be without being asked for, mm."""
    return max(SLACK, SHARE * abs(look.value))


def _asked(look: Look) -> float:
    """Return the height above which nothing may lie, mm."""
    return abs(look.value) + slack(look)
