"""Engine turns per metre of each gear, the tach's clock and the tyres' creep, all in one fit.

Every block of settled driving says

    log turns = gear + late · δ + late · (c - c0) · drift - swing · λ
                + push · k1 + push·|push| · k2 + v² · k3 + climb · k4
                + ½ω² · τ² - ½κ² · d²

with δ what is missing from the clock offset (delay of the dial included), λ the time constant of a
filtered dial (it tells only where acceleration changes), k1, k2, k4 the tyres' creep, k3 what
speed does (tyre growth, and drag other than assumed), and τ and d the receiver's smoothing and its
distance from the driven axle, both felt in tight turns (rate ω, curvature κ). It is a linear model
with errors that are correlated in time, solved by generalised least squares with priors on all but
the gears and δ.

Reference: JCGM 102:2011, 6.2 (multivariate propagation); A. Gelman et al., Bayesian Data Analysis,
3rd ed., chapter 14 (regression with known covariance and priors) [values from memory].
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.gearing import creep
from roadtest.measures.gearing.blends import Errors
from roadtest.measures.gearing.blocks import Blocks
from roadtest.measures.gearing.engine import EngineSamples
from roadtest.measures.gearing.road import G_MPS2, Road
from roadtest.measures.gearing.slow_errors import SlowErrors
from roadtest.motion.estimate import SPEED_MODEL
from roadtest.motion.turning import AHEAD_M2, U_AHEAD_M2

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

U_DRIFT: Final = 29e-6
"""Of a logger's quartz, standard: within 50 ppm at any temperature that it works in, and 5 ppm of
a year's ageing, each a rectangular distribution: what a maker asks of the quartz of a
microcontroller (Texas Instruments, data sheet SLASEK6, October 2017, its 25 MHz crystal; this part
of it read). A ceramic resonator, off by a thousand ppm, is not allowed for."""
U_CALENDAR_S: Final = 10.0  # δ of a calendar clock: weak, so that a steady cruise stays solvable
U_UNKNOWN_S: Final = 1000.0
FILTER_S: Final = 0.12
U_FILTER_S: Final = 0.12
"""Of the dial's time constant: from none (raw pulses) to a third of a second (our choice)."""
_U_SHAPE_S: Final = 0.12
"""What a first-order filter leaves of the response of a real dial, and of the receiver's, which
filters as well (delays of 0.1 to 1.5 s are seen in recordings)."""
_LEAST_U_SMOOTHING: Final = 1e-3  # s²: a solvable fit where no smoothing is possible
_BLUR: Final = 0.29  # a rectangular distribution over one interval
_GRADE_MEMORY_S: Final = 20.0
_U_ANY: Final = 100.0  # of a gear's logarithm: nothing is known
_NU: Final = 5.0  # tails of a block
_NU_GUESSED: Final = 2.0  # of fixes seconds apart: some speeds are far off
_POSITION_MEMORY_S: Final = 2.0
_CORNER_MEMORY_S: Final = 5.0  # as long as one takes to speed up in a gear
_PUSH_MEMORY_S: Final = 1.0  # of accelerations estimated from fixes
_ROUNDING_MEMORY_S: Final = 2.0  # in which a car's speed usually changes by more than a step
_GUESSED_S: Final = 2.0  # between fixes
_LEAST_GUESSED: Final = math.exp(-5.0)


@dataclass(frozen=True)
class Fit:
    """The answer: [p] values and their covariance. The first k are the gears' log turns."""

    gears: Ints  # [k] indices of the modes that were fitted
    value: Floats
    covariance: Floats
    gain: Floats  # [p, b], by how much what each block shows moves the values
    noise_rpm: float  # of one sample about the fit
    from_s: float  # clock reading at which the offset holds
    excess: float  # scatter of the blocks over what the instruments give, in variance

    @property
    def count(self) -> int:
        """How many gears."""
        return int(self.gears.size)

    @property
    def shift_s(self) -> float:
        """δ: what is missing from the clock offset."""
        return float(self.value[self.count])

    @property
    def u_shift_s(self) -> float:
        """Standard uncertainty of the offset."""
        return float(np.sqrt(self.covariance[self.count, self.count]))

    @property
    def u_drift(self) -> float:
        """Standard uncertainty of the drift."""
        return float(np.sqrt(self.covariance[self.count + 1, self.count + 1]))

    @property
    def drift(self) -> float:
        """What is missing from the drift of the tach's clock, seconds per second."""
        return float(self.value[self.count + 1])

    @property
    def log_turns(self) -> Floats:
        """[k] log engine turns per metre, free of creep, as the tach shows them."""
        return self.value[: self.count]

    def draws(self, count: int, rng: np.random.Generator) -> Floats:
        """Return `count` joint draws [c, p] of everything."""
        factor = np.linalg.cholesky(self.covariance + 1e-18 * np.eye(self.value.size))
        return np.asarray(self.value + rng.normal(size=(count, self.value.size)) @ factor.T)


