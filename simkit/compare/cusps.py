"""Cusps: the ridges that stand between neighbouring passes, measured by traces across the passes.

A trace is what a stylus would draw: the exact heights of the cut along a short line across two passes,
less the target.  The cells of the field are too coarse for this: passes lie one to three cells apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.compare.cusps_paths import Paths, nearest_on
from simkit.errors import ShapeError
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import Envelopes

SITES = 500  # traces over a side
EXTRA = 100  # further ones where cells look worst
DENSE = 6  # points of a trace to a stepover
POINTS = 9  # points of a trace on each side of the ridge
FINER = 8  # points on each side of the highest one, in a second go
SAME_PASS = 0.3  # cells: paths whose axes lie closer along the trace are one pass
TURN = np.cos(np.radians(30.0))  # neighbouring passes run within this of one direction
STEEP = 3.0  # rise per mm: on steeper walls (72 degrees) heights along z tell nothing of a ridge
BEND = 0.25  # change of slope from cell to cell: beyond it lies an edge of the target, or a corner


@dataclass(frozen=True)
class Cusps:
    """Ridges between passes at n sites of one side.

    side: 1 or 2.  area mm2 (in plan) for which each of the even sites stands.  is_open (ny, nx) bool: cells
    in which a ridge was looked for.  is_even (n,) bool: on the even grid of sites; the others were added
    where cells looked worst, and count for the worst alone.
    cell (n, 2): row and column of the site.  at (n, 3) mm, blank frame: top of the ridge.
    height (n,) mm: the ridge above the line through the lowest places of both passes, normal to the
    target, of (cut - target).  bound (n,) mm: the true height lies within height +- bound.
    mean (n,) mm: mean height over that line from pass to pass, for volumes; to about 5 %.
    stepover (n,) mm in plan between the axes of both passes.  direction (n,) degrees, 0 to 180, of the
    passes in plan, from x towards y.  slope (n,): of the target, rise per mm; across (n,): across the passes.
    row (n,): the move that cut the site.  tool (n,): number of its cutter.
    """

    side: int
    area: float
    is_open: np.ndarray
    is_even: np.ndarray
    cell: np.ndarray
    at: np.ndarray
    height: np.ndarray
    bound: np.ndarray
    mean: np.ndarray
    stepover: np.ndarray
    direction: np.ndarray
    slope: np.ndarray
    across: np.ndarray
    row: np.ndarray
    tool: np.ndarray


def cusps(
    field: Field,
    envelopes: Envelopes,
    side: int,
    paths: Paths,
    heights: Callable[[np.ndarray], np.ndarray],
    is_corner: np.ndarray,
    widest: float,
    proud: float,
) -> Cusps:
    """Return the ridges between the passes of one side, at sites spread evenly, and where they look worst.

    field, envelopes: on one lattice.  paths: of all moves, by the rows that the field names.
    heights(points (n, 2)) -> (n,) z mm of this side's surface, exact at any points.
    is_corner (ny, nx) bool: cells that no ridge is looked for in, for the cutter cannot get in there.
    widest mm: passes farther apart are no neighbours (a diameter).  proud mm: where both passes stay higher
    above the target than this nothing was finished, and it is no ridge but leftover.

    A site is left out where: the same cutter has no neighbouring pass within `widest`, the passes run in
    directions more than 30 degrees apart (where two patterns meet), the target has an edge or is
    steeper than 72 degrees along the trace.
    Error: heights are exact; the ridge is bracketed to 1/48 of the stepover, and the target between
    cells is interpolated; both are in `bound`.  Source: own derivation; against closed forms in tests.
    """
    if side not in (1, 2) or field.lattice != envelopes.lattice:
        raise ShapeError("cusps need side 1 or 2, field and envelopes on one lattice")
    surface = _Surface(field, envelopes, side, is_corner)
    is_open = surface.is_smooth & ~is_corner & _is_passed(surface.owner, paths)
    lattice = field.lattice
    stride = max(1, round(float(np.sqrt(is_open.sum() / SITES))))
    even = is_open.copy()
    even[:] = False
    even[stride // 2 :: stride, stride // 2 :: stride] = is_open[stride // 2 :: stride, stride // 2 :: stride]
    sites = np.argwhere(even)
    found = _neighbours(sites, surface, paths, widest)
    wide = found["stepover"][np.isfinite(found["stepover"])]
    worst = _worst_looking(surface, is_open, even, stride, np.median(wide) if len(wide) else lattice.cell)
    more = _neighbours(worst, surface, paths, widest)
    found = {name: np.concatenate([found[name], more[name]]) for name in found}
    is_even = np.arange(len(found["stepover"])) < len(sites)
    columns = _traced(np.concatenate([sites, worst]), found, surface, paths, heights, proud)
    is_even = is_even[columns.pop("kept")]
    return Cusps(side, (stride * lattice.cell) ** 2, is_open, is_even, **columns)


def _is_passed(owner: np.ndarray, paths: Paths) -> np.ndarray:
    """Return the cells that a pass cut (ny, nx) bool."""
    return np.where(owner >= 0, paths.is_pass[np.maximum(owner, 0)] if len(paths.is_pass) else False, False)


class _Surface:
    """One side of a field and its target along the side's own axis, with slopes and bends of the target."""

    def __init__(self, field: Field, envelopes: Envelopes, side: int, is_corner: np.ndarray):
        self.lattice: Lattice = field.lattice
        self.sign = 1.0 if side == 1 else -1.0
        self.owner = field.upper_move if side == 1 else field.lower_move
        cut = field.upper if side == 1 else field.lower
        self.target = self.sign * envelopes.side(side)
        self.off = np.where(field.is_solid, self.sign * cut - self.target, np.nan)
        cell = self.lattice.cell
        padded = np.pad(self.target, 1, constant_values=np.nan)
        before_y, after_y = padded[:-2, 1:-1], padded[2:, 1:-1]
        before_x, after_x = padded[1:-1, :-2], padded[1:-1, 2:]
        self.slope_y, self.slope_x = (after_y - before_y) / (2 * cell), (after_x - before_x) / (2 * cell)
        self.bend = np.maximum(
            np.abs(before_y + after_y - 2 * self.target), np.abs(before_x + after_x - 2 * self.target)
        )  # mm: second differences
        self.slope = np.hypot(self.slope_x, self.slope_y)
        # NaN, at the outline, compares false.
        self.is_smooth = (self.bend < BEND * cell) & (self.slope < STEEP) & ~np.isnan(self.off)
        self.is_barred = ~self.is_smooth | is_corner

    def target_at(self, points: np.ndarray) -> np.ndarray:
        """Return the target between cell centres, NaN near the outline (n,) mm."""
        cell, (x0, y0) = self.lattice.cell, self.lattice.origin
        fx = np.clip((points[:, 0] - x0) / cell - 0.5, 0, self.lattice.nx - 1.000001)
        fy = np.clip((points[:, 1] - y0) / cell - 0.5, 0, self.lattice.ny - 1.000001)
        ix, iy = fx.astype(np.int64), fy.astype(np.int64)
        fx, fy = fx - ix, fy - iy
        ix1, iy1 = np.minimum(ix + 1, self.lattice.nx - 1), np.minimum(iy + 1, self.lattice.ny - 1)
        low = self.target[iy, ix] * (1 - fx) + self.target[iy, ix1] * fx
        high = self.target[iy1, ix] * (1 - fx) + self.target[iy1, ix1] * fx
        return low * (1 - fy) + high * fy


