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

# Whoever picks a road for stops picks a straight one, or thinks so: one in two bends, one in five
# bends otherwise at the end of the approach than before, and one in five otherwise after the stop;
# by so much, a radius of 700 m. Our choice.
_BENDS, _CHANGES, _BEND_SD_PM = 0.5, 0.2, 1.5e-3
_LEAST_U_PM = 1e-9
_LEAST_LIKELY = 0.1  # a road straight with more than 90 % is taken for straight
_WAIT_S = 120.0  # a car that drives on later may drive anywhere
_FROM_M, _TO_M = 3.0, 33.0  # after driving off
_SAME_ROAD_RAD = 0.35  # 20°: more is a corner or a turn in the road


def road_curvature(
    evidence: Evidence, stop: StopDraws, sideways: Sideways, rng: np.random.Generator
) -> Floats | None:
    """Return draws [c] of the road's curvature under a stop, 1/m; None where it is straight.

    The road before the stop bends with some probability, which its path there tells, and goes on
    so or with another bend where the car drives on after it. In between it has a curvature between
    the two; nothing says which. Where nothing is driven after, it is taken to go on as before.
    """
    count = sideways.drift_m.size
    before = _before(sideways, rng)
    after, told = before, _after(evidence, stop)
    if told is not None:
        seen = told[0] + told[1] * rng.standard_normal(count)
        after = _believed(seen, before, _CHANGES, rng)
    if np.mean((before != 0.0) | (after != 0.0)) < _LEAST_LIKELY:
        return None
    share = rng.random(count)
    return np.asarray(share * before + (1.0 - share) * after)


def _before(sideways: Sideways, rng: np.random.Generator) -> Floats:
    """Return draws [c] of the road's curvature where the stop begins, as the approach shows it.

    A bend may end or begin on the way: what goes on under the stop is what its second half shows,
    or its last quarter or eighth, where these differ from what lies before them. A change later
    than that, within the last second that the line of approach is laid through, is not seen.
    """

    def mean(first: int, last: int) -> Floats:
        driven = sideways.driven_m[first:last].sum(axis=0)
        return np.asarray(sideways.turned_rad[first:last].sum(axis=0) / np.maximum(driven, 1e-6))

    whole = len(sideways.driven_m)
    straight = np.zeros(sideways.drift_m.size)
    bend, first = _believed(mean(0, whole), straight, _BENDS, rng), 0
    places = (whole // 2, whole - whole // 4, whole - whole // 8)
    for at in places:
        last = mean(at, whole)
        changes = _chance(last - mean(first, at), _CHANGES / len(places))
        after = _believed(last, straight, _BENDS, rng)
        bend, first = np.where(rng.random(bend.size) < changes, after, bend), at
    return bend


def _believed(
    seen_pm: Floats, expected_pm: Floats, share: float, rng: np.random.Generator
) -> Floats:
    """Return draws [c] of a curvature seen as draws [c]: as expected [c], or some other.

    Beforehand a `share` of roads has another one, normal about the expected; which it is, is
    weighted by how well either explains what is seen.
    """
    off, u = float((seen_pm - expected_pm).mean()), float((seen_pm - expected_pm).std())
    kept = _BEND_SD_PM**2 / (u**2 + _BEND_SD_PM**2)
    other = expected_pm + kept * off + np.sqrt(kept) * (seen_pm - expected_pm - off)
    chance = _chance(seen_pm - expected_pm, share)
    return np.where(rng.random(seen_pm.size) < chance, other, expected_pm)


def _chance(off_pm: Floats, share: float) -> float:
    """Return the chance of another curvature, of which `off_pm` [c] are draws as it is seen."""
    off, u = float(off_pm.mean()), max(float(off_pm.std()), _LEAST_U_PM)
    wide = float(np.hypot(u, _BEND_SD_PM))
    log_odds = np.log(u / wide) + 0.5 * off**2 * (u**-2.0 - wide**-2.0)
    odds = share / (1.0 - share) * np.exp(min(log_odds, 50.0))
    return float(odds / (1.0 + odds))


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
