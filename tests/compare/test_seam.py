"""The seam: a planted shift or turn between the setups is found again, and nothing else is."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq

from simkit.compare.seam import Seam, find_seam
from simkit.compare.seam_fit import fit_shift
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.frames import IDENTITY, misplaced, shift, turned
from simkit.moves.table import ARC, LINE, join_moves, make_moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import blank_field, blank_lattice

THICK, MIDDLE, ROUND = 20.0, 10.0, 10.0
FLAT, BALL = {1: Cutter(1, "flat", 6.0)}, {1: Cutter(1, "ball", 6.0)}
RADIUS = 3.0


def rounded_distance(x, y, part, radius=ROUND):
    """Signed distance to a rounded rectangle (cx, cy, half length, half width), negative inside.

    The usual closed form of computer graphics (rounded box), from memory.
    """
    cx, cy, hx, hy = part
    qx, qy = np.abs(x - cx) - (hx - radius), np.abs(y - cy) - (hy - radius)
    outside = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0))
    return outside + np.minimum(np.maximum(qx, qy), 0) - radius


def contour(part, z, tab=None, z_tab=0.0, grow=RADIUS, corner=ROUND):
    """Once around the part, counter-clockwise, in lines and true arcs; over the tab (x0, x1) of the
    front wall at z_tab."""
    cx, cy, hx, hy = part
    c = corner + grow
    x0, x1, y0, y1 = cx - hx - grow, cx + hx + grow, cy - hy - grow, cy + hy + grow
    kind, start, end, centre, sweep = [], [], [], [], []

    def add(a, b, za, zb, about=None):
        kind.append(LINE if about is None else ARC)
        start.append((*a, za))
        end.append((*b, zb))
        centre.append(about or (0.0, 0.0))
        sweep.append(0.0 if about is None else np.pi / 2)

    stops = [(x0 + c, z), (x1 - c, z)]
    if tab is not None:
        stops[1:1] = [(tab[0], z), (tab[0], z_tab), (tab[1], z_tab), (tab[1], z)]
    for (xa, za), (xb, zb) in pairwise(stops):
        add((xa, y0), (xb, y0), za, zb)
    add((x1 - c, y0), (x1, y0 + c), z, z, (x1 - c, y0 + c))
    add((x1, y0 + c), (x1, y1 - c), z, z)
    add((x1, y1 - c), (x1 - c, y1), z, z, (x1 - c, y1 - c))
    add((x1 - c, y1), (x0 + c, y1), z, z)
    add((x0 + c, y1), (x0, y1 - c), z, z, (x0 + c, y1 - c))
    add((x0, y1 - c), (x0, y0 + c), z, z)
    add((x0, y0 + c), (x0 + c, y0), z, z, (x0 + c, y0 + c))
    return make_moves(
        kind=kind, start=start, end=end, centre=centre, sweep=sweep, tool=np.ones(len(kind), int)
    )


class Block:
    """A rounded rectangle cut half from each side; each side's setup may lie wrong (table frame)."""

    def __init__(
        self, size=(110.0, 80.0), wrong1=IDENTITY, wrong2=IDENTITY, overlap=0.3, cutters=FLAT,
        tab=None, turn="about x", cell=0.25, grow=RADIUS,
    ):  # fmt: skip
        length, width = size
        self.part = (length / 2, width / 2, length / 2 - 15, width / 2 - 15)
        self.cutters = cutters
        right = turned(turn, length, width, THICK)
        upper = contour(self.part, MIDDLE - overlap / 2, tab, MIDDLE + 3, grow)
        # The program of side 2, as a right one would be, seen from that setup's own frame.
        lower = contour(self.part, MIDDLE + overlap / 2, grow=grow).in_frame(right.inverse())
        self.moves = (upper, lower)
        self.frames = (wrong1, right.after(wrong2))
        self.first = (0, len(upper))
        self.lattice = blank_lattice(length, width, cell)
        self.field = blank_field(self.lattice, length, width, THICK)
        for moves, frame, first in zip(self.moves, self.frames, self.first, strict=True):
            self.field = cut(self.field, moves, cutters, frame, first_row=first).field
        x, y = np.meshgrid(self.lattice.x(), self.lattice.y())
        self.is_part = rounded_distance(x, y, self.part) < 0

    def heights(self, points):
        upper, row1 = cut_heights(points, self.moves[0], self.cutters, self.frames[0], THICK)
        lower, row2 = cut_heights(points, self.moves[1], self.cutters, self.frames[1], 0.0)
        return lower, upper, np.where(row2 >= 0, row2 + self.first[1], -1), row1

    def seam(self, **options) -> Seam:
        return find_seam(self.field, self.is_part, self.heights, **options)

    def wall(self, side, station, normal):
        """Where the ray from a station crosses a side's wall: by closed distance and a root finder."""
        # A flip in plan maps the part's outline to itself, so wrong poses act on it in the blank frame.
        right = turned("about x", 2 * self.part[0], 2 * self.part[1], THICK)
        back = self.frames[0].inverse() if side == 1 else right.after(self.frames[1].inverse())

        def distance(s):
            x, y = back.apply_plan(station + s * normal)
            return rounded_distance(x, y, self.part)

        return brentq(distance, -2, 2, xtol=1e-9)


