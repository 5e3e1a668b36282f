"""The clutch's torque in one stretch under load, put right by what its neighbours show.

Each bin of time shows torque with an error of its own, where the engine, full open in one gear,
changes it but slowly. Taken at their word the bins that show most would be those with the luckiest
errors, and slip would seem to grow less with torque than it does (regression dilution). So torques
are θ ~ N(μ, τ²) and shown with errors N(0, u²), τ any of a grid, μ anything.

Reference: A. Gelman et al., Bayesian Data Analysis, 3rd ed., section 5.4 (hierarchical normal
model) [value from memory].
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_VARIES: Final = np.geomspace(0.01, 0.32, 6)
"""τ as a share of the most torque: from an engine at the top of its curve to one that is let off in
the middle (our choice)."""


def put_right(shown: Floats, u: Floats) -> tuple[Floats, Floats]:
    """Return mean and standard uncertainty [b] of torques shown [b], each with an error of u [b].

    With v = τ² + u² and m = Σ(T/v) / Σ(1/v), given τ: θ has the mean T + u²/v · (m - T) and the
    variance τ²·u²/v + (u²/v)² / Σ(1/v); τ has the chance v^-½ · Σ(1/v)^-½ · exp(-½ Σ (T-m)²/v).
    """
    tau = (_VARIES * float(np.max(np.abs(shown))))[:, None]
    error = np.maximum(u, 1e-9) ** 2
    v = tau**2 + error
    total = (1.0 / v).sum(axis=1, keepdims=True)
    m = (shown / v).sum(axis=1, keepdims=True) / total
    log = -0.5 * (np.log(v) + (shown - m) ** 2 / v).sum(axis=1) - 0.5 * np.log(total[:, 0])
    chance = np.exp(log - log.max())
    chance /= chance.sum()
    mean = shown + error / v * (m - shown)
    variance = tau**2 * error / v + (error / v) ** 2 / total
    of_all = chance @ mean
    return of_all, np.sqrt(chance @ (variance + (mean - of_all) ** 2))
