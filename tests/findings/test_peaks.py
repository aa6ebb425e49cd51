"""The peak of a spot is the highest over all of it, where a sample lies or not."""

import numpy as np
import pytest

from simkit.compare.between import Unproved
from simkit.compare.closer import Look
from simkit.compare.peaks import SLACK, proved_peaks, regions
from tests.findings.programs import END, faced
from tests.small_job import HEAD, JOB, block, check

PART = block(0, 40, 0, 30, 0, 10)
NARROW = JOB + '[cutters.2]\nshape = "flat"\ndiameter = 0.1\n'


def scratched(program, y, z):
    """The program, then a scratch 0.1 mm wide along x at y: cell centres lie 0.25 beside it."""
    program = (
        program.removesuffix(END) + f"G0 Z20\nT2 M6\nS18000 M3\nG0 X14 Y{y}\nG1 Z{z} F300\nX20\nG0 Z20\n"
    )
    return program + END


def pocketed(z):
    return faced(10).removesuffix(END) + f"G0 X12 Y15\nG1 Z{z} F300\nX22\nG0 Z20\n" + END


@pytest.mark.parametrize("y", [15.0, 16.5, 18.5])
def test_scratch_in_or_beside_a_shallower_gouge__is_its_peak(tmp_path, y):
    # 0.3 deep over a slot from y 12 to 18, 0.5 in the scratch; depth below a plane is the distance to it.
    status, found = check(tmp_path, PART, scratched(pocketed(9.7), y, 9.5), job=NARROW)
    assert status == 1
    gouges = [row for row in found if row["kind"] == "gouge"]
    assert len(gouges) == 1
    assert gouges[0]["value"] == pytest.approx(0.5, abs=1e-3)
    assert gouges[0]["bound"] <= 0.05 * 0.5 + 1e-9
    assert gouges[0]["at"][1] == pytest.approx(y, abs=0.06)


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("place", [14.0, 15.5])
def test_scratch_between_centres__is_told_with_its_own_line(tmp_path, axis, place):
    # 0.1 wide and 0.25 from the centres beside it, whose own surface the facing left.
    ends = [(14, place), (20, place)] if axis == 0 else [(place, 14), (place, 20)]
    (x0, y0), (x1, y1) = ends
    program = faced(10).removesuffix(END)
    program += f"G0 Z20\nT2 M6\nS18000 M3\nG0 X{x0} Y{y0}\nG1 Z9.7 F300\nX{x1} Y{y1}\nG0 Z20\n" + END
    _, found = check(tmp_path, PART, program, job=NARROW)
    row = next(row for row in found if row["kind"] == "gouge")
    assert row["value"] == pytest.approx(0.3, abs=1e-3)
    assert row["line"] in [
        k for k, line in enumerate(program.split("\n"), 1) if line in ("G1 Z9.7 F300", f"X{x1} Y{y1}")
    ]
    assert row["cutter"] == "T2 0.1 mm flat"


def test_hole_between_centres_right_through__is_a_break_through(tmp_path):
    # 0.1 wide at a corner of four cells, none of which is empty at its centre; the part is 10 thick there.
    program = (
        faced(10).removesuffix(END) + "G0 Z20\nT2 M6\nS18000 M3\nG0 X20 Y15\nG1 Z-1 F300\nG0 Z20\n" + END
    )
    status, found = check(tmp_path, PART, program, job=NARROW)
    assert status == 1
    assert [row["kind"] for row in found if row["kind"] in ("gouge", "break-through")] == ["break-through"]
    row = next(row for row in found if row["kind"] == "break-through")
    assert row["value"] == pytest.approx(10.0, abs=1e-3)
    assert row["line"] == program.split("\n").index("G1 Z-1 F300") + 1
    assert row["at"][:2] == pytest.approx([20, 15], abs=0.06)


def test_hole_that_ends_above_the_other_face__stays_a_gouge(tmp_path):
    program = (
        faced(10).removesuffix(END) + "G0 Z20\nT2 M6\nS18000 M3\nG0 X20 Y15\nG1 Z0.5 F300\nG0 Z20\n" + END
    )
    _, found = check(tmp_path, PART, program, job=NARROW)
    assert [row["kind"] for row in found if row["kind"] in ("gouge", "break-through")] == ["gouge"]


WIDE = JOB.replace("diameter = 6", "diameter = 10").replace("thinnest_wall = 1", "thinnest_wall = 0")


