"""The server of the page: who is answered, what names may be, what a job file may ask for, what stays."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.parse

import jsonschema
import pytest

from simkit.errors import InputProblems, Interrupted
from simkit.job.reader import read_job
from simkit.job.schema import KEYS
from simkit.page.changes import changes
from simkit.page.desk import Desk
from simkit.page.form import field_words, job_text
from simkit.page.laid import NAMING, lay_out
from simkit.page.names import kind_of, safe_name, safe_path
from simkit.page.server import PageServer
from simkit.report.schema import result_schema
from simkit.runs.crew import Worker
from simkit.runs.limits import NO_LIMITS
from tests.findings.programs import DRILLED, dug, faced
from tests.small_job import JOB, block

MOST = 3_000_000
UNDER_WAY = ("waiting", "checking", "drawing")


class Client:
    """Asks a server as the page does, but for what a test changes."""

    def __init__(self, server):
        self.port, self.token = server.server_port, server.token
        self.host = f"127.0.0.1:{self.port}"

    def ask(self, method, path, body=None, token=None, **headers):
        """Headers with a value of None are left out.  Returns status, headers and the body."""
        sent = {"Host": self.host} | ({} if method == "GET" else {"Origin": f"http://{self.host}"})
        sent |= {} if method == "GET" else {"X-Simkit": "page"}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            address = f"/{self.token if token is None else token}/{path}"
            connection.putrequest(method, address, skip_host=True, skip_accept_encoding=True)
            for name, value in sent.items():
                if value is not None:
                    connection.putheader(name, value)
            if body is not None and "Content_Length" not in headers:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body)
            answer = connection.getresponse()
            return answer.status, answer.headers, answer.read()
        finally:
            connection.close()

    def data(self, method, path, body=None):
        status, _, text = self.ask(method, path, body)
        return status, json.loads(text)

    def desk(self):
        return f"desk/{self.data('POST', 'desk')[1]['desk']}"

    def put(self, desk, name, data):
        return self.data("PUT", f"{desk}/file?name={urllib.parse.quote(name, safe='')}", data)

    def done(self, desk, form=None):
        status, told = self.data("POST", f"{desk}/check", json.dumps(form).encode())
        assert status == 200, told
        return self.wait(desk)

    def wait(self, desk):
        ends = time.monotonic() + 120
        while (state := self.data("GET", f"{desk}/state")[1])["phase"] in UNDER_WAY:
            assert time.monotonic() < ends
            time.sleep(0.05)
        return state


@pytest.fixture(scope="module")
def server():
    made = PageServer(0, 0.5, MOST)
    thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield made
    made.shutdown()
    made.close()
    thread.join()
    assert not made.folder.exists()  # everything that was dropped is gone


@pytest.fixture(scope="module")
def client(server):
    return Client(server)


@pytest.fixture(autouse=True)
def put_away(server):
    """A server keeps 16 desks: those of a test go when it ends."""
    before = set(server.desks)
    yield
    for name in set(server.desks) - before:
        server.put_away(name)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("files")
    block(0, 40, 0, 30, 0, 10).export(folder / "part.stl")
    return {
        "job.toml": JOB.encode(),
        "part.stl": (folder / "part.stl").read_bytes(),
        "top.nc": dug(faced(10), (12, 15, 9.5, 22, 15)).encode(),
    }


# ---- who is answered ----


def test_server__is_bound_to_this_machine_alone(server):
    assert server.socket.getsockname()[0] == "127.0.0.1"


def test_page__loads_only_its_own_files_and_holds_no_script(client):
    status, headers, text = client.ask("GET", "")
    assert status == 200
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "Access-Control-Allow-Origin" not in headers
    assert client.token.encode() not in text  # its addresses are relative
    for name in ("page.js", "form.js", "text.js", "page.css", "scene.js", "report.css"):
        assert name.encode() in text
        assert client.ask("GET", name)[0] == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "[::1]:80", "evil.example:80", None, ""])
def test_host__any_other_is_refused(client, host):
    assert client.ask("GET", "", Host=host)[0] == 421


def test_host__localhost_is_served(client):
    assert client.ask("GET", "", Host=f"localhost:{client.port}")[0] == 200


@pytest.mark.parametrize("token", ["", "x", "x" * 32, "%2e%2e", "ä"])
def test_secret__without_it_nothing_is_told(client, token):
    token = urllib.parse.quote(token)
    for method, path in (("GET", ""), ("GET", "page.js"), ("POST", "desk")):
        status, _, text = client.ask(method, path, token=token)
        assert status == 403
        assert client.token.encode() not in text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": None},
        {"Origin": "http://127.0.0.1:1"},
        {"X_Simkit": None},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
def test_origin__what_another_page_sends_changes_nothing(client, server, headers):
    count = len(server.desks)
    assert client.ask("POST", "desk", **headers)[0] == 403
    assert len(server.desks) == count


def test_origin__another_site_reads_nothing(client):
    assert client.ask("GET", "", Origin="https://evil.example")[0] == 403
    assert client.ask("GET", "", Sec_Fetch_Site="cross-site")[0] == 403


@pytest.mark.parametrize(
    "path",
    [
        "../server.py",
        "%2e%2e/%2e%2e/pyproject.toml",
        "page.js/../../cli.py",
        "server.py",
        "..%5cserver.py",
        "/etc/passwd",
        "page.js%00",
        "desk/../../etc/passwd/state",
        "desk/0/state",
    ],
)
def test_address__leads_to_no_file(client, path):
    assert client.ask("GET", path)[0] in (404, 410)


def test_address__another_method_or_verb_is_refused(client):
    assert client.ask("PUT", "page.js", b"x")[0] == 404
    assert client.ask("PATCH", "page.js")[0] == 501


def test_text__only_of_what_was_dropped(client):
    desk = client.desk()
    for name in ("../out/report.html", "/etc/passwd", "job.toml", ""):
        status = client.ask("GET", f"{desk}/text?name={urllib.parse.quote(name, safe='')}")[0]
        assert status in (400, 404)
    assert client.ask("GET", f"desk/{'0' * 32}/state")[0] == 410


# ---- sizes ----


def test_size__too_large_is_refused_before_it_is_read(client):
    desk = client.desk()
    status, _, text = client.ask("PUT", f"{desk}/file?name=a.nc", Content_Length=str(MOST + 1))
    assert status == 413
    assert "3 MB" in json.loads(text)["problems"][0]
    assert client.put(desk, "a.nc", b"x" * 2_000_000)[0] == 200
    assert client.put(desk, "a.nc", b"y" * 2_000_000)[0] == 200  # takes the place of the first
    assert client.ask("PUT", f"{desk}/file?name=b.nc", Content_Length="2000000")[0] == 413  # all together


@pytest.mark.parametrize("length", ["-1", "1e3", "0x10", "9" * 20, "ten"])
def test_size__that_is_none_is_refused(client, length):
    assert client.ask("PUT", f"{client.desk()}/file?name=a.nc", Content_Length=length)[0] in (400, 413)


def test_size__must_be_told_before(client):
    assert client.ask("PUT", f"{client.desk()}/file?name=a.nc", Transfer_Encoding="chunked")[0] == 411


def test_body__that_breaks_off_leaves_no_file(client):
    desk = client.desk()
    with socket.create_connection(("127.0.0.1", client.port)) as line:
        head = f"PUT /{client.token}/{desk}/file?name=a.nc HTTP/1.1\r\nHost: {client.host}\r\nOrigin: http://"
        line.sendall(f"{head}{client.host}\r\nX-Simkit: page\r\nContent-Length: 100\r\n\r\nG21".encode())
    assert client.ask("GET", f"{desk}/text?name=a.nc")[0] == 404


# ---- names ----


@pytest.mark.parametrize(
    "name", ["ölboot 2.nc", "オリーブ.nc", "زيتون.stl", "a (1)+b_c-d,e.NC", "καράβι.toml"]
)
def test_name__of_any_script_is_kept_as_it_is(client, name):
    desk = client.desk()
    status, told = client.put(desk, name, b"G21\n")
    assert status == 200
    assert [one["name"] for one in told["files"]] == [name]


@pytest.mark.parametrize(
    "name",
    [
        "../a.nc",
        "..",
        "a/b.nc",
        "a\\b.nc",
        "/etc/a.nc",
        "C:a.nc",
        "a\0.nc",
        "a\n.nc",
        ".a.nc",
        "-a.nc",
        "con.nc",
        "LPT1.nc",
        "com¹.nc",
        "a.nc.",
        "a.nc ",
        "a\u202ecn.nc",
        "<b>.nc",
        "a*.nc",
        "",
        "a" * 300 + ".nc",
        "\ud800.nc",
    ],
)
def test_name__that_could_lead_elsewhere_is_refused(name):
    with pytest.raises(InputProblems, match="rename the file"):
        safe_name(name)


def test_name__two_ways_to_write_one_letter_are_one_file(client):
    desk = client.desk()
    client.put(desk, "e\u0301.nc", b"1")
    client.put(desk, "É.nc", b"2")
    told = client.put(desk, "\u00e9.nc", b"3")[1]
    assert [one["name"] for one in told["files"]] == ["\u00e9.nc"]


def test_kind__of_what_is_none_of_ours_is_told(client):
    assert (kind_of("a.STL"), kind_of("a.tap"), kind_of("b.toml")) == ("mesh", "program", "job file")
    status, told = client.put(client.desk(), "evil.py", b"raise SystemExit")
    assert status == 422
    assert "'.py'" in told["problems"][0]


# ---- checks ----


@pytest.fixture(scope="module")
def checked(client, files):
    desk = client.desk()
    for name, data in files.items():
        assert client.put(desk, name, data)[0] == 200
    return desk, client.done(desk)


def test_check__tells_verdict_findings_and_report(client, checked):
    desk, state = checked
    assert state["phase"] == "done"
    assert state["verdict"]["exit_status"] == 1
    first = state["findings"][0]
    assert first["file"] == "top.nc"
    assert "changes" not in state
    parts = client.data("GET", f"{desk}/parts/words")[1]
    assert 'id="f1"' in parts["findings"]
    assert 'id="solid-data"' in parts["solid"]
    assert 'class="closeup room-1"' in parts["findings"]
    assert json.loads(client.data("GET", f"{desk}/parts/scene")[1])["data"]
    assert client.data("GET", f"{desk}/parts/closeups")[1]["1"].startswith("<svg ")
    assert client.data("GET", f"{desk}/parts/closeups?of=99")[1] is None  # of another check
    assert client.ask("GET", f"{desk}/parts/closeups?of=x")[0] == 400
    for name in ("other", "..", "report", "words.json", "picture-99", "%2e%2e", ""):
        assert client.ask("GET", f"{desk}/parts/{name}")[0] == 404
    status, headers, text = client.ask("GET", f"{desk}/report")
    assert status == 200
    assert headers["Content-Disposition"] == "attachment; filename*=UTF-8''report.html"
    assert text.startswith(b"<!DOCTYPE html>")
    assert b"simkit-page-" not in text  # no path of this machine
    assert client.ask("GET", f"{desk}/job")[2] == JOB.encode()
    status, headers, text = client.ask("GET", f"{desk}/result")
    assert status == 200
    assert headers["Content-Disposition"] == "attachment; filename*=UTF-8''result.json"
    assert json.loads(text)["verdict"]["status"] == state["verdict"]["status"]
    jsonschema.validate(json.loads(text), result_schema(closed=True))


def test_downloads__bear_the_name_of_the_job_and_none_is_of_the_check_before(client, files):
    desk = client.desk()
    for name, data in files.items():
        client.put(desk, name, b'name = "Tray 2/b: \xc3\xa4ltere"\n' + data if name == "job.toml" else data)
    assert client.ask("GET", f"{desk}/result")[0] == 404
    client.done(desk)
    for what, last in (("result", "result.json"), ("report", "report.html")):
        _, headers, _ = client.ask("GET", f"{desk}/{what}")
        # RFC 8187, 3.2.1: what is no attr-char is written by the bytes of its UTF-8
        assert headers["Content-Disposition"].endswith(f"''Tray_2_b_%C3%A4ltere_{last}")
    client.data("POST", f"{desk}/check", b"null")
    for what in ("result", "report"):
        assert client.ask("GET", f"{desk}/{what}")[0] == 404  # the new check waits or runs
    client.wait(desk)
    assert client.ask("GET", f"{desk}/result")[0] == 200


class Preparing:
    """A checker on a machine without kernels: says what a worker says, and keeps what a page is told."""

    def check(self, owner, folder, job, out, say, is_wanted):
        self.seen = []
        for what, value in (("preparing", "kernels"), ("counted", [3, 12]), ("counted", [12, 12]),
                            ("stage", "reading"), ("counted", [1, 4]), ("stage", "cutting")):  # fmt: skip
            say(what, value)
            state = owner.state()
            self.seen.append((state["phase"], state["stage"], state["share"]))
        raise Interrupted

    def stop(self, owner):
        pass


def test_progress__tells_how_many_kernels_are_prepared_before_the_check(tmp_path, files):
    checker = Preparing()
    desk = Desk(tmp_path / "desk", checker)
    for name, data in files.items():
        desk.put(name, data)
    desk.start(None)
    desk._thread.join(20)
    phases, stages, shares = zip(*checker.seen, strict=True)
    assert set(phases) == {"checking"}
    after = "; it takes a minute or two"
    assert stages[:3] == (f"kernels{after}", f"kernels, 3 of 12{after}", f"kernels, 12 of 12{after}")
    assert stages[3:] == ("reading", "reading, 1 of 4", "cutting")
    assert shares[:3] == (0, 0.25, 0.99)
    assert shares[3] == 0  # the check has a bar of its own
    assert shares[3] < shares[4] < shares[5]
    assert desk.state()["phase"] == "stopped"


def test_check__words_come_before_pictures_and_none_is_missing_in_the_end(client, checked):
    desk, state = checked
    pictures = [name for name in state["parts"] if name.startswith("picture-")]
    assert state["parts"] == ["words", "scene", "closeups", "views", *pictures, "report"]
    assert len(pictures) >= 3
    report = client.ask("GET", f"{desk}/report")[2].decode("utf-8")
    for name in pictures:
        _, figure = client.data("GET", f"{desk}/parts/{name}")[1]
        assert figure in report
    words = client.data("GET", f"{desk}/parts/words")[1]
    for name in ("verdict", "tables", "checklist"):
        assert words[name] in report
    assert client.data("GET", f"{desk}/parts/closeups")[1]["1"] in report
    assert "room-" not in report  # all that room was kept for is there
    assert '{"nx":' in report


def test_check__what_is_drawn_is_left_when_the_files_change(client, files):
    """The verdict stays, and the same process checks what came."""
    desk = client.desk()
    for name, data in files.items():
        client.put(desk, name, data)
    client.data("POST", f"{desk}/check", b"null")
    state, ends = {"tick": 0}, time.monotonic() + 120
    while state.get("phase") != "drawing":  # each answer comes with the news, or after a second
        state = client.data("GET", f"{desk}/state?after={state['tick']}")[1]
        assert time.monotonic() < ends
    assert state["verdict"]["exit_status"] == 1
    assert client.put(desk, "top.nc", faced(10).encode())[0] == 200
    left = client.wait(desk)
    assert left["phase"] == "done"
    assert left["verdict"] == state["verdict"]
    assert "report" not in left["parts"]
    assert client.ask("GET", f"{desk}/report")[0] == 404
    after = client.done(desk)
    assert after["verdict"]["exit_status"] == 0
    assert after["parts"][-1] == "report"
    assert after["changes"][0] == "Before: beyond limits. Now: within limits."


def test_check__a_process_that_dies_while_it_draws_takes_no_verdict_along(client, server, files):
    desk = client.desk()
    for name, data in files.items():
        client.put(desk, name, data)
    client.data("POST", f"{desk}/check", b"null")
    state, ends = {"tick": 0}, time.monotonic() + 120
    while state.get("phase") != "drawing":
        state = client.data("GET", f"{desk}/state?after={state['tick']}")[1]
        assert time.monotonic() < ends
    server.checker._worker.process.kill()
    left = client.wait(desk)
    assert (left["phase"], left["verdict"]) == ("done", state["verdict"])
    assert "ended with status" in left["undrawn"][0]
    assert client.done(desk)["parts"][-1] == "report"


def test_state__waits_for_news(client, checked):
    desk, state = checked
    started = time.monotonic()
    assert client.data("GET", f"{desk}/state?after={state['tick']}")[1] == state
    assert time.monotonic() - started > 0.9
    assert client.ask("GET", f"{desk}/state?after=x")[0] == 400


def test_check__a_changed_program_says_what_got_better(client, checked, files):
    desk, before = checked
    client.put(desk, "top.nc", faced(10).encode())
    state = client.done(desk)
    assert state["changes"][0] == "Before: beyond limits. Now: within limits."
    gone = [words for words in state["changes"] if words.startswith("Gone: ")]
    failing = before["verdict"]["exit_status"] == 1
    assert failing
    assert len(gone) >= 1
    client.put(desk, "top.nc", files["top.nc"])
    again = client.done(desk)
    assert any(words.startswith("New: finding 1, ") for words in again["changes"])


def test_changes__say_by_how_much():
    row = {"id": "a", "other_ids": [], "kind": "gouge", "severity": "beyond", "side": 1, "number": 1}
    row |= {"message": "cut too deep", "box": [0, 0, 1, 1], "at": [0, 0, 0], "bound": 0.01}
    told = {"job": {"unit": "mm"}, "verdict": {"status": "beyond limits"}}
    then, less = (told | {"findings": [row | {"value": value}]} for value in (0.5, 0.3))
    assert "Better, from 0.50 to 0.30: cut too deep." in changes(less, then)
    assert "Worse: finding 1, cut too deep." in changes(then, less)
    assert changes(then, then)[1:] == ["1 finding as before."]


def test_check__a_bad_program_is_told_as_on_the_command_line(client, files):
    desk = client.desk()
    for name, data in (files | {"top.nc": b"G21 G90\nG1 X1O Y2 F100\n"}).items():
        client.put(desk, name, data)
    state = client.done(desk)
    assert state["phase"] == "unusable"
    assert any(line.startswith("top.nc:2:") for line in state["problems"])
    assert client.ask("GET", f"{desk}/report")[0] == 404


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("../../secret.nc", "which was not dropped"),
        ("/etc/passwd", "cannot be followed"),
        ("../" * 20 + "top.nc", "cannot be followed"),
        ("sub/.git/top.nc", "cannot be followed"),
        ("sub/..", "cannot be followed"),
        ("C:\\\\top.nc", "cannot be followed"),
    ],
)
def test_check__a_job_file_that_points_outside_is_refused(client, files, name, words):
    desk = client.desk()
    client.put(desk, "job.toml", files["job.toml"].replace(b"top.nc", name.encode()))
    client.put(desk, "top.nc", files["top.nc"])
    state = client.done(desk)
    assert state["phase"] == "unusable"
    assert words in state["problems"][0]
    assert "a file that was dropped here" in state["problems"][0]
    assert state["problems"][0].startswith("job.toml:")


def test_check__a_file_that_the_job_names_in_another_folder_is_the_dropped_one_of_that_name(client, files):
    desk = client.desk()
    client.put(desk, "job.toml", files["job.toml"].replace(b'"top.nc', b'"../../boat/top.nc'))
    client.put(desk, "top.nc", files["top.nc"])
    client.put(desk, "part.stl", files["part.stl"])
    state = client.done(desk)
    assert state["phase"] == "done"
    assert state["taken"] == ["job.toml names '../../boat/top.nc': taken to be 'top.nc', dropped here."]
    named = urllib.parse.quote(state["findings"][0]["file"], safe="")
    status, _, text = client.ask("GET", f"{desk}/text?name={named}")
    assert (status, text) == (200, files["top.nc"])


def test_check__folders_are_followed_as_they_were_dropped(client, files):
    desk = client.desk()
    client.put(desk, "all/jobs/one/job.toml", files["job.toml"].replace(b'"top.nc', b'"../../boat/top.nc'))
    client.put(desk, "all/boat/top.nc", files["top.nc"])
    client.put(desk, "all/other/top.nc", b"not this one")
    client.put(desk, "all/jobs/one/part.stl", files["part.stl"])
    state = client.done(desk)
    assert (state["phase"], state["taken"]) == ("done", [])
    client.ask("DELETE", f"{desk}/file?name=all%2Fboat%2Ftop.nc")
    client.put(desk, "all/third/top.nc", files["top.nc"])
    assert "any of 'all/other/top.nc', 'all/third/top.nc'" in client.done(desk)["problems"][0]


def _laid(folder, **texts):
    """Lay out files given as text, by name ("job", "jig" for job files, the others programs)."""
    names = {}
    for name, text in texts.items():
        file = f"{name}.toml" if name in ("job", "jig") else f"{name}.nc"
        names[file] = folder / name
        names[file].write_text(text, "utf-8")
    return lay_out(folder / "laid", names, "job.toml")


def test_lay_out__looks_into_the_job_of_a_jig(tmp_path):
    job = '[[setups]]\njig = "jig.toml"\n'
    with pytest.raises(InputProblems, match=r"jig.toml:2 \[setups #1, programs\]: found '../secret.nc'"):
        _laid(tmp_path, job=job, jig='[[setups]]\nprograms = ["../secret.nc"]\n')
    with pytest.raises(InputProblems, match=r"job.toml:2 \[setups #1, jig\]: found '../jog.toml'"):
        _laid(tmp_path, job='[[setups]]\njig = "../jog.toml"\n')
    told = _laid(
        tmp_path, job='[[setups]]\njig = "../a/jig.toml"\n', jig="programs = ['../../b/c.nc']", c="1"
    )
    jig = told.folder / "../a/jig.toml"
    assert (jig.parent / "../../b/c.nc").read_text("utf-8") == "1"
    assert (told.folder / "../../b/c.nc").resolve().is_relative_to((tmp_path / "laid").resolve())


def test_lay_out__lays_only_what_is_named_and_leaves_the_tree_nowhere(tmp_path):
    told = _laid(tmp_path, job='programs = ["../x/a.nc", "b.nc"]', a="1", b="2", c="3")
    laid = sorted(path.relative_to(tmp_path / "laid").as_posix() for path in (tmp_path / "laid").rglob("*.*"))
    assert [name for name in laid if name.endswith((".nc", ".toml"))] == [
        ".above/b.nc",
        ".above/job.toml",
        "x/a.nc",
    ]
    assert told.named == {"../x/a.nc": "a.nc", "b.nc": "b.nc"}
    with pytest.raises(InputProblems, match="lie side by side"):
        _laid(tmp_path, job='programs = ["a.nc", "a.nc/b.nc"]', a="1", b="2")


def test_lay_out__leaves_what_cannot_be_read_to_its_reader(tmp_path):
    _laid(
        tmp_path, job="\n" + ".".join(["a"] * 50_000) + " = 1"
    )  # at once: the standard reader takes a minute


@pytest.mark.parametrize(
    "name", ["a/../b.nc", "/a.nc", "a//b.nc", "./a.nc", "a/.b/c.nc", "a/con/b.nc", "a\\b/c.nc"]
)
def test_path__each_part_of_it_is_a_plain_name(name):
    with pytest.raises(InputProblems, match="rename the file"):
        safe_path(name)


def test_lay_out__knows_every_key_that_names_a_file():
    naming = {key.path.rpartition(".")[2] for key in KEYS if key.kind in ("path", "paths")}
    assert naming == set(NAMING)


def test_path__folders_are_not_endless():
    assert safe_path("a/" * 8 + "b.nc") == "a/" * 8 + "b.nc"
    with pytest.raises(InputProblems, match="9 folders"):
        safe_path("a/" * 9 + "b.nc")


def test_job__of_several_the_last_or_the_chosen_one_is_checked_and_no_jig(client, files):
    desk = client.desk()

    def chosen(told):
        return [one["name"] for one in told["files"] if one["chosen"]]

    assert chosen(client.put(desk, "job.toml", b'[[setups]]\njig = "jig.toml"\n')[1]) == ["job.toml"]
    assert chosen(client.put(desk, "jig.toml", files["job.toml"])[1]) == ["job.toml"]
    assert chosen(client.put(desk, "other.toml", files["job.toml"])[1]) == ["other.toml"]
    for name in ("jig.toml", "job.toml"):
        told = client.ask("POST", f"{desk}/choose?name={name}")
        assert chosen(json.loads(told[2])) == [name]
    assert client.ask("POST", f"{desk}/choose?name=no.toml")[0] == 404


FORM = {
    "unit": "mm",
    "blank": ["40", "30", "12"],
    "cutters": [{"number": "1", "shape": "flat", "diameter": "6"}],
    "setups": [{"programs": ["top.nc"], "turn": "none", "corner": "left front", "face": "bottom"}],
    "mesh_units": "mm",
}


def test_form__makes_the_job_that_is_checked_and_can_be_kept(client, files):
    desk = client.desk()
    client.put(desk, "part.stl", files["part.stl"])
    client.put(desk, "top.nc", files["top.nc"])
    state = client.done(desk, FORM)
    assert state["phase"] == "done"
    assert state["findings"][0]["file"] == "top.nc"
    _, headers, text = client.ask("GET", f"{desk}/job")
    assert headers["Content-Disposition"].endswith("job.toml")
    assert b"length = 40.0" in text
    told = client.done(desk, FORM | {"blank": ["40", "", "12"]})
    assert told["phase"] == "unusable"
    assert told["problems"][0].startswith(
        "blank, width: found nothing, still to be filled in, expected a length"
    )


@pytest.mark.parametrize(
    ("key", "field"),
    [
        ("cutters.3.tip", "cutter T3, tip"),
        ("cutters.3.corner", "cutter T3, corner radius"),
        ("setups[1].spoilboard", "side 2, cutters may go below the blank by"),
        ("setups[0].zero.face", "side 1, X0 Y0 and Z0"),
        ("target.units", "mesh, is in"),
        ("target.at[2]", None),
        ("target.at", "mesh, place"),
        ("limits.gouge", "limits, cut too deep by"),
        ("dowels[0].at[1]", "dowel 1, place"),
        ("fixtures[1].height", "clamp or stop 2, height"),
        ("machine.travel", None),
        (None, None),
    ],
)
def test_form__its_fields_are_told_by_their_labels(key, field):
    assert field_words(key) == field


def test_form__what_is_written_in_it_stays_a_value():
    row = {"number": '1]\nx = "', "shape": 'flat"\n[blank]', "diameter": "6\n[evil]"}
    text = job_text(FORM | {"cutters": [row]}, 'part".stl')
    assert "[evil]" not in text.splitlines()
    assert text.splitlines().count("[blank]") == 1


def test_form__dowels_clamps_tape_limits_and_the_place_of_the_mesh(tmp_path):
    areas = [
        {"what": "clamp", "side": "1", "box": ["-20", "0", "5", "30"], "height": "25"},
        {"what": "tape", "side": "", "box": ["5", "5", "35", "25"], "height": ""},
        {"what": "stop", "side": "9", "box": ["0", "30", "40", "45"], "height": "12,5"},
    ]
    more = {
        "mesh_anchor": "centre",
        "mesh_at": ["20", "", "6,5"],
        "limits": {"gouge": "0,05", "leftover": ""},
    }
    dowels = [{"x": "4", "y": "15", "diameter": "6"}]
    text = job_text(FORM | more | {"dowels": dowels, "areas": areas}, "part.stl")
    for name in ("top.nc", "part.stl"):
        (tmp_path / name).write_text("x", "utf-8")
    (tmp_path / "job.toml").write_text(text, "utf-8")
    job = read_job(tmp_path / "job.toml")
    assert (job.target.anchor, tuple(job.target.at)) == ("centre", (20, 0, 6.5))
    assert (job.limits.gouge, job.limits.leftover) == (0.05, 0.3)  # 0.3: the default that README states
    assert [(one.at, one.diameter) for one in job.dowels] == [((4, 15), 6)]
    assert [(one.name, one.height, one.setups) for one in job.fixtures] == [
        ("clamp 1", 25, ("side 1",)),
        ("stop 3", 12.5, job.fixtures[1].setups),
    ]
    assert [one.kind for one in job.holding] == ["tape"]


@pytest.mark.parametrize(
    "form", [b"[1]", b"{}", b'{"blank": 1}', b"{", b'{"blank": [1,2,3], "cutters": [1]}']
)
def test_form__that_the_page_does_not_make_is_refused(client, form):
    desk = client.desk()
    client.put(desk, "top.nc", b"G21\n")
    assert client.ask("POST", f"{desk}/check", form)[0] in (400, 404)


def test_guess__comes_from_the_files(client, files):
    desk = client.desk()
    client.put(desk, "part.stl", files["part.stl"])
    client.put(desk, "top.nc", files["top.nc"])
    told = client.data("GET", f"{desk}/guess")[1]
    assert any(words.startswith("side 1: cuts go from X") for words in told["why"])
    assert told["cutters"] == [1]
    assert told["setups"][0]["programs"] == ["top.nc"]
    assert told["dowels"] == []
    length, _, thickness = told["sizes"]
    assert any(words.startswith("The cuts of side 1 go from X") for words in length)
    assert "part.stl is 40 of its unit, x 0 to 40." in length
    assert any("lowest cut Z" in words for words in thickness)


def test_guess__holes_for_dowels_with_their_places_and_the_cutter_that_drills_them(client):
    desk = client.desk()
    client.put(desk, "side1.nc", DRILLED.encode())
    told = client.data("GET", f"{desk}/guess")[1]
    assert told["dowels"] == [{"at": ["8", "20"], "cutter": 4}, {"at": ["92", "20"], "cutter": 4}]
    words = "dowel 1: T4 only goes straight down there, to Z-15 (side1.nc:12); X8 Y20 in the program"
    assert words in told["why"]


def test_check__can_be_stopped_and_started_again(client, files):
    desk = client.desk()
    for name, data in files.items():
        client.put(desk, name, data)
    client.data("POST", f"{desk}/check", b"null")
    assert client.put(desk, "top.nc", b"G21\n")[0] in (200, 409)  # 409 unless it had ended already
    state = client.data("POST", f"{desk}/stop")[1]
    assert state["phase"] in ("stopped", "done")
    client.put(desk, "top.nc", files["top.nc"])
    assert client.done(desk)["phase"] == "done"


def test_desks__do_not_see_each_other(client, checked):
    desk = client.desk()
    assert client.ask("GET", f"{desk}/text?name=top.nc")[0] == 404
    client.ask("DELETE", desk)
    assert client.ask("GET", f"{desk}/state")[0] == 410
    assert client.data("GET", f"{checked[0]}/state")[0] == 200


# ---- the command ----


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_command__ends_cleanly_and_leaves_nothing(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-m", "simkit", "page"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"TMPDIR": str(tmp_path)},
    )
    process.stdout.readline()
    address = process.stdout.readline().strip()
    assert address.startswith("http://127.0.0.1:")
    assert len(list(tmp_path.glob("simkit-page-*"))) == 1
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "Traceback" not in errors
    assert list(tmp_path.iterdir()) == []


def test_worker__loads_what_a_check_needs_and_stays():
    worker = Worker(1)
    try:
        record, is_gone = worker.ask({"warm": True, "loaded": True}, NO_LIMITS, 0, lambda *_: None)
        assert record is None
        assert not is_gone  # a fault on the way would have ended it, and the first check begun anew
        assert worker.process.poll() is None
    finally:
        worker.end()
