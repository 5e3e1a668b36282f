"""Every NMEA recording at hand is read or refused with a reason, and as another parser reads it.

Single recordings are named by the beginning of their SHA-256.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np
import pynmea2  # type: ignore[import-untyped]
import pytest

from roadtest.errors import InputError
from roadtest.logs.model import GpsLog
from roadtest.logs.nmea import looks_like_nmea, read_nmea
from tests.logs.test_nmea_damage import check

KNOT_MPS = 1852 / 3600
BESIDE = Path(__file__).resolve().parents[2].parent / "shared" / "data"
FOLDER = Path(os.environ.get("ROADTEST_RECORDINGS", BESIDE)) / "nmea"

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the recordings are not here")

RECORDINGS = {
    hashlib.sha256(path.read_bytes()).hexdigest()[:12]: path
    for path in sorted(FOLDER.glob("*/*.log"))
}


def recording(digest: str) -> bytes:
    """Return the recording of that digest, or skip."""
    if digest not in RECORDINGS:
        pytest.skip("this recording is not here")
    return RECORDINGS[digest].read_bytes()


@pytest.mark.parametrize("digest", RECORDINGS)
def test_every_recording_is_read_or_refused(digest: str) -> None:
    data = recording(digest)
    assert looks_like_nmea(data)
    try:
        found = read_nmea(data, "recording.nmea")
    except InputError as error:
        assert "sentences read" in str(error)
        return
    check(found)


def fixes_by_lines(data: bytes) -> list[pynmea2.RMC]:
    """Return the RMC sentences with a fix that another parser finds, a line at a time."""
    messages = []
    for line in data.replace(b"\r", b"\n").split(b"\n"):
        text = line[line.rfind(b"$") :].decode("latin-1")
        if text[3:6] == "RMC" and "*" in text:
            try:
                messages.append(pynmea2.parse(text, check=True))
            except pynmea2.ParseError:
                continue
    return [message for message in messages if message.status == "A" and message.lat]


def compare(found: GpsLog, message: pynmea2.RMC) -> bool:
    """Check the fix at the time of an RMC sentence; return whether there is one."""
    row = int(np.argmin(np.abs(found.time_s - message.datetime.timestamp())))
    if abs(found.time_s[row] - message.datetime.timestamp()) > 1e-3:
        return False
    # Other sentences may write the position with more decimals, and speed too.
    decimals = len(message.lat.partition(".")[2])
    tolerance_deg = 0.51 * 10.0**-decimals / 60.0
    assert abs(found.latitude_deg[row] - message.latitude) <= tolerance_deg
    assert abs(found.longitude_deg[row] - message.longitude) <= tolerance_deg
    if isinstance(message.spd_over_grnd, float):
        # Half of 0.1 knot and half of 0.1 km/h, where VTG is written finer.
        assert abs(found.speed_mps[row] - message.spd_over_grnd * KNOT_MPS) <= 0.04
    return True


def test_values_are_those_of_another_parser() -> None:
    compared = 0
    for path in RECORDINGS.values():
        data = path.read_bytes()
        messages = fixes_by_lines(data)
        try:
            found = read_nmea(data, "recording.nmea")
        except InputError:
            assert not messages
            continue
        assert all(compare(found, message) for message in messages)
        compared += len(messages)
    assert compared > 1200


@pytest.mark.parametrize(
    ("digest", "fixes", "reasons"),
    [
        pytest.param("c85c37602354", 72, {"cut off sentence": 1}, id="binary first, cut off last"),
        pytest.param("911f0e79c523", 23, {"bad checksum": 23}, id="all GGA wrong, RMC right"),
        pytest.param("b008063b340f", 6, {"no fix": 4}, id="cold start with an old position"),
        pytest.param("eb13e005f9b8", 7, {"no fix": 6}, id="cold start with a wrong date"),
        pytest.param("784c3be18d97", 187, {"no time": 111}, id="cold start without a time"),
        pytest.param("0ba5e9d7cc0f", 8, {"no fix": 3}, id="cold start at the pole"),
        pytest.param("04e910cad2e0", 41, {}, id="GGA ten times as often as RMC"),
    ],
)
def test_counts_of_some_recordings(digest: str, fixes: int, reasons: dict[str, int]) -> None:
    found = read_nmea(recording(digest), "recording.nmea")
    assert found.time_s.size == fixes
    assert {reason: loss.count for reason, loss in found.rejected.items()} == reasons


@pytest.mark.parametrize(
    ("digest", "message"),
    [
        ("b76e6ea618fc", "simulated position: 18"),
        ("61af88f79361", "158 sentences read, the receiver never had a fix"),
        ("293a644b39ef", "66 sentences read, the receiver never had a fix"),
        ("946be8373e05", "14 sentences read, none of them RMC, GGA, GNS or GLL"),
    ],
)
def test_some_recordings_are_refused_with_what_they_hold(digest: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_nmea(recording(digest), "recording.nmea")
