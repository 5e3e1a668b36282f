"""Drive force and power at the wheels against speed, from the smooth curve of one pull.

In one gear at full throttle acceleration is a smooth function of speed: the torque curve less the
resistance. It is fitted as a cubic in speed to the mean speeds over short windows, with what is
known beforehand of how much such a curve bends. So nothing is read off a noisy derivative, whose
largest value would always lie too high.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.stretch import Stretch, cut_stretch
from roadtest.measures.windows import Readings, fix_count, read_windows
from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

# Off either end: the throttle opening and shutting, the driveline taking up.
TRIMS_S: Final = (0.4, 0.2)
_WINDOW_S: Final = 0.4
_LEAST_WINDOWS: Final = 5
_LEAST_SPEED_MPS: Final = 2.0
# How far acceleration departs from its mean over a pull, by power of speed from the middle (-1) to
# the end (1), as a share of the mean: standard deviations. Our choice: the force of an engine that
# loses a third of its torque off its peak, less growing drag, has the first two; an uneven torque
# curve the third.
_BENDS: Final = (0.5, 0.2, 0.05)
_GRADE_BEND: Final = 0.005  # hills within one pull add this much, as a grade (our choice)
_WIDE_MPS2: Final = 10.0
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

    @property
    def peak(self) -> int:
        """Where the mean power is highest."""
        return int(np.argmax(self.push_mps2.mean(axis=0) * self.speed_mps))


def power_curve(
    evidence: Evidence,
    manoeuvre: Manoeuvre,
    factor: Floats,
    resistance: Resistance,
    rng: np.random.Generator,
) -> PowerCurve | None:
    """Return the curve of a pull in gear, None where it is too short to have one.

    Drive force over mass is factor·a + g·sin(slope) + road load over mass.

    Parameters
    ----------
    factor : [c], effective mass over mass in the gear of the pull

    Uncertainty: receiver noise and its slow part, the factor, grade and resistance. Wind is
    neglected: 2 m/s of head wind at 20 m/s on a small car is some 30 N, 0.6 kW.
    """
    stretch = cut_stretch(evidence, manoeuvre, TRIMS_S, _LEAST_SPEED_MPS)
    if stretch is None or stretch.duration_s < _LEAST_WINDOWS * _WINDOW_S:
        return None
    if fix_count(evidence, stretch) <= _LEAST_WINDOWS:
        return None
    readings = read_windows(evidence, stretch, _WINDOW_S)
    if readings.speed_mps.size < _LEAST_WINDOWS:
        return None
    middle, half, terms = _fit(readings, _noise_freedom(evidence), factor.size, rng)
    # The trimmed end still pulled, or nearly so: the curve is carried on over it.
    whole = cut_stretch(evidence, manoeuvre, (TRIMS_S[0], 0.0), _LEAST_SPEED_MPS) or stretch
    speed = np.linspace(stretch.speed_mps[0], whole.speed_mps.max(), _POINTS)
    acceleration = terms @ _powers((speed - middle) / half, terms.shape[1])
    grade = _grade(evidence, stretch, speed, factor.size, rng)
    slope = STANDARD_GRAVITY_MPS2 * np.sin(np.arctan(grade))
    load = resistance.terms @ np.array([np.ones_like(speed), speed, speed**2])
    push = factor[:, None] * acceleration + slope + load
    return PowerCurve(speed, acceleration, push, grade.mean(axis=1))


def _powers(x: Floats, count: int) -> Floats:
    """Return x^0 … x^(count-1), [count, k]."""
    return np.asarray(x ** np.arange(count)[:, None])


def _noise_freedom(evidence: Evidence) -> float:
    """Return the degrees of freedom with which the log shows how noisy it is.

    A variance known from ν degrees of freedom has a logarithm of variance 2/ν.
    """
    logs = np.log([noise.sd**2 for noise in evidence.motion.noise_draws])
    return 2.0 / max(float(np.var(logs)), 1e-4)


def _fit(
    readings: Readings, freedom: float, count: int, rng: np.random.Generator
) -> tuple[float, float, Floats]:
    """Return middle and half-range of speed, and draws [c, 4] of the terms of acceleration.

    A slow log shows its own noise poorly (`freedom`); the scatter about the curve tells more of
    it. Both together make the scale of the errors, drawn as that of a variance with unknown size.

    Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.3 (scaled inverse χ²;
    value from memory).
    """
    run = readings.run
    low, high = float(run.speed_mps.min()), float(run.speed_mps.max())
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    time = run.time_s
    rates = _powers((run.speed_mps - middle) / half, 1 + len(_BENDS))
    steps = 0.5 * np.diff(time) * (rates[:, 1:] + rates[:, :-1])
    risen = np.concatenate([np.zeros((rates.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)
    design = readings.average @ np.vstack([np.ones(time.size), risen]).T
    mean_mps2 = (high - low) / run.duration_s
    bends = np.hypot(mean_mps2 * np.array(_BENDS), STANDARD_GRAVITY_MPS2 * _GRADE_BEND)
    prior = np.concatenate([[_WIDE_MPS2, _WIDE_MPS2], bends])
    lower = np.linalg.cholesky(readings.covariance)
    white = np.linalg.solve(lower, design)
    said = np.linalg.solve(lower, readings.speed_mps - run.speed_mps[0])
    covariance = np.linalg.inv(white.T @ white + np.diag(prior**-2.0))
    mean = covariance @ (white.T @ said)
    spare = max(said.size - design.shape[1], 0)
    scatter = float(np.sum((said - white @ mean) ** 2)) if spare else 0.0
    scale = np.sqrt((freedom + scatter) / rng.chisquare(freedom + spare, size=count))
    away = rng.multivariate_normal(np.zeros(mean.size), covariance, size=count)
    return middle, half, (mean + scale[:, None] * away)[:, 1:]


def _grade(
    evidence: Evidence, stretch: Stretch, speed: Floats, count: int, rng: np.random.Generator
) -> Floats:
    """Return draws [c, p] of the grade at each speed; what is not known of it is one for all."""
    ground = evidence.ground
    when = np.interp(speed, np.maximum.accumulate(stretch.speed_mps), stretch.time_s)
    here = np.interp(when, ground.time_s, ground.grade)
    doubt = float(np.sqrt(np.mean(np.interp(when, ground.time_s, ground.u_grade) ** 2)))
    return here + doubt * rng.normal(size=(count, 1))
