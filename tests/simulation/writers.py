"""Files as loggers write them: NMEA 0183, GPX, and the comma-separated ones."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from functools import reduce
from operator import xor
from typing import Literal

import numpy as np

from tests.simulation.dials import Gauges
from tests.simulation.receiver import KNOT_MPS, Fixes
from tests.simulation.tach import TachRows
from tests.simulation.truth import Floats


@dataclass(frozen=True)
class Nmea:
    """How a receiver words its sentences."""

    talker: str = "GN"
    sentences: tuple[str, ...] = ("RMC", "GGA", "VTG")
    each_second: tuple[str, ...] = ()  # sent with the first fix of a second only
    minute_places: int = 5
    time_places: int = 2
    knot_places: int = 2
    position_sd_m: float = 0.8  # what GST claims


@dataclass(frozen=True)
class _Fix:
    """One fix, worded."""

    when: datetime
    clock: str
    place: str  # latitude, N/S, longitude, E/W
    course: str
    speed_mps: float
    altitude_m: float
    hdop: float
    valid: bool


def sentence(body: str) -> str:
    """Return an NMEA sentence with its checksum, without line end."""
    return f"${body}*{reduce(xor, body.encode()):02X}"


def nmea_lines(fixes: Fixes, style: Nmea = Nmea()) -> list[str]:
    """Return all sentences in the order sent."""
    makers = {"RMC": _rmc, "GGA": _gga, "VTG": _vtg, "GSA": _gsa, "GST": _gst, "ZDA": _zda}
    lines: list[str] = []
    for index in range(fixes.time_s.size):
        fix = _worded(fixes, index, style)
        whole = fix.when.microsecond == 0
        kinds = style.sentences + (style.each_second if whole else ())
        lines += [sentence(f"{style.talker}{kind},{makers[kind](fix, style)}") for kind in kinds]
    return lines


def nmea_text(fixes: Fixes, style: Nmea = Nmea()) -> str:
    """Return the whole log as text with CR LF line ends."""
    return "".join(line + "\r\n" for line in nmea_lines(fixes, style))


def _worded(fixes: Fixes, index: int, style: Nmea) -> _Fix:
    stamp = round(float(fixes.stamp_utc_s[index]), style.time_places)
    when = _utc(stamp)
    fraction = f"{stamp % 1.0:.{style.time_places}f}"[1:] if style.time_places else ""
    latitude, longitude = float(fixes.latitude_deg[index]), float(fixes.longitude_deg[index])
    course = fixes.course_deg[index]
    return _Fix(
        when=when,
        clock=f"{when:%H%M%S}{fraction}",
        place=_angle(latitude, 2, "NS", style) + "," + _angle(longitude, 3, "EW", style),
        course="" if np.isnan(course) else f"{round(float(course), 1) % 360.0:.1f}",
        speed_mps=float(fixes.speed_mps[index]),
        altitude_m=float(fixes.altitude_m[index]),
        hdop=float(fixes.hdop[index]),
        valid=bool(fixes.valid[index]),
    )


def _utc(stamp_s: float) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=stamp_s)


def _angle(value_deg: float, digits: int, signs: str, style: Nmea) -> str:
    minutes = round(abs(value_deg) * 60.0, style.minute_places)
    degrees = int(minutes // 60.0)
    width = 3 + style.minute_places
    left = minutes - 60.0 * degrees
    sign = signs[value_deg < 0.0]
    return f"{degrees:0{digits}d}{left:0{width}.{style.minute_places}f},{sign}"


def _rmc(fix: _Fix, style: Nmea) -> str:
    date = f"{fix.when:%d%m%y}"
    if not fix.valid:
        return f"{fix.clock},V,,,,,,,{date},,,N"
    knots = f"{fix.speed_mps / KNOT_MPS:.{style.knot_places}f}"
    return f"{fix.clock},A,{fix.place},{knots},{fix.course},{date},,,A"


def _gga(fix: _Fix, style: Nmea) -> str:
    if not fix.valid:
        return f"{fix.clock},,,,,0,00,,,M,,M,,"
    return f"{fix.clock},{fix.place},1,11,{fix.hdop:.2f},{fix.altitude_m:.1f},M,0.0,M,,"


def _vtg(fix: _Fix, style: Nmea) -> str:
    if not fix.valid:
        return ",T,,M,,N,,K,N"
    knots, kmh = fix.speed_mps / KNOT_MPS, fix.speed_mps * 3.6
    places = style.knot_places
    return f"{fix.course},T,,M,{knots:.{places}f},N,{kmh:.{places}f},K,A"


def _gsa(fix: _Fix, style: Nmea) -> str:
    if not fix.valid:
        return "A,1,,,,,,,,,,,,,,,"
    return f"A,3,02,05,07,09,13,16,20,27,30,,,,{1.9 * fix.hdop:.2f},{fix.hdop:.2f},1.40"


def _gst(fix: _Fix, style: Nmea) -> str:
    if not fix.valid:
        return f"{fix.clock},,,,,,,"
    sd = f"{style.position_sd_m:.2f}"
    return f"{fix.clock},6.0,{sd},{sd},0.0,{sd},{sd},{1.7 * style.position_sd_m:.2f}"


def _zda(fix: _Fix, style: Nmea) -> str:
    return f"{fix.clock},{fix.when:%d,%m,%Y},00,00"


@dataclass(frozen=True)
class Gpx:
    """How a GPX file is written. speed: "element" (1.0 only), "extension", or "none"."""

    version: Literal["1.0", "1.1"] = "1.1"
    speed: Literal["element", "extension", "none"] = "extension"
    creator: str = "invented logger"
    time_places: int = 1
    degree_places: int = 7


_EXTENSION = "urn:example:track-point"


def gpx_text(fixes: Fixes, style: Gpx = Gpx()) -> str:
    """Return the valid fixes as one GPX track; a stretch without fix starts a new segment."""
    prefix = f' xmlns:x="{_EXTENSION}"' if style.speed == "extension" else ""
    space = f"http://www.topografix.com/GPX/{style.version.replace('.', '/')}"
    head = f'<gpx version="{style.version}" creator="{style.creator}" xmlns="{space}"{prefix}>'
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', head, "<trk><name>drive</name><trkseg>"]
    broken = False
    for index in range(fixes.time_s.size):
        if not fixes.valid[index]:
            broken = True
            continue
        if broken and len(lines) > 3:
            lines.append("</trkseg><trkseg>")
        broken = False
        lines.append(_point(fixes, index, style))
    return "\n".join([*lines, "</trkseg></trk>", "</gpx>", ""])


def _point(fixes: Fixes, index: int, style: Gpx) -> str:
    stamp = round(float(fixes.stamp_utc_s[index]), style.time_places)
    fraction = f"{stamp % 1.0:.{style.time_places}f}"[1:] if style.time_places else ""
    places = style.degree_places
    latitude, longitude = fixes.latitude_deg[index], fixes.longitude_deg[index]
    parts = [
        f'<trkpt lat="{latitude:.{places}f}" lon="{longitude:.{places}f}">',
        f"<ele>{fixes.altitude_m[index]:.1f}</ele>",
        f"<time>{_utc(stamp):%Y-%m-%dT%H:%M:%S}{fraction}Z</time>",
    ]
    speed = f"{fixes.speed_mps[index]:.3f}"
    if style.speed == "element":
        parts.append(f"<speed>{speed}</speed>")
    elif style.speed == "extension":
        parts.append(f"<extensions><x:speed>{speed}</x:speed></extensions>")
    return "".join([*parts, "</trkpt>"])


def iso_time(utc_s: float, places: int = 3, zone_hours: float | None = 0.0) -> str:
    """Return ISO 8601 text; zone_hours None writes local time of UTC without a zone."""
    stamp = round(utc_s, places)
    when = _utc(stamp)
    fraction = f"{stamp % 1.0:.{places}f}"[1:] if places else ""
    if zone_hours is None:
        return f"{when:%Y-%m-%dT%H:%M:%S}{fraction}"
    if zone_hours == 0.0:
        return f"{when:%Y-%m-%dT%H:%M:%S}{fraction}Z"
    local = when.astimezone(timezone(timedelta(hours=zone_hours)))
    offset = f"{local:%z}"
    return f"{local:%Y-%m-%dT%H:%M:%S}{fraction}{offset[:3]}:{offset[3:]}"


def tach_csv(
    rows: TachRows, start_utc_s: float | None = None, zone_hours: float | None = 0.0
) -> str:
    """Return tach.csv: stamps when the drive's start is given, elapsed seconds when not.

    zone_hours is that of the stamps; None leaves it out (give the start in local time then).
    """
    header = "elapsed_s,rpm" if start_utc_s is None else "time,rpm"
    lines = [header]
    for clock, rpm in zip(rows.clock_s.tolist(), rows.rpm.tolist(), strict=True):
        if start_utc_s is None:
            when = f"{clock:.3f}"
        else:
            when = iso_time(start_utc_s + clock, 3, zone_hours)
        lines.append(f"{when},{rpm:.0f}")
    return "\n".join([*lines, ""])


def pulses_csv(pulse_time_s: Floats) -> str:
    """Return a raw pulse file."""
    return "\n".join(["pulse_time_s", *(f"{t:.6f}" for t in pulse_time_s.tolist()), ""])


def channels_csv(gauges: Gauges, start_utc_s: float | None = None) -> str:
    """Return channels.csv, on UTC when the drive's start is given, else in elapsed seconds."""
    names = list(gauges.columns)
    lines = [",".join(["elapsed_s" if start_utc_s is None else "time", *names])]
    for index, clock in enumerate(gauges.time_s.tolist()):
        when = f"{clock:.1f}" if start_utc_s is None else iso_time(start_utc_s + clock, 1)
        lines.append(",".join([when, *(f"{gauges.columns[n][index]:g}" for n in names)]))
    return "\n".join([*lines, ""])


