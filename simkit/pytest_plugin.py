"""Job files as tests, and a fixture to write assertions on a job.  Does nothing unless it is asked to.

Jobs are collected with the option --simkit (every job.toml), or where the configuration names them:
`simkit_jobs = parts/*/job.toml`; `simkit_cell` and `simkit_strict` say how they are checked.
"""

from __future__ import annotations

from fnmatch import fnmatch
from pathlib import Path

import pytest

_CACHE = pytest.StashKey[dict]()


def pytest_addoption(parser) -> None:
    """Add the option and the keys of the configuration."""
    parser.getgroup("simkit").addoption(
        "--simkit", action="store_true", help="collect every job.toml as a test of its job"
    )
    parser.addini("simkit_jobs", "job files to collect as tests, from the root folder", "args", [])
    parser.addini("simkit_cell", "edge of a field cell, mm", default="0.2")
    parser.addini("simkit_strict", "warnings fail", "bool", False)


def pytest_collect_file(file_path: Path, parent):
    """Collect a job file, if that is asked for."""
    config = parent.config
    if file_path.suffix != ".toml":
        return None
    patterns = config.getini("simkit_jobs")
    try:
        name = file_path.relative_to(config.rootpath).as_posix()
    except ValueError:
        name = file_path.as_posix()
    is_named = any(fnmatch(name, pattern) for pattern in patterns)
    if is_named or (config.getoption("simkit") and file_path.name == "job.toml"):
        return JobFile.from_parent(parent, path=file_path)
    return None


class JobFile(pytest.File):
    """A job file; its one test is that the job stays within its limits."""

    def collect(self):
        """Return the test."""
        yield JobItem.from_parent(self, name="within limits")


class JobItem(pytest.Item):
    """The check of a job."""

    def runtest(self) -> None:
        """Check the job; fail with what is to fix."""
        result = _checked(self.config, self.path)
        if not result.passed:
            raise BeyondLimits(result)

    def repr_failure(self, excinfo) -> str:
        """Return what a person should read."""
        from simkit.errors import InputProblems

        if isinstance(excinfo.value, BeyondLimits | InputProblems):
            return str(excinfo.value)
        return super().repr_failure(excinfo)

    def reportinfo(self):
        """Return where the test is, and its name."""
        return self.path, 0, f"{self.path.name}: {self.name}"


class BeyondLimits(Exception):
    """A job failed its check."""

    def __init__(self, result):
        lines = [result.verdict.sentence]
        for row in result.failing:
            where = f"{row.file}:{row.line}: " if row.line else ""
            lines.append(f"{where}{row.kind}: {row.message}. {row.advice}")
        super().__init__("\n".join(lines))


@pytest.fixture
def simkit_check(request):
    """A function that checks a job file and returns its result: simkit_check("job.toml", cell=0.5).

    Paths count from the folder of the test; a job is checked once for all tests that ask the same.
    """

    def check(path: Path | str, cell: float | None = None, **options):
        __tracebackhide__ = True  # a bad job is told by its own words, on the line of the test that asked
        from simkit.errors import InputProblems

        try:
            return _checked(request.config, request.path.parent / path, cell, **options)
        except InputProblems as problems:
            raise problems.with_traceback(None) from None

    return check


def _checked(config, path: Path, cell: float | None = None, **options):
    from simkit import load

    if cell is None:
        cell = float(config.getini("simkit_cell"))
    options = {"strict": config.getini("simkit_strict")} | options
    done = config.stash.setdefault(_CACHE, {})
    key = (str(path), cell, repr(sorted(options.items())))
    if key not in done:
        done[key] = load(path).check(cell, **options)
    return done[key]
