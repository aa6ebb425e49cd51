"""What is told of pours and of steps to a thickness, through whole checks of a small job."""

import json

import jsonschema
import numpy as np
import pytest

from simkit.cli import main
from simkit.report.forms import Result
from simkit.report.schema import as_data, as_object, result_schema
from tests.findings.programs import END, dug
from tests.small_job import HEAD, JOB, block, check

PLAIN = HEAD + END
POCKET = [(x, 15, 8, x, 21) for x in (12, 14, 16)]  # 10 x 12 with round corners, 4 mm below the face
FINE = '[cutters.2]\nshape = "flat"\ndiameter = 0.2\n[[setups]]'
FAILING = ("safety", "beyond", "undecided")


def stated(*steps, job=JOB):
    """The job with steps, each a dict of keys."""
    tables = ""
    for one in steps:
        values = {"after": "top", "side": 1, **one}
        rows = [f"{name} = {json.dumps(value)}" for name, value in values.items()]
        tables += "\n".join(["[[steps]]", *rows, ""])
    return job.replace("[target]", tables + "[target]")


def failing(found):
    return [row for row in found if row["severity"] in FAILING]


def result(folder):
    return json.loads((folder / "r.json").read_text("utf-8"))


POUR = {"do": "pour", "over": 1}
FLUSH = {"do": "thickness", "thickness": 11}


def test_inlay__poured_over_and_planed_is_within_limits(tmp_path):
    job = stated({**POUR, "most_depth": 6}, FLUSH)
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=job)
    assert (status, found) == (0, [])
    steps = result(tmp_path)["steps"]
    assert [row["do"] for row in steps["rows"]] == ["pour", "thickness"]
    area = 10 * 12 - (4 - np.pi) * 9
    assert steps["rows"][0]["volume"] == pytest.approx(area * 5, abs=steps["rows"][0]["bound"])
    assert steps["rows"][0]["mass"] == pytest.approx(steps["rows"][0]["volume"] * 1.1e-3, rel=1e-3)
    assert steps["rows"][1]["thickness_after"] == 11
    assert steps["resin_left"] == pytest.approx(area * 3, abs=steps["resin_bound"])
    assert steps["bytes_per_cell"] == 24
    whole = result(tmp_path)
    jsonschema.validate(whole, result_schema(closed=True))
    made = as_object(Result, whole)
    assert [row.do for row in made.steps.rows] == ["pour", "thickness"]
    assert as_data(made) == whole


def test_result__of_a_job_without_steps_has_no_key_for_them(tmp_path):
    check(tmp_path, block(0, 40, 0, 30, 0, 12), dug(PLAIN, (14, 15, 11.5)))
    whole = result(tmp_path)
    assert "steps" not in whole
    made = as_object(Result, whole)
    assert made.steps is None
    assert as_data(made) == whole


@pytest.mark.parametrize("is_poured", [False, True])
def test_without_the_pour__the_pocket_is_a_gouge(tmp_path, is_poured):
    job = stated(*([POUR] if is_poured else []), FLUSH)
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=job)
    assert status == (0 if is_poured else 1)
    assert {row["kind"] for row in failing(found)} == (set() if is_poured else {"gouge"})


def test_order__a_cut_after_the_pour_is_in_the_resin(tmp_path):
    # The same slot, a millimetre deep in the part: before the pour it is filled, after it it stays.
    job = stated({"do": "pour", "below": 0}, {"do": "thickness", "thickness": 11})
    program = dug(PLAIN, *POCKET, (14, 16, 10, 14, 20))
    assert check(tmp_path, block(0, 40, 0, 30, 0, 11), program, job=job)[0] == 0
    second = '[[setups]]\nname = "again"\nturn = "none"\nzero = { corner = "left front", face = "bottom" }\n'
    job = job.replace("[[steps]]", second + 'programs = ["again.nc"]\n[[steps]]', 1)
    (tmp_path / "again.nc").write_text(dug(PLAIN, (14, 16, 10, 14, 20)), encoding="utf-8")
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=job)
    [gouge] = failing(found)
    assert (status, gouge["kind"], gouge["file"], gouge["setup"]) == (1, "gouge", "again.nc", "again")
    assert gouge["message"].endswith(", in resin")
    assert gouge["value"] == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("cell", ["0.5", "0.83"])
