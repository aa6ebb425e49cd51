"""Results of several small jobs, checked once for all tests here."""

import json

import pytest

from simkit.cli import main
from tests.runs.some_jobs import write_one_sided, write_two_sided, write_without_target


@pytest.fixture(scope="session")
def checked(tmp_path_factory):
    """The folder of three jobs, and what a check of each wrote: name -> folder / name.json, and so on."""
    folder = tmp_path_factory.mktemp("jobs")
    jobs = {
        "two": write_two_sided(folder / "two"),
        "one": write_one_sided(folder / "one"),
        "no": write_without_target(folder / "no"),
    }
    for name, path in jobs.items():
        words = ["check", str(path), "--quiet", "--cell", "0.5"]
        for kind in ("json", "junit", "sarif"):
            words += [f"--{kind}", str(folder / f"{name}.{kind}")]
        assert main(words) == (0 if name == "no" else 1)
    return folder


@pytest.fixture(scope="session")
def results(checked):
    """The results of the three jobs as plain data, by name."""
    return {name: json.loads((checked / f"{name}.json").read_text("utf-8")) for name in ("two", "one", "no")}
