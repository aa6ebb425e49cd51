"""Many jobs in one check: order, one exit status, jobs that cannot be used, workers that die."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from simkit.cli import main
from simkit.errors import InputProblems
from simkit.runs.crew import Crew, Worker
from simkit.runs.found import job_paths
from simkit.runs.limits import NO_LIMITS, Most
from simkit.runs.many import picture_folders
from tests.runs.some_jobs import write_one_sided, write_without_target

CELL = "1"


class Silent:
    """Watches a crew and remembers what it was told."""

    def __init__(self):
        self.told = []

    def __getattr__(self, what):
        return lambda worker, value: self.told.append((what, worker, value))


@pytest.fixture(autouse=True)
def free_cores(monkeypatch):
    """Two workers, whatever the machine."""
    monkeypatch.setattr("simkit.runs.crew.cores", lambda: 2)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Five jobs in folders with spaces and letters of other scripts; one cannot be used."""
    root = tmp_path_factory.mktemp("many jobs")
    write_one_sided(root / "a good one", left=0.0)
    write_one_sided(root / "b too high")
    write_without_target(root / "c ohne Maß" / "Lövträ 木")
    broken = write_one_sided(root / "d broken")
    (broken.parent / "top.nc").write_text("G21 G90\nT1 M6\nS1 M3\nG0 X1O\n", encoding="utf-8")
    write_one_sided(root / "e good", left=0.1)
    write_one_sided(root / ".hidden")
    return root


ORDER = ["a good one", "b too high", "c ohne Maß/Lövträ 木", "d broken", "e good"]
STATUS = ["within limits", "beyond limits", "within limits", "cannot be used", "within limits"]


def words_of(result):
    return result["status"] if "status" in result else result["verdict"]["status"]


@pytest.fixture(scope="module")
def side_by_side(folder, tmp_path_factory):
    """What a check of the folder wrote with one worker on all cores, and with two on one each."""
    written = {}
    for jobs in ("1", "2"):
        out = tmp_path_factory.mktemp("out")
        words = [sys.executable, "-m", "simkit", "check", str(folder), "--jobs", jobs, "--cell", CELL]
        for kind in ("json", "junit", "sarif"):
            words += [f"--{kind}", str(out / kind)]
        environment = os.environ | {"COLUMNS": "120"}
        done = subprocess.run(words, capture_output=True, text=True, encoding="utf-8", env=environment)
        written[jobs] = (done, out)
    return written


def test_folder__results_in_order_and_one_status(folder, side_by_side):
    done, out = side_by_side["2"]
    assert done.returncode == 2  # one cannot be used; the others are checked all the same
    results = json.loads((out / "json").read_text("utf-8"))
    assert [Path(one["job"]["file"]).parent.relative_to(folder).as_posix() for one in results] == ORDER
    assert [words_of(one) for one in results] == STATUS
    last = done.stdout.splitlines()[-1]
    assert last == "5 jobs: 3 within limits, 1 beyond limits, 1 cannot be used."
    assert f"{folder / 'd broken' / 'job.toml'}: top.nc:4:4: found 'X1O'" in done.stderr
    assert [f"[{k}/5]" in done.stderr for k in range(1, 6)] == [True] * 5
    assert "Traceback" not in done.stderr


def test_folder__one_worker_or_two_write_the_same(side_by_side):
    (_, one), (_, two) = side_by_side["1"], side_by_side["2"]
    assert (one / "sarif").read_bytes() == (two / "sarif").read_bytes()
    first, second = (json.loads((out / "json").read_text("utf-8")) for out in (one, two))
    for result in (*first, *second):
        result.pop("timings", None)
    assert first == second


def test_inputs__jobs_and_folders_in_the_order_given(folder):
    last, first = folder / "e good" / "job.toml", folder / "a good one"
    found = job_paths([str(last), str(first), str(last)])
    assert found == [last, first / "job.toml"]
    assert job_paths([str(last)]) is None
    below = job_paths([str(folder)])
    assert [path.parent.relative_to(folder).as_posix() for path in below] == ORDER


