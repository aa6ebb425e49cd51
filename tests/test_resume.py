"""Starting again: what is said to be in force, given as a program, makes the rest read as before."""

import json
from pathlib import Path

import numpy as np
import pytest

from simkit.cli import main
from simkit.errors import InputProblems
from simkit.program.reader import Options, read_program
from simkit.program.resume import broken_off, in_force_before, safe_lines
from tests.small_job import HEAD, JOB, block

SAMPLES = Path(__file__).parents[1] / "samples" / "olive_boat"
MODES = """\
G20 G90 G17
T3 M6
S9000 M3
G55 G0 X0 Y0
G43 H3 Z2
G1 Z-.1 F20
G18 G90.1 G2 X.5 Z-.1 I.25 K-.1 F15
G0 Z2
G91 G0 X.1
G19 G1 Y.2 Z-2.05
G90 G0 Z2
G93 G1 X.5 Y.5 F3
G94 G91.1 G17 F12
G0 X.2
G99 G81 X.3 Y.3 Z-.2 R.1
G98 X.4
G80 G0 Z2
G0 X0
T4 M6
M4 S500
G43 H4
G21 G54 G0 X1 Y1 Z60
G1 Z50 F100
G0 Z60
X3
M30
"""
OPTIONS = Options({"G55": (10.0, -5.0, 2.0)})


def rest_of(text, name, line, chosen, **words):
    """The program that the operator gives: the words, a rapid to the place, the lines from there on."""
    place = "G90 G94 G0 X{:.12f} Y{:.12f} Z{:.12f}".format(*chosen.written)
    modes, *others = chosen.words
    if others[-2][0] != "G":  # no motion in force
        others.insert(-1, "")
    # The rapid counts from the zero in force; the modes come last, for it is absolute.
    head = [modes, *others[:-1], place, modes.replace("G80", ""), *others[-2:]]
    lines = text.splitlines()[line - 1 :]
    return read_program("\n".join([*head, *lines, ""]), name, **words).moves


def same_rest(text, name, line, **words):
    whole = read_program(text, name, **words).moves
    chosen = in_force_before(text, name, line, **words)
    again = rest_of(text, name, line, chosen, **words)
    rows = np.flatnonzero(whole.line >= line)
    assert len(rows)
    again = again[np.arange(len(again) - len(rows), len(again))]
    for column in ("end", "centre", "sweep"):
        assert getattr(again, column) == pytest.approx(getattr(whole[rows], column), abs=1e-6), column
    for column in ("kind", "plane", "rapid", "tool", "speed"):
        assert np.array_equal(getattr(again, column), getattr(whole[rows], column)), column
    assert again.feed == pytest.approx(whole[rows].feed, nan_ok=True)
    assert again.start[0] == pytest.approx(whole.start[rows[0]], abs=1e-6)


def test_in_force__given_as_a_program_the_rest_reads_the_same():
    safe = safe_lines(read_program(MODES, "a.nc", options=OPTIONS).moves, 50.0)
    assert safe.tolist() == [9, 14, 15, 18, 22, 24, 25]
    for line in safe.tolist():
        same_rest(MODES, "a.nc", line, options=OPTIONS)


