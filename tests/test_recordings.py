"""Every recording beside the project is checked, its losses counted, or refused in one line."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from roadtest.check import check, check_folder, survey
from roadtest.drive import Drive, drive_from
from roadtest.errors import RoadtestError
from roadtest.log_quality import describe_logs
from roadtest.logs.gpx import read_gpx
from roadtest.logs.source import Source, read_source
from roadtest.motion.estimate import Span, estimate
from roadtest.motion.screening import screen
from roadtest.results import Results, from_json, to_json
from roadtest.units import STANDARD_GRAVITY_MPS2
from tests.checked_samples import silent

BESIDE = Path(__file__).resolve().parents[2] / "shared" / "data"
RECORDINGS = Path(os.environ.get("ROADTEST_RECORDINGS", BESIDE))
KINDS = (".gpx", ".log", ".nmea")
LOGS = sorted(path for path in RECORDINGS.rglob("*") if path.suffix in KINDS)
needs_recordings = pytest.mark.skipif(
    not LOGS, reason="ROADTEST_RECORDINGS points at no recordings"
)
SHEET = Source("build.toml", b'units = "km/h"\n', "")


# Of the car with five gears: its axle is not known, the log implies 3.9 to 4.1.
FIVE_SPEED = """units = "km/h"
[tyres]
size = "195/65R15"
[gearbox]
label = "five-speed"
ratios = [3.77, 1.955, 1.281, 0.881, 0.673]
[axle]
ratio = 4.0
[targets]
gearbox = "3 %"
axle = "5 %"
mfdd = "un-r13h"
"""


def taken(path: Path) -> Drive | str:
    """Return the drive of one log by itself, or why it is refused."""
    try:
        return drive_from(path.stem, [SHEET, read_source(path)])
    except RoadtestError as refused:
        return str(refused)


@needs_recordings
def test_every_recording_is_read_with_its_losses_counted_or_refused_in_one_line() -> None:
    read = 0
    for path in LOGS:
        drive = taken(path)
        if isinstance(drive, str):
            assert "\n" not in drive, path.name
            assert path.name in drive or path.stem in drive, drive
            continue
        read += 1
        log = drive.gps
        assert log.time_s.size == log.latitude_deg.size
        # What was read is used or counted as lost; "no fix" and the like may count sentences.
        assert log.time_s.size <= log.fixes_read, path.name
        assert all(loss.count > 0 for loss in log.rejected.values()), path.name
        assert np.all(np.diff(log.time_s) > 0.0), path.name
    assert read > 0.3 * len(LOGS)


@needs_recordings
@pytest.mark.parametrize("name", ["ac12.log", "neo-m8n.log", "mt3339.log", "track_with_speed.gpx"])
def test_a_recording_goes_all_the_way_or_is_refused_in_one_line(name: str) -> None:
    (path,) = [path for path in LOGS if path.name == name]
    drive = taken(path)
    if isinstance(drive, str):
        return
    try:
        found = survey(drive, silent)
    except RoadtestError as refused:
        assert "\n" not in str(refused)
        return
    (log,) = describe_logs(drive, found.screened, found.evidence.motion, {})
    lost = sum(log.rejected.values())
    assert log.fixes_used + lost >= log.fixes_read


@needs_recordings
def test_a_recorded_stop_agrees_with_the_accelerometer_beside_it() -> None:
    """0.254 g over one second, 517 s into the drive, by the car's accelerometer."""
    folder = RECORDINGS / "drives" / "braking-a"
    screened = screen(read_gpx((folder / "gps.gpx").read_bytes(), "gps.gpx"))
    rng = np.random.default_rng(0)
    motion = estimate(screened.observed, rng)
    (drawn,) = motion.draws([Span(510.0, 524.0)], 200, rng)
    inside = (drawn.time_s >= 515.0) & (drawn.time_s <= 519.0)
    starts = drawn.time_s[inside]
    lost = np.array(
        [
            [np.interp(at, drawn.time_s, v) - np.interp(at + 1.0, drawn.time_s, v) for at in starts]
            for v in drawn.speed_mps
        ]
    )
    hardest = lost.max(axis=1) / STANDARD_GRAVITY_MPS2
    low, high = np.quantile(hardest, [0.025, 0.975])
    assert low < 0.254 < high
    assert high - low < 0.12


@needs_recordings
@pytest.mark.parametrize("name", ["braking-a", "braking-b", "five-speed-a", "five-speed-b"])
def test_a_recorded_drive_runs_from_end_to_end(name: str, tmp_path: Path) -> None:
    five = name.startswith("five")
    sheet = tmp_path / "build.toml"
    sheet.write_text(FIVE_SPEED if five else 'units = "km/h"\n')
    results = check_folder(RECORDINGS / "drives" / name, sheet, silent)
    assert {"gpx", "tach", "channels", "build"} <= {file.kind for file in results.files}
    assert to_json(from_json(to_json(results))) == to_json(results)
    assert not_contradicting_itself(results)
    if not five:
        assert results.gearing.gears == () and results.gearing.gearbox_shown is None
        return
    verdicts = {finding.id: finding.verdict for finding in results.findings}
    assert verdicts["gearbox"] in ("pass", "not proven") and verdicts["axle"] == "pass"
    assert verdicts["mfdd"] == "not proven"  # gentle stops, five seconds between fixes
    assert results.gearing.gearbox_shown is not None
    assert results.gearing.gearbox_shown.label == "five-speed"
    # The car's own bus shows 1.0 to 1.4 % more than the receiver on steady rows.
    (bus,) = results.channels
    top = results.drive.top_speed
    assert bus.max is not None and top is not None
    assert abs(top.value - bus.max / 3.6 / 1.012) < top.u95


def not_contradicting_itself(results: Results) -> bool:
    """Return whether distance, time and top speed of a drive can all be right, and no car's."""
    way, top = results.drive.distance, results.drive.top_speed
    assert way is not None and way.value >= 0.0 and np.isfinite(way.u95)
    assert top is None or (0.0 <= top.value < 70.0 and np.isfinite(top.u95))
    assert all(run.peak_power is None or run.peak_power.value > 0.0 for run in results.pulls.runs)
    return top is None or way.low <= top.high * results.drive.duration_s


@needs_recordings
@pytest.mark.parametrize(
    ("name", "top_speed_known"),
    [
        pytest.param("korita-zbevnica.gpx", False, id="a walk with two hours of gaps"),
        pytest.param("first_and_last_elevation.gpx", False, id="ten places in two hours"),
        pytest.param("quectel-eg25-g.log", False, id="a receiver that has just begun"),
        pytest.param("bt451.log", True, id="fifteen fixes, most of an hour between two"),
    ],
)
def test_a_log_of_little_gives_no_figure_that_another_one_belies(
    name: str, top_speed_known: bool
) -> None:
    (path,) = [path for path in LOGS if path.name == name]
    drive = taken(path)
    assert not isinstance(drive, str)
    results = check(drive, silent)
    assert not_contradicting_itself(results)
    assert (results.drive.top_speed is not None) == top_speed_known