@pytest.fixture(scope="module")
def shifted():
    return Block(wrong1=shift(0.3, -0.2))


@pytest.fixture(scope="module")
def shifted_seam(shifted):
    return shifted.seam()


def true_normals(block, seam):
    """Outward normals of the outline by central differences of the closed distance."""
    h = 1e-4
    x, y = seam.stations.T
    gx = rounded_distance(x + h, y, block.part) - rounded_distance(x - h, y, block.part)
    gy = rounded_distance(x, y + h, block.part) - rounded_distance(x, y - h, block.part)
    return np.stack([gx, gy], axis=1) / (2 * h)


def test_seam__no_shift_no_step():
    block = Block()
    seam = block.seam()
    around = 2 * (80 - 20) + 2 * (50 - 20) + 2 * np.pi * ROUND
    assert 0.9 * around / 1.3 <= len(seam.offset) <= around  # stations every 1 mm to 1.25 mm
    assert np.abs(seam.offset).max() < 0.01
    assert np.all(np.abs(seam.offset) <= seam.bound)
    assert seam.bound.max() < 0.004
    assert np.abs(seam.level - MIDDLE).max() < 1e-9
    assert np.abs(rounded_distance(*seam.stations.T, block.part)).max() < 0.003
    assert "no seam" not in seam.words


def test_seam__planted_shift_of_side_1_is_found(shifted_seam):
    fit = fit_shift(shifted_seam)
    assert fit.dx == pytest.approx(0.3, abs=0.02)
    assert fit.dy == pytest.approx(-0.2, abs=0.02)
    assert fit.turn_degrees == pytest.approx(0.0, abs=0.005)
    assert fit.is_observable.all()
    assert fit.about == pytest.approx((55.15, 39.9), abs=0.5)
    assert fit.rms < 0.01
    assert "-0.300" in fit.words
    assert "+0.200" in fit.words


def test_seam__side_1_moved_to_the_right_stands_out_on_the_right(shifted_seam):
    right = shifted_seam.normal[:, 0] > 0.999
    left = shifted_seam.normal[:, 0] < -0.999
    assert right.sum() > 20
    assert left.sum() > 20
    assert shifted_seam.offset[right] == pytest.approx(np.full(right.sum(), 0.3), abs=0.01)
    assert shifted_seam.offset[left] == pytest.approx(np.full(left.sum(), -0.3), abs=0.01)
    # On the right side 1's wall is the outer one: 40 mm from the middle, and 0.3.
    assert shifted_seam.stations[right, 0] == pytest.approx(np.full(right.sum(), 95.3), abs=0.003)
    assert shifted_seam.stations[left, 0] == pytest.approx(np.full(left.sum(), 15.0), abs=0.003)


@pytest.mark.parametrize(
    ("turn", "expected"), [("about x", (-0.3, -0.2)), ("about y", (0.3, 0.2))], ids=["about x", "about y"]
)
def test_seam__setup_2_moved_shows_the_opposite_in_the_blank_frame(turn, expected):
    # Moved by (0.3, -0.2) on the table: with the blank turned about x that is (0.3, +0.2) in the blank
    # frame, about y (-0.3, -0.2); side 1 against side 2 is the opposite.
    fit = fit_shift(Block(wrong2=shift(0.3, -0.2), turn=turn).seam(spacing=2.0))
    assert (fit.dx, fit.dy) == pytest.approx(expected, abs=0.02)


def test_seam__each_offset_within_its_bound_of_closed_distance_and_root_finder(shifted, shifted_seam):
    for station, normal, offset, bound in zip(
        shifted_seam.stations, shifted_seam.normal, shifted_seam.offset, shifted_seam.bound, strict=True
    ):
        wall1 = shifted.wall(1, station, normal)
        wall2 = shifted.wall(2, station, normal)
        # On the corners the two lines that are compared differ by the curvature over the offset.
        assert abs(offset - (wall1 - wall2)) <= bound + 0.5 * offset**2 / ROUND


