"""Pours against closed forms, against a plain walk through voxels, and against exact heights at points."""

from collections import deque

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY, turned
from simkit.job.model import Blank, Job
from simkit.job.steps import POUR, SAW, THICKNESS, Body, Step, body_after
from simkit.moves.table import make_moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import Lattice, blank_field, blank_lattice
from simkit.stock.pour import fill_again, pour
from simkit.stock.saw import saw
from simkit.stock.steps import AtPoints, do_again, do_steps
from simkit.stock.thickness import thickness

LENGTH, WIDTH, THICK = 40.0, 30.0, 12.0
CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "ball", 12.0), 3: Cutter(3, "vee", 12.0, point=90.0)}
BODY = Body((0.0, 0.0, 0.0), (LENGTH, WIDTH, THICK))
OVER = turned("about x", LENGTH, WIDTH, THICK)
OFF = (20.013, 15.017)  # off the lattice on purpose, so that no centre falls on an edge


def blank(cell):
    return blank_field(blank_lattice(LENGTH, WIDTH, cell), LENGTH, WIDTH, THICK)


def plunged(field, *places, frame=IDENTITY):
    """The field after plunges (tool, x, y, z) in a frame."""
    tool, *xyz = np.array(places, float).T
    end = np.column_stack(xyz)
    start = end + np.array([0, 0, 40])
    moves = make_moves(start=start, end=end, tool=tool.astype(int))
    return cut(field, moves, CUTTERS, frame).field


def lines(field, tool, *ends, frame=IDENTITY):
    """The field after straight cuts from (x, y, z) to (x, y, z)."""
    start, end = np.array(ends, float).transpose(1, 0, 2)
    return cut(field, make_moves(start=start, end=end, tool=[tool] * len(ends)), CUTTERS, frame).field


def step(**values):
    return Step(POUR, 0, **{"side": 1, "below": 0.0, **values})


# -- closed forms ---------------------------------------------------------------------------------


@pytest.mark.parametrize("below", [0.0, 1.5])
@pytest.mark.parametrize(
    ("tool", "volume"),
    [
        (1, lambda d: np.pi * 9.0 * d),  # a cylinder
        (2, lambda d: np.pi * d * d * (18.0 - d) / 3.0),  # a spherical cap of a ball of radius 6
        (3, lambda d: np.pi * d**3 / 3.0),  # a cone of 90 degrees
    ],
)
def test_pour__volume_of_a_round_pocket(tool, volume, below):
    exact = volume(5.0 - below)
    errors = []
    for cell in (1.0, 0.5, 0.25, 0.125):
        field, poured = pour(plunged(blank(cell), (tool, *OFF, THICK - 5.0)), step(below=below), BODY)
        assert poured.volume == pytest.approx(float(field.resin().sum(dtype=float)) * cell**2, rel=1e-6)
        assert abs(poured.volume - exact) <= poured.bound
        errors.append(abs(poured.volume - exact))
    assert errors[3] < errors[0] / 4
    assert errors[3] < 0.01 * exact
    assert poured.deepest == pytest.approx(5.0 - below, abs=poured.deepest_bound + 0.1)


@pytest.mark.parametrize("frame", [IDENTITY, OVER], ids=["side 1", "side 2"])
def test_pour__a_box_on_the_lattice_is_exact(frame):
    # Passes 2 mm apart with a cutter 6 mm wide: a pocket 16 x 12 with round corners, 4 deep.
    ends = [((11, y, THICK - 4), (21, y, THICK - 4)) for y in (11.0, 13.0, 15.0, 17.0)]
    edges = [((x, 11, THICK - 4), (x, 17, THICK - 4)) for x in (11.0, 21.0)]
    area = 16 * 12 - (4 - np.pi) * 9
    side = 1 if frame is IDENTITY else 2
    field = lines(blank(0.1), 1, *ends, *edges, frame=frame)
    field, poured = pour(field, step(side=side, below=None, over=1.5), BODY)
    assert poured.volume == pytest.approx(area * 5.5, abs=poured.bound)
    assert poured.volume == pytest.approx(area * 5.5, rel=2e-3)
    assert (poured.deepest, poured.deepest_bound, poured.hollows) == (5.5, 0.0, 1)
    assert poured.mass == pytest.approx(poured.volume * 1.1e-3)  # 1100 kg/m3
    assert poured.openings == ()
    assert poured.level == (13.5 if side == 1 else -1.5)
    proud = field.upper.max() if side == 1 else -field.lower.min()
    assert proud == (13.5 if side == 1 else 1.5)
    assert np.count_nonzero(field.is_resin(side)) == np.count_nonzero(poured.is_filled)
    assert not field.is_resin(3 - side).any()


