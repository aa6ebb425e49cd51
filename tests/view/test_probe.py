"""`simkit view` on a machine without display or OpenGL: it says so, and where to look instead."""

import os
import sys

import pytest

from simkit.cli import main
from simkit.view import probe
from tests.small_job import HEAD, JOB, block


@pytest.fixture
def job(tmp_path):
    block(5, 35, 5, 25, 0, 12).export(tmp_path / "part.stl")
    (tmp_path / "top.nc").write_text(HEAD + "G0 X10 Y15\nG1 Z6 F600\nG0 Z20\nM30\n", encoding="utf-8")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    return tmp_path / "job.toml"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="elsewhere a display needs no variable")
def test_view__without_a_display(job, monkeypatch, capsys):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert main(["view", str(job)]) == 2
    assert capsys.readouterr().err == (
        "simkit view [window]: found there is no display here (neither DISPLAY nor WAYLAND_DISPLAY is set), "
        "expected a desktop with OpenGL on which to open a window; "
        "look at the 3-D view of the report instead: "
        f"simkit check {job} --report job.html, then open it in a browser\n"
    )


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (
            "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
            "opening a window crashed (SIGSEGV), as it does",
        ),
        ("import time; time.sleep(60)", "opening a window took longer than 1 s and was stopped"),
        ("import sys; sys.exit(23)", "opening a window gave an empty picture"),
        ("raise ValueError('odd')", "opening a window failed (ValueError: odd)"),
    ],
)
@pytest.mark.skipif(os.name != "posix", reason="sends POSIX signals")
def test_probe__says_why_in_words(body, told, monkeypatch):
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(probe, "_command", lambda: [sys.executable, "-c", body])
    assert probe.why_no_window(1.0).startswith(told)


def test_probe__a_window_that_opens(monkeypatch):
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(probe, "_command", lambda: [sys.executable, "-c", "pass"])
    assert probe.why_no_window() is None


def test_view__a_job_that_cannot_be_used_is_told_before_any_window(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(probe, "why_no_window", lambda: pytest.fail("no window is tried"))
    assert main(["view", str(tmp_path / "missing.toml")]) == 2
    assert "missing.toml" in capsys.readouterr().err
