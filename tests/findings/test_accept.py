"""Identities that last, accepted findings, and which come back."""

import json

import pytest

from simkit.cli import main
from tests.findings.programs import dug, faced
from tests.small_job import JOB, block

PART = block(0, 40, 0, 30, 0, 10)
SLOT = dug(faced(10), (8, 15, 9.7, 24, 18))  # 0.3 too deep
TWO = dug(SLOT, (33, 8, 9.8))


@pytest.fixture
def run(tmp_path):
    """Check the job; returns exit status and result."""
    PART.export(tmp_path / "part.stl")

    def checked(program, job=JOB, cell="0.5", *options):
        (tmp_path / "top.nc").write_text(program, encoding="utf-8")
        (tmp_path / "job.toml").write_text(job, encoding="utf-8")
        words = ["check", str(tmp_path / "job.toml"), "--quiet", "--cell", cell]
        status = main([*words, "--json", str(tmp_path / "r.json"), *options])
        return status, json.loads((tmp_path / "r.json").read_text("utf-8"))

    return checked


def failing(result):
    return [row for row in result["findings"] if row["severity"] in ("safety", "beyond", "undecided")]


def accepted(row, reason="sanded by hand"):
    return "\n" + row["accept"].replace('reason = ""', f'reason = "{reason}"') + "\n"


def ids(result):
    return sorted((row["kind"], row["id"]) for row in failing(result))


def test_id__does_not_follow_the_cells(run):
    known = {cell: run(TWO, cell=cell)[1] for cell in ("0.15", "0.2", "0.22", "0.27", "0.3")}
    assert len(ids(known["0.2"])) == 2
    for result in known.values():
        assert ids(result) == ids(known["0.2"])


def test_id__does_not_follow_lines_or_other_places(run):
    before = ids(run(SLOT)[1])
    lines = SLOT.replace("G21 G90 G17\n", "G21 G90 G17\n(a comment)\nM9\n\nN100 G4 P1\n")
    assert ids(run(lines)[1]) == before
    assert set(before) < set(ids(run(TWO)[1]))
    job = (
        JOB.replace("leftover = 0.3", "leftover = 0.25")
        + '\n[[zones]]\nname = "far"\nbox = [[30, 0], [40, 30]]\n'
    )
    assert ids(run(SLOT, job)[1]) == before


def test_id__moves_on_when_the_spot_does(run):
    other = dug(faced(10), (28, 5, 9.7))
    assert not set(ids(run(SLOT)[1])) & set(ids(run(other)[1]))


def test_id__two_of_a_sort_near_each_other_differ(run):
    near = dug(faced(10), (9.5, 15, 9.7), (18.6, 15, 9.7))  # 3.1 mm of wood between
    _, result = run(near, cell="0.25")
    assert len({row["id"] for row in failing(result)}) == len(failing(result)) == 2


def test_accepted__does_not_fail_and_is_listed_with_its_reason(run, capsys):
    _, result = run(SLOT)
    (row,) = failing(result)
    status, result = run(SLOT, JOB + accepted(row))
    assert (status, result["verdict"]["status"]) == (0, "within limits")
    (row,) = result["findings"]
    assert (row["severity"], row["reason"]) == ("accepted", "sanded by hand")
    assert result["causes"][0]["message"].startswith("accepted (sanded by hand): cut 0.30 mm")
    assert "1 accepted finding left out" in capsys.readouterr().out
    status, result = run(TWO, JOB + accepted(row | {"accept": run(SLOT)[1]["findings"][0]["accept"]}))
    assert status == 1
    assert len(failing(result)) == 1
    assert failing(result)[0]["at"][0] > 28


