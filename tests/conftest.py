"""Run by several workers (-n), the tests find the kernels compiled: else each would compile them all."""

import os
import subprocess
import sys

os.environ["SIMKIT_KEEP"] = "no"  # tests cut what they check: kept results would hide what has changed


def pytest_configure(config):
    if getattr(config.option, "numprocesses", None):  # the one that starts the workers
        words = "from simkit.warm import warm_up; warm_up()"
        subprocess.run([sys.executable, "-c", words], check=True)
