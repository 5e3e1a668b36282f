"""How the road bends under a stop, as far as the driving before and after it shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.measures.braking.sideways import Sideways
from roadtest.measures.braking.stop import StopDraws
from roadtest.motion.estimate import SPEED_MODEL

Floats = NDArray[np.float64]

_TOLD_APART = 2.6  # standard uncertainties: 99 %
_LEAST_PM = 2e-4  # a radius of 5 km: who builds or drives a road calls it straight
_WAIT_S = 120.0  # a car that drives on later may drive anywhere
_FROM_M, _TO_M = 3.0, 33.0  # after driving off
_SAME_ROAD_RAD = 0.35  # 20°: more is a corner or a turn in the road


def road_curvature(
    evidence: Evidence, stop: StopDraws, before_pm: Floats, rng: np.random.Generator
) -> Floats | None:
    """Return draws [c] of the road's curvature under a stop, 1/m; None where it shows no bend.

    A bend is one that is told from a straight road, before the stop or where the car drives on
    after it. The road in between has a curvature between the two; nothing says which.

    Parameters
    ----------
    before_pm : [c] float, 1/m, of the path in the approach
    """
    after = _after(evidence, stop)
    count = before_pm.size
    ends = np.zeros((2, count))
    if _is_bend(float(before_pm.mean()), float(before_pm.std())):
        ends[0] = before_pm
    if after is not None and _is_bend(*after):
        ends[1] = after[0] + after[1] * rng.standard_normal(count)
    elif after is None:  # the car turned, or stood to the end: what was before goes on
        ends[1] = ends[0]
    if not ends.any():
        return None
    share = rng.random(count)
    return np.asarray(share * ends[0] + (1.0 - share) * ends[1])


def _is_bend(curvature_pm: float, u_pm: float) -> bool:
    return abs(curvature_pm) > max(_TOLD_APART * u_pm, _LEAST_PM)


def off_the_road(sideways: Sideways, curvature_pm: Floats) -> Sideways:
    """Return drift and heading change from a road that bends by `curvature_pm` [c] all along.

    The line of approach is a chord: the road's heading at its end is half of its length ahead.
    """
    ahead = curvature_pm * sideways.approach_m
    way = sideways.distance_m
    half = 0.5 * curvature_pm * way
    arc = way * np.sinc(half / np.pi) * np.sin(ahead + half)
    return replace(
        sideways,
        drift_m=sideways.drift_m - arc,
        heading_change_rad=sideways.heading_change_rad - ahead - 2.0 * half,
    )


def _after(evidence: Evidence, stop: StopDraws) -> tuple[float, float] | None:
    """Return curvature and its standard uncertainty where the car drives on, None if it does not.

    A straight line of heading over the first thirty metres.
    """
    motion, heading = evidence.motion, evidence.ground.heading_rad
    end = float(np.nanmedian(stop.end_s))
    rest = np.interp(end, motion.time_s, motion.distance_m)
    driven = motion.distance_m - rest
    on = (motion.time_s > end) & (motion.time_s < end + _WAIT_S)
    on &= (driven > _FROM_M) & (driven < _TO_M) & np.isfinite(heading)
    if np.count_nonzero(on) < 4 or np.ptp(driven[on]) < 0.5 * (_TO_M - _FROM_M):
        return None
    before = (motion.time_s < end) & np.isfinite(heading)
    if not before.any():
        return None
    turned = heading[on] - heading[before][-1]
    turned = np.angle(np.exp(1j * turned))
    if np.abs(turned).max() > _SAME_ROAD_RAD:
        return None
    line, covariance = np.polyfit(driven[on], turned, 1, cov="unscaled")
    scatter = float(np.sqrt(np.mean((turned - np.polyval(line, driven[on])) ** 2)))
    white = scatter * float(np.sqrt(covariance[0, 0]))
    # What wanders slowly in the receiver's velocity tilts the whole line.
    wander = float(np.sqrt(sum(error.sd**2 for error in SPEED_MODEL.slow)))
    slow = wander / float(np.median(motion.speed_mps[on])) / float(np.ptp(driven[on]))
    return float(line[0]), float(np.hypot(white, slow))
