"""Coasts: long, smooth, slow loss of speed. In gear or out of gear only the tach can tell."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres.model import Manoeuvre
from roadtest.manoeuvres.profile import STEP_S, Profile, runs

Floats = NDArray[np.float64]

LEAST_S: Final = 8.0
LEAST_LOSS_MPS: Final = 4.0
_SLOWEST_MPS2: Final = 0.03  # rolling resistance of 0.01 less a fall of 0.7 %
_FASTEST_MPS2: Final = 0.5
_FASTEST_PM: Final = 0.0008
"""Most that a free car loses is the first plus the second times speed squared: a rolling
coefficient of 0.02 on a rise of 3 %, and a drag area of 0.9 m² on 690 kg."""
_LEAST_MPS: Final = 5.0  # below this a car turns off, or parks
_JERK_MPS3: Final = 0.15
"""Road and air change slowly: 2 % of grade within 2 s is 0.1 m/s³. A foot changes 0.5 m/s² at
once."""
_DRIFT_MPS: Final = 0.1  # the same in speed, for small steps
_STEP_MPS2: Final = 0.1  # departure from the smooth course that ends a coast


def find_coasts(profile: Profile) -> list[Manoeuvre]:
    """Return every candidate for a coast in the order driven, ids still to be given."""
    found = []
    for first, last in runs(_smooth_slowing(profile)):
        first, last = _widened(profile, first, last)
        loss = profile.speed_mps[first] - profile.speed_mps[last - 1]
        if (last - first) * STEP_S >= LEAST_S and loss >= LEAST_LOSS_MPS:
            found.append(_coast(profile, first, last))
    return found


def _smooth_slowing(profile: Profile) -> NDArray[np.bool_]:
    """Return where [n] the car loses speed as slowly and smoothly as a free one."""
    half = profile.long_s
    slope = profile.slope(half)
    allow = profile.u_speed_mps / half  # about one and a half standard deviations of the slope
    fastest = _FASTEST_MPS2 + _FASTEST_PM * profile.speed_mps**2
    slow = (slope < -_SLOWEST_MPS2 + np.maximum(allow - _SLOWEST_MPS2, 0.0)) & (
        slope > -fastest - allow
    )
    smooth = np.abs(_change(slope, half)) < _JERK_MPS3 + allow / half
    return np.asarray(slow & smooth & ~profile.gap & (profile.speed_mps > _LEAST_MPS))


def _change(values: Floats, half_s: float) -> Floats:
    """Return the rate of change of `values` [n] over ± `half_s`."""
    half = round(half_s / STEP_S)
    padded = np.pad(values, half, mode="edge")
    return np.asarray((padded[2 * half :] - padded[: -2 * half]) / (2.0 * half_s))


def _widened(profile: Profile, first: int, last: int) -> tuple[int, int]:
    """Return the run made longer up to where the deceleration leaves its smooth course.

    The steadiness above looks a second or two about each point, twice over: the ends of a run
    found there are not those of the coast, its inside is surely in it.
    """
    margin = round(1.5 * profile.long_s / STEP_S)
    if last - first < 4 * margin:
        return first, last
    reach = margin + round(2.5 * profile.long_s / STEP_S)
    first, last = first + margin, last - margin
    low, high = max(first - reach, 0), min(last + reach, profile.time_s.size)
    middle, scale = 0.5 * (first + last), 0.5 * (last - first)
    slope = profile.slope_mps2
    inside = np.arange(first, last)
    course = np.polynomial.Polynomial.fit((inside - middle) / scale, slope[inside], 2)
    at = np.arange(low, high)
    # A parabola runs away outside: beyond the run it is held at its ends.
    smooth = course(np.clip((at - middle) / scale, -1.0, 1.0))
    limit = np.maximum(_STEP_MPS2, 0.5 * np.abs(smooth)) + profile.u_acceleration_mps2[low:high]
    off = slope[low:high] - smooth
    gained = STEP_S * np.cumsum(off)
    gained -= np.interp(at, [first, last], gained[[first - low, last - 1 - low]])  # beyond the run
    drifted = np.abs(gained) > _DRIFT_MPS + 2.0 * profile.u_speed_mps[low:high]
    left = np.flatnonzero((np.abs(off) > limit) | drifted | profile.gap[low:high])
    before, after = left[at[left] < first], left[at[left] >= last]
    return (
        int(at[before[-1]]) + 1 if before.size else low,
        int(at[after[0]]) if after.size else high,
    )


def _coast(profile: Profile, first: int, last: int) -> Manoeuvre:
    start, end = float(profile.time_s[first]), float(profile.time_s[last - 1])
    return Manoeuvre(id="", kind="coast", start_s=start, end_s=end)
