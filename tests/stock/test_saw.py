"""The blank sawn to size between the setups: volumes, and one frame for all that was cut before and after."""

import json
import re

import numpy as np
import pytest

from simkit.job.steps import SAW, Body, Step, body_after
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.saw import saw, take_off
from simkit.stock.steps import AtPoints
from tests.findings.programs import dug
from tests.findings.test_steps import PLAIN, failing, result, stated
from tests.small_job import HEAD, JOB, block, check

BOX = (4.0, 3.0, 36.0, 25.0)
STEP = Step(SAW, 0, 1, box=BOX)
SAWN = {"do": "saw", "box": [[4, 3], [36, 25]]}


def test_saw__leaves_the_box_and_tells_what_it_takes():
    field = blank_field(blank_lattice(40, 30, 0.5), 40, 30, 12)
    after, told = saw(field, STEP, body_after(40, 30, 12, ()))
    assert told.body == Body((4.0, 3.0, 0.0), (36.0, 25.0, 12.0))
    assert told.volume == pytest.approx((40 * 30 - 32 * 22) * 12)
    assert told.deepest == 12
    assert np.count_nonzero(after.is_solid) * 0.25 == 32 * 22
    assert np.array_equal(after.rim(2.0) & after.is_solid, _frame(after, 2.0))
    finer = take_off(blank_field(blank_lattice(40, 30, 0.125), 40, 30, 12), told)
    assert np.count_nonzero(finer.is_solid) * 0.125**2 == 32 * 22


def _frame(field, room):
    x, y = field.lattice.x(), field.lattice.y()[:, None]
    x0, y0, x1, y1 = BOX
    deep = np.minimum(np.minimum(x - x0, x1 - x), np.minimum(y - y0, y1 - y))
    return (deep > 0) & (deep < room)


def test_saw__at_points_is_exact():
    _, told = saw(blank_field(blank_lattice(40, 30, 1), 40, 30, 12), STEP, body_after(40, 30, 12, ()))
    places = np.array([(3.999, 10), (4.001, 10), (35.999, 24.999), (36.001, 24), (20, 2.999)])
    left = AtPoints.of_blank(places, 12.0)
    left.do([told])
    assert (left.upper > left.lower).tolist() == [False, True, True, False, False]


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("swing", ["none", "half", "quarter left"])
def test_frame__a_setup_after_it_has_its_zero_on_the_corner_that_is_left(tmp_path, turn, swing):
    """The left front corner as the blank lies is one of the box's four, at the height that lies up."""
    from simkit.job.reader import read_job

    second = (
        f'[[setups]]\nname = "again"\nturn = "{turn}"\nswing = "{swing}"\nprograms = ["top.nc"]\n'
        'zero = { corner = "left front", face = "top" }\n'
    )
    text = stated(SAWN).replace("[[steps]]", second + "[[steps]]", 1)
    (tmp_path / "top.nc").write_text(PLAIN, encoding="utf-8")
    block(10, 30, 8, 20, 0, 12).export(tmp_path / "part.stl")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    setup = job.setups[1]
    zero = setup.frame(job.blank).apply(np.zeros((1, 3)))[0]
    x0, y0, x1, y1 = BOX
    corners = {(x, y) for x in (x0, x1) for y in (y0, y1)}
    assert (round(zero[0], 9), round(zero[1], 9)) in corners
    assert zero[2] == (12 if turn == "none" else 0)
    across, deep = setup.size_on_table(job.blank)
    far = setup.frame(job.blank).apply(np.array([[across, deep, 0.0]]))[0]
    opposite = (x0 + x1 - zero[0], y0 + y1 - zero[1])
    assert far[:2] == pytest.approx(opposite)


