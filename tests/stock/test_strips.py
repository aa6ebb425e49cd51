"""Strips of sixteen moves, against the lists that are made move by move, and where they are binned."""

import numpy as np
import pytest

from simkit.frames import IDENTITY
from simkit.moves.table import join_moves, make_moves
from simkit.stock import cut as cut_module
from simkit.stock import group_kernels, list_kernels, strip_kernels
from simkit.stock.packed import Packed
from tests.stock.from_python import from_python
from tests.stock.some_moves import CUTTERS, random_arc
from tests.stock.test_groups import (
    BALL,
    EVERYWHERE,
    GROUP,
    KINDS,
    LANES,
    SIZE,
    WIDE,
    columns_of,
    crowded,
    stretch,
)

EXTENT = 14.0
add_line, add_strip = from_python(list_kernels.add_line), from_python(strip_kernels.add_strip)
make_groups = from_python(group_kernels.make_groups)
PIECE = ("PX", "PY", "PH", "PUX", "PUY", "PLEN", "PSLOPE", "PSHIFT", "POFF", "ENTRY")
STRIPS = 4 * GROUP


def packed_of(moves, extent=EXTENT):
    return Packed(moves, {BALL: CUTTERS[BALL]}, IDENTITY, EVERYWHERE, 0, 0, extent)


def is_strip(packed):
    """Which sixteens of packed moves are strips."""
    return np.isfinite(packed.frames[:, strip_kernels.FROM_X])


@pytest.mark.parametrize("kind", KINDS)
def test_strips__are_listed_as_their_moves_are(kind):
    """The same pieces as of add_line, but for roundings: 4 e D of each number, e = 2^-24."""
    rng = np.random.default_rng(len(kind))
    seen = 0
    for _ in range(10):
        start, end = stretch(rng, kind, 64)
        place = rng.uniform(-300, 300, 3)
        moves = make_moves(start=start + place, end=end + place, tool=np.full(len(start), BALL))
        packed = packed_of(moves)
        x, y, top = place + rng.uniform(-6, 6, 3)
        for number in np.flatnonzero(is_strip(packed)):
            lists, plain = (np.full(6 * GROUP, np.nan, np.float32) for _ in range(2))
            far, high = add_strip(lists, 1, STRIPS, x, y, top, number, packed.strips, packed.frames)
            n = 0
            for j in range(number * WIDE, number * WIDE + WIDE):
                n = add_line(plain, n, x, y, top, 1e4, j, j, packed.records)
            assert n == WIDE
            wanted = columns_of(plain, 0, WIDE, *PIECE)
            found = columns_of(lists, 0, LANES, *PIECE)[WIDE:]
            assert np.abs(found - wanted).max() <= 4 * 2.0**-24 * max(far, high)
            assert np.array_equal(found[:, 3:], wanted[:, 3:])
            tips = np.abs(np.concatenate([wanted[:, :2], wanted[:, :2] + wanted[:, 3:5] * wanted[:, 5:6]]))
            assert tips.max() <= far * (1 + 1e-6)
            heights = np.concatenate([wanted[:, 2], wanted[:, 2] + wanted[:, 6] * wanted[:, 5]])
            assert np.abs(heights).max() <= high * (1 + 1e-6)
            # The strip as a whole holds its tips, no lower than its line.
            names = ("PX", "PY", "PUX", "PUY", "PLEN", "PSHIFT", "PH", "PSLOPE")
            (mx, my, ux, uy, long, width, h, m) = columns_of(lists, STRIPS, 2, *names)[1]
            row = number * WIDE + np.arange(WIDE)
            ends = np.concatenate([moves.start[packed.rows[row]], moves.end[packed.rows[row]]]) - (x, y, top)
            s = (ends[:, 0] - mx) * ux + (ends[:, 1] - my) * uy
            w = (ends[:, 1] - my) * ux - (ends[:, 0] - mx) * uy
            assert np.abs(s).max() <= long + 1e-5
            assert np.abs(w).max() <= width + 1e-5
            assert (ends[:, 2] - (h + m * s)).min() >= -1e-5
            seen += 1
    assert seen > 0 or kind in ("plunges", "still", "walk")


def test_strips__are_none_of_moves_that_lie_apart_or_are_arcs():
    rng = np.random.default_rng(5)
    x = np.arange(65) * 0.5
    tips = np.stack([x, 0 * x, 0 * x], 1)
    line = make_moves(start=tips[:-1], end=tips[1:], tool=np.full(64, BALL))
    assert is_strip(packed_of(line)).all()
    assert not is_strip(packed_of(line, 7.9)).any()
    assert len(packed_of(line, 0.0).strips) == 0
    # The last sixteen that are not sixteen stay single, and so does what an arc is among.
    assert list(is_strip(packed_of(line[:60]))) == [True, True, True, False]
    mixed = join_moves([line[:20], random_arc(rng, BALL), line[20:]])
    assert list(is_strip(packed_of(mixed))) == [True, False, True, True, False]
    still = make_moves(start=tips[:64], end=tips[:64] - [0, 0, 1], tool=np.full(64, BALL))
    assert not is_strip(packed_of(still)).any()


@pytest.mark.parametrize("seed", range(3))
def test_strips__are_in_each_tile_that_one_of_their_moves_is_near(seed):
    rng = np.random.default_rng(seed)
    moves, size = crowded(rng, 4000), rng.uniform(3.0, 12.0)
    tops = np.full((9, 11), rng.choice([9.0, 30.0]), np.float32)
    strips, single = packed_of(moves), packed_of(moves, 0.0)
    assert is_strip(strips).sum() > 20
    found, wanted = (packed.bins(-2.0, -3.0, size, tops) for packed in (strips, single))
    for tile in range(tops.size):
        entries = found[1][found[0][tile] : found[0][tile + 1]]
        inside = {int(j) for j in entries[entries >= 0]}
        for number in -1 - entries[entries < 0]:
            inside |= set(range(number * WIDE, number * WIDE + WIDE))
        assert inside >= {int(j) for j in wanted[1][wanted[0][tile] : wanted[0][tile + 1]]}


def test_cut__by_strips_is_the_plain_cut_of_a_part():
    """The whole cut, with moves that are strips, that are not, many of them out of view."""
    rng = np.random.default_rng(7)
    moves = crowded(rng, 3000)
    field = cut_module.blank_field(cut_module.Lattice((20.0, 15.0), 0.17, 60, 50), *SIZE)
    for some in (moves, moves[1500:]):
        plain = cut_module.cut(field, some, CUTTERS, IDENTITY, is_plain=True).field
        fast = cut_module.cut(field, some, CUTTERS, IDENTITY).field
        assert np.array_equal(fast.upper, plain.upper)
        assert np.array_equal(fast.upper_move, plain.upper_move)
