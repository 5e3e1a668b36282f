"""Writes NMEA logs for tests: sentences with right checksums, drives as text; and accounts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from roadtest.logs.model import GpsLog
from roadtest.logs.nmea.accounts import SENTENCE_REASONS

START = dt.datetime(2026, 5, 2, 8, 0, 0, tzinfo=dt.UTC)


def sentence(body: str, end: str = "\r\n") -> str:
    """Return `body` with `$`, its checksum and a line end."""
    total = 0
    for char in body.encode("latin-1"):
        total ^= char
    return f"${body}*{total:02X}{end}"


@dataclass(frozen=True)
class Fix:
    """One fix as it is written; the defaults drive north at 10 m/s."""

    time: dt.datetime
    lat: str = "5133.82000"
    lon: str = "00042.24000"
    knots: str = "19.438"
    kmh: str = "36.000"
    course: str = "0.00"
    altitude: str = "72.5"
    hdop: str = "0.92"
    talker: str = "GP"
    status: str = "A"
    quality: str = "1"
    clock_decimals: int = 2

    @property
    def clock(self) -> str:
        """The time of day as hhmmss with decimals."""
        part = f"{self.time.microsecond:06d}"[: self.clock_decimals]
        return f"{self.time:%H%M%S}" + (f".{part}" if self.clock_decimals else "")

    def rmc(self) -> str:
        """Return the RMC sentence."""
        place = f"{self.lat},N,{self.lon},W"
        return sentence(
            f"{self.talker}RMC,{self.clock},{self.status},{place},"
            f"{self.knots},{self.course},{self.time:%d%m%y},,,A"
        )

    def gga(self) -> str:
        """Return the GGA sentence."""
        place = f"{self.lat},N,{self.lon},W"
        return sentence(
            f"{self.talker}GGA,{self.clock},{place},{self.quality},08,{self.hdop},"
            f"{self.altitude},M,47.0,M,,"
        )

    def gns(self) -> str:
        """Return the GNS sentence."""
        place = f"{self.lat},N,{self.lon},W"
        return sentence(
            f"{self.talker}GNS,{self.clock},{place},AA,08,{self.hdop},{self.altitude},47.0,,"
        )

    def gll(self) -> str:
        """Return the GLL sentence."""
        return sentence(f"{self.talker}GLL,{self.lat},N,{self.lon},W,{self.clock},{self.status},A")

    def vtg(self) -> str:
        """Return the VTG sentence."""
        return sentence(f"{self.talker}VTG,{self.course},T,,M,{self.knots},N,{self.kmh},K,A")

    def gsa(self) -> str:
        """Return the GSA sentence."""
        return sentence(f"{self.talker}GSA,A,3,04,05,09,12,24,,,,,,,,1.8,{self.hdop},1.5")

    def zda(self) -> str:
        """Return the ZDA sentence."""
        return sentence(f"{self.talker}ZDA,{self.clock},{self.time:%d,%m,%Y},00,00")

    def gst(self) -> str:
        """Return the GST sentence."""
        return sentence(f"{self.talker}GST,{self.clock},2.0,,,,0.30,0.40,0.9")


def drive(
    count: int, rate_hz: float = 1.0, start: dt.datetime = START, **written: Any
) -> Iterator[Fix]:
    """Yield fixes of a drive north that speeds up and slows down; every fix differs."""
    for number in range(count):
        speed = 10.0 + 8.0 * ((number % 50) / 50.0)
        minutes = 33.82 + number * speed / rate_hz / 1852.0 / 10.0
        values: dict[str, Any] = {
            "lat": f"51{minutes % 60:08.5f}",
            "lon": f"00042.{24000 + number % 1000:05d}",
            "knots": f"{speed * 3600 / 1852:.3f}",
            "kmh": f"{speed * 3.6:.3f}",
            "course": f"{number % 360:.2f}",
            "altitude": f"{70 + number % 30}.{number % 10}",
            "hdop": f"0.{50 + number % 40}",
        }
        fix = Fix(start + dt.timedelta(seconds=number / rate_hz))
        yield replace(fix, **(values | written))


def log(fixes: Iterable[Fix], kinds: str = "rmc gga") -> bytes:
    """Return the sentences `kinds` of each fix as the bytes of a log."""
    methods = kinds.split()
    return "".join(getattr(fix, kind)() for fix in fixes for kind in methods).encode("ascii")


def counts(found: GpsLog) -> dict[str, int]:
    """Return how many of each reason were rejected, and check the accounts on the way."""
    lost = {reason: loss.count for reason, loss in found.rejected.items()}
    fixes = sum(count for reason, count in lost.items() if reason not in SENTENCE_REASONS)
    assert found.fixes_read == found.time_s.size + fixes
    assert (np.diff(found.time_s) > 0.0).all()
    return lost
