"""Arcs in G17, G18 and G19 against scipy rotations and complex numbers; written back and read again.

Which way G2 and G3 turn: seen from the positive end of the axis square to the plane (NISTIR 6556, 3.5.3).
"""

import cmath
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from simkit.errors import InputProblems
from simkit.job.model import Blank, Job, Setup
from simkit.moves.table import ARC
from simkit.program.job_programs import read_programs
from simkit.program.reader import Options, read_program

HEAD = "G21 G90 T1 M6 S1 M3 F600\nG0 X{} Y{} Z{}\n"  # the arc is line 3
NORMAL = {17: np.array([0.0, 0, 1]), 18: np.array([0.0, 1, 0]), 19: np.array([1.0, 0, 0])}
OFFSETS = {17: "IJ", 18: "IK", 19: "JK"}  # of the axes in alphabetical order
AXES = {17: [0, 1], 18: [0, 2], 19: [1, 2]}
IN_MOVES = {17: [0, 1], 18: [2, 0], 19: [1, 2]}  # what Moves.centre holds
SENSES = [("G2", -1), ("G3", 1)]


def read(start, arc, options=None):
    return read_program(HEAD.format(*(f"{v:.12f}" for v in start)) + arc + "\nM30\n", "a.nc", options=options)


def random_arc(seed, plane, sense, sweep=None):
    """A true arc or helix: start, centre, end, signed sweep; its points come from scipy."""
    random = np.random.default_rng(seed)
    start = random.uniform(-9, 9, 3)
    arm = random.uniform(1, 6, 3) * (1 - NORMAL[plane])
    centre = start - arm
    sweep = sense * (random.uniform(0.1, 6.2) if sweep is None else sweep)
    rise = random.uniform(-3, 3)
    end = centre + Rotation.from_rotvec(sweep * NORMAL[plane]).apply(arm) + rise * NORMAL[plane]
    return start, centre, end, sweep


def offsets(plane, vector):
    return " ".join(f"{k}{v:.12f}" for k, v in zip(OFFSETS[plane], vector[AXES[plane]], strict=True))


def assert_is(moves, start, centre, end, sweep, plane):
    assert (len(moves), moves.kind.tolist(), moves.plane.tolist()) == (1, [ARC], [plane])
    assert moves.start[0] == pytest.approx(start, abs=1e-9)
    assert moves.end[0] == pytest.approx(end, abs=1e-9)
    assert moves.centre[0] == pytest.approx(centre[IN_MOVES[plane]], abs=1e-8)
    assert moves.sweep[0] == pytest.approx(sweep, abs=1e-8)
    radius = np.linalg.norm((start - centre)[AXES[plane]])
    rise = (end - start) @ NORMAL[plane]
    assert moves.length()[0] == pytest.approx(math.hypot(radius * sweep, rise), rel=1e-9)


@pytest.mark.parametrize("plane", [17, 18, 19])
@pytest.mark.parametrize(("word", "sense"), SENSES)
@pytest.mark.parametrize("seed", range(4))
def test_centre_form__incremental_and_absolute(plane, word, sense, seed):
    start, centre, end, sweep = random_arc(seed, plane, sense)
    x, y, z = end
    block = f"G{plane} {word} X{x:.12f} Y{y:.12f} Z{z:.12f} "
    assert_is(read(start, block + offsets(plane, centre - start)).moves[1:], start, centre, end, sweep, plane)
    absolute = read(start, "G90.1 " + block + offsets(plane, centre)).moves[1:]
    assert_is(absolute, start, centre, end, sweep, plane)
    x, y, z = end - start
    incremental = f"G91 G{plane} {word} X{x:.12f} Y{y:.12f} Z{z:.12f} {offsets(plane, centre - start)}"
    assert_is(read(start, incremental).moves[1:], start, centre, end, sweep, plane)


@pytest.mark.parametrize("plane", [17, 18, 19])
@pytest.mark.parametrize(("word", "sense"), SENSES)
@pytest.mark.parametrize("degrees", [40, 175, 185, 330])
def test_radius_form__short_and_long(plane, word, sense, degrees):
    """R > 0 turns by at most half a circle, R < 0 by at least half (NISTIR 6556, 3.5.3.1)."""
    start, centre, end, sweep = random_arc(degrees, plane, sense, math.radians(degrees))
    radius = np.linalg.norm((start - centre)[AXES[plane]]) * (1 if degrees < 180 else -1)
    x, y, z = end
    moves = read(start, f"G{plane} {word} X{x:.12f} Y{y:.12f} Z{z:.12f} R{radius:.12f}").moves[1:]
    assert_is(moves, start, centre, end, sweep, plane)