def test_scratch__narrower_than_a_cell_shows_where_no_resin_fills_it(tmp_path, when, cell):
    # 0.2 mm wide, half a millimetre deep in the part, across pocket and wood.
    scratch = "G0 Z20\nT2 M6\nS18000 M3\nG0 X14.03 Y10\nG1 Z10.5 F300\nG1 X14.03 Y26\n"
    second = '[[setups]]\nname = "again"\nturn = "none"\nzero = { corner = "left front", face = "bottom" }\n'
    job = stated({"do": "pour", "below": 0, "closed": True}, FLUSH, job=JOB.replace("[[setups]]", FINE))
    job = job.replace("[[steps]]", second + 'programs = ["again.nc"]\n[[steps]]', 1)
    pocket = dug(PLAIN, *POCKET)
    scratched = pocket.removesuffix(END) + scratch + END if when == "before" else pocket
    later = HEAD + scratch + END if when == "after" else PLAIN.replace("G0 Z20", "G0 Z20\nG0 X5 Y5")
    (tmp_path / "again.nc").write_text(later, encoding="utf-8")
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 11), scratched, cell, job)
    gouges = [row for row in failing(found) if row["kind"] == "gouge"]
    if when == "before":  # in the wood alone, for the cells do not show that the pocket opens into it there
        assert len(gouges) == 2
        assert all(not 12 < row["at"][1] < 24 for row in gouges)
    else:
        [gouge] = gouges
        assert (status, gouge["value"], gouge["file"]) == (1, pytest.approx(0.5, abs=0.001), "again.nc")


def test_level__below_the_part_is_a_gouge_above_it_leftover(tmp_path):
    program, part = dug(PLAIN, *POCKET), block(0, 40, 0, 30, 0, 12)
    for key, value, kind in (("below", 0.4, "gouge"), ("over", 0.5, "leftover-program")):
        status, found = check(tmp_path, part, program, job=stated({"do": "pour", key: value}))
        [row] = failing(found)
        assert (status, row["kind"], row["file"]) == (1, kind, "job.toml")
        assert row["value"] == pytest.approx(value, abs=0.01)


def test_spill__through_a_hole_over_an_edge_and_into_a_dowel_hole(tmp_path):
    part = block(0, 40, 0, 30, 0, 12)
    hole = dug(PLAIN, *POCKET, (14, 18, -0.5))
    job = stated({"do": "pour", "below": 0}).replace('["top.nc"]', '["top.nc"]\nspoilboard = 2')
    status, found = check(tmp_path, part, hole, job=job)
    [row] = [row for row in failing(found) if row["kind"] == "spill"]
    assert status == 1
    assert row["at"][:2] == pytest.approx([14, 18], abs=0.5)
    assert "through an opening of 28 mm2" in row["message"]
    assert row["line"] == job.split("\n").index('do = "pour"') + 1
    closed = stated({"do": "pour", "below": 0, "closed": True}).replace(
        '["top.nc"]', '["top.nc"]\nspoilboard = 2'
    )
    assert check(tmp_path, part, hole, job=closed)[0] == 0

    edge = dug(PLAIN, *POCKET, (16, 18, 10, 45, 18))
    _, found = check(tmp_path, part, edge, job=stated({"do": "pour", "below": 0}))
    [row] = [row for row in failing(found) if row["kind"] == "spill"]
    assert row["value"] == pytest.approx(2.0)
    assert "over the edge of the blank, 6.0 mm wide" in row["message"]
    _, found = check(tmp_path, part, edge, job=stated({"do": "pour", "below": 2}))
    assert [row["kind"] for row in failing(found)] == ["gouge"]  # flush with the groove: nothing runs out


