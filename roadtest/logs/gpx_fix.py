"""One GPX track point: whether it can be used, and its numbers."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final, NamedTuple

FIELDS: Final = frozenset({"ele", "time", "hdop", "fix", "speed", "course"})
"""The children of a track point that are read."""

ANYWHERE: Final = frozenset({"speed", "course"})
"""Those that GPX 1.1 has in extensions only, in whatever namespace and depth."""

NO_ZONE: Final = "a time without a zone, taken as UTC"

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
# xs:dateTime, and what loggers make of it: a blank for the T, a comma, a zone without colon.
_TIME = re.compile(
    r"(\d{4})-(\d\d?)-(\d\d?)[Tt ](\d\d?):(\d\d?):(\d\d?)(?:[.,](\d{1,15}))?"
    r" ?(?:([Zz])|([+\-−])(\d\d)(?::?(\d\d))?)?",
    re.ASCII,
)
_WIDEST_ZONE_H: Final = 14
_NAN: Final = float("nan")
_FIGURES: Final = (("ele", 1e300), ("hdop", 1e300), ("speed", 1e300), ("course", 360.0))


class Fix(NamedTuple):
    """A point that can be used; NaN where it does not say."""

    time_s: float  # since 1970 UTC
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    speed_mps: float
    course_deg: float
    hdop: float
    leap: bool  # in a leap second: its time counts on from the second before
    faults: tuple[str, ...]  # fields left out, and what else was noticed


class _Time(NamedTuple):
    since_1970_s: float
    leap: bool
    has_zone: bool


def judge(attributes: Mapping[str, str], values: Mapping[str, str]) -> Fix | str:
    """Return the point, or the reason why it can't be used.

    `attributes` are those of the `trkpt` element, `values` the texts of the FIELDS it has.
    """
    latitude, longitude = _number(attributes.get("lat")), _number(attributes.get("lon"))
    if latitude is None or longitude is None:
        return "bad position"
    if abs(latitude) > 90.0 or abs(longitude) > 180.0:
        return "position out of range"
    # Receivers fill in zeros before their first fix.
    if latitude == longitude == 0.0 or values.get("fix", "").strip() == "none":
        return "no fix"
    time = _time(values.get("time", "").strip())
    if isinstance(time, str):
        return time
    faults = [] if time.has_zone else [NO_ZONE]
    fields = []
    for what, most in _FIGURES:
        written = values.get(what)
        value = _figure(what, written.strip(), most) if written else _NAN
        if value is None:
            faults.append(f"{what} that could not be read or is out of range")
        fields.append(_NAN if value is None else value)
    ele, hdop, speed, course = fields
    return Fix(
        time.since_1970_s, latitude, longitude, ele, speed, course, hdop, time.leap, tuple(faults)
    )


def _time(written: str) -> _Time | str:
    """Return the time, or why there is none."""
    if not written:
        return "no time"
    match = _TIME.fullmatch(written)
    if match is None:
        return "unreadable time"
    year, month, day, hour, minute, second, fraction, utc, sign, zone_h, zone_min = match.groups()
    if int(zone_h or 0) > _WIDEST_ZONE_H or int(zone_min or 0) > 59:
        return "unreadable time"
    leap = second == "60" and minute == "59"
    microsecond = int(fraction[:6].ljust(6, "0")) if fraction else 0
    try:
        clock = datetime(
            int(year), int(month), int(day),
            int(hour), int(minute), 59 if leap else int(second), microsecond, UTC,
        )  # fmt: skip
    except ValueError:  # 30 February
        return "unreadable time"
    ahead_s = 3600 * int(zone_h or 0) + 60 * int(zone_min or 0)
    since = clock.timestamp() + leap - (ahead_s if sign == "+" else -ahead_s)
    return _Time(since, leap, bool(utc or sign))


def _figure(what: str, written: str, most: float) -> float | None:
    """Return a field's value, NaN where it says nothing, None where it can't be.

    Loggers write -1 for a speed or course not known.
    """
    if not written:
        return _NAN
    value = _number(written)
    if value is None or value > most:
        return None
    if value < 0.0 and what != "ele":
        return _NAN if what in ANYWHERE else None
    return value


def _number(written: str | None) -> float | None:
    """Return a finite number, or None; Python's own extras (1_0, nan, inf) are none."""
    if written is None or len(written) > 64 or not _NUMBER.fullmatch(written.strip()):
        return None
    value = float(written)
    return value if abs(value) < 1e300 else None
