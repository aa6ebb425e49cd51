"""Several parts on one blank in a jig: held together by the frame, and each in a pocket of its own."""

import json

import numpy as np
import pytest
from PIL import Image

from simkit.cli import main
from tests import several_parts
from tests.several_parts import HEAD, LENGTH, PARTS, WIDTH, around

AT = (10, 10, 4)  # of the turned blank's left front bottom corner on the board
JIG = """\
[blank]
length = 90
width = 50
thickness = 10
[cutters.1]
shape = "flat"
diameter = 6
[[setups]]
name = "pockets"
turn = "none"
zero = { corner = "left front", face = "bottom" }
programs = ["pockets.nc"]
"""


def cleared(x0, x1, y0, y1, floor=AT[2]):
    """A pocket for x0 to x1, y0 to y1 of the board, its corners left round by the 6 mm cutter."""
    x0, x1, y0, y1 = x0 + 3, x1 - 3, y0 + 3, y1 - 3
    rows = np.linspace(y0, y1, int((y1 - y0) / 4) + 2)
    lines = [f"G0 X{x0:g} Y{y0:g}", f"G1 Z{floor:g} F500"]
    lines += [f"G1 X{x0:g} Y{y:g} F1500\nX{x1:g}\nX{x0:g}" for y in rows]
    return "\n".join([*lines, f"X{x1:g}", f"Y{y0:g}", f"X{x0:g}", f"Y{y1:g}", "G0 Z20", ""])


def seats(folder, pockets, is_through=False, words=()):
    """Check the two blocks of several_parts with side 2 in a jig; return status, result and its seats."""
    path = several_parts.write(folder)
    if is_through:
        first = "".join(around(x0 - 3, x1 + 3, y0 - 3, y1 + 3, -10) for x0, x1, y0, y1 in PARTS)
        (folder / "side1.nc").write_text(f"{HEAD}{first}M5\nM30\n", encoding="utf-8")
    text = path.read_text("utf-8")
    jig = f'programs = ["side2.nc"]\njig = "jig/job.toml"\njig_at = {list(AT)}\njig_play = 5\n'
    path.write_text(text.replace('programs = ["side2.nc"]\n', jig), encoding="utf-8")
    (folder / "jig").mkdir()
    (folder / "jig" / "job.toml").write_text(JIG, encoding="utf-8")
    head = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 Z20\n"
    (folder / "jig" / "pockets.nc").write_text(f"{head}{pockets}M5\nM30\n", encoding="utf-8")
    out = folder / "r.json"
    status = main(["check", str(path), "--quiet", "--cell", "0.5", "--json", str(out), *words])
    result = json.loads(out.read_text("utf-8"))
    return status, result, [row for row in result["findings"] if row["kind"] == "seat"], result["seats"]


def board(part, room):
    """Where a block of the turned blank comes to lie on the board, with room on each side."""
    x0, x1, y0, y1 = part
    return AT[0] + x0 - room, AT[0] + x1 + room, AT[1] + WIDTH - y1 - room, AT[1] + WIDTH - y0 + room


WHOLE = cleared(AT[0] - 1.2, AT[0] + LENGTH + 1.2, AT[1] - 1.2, AT[1] + WIDTH + 1.2)


def test_frame_with_two_parts__is_one_piece_and_drops_in(tmp_path):
    _, _, found, (seat,) = seats(tmp_path, WHOLE)
    assert (found, seat["piece"], seat["drops_in"], seat["rests_on"]) == ([], "the piece", True, "jig")
    assert seat["room"] == pytest.approx(3 - 1.8 * 2**0.5, abs=0.02)
    assert seat["stands_up"] == pytest.approx(0, abs=0.02)
    # All of the frame's lower face bears it, so its weight lies well inside.
    assert seat["tips"] < -10


def test_frame_with_two_parts__over_a_pad_under_one_of_them(tmp_path):
    """What is left of the floor 0.4 mm higher under the second block: it touches there alone, and rocks.

    The weight acts in the middle of the blank but for the grooves; the pad begins 9 mm to the right of that.
    """
    x0, x1, y0, y1 = AT[0] + 46, AT[0] + 56, AT[1] + 11, AT[1] + 19  # the pad, within the block
    low, high = AT[0] - 1.2, AT[0] + LENGTH + 1.2
    front, back = AT[1] - 1.2, AT[1] + WIDTH + 1.2
    floor = AT[2]
    pad = cleared(low, high, front, back, floor + 0.4)
    pad += cleared(low, x0, front, back) + cleared(x1, high, front, back)
    pad += cleared(low, high, front, y0) + cleared(low, high, y1, back)
    _, _, found, (seat,) = seats(tmp_path, pad)
    assert seat["stands_up"] == pytest.approx(0.4, abs=0.02)
    x, y, z = seat["first_contact"]
    assert (x0 <= x <= x1, y0 <= y <= y1) == (True, True)
    assert z == pytest.approx(floor + 0.4)
    assert {row["message"].split(" by ")[0].split(" in ")[0] for row in found} == {
        "the piece stands up",
        "the piece rocks",
    }


def test_parts_cut_free__each_seats_in_its_own_pocket(tmp_path):
    """Cut through, the blocks are pieces of their own: one has the room that a round corner needs, one not.

    A square corner needs (1 - 1/sqrt 2) 3 = 0.88 mm.  The frame holds nothing of the part: it is lifted off.
    """
    pockets = cleared(*board(PARTS[0], 1.0)) + cleared(*board(PARTS[1], 0.8))
    status, result, found, rows = seats(tmp_path, pockets, True, ["--pictures", str(tmp_path / "p")])
    by_name = {row["piece"]: row for row in rows}
    assert list(by_name) == ["the piece at x 51, y 15", "the piece at x 18, y 15"]  # the larger one first
    good, tight = by_name["the piece at x 18, y 15"], by_name["the piece at x 51, y 15"]
    assert (good["drops_in"], tight["drops_in"], status) == (True, False, 1)
    assert good["room"] == pytest.approx(3 - 2 * 2**0.5, abs=0.02)
    assert tight["room"] == pytest.approx(3 - 2.2 * 2**0.5, abs=0.02)
    assert good["stands_up"] == pytest.approx(0, abs=0.02)
    assert tight["stands_up"] == pytest.approx(6, abs=0.02)
    assert len(tight["relief"]) == 4
    assert good["mass_centre"] == pytest.approx((AT[0] + 18, AT[1] + 15), abs=0.2)
    # A square of 20 x 14 less its corners goes to each side until a tip meets the round: see the room.
    assert sum(good["play_shift"][:2]) == pytest.approx(2 * (1 - (3 - (9 - 4) ** 0.5)), abs=0.05)
    [row] = found
    assert row["message"].startswith("the piece at x 51, y 15 does not drop into the jig of 'second'")
    assert sum("the piece at x" in words for words in result["remarks"]) == 2
    names = sorted(path.name for path in (tmp_path / "p").glob("seat*"))
    assert names == ["seat_setup_2_piece_1.png", "seat_setup_2_piece_2.png"]
    with Image.open(tmp_path / "p" / names[0]) as picture:
        assert picture.size[0] == 1800
