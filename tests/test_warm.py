"""A thumbnail compiles everything: a real check afterwards compiles nothing."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.warm import compile_all

PACKAGE = Path(__file__).parents[1] / "simkit"
SPOILT = Path(__file__).parents[1] / "samples" / "spoilt"
BESIDE = (PACKAGE.parent / "samples", PACKAGE.parent / "benchmarks")


def kernels():
    """All compiled functions of simkit by name, with how many kinds of arguments each was compiled for."""
    return {
        f"{name}.{member}": len(kernel.signatures)
        for name, module in sorted(sys.modules.items())
        if name.startswith("simkit.") and name.endswith("_kernels")
        for member, kernel in vars(module).items()
        if hasattr(kernel, "py_func")
    }


def test_compile_all__leaves_nothing_to_compile_for_a_check():
    # In a process of its own, or other tests would have compiled what the thumbnail forgot.
    if os.environ.get("SIMKIT_TEST_WARM") != "child":
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", __file__],
            env={**os.environ, "SIMKIT_TEST_WARM": "child"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout
        return
    told = []
    compile_all(told.append)
    assert told
    assert told == sorted(told)
    assert 0 < told[-1] <= 1
    before = kernels()
    for name in ("no_rest_pass", "second_zero_off"):
        job = read_job(SPOILT / name / "job.toml")
        check(job, read_programs(job), 0.5)
    assert kernels() == before


def test_kernels__only_entries_are_named_outside_kernels():
    # Any other kernel lacks the code that takes arguments from Python: calling it ends the process.
    inner, entries = set(), set()
    project = [path for folder in (PACKAGE, *BESIDE) for path in sorted(folder.rglob("*.py"))]
    for path in (path for path in project if path.stem.endswith("_kernels")):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.decorator_list:
                is_entry = node.decorator_list[0].id == "entry_kernel"
                (entries if is_entry else inner).add((path.stem, node.name))
    assert len(entries) > 10
    assert len(inner) > 100
    for path in project:
        text = re.sub(r"#.*", "", path.read_text("utf-8"))
        named = re.findall(r"(\w+_kernels)\.(\w+)", text)
        for module, names in re.findall(r"from (?:simkit\.\w+\.)?(\w+_kernels) import \(?([\w, \n]+)", text):
            named += [(module, name) for name in re.split(r"[,\s]+", names)]
        if not path.stem.endswith("_kernels"):
            assert not inner & set(named), path.name
