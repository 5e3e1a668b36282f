"""Whether a log's own speeds can be metres per second, told by its positions."""

from __future__ import annotations

from typing import Final

import numpy as np

from roadtest.geodesy import step_lengths
from roadtest.logs.model import Floats, Ints

# Bounds of our own, wide enough that bends cut short and noise in positions trip none of them.
_LONGEST_STEP_S: Final = 6.0
_STEPS_A_BLOCK: Final = 10
_FEWEST_BLOCKS: Final = 5
_SLOWEST_MPS: Final = 3.0
_MOST_OFF: Final = 1.5
_NAMED_WITHIN: Final = 0.07  # mph and knots differ by 15 %

# What a speed in the unit reads for 1 m/s (exact definitions of kilometre, mile, nautical mile).
_PER_MPS: Final = (("km/h", 3.6), ("mph", 3600.0 / 1609.344), ("kn", 3600.0 / 1852.0))


def speed_unit_fault(
    time_s: Floats, latitude_deg: Floats, longitude_deg: Floats, speed: Floats, segment: Ints
) -> str | None:
    """Return in words why `speed` is no speed in m/s, or None when nothing speaks against it.

    Reported speed × time is compared with the way between fixes, over blocks of ten of the faster
    steps; the median of the blocks counts. Arrays are [n]; times increase. With fewer than 50
    such steps, or slower than 3 m/s, nothing is said.
    """
    if time_s.size < 2:
        return None
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
    return _fault(float(np.median(claims[moving] / ways[moving])))


def _fault(ratio: float) -> str | None:
    for unit, per_mps in _PER_MPS:
        if abs(ratio / per_mps - 1.0) <= _NAMED_WITHIN:
            return (
                f"the log's speeds are {ratio:.2f} times what its positions show: they seem to be "
                f"in {unit}, not m/s, and are not used"
            )
    if 1.0 / _MOST_OFF <= ratio <= _MOST_OFF:
        return None
    return f"the log's speeds are {ratio:.2g} times what its positions show and are not used"
