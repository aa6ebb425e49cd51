"""Kept results: whole or not at all, two at once, and what makes another one."""

import gzip
import os
import threading
import time

import pytest

from simkit.job.reader import read_job
from simkit.runs import kept
from tests.runs.some_jobs import write_one_sided


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.setenv("SIMKIT_KEEP", "yes")
    monkeypatch.setattr(kept, "cache_home", lambda: tmp_path / "cache")
    return write_one_sided(tmp_path / "job")


def key(path, cell=0.5):
    return kept.key_of(read_job(path), cell)


def test_key__follows_everything_that_matters(job, monkeypatch):
    first = key(job)
    seen = {first, key(job, 0.25)}
    for name, old, new in (
        ("top.nc", b"F600", b"F601"),
        ("part.stl", b"solid", b"SOLID"),
        ("job.toml", b"gouge = 0.1", b"gouge = 0.2"),
    ):
        path = job.parent / name
        before = path.read_bytes()
        changed = before.replace(old, new) if old in before else before[:80] + b"\1" + before[81:]
        path.write_bytes(before[:1] + b"x" + before[2:] if name == "part.stl" else changed)
        seen.add(key(job))
        path.write_bytes(before)
        assert key(job) == first
    monkeypatch.setattr(kept, "_setting", lambda: "another version of simkit, or of a package")
    seen.add(key(job))
    assert len(seen) == 6


def test_key__follows_a_jig_and_its_programs(job):
    jig = write_one_sided(job.parent / "jig")
    without = key(job)
    text = job.read_text("utf-8").replace("programs =", 'jig = "jig/job.toml"\nprograms =', 1)
    job.write_text(text, encoding="utf-8")
    seen = {without, key(job)}
    for path, old, new in ((jig.parent / "top.nc", b"F600", b"F601"), (jig, b"length", b"length  ")):
        before = path.read_bytes()
        path.write_bytes(before.replace(old, new, 1))
        seen.add(key(job))
        path.write_bytes(before)
    jig.write_text(jig.read_text("utf-8").replace("thickness = ", "thickness = 1"), encoding="utf-8")
    seen.add(key(job))
    (jig.parent / "top.nc").unlink()
    assert key(job) is None
    assert len(seen) == 4  # a space in the jig's job file changes nothing


def test_key__none_when_nothing_is_to_be_kept_or_a_file_is_gone(job, monkeypatch):
    good = read_job(job)
    (job.parent / "top.nc").unlink()
    assert kept.key_of(good, 0.5) is None
    monkeypatch.setenv("SIMKIT_KEEP", "no")
    assert key(write_one_sided(job.parent)) is None


def test_kept__comes_back_as_it_was(job):
    held = {"form": "simkit result", "remarks": ["Lövträ 木", "half a pair \ud800"], "cell": 0.1}
    assert kept.kept_result("a" * 64) is None
    kept.keep_result("a" * 64, held)
    assert kept.kept_result("a" * 64) == held


HALF = {
    "empty": b"",
    "only its first bytes": b"\x1f\x8b",
    "not packed": b"nothing",
    "no key": gzip.compress(b"{}"),
    "of another": gzip.compress(b'{"key": "b", "result": {}}'),
    "no table": gzip.compress(b"[1]"),
    "no text": gzip.compress(b"\xff"),
}


@pytest.mark.parametrize("name", HALF)
def test_kept__what_is_half_written_or_another_counts_as_not_there(job, tmp_path, name):
    kept.keep_result("a" * 64, {"cell": 1})
    [path] = (tmp_path / "cache" / "results").iterdir()
    path.write_bytes(HALF[name])
    assert kept.kept_result("a" * 64) is None
    whole = gzip.compress(b'{"key": "' + b"a" * 64 + b'", "result": {"cell": 1}}')
    for end in range(0, len(whole), 7):
        path.write_bytes(whole[:end])
        assert kept.kept_result("a" * 64) is None
    path.write_bytes(whole)
    assert kept.kept_result("a" * 64) == {"cell": 1}


def test_kept__a_folder_that_cannot_be_written_keeps_none(job, tmp_path):
    (tmp_path / "cache").write_text("a file where the folder should be", encoding="utf-8")
    kept.keep_result("a" * 64, {"cell": 1})
    assert kept.kept_result("a" * 64) is None


def test_kept__a_full_disk_leaves_nothing_half_written(job, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    kept.keep_result("a" * 64, {"cell": 1})
    assert list((tmp_path / "cache" / "results").iterdir()) == []


def test_kept__runs_at_once_see_whole_results_only(job):
    big = {"along": list(range(20_000))}
    seen, ended = [], threading.Event()

    def look():
        while not ended.is_set():
            seen.append(kept.kept_result("a" * 64))

    def write():
        for _ in range(15):
            kept.keep_result("a" * 64, big)

    threads = [threading.Thread(target=write) for _ in range(2)]
    watcher = threading.Thread(target=look)
    watcher.start()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    ended.set()
    watcher.join()
    assert kept.kept_result("a" * 64) == big
    assert all(one is None or one == big for one in seen)


def test_kept__old_ones_and_the_oldest_of_too_many_go(job, tmp_path, monkeypatch):
    monkeypatch.setattr(kept, "MOST_FILES", 3)
    folder = tmp_path / "cache" / "results"
    for number in range(5):
        kept.keep_result(f"{number}" * 64, {"cell": number})
        used = time.time() - 1000 + number
        os.utime(folder / f"{str(number) * 64}.json.gz", (used, used))
    kept.keep_result("9" * 64, {"cell": 9})
    assert sorted(path.name[0] for path in folder.iterdir()) == ["3", "4", "9"]
    os.utime(folder / f"{'4' * 64}.json.gz", (1.0, 1.0))
    kept.keep_result("9" * 64, {"cell": 9})
    assert sorted(path.name[0] for path in folder.iterdir()) == ["3", "9"]