@pytest.mark.parametrize("cell", ["0.2", "0.3", "0.45"])
def test_accepted__holds_on_other_cells(run, cell):
    (row,) = failing(run(SLOT)[1])
    assert run(SLOT, JOB + accepted(row), cell)[0] == 0


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("G21 G90 G17\n", "G21 G90 G17\n\n(more)\nN7 M9\n"),
        lambda text: text.replace("F300", "F450"),
        lambda text: dug(text, (34, 4, 10)),  # air, far from the slot
        lambda text: text.replace("G0 Z20\nG0 X8", "G0 Z25\nG0 X8"),
    ],
    ids=["lines", "feed", "elsewhere", "rapid"],
)
def test_accepted__holds_when_nothing_changed_there(run, change):
    (row,) = failing(run(SLOT)[1])
    assert run(change(SLOT), JOB + accepted(row))[0] == 0


def test_accepted__comes_back_when_it_got_worse(run):
    (row,) = failing(run(SLOT)[1])
    entry = "\n".join(line for line in accepted(row).split("\n") if not line.startswith("moves"))
    assert run(SLOT.replace("Z9.7", "Z9.72"), JOB + entry)[0] == 0
    status, result = run(SLOT.replace("Z9.7", "Z9.6"), JOB + entry)
    assert status == 1
    assert failing(result)[0]["returned"] == "it got worse: 0.40 mm, accepted was 0.3 mm"
    assert "accepted in the job, but it got worse" in result["causes"][0]["message"]


def test_accepted__comes_back_when_the_program_changed_there(run):
    (row,) = failing(run(SLOT)[1])
    status, result = run(SLOT.replace("X24 Y18", "X24 Y17.5"), JOB + accepted(row))
    assert status == 1
    assert failing(result)[0]["returned"].startswith("the moves that cut there have changed since (now ")
    assert "moves = " in failing(result)[0]["accept"]


def test_accepted__without_a_value_comes_back(run):
    (row,) = failing(run(SLOT)[1])
    status, result = run(SLOT, JOB + f'\n[[accepted]]\nid = "{row["id"]}"\nreason = "fine"\n')
    assert status == 1
    assert failing(result)[0]["returned"] == "the entry states no value, and this is 0.30 mm"


def test_accepted__by_kind_and_box(run):
    entry = '\n[[accepted]]\nkind = "gouge"\nbox = [[5, 12], [28, 20]]\nvalue = 0.3\nreason = "fine"\n'
    assert run(SLOT, JOB + entry)[0] == 0
    assert run(SLOT, JOB + entry.replace("gouge", "thin-wall"))[0] == 1


def test_accepted__one_that_matches_nothing_is_told(run):
    (row,) = failing(run(SLOT)[1])
    status, result = run(faced(10), JOB + accepted(row))
    assert (status, result["findings"]) == (0, [])
    line = JOB.count("\n") + 2
    assert (
        f"job.toml:{line}: the accepted finding '{row['id']}' is not there any more; take the entry out"
        in result["remarks"]
    )


def test_accepted__safety_stays(run):
    plough = faced(10).replace("G0 X-5.0 Y0 Z20", "G0 X-5.0 Y15 Z20\nG0 Z8\nG0 X20\nG0 Z20")
    _, result = run(plough)
    row = next(row for row in result["findings"] if row["kind"] == "rapid-contact")
    assert row["accept"] == ""
    status, result = run(plough, JOB + f'\n[[accepted]]\nid = "{row["id"]}"\nvalue = 9\nreason = "fine"\n')
    again = next(row for row in result["findings"] if row["kind"] == "rapid-contact")
    assert (status, again["severity"]) == (1, "safety")
    assert again["returned"] == "it is about safety, and cannot be accepted"


def test_accept__the_command_prints_what_the_result_holds(run, capsys):
    _, result = run(TWO, JOB, "0.5", "--accept")
    told = capsys.readouterr().out
    for row in failing(result):
        assert f"# {row['number']}: {row['message']}\n{row['accept']}" in told
    run(faced(10), JOB, "0.5", "--accept")
    assert "# nothing to accept" in capsys.readouterr().out


