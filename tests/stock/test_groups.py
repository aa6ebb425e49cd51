"""Bounds of groups of moves: never above the least of any of their moves, and what is cut by them."""

import numba
import numpy as np
import pytest

from simkit.frames import IDENTITY, turned
from simkit.moves.table import join_moves, make_moves
from simkit.stock import bound_kernels, group_kernels, list_kernels, vector_kernels
from simkit.stock import cut as cut_module
from simkit.stock import wide_kernels as wide
from simkit.stock.cut import cut
from simkit.stock.field import Lattice, blank_field
from tests.stock.from_python import from_python
from tests.stock.some_moves import CUTTERS, heights, random_arc

BALL = 1
R = CUTTERS[BALL].radius
EVERYWHERE = np.array([-1e3, 1e3, -1e3, 1e3, 1e9])
SIZE = (40.0, 30.0, 12.0)
LANES, WIDE, GROUP = list_kernels.LANES, list_kernels.WIDE, list_kernels.GROUP
STRIPS, TO = 40 * GROUP, 30 * GROUP  # where the lists of groups and of what is kept are
add_move, close_list = from_python(list_kernels.add_move), from_python(list_kernels.close_list)
make_groups, groups_under = map(from_python, (group_kernels.make_groups, group_kernels.groups_under))
best_groups = from_python(group_kernels.best_groups)
best_pieces, keep_pieces = map(from_python, (vector_kernels.best_pieces, vector_kernels.keep_pieces))
bounds = numba.njit(error_model="numpy")(bound_kernels.bounds)
NUMBERS = np.arange(1000, dtype=np.int32)


@numba.njit
def joined(numbers, first):
    """Sum and least of sixteen, for a test."""
    first = np.uint64(first)
    return wide.sum_of_sixteen(numbers, first), wide.least_of_sixteen(numbers, first)


def test_sixteen__are_summed_and_compared():
    rng = np.random.default_rng(2)
    for first in range(6):
        numbers = rng.uniform(-1, 1, 24).astype(np.float32)
        total, least = joined(numbers, first)
        assert total == pytest.approx(numbers[first : first + 16].sum(dtype=float), abs=1e-5)
        assert least == numbers[first : first + 16].min()


