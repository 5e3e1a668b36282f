"""The shape of a stop's beginning: what each linear part adds to speed and distance.

Parts: speed, even drift of speed, engine braking from the lift on, brakes along a ramp, change of
the braking after it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def speed_parts(time_s: Floats, grid: Floats) -> Floats:
    """Return what each part adds to speed, [g, n, 5].

    Parameters
    ----------
    time_s : [n] float, s
    grid : [3, g] float, s: when the brakes begin, how long before it the foot was lifted, and how
        long the brakes take to come fully on
    """
    start, lift, rise = (row[:, None] for row in grid)
    into = time_s - start
    on = np.clip(into, 0.0, None)
    ramp = np.where(into < rise, on**2 / (2.0 * rise), into - 0.5 * rise)
    change = 0.5 * np.clip(into - 0.5 * rise, 0.0, None) ** 2
    one = np.ones_like(into)
    lifted = np.clip(into + lift, 0.0, None)
    return np.stack([one, one * (time_s - time_s[0]), lifted, ramp, change], axis=-1)


def distance_parts(time_s: Floats, grid: Floats) -> Floats:
    """Return what each part adds to distance, [g, n, 5]: the integrals of `speed_parts`."""
    return _distances(time_s, time_s[0], grid[:, :, None])


def distance_parts_at(time_s: Floats, first_s: float, grid: Floats) -> Floats:
    """Return `distance_parts` at one time for each place of the grid: `time_s` [g] to [g, 5].

    `first_s` is the first of the times that the parts were fitted on.
    """
    return _distances(time_s, first_s, grid)


def _distances(time_s: Floats, first_s: float, grid: Floats) -> Floats:
    start, lift, rise = grid
    into = time_s - start
    past = np.clip(into - rise, 0.0, None)
    ramp = np.clip(into, 0.0, rise) ** 3 / (6.0 * rise) + 0.5 * past * (rise + past)
    change = np.clip(into - 0.5 * rise, 0.0, None) ** 3 / 6.0
    since = (time_s - first_s) * np.ones_like(into)
    lifted = 0.5 * np.clip(into + lift, 0.0, None) ** 2
    return np.stack([since, 0.5 * since**2, lifted, ramp, change], axis=-1)
