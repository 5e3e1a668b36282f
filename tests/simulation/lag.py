"""First-order lag, as instruments have it."""

from __future__ import annotations

import math

import numpy as np

from tests.simulation.truth import Floats


def lagged(values: Floats, step_s: float, lag_s: float) -> Floats:
    """Return evenly spaced `values` ([n]) through a first-order lag, settled at the start.

    Between values lie straight lines, so that a ramp comes out late by `lag_s` to the last digit.
    """
    if lag_s <= 0.0 or values.size < 2:
        return values
    steps = step_s / lag_s
    left = math.exp(-steps)
    share = -math.expm1(-steps) / steps
    kicks = (share - left) * values[:-1] + (1.0 - share) * values[1:]
    out, now = [float(values[0])], float(values[0])
    for kick in kicks.tolist():
        now = left * now + kick
        out.append(now)
    return np.array(out)
