"""The small print: conditions, instruments, methods, basis of each limit, files, hash."""

from __future__ import annotations

from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.report.model import Block, Bullets, Facts, Heading, Paragraph, Table
from roadtest.results import LogInfo, ReadIn, Results
from roadtest.units import from_si
from roadtest.wording import number_text, plural, quantity_text

_METHODS: Final = {
    "motion": (
        "Speed and acceleration: a joint posterior over the whole drive from the receiver's "
        "reports, their noise and its slow part estimated from the log and from published "
        "comparisons; every figure is computed on 200 joint draws of it, and its interval is the "
        "spread of the results (JCGM 101)."
    ),
    "speedometer": (
        "Speedometer: the dial as it was read against the true speed at that moment; the law "
        "dial = scale x true + offset is a straight line with errors in both."
    ),
    "odometer": (
        "Odometer: the distance it counted between readings against the distance driven between "
        "the same moments."
    ),
    "gearing": (
        "Gearing: engine revolutions per metre, sample by sample, decoded into gears; the ratio "
        "steps need neither tyre nor axle."
    ),
    "braking": (
        "Braking: mean fully developed deceleration between 0.8 and 0.1 of the initial speed, "
        "over distance, from the beginning of braking deceleration; the road's grade taken out."
    ),
    "coasting": (
        "Coasting: the road load f0 + f1 v + f2 v2 fitted to the speeds of runs out of gear, "
        "opposite runs paired where there are any."
    ),
    "pulls": (
        "Pulls: times between speeds from the draws; wheel power from mass, rotating parts, drag "
        "and grade."
    ),
}


def small_print(results: Results, sheet: BuildSheet, units: ReadIn, digest: str) -> list[Block]:
    """Return everything a second look at the report needs."""
    blocks: list[Block] = [Heading("Small print", new_page=True)]
    blocks += [Heading("Conditions", level=2), Facts(tuple(_conditions(sheet, units)), small=True)]
    blocks += [Heading("Instruments and logs", level=2)]
    blocks += [Facts(tuple(_log_row(log, units) for log in results.logs), small=True)]
    blocks += _losses(results.logs)
    blocks += _left_out(results)
    blocks += [Heading("How the figures were got", level=2)]
    blocks += [Bullets(tuple(_methods(results)))]
    if results.remarks:
        blocks += [Bullets(tuple(remark.text for remark in results.remarks))]
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
        rows.append(("Mass as driven", f"{number_text(sheet.car.mass.value, 4)} kg"))
    circumference = sheet.circumference
    if circumference is not None:
        u95 = f" ± {number_text(circumference.u95, 2)}" if circumference.u95 else ""
        rows.append(("Rolling circumference", f"{number_text(circumference.value, 4)}{u95} m"))
    if sheet.car.odometer:
        unit = "mile" if units == "mph" else "km"
        at = float(from_si(sheet.car.odometer.value, unit))
        rows.append(("Odometer at the start", f"{number_text(at, 7)} {unit}"))
    return rows


def _log_row(log: LogInfo, units: ReadIn) -> tuple[str, str]:
    parts: list[str] = [log.kind]
    if log.rate_hz is not None:
        parts.append(f"{number_text(log.rate_hz, 3)} Hz")
    if log.speed_noise is not None:
        parts.append(f"speed noise {quantity_text(log.speed_noise, units)}")
    things = "fixes" if log.kind in ("nmea", "gpx") else "rows"
    parts.append(f"{log.fixes_used} of {log.fixes_read} {things} used")
    return log.name, ", ".join(parts)


def _losses(logs: tuple[LogInfo, ...]) -> list[Block]:
    said = []
    for log in logs:
        for reason, count in sorted(log.rejected.items(), key=lambda item: (-item[1], item[0])):
            said.append(f"{log.name}: {count} lost, {reason}")
        said += [f"{log.name}: {remark}" for remark in log.remarks]
        if log.gaps:
            longest = max(gap.end_s - gap.start_s for gap in log.gaps)
            said.append(
                f"{log.name}: {plural(len(log.gaps), 'gap')}, the longest of "
                f"{number_text(longest, 3)} s"
            )
    return [Bullets(tuple(said))] if said else []


def _left_out(results: Results) -> list[Block]:
    aside = [f"{m.id}: {m.why_not}" for m in results.manoeuvres if not m.used and m.why_not]
    if not aside:
        return []
    return [Heading("Found, but not used", level=2), Bullets(tuple(aside))]


def _methods(results: Results) -> list[str]:
    has = {
        "motion": True,
        "speedometer": bool(results.speedometer.readings),
        "odometer": results.odometer.scale is not None,
        "gearing": bool(results.gearing.gears),
        "braking": bool(results.braking.stops),
        "coasting": bool(results.coasting.runs),
        "pulls": bool(results.pulls.runs or results.pulls.standing),
    }
    return [_METHODS[key] for key, there in has.items() if there]


def _basis(results: Results) -> list[Block]:
    rows = [(f.title, f.basis) for f in results.findings if f.basis and f.id != "inspection"]
    if not rows:
        return []
    blocks: list[Block] = [Heading("Basis of each limit", level=2), Facts(tuple(rows), small=True)]
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
