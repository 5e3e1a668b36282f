"""What is given damaged inputs: a function of bytes for every reader.

Each lets an `InputError` or `InputErrors` pass, as the readers promise nothing else; whatever else
comes out, an assertion on what was read among it, is a fault.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from dashboard.intake import files_dropped
from roadtest.build_sheet import read_build_sheet
from roadtest.drive import Drive
from roadtest.errors import InputError, InputErrors
from roadtest.logs.channels import read_channels
from roadtest.logs.gpx import read_gpx
from roadtest.logs.model import GpsLog
from roadtest.logs.nmea import read_nmea
from roadtest.logs.notes import read_notes
from roadtest.logs.source import Source, kind_of, source_of
from roadtest.logs.tach import read_tach
from roadtest.report.verify import report_in
from roadtest.results import from_json, to_json
from tests.fuzzing import seeds

_NAMES: Final = (
    "gps.log", "build.toml", "notes.csv", "tach.csv.gz", "channels-2.csv", ".x", "a.gpx", "x.csv",
)  # fmt: skip


@dataclass(frozen=True)
class Target:
    """A reader and what to begin from."""

    read: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    share: float  # of all inputs
    most_bytes: int = 4096


def _gps(read: Callable[[bytes, str], GpsLog]) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        found = read(data, "damaged")
        count = found.time_s.size
        assert count > 0
        assert np.isfinite(found.time_s).all()
        assert (np.diff(found.time_s) > 0.0).all()
        assert (np.abs(found.latitude_deg[np.isfinite(found.latitude_deg)]) <= 90.0).all()
        assert (np.abs(found.longitude_deg[np.isfinite(found.longitude_deg)]) <= 180.0).all()
        assert not (found.speed_mps < 0.0).any()
        assert not np.isinf(found.speed_mps).any()
        assert not np.isinf(found.altitude_m).any()
        assert found.segment.shape == found.speed_mps.shape == found.time_s.shape

    return take


def _tach(data: bytes) -> None:
    found = read_tach(data, "tach.csv")
    assert found.time_s.size > 0
    assert np.isfinite(found.time_s).all()
    if found.rpm is not None:
        assert found.rpm.shape == found.time_s.shape
        assert not np.isinf(found.rpm).any()


def _channels(data: bytes) -> None:
    found = read_channels(data, "channels.csv")
    assert np.isfinite(found.time_s).all()


def _notes(data: bytes) -> None:
    read_notes(data, "notes.csv", "km/h" if len(data) % 2 else "mph")


def _kind(data: bytes) -> None:
    name = _NAMES[data[0] % len(_NAMES)] if data else "empty"
    kind, why = kind_of(Source(name, data[1:], ""))
    assert (kind == "ignored") == (why is not None)


def _gzip(data: bytes) -> None:
    kind_of(source_of("gps.nmea.gz", b"\x1f\x8b\x08" + data[3:]))


def _sheet(data: bytes) -> None:
    read_build_sheet(data, "build.toml")


def _results(data: bytes) -> None:
    to_json(from_json(data.decode("utf-8", "replace"), "results.json"))


def _report(data: bytes) -> None:
    from_json(report_in(data, "report.html").results_json, "report.html")


def _uploaded(data: bytes) -> Drive:
    """Return the drive that files parted by `seeds.NEXT_FILE` make, dropped on the page."""
    contents, names = [], []
    for part in data.split(seeds.NEXT_FILE)[1:]:
        name, _, body = part.partition(b"\n")
        names.append(name.decode("utf-8", "replace"))
        sent = body if body.startswith(b"data:") else b"data:," + base64.b64encode(body)
        contents.append(sent.decode("latin-1"))
    return files_dropped(contents, names)().drive


def _upload(data: bytes) -> None:
    _uploaded(data)


def _check(data: bytes) -> None:
    from roadtest.check import check  # slow to load where coverage is watched

    to_json(check(_uploaded(data), lambda _stage, _done: None))


TARGETS: Final = {
    "kind": Target(_kind, (*seeds.NMEA, *seeds.GPX, *seeds.TACH, *seeds.GZIPS), 0.22),
    "gzip": Target(_gzip, seeds.GZIPS, 0.22, 1024),
    "nmea": Target(_gps(read_nmea), seeds.NMEA, 0.05, 2048),
    "gpx": Target(_gps(read_gpx), seeds.GPX, 0.14, 2048),
    "tach": Target(_tach, seeds.TACH, 0.05, 1024),
    "pulses": Target(_tach, seeds.PULSES, 0.06, 1024),
    "channels": Target(_channels, seeds.CHANNELS, 0.05, 1024),
    "notes": Target(_notes, seeds.NOTES, 0.05, 1024),
    "sheet": Target(_sheet, seeds.SHEETS, 0.08, 2048),
    "results": Target(_results, seeds.RESULTS, 0.04, 32768),
    "report": Target(_report, seeds.REPORTS, 0.03, 32768),
    "upload": Target(_upload, seeds.FOLDERS, 0.0099, 16384),
    "check": Target(_check, seeds.FOLDERS, 0.0001, 16384),
}


def give(target: Target, data: bytes) -> None:
    """Give an input to a target; what comes out of here is a fault."""
    try:
        target.read(data)
    except (InputError, InputErrors) as refused:
        lines = str(refused).splitlines()
        faults = refused.faults if isinstance(refused, InputErrors) else (refused,)
        assert len(lines) == len(faults), "a message that is not one line a fault"
        assert all(line.isprintable() for line in lines), "a message that can't be printed"