def test_job__cut_before_and_after_sawing_in_one_frame(tmp_path):
    """A slot before and one after it, whose program counts from the corner that the saw left."""
    second = (
        '[[setups]]\nname = "again"\nturn = "none"\nprograms = ["again.nc"]\n'
        'zero = { corner = "left front", face = "bottom" }\n'
    )
    job = stated(SAWN).replace("[[steps]]", second + "[[steps]]", 1)
    x0, y0, x1, y1 = BOX
    part = block(x0, x1, y0, y1, 0, 12).difference(block(0, 40, 7, 13, 10, 13))
    part = part.difference(block(0, 40, 16, 22, 9, 13))
    first = dug(PLAIN, (-5, 10, 10, 45, 10))
    later = dug(PLAIN, (-5 - x0, 19 - y0, 9, 45 - x0, 19 - y0))
    (tmp_path / "again.nc").write_text(later, encoding="utf-8")
    status, found = check(tmp_path, part, first, job=job)
    assert (status, failing(found)) == (0, [])
    [row] = result(tmp_path)["steps"]["rows"]
    assert row["do"] == "saw"
    slot = (40 * 6 - 32 * 6) * 2
    assert row["volume"] == pytest.approx((40 * 30 - 32 * 22) * 12 - slot, abs=row["bound"])
    assert row["size_after"] == [32, 22]
    assert row["words"] == "sawn to x 4 to 36, y 3 to 25 mm, 32 by 22 mm"
    # Counted from the corner of the first blank the second slot lies 4 and 3 mm off.
    (tmp_path / "again.nc").write_text(dug(PLAIN, (-5, 19, 9, 45, 19)), encoding="utf-8")
    status, found = check(tmp_path, part, first, job=job)
    assert status == 1
    assert {"gouge"} <= {row["kind"] for row in failing(found)}


def test_part__that_is_sawn_into_names_the_step(tmp_path):
    job = stated({**SAWN, "box": [[4, 3], [33, 25]]})
    status, found = check(tmp_path, block(8, 35, 6, 22, 0, 12), dug(PLAIN, (20, 28, 9)), job=job)
    [row] = failing(found)
    assert (status, row["file"], row["area"]) == (1, "job.toml", pytest.approx(2 * 16))
    assert row["message"].startswith("the sawing after 'top' goes 2.00 mm into the part")
    assert job.split("\n")[row["line"] - 1].startswith("box")


def test_frame_that_is_left__is_frame_up_to_the_sawn_edge(tmp_path):
    """A part milled out but for its frame, which ends where the saw ended: none of it is leftover."""
    around = "".join(
        f"G0 X{x0} Y{y0}\nG1 Z-0.5 F600\nX{x1}\nY{y1}\nX{x0}\nY{y0}\nG0 Z20\n"
        for x0, x1, y0, y1 in ((11, 29, 9, 19),)
    )
    part = block(14, 26, 12, 16, 0, 12)
    job = stated({**SAWN}).replace('["top.nc"]', '["top.nc"]\nspoilboard = 2')
    _, found = check(tmp_path, part, HEAD + around + "M30\n", job=job)
    assert not [row for row in failing(found) if row["kind"].startswith("leftover")]
    words = next(one for one in result(tmp_path)["remarks"] if one.startswith("left outside the outline"))
    # The box less the trench's outside, 24 x 16 with corners of 3 mm.
    assert "frame" in words
    size = 32 * 22 - (24 * 16 - (4 - np.pi) * 9)
    assert abs(float(words.split("frame ")[1].split(" ")[0]) - size) < 0.02 * size


def test_dowel_hole__that_is_sawn_off_is_told(tmp_path):
    dowels = "".join(
        f'[[dowels]]\nname = "{name}"\nat = [{x}, 15]\ndiameter = 6\n' for name, x in (("a", 8), ("b", 37))
    )
    second = (
        '[[setups]]\nname = "again"\nturn = "about x"\nprograms = ["again.nc"]\n'
        'zero = { corner = "left front", face = "top" }\npins = [[4, 12], [33, 12]]\n'
    )
    job = stated({**SAWN, "box": [[4, 3], [36, 27]]}).replace("[[steps]]", second + "[[steps]]", 1)
    job = job.replace('["top.nc"]', '["top.nc"]\nspoilboard = 2')
    (tmp_path / "again.nc").write_text(HEAD + "G0 X5 Y5\nG1 Z-1 F300\nG0 Z20\nM30\n", encoding="utf-8")
    _, found = check(
        tmp_path, block(14, 26, 8, 22, 0, 12), dug(PLAIN, (8, 15, -1), (37, 15, -1)), job=job + dowels
    )
    rows = [row for row in failing(found) if row["kind"] == "dowel-miss"]
    assert [row["message"] for row in rows] == [
        "the dowel hole 'b' is sawn into before 'again', whose pin needs it"
    ]