def test_pour_depth__is_held_against_what_the_resin_bears(tmp_path):
    part, program = block(0, 40, 0, 30, 0, 12), dug(PLAIN, *POCKET)
    for most, kinds in ((3.9, ["pour-depth"]), (4.1, [])):
        _, found = check(tmp_path, part, program, job=stated({"do": "pour", "below": 0, "most_depth": most}))
        assert [row["kind"] for row in failing(found)] == kinds
    assert found == []


def test_inlay_lost__by_planing_deeper_than_it_is(tmp_path):
    shallow = dug(PLAIN, (14, 15, 11.2, 14, 21))
    part = block(0, 40, 0, 30, 0, 11)
    status, found = check(tmp_path, part, shallow, job=stated({"do": "pour", "below": 0}, FLUSH))
    [row] = failing(found)
    assert (status, row["kind"], row["side"]) == (1, "inlay-lost", 1)
    assert row["value"] == pytest.approx(0.8, abs=1e-3)
    assert row["message"].startswith("the step to 11 mm after 'top' takes away the whole of an inlay")
    status, found = check(tmp_path, part, shallow, job=stated(FLUSH))  # carved and not filled: a warning
    assert (status, [(row["kind"], row["severity"]) for row in found]) == (0, [("inlay-lost", "warning")])


def test_step__that_does_nothing_is_told(tmp_path):
    part = block(0, 40, 0, 30, 0, 12)
    job = stated({"do": "pour", "below": 0, "side": 2}, {"do": "thickness", "thickness": 12})
    _, found = check(tmp_path, part, dug(PLAIN, (-20, 15, 13)), job=job)
    words = [row["message"] for row in failing(found) if row["kind"] == "step"]
    assert words == [
        "the pour after 'top' finds nothing to fill on side 2",
        "the step to 12 mm after 'top' takes nothing off: the blank is no thicker then",
    ]


TURNED = """\
[[setups]]
name = "back"
turn = "about x"
zero = {{ corner = "left front", face = "{face}", offset = [0, 0, {up}] }}
programs = ["back.nc"]
{more}
"""


def turned(folder, steps, face="top", up=0, more="", z=-2.0, cell="0.5", part=None):
    """A pocket from side 2 after some steps; z: its floor, from the zero."""
    folder.joinpath("back.nc").write_text(
        HEAD.replace("G0 Z20", "G0 Z60") + f"G0 X20 Y15\nG1 Z{z} F300\nG0 Z60\nM30\n", encoding="utf-8"
    )
    job = stated(*steps, job=JOB.replace("[target]", TURNED.format(face=face, up=up, more=more) + "[target]"))
    import trimesh

    if part is None:
        # Blank frame: 12 thick, a millimetre off side 1 and one off side 2; the pocket 2 deep in that.
        hole = trimesh.creation.cylinder(3.0, 2.0, sections=96)
        hole.apply_translation((20, 15, 2.0))
        part = trimesh.boolean.difference([block(0, 40, 0, 30, 1, 11), hole], engine="manifold")
    return check(folder, part, dug(PLAIN, (-20, 15, 14)), cell, job)


BOTH = (
    {"do": "thickness", "thickness": 11},
    {"do": "thickness", "side": 2, "thickness": 10, "by": "surfacing cutter"},
)


def test_second_zero__on_the_wood_as_it_is_then(tmp_path):
    status, found = turned(tmp_path, BOTH)
    kinds = {row["kind"] for row in failing(found)}
    assert kinds <= {"setup"}  # the first setup cuts nothing on purpose
    assert status == (1 if kinds else 0)
    row = result(tmp_path)["steps"]["rows"][1]
    assert (row["face"], row["thickness_after"]) == (1.0, 10.0)


