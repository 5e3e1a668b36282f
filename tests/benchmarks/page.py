"""Time on the page, in a real Chromium, with a drive of half an hour at 10 Hz.

Run as `python tests/benchmarks/page.py [ROUNDS]` from the root of the repository. `roadtest check`
and the page take turns with the same files, so that both meet what else the machine does; printed
are all times from files to findings, the least of each and how they compare. Then how long every
view takes to open, from the click to the drawn frame.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from playwright.sync_api import BrowserContext, sync_playwright  # noqa: E402

from tests.benchmarks.checking import make_drive, run  # noqa: E402
from tests.dashboard.browsing import (  # noqa: E402
    DRAWN,
    OPEN,
    Watch,
    drop,
    found,
    opened,
    until,
)

HOURS = 0.5


def on_the_page(context: BrowserContext, address: str, files: list[Path]) -> float:
    """Return the seconds from dropping files to findings, in a tab of its own."""
    page = opened(context, address, Watch())
    page.wait_for_timeout(2000)  # what the page loads is loaded; a person finds the files meanwhile
    began = time.monotonic()
    drop(page, files)
    found(page)
    took = time.monotonic() - began
    page.close()
    return took


def main() -> None:
    """Print a line for each thing timed."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    program = [sys.executable, "-m", "roadtest"]
    serving = [*program, "dashboard", "--port", "0"]
    server = subprocess.Popen(serving, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        said = server.stdout.readline() if server.stdout else ""
        address = re.findall(r"http://\S+", said)[0]
        folder = Path(scratch) / "drive"
        make_drive(folder, HOURS)
        files = sorted(folder.iterdir())
        checking = [*program, "check", str(folder), "--json", "-"]
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        context = browser.new_context()
        checks, pages = [], []
        for _ in range(rounds):
            checks.append(run(checking, Path(scratch) / "output.txt").wall_s)
            pages.append(on_the_page(context, address, files))
            print(f"check {checks[-1]:.1f} s, page {pages[-1]:.1f} s", flush=True)
        least, most = min(checks), min(pages)
        print(f"least: check {least:.1f} s, page {most:.1f} s, {most - least:+.1f} s", end="")
        print(f", {most / least:.2f} times as long")
        page = opened(context, address, Watch())
        drop(page, files)
        found(page)
        until(page, DRAWN, 120.0)
        for name in page.locator(".views button").all_inner_texts():
            print(f"view {name}: {page.evaluate(OPEN, name):.0f} ms")
        browser.close()
    server.terminate()
    server.wait()


if __name__ == "__main__":
    main()
