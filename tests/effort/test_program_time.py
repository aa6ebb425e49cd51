"""Where the time of a program goes, against sums by hand."""

import math

import numpy as np
import pytest

from simkit.effort.motion import move_times
from simkit.effort.program_time import about, program_times
from simkit.job.model import Machine
from simkit.report.program_summary import read_alone, summary_of
from simkit.report.time_table import DEFAULTS, assumed

MACHINE = Machine(
    speed=(6000.0,) * 3, acceleration=(500.0,) * 3, rounding=1e-9, spindle_start=3.0, cutter_change=40.0
)
PROGRAM = """\
G21 G90
T1 M6
S18000 M3
G0 X0 Y0 Z10
X100
G4 P2.5
G1 X0 F3000
M5
M3 S18000
G1 X1
T2 M6
M3
G0 X101
G1 X1 Z10
T2 M6
G0 X101
M30
"""


def told(text=PROGRAM, **options):
    read = read_alone(text.encode(), "a.nc")
    times = move_times(read.moves, MACHINE)
    return read, program_times(read.moves, times, MACHINE, [read.dwell], **options)


def rest_to_rest(d, v):
    return d / v + v / 500 if d >= v * v / 500 else 2 * math.sqrt(d / 500)


def test_program_time__by_hand():
    _, (program,) = told()
    first, second = program.cutters
    assert (program.program, program.setup, program.dwell) == ("a.nc", 0, 2.5)
    # The spindle starts for T1 twice as M3 says only if a move lies between; M5 M3 without one is one stop.
    assert (first.tool, first.changes, first.starts) == (1, 1, 1)
    assert first.standing == 40 + 3
    assert first.rapids == pytest.approx(rest_to_rest(100, 100), rel=1e-3)
    assert first.cutting == pytest.approx(rest_to_rest(100, 50) + rest_to_rest(1, 50), rel=1e-3)
    assert first.length == pytest.approx(101)
    assert first.not_reached == pytest.approx(1 / 101)
    assert first.lost == pytest.approx(50 / 500 + rest_to_rest(1, 50) - 1 / 50, rel=1e-3)
    assert first.in_wood is None
    # T2 M6 again changes nothing.
    assert (second.tool, second.changes, second.starts) == (2, 1, 1)
    assert program.total == pytest.approx(2.5 + first.total + second.total)
    assert first.total == pytest.approx(first.cutting + first.rapids + first.standing)


def test_program_time__wood_and_air():
    read, _ = told()
    wood = np.zeros(len(read.moves))
    wood[2] = 0.25
    _, (program,) = told(wood=wood)
    assert program.cutters[0].in_wood == pytest.approx(0.25 * rest_to_rest(100, 50), rel=1e-3)
    assert program.cutters[1].in_wood == 0.0


def test_summary__time_of_a_machine_with_the_default_figures():
    time = summary_of(read_alone(PROGRAM.encode(), "a.nc"))["time"]
    machine = Machine()
    assert time["machine"] == {
        key: list(value) if isinstance(value := getattr(machine, key), tuple) else value for key in DEFAULTS
    }
    cutters = time["programs"][0]["cutters"]
    assert [row["standing"] for row in cutters] == [pytest.approx(64 / 60)] * 2
    assert time["minutes"] == pytest.approx(sum(row["minutes"] for row in cutters) + 2.5 / 60)
    assert [row["air"] for row in cutters] == [None, None]
    # Faster rapids, on every axis.
    fast = summary_of(read_alone(PROGRAM.encode(), "a.nc"), rapid=30000.0)["time"]
    assert fast["programs"][0]["cutters"][0]["rapids"] < cutters[0]["rapids"]
    assert "mm/min" in time["note"]
    assert "mm/min" not in fast["note"]


def test_assumed__names_what_is_missing():
    assert assumed([], Machine()) == ""
    assert assumed(["rounding", "cutter_change"], Machine()) == (
        "assumed, common practice, no source: corners within 0.02 mm; 60 s for a change of cutter"
    )


HOLES = """\
G21 G90
T3 M6
M3 S9000
G0 X0 Y0 Z20
G1 Z-5 F300
G0 Z20
X10
Z3
G1 Z-5
G0 Z20
X20
G1 Z-8
Z-2
G0 Z5
X30
G1 Z-3
G0 Z20
T1 M6
M3
G0 X0 Z25
G1 Z-2 F1200
X50
G0 Z25
X0 Y0
M30
"""


