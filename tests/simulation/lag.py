"""First-order lag, as instruments have it."""

from __future__ import annotations

import math

import numpy as np

from tests.simulation.truth import Floats


def lagged(values: Floats, step_s: float, lag_s: float) -> Floats:
    """Return evenly spaced `values` ([n]) through a first-order lag, settled at the start."""
    if lag_s <= 0.0 or values.size == 0:
        return values
    share = 1.0 - math.exp(-step_s / lag_s)
    out, now = [], float(values[0])
    for value in values.tolist():
        now += share * (value - now)
        out.append(now)
    return np.array(out)
