"""`simkit read`: what is in a program, against numbers worked out by hand and sampled points."""

# ruff: noqa: E501 (a message stands as it is told)

import json
import math
import re

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from simkit.cli import main
from simkit.errors import InputProblems
from simkit.job.model import Blank, Zero
from simkit.moves.table import ARC, make_moves
from simkit.report.program_summary import extremes, read_alone, summary_of
from simkit.report.program_text import summary_text

PROGRAM = """\
G21 G90
T1 M6
S18000 M3
G0 X0 Y0
G0 Z10
G1 Z-2 F300
X30 F1200
G3 X30 Y20 J10 F600
G0 Z10
T2 M6
M3 S12000
G0 X5 Y5
G81 Z-21 R1 F120
G80
G0 Z10
M30
"""


def summary(text=PROGRAM, **options):
    return summary_of(read_alone(text.encode(), "a.nc"), **options)


def test_summary__numbers_worked_out_by_hand():
    got = summary(rapid=3000.0)
    assert (got["units"], got["lines"], got["blocks"], got["moves"]) == (["mm"], 16, 16, 10)
    assert got["starts_at"] == [0, 0, 10]
    assert got["deepest_cut"] == {"z": -21, "line": 13}
    # The half circle about X30 Y10 reaches X40.
    assert got["cutting_box"] == {"low": [0, 0, -21], "high": [pytest.approx(40), 20, 10]}
    assert got["box"] == {"low": [0, 0, -21], "high": [pytest.approx(40), 20, 10]}
    assert (got["feeds"], got["speeds"]) == ([120, 1200], [12000, 18000])
    arc = 10 * math.pi
    assert got["cutting"]["length"] == pytest.approx(12 + 30 + arc + 22)
    assert got["cutting"]["minutes_at_least"] == pytest.approx(12 / 300 + 30 / 1200 + arc / 600 + 22 / 120)
    rapids = 12 + math.hypot(25, 15) + 9 + 31
    assert got["rapid"] == {"length": pytest.approx(rapids), "minutes": pytest.approx(rapids / 3000)}
    assert got["warnings"] == []
    first, second = got["cutters"]
    assert (first["number"], first["called_in_line"], first["lowest_cut"]) == (1, 2, {"z": -2, "line": 6})
    assert (first["feeds"], first["speeds"]) == ([300, 1200], [18000, 18000])
    assert (second["number"], second["called_in_line"], second["lowest_cut"]) == (
        2,
        10,
        {"z": -21, "line": 13},
    )
    assert first["cutting_length"] + second["cutting_length"] == pytest.approx(got["cutting"]["length"])
    assert second["cutting_minutes_at_least"] == pytest.approx(22 / 120)


def test_summary__no_time_of_rapids_without_their_speed():
    assert summary()["rapid"]["minutes"] is None


@pytest.mark.parametrize(
    ("zero", "above", "depth", "through"),
    [
        (Zero("left front", "top"), 10, 21, 1),
        (Zero("centre", "top", (0, 0, 2)), 12, 19, -1),
        (Zero("left front", "bottom"), -10, 41, 21),
    ],
)
def test_summary__against_a_blank(zero, above, depth, through):
    got = summary(blank=Blank(50, 40, 20), zero=zero)["blank"]
    assert got["starts_above_top_by"] == above
    assert (got["deepest_below_top_by"], got["deepest_below_bottom_by"]) == (depth, through)


