"""Processor time from something entered by hand to findings, on half an hour at 10 Hz.

Run as `python tests/benchmarks/entering.py` from the root of the repository. It is the server's
part; `pytest -s tests/dashboard/test_editing_in_browser.py` prints what a browser sees of it.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from dashboard.intake import InFolder  # noqa: E402
from dashboard.work import Change, Work  # noqa: E402
from roadtest import edits  # noqa: E402
from roadtest.check import Checked  # noqa: E402
from roadtest.edits import Edits  # noqa: E402
from tests.benchmarks.checking import make_drive  # noqa: E402


def reading(hold: str, text: str) -> Change:
    """Return the change of a reading typed in beside a hold."""

    def change(checked: Checked, before: Edits) -> Edits:
        return before.put(("reading", hold), edits.reading(checked, hold, text))

    return change


def left_out(name: str) -> Change:
    """Return the change that leaves a manoeuvre out."""

    def change(checked: Checked, before: Edits) -> Edits:
        return before.put(("left out", name), edits.left_out(checked, name, "a dog"))

    return change


def main() -> None:
    """Print a line for each thing entered."""
    work = Work("half an hour")
    with tempfile.TemporaryDirectory() as folder:
        make_drive(Path(folder), 0.5)
        work.run(InFolder(Path(folder)))
    results = work.checked.results
    holds = [row.manoeuvre for row in results.speedometer.readings]
    changes = {f"reading {k + 1}": reading(holds[k], str(30 + 10 * k)) for k in range(5)}
    for kind in ("hold", "stop", "coast", "pull"):
        first = next(made.id for made in results.manoeuvres if made.kind == kind and made.used)
        changes[f"{kind} left out"] = left_out(first)
    row = edits.target("mfdd", "4 m/s^2", "softer")
    changes["target moved"] = lambda _checked, before: before.put(("target", "mfdd"), row)
    for name, change in changes.items():
        began = time.process_time()
        work.edit(change)
        print(f"{name:16} {time.process_time() - began:6.3f} s", flush=True)


if __name__ == "__main__":
    main()
