"""What stands outside the target's outline: a step on the outer wall, or material that holds the part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.errors import ShapeError
from simkit.stock.field import Field
from simkit.target.envelope import Envelopes

HOLDING = 2.0  # mm: a run of standing material that goes on farther holds the part
EDGE = 3.0  # mm: wood that comes so near to the blank's edge is its frame, a sliver may be trimmed off it


@dataclass(frozen=True)
class OutlineStep:
    """Standing material outside the outline, told apart.

    run (ny, nx) float32 mm: how far the material stands proud of the outer wall in plan, at each
        standing cell that belongs to such a step; NaN elsewhere.
    bound mm: each run may be off by this much either way.
    is_step, is_holding (ny, nx) bool: standing cells of steps; of frame, skin, tabs and offcuts.
    is_reached (ny, nx) bool: the cells of the latter that go on from the part without a gap.
    is_hanging (ny, nx) bool: standing cells of wood that does not go on to the blank's edge.
    holding_area mm2: area in plan of is_holding, not judged.
    wall (ny, nx) float32 mm: at the outermost cells of the part, how far the wood goes on outward from
        there, 0 where it ends at the part; NaN where no empty cell lies outward of it.  Within `bound`.
    """

    run: np.ndarray
    bound: float
    is_step: np.ndarray
    is_holding: np.ndarray
    is_reached: np.ndarray
    is_hanging: np.ndarray
    holding_area: float
    wall: np.ndarray


def outline_step(
    field: Field, envelopes: Envelopes, holding: float = HOLDING, hangs: bool = False
) -> OutlineStep:
    """Return what still stands outside the target's outline.

    field, envelopes: on one lattice, which ends at the blank's edge.  holding mm: a run that meets an
    empty column within this distance from the outline is a step, judged like leftover; one that does
    not is holding material, so long as the wood it belongs to goes on to the blank's edge: what hangs
    on the part alone holds nothing, and is a step however far it stands out.
    hangs: the wood asked for is known to hang on the part alone (of a window, whose rim is no edge).
    Each cell outside belongs to the nearest cell of the outline; the run of an outline cell ends at
    the nearest empty cell that belongs to it.  Runs are read at cell centres: off by up to a cell
    diagonal either way, the bound given.  Where the outline is hollow (in holes, at inside corners) so that
    no empty cell belongs to a part of it, wood that hangs there goes on as far as beside it; other wood
    counts as held, and so does a hole that is not opened at all.  Standing cells within `holding` of a run
    that holds are its flanks (of a tab) and count as holding too: a step right beside a tab is not told.
    Source: exact Euclidean distance transform (Maurer, Qi, Raghavan 2003, as in scipy.ndimage).
    """
    from scipy import ndimage

    if field.lattice != envelopes.lattice:
        raise ShapeError("field and envelopes stand on different lattices")
    lattice = field.lattice
    is_part = envelopes.is_part
    is_standing = field.is_solid & ~is_part
    nothing = np.full(lattice.shape, np.nan, dtype=np.float32)
    bound = float(np.sqrt(2.0)) * lattice.cell
    if not is_part.any() or not is_standing.any():
        area = float(is_standing.sum()) * lattice.cell**2
        none = np.zeros_like(is_part)
        wall = np.where(_outmost(is_part), 0.0, nothing).astype(np.float32)
        return OutlineStep(nothing, bound, none, is_standing, none.copy(), none.copy(), area, wall)
    distance, (row, column) = ndimage.distance_transform_edt(
        ~is_part, sampling=lattice.cell, return_indices=True
    )
    owner = row.astype(np.int64) * lattice.nx + column
    first_empty = np.full(lattice.nx * lattice.ny, np.inf)
    is_empty = ~is_part & ~field.is_solid
    np.minimum.at(first_empty, owner[is_empty], distance[is_empty])
    own = first_empty.reshape(lattice.shape)
    wall = np.where(_outmost(is_part) & np.isfinite(own), np.maximum(own - lattice.cell, 0.0), np.nan)
    # On a raster some outline cells own only a thread of cells, without an empty one: ask next door.
    around = ndimage.minimum_filter(first_empty.reshape(lattice.shape), size=5, mode="nearest").ravel()
    first_empty = np.where(np.isinf(first_empty), around, first_empty)
    is_hanging = is_standing if hangs else is_standing & ~_reaches_edge(is_standing, field)
    end = _ended(first_empty[owner], owner, distance, is_hanging, is_empty, is_part, lattice.cell)
    # From the centre of the last part cell to that of the first empty one; half a cell at each end.
    run = end - lattice.cell
    touches = is_standing & (distance < end)
    is_held = touches & (run > holding) & (~is_hanging | np.isinf(run))
    is_step = touches & ~is_held
    # A tab's flanks end in air sideways, and still are the tab.
    if is_held.any() and is_step.any() and not hangs:
        is_step &= ndimage.distance_transform_edt(~is_held, sampling=lattice.cell) > holding
    is_holding = is_standing & ~is_step
    nothing[is_step] = run[is_step]
    area = float(is_holding.sum()) * lattice.cell**2
    is_reached = touches & ~is_step
    return OutlineStep(
        nothing, bound, is_step, is_holding, is_reached, is_hanging, area, wall.astype(np.float32)
    )


def _ended(end, owner, distance, is_hanging, is_empty, is_part, cell: float) -> np.ndarray:
    """Return where runs end (ny, nx), mm, inf for never, with an end for wood that hangs in hollow outlines.

    There what the cells of the outline own narrows outward: of the ring that a drill too small leaves, or at
    a round inside corner, it misses every empty cell though the wood ends.  Such cells of the outline take
    the end of the nearest one, of the same hole, that knows: whose own wood ends, or goes on more than twice
    as far as the nearest empty cell is away (a tab; at a corner, up to 1.4 times as far).
    """
    from scipy import ndimage
    from scipy.spatial import cKDTree

    is_open = is_hanging & np.isinf(end)
    if not is_open.any():
        return end
    end, flat = end.copy(), np.full(end.size, np.nan)  # by cell of the outline
    farthest = np.zeros(end.size)
    np.maximum.at(farthest, owner[is_hanging], distance[is_hanging])
    label, _ = ndimage.label(~is_part, np.ones((3, 3)))
    for number in np.unique(label[is_open]):
        here = label == number
        own, empty = np.unique(owner[here & is_hanging]), np.argwhere(here & is_empty)
        if not len(empty):  # a hole that is not opened at all
            continue
        at = np.column_stack(np.divmod(own, end.shape[1]))
        away = cKDTree(empty).query(at)[0] * cell
        flat[owner[here]] = end[here]
        knows = np.isfinite(flat[own]) | (farthest[own] > 2 * away + 1.5 * cell)
        if knows.any():
            nearest = cKDTree(at[knows]).query(at)[1]
            flat[own] = flat[own[knows]][nearest]
            mine = here & is_hanging
            end[mine] = flat[owner[mine]]
    return end


def _outmost(is_part: np.ndarray) -> np.ndarray:
    """Return the cells of the part that have one outside it beside them (ny, nx) bool."""
    from scipy import ndimage

    return is_part & ndimage.binary_dilation(~is_part, np.ones((3, 3)))


def _reaches_edge(is_standing: np.ndarray, field: Field) -> np.ndarray:
    """Return the cells of pieces of standing wood that come near the edge of the blank (ny, nx) bool."""
    from scipy import ndimage

    label, count = ndimage.label(is_standing, np.ones((3, 3)))
    at_edge = np.zeros(count + 1, bool)
    at_edge[np.unique(label[field.rim(EDGE)])] = True
    at_edge[0] = False
    return at_edge[label]
