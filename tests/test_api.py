"""simkit from Python, its examples in README, and the pytest plugin."""

import dataclasses
import doctest
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

import simkit
from simkit.cli import main
from simkit.report.schema import as_data
from tests.runs.some_jobs import write_one_sided, write_two_sided

README = Path(__file__).parents[1] / "README.md"


@pytest.fixture(scope="module")
def job_file(tmp_path_factory):
    return write_two_sided(tmp_path_factory.mktemp("api"))


@pytest.fixture(scope="module")
def result(job_file):
    return simkit.load(job_file).check(cell=0.5)


def test_result__is_what_the_command_line_writes(job_file, result, tmp_path):
    for kind in ("json", "junit", "sarif"):
        words = ["check", str(job_file), "--cell", "0.5", "--quiet", f"--{kind}", str(tmp_path / f"a.{kind}")]
        assert main(words) == 1
        getattr(simkit, f"write_{kind}")(tmp_path / f"b.{kind}", result)
    data, mine = (json.loads((tmp_path / name).read_text("utf-8")) for name in ("a.json", "b.json"))
    assert data | {"timings": 0} == mine | {"timings": 0}
    assert list(data) == list(mine)
    assert (tmp_path / "a.sarif").read_bytes() == (tmp_path / "b.sarif").read_bytes()
    times = re.compile(rb'time="[0-9.]+"')
    assert times.sub(b"", (tmp_path / "a.junit").read_bytes()) == times.sub(
        b"", (tmp_path / "b.junit").read_bytes()
    )


def test_result__cannot_be_changed(result):
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.findings[0].value = 0.0
    with pytest.raises(TypeError):
        result.timings["total"] = 0.0
    assert isinstance(result.findings, tuple)


def test_result__tells_what_fails(result):
    assert not result.passed
    assert [row.number for row in result.failing] == [1, 2, 3, 4]
    assert {row.severity for row in result.failing} == {"beyond"}
    assert [row.kind for row in result.of_kind("gouge", "cusp")] == ["gouge"] * 3 + ["cusp"]


def test_against__a_result_or_its_file(job_file, result, tmp_path):
    simkit.write_json(tmp_path / "r.json", result)
    for stored in (result, tmp_path / "r.json"):
        again = simkit.load(job_file).check(cell=0.5, against=stored)
        assert again.passed
        assert again.failing == ()
        assert again.against.known == (1, 2, 3, 4)
    assert not simkit.load(job_file).check(cell=0.5, against=result, strict=True).against.new


def test_check_jobs__results_and_what_could_not_be_checked(job_file, result, tmp_path):
    broken = write_one_sided(tmp_path)
    (tmp_path / "part.stl").unlink()
    told = simkit.check_jobs([job_file, broken], cell=0.5, jobs=1)
    assert as_data(told[0]) | {"timings": 0} == as_data(result) | {"timings": 0}
    assert (told[1].status, told[1].exit_status, told[1].passed) == ("cannot be used", 2, False)
    assert told[1].problems[0].key == "target.mesh"
    simkit.write_json(tmp_path / "all.json", told)
    assert [one["form"] for one in json.loads((tmp_path / "all.json").read_text("utf-8"))] == [
        "simkit result",
        "simkit unchecked",
    ]


def test_other_commands__are_there_too(job_file):
    job = simkit.load(job_file)
    assert repr(job) == "<simkit.Job 'tray, two sides', 2 setups>"
    assert job.sheet()["form"] == "simkit sheet"
    changed = job.what_if(shift=["above=0.5,0"], cell=1.0)
    assert changed["form"] == "simkit whatif"
    assert changed["changed"]["verdict"]["exit_status"] == 1
    words = [job.what_if(thickness=more, cell=1.0)["change"] for more in (0.25, "0.25", 1)]
    assert words[0] == words[1] != words[2]
    with pytest.raises(simkit.InputProblems, match="a job with a step to a thickness"):
        job.what_if(planed=["1=0.1"], cell=1.0)
    assert simkit.read(job_file.parent / "above.nc")["moves"] > 20
    assert job.resume("above.nc:20", cell=1.0)["form"] == "simkit resume"
    assert simkit.job_schema()["title"].startswith("A job file")
    assert "[blank]" in simkit.template()


def test_pictures_report_and_film__are_files_where_they_are_wanted(job_file, result, tmp_path):
    job = simkit.load(job_file)
    page, film = tmp_path / "report.html", tmp_path / "cutting.gif"
    checked = job.check(cell=1.0, report=page, sections=["2,2 to 30,20"], strict=True)
    assert not checked.passed
    assert checked.verdict.sentence.split(":")[0] in page.read_text("utf-8")
    text = page.read_text("utf-8")
    assert text.count("<figcaption>Cut open along the line that was asked for.") == 1
    assert text.count('alt="Section along a line"') == 1
    with pytest.raises(simkit.InputProblems, match="found '2,2', expected X,Y to X,Y"):
        job.check(sections=["2,2"])
    job.film(film, steps=4, cell=1.0)
    assert film.read_bytes()[:6] == b"GIF89a"
    with pytest.raises(simkit.InputProblems, match="a whole number from 2 to 400"):
        job.film(film, steps=1)
    with pytest.raises(simkit.InputProblems, match="make the folder first"):
        job.check(report=tmp_path / "none" / "report.html")


