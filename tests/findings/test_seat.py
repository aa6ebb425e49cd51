"""A piece turned over and laid into a jig that a 6 mm flat cutter made, both as programs cut them."""

import json
import re
from types import SimpleNamespace

import numpy as np
import pytest

from simkit.cli import main
from simkit.compare.jig import Laid
from simkit.compare.seat import Seat
from simkit.findings.seat import find, seat_words
from simkit.report.lengths import Lengths

HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 Z20\n"
TOP = HEAD + "G0 X15 Y10\nG1 Z-1 F500\nX20 F1500\nG0 Z20\nM5\nM30\n"
CUTTER = '[cutters.1]\nshape = "flat"\ndiameter = 6\n'
JIG = (
    "[blank]\nlength = 60\nwidth = 50\nthickness = 10\n"
    + CUTTER
    + '[[setups]]\nname = "pocket"\nturn = "none"\nprograms = ["pocket.nc"]\n'
    + 'zero = { corner = "left front", face = "bottom" }\n'
)
JOB = (
    "[blank]\nlength = 30\nwidth = 20\nthickness = 12\n"
    + CUTTER
    + '[[setups]]\nname = "top"\nturn = "none"\nprograms = ["top.nc"]\n'
    + 'zero = { corner = "left front", face = "top" }\n'
    + '[[setups]]\nname = "back"\nturn = "about x"\nprograms = ["top.nc"]\n'
    + 'zero = { corner = "left front", face = "top" }\njig = "jig/job.toml"\n'
)


def pocket(clearance, floor=4.0):
    """A pocket for a piece of 30 x 20 at (15, 15) of the board, its corners left round by the cutter."""
    x0, x1, y0, y1 = 18 - clearance, 42 + clearance, 18 - clearance, 32 + clearance
    lines = [f"G0 X{x0:.4f} Y{y0:.4f}", f"G1 Z{floor} F500", "F1500"]
    ways = [y0 + (y1 - y0) * k / 4 for k in range(5)]
    for y in ways:
        lines += [f"G1 X{x0:.4f} Y{y:.4f}", f"X{x1:.4f}", f"X{x0:.4f}"]
    lines += [f"X{x1:.4f}", f"Y{y0:.4f}", f"X{x0:.4f}", f"Y{y1:.4f}", "G0 Z20", "M5", "M30"]
    return HEAD + "\n".join(lines) + "\n"


def check(folder, program, at, more="", steps="", cell="0.5"):
    (folder / "jig").mkdir()
    (folder / "jig" / "pocket.nc").write_text(program, encoding="utf-8")
    (folder / "jig" / "job.toml").write_text(JIG + more, encoding="utf-8")
    (folder / "top.nc").write_text(TOP, encoding="utf-8")
    (folder / "job.toml").write_text(JOB + f"jig_at = {at}\n" + steps, encoding="utf-8")
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", cell, "--json", str(folder / "r.json")]
    status = main(words)
    result = json.loads((folder / "r.json").read_text("utf-8")) if status < 2 else None
    return status, result


def test_seat__piece_in_a_pocket_with_room_at_its_corners(tmp_path):
    status, result = check(tmp_path, pocket(0.95), "[15, 15, 4]")
    seat = result["seats"][0]
    assert status == 0
    assert seat["drops_in"]
    assert seat["rests_on"] == "jig"
    # Radius 3, clearance 0.95: the tip of a corner stands 2.05 sqrt 2 from the middle of the arc.
    assert seat["room"] == pytest.approx(3 - 2.05 * 2**0.5, abs=0.02)
    assert seat["stands_up"] == pytest.approx(0, abs=0.02)
    assert any("drops in, rests on the jig at its stated height" in one for one in result["remarks"])


def test_seat__round_corners_keep_the_piece_up(tmp_path):
    status, result = check(tmp_path, pocket(0.8), "[15, 15, 4]")
    found = [one for one in result["findings"] if one["kind"] == "seat"]
    assert status == 1
    assert len(found) == 1
    assert found[0]["severity"] == "beyond"
    assert found[0]["value"] == pytest.approx(2.2 * 2**0.5 - 3, abs=0.02)
    assert (found[0]["file"], found[0]["setup"]) == ("job.toml", "back")
    assert result["seats"][0]["stands_up"] == pytest.approx(6, abs=0.02)
    assert len(result["seats"][0]["relief"]) == 4