ZEROS = {
    "G1 X10 Y10 Z-1": "Z0 on top of the blank, or inside it: cuts go below Z0; X0 Y0 at the left front of the cuts",
    "G1 X10 Y10 Z1": "Z0 at the bottom of the blank (the table): no cut goes below Z0; X0 Y0 at the left front of the cuts",
    "G0 X-10 Y-8\nG1 X10 Y8 Z-1": "Z0 on top of the blank, or inside it: cuts go below Z0; X0 Y0 in the middle of the cuts",
    "G0 X-10 Y-8\nG1 X0 Y-1 Z-1": "Z0 on top of the blank, or inside it: cuts go below Z0; X0 Y0 at the right back of the cuts",
    "G0 X-10 Y1\nG1 X10 Y8 Z-1": "Z0 on top of the blank, or inside it: cuts go below Z0; X0 Y0 at the front of the cuts",
    "G0 X1": "nothing is cut, so nothing tells where the zero is",
}


@pytest.mark.parametrize("body", ZEROS)
def test_summary__which_zero_it_expects(body):
    assert summary(f"G21 G90 T1 M6 S1 M3 F100\nG0 X0 Y0 Z5\n{body}\nM30\n")["zero"] == ZEROS[body]


def test_summary__what_a_job_would_say_is_told_as_missing():
    text = "G21 G90\nM3 S1\nG55 G0 X0 Y0\nG0 Z5\nG1 Z-1 F100\nG56\nM30\n"
    got = summary(text)
    assert got["work_zeros"] == [{"name": "G55", "line": 3}, {"name": "G56", "line": 6}]
    assert [cutter["number"] for cutter in got["cutters"]] == [None]
    assert [(w["line"], w["column"], w["text"]) for w in got["warnings"]] == [
        (
            3,
            1,
            "G55: where it lies is not known; read here as if it were the zero (--work-offset G55=X,Y,Z places it)",
        ),
        (5, 1, "a cutting move with no cutter chosen: for a check, the job or --cutter has to name it"),
        (
            6,
            1,
            "G56: where it lies is not known; read here as if it were the zero (--work-offset G56=X,Y,Z places it)",
        ),
    ]


def test_summary__cuts_before_any_call_are_no_cutters():
    got = summary(
        "G21 G90\nM3 S1\nG0 X0 Y0 Z5\nG1 Z-3 F100\nG0 Z5\nT2 M6\nM3 S1\nG0 X1\nG1 Z-1\nG0 Z5\nM30\n"
    )
    lowest = [(cutter["number"], cutter["lowest_cut"]["z"]) for cutter in got["cutters"]]
    assert lowest == [(None, -3.0), (2, -1.0)]
    assert [row["cutter"] for row in got["time"]["programs"][0]["cutters"]] == [None, 2]
    assert [warning["line"] for warning in got["warnings"]] == [4]
    # Rapids alone are made with the cutter that is called next.
    got = summary("G21 G90\nM3 S1\nG0 X0 Y0\nG0 Z5\nT2 M6\nM3 S1\nG0 X1\nG1 Z-1 F100\nG0 Z5\nM30\n")
    assert [cutter["number"] for cutter in got["cutters"]] == [2]


def test_summary__program_that_moves_nothing():
    got = summary("G21\nM30\n")
    assert (got["moves"], got["starts_at"], got["deepest_cut"], got["box"], got["feeds"]) == (
        0,
        None,
        None,
        None,
        None,
    )
    assert "starts        the program moves nothing" in summary_text(got)


def test_summary__upright_arcs_dip_by_their_radius():
    got = summary("G21 G90 T1 M6 S1 M3 F100\nG0 X0 Y0 Z5\nG18 G2 X10 I5 K0\nM30\n")
    assert got["deepest_cut"] == {"z": pytest.approx(0), "line": 3}


NORMAL = {17: (0, 0, 1), 18: (0, 1, 0), 19: (1, 0, 0)}
CENTRE_AT = {17: [0, 1], 18: [2, 0], 19: [1, 2]}


