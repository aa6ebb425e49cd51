"""Run by several workers (-n), the tests find the kernels compiled: else each would compile them all."""

import subprocess
import sys


def pytest_configure(config):
    if getattr(config.option, "numprocesses", None):  # the one that starts the workers
        words = "from simkit.warm import warm_up; warm_up()"
        subprocess.run([sys.executable, "-c", words], check=True)
