"""Where to look for the seam: stations along the outside of the part, and the normals there."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from simkit.stock.field import Field

SIGMA = 3.5  # cells: smoothing of the mask that gives a first normal; cell stairs vanish in it
CORNER = 0.12  # a straight edge smooths to 0.5; farther from it the normal belongs to a corner or a tab
TINY = 4.0  # mm2: smaller holes are no outside boundary
NEAR = 1.5  # mm: cut and part may lie this far apart in plan and still be taken for each other


def stations(field: Field, is_part: np.ndarray | None, spacing: float):
    """Return places (n, 2) on cell edges, first normals (NaN where there is none), contour numbers."""
    is_body, is_outside = _masks(field, is_part)
    lattice = field.lattice
    chains = _chains(is_body, is_outside)
    if not chains:
        return np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, np.int32)
    picked, contour = [], []
    for number, chain in enumerate(chains):
        last = None
        for place in chain:
            if last is None or np.hypot(*(place - last)) * lattice.cell >= spacing:
                picked.append(place)
                contour.append(number)
                last = place
    at = np.array(picked)  # (column, row) of cell corners
    margin = int(np.ceil(4 * SIGMA)) + 3
    low = np.maximum(np.floor(at.min(axis=0)).astype(int) - margin, 0)
    high = np.ceil(at.max(axis=0)).astype(int) + margin
    window = is_body[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    smooth = ndimage.gaussian_filter(window, SIGMA, mode="nearest")
    where = (at - low - 0.5)[:, ::-1].T
    value = ndimage.map_coordinates(smooth, where, order=1, mode="nearest")
    slopes = [ndimage.map_coordinates(g, where, order=1, mode="nearest") for g in np.gradient(smooth)]
    normals = -np.stack(slopes[::-1], axis=1).astype(np.float64)
    length = np.hypot(normals[:, 0], normals[:, 1])
    is_good = (np.abs(value - 0.5) <= CORNER) & (length > 0)
    normals = np.where(is_good[:, None], normals / np.where(is_good, length, 1.0)[:, None], np.nan)
    return np.array(lattice.origin) + at * lattice.cell, normals, np.array(contour, np.int32)


def _masks(field: Field, is_part: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Return solid cells of the part, and empty cells outside it."""
    is_solid = field.is_solid
    cell = field.lattice.cell
    if is_part is None:
        label, count = ndimage.label(is_solid, structure=np.ones((3, 3), dtype=int))
        if count == 0:
            return np.zeros_like(is_solid), ~is_solid
        sizes = np.bincount(label.ravel())
        is_body, is_outside = label == 1 + np.argmax(sizes[1:]), ~is_solid
    else:
        size = 2 * max(3, int(np.ceil(NEAR / cell))) + 1
        is_body = is_solid & ndimage.maximum_filter(is_part, size, mode="nearest")
        is_outside = ~is_solid & ~ndimage.minimum_filter(is_part, size, mode="nearest")
    label, _ = ndimage.label(is_outside)
    is_large = np.bincount(label.ravel()) * cell**2 >= TINY
    is_large[0] = False
    return is_body, is_large[label]


def _chains(is_body: np.ndarray, is_outside: np.ndarray) -> list[list[np.ndarray]]:
    """Return the contours as lists of edge midpoints (column, row), the body on the left hand.

    Edges lie between a cell of the body and an outside cell that share it; each runs from one cell
    corner to the next.  Open chains first, then loops, each from its lowest edge.
    """
    starts, ends = [], []
    for across, flip in ((1, False), (1, True), (0, False), (0, True)):
        first = [slice(None), slice(None)]
        second = [slice(None), slice(None)]
        first[across], second[across] = slice(None, -1), slice(1, None)
        inner, outer = (second, first) if flip else (first, second)
        row, column = np.nonzero(is_body[tuple(inner)] & is_outside[tuple(outer)])
        a = np.stack([column, row], axis=1)
        a[:, 1 - across] += 1  # to the shared edge
        b = a.copy()
        b[:, across] += 1
        # Outside to the right of the way: upwards on a right edge, leftwards on a top edge.
        is_backward = flip if across == 1 else not flip
        starts.append(b if is_backward else a)
        ends.append(a if is_backward else b)
    start, end = np.concatenate(starts), np.concatenate(ends)
    order = np.lexsort((end[:, 0], end[:, 1], start[:, 0], start[:, 1]))
    start, end = start[order], end[order]
    middle = (start + end) / 2
    leaving: dict[tuple, list[int]] = {}
    for k, corner in enumerate(map(tuple, start.tolist())):
        leaving.setdefault(corner, []).append(k)
    arriving = {tuple(corner) for corner in end.tolist()}
    tails = [tuple(corner) for corner in end.tolist()]
    first_edges = [k for k, corner in enumerate(map(tuple, start.tolist())) if corner not in arriving]
    is_free = np.ones(len(start), dtype=bool)
    chains = []
    for k in [*first_edges, *range(len(start))]:
        chain = []
        edge = k if is_free[k] else None
        while edge is not None:
            is_free[edge] = False
            chain.append(middle[edge])
            edge = next((j for j in leaving.get(tails[edge], ()) if is_free[j]), None)
        if chain:
            chains.append(chain)
    return chains
