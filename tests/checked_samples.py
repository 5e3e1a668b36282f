"""The sample drives, checked once for all tests that look at them."""

from __future__ import annotations

import pickle
import tempfile
from functools import cache
from pathlib import Path

from roadtest.check import Checked, conclude_with_traces, survey
from roadtest.drive import read_drive
from tests.conftest import shared_folder

SAMPLES = Path(__file__).resolve().parents[1] / "sample_logs"


@cache
def checked_sample(name: str) -> Checked:
    """Return a sample drive by its folder's name, checked; the same one every time.

    Processes that share the tests of a run share it by a file.
    """
    kept = shared_folder() / f"{name}.pickle"
    if kept.exists():
        found: Checked = pickle.loads(kept.read_bytes())
        return found
    made = conclude_with_traces(survey(read_drive(SAMPLES / name), silent), silent)
    with tempfile.NamedTemporaryFile(dir=kept.parent, delete=False) as part:
        part.write(pickle.dumps(made))
    Path(part.name).replace(kept)  # whole or not at all: another process may look for it
    return made


def silent(stage: str, fraction: float) -> None:
    """Tell nobody how far a check is."""
    assert stage and 0.0 <= fraction <= 1.0
