"""Faces that no cutter left: findings name the step that made them, or the blank, and no cutter."""

import json

import numpy as np
import pytest

from simkit.check import check as whole_check
from simkit.cli import main
from simkit.findings.made import step_map
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report.more_maps import step_names
from simkit.report.who_cut_views import owners_of, with_steps
from tests.findings.programs import dug
from tests.findings.test_steps import FLUSH, PLAIN, POCKET, POUR, TURNED, failing, stated
from tests.small_job import HEAD, JOB, block, check

CUTTER_WORDS = ("cut ", "pass", "cutter", "program")


@pytest.mark.parametrize(
    ("steps", "thick", "kind", "value", "words"),
    [
        (
            [POUR, {**FLUSH, "thickness": 10.5}],
            11,
            "gouge",
            0.5,
            "the step to 10.5 mm after 'top' takes 0.50 mm",
        ),
        (
            [POUR, {**FLUSH, "thickness": 11.6}],
            11,
            "leftover-program",
            0.6,
            "the step to 11.6 mm after 'top' leaves 0.60 mm standing over the part",
        ),
        (
            [{"do": "pour", "below": 0.5}],
            12,
            "gouge",
            0.5,
            "the resin of the pour after 'top' stands 0.50 mm below",
        ),
        (
            [{"do": "pour", "over": 0.5}],
            12,
            "leftover-program",
            0.5,
            "the resin of the pour after 'top' stands 0.50 mm over",
        ),
    ],
    ids=["planed-too-thin", "planed-too-thick", "resin-too-low", "resin-too-high"],
)
def test_face_of_a_step__is_told_in_its_own_words(tmp_path, steps, thick, kind, value, words):
    job = stated(*steps)
    _, found = check(tmp_path, block(0, 40, 0, 30, 0, thick), dug(PLAIN, *POCKET), job=job)
    [row] = failing(found)
    assert (row["kind"], row["file"]) == (kind, "job.toml")
    assert row["value"] == pytest.approx(value, abs=0.01)
    assert row["message"].startswith(words)
    assert not [word for word in CUTTER_WORDS if word in row["message"]]
    assert not row["cutter"]
    key = "thickness" if len(steps) == 2 else next(iter(steps[0].keys() - {"do"}))
    assert job.split("\n")[row["line"] - 1].startswith(key)


def test_cut_below_the_planed_face__is_still_told_as_a_cut(tmp_path):
    program = dug(PLAIN, (20, 15, 10.4))
    _, found = check(tmp_path, block(0, 40, 0, 30, 0, 11), program, job=stated(FLUSH))
    [row] = failing(found)
    assert (row["kind"], row["file"]) == ("gouge", "top.nc")
    assert row["message"].startswith("cut 0.60 mm into the part")


def whatif(folder, *words):
    out = folder / "whatif.json"
    out.unlink(missing_ok=True)
    main(["whatif", str(folder / "job.toml"), "--quiet", "--cell", "0.5", "--json", str(out), *words])
    return json.loads(out.read_text("utf-8"))["changed"]["findings"]


def test_whatif__a_blank_thinner_than_a_step_leaves_it(tmp_path):
    """12 - 1.5 is less than the 11 that the step leaves, and less than the part."""
    check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=stated(POUR, FLUSH))
    assert failing(whatif(tmp_path, "--thickness=-1")) == []
    step, gouge = failing(whatif(tmp_path, "--thickness=-1.5"))
    assert (step["kind"], step["value"]) == ("step", 0.5)
    told = "the step to 11 mm after 'top' takes nothing off the wood: the blank is only 10.5 mm thick then"
    assert step["message"] == told
    assert (gouge["kind"], gouge["file"]) == ("gouge", "job.toml")
    assert gouge["value"] == pytest.approx(0.5, abs=0.01)
    assert gouge["message"].startswith("the blank lacks 0.50 mm of the part")


def test_whatif__resin_over_a_blank_too_thin_is_planed_at_the_height_of_the_step(tmp_path):
    """The planer stands 11 mm over the table: resin up to 11.5 loses 0.5, wood at 10.5 stays."""
    check(tmp_path, block(0, 40, 0, 30, 0, 11), dug(PLAIN, *POCKET), job=stated(POUR, FLUSH))
    out = tmp_path / "whatif.json"
    main(
        [
            "whatif",
            str(tmp_path / "job.toml"),
            "--quiet",
            "--cell",
            "0.5",
            "--json",
            str(out),
            "--thickness=-1.5",
        ]
    )
    poured, planed = json.loads(out.read_text("utf-8"))["changed"]["steps"]["rows"]
    area = poured["volume"] / poured["deepest"]
    assert poured["deepest"] == pytest.approx(10.5 - 8 + 1)
    assert planed["deepest"] == pytest.approx(0.5)
    assert planed["volume"] == pytest.approx(area * 0.5, rel=1e-6)
    assert planed["thickness_after"] == 10.5