@dataclass(frozen=True)
class NoteRow:
    """One row of notes.csv, as text."""

    time: str
    item: str
    value: str
    unit: str = ""
    remark: str = ""


def notes_csv(rows: Sequence[NoteRow]) -> str:
    """Return notes.csv."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time", "item", "value", "unit", "remark"])
    writer.writerows([r.time, r.item, r.value, r.unit, r.remark] for r in rows)
    return out.getvalue()


def toml_text(sheet: Mapping[str, object]) -> str:
    """Return a build sheet as TOML: plain keys, one level of tables, lists of tables one deeper."""
    plain = [f"{key} = {_toml(value)}" for key, value in sheet.items() if _is_plain(value)]
    blocks = ["\n".join(plain)] if plain else []
    for name, table in sheet.items():
        if isinstance(table, Mapping):
            blocks += _toml_table(name, table)
    return "\n\n".join(blocks) + "\n"


def _is_plain(value: object) -> bool:
    return not isinstance(value, Mapping)


def _toml_table(name: str, table: Mapping[str, object]) -> list[str]:
    blocks, lines = [], []
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], Mapping):
            for item in value:
                inner = [f"{k} = {_toml(v)}" for k, v in item.items()]
                blocks.append("\n".join([f"[[{name}.{key}]]", *inner]))
        else:
            lines.append(f"{_key(key)} = {_toml(value)}")
    return (["\n".join([f"[{name}]", *lines])] if lines else []) + blocks


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() else f'"{key}"'


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