def fit_ratios(
    blocks: Blocks, samples: EngineSamples, road: Road, drift_in: float = 0.0
) -> Fit | None:
    """Return the fit, None when there is nothing to fit.

    `drift_in` is the drift that the times of the blocks have in them already: what is known of a
    clock's drift beforehand is known of it and what is still missing together.
    """
    gears = np.unique(blocks.gear)
    if gears.size == 0 or blocks.gear.size < gears.size + 1:
        return None
    from_s = float(samples.time_s[0])
    design = _design(blocks, gears, from_s)
    prior_mean, prior_u = _priors(gears.size, samples, road, drift_in)
    slow = _slow_errors(blocks, road)
    shared = slow.variance
    white = _white_variance(blocks, samples, road)
    own = white
    guessed = road.fix_interval_s > _GUESSED_S
    errors = Errors(blocks.changes, _NU_GUESSED if guessed else _NU, blocks.slow_rows)
    least = _LEAST_GUESSED if guessed else 1.0
    prior = prior_mean, prior_u
    far_off = guessed or blocks.slow_rows  # some speeds, or some rows
    for _ in range(8 if far_off else 4):
        value, spread, gain = _solve(design, blocks.log_turns, slow, own, prior)
        misfit = blocks.log_turns - design @ value
        level = _noise_level(misfit, white, shared, errors, least)
        own = errors.own(misfit, level * white, shared)
    if far_off:
        blunt = own * errors.blunt(level * white + shared)
        value, spread, gain = _solve(design, blocks.log_turns, slow, blunt, prior)
    # Levels of all gears move together with the drag at rest that was assumed.
    common = creep.LINEAR * road.drag.u_still_mps2
    spread[: gears.size, : gears.size] += common**2
    # Speed told from positions smears what happens over an interval, on the same side every time:
    # braking begins in what is light driving, and ends outside of it.
    if road.motion.source == "position":
        spread[gears.size, gears.size] += (_BLUR * road.fix_interval_s) ** 2
    noise = float(np.sqrt(level)) * float(np.hypot(samples.u_rpm, samples.step_rpm / 12**0.5))
    return Fit(gears, value, spread, gain, noise, from_s, level)


def _design(blocks: Blocks, gears: Ints, from_s: float) -> Floats:
    one_hot = (blocks.gear[:, None] == gears).astype(np.float64)
    return np.column_stack(
        [
            one_hot,
            blocks.late,
            blocks.late * (blocks.clock_s - from_s),
            blocks.push_mps2 - blocks.climb_mps2,
            blocks.push_square,
            blocks.speed_mps**2,
            -blocks.swing,
            blocks.climb_mps2,
            blocks.bending.rate_square,
            -blocks.bending.curve_square,
        ]
    )


def _priors(
    count: int, samples: EngineSamples, road: Road, drift_in: float
) -> tuple[Floats, Floats]:
    """Return prior means and standard deviations [p]; the gears' are as good as none."""
    u_shift = U_UNKNOWN_S if samples.clock == "elapsed" else U_CALENDAR_S
    u_square = float(np.hypot(creep.U_GROWTH_PM2, creep.LINEAR * road.drag.u_square_pm))
    # Grades from altitudes may be right or mere error: their creep is anything between none and
    # that of any other push, and tells nothing of the latter.
    climb = 0.5 * creep.LINEAR
    # What is not known of the receiver's smoothing is like a filtered dial, the other way.
    u_smooth = float(road.smoothed.time_s.std())
    u_filter = float(np.hypot(U_FILTER_S, u_smooth))
    low, u_low = road.smoothed.square
    mean = [0.0, -drift_in, creep.LINEAR, creep.SQUARE, 0.0, FILTER_S, climb]
    u = [u_shift, U_DRIFT, creep.U_LINEAR, creep.U_SQUARE, u_square, u_filter, climb]
    mean += [low, AHEAD_M2]
    u += [max(u_low, _LEAST_U_SMOOTHING), U_AHEAD_M2]
    return (
        np.concatenate([np.zeros(count), mean]),
        np.concatenate([np.full(count, _U_ANY), u]),
    )


