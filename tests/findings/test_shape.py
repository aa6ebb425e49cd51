"""How many spots are told one by one, and that one place is told once."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from simkit.compare.closer import Look
from simkit.compare.spots import Spot
from simkit.findings import shape
from simkit.stock.field import Lattice
from tests.findings.programs import END, faced
from tests.small_job import JOB, block, check

NEAR, LEFT = 9.90001, 0.29999  # a gouge and leftover as near to their limits as rounding
PART = block(0, 40, 0, 30, 0, 10)
NARROW = JOB + '[cutters.2]\nshape = "flat"\ndiameter = 1\n'
PLACES = [(x, y) for y in (6, 11, 16, 21, 26) for x in (3, 8, 13, 18, 23, 28, 33, 37)]


def plunged(*places):
    """Faced to 10, then plunges (x, y, z) of the narrow cutter."""
    program = faced(10).removesuffix(END) + "G0 Z20\nT2 M6\nS18000 M3\nG0 Z20\n"
    for x, y, z in places:
        program += f"G0 X{x} Y{y}\nG1 Z{z} F300\nG0 Z20\n"
    return program + END


def pitted(*places):
    """The part with pits nearly 0.3 deep, 1 x 1, that no move of the program cuts."""
    pits = [block(x - 0.5, x + 0.5, y - 0.5, y + 0.5, 10 - LEFT, 11) for x, y in places]
    return trimesh.boolean.difference([PART, *pits], engine="manifold")


def rows_of(found, kind):
    return [row for row in found if row["kind"].startswith(kind)]


def lesser(rows):
    """How many more the rows say there are."""
    words = [
        row["message"].split("(")[-1].split(" lesser")[0] for row in rows if " lesser " in row["message"]
    ]
    return sum(int(word) for word in words)


def test_near_rows__are_twelve_and_the_rest_counted(tmp_path):
    places = PLACES[:20]
    _, found = check(tmp_path, PART, plunged(*((x, y, NEAR) for x, y in places)), job=NARROW)
    rows = rows_of(found, "gouge")
    assert [row["severity"] for row in rows] == ["undecided"] * 12
    assert lesser(rows) == 8
    assert len({tuple(row["centre"]) for row in rows}) == 12
    for row in rows:
        assert row["value"] == pytest.approx(10 - NEAR, abs=1e-4)


@pytest.mark.parametrize("count", [1, 12])
def test_near_rows__up_to_twelve_are_all_told(tmp_path, count):
    _, found = check(tmp_path, PART, plunged(*((x, y, NEAR) for x, y in PLACES[:count])), job=NARROW)
    rows = rows_of(found, "gouge")
    assert [row["severity"] for row in rows] == ["undecided"] * count
    assert lesser(rows) == 0


def test_near_rows__do_not_take_the_room_of_those_beyond(tmp_path):
    deep = [(x, y, 9.8 - 0.01 * k) for k, (x, y) in enumerate(PLACES[:15])]
    near = [(x, y, NEAR) for x, y in PLACES[15:31]]
    status, found = check(tmp_path, PART, plunged(*near, *deep), job=NARROW)
    rows = rows_of(found, "gouge")
    assert status == 1
    assert sorted(row["severity"] for row in rows) == ["beyond"] * 12 + ["undecided"] * 12
    assert lesser(rows) == 3 + 4
    told = [row["value"] for row in rows if row["severity"] == "beyond"]
    assert sorted(told) == pytest.approx([0.2 + 0.01 * k for k in range(3, 15)], abs=1e-3)


def test_near_rows__of_each_kind_are_counted_apart(tmp_path):
    gouged, left = PLACES[:16], PLACES[24:38]
    program = plunged(*((x, y, NEAR) for x, y in gouged))
    _, found = check(tmp_path, pitted(*left), program, job=NARROW, cell="0.25")
    for kind, count in (("gouge", 16), ("leftover", 14)):
        rows = rows_of(found, kind)
        assert [row["severity"] for row in rows] == ["undecided"] * 12
        assert lesser(rows) == count - 12


def test_near_rows__of_each_zone_are_counted_apart(tmp_path):
    zone = '[[zones]]\nname = "left"\nbox = [[0, 0], [20, 30]]\n'
    places = [(x, y) for x, y in PLACES if x < 20][:15] + [(x, y) for x, y in PLACES if x > 20][:14]
    _, found = check(tmp_path, PART, plunged(*((x, y, NEAR) for x, y in places)), job=NARROW + zone)
    rows = rows_of(found, "gouge")
    assert sorted(row["zone"] for row in rows) == ["left"] * 12 + ["whole part"] * 12
    assert lesser(rows) == 3 + 2


@pytest.mark.parametrize(("apart", "severities"), [(1.0, ["beyond"]), (4.0, ["beyond", "undecided"])])
def test_one_peak__seen_from_two_spots_is_told_once(tmp_path, apart, severities):
    # The look at the shallow spot reaches three cells, to the deep one where that is near.
    x = 12.0 + 1.0 + apart
    _, found = check(tmp_path, PART, plunged((12.0, 15.0, 9.8), (x, 15.0, NEAR)), job=NARROW)
    rows = rows_of(found, "gouge")
    assert sorted(row["severity"] for row in rows) == severities
    assert rows[0]["value"] == pytest.approx(0.2, abs=1e-3)


@pytest.mark.parametrize(("apart", "rows", "more"), [(2.0, 1, 1), (3.0, 1, 1), (4.0, 2, 0)])
def test_one_peak__the_neighbour_beyond_its_limit_is_still_counted(tmp_path, apart, rows, more):
    # Cells of 1 mm: spots with a cell between them are two, and the look at the lesser finds the deeper.
    program = plunged((12.5, 15.5, 9.7), (12.5 + apart, 15.5, 9.8))
    _, found = check(tmp_path, PART, program, job=NARROW, cell="1")
    gouges = rows_of(found, "gouge")
    assert [row["severity"] for row in gouges] == ["beyond"] * rows
    assert [row["value"] for row in gouges] == pytest.approx([0.3, 0.2][:rows], abs=1e-3)
    assert lesser(gouges) == more
    assert ("up to 0.20 mm" in gouges[-1]["message"]) == (more > 0)


def looked(x, value, bound=0.004, cell=0.01, severity="undecided"):
    spot = Spot(value, (0, 0), (x, 0.0), (x, 0.0), 1, 0.25, (0, 1, 0, 1))
    return shape.Looked(spot, Look(value, bound, (x, 0.0, 9.9), cell), severity, 0, 1, 0.1, "whole part")


def test_once__the_first_of_each_place_stays():
    first = looked(5.0, -0.1)
    same, beside = looked(5.02, -0.107), looked(5.021, -0.1)
    other_depth = looked(5.0, -0.1081)
    assert shape._once([first, same, beside, other_depth]) == [first, beside, other_depth]
    assert shape._once([same, beside], [first]) == [beside]
    assert shape._once([looked(5.03, -0.1, cell=0.02)], [first]) == []  # the coarser look's cells count
    assert shape._once([]) == []


def test_severity__by_both_ends_of_the_range():
    ends = np.array([shape.severity_of(value, 0.01, 0.1) for value in (0.05, 0.0901, 0.1099, 0.1101)])
    assert ends.tolist() == ["", "undecided", "undecided", "beyond"]


@pytest.mark.parametrize("is_gouge", [True, False])
def test_near_the_limit_by_one_measure_and_across_the_part_by_the_other__has_its_own_sign(
    monkeypatch, is_gouge
):
    """Two distances may disagree about the side of the part; a spot of leftover is positive all the same."""
    lattice = Lattice((0.0, 0.0), 0.2, 12, 10)
    sign = -1.0 if is_gouge else 1.0
    normal, most = np.zeros(lattice.shape), np.zeros(lattice.shape)
    normal[4, 5], most[4, 5] = sign * 0.29, -sign * 0.13
    both = SimpleNamespace(normal=normal, most=most, lattice=lattice)
    field = SimpleNamespace(lattice=lattice)
    evidence = SimpleNamespace(deviations={1: both}, may_exceed=None, field=field)
    seen = []
    monkeypatch.setattr(shape, "_looked", lambda judged, spot: seen.append(spot) or looked_at(spot))
    shape._zone_spots(
        shape._Judged(evidence, 1, 0.3, is_gouge, "whole part", None), np.ones(lattice.shape, bool)
    )
    assert [spot.value for spot in seen] == [sign * 0.29]


def looked_at(spot):
    look = Look(spot.value, 0.0, (*spot.at, 0.0), 0.02)
    return shape.Looked(spot, look, "", -1, 1, 0.3, "whole part")


@pytest.mark.parametrize(("found", "value"), [(0.0165, 0.21), (0.26, 0.26)])
def test_undecided__tells_the_higher_look_and_a_bound_that_reaches_the_limit(monkeypatch, found, value):
    """Where it is open whether a limit is kept, the range told must hold the limit."""
    lattice = Lattice((0.0, 0.0), 0.4, 4, 3)
    looks = {(0.6, 0.6): 0.21, (1.0, 0.6): found}
    worst = ((1, 2), (1.0, 0.6), 0.3, False)
    met = SimpleNamespace(worst=lambda region: worst, away=np.zeros(lattice.shape))
    evidence = SimpleNamespace(
        field=SimpleNamespace(lattice=lattice),
        zones=SimpleNamespace(allowance=lambda lattice, side: None),
        may_exceed=lambda *words, **more: met,
    )
    monkeypatch.setattr(
        shape,
        "_look",
        lambda judged, cell, place, finest: Look(looks[tuple(place)], 0.01, (*place, 9.0), 0.01, 0.0),
    )
    judged = shape._Judged(evidence, 1, 0.3, False, "whole part", None)
    first = Look(0.2, 0.03, (0.6, 0.6, 9.0), 0.01)
    severity, look, _ = shape._decided(judged, first, np.ones(lattice.shape, bool))
    assert (severity, look.value) == ("undecided", value)
    assert look.value + look.bound == pytest.approx(0.3)


def test_number_at__beside_its_cells_is_that_of_the_nearest_spot():
    label = np.array([[1, 0, 0, 0, 2], [0, 0, 0, 0, 2]])
    assert [shape._number_at(label, (0, k)) for k in range(5)] == [1, 1, 1, 2, 2]
    assert shape._number_at(np.zeros((2, 2), int), (1, 1)) == 0
