"""How soon the page answers a drag: from the browser's event to the figures in the page, and the server's part of it.

A station of the first brace is moved by the mouse in Chromium, up and down in small steps, each some time after the
last one was answered. What is measured is from the time stamp of the browser's pointer event to the change of the
table's text; drawing that on the screen comes on top, at most one frame. The case's what-if model is made first if none
is kept.

example:
  python scripts/benchmarks/page.py cases/wren --moves 100
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import shutil
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

PATIENCE_MS = 120_000

LISTEN = """async () => {
  const { bench } = await import('./static/main.js');
  const told = (window.told = { browser: [], server: [], processor: [] });
  let moved = null;
  addEventListener('pointermove', (event) => { moved ??= event.timeStamp; }, true);
  new MutationObserver(() => {
    if (moved === null) return;
    told.browser.push(performance.now() - moved);
    moved = null;
  }).observe(document.querySelector('#view-drawing .rungs tbody'), { subtree: true, childList: true });
  bench.on('answered', ({ ms, processor_ms: processor }) => {
    if (ms === undefined) return;
    told.server.push(ms);
    told.processor.push(processor);
  });
}"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("case", type=Path)
    parser.add_argument("--moves", type=int, default=100, help="how often the station is moved (default 100)")
    parser.add_argument("--pause", type=int, default=60, help="milliseconds between moves (default 60)")
    args = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "case"
        shutil.copytree(args.case, folder, ignore=shutil.ignore_patterns("out", "page*"))
        told = measured(folder, args.moves, args.pause)
    print(f"event to figures in the page  {_line(told['browser'])}")
    print(f"of these the server's own     {_line(told['server'])}")
    print(f"its processor time            {_line(told['processor'])}")
    if hasattr(os, "getloadavg"):
        print(f"on {os.cpu_count()} processors with {os.getloadavg()[0]:.1f} processes at work")
    return 0


def measured(folder: Path, n_moves: int, pause: int) -> dict[str, list[float]]:
    """Milliseconds of every answer, in the browser and in the server."""
    from playwright.sync_api import expect, sync_playwright

    from bracedtop.fem.case import read_case
    from bracedtop.fem.reduced_file import case_reduced
    from bracedtop.scripts.bench import loopback, page_server
    from bracedtop.scripts.page.app import application
    from bracedtop.scripts.page.guard import Door
    from bracedtop.scripts.page.session import Session

    case_reduced(read_case(folder))
    listener = loopback(0)
    door = Door("t" * 32, listener.getsockname()[1])
    session = Session(folder)
    server = page_server(application(session, door))
    thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
    thread.start()
    chromium = next((path for name in ("chromium", "google-chrome") if (path := shutil.which(name))), None)
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(PATIENCE_MS)
        page.goto(door.address)
        # After the full solution, so that nothing else is being worked out.
        expect(page.locator("#view-drawing .told")).to_contain_text("The drawing in full", timeout=PATIENCE_MS)
        page.evaluate(LISTEN)
        handle = page.locator("#view-drawing .handle").nth(1)
        handle.scroll_into_view_if_needed()
        box: Any = handle.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        for k in range(n_moves):
            # Back and forth by some tenths of a millimetre, within the quick model's range.
            page.mouse.move(x, y + 3 + 2 * (k % 7))
            page.wait_for_timeout(pause)
        found: dict[str, list[float]] = page.evaluate("window.told")
        page.mouse.up()
        browser.close()
    server.should_exit = True
    thread.join(10)
    listener.close()
    return found


def _line(values: list[float]) -> str:
    import numpy as np

    if not values:
        return "nothing measured"
    median, most = np.percentile(values, [50, 95])
    return (
        f"median {median:6.1f} ms   95 % below {most:6.1f} ms   worst {max(values):6.1f} ms   ({len(values)} answers)"
    )


if __name__ == "__main__":
    sys.exit(main())
