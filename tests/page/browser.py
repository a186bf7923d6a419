"""A headless Chromium that a test talks to through two pipes, in the words of its DevTools protocol."""

import base64
import itertools
import json
import os
import select
import shutil
import subprocess
import time

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
)


def find():
    """Path of an installed Chromium, or None."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


class Browser:
    """One browser with one page; keeps every event that the page sends."""

    def __init__(self, program, profile, timeout=60.0):
        self.timeout, self.events, self._ids, self._rest = timeout, [], itertools.count(1), b""
        to_read, self._write = os.pipe()
        self._read, to_write = os.pipe()

        def join_pipes():
            # The browser reads at 3 and writes at 4; first out of the way, for either may be in the other's place.
            low, high = os.dup(to_read), os.dup(to_write)
            os.dup2(low, 3)
            os.dup2(high, 4)

        self._process = subprocess.Popen(
            [program, *FLAGS, f"--user-data-dir={profile}", "about:blank"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            pass_fds=(3, 4, to_read, to_write),
            preexec_fn=join_pipes,
        )
        os.close(to_read)
        os.close(to_write)
        self._session = None
        target = self._send("Target.createTarget", url="about:blank")["targetId"]
        self._session = self._send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self._send(f"{domain}.enable")

    def close(self):
        """End the browser that was started here."""
        try:
            self._process.terminate()
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._read)
        os.close(self._write)

    def _send(self, method, **params):
        """Send a command and wait for its answer; events in between are kept."""
        number = next(self._ids)
        message = {"id": number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        waiting = json.dumps(message).encode() + b"\0"
        while waiting:
            waiting = waiting[os.write(self._write, waiting) :]
        while True:
            answer = self._receive()
            if answer.get("id") == number:
                assert "error" not in answer, answer["error"]
                return answer["result"]
            self.events.append(answer)

    def _receive(self):
        end = time.monotonic() + self.timeout
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._read], [], [], max(end - time.monotonic(), 0))
            assert ready, "the browser does not answer"
            piece = os.read(self._read, 1 << 16)
            assert piece, "the browser has gone"
            self._rest += piece
        message, _, self._rest = self._rest.partition(b"\0")
        return json.loads(message)

    def scheme(self, name):
        """Ask for light or dark pages from now on, as a person's system does."""
        self._send("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": name}])

    def open(self, url, width, height=900):
        """Load a page at a width and wait until it stands."""
        self.events.clear()
        self._send("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self._send("Page.navigate", url=url)
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self._receive())

    def evaluate(self, script):
        """Value of an expression in the page; a promise is waited for."""
        result = self._send("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in result, result["exceptionDetails"]
        return result["result"].get("value")

    def requests(self):
        """Addresses of everything that was asked for since the page was opened."""
        return [
            event["params"]["request"]["url"]
            for event in self.events
            if event.get("method") == "Network.requestWillBeSent"
        ]

    def complaints(self):
        """What the console or the log says."""
        return [
            event["params"]
            for event in self.events
            if event.get("method") in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        ]

    def pdf(self, width, height):
        """Print the page on paper of a size in inches."""
        result = self._send("Page.printToPDF", paperWidth=width, paperHeight=height, preferCSSPageSize=False)
        return base64.b64decode(result["data"])

    def picture(self):
        """The whole page as PNG."""
        result = self._send("Page.captureScreenshot", captureBeyondViewport=True)
        return base64.b64decode(result["data"])
