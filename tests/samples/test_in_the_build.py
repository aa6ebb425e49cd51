"""The ready-made build configurations ask for what the command line knows, on three systems."""

import re
from pathlib import Path

import pytest

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
