"""Random parts that one side carves and the other only cuts out, each with the pose that was made for."""

import numpy as np
from scipy.spatial import ConvexHull

from simkit.compare.poses import all_poses
from simkit.cutters import Cutter
from simkit.job.model import Blank, Job, Setup
from simkit.moves.table import join_moves, make_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.target.envelope import Envelopes
from tests.random_parts import TurnedPart

DIAMETER = 6.0
CUTTERS = {1: Cutter(1, "flat", DIAMETER)}
FACED, SLOT_DEEP, TAB_HIGH, TAB_WIDE = 1.5, 4.0, 3.0, 10.0
RIM = DIAMETER + 3.0  # of the blank around the part


def convex(rng):
    """An outline of straight edges about its middle, a size of one; asymmetric."""
    points = rng.uniform(-0.5, 0.5, (14, 2))
    points[:3] = [
        [-0.5, rng.uniform(-0.5, 0.1)],
        [0.5, rng.uniform(-0.1, 0.5)],
        [rng.uniform(-0.2, 0.4), 0.5],
    ]
    return points[ConvexHull(points).vertices]


def wavy(rng):
    """An outline of 120 short edges with gentle hollows in it, a size of about one; asymmetric."""
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    away = 0.34 * np.ones(120)
    for wave, high in ((1, 0.06), (2, 0.05), (3, 0.035)):
        away += high * np.cos(wave * angle - rng.uniform(0, 2 * np.pi))
    return np.column_stack([away * np.cos(angle), away * np.sin(angle)])


def beside(outline, far):
    """The outline moved out by so much, its corners drawn out to a point (mitred)."""
    along = np.roll(outline, -1, axis=0) - outline
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    before = np.roll(out, 1, axis=0)
    return outline + far * (out + before) / (1 + (out * before).sum(axis=1))[:, None]


def is_inside(outline, x, y):
    """Points within an outline, by crossings of a ray."""
    inside = np.zeros(np.broadcast(x, y).shape, bool)
    for (ax, ay), (bx, by) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if ay != by:
            inside ^= ((ay > y) != (by > y)) & (x < ax + (y - ay) / (by - ay) * (bx - ax))
    return inside


def tabbed(path, low, high, tabs):
    """The closed path as places (n, 3) at a height, raised over so many tabs."""
    ring = np.vstack([path, path[:1]])
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    middles = length[-1] * (np.arange(tabs) + 0.5) / max(tabs, 1)
    edges = np.concatenate([middles - TAB_WIDE / 2, middles + TAB_WIDE / 2])
    at = np.unique(np.concatenate([length, edges, edges + 1e-6]))
    places = np.column_stack([np.interp(at, length, ring[:, axis]) for axis in (0, 1)])
    is_tab = (np.abs(at[:, None] - middles) <= TAB_WIDE / 2 + 5e-7).any(axis=1)
    return np.column_stack([places, np.where(is_tab, high, low)])


def run(places, index, safe):
    """Moves down to the first of some places (n, 3) and along them all."""
    down = (*places[0][:2], safe)
    start, end = np.vstack([[down], places[:-1]]), places
    return make_moves(programs=("p.nc",), start=start, end=end, tool=[1] * len(end), setup=[index] * len(end))


class OutlinedPart(TurnedPart):
    """A part of its own for each seed: faced and slotted from side 1, cut out from side 2.

    tabs: left around it.  half: side 1 cuts its outline to the middle too.  whole: it cuts it right through,
    and side 2 goes round once more.  symmetric: its outline looks the same after half a turn.
    """

    def __init__(self, seed, tabs=0, half=False, whole=False, symmetric=False, cell=0.5):
        rng = np.random.default_rng(seed)
        length, width, thick = rng.uniform(60, 100), rng.uniform(50, 70), rng.uniform(12, 22)
        if seed % 3 == 0:
            width = length
        self.blank = blank = Blank(float(length), float(width), float(thick))
        outline = (convex if seed % 2 else wavy)(rng)
        if symmetric:
            angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
            outline = np.column_stack([0.5 * np.cos(angle), 0.4 * np.sin(angle) + 0.1 * np.sin(2 * angle)])
            outline[60:] = -outline[:60]
        low, high = outline.min(axis=0), outline.max(axis=0)
        room = np.array([length, width]) - 2 * RIM
        # Off the middle of the blank by what its shape leaves, but where it is to be the same after a turn.
        self.outline = RIM + (outline - low) * (room / (high - low)) * (1.0 if symmetric else 0.9)
        path = beside(self.outline, DIAMETER / 2)
        second = Setup("two", (), turn="about x")
        poses = [pose for pose, _ in all_poses(second, blank, False) if pose.turn != "none"]
        if width != length:
            poses = [pose for pose in poses if not pose.is_crosswise]
        setups = (Setup("one", ()), poses[int(rng.integers(len(poses)))].of(second))
        self.job = Job("", blank, CUTTERS, setups)
        self.face = thick - FACED
        safe = thick + 5.0
        middle = self.outline.mean(axis=0)
        ends = middle + 0.4 * (self.outline[[0, len(self.outline) // 3]] - middle)
        slot = np.column_stack([ends, [self.face - SLOT_DEEP] * 2])
        ways = np.arange(0.0, width + 4, 4.0)
        facing = np.array(
            [[x, y, self.face] for k, y in enumerate(ways) for x in ((0, length)[:: (-1) ** k])]
        )
        parts = [run(facing, 0, safe), run(slot, 0, safe)]
        if half or whole:
            parts.append(
                run(tabbed(path, thick / 2 if half else -0.5, TAB_HIGH, tabs if whole else 0), 0, safe)
            )
        first = join_moves(parts).in_frame(setups[0].frame(blank).inverse())
        flipped = setups[1].frame(blank).inverse()
        # In blank coordinates side 2 is cut from below: up to a little over the faced surface.
        moves = run(tabbed(path, self.face + 0.5, self.face - TAB_HIGH, 0 if whole else tabs), 1, -5.0)
        parts = [first, moves.in_frame(flipped)]
        self.moves = join_moves(parts)
        edge = len(first)
        self.rows = [slice(0, edge), slice(edge, len(self.moves))]
        self.frames = [setup.frame(blank) for setup in setups]
        lattice = blank_lattice(length, width, cell)
        field = blank_field(lattice, length, width, thick)
        field = cut(field, self.moves[self.rows[0]], CUTTERS, self.frames[0]).field
        is_part = is_inside(self.outline, lattice.x(), lattice.y()[:, None])
        noise = rng.normal(0, 0.02, (2, *lattice.shape))  # of a coarse mesh
        lower = np.where(is_part, noise[0], np.nan)
        upper = np.where(is_part, field.upper + noise[1], np.nan)
        self.envelopes = Envelopes(lattice, lower, upper, np.zeros(lattice.shape))
