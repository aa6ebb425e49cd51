"""README says what the code does."""

import re
from pathlib import Path

from simkit.cli import main
from simkit.findings.finding import KINDS
from simkit.job.schema import markdown_table

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")


def test_readme__holds_the_table_of_job_keys():
    table = README.split("<!-- job keys -->\n")[1].split("\n<!-- end of job keys -->")[0]
    assert table == markdown_table().strip()


def test_readme__names_every_kind_that_has_a_finder():
    folder = Path(__file__).parents[1] / "simkit" / "findings"
    found = {"dowel-miss"}
    for path in folder.glob("*.py"):
        found |= set(re.findall(r'kind="([a-z-]+)"', path.read_text("utf-8")))
    rows = README.split("| finding |")[1].split("\n\n")[0]
    assert found <= set(KINDS)
    assert found == set(re.findall(r"^\| `([a-z-]+)` \|", rows, re.MULTILINE))


def test_readme__names_every_option(capsys):
    for command in ("check", "read", "whatif", "sheet", "resume", "draft", "watch"):
        assert main([command, "--help"]) == 0
        options = set(re.findall(r"--[a-z-]+", capsys.readouterr().out)) - {"--help"}
        assert options <= set(re.findall(r"--[a-z-]+", README))


def test_readme__paths_exist():
    root = Path(__file__).parents[1]
    for path in re.findall(r"(?<![\w/])samples/[\w./-]+", README):
        assert (root / path.rstrip(".")).exists(), path


def test_readme__carries_the_cautions():
    for words in ("simulation is no proof", "eye and ear", "dust", "clamps", "manual", "local codes"):
        assert words in README
