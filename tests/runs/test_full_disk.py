"""A disk that is full, wherever something is to be written: told with a true exit status, never a fault."""

import errno
import os
import subprocess
import sys

import numba.core.caching
import pytest

from simkit import cache
from simkit._jit import entry_kernel
from simkit.cli import main
from simkit.report.shown import shown
from tests.runs.some_jobs import write_one_sided

CELL = ["--cell", "1", "--quiet"]
has_full_device = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
NO_SPACE = os.strerror(errno.ENOSPC)


def no_space(*_):
    raise OSError(errno.ENOSPC, NO_SPACE)


def run(*words, **streams):
    """The command in a process of its own; a stream that is not given is read."""
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | streams
    return subprocess.run([sys.executable, "-m", "simkit", *words], **pipes, text=True, encoding="utf-8")


@has_full_device
@pytest.mark.parametrize("command", ["template", "schema", "sheet", "check", "several"])
def test_standard_output__that_cannot_be_written_is_told_and_no_verdict(command, tmp_path):
    job = str(write_one_sided(tmp_path, left=0.0))
    words = {"schema": ["schema", "job"], "sheet": ["sheet", job], "check": ["check", job, *CELL]}
    words["several"] = ["check", job, str(write_one_sided(tmp_path / "b", left=0.0)), *CELL]
    with open("/dev/full", "w") as full:
        done = run(*words.get(command, [command]), stdout=full)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == (
        f"standard output: found '{NO_SPACE}', expected a place that can be written; "
        "free some space, or send it elsewhere"
    )
    assert "Traceback" not in done.stderr


@has_full_device
def test_standard_error__that_cannot_be_written_leaves_the_status_true(tmp_path):
    """Python's own status for an error that cannot be told is 1, which would be a verdict here."""
    with open("/dev/full", "w") as full:
        assert run("check", "no.toml", stderr=full).returncode == 2
        several = [str(write_one_sided(tmp_path / name, left=0.0)) for name in "ab"]
        done = run("check", *several, "--cell", "1", stderr=full)
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1] == "2 jobs: 2 within limits."


@pytest.mark.skipif(os.name != "posix", reason="closes a stream as a POSIX shell does")
def test_streams__that_are_closed_leave_the_status_true():
    words = [sys.executable, "-m", "simkit"]
    for closed, command, status in ((">&-", ["template"], 0), ("2>&-", ["check", "no.toml"], 2)):
        done = subprocess.run(["/bin/sh", "-c", f'"$@" {closed}', "sh", *words, *command])
        assert done.returncode == status


def test_shown__what_fails_only_when_flushed_is_told_too(monkeypatch, capfd):
    monkeypatch.setattr("simkit.report.shown._let_go", lambda: None)
    assert shown(lambda: sys.stdout.write("words\n"))
    assert capfd.readouterr().out == "words\n"
    monkeypatch.setattr(sys, "stdout", type("Full", (), {"flush": no_space})())
    with pytest.raises(Exception, match="free some space"):
        shown(lambda: None)


def test_kernel__that_cannot_be_stored_is_used_and_not_taken_for_stored(tmp_path, monkeypatch):
    monkeypatch.setattr(cache, "_has_lost", False)
    monkeypatch.setattr(cache, "CACHE_FOLDER", tmp_path)
    cache.mark_warm()
    assert not cache.is_cold()
    (tmp_path / cache.CHECKING).unlink()
    monkeypatch.setattr(numba.core.caching.IndexDataCacheFile, "save", no_space)

    @entry_kernel
    def twice(number):
        return 2 * number

    assert twice(21) == 42
    cache.mark_warm()
    assert cache.is_cold()


def test_workers__without_a_place_for_their_last_words_check_all_the_same(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("tempfile.TemporaryFile", no_space)
    jobs = [str(write_one_sided(tmp_path / name, left=0.0)) for name in "ab"]
    assert main(["check", *jobs, *CELL]) == 0
    assert capsys.readouterr().out == "2 jobs: 2 within limits.\n"


def test_pictures_and_report__on_a_full_disk_are_told(tmp_path, monkeypatch, capsys):
    job = str(write_one_sided(tmp_path / "job", left=0.0))
    wishes = {"--report": tmp_path / "r.html", "--pictures": tmp_path / "p"}
    monkeypatch.setattr(os, "replace", no_space)
    for option, path in wishes.items():
        assert main(["check", job, *CELL, option, str(path)]) == 2
        assert f"[{option}]: found '{NO_SPACE}'" in capsys.readouterr().err
    assert not wishes["--report"].exists()
    assert list(wishes["--pictures"].iterdir()) == []