@pytest.mark.parametrize("inputs", [["nowhere"], ["{folder}", "nowhere"], ["nowhere", "lid.toml"]])
def test_inputs__a_folder_that_is_not_there_is_told_as_such(inputs, folder):
    with pytest.raises(InputProblems) as told:
        job_paths([one.format(folder=folder) for one in inputs])
    [problem] = told.value.problems
    assert problem.found == "no file or folder at 'nowhere'"


def test_stored_results__are_found_by_job(folder, side_by_side, tmp_path, capsys):
    _, out = side_by_side["2"]
    jobs = [str(folder / name / "job.toml") for name in ("a good one", "b too high")]
    words = ["check", *jobs, "--cell", CELL, "--quiet", "--against", str(out / "json")]
    assert main([*words, "--json", str(tmp_path / "r.json")]) == 0
    assert capsys.readouterr().out == "2 jobs: 1 within limits, 1 no worse.\n"
    results = json.loads((out / "json").read_text("utf-8"))
    (out / "fewer").write_text(json.dumps(results[:1]), encoding="utf-8")
    words[-1] = str(out / "fewer")
    assert main([*words, "--json", str(tmp_path / "r.json")]) == 1
    told = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert told[1]["remarks"][-1] == f"{out / 'fewer'} has no result of this job: every finding counts"


def test_unchanged_jobs__need_no_worker(folder, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SIMKIT_KEEP", "yes")
    monkeypatch.setattr("simkit.runs.kept.cache_home", lambda: tmp_path / "cache")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))  # for the words of the faults below
    jobs = [str(folder / name / "job.toml") for name in ("a good one", "b too high", "nowhere")]
    for job in jobs[:2]:
        main(["check", job, "--cell", CELL, "--quiet"])
    capsys.readouterr()

    def nobody(*_):
        raise AssertionError("a worker is asked for")

    monkeypatch.setattr("simkit.runs.many.Crew", nobody)
    assert main(["check", *jobs, "--cell", CELL, "--quiet"]) == 2
    assert capsys.readouterr().out == "3 jobs: 1 within limits, 1 beyond limits, 1 cannot be used.\n"
    # A job changed, pictures and --fresh need one.
    for more in (["--fresh"], ["--pictures", str(tmp_path / "p")]):
        assert main(["check", *jobs, "--cell", CELL, "--quiet", *more]) == 3


def orders(*paths, memory=None):
    plain = {"cell": 1.0, "fresh": True, "pictures": None, "memory": memory}
    return [{"job": str(path), **plain} for path in paths]


def test_crew__a_worker_that_dies_costs_its_job_alone(folder):
    class Killer(Silent):
        """Kills the worker at its first stage, once."""

        def stage(self, worker, name):
            if not self.told or name != "reading the programs":
                return
            if not any(what == "killed" for what, *_ in self.told):
                self.told.append(("killed", worker, name))
                [process] = crew._processes
                process.kill()

    watch = Killer()
    crew = Crew(1, NO_LIMITS, watch)
    jobs = [folder / name / "job.toml" for name in ("a good one", "b too high")]
    first, second = crew.run(orders(*jobs))
    assert (first["status"], first["exit_status"]) == ("fault", 3)
    assert "the process that checked it ended with status" in first["sentence"]
    assert second["verdict"]["status"] == "beyond limits"


def test_crew__a_worker_that_dies_while_compiling_costs_no_job(folder, monkeypatch):
    """Run in a thread, for a crew that waits for it would wait for ever."""
    ask = Worker.ask

    def dying(self, order, *more):
        if order.get("warm"):
            self.process.kill()
        return ask(self, order, *more)

    monkeypatch.setattr(Worker, "ask", dying)
    monkeypatch.setattr("simkit.runs.crew.is_cold", lambda: True)
    jobs = orders(folder / "a good one" / "job.toml", folder / "b too high" / "job.toml")
    done = []
    crew = threading.Thread(target=lambda: done.extend(Crew(2, NO_LIMITS, Silent()).run(jobs)), daemon=True)
    crew.start()
    crew.join(120)
    assert [words_of(result) for result in done] == ["within limits", "beyond limits"]


