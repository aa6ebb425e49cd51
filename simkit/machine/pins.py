"""Dowel pins that stand up from the table, as fixtures."""

from __future__ import annotations

import numpy as np

from simkit.job.model import Fixture, Job

PIN = "dowel pin "  # and the name of the dowel


def standing_in(job: Job, index: int) -> list[Fixture]:
    """Return what stands on the table in a setup: the job's fixtures, and pins whose height is stated.

    Pins stand where the setup states them, else where the job's dowels are in the first setup, each as thick
    as it was measured, or as its hole should be.
    """
    setup = job.setups[index]
    found = [fixture for fixture in job.fixtures if fixture.stands_in(setup)]
    if setup.pin_height is None:
        return found
    to_table = job.setups[0].lie(job.blank).inverse()
    places = setup.pins or [to_table.apply_plan(np.array(dowel.at)) for dowel in job.dowels]
    for dowel, at in zip(job.dowels, places, strict=True):
        found.append(
            Fixture(
                name=f"{PIN}{dowel.name}",
                height=setup.pin_height,
                at=(float(at[0]), float(at[1])),
                diameter=dowel.pin or dowel.diameter,
            )
        )
    return found