def test_pour__over_a_pour_of_the_same_side_makes_one_of_both():
    deep = plunged(blank(0.25), (1, *OFF, THICK - 8.0))
    first, lower = pour(deep, step(below=5.0), BODY)
    second, upper = pour(first, step(below=1.0), BODY)
    assert lower.volume + upper.volume == pytest.approx(pour(deep, step(below=1.0), BODY)[1].volume)
    assert second.resin().max() == 7.0
    assert second.wood_upper[second.lattice.cell_at(*OFF)] == THICK - 8.0


def test_pour__meets_the_resin_of_the_other_side():
    field, _ = pour(plunged(blank(0.5), (1, *OFF, THICK - 5.0)), step(), BODY)
    # From side 2 through the wood into that resin, filled again: resin from face to face.
    field = plunged(field, (1, OFF[0], WIDTH - OFF[1], THICK - 9.0), frame=OVER)
    here = field.lattice.cell_at(*OFF)
    assert (field.lower[here], field.resin()[here]) == (9.0, 3.0)
    field, poured = pour(field, step(side=2), BODY)
    assert poured.deepest == 9.0
    assert field.resin()[here] == THICK
    assert field.is_resin(1)[here]
    assert field.is_resin(2)[here]


# -- where it runs out ----------------------------------------------------------------------------


def test_pour__runs_out_through_a_hole_unless_that_is_closed():
    pocket = plunged(blank(0.25), (1, *OFF, THICK - 4.0), (1, OFF[0] + 4, OFF[1], -1.0))
    _, poured = pour(pocket, step(), BODY)
    [opening] = poured.openings
    assert opening.what == "below"
    assert opening.size == pytest.approx(np.pi * 9, rel=0.03)
    assert np.hypot(opening.at[0] - OFF[0] - 4, opening.at[1] - OFF[1]) < 0.3
    assert opening.depth == THICK
    field, poured = pour(pocket, step(is_closed=True), BODY)
    assert poured.openings == ()
    here = field.lattice.cell_at(OFF[0] + 4, OFF[1])
    assert (field.lower[here], field.upper[here], field.resin()[here]) == (0.0, THICK, THICK)
    lens = 2 * 9 * np.arccos(2 / 3) - 2 * np.sqrt(36 - 16)  # two circles of radius 3, 4 apart
    assert poured.volume == pytest.approx((np.pi * 9 - lens) * 4 + np.pi * 9 * THICK, abs=poured.bound)


def test_pour__runs_over_an_edge_that_lies_below_it():
    groove = lines(blank(0.25), 1, ((20, 15, THICK - 3), (45, 15, THICK - 3)))
    _, poured = pour(groove, step(below=1.0), BODY)
    [opening] = poured.openings
    assert (opening.what, opening.size, opening.depth) == ("edge", 6.0, 2.0)
    assert opening.at[0] == pytest.approx(LENGTH - 0.125)
    assert pour(groove, step(below=1.0, is_closed=True), BODY)[1].openings == ()
    assert pour(groove, step(below=2.9995), BODY)[1].volume == 0.0  # half a micrometre is no hollow


def test_pour__tape_does_not_hold_over_what_the_other_side_opened():
    field = plunged(blank(0.25), (1, *OFF, -1.0))
    field = plunged(field, (1, OFF[0] + 5, WIDTH - OFF[1], THICK - 3.0), frame=OVER)
    [opening] = pour(field, step(is_closed=True), BODY)[1].openings
    assert opening.what == "under"


def test_pour__fills_the_hollows_of_its_outline_alone():
    field = plunged(blank(0.25), (1, 8, 15, 8), (1, 20, 15, 8), (1, 32, 15, -1))
    _, poured = pour(field, step(outline=((17, 12), (21, 12), (21, 18), (17, 18))), BODY)
    assert poured.hollows == 1
    assert poured.openings == ()
    assert poured.volume == pytest.approx(np.pi * 9 * 4, abs=poured.bound)
    assert pour(field, step(outline=((1, 1), (3, 1), (3, 3))), BODY)[1].volume == 0.0


# -- a plain walk through voxels ------------------------------------------------------------------


