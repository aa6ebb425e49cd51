"""simkit cuts a two-sided wood blank in memory exactly as its programs would.

The rooms follow the data: job and program text -> moves -> stock (the cut) -> target -> compare
-> findings -> report. DEVELOPERS.md is the map; api.py holds what is meant for use from Python.
"""

__version__ = "0.1.0"
__all__ = [
    "InputProblems",
    "Job",
    "Result",
    "Unchecked",
    "check_jobs",
    "draft_job",
    "job_of",
    "job_schema",
    "load",
    "read",
    "result_schema",
    "template",
    "watch",
    "write_json",
    "write_junit",
    "write_sarif",
]


def __getattr__(name: str):
    if name not in __all__:
        raise AttributeError(f"module 'simkit' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module("simkit.api"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