def _worst_looking(surface: _Surface, is_open, even, stride: int, wide) -> np.ndarray:
    """Return the cells (k, 2) that stand highest above the lowest within a stepover, one to a block."""
    from scipy import ndimage

    size = 2 * max(1, round(wide / surface.lattice.cell)) + 1
    off = np.where(surface.is_barred, np.inf, surface.off)
    high = np.where(is_open & ~even, surface.off - ndimage.minimum_filter(off, size), -np.inf)
    ny, nx = (-(-n // stride) for n in high.shape)
    padded = np.full((ny * stride, nx * stride), -np.inf)
    padded[: high.shape[0], : high.shape[1]] = high
    blocks = padded.reshape(ny, stride, nx, stride).swapaxes(1, 2).reshape(ny * nx, -1)
    best = blocks.argmax(axis=1)
    value = blocks[np.arange(len(blocks)), best]
    chosen = np.argsort(-value, kind="stable")[:EXTRA]
    chosen = chosen[value[chosen] > 0]
    return np.column_stack(
        [chosen // nx * stride + best[chosen] // stride, chosen % nx * stride + best[chosen] % stride]
    )


def _traced(cells, found, surface: _Surface, paths: Paths, heights, proud: float):
    """Return the columns of Cusps at those of the cells (k, 2) where a ridge can be told, and which."""
    kept = np.flatnonzero(np.isfinite(found["stepover"]))
    keep = kept
    cells, found = cells[keep], {name: values[keep] for name, values in found.items()}
    steps = np.arange(-POINTS, POINTS + 1) / DENSE
    u = found["ridge"][:, None] + steps * found["stepover"][:, None]
    off = _off(u, found, surface, heights)
    # The ridge lies within half a stepover of where the owner changes.
    middle = off[:, POINTS - DENSE // 2 : POINTS + DENSE // 2 + 1]
    top = (
        POINTS - DENSE // 2 + np.where(np.isnan(middle).any(axis=1), 0, np.nan_to_num(middle).argmax(axis=1))
    )
    some = np.arange(len(u))
    gap = found["stepover"] / (DENSE * FINER)
    fine_u = u[some, top][:, None] + np.arange(-FINER, FINER + 1) * gap[:, None]
    fine = _off(fine_u, found, surface, heights)
    peak = np.where(np.isnan(fine).any(axis=1), FINER, np.nan_to_num(fine).argmax(axis=1))
    ridge_u, ridge = fine_u[some, peak], fine[some, peak]
    all_u, all_off = np.concatenate([u, fine_u], axis=1), np.concatenate([off, fine], axis=1)
    reach = found["stepover"][:, None] * 1.02
    is_left = (all_u <= ridge_u[:, None]) & (all_u >= ridge_u[:, None] - reach)
    is_right = (all_u >= ridge_u[:, None]) & (all_u <= ridge_u[:, None] + reach)
    left = np.where(is_left, all_off, np.inf).argmin(axis=1)
    right = np.where(is_right, all_off, np.inf).argmin(axis=1)
    left_u, left_off = all_u[some, left], all_off[some, left]
    right_u, right_off = all_u[some, right], all_off[some, right]
    span = np.maximum(right_u - left_u, 1e-9)

    def chord(at):
        share = (at - left_u[:, None]) / span[:, None]
        return left_off[:, None] * (1 - share) + right_off[:, None] * share

    height = np.maximum(ridge - chord(ridge_u[:, None])[:, 0], 0.0)
    order = np.argsort(all_u, axis=1)
    sorted_u = np.take_along_axis(all_u, order, axis=1)
    above = np.take_along_axis(np.where(is_left | is_right, all_off - chord(all_u), 0.0), order, axis=1)
    between = (sorted_u >= left_u[:, None]) & (sorted_u <= right_u[:, None])
    above = np.where(between, np.maximum(above, 0.0), 0.0)  # nothing at both ends, so no strip is cut
    mean = np.trapezoid(above, sorted_u, axis=1) / span
    outer = np.minimum(np.maximum(peak, 2), 2 * FINER - 2)
    flank = np.maximum(
        np.abs(fine[some, outer - 1] - fine[some, outer - 2]),
        np.abs(fine[some, outer + 1] - fine[some, outer + 2]),
    )
    bound = 1.2 * flank + 0.25 * found["bend"]
    place = found["origin"] + ridge_u[:, None] * found["normal"]
    z = surface.sign * (ridge / found["cos"] + surface.target_at(place))
    keep = np.isfinite(off).all(axis=1) & np.isfinite(height) & (np.minimum(left_off, right_off) <= proud)
    along = found["along"]
    columns = {
        "cell": cells,
        "at": np.column_stack([place, z]),
        "height": height,
        "bound": bound,
        "mean": mean,
        "stepover": found["stepover"],
        "direction": np.degrees(np.arctan2(along[:, 1], along[:, 0])) % 180.0,
        "slope": surface.slope[tuple(cells.T)],
        "across": np.abs(found["across"]),
        "row": surface.owner[tuple(cells.T)],
        "tool": paths.tool[surface.owner[tuple(cells.T)]] if len(cells) else np.zeros(0, np.int32),
        "kept": kept,
    }
    return {name: values[keep] for name, values in columns.items()}


def _off(u, found, surface: _Surface, heights) -> np.ndarray:
    """Return how far the cut stands off the target, normal to it, along traces u (k, m); NaN where barred."""
    points = (found["origin"][:, None, :] + u[:, :, None] * found["normal"][:, None, :]).reshape(-1, 2)
    if not len(points):
        return np.zeros(u.shape)
    off = surface.sign * heights(points) - surface.target_at(points)
    iy, ix = surface.lattice.cell_at(points[:, 0], points[:, 1])
    off = np.where(surface.is_barred[iy, ix], np.nan, off)
    return off.reshape(u.shape) * found["cos"][:, None]


def _neighbours(cells, surface: _Surface, paths: Paths, widest: float) -> dict[str, np.ndarray]:
    """Return for each site the pass next to its own: origin, directions, stepover (NaN for none), ridge."""
    lattice = surface.lattice
    iy, ix = cells.T
    origin = np.column_stack(lattice.centre_of(iy, ix)).reshape(-1, 2)
    own = surface.owner[iy, ix]
    place, along = nearest_on(paths, own, origin)
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    axis = ((place - origin) * normal).sum(axis=1)
    stepover, ridge = np.full(len(cells), np.nan), np.zeros(len(cells))
    is_done = np.zeros((2, len(cells)), bool)
    for far in range(1, int(np.ceil(widest / lattice.cell)) + 1):
        for k, sign in enumerate((1.0, -1.0)):
            at = origin + sign * far * lattice.cell * normal
            y, x = lattice.cell_at(at[:, 0], at[:, 1])
            other = surface.owner[y, x]
            is_pass = (other >= 0) & paths.is_pass[np.maximum(other, 0)] & ~surface.is_barred[y, x]
            other = np.where(is_pass, other, own)
            centre = np.column_stack(lattice.centre_of(y, x))
            its_place, its_along = nearest_on(paths, other, centre)
            its_axis = ((its_place - origin) * normal).sum(axis=1)
            is_other = is_pass & (np.abs(its_axis - axis) > SAME_PASS * lattice.cell)
            is_like = (paths.tool[other] == paths.tool[own]) & (
                np.abs((its_along * along).sum(axis=1)) >= TURN
            )
            is_near = np.abs(its_axis - axis) <= widest
            is_new = is_other & is_like & is_near & ~is_done[k] & np.isnan(stepover)
            stepover[is_new] = np.abs(its_axis - axis)[is_new]
            ridge[is_new] = sign * (far - 0.5) * lattice.cell
            is_done[k] |= is_other | ~is_pass  # the first other pass, or none
        if (is_done.all(axis=0) | ~np.isnan(stepover)).all():
            break
    gradient = np.column_stack([surface.slope_x[iy, ix], surface.slope_y[iy, ix]])
    return {
        "origin": origin,
        "along": along,
        "normal": normal,
        "across": (gradient * normal).sum(axis=1),
        "cos": 1.0 / np.hypot(1.0, surface.slope[iy, ix]),
        "bend": surface.bend[iy, ix],
        "stepover": stepover,
        "ridge": ridge,
    }
