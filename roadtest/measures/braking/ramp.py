"""The shape of a stop's beginning: what each linear part adds to speed and distance.

Parts: speed, even drift of speed, engine braking from the lift on, brakes along a ramp, change of
the braking after it, and the clutch, which may go in with the brakes and end the engine braking.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def speed_parts(
    time_s: Floats, grid: Floats, lag_s: float = 0.0, first_s: float | None = None
) -> Floats:
    """Return what each part adds to the speed shown, [g, n, 6].

    Parameters
    ----------
    time_s : [n] float, s, or [g, n], times of its own for each place of the grid
    grid : [3, g] float, s: when the brakes begin, how long before it the foot was lifted, and how
        long the brakes take to come fully on
    lag_s : time constant of a first-order smoothing through which the speed is shown
    first_s : where the even drift is nothing, the first of the times if not given
    """
    start, lift, rise = (row[:, None] for row in grid)
    into = time_s - start
    ramp = (_shown(into, 2, lag_s) - _shown(into - rise, 2, lag_s)) / (2.0 * rise)
    change = 0.5 * _shown(into - 0.5 * rise, 2, lag_s)
    one = np.ones_like(into)
    lifted = _shown(into + lift, 1, lag_s)
    since = time_s - (time_s[0] if first_s is None else first_s)
    drift = one * (since - lag_s)
    return np.stack([one, drift, lifted, ramp, change, _shown(into, 1, lag_s)], axis=-1)


def speeds_by_steps(time_s: Floats, edges_s: Floats, lag_s: float = 0.0) -> Floats:
    """Return the speed shown at times [..., n] of 1 m/s² within each of k cells, [..., n, k].

    edges_s : [k+1], of the cells
    """
    since = _shown(time_s[..., None] - edges_s, 1, lag_s)
    return np.asarray(since[..., :-1] - since[..., 1:])


def _shown(into: Floats, power: int, lag_s: float) -> Floats:
    """Return s₊ or s₊² as a first-order smoothing shows it, settled at 0 before.

    Of s: s - τ·(1 - e); of s²: s² - 2τ·s + 2τ²·(1 - e), with e = exp(-s/τ) for s > 0.
    """
    past = np.clip(into, 0.0, None)
    if lag_s <= 0.0:
        return past**power
    settled = 1.0 - np.exp(-past / lag_s)
    if power == 1:
        return past - lag_s * settled
    return past**2 - 2.0 * lag_s * past + 2.0 * lag_s**2 * settled


def distance_parts(time_s: Floats, grid: Floats) -> Floats:
    """Return what each part adds to distance, [g, n, 6]: the integrals of `speed_parts`."""
    start, lift, rise = grid[:, :, None]
    into = time_s - start
    past = np.clip(into - rise, 0.0, None)
    ramp = np.clip(into, 0.0, rise) ** 3 / (6.0 * rise) + 0.5 * past * (rise + past)
    change = np.clip(into - 0.5 * rise, 0.0, None) ** 3 / 6.0
    since = (time_s - time_s[0]) * np.ones_like(into)
    lifted = 0.5 * np.clip(into + lift, 0.0, None) ** 2
    clutch = 0.5 * np.clip(into, 0.0, None) ** 2
    return np.stack([since, 0.5 * since**2, lifted, ramp, change, clutch], axis=-1)
