"""A wrong number of a cutter, or a lost call, in a program: the cutter meant and the line are named."""

import json

import numpy as np
import pytest
import trimesh

from simkit.compare.cutter_size import Beyond
from simkit.compare.wrong_call import run_starts, wrong_call
from simkit.cutters import Cutter
from simkit.moves.table import make_moves
from tests.small_job import HEAD, JOB, block, check

CUTTERS = "\n".join(
    f'[cutters.{number}]\nshape = "flat"\ndiameter = {size}' for number, size in ((2, 3), (3, 2))
)
ALL = JOB.replace("[[setups]]", f"{CUTTERS}\n[[setups]]")
POCKET = ["G0 X7 Y7 Z13", "G1 Z8 F300", "G1 X33 F900", "Y11", "X7", "Y7", "G0 Z20"]
SLOTS = [
    ["G0 X7 Y20 Z13", "G1 Z6 F300", "G1 X33 F900", "G0 Z20"],
    ["G0 X7 Y26 Z13", "G1 Z6", "X33", "G0 Z20"],
]
CALLS = ["M5", "T2 M6", "S20000 M3"]
RIM = ["T2 M6", "S20000 M3", "G0 X7 Y14.5 Z13", "G1 Z10.5 F300", "G1 X33 F900", "G0 Z20"]


def way(y, r, z):
    """What a flat cutter of radius r takes from X7 to X33."""
    made = [block(7, 33, y - r, y + r, z, 13)]
    for x in (7, 33):
        end = trimesh.creation.cylinder(radius=r, height=13 - z, sections=128)
        end.apply_translation((x, y, (13 + z) / 2))
        made.append(end)
    return made


def part():
    """A pocket by the 6 mm cutter, two slots and a groove by the one of 3 mm."""
    cuts = [*way(7, 3, 8), *way(11, 3, 8), block(4, 36, 7, 11, 8, 13)]
    cuts += [*way(20, 1.5, 6), *way(26, 1.5, 6), *way(14.5, 1.5, 10.5)]
    return trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), *cuts])


def told(folder, calls, rim=RIM):
    """Cause that names a wrong call, rows of the findings, and the program."""
    lines = [*POCKET, *calls, *SLOTS[0], *SLOTS[1], *rim, "M30"]
    program = HEAD + "\n".join(lines) + "\n"
    folder.mkdir(exist_ok=True)
    _, rows = check(folder, part(), program, "0.25", ALL)
    causes = json.loads((folder / "r.json").read_text("utf-8"))["causes"]
    return [one for one in causes if "cutter" in one["message"].partition("; worst")[0]], rows, program


def line_of(program, text, nth=0):
    return [n for n, line in enumerate(program.splitlines(), 1) if line == text][nth]


def test_call__the_right_one_is_not_told(tmp_path):
    assert told(tmp_path, CALLS)[:2] == ([], [])


def test_call__lost_is_named_where_it_is_missing(tmp_path):
    causes, rows, program = told(tmp_path, ["S20000 M3"])
    (cause,) = causes
    words = "the call of another cutter seems to be missing before this line: T1 6 mm flat goes on, but"
    assert cause["message"].startswith(words)
    assert "fits T2 3 mm flat: cut with that, 0 % of side 1" in cause["message"]
    # Behind the lift after the pocket, before the first slot: a line that a call may stand before.
    assert (cause["file"], cause["line"]) == ("top.nc", line_of(program, SLOTS[0][0]))
    lift, first = line_of(program, "G0 Z20", 1), line_of(program, SLOTS[0][1])
    assert f"call T2 between line {lift} and the first cut in line {first}" in cause["advice"]
    assert rows
    assert {row["cause"] for row in rows} == {cause["number"]}


@pytest.mark.parametrize("number", [1, 3])
def test_call__wrong_is_named_in_its_line_though_the_cutter_is_called_again(tmp_path, number):
    causes, rows, program = told(tmp_path, [one.replace("T2", f"T{number}") for one in CALLS])
    (cause,) = causes
    assert cause["message"].startswith(f"the program seems to call the wrong cutter: T{number} ")
    assert "but the moves fit T2 3 mm flat: cut with that, 0 % of side 1" in cause["message"]
    assert (cause["file"], cause["line"]) == ("top.nc", line_of(program, f"T{number} M6", number == 1))
    assert cause["advice"].startswith("See which cutter this part was made for, and call T2 in this line if")
    assert {row["cause"] for row in rows} == {cause["number"]}


def test_call__a_diameter_misstated_for_all_runs_is_no_call(tmp_path):
    lines = [*POCKET, *CALLS, *SLOTS[0], *SLOTS[1], *RIM, "M30"]
    wide = ALL.replace("diameter = 3\n", "diameter = 4\n")
    check(tmp_path, part(), HEAD + "\n".join(lines) + "\n", "0.25", wide)
    causes = json.loads((tmp_path / "r.json").read_text("utf-8"))["causes"]
    (told,) = [one["message"] for one in causes if "looks as if" in one["message"]]
    assert told.startswith("cutter T2 looks as if it were 3 mm wide")
    assert not [one for one in causes if "wrong cutter" in one["message"]]


def moves(tools, lines=None, rapid=None):
    count = len(tools)
    places = np.column_stack([np.arange(count + 1.0), np.zeros(count + 1), np.zeros(count + 1)])
    return make_moves(
        programs=("a.nc",), start=places[:-1], end=places[1:], tool=tools,
        line=lines or list(range(1, count + 1)), rapid=rapid or [False] * count,
    )  # fmt: skip


def test_runs__begin_at_each_call_be_it_of_the_same_cutter():
    table = moves([1, 1, 1, 2, 2], lines=[3, 4, 9, 12, 13])
    assert run_starts(table, {}).tolist() == [0, 3]
    assert run_starts(table, {(0, 0): [2, 7, 11, 20]}).tolist() == [0, 2, 3]


def seen(part_off, rows):
    rows = np.array(rows, int)
    return {1: Beyond(part_off, rows, np.empty(0, int), np.ones(len(rows), bool), np.ones(len(rows)))}


def test_wrong_call__tries_the_run_and_the_stretch_behind_the_lift():
    table = moves([1] * 6 + [2] * 2, rapid=[False, False, True, False, False, True, False, False])
    cutters = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "flat", 3.0), 3: Cutter(3, "drill", 5.0)}
    tried = []

    def again(tool):
        tried.append(tool.tolist())
        return seen(0.0 if tool.tolist() == [1, 1, 2, 2, 2, 2, 2, 2] else 0.3, [])

    found = wrong_call(cutters, table, {}, seen(0.4, [3, 4, 4]), again)
    assert tried == [[2] * 8, [1, 1] + [2] * 6]  # no drill, and no more than these
    assert (found.rows, found.tool, found.meant, found.is_missing, found.is_all) == (
        (2, 5),
        1,
        2,
        True,
        False,
    )
    assert wrong_call(cutters, table, {}, seen(0.4, [3]), lambda _: seen(0.1, [])) is None
    assert wrong_call(cutters, table, {}, seen(0.01, [3]), lambda _: seen(0.0, [])) is None