def test_extremes__against_sampled_points():
    """Sampling stays inside the true extremes, by less than r (step / 2)^2 / 2."""
    random = np.random.default_rng(11)
    for _ in range(150):
        plane = int(random.choice([17, 18, 19]))
        sweep = random.uniform(0.01, 2 * math.pi) * random.choice([-1, 1])
        start, arm = random.uniform(-9, 9, 3), np.zeros(3)
        arm[CENTRE_AT[plane]] = random.uniform(-7, 7, 2)
        centre = start - arm
        share = np.linspace(0, 1, 2001)
        turn = Rotation.from_rotvec(np.outer(share * sweep, NORMAL[plane]))
        points = centre + turn.apply(arm) + np.outer(share * 2.5, NORMAL[plane])
        moves = make_moves(
            kind=[ARC],
            plane=[plane],
            start=[start],
            end=[points[-1]],
            centre=[centre[CENTRE_AT[plane]]],
            sweep=[sweep],
        )
        low, high = extremes(moves)
        slack = np.linalg.norm(arm) * (abs(sweep) / 2000) ** 2 / 8 + 1e-9
        assert (low[0] <= points.min(axis=0) + 1e-9).all()
        assert (low[0] >= points.min(axis=0) - slack).all()
        assert (high[0] >= points.max(axis=0) - 1e-9).all()
        assert (high[0] <= points.max(axis=0) + slack).all()


TEXT = """\
program       a.nc, 16 lines, 10 moves
units         millimetres
zero          no work zero called
              it looks like Z0 on top of the blank, or inside it: cuts go below Z0; X0 Y0 at the left front of the cuts
blank         50 x 40 x 20 mm, X0 Y0 Z0 at its left front top (unless --zero says otherwise)
starts        at X0 Y0 Z10, 10 mm above the blank
deepest cut   Z-21 in line 13, 21 mm below the top of the blank, 1 mm below its bottom
lowest rapid  Z1 in line 13, 1 mm above the blank
ends          at X5 Y5 Z10, 10 mm above the blank
cuts in       X 0 to 40, Y 0 to 20, Z -21 to 10
moves in      X 0 to 40, Y 0 to 20, Z -21 to 10
feeds         120 to 1200 mm/min
speeds        12000 to 18000 rev/min
cutting       0.10 m, at least 0 min 18 s
rapids        0.08 m (--rapid MM/MIN tells their time)
time          about 2 min 28 s: 0 min 18 s cutting, 0 min 02 s rapids, 2 min 08 s standing
              assumed, common practice, no source: axes at most 8000, 8000, 4000 mm/min; 500, 500, 300 mm/s2;
              corners within 0.02 mm; 4 s for a spindle start; 60 s for a change of cutter

cutter  lowest cut  line  feeds        speeds  cutting m  at least    about       below F
T1      Z-2         6     300 to 1200  18000   0.07       0 min 07 s  0 min 07 s  0 %
T2      Z-21        13    120          12000   0.02       0 min 11 s  0 min 11 s  0 %
below F: the part of the way on moves that do not reach their feed
"""


