"""Knives, spikes and pits on random targets, and how far off these are by brute force."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import manifold3d
import numpy as np
import trimesh
from scipy import ndimage

from simkit.stock.field import Lattice

KINDS = ("knife", "spike", "pit")
SHARE = 0.25  # of the jobs have some of a kind
MOST = 3  # of a kind in a job
HALF_WIDTH = 0.05  # mm: knives are 0.1 mm wide where they leave the target
ROOT = 0.4  # mm: so far knives and spikes go on inside the target, pits over it
FREE = 3.0  # mm from the blank's edge
STEP = 0.5  # mm along a knife from corner to corner of its crest
LEVEL = 0.5  # mm: the target below a knife rises and falls by no more
ASKED = 0.01  # mm: along a crest from one place that is asked to the next
COLUMN = 0.005  # mm: edge of the columns of the cut that its places are held against
TRIES = 40


@dataclass(frozen=True)
class Narrow:
    """What stands on the target, or is let into it: crest (n, 3) mm, corners of a line, or one point.

    kind: of KINDS.  half_width mm: where it leaves the target.  height mm: of the crest over it; negative: a
    pit's tip below.
    """

    kind: str
    crest: np.ndarray
    half_width: float
    height: float

    def solids(self) -> list:
        """Return the convex solids that make it up."""
        widened = self.half_width * (abs(self.height) + ROOT) / abs(self.height)
        foot = np.array([0.0, 0.0, self.height + (ROOT if self.height > 0 else -ROOT)])
        if self.kind == "knife":
            along = self.crest[-1, :2] - self.crest[0, :2]
            aside = widened * np.array([-along[1], along[0], 0.0]) / np.hypot(*along)
            rows = np.stack([self.crest, self.crest - foot + aside, self.crest - foot - aside], axis=1)
            return [
                manifold3d.Manifold.hull_points(np.ascontiguousarray(np.concatenate(two)))
                for two in pairwise(rows)
            ]
        turns = 2 * np.pi * np.arange(5) / 5
        ring = np.column_stack([widened * np.cos(turns), widened * np.sin(turns), np.zeros(5)])
        return [manifold3d.Manifold.hull_points(np.vstack([self.crest, self.crest - foot + ring]))]

    def asked(self) -> tuple[np.ndarray, float]:
        """Return places along its crest (m, 3) mm, and half the way between two of them, mm."""
        if len(self.crest) == 1:
            return self.crest, 0.0
        legs = np.linalg.norm(np.diff(self.crest, axis=0), axis=1)
        count = int(np.ceil(legs.max() / ASKED))
        shares = np.linspace(0.0, 1.0, count + 1)[:, None]
        parts = [a + shares * (b - a) for a, b in zip(self.crest[:-1], self.crest[1:], strict=True)]
        return np.concatenate(parts), float(legs.max()) / count / 2


def drawn(rng, grid, length: float, width: float) -> list[Narrow]:
    """Return what is narrow in a job: of each kind in SHARE of the jobs one to MOST.

    grid: the target without; its heights are asked.
    """
    found = []
    for kind in KINDS:
        is_in, count = rng.uniform() < SHARE, int(rng.integers(1, MOST + 1))
        for _ in range(count if is_in else 0):
            height = float(rng.uniform(0.1, 0.5)) * (-1 if kind == "pit" else 1)
            half_width = HALF_WIDTH if kind == "knife" else float(rng.uniform(0.03, 0.1))
            for _ in range(TRIES):
                middle = rng.uniform([FREE, FREE], [length - FREE, width - FREE])
                turn, run = rng.uniform(0, np.pi), rng.uniform(1.0, 3.0) if kind == "knife" else 0.0
                way = run / 2 * np.array([np.cos(turn), np.sin(turn)])
                corners = np.linspace(middle - way, middle + way, int(np.ceil(run / STEP)) + 1)
                z = grid.heights(corners)[1]
                # On a level top or a gentle slope: on a terrace's wall nothing is 0.1 mm wide.
                about = middle + 0.6 * np.array([[-1, 0], [1, 0], [0, -1], [0, 1], [0, 0]])
                every = np.r_[z, grid.heights(about)[1]]
                is_free = all(
                    np.hypot(*(corners[:, None, :2] - one.crest[None, :, :2]).T).min() > 2 for one in found
                )
                if np.isfinite(every).all() and np.ptp(every) < LEVEL and is_free:
                    found.append(Narrow(kind, np.column_stack([corners, z + height]), half_width, height))
                    break
    return found


def with_narrow(mesh: trimesh.Trimesh, narrow: list[Narrow]) -> trimesh.Trimesh:
    """Return the mesh with what stands on it and without what is let into it."""
    if not narrow:
        return mesh
    whole = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(mesh.vertices, np.float64),
            tri_verts=np.ascontiguousarray(mesh.faces, np.uint64),
        )
    )
    for kinds, what in ((("knife", "spike"), manifold3d.OpType.Add), (("pit",), manifold3d.OpType.Subtract)):
        solids = [solid for one in narrow if one.kind in kinds for solid in one.solids()]
        if solids:
            whole = manifold3d.Manifold.batch_boolean([whole, *solids], what)
    made = whole.to_mesh64()
    return trimesh.Trimesh(
        np.asarray(made.vert_properties)[:, :3], np.asarray(made.tri_verts).astype(np.int64), process=False
    )


def off_at(one: Narrow, recut) -> tuple[float, float]:
    """Return between which distances from the cut the crest, or the tip, lies farthest off, mm (least, most).

    0, 0 where the cut leaves it.  recut(lattice): the cut there.  Held against columns COLUMN wide, wood
    below the cut or air over it: at most as far as from the nearest of these; at least as far as from the
    same columns half a diagonal nearer and as high, or low, as the highest of their neighbours.
    Its faces are no farther off: with (a, b) the way in plan and in height to the column nearest to a
    place of the crest, a place of a face u beside that lies within hypot(a + u, b - s u) of the same column,
    s its slope, which is largest at either end; so the larger of these counts.
    """
    places, half = one.asked()
    sign = 1.0 if one.height > 0 else -1.0
    low, high = places[:, :2].min(axis=0) - 1.0, places[:, :2].max(axis=0) + 1.0
    nx, ny = (int(n) for n in np.ceil((high - low) / COLUMN))
    lattice = Lattice((float(low[0]), float(low[1])), COLUMN, nx, ny)
    cut = sign * recut(lattice).upper.astype(np.float64)  # a pit is held against air as a tip against wood
    near = ndimage.maximum_filter(cut, 3)
    xs, ys, away = lattice.x(), lattice.y(), COLUMN / np.sqrt(2)
    slope = abs(one.height) / one.half_width
    worst = np.zeros(2)
    for x, y, z in places * [1.0, 1.0, sign]:
        iy, ix = (int(k) for k in lattice.cell_at(x, y))
        gap = z - cut[iy, ix]
        if gap <= 0:
            continue
        reach = int(np.ceil(gap / COLUMN)) + 1
        rows = slice(max(iy - reach, 0), iy + reach + 1), slice(max(ix - reach, 0), ix + reach + 1)
        aside = np.hypot(xs[None, rows[1]] - x, ys[rows[0], None] - y)
        down = np.maximum(z - cut[rows], 0.0)
        k = np.unravel_index(np.argmin(np.hypot(aside, down)), aside.shape)
        most = max(float(np.hypot(aside, down)[k]), float(aside[k] + down[k] / slope))
        least = np.hypot(np.maximum(aside - away, 0.0), np.maximum(z - near[rows], 0.0)).min()
        worst = np.maximum(worst, [float(least), most + half])
    return float(worst[0]), float(worst[1])


def way_to(narrow: list[Narrow], lattice: Lattice) -> np.ndarray:
    """Return how far the centres of cells are from all that is narrow, in plan, mm (ny, nx), or less."""
    is_free = np.ones(lattice.shape, bool)
    for one in narrow:
        places = one.asked()[0]
        is_free[lattice.cell_at(*places[:, :2].T)] = False
    if is_free.all():
        return np.full(lattice.shape, np.inf)
    wide = max(one.half_width for one in narrow) + 2 * lattice.cell
    return np.maximum(ndimage.distance_transform_edt(is_free) * lattice.cell - wide, 0.0)