def test_old_thickness__a_zero_stated_over_the_table(tmp_path):
    status, found = turned(tmp_path, BOTH, "bottom", 12)
    [row] = [row for row in failing(found) if row["kind"] == "old-thickness"]
    assert status == 1
    assert row["value"] == 2.0
    told = "the zero of 'back' is stated over the table by 12 mm, the thickness before the blank was taken to"
    assert row["message"] == f"{told} 10 mm"
    _, found = turned(tmp_path, BOTH, "bottom", 10)
    assert not [row for row in found if row["kind"] == "old-thickness"]
    _, found = turned(tmp_path, BOTH, "top", -12, z=8)
    assert "is stated below the upper face by 12 mm" in next(
        row["message"] for row in found if row["kind"] == "old-thickness"
    )


def test_old_thickness__a_zero_in_machine_coordinates(tmp_path):
    travel = "[machine]\nlow = [-500, -500, -500]\nhigh = [500, 500, 500]\n[limits]"
    for second, kinds in ((-88.0, ["old-thickness"]), (-90.0, [])):
        # The first zero is on the table at -100: the second one, on top of the blank, 12 over that, or 10.
        job = JOB.replace('programs = ["top.nc"]', 'programs = ["top.nc"]\nmachine_zero = [0, 0, -100]')
        job = job.replace("[limits]", travel)
        job = job.replace(
            "[target]", TURNED.format(face="top", up=0, more=f"machine_zero = [0, 0, {second}]") + "[target]"
        )
        (tmp_path / "back.nc").write_text(
            HEAD.replace("G0 Z20", "G0 Z60") + "G0 X20 Y15\nM30\n", encoding="utf-8"
        )
        _, found = check(tmp_path, block(0, 40, 0, 30, 1, 11), PLAIN, job=stated(*BOTH, job=job))
        assert [row["kind"] for row in found if row["kind"] == "old-thickness"] == kinds


def test_setup__that_lays_the_blank_on_resin(tmp_path):
    (tmp_path / "back.nc").write_text(
        HEAD.replace("G0 Z20", "G0 Z60") + "G0 X20 Y15\nM30\n", encoding="utf-8"
    )
    job = JOB.replace("[target]", TURNED.format(face="top", up=0, more="") + "[target]")
    program = dug(PLAIN, *POCKET)
    _, found = check(tmp_path, block(0, 40, 0, 30, 0, 12), program, job=stated(POUR, job=job))
    [row] = [row for row in failing(found) if row["kind"] == "step"]
    assert row["message"].startswith("'back' lays the blank on resin that stands 1.00 mm over side 1")
    flush = stated(POUR, {"do": "thickness", "thickness": 12}, job=job)
    _, found = check(tmp_path, block(0, 40, 0, 30, 0, 12), program, job=flush)
    assert not [row for row in found if row["kind"] == "step"]


def test_rib__that_stands_thin_until_the_resin_is_poured_is_told(tmp_path):
    # Two slots 10 mm deep with a millimetre of wood between them, all of it held by resin at the end.
    program = dug(PLAIN, (8, 11.5, 2, 32, 11.5), (8, 18.5, 2, 32, 18.5))
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 11), program, job=stated(POUR, FLUSH))
    rows = [row for row in found if row["kind"] == "fragile"]
    assert (status, len(rows)) == (0, 1)
    assert rows[0]["at"][1] == pytest.approx(15, abs=0.5)
    assert " stands 10.0 mm high" in rows[0]["message"]
    assert not [row for row in found if row["kind"] == "thin-wall"]


@pytest.mark.parametrize("left", [0.8, 1.2])
def test_floor__that_is_thin_before_the_pour_is_a_note(tmp_path, left):
    # 12 mm thick, a wall may be 1 mm; in the end resin and floor are thick together.
    program = dug(PLAIN, (12, 15, 4, 28, 15), (20, 15, left))
    status, _ = check(tmp_path, block(0, 40, 0, 30, 0, 11), program, job=stated(POUR, FLUSH))
    remarks = [one for one in result(tmp_path)["remarks"] if "left under the resin" in one]
    assert status == 0
    if left > 1:
        assert remarks == []
    else:
        assert len(remarks) == 1
        assert remarks[0].startswith("step 1: only 0.80 mm are left under the resin at x ")
        x, y = map(float, remarks[0].split("at x ")[1].split(" mm")[0].split(", y "))
        assert np.hypot(x - 20, y - 15) <= 3


