"""Time on the page, in a real Chromium, with a drive of half an hour at 10 Hz or of any length.

Run as `python tests/benchmarks/page.py [--hours H] [--rate HZ] [--keep FOLDER]` from the root of
the repository. It prints how long files take from being dropped to findings, beside `roadtest
check` of the same files, and how long every view takes to open, from the click to the drawn frame.
`--keep FOLDER` keeps the drives there, and uses those it finds. What is more than the page takes at
once is dropped gzipped.
"""

from __future__ import annotations

import argparse
import gzip
import logging
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from playwright.sync_api import sync_playwright  # noqa: E402
from werkzeug.serving import make_server  # noqa: E402

from dashboard.app import make_app  # noqa: E402
from dashboard.intake import MOST_BYTES  # noqa: E402
from tests.benchmarks.checking import make_drive, run  # noqa: E402
from tests.dashboard.browsing import (  # noqa: E402
    DRAWN,
    OPEN,
    Watch,
    drop,
    opened,
    until,
)

_LONGEST_S = 600.0


def _compressed(file: Path, scratch: Path) -> Path:
    to = scratch / f"{file.name}.gz"
    to.write_bytes(gzip.compress(file.read_bytes(), 1))
    return to


def main() -> None:
    """Print a line for each thing timed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=0.5)
    parser.add_argument("--rate", type=float, default=10.0)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = (asked.keep or Path(scratch)) / f"{asked.hours:g}h-{asked.rate:g}Hz"
        if not folder.exists():
            make_drive(folder, asked.hours, asked.rate)
        files = sorted(folder.iterdir())
        if sum(file.stat().st_size for file in files) > MOST_BYTES:
            files = [_compressed(file, Path(scratch)) for file in files]
        program = [sys.executable, "-m", "roadtest", "check", str(folder), "--json", "-"]
        checked = min(run(program, Path(scratch) / "output.txt").wall_s for _ in range(2))
        print(f"roadtest check: {checked:.1f} s")
        logging.getLogger("werkzeug").setLevel(logging.ERROR)
        server = make_server("127.0.0.1", 0, make_app(None).server, threaded=True)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
            )
            page = opened(browser.new_context(), f"http://127.0.0.1:{server.server_port}/", Watch())
            began = time.monotonic()
            drop(page, files)
            page.locator(".finding").first.wait_for(timeout=1000.0 * _LONGEST_S)
            took = time.monotonic() - began
            print(f"dropped files to findings: {took:.1f} s, {took - checked:+.1f} s beside it")
            until(page, DRAWN, _LONGEST_S)
            for name in page.locator(".views button").all_inner_texts():
                print(f"view {name}: {page.evaluate(OPEN, name):.0f} ms")
            browser.close()
        server.shutdown()


if __name__ == "__main__":
    main()
