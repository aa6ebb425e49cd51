"""Random jobs near their limits, judged on coarse cells with second looks and on fine cells everywhere."""

import time
from dataclasses import dataclass, replace

import numpy as np
import trimesh
from scipy import ndimage

from simkit import check
from simkit.check import NoProgress, Timings
from simkit.compare.deviation import deviation
from simkit.cutters import Cutter
from simkit.findings import shape
from simkit.job.model import Blank, Job, Limits, Setup, Zero, Zone
from simkit.moves.table import make_moves
from simkit.stock.field import blank_lattice
from simkit.target.coarseness import coarseness
from simkit.target.envelope import envelopes
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target
from tests.verdict_narrow import drawn, off_at, way_to, with_narrow

LENGTH, WIDTH, THICK = 24.0, 20.0, 12.0  # mm; times `scale` in plan
COARSE, FINE = 0.4, 0.05  # mm
SAMPLE = 0.1  # mm, of the heights that the programs are made from, times the root of `scale`
RIM = 1.2  # mm: the rim is not judged, there is no air beside a lattice
FINISHERS = (
    Cutter(1, "ball", 3.0),
    Cutter(1, "ball", 6.0),
    Cutter(1, "bull-nose", 6.0, corner=1.0),
    Cutter(1, "flat", 3.0),
)
SCRATCHERS = (Cutter(2, "flat", 0.1), Cutter(2, "vee", 3.0, point=15.0))


@dataclass(frozen=True)
class Read:
    """As much of a program's reading as the evidence asks for."""

    moves: object
    warnings: tuple = ()
    tools_called: tuple = ()


def _clocks():
    """Return the processor time of the process, and the clock, s (2,)."""
    return np.array([time.process_time(), time.perf_counter()])


def _heights(rng, is_smooth, scale):
    """Heights on a grid of 0.5 mm (smooth), or of terraces, upright or steep between (sharp)."""
    length, width = LENGTH * scale, WIDTH * scale
    x, y = np.meshgrid(
        np.linspace(0, length, round(2 * length) + 1), np.linspace(0, width, round(2 * width) + 1)
    )
    if is_smooth:
        z = np.full(x.shape, 8.0)
        for _ in range(4):
            waves = rng.normal(0, 0.25, 2)
            z += rng.uniform(0.2, 0.8) * np.sin(waves[0] * x + waves[1] * y + rng.uniform(0, 6))
        return np.clip(z, 3, 11.5)
    z = np.full(x.shape, float(rng.uniform(8, 11)))
    for _ in range(3 * scale * scale):
        x0, y0 = rng.uniform(0, length - 10), rng.uniform(0, width - 8)
        inside = (x > x0) & (x < x0 + rng.uniform(4, 10)) & (y > y0) & (y < y0 + rng.uniform(4, 8))
        z[inside] = float(rng.uniform(4, 11))
    return z


def solid(z, length=LENGTH, width=WIDTH):
    """A closed mesh under heights on a regular grid over length x width."""
    ny, nx = z.shape
    x, y = np.meshgrid(np.linspace(0, length, nx), np.linspace(0, width, ny))
    top = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    k = np.arange(nx * ny).reshape(ny, nx)
    a, b, c, d = (part.ravel() for part in (k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]))
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    rim = np.concatenate([k[0, :], k[1:, -1], k[-1, -2::-1], k[-2:0:-1, 0]])
    after, n = np.roll(rim, -1), nx * ny
    walls = np.vstack([np.column_stack([rim, rim + n, after + n]), np.column_stack([rim, after + n, after])])
    points = np.vstack([top, top * np.array([1, 1, 0])])
    return trimesh.Trimesh(points, np.vstack([faces, faces[:, ::-1] + n, walls]), process=False)


def _tips(heights, cutter, above, sample):
    """Tip heights on the sample grid at which a cutter just touches the heights, and `above` more."""
    reach = int(np.ceil(cutter.radius / sample))
    at = sample * np.arange(-reach, reach + 1)
    r = np.hypot(*np.meshgrid(at, at))
    profile = cutter.profile(np.minimum(r, cutter.radius))
    inside = r <= cutter.radius
    return ndimage.grey_dilation(heights, footprint=inside, structure=np.where(inside, -profile, 0)) + above


