"""Tests cut what they check: results of earlier runs must not hide what has changed."""

import os

os.environ["SIMKIT_KEEP"] = "no"