def test_operations__from_retract_to_retract():
    read, (program,) = told(HOLES)
    rows, deep, pocket = program.operations
    # Two holes of one depth are one; a lift below the safe height does not end one.
    assert (rows.tool, rows.first, rows.last, rows.lowest, rows.count) == (3, 5, 9, -5.0, 2)
    assert (deep.tool, deep.first, deep.last, deep.lowest, deep.count) == (3, 12, 16, -8.0, 1)
    assert (pocket.tool, pocket.first, pocket.last, pocket.lowest, pocket.count) == (1, 21, 22, -2.0, 1)
    # Nothing is left out, nothing counted twice: the way back at the end belongs to the last one.
    times = move_times(read.moves, MACHINE)
    assert sum(one.total for one in program.operations) == pytest.approx(times.seconds.sum(), rel=1e-12)
    assert sum(one.cutting for one in program.operations) == pytest.approx(
        times.seconds[~read.moves.rapid].sum(), rel=1e-12
    )
    assert rows.cutting == pytest.approx(rest_to_rest(25, 5) + rest_to_rest(8, 5), rel=1e-3)


LEVELS = """\
G21 G90
T1 M6
M3 S9000
G0 X0 Y0 Z20
G1 Z-3 F600
X40
Y10
G0 Z20
G0 X5 Y2
G1 Z-6
X38
Y9
G0 Z20
G0 X60 Y0
G1 Z-9
X90
G0 Z20
G0 X60 Y0
G1 Z-4
X90
G0 Z20
T2 M6
M3
G0 X60 Y0
G1 Z-9
X90
G0 Z20
M30
"""


def test_operations__levels_over_one_place_are_one():
    read, (program,) = told(LEVELS)
    levels, deep, shallow, other = program.operations
    assert (levels.tool, levels.first, levels.last, levels.lowest) == (1, 5, 12, -6.0)
    assert (levels.count, levels.levels) == (2, 2)
    # Deeper elsewhere, less deep there, and another cutter are operations of their own.
    assert (deep.first, deep.last, deep.lowest, deep.levels) == (15, 16, -9.0, 1)
    assert (shallow.first, shallow.last, shallow.lowest, shallow.levels) == (19, 20, -4.0, 1)
    assert (other.tool, other.first, other.lowest, other.levels) == (2, 25, -9.0, 1)
    times = move_times(read.moves, MACHINE)
    assert sum(one.total for one in program.operations) == pytest.approx(times.seconds.sum(), rel=1e-12)


def test_operations__of_a_program_that_never_lifts():
    _, (program,) = told("G21 G90\nG0 X0 Y0 Z0\nG1 X10 F600\nX0\nM30\n")
    (only,) = program.operations
    assert (only.first, only.last, only.lowest, only.rapids) == (3, 4, 0.0, 0.0)
    _, (program,) = told("G21 G90\nG0 X0 Y0 Z0\nG0 X10\nM30\n")
    assert program.operations == ()


@pytest.mark.parametrize(
    ("body", "stops"),
    [
        ("X10\nX20\nX30\n", 0),
        ("X10\nG4 P0.5\nX20\nX30\n", 1),
        ("X10\nG4 P0\nG4 P1\nX20\nG4 P1\nX30\nG4 P1\n", 2),
        ("G61.1 X10\nX20\nX30\n", 2),
        ("X10\nX10\nG4 P1\nX20\nX30\n", 1),  # the dwell stands behind a move that goes nowhere
        ("G61.1 X10\nG64 X20\nX30\n", 1),
        ("X10\nX20 G61.1\nX30 G61\n", 1),
    ],
)
def test_dwells_and_exact_stops__the_machine_comes_to_rest(body, stops):
    """A straight way of 30 mm in three moves at 50 mm/s, 500 mm/s2; each stop on it costs v / a."""
    read, (program,) = told(f"G21 G90\nG0 X0 Y0 Z0\nG1 F3000\n{body}M30\n")
    (cutter,) = program.cutters
    assert cutter.cutting == pytest.approx(30 / 50 + 50 / 500 * (1 + stops), rel=1e-9)
    assert read.moves.rests.sum() >= stops


def test_cycle_with_a_dwell__rests_at_the_bottom_of_each_hole():
    read, _ = told("G21 G90\nG0 X0 Y0 Z9\nF600\nG82 X5 Z-3 R2 P0.5\nX15 L2\nG81 X30 Z-3 R2\nG80\nM30\n")
    assert read.moves.end[read.moves.rests].tolist() == [[5, 0, -3], [15, 0, -3], [15, 0, -3]]


def test_about__nothing_that_takes_time_is_told_as_none():
    assert [about(m) for m in (0.0, 0.1 / 60, 0.6 / 60, 1.5, 3.2)] == [
        "0 s",
        "under 1 s",
        "1 s",
        "90 s",
        "3 min",
    ]