def stretch(rng, kind, n=64):
    """Moves that follow each other, of one kind: start and end (n, 3)."""
    if kind == "passes":
        x = np.tile(np.arange(0.0, 9.0, 0.5), n)
        lap = np.arange(len(x)) // 18
        x = np.where(lap % 2, 8.5 - x, x) - 4.0
        turn = rng.uniform(0, 2 * np.pi)
        y = 0.2 * lap - 1.0
        z = 0.3 * x + np.sin(x / 3 + rng.uniform(0, 6)) + 0.4 * y
        tips = np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), z], 1)
    elif kind == "walk":
        step = rng.normal(0, 1, (n + 1, 3)) * 10.0 ** rng.uniform(-4, 0.5, (n + 1, 1))
        tips = np.cumsum(step, axis=0) - step.sum(axis=0) / 2
    elif kind == "jump":
        tips = np.stack([np.linspace(-6, 6, n + 1), np.zeros(n + 1), np.zeros(n + 1)], 1)
        tips[n // 3 :] += rng.uniform(-3, 3, 3)
    elif kind == "plunges":
        places = rng.uniform(-5, 5, (n, 3))
        return places + np.array([0, 0, 9]), places
    elif kind == "steep":
        tips = np.cumsum(rng.normal(0, 1, (n + 1, 3)) * [0.01, 0.01, 1.0], axis=0)
    else:  # "still": places that repeat themselves
        tips = np.repeat(rng.uniform(-4, 4, (4, 3)), n // 4 + 1, axis=0)
    return tips[:n], tips[1 : n + 1]


KINDS = ["passes", "walk", "jump", "plunges", "steep", "still"]


def listed(moves):
    """Lists with the pieces of some moves and their groups, the number of pieces, and the margin."""
    packed = cut_module.Packed(moves, {BALL: CUTTERS[BALL]}, IDENTITY, EVERYWHERE, 0, 0)
    keep = np.concatenate([np.arange(a, b) for a, b in packed.chunks])
    lists, n = np.full(50 * GROUP, np.nan, np.float32), 0
    for j in keep:
        n = add_move(lists, n, 0.0, 0.0, 0.0, 30.0, j, j, packed.codes[j], packed.records, 0.02)
    close_list(lists, 0, n)
    has_curves = bool((moves.kind != 0).any())
    most_bend = np.float32(0.0 if has_curves else min(group_kernels.MOST_BEND, 0.5 / 30.0))
    far, high = make_groups(lists, 0, n, STRIPS, most_bend, has_curves, np.empty(256, np.float32))
    order = packed.rows[keep]
    return lists, n, 64 * 2.0**-24 * (far + high + 10.0 + R), order


def columns_of(lists, base, n, *names):
    """(n, columns) of a list."""
    table = lists[base:].copy()[: (len(lists) - base) // GROUP * GROUP]
    table = table.reshape(-1, GROUP // LANES, LANES).transpose(0, 2, 1).reshape(-1, GROUP // LANES)
    return table[:n][:, [getattr(list_kernels, name) // LANES for name in names]].astype(float)


def names_under(lists, count, block, lean, margin, limit):
    names, marks = np.zeros(1000, np.int32), np.empty(16, np.float32)
    found = groups_under(
        lists, STRIPS, count, *block, *lean, R, margin, limit, NUMBERS.view(np.float32),
        names.view(np.float32), marks,
    )  # fmt: skip
    return set(names[:found].tolist())


def bound_of(lists, group, count, block, lean, margin):
    """The bound of a group, by the limits that it comes under."""
    low, high = -100.0, 200.0
    for _ in range(36):
        middle = 0.5 * (low + high)
        is_under = group in names_under(lists, count, block, lean, margin, middle)
        low, high = (low, middle) if is_under else (middle, high)
    return high


def a_block(rng):
    """Middle and half extents of a block of cells near the moves, and places in it."""
    x, y = rng.uniform(-4, 4, 2)
    half_x, half_y = rng.choice([0.0, 0.35, 0.75, 2.0], 2)
    off = rng.uniform(-1, 1, (40, 2)) * [half_x, half_y]
    off[:4] = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) * [half_x, half_y]
    return (x, y, half_x, half_y), np.round(np.array([x, y]) + off, 9)


def least_of(moves, rows, places, block, lean):
    """The least that some moves stand over a plane through the middle of a block, at places in it."""
    g = heights(places, moves[rows])
    return (g - (places - block[:2]) @ lean).min()


@pytest.mark.parametrize("kind", [*KINDS, "arcs"])
def test_groups__have_bounds_below_each_of_their_moves(kind):
    rng = np.random.default_rng(len(kind))
    seen = 0
    for _ in range(12):
        if kind == "arcs":
            moves = join_moves([random_arc(rng, BALL) for _ in range(12)])
        else:
            start, end = stretch(rng, kind)
            moves = make_moves(start=start, end=end, tool=np.full(len(start), BALL))
        lists, n, margin, order = listed(moves)
        count = -(-n // WIDE)
        entries = columns_of(lists, 0, n, "ENTRY")[:, 0].astype(int)
        for _ in range(6):
            block, places = a_block(rng)
            lean = rng.uniform(-1, 1, 2) * rng.choice([0.0, 0.5, 3.0])
            group = int(rng.integers(count))
            rows = np.unique(order[entries[group * WIDE : (group + 1) * WIDE]])
            if kind == "arcs":  # only a part of an arc may be in the group: all groups of it then count
                mine = {int(k) // WIDE for k in np.flatnonzero(np.isin(order[entries], rows))}
            else:
                mine = {group}
            least = least_of(moves, rows, places, block, lean)
            if not np.isfinite(least):
                continue
            seen += 1
            assert mine & names_under(lists, count, block, lean, margin, least)
    assert seen > 15


@pytest.mark.parametrize("kind", KINDS)
def test_groups__are_strips_about_their_moves(kind):
    """Each start and end lies in the rectangle, and no lower than the line; the bound is that of both."""
    rng = np.random.default_rng(len(kind) + 10)
    for _ in range(10):
        start, end = stretch(rng, kind, 50)
        moves = make_moves(start=start, end=end, tool=np.full(len(start), BALL))
        lists, n, margin, order = listed(moves)
        count = -(-n // WIDE)
        names = ("PX", "PY", "PUX", "PUY", "PLEN", "PSHIFT", "PH", "PSLOPE")
        strips = columns_of(lists, STRIPS, count, *names)
        for group, (x, y, ux, uy, long, width, h, m) in enumerate(strips):
            rows = order[group * WIDE : (group + 1) * WIDE]
            tips = np.concatenate([moves.start[rows], moves.end[rows]])
            s = (tips[:, 0] - x) * ux + (tips[:, 1] - y) * uy
            w = (tips[:, 1] - y) * ux - (tips[:, 0] - x) * uy
            assert np.abs(s).max() <= long + 1e-5
            assert np.abs(w).max() <= width + 1e-5
            assert (tips[:, 2] - (h + m * s)).min() >= -1e-5
            # The least over the rectangle, place by place.
            block, _ = a_block(rng)
            lean = rng.uniform(-1, 1, 2)
            along = np.linspace(-long, long, 4001)
            across = np.linspace(-width, width, 4001)
            z = R / np.sqrt(1 + lean @ lean)
            pu, pw = lean[0] * ux + lean[1] * uy, lean[1] * ux - lean[0] * uy
            bx, by = x - block[0], y - block[1]
            u, w = bx * ux + by * uy, by * ux - bx * uy
            tall = block[2] * abs(ux) + block[3] * abs(uy)
            broad = block[2] * abs(uy) + block[3] * abs(ux)
            e = np.maximum(np.abs(u + pu * z + along) - tall, 0)
            i = np.maximum(np.abs(w + pw * z + across) - broad, 0)
            wanted = (
                R - z - lean @ lean * z + h - lean @ [bx, by]
                + ((m - pu) * along + e**2 / (2 * z)).min() + (-pw * across + i**2 / (2 * z)).min()
            )  # fmt: skip
            away = np.hypot(max(abs(u) - long, 0), max(abs(w) - width, 0))
            if away < R + np.hypot(*block[2:]) - 1e-3:
                found = bound_of(lists, group, count, block, lean, margin)
                slack = 4 * (margin + margin**2 / (256 * 2.0**-24 * z)) * (1 + np.abs(lean).sum())
                assert found == pytest.approx(wanted - slack, abs=2e-3 * max(long, width, 1.0) ** 2)
                assert found <= wanted


def test_groups__of_a_flat_floor_are_told_to_a_hair():
    """A level straight stretch is the strip itself: ball over a line, f(d) = R - sqrt(R^2 - d^2)."""
    x = np.linspace(-5, 5, 33)
    tips = np.stack([x, 0 * x, 0 * x - 1.0], 1)
    moves = make_moves(start=tips[:-1], end=tips[1:], tool=np.full(32, BALL))
    lists, n, margin, _ = listed(moves)
    assert n == 32
    for y in (0.0, 0.4, 1.2):
        # Over a point on slope p = f'(y) the paraboloid touches the sphere.
        lean = np.array([0.0, y / np.sqrt(R * R - y * y)])
        found = bound_of(lists, 0, 2, (-2.5, y, 0.0, 0.0), lean, margin)
        assert found == pytest.approx(-1.0 + R - np.sqrt(R * R - y * y), abs=2e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_pieces__are_kept_and_chosen_as_their_bounds_say(kind):
    """keep_pieces and best_pieces against the bounds of hollow_kernels."""
    rng = np.random.default_rng(len(kind) + 20)
    kept_in_all = 0
    for _ in range(20):
        start, end = stretch(rng, kind)
        moves = make_moves(start=start, end=end, tool=np.full(len(start), BALL))
        lists, n, margin, _ = listed(moves)
        block, _ = a_block(rng)
        lean = rng.uniform(-1, 1, 2)
        count, best = -(-n // WIDE), np.empty(256, np.float32)
        chosen = best_pieces(lists, 0, NUMBERS, count, *block, *lean, R, margin, 0.5, best)
        support = cut_module.support_of(CUTTERS[BALL])
        bounds(
            lists, 0, n, NUMBERS, -(-n // LANES), *block, *lean, CUTTERS[BALL].code, support, margin, False
        )
        names = ("LOWEST", "CHANCE", "CHANCE_X", "CHANCE_Y", "ENTRY")
        low, chance, chance_x, chance_y, entry = columns_of(lists, 0, n, *names).T
        is_covering = chance < 1e29
        for quarter, place in enumerate(chosen):
            x = 0.5 * block[2] * (1 if quarter % 2 else -1)
            y = 0.5 * block[3] * (1 if quarter >= 2 else -1)
            over = np.where(is_covering, chance + x * chance_x + y * chance_y, np.inf)
            if place < 0:
                assert not is_covering.any()
                continue
            k = place // GROUP * LANES + place % GROUP
            assert over[k] <= over.min() + 1e-4
        limit = np.median(low[low < 1e29]) if (low < 1e29).any() else 0.0
        kept = keep_pieces(lists, 0, NUMBERS, count, *block, *lean, R, margin, limit, TO, best)
        told = columns_of(lists, TO, kept, "ENTRY")[:, 0]
        kept_in_all += kept
        assert set(told) >= set(entry[low < limit - 1e-4])
        assert set(told) <= set(entry[low < limit + 1e-4])
    assert kept_in_all > 100


def test_groups__that_are_most_promising_are_on_the_lowest_pass():
    """Level passes beside each other, one of them deeper: it is the best of all quarters."""
    x = np.tile(np.arange(-4.0, 4.0, 0.5), 8)
    lap = np.repeat(np.arange(8), 16)
    start = np.stack([x, 0.2 * lap - 0.7, np.where(lap == 3, -0.2, 0.0)], 1)
    moves = make_moves(start=start, end=start + np.array([0.5, 0, 0]), tool=np.full(len(x), BALL))
    lists, n, _, _ = listed(moves)
    found = best_groups(lists, STRIPS, 8, 0.0, 0.0, 0.75, 0.75, 0.0, 0.0, R, np.empty(256, np.float32))
    assert n == 128
    assert found == (3, 3, 3, 3)
    far_off = best_groups(lists, STRIPS, 8, 30.0, 0.0, 0.75, 0.75, 0.0, 0.0, R, np.empty(256, np.float32))
    assert far_off == (-1, -1, -1, -1)


def crowded(rng, n=6000):
    """Many moves of all kinds in turns, so that each tile has groups of all of them."""
    tables, left = [], n
    while left > 0:
        kind = rng.choice(KINDS)
        start, end = stretch(rng, kind, int(rng.integers(5, 90)))
        start, end = start[:left], end[:left]
        place = np.array([*rng.uniform(0, 1, 2) * SIZE[:2], rng.uniform(6, 10)])
        tables.append((start + place, end + place))
        left -= len(start)
        if rng.random() < 0.2:
            start, end = tables[int(rng.integers(len(tables)))]
            tables.append((start, end))
    start, end = (np.concatenate([table[k] for table in tables]) for k in (0, 1))
    return make_moves(start=start, end=end, tool=np.full(len(start), BALL))


@pytest.mark.parametrize("seed", range(4))
def test_cut__by_groups_is_the_plain_cut(seed):
    rng = np.random.default_rng(seed)
    field = blank_field(Lattice((-1.3, 0.4), 0.13, 290, 170), *SIZE)
    moves = crowded(rng)
    if seed == 3:
        moves = join_moves([moves[:3000], *(random_arc(rng, BALL) for _ in range(60)), moves[3000:]])
    frame = IDENTITY if seed % 2 == 0 else turned("about x", *SIZE)
    plain = cut(field, moves, CUTTERS, frame, is_plain=True, tile=100).field
    for tile in (96, 64, 31):
        found = cut(field, moves, CUTTERS, frame, tile=tile)
        assert found.group_tests > 0
        for name in ("lower", "upper", "lower_move", "upper_move"):
            assert np.array_equal(getattr(found.field, name), getattr(plain, name)), name
    order = rng.permutation(len(moves))
    other = cut(field, moves[order], CUTTERS, frame).field
    assert np.array_equal(other.upper, plain.upper)
    assert np.array_equal(other.lower, plain.lower)
