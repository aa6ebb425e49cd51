"""The folder for what is kept between runs: which one on each system, and what if there is none."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from simkit.cache import cache_home, can_store

HOME = os.path.abspath("/folders/of/somebody")
ELSEWHERE = os.path.abspath("/elsewhere")


@pytest.fixture
def system(monkeypatch):
    """Choose a system, and what its variables say."""

    def choose(platform, **variables):
        for name in ("SIMKIT_CACHE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
            monkeypatch.delenv(name, raising=False)
        for name, value in variables.items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr("sys.platform", platform)
        monkeypatch.setattr(Path, "home", lambda: Path(HOME))

    return choose


@pytest.mark.parametrize(
    ("platform", "variables", "wanted"),
    [
        ("linux", {}, f"{HOME}/.cache/simkit"),
        ("linux", {"XDG_CACHE_HOME": ELSEWHERE}, f"{ELSEWHERE}/simkit"),
        ("linux", {"XDG_CACHE_HOME": ""}, f"{HOME}/.cache/simkit"),
        ("linux", {"XDG_CACHE_HOME": "relative"}, f"{HOME}/.cache/simkit"),
        ("linux", {"LOCALAPPDATA": ELSEWHERE}, f"{HOME}/.cache/simkit"),
        ("darwin", {"XDG_CACHE_HOME": ELSEWHERE}, f"{HOME}/Library/Caches/simkit"),
        ("win32", {"LOCALAPPDATA": ELSEWHERE}, f"{ELSEWHERE}/simkit"),
        ("win32", {"LOCALAPPDATA": ""}, f"{HOME}/AppData/Local/simkit"),
        ("win32", {"SIMKIT_CACHE": ".here", "LOCALAPPDATA": ELSEWHERE}, ".here"),
    ],
)
def test_cache_home__is_where_each_system_has_it(platform, variables, wanted, system):
    system(platform, **variables)
    assert cache_home() == Path(wanted)


def test_cache_home__of_a_user_without_a_home_stores_nothing(system, monkeypatch):
    system(sys.platform)

    def no_home():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", no_home)
    assert not can_store(cache_home())


def test_can_store__makes_the_folder(tmp_path):
    assert can_store(tmp_path / "a" / "b")
    assert list((tmp_path / "a" / "b").iterdir()) == []


def test_kernels__are_not_stored_where_nothing_can_be(tmp_path):
    """Without another place to store them, numba would end the command with an error as they are defined."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    environment = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    environment |= {
        "SIMKIT_CACHE": str(tmp_path / "file"),
        "NUMBA_CACHE_LOCATOR_CLASSES": "UserProvidedCacheLocator",
    }
    words = [sys.executable, "-c", "import simkit.check; from simkit.cache import is_cold; print(is_cold())"]
    done = subprocess.run(words, env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "True\n"), done.stderr