def test_whatif__a_thinner_blank_without_steps_lacks_what_the_part_needs(tmp_path):
    check(tmp_path, block(0, 40, 0, 30, 0, 12), dug(PLAIN, (-20, 15, 13)))
    [row] = [row for row in failing(whatif(tmp_path, "--thickness=-0.7")) if row["kind"] != "setup"]
    assert (row["kind"], row["value"]) == ("gouge", pytest.approx(0.7, abs=0.001))
    assert row["message"].startswith("the blank lacks 0.70 mm of the part")


def test_part_larger_than_the_blank_as_stated__is_still_refused(tmp_path, capsys):
    with pytest.raises(FileNotFoundError):
        check(tmp_path, block(0, 40, 0, 30, 0, 12.5), dug(PLAIN, *POCKET))
    assert "stands out of the blank by 0.500 mm at the top" in capsys.readouterr().err


@pytest.mark.parametrize(("left", "kind"), [(10.6, "thin-wall"), (9.8, "break-through")])
def test_wall__under_a_planed_face_names_the_step(tmp_path, left, kind):
    """A pocket 10 mm up from side 2, and side 1 planed to 0.6 mm over its floor, or below that."""
    slots = "".join(f"G0 X12.9 Y{y}\nG1 Z-10 F300\nG1 X27.1\nG0 Z60\n" for y in (13, 15, 17))
    (tmp_path / "back.nc").write_text(f"{HEAD.replace('G0 Z20', 'G0 Z60')}{slots}M30\n", encoding="utf-8")
    back = TURNED.format(face="bottom", up=left, more="")
    job = stated({"do": "thickness", "thickness": left}, job=JOB.replace("[target]", back + "[target]"))
    part = block(0, 40, 0, 30, 0, 12).difference(block(10, 30, 10, 20, -1, 10))
    _, found = check(tmp_path, part, dug(PLAIN, (-20, 15, 14)), job=job)
    row = next(row for row in found if row["kind"] == kind)
    assert (row["file"], row["side"]) == ("job.toml", 1)
    assert job.split("\n")[row["line"] - 1] == f"thickness = {left}"
    if kind == "thin-wall":
        assert row["message"].endswith("side 1 is as the step to 10.6 mm after 'top' left it")
        assert row["value"] == pytest.approx(0.6, abs=0.01)
    assert " step " in row["advice"]


def test_map__resin_planer_and_saw_each_have_their_places(tmp_path):
    """Resin poured 2 below the face, 1 planed off beside it, sawn all round, then a slot 6 wide at y = 15."""
    second = (
        '[[setups]]\nname = "again"\nturn = "none"\nprograms = ["again.nc"]\n'
        'zero = { corner = "left front", face = "bottom" }\n'
    )
    saw = {"do": "saw", "box": [[4, 3], [36, 27]]}
    text = stated({"do": "pour", "below": 2}, {"do": "thickness", "thickness": 11}, saw)
    text = text.replace("[[steps]]", second + "[[steps]]", 1)
    (tmp_path / "top.nc").write_text(dug(PLAIN, *POCKET), encoding="utf-8")
    (tmp_path / "again.nc").write_text(dug(PLAIN, (-8, 12, 9, 40, 12)), encoding="utf-8")
    block(4, 36, 3, 27, 0, 11).export(tmp_path / "part.stl")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    evidence, _, _ = whole_check(job, read_programs(job), 0.5)
    made = step_map(evidence, 1)
    x, y = np.meshgrid(evidence.field.lattice.x(), evidence.field.lattice.y())
    is_left = (x > 4) & (x < 36) & (y > 3) & (y < 27)
    is_slot = is_left & (abs(y - 15) < 3)
    is_pocket = is_left & (np.hypot(x - np.clip(x, 12, 16), y - np.clip(y, 15, 21)) < 3)
    assert np.array_equal(made == 2, ~is_left)
    assert np.array_equal(made == 0, is_pocket & ~is_slot)
    assert np.array_equal(made == 1, is_left & ~is_pocket & ~is_slot)
    assert np.array_equal(made == -1, is_slot)
    assert set(np.unique(step_map(evidence, 2))) == {-1, 2}  # of the lower face only what is gone
    assert step_names(job) == [
        "resin as it was poured, after 'top'",
        "planer, after 'top'",
        "saw, after 'top'",
    ]
    cut = owners_of(evidence.field.upper_move, evidence.moves, job.cutters)
    owners = with_steps(cut, made, step_names(job))
    assert owners.names == ("T1 6 mm flat, again.nc", *step_names(job))
    assert np.array_equal(owners.index, made + 1)
