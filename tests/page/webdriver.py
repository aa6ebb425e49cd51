"""A browser driven over W3C WebDriver (chromedriver), as much of it as the tests need."""

import base64
import http.client
import json
import shutil
import socket
import subprocess
import time

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # W3C WebDriver, 6.1: the key of a web element
FLAGS = (
    "--headless=new --no-sandbox --disable-quic --no-first-run --disable-background-networking "
    "--disable-sync --disable-component-update --enable-unsafe-swiftshader"
)


class Browser:
    def __init__(self, folder, width, height):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self._port = free.getsockname()[1]
        words = [DRIVER, f"--port={self._port}"]
        self._process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.downloads = folder / "downloads"
        options = {
            "binary": CHROMIUM,
            "args": [
                *FLAGS.split(),
                f"--user-data-dir={folder / 'profile'}",
                f"--window-size={width},{height}",
            ],
            "prefs": {"download.default_directory": str(self.downloads)},
        }
        wanted = {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
        self._session = ""
        until(lambda: self._ask("GET", "/status")["ready"], ignore=(OSError,))
        made = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self._session = f"/session/{made['sessionId']}"

    def _ask(self, method, path, body=None):
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=120)
        try:
            data = None if method == "GET" else json.dumps(body or {})
            connection.request(method, f"{getattr(self, '_session', '')}{path}", data)
            value = json.loads(connection.getresponse().read())["value"]
        finally:
            connection.close()
        if isinstance(value, dict) and "error" in value:
            raise RuntimeError(value["message"])
        return value

    def be_small(self, width, height):
        """Show the page at a size below the smallest window (Chrome DevTools Protocol, Emulation)."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
        what = {"cmd": "Emulation.setDeviceMetricsOverride", "params": size}
        self._ask("POST", "/goog/cdp/execute", what)

    def be_dark(self, dark=True):
        """Show the page as to a person who asked for dark colours, or for light ones."""
        name = "dark" if dark else "light"
        wish = {"media": "", "features": [{"name": "prefers-color-scheme", "value": name}]}
        self._ask("POST", "/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": wish})

    def be_print(self):
        """Show the page as it is printed, but for the cut into sheets."""
        self._ask(
            "POST",
            "/goog/cdp/execute",
            {"cmd": "Emulation.setEmulatedMedia", "params": {"media": "print", "features": []}},
        )

    def open(self, address):
        self._ask("POST", "/url", {"url": address})

    def run(self, script, *arguments):
        """Run the body of a function in the page; arguments[0] and so on are its own."""
        return self._ask("POST", "/execute/sync", {"script": script, "args": list(arguments)})

    def find(self, selector):
        return self._ask("POST", "/element", {"using": "css selector", "value": selector})[ELEMENT]

    def click(self, selector):
        element = self.find(selector)
        self.run("arguments[0].scrollIntoView({block: 'center'})", {ELEMENT: element})
        self._ask("POST", f"/element/{element}/click")

    def type(self, selector, text):
        self._ask("POST", f"/element/{self.find(selector)}/value", {"text": text})

    def text(self, selector):
        return self.run("return document.querySelector(arguments[0]).innerText", selector)

    def drop(self, paths):
        """Drop files on the page, as a hand with a mouse would."""
        files = [[path.name, base64.b64encode(path.read_bytes()).decode()] for path in paths]
        self.run(
            """const held = new DataTransfer();
            for (const [name, text] of arguments[0])
              held.items.add(new File([Uint8Array.from(atob(text), (c) => c.charCodeAt(0))], name));
            for (const kind of ["dragenter", "dragover", "drop"])
              document.getElementById("drop").dispatchEvent(
                new DragEvent(kind, { dataTransfer: held, bubbles: true, cancelable: true }));""",
            files,
        )

    def drop_paths(self, paths):
        """Drop files and folders as they lie on disk (Chrome DevTools Protocol, Input.dispatchDragEvent)."""
        data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
        for kind in ("dragEnter", "dragOver", "drop"):
            event = {"type": kind, "x": 200, "y": 150, "data": data}
            self._ask("POST", "/goog/cdp/execute", {"cmd": "Input.dispatchDragEvent", "params": event})

    def press(self, key):
        """Press a key as a hand on the keyboard would; key: of W3C WebDriver's table, "\ue004" for Tab."""
        keys = [{"type": kind, "value": key} for kind in ("keyDown", "keyUp")]
        self._ask("POST", "/actions", {"actions": [{"type": "key", "id": "keys", "actions": keys}]})

    def complaints(self):
        rows = self._ask("POST", "/se/log", {"type": "browser"})
        return [row["message"] for row in rows if "GPU stall" not in row["message"]]

    def picture(self, path):
        path.write_bytes(base64.b64decode(self._ask("GET", "/screenshot")))

    def end(self):
        try:
            if self._session:
                self._ask("DELETE", "")
        finally:
            self._process.terminate()
            self._process.wait(20)


def until(is_so, seconds=90, ignore=()):
    """Wait until something is so, and return it; fails when it never is."""
    ends = time.monotonic() + seconds
    while True:
        try:
            if found := is_so():
                return found
        except ignore:
            pass
        assert time.monotonic() < ends, "it never came"
        time.sleep(0.1)