@pytest.mark.parametrize("plane", [17, 18, 19])
@pytest.mark.parametrize(("word", "sense"), SENSES)
def test_full_circle_and_helix__of_one_turn(plane, word, sense):
    """One turn of radius 5 with 2 mm rise is 31.47952414 long."""
    start = np.array([1.0, 2, 3])
    first, _ = OFFSETS[plane]
    moves = read(start, f"G{plane} {word} {first}5").moves[1:]
    assert moves.sweep.tolist() == [sense * 2 * math.pi]
    assert moves.end[0] == pytest.approx(start)
    rise = "ZYX"[plane - 17]
    height = (start + 2 * NORMAL[plane])["XYZ".index(rise)]
    assert read(start, f"G{plane} {word} {first}5 {rise}{height}").moves.length()[1] == pytest.approx(
        31.47952414, abs=1e-8
    )


def test_g18__quarter_against_complex_numbers():
    """With G18 the order of axes is Z, X: from (z, x) = (0, 0) about (5, 0), G3 turns z towards x."""
    moves = read((0, 0, 0), "G18 G3 X-5 Z5 K5 I0").moves[1:]
    assert complex(*moves.centre[0]) == 5
    end = 5 + (0 - 5) * cmath.exp(1j * moves.sweep[0])
    assert end == pytest.approx(complex(5, -5), abs=1e-12)
    assert moves.sweep[0] == pytest.approx(math.pi / 2)


def test_g18__dips_or_arches_as_seen_from_plus_y():
    """From +Y, with Z up, X runs to the left: G2 from X0 to X10 arches down, G3 up (scipy, halfway)."""
    for word, height in (("G2", 15.0), ("G3", 25.0)):
        moves = read((0, 0, 20), f"G18 {word} X10 Z20 I5 K0").moves[1:]
        arm = np.array([-5.0, 0, 0])
        half = Rotation.from_rotvec([0, moves.sweep[0] / 2, 0]).apply(arm) + np.array([5, 0, 20])
        assert half == pytest.approx([5, 0, height])


def test_plane__stays_in_force_and_lines_have_none():
    got = read((0, 0, 0), "G19 G3 Y1 Z1 K1\nG1 X1\nG2 Y0 Z0 J-1\nG17 G3 X2 Y1 J1")
    assert got.moves.plane.tolist() == [17, 19, 17, 19, 17]


def test_mismatch__long_arc_in_an_upright_plane_is_two_that_join():
    got = read((10, 0, 0), "G18 G2 X0 Z-10.002 I-10.000 K0.000")
    assert got.largest_arc_mismatch == pytest.approx(0.002, abs=1e-9)
    moves = got.moves[1:]
    assert (moves.start[1:] == moves.end[:-1]).all()
    for p in (moves.start, moves.end):
        arms = np.hypot(*(p[:, [2, 0]] - moves.centre).T)
        assert arms == pytest.approx(10.001, abs=0.0011)


def test_tolerance__counts_the_decimals_of_its_own_plane():
    with pytest.raises(InputProblems, match=r"centre 0\.0030 mm nearer .* at most 0\.0028 mm"):
        read((10, 0, 0), "G18 G2 X0 Z-10.003 I-10 K0")
    assert read((10, 0, 0), "G18 G2 X0 Z-10.02 I-10 K0").largest_arc_mismatch == pytest.approx(0.02)


def written_back(moves):
    """Moves as plain G17 to G19, G0 to G3, with digits enough to keep every bit."""
    lines = ["G21 G90 T1 M6 M3 S1"]
    for k in range(len(moves)):
        point = "X{:.17f} Y{:.17f} Z{:.17f}".format(*moves.end[k])
        if moves.kind[k] == ARC:
            plane = int(moves.plane[k])
            vector = np.zeros(3)
            vector[IN_MOVES[plane]] = moves.centre[k] - moves.start[k, IN_MOVES[plane]]
            words = " ".join(f"{'IJK'[axis]}{vector[axis]:.17f}" for axis in AXES[plane])
            lines.append(f"G{plane} G{3 if moves.sweep[k] > 0 else 2} {point} {words} F{moves.feed[k]:.17f}")
        elif moves.rapid[k]:
            lines.append(f"G0 {point}")
        else:
            lines.append(f"G1 {point} F{moves.feed[k]:.17f}")
    return "\n".join([*lines, "M30", ""])