def test_notes__say_what_is_not_told(tmp_path):
    turned(tmp_path, ({**POUR, "side": 2}, *BOTH))
    remarks = result(tmp_path)["remarks"]
    why = "resin is poured into what the side cut second opened"
    assert f"how far side 2 may be off is not told: {why}" in remarks
    assert "resin counts as wood in walls, in weight, in what holds a piece, in time and bite" in remarks
    assert result(tmp_path)["budget"] is None


def test_whatif__a_thicker_blank_is_planed_to_the_same_thickness(tmp_path, capsys):
    job = stated({**POUR, "most_depth": 6}, FLUSH)
    check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=job)
    path, told = str(tmp_path / "job.toml"), str(tmp_path / "w.json")
    assert main(["whatif", path, "--thickness", "0.5", "--cell", "0.5", "--json", told]) == 0
    capsys.readouterr()
    changed = json.loads((tmp_path / "w.json").read_text("utf-8"))["changed"]
    # The pocket's program counts from the table: the blank that is thicker by 0.5 is poured 0.5 higher.
    assert changed["steps"]["rows"][0]["deepest"] == 5.5
    planed = changed["steps"]["rows"][1]
    assert (planed["deepest"], planed["thickness_after"]) == (2.5, 11)


@pytest.mark.parametrize("cell", ["0.5", "0.83"])
@pytest.mark.parametrize("gap", [0.0, 0.2])
def test_ridge__narrower_than_a_cell_left_on_resin_shows(tmp_path, cell, gap):
    # Faced level with the wood by two passes beside each other, with a gap between them or none.
    passes = [(5, 15 - gap / 2, 12, 25, 15 - gap / 2), (5, 21 + gap / 2, 12, 25, 21 + gap / 2)]
    again = '[[setups]]\nname = "again"\nturn = "none"\nzero = { corner = "left front", face = "bottom" }\n'
    job = stated(POUR).replace("[[steps]]", again + 'programs = ["again.nc"]\n[[steps]]', 1)
    (tmp_path / "again.nc").write_text(dug(PLAIN, *passes), encoding="utf-8")
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 12), dug(PLAIN, *POCKET), cell, job)
    assert status == (1 if gap else 0)
    for row in failing(found):
        assert row["kind"].startswith("leftover")
        assert row["at"][1] == pytest.approx(18, abs=0.2)
        assert 0.05 < row["value"] <= 1.0


def steps_told(tmp_path, *steps):
    check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=stated(*steps))
    return [row for row in result(tmp_path)["findings"] if row["kind"] == "step"]


def test_step__resin_that_stands_to_the_end_is_told(tmp_path):
    assert steps_told(tmp_path, POUR, FLUSH) == []
    (row,) = steps_told(tmp_path, POUR)
    assert (row["severity"], row["value"]) == ("warning", 1.0)
    assert "stands 1 mm over side 1 to the end" in row["message"]
    (row,) = steps_told(tmp_path, FLUSH, {**POUR, "over": 0.5})
    assert "stands 0.5 mm over side 1 to the end" in row["message"]


def test_step__resin_does_not_stand_high_without_a_dam(tmp_path):
    assert steps_told(tmp_path, {**POUR, "over": 2}, FLUSH) == []
    (row,) = steps_told(tmp_path, {**POUR, "over": 30}, FLUSH)
    assert (row["severity"], row["value"], row["limit"]) == ("warning", 30.0, 2.0)


def test_step__planing_side_2_on_resin_over_side_1_is_told(tmp_path):
    other = {"do": "thickness", "side": 2, "thickness": 11.5}
    (row,) = steps_told(tmp_path, POUR, other, FLUSH)
    assert (row["severity"], row["value"], row["side"]) == ("beyond", 1.0, 1)
    assert "lays the blank on resin that stands 1.00 mm over side 1" in row["message"]
    assert steps_told(tmp_path, POUR, FLUSH, {**other, "thickness": 10.5}) == []