class Voxels:
    """The blank as stacks of voxels one millimetre high: "w" wood, "r" resin, " " nothing."""

    def __init__(self, xs, ys):
        self.xs, self.ys = xs, ys
        self.stacks = [[list("w" * int(THICK)) for _ in xs] for _ in ys]
        self.off = set()  # (row, column) of what was sawn off

    def plunge(self, x, y, depth, side):
        for j, py in enumerate(self.ys):
            for i, px in enumerate(self.xs):
                if (px - x) ** 2 + (py - y) ** 2 <= 9.0:
                    for k in range(depth):
                        self.stacks[j][i][-1 - k if side == 1 else k] = " "

    def take(self, count, side):
        for row in self.stacks:
            for stack in row:
                for k in range(count):
                    stack[-1 - k if side == 1 else k] = " "

    def saw(self, box):
        x0, y0, x1, y1 = box
        for j, y in enumerate(self.ys):
            for i, x in enumerate(self.xs):
                if not (x0 < x < x1 and y0 < y < y1):
                    self.off.add((j, i))
                    self.stacks[j][i] = [" "] * len(self.stacks[j][i])

    def depth(self, j, i, side):
        """How many voxels down from the first face the column's surface lies; past the other one if empty."""
        stack = self.stacks[j][i][::-1] if side == 1 else self.stacks[j][i]
        return next((k for k, what in enumerate(stack) if what != " "), len(stack))

    def pour(self, first, side):
        """Fill voxel by voxel everything open upwards from the level `first` voxels below the first face."""
        for j in range(len(self.ys)):
            for i in range(len(self.xs)):
                stack = self.stacks[j][i]
                if (j, i) in self.off:
                    continue
                for k in range(first, self.depth(j, i, side)):
                    stack[-1 - k if side == 1 else k] = "r"

    def pieces(self, first, side):
        """Hollows below that level, found by walking from cell to cell."""
        seen, count = set(), 0
        for j in range(len(self.ys)):
            for i in range(len(self.xs)):
                if (j, i) in seen or (j, i) in self.off or self.depth(j, i, side) <= first:
                    continue
                count += 1
                queue = deque([(j, i)])
                seen.add((j, i))
                while queue:
                    b, a = queue.popleft()
                    for near in ((b + v, a + u) for v in (-1, 0, 1) for u in (-1, 0, 1)):
                        inside = 0 <= near[0] < len(self.ys) and 0 <= near[1] < len(self.xs)
                        inside = inside and near not in self.off
                        if inside and near not in seen and self.depth(*near, side) > first:
                            seen.add(near)
                            queue.append(near)
        return count


@pytest.mark.parametrize(("seed", "has_saw"), [(seed, seed >= 12) for seed in range(24)])
def test_segments__equal_a_walk_through_voxels(seed, has_saw):
    rng = np.random.default_rng(seed)
    field = blank(2.0)
    twin = Voxels(field.lattice.x(), field.lattice.y())
    steps, off = [], {1: 0, 2: 0}  # off: whole millimetres planed off each face
    for _ in range(10 if has_saw else 7):
        doings = ["cut", "cut", "pour", "thickness", *(["saw"] if has_saw else [])]
        side, what = int(rng.integers(1, 3)), rng.choice(doings)
        body = body_after(LENGTH, WIDTH, THICK, steps)
        if what == "cut":
            places = rng.uniform([4, 4], [36, 26], (4, 2)) + 0.013
            depth = int(rng.integers(1, 6))
            for x, y in places:
                twin.plunge(x, y, off[side] + depth, side)
            z = body.face(1 if side == 1 else -1) - depth * (1 if side == 1 else -1)
            frame = IDENTITY if side == 1 else OVER
            tips = [(1, *frame.inverse().apply(np.array([x, y, z]))) for x, y in places]
            field = plunged(field, *tips, frame=frame)
        elif what == "pour":
            below = int(rng.integers(0, 3))
            made = step(side=side, below=float(below), is_closed=True)
            before = sum(stack.count("r") for row in twin.stacks for stack in row)
            hollows = twin.pieces(off[side] + below, side)
            twin.pour(off[side] + below, side)
            # Below the other face there is no stack to fill: what was planed off there is air again.
            for row in twin.stacks:
                for stack in row:
                    for k in range(off[3 - side]):
                        stack[k if side == 1 else -1 - k] = " "
            field, poured = pour(field, made, body)
            after = sum(stack.count("r") for row in twin.stacks for stack in row)
            assert poured.volume == pytest.approx((after - before) * 4.0)
            assert poured.hollows == hollows
        elif what == "saw":
            low, high = np.array(body.low[:2]), np.array(body.high[:2])
            ends = np.concatenate([low + 2.0 * rng.integers(0, 3, 2), high - 2.0 * rng.integers(0, 3, 2)])
            if (ends[2:] - ends[:2] < 14).any():
                continue
            made = Step(SAW, 0, side, box=tuple(ends.tolist()))
            volume = sum(len("".join(stack).strip()) for row in twin.stacks for stack in row)
            twin.saw(made.box)
            volume -= sum(len("".join(stack).strip()) for row in twin.stacks for stack in row)
            field, sawn = saw(field, made, body)
            assert sawn.volume == pytest.approx(volume * 4.0)
            steps.append(made)
        elif body.thickness > 6:
            off[side] += 1
            twin.take(off[side], side)
            made = Step(THICKNESS, 0, side, thickness=body.thickness - 1.0)
            field, _ = thickness(field, made, body)
            steps.append(made)
    rows = list(enumerate(twin.stacks))
    top = np.array([[len(s) - twin.depth(j, i, 1) for i, s in enumerate(r)] for j, r in rows])
    low = np.array([[twin.depth(j, i, 2) for i in range(len(r))] for j, r in rows])
    solid = np.array([["".join(s).strip() != "" for s in r] for r in twin.stacks])
    resin = np.array([[s.count("r") for s in r] for r in twin.stacks])
    assert np.array_equal(field.is_solid, solid)
    assert np.array_equal(field.upper[solid], top[solid])
    assert np.array_equal(field.lower[solid], low[solid])
    assert np.array_equal(np.where(solid, field.resin(), 0), np.where(solid, resin, 0))