@pytest.mark.parametrize("name", ["side1.nc", "side2.nc"])
def test_in_force__on_the_sample(name):
    text = (SAMPLES / name).read_text("utf-8")
    safe = safe_lines(read_program(text, name).moves, 2.0)
    assert len(safe) > 10
    for line in safe[:: len(safe) // 4].tolist():
        same_rest(text, name, line)


HOLES = """\
G21 G90 G17 G99
T3 M6
S9000 M3
G0 X5 Y5 Z30
G98 G82 X5 Y5 Z-5 R2 P0.5 F200
X15
G82 X25 Z-6 R2 P1
G82 X30 Z-6 R2
X35 Z-5 R2 P1
G83 X40 Z-9 R2 Q3
X45
G81 X50 Z-5 R2
G80
G0 X60
M30
"""


def test_safe_lines__where_holes_go_on_a_control_would_not_know_how_deep():
    read = read_program(HOLES, "a.nc")
    # 6 and 11 say nothing of their cycle, 8 not its dwell, 9 not its G; 5, 7, 10 and 12 say all of it.
    assert read.leaning == (6, 8, 9, 11)
    assert safe_lines(read.moves, 20.0, read.leaning).tolist() == [5, 7, 10, 12, 14]
    for line in (5, 7, 10, 12, 14):
        same_rest(HOLES, "a.nc", line)


def test_in_force__no_cycle_by_hand_but_where_it_returns_to():
    words = in_force_before(HOLES, "a.nc", 10).words
    assert not any("G8" in word for word in words[1:])
    assert words[0].split()[-3:] == ["G98", "G40", "G80"]
    assert "G99" in in_force_before(HOLES, "a.nc", 5).words[0]


def test_in_force__coolant_and_path_mode():
    text = "G21 G90 G17\nG64 P0.05\nT1 M6\nS9000 M3\nM7\nM8\nG0 X0 Y0 Z30\nX5\n{}\nX10\nX20\nM30\n"
    # NISTIR 6556: M7 and M8 may both be on, M9 turns both off; G61, G61.1 and G64 are one modal group.
    for words, told in (
        ("", ["G64 P0.05", "T1 M6", "G54", "G49", "S9000 M3", "M7", "M8", "G0"]),
        ("G61 M9", ["G61", "T1 M6", "G54", "G49", "S9000 M3", "G0"]),
        ("G64 M9\nM8", ["G64", "T1 M6", "G54", "G49", "S9000 M3", "M8", "G0"]),
        ("G20 G61.1", ["G61.1", "T1 M6", "G54", "G49", "S9000 M3", "M7", "M8", "G0"]),
        ("G20", ["G64 P0.0019685", "T1 M6", "G54", "G49", "S9000 M3", "M7", "M8", "G0"]),
    ):
        lines = text.format(words)
        line = lines.splitlines().index("X20") + 1
        chosen = in_force_before(lines, "a.nc", line)
        assert list(chosen.words[1:]) == told
    assert not [word for word in in_force_before(MODES, "a.nc", 5, options=OPTIONS).words if "G6" in word]
    same_rest(text.format("G64 P0.1"), "a.nc", 10)


def test_safe_lines__begin_with_a_rapid_above_everything():
    text = HEAD + "G0 X0 Y0\nG1 Z-1 F100\nG0 Z20\nX5\nG1 X6\nG0 X7\nG0 Z1\nX8\nM30\n"
    moves = read_program(text, "a.nc").moves
    # Line 5 is the arrival; 8 begins at the top; 9 cuts; 10 begins at Z20 and so does 11; 12 begins at Z1.
    assert safe_lines(moves, 20.0).tolist() == [8, 10, 11]
    assert safe_lines(moves, 20.1).tolist() == []


def test_broken_off__repeats_what_lies_between():
    moves = read_program(HEAD + "G0 X0 Y0\nG1 Z-1 F100\nG0 Z20\nX5\nG1 X6\nM30\n", "a.nc").moves
    assert moves.line[broken_off(moves, 8, 7)].tolist() == [5, 6, 7, 8, 7, 8, 9]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("resume")
    block(0, 40, 0, 30, 0, 6).union(block(10, 30, 10, 20, 3, 12)).export(folder / "part.stl")
    rounds = "".join(
        f"G0 X{a} Y{a}\nG1 Z6 F600\nX{40 - a}\nY{30 - a}\nX{a}\nY{a}\nG0 Z20\n" for a in (7, 4, 1)
    )
    (folder / "top.nc").write_text(HEAD + rounds + "M30\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    return folder / "job.toml"


def test_command__says_where_and_checks_what_is_run(job, capsys):
    out = job.parent / "resume.json"
    assert main(["resume", str(job), "top.nc:15", "--cell", "0.5", "--json", str(out)]) == 0
    told, text = json.loads(out.read_text("utf-8")), capsys.readouterr().out
    assert (told["broken_off_in"], told["start_at"]) == (15, 12)
    assert told["in_force"]["words"][:2] == ["G21 G17 G90 G91.1 G94 G40 G80", "T1 M6"]
    assert told["in_force"]["written"] == [7, 7, 20]
    assert told["result"]["verdict"]["exit_status"] == 0
    assert "start again at line 12" in text
    assert "simulation is no proof" in text


def test_command__a_second_run_over_a_wall_is_judged(job):
    """The part of the program that runs twice is in what is checked."""
    out = job.parent / "resume.json"
    main(["resume", str(job), "top.nc:15", "--cell", "0.5", "--json", str(out)])
    (setup,) = json.loads(out.read_text("utf-8"))["result"]["setups"]
    whole = read_program((job.parent / "top.nc").read_text("utf-8"), "top.nc").moves
    assert setup["programs"][0]["moves"] == len(whole) + int(((whole.line >= 12) & (whole.line <= 15)).sum())


@pytest.mark.parametrize(("thickness", "start"), [(25.9, 12), (26.1, None)])
def test_command__a_line_is_safe_only_above_the_jig(job, tmp_path, thickness, start):
    """The blank lies 8 deep in a board; rapids go at 20 over its lower face, 2 mm of them clearance."""
    for name in ("part.stl", "top.nc"):
        (tmp_path / name).write_bytes((job.parent / name).read_bytes())
    words = job.read_text("utf-8").replace(
        "[[setups]]", '[[setups]]\njig = "jig.toml"\njig_at = [5, 5, 8]', 1
    )
    (tmp_path / "job.toml").write_text(words, encoding="utf-8")
    board = JOB.replace("length = 40", "length = 60").replace("thickness = 12", f"thickness = {thickness}")
    board = board[: board.index("[target]")].replace("top.nc", "pocket.nc")
    (tmp_path / "jig.toml").write_text(board, encoding="utf-8")
    (tmp_path / "pocket.nc").write_text(HEAD + "G0 X20 Y15\nG1 Z8 F600\nX40\nG0 Z30\nM30\n", encoding="utf-8")
    out = tmp_path / "resume.json"
    main(["resume", str(tmp_path / "job.toml"), "top.nc:15", "--cell", "0.5", "--json", str(out)])
    assert json.loads(out.read_text("utf-8"))["start_at"] == start


def test_command__no_safe_line_yet(job, capsys):
    assert main(["resume", str(job), "top.nc:6", "--cell", "0.5"]) == 1
    assert (
        "no line before it is safe to start from; start at the top of the program" in capsys.readouterr().out
    )


def test_command__starts_at_a_line_of_ones_own(job):
    out = job.parent / "from.json"
    main(["resume", str(job), "top.nc:20", "--from", "12", "--cell", "0.5", "--json", str(out)])
    told = json.loads(out.read_text("utf-8"))
    whole = read_program((job.parent / "top.nc").read_text("utf-8"), "top.nc").moves
    assert told["start_at"] == 12
    (setup,) = told["result"]["setups"]
    assert setup["programs"][0]["moves"] == len(whole) + int(((whole.line >= 12) & (whole.line <= 20)).sum())


def test_command__an_unsafe_line_is_refused_with_the_safe_ones_near_it(job, capsys):
    assert main(["resume", str(job), "top.nc:20", "--from", "14"]) == 2
    told = capsys.readouterr().err
    assert "line 14 of top.nc" in told
    assert "near it: 12, 19" in told


def test_command__a_line_behind_the_break_is_refused(job, capsys):
    """What lies between would stay uncut, and the line is safe by itself."""
    assert main(["resume", str(job), "top.nc:14", "--from", "19"]) == 2
    told = capsys.readouterr().err
    assert "line 19 of top.nc, behind the break" in told
    assert "a safe line up to 14 (the last of them: " in told
    assert main(["resume", str(job), "top.nc:14", "--from", "13"]) == 2
    assert "19" not in capsys.readouterr().err.split("near it")[1]


@pytest.mark.parametrize(
    ("word", "holds"),
    [
        ("tip.nc:3", "write it like top.nc:1234"),
        ("top.nc", "a program of the job (top.nc) and the line"),
        ("top.nc:900", "a line from 1 to 26"),
        ("top.nc:0", "a line from 1 to 26"),
    ],
)
def test_command__words_that_name_no_line(job, word, holds, capsys):
    assert main(["resume", str(job), word]) == 2
    assert holds in capsys.readouterr().err


def test_in_force__says_what_no_word_can():
    text = "G21 G90 T1 M6\nG0 X0 Y0 Z20\nG92 X5\nG0 X9\nM30\n"
    chosen = in_force_before(text, "a.nc", 4)
    assert chosen.notes == (
        "G92 has moved the zero by X-5 mm: set it again, or start before it",
        "the spindle stands here: start it before the first cut",
    )
    assert chosen.written == (5, 0, 20)
    assert chosen.at == (0, 0, 20)
    with pytest.raises(InputProblems):
        read_program("G0 X", "a.nc")


def test_command__a_line_that_takes_its_hole_from_lines_before_is_refused(job, tmp_path, capsys):
    text = job.read_text("utf-8").replace("top.nc", "holes.nc")
    holes = job.parent / "holes.nc"
    holes.write_text(HOLES.replace("T3", "T1").replace("X5 Y5", "X5 Y15").split("G83")[0] + "G80\nM30\n")
    again = job.parent / "holes.toml"
    again.write_text(text, encoding="utf-8")
    assert main(["resume", str(again), "holes.nc:6", "--from", "6", "--cell", "0.5"]) == 2
    assert "words of its drilling cycle from lines before" in capsys.readouterr().err
    main(["resume", str(again), "holes.nc:6", "--cell", "0.5", "--json", str(tmp_path / "r.json")])
    assert json.loads((tmp_path / "r.json").read_text("utf-8"))["start_at"] == 5