def test_seat__floor_too_high_and_too_low(tmp_path):
    for name, floor, up in (("high", 4.4, 0.4), ("low", 3.2, -0.8)):
        folder = tmp_path / name
        folder.mkdir()
        status, result = check(folder, pocket(1.2, floor), "[15, 15, 4]")
        found = [one for one in result["findings"] if one["kind"] == "seat"]
        assert status == 1
        assert len(found) == 1
        assert result["seats"][0]["stands_up"] == pytest.approx(up, abs=0.02)
        assert found[0]["value"] == pytest.approx(abs(up), abs=0.02)


def test_seat__a_jig_that_lies_in_a_jig_is_refused(tmp_path, capsys):
    more = 'jig = "job.toml"\n'
    assert check(tmp_path, pocket(1.2), "[15, 15, 4]", more) == (2, None)
    assert "whose own setups name a jig" in capsys.readouterr().err


def with_a_boss(high):
    """The pocket with a boss of 4 x 3 mm left on its floor, where the slot of the piece comes to lie."""
    lines = ["G0 Z20", "G0 X16.8 Y16.8", "G1 Z4 F500"]
    # The boss lies at x 30 to 34, y 23.5 to 26.5; the slot of side 1, turned over, at x 27 to 38, y 22 to 28.
    for x0, x1, y0, y1 in ((16.8, 43.2, 16.8, 33.2), (21.9, 40.1, 18.6, 31.4), (27, 37, 20.5, 29.5)):
        lines += [f"G1 X{x0} Y{y0} F1500", f"X{x1}", f"Y{y1}", f"X{x0}", f"Y{y0}"]
    end = "G0 Z20\nM5\nM30\n"
    return pocket(1.2, 4 + high).removesuffix(end) + "\n".join(lines) + "\n" + end


def step(do, side=1, **more):
    values = "".join(f"{name} = {value}\n" for name, value in more.items())
    return f'[[steps]]\nafter = "top"\ndo = "{do}"\nside = {side}\n{values}'


PLANED = step("thickness", thickness=11.5) + step("thickness", side=2, thickness=11)


@pytest.mark.parametrize(
    ("steps", "stands_up"),
    [
        (PLANED, 0.3),  # the slot, which the boss goes into, is half as deep then
        (step("pour", below=0.6), 0.2),
        (step("pour", over=0.5), 1.3),  # the resin reaches below the face
        (step("pour", over=0.5) + step("thickness", thickness=12), 0.8),
    ],
    ids=["planed", "below", "over", "flush"],
)
def test_seat__after_steps_stands_on_a_boss_by_geometry(tmp_path, steps, stands_up):
    _, result = check(tmp_path, with_a_boss(0.8), "[15, 15, 4]", steps=steps, cell="1")
    seat = result["seats"][0]
    assert seat["stands_up"] == pytest.approx(stands_up, abs=0.02)
    assert seat["drops_in"]
    assert not [one for one in result["remarks"] if "how the piece seats" in one]
    x, y, z = seat["first_contact"]
    assert 30 <= x <= 34
    assert 23.5 <= y <= 26.5
    assert z == pytest.approx(4.8, abs=0.001)


def test_seat__a_planed_piece_lies_at_its_height_on_a_plain_floor(tmp_path):
    steps = step("thickness", thickness=10.5) + step("thickness", side=2, thickness=9.75)
    status, result = check(tmp_path, pocket(1.2, 4.25), "[15, 15, 4]", steps=steps, cell="1")
    assert status == 1
    assert result["seats"][0]["stands_up"] == pytest.approx(0.25, abs=0.02)
    assert result["seats"][0]["room"] == pytest.approx(3 - 1.8 * 2**0.5, abs=0.02)


OF_JIG = '[[steps]]\nafter = "pocket"\ndo = "{do}"\nside = {side}\n{value}\n'


