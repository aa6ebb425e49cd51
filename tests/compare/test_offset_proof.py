"""A shift of a whole side is believed where the side cut without it comes right, and no piece gets worse."""

import numpy as np
import pytest

from simkit.compare.deviation import Deviation
from simkit.compare.offset import SideOffset
from simkit.compare.offset_proof import SideCut, explains, proved_offsets, side_cut
from tests.compare.parts import TRAY_LATTICE, field_of

RUN = np.array([0, 1])
OWNER = np.full((20, 40), -1)
OWNER[2:18, 2:18], OWNER[2:18, 22:38] = 0, 1  # two pockets, each by a cutter of its own
FIRST, SECOND = OWNER == 0, OWNER == 1


def cut(first, second=0.0, owner=OWNER):
    """Both pockets, so many limits off."""
    return SideCut(np.where(FIRST, first, 0.0) + np.where(SECOND, second, 0.0), owner)


@pytest.mark.parametrize(
    ("before", "after", "is_so"),
    [
        (cut(4, 4), cut(0, 0), True),
        (cut(4, 4), cut(0, 4), False),  # half of it stays
        (cut(4, 4), cut(2.5, 2.6), False),
        (cut(0, 2.5), cut(0.3, 0.3), False),  # within limits, but the first was right before
        (cut(0.5, 2.5), cut(0.4, 0.3), True),  # here it is no worse
    ],
)
def test_explains__the_whole_side_and_each_cutter(before, after, is_so):
    assert explains(before, after, RUN) == is_so


def test_explains__each_pocket_of_one_cutter_too():
    owner = np.where(OWNER >= 0, 0, -1)
    assert not explains(cut(0, 2.5, owner), cut(0.3, 0.3, owner), RUN)


def test_explains__a_line_too_deep_is_not_traded_for_walls():
    line, wall = (np.zeros(OWNER.shape) for _ in range(2))
    line[8:12, 4:16] = 2.0
    wall[2:18, [2, 17]] = 6.0  # of fewer cells
    assert not explains(SideCut(line, OWNER), SideCut(wall, OWNER), RUN)
    assert not explains(SideCut(line, OWNER), SideCut(line + wall, OWNER), RUN)


def test_explains__a_fault_spread_over_all_within_limits_is_none():
    line = np.zeros(OWNER.shape)
    line[8:12, 4:16] = 1.2
    spread = np.where(line > 0, 0.8, 0.13) * FIRST
    assert not explains(SideCut(line, OWNER), SideCut(spread, OWNER), RUN)


def offset(side, z=-0.4, after=0.0):
    return SideOffset(side, (0.0, 0.0, z), 0.5, after)


def test_proved__the_others_are_asked_again_without_the_wrong_one():
    asked = []

    def second_right(shifts):
        asked.append(dict(shifts))
        return {1: cut(4, 4), 2: cut(0, 0) if 2 in shifts else cut(4, 4)}

    told = proved_offsets([offset(1), offset(2, 0.3)], second_right, RUN)
    assert [one.is_the_cause for one in told] == [False, True]
    assert asked == [{}, {1: (0, 0, -0.4), 2: (0, 0, 0.3)}, {2: (0, 0, 0.3)}]


def test_proved__a_larger_shift_is_asked_where_a_small_one_is_refuted():
    far = SideOffset(1, (2.0, -1.0, -0.2), 0.5, 0.0, 0.4)

    def again(shifts):
        return {1: cut(0, 0) if shifts.get(1) == far.shift else cut(4, 4)}

    assert proved_offsets([offset(1, -0.2)], again, RUN, lambda side: far) == [far]
    (one,) = proved_offsets([offset(1, -0.2)], again, RUN)
    assert not one.is_the_cause
    wrong = SideOffset(1, (3.0, 0.0, 0.0), 0.5, 0.0, 0.4)
    (one,) = proved_offsets([offset(1, -0.2)], again, RUN, lambda side: wrong)
    assert (one.shift, one.is_the_cause) == (wrong.shift, False)


def test_proved__nothing_is_cut_where_nothing_is_claimed():
    one = offset(1, after=0.4)
    assert proved_offsets([one], pytest.fail, RUN) == [one]


def test_side_cut__counts_in_limits():
    field = field_of(TRAY_LATTICE, 0, 12)
    normal = np.zeros(TRAY_LATTICE.shape, np.float32)
    normal[0, :4] = -0.05, 0.6, np.nan, -7
    found = Deviation(1, TRAY_LATTICE, normal, normal, normal, 0.05)
    limits = np.full(normal.shape, 0.1), np.full(normal.shape, 0.3)
    one = side_cut(field, found, *limits)
    assert one.off[0, :4] == pytest.approx([0.5, 2, 0, 10])
    limits[1][0, 1] = np.inf
    assert side_cut(field, found, *limits).off[0, 1] == 0
    assert one.owner is field.upper_move