def test_crew__limits_end_a_job_with_a_clear_word(folder):
    path = folder / "a good one" / "job.toml"
    [late] = Crew(1, Most(seconds=0.2), Silent()).run(orders(path))
    assert late["exit_status"] == 2
    assert late["sentence"] == (
        "Stopped: it took longer than 0.2 s (--most-seconds); nothing is known of this job."
    )
    [large] = Crew(1, Most(memory=60), Silent()).run(orders(path, memory=60))
    assert large["sentence"] == (
        "Stopped: it needed more than 60 MB of memory (--most-memory); nothing is known of this job."
    )


def test_crew__a_fault_on_its_own_side_is_raised(folder):
    class Broken(Silent):
        def start(self, worker, job):
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        Crew(2, NO_LIMITS, Broken()).run(orders(folder / "a good one" / "job.toml"))


def workers_of(process):
    """Process ids of the workers, once there are two."""
    for _ in range(100):
        tasks = Path(f"/proc/{process.pid}/task").glob("*/children")  # one for each thread
        children = {number for task in tasks for number in task.read_text("ascii").split()}
        if len(children) >= 2:
            return children
        time.sleep(0.1)
    raise AssertionError("no workers")


def has_ended(number):
    """Whether a process is gone, or only waits for somebody to ask how it ended."""
    try:
        return Path(f"/proc/{number}/stat").read_text("ascii").rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks into /proc")
@pytest.mark.parametrize("name", ["SIGINT", "SIGKILL", "SIGTERM"])
def test_workers__end_with_the_check_however_it_ends(name, folder):
    words = [sys.executable, "-m", "simkit", "check", str(folder), "--cell", "0.02", "--jobs", "2", "--quiet"]
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        workers = workers_of(process)
        process.send_signal(getattr(signal, name))
        process.wait(timeout=20)
    finally:
        process.kill()
    for _ in range(100):
        if all(has_ended(worker) for worker in workers):
            break
        time.sleep(0.1)
    assert [worker for worker in workers if not has_ended(worker)] == []


@pytest.mark.skipif(sys.platform == "win32", reason="sends an interruption as other systems do")
def test_interruption__ends_all_workers_and_leaves_nothing(folder, tmp_path):
    words = [sys.executable, "-m", "simkit", "check", str(folder), "--cell", "0.05"]
    words += ["--json", str(tmp_path / "r.json")]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        time.sleep(2.5)  # in the middle of it; whenever it comes, the same must hold
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 130
    assert told.splitlines()[-1] == "stopped; nothing half-written is left"
    assert list(tmp_path.iterdir()) == []


def test_single_job__limits_end_it_with_a_clear_word(folder, tmp_path, capsys):
    words = ["check", str(folder / "a good one" / "job.toml"), "--json", str(tmp_path / "r.json")]
    assert main([*words, "--cell", "0.02", "--most-seconds", "0.3"]) == 2
    assert capsys.readouterr().err.splitlines()[-1] == (
        "stopped: it took longer than 0.3 s (--most-seconds); nothing is known of the job"
    )
    assert main([*words, "--most-memory", "0.02 GB"]) == 2
    assert capsys.readouterr().err.splitlines()[-1] == (
        "stopped: it needed more than 20 MB of memory (--most-memory); nothing is known of the job"
    )
    assert not (tmp_path / "r.json").exists()


def test_picture_folders__each_job_has_its_own():
    paths = [
        Path("../x/job.toml"),
        Path("x/job.toml"),
        Path("x/lid.toml"),
        Path("job.toml"),
        Path("y/../x/job.toml"),
    ]
    assert picture_folders(paths) == ["x", "x-2", "x-lid", "job", "y-x"]