def test_seam__normals_are_true_to_the_degrees_in_the_bound(shifted, shifted_seam):
    cosine = np.sum(shifted_seam.normal * true_normals(shifted, shifted_seam), axis=1)
    assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() < 5.0
    assert np.hypot(*shifted_seam.normal.T) == pytest.approx(np.ones(len(cosine)), abs=1e-12)


def test_seam__rows_are_moves_whose_cutter_touches_the_wall_there(shifted, shifted_seam):
    count = len(shifted.moves[0])
    assert np.all((shifted_seam.row_upper >= 0) & (shifted_seam.row_upper < count))
    assert np.all((shifted_seam.row_lower >= count) & (shifted_seam.row_lower < 2 * count))
    # The right wall is cut by the right line of each contour alone: the third row of side 1.
    straight = (np.abs(shifted_seam.stations[:, 1] - 40) < 10) & (shifted_seam.normal[:, 0] > 0.999)
    assert straight.sum() > 10
    assert set(shifted_seam.row_upper[straight]) == {2}
    assert set(shifted_seam.row_lower[straight]) == {count + 2}


def test_seam__stations_follow_the_contour(shifted_seam):
    assert set(shifted_seam.contour) == {0}
    steps = np.hypot(*np.diff(shifted_seam.stations, axis=0).T)
    assert steps.max() < 1.5
    assert steps.min() > 0.4


def test_seam__worst_is_the_largest_step(shifted_seam):
    worst = shifted_seam.worst
    assert abs(shifted_seam.offset[worst]) == np.abs(shifted_seam.offset).max()
    # The largest |n . d| is |d|, where the normal points along the shift: on a corner.
    assert abs(shifted_seam.offset[worst]) == pytest.approx(np.hypot(0.3, 0.2), abs=0.01)
    assert "0.36" in shifted_seam.words


def test_seam__turn_is_found_on_a_long_part():
    length, width = 240.0, 70.0
    wrong = misplaced(0, 0, 0, 0.1, (length / 2, width / 2))
    fit = fit_shift(Block((length, width), wrong1=wrong).seam(spacing=2.0))
    assert fit.turn_degrees == pytest.approx(0.1, abs=0.005)
    assert (fit.dx, fit.dy) == pytest.approx((0, 0), abs=0.01)


@pytest.mark.parametrize("size", [(110.0, 80.0), (160.0, 60.0)])
def test_seam__shift_and_turn_at_once_are_measured_back(size):
    """Shifted by (0.3, -0.2) mm and turned by 0.1 degrees about the middle of the blank."""
    wrong = misplaced(0.3, -0.2, 0.0, 0.1, (size[0] / 2, size[1] / 2))
    fit = fit_shift(Block(size, wrong1=wrong).seam())
    # The fit tells the shift where the stations have their middle.
    about = np.array([*fit.about, 0.0])
    dx, dy, _ = wrong.apply(about) - about
    assert fit.is_observable.all()
    assert (fit.dx, fit.dy) == pytest.approx((dx, dy), abs=0.02)
    assert (dx, dy) == pytest.approx((0.3, -0.2), abs=0.002)
    assert fit.turn_degrees == pytest.approx(0.1, abs=0.005)
    # The bounds hold, and are no wider than the answers that are asked for.
    off = np.abs([fit.dx - dx, fit.dy - dy, fit.turn_degrees - 0.1])
    assert (off <= fit.bound).all()
    assert (np.array(fit.bound) < (0.02, 0.02, 0.02)).all()