# -- once more, on other cells and at points ------------------------------------------------------


def some_job():
    """Two cuts from side 1 with a pour and a plane between them, and one from side 2: moves and frames."""
    start, end = [[10, 10, 9], [30, 20, 50], [33, 8, 50]], [[24, 18, 7], [30, 20, 6], [33, 8, -1]]
    first = make_moves(start=start, end=end, tool=[1, 2, 3])
    second = make_moves(start=[[5, 14, 9]], end=[[35, 16, 9]], tool=[2])
    steps = (step(below=0.5, is_closed=True), Step(THICKNESS, 0, 1, thickness=11.0))
    job = Job("j", Blank(LENGTH, WIDTH, THICK), CUTTERS, (), steps=steps)
    return job, [(first, IDENTITY), (second, IDENTITY), (second, OVER)]


def run(job, parts, lattice, done=None):
    field, made = blank_field(lattice, LENGTH, WIDTH, THICK), []
    for setup, (moves, frame) in enumerate(parts):
        field = cut(field, moves, CUTTERS, frame).field
        if done is None:
            field, its = do_steps(field, job, setup)
            made.append(its)
        else:
            field = do_again(field, done[setup])
    return field, made


def test_done_again__points_and_finer_cells_hold_the_same_heights():
    job, parts = some_job()
    field, done = run(job, parts, blank_lattice(LENGTH, WIDTH, 0.25))
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    left = AtPoints.of_blank(np.column_stack([x.ravel(), y.ravel()]), THICK)
    for (moves, frame), its in zip(parts, done, strict=True):
        start = left.upper if frame.up > 0 else left.lower
        left.cut(frame.up, *cut_heights(left.points, moves, CUTTERS, frame, start))
        left.do(its)
    shape = field.lattice.shape
    for name in ("lower", "upper", "wood_lower", "wood_upper"):
        np.testing.assert_allclose(
            getattr(left, name).reshape(shape), getattr(field, name), rtol=0, atol=1e-5
        )
    assert np.array_equal(left.row_upper.reshape(shape) >= 0, field.upper_move >= 0)
    # A window of finer cells: every fifth of them has its centre where a coarse one has.
    window = field.lattice.window(20, 100, 30, 140, divide=5)
    fine, _ = run(job, parts, window, done)
    for name in ("lower", "upper", "wood_upper"):
        assert np.array_equal(getattr(fine, name)[2::5, 2::5], getattr(field, name)[20:100, 30:140])
    whole, _ = run(job, parts, Lattice((0.0, 0.0), 0.05, 800, 600))
    volume = float(whole.resin().sum(dtype=float)) * 0.05**2
    assert float(field.resin().sum(dtype=float)) * 0.25**2 == pytest.approx(volume, rel=0.01)


def test_fill_again__fills_nothing_elsewhere():
    holes = (1, 10, 10, 8), (1, 30, 20, 8)
    _, poured = pour(plunged(blank(0.25), *holes), step(outline=((8, 8), (12, 8), (9, 12))), BODY)
    again = fill_again(plunged(blank(0.125), *holes), poured)
    assert again.upper[again.lattice.cell_at(10, 10)] == THICK
    assert again.upper[again.lattice.cell_at(30, 20)] == 8.0
