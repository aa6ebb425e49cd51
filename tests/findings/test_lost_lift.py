"""A lift lost between two cuts is named as the cause of what the way cuts, with the line where it belongs."""

import json

import numpy as np
import pytest

from simkit.findings.lost_lift import _of_program
from simkit.moves.table import make_moves
from tests.small_job import HEAD, block, check

SLOTS = [(x, y) for x in (5, 25) for y in (4, 11, 18, 25)]
LIFT = "G0 Z20"


def program(lost=None, form="plain"):
    """Slots of 8 mm down to Z6, from X to X + 8.  lost: before which of them there is no lift.

    form: how it goes to the next: "plain" a rapid across and then down, "at once" X, Y and the safe height
    in one block that counts on the G0 of the lift, "modal" the same without the height.
    """
    lines = []
    for nth, (x, y) in enumerate(SLOTS):
        if nth != lost:
            lines += [LIFT]
        across = f"X{x} Y{y}"
        lines += [{"plain": f"G0 {across}", "at once": f"{across} Z20", "modal": across}[form], "Z13"]
        lines += ["G1 Z6 F300", f"G1 X{x + 8} F900"]
    return HEAD + "\n".join([*lines, LIFT, "M30"]) + "\n"


def told(folder, text):
    """Causes of a lost lift, and all causes."""
    part = block(0, 40, 0, 30, 0, 12)
    for x, y in SLOTS:
        part = part.difference(block(x - 3, x + 11, y - 3, y + 3, 6, 13))
    check(folder, part, text)
    causes = json.loads((folder / "r.json").read_text("utf-8"))["causes"]
    return [one for one in causes if "seems to be lost" in one["message"]], causes


@pytest.mark.parametrize(
    ("form", "what"), [("plain", "a rapid"), ("at once", "a feed move"), ("modal", "a feed move")]
)
def test_lift__lost_is_named_with_its_line(tmp_path, form, what):
    text = program(4, form)
    lines = text.splitlines()
    (cause,), causes = told(tmp_path, text)
    assert cause["message"].startswith(
        f"the lift before this line seems to be lost: {what} leads on from Z at 6.00 mm, where the cut before"
        " it ended; 6 other ways of this program go at 20.00 mm"
    )
    # Of eight one is lost, and where the first came from nobody knows.
    assert lines[cause["line"] - 1].endswith(("X25 Y4", "X25 Y4 Z20"))
    assert f"between lines {cause['line'] - 1} and {cause['line']}:" in cause["advice"]
    assert ("is a rapid again (G0)" in cause["advice"]) == (what == "a feed move")
    assert causes[0] == cause  # it stands before what else there is
    assert told(tmp_path, program(None, form))[0] == []


def test_lift__a_program_that_never_lifts_has_lost_none(tmp_path):
    """Four of eight ways lead on at depth: so the program means it."""
    text = program(None).splitlines()
    at = [n for n, line in enumerate(text) if line == LIFT][2:9:2]
    text = "\n".join(line for n, line in enumerate(text) if n not in at) + "\n"
    assert told(tmp_path, text)[0] == []


def way(*places):
    """Moves through places (x, y, z, is rapid)."""
    at = np.array([place[:3] for place in places], float)
    rapid = [place[3] for place in places[1:]]
    return make_moves(programs=("a.nc",), start=at[:-1], end=at[1:], rapid=rapid, tool=[1] * len(rapid))


def cut(x, z=-2.0):
    """Over a place at Z5, down to Z1 and into the wood, along 3 mm, and up."""
    return [(x, 0, 5, True), (x, 0, 1, True), (x, 0, z, False), (x + 3, 0, z, False), (x + 3, 0, 5, True)]


def test_lost_lift__of_the_moves_alone():
    good = [(0, 0, 5, True), *cut(10), *cut(20), *cut(30), *cut(40), *cut(50)]
    assert _of_program(way(*good), 0, len(good) - 1) == []
    lost = good[:10] + good[11:]  # without the lift behind the cut at X20
    (one,) = _of_program(way(*lost), 0, len(lost) - 1)
    assert (one.row, one.depth, one.safe, one.ways) == (9, -2.0, 5.0, 4)
    # Pecks go up and down at one place and lead nowhere.
    pecks = [(10, 0, z, is_rapid) for z, is_rapid in ((-1, False), (1, True), (-0.5, True), (-2, False))]
    drilled = [*good, (10, 0, 5, True), *pecks, (10, 0, 5, True)]
    assert _of_program(way(*drilled), 0, len(drilled) - 1) == []