def test_accept__without_a_job_file_is_refused(tmp_path, capsys):
    (tmp_path / "top.nc").write_text(SLOT, encoding="utf-8")
    words = [str(tmp_path / "top.nc"), "--blank", "40x30x12", "--cutter", "1=flat:6", "--accept"]
    assert main(["check", *words]) == 2
    assert "--accept without a job file" in capsys.readouterr().err


def test_causes__many_gouges_of_one_pass_are_one_row(run, capsys):
    holes = [(x, y, 9.7) for x in (5, 15, 25, 35) for y in (6, 15, 24)]
    _, result = run(dug(faced(10), *holes), cell="0.25")
    assert len(failing(result)) == 12
    assert len(result["causes"]) == 1
    assert result["causes"][0]["findings"] == list(range(1, 13))
    assert "12 findings of one cause" in result["verdict"]["sentence"]


def test_causes__a_zero_too_low_is_one_row_whatever_follows(run):
    # Everything is cut 0.5 too deep, and a shelf is left where the passes do not reach.
    _, result = run(faced(9.5), JOB.replace("thinnest_wall = 1", "thinnest_wall = 9.8"))
    assert {row["kind"] for row in failing(result)} == {"gouge", "thin-wall"}
    (cause,) = [cause for cause in result["causes"] if cause["severity"] == "beyond"]
    assert cause["message"].startswith("all that side 1 cut lies off the part by -0.50 ±0.01 mm in Z")
    sentence = result["verdict"]["sentence"]  # names the shift and not the worst that it left
    assert " of one cause to put right, the first in top.nc:" in sentence
    assert ": all that side 1 cut lies off the part by -0.50 ±0.01 mm in Z" in sentence
    assert "worst" not in sentence


def test_causes__the_worst_comes_first(run):
    program = dug(faced(10), (8, 15, 9.8), (30, 15, 9.5))
    _, result = run(program)
    values = [row["value"] for row in failing(result)]
    assert values == sorted(values, reverse=True)
    assert [row["number"] for row in result["findings"]] == list(range(1, len(result["findings"]) + 1))


ZERO = 'zero = { corner = "left front", face = "bottom" }'


@pytest.mark.parametrize(
    ("program", "zero", "place", "writes"),
    [
        # The job states an offset, so that is what was typed wrong.
        (faced(10), ZERO.replace(" }", ", offset = [0, 0, -0.5] }"), ("job.toml", "offset"), "[0, 0, 0]"),
        (
            faced(10),
            ZERO.replace(" }", ', offset = [0, 0, "-0.5 mm"] }'),
            ("job.toml", "offset"),
            "[0, 0, 0]",
        ),
        # It states none: the program may be wrong as well, and its line stays.
        (faced(9.5), ZERO, None, "[0, 0, 0.5]"),
        # The program moves its zero itself.
        (faced(10).replace("G0 Z20\n", "G0 X-5 Y-5 Z20\nG92 Z20.5\n", 1), ZERO, ("top.nc", "G92"), None),
    ],
)
def test_causes__a_zero_too_low_points_at_what_is_to_be_changed(run, tmp_path, program, zero, place, writes):
    status, result = run(program, JOB.replace(ZERO, zero))
    assert status == 1
    (cause,) = [one for one in result["causes"] if one["severity"] == "beyond"]
    sentence = result["verdict"]["sentence"]
    if place is None:
        assert (cause["file"], cause["line"]) == ("", None)
        assert "the first in top.nc:" in sentence
        assert "have them made anew" in cause["advice"]
    else:
        file, word = place
        lines = (tmp_path / file).read_text("utf-8").splitlines()
        (line,) = [number for number, text in enumerate(lines, 1) if word in text]
        assert (cause["file"], cause["line"]) == (file, line)
        assert cause["column"] == lines[line - 1].index(word) + 1
        assert f"the first in {file}:{line}" in sentence
    if writes is None:
        assert "moves its own zero" in cause["advice"]
    else:
        assert f"write offset = {writes} in the zero of 'top' (job.toml:" in cause["advice"]
        assert "known to ±0.01 mm" in cause["advice"]
    assert cause["advice"].startswith("Measure the blank first")
