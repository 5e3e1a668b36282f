"""What the crew read: speedometer and odometer dials, and what further gauges log."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.simulation.truth import Floats, Truth

MPH_MPS = 0.44704
MILE_M = 1609.344
_AIR_DEGC = 15.0


@dataclass(frozen=True)
class Dial:
    """A speedometer: indicated = scale * true + offset_mps."""

    scale: float = 1.0
    offset_mps: float = 0.0

    def shows(self, true_mps: float) -> float:
        """Return the indicated speed at a true one."""
        return self.scale * true_mps + self.offset_mps

    def true_for(self, indicated_mps: float) -> float:
        """Return the true speed at which the dial shows `indicated_mps`."""
        return (indicated_mps - self.offset_mps) / self.scale


@dataclass(frozen=True)
class Odometer:
    """A distance counter with a tenth-of-a-mile wheel: shows start + scale * distance."""

    start_mile: float
    scale: float = 1.0

    def shows_mile(self, truth: Truth, time_s: float) -> float:
        """Return the reading, to the tenth of a mile last passed."""
        miles = self.start_mile + self.scale * float(truth.distance_at(time_s)) / MILE_M
        return math.floor(round(10.0 * miles, 6)) / 10.0


@dataclass(frozen=True, eq=False)
class Gauges:
    """Logged channels on the drive's own time (s since its start), [n] each."""

    time_s: Floats
    columns: dict[str, Floats]  # "coolant_temperature [degC]" and so on


def log_gauges(truth: Truth, seed: int, rate_hz: float = 1.0) -> Gauges:
    """Return coolant temperature, oil pressure and battery voltage of an engine warming up."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(truth.t_s[-1] * rate_hz)) / rate_hz
    rpm = np.interp(time, truth.t_s, truth.engine_rpm)
    power_kw = 1e-3 * np.interp(time, truth.t_s, truth.drive_force_n * truth.speed_mps)
    heat, coolant = 35.0, []
    for power in np.maximum(power_kw, 0.0).tolist():
        opening = min(max((heat - 82.0) / 6.0, 0.0), 1.0)  # thermostat
        lost = (0.0005 + 0.004 * opening) * (heat - _AIR_DEGC)
        heat += (0.09 + 0.007 * power - lost) / rate_hz
        coolant.append(heat)
    warm = (np.array(coolant) - 35.0) / 53.0
    oil = np.clip(1.2 + rpm / 1250.0, 0.0, 4.6) * (1.15 - 0.25 * warm)
    volts = np.where(rpm < 1100.0, 13.6, 14.1)

    def logged(values: Floats, sd: float, places: int) -> Floats:
        return np.asarray(np.round(values + rng.normal(0.0, sd, time.size), places))

    columns = {
        "coolant_temperature [degC]": logged(np.array(coolant), 0.1, 1),
        "oil_pressure [bar]": logged(oil, 0.03, 2),
        "battery [V]": logged(volts, 0.03, 2),
    }
    return Gauges(time, columns)