def test_clamp__on_what_was_sawn_off_is_told(tmp_path):
    second = (
        '[[setups]]\nname = "again"\nturn = "none"\nprograms = ["again.nc"]\n'
        'zero = { corner = "left front", face = "bottom" }\n'
    )
    clamp = '[[holding]]\nkind = "clamp"\nbox = [[{}, 5], [{}, 10]]\n'
    (tmp_path / "again.nc").write_text(dug(PLAIN, (10, 10, 9)), encoding="utf-8")
    for x, count in ((34, 1), (28, 0)):
        job = stated(SAWN).replace("[[steps]]", second + "[[steps]]", 1) + clamp.format(x, x + 4)
        _, found = check(tmp_path, block(10, 30, 8, 20, 0, 12), PLAIN.replace("G0 Z20", "G0 Z20"), job=job)
        rows = [row for row in found if row["kind"] == "step"]
        assert len(rows) == count
        if rows:
            assert rows[0]["severity"] == "warning"
            assert rows[0]["message"].startswith("the clamp (entry 1 of `holding`) holds nothing in 'again'")


def test_offcut__of_the_saw_is_no_loose_piece(tmp_path):
    """A slot cut through inside the box parts nothing, and what the saw takes is not told as a piece."""
    job = stated(SAWN).replace('["top.nc"]', '["top.nc"]\nspoilboard = 2')
    through = dug(PLAIN, (20, 7, -0.5, 20, 21))
    _, found = check(tmp_path, block(6, 16, 5, 20, 0, 12), through, job=job)
    assert not [row for row in found if row["kind"] == "loose-piece"]


def test_json__of_the_steps_is_as_the_schema_says(tmp_path):
    import jsonschema

    from simkit.report.schema import result_schema

    check(tmp_path, block(10, 30, 8, 20, 0, 12), PLAIN, job=stated(SAWN))
    whole = json.loads((tmp_path / "r.json").read_text("utf-8"))
    jsonschema.validate(whole, result_schema(closed=True))
    assert JOB  # the job it was made of


def test_sheet__tells_the_size_to_saw_to(tmp_path, capsys):
    from simkit.cli import main

    check(tmp_path, block(10, 30, 8, 20, 0, 12), PLAIN, job=stated(SAWN))
    capsys.readouterr()
    assert main(["sheet", str(tmp_path / "job.toml")]) == 0
    told = capsys.readouterr().out
    assert "sawn to x 4 to 36, y 3 to 25 mm, 32 by 22 mm" in told
    assert "then       the blank is 32 x 22 x 12 mm" in told


def test_sheet__tells_the_size_to_saw_to_in_inches(tmp_path, capsys):
    from simkit.cli import main

    (tmp_path / "top.nc").write_text(
        HEAD + "G0 X30 Y30\nG1 Z35 F300\nX60 F900\nG0 Z60\nM30\n", encoding="utf-8"
    )
    job = JOB[: JOB.index("[target]")].replace("diameter = 6", 'diameter = "6 mm"')
    for mm, inches in (("length = 40", "length = 4"), ("width = 30", "width = 3"), ("= 12", "= 1.5")):
        job = job.replace(mm, inches)
    step = '[[steps]]\nafter = "top"\ndo = "saw"\nside = 1\nbox = [[0.25, 0], [3.75, 2.5]]\n'
    (tmp_path / "job.toml").write_text(f'unit = "in"\n{job}{step}', encoding="utf-8")
    assert main(["sheet", str(tmp_path / "job.toml")]) == 0
    told = capsys.readouterr().out
    assert "sawn to x 1/4 to 3 3/4, y 0 to 2 1/2 in, 3 1/2 by 2 1/2 in" in told
    # 4 x 3 x 1.5 in less 3.5 x 2.5 x 1.5; cells do not meet its edges.
    volume, bound = re.search(r"takes      ([0-9.]+) ±([0-9.]+) in3", told).groups()
    assert abs(float(volume) - (18 - 3.5 * 2.5 * 1.5)) <= float(bound) < 0.2