def test_read_command__prints_the_table_and_writes_the_same_as_json(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.nc").write_text(PROGRAM, encoding="utf-8")
    assert main(["read", "a.nc", "--blank", "50x40x20", "--json", "a.json"]) == 0
    assert capsys.readouterr().out == TEXT
    written = json.loads((tmp_path / "a.json").read_text("utf-8"))
    assert written == summary(blank=Blank(50, 40, 20))
    assert (written["form"], written["version"]) == ("simkit program", 2)


def test_read_command__options_reach_the_reader(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    text = "G90 T1 M6 M3 S1\nM106 S5\nG0 X0 Y0 Z1\n/G0 X9\nG0 X2\nM30\n"
    (tmp_path / "a.nc").write_text(text, encoding="utf-8")
    command = ["read", "a.nc", "--units", "in", "--harmless", "M106", "--skip-deleted", "--rapid", "2540"]
    assert main([*command, "--blank", "50x40x20", "--zero", "centre bottom"]) == 0
    out = capsys.readouterr().out
    assert "starts        at X0 Y0 Z1, 0.2126 in above the blank" in out
    assert "block delete  1 with /, skipped" in out
    assert "rapids        0.17 ft, at least 0 min 01 s" in out
    assert "'M106 S5' does nothing, as stated" in out


def test_read_command__says_how_the_program_is_meant(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    text = "G21 G90 T1 M6\nG55 G0 X0 Y0 Z5\nG1 Z-1 F100\nG3 X2.1 Y0 I1 J0\nG54\nM30\n"
    (tmp_path / "a.nc").write_text(text, encoding="utf-8")
    command = ["read", "a.nc", "--spindle-by-hand", "--work-offset", "G55=100,-1/2 in,0"]
    assert main([*command]) == 2
    assert "0.1000 mm nearer to one end" in capsys.readouterr().err
    assert main([*command, "--arc-tolerance", "0.2 mm", "--json", "a.json"]) == 0
    out = capsys.readouterr().out
    assert "starts        at X100 Y-12.7 Z5, above Z0" in out
    assert json.loads((tmp_path / "a.json").read_text("utf-8"))["warnings"] == []


def test_read_command__zero_at_the_bottom_says_how_to_know_the_height(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    text = "G21 G90 T1 M6 S9 M3\nG0 X0 Y0 Z25\nG1 Z18 F100\nX5\nM30\n"
    (tmp_path / "a.nc").write_text(text, encoding="utf-8")
    assert main(["read", "a.nc"]) == 0
    out = capsys.readouterr().out
    assert "above Z0; whether it is above the blank, --blank LxWxT tells" in out


BAD = {
    "missing.nc": "missing.nc: found no file of this name, expected a program; check the path",
    "a.nc --rapid fast": "command line [--rapid]: found 'fast', expected a speed from 1 to 1000000 mm/min; write it like --rapid 5000",
    "a.nc --zero centre": "--zero: found 'centre', expected a corner (left front, right front, left back, right back, centre) and a face (top, bottom); write it like 'centre top'",
    "a.nc --zero centre-top": "--zero: found 'centre-top', expected a corner (left front, right front, left back, right back, centre) and a face (top, bottom); write 'centre top'",
    "a.nc --harmless M106,MSG": "command line [--harmless]: found 'M106,MSG', expected an M word that the reader does not know, such as M106, or text such as MSG; write them one by one: --harmless M106 --harmless MSG",
    "a.nc --harmless M3": "command line [--harmless]: found 'M3', expected an M word that the reader does not know, such as M106, or text such as MSG; take it out, for what it does is known and counts",
    "a.nc --work-offset G55=1,2": "--work-offset: found 'G55=1,2', expected ZERO=RIGHT,BACK,UP, such as G55=100,0,0; write three lengths with commas between",
    "a.nc --work-offset G60=1,2,3": "--work-offset [G60]: found 'G60', expected one of 'G54', 'G55', 'G56', 'G57', 'G58', 'G59', 'G59.1', 'G59.2', 'G59.3'; choose one",
    "a.nc --work-offset G55=1,2,3 --work-offset g55=1,2,3": "--work-offset: found 'g55=1,2,3', G55 again, expected each work zero once; say once where it lies",
    "a.nc --arc-tolerance 5": "--arc-tolerance: found 5 mm, expected a length from 0.0001 mm to 1 mm; give the true size",
    "a.nc --json nowhere/a.json": "nowhere/a.json [--json]: found no folder nowhere, expected an existing folder; make the folder first",
    "b.nc": "b.nc:1:1: found 'G41' (cutter compensation), expected the path of the cutter's centre, for the width it would be shifted by stands in the control; post again without cutter compensation",
}


@pytest.mark.parametrize("words", BAD)
def test_read_command__bad_input_is_told_with_status_2(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.nc").write_text(PROGRAM, encoding="utf-8")
    (tmp_path / "b.nc").write_text("G41 G21\nM30\n", encoding="utf-8")
    assert main(["read", *words.split()]) == 2
    assert capsys.readouterr().err == BAD[words] + "\n"


def test_read_command__zero_needs_a_blank(tmp_path, capsys):
    assert main(["read", str(tmp_path / "a.nc"), "--zero", "left front top"]) == 2
    assert capsys.readouterr().err == (
        "command line [--zero]: found --zero without --blank, expected a blank it is on; add --blank 280x90x38\n"
    )


def test_read_alone__refuses_what_it_cannot_be_sure_of():
    with pytest.raises(InputProblems, match="before the units are set"):
        read_alone(b"G90\nG0 X0 Y0 Z5\nM30\n", "a.nc")


@pytest.mark.parametrize("seed", range(3))
def test_summary__of_whatever_can_be_read(seed):
    """Spoilt programs: a summary that is sound and goes into JSON, or problems; never anything else."""
    random, count = np.random.default_rng(seed), 0
    odd = ["G18 G3 X9 R9", "G91", "G53 G0 Z0", "G92 X1", "G93", "F0.5", "T0 M6", "G28", "M5"]
    lines = [*PROGRAM.splitlines(), *odd]
    for _ in range(120):
        text = "\n".join(["G21 G90", *random.choice(lines, random.integers(1, 14))])
        try:
            got = summary(text, blank=Blank(50, 40, 20), rapid=1000.0)
        except InputProblems:
            continue
        count += 1
        json.dumps(got, allow_nan=False)
        assert summary_text(got).startswith("program       a.nc, ")
        if got["box"] and got["cutting_box"]:
            assert (np.array(got["box"]["low"]) <= got["cutting_box"]["low"]).all()
            assert (np.array(got["box"]["high"]) >= got["cutting_box"]["high"]).all()
            assert got["deepest_cut"]["z"] == got["cutting_box"]["low"][2]
        assert sum(c["cutting_length"] for c in got["cutters"]) == pytest.approx(got["cutting"]["length"])
    assert count > 20


def test_lowest_point__of_a_cutter_counts_its_rapids_too():
    text = "G21 G90\nT1 M6\nS900 M3\nG0 X0 Y0 Z5\nG1 Z-2 F300\nG0 X9 Z-7\nG0 Z5\nM30\n"
    got = summary(text)
    (cutter,) = got["cutters"]
    assert (cutter["lowest_cut"], cutter["lowest"]) == ({"z": -2, "line": 5}, {"z": -7, "line": 6})
    assert [(warning["line"], warning["text"]) for warning in got["warnings"]] == [
        (6, "a rapid goes down to Z-7, below every cut of its cutter")
    ]


def rows(*words, capsys, tmp_path, text):
    """The rows of the table that `simkit read` prints, by their names; the lines of the zero under ""."""
    path = tmp_path / "a.nc"
    path.write_text(text, encoding="utf-8")
    assert main(["read", str(path), *words]) == 0
    found = {}
    for line in capsys.readouterr().out.splitlines():
        name, value = line[:13].strip(), line[14:]
        found[name] = f"{found[name]}; {value}" if name in found else value
    return found


POCKET = "G21 G90 T1 M6 S900 M3\nG0 X10 Y10 Z40\nG1 Z{z} F100\nX30 Y20\nG0 Z{up}\nX5 Y5\nM30\n"
BLANK = "--blank 50x40x20"


@pytest.mark.parametrize(
    ("zero", "z", "against"),
    [
        ("left front top", -3, []),
        ("left front top", 2, ["no cut goes below the top of the blank"]),
        ("left front top", -25.5, ["cuts go 5.5 mm below the bottom of the blank"]),
        ("left front top", -25, []),  # a quarter of the thickness
        ("left front bottom", 2, []),
        ("left front bottom", -6, ["cuts go 6 mm below the bottom of the blank"]),
        ("left front bottom", 20, ["no cut goes below the top of the blank"]),
        # The cuts are 20 x 10 mm; from the right back corner they reach 30 and 20 mm over it.
        ("right front top", -3, ["cuts reach 30 mm beyond the right of the blank"]),
        (
            "right back top",
            -3,
            [
                "cuts reach 30 mm beyond the right of the blank",
                "cuts reach 20 mm beyond the back of the blank",
            ],
        ),
        ("centre top", -3, []),  # 5 mm over, a quarter of the cuts
    ],
)
def test_zero__that_is_stated_is_not_guessed_and_what_speaks_against_it_is_told(
    zero, z, against, tmp_path, capsys
):
    text = POCKET.format(z=z, up=40)
    got = rows(*BLANK.split(), "--zero", zero, text=text, capsys=capsys, tmp_path=tmp_path)
    assert got["blank"] == f"50 x 40 x 20 mm, X0 Y0 Z0 at its {zero} (as --zero says)"
    told = got.get("", "")
    assert "looks like" not in told
    assert [line for line in told.split("; ") if "fits" in line] == [
        f"that zero hardly fits: {line}" for line in against
    ]
    corner, _, face = zero.rpartition(" ")
    data = summary(text, blank=Blank(50, 40, 20), zero=Zero(corner, face))
    assert (data["zero"], data["blank"]["against_zero"]) == (None, against)
    assert summary(text, blank=Blank(50, 40, 20))["zero"].startswith("Z0 ")


@pytest.mark.parametrize(
    ("body", "lowest"),
    [
        ("G1 Z-5\nG0 Z5", None),  # straight up
        ("G1 Z-5\nG0 X9\nG0 Z5", (-5, 8)),  # sideways
        ("G1 Z-5\nG0 X9 Z5", (-5, 8)),  # upwards and sideways
        ("G0 Z-2\nG0 Z5", (-2, 7)),
        ("G1 Z-5\nG0\nG0 X9\nG0 Z5", (-5, 9)),
        ("G28 Z5\nG0 X0 Y0 Z-4\nG0 Z5", (-4, 8)),  # by an unknown way
        ("G81 X5 Z-9 R1\nG80", (1, 7)),
        ("G81 X5 Z-9 R-1\nG80", (-1, 7)),  # the way down to R may meet wood
        ("G99 G81 X5 Z-9 R-1\nX6\nG0 Z5", (-1, 7)),
        ("G83 X5 Z-9 R1 Q2\nG80", (1, 7)),  # the ways back down the hole meet nothing
        ("G73 X5 Z-9 R1 Q2\nG80", (1, 7)),
        ("G99 G83 X5 Z-9 R1 Q2 L2\nG80", (1, 7)),
        ("G0 Z1\nG1 Z-3\nG0 Z1\nG0 Z-2.5\nG1 Z-6\nG0 Z5", (1, 7)),  # steps written out
        ("G0 Z1\nG1 Z-3\nG0 Z1\nG0 Z-3.5\nG1 Z-6\nG0 Z5", (-3.5, 10)),  # deeper than was drilled
        ("G0 Z1\nG1 Z-3\nG0 Z1\nG0 X9\nG0 Z-2.5\nG1 Z-6\nG0 Z5", (-2.5, 11)),  # another place
    ],
)
def test_lowest_rapid__leaves_out_what_meets_nothing(body, lowest):
    head = "G21 G90 T1 M6\nS900 M3\nG0 Z20\nG0 X0 Y0\nG0 Z5\nF300\n"
    rapid = summary(f"{head}{body}\nM30\n")["lowest_rapid"]
    assert rapid == dict(zip(("z", "line"), lowest or (5, 5), strict=True))


ENDS = {
    "G0 Z-3": ("at X30 Y20 Z-3, NOT above Z0", "at X30 Y20 Z-3, NOT above the blank: 3 mm below its top"),
    "G0 Z0": ("at X30 Y20 Z0, NOT above Z0", "at X30 Y20 Z0, NOT above the blank: level with its top"),
    "G0 Z7": ("at X30 Y20 Z7, above Z0", "at X30 Y20 Z7, 7 mm above the blank"),
    "G53 G0 Z0": ("at a height not known here, since G53",) * 2,
    "G91 G28 Z0": ("at a height not known here, since G28",) * 2,
    "G43 H1\nG49 G0 Z9": ("at a height not known here, since G49",) * 2,
    "G53 G0 X0 Y0\nG0 Z8": ("at Z8, above Z0", "at Z8, 8 mm above the blank"),
}


@pytest.mark.parametrize("body", ENDS)
def test_end__is_told_against_zero_or_the_blank(body, tmp_path, capsys):
    text = f"G21 G90 T1 M6 S900 M3\nG0 X10 Y10 Z5\nG1 Z-3 F100\nX30 Y20\n{body}\nM30\n"
    for words, expected in zip(([], BLANK.split()), ENDS[body], strict=True):
        assert rows(*words, text=text, capsys=capsys, tmp_path=tmp_path)["ends"] == expected


def test_lowest_rapid__is_told_against_zero_or_the_blank(tmp_path, capsys):
    text = POCKET.format(z=-4, up=-1)
    got = rows(text=text, capsys=capsys, tmp_path=tmp_path)
    assert (got["lowest rapid"], got["ends"]) == ("Z-1 in line 6, NOT above Z0", "at X5 Y5 Z-1, NOT above Z0")
    got = rows(*BLANK.split(), text=text, capsys=capsys, tmp_path=tmp_path)
    assert got["lowest rapid"] == "Z-1 in line 6, NOT above the blank: 1 mm below its top"
    assert rows(text="G21\nM30\n", capsys=capsys, tmp_path=tmp_path)["lowest rapid"] == "none"


INCHES = """\
G20 G90
T1 M6
S9000 M3
G0 X1 Y0.5 Z0.25
G1 Z-0.0625 F12
X13 F60
G0 Z-0.125
G0 Z0.5
M30
"""


def test_text__of_a_program_in_inches_is_in_inches(tmp_path, capsys):
    """Every number as it stands in the program, or worked out by hand: the cut is 1 ft and 5/16 in long."""
    got = rows("--blank", "14x2x1in", text=INCHES, capsys=capsys, tmp_path=tmp_path)
    assert got["blank"] == "14 x 2 x 1 in, X0 Y0 Z0 at its left front top (unless --zero says otherwise)"
    assert got["starts"] == "at X1 Y0.5 Z0.25, 0.25 in above the blank"
    assert got["deepest cut"] == "Z-0.0625 in line 5, 0.0625 in below the top of the blank"
    assert got["lowest rapid"] == "Z-0.125 in line 7, NOT above the blank: 0.125 in below its top"
    assert got["cuts in"] == "X 1 to 13, Y 0.5 to 0.5, Z -0.0625 to 0.25"
    assert got["feeds"] == "12 to 60 in/min"
    assert got["cutting"].startswith("1.03 ft, at least 0 min 14 s")  # 0.3125 / 12 + 12 / 60 = 0.226 min
    data = summary(INCHES)
    assert data["deepest_cut"]["z"] == pytest.approx(-0.0625 * 25.4)  # as data in mm
    text = summary_text(data)
    assert "a rapid goes down to Z-0.125, below every cut of its cutter" in text
    rest = " ".join(text.split()).replace("--rapid MM/MIN", "")
    rest = re.sub(r"\([\d., ]+ mm(?:/min|/s2)?\)", "", rest)  # behind the inches
    assert re.findall(r".{20}\bmm\b.{9}", rest) == []


def test_text__of_a_program_in_both_units_is_in_mm():
    text = summary_text(summary(INCHES.replace("X13 F60", "G21\nX330.2 F1500")))
    assert "304.8 to 1500 mm/min" in text