@pytest.mark.parametrize("seed", range(8))
def test_round_trip__planes_cycles_and_zeros(seed):
    """Whatever words made them, moves written back as plain ones read as the same moves."""
    random = np.random.default_rng(seed)
    blocks = ["G21 G90 T1 M6 M3 S1 F600", "G0 X0 Y0 Z20", "G18 G2 I5", "G19 G3 K5 X3"]
    for _ in range(25):
        x, y, z, i = random.uniform(-20, 20, 4).round(3)
        plane = random.choice([17, 18, 19])
        pair = OFFSETS[plane]
        blocks.append(
            random.choice(
                [
                    f"G{plane} G{random.choice([2, 3])} {pair[0]}{i} {pair[1]}{z} {'ZYX'[plane - 17]}{x}",
                    f"G17 G99 {random.choice(['G81', 'G82 P1', 'G85'])} X{x} Y{y} Z-5 R{abs(z)}",
                    f"G17 G98 G{random.choice([73, 83])} X{x} Y{y} Z-5 R{abs(z)} Q{abs(i) + 1}",
                    f"G91 G17 G81 X{x} Y{y} Z-5 R1 L2\nG90",
                    f"G55 G0 X{x} Y{y}\nG1 Z{z}",
                    f"G54 G1 X{x} Y{y}",
                    f"G1 G92 X{x} Z{z}".replace("G1 ", ""),
                    "G92.1",
                ]
            )
        )
    options = Options({"G55": (3.0, -4.0, 0.5)})
    first = read_program("\n".join(blocks) + "\nM30\n", "a.nc", options=options).moves
    again = read_program(written_back(first), "a.nc").moves
    assert len(again) == len(first) > 30
    assert len(set(first.plane.tolist())) == 3
    for name in ("kind", "plane", "rapid"):
        assert (getattr(again, name) == getattr(first, name)).all(), name
    for name in ("start", "end", "centre", "sweep"):
        assert getattr(again, name) == pytest.approx(getattr(first, name), abs=1e-8), name
    assert again.feed == pytest.approx(first.feed, nan_ok=True)


# -- what a check does with them --------------------------------------------------------------------


def job_of(folder, text, **words):
    (folder / "a.nc").write_text(text, encoding="utf-8")
    setup = Setup("one", (folder / "a.nc",), cutter=1, **words.pop("setup", {}))
    return Job("part", Blank(100, 50, 20), {1: "cutter 1"}, (setup,), file=str(folder / "job.toml"), **words)


def test_read_programs__passes_upright_arcs_on(tmp_path):
    text = HEAD.format(0, 0, 9) + "G3 X2 R1\nG18 G3 X4 R1\nX6 R1\nG19 Z5 R9\nM30\n"
    [[(_, got)]] = read_programs(job_of(tmp_path, text))
    assert got.moves.plane[got.moves.kind == ARC].tolist() == [17, 18, 18, 19]


def test_read_programs__passes_on_what_the_job_says(tmp_path):
    text = "G90 F600\nM106 S2\nG0 X0 Y0 Z5\nG55 X1\n/X9\nG1 X2 Y0.05\nG3 X0 Y2.05 I-2.1\nM30\n"
    job = job_of(
        tmp_path,
        text,
        setup={"work_offsets": {"G55": (10.0, 0.0, 0.0)}, "program_units": "in"},
        harmless_words=("M106",),
        block_delete="skip",
        arc_tolerance=50.0,
        spindle_by_hand=True,
    )
    (((_, got),),) = read_programs(job)
    assert got.moves.end[1:, 0].tolist() == pytest.approx([35.4, 60.8, 10.0])
    assert (got.skips_deleted, got.deleted_count) == (True, 1)
    assert not any("M3" in str(warning) for warning in got.warnings)


def test_read_programs__words_that_count_cannot_be_called_harmless(tmp_path):
    words = ("M106", "MSG", "M3", "G1", "M98", "X1", "M")
    job = job_of(tmp_path, HEAD.format(0, 0, 9) + "M30\n", harmless_words=words)
    with pytest.raises(InputProblems) as raised:
        read_programs(job)
    found = [(problem.place.key, problem.found) for problem in raised.value.problems]
    assert found == [(f"harmless_words[{k}]", f"'{words[k]}'") for k in range(2, 7)]
    assert str(raised.value.problems[0]).endswith(
        "[harmless_words #3]: found 'M3', expected an M word that the reader does not know, such as M106, or "
        "text such as MSG; take it out, for what it does is known and counts"
    )
