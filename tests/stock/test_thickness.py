"""A face taken off: what goes, where resin or a carving is gone wholly, how the blank lies afterwards."""

import numpy as np
import pytest

from simkit.frames import IDENTITY
from simkit.job.model import Blank, Setup, Zero
from simkit.job.steps import THICKNESS, Body, Step, body_after
from simkit.stock.pour import pour
from simkit.stock.thickness import thickness
from tests.stock.test_pour import BODY, LENGTH, OFF, OVER, THICK, WIDTH, blank, lines, plunged, step


def to(thick, side=1):
    return Step(THICKNESS, 0, side, thickness=thick)


def poured(cell, *places, **values):
    return pour(plunged(blank(cell), *places), step(**values), BODY)[0]


def test_thickness__takes_a_slab_less_the_pocket():
    # A cone 3 deep, its lower 2 mm left below a face taken off by 1 mm.
    field = plunged(blank(0.1), (3, *OFF, THICK - 3.0))
    after, done = thickness(field, to(11.0), BODY)
    pocket = np.pi * (27 - 8) / 3
    assert done.volume == pytest.approx(LENGTH * WIDTH - pocket, abs=done.bound)
    assert done.volume == pytest.approx(LENGTH * WIDTH - pocket, rel=1e-4)
    assert (done.deepest, done.face) == (1.0, 11.0)
    assert after.upper.max() == 11.0
    assert done.carving_lost == ()


def test_thickness__of_side_2_raises_the_lower_face():
    after, done = thickness(blank(0.5), to(9.0, side=2), BODY)
    assert (done.body.low[2], done.body.high[2], after.lower.min()) == (3.0, 12.0, 3.0)
    assert done.volume == LENGTH * WIDTH * 3


def test_thickness__planes_an_overfill_flush():
    field = poured(0.25, (1, *OFF, THICK - 4.0), below=None, over=1.0)
    after, done = thickness(field, to(THICK), BODY)
    assert done.volume == pytest.approx(np.pi * 9, rel=0.03)
    assert done.resin_lost == ()
    assert after.resin().max() == 4.0


def test_thickness__rims_of_a_leaning_pocket_draw_in():
    # A cone of 90 degrees filled flush: a millimetre off the face draws its rim in by a millimetre.
    _, done = thickness(poured(0.1, (3, *OFF, THICK - 4.0)), to(11.0), BODY)
    assert done.resin_lost == ()
    assert done.narrower == pytest.approx(1.0, abs=0.15)


def test_thickness__tells_an_inlay_that_is_gone():
    field = poured(0.25, (1, 8, 15, THICK - 4.0), (1, 30, 15, THICK - 0.8))
    after, done = thickness(field, to(11.0), BODY)
    [lost] = done.resin_lost
    assert lost.is_whole
    assert lost.area == pytest.approx(np.pi * 9, rel=0.05)
    assert lost.depth == pytest.approx(0.8, abs=1e-6)
    assert lost.at[2] == pytest.approx(THICK - 0.8, abs=1e-6)
    assert lost.box == pytest.approx((27, 12, 33, 18), abs=0.26)
    assert after.resin().max() == 3.0


def test_thickness__tells_the_part_of_an_inlay_that_is_gone():
    # A groove 0.6 deep that runs out of a hole 4 deep: the hole stays, the groove goes but near the hole.
    field = lines(plunged(blank(0.25), (1, 8, 15, 8.0)), 1, ((8, 15, 11.4), (32, 15, 11.4)))
    _, done = thickness(pour(field, step(), BODY)[0], to(11.0), BODY)
    [lost] = done.resin_lost
    assert not lost.is_whole
    assert lost.box[2] == pytest.approx(35, abs=0.3)
    assert lost.box[0] == pytest.approx(8 + 3 + 2.0, abs=0.7)  # nearer than twice the millimetre it is a rim


def test_thickness__tells_a_carving_that_is_gone_but_not_a_face_cut_down():
    carved = plunged(blank(0.25), (1, 8, 15, THICK - 4.0), (1, 30, 15, THICK - 0.8))
    [lost] = thickness(carved, to(11.0), BODY)[1].carving_lost
    assert lost.depth == pytest.approx(0.8, abs=1e-6)
    faced = lines(blank(0.25), 1, *(((-5, y, 11.5), (45, y, 11.5)) for y in np.arange(0, 31, 4.0)))
    assert thickness(faced, to(11.0), BODY)[1].carving_lost == ()


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("swing", ["none", "quarter left", "half"])
@pytest.mark.parametrize("side", [1, 2])
def test_frame__a_setup_after_a_step_has_its_zero_on_the_wood_as_it_is_then(turn, swing, side):
    made = Blank(LENGTH, WIDTH, THICK)
    setup = Setup("s", (), turn=turn, swing=swing, zero=Zero("left front", "top"), before=(to(9.0, side),))
    body = setup.body(made)
    assert body == Body((0, 0, 0 if side == 1 else 3), (LENGTH, WIDTH, 9 if side == 1 else 12))
    up = 1 if turn == "none" else -1
    corner = setup.frame(made).apply(np.zeros(3))
    assert corner[2] == body.face(up)
    assert all(np.isclose(corner[k], body.low[k]) or np.isclose(corner[k], body.high[k]) for k in range(2))
    # The table frame's box is the blank as it lies: its corners are those of the body.
    across, deep = setup.size_on_table(made)
    seen = setup.lie(made).apply(np.array([[0, 0, 0], [across, deep, 9.0]]))
    assert np.allclose(np.sort(seen, axis=0), [body.low, body.high])
    # A zero on the table lies under the lower face.
    table = Setup("s", (), turn=turn, swing=swing, zero=Zero("left front", "bottom"), before=setup.before)
    assert table.frame(made).apply(np.zeros(3))[2] == body.face(-up)


def test_frame__with_nothing_before_it_is_as_it_was():
    made = Blank(LENGTH, WIDTH, THICK)
    assert np.array_equal(Setup("s", (), turn="about x").lie(made).offset, OVER.offset)
    assert Setup("s", ()).lie(made) is IDENTITY or np.array_equal(
        Setup("s", ()).lie(made).offset, np.zeros(3)
    )
    assert body_after(LENGTH, WIDTH, THICK, ()) == BODY
