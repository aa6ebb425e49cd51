"""What all tests rely on: interrupts arrive, nothing kept from earlier runs, kernels compiled once."""

import os
import signal
import subprocess
import sys

os.environ["SIMKIT_KEEP"] = "no"  # tests cut what they check: kept results would hide what has changed


def pytest_configure(config):
    # A run started in the background ignores interrupts, and so would every child that a test interrupts.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    # Run by several workers (-n), the tests find the kernels compiled: else each would compile them all.
    if getattr(config.option, "numprocesses", None):  # the one that starts the workers
        words = "from simkit.warm import warm_up; warm_up()"
        subprocess.run([sys.executable, "-c", words], check=True)
