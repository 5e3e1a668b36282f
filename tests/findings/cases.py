"""Cases for the findings: results made by hand, and a build sheet as text."""

from __future__ import annotations

from dataclasses import replace

from roadtest.build_sheet import read_build_sheet
from roadtest.findings import Case, judge_all
from roadtest.quantity import Quantity
from roadtest.results import (
    BrakingResult,
    Finding,
    LogInfo,
    Manoeuvre,
    Reading,
    Results,
    SpeedometerResult,
    StopResult,
)

MPH = 0.44704
GPS = LogInfo("gps.nmea", "nmea", 100, 100, rate_hz=10.0, speed_source="doppler")
TACH = LogInfo("tach.csv", "tach", 100, 100, rate_hz=10.0)


def q(value: float, u95: float, unit: str = "1") -> Quantity:
    return Quantity(value, u95, unit)


def mph(value: float, u95: float = 0.0) -> Quantity:
    return Quantity(value * MPH, u95 * MPH, "m/s")


def case(targets: str, results: Results, sheet: str = "", rate_hz: float = 10.0) -> Case:
    """Return the case of a drive with these targets; a GPS log is there, at `rate_hz`."""
    text = f"{sheet}\n[targets]\n{targets}\n"
    log = replace(GPS, rate_hz=rate_hz)
    logs = results.logs if any(one.speed_source for one in results.logs) else (log, *results.logs)
    return Case(replace(results, logs=logs), read_build_sheet(text.encode(), "build.toml"))


def only(made: Case) -> Finding:
    """Return the one finding of a case."""
    (finding,) = judge_all(made)
    return finding


def readings(*shown_true: tuple[float, float], u95: float = 1.0) -> Results:
    """Return holds with what the dial showed and the true speed, both in mph."""
    made = tuple(
        Reading(f"hold-{k}", mph(shown), mph(true, 0.1), mph(shown - true, u95))
        for k, (shown, true) in enumerate(shown_true, 1)
    )
    return Results(speedometer=SpeedometerResult(readings=made))


def stops(*mfdd: Quantity | None, initial: float = 60.0) -> Results:
    """Return stops with these level decelerations, all used."""
    ids = [f"stop-{k}" for k in range(1, len(mfdd) + 1)]
    return Results(
        manoeuvres=tuple(Manoeuvre(i, "stop", 10.0, 14.0) for i in ids),
        braking=BrakingResult(
            stops=tuple(
                StopResult(i, initial_speed=mph(initial, 0.2), mfdd_level=level)
                for i, level in zip(ids, mfdd, strict=True)
            )
        ),
    )
