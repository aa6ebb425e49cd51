"""How much tape or vacuum is left under each piece when a setup has run, and what it bears by the job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.compare.held import held_cells
from simkit.compare.pieces import EDGE, LEAST_VOLUME, Pieces, volumes
from simkit.job.model import FROM_BELOW, Blank, Setup
from simkit.stock.field import Field


@dataclass(frozen=True, slots=True)
class Grip:
    """What holds one piece from below when a setup has run.

    setup: index.  is_part: it has most of the part, or is mostly part.  at_edge: it goes on to the
        blank's edge.
    kinds: of FROM_BELOW that hold it.  area mm2: of it that they hold; where two lie over one another it
        counts once.  area_bound mm2: half a cell along the rim of that area.
    bears N: area times `grip`, that of the stronger where two lie over one another; None when one of them
        states none.  bears_bound N: the same of area_bound.
    also: kinds of what else holds it (clamps, screws, dowels, "fixture"): not counted in `bears`.
    middle (x, y) mm, blank frame: of its columns.
    """

    setup: int
    is_part: bool
    at_edge: bool
    kinds: tuple[str, ...]
    area: float
    area_bound: float
    bears: float | None
    bears_bound: float
    also: tuple[str, ...]
    middle: tuple[float, float]


def grips(
    index: int,
    after: Field,
    pieces: Pieces,
    setup: Setup,
    blank: Blank,
    holding: Sequence,
    fixtures: Sequence,
    is_part: np.ndarray | None,
) -> list[Grip]:
    """Return what tape and vacuum hold of each piece of LEAST_VOLUME, the largest piece first.

    after, pieces: what is left when setup `index` has run, blank frame.  holding, fixtures: of the job.
    is_part (ny, nx) bool: columns of the target, None without one.  Areas are sums of cells whose centres lie
    in an outline, off by no more than area_bound where outlines are wider than a cell.
    """
    below = [one for one in holding if one.stands_in(setup) and one.kind in FROM_BELOW]
    if not below:
        return []
    square = after.lattice.cell**2
    masks = [held_cells(after, setup, blank, [one], ()) for one in below]
    held, force = np.zeros(after.lattice.shape, bool), np.zeros(after.lattice.shape)
    for one, mask in zip(below, masks, strict=True):
        held |= mask
        force[mask] = np.maximum(force[mask], one.grip or 0.0)
    others = [one for one in holding if one.kind not in FROM_BELOW]
    other_kinds = [(one.kind, held_cells(after, setup, blank, [one], ())) for one in others]
    other_kinds += [("fixture", held_cells(after, setup, blank, (), [one])) for one in fixtures]
    at_edge = pieces.at(after.rim(EDGE))
    size = volumes(after, pieces)
    part = np.zeros(pieces.count + 1) if is_part is None else pieces.sums(is_part & (pieces.label > 0))
    plan = pieces.sums(pieces.label > 0)
    found = []
    for piece in np.argsort(-size, kind="stable").tolist():
        if piece == 0 or size[piece] < LEAST_VOLUME:
            continue
        mine = pieces.label == piece
        on = [(one, mask & mine) for one, mask in zip(below, masks, strict=True)]
        on = [(one, mask) for one, mask in on if mask.any()]
        if not on:
            continue
        area = np.count_nonzero(held & mine) * square
        bound = _rim(held & mine) * square / 2.0
        is_known = all(one.grip is not None for one, _ in on)
        found.append(
            Grip(
                index,
                bool(part[piece] > 0 and 2 * part[piece] >= min(plan[piece], part.sum())),
                bool(at_edge[piece]),
                tuple(dict.fromkeys(one.kind for one, _ in on)),
                area,
                bound,
                float(force[held & mine].sum()) * square if is_known else None,
                bound * max(one.grip for one, _ in on) if is_known else 0.0,
                tuple(dict.fromkeys(kind for kind, mask in other_kinds if (mask & mine).any())),
                tuple(float(k) for k in after.lattice.centre_of(*np.argwhere(mine).mean(axis=0))),
            )
        )
    return found


def _rim(mask: np.ndarray) -> int:
    """Return how many edges of cells part a mask (ny, nx) bool from what lies outside it."""
    wide = np.pad(mask, 1)
    return sum(int(np.count_nonzero(np.diff(wide, axis=axis))) for axis in (0, 1))