@pytest.mark.parametrize(
    ("jig_steps", "stands_up"),
    [
        (OF_JIG.format(do="thickness", side=2, value="thickness = 9.25"), -0.75),  # its floor is 0.75 lower
        (OF_JIG.format(do="thickness", side=1, value="thickness = 9.25"), 0.0),  # its floor is where it was
        (OF_JIG.format(do="pour", side=1, value="below = 5.5"), 0.5),  # resin half a millimetre deep in it
    ],
    ids=["lower-face", "upper-face", "poured"],
)
def test_seat__a_jig_whose_own_board_is_planed_or_poured(tmp_path, jig_steps, stands_up):
    """The pocket's floor is 4 mm over the table, which the setup states as the height of the piece."""
    _, result = check(tmp_path, pocket(1.2), "[15, 15, 4]", more=jig_steps, cell="1")
    seat = result["seats"][0]
    assert seat["drops_in"]
    assert seat["stands_up"] == pytest.approx(stands_up, abs=0.02)


@pytest.mark.parametrize(("most", "severity"), [(0.36, None), (0.28, "undecided"), (0.2, "beyond")])
def test_seat__play_beyond_what_the_job_allows(tmp_path, most, severity):
    """A corner 2.05 mm both ways from the middle of an arc of 3 mm can go right until it is 3 mm off."""
    play = 2 * ((9 - 2.05**2) ** 0.5 - 2.05)
    status, result = check(tmp_path, pocket(0.95), f"[15, 15, 4]\njig_play = {most}")
    found = [one for one in result["findings"] if one["kind"] == "seat"]
    if severity is None:
        assert (status, found) == (0, [])
        return
    (row,) = found
    assert (status, row["severity"], row["limit"]) == (1, severity, most)
    assert row["value"] == pytest.approx(play, abs=0.04)
    assert f"the piece can shift {row['value']:.2f} mm" in row["message"]


def test_seat__play_that_no_wall_ends(tmp_path):
    """A pocket with so much room is beyond whatever the job allows within the search."""
    status, result = check(tmp_path, pocket(3.5), "[15, 15, 4]\njig_play = 3")
    (row,) = [one for one in result["findings"] if one["kind"] == "seat"]
    assert (status, row["severity"]) == (1, "beyond")
    assert row["value"] is None or row["message"].startswith("the piece can shift at least")


def test_seat__pocket_cut_through_rests_on_the_table(tmp_path):
    status, result = check(tmp_path, pocket(0.95, -0.5), "[15, 15, 0]")
    seat = result["seats"][0]
    assert status == 0
    assert (seat["drops_in"], seat["rests_on"]) == (True, "table")
    assert seat["stands_up"] == pytest.approx(0, abs=0.02)
    assert any("drops in, rests on the table at its stated height" in one for one in result["remarks"])


def test_seat__told_in_inches_leaves_no_length_in_mm():
    """Lengths have decimals here: behind each, or behind a place x, y, z, stands their unit."""
    seat = Seat(
        room=0.35, room_bound=0.01, stands_up=0.4, stands_up_bound=0.02, pose=None, contacts=None,
        first=(25.4, 22.25, 4.4), first_bound=0.01, rests_on="jig", mass_centre=(15.0, 10.0), tips=-1.0,
        play_shift=(0.1, 0.2, 0.3, 0.4), play_turn=(0.5, 0.6),
        relief=[np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])] * 2,
        relief_holes=[[], [np.array([[0.5, 0.5], [1.5, 0.5], [1.0, 1.0]])]],
        clearance=None, lattice=None, piece_walls=None, jig_walls=None,
    )  # fmt: skip
    laid = Laid(0, "the piece", 0, seat)
    job = SimpleNamespace(
        setups=[SimpleNamespace(name="back", jig_play=None)],
        limits=SimpleNamespace(gouge=0.1, leftover=0.1, witness_step=0.1),
    )
    evidence = SimpleNamespace(seats=[laid], job=job, job_line=lambda key: {})
    (found,) = find(evidence)
    told = [Lengths("in").text(one) for one in (found.message, found.advice, seat_words(laid, "back"))]
    assert "touches at x 1.0000, y 0.8760, z 0.1732 in of the jig" in told[0]  # of 25.4, by hand
    assert "at x 0.039, y 0.039 in; all round x 0.039, y 0.039 in of the jig" in told[1]
    assert "left 0.0039 in, right 0.0079 in, front 0.0118 in, back 0.0157 in" in told[2]
    for words in told:
        assert not re.search(r"\d mm|\d\.\d+(?! in\b|\d|, [yz] | degrees| to the)", words), words
