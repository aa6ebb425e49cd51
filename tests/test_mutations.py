"""Spoilt programs are told, on the right line, and good ones left alone; all: benchmarks/mutations.py."""

import pytest

from tests.mutations import GOOD, MUTATIONS, is_found, run


@pytest.mark.parametrize("tray", GOOD[2::4], ids=lambda tray: tray.name)
def test_good__no_alarm(tray, tmp_path):
    assert run(tmp_path, tray) == (0, [], [])


@pytest.mark.parametrize("k", range(0, len(MUTATIONS), 2))
def test_mutation__is_told_on_its_line(k, tmp_path):
    mutation = MUTATIONS[k]
    tray = [tray for tray in GOOD if not tray.inches][k % 10]  # inches for millimetres needs one in mm
    status, told, wanted = run(tmp_path, tray, mutation)
    assert is_found(mutation, status, told, wanted), (status, told, wanted)
