"""One GPX track point: whether it can be used, and written afresh in the plainest GPX."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final, NamedTuple

FIELDS: Final = frozenset({"ele", "time", "hdop", "fix", "speed", "course"})
"""The children of a track point that are read."""

ANYWHERE: Final = frozenset({"speed", "course"})
"""Those that GPX 1.1 has in extensions only, in whatever namespace and depth."""

NO_ZONE: Final = "a time without a zone, taken as UTC"

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
# xs:dateTime, and what loggers make of it: a blank for the T, a comma, a zone without colon.
_TIME = re.compile(
    r"(\d{4}-\d\d?-\d\d?)[Tt ](\d\d?:(\d\d?)):(\d\d?)(?:[.,](\d{1,15}))?"
    r" ?(?:([Zz])|([+\-−])(\d\d)(?::?(\d\d))?)?",
    re.ASCII,
)
_WIDEST_ZONE_H: Final = 14


class Fix(NamedTuple):
    """A point that can be used."""

    clean: str  # `<trkpt …>…</trkpt>`, GPX 1.0
    leap_s: int  # to be added to its time: a leap second is written as the second before it
    faults: tuple[str, ...]  # fields left out, and what else was noticed


class _Time(NamedTuple):
    written: str
    leap_s: int
    has_zone: bool


def judge(attributes: Mapping[str, str], values: Mapping[str, str]) -> Fix | str:
    """Return the point, or the reason why it can't be used.

    `attributes` are those of the `trkpt` element, `values` the texts of the FIELDS it has.
    """
    fault = _position_fault(attributes, values.get("fix", ""))
    if fault:
        return fault
    time = _time(values.get("time", "").strip())
    if isinstance(time, str):
        return time
    fields, faults = "", [] if time.has_zone else [NO_ZONE]
    for what in ("ele", "hdop", "speed", "course"):
        written = values.get(what, "").strip()
        if _is_good(what, written):
            fields += f"<{what}>{written}</{what}>"
        elif not _is_blank(what, written):
            faults.append(f"{what} that could not be read or is out of range")
    latitude, longitude = attributes["lat"].strip(), attributes["lon"].strip()
    clean = f'<trkpt lat="{latitude}" lon="{longitude}"><time>{time.written}</time>{fields}</trkpt>'
    return Fix(clean, time.leap_s, tuple(faults))


def _position_fault(attributes: Mapping[str, str], fix: str) -> str:
    latitude, longitude = _number(attributes.get("lat")), _number(attributes.get("lon"))
    if latitude is None or longitude is None:
        return "bad position"
    if abs(latitude) > 90.0 or abs(longitude) > 180.0:
        return "position out of range"
    # Receivers fill in zeros before their first fix.
    if latitude == longitude == 0.0 or fix.strip() == "none":
        return "no fix"
    return ""


def _time(written: str) -> _Time | str:
    """Return the time in one form, or why it has none. A date may still be impossible."""
    if not written:
        return "no time"
    match = _TIME.fullmatch(written)
    if match is None:
        return "unreadable time"
    date, clock, minute, second, fraction, utc, sign, zone_h, zone_min = match.groups()
    if int(zone_h or 0) > _WIDEST_ZONE_H or int(zone_min or 0) > 59:
        return "unreadable time"
    leap = second == "60" and minute == "59"
    zone = f"{'+' if sign == '+' else '-'}{zone_h}:{zone_min or '00'}" if sign else "Z"
    text = f"{date}T{clock}:{'59' if leap else second}.{fraction or '0'}{zone}"
    return _Time(text, int(leap), bool(utc or sign))


def _is_good(what: str, written: str) -> bool:
    value = _number(written)
    if value is None:
        return False
    return what == "ele" or 0.0 <= value <= (360.0 if what == "course" else 1e300)


def _is_blank(what: str, written: str) -> bool:
    """Return whether a field says nothing; loggers write -1 for a speed or course not known."""
    if not written:
        return True
    value = _number(written)
    return what in ANYWHERE and value is not None and value < 0.0


def _number(written: str | None) -> float | None:
    """Return a finite number, or None; Python's own extras (1_0, nan, inf) are none."""
    if written is None or len(written) > 64 or not _NUMBER.fullmatch(written.strip()):
        return None
    value = float(written)
    return value if abs(value) < 1e300 else None
