"""What other systems do otherwise, as far as one can stand in for them: names, open files, letters."""

import json
import ntpath
import os
import subprocess
import sys
from pathlib import Path

import pytest

from simkit.cache import CACHE_FOLDER
from simkit.cli import main
from simkit.job import files
from simkit.report import whole_file
from simkit.runs.against import stored_for
from simkit.runs.found import job_paths
from simkit.runs.many import LONGEST_NAME, picture_folders
from simkit.runs.outputs import schema_text
from tests.runs.some_jobs import write_one_sided, write_two_sided


@pytest.mark.parametrize(("busy", "is_written"), [(3, True), (10**6, False)])
def test_output__waits_a_moment_for_a_file_that_is_open_elsewhere(busy, is_written, tmp_path, monkeypatch):
    """Windows renames nothing over an open file; a scanner holds it for a moment, a viewer for long."""
    replace, left = os.replace, [busy]

    def held(*paths):
        left[0] -= 1
        if left[0] >= 0:
            raise PermissionError(13, "Access is denied")
        replace(*paths)

    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(os, "replace", held)
    monkeypatch.setattr(whole_file, "_PAUSE", 0.001)
    path = tmp_path / "r.json"
    path.write_bytes(b"before")
    if is_written:
        whole_file.put_whole(path, b"after")
    else:
        with pytest.raises(PermissionError):
            whole_file.put_whole(path, b"after")
    assert path.read_bytes() == (b"after" if is_written else b"before")
    assert [one.name for one in tmp_path.iterdir()] == ["r.json"]


def test_output__that_may_not_be_written_is_told_at_once_elsewhere(tmp_path, monkeypatch):
    tries = []

    def refused(*paths):
        tries.append(paths)
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(os, "replace", refused)
    with pytest.raises(PermissionError):
        whole_file.put_whole(tmp_path / "r.json", b"")
    assert len(tries) == 1


def test_names__of_either_case_are_one_file_where_the_system_says_so(tmp_path, monkeypatch):
    words = [str(tmp_path / name) for name in ("Lid.toml", "lid.toml")]
    assert len(job_paths(words)) == 2
    monkeypatch.setattr(os.path, "normcase", ntpath.normcase)
    assert len(job_paths(words)) == 1


def test_picture_folders__differ_in_more_than_case_and_are_short_enough():
    deep = Path("/", *["a rather long name of a folder"] * 20, "job.toml")
    names = picture_folders([Path("x/job.toml"), Path("../X/job.toml"), deep, deep.parent / "b" / "job.toml"])
    assert names[:2] == ["x", "X-2"]
    assert [len(name) for name in names[2:]] == [LONGEST_NAME] * 2
    assert len({name.casefold() for name in names}) == 4


def test_stored_result__of_windows_is_found_elsewhere_and_the_other_way_round():
    rows = [{"job": {"file": name}} for name in ("parts\\lid\\job.toml", "parts/tray/job.toml")]
    assert stored_for("parts/lid/job.toml", rows, False) is rows[0]
    assert stored_for("parts\\tray\\job.toml", rows, False) is rows[1]
    assert stored_for("./parts/lid/job.toml", rows, False) is rows[0]
    assert stored_for("lid/job.toml", rows, False) is None


def test_result__names_its_job_file_with_slashes(monkeypatch):
    from pathlib import PureWindowsPath

    monkeypatch.setattr(files, "Path", PureWindowsPath)
    assert files.file_word("parts\\lid\\job.toml") == "parts/lid/job.toml"
    assert files.file_word("") == ""


@pytest.mark.parametrize("of", ["job", "result"])
def test_schema__is_json_whatever_the_letters_of_the_console(of):
    """JSON is UTF-8 (RFC 8259); what a console of Windows sends into a file often is not."""
    assert schema_text(of).isascii()
    assert json.loads(schema_text(of))["$id"] == f"urn:simkit:{of}:1"


def test_kernels__have_paths_that_windows_takes(tmp_path):
    """260 letters with the end of text (its documentation, "Maximum Path Length Limitation")."""
    main(["check", str(write_two_sided(tmp_path)), "--cell", "1", "--quiet"])
    names = [path.relative_to(CACHE_FOLDER.parents[1]).as_posix() for path in CACHE_FOLDER.rglob("*.nbc")]
    assert names
    home = r"C:\Users\a name of twenty let\AppData\Local\simkit" + "\\"
    # Beside their place they are first written with a longer name: 10 letters and a sign.
    assert max(map(len, names)) + len(home) + 11 < 260


def test_check__on_a_console_of_a_few_latin_letters(tmp_path):
    """Code page 1252, as on many machines with Windows, and a folder in letters it has not got."""
    job = write_one_sided(tmp_path / "木の舟 – Ölboot")
    words = [sys.executable, "-m", "simkit", "check", str(job), "--cell", "1"]
    done = subprocess.run(words, capture_output=True, env=os.environ | {"PYTHONIOENCODING": "cp1252"})
    assert done.returncode == 1, done.stderr
    told = done.stdout.decode("cp1252")
    assert "\\u6728" in told or "top.nc" in told
    assert "±" in told
    assert b"Traceback" not in done.stderr
