"""Drive force and power at the wheels against speed, from the smooth curve of one pull.

In one gear at full throttle acceleration is a smooth function of speed: the torque curve less the
resistance. So nothing is read off a noisy derivative: its largest value would always be too high.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.pulls.curve import Lens, acceleration_at
from roadtest.measures.pulls.lull import lull_s
from roadtest.measures.smoothing import alike, unsmoothed
from roadtest.measures.stretch import Stretch, cut_stretch
from roadtest.measures.windows import fix_count, read_windows
from roadtest.motion.estimate import Draws
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

# Off either end: the throttle opening and shutting, the driveline taking up.
TRIMS_S: Final = (0.4, 0.2)
_WINDOW_S: Final = 0.4
_AFTER_S: Final = 1.0  # after what is found to be the pull's end, it may have been
_SURELY: Final = 0.05  # of the draws have it over before
_LEAST_WINDOWS: Final = 5
_LEAST_SPEED_MPS: Final = 2.0
_POINTS: Final = 25


@dataclass(frozen=True)
class Resistance:
    """Road load over mass: draws [c, 3] of f0/m (m/s²), f1/m (1/s), f2/m (1/m)."""

    terms: Floats
    measured: bool  # by coasting; else typical of such cars


@dataclass(frozen=True)
class PowerCurve:
    """Draws [c, p] at p road speeds, per unit of mass."""

    speed_mps: Floats  # [p]
    acceleration_mps2: Floats
    push_mps2: Floats  # drive force over mass
    grade: Floats  # [c], mean of the pull

    def seconds(self, from_mps: float, to_mps: float) -> Floats:
        """Return the time from one speed to another within the curve, draws [c] s.

        ∫ dv/a, for in one gear there is one acceleration to each speed; NaN in a draw that does
        not get there.
        """
        speed, rate = self.speed_mps, self.acceleration_mps2
        slowness = 1.0 / np.where(rate > 0.0, rate, np.nan)
        steps = 0.5 * np.diff(speed) * (slowness[:, 1:] + slowness[:, :-1])
        passed = np.concatenate([np.zeros((rate.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)
        ends = [_at(passed, speed, level) for level in (from_mps, to_mps)]
        return np.asarray(ends[1] - ends[0])


def power_curve(
    evidence: Evidence,
    manoeuvre: Manoeuvre,
    factor: Floats,
    resistance: Resistance,
    rng: np.random.Generator,
    smoothing_s: Floats | None = None,
) -> PowerCurve | None:
    """Return the curve of a pull in gear, None where it is too short to have one.

    Drive force over mass is factor·a + g·sin(slope) + road load over mass.

    Parameters
    ----------
    factor : [c], effective mass over mass in the gear of the pull
    smoothing_s : [c], the receiver's, through which speeds are seen; None for none

    Uncertainty: receiver noise and its slow part, the factor, grade and resistance. Wind is
    neglected: 2 m/s of head wind at 20 m/s on a small car is some 30 N, 0.6 kW.
    """
    shown = evidence.draws.get(manoeuvre.id)
    if shown is None:
        return None
    smoothing = np.zeros(factor.size) if smoothing_s is None else smoothing_s
    true = unsmoothed(shown, smoothing)
    sure_s, about_s = _ended(true, manoeuvre)
    trims = (TRIMS_S[0], TRIMS_S[1] + manoeuvre.end_s - sure_s)
    stretch = cut_stretch(evidence, manoeuvre, trims, _LEAST_SPEED_MPS)
    if stretch is None or stretch.duration_s < _LEAST_WINDOWS * _WINDOW_S:
        return None
    if fix_count(evidence, stretch) <= _LEAST_WINDOWS:
        return None
    readings = read_windows(evidence, stretch, _WINDOW_S)
    if readings.speed_mps.size < _LEAST_WINDOWS:
        return None
    # The trimmed end still pulled, or nearly so: the curve is carried on over it.
    ends = np.interp([stretch.time_s[0], about_s], true.time_s, true.speed_mps.mean(axis=0))
    speed = np.linspace(ends[0], ends[1], _POINTS)
    acceleration = np.empty((factor.size, _POINTS))
    freedom = _noise_freedom(evidence)
    for group in alike(smoothing):
        driven = np.interp(stretch.time_s, true.time_s, true.speed_mps[group].mean(axis=0))
        lens = Lens(driven, float(np.median(smoothing[group])), freedom)
        acceleration[group] = acceleration_at(speed, readings, lens, group.size, rng)
    grade = _grade(evidence, stretch, speed, factor.size, rng)
    slope = STANDARD_GRAVITY_MPS2 * np.sin(np.arctan(grade))
    load = resistance.terms @ np.array([np.ones_like(speed), speed, speed**2])
    push = factor[:, None] * acceleration + slope + load
    return PowerCurve(speed, acceleration, push, grade.mean(axis=1))


def _at(rows: Floats, x: Floats, level: float) -> Floats:
    """Return rows [c, p] over x [p] at a level [c]."""
    k = int(np.clip(np.searchsorted(x, level, "right"), 1, x.size - 1))
    share = (level - x[k - 1]) / (x[k] - x[k - 1])
    return np.asarray((1.0 - share) * rows[:, k - 1] + share * rows[:, k])


def _ended(true: Draws, manoeuvre: Manoeuvre) -> tuple[float, float]:
    """Return until when the pull surely lasted, and until when it probably did.

    It is over where speed is highest, before any lull: a slow log merges a pull with the driving
    after it. Between fixes a second apart that may be anywhere.
    """
    last_s = manoeuvre.end_s + _AFTER_S
    lull = lull_s(true.time_s, true.speed_mps.mean(axis=0), (manoeuvre.start_s, manoeuvre.end_s))
    during = (true.time_s >= manoeuvre.start_s) & (true.time_s <= min(last_s, lull))
    time, speed = true.time_s[during], true.speed_mps[:, during]
    highest = time[np.argmax(speed, axis=1)]
    sure, about = np.quantile(highest, [_SURELY, 0.5])
    return min(float(sure), manoeuvre.end_s), min(float(about), manoeuvre.end_s)


def _noise_freedom(evidence: Evidence) -> float:
    """Return the degrees of freedom with which the log shows how noisy it is.

    A variance known from ν degrees of freedom has a logarithm of variance 2/ν.
    """
    logs = np.log([noise.sd**2 for noise in evidence.motion.noise_draws])
    return 2.0 / max(float(np.var(logs)), 1e-4)


def _grade(
    evidence: Evidence, stretch: Stretch, speed: Floats, count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [c, p] of the grade at each speed.

    What is not known of it is alike over as far as the grades of such roads are.
    """
    ground = evidence.ground
    when = np.interp(speed, np.maximum.accumulate(stretch.speed_mps), stretch.time_s)
    here = np.interp(when, ground.time_s, ground.grade)
    doubt = np.interp(when, ground.time_s, ground.u_grade)
    along = np.interp(when, evidence.motion.time_s, evidence.motion.distance_m)
    alike = np.exp(-np.abs(along[:, None] - along) / ground.grade_reach_m)
    lower = np.linalg.cholesky(alike + 1e-9 * np.eye(speed.size))
    return np.asarray(here + doubt * (rng.normal(size=(count, speed.size)) @ lower.T))
