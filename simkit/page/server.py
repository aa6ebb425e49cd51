"""The server of the page: loopback only, a secret in every address, nothing taken from other origins.

What it keeps out: pages of other sites that guess the port (the secret, Origin, Sec-Fetch-Site), names that
are made to lead here (Host), and scripts in what was dropped (a policy that runs only our own files).
"""

from __future__ import annotations

import contextlib
import hmac
import json
import re
import secrets
import shutil
import subprocess
import tempfile
import threading
import time
import urllib.parse
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems
from simkit.page.checker import Checker
from simkit.page.desk import Busy, Desk
from simkit.page.view import page_html
from simkit.runs.unchecked import keep_traceback

MOST_DESKS = 16
PATIENCE = 30.0  # s that a client may be silent
FORM_BYTES = 200_000
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
JS, CSS = "text/javascript; charset=utf-8", "text/css; charset=utf-8"
# Everything that is sent as it lies in simkit: address -> package, file, type.
STATIC = {
    "page.js": ("simkit.page", "page.js", JS),
    "form.js": ("simkit.page", "form.js", JS),
    "text.js": ("simkit.page", "text.js", JS),
    "page.css": ("simkit.page", "page.css", CSS),
    "scene.js": ("simkit.report.page", "scene.js", JS),
    "report.css": ("simkit.report.page", "style.css", CSS),
}
_DESK = re.compile(r"[0-9a-f]{32}")


class Refused(Exception):
    """A request that is not served: a status of HTTP, and words for a person."""

    def __init__(self, status: int, words: str):
        super().__init__(words)
        self.status, self.words = status, words


class PageServer(ThreadingHTTPServer):
    """Serves the page on 127.0.0.1 until `close`; all that was dropped lies in one temporary folder.

    port: 0 for any free one.  cell mm: of the checks.  most: bytes that one desk may hold.
    """

    daemon_threads = True
    allow_reuse_address = False

    def __init__(self, port: int, cell: float, most: int):
        super().__init__(("127.0.0.1", port), Handler)
        self.token = secrets.token_urlsafe(24)
        self.most = most
        self.folder = Path(tempfile.mkdtemp(prefix="simkit-page-"))
        self.checker = Checker(cell)
        threading.Thread(target=self.checker.warm, daemon=True).start()
        self.desks: dict[str, Desk] = {}
        self._lock = threading.Lock()
        self.hosts = {f"{name}:{self.server_port}" for name in ("127.0.0.1", "localhost")}
        self.address = f"http://127.0.0.1:{self.server_port}/{self.token}/"

    def handle_error(self, request, client_address) -> None:
        """Say nothing of a client that went away."""

    def new_desk(self) -> str:
        """Return the name of a new desk; the one that was used least lately goes when there are too many."""
        name = secrets.token_hex(16)
        with self._lock:
            idle = [one for one in self.desks if not self.desks[one].is_busy()]
            if len(self.desks) >= MOST_DESKS:
                if not idle:
                    raise Refused(503, f"{MOST_DESKS} pages are checking already; close one")
                gone = min(idle, key=lambda one: self.desks[one].used)
                self.desks.pop(gone).close()
            self.desks[name] = Desk(self.folder / name, self.checker)
        return name

    def desk(self, name: str) -> Desk:
        """Return a desk.  Raises Refused for one that is not there."""
        with self._lock:
            found = self.desks.get(name)
        if found is None:
            raise Refused(410, "this page was put away; load it again and drop the files once more")
        found.used = time.monotonic()
        return found

    def put_away(self, name: str) -> None:
        """Remove a desk and its files."""
        with self._lock:
            found = self.desks.pop(name, None)
        if found is not None:
            found.close()

    def close(self) -> None:
        """End the checks and remove everything that was dropped."""
        self.server_close()
        self.checker.end()
        for name in list(self.desks):
            self.put_away(name)
        shutil.rmtree(self.folder, ignore_errors=True)


