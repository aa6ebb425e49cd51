"""Arcs as chords: they stay as near their arc as was asked, in all planes."""

import numpy as np
import pytest

from simkit.moves.chords import chords_of
from tests.stock.some_moves import arc, line


@pytest.mark.parametrize("plane", [17, 18, 19])
@pytest.mark.parametrize("sagitta", [0.5, 0.01, 0.0001])
def test_chords__stay_within_the_sagitta(plane, sagitta):
    whole = arc((3.0, -2.0), 5.0, 0.3, -4.0, (1.0, 7.0), 1, plane)
    straight, of = chords_of(whole, sagitta)
    assert (of == 0).all()
    assert np.array_equal(straight.start[0], whole.start[0])
    assert np.array_equal(straight.end[-1], whole.end[0])
    assert np.array_equal(straight.start[1:], straight.end[:-1])
    u, v = {17: (0, 1), 18: (2, 0), 19: (1, 2)}[plane]
    middle = (straight.start + straight.end) / 2
    off = 5.0 - np.hypot(middle[:, u] - 3.0, middle[:, v] + 2.0)
    assert 0 < off.max() <= sagitta * (1 + 1e-9)
    assert len(straight) <= 4.0 / (2 * np.arccos(1 - sagitta / 5.0)) + 1


def test_chords__lines_stay():
    moves = line((0, 0, 0), (1, 2, 3), 1)
    straight, of = chords_of(moves, 0.01)
    assert of.tolist() == [0]
    assert np.array_equal(straight.end, moves.end)
