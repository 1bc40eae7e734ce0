"""A headless Chromium driven through the DevTools protocol, and the server of a page: only what the
tests need."""

from __future__ import annotations

import asyncio
import base64
import json
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import aiohttp

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--no-first-run",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-dev-shm-usage",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-background-timer-throttling",
    "--disable-renderer-backgrounding",
    "--disable-backgrounding-occluded-windows",
    "--hide-scrollbars",
    "--remote-debugging-port=0",
)


def find_chromium() -> str | None:
    """Return where a Chromium is, or None."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


class Chromium:
    """One browser process; `open` gives tabs."""

    def __init__(self) -> None:
        program = find_chromium()
        assert program is not None
        self.folder = tempfile.TemporaryDirectory(prefix="chromium-")
        self.downloads = Path(self.folder.name) / "downloads"
        self.downloads.mkdir()
        self.process = subprocess.Popen(
            [program, *FLAGS, f"--user-data-dir={self.folder.name}", "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.loop = asyncio.new_event_loop()
        self.port = self._port()
        self.session: aiohttp.ClientSession = self.run(self._session())

    async def _session(self) -> aiohttp.ClientSession:
        return aiohttp.ClientSession()

    def run(self, work: Any) -> Any:
        """Do one piece of asynchronous work."""
        return self.loop.run_until_complete(work)

    def _port(self) -> int:
        file = Path(self.folder.name) / "DevToolsActivePort"
        for _ in range(300):
            if file.exists() and file.read_text().strip():
                return int(file.read_text().split()[0])
            time.sleep(0.05)
        raise RuntimeError("Chromium did not start")

    def open(self, address: str = "about:blank", size: tuple[int, int] = (1280, 800)) -> Tab:
        """Open a tab."""

        async def new() -> dict[str, Any]:
            url = f"http://127.0.0.1:{self.port}/json/new?about:blank"
            async with self.session.put(url) as answer:
                return dict(await answer.json(content_type=None))

        tab = Tab(self, self.run(new()))
        tab.resize(*size)
        if address != "about:blank":
            tab.go(address)
        return tab

    def close(self) -> None:
        """End the browser."""
        self.run(self.session.close())
        self.process.terminate()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(5)
        self.loop.close()
        for _ in range(20):
            try:
                self.folder.cleanup()
            except OSError:  # a helper process still writes its profile
                time.sleep(0.1)
            else:
                break


class Tab:
    """One tab: go, evaluate, press, drag, screenshot. `errors` gathers what the page complains."""

    def __init__(self, browser: Chromium, target: dict[str, Any]) -> None:
        self.browser, self.target = browser, target
        self.number = 0
        self.errors: list[str] = []
        self.requests: list[str] = []
        self.refused: list[str] = []
        self.socket: Any = browser.run(self._connect())
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")
        self.call("Emulation.setFocusEmulationEnabled", enabled=True)
        self.call(
            "Browser.setDownloadBehavior",
            behavior="allow",
            downloadPath=str(browser.downloads),
        )

    async def _connect(self) -> Any:
        return await self.browser.session.ws_connect(
            self.target["webSocketDebuggerUrl"], max_msg_size=0
        )

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send one command and return its result."""
        return dict(self.browser.run(self._call(method, params)))

    async def _call(self, method: str, params: dict[str, Any]) -> dict[str, Any]:
        self.number += 1
        number = self.number
        await self.socket.send_json({"id": number, "method": method, "params": params})
        while True:
            message = json.loads((await asyncio.wait_for(self.socket.receive(), 30)).data)
            if message.get("id") == number:
                if "error" in message:
                    raise RuntimeError(f"{method}: {message['error']}")
                return dict(message["result"])
            self._note(message)

    def _note(self, message: dict[str, Any]) -> None:
        method, params = message.get("method"), message.get("params", {})
        if method == "Runtime.exceptionThrown":
            detail = params["exceptionDetails"]
            self.errors.append(str(detail.get("exception", {}).get("description", detail)))
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.errors.append(
                " ".join(str(a.get("value", a.get("preview", a))) for a in params["args"])
            )
        elif method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Network.responseReceived" and params["response"]["status"] >= 400:
            self.refused.append(params["response"]["url"])
        elif method == "Log.entryAdded" and params["entry"]["level"] == "error":
            self.errors.append(f"{params['entry']['text']} {params['entry'].get('url', '')}")

    def go(self, address: str) -> None:
        """Load an address."""
        self.call("Page.navigate", url=address)

    def resize(self, width: int, height: int, mobile: bool = False) -> None:
        """Give the tab a size in pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=mobile,
        )

    def js(self, expression: str) -> Any:
        """Return what an expression comes to; a promise is waited for."""
        answer = self.call(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        if "exceptionDetails" in answer:
            raise AssertionError(answer["exceptionDetails"])
        return answer["result"].get("value")

    def data(self, expression: str) -> Any:
        """Return what an expression comes to, by way of JSON: for what Vue wraps."""
        return json.loads(self.js(f"JSON.stringify({expression})"))

    def wait(self, expression: str, seconds: float = 20.0) -> None:
        """Wait until an expression is true; what fails to evaluate is not yet."""
        end = time.monotonic() + seconds
        guarded = f"(() => {{ try {{ return Boolean({expression}) }} catch {{ return null }} }})()"
        while time.monotonic() < end:
            try:
                if self.js(guarded):
                    return
            except RuntimeError:  # the tab goes from one page to the next
                pass
            time.sleep(0.03)
        raise AssertionError(f"not within {seconds} s: {expression}; complaints: {self.errors}")

    def press(
        self,
        key: str,
        code: str = "",
        shift: bool = False,
        text: str | None = None,
        modifiers: int = 0,
    ) -> None:
        """Press and let go one key; `modifiers` as the protocol has them (2: Ctrl)."""
        shown = key if text is None and len(key) == 1 and not modifiers else text
        same: dict[str, Any] = {"key": key, "code": code, "modifiers": modifiers or 8 * shift}
        if modifiers == 2 and key == "a":
            same["commands"] = ["selectAll"]
        if key.startswith("Arrow"):
            same["windowsVirtualKeyCode"] = 37 + ["Left", "Up", "Right", "Down"].index(key[5:])
        if key == "Tab":
            same["windowsVirtualKeyCode"] = 9
        elif key == "Enter":
            same["windowsVirtualKeyCode"], shown = 13, "\r"
        extra = {"text": shown} if shown else {}
        self.call("Input.dispatchKeyEvent", type="keyDown", **same, **extra)
        self.call("Input.dispatchKeyEvent", type="keyUp", **same)

    def mouse(self, kind: str, x: float, y: float, held: bool = False, shift: bool = False) -> None:
        """One mouse event: "mousePressed", "mouseMoved" or "mouseReleased"."""
        button = "left" if held or kind != "mouseMoved" else "none"
        self.call(
            "Input.dispatchMouseEvent",
            type=kind,
            x=x,
            y=y,
            button=button,
            buttons=1 if held else 0,
            clickCount=1,
            modifiers=8 if shift else 0,
        )

    def drag(
        self, x: float, y: float, dx: float, dy: float, steps: int = 10, shift: bool = False
    ) -> None:
        """Drag with the mouse."""
        self.mouse("mouseMoved", x, y)
        self.mouse("mousePressed", x, y, held=True, shift=shift)
        for k in range(1, steps + 1):
            self.mouse("mouseMoved", x + dx * k / steps, y + dy * k / steps, True, shift)
        self.mouse("mouseReleased", x + dx, y + dy, shift=shift)

    def fingers(self, kind: str, *points: tuple[float, float]) -> None:
        """One touch event: "touchStart", "touchMove" or "touchEnd"."""
        places = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]
        self.call("Input.dispatchTouchEvent", type=kind, touchPoints=places)

    def picture(self) -> bytes:
        """Return the tab as a PNG."""
        return base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"])

    def close(self) -> None:
        """Close the tab."""
        self.call("Page.close")
        self.browser.run(self.socket.close())


READY = "snapsim.page && snapsim.page.figures && snapsim.page.view.drawn > 1"
"""True in a tab once the page shows its scene and the figures."""


class Served:
    """A running `snapsim page`."""

    def __init__(self, scene: Path, *more: str) -> None:
        command = [sys.executable, "-m", "snapsim", "page", str(scene), "--no-open", "--json"]
        self.process = subprocess.Popen(
            [*command, *more], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        text = ""
        while "}" not in text:
            line = self.process.stdout.readline()
            if not line:
                raise RuntimeError(f"not served: {self.process.communicate()[1]}")
            text += line
        self.address: str = json.loads(text)["address"]

    def workers(self) -> list[int]:
        """Return the processes that it started (on Linux)."""
        pid = self.process.pid
        listed = Path(f"/proc/{pid}/task/{pid}/children")
        return [int(n) for n in listed.read_text().split()] if listed.exists() else []

    def close(self) -> int:
        """Interrupt it as Ctrl-C does, and return its exit status."""
        self.process.send_signal(signal.SIGINT)
        try:
            return self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        finally:
            for pipe in (self.process.stdout, self.process.stderr):
                if pipe is not None:
                    pipe.close()
