"""Spoilt jobs, programs and meshes end a check as it says, whatever was done to them."""

from benchmarks.fuzz_command import fuzz


def test_fuzz__every_check_ends_with_0_1_or_2():
    statuses, faults = fuzz(200, 20)
    assert faults == []
    assert set(statuses) == {0, 1, 2}
    assert sum(statuses.values()) == 200
    assert statuses[2] < 190
