"""By how much faces and cuts rise when a thickness is not as stated: of the blank, or what a step leaves.

On paper.  The first blank is T + e0 thick, and the step to a thickness number k leaves t_k + e_k.  In the
blank frame, whose origin stays on the lower face of the first blank, its faces are at first at 0 and T + e0.
A step measures from the other face: on side 1 it makes high = low + t_k + e_k, on side 2 low = high - t_k
- e_k, and nothing else of the first thickness or of earlier steps is left in that face.  So each face is a
sum of a number and of the errors, each once, not at all or once negative: a vector of such coefficients.

- A face that was planed and is a face of the part lies off by its own vector; so does one that was never
  planed.  Resin stands so far under or over the face that it was poured at: it has the vector of that face.
- A setup cuts with all its moves as high as its zero.  With side 1 up its top is high and its table low, with
  side 2 up its top is low and its table high (turned over, the upper face lies on it).  So what it cuts has
  the vector of the face that its zero is set at, as that face is when it runs: a zero on the face that
  was planed rises with it (+1 of side 1, -1 of side 2), a zero on the other face not at all, on the table or
  on top alike; and a setup that ran before the step stays where it was, whatever the step leaves.
- The part has no height of its own.  It keeps its place over low as that is at the end (as for `simkit
  whatif`), so low's vector is taken off all others.  With side 1 planed low stays: what was cut before stays,
  and the planed face and all that hangs on it is e higher.  With side 2 planed low goes down by e: the planed
  face and all that hangs on it stays, everything else, cut before or set at the upper face, is e higher.
- A surface of the part that rises by v e comes out by n_z v e along its normal n, of either side: each row
  has so many columns as there are errors.  A wall between two surfaces grows by the difference of theirs, so
  a floor between a side 1 cut at high and a side 2 cut at low by e, between two cut at the same face not.
- What is left of a column is the lowest of all that was cut and planed on its side, so where these have
  different vectors another one may come out below what is lowest now: see under.py for the places that a
  planed face (or what it hides) then takes from the part.  What stands proud is never more than the rows say:
  another cut can only take some of it away.

All this is linear while each step takes something off: `taken` tells how far that is so.
"""

from __future__ import annotations

import math

import numpy as np

from simkit.job.model import Job
from simkit.job.steps import THICKNESS

Vector = np.ndarray


def planings(job: Job) -> tuple[int, ...]:
    """Return the numbers (index in `job.steps`) of the steps to a thickness, in the order of the work."""
    return tuple(number for number, step in enumerate(job.steps) if step.do == THICKNESS)


def face_lifts(job: Job, done: int) -> tuple[Vector, Vector]:
    """Return by how much the lower and the upper face rise in the blank frame after the first `done` steps.

    Each (1 + k,) float64: for 1 mm that the first blank is thicker, then for 1 mm more that each of
    `planings` leaves.  Exact.
    """
    errors = np.eye(1 + len(planings(job)))
    low, high = np.zeros(len(errors)), errors[0].copy()
    for nth, number in enumerate(planings(job), 1):
        if number >= done:
            break
        if job.steps[number].up > 0:
            high = low + errors[nth]
        else:
            low = high - errors[nth]
    return low, high


def part_lift(job: Job) -> Vector:
    """Return by how much the part rises in the blank frame, (1 + k,): with the lower face."""
    return face_lifts(job, len(job.steps))[0]


def cut_lifts(job: Job) -> np.ndarray:
    """Return by how much the cuts of each setup rise against the part, (setups, 1 + k), see `face_lifts`."""
    found = []
    for setup in job.setups:
        low, high = face_lifts(job, len(setup.before))
        is_high = (setup.zero.face == "top") == (setup.side_up == 1)
        found.append((high if is_high else low) - part_lift(job))
    return np.array(found)


def last_lifts(job: Job) -> np.ndarray:
    """Return the same of the faces of side 1 and side 2 as they are at the end, (2, 1 + k)."""
    low, high = face_lifts(job, len(job.steps))
    return np.array([high - low, np.zeros_like(low)])


def taken(job: Job) -> list[tuple[int, float, Vector]]:
    """Return number, mm and vector (1 + k,) of what each step to a thickness takes off between the faces."""
    found = []
    for nth, number in enumerate(planings(job), 1):
        low, high = face_lifts(job, number)
        grows = high - low
        grows[nth] -= 1.0
        found.append((number, job.body(number).thickness - job.steps[number].thickness, grows))
    return found


def stated_sizes(job: Job) -> Vector:
    """Return how large the job states these errors to be at most, (1 + k,) mm: 0 for what it does not state.

    What is known of the blank's thickness and how even it was planed add up; each step is a planing more.
    """
    sizes = np.zeros(1 + len(planings(job)))
    if job.budget is not None:
        sizes += job.budget.planing or 0.0
        sizes[0] += job.budget.thickness_error or 0.0
    return sizes


def reach_of(job: Job) -> np.ndarray:
    """Return how far each error alone may go down and up until a step takes nothing, (1 + k, 2) mm; inf."""
    far = np.full((1 + len(planings(job)), 2), math.inf)
    for _, size, grows in taken(job):
        for nth, grow in enumerate(grows):
            if grow:
                way = int(grow < 0)  # a step that leaves more takes less
                far[nth, way] = min(far[nth, way], size / abs(grow))
    return far
