"""Carve any closed mesh: roughing by levels, ball passes that touch and never enter it, a contour, tabs.

What the olive boat and the open shapes share stands first; then `Solid`, the mesh as one side's cutters
meet it, and `Side`, the steps of one side.  Plan coordinates x, y and heights h as in toolpaths.py, mm.

The part lies in a trench round the convex hull of its shadow.  Both sides are cut down to a skin that
runs all round the part at `skin` heights; the last side cuts through it and leaves tabs.
"""

from __future__ import annotations

import itertools
import math
import struct
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import toolpaths
from carving_kernels import drop_ball, plan_distance
from scipy import ndimage
from scipy.spatial import ConvexHull

SAFE, NEAR = 8.0, 1.0  # above the blank: rapid traverses, and where rapids down end
FLAT_R, BALL_R, SMALL_BALL_R = 3.0, 3.0, 1.5
SPOILBOARD = 3.0  # how far the drill goes into the board below the blank
TRENCH = 9.0  # width of the trench round the part's hull
STEP_DOWN, ALLOWANCE, ROW = 3.0, 0.5, 2.75
TAB_WIDTH = 6.0
OFF = 0.02  # mm that contours keep off the part

JOB = """\
{head}
name = "{name}"
unit = "mm"

[blank]
length = {length:g}
width = {width:g}
thickness = {thickness:g}
species = "cherry"
{wood}
{cutters}
{setups}
[target]
mesh = "{mesh}"
units = "mm"
anchor = "origin"
at = {at}

{dowels}
[limits]
gouge = 0.1
leftover = 0.3
thinnest_wall = {thinnest:g}
witness_step = 0.2
dowel_miss = 0.1
"""
SCREW = """
[[holding]]
kind = "screw"
at = [{x:g}, {y:g}]
diameter = 4
"""
SETUP = """\
[[setups]]
name = "{name}"
turn = "{turn}"
zero = {{ corner = "left front", face = "top"{offset} }}
spoilboard = 6
programs = ["{program}"]
"""
CUTTERS = """\
[cutters.1]
shape = "flat"
diameter = 6
flutes = 2
cutting_length = 38
shank = 6
stick_out = 50

[cutters.2]
shape = "ball"
diameter = 6
flutes = 2
cutting_length = 38
shank = 6
stick_out = 50

[cutters.3]
shape = "ball"
diameter = 3
flutes = 2
cutting_length = 16
shank = 6
stick_out = 45

[cutters.4]
shape = "drill"
diameter = 6
flutes = 2
cutting_length = 50
shank = 6
stick_out = 60
point = 118
"""
DOWEL = """\
[[dowels]]
name = "{name}"
at = [{x:g}, {y:g}]
diameter = 6
"""


def write_stl(path, vertices, faces, note):
    """Write a binary STL file, float32."""
    corners = vertices.astype("<f4")[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-30)
    rows = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    rows["normal"], rows["corners"] = normals, corners
    path.write_bytes(note.encode().ljust(80) + struct.pack("<I", len(faces)) + rows.tobytes())


def dowel_text(dowels):
    """Return the dowels of a job file; dowels: name -> (x, y)."""
    return "\n".join(DOWEL.format(name=name, x=x, y=y) for name, (x, y) in dowels.items())


def job_text(
    head, name, blank, setups, mesh, dowels, thinnest, cutters=CUTTERS, screws=(), wood="", at=(0, 0, 0)
):
    """Return a job file's text.

    head: lines of comment.  blank: (length, width, thickness), mm.  setups: (name, turn, text added to
    the zero, program, further lines) each.  dowels: name -> (x, y).  thinnest mm: wall.  screws: places
    (x, y), as the blank lies, of those that hold its frame in every setup.  wood: further lines of the blank.
    at: where the mesh's own origin lies in the blank, mm.
    """
    length, width, thickness = blank
    return JOB.format(
        head="\n".join(f"# {line}" for line in head),
        name=name,
        length=length,
        width=width,
        thickness=thickness,
        cutters=cutters,
        setups="\n".join(
            SETUP.format(name=name, turn=turn, offset=offset, program=program) + "".join(more)
            for name, turn, offset, program, *more in setups
        ),
        mesh=mesh,
        wood=wood,
        at=list(at),
        dowels=dowel_text(dowels) if dowels else "",
        thinnest=thinnest,
    ) + "".join(SCREW.format(x=x, y=y) for x, y in screws)