@pytest.mark.parametrize("far", [26.0, 26.17, 26.3])
@pytest.mark.parametrize(("limit", "is_beyond"), [(2.112, False), (2.05, True)])
def test_corner_that_a_wide_cutter_leaves__is_as_far_off_as_it_is(tmp_path, far, limit, is_beyond):
    # A pocket 10 deep, cut with R 5: (sqrt 2 - 1) R stand in each corner, the square's diagonal less R.
    # 26.3 as a mesh file has it, in float32, lies just below a row of centres.
    part = block(0, 40, 0, 30, 0, 12).difference(block(4, 36, 4, far, 2, 13))
    program = HEAD + "G0 X9 Y9\nG1 Z2 F300\n"
    for k, y in enumerate([9.0, 13.0, 17.0, 20.0, far - 5]):
        program += f"G1 Y{y:g} F900\nX{31 if k % 2 == 0 else 9}\n"
    program += f"X9\nX31\nY9\nX9\nY{far - 5:g}\n" + END
    job = WIDE.replace("leftover = 0.3", f"leftover = {limit}")
    _, found = check(tmp_path, part, program, cell="0.2", job=job)
    rows = [row for row in found if row["kind"].startswith("leftover")]
    assert len(rows) == (4 if is_beyond else 0)
    for row in rows:
        assert row["severity"] == "beyond"
        assert abs(row["value"] - 5 * (2**0.5 - 1)) <= row["bound"] <= 0.05 * 2.08


def test_scratch_in_the_least_of_many_spots__is_told_first(tmp_path):
    # Thirteen pits 0.2 deep and one 0.15 deep, the scratch 0.5 deep between its samples.
    places = [(x, y) for y in (6.6, 15.6, 24.6) for x in (4.5, 12.5, 20.5, 28.5, 36.5)][:13]
    job = NARROW + '[cutters.3]\nshape = "flat"\ndiameter = 2\n'
    program = faced(10).removesuffix(END) + "G0 Z20\nT3 M6\nS18000 M3\nG0 Z20\n"
    for k, (x, y) in enumerate([*places, (28.5, 24.6)]):
        program += f"G0 X{x} Y{y}\nG1 Z{9.85 if k == 13 else 9.8} F300\nG0 Z20\n"
    program += "T2 M6\nS18000 M3\nG0 X28 Y24.6\nG1 Z9.5 F300\nX29\nG0 Z20\n" + END
    _, found = check(tmp_path, PART, program, cell="0.2", job=job)
    rows = [row for row in found if row["kind"] == "gouge"]
    assert rows[0]["value"] == pytest.approx(0.5, abs=1e-3)
    assert rows[0]["at"][:2] == pytest.approx([28.5, 24.6], abs=0.6)
    assert len(rows) == 13
    assert "1 lesser spot like it, up to 0.20 mm, is not listed" in rows[-1]["message"]


def test_scratch_beside_leftover__is_told_too(tmp_path):
    # A block 1 high left standing over y 20 to 30, the scratch 1 mm beside it.
    low = block(0, 40, 0, 20, 0, 10).union(block(0, 40, 20, 30, 0, 9))
    _, found = check(tmp_path, low, scratched(faced(10), 19.0, 9.7), job=NARROW)
    values = {row["kind"]: row["value"] for row in found}
    assert values["gouge"] == pytest.approx(0.3, abs=1e-3)
    assert values["leftover-program"] == pytest.approx(1.0, abs=1e-3)


def test_regions__take_what_is_nearest_and_near():
    label = np.zeros((1, 20), int)
    label[0, 3], label[0, 9], label[0, 12] = 7, 5, 2
    got = regions(label, [5, 7], 1.0)[0]
    assert list(np.flatnonzero(got == 1)) == [7, 8, 9, 10]
    assert list(np.flatnonzero(got == 2)) == [1, 2, 3, 4, 5]


def look(value, bound=0.01):
    return Look(value, bound, (0.0, 0.0, 0.0), 0.01, certain=value, is_surface=True)


def truth(peaks):
    """Answers as `between` would for true peaks by cell; within SLACK above them it is not settled."""
    peaks = np.asarray(peaks, float)

    def ask(most, is_asked, floor, with_faces=False):
        found = Unproved(np.zeros(peaks.shape, bool))
        cells = np.flatnonzero(is_asked & (peaks > most))
        found.add(cells, cells + 0.5, np.full(len(cells), 0.5), peaks.ravel()[cells])
        return found

    return ask


def test_proved_peaks__climbs_to_the_highest():
    peaks, region = np.array([[0.2, 0.5, 0.9, 0.3]]), np.array([[1, 1, 1, 2]])
    got = proved_peaks(
        [look(0.2), look(0.3)], region, truth(peaks), lambda k, cell, place: look(float(peaks[cell]))
    )
    assert [one.value for one, _ in got] == [0.9, 0.3]
    assert [cell for _, cell in got] == [(0, 2), None]


def test_proved_peaks__what_no_look_finds_widens_the_bound():
    peaks, region = np.array([[0.2, 0.5]]), np.array([[1, 1]])
    ((got, cell),) = proved_peaks([look(0.2)], region, truth(peaks), lambda *_: look(0.15))
    assert (got.value, cell) == (0.2, None)
    assert 0.3 <= got.bound <= 0.6 + SLACK
