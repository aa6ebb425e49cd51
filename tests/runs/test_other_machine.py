"""The same verdict on another machine, stood in for by kernels for the plainest instructions."""

import json
import os
import platform
import subprocess
import sys

import pytest

from tests.runs.some_jobs import write_two_sided

PLAINEST = {"x86_64": "x86-64", "AMD64": "x86-64"}  # the names of the compiler's oldest target


def result_of(job, folder, **around):
    """The result of a check in a process of its own, times apart."""
    out = folder / "result.json"
    words = ["check", str(job), "--cell", "1", "--quiet", "--fresh", "--json", str(out)]
    done = subprocess.run(
        [sys.executable, "-m", "simkit", *words], env=os.environ | around, capture_output=True, text=True
    )
    assert done.returncode == 1, done.stderr
    return json.loads(out.read_text("utf-8")) | {"timings": None}


def differences(a, b, at=""):
    """Where two results differ: in anything but numbers, or in a number by more than 1e-6."""
    if isinstance(a, dict) and isinstance(b, dict) and a.keys() == b.keys():
        return [found for key in a for found in differences(a[key], b[key], f"{at}.{key}")]
    if isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        return [found for i in range(len(a)) for found in differences(a[i], b[i], f"{at}[{i}]")]
    if isinstance(a, float) and isinstance(b, float):
        return [] if abs(a - b) <= 1e-6 else [f"{at}: {a} {b}"]
    return [] if a == b else [f"{at}: {a} {b}"]


@pytest.mark.skipif(
    platform.machine() not in PLAINEST, reason="the oldest target of this processor is not known here"
)
def test_check__the_same_for_the_plainest_instructions(tmp_path):
    job = write_two_sided(tmp_path / "job")
    here = result_of(job, tmp_path)
    other = {
        "SIMKIT_CACHE": str(tmp_path / "cache"),
        "NUMBA_CPU_NAME": PLAINEST[platform.machine()],
        "NUMBA_CPU_FEATURES": "",
        "NUMBA_NUM_THREADS": "1",
    }
    assert differences(here, result_of(job, tmp_path, **other)) == []
    assert len(here["findings"]) > 3


def test_differences__are_seen():
    assert differences({"a": [1.0, "x"]}, {"a": [1.0 + 1e-7, "x"]}) == []
    assert differences({"a": [1.0, "x"]}, {"a": [1.1, "y"]}) == [".a[0]: 1.0 1.1", ".a[1]: x y"]
    assert differences({"a": 1}, {"b": 1}) == [": {'a': 1} {'b': 1}"]
