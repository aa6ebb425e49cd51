"""Connected pieces of columns: against a plain search, against scipy on level pieces, and by hand."""

import numpy as np
import pytest
from scipy import ndimage

from simkit.compare.pieces import JOIN, main_piece, pieces_of, volumes, witnesses
from simkit.stock.field import Field, Lattice


def field(lower, upper, cell=1.0):
    lower, upper = np.asarray(lower, np.float32), np.asarray(upper, np.float32)
    ny, nx = lower.shape
    none = np.full(lower.shape, -1, np.int32)
    return Field(Lattice((0.0, 0.0), cell, nx, ny), lower, upper, none, none)


def searched(lower, upper, least):
    """Number the pieces by a walk from column to column."""
    ny, nx = lower.shape
    label = np.zeros((ny, nx), int)
    count = 0
    for start in np.ndindex(ny, nx):
        if label[start] or not upper[start] - lower[start] > least:
            continue
        count += 1
        label[start], todo = count, [start]
        while todo:
            y, x = todo.pop()
            for v, u in ((y, x - 1), (y, x + 1), (y - 1, x), (y + 1, x)):
                if not (0 <= v < ny and 0 <= u < nx) or label[v, u] or not upper[v, u] - lower[v, u] > least:
                    continue
                if min(upper[v, u], upper[y, x]) - max(lower[v, u], lower[y, x]) > least:
                    label[v, u] = count
                    todo.append((v, u))
    return label, count


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("least", [JOIN, 1.2])
def test_pieces__as_a_walk_from_column_to_column_finds_them(seed, least):
    rng = np.random.default_rng(seed)
    lower = rng.integers(0, 5, (23, 31)).astype(np.float32)
    upper = lower + rng.integers(0, 4, lower.shape).astype(np.float32) * (rng.random(lower.shape) < 0.8)
    found = pieces_of(field(lower, upper), least)
    label, count = searched(lower, upper, np.float32(least))
    assert found.count == count > 3
    np.testing.assert_array_equal(found.label, label)


@pytest.mark.parametrize("seed", range(4))
def test_pieces__level_ones_as_scipy_labels_them(seed):
    is_wood = np.random.default_rng(seed).random((90, 70)) < 0.6
    found = pieces_of(field(np.zeros(is_wood.shape), np.where(is_wood, 12.0, 0.0)))
    label, count = ndimage.label(is_wood)
    assert found.count == count
    np.testing.assert_array_equal(found.label, label)
    pairs = np.count_nonzero(is_wood[1:] & is_wood[:-1]) + np.count_nonzero(is_wood[:, 1:] & is_wood[:, :-1])
    assert found.joined == pairs


def test_pieces__steps_that_only_touch_hold_nothing():
    lower, upper = [[0.0, 5.0, 4.9995, 4.9]], [[5.0, 9.0, 9.0, 5.0]]
    assert pieces_of(field(lower, upper)).label.tolist() == [[1, 2, 2, 3]]
    assert pieces_of(field(lower, upper), 0.05).label.tolist() == [[1, 2, 2, 3]]
    assert pieces_of(field([[0.0, 4.9]], [[5.0, 9.0]]), 0.05).count == 1
    assert pieces_of(field([[0.0, 4.9]], [[5.0, 9.0]]), 0.2).count == 2


def test_pieces__not_joined_across_a_corner():
    assert pieces_of(field(np.zeros((2, 2)), [[3.0, 0.0], [0.0, 3.0]])).count == 2


def plate():
    """A frame at the edge of 40 x 30 mm, 6 mm wide, 10 mm thick, and a block of 12 x 8 mm inside it."""
    upper = np.zeros((30, 40))
    upper[:6], upper[-6:], upper[:, :6], upper[:, -6:] = 10, 10, 10, 10
    upper[11:19, 14:26] = 10
    upper[15, 20] = 11
    return field(np.zeros(upper.shape), upper)


def test_volumes__sums_of_columns():
    whole = plate()
    pieces = pieces_of(whole)
    assert volumes(whole, pieces).tolist() == [0, 10 * (40 * 30 - 28 * 18), 10 * 12 * 8 + 1]


def test_main_piece__the_frame_unless_the_part_reaches_the_edge_or_is_what_is_worked_on():
    whole = plate()
    pieces = pieces_of(whole)
    part = np.zeros(whole.lattice.shape, bool)
    part[11:19, 14:26] = True
    assert main_piece(whole, pieces, None, False) == 1
    assert main_piece(whole, pieces, part, False) == 1
    assert main_piece(whole, pieces, part, True) == 2
    part[:] = False
    part[:6] = True
    assert main_piece(whole, pieces, part, False) == 1


def test_main_piece__a_frame_in_pieces_is_none():
    upper = np.zeros((30, 40))
    for rows in (slice(0, 6), slice(-6, None)):
        for columns in (slice(0, 6), slice(-6, None)):
            upper[rows, columns] = 10.0
    upper[12:18, 15:25] = 10.0
    part = np.zeros(upper.shape, bool)
    part[12:18, 15:25] = True
    whole = field(np.zeros(upper.shape), upper)
    pieces = pieces_of(whole)
    assert pieces.count == 5
    assert main_piece(whole, pieces, part, False) == pieces.label[15, 20]
    upper[6:12, :6] = upper[:6, 6:30] = 10.0  # one of them larger than the other three together
    whole = field(np.zeros(upper.shape), upper)
    pieces = pieces_of(whole)
    assert main_piece(whole, pieces, part, False) == pieces.label[0, 0]


def test_witnesses__thickest_columns_largest_piece_first_and_no_chips():
    whole = plate()
    pieces = pieces_of(whole)
    assert witnesses(whole, pieces, np.array([False, True, True])) == [(0, 0), (15, 20)]
    whole.upper[8, 8] = 10  # 10 mm3, less than is looked for
    pieces = pieces_of(whole)
    assert pieces.count == 3
    assert (15, 20) in witnesses(whole, pieces, np.ones(4, bool))
    assert (8, 8) not in witnesses(whole, pieces, np.ones(4, bool))
