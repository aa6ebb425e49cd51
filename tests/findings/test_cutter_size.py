"""A cutter whose diameter the job misstates: named as the cause of all that follows, and nothing else is."""

import json

import numpy as np
import pytest

from simkit.cli import main
from simkit.compare.cutter_size import Beyond, other_size
from simkit.cutters import Cutter
from tests.mutations import GOOD, MUTATIONS, write

PLAIN, INCHES = GOOD[0], GOOD[1]


def causes(folder, tray, old="", new="", mutation=None):
    """The causes of a check of a tray whose job says `new` where it said `old`."""
    job, _ = write(folder, tray, mutation)
    text = job.read_text("utf-8")
    assert old in text
    job.write_text(text.replace(old, new, 1), encoding="utf-8")
    main(["check", str(job), "--quiet", "--cell", "0.5", "--json", str(folder / "r.json")])
    result = json.loads((folder / "r.json").read_text("utf-8"))
    return result["causes"], result["findings"]


@pytest.mark.parametrize("tray", [PLAIN, INCHES, GOOD[9]], ids=lambda tray: tray.name)
@pytest.mark.parametrize("stated", [3, 12])
def test_size__half_and_twice_are_named(tray, stated, tmp_path):
    told, findings = causes(tmp_path, tray, "diameter = 6", f"diameter = {stated}")
    mine = [one for one in told if one["message"].startswith("cutter T1 looks as if it were 6 mm wide")]
    assert len(mine) == 1
    assert f"not {stated} mm: cut with that, " in mine[0]["message"]
    assert "under [cutters.1] of the job file" in mine[0]["advice"]
    kinds = [findings[number - 1]["kind"] for number in mine[0]["findings"]]
    assert {"gouge", "break-through"} & set(kinds) if stated == 12 else set(kinds) == {"leftover-program"}
    # All gouges and leftovers follow from it.
    alike = [one for one in findings if one["kind"] in ("gouge", "leftover-program", "leftover-cutter")]
    assert all(one["cause"] == mine[0]["number"] for one in alike)


def test_size__of_another_cutter_of_the_job_may_be_a_call_of_the_wrong_one(tmp_path):
    called = next(one for one in MUTATIONS if one.name == "a wider cutter called")
    told, _ = causes(tmp_path, PLAIN, mutation=called)
    (mine,) = [one for one in told if "the wrong cutter" in one["message"]]
    words = (
        "the program seems to call the wrong cutter: T2 8 mm flat cuts here, but the moves fit T1 6 mm flat:"
    )
    assert mine["message"].startswith(words)
    assert (mine["file"], mine["line"]) == (
        "side1.nc",
        12,
    )  # behind two lines, T3, M3, two holes of three lines, M5
    assert (
        "call T1 in this line if that is it. If T2 is meant, measure it: the cuts fit 6 mm, too"
        in (mine["advice"])
    )
    assert "[cutters.2] of the job file says 8 mm" in mine["advice"]
    assert not [one for one in told if "looks as if" in one["message"]]


@pytest.mark.parametrize(
    "name",
    [
        "second zero 0.8 mm off", "second zero 1 mm too low", "some lines deleted", "turned end over end",
        "sign lost in the last plunge", "first program run twice",
    ],
)  # fmt: skip
def test_size__other_faults_are_none_of_a_cutter(name, tmp_path):
    mutation = next(one for one in MUTATIONS if one.name == name)
    told, findings = causes(tmp_path, PLAIN, mutation=mutation)
    assert findings
    assert not [one for one in told if "looks as if" in one["message"]]


CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "flat", 4.0), 3: Cutter(3, "drill", 5.0)}
TOOL = np.array([1, 2, 3])


def seen(part, row, is_gouge, off=1.0):
    rows, none = np.array([row] * 10), np.empty(0, int)
    ends = (rows, none) if is_gouge else (none, rows)
    return {1: Beyond(part, *ends, np.ones(10, bool), np.full(10, off))}


@pytest.mark.parametrize(
    ("is_gouge", "likely", "fitting"), [(True, 4.0, (3.9, 4.1)), (False, 12.0, (11, 13))]
)
def test_other_size__asks_sizes_on_the_side_of_the_fault(is_gouge, likely, fitting):
    asked = []

    def again(cutters):
        size = cutters[1].diameter
        asked.append(size)
        is_it = fitting[0] < size < fitting[1]
        return seen(0.0 if is_it else 0.3, 0, is_gouge, abs(size - likely))

    found = other_size(CUTTERS, TOOL, seen(0.4, 0, is_gouge), again)
    assert all(size < 6 for size in asked) if is_gouge else all(size > 6 for size in asked)
    assert (found.number, found.stated, found.likely) == (1, 6.0, likely)
    assert (found.before, found.after) == ({1: 0.4}, {1: 0.0})
    assert found.also == ((2,) if is_gouge else ())


def test_other_size__none_where_no_size_helps_or_little_is_off():
    assert other_size(CUTTERS, TOOL, seen(0.4, 0, True), lambda _: seen(0.2, 0, True)) is None
    assert other_size(CUTTERS, TOOL, seen(0.01, 0, True), lambda _: seen(0.0, 0, True)) is None
    # A drill's diameter is not all that its shape depends on.
    assert other_size(CUTTERS, TOOL, seen(0.4, 2, True), lambda _: seen(0.0, 0, True)) is None


@pytest.mark.parametrize(("cutters", "likely"), [(CUTTERS, 4.0), ({1: CUTTERS[1]}, 3.0)])
def test_other_size__of_sizes_that_fit_alike_that_of_another_cutter_or_half(cutters, likely):
    found = other_size(cutters, TOOL, seen(0.4, 0, True), lambda _: seen(0.0, 0, True, 0.1))
    assert found.likely == likely
    assert (found.least, found.most) == (2.0, 5.0)
