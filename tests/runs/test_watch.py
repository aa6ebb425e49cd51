"""A watched job: checked again when a file has changed and stands still, with one line on what changed."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from simkit.cli import main
from simkit.runs.options import Wish
from simkit.runs.watch import Watcher, told, watch
from simkit.runs.watched_files import changed_names, files_of, state_of
from tests.small_job import HEAD, JOB, block

# The part: 40 x 30, 8 high, so a pass over all of it at Z8 leaves nothing.  The blank is 12 high.
GOOD = HEAD + "".join(f"G0 X-4 Y{y}\nG1 Z8 F500\nX44 F2000\nG0 Z20\n" for y in range(0, 33, 4))
END = "M5\nM30\n"
DEEP = "G0 X20 Y15\nG1 Z{z} F300\nG0 Z20\n"


@pytest.fixture
def job(tmp_path):
    block(0, 40, 0, 30, 0, 8).export(tmp_path / "part.stl")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    write(tmp_path, "")
    return tmp_path / "job.toml"


def write(folder, more):
    """Write the program with a later time than before, whatever the clock of the file system tells."""
    path = folder / "top.nc"
    then = path.stat().st_mtime_ns if path.exists() else time.time_ns()
    path.write_text(GOOD + more + END, encoding="utf-8")
    os.utime(path, ns=(then + 10**9, then + 10**9))


def lines_of(capsys):
    return [line.partition(" ")[2] for line in capsys.readouterr().out.splitlines()]


def test_watch__tells_what_is_new_worse_better_and_gone(job, capsys):
    watcher = Watcher(job, 0.5, Wish(json=job.with_name("r.json")))

    def status():
        return json.loads(job.with_name("r.json").read_text("utf-8"))["verdict"]["exit_status"]

    watcher.look()
    assert lines_of(capsys) == [f"{job}: Within limits: nothing to fix was found. {_SIDE}"]
    assert status() == 0
    expected = ((7.5, "1 new. "), (6.5, "1 worse. "), (7.0, "1 better. "))
    for height, words in expected:
        write(job.parent, DEEP.format(z=height))
        watcher.look()
        assert lines_of(capsys) == []  # it may still be being written
        watcher.look()
        (line,) = lines_of(capsys)
        assert line.startswith(f"{job} (top.nc changed): {words}Beyond limits: ")
        assert status() == 1
    write(job.parent, "")
    watcher.look()
    watcher.look()
    assert lines_of(capsys) == [
        f"{job} (top.nc changed): 1 gone. Within limits: nothing to fix was found. {_SIDE}"
    ]
    watcher.look()
    assert lines_of(capsys) == []


_SIDE = "Only side 1 was judged: no setup cuts the other."


def test_watch__waits_until_a_file_stands_still(job, capsys):
    watcher = Watcher(job, 0.5, Wish())
    watcher.look()
    lines_of(capsys)
    for k in range(4):
        write(job.parent, f"(part {k})\n")
        watcher.look()
        assert lines_of(capsys) == []
    watcher.look()
    (line,) = lines_of(capsys)
    assert line == f"{job} (top.nc changed): nothing new, worse, better or gone. {_within()}"


def _within():
    return f"Within limits: nothing to fix was found. {_SIDE}"


def test_watch__goes_on_after_bad_files(job, capsys):
    watcher = Watcher(job, 0.5, Wish(json=job.with_name("r.json")))
    watcher.look()
    write(job.parent, "G1 X1O.5\n")
    watcher.look()
    watcher.look()
    err = capsys.readouterr().err
    number = len((GOOD).splitlines()) + 1
    assert err.splitlines()[-1].startswith(f"top.nc:{number}:4: found 'X1O.5'")
    assert json.loads(job.with_name("r.json").read_text("utf-8"))["form"] == "simkit unchecked"
    write(job.parent, "")
    watcher.look()
    watcher.look()
    (line,) = lines_of(capsys)
    assert line == (
        f"{job} (top.nc changed): can be used again; nothing new, worse, better or gone. {_within()}"
    )
    # The job file half-written: told, and its files are those it named before.
    text = job.read_text("utf-8")
    job.write_text(text[: text.index("programs") + 4], encoding="utf-8")
    watcher.look()
    watcher.look()
    assert "job.toml:" in capsys.readouterr().err
    job.write_text(text, encoding="utf-8")
    watcher.look()
    watcher.look()
    (line,) = lines_of(capsys)
    assert "(job.toml changed): can be used again; nothing new" in line


def test_watch__a_job_that_is_gone_and_comes_back(job, capsys):
    watcher = Watcher(job.parent, 0.5, Wish(json=job.parent / "r.json"))
    watcher.look()
    assert len(lines_of(capsys)) == 1
    text = job.read_text("utf-8")
    job.unlink()
    watcher.look()
    assert lines_of(capsys) == [f"{job}: is gone; it is checked again when it comes back"]
    assert json.loads((job.parent / "r.json").read_text("utf-8")) == []
    job.write_text(text, encoding="utf-8")
    watcher.look()
    (line,) = lines_of(capsys)
    assert line.startswith(f"{job}: can be used again; nothing new")
    assert isinstance(json.loads((job.parent / "r.json").read_text("utf-8")), list)


def test_watch__a_single_job_that_is_gone_cannot_be_used(job, capsys):
    watcher = Watcher(job, 0.5, Wish(json=job.with_name("r.json")))
    watcher.look()
    text = job.read_text("utf-8")
    job.unlink()
    for _ in range(3):
        watcher.look()
    told = capsys.readouterr()
    assert told.err.startswith(f"{job}: found no file at '")
    assert f"{job} (job.toml changed): Not checked: " in told.out
    assert json.loads(job.with_name("r.json").read_text("utf-8"))["form"] == "simkit unchecked"
    job.write_text(text, encoding="utf-8")
    watcher.look()
    watcher.look()
    (line,) = lines_of(capsys)
    assert "(job.toml changed): can be used again; nothing new" in line


def test_watch__a_fault_of_its_own_ends_nothing(job, capsys, monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    watcher = Watcher(job, 0.5, Wish())
    with monkeypatch.context() as broken:
        broken.setattr("simkit.runs.one.kept", lambda *_: 1 / 0)
        watcher.look()
    (line,) = lines_of(capsys)
    assert line.startswith(f"{job}: A fault of simkit itself, not of your input; please send the file ")
    write(job.parent, "")
    watcher.look()
    watcher.look()
    (line,) = lines_of(capsys)
    assert line == f"{job} (top.nc changed): {_within()}"


def test_watch__writes_the_report_anew(job, capsys):
    page = job.with_name("r.html")
    watcher = Watcher(job, 0.5, Wish(report=page))
    watcher.look()
    assert "Within limits" in page.read_text("utf-8")
    write(job.parent, DEEP.format(z=7))
    watcher.look()
    watcher.look()
    assert "Beyond limits" in page.read_text("utf-8")
    lines_of(capsys)


def test_watch__a_mesh_counts_too(job, capsys):
    watcher = Watcher(job, 0.5, Wish())
    watcher.look()
    lines_of(capsys)
    block(0, 40, 0, 30, 0, 7).export(job.with_name("part.stl"))
    os.utime(job.with_name("part.stl"), ns=(time.time_ns() + 10**9,) * 2)
    watcher.look()
    watcher.look()
    (line,) = lines_of(capsys)
    assert line.startswith(f"{job} (part.stl changed): 1 new. Beyond limits: ")


def test_watch__ends_only_by_an_interruption(job, capsys):
    waited = []

    def sleep(seconds):
        waited.append(seconds)
        if len(waited) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        watch(Watcher(job, 0.5, Wish()), 0.25, sleep)
    assert waited == [0.25] * 3
    assert len(lines_of(capsys)) == 1


@pytest.mark.skipif(os.name == "nt", reason="an interruption cannot be sent to one process there")
def test_watch__ctrl_c_ends_it_at_once(job):
    words = [sys.executable, "-m", "simkit", "watch", str(job), "--cell", "0.5", "--interval", "60"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert "Within limits" in running.stdout.readline()
        time.sleep(0.3)
        started = time.monotonic()
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=20)
        assert time.monotonic() - started < 10
    assert running.returncode == 130
    assert err.splitlines()[-1] == "stopped; nothing half-written is left"


def test_watch__refuses_what_it_cannot_watch(tmp_path, capsys):
    assert main(["watch", str(tmp_path)]) == 2
    assert capsys.readouterr().err == (
        f"command line: found no job.toml in the folder '{tmp_path}' or below, expected a job file; "
        "name another folder\n"
    )
    assert main(["watch", str(tmp_path / "job.toml")]) == 2
    assert "correct the path, or let simkit draft write one" in capsys.readouterr().err
    assert main(["watch", str(tmp_path / "nowhere")]) == 2
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    assert main(["watch", str(tmp_path), "--report", str(tmp_path / "r.html")]) == 2
    assert "--report for a folder" in capsys.readouterr().err
    assert main(["watch", str(tmp_path), "--interval", "fast"]) == 2
    assert capsys.readouterr().err.splitlines()[-1] == (
        "command line [--interval]: found 'fast', expected seconds from 0.1 to 3600; "
        "write it like --interval 2"
    )


def test_files__are_those_the_job_names(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    named = (path, tmp_path / "top.nc", tmp_path / "part.stl")
    assert files_of(path) == named
    path.write_text("[blank\n", encoding="utf-8")
    assert files_of(path, named) == named
    assert files_of(path) == (path,)
    path.write_text('setups = [1, {programs = ["a\\u0000b", 2]}]\ntarget = 1\n', encoding="utf-8")
    files = files_of(path)
    assert [one.name for one in files] == ["job.toml", "a\0b"]
    state = state_of(files)
    assert state[files[1]] is None
    assert state[path] == (path.stat().st_mtime_ns, path.stat().st_size)
    assert changed_names(state, {path: (0, 0)}) == ["job.toml"]


def test_files__of_a_jig_count_too(tmp_path):
    path, jig = tmp_path / "job.toml", tmp_path / "jig" / "job.toml"
    path.write_text('[[setups]]\nprograms = ["a.nc"]\njig = "jig/job.toml"\n', encoding="utf-8")
    jig.parent.mkdir()
    jig.write_text('[[setups]]\nprograms = ["b.nc"]\njig = "c.toml"\n', encoding="utf-8")
    a, b, c = tmp_path / "a.nc", jig.parent / "b.nc", jig.parent / "c.toml"
    assert files_of(path) == (path, a, jig, b, c)


def test_told__of_a_job_that_never_could_be_checked():
    record = {"form": "simkit unchecked", "sentence": "Not checked: 2 problems."}
    assert told(record, None, None) == "Not checked: 2 problems."
