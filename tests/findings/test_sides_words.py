"""How the blank lies on its dowel pins, in words."""

from types import SimpleNamespace

import pytest

from simkit.compare.dowels import Pin
from simkit.findings import sides_words
from simkit.job.model import Dowel
from simkit.report.lengths import Lengths


@pytest.mark.parametrize(("miss", "is_off"), [(0.0, False), (0.02, False), (24.0, True)])
def test_play__of_pins_that_stand_elsewhere_is_told_from_where_the_blank_then_lies(miss, is_off):
    """Two pins of 5.96 in holes of 6, both so far off: on them the blank lies off its place."""
    pins = []
    for name, x in (("left", 10.0), ("right", 110.0)):
        dowel = Dowel(name, (x, 10.0), 6.0, hole=6.0, pin=5.96)
        hole = SimpleNamespace(diameter=6.0, dowel=dowel)
        pins.append(Pin(dowel, hole, 1, (x + miss, 10.0), (x, 10.0), miss, 0.001))
    setups = [SimpleNamespace(name="one", pins=None), SimpleNamespace(name="two", pins=((10, 10), (110, 10)))]
    told = sides_words._play_words(SimpleNamespace(job=SimpleNamespace(setups=setups), pins=pins), 1)
    assert ("the blank can shift by at most" in told) != is_off
    assert "play 0.040 mm, 0.040 mm: " in told
    assert "play 0.00157 in, 0.00157 in: " in Lengths("in").text(told)  # 0.04 / 25.4, by hand
    if is_off:
        assert "as stated a hole lies 24.000 ± 0.001 mm off its pin, more than they have play" in told
        assert "a blank pushed onto these pins lies off its place; about where it then lies it can" in told
