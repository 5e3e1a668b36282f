"""Road speed at any time, and how hard the driven tyres push."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet
from roadtest.evidence import Evidence
from roadtest.measures.gearing import creep
from roadtest.measures.gearing.bending import Bending
from roadtest.motion.estimate import Motion
from roadtest.motion.ground import Ground
from roadtest.motion.rounding import speed_step
from roadtest.motion.smoothed import NOT_SMOOTHED, Smoothed

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

G_MPS2: Final = 9.80665
_AIR_KGPM3: Final = 1.225
_SLOWEST_MPS: Final = 1.0
_LEAST_RISE: Final = -0.9  # in braking to rest nothing is left of a speed

# Small open sports cars: rolling coefficient 0.012 to 0.020, drag area 0.55 to 0.80 m² [value from
# memory]; taken as 95 % intervals. Mass where the sheet has none: our choice of 900 ± 300 kg.
_ROLLING: Final = 0.0155
_U_ROLLING: Final = 0.002
_DRAG_AREA_M2: Final = 0.675
_U_DRAG_AREA_M2: Final = 0.065
_MASS_KG: Final = 900.0
_U_MASS_RELATIVE: Final = 0.17


@dataclass(frozen=True)
class RoadAt:
    """The road speed at some times, [n] each."""

    time_s: Floats
    speed_mps: Floats
    u_speed_mps: Floats
    acceleration_mps2: Floats
    u_acceleration_mps2: Floats
    push_mps2: Floats  # of the driven tyres, as acceleration of the car: a + drag + grade
    climb_mps2: Floats  # what of the push the grade takes, as far as altitudes tell it
    u_grade: Floats
    known: Bools  # False where the log has no fixes near


@dataclass(frozen=True)
class SpeedAt:
    """The speed at some times, [n] each."""

    speed_mps: Floats
    u_speed_mps: Floats
    acceleration_mps2: Floats
    u_acceleration_mps2: Floats
    known: Bools  # False where the log has no fixes near


@dataclass(frozen=True)
class Drag:
    """What holds the car back on the level, as a deceleration: still + square · v²."""

    still_mps2: float
    square_pm: float  # 1/m
    u_still_mps2: float
    u_square_pm: float

    def at(self, speed_mps: Floats) -> Floats:
        """Return the deceleration at these speeds, m/s²."""
        return np.asarray(self.still_mps2 + self.square_pm * speed_mps**2)


@dataclass(frozen=True)
class Road:
    """Speed, acceleration and push at any time, from the motion estimate."""

    motion: Motion
    ground: Ground
    drag: Drag
    smoothed: Smoothed  # by the receiver
    u_rounding_mps: float = 0.0  # of one speed of the log, standard

    @classmethod
    def of(cls, evidence: Evidence, smoothed: Smoothed = NOT_SMOOTHED) -> Road:
        """Return the road of a drive."""
        u_rounding = speed_step(evidence.gps.speed_mps) / math.sqrt(12.0)
        drag = drag_of(evidence.sheet)
        return cls(evidence.motion, evidence.ground, drag, smoothed, u_rounding)

    @cached_property
    def fix_interval_s(self) -> float:
        """Usual time between fixes."""
        return float(np.median(np.diff(self.motion.time_s)))

    def at(self, time_s: Floats) -> RoadAt:
        """Return what the road speed is at `time_s` ([n] float, s since the start)."""
        car = self.speed_at(time_s)
        speed = car.speed_mps
        grade = np.nan_to_num(np.interp(time_s, self.ground.time_s, self.ground.grade))
        u_grade = np.interp(time_s, self.ground.time_s, self.ground.u_grade)
        u_grade = np.where(np.isfinite(u_grade), u_grade, self.ground.grade_spread)
        return RoadAt(
            time_s=time_s,
            speed_mps=speed,
            u_speed_mps=car.u_speed_mps,
            acceleration_mps2=car.acceleration_mps2,
            u_acceleration_mps2=car.u_acceleration_mps2,
            push_mps2=car.acceleration_mps2 + self.drag.at(speed) + G_MPS2 * grade,
            climb_mps2=G_MPS2 * grade,
            u_grade=u_grade,
            known=car.known,
        )

    def bending(self, time_s: Floats) -> Bending:
        """Return how the car turns at `time_s` [n]."""
        ground = self.ground
        return Bending.of(ground.time_s, ground.heading_rad, self.motion.speed_mps, time_s)

    def unsmoothed_by(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Return by how much the logarithm of speed rises at `time_s` [n], its smoothing undone.

        A first-order filter of time constant τ shows y with τ·y' + y = v. It makes every speed
        late by τ, which is part of a clock's offset; what is left of it is
        ln v(t - τ) - ln y(t) = ln (1 + τ·y'/y(t - τ)) - (ln y(t) - ln y(t - τ)), and τ·y' is taken
        over the time from τ/2 before to τ/2 after, for slopes are noisier than speeds.

        The standard uncertainty [n] with it is of speeds that change otherwise than that: what the
        slope at the moment makes different, and the creep of the tyres under the push that it and
        the one shown at `time_s` differ by.
        """
        lag = float(self.smoothed.time_s.mean())
        if lag <= 0.0:
            return np.zeros(time_s.size), np.zeros(time_s.size)
        steps = np.array([0.0, 0.5, 1.0, 1.5])[:, None] * lag
        at = self.speed_at((time_s - steps).ravel())
        now, half, early, earlier = np.maximum(at.speed_mps.reshape(4, -1), _SLOWEST_MPS)
        slope_now, slope_half, slope, slope_earlier = at.acceleration_mps2.reshape(4, -1)
        rise = np.maximum((half - earlier) / early, _LEAST_RISE)
        push_off = slope + slope_half - slope_earlier - slope_now
        return (
            np.asarray(np.log1p(rise) - np.log(now / early)),
            np.hypot(lag * slope / early - rise, creep.LINEAR * push_off),
        )

    def speed_at(self, time_s: Floats) -> SpeedAt:
        """Return the speed alone at `time_s`, as `at` does: at less than half its cost.

        Speed between fixes is the cubic that has the estimated speed and acceleration at both; an
        integral of white noise pinned in value and slope at both ends of h has the variance
        q (u (1 - u) h)³ / 3 at the share u of the way [worked out here].
        """
        motion = self.motion
        knots = motion.time_s
        low = np.clip(np.searchsorted(knots, time_s, "right") - 1, 0, knots.size - 2)
        h = knots[low + 1] - knots[low]
        u = np.clip((time_s - knots[low]) / h, 0.0, 1.0)
        v0, v1 = motion.speed_mps[low], motion.speed_mps[low + 1]
        a0, a1 = motion.acceleration_mps2[low], motion.acceleration_mps2[low + 1]
        u2 = u * u
        u3 = u2 * u
        speed = (
            (2 * u3 - 3 * u2 + 1) * v0
            + (3 * u2 - 2 * u3) * v1
            + h * ((u3 - 2 * u2 + u) * a0 + (u3 - u2) * a1)
        )
        speed = np.maximum(speed, 0.0)
        acceleration = a0 + u * (a1 - a0)
        # Between fixes a car driven by white jerk strays from that cubic.
        swing = h * u * (1.0 - u)
        stray = motion.intensity[low] * swing * swing * swing / 3.0
        u_speed = np.sqrt(np.interp(time_s, knots, motion.u_speed_mps**2) + stray)
        inside = (time_s >= knots[0]) & (time_s <= knots[-1])
        known = inside & (h <= max(2.0, 2.5 * self.fix_interval_s))
        u_acceleration = np.interp(time_s, knots, motion.u_acceleration_mps2)
        return SpeedAt(speed, u_speed, acceleration, u_acceleration, known)


def drag_of(sheet: BuildSheet) -> Drag:
    """Return the drag of a small open car of the sheet's mass, as uncertain as it is."""
    mass = sheet.car.mass.value if sheet.car.mass else _MASS_KG
    u_mass = 0.0 if sheet.car.mass else _U_MASS_RELATIVE
    square = 0.5 * _AIR_KGPM3 * _DRAG_AREA_M2 / mass
    return Drag(
        still_mps2=_ROLLING * G_MPS2,
        square_pm=square,
        u_still_mps2=_U_ROLLING * G_MPS2,
        u_square_pm=square * float(np.hypot(_U_DRAG_AREA_M2 / _DRAG_AREA_M2, u_mass)),
    )
