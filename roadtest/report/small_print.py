"""The small print: conditions, instruments, methods, basis of each limit, files, hash."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.log_lines import SPEED_FROM, not_used, rate_text
from roadtest.quantity import Quantity
from roadtest.report.methods import methods
from roadtest.report.model import Block, Bullets, Facts, Heading, Paragraph, Picture, Table
from roadtest.results import LogInfo, ReadIn, Results
from roadtest.units import Given, from_si
from roadtest.wording import (
    by_hand_said,
    lost_of,
    number_text,
    plural,
    quantity_text,
    sentence,
    used_of,
)

_KIND: Final = {
    "nmea": "GPS, NMEA 0183",
    "gpx": "GPS, GPX",
    "tach": "engine speed",
    "notes": "what the crew noted",
    "channels": "logged channels",
}
_SHORT: Final = 50  # letters of a basis such as "own target"
_CREW: Final = "looked at by the crew"  # the basis of an inspection: no limit


def small_print(
    results: Results,
    sheet: BuildSheet,
    units: ReadIn,
    digest: str,
    log_charts: Sequence[Picture] = (),
) -> list[Block]:
    """Return everything a second look at the report needs; `log_charts` show the log's quality."""
    blocks: list[Block] = [Heading("Small print")]
    blocks += [Heading("Conditions", level=2), Facts(tuple(_conditions(sheet, units)), small=True)]
    blocks += [Heading("Instruments and logs", level=2)]
    blocks += [Facts((*_dials(sheet, units), *_log_rows(results, units)), small=True)]
    blocks += _losses(results.logs)
    blocks += log_charts
    blocks += _by_hand(results)
    blocks += _unused(results)
    how = methods(results)
    if how:
        blocks += [Heading("How the figures were got", level=2), Facts(how, small=True)]
    blocks += _basis(results)
    blocks += _files(results)
    blocks += [
        Paragraph(
            f"Made by roadtest {results.software.version}. SHA-256 of the results: {digest}. "
            "The same files and the same version give the same results; "
            "roadtest report --verify compares a report with a drive folder.",
            small=True,
        )
    ]
    return blocks


def _conditions(sheet: BuildSheet, units: ReadIn) -> list[tuple[str, str]]:
    said = sheet.conditions
    rows = [
        (
            "Temperature",
            f"{number_text(said.temperature.value - 273.15, 3)} °C"
            if said.temperature
            else "not noted; standard air was assumed, with an interval for not knowing",
        ),
        (
            "Pressure",
            f"{number_text(said.pressure.value / 100.0, 5)} hPa" if said.pressure else "not noted",
        ),
        ("Wind", said.wind or "not noted"),
    ]
    if sheet.car.mass:
        rows.append(("Mass as driven", _given(sheet.car.mass, "kg", units)))
    if sheet.circumference is not None:
        rows.append(("Rolling circumference", _given(sheet.circumference, "m", units)))
    if sheet.car.odometer:
        unit = "miles" if units == "mph" else "km"
        at = float(from_si(sheet.car.odometer.value, unit))
        rows.append(("Odometer at the start", f"{number_text(at, 7)} {unit}"))
    return rows


def _given(given: Given, unit: str, units: ReadIn) -> str:
    return quantity_text(Quantity(given.value, given.u95 or 0.0, unit), units)


def _dials(sheet: BuildSheet, units: ReadIn) -> list[tuple[str, str]]:
    """Return how finely the dials can be read."""
    rows = []
    speed_mps, engine_rpm = sheet.speedometer.graduation_mps, sheet.tach.graduation_rpm
    if speed_mps is not None:
        at = number_text(float(from_si(speed_mps, units)), 3)
        rows.append(("Speedometer dial", f"smallest division {at} {units}"))
    if engine_rpm is not None:
        rows.append(("Tach dial", f"smallest division {number_text(engine_rpm)} rpm"))
    return rows


def _log_rows(results: Results, units: ReadIn) -> list[tuple[str, str]]:
    """Return what each log is, how fast and how noisy."""
    rows = []
    for log in results.logs:
        parts = [_KIND.get(log.kind, log.kind)]
        if log.rate_hz is not None:
            parts.append(rate_text(log))
        if log.speed_source is not None:
            parts.append(SPEED_FROM[log.speed_source])
        if log.speed_noise is not None:
            parts.append(f"speed noise {quantity_text(log.speed_noise, units)}")
        if log.kind == "tach" and results.tach.noise is not None:
            parts.append(f"noise {quantity_text(results.tach.noise, units)}")
        parts.append(f"{used_of(log)} used")
        rows.append((log.name, ", ".join(parts)))
    return rows


def _losses(logs: tuple[LogInfo, ...]) -> list[Block]:
    said = []
    for log in logs:
        reasons = sorted(log.rejected, key=lambda why: (-log.rejected[why], why))
        said += [f"{log.name}: {lost_of(log, reason)} lost, {reason}" for reason in reasons]
        said += [f"{log.name}: {remark}" for remark in log.remarks]
        if log.gaps:
            longest = max(gap.end_s - gap.start_s for gap in log.gaps)
            said.append(
                f"{log.name}: {plural(len(log.gaps), 'gap')}, the longest of "
                f"{number_text(longest, 3)} s"
            )
    return [Bullets(tuple(said), small=True, paired=True)] if said else []


def _by_hand(results: Results) -> list[Block]:
    said = tuple(f"{label}: {line}" for label, line in by_hand_said(results.by_hand))
    if not said:
        return []
    return [Heading("Left out or moved by hand", level=2), Bullets(said, small=True)]


def _unused(results: Results) -> list[Block]:
    by_hand = {one.manoeuvre for one in results.by_hand.left_out}
    unused = [m for m in results.manoeuvres if not m.used and m.id not in by_hand]
    aside = [f"{label}: {line}" for label, line in not_used(unused)]
    if not aside:
        return []
    return [Heading("Found, but not used", level=2), Bullets(tuple(aside), small=True, paired=True)]


def _basis(results: Results) -> list[Block]:
    titles: dict[str, list[str]] = {}
    for finding in results.findings:
        if finding.basis and finding.basis != _CREW:
            titles.setdefault(finding.basis, []).append(finding.title)
    if not titles:
        return []
    rows = tuple(
        (sentence(basis), "; ".join(named))  # a long list under a narrow label is hard to read
        if len(named) > 1 and len(basis) < _SHORT
        else ("; ".join(named), sentence(basis))
        for basis, named in titles.items()
    )
    blocks: list[Block] = [Heading("Basis of each limit", level=2), Facts(rows, small=True)]
    missing = [(f.title, "; ".join(f.not_shown)) for f in results.findings if f.not_shown]
    if missing:
        blocks += [
            Heading("What a rule asks for that a road drive does not show", level=2),
            Facts(tuple(missing), small=True),
        ]
    return blocks


def _files(results: Results) -> list[Block]:
    if not results.files:
        return []
    rows = tuple(
        (
            file.name,
            file.kind if file.why_ignored is None else f"ignored: {file.why_ignored}",
            "" if file.size is None else str(file.size),
            file.sha256,
        )
        for file in results.files
    )
    heads = ("file", "kind", "bytes", "SHA-256")
    return [Heading("Files", level=2), Table(heads, rows, texts=2, small=True)]
