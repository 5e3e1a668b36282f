"""Whether a log's own speeds can be in the unit they should be in, told by its positions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

import numpy as np

from roadtest.geodesy import step_lengths
from roadtest.logs.model import Floats, Ints

# Bounds of our own, wide enough that bends cut short and noise in positions trip none of them.
_LEAST_STEP_S: Final = 1.0  # positions wander by metres from fix to fix
_LONGEST_STEP_S: Final = 6.0
_STEPS_A_BLOCK: Final = 10
_FEWEST_BLOCKS: Final = 5
_SLOWEST_MPS: Final = 3.0
_MOST_OFF: Final = 1.5
_NAMED_WITHIN: Final = 0.05  # mph and knots differ by 15 %

SpeedUnit = Literal["m/s", "km/h", "mph", "kn"]
_PER_MPS: Final[Mapping[SpeedUnit, float]] = {
    "m/s": 1.0,
    "km/h": 3.6,
    "mph": 3600.0 / 1609.344,
    "kn": 3600.0 / 1852.0,
}
"""What a speed in the unit reads for 1 m/s (exact definitions of kilometre, mile and nautical
mile)."""


def speed_unit_fault(
    time_s: Floats,
    latitude_deg: Floats,
    longitude_deg: Floats,
    speed_mps: Floats,
    segment: Ints,
    written_in: SpeedUnit,
) -> str | None:
    """Return in words why `speed_mps` is no speed in m/s, or None when nothing speaks against it.

    Reported speed × time is compared with the way between fixes a second apart or more, over blocks
    of ten of the faster steps; the median of the blocks counts. Arrays are [n]; times increase.
    `written_in`: the unit in which the log should have it. With fewer than 50 such steps, or
    slower than 3 m/s, nothing is said.
    """
    if time_s.size < 2:
        return None
    apart = np.floor((time_s - time_s[0]) / _LEAST_STEP_S + 1e-6)
    some = np.concatenate([[0], np.flatnonzero(np.diff(apart)) + 1])
    time_s, speed = time_s[some], speed_mps[some]
    latitude_deg, longitude_deg, segment = latitude_deg[some], longitude_deg[some], segment[some]
    interval = np.diff(time_s)
    way = step_lengths(latitude_deg, longitude_deg)
    claimed = 0.5 * (speed[1:] + speed[:-1]) * interval
    usable = np.isfinite(claimed) & (interval <= _LONGEST_STEP_S) & (np.diff(segment) == 0)
    if not usable.any():
        return None
    # "Faster" is told by the reported speed alone, in whatever unit: positions rounded to some
    # metres make single steps far too long or nothing, but not on average.
    fast = usable & (
        claimed >= 0.5 * np.quantile(claimed[usable] / interval[usable], 0.9) * interval
    )
    blocks = int(fast.sum()) // _STEPS_A_BLOCK
    if blocks < _FEWEST_BLOCKS:
        return None
    ways, claims, spans = (
        column[fast][: blocks * _STEPS_A_BLOCK].reshape(blocks, -1).sum(axis=1)
        for column in (way, claimed, interval)
    )
    moving = ways > _SLOWEST_MPS * spans
    if moving.sum() < _FEWEST_BLOCKS:
        return None
    return _fault(float(np.median(claims[moving] / ways[moving])), written_in)


def _fault(ratio: float, written_in: SpeedUnit) -> str | None:
    for unit, per_mps in _PER_MPS.items():
        wrong = unit != written_in
        if wrong and abs(ratio * _PER_MPS[written_in] / per_mps - 1.0) <= _NAMED_WITHIN:
            return (
                f"the log's speeds are {ratio:.2f} times what its positions show: they seem to be "
                f"in {unit}, not {written_in}, and are not used"
            )
    if 1.0 / _MOST_OFF <= ratio <= _MOST_OFF:
        return None
    return f"the log's speeds are {ratio:.2g} times what its positions show and are not used"
