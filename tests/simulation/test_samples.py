"""The committed sample logs are what the generator makes, and hide what the README says."""

from __future__ import annotations

import gzip
import json
import tomllib
from pathlib import Path

import pytest

from tests.simulation.make_samples import SAMPLE_LOGS, TRUTH_FILE, truth_text, write
from tests.simulation.sample_drives import Sample, all_samples

MOST_BYTES = 620_000


def content(name: str, data: bytes) -> bytes:
    """Return what is in a file: compressed bytes may differ between compressors."""
    return gzip.decompress(data) if name.endswith(".gz") else data


@pytest.fixture(scope="module")
def samples() -> tuple[Sample, ...]:
    """All samples, made anew."""
    return all_samples()


def test_committed_samples_are_what_the_generator_makes(samples: tuple[Sample, ...]) -> None:
    for sample in samples:
        folder = SAMPLE_LOGS / sample.name
        assert {path.name for path in folder.iterdir()} == set(sample.files), sample.name
        for name, data in sample.files.items():
            committed = (folder / name).read_bytes()
            assert content(name, committed) == content(name, data), f"{sample.name}/{name}"


def test_committed_truth_is_what_the_generator_makes(samples: tuple[Sample, ...]) -> None:
    assert TRUTH_FILE.read_text(encoding="utf-8") == truth_text(samples)


def test_writing_twice_gives_the_same_bytes(samples: tuple[Sample, ...], tmp_path: Path) -> None:
    for sample in samples:
        for name, data in sample.files.items():
            if name.endswith(".gz"):
                assert data[4:8] == bytes(4), "a time stamp in the gzip header"
    (tmp_path / "messy-log").mkdir()
    (tmp_path / "messy-log" / "stale.txt").write_text("x", encoding="utf-8")
    write(samples, tmp_path, tmp_path / "truth.json")
    assert not (tmp_path / "messy-log" / "stale.txt").exists()
    assert json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))


def test_samples_are_small() -> None:
    size = sum(path.stat().st_size for path in SAMPLE_LOGS.rglob("*") if path.is_file())
    assert size < MOST_BYTES


def test_every_sample_is_described(samples: tuple[Sample, ...]) -> None:
    text = (SAMPLE_LOGS / "README.md").read_text(encoding="utf-8")
    assert "invented" in text
    for sample in samples:
        assert f"`{sample.name}/`" in text


def test_build_sheets_are_toml(samples: tuple[Sample, ...]) -> None:
    for sample in samples:
        sheet = tomllib.loads(sample.files["build.toml"].decode("utf-8"))
        assert sheet["car"]["chassis"] == "DEMO 0001"
        assert sheet["targets"]


def test_readme_states_the_true_figures(samples: tuple[Sample, ...]) -> None:
    """Each row of the README's table of truth agrees with the truth file."""
    readme = (SAMPLE_LOGS / "README.md").read_text(encoding="utf-8")
    text = readme.split("## The truth")[1].split("Tach logs:")[0]
    rows = {
        cells[0].strip("` /"): cells[1:]
        for line in text.splitlines()
        if line.startswith("| `") and len(cells := [c.strip() for c in line.strip("|").split("|")])
    }
    for sample in samples:
        facts = sample.facts
        axle, needle, counter = (facts[key] for key in ("axle", "dial_scale", "odometer_scale"))
        assert rows[sample.name][0] == f"{axle:.2f}"
        assert rows[sample.name][1] == f"{needle:.4f}"
        assert rows[sample.name][2] == f"{counter:.4f}"
        stops = facts["stops"]
        assert isinstance(stops, list)
        levels = ", ".join(f"{stop['mfdd_level_mps2']:.2f}" for stop in stops)
        assert rows[sample.name][3] == levels


def test_messy_log_crosses_midnight_and_holds_every_fault(samples: tuple[Sample, ...]) -> None:
    messy = next(sample for sample in samples if sample.name == "messy-log")
    parts = [gzip.decompress(d) for n, d in sorted(messy.files.items()) if n.startswith("gps")]
    text = b"".join(parts)
    assert len(parts) == 3
    assert not parts[0].endswith(b"\r\n")  # cut inside a sentence
    for piece in (
        b"RMC,235959.8,A",
        b"RMC,000000.4,A",
        b"$GPRMC",
        b"$GNRMC",
        b"RMC,,V",
        b",220526,",
    ):
        assert piece in text
    assert b",230526," in text
    assert max(text) > 127  # noise
