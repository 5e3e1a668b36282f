"""The crew of the sample drives: what their dials say, what they note, and what is really true."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.simulation.dials import MPH_MPS, Dial, Odometer
from tests.simulation.sample_programme import Programme
from tests.simulation.tach import Tach
from tests.simulation.truth import Floats, Manoeuvre, Truth
from tests.simulation.writers import NoteRow

OLD_AXLE = 4.22

# The needle and the counter turn with the speedometer cable: with the axle, and against the number
# of teeth on the driven gear.
NEEDLE_OLD, COUNTER_OLD, TEETH_OLD = 1.062, 1.045, 21
NEEDLE_REST_MPS = 0.13

Facts = dict[str, object]
Clock = Callable[[float], str]  # time since the start of the drive -> as noted


@dataclass(frozen=True)
class Crew:
    """Two people, a notebook, and the dials in front of them."""

    axle: float  # really fitted
    driven_teeth: int
    start_mile: float  # what the odometer shows at the start
    tach_scale: float = 1.0  # what the tach's dial shows, over the truth

    @property
    def _turns(self) -> float:
        return self.axle / OLD_AXLE * TEETH_OLD / self.driven_teeth

    @property
    def dial(self) -> Dial:
        """The speedometer."""
        return Dial(NEEDLE_OLD * self._turns, NEEDLE_REST_MPS)

    @property
    def odometer(self) -> Odometer:
        """The distance counter."""
        return Odometer(self.start_mile, COUNTER_OLD * self._turns)


def notes(truth: Truth, crew: Crew, programme: Programme, clock: Clock, seed: int) -> list[NoteRow]:
    """Return the whole notebook: odometer, holds as they come, tach, gear, inspections."""
    rng = np.random.default_rng(seed)
    rows = [
        (5.0, NoteRow("", "odometer", f"{crew.odometer.shows_mile(truth, 5.0):.1f}", "mile")),
        *_hold_rows(truth, crew, programme, rng),
    ]
    end_s = float(truth.t_s[-1]) - 8.0
    reading = f"{crew.odometer.shows_mile(truth, end_s):.1f}"
    rows.append((end_s, NoteRow("", "odometer", reading, "mile", "back where we began")))
    timed = [
        NoteRow(clock(at), row.item, row.value, row.unit, row.remark)
        for at, row in sorted(rows, key=lambda pair: pair[0])
    ]
    return [*timed, *_INSPECTIONS]


_INSPECTIONS = (
    NoteRow("", "inspection", "pass", "", "no fluid leaks after the drive"),
    NoteRow("", "inspection", "pass", "", "wheel nuts checked after the drive"),
    NoteRow("", "inspection", "not done", "", "lamps and horn"),
)


def _hold_rows(
    truth: Truth, crew: Crew, programme: Programme, rng: np.random.Generator
) -> list[tuple[float, NoteRow]]:
    """The observer notes a hold near its middle, a second or two off."""
    rows = []
    for hold, mph in zip(truth.of_kind("hold"), programme.holds_mph, strict=True):
        at = 0.5 * (hold.start_s + hold.end_s) + float(rng.uniform(-2.0, 2.0))
        rows.append((at, NoteRow("", "indicated speed", f"{mph:.0f}", "mph")))
        if mph == 60.0:
            rpm = crew.tach_scale * float(np.interp(at, truth.t_s, truth.engine_rpm))
            rows.append((at + 2.0, NoteRow("", "tach", f"{round(rpm, -2):.0f}", "rpm", "dial")))
            rows.append((at + 3.0, NoteRow("", "gear", f"{hold.gear}")))
    return rows


def odometer_notes(truth: Truth, crew: Crew, clock: Clock) -> list[NoteRow]:
    """Return a notebook with nothing but the odometer, before and after."""
    ends = (5.0, float(truth.t_s[-1]) - 8.0)
    return [
        NoteRow(clock(at), "odometer", f"{crew.odometer.shows_mile(truth, at):.1f}", "mile")
        for at in ends
    ]


# --- what is really true, for tests ---


def facts(truth: Truth, crew: Crew, programme: Programme, first_fix_s: float) -> Facts:
    """Return what hides in a drive (SI), times counted from the first usable fix."""
    car = truth.car

    def listed(kind: str) -> list[dict[str, float]]:
        return [_entry(m, first_fix_s) for m in truth.of_kind(kind)]

    holds = listed("hold")
    for hold, mph in zip(holds, programme.holds_mph, strict=True):
        hold["indicated_mps"] = mph * MPH_MPS
    return {
        "first_fix_utc_s": truth.start_utc_s + first_fix_s,
        "duration_s": float(truth.t_s[-1]) - first_fix_s,
        "distance_m": float(truth.distance_m[-1]),
        "ratios": list(car.ratios),
        "axle": car.axle,
        "circumference_m": car.circumference_m,
        "revs_per_metre_top": car.revs_per_metre(len(car.ratios)),
        "mass_kg": car.mass_kg,
        "rolling_coefficient": car.rolling_coefficient,
        "drag_area_m2": car.drag_area_m2,
        "dial_scale": crew.dial.scale,
        "dial_offset_mps": crew.dial.offset_mps,
        "odometer_scale": crew.odometer.scale,
        "clutch_slip": clutch_slip(truth),
        "holds": holds,
        **{f"{kind}s": listed(kind) for kind in ("pull", "stop", "coast", "standing")},
    }


def _entry(made: Manoeuvre, first_fix_s: float) -> dict[str, float]:
    entry = {"start_s": made.start_s - first_fix_s, "end_s": made.end_s - first_fix_s}
    figures = {k: v for k, v in made.figures.items() if k != "end_s"}
    return {**entry, "gear": made.gear, **figures}


def tach_facts(tach: Tach, zero_s: float) -> Facts:
    """Return what is true of a tach log; zero_s is taken off the offset of an elapsed clock."""
    return {
        "offset_s": tach.apparent_offset_s() - zero_s,
        "lag_s": tach.lag_s,
        "drift": tach.drift,
        "scale": tach.scale,
    }


def clutch_slip(truth: Truth) -> float:
    """Return the largest clutch slip sustained for 1 s in a pull, as a fraction of engine speed."""
    worst = 0.0
    for pull in truth.of_kind("pull"):
        inside = (truth.t_s >= pull.start_s) & (truth.t_s < pull.end_s) & (truth.gear == pull.gear)
        wheels = truth.car.locked_rpm(1.0, pull.gear) * truth.speed_mps[inside]
        creep = np.array([truth.car.creep(f) for f in truth.tyre_force_n[inside].tolist()])
        slip = 1.0 - wheels * (1.0 + creep) / truth.engine_rpm[inside]
        worst = max(worst, _sustained(slip, round(1.0 / truth.step_s)))
    return worst


def _sustained(slip: Floats, steps: int) -> float:
    """Return the largest value that slip stays above for `steps` in a row."""
    if slip.size < steps:
        return 0.0
    windows = np.lib.stride_tricks.sliding_window_view(slip, steps)
    return float(windows.min(axis=1).max())


def face(truth: Truth, zone_hours: float) -> Clock:
    """Return a clock that shows HH:MM:SS in local time."""

    def shown(time_s: float) -> str:
        second = math.floor(truth.start_utc_s + zone_hours * 3600.0 + time_s) % 86400
        return f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"

    return shown