class Handler(BaseHTTPRequestHandler):
    """One request.  Every address is one of a short list; none is looked up on disk."""

    server: PageServer
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "simkit", ""
    timeout = PATIENCE

    def log_message(self, *_: Any) -> None:
        """Print nothing: addresses bear the secret."""

    def do_GET(self) -> None:
        """Send the page, one of its files, or what a desk holds."""
        self._serve()

    do_POST = do_PUT = do_DELETE = do_GET

    def _serve(self) -> None:
        try:
            self._route(self._words())
        except Refused as no:
            self._no(no.status, no.words)
        except Busy:
            self._no(409, "a check runs; stop it first")
        except InputProblems as problems:
            self._json({"problems": problems.lines()}, 422)
        except KeyError:
            self._no(404, "nothing is there")
        except (ValueError, RecursionError):
            self._no(400, "a request that cannot be read")
        except (ConnectionError, TimeoutError):
            self.close_connection = True
        except Exception:
            self._no(500, f"a fault of simkit itself; {keep_traceback()}")

    # ---- who asks ----

    def _words(self) -> list[str]:
        """Return the parts of the address behind the secret.  Raises Refused for what is not ours."""
        if self.headers.get_all("Host", []) not in [[host] for host in self.server.hosts]:
            raise Refused(421, "this address is not served here")
        origin = f"http://{self.headers['Host']}"
        path = urllib.parse.urlsplit(self.path).path if self.path.startswith("/") else ""
        first, _, rest = path.removeprefix("/").partition("/")
        if not hmac.compare_digest(first.encode("utf-8", "replace"), self.server.token.encode("ascii")):
            raise Refused(403, "this address lacks its secret: open the one that simkit page printed")
        is_reading = self.command == "GET"
        told = self.headers.get("Origin")
        if told is None and not is_reading:
            raise Refused(403, "a request without an origin")
        if told is not None and told != origin:
            raise Refused(403, "a request from another origin")
        if self.headers.get("Sec-Fetch-Site", "none") not in ("same-origin", "none"):
            raise Refused(403, "a request from another site")
        if not is_reading and self.headers.get("X-Simkit") != "page":
            raise Refused(403, "a request that the page did not make")
        return rest.split("/")

    # ---- what is asked ----

    def _route(self, words: list[str]) -> None:
        if self.command == "GET" and words == [""]:
            self._send(page_html(self.server.most).encode("utf-8"), "text/html; charset=utf-8")
        elif self.command == "GET" and len(words) == 1 and words[0] in STATIC:
            package, name, kind = STATIC[words[0]]
            self._send(files(package).joinpath(name).read_bytes(), kind)
        elif self.command == "POST" and words == ["desk"]:
            self._body(0)
            self._json({"desk": self.server.new_desk()})
        elif len(words) >= 2 and words[0] == "desk" and _DESK.fullmatch(words[1]):
            self._desk_route(words[1], words[2:])
        else:
            raise Refused(404, "nothing is there")

    def _desk_route(self, name: str, words: list[str]) -> None:
        desk, asked = self.server.desk(name), (self.command, *words)
        if asked == ("PUT", "file"):
            data = self._body(self.server.most - desk.size() + self._replaced(desk))
            self._json({"name": desk.put(self._name(), data), "files": desk.files()})
        elif asked == ("DELETE", "file"):
            desk.take_away(self._name())
            self._json({"files": desk.files()})
        elif asked == ("POST", "choose"):
            self._body(0)
            desk.choose(self._name())
            self._json({"files": desk.files()})
        elif asked == ("GET", "text"):
            self._send(desk.text_of(self._name()).encode("utf-8", "replace"), "text/plain; charset=utf-8")
        elif asked == ("GET", "guess"):
            with contextlib.suppress(subprocess.SubprocessError):
                self._json(desk.prefill())
                return
            self._json({"problems": ["the files could not be looked at; fill in the form yourself"]})
        elif asked == ("POST", "check"):
            form = json.loads(self._body(FORM_BYTES) or b"null")
            if form is not None and not isinstance(form, dict):
                raise Refused(400, "no form")
            self._json({"number": self._started(desk, form)})
        elif asked == ("POST", "stop"):
            self._body(0)
            desk.stop()
            self._json(desk.state())
        elif asked == ("GET", "state"):
            self._json(desk.state(self._number("after")))
        elif asked[:2] == ("GET", "parts") and len(asked) == 3:
            self._send(desk.part(asked[2], self._number("of")), "application/json")
        elif asked == ("GET", "report"):
            name, data = desk.report()
            self._send(data, "text/html; charset=utf-8", name)
        elif asked == ("GET", "result"):
            name, data = desk.result()
            self._send(data, "application/json", name)
        elif asked == ("GET", "job"):
            found = desk.job_file()
            if found is None:
                raise Refused(404, "there is no job file yet: check once")
            self._send(found[1], "text/plain; charset=utf-8", found[0])
        elif asked == ("DELETE",):
            self.server.put_away(name)
            self._json({})
        else:
            raise Refused(404, "nothing is there")

    def _started(self, desk: Desk, form: dict[str, Any] | None) -> int:
        try:
            return desk.start(form)
        except (ValueError, AttributeError, TypeError):  # rows of a form that are none
            raise Refused(400, "no form that this page makes") from None

    def _replaced(self, desk: Desk) -> int:
        """Return the size of the file that a new one takes the place of."""
        return sum(one["size"] for one in desk.files() if one["name"] == self._name())

    def _name(self) -> str:
        names = urllib.parse.parse_qs(urllib.parse.urlsplit(self.path).query, errors="strict").get("name", [])
        if len(names) != 1:
            raise Refused(400, "one name is needed")
        return names[0]

    def _number(self, name: str) -> int | None:
        """Return a number that the request states, None where it does not."""
        stated = urllib.parse.parse_qs(urllib.parse.urlsplit(self.path).query).get(name, [])
        return int(stated[0]) if stated else None

    # ---- bytes in and out ----

    def _body(self, most: int) -> bytes:
        """Return the body of a request.  Raises Refused before anything is read that is too large."""
        lengths = self.headers.get_all("Content-Length", [])
        if "Transfer-Encoding" in self.headers or len(lengths) > 1:
            raise Refused(411, "the size must be told before")
        text = lengths[0].strip() if lengths else "0"
        if not re.fullmatch(r"[0-9]{1,15}", text):
            raise Refused(400, "no size")
        size = int(text)
        if size > most:
            whole = self.server.most / 1e6
            raise Refused(413, f"too large: all files together may have {whole:g} MB (--most-size)")
        data = self.rfile.read(size)
        if len(data) < size:
            raise ConnectionError("it broke off")
        return data

    def _no(self, status: int, words: str) -> None:
        self.close_connection = True  # what was not read of the body must not be taken for a request
        self._json({"problems": [words]}, status)

    def _json(self, value: Any, status: int = 200) -> None:
        self._send(json.dumps(value).encode("ascii"), "application/json", status=status)

    def _send(self, data: bytes, kind: str, download: str | None = None, status: int = 200) -> None:
        self.send_response(status)
        for name, value in HEADERS.items():
            self.send_header(name, value)
        if download is not None:  # RFC 6266, the name as RFC 8187 writes it
            name = urllib.parse.quote(download, safe="")
            self.send_header("Content-Disposition", f"attachment; filename*=UTF-8''{name}")
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        with contextlib.suppress(ConnectionError):
            self.wfile.write(data)
