"""The ready-made build configurations ask for what the command line knows, on three systems."""

import re
from pathlib import Path

import pytest
import yaml

from simkit.cli import main

FOLDER = Path(__file__).parents[2] / "samples" / "in_the_build"


@pytest.mark.parametrize("name", ["workflow.yml", "pipeline.yml"])
def test_configuration__asks_for_a_check_that_runs(name, tmp_path, monkeypatch, capsys):
    text = (FOLDER / name).read_text("utf-8")
    [command] = re.findall(r"simkit (check parts .*)", text)
    # Without a folder of parts the words alone are looked at: they are all known.
    monkeypatch.chdir(tmp_path)
    (tmp_path / "parts").mkdir()
    assert main(command.split()) == 2
    told = "command line: found no job.toml in the folder 'parts' or below, expected a job file"
    assert capsys.readouterr().err == f"{told}; name another folder\n"
    for system in ("linux|ubuntu", "windows", "macos"):
        assert re.search(system, text)
    assert "//" not in text  # no host is named
    kept = {"junit.xml", "simkit.sarif", "results.json"}
    assert kept <= set(re.findall(r"[a-z]+\.(?:xml|sarif|json)", text.replace(command, "")))
    assert kept == set(re.findall(r"[a-z]+\.(?:xml|sarif|json)", command))


def runs_of(name):
    """What each run of a configuration does: (system, its commands, files it keeps, its time limit)."""
    data = yaml.safe_load((FOLDER / name).read_text("utf-8"))
    if name == "workflow.yml":
        [job] = data["jobs"].values()
        commands = [step["run"] for step in job["steps"] if "run" in step]
        [kept] = [step["with"]["path"].split() for step in job["steps"] if "upload" in step.get("uses", "")]
        return [
            (system, commands, kept, job["timeout-minutes"]) for system in job["strategy"]["matrix"]["system"]
        ]
    base = data[".check"]
    hours = float(base["timeout"].removesuffix("h"))
    runs = [run for run in data.values() if isinstance(run, dict) and run.get("extends") == ".check"]
    return [(run["tags"][0], base["script"], base["artifacts"]["paths"], 60 * hours) for run in runs]


@pytest.mark.parametrize("name", ["workflow.yml", "pipeline.yml"])
def test_configuration__read_as_yaml_runs_the_check_on_three_systems(name):
    """YAML 1.1 as PyYAML reads it: indentation and quotes mean what they look like."""
    runs = runs_of(name)
    assert [system.split("-")[0].replace("ubuntu", "linux") for system, *_ in runs] == [
        "linux",
        "windows",
        "macos",
    ]
    for _, commands, kept, minutes in runs:
        install, check = commands
        assert install == "python -m pip install simkit"
        assert kept == ["junit.xml", "simkit.sarif", "results.json"]
        # A job that takes too long is told by the check, before the service ends the whole run.
        assert 60 * minutes > float(re.search(r"--most-seconds (\d+)", check)[1])


def test_configuration__results_are_kept_when_the_check_fails():
    workflow = yaml.safe_load((FOLDER / "workflow.yml").read_text("utf-8"))
    # "on" is a truth value in YAML 1.1, so the key that starts a run reads as True.
    assert workflow[True] == ["push", "pull_request"]
    steps = workflow["jobs"]["check"]["steps"]
    assert [step["if"] for step in steps if "upload" in step.get("uses", "")] == ["always()"]
    assert workflow["jobs"]["check"]["strategy"]["fail-fast"] is False
    pipeline = yaml.safe_load((FOLDER / "pipeline.yml").read_text("utf-8"))
    assert pipeline[".check"]["artifacts"]["when"] == "always"
    assert pipeline[".check"]["stage"] in pipeline["stages"]