@pytest.mark.parametrize("seed", range(20))
def test_seam__a_random_shift_and_turn_lie_within_the_bound_that_is_told(seed):
    """Put into either side, on blanks of random size and cells; flat and ball cutters."""
    rng = np.random.default_rng(seed)
    size = (rng.uniform(80, 180), rng.uniform(60, 100))
    put = rng.uniform(-1, 1, 3) * (0.6, 0.6, 0.3) * rng.choice([0.2, 1.0])
    wrong = misplaced(*put[:2], 0.0, put[2], (size[0] / 2, size[1] / 2))
    more = {"wrong1" if seed % 2 else "wrong2": wrong, "turn": ["about x", "about y"][seed // 2 % 2]}
    more |= {"cell": rng.uniform(0.2, 0.5)}
    more |= {"overlap": 3.0, "cutters": BALL} if seed % 5 == 4 else {}
    block = Block(size, **more)
    fit = fit_shift(block.seam(spacing=1.5))
    assert fit.is_observable.all()
    # Where a place of side 1 lies, and where the same of side 2: the frames say it without any seam.
    about = np.array([*fit.about, MIDDLE])
    right = turned(more["turn"], *size, THICK)
    one, two = block.frames[0].apply(about), block.frames[1].apply(right.inverse().apply(about))
    turns = [np.degrees(np.arctan2(m[1, 0], m[0, 0])) for m in (
        block.frames[0].matrix, (block.frames[1].after(right.inverse())).matrix
    )]  # fmt: skip
    true = np.array([*(one - two)[:2], turns[0] - turns[1]])
    assert abs(abs(true[2]) - abs(put[2])) < 1e-9
    off = np.abs([fit.dx, fit.dy, fit.turn_degrees] - true)
    assert (off <= fit.bound).all(), (off, fit.bound)
    assert (np.array(fit.bound) < (0.05, 0.05, 0.05)).all(), fit.bound  # and the bound is of use


def test_fit__bound_holds_whatever_the_stations_are_off_by():
    """Offsets of a known shift, each off by up to its bound, at random and at its worst."""
    rng = np.random.default_rng(3)
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    places = np.column_stack([90 * np.cos(angle), 40 * np.sin(angle)])
    normal = np.column_stack([np.cos(angle) / 90, np.sin(angle) / 40])
    normal /= np.hypot(*normal.T)[:, None]
    lever = normal[:, 1] * places[:, 0] - normal[:, 0] * places[:, 1]
    true = np.array([0.3, -0.2, 0.1])
    exact = normal @ true[:2] + np.radians(true[2]) * lever
    bound = rng.uniform(0.002, 0.02, 120)
    columns = (np.zeros(120, np.int32), normal, exact, bound, np.zeros(120), *np.zeros((2, 120), np.int32))
    seam = Seam(places, *columns)
    assert np.allclose(
        [fit_shift(seam).dx, fit_shift(seam).dy, fit_shift(seam).turn_degrees], true, atol=1e-9
    )
    wrong = [rng.uniform(-1, 1, 120) for _ in range(20)] + [np.sign(normal[:, 0]), np.sign(lever)]
    for share in wrong:
        fit = fit_shift(replace(seam, offset=exact + share * bound))
        off = np.abs(np.array([fit.dx, fit.dy, fit.turn_degrees]) - true)
        assert (off <= fit.bound).all()


def test_fit__what_cannot_be_observed_has_no_number():
    places = np.column_stack([np.linspace(-50, 50, 40), np.zeros(40)])
    normal = np.tile([0.0, 1.0], (40, 1))
    columns = (np.zeros(40, np.int32), normal, np.full(40, 0.2), np.full(40, 0.01), np.zeros(40))
    fit = fit_shift(Seam(places, *columns, *np.zeros((2, 40), np.int32)))
    assert fit.is_observable.tolist() == [False, True, True]
    assert np.isinf(fit.bound[0])
    assert fit.words.startswith("side 2 against side 1 (blank frame): -0.200 \N{PLUS-MINUS SIGN} 0.0")
    assert fit.words.endswith("; not observable: shift in x")


def test_seam__tab_is_left_out_and_spoils_nothing_beside_it():
    tab = (47.0, 61.0)  # over this span side 1's cutter rides 3 mm higher, and leaves rounded flanks
    block = Block(wrong1=shift(0.3, -0.2), tab=tab)
    seam = block.seam()
    x = seam.stations[:, 0]
    front = seam.normal[:, 1] < -0.9
    assert not np.any(front & (x > 47.3 + 1) & (x < 61.3 - 1))
    # Side 1's front wall moved by -0.2 in y, outwards by 0.2.
    straight = front & (np.abs(x - 55) < 28)
    assert straight.sum() > 35
    assert np.all(np.abs(seam.offset[straight] - 0.2) <= seam.bound[straight])
    clear = straight & ((x < 47.3 - 0.5) | (x > 61.3 + 0.5))
    assert seam.offset[clear] == pytest.approx(np.full(clear.sum(), 0.2), abs=0.003)
    assert clear.sum() > straight.sum() - 3
    assert seam.left_out > 0
    fit = fit_shift(seam)
    assert (fit.dx, fit.dy) == pytest.approx((0.3, -0.2), abs=0.02)
    assert len(seam.offset) < len(Block().seam().offset)


def test_seam__never_cut_through_has_none():
    seam = Block(overlap=-0.3).seam()
    assert len(seam.offset) == 0
    assert seam.worst is None
    assert seam.words == "no seam: the part is nowhere cut through at its outline"
    fit = fit_shift(seam)
    assert not fit.is_observable.any()
    assert fit.words == "the seam does not show how the sides lie against each other"


def test_seam__cut_out_from_one_side_alone_has_none():
    block = Block(overlap=0.3)
    upper = contour(block.part, -0.5)
    lattice = block.lattice
    field = cut(blank_field(lattice, 110.0, 80.0, THICK), upper, FLAT, IDENTITY).field

    def heights(points):
        top, row = cut_heights(points, upper, FLAT, IDENTITY, THICK)
        return np.zeros(len(points)), top, np.full(len(points), -1), row

    seam = find_seam(field, block.is_part, heights)
    assert len(seam.offset) == 0
    assert seam.left_out > 100
    assert seam.words == "no seam: nowhere do the cuts of both sides meet in an open outer wall"


def test_seam__without_a_target_the_largest_piece_is_looked_at():
    seam = Block(wrong1=shift(0.3, -0.2)).seam()
    block = Block(wrong1=shift(0.3, -0.2))
    alone = find_seam(block.field, None, block.heights)
    near = np.abs(rounded_distance(*alone.stations.T, block.part)) < 1
    assert near.all()  # the part is larger than the frame around it
    fit, with_target = fit_shift(alone), fit_shift(seam)
    assert (fit.dx, fit.dy) == pytest.approx((with_target.dx, with_target.dy), abs=0.005)


def test_seam__fillets_of_ball_cutters_that_only_just_meet_show_the_shift_too():
    # Tips 1.5 mm past the middle with 3 mm balls: the fillets cross 0.4 mm outside the walls.
    seam = Block(wrong1=shift(0.3, -0.2), overlap=3.0, cutters=BALL).seam(spacing=2.0)
    assert len(seam.offset) > 80
    fit = fit_shift(seam)
    assert (fit.dx, fit.dy) == pytest.approx((0.3, -0.2), abs=0.02)


def test_seam__through_hole_is_outside_too():
    block = Block(wrong1=shift(0.3, -0.2))
    hole = (55.0, 40.0, 12.0, 12.0)  # 24 mm square with 6 mm corners, the cutter inside it
    rings = [contour(hole, MIDDLE - side * 0.15, grow=-RADIUS, corner=6.0) for side in (1, -1)]
    rings[1] = rings[1].in_frame(turned("about x", 110.0, 80.0, THICK).inverse())
    tables = [[whole, ring] for whole, ring in zip(block.moves, rings, strict=True)]
    block.moves = tuple(join_moves(pair) for pair in tables)
    field = blank_field(block.lattice, 110.0, 80.0, THICK)
    for moves, frame in zip(block.moves, block.frames, strict=True):
        field = cut(field, moves, FLAT, frame).field
    x, y = np.meshgrid(block.lattice.x(), block.lattice.y())
    is_part = block.is_part & (rounded_distance(x, y, hole, 6.0) > 0)
    seam = find_seam(field, is_part, block.heights)
    inner = np.abs(rounded_distance(*seam.stations.T, hole, 6.0)) < 1
    assert inner.sum() > 60
    # Outward is into the hole: on its right wall the normal points to the left.
    right = inner & (seam.normal[:, 0] < -0.999) & (seam.stations[:, 0] > 55)
    assert right.sum() > 8
    assert seam.offset[right] == pytest.approx(np.full(right.sum(), -0.3), abs=0.01)
    assert len(set(seam.contour)) >= 2


def ring_seam(normal, stations, offset):
    n = len(offset)
    rows = np.full(n, -1, np.int32)
    return Seam(stations, rows, normal, offset, np.full(n, 0.002), np.full(n, 10.0), rows, rows)


def test_fit__round_part_shows_no_turn():
    angle = np.linspace(0, 2 * np.pi, 50, endpoint=False)
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    fit = fit_shift(ring_seam(normal, 20 * normal, normal @ [0.1, 0.05]))
    assert fit.is_observable.tolist() == [True, True, False]
    assert (fit.dx, fit.dy, fit.turn_degrees) == pytest.approx((0.1, 0.05, 0.0), abs=1e-12)
    assert fit.words.endswith("not observable: turn")


def test_fit__two_straight_walls_show_no_shift_along_them():
    x = np.tile(np.linspace(-50, 50, 21), 2)
    side = np.repeat([-1.0, 1.0], 21)
    normal = np.stack([np.zeros(42), side], axis=1)
    turn = np.radians(0.1)
    fit = fit_shift(ring_seam(normal, np.stack([x, 10 * side], axis=1), side * (0.2 + turn * x)))
    assert fit.is_observable.tolist() == [False, True, True]
    assert (fit.dx, fit.dy, fit.turn_degrees) == pytest.approx((0.0, 0.2, 0.1), abs=1e-9)
    assert fit.rms < 1e-12


def test_seam__refuses_a_mask_of_another_shape(shifted):
    with pytest.raises(ShapeError, match=r"is_part is \(3, 4\)"):
        find_seam(shifted.field, np.zeros((3, 4), bool), shifted.heights)
    with pytest.raises(ValueError, match="spacing 0 and reach 3 must be positive"):
        shifted.seam(spacing=0.0)


def made_seam(offset):
    """Stations all round a rectangle of 60 x 40 with these offsets."""
    s = np.arange(len(offset)) / len(offset) * 4
    k = s.astype(int)
    along = (s - k - 0.5)[:, None]
    normal = np.array([(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)])[k]
    tangent = np.column_stack([-normal[:, 1], normal[:, 0]])
    stations = (normal / 2 + along * tangent) * (60, 40)
    n = len(offset)
    return Seam(
        stations, np.zeros(n, np.int32), normal, np.asarray(offset, float), np.full(n, 0.01), np.zeros(n),
        np.zeros(n, np.int32), np.zeros(n, np.int32),
    )  # fmt: skip


def test_fit__a_step_at_a_few_stations_is_no_shift():
    offset = np.zeros(200)
    offset[20:22] = 0.27
    seam = made_seam(offset)
    fit = fit_shift(seam)
    assert fit.rms < 0.27 / 4  # what the fit leaves is small, as nearly all of the seam is
    assert not fit.explains(seam, seam.worst)


def test_fit__a_true_shift_explains_its_step():
    seam = made_seam(np.zeros(200))
    offset = seam.normal @ (0.1, -0.5)
    seam = made_seam(offset)
    fit = fit_shift(seam)
    assert (fit.dx, fit.dy) == pytest.approx((0.1, -0.5), abs=1e-9)
    assert fit.offset_at(seam.stations[7], seam.normal[7]) == pytest.approx(offset[7])
    assert fit.explains(seam, seam.worst)


def test_seam__a_side_that_leans_is_no_step():
    """On the right side 2 cuts a chamfer of the part; its wall at the skin's level is the chamfer's."""
    lattice = blank_lattice(50, 40, 0.25)
    x, y = np.meshgrid(lattice.x(), lattice.y())

    def part(x, y):
        is_in = (np.abs(x - 25) < 10) & (np.abs(y - 20) < 12)
        low = np.maximum(3.4 - np.maximum(35.0 - x, 0.0), 0.0)
        return np.where(is_in, low, np.nan), np.where(is_in, 10.0, np.nan)

    def heights(points, off=0.0):
        px, py = points.T
        low = part(px, py - off)[0]
        is_in = np.abs(px - 25) < 15
        none = np.zeros(len(px), np.int64)
        lower = np.where(np.isnan(low), np.where(is_in, 3.0, 0.0), low)
        upper = np.where(np.isnan(part(px, py)[1]), np.where(is_in, 2.0, 10.0), 10.0)
        return lower, upper, none, none

    def wanted(points):
        return part(*points.T)

    lower, upper, *_ = heights(np.column_stack([x.ravel(), y.ravel()]))
    field = blank_field(lattice, 50, 40, 10)
    field = replace(
        field,
        lower=lower.reshape(x.shape).astype(np.float32),
        upper=upper.reshape(x.shape).astype(np.float32),
    )
    is_part = ~np.isnan(part(x, y)[0])
    blind = find_seam(field, is_part, heights)
    assert abs(blind.offset[blind.worst]) == pytest.approx(0.9, abs=0.01)  # what the part is, not a step
    seam = find_seam(field, is_part, heights, wanted=wanted)
    assert np.abs(seam.offset).max() < 0.01
    assert seam.left_out > blind.left_out
    assert (np.abs(seam.stations[:, 1] - 20) > 11).any()  # front and back are still measured
    moved = find_seam(field, is_part, lambda points: heights(points, 0.3), wanted=wanted)
    assert abs(moved.offset[moved.worst]) == pytest.approx(0.3, abs=0.01)