def _slow_errors(blocks: Blocks, road: Road) -> SlowErrors:
    """Return what stays the same for longer than a block."""
    inverse = 1.0 / blocks.speed_mps
    parts: list[tuple[Floats, float]] = []
    if road.motion.source == "doppler":
        parts += [(part.sd * inverse, part.memory_s) for part in SPEED_MODEL.slow]
        parts.append((road.u_rounding_mps * inverse, _ROUNDING_MEMORY_S))
    else:
        parts.append((blocks.u_speed_mps * inverse, _POSITION_MEMORY_S))
        # Where acceleration begins or ends, lies anywhere between two fixes.
        parts.append((_BLUR * road.fix_interval_s * blocks.late, _CORNER_MEMORY_S))
    parts.append((creep.LINEAR * blocks.u_acceleration_mps2, _PUSH_MEMORY_S))
    parts.append((creep.LINEAR * G_MPS2 * blocks.u_grade, _GRADE_MEMORY_S))
    amplitude = np.array([each for each, _ in parts])
    return SlowErrors(blocks.time_s, amplitude, tuple(memory for _, memory in parts))


def _white_variance(blocks: Blocks, samples: EngineSamples, road: Road) -> Floats:
    """Return the variance [b] of what changes from block to block."""
    speed = _speed_variance(blocks, road)
    rounding = samples.step_rpm**2 / 12.0 / np.maximum(blocks.plateaus, 1.0)
    tach = samples.u_rpm**2 / blocks.samples + rounding
    # Where acceleration changes, fixes far apart blur it by a part of their interval.
    blur = np.hypot(_U_SHAPE_S, _BLUR * road.fix_interval_s)
    swing = (blur * blocks.swing) ** 2 + blocks.u_unsmoothed**2
    square, u_square = road.smoothed.square
    turning = (np.hypot(square, u_square) * blocks.bending.felt_square) ** 2
    ahead = np.hypot(AHEAD_M2, U_AHEAD_M2)
    turning += (ahead * blocks.bending.u_curve_square) ** 2
    return np.asarray(speed / blocks.speed_mps**2 + tach / blocks.rpm**2 + swing + turning + 1e-8)


def _speed_variance(blocks: Blocks, road: Road) -> Floats:
    """Return the variance [b] of mean speed that is not shared with other blocks, (m/s)².

    That of rounding, a slow error, is no part of it.

    A smoothed speed as good as u has averaged the fixes over h = variance of a fix · interval / u²;
    so many times as h goes into a block, but not oftener than there are samples, it is new.
    """
    motion = road.motion
    if motion.source == "position":
        return np.zeros(blocks.length_s.size)  # all of it is in the slow part
    fix = _fix_variance(road)
    slow = sum(part.sd**2 for part in SPEED_MODEL.slow)
    smoothed = np.maximum(blocks.u_speed_mps**2 - slow, 0.1 * blocks.u_speed_mps**2)
    smoothed *= 1.0 - _rounded_share(road)
    reach_s = np.minimum(fix * road.fix_interval_s / smoothed, 10.0)
    independent = np.clip(blocks.length_s / np.maximum(reach_s, 1e-3), 1.0, blocks.samples)
    return np.asarray(smoothed / independent)


def _fix_variance(road: Road) -> float:
    """Return the variance of the noise of one fix, (m/s)².

    Student's t with scale s and ν degrees of freedom tells as much as a normal of this variance.
    """
    noise = road.motion.noise
    return noise.sd**2 * (noise.tail + 3.0) / (noise.tail + 1.0)


def _rounded_share(road: Road) -> float:
    """Return the share that rounding has in the variance of a fix, and so of smoothed speeds."""
    rounding = float(np.nanmedian(road.motion.observed.rounding))
    return rounding / (rounding + _fix_variance(road))


def _noise_level(
    misfit: Floats, white: Floats, slow: Floats, errors: Errors, least: float
) -> float:
    """Return how much larger than thought the white variance is, by maximum likelihood.

    Never smaller than `least`: 1 where what is known of each instrument is at work; but where fixes
    are seconds apart the speed's own uncertainty is little more than a guess.
    """
    grid = np.geomspace(least, math.exp(4.0), 61)
    variance = grid[:, None] * white + slow
    return float(grid[np.argmax(errors.log_density(misfit, variance).sum(axis=1))])


def _solve(
    design: Floats, seen: Floats, slow: SlowErrors, white: Floats, prior: tuple[Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Return mean and covariance of the coefficients given what was seen, and its gain."""
    mean, u = prior
    scaled = slow.whitened(design, white)
    information = design.T @ scaled + np.diag(1.0 / u**2)
    spread = np.linalg.inv(information)
    spread = 0.5 * (spread + spread.T)
    gain = spread @ scaled.T
    return mean + gain @ (seen - design @ mean), spread, gain
