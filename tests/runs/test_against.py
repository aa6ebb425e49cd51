"""A result held against a stored one, and warnings that fail."""

import copy
import json
import re

import pytest

from simkit.cli import main
from simkit.errors import InputProblems
from simkit.runs.against import stored_results
from simkit.runs.judged import judged
from tests.runs.some_jobs import write_one_sided


@pytest.fixture
def two(results):
    return copy.deepcopy(results["two"])


def first(result, kind):
    return next(row for row in result["findings"] if row["kind"] == kind)


def test_against_itself__nothing_is_worse(two):
    told = judged(two, stored=two, name="r.json")
    assert told["verdict"] == {
        "status": "no worse",
        "sentence": "No worse than r.json. 4 findings known from it and no worse.",
        "exit_status": 0,
    }
    assert told["against"] == {"file": "r.json", "new": [], "worse": [], "known": [1, 2, 3, 4], "better": []}


def test_against__what_is_new_fails(two):
    stored = copy.deepcopy(two)
    gone = first(stored, "cusp")
    stored["findings"].remove(gone)
    told = judged(two, stored=stored, name="r.json")
    assert told["against"]["new"] == [gone["number"]]
    assert told["verdict"]["exit_status"] == 1
    assert told["verdict"]["sentence"] == (
        f"Worse than r.json (1 new): 1 finding to put right, the first in {gone['file']}:{gone['line']}:"
        f" {gone['message']}. 3 findings known from it and no worse."
    )


def test_against__worse_is_more_than_it_may_be_off(two):
    row = first(two, "gouge")
    for more, is_worse in ((0.005, False), (row["bound"] + 0.02, True)):
        stored = copy.deepcopy(two)
        first(stored, "gouge")["value"] = row["value"] - more
        told = judged(two, stored=stored)
        assert told["against"]["worse"] == ([row["number"]] if is_worse else [])
        assert told["verdict"]["exit_status"] == is_worse


def test_against__a_thinner_wall_is_worse(two):
    row = first(two, "gouge")
    row.update(kind="thin-wall", value=2.0, bound=0.01)
    thicker, thinner = copy.deepcopy(two), copy.deepcopy(two)
    thicker["findings"][row["number"] - 1]["value"] = 2.5
    thinner["findings"][row["number"] - 1]["value"] = 1.5
    assert judged(two, stored=thicker)["against"]["worse"] == [row["number"]]
    better = judged(two, stored=thinner)["against"]["better"]
    assert [(one["kind"], one["was"], one["now"]) for one in better] == [("thin-wall", 1.5, 2.0)]


def test_against__what_got_better_is_said(two):
    stored = copy.deepcopy(two)
    first(stored, "gouge")["value"] += 1.0
    two["findings"].remove(first(two, "cusp"))
    told = judged(two, stored=stored, name="r.json")
    assert told["verdict"]["sentence"] == (
        "No worse than r.json. 3 findings known from it and no worse. Better: 1 gone, 1 smaller."
    )
    assert {(one["kind"], one["now"] is None) for one in told["against"]["better"]} == {
        ("gouge", False),
        ("cusp", True),
    }


def test_against__a_finding_is_known_by_its_neighbours_id(two):
    stored = copy.deepcopy(two)
    row = first(two, "gouge")
    first(stored, "gouge")["id"] = row["other_ids"][0]
    first(stored, "gouge")["other_ids"] = []
    assert row["number"] in judged(two, stored=stored)["against"]["known"]


@pytest.mark.parametrize(("moved", "is_known"), [(1.9, True), (2.1, False)])
def test_against__a_finding_is_known_by_its_place(two, moved, is_known):
    stored = copy.deepcopy(two)
    row = first(two, "cusp")
    old = first(stored, "cusp")
    x, y, z = row["at"]
    old.update(id="moved", other_ids=[], at=[x + moved, y, z])
    assert (row["number"] in judged(two, stored=stored)["against"]["known"]) == is_known
    old.update(side=3 - row["side"])
    assert row["number"] in judged(two, stored=stored)["against"]["new"]