def header(program, title, blank, zero, cutters):
    """Begin a program.  blank: (length, width, thickness, species)."""
    length, width, thickness, species = blank
    program.say(
        f"({title})",
        f"(blank {length:g} x {width:g} x {thickness:g} mm, {species})",
        f"(zero: {zero})",
        *(f"({text})" for text in cutters),
        "G21 G90 G17",
        "G54",
        f"G0 Z{toolpaths.number(SAFE)}",
    )


def dowel_holes(program, places, thickness):
    """Drill the dowel holes in pecks, through the blank and into the spoilboard."""
    program.change(4, "6 mm drill, 118 degree point")
    program.begin(f"dowel holes, through the blank and {SPOILBOARD:g} mm into the spoilboard")
    for x, y in places:
        program.approach(x, y)
        h = thickness
        while h > -SPOILBOARD:
            h = max(h - 6.0, -SPOILBOARD)
            program.line(x, y, h, toolpaths.DRILL_FEED)
            program.rapid(x, y, thickness + NEAR)
            if h > -SPOILBOARD:
                program.rapid(x, y, h + 0.5)
    program.retract()


class Solid:
    """Triangles (n, 3, 3) seen from above (h up), in buckets, with the cutter's offset surface."""

    def __init__(self, corners, edge=2.0):
        self.corners = np.ascontiguousarray(corners, dtype=float)
        plan = self.corners[..., :2]
        self.low, self.edge = plan.min(axis=(0, 1)), edge
        self.shape = tuple(int(n) for n in (plan.max(axis=(0, 1)) - self.low) // edge + 1)
        least = ((plan.min(axis=1) - self.low) // edge).astype(int)
        most = ((plan.max(axis=1) - self.low) // edge).astype(int)
        wide, high = (most - least + 1).T
        owner = np.repeat(np.arange(len(plan)), wide * high)
        nth = np.arange(len(owner)) - np.repeat(np.cumsum(wide * high) - wide * high, wide * high)
        i, j = least[owner, 0] + nth % wide[owner], least[owner, 1] + nth // wide[owner]
        bucket = j * self.shape[0] + i
        self.items = owner[np.argsort(bucket, kind="stable")]
        self.first = np.searchsorted(np.sort(bucket), np.arange(self.shape[0] * self.shape[1] + 1))

    def _ask(self, kernel, x, y, far):
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        out = np.empty(x.size)
        kernel(
            self.corners,
            self.first,
            self.items,
            *self.low.tolist(),
            self.edge,
            *self.shape,
            x.ravel(),
            y.ravel(),
            float(far),
            out,
        )
        return out.reshape(x.shape)

    def tip(self, x, y, radius):
        """Return the lowest height of a ball's tip at x, y that stays out of the mesh, exact; -inf beside."""
        return self._ask(drop_ball, x, y, radius)

    def top(self, x, y):
        """Return the height of the mesh, -inf beside it."""
        return self._ask(drop_ball, x, y, 0.0)

    def beside(self, x, y, most):
        """Return the distance in plan to the mesh's shadow, 0 inside, cut off at `most`."""
        return self._ask(plan_distance, x, y, most)

    @cached_property
    def hull(self):
        """Corners (n, 2) of the convex hull of the shadow, counter-clockwise."""
        points = np.unique(self.corners[..., :2].reshape(-1, 2).round(6), axis=0)
        return points[ConvexHull(points).vertices]

    def from_hull(self, x, y):
        """Return the distance to the hull's edge: positive outside, negative inside."""
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        best, is_in = np.full(x.shape, np.inf), np.ones(x.shape, dtype=bool)
        for (ax, ay), (bx, by) in zip(self.hull, np.roll(self.hull, -1, 0), strict=True):
            dx, dy = bx - ax, by - ay
            part = np.clip(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy), 0, 1)
            best = np.minimum(best, np.hypot(x - ax - part * dx, y - ay - part * dy))
            is_in &= dx * (y - ay) - dy * (x - ax) >= 0
        return np.where(is_in, -best, best)


def loops(values, level, x, y, least=4.0, tolerance=0.01):
    """Return closed paths (n, 2) where the grid values[i, j] at x[i], y[j] cross a level."""
    import contourpy

    found = []
    for line in contourpy.contour_generator(x, y, values.T).lines(level):
        length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
        if length >= least and np.array_equal(line[0], line[-1]):
            half = len(line) // 2  # a closed path has no chord from end to end
            solid = np.column_stack([line, np.zeros(len(line))])
            parts = [
                toolpaths.thinned(solid[: half + 1], tolerance),
                toolpaths.thinned(solid[half:], tolerance),
            ]
            found.append(np.concatenate([parts[0], parts[1][1:]])[:, :2])
    return found


class Free(toolpaths.Lattice):
    """Where a flat cutter's centre may go at one level: where `room` (on x, y) is at least `least`."""

    def __init__(self, x, y, room, level, least):
        self.low, self.cell = np.array([x[0], y[0]]), float(x[1] - x[0])
        self.x, self.y = x, y
        self.tip = np.where(room >= least, level - 1.0, level + 1.0)


@dataclass
class Side:
    """One side of a part as it is carved.

    solid: the mesh in x, y, h.  top: h of the blank's face.  floor: h down to which this side cuts
    beside the part.  tabs: as segments in plan, at the floor.  sinks: whether the ball may go below
    the floor at the part's edge, for a part that lies below the skin here and there.
    """

    program: toolpaths.Program
    solid: Solid
    top: float
    floor: float
    tabs: list = field(default_factory=list)
    sinks: bool = False
    cell: float = 0.25

    @cached_property
    def grid(self):
        """Return x, y of the lattice over the part and its trench."""
        low, high = self.solid.hull.min(axis=0) - TRENCH - 1.0, self.solid.hull.max(axis=0) + TRENCH + 1.0
        return tuple(np.arange(a, b + self.cell, self.cell) for a, b in zip(low, high, strict=True))

    @cached_property
    def beside(self):
        """Return the distance in plan to the part's shadow on the grid."""
        x, y = self.grid
        return self.solid.beside(x[:, None], y[None, :], 2 * FLAT_R + 2)

    @cached_property
    def from_hull(self):
        """Return the distance to the hull on the grid."""
        x, y = self.grid
        return self.solid.from_hull(x[:, None], y[None, :])

    def openness(self, x, y):
        """Return how far out a place is."""
        return float(self.solid.from_hull(x, y))

    def round_and_down(self, path, above, level, ramp=20.0):
        """Go round a closed path (n, 2), sinking from `above` to `level` along its first `ramp` mm."""
        program = self.program
        gone = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
        ramp = min(ramp, gone[-1] * 0.9)
        end = np.array([np.interp(ramp, gone, path[:, 0]), np.interp(ramp, gone, path[:, 1])])
        is_ramp = gone < ramp
        down = np.concatenate([path[is_ramp], [end]])
        h = above - (above - level) * np.append(gone[is_ramp], ramp) / ramp
        program.approach(*map(float, path[0]), float(above))
        program.path(np.column_stack([down, h])[1:], toolpaths.PLUNGE)
        rest = np.concatenate([path[~is_ramp], down[1:]])
        program.path(np.column_stack([rest, np.full(len(rest), level)]))

    def floor_at(self, x, y, radius):
        """Return how low a ball's tip may go for the skin's sake."""
        if not self.sinks:
            return self.floor
        is_skin = self.solid.beside(x, y, radius + 1.0) >= radius
        for a, b in self.tabs:
            is_skin |= _to_segment(x, y, a, b) < TAB_WIDTH / 2 + radius
        return np.where(is_skin, self.floor, -np.inf)

    def rough(self, allowance=ALLOWANCE):
        """Clear the wood above the part level by level, down to the floor."""
        solid, program = self.solid, self.program
        program.begin(f"roughing, {allowance:g} mm left on" if allowance else "face of the part")

        def surface(x, y):
            part = np.maximum(solid.top(x, y) + allowance, self.floor_at(x, y, 0.01))
            return np.where(solid.from_hull(x, y) <= TRENCH, part, self.top + SAFE)

        x, y = self.grid
        side = 0.3 if allowance else 0.0
        lattice = toolpaths.Lattice(surface, (x[0], y[0]), (x[-1], y[-1]), FLAT_R + side, 0.0, self.cell)
        lowest = float(lattice.tip.min())
        count = max(1, math.ceil((self.top - lowest) / STEP_DOWN))
        levels = np.linspace(self.top, lowest, count + 1)
        for above, level in itertools.pairwise(levels):
            for path in loops(lattice.tip, level + 1e-6, lattice.x, lattice.y, 8.0, 0.05):
                self.round_and_down(path, above, level)
            toolpaths.clear_level(program, lattice, float(level), ROW, None, self.openness)

    def spans(self, step, grow):
        """Return passes (x, y first, y last) over the hull grown by `grow`."""
        _x, y = self.grid
        xs = np.arange(
            self.solid.hull[:, 0].min() - grow + step / 3, self.solid.hull[:, 0].max() + grow, step
        )
        fine = np.arange(y[0], y[-1], 0.1)
        found = []
        for at in xs:
            is_in = np.flatnonzero(self.solid.from_hull(np.full(len(fine), at), fine) <= grow)
            if len(is_in) > 1:
                found.append((float(at), float(fine[is_in[0]]), float(fine[is_in[-1]])))
        return found

    def over(self, radius):
        """Return the function that says how low a ball's tip may go at x, y."""
        return lambda x, y: np.maximum(self.solid.tip(x, y, radius), self.floor_at(x, y, radius))

    def finish(self, step=0.6, radius=BALL_R):
        """Pass over the whole part with a ball that touches it."""
        self.program.begin(f"part, passes {step:g} mm apart")
        path = toolpaths.follow(self.over(radius), self.spans(step, radius), longest=0.35)
        self.program.approach(*map(float, path[0]))
        self.program.path(path)

    def left_by(self, radius, cell=0.3):
        """Return x, y and what a perfect pass of a ball leaves standing above one of the small ball."""
        x, y = self.grid
        x, y = np.arange(x[0], x[-1], cell), np.arange(y[0], y[-1], cell)
        left = []
        for r in (radius, SMALL_BALL_R):
            tip = self.over(r)(x[:, None], y[None, :])
            reach = int(r / cell)
            i, j = np.mgrid[-reach : reach + 1, -reach : reach + 1]
            is_in = np.hypot(i, j) * cell <= r
            rise = np.where(is_in, r - np.sqrt(np.maximum(r * r - (i * i + j * j) * cell**2, 0)), 0.0)
            left.append(ndimage.grey_erosion(tip, footprint=is_in, structure=-rise, mode="nearest"))
        return x, y, left[0] - left[1]

    def rest(self, step=0.3, least=0.1, margin=1.0):
        """Clean what the big ball could not get into with the small one, spot after spot."""
        x, y, left = self.left_by(BALL_R)
        is_left = (left > least) & (self.solid.beside(x[:, None], y[None, :], 3.0) <= 0)
        cell = x[1] - x[0]
        is_left = ndimage.binary_closing(np.pad(is_left, 5), iterations=4)[5:-5, 5:-5]
        grown = ndimage.binary_dilation(is_left, iterations=max(1, round(margin / cell)))
        label, count = ndimage.label(grown)
        self.program.begin(f"corners, passes {step:g} mm apart")
        for k, (rows, _) in enumerate(ndimage.find_objects(label), 1):
            for spans in _runs(label[rows] == k, x[rows], y, step):
                path = toolpaths.follow(self.over(SMALL_BALL_R), spans, longest=0.35)
                self.program.approach(*map(float, path[0]))
                self.program.path(path)
        return count

    def contour(self):
        """Go round the part's shadow once at the floor, with the flat cutter."""
        self.program.begin("contour down to the skin")
        x, y = self.grid
        room = np.minimum(self.beside - FLAT_R - OFF, TRENCH - self.from_hull - FLAT_R)
        for path in loops(room, 0.0, x, y):
            if self.beside_at(path) < FLAT_R + 1:
                self.round_and_down(path, self.floor + 1.0, self.floor, 5.0)

    def beside_at(self, path):
        """Return how near a path (n, 2) comes to the part's shadow."""
        return float(self.solid.beside(*path.T, 2 * FLAT_R).min())

    def through(self, level):
        """Cut the skin away round the part, down to `level`, all but the tabs."""
        self.program.begin(f"through the skin, {len(self.tabs)} tabs")
        x, y = self.grid
        room = np.minimum(self.beside - FLAT_R - OFF, TRENCH - self.from_hull - FLAT_R)
        for a, b in self.tabs:
            room = np.minimum(room, _to_segment(x[:, None], y[None, :], a, b) - TAB_WIDTH / 2 - FLAT_R)
        for path in loops(room, 0.0, x, y):
            self.round_and_down(path, self.floor, level)
        free = Free(x, y, room, level, 0.3)
        toolpaths.clear_level(self.program, free, level, ROW, None, self.openness)


def find_tabs(solid, skin, count=4, beyond=3.0):
    """Return tabs as segments ((x, y), (x, y)), where the part is thickest at the skin.

    skin: (low, high) h of it.  They stand on the hull, spread round the part.
    """
    low, high = solid.hull.min(axis=0) - 3.0, solid.hull.max(axis=0) + 3.0
    x, y = (np.arange(a, b, 0.25) for a, b in zip(low, high, strict=True))
    rings = loops(solid.beside(x[:, None], y[None, :], 2.0), 0.3, x, y)
    best = max(rings, key=lambda ring: np.ptp(ring, axis=0).prod())  # the outermost
    gone = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(best, axis=0), axis=1))])
    at = np.arange(0, gone[-1], 1.0)
    points = np.column_stack([np.interp(at, gone, best[:, k]) for k in (0, 1)])
    along = np.roll(points, -3, 0) - np.roll(points, 3, 0)
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1, keepdims=True)
    if solid.beside(*(points + 0.3 * out).T, 3).mean() < solid.beside(*points.T, 3).mean():
        out = -out
    under = Solid(solid.corners * [1, 1, -1])
    thick = np.full(len(at), np.inf)
    for inside in (0.6, 1.3):
        inner = points - inside * out
        here = np.minimum(solid.top(*inner.T), skin[1]) - np.maximum(-under.top(*inner.T), skin[0])
        thick = np.minimum(thick, np.where(np.isfinite(here), here, -np.inf))
    thick = np.where(solid.from_hull(*points.T) > -1.0, thick, -np.inf)
    score = ndimage.minimum_filter1d(thick, 7, mode="wrap")
    found = []
    for turn in range(count):
        is_here = np.arange(len(at)) * count // len(at) == turn
        middle = 1 - np.abs(at / gone[-1] * count - turn - 0.5)  # ties go to the middle
        k = int(np.where(is_here, score + 0.05 * middle, -np.inf).argmax())
        if score[k] > 0.5:
            a, b = points[k] - 2.0 * out[k], points[k] + (TRENCH + beyond) * out[k]
            found.append((tuple(map(float, a)), tuple(map(float, b))))
    return found


def _to_segment(x, y, a, b):
    dx, dy = b[0] - a[0], b[1] - a[1]
    part = np.clip(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy), 0, 1)
    return np.hypot(x - a[0] - part * dx, y - a[1] - part * dy)


def _runs(mask, x, y, step):
    """Return lists of spans (x, y first, y last), each one connected strip of the mask."""
    every = max(1, round(step / (x[1] - x[0]))) if len(x) > 1 else 1
    open_runs, done = [], []
    for i in range(0, len(x), every):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], mask[i].astype(int), [0]])))
        now = [
            (float(x[i]), float(y[a]), float(y[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)
        ]
        going = []
        for span in now:
            near = [run for run in open_runs if run[-1][1] <= span[2] and run[-1][2] >= span[1]]
            if near:
                open_runs.remove(near[0])
                going.append([*near[0], span])
            else:
                going.append([span])
        done += open_runs
        open_runs = going
    return done + open_runs
