"""The page in a real browser: a case, its server, and Chromium.

Take `bench` for the small case, served from this process (at once there, with its `session` at hand), `page` for a
browser page that shows it, `stand(folder)` for any other case, `open_page(address, viewport=...)` for any other page.
`serve(folder)` starts the program itself, which takes seconds and can be killed. `accessible(page)` runs axe.
"""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from commands.command_line import TAPS, TOP

from bracedtop.scripts.bench import loopback, page_server
from bracedtop.scripts.page.app import application
from bracedtop.scripts.page.guard import Door
from bracedtop.scripts.page.session import Session

try:
    from playwright import sync_api as playwright
except ImportError:
    playwright = None  # type: ignore[assignment]

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))),
    os.environ.get("CHROMIUM"),
)

PATIENCE_MS = 15_000
"""For what a page waits at most in tests; a busy machine takes seconds to load the libraries."""

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@dataclass
class Server:
    """A server of the page in a process of its own."""

    folder: Path
    arguments: tuple[str, ...] = ()
    address: str = ""
    process: "subprocess.Popen[str] | None" = field(default=None, repr=False)

    def start(self) -> "Server":
        command = [sys.executable, "-m", "bracedtop.scripts.main", "bench", str(self.folder), "--no-browser", "--json"]
        self.process = subprocess.Popen(
            [*command, *self.arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        text = ""
        while not text.rstrip().endswith("}"):
            line = self.process.stdout.readline()
            assert line, self.process.stderr.read() if self.process.stderr else ""
            text += line
        self.address = json.loads(text)["address"]
        return self

    def kill(self) -> None:
        """As a machine dies: nothing is tidied."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()

    def stop(self) -> str:
        """Ctrl-C; returns what was written on standard error."""
        assert self.process is not None
        self.process.send_signal(signal.SIGINT)
        _, errors = self.process.communicate(timeout=30)
        return errors


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what needs a browser, before the marks choose."""
    for item in items:
        if "chromium" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator["playwright.Browser"]:
    if playwright is None:
        pytest.skip("no Playwright; the page's tests need it: .[test] brings it")
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine; the page's tests need one (CHROMIUM names another place)")
    arguments = [
        "--no-sandbox",
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        "--autoplay-policy=no-user-gesture-required",
    ]
    with playwright.sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield browser
        browser.close()


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """The small case of the command's tests: solves in a tenth of a second."""
    folder = tmp_path / "small"
    folder.mkdir()
    (folder / "top.toml").write_text(TOP)
    (folder / "taps.csv").write_text(TAPS)
    return folder


@pytest.fixture
def serve() -> Iterator[Callable[..., Server]]:
    """Starts servers and ends them after the test."""
    servers: list[Server] = []

    def start(folder: Path, *arguments: str) -> Server:
        servers.append(Server(folder, arguments))
        return servers[-1].start()

    yield start
    for server in servers:
        server.kill()
        for stream in (server.process.stdout, server.process.stderr) if server.process else ():
            if stream is not None:
                stream.close()


@dataclass
class Stand:
    """A server of the page in a thread of this process."""

    folder: Path
    session: Session
    address: str


@pytest.fixture
def stand() -> Iterator[Callable[[Path], Stand]]:
    """Serves cases from this process until the end of the test."""
    running: list[tuple[object, threading.Thread, socket.socket]] = []

    def start(folder: Path) -> Stand:
        listener = loopback(0)
        door = Door("t" * 32, listener.getsockname()[1])
        session = Session(folder)
        server = page_server(application(session, door))
        thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
        thread.start()
        running.append((server, thread, listener))
        return Stand(folder, session, door.address)

    yield start
    for server, thread, listener in running:
        server.should_exit = True  # type: ignore[attr-defined]
        thread.join(10)
        listener.close()


@pytest.fixture
def bench(small: Path, stand: Callable[[Path], Stand]) -> Stand:
    return stand(small)


@pytest.fixture
def open_page(chromium: "playwright.Browser") -> Iterator[Callable[..., "playwright.Page"]]:
    """Opens an address in a context of its own; fails the test if the page's console has an error."""
    contexts: list[playwright.BrowserContext] = []
    errors: list[str] = []

    def opened(address: str, **options: object) -> "playwright.Page":
        context = chromium.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda message: _note(message, errors))
        page.goto(address)
        playwright.expect(page.locator("#tabs [role=tab]").first).to_be_visible(timeout=PATIENCE_MS)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert errors == []


def _note(message: "playwright.ConsoleMessage", errors: list[str]) -> None:
    # A server that a test has killed is no error of the page; one that answers with an error is.
    ended = ("WebSocket", "Failed to load resource: net::ERR_", "Failed to fetch dynamically")
    if message.type == "error" and not any(word in message.text for word in ended):
        errors.append(message.text)


@pytest.fixture
def page(bench: Stand, open_page: Callable[..., "playwright.Page"]) -> "playwright.Page":
    return open_page(bench.address)


@pytest.fixture
def accessible() -> Callable[..., None]:
    """Asserts that axe-core finds nothing against WCAG 2.2 A and AA on a page."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason=".[test] brings axe")

    def check(page: "playwright.Page") -> None:
        found = axe.Axe().run(page, options={"runOnly": RULES}).response["violations"]
        told = [f"{one['id']}: {one['help']}: {[node['target'] for node in one['nodes']][:5]}" for one in found]
        assert told == []

    return check