def test_draft__writes_a_job_file_with_blanks(job_file, tmp_path):
    (tmp_path / "above.nc").write_bytes((job_file.parent / "above.nc").read_bytes())
    path = simkit.draft_job(tmp_path)
    assert path == tmp_path / "job.toml"
    assert '"?"' in path.read_text("utf-8")
    with pytest.raises(simkit.InputProblems, match="already there"):
        simkit.draft_job(tmp_path)
    assert simkit.draft_job(tmp_path, replace=True) == path


def test_watch__yields_each_check(tmp_path, capsys):
    path = write_one_sided(tmp_path, left=0.0)
    text = path.read_text("utf-8")
    looks = simkit.watch(path, 1.0, seconds=0.0)
    where, words, first = next(looks)
    assert (where, words, first.passed) == (path, first.verdict.sentence, True)
    path.write_text(text.replace("width", "widht"), encoding="utf-8")
    _, words, second = next(looks)
    assert isinstance(second, simkit.Unchecked)
    assert "widht" in second.problems[0].found
    path.write_text(text, encoding="utf-8")
    _, words, third = next(looks)
    assert words.startswith("can be used again; nothing new, worse, better or gone.")
    assert third.passed
    assert capsys.readouterr() == ("", "")
    with pytest.raises(simkit.InputProblems, match="no folder"):
        next(simkit.watch(tmp_path / "none"))


def test_input_that_cannot_be_used__is_told_with_its_place(tmp_path):
    path = write_one_sided(tmp_path)
    path.write_text(path.read_text("utf-8").replace("width", "widht"), encoding="utf-8")
    with pytest.raises(simkit.InputProblems) as raised:
        simkit.load(path)
    assert raised.value.problems[0].place.line == 3


def test_module__offers_what_it_names_and_nothing_else():
    for name in simkit.__all__:
        assert getattr(simkit, name) is not None
        assert name in dir(simkit)
    with pytest.raises(AttributeError, match="no attribute 'chek'"):
        simkit.chek  # noqa: B018


def test_readme__examples_run(tmp_path, monkeypatch):
    """The Python of README, in a folder with the smallest program that README shows."""
    text = README.read_text("utf-8")
    [program] = re.findall(r"```\n(G21 G90\n.*?M30\n)```", text, re.DOTALL)
    (tmp_path / "first.nc").write_text(program, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"```pycon\n(.*?)```", text, re.DOTALL)
    assert len(blocks) >= 1
    test = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, "README.md", str(README), 0)
    told = []
    doctest.DocTestRunner(verbose=False).run(test, out=told.append)
    assert "".join(told) == ""
    assert test.examples


# -- the pytest plugin ---------------------------------------------------------------------------


def run_pytest(folder, *words):
    words = [sys.executable, "-m", "pytest", "-p", "simkit.pytest_plugin", "-p", "no:cacheprovider", *words]
    return subprocess.run(words, cwd=folder, capture_output=True, text=True, encoding="utf-8")


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """A folder of two jobs, one of them beyond its limits, and a test in plain Python."""
    folder = tmp_path_factory.mktemp("project")
    write_one_sided(folder / "good", left=0.0)
    write_one_sided(folder / "bad")
    (folder / "test_parts.py").write_text(
        "def test_nothing_is_cut_into_the_part(simkit_check):\n"
        "    result = simkit_check('bad/job.toml', cell=1)\n"
        "    assert not result.of_kind('gouge')\n"
        "    assert simkit_check('bad/job.toml', cell=1) is result\n",
        encoding="utf-8",
    )
    return folder


def test_plugin__does_nothing_unless_asked(project):
    (project / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    done = run_pytest(project, "--collect-only", "-q")
    assert done.returncode == 0
    assert "job.toml" not in done.stdout


def test_plugin__job_files_are_tests(project):
    (project / "pytest.ini").write_text("[pytest]\nsimkit_cell = 1\n", encoding="utf-8")
    done = run_pytest(project, "--simkit", "-v", "-rA")
    assert done.returncode == 1
    assert "2 passed" in done.stdout
    assert "1 failed" in done.stdout
    assert re.search(r"top\.nc:\d+: leftover-program: 0\.50 mm left standing", done.stdout)
    assert "Traceback" not in done.stdout


def test_plugin__the_configuration_names_jobs(project):
    (project / "pytest.ini").write_text(
        "[pytest]\nsimkit_cell = 1\nsimkit_jobs = g*/job.toml\n", encoding="utf-8"
    )
    done = run_pytest(project, "-q")
    assert done.returncode == 0, done.stdout
    assert "2 passed" in done.stdout


def test_plugin__a_job_that_cannot_be_used_is_told_in_its_own_words(tmp_path):
    """Also through the fixture: the line of the test and the problem, nothing of what lies between."""
    path = write_one_sided(tmp_path)
    path.write_text(path.read_text("utf-8").replace("width", "widht"), encoding="utf-8")
    (tmp_path / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    (tmp_path / "test_it.py").write_text(
        "def test_it(simkit_check):\n    simkit_check('job.toml')\n", encoding="utf-8"
    )
    done = run_pytest(tmp_path, "-q")
    assert done.returncode == 1
    assert re.search(r"job\.toml:3:1 \[blank\.widht\]: found the unknown key", done.stdout), done.stdout
    assert "reader.py" not in done.stdout
    assert len(done.stdout.splitlines()) < 25
