"""A speedometer band of the user's own: how far the dial may read low and high."""

from __future__ import annotations

import math
from typing import Final

from roadtest.rules.model import Basis, ErrorBand, SpeedometerRule, Status

OWN_TARGET: Final = Basis("own target", "", Status.OWN_TARGET)


def own_band(under_mps: float | None, over_mps: float | None) -> SpeedometerRule:
    """Return the rule that shown speed lies from `under_mps` below to `over_mps` above the true.

    None leaves that side open. Raises ValueError when both are None, or one is negative or not a
    number.
    """
    sides = [side for side in (under_mps, over_mps) if side is not None]
    if not sides or not all(math.isfinite(side) and side >= 0.0 for side in sides):
        raise ValueError(f"not a band: {under_mps} under, {over_mps} over (m/s)")
    return SpeedometerRule(
        name="own",
        title="the build sheet's own target",
        basis=OWN_TARGET,
        band=ErrorBand(under_mps, over_mps),
    )