class VerdictJob:
    """One random job of one side; limits are set by `judged_by`.

    All but a rim of RIM mm is one zone.  kinds: what was put in: 'scratch', 'step', 'ridge' by the program,
    and of `verdict_narrow` 'knife', 'spike', 'pit' on the target, of which the program knows nothing;
    is_plain: none of these.
    """

    def __init__(self, seed, scale=1, is_plain=False):
        rng = np.random.default_rng(seed)
        is_smooth = seed % 2 == 0
        length, width, sample = LENGTH * scale, WIDTH * scale, SAMPLE * np.sqrt(scale)
        self.length, self.width = length, width
        mesh = solid(_heights(rng, is_smooth, scale), length, width)
        self.plain = TargetGrid(make_target(mesh.vertices, mesh.faces))
        # Numbers of their own, so that the rest of a job is as it would be without.
        self.narrow = [] if is_plain else drawn(np.random.default_rng((seed, 1)), self.plain, length, width)
        mesh = with_narrow(mesh, self.narrow)
        self.target = make_target(mesh.vertices, mesh.faces)
        self.grid = TargetGrid(self.target) if self.narrow else self.plain
        self.coarseness = coarseness(self.target)
        finisher = FINISHERS[int(rng.integers(len(FINISHERS)))]
        xs, ys = np.arange(0, length + 1e-6, sample), np.arange(0, width + 1e-6, sample)
        inner = [
            a.ravel() for a in np.meshgrid(np.clip(xs, 1e-4, length - 1e-4), np.clip(ys, 1e-4, width - 1e-4))
        ]
        heights = self.plain.heights(np.column_stack(inner))[1].reshape(len(ys), len(xs))
        tips = _tips(heights, finisher, float(rng.uniform(0, 0.05)), sample)
        self.kinds = [kind for kind in ("scratch", "step", "ridge") if rng.uniform() < 0.5]
        rows = np.arange(0, len(ys), int(rng.integers(2, 7)))
        rows = np.union1d(rows, [len(ys) - 1])
        start, end, tool = [], [], []
        skipped = int(rng.integers(3, len(rows) - 3)) if "ridge" in self.kinds else -1
        lowered = int(rng.integers(3, len(rows) - 3)) if "step" in self.kinds else len(rows)
        drop = float(rng.uniform(0.05, 0.4))
        for k, row in enumerate(rows):
            if k == skipped:
                continue
            path = np.column_stack(
                [xs, np.full(len(xs), ys[row]), tips[row] - (drop if k >= lowered else 0)]
            )[::3]
            path[0, 0], path[-1, 0] = -4, length + 4
            start.append(path[:-1]), end.append(path[1:]), tool.append(np.ones(len(path) - 1, int))
        scratcher = SCRATCHERS[int(rng.integers(2))]
        if "scratch" in self.kinds:
            ends = rng.uniform([2, 2], [length - 2, width - 2], (2, 2))
            places = np.linspace(*ends, max(int(np.hypot(*(ends[1] - ends[0])) / 0.5), 2))
            z = self.plain.heights(places)[1] - float(rng.uniform(0.05, 0.4))
            path = np.column_stack([places, z])
            start.append(path[:-1]), end.append(path[1:]), tool.append(np.full(len(path) - 1, 2))
        n = sum(len(part) for part in start)
        moves = make_moves(
            programs=("p.nc",), start=np.vstack(start), end=np.vstack(end), tool=np.concatenate(tool),
            line=np.arange(n),
        )  # fmt: skip
        zones = tuple(
            Zone(
                name,
                ((at, at), (length - at, at), (length - at, width - at), (at, width - at)),
                judged=is_judged,
            )
            for name, at, is_judged in (("rim", -1.0, False), ("inside", RIM, True))
        )
        self.job = Job(
            "",
            Blank(length, width, THICK),
            {1: finisher, 2: scratcher},
            (Setup("one", (), zero=Zero("left front", "bottom")),),
            zones=zones,
        )
        self.reads = [[(None, Read(moves))]]
        self.noise = rng.normal(0, 0.06, 2)
        self.kinds += sorted({one.kind for one in self.narrow})

    def fine(self):
        """Return the ranges of the worst gouge and leftover on fine cells everywhere, and the seconds (2,).

        Each (least, most) mm: between samples a value changes by no more than the way to the next sample:
        half a diagonal in plan, and as much more as the target is steep there or the path of the move that
        cut there (a scratch follows terraces up and down).
        That is told of the target without what is narrow, which falls between the samples: of that the
        crests and tips are asked by themselves, out of the time.  A sample that is as near to it as to the
        plain target is not certain.
        """
        started = _clocks()
        lattice = blank_lattice(self.length, self.width, FINE)
        evidence = check._cut(self.job, self.reads, lattice, Timings(), NoProgress())
        around = envelopes(self.plain, lattice)
        found = deviation(evidence.field, around, self.plain, 1, 1e-4)
        moves, owner = self.reads[0][0][1].moves, evidence.field.upper_move
        run = np.hypot(*(moves.end - moves.start)[:, :2].T)
        rise = np.abs(moves.end - moves.start)[:, 2] / np.maximum(run, 1e-9)
        steep = np.hypot(*np.gradient(around.upper, FINE))
        steep = ndimage.maximum_filter(np.nan_to_num(steep), 3)
        steep = np.maximum(steep, np.where(owner >= 0, rise[owner], 0.0))
        way = FINE / np.sqrt(2) * np.sqrt(1 + steep**2)
        ranges, rim = [], round(RIM / FINE)
        inner = (slice(rim, -rim), slice(rim, -rim))
        seconds = _clocks() - started
        is_certain = np.abs(found.normal) <= way_to(self.narrow, lattice)
        for sign in (-1.0, 1.0):
            least = np.nanmax(np.where(is_certain, sign * found.normal, 0.0)[inner])
            most = np.nanmax((sign * found.most + way)[inner])
            ends = [(float(max(least, 0.0)), float(most))]
            ends += [off_at(one, evidence.recut) for one in self.narrow if (one.height > 0) == (sign < 0)]
            ranges.append(tuple(np.max(ends, axis=0).tolist()))
        return ranges, seconds

    def coarse(self, limits):
        """Return the verdicts on gouge and leftover on coarse cells, and the seconds (2,).

        Each (verdict, value, bound) of the worst that is told; ("", 0, 0) within the limit.
        """
        started = _clocks()
        job = replace(self.job, limits=Limits(gouge=limits[0], leftover=limits[1]))
        lattice = blank_lattice(self.length, self.width, COARSE)
        evidence = check._cut(job, self.reads, lattice, Timings(), NoProgress())
        evidence.target, evidence.target_grid = self.target, self.grid
        evidence.coarseness = self.coarseness
        check._compare(evidence)
        verdicts = []
        for is_gouge in (True, False):
            told, _ = shape.looked_spots(evidence, 1, is_gouge)
            told.sort(key=lambda one: (one.severity != "beyond", -abs(one.look.value)))
            one = told[0] if told else None
            verdicts.append((one.severity, abs(one.look.value), one.look.bound) if one else ("", 0.0, 0.0))
        return verdicts, _clocks() - started

    def limits(self, ranges):
        """Return limits close to the true worst values, mm."""
        return [
            float(max(least * (1 + off), 0.03)) for (least, _), off in zip(ranges, self.noise, strict=True)
        ]


def differs(verdict, fine, limit):
    """Return how a verdict contradicts the fine range beyond both bounds: 'missed', 'false' or ''."""
    severity, value, bound = verdict
    if severity == "" and fine[0] > limit + 1e-5:
        return "missed"
    if severity == "beyond" and fine[1] < limit - 1e-5:
        return "false"
    if severity and (value + bound < fine[0] - 1e-5 or value - bound > fine[1] + 1e-5):
        return "value"
    return ""