def test_against__an_accepted_one_that_counts_again_is_new(two):
    stored = copy.deepcopy(two)
    first(stored, "gouge")["severity"] = "accepted"
    assert judged(two, stored=stored)["against"]["new"] == [first(two, "gouge")["number"]]


def test_against__what_is_about_safety_fails_all_the_same(two):
    first(two, "gouge").update(kind="rapid-contact", severity="safety")
    told = judged(two, stored=copy.deepcopy(two), name="r.json")
    assert told["verdict"]["exit_status"] == 1
    assert told["verdict"]["sentence"].startswith("Not safe, as in r.json: 1 finding to put right")
    tail = "1 finding about safety stands in both and fails all the same."
    assert told["verdict"]["sentence"].endswith(tail)


def test_strict__warnings_fail(results):
    told = judged(results["no"], strict=True)
    assert told["verdict"]["status"] == "warnings"
    assert told["verdict"]["exit_status"] == 1
    row = results["no"]["findings"][0]
    assert told["verdict"]["sentence"] == (
        "Warnings, and they fail this check: 1 warning to put right, the first in top.nc:"
        f"{row['line']}: {row['message']}. The shape was not judged: the job names no target."
    )
    assert judged(told, strict=True, stored=told)["verdict"]["exit_status"] == 0
    assert results["no"]["verdict"]["exit_status"] == 0


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("value", "thick"),
        ("value", float("nan")),  # neither more nor less than anything: what got worse would pass
        ("bound", float("inf")),
        ("side", []),
        ("id", None),
        ("kind", 3),
        ("severity", []),
        ("message", None),
        ("other_ids", None),
        ("box", [1, 2]),
        ("box", [1, 2, 3, "4"]),
        ("at", 7),
    ],
)
def test_stored_result__that_holds_what_no_result_does_is_refused(key, value, two, tmp_path):
    path = tmp_path / "then.json"
    path.write_text(json.dumps(two), encoding="utf-8")
    assert stored_results(path) == [two]
    two["findings"][0][key] = value
    path.write_text(json.dumps(two), encoding="utf-8")
    with pytest.raises(InputProblems, match="holds what no result does"):
        stored_results(path)
    two["findings"][0].pop(key)
    path.write_text(json.dumps(two), encoding="utf-8")
    with pytest.raises(InputProblems, match="lacks keys"):
        stored_results(path)


def test_command__only_what_is_worse_fails(tmp_path, capsys):
    """A slab faced 0.5 mm too high is stored; as high, higher and lower is checked against it."""
    path, stored, again = write_one_sided(tmp_path), tmp_path / "then.json", tmp_path / "now.json"
    words = ["check", str(path), "--quiet", "--cell", "1"]
    assert main([*words, "--json", str(stored)]) == 1
    # Lines added in front move the finding to another line; its id stays.
    text = (tmp_path / "top.nc").read_text("utf-8")
    (tmp_path / "top.nc").write_text("(a note)\n\n" + text, encoding="utf-8")
    capsys.readouterr()
    assert main([*words, "--against", str(stored), "--sarif", str(tmp_path / "r.sarif")]) == 0
    assert capsys.readouterr().out.startswith(f"No worse than {stored}. 1 finding known from it")
    [row] = json.loads((tmp_path / "r.sarif").read_text("utf-8"))["runs"][0]["results"]
    assert (row["baselineState"], row["level"]) == ("unchanged", "note")
    write_one_sided(tmp_path, left=0.7)
    assert main([*words, "--against", str(stored), "--json", str(again)]) == 1
    assert capsys.readouterr().out.startswith(f"Worse than {stored} (1 worse): 1 finding to put right")
    assert json.loads(again.read_text("utf-8"))["against"]["worse"] == [1]
    write_one_sided(tmp_path, left=0.4)
    assert main([*words, "--against", str(stored)]) == 0
    assert re.search(r"Better: 1 smaller\.", capsys.readouterr().out)
    write_one_sided(tmp_path, left=0.0)
    assert main([*words, "--against", str(stored)]) == 0
    assert capsys.readouterr().out == (
        "Within limits: nothing to fix was found. Only side 1 was judged: no setup cuts the other."
        " Better: 1 gone.\n"
    )
