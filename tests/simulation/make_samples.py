"""Write the invented sample drives and the truth that hides in them.

    python -m tests.simulation.make_samples

writes `sample_logs/<drive>/` and `tests/simulation/sample_truth.json` anew, the same bytes every
time. Files that are no longer made are taken away; `sample_logs/README.md` is left alone.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from tests.simulation.sample_drives import Sample, all_samples

ROOT = Path(__file__).resolve().parents[2]
SAMPLE_LOGS = ROOT / "sample_logs"
TRUTH_FILE = Path(__file__).with_name("sample_truth.json")


def truth_text(samples: tuple[Sample, ...]) -> str:
    """Return the facts of all samples as JSON, rounded to 1e-6."""
    facts = {sample.name: _rounded(sample.facts) for sample in samples}
    return json.dumps(facts, indent=1, sort_keys=True) + "\n"


def _rounded(value: object) -> object:
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return value


def write(samples: tuple[Sample, ...], folder: Path, truth_file: Path) -> None:
    """Write every sample folder below `folder`, and the truth."""
    for sample in samples:
        place = folder / sample.name
        place.mkdir(parents=True, exist_ok=True)
        for old in place.iterdir():
            if old.name not in sample.files:
                old.unlink()
        for name, data in sample.files.items():
            (place / name).write_bytes(data)
    truth_file.write_text(truth_text(samples), encoding="utf-8", newline="\n")


def main() -> int:
    """Write the samples of the repository."""
    write(all_samples(), SAMPLE_LOGS, TRUTH_FILE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
