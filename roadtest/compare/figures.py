"""The figures of one drive that can be compared with another's, each under what it means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from roadtest.quantity import Quantity
from roadtest.results import PullRun, Results

Key = tuple[str, str]
"""Section and name. The name holds gear and speeds, so that equal keys mean equal things."""

Rests = Literal["tyre", "mass"]


@dataclass(frozen=True)
class Sample:
    """What one drive shows of one figure, once for every run that it was measured on."""

    values: tuple[Quantity, ...]
    runs: bool = False  # driven runs, which vary by themselves
    rests_on: Rests | None = None  # a figure of the build sheet that is a factor in this one
    has_interval: bool = True
    own_error: float = 0.0  # relative, 95 %: the part of it that can't be from the build sheet


def figures_of(results: Results) -> dict[Key, Sample]:
    """Return every figure of `results` that can be compared."""
    found: dict[Key, Sample] = {}
    for part in (_dials, _gearing, _cruise, _braking, _coasting, _pulls, _channels):
        for section, name, value, how in part(results):
            if value is None:
                continue
            before = found.get((section, name))
            values = (value,) if before is None else (*before.values, value)
            found[section, name] = replace(how, values=values)
    return found


Figure = tuple[str, str, Quantity | None, Sample]

_PLAIN = Sample(())
_RUN = Sample((), runs=True)
_RUN_MASS = Sample((), runs=True, rests_on="mass")
_MASS = Sample((), rests_on="mass")
_SENDER = Sample((), has_interval=False)


def _dials(results: Results) -> Iterator[Figure]:
    dial = results.speedometer
    yield "speedometer", "dial / true", dial.scale, _PLAIN
    yield "speedometer", "offset", dial.offset, _PLAIN
    for reading in dial.readings:
        if reading.indicated is not None:
            name = f"error at {_speed(reading.indicated.value)}"
            yield "speedometer", name, reading.error, _PLAIN
    yield "odometer", "shown / driven", results.odometer.scale, _PLAIN
    yield "tach", "shown / true", results.tach.scale, _PLAIN


def _gearing(results: Results) -> Iterator[Figure]:
    gearing = results.gearing
    yield "gearing", "axle", gearing.axle, _on_tyre(gearing.revs_per_metre_top)
    yield "gearing", "engine turns", gearing.revs_per_metre_top, _PLAIN
    on_given = bool(gearing.stories) and gearing.stories[0].tyre == "tyre as given"
    for row in gearing.gears:
        how = _on_tyre(row.speed_per_1000_rpm) if on_given else _PLAIN
        yield "gearing", f"ratio, gear {row.gear}", row.ratio, how
    for step in gearing.steps:
        yield "gearing", f"step {step.from_} to {step.to}", step.step, _PLAIN
    yield "gearing", "clutch slip", gearing.clutch_slip, _PLAIN


def _on_tyre(turns: Quantity | None) -> Sample:
    """Return how a figure is made that is engine turns over road, `turns`, times the tyre's."""
    if turns is None or turns.value == 0.0:
        return _PLAIN
    return Sample((), rests_on="tyre", own_error=turns.u95 / abs(turns.value))


def _cruise(results: Results) -> Iterator[Figure]:
    for row in results.gearing.cruise:
        if row.speed is not None:
            yield "cruise", f"gear {row.gear} at {_speed(row.speed.value)}", row.rpm, _PLAIN


def _braking(results: Results) -> Iterator[Figure]:
    used = {made.id for made in results.manoeuvres if made.used}
    for stop in results.braking.stops:
        if stop.manoeuvre not in used:
            continue
        yield "stops", "MFDD level", stop.mfdd_level, _RUN
        if stop.nominal_speed is not None:
            name = f"distance from {_speed(stop.nominal_speed.value)}"
            yield "stops", name, stop.distance_nominal, _RUN
        yield "stops", "drift, right +", stop.drift, _RUN
    yield "stops", "fade, last / first", results.braking.fade, _PLAIN
    yield "stops", "spread", results.braking.spread, _PLAIN


def _coasting(results: Results) -> Iterator[Figure]:
    coasting = results.coasting
    yield "coasting", "rolling coefficient", coasting.rolling_coefficient, _PLAIN
    yield "coasting", "drag area", coasting.drag_area, _MASS
    for row in coasting.deceleration:
        if row.speed is not None:
            name = f"at {_speed(row.speed.value)}"
            yield "coasting", name, row.value, _PLAIN


def _pulls(results: Results) -> Iterator[Figure]:
    """Yield what pulls and starts took; of a drive with some shown flat out, of those alone.

    One with the pedal half down says nothing of the car.
    """
    flat_out = any(run.flat_out for run in results.pulls.runs)
    for run in results.pulls.runs:
        if run.gear is None or (flat_out and not run.flat_out):
            continue
        if run.from_ is not None and run.to is not None:
            yield "pulls", _span(run, run.from_, run.to), run.time, _RUN
            # A pull too short to be timed need not have reached its peak.
            yield "pulls", f"gear {run.gear}, power at wheels", run.peak_power, _RUN_MASS
    flat_out = any(start.flat_out for start in results.pulls.standing)
    for start in results.pulls.standing:
        if start.to is not None and (start.flat_out or not flat_out):
            yield "pulls", f"standing to {_speed(start.to.value)}", start.time, _RUN


def _span(run: PullRun, start: Quantity, end: Quantity) -> str:
    return f"gear {run.gear}, {_speed(start.value)} to {_speed(end.value)}"


def _channels(results: Results) -> Iterator[Figure]:
    for channel in results.channels:
        for which, value in (("lowest", channel.min), ("highest", channel.max)):
            figure = None if value is None else Quantity(value, 0.0, channel.unit)
            yield "channels", f"{channel.name}, {which}", figure, _SENDER


def _speed(speed_mps: float) -> str:
    """Return a nominal speed in words, fine enough to come out whole in mph or km/h."""
    return f"{speed_mps:.2f} m/s"
