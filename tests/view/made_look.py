"""A Look on a small job of two sides, for tests here and for the process that draws a window."""

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report.result import result_of
from simkit.stock.field import blank_lattice
from simkit.view.look import Look
from simkit.view.steps import Steps
from tests import budget_job

HELD = '[[holding]]\nkind = "tape"\nbox = [[12, 10], [32, 24]]\n'
CLAMP = '[[fixtures]]\nname = "clamp"\nheight = 20\nbox = [[-20, 5], [-8, 25]]\nsetups = ["first"]\n'


def made_look(folder) -> Look:
    """Return the Look of the part whose left wall side 2 cuts 0.6 mm too far in."""
    job = read_job(budget_job.write(folder, off=0.6, more=HELD + CLAMP))
    reads = read_programs(job)
    evidence, findings, _ = check(job, reads, 0.5)
    return Look(evidence, result_of(evidence, findings, {}), Steps(job, reads, blank_lattice(44, 34, 0.5)))
