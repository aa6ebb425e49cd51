"""The library of linear algebra starts no threads of its own in our processes, unless somebody says so."""

import os
import subprocess
import sys

import pytest

from simkit.blas import ONE_THREAD

CODE = """
import os, sys
sys.argv = ["simkit", "--version"]
from simkit.__main__ import run
assert "numpy" not in sys.modules
try:
    run()
except SystemExit:
    print(*(os.environ[name] for name in {names}))
"""


@pytest.mark.parametrize("stated", [None, "3"])
def test_command_line__one_thread_unless_stated(stated):
    given = {} if stated is None else {"OPENBLAS_NUM_THREADS": stated}
    around = {name: value for name, value in os.environ.items() if name not in ONE_THREAD} | given
    words = [sys.executable, "-c", CODE.format(names=list(ONE_THREAD))]
    told = subprocess.run(words, env=around, capture_output=True, text=True, check=True).stdout
    assert told.split()[-3:] == [stated or "1", "1", "1"]
