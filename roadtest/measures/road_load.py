"""Road load: what holds a car back, how it coasts under it, and coast-down arithmetic.

F(v) = f0 + f1·v + f2·v², SI. Speeds may be floats or arrays; forces come back as arrays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.units import STANDARD_GRAVITY_MPS2

Floats = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)

# t/√n by number of coast-down timings n, as printed (95 %, two-sided).
_T_OVER_ROOT_N: Final = {
    4: 1.6,
    5: 1.25,
    6: 1.06,
    7: 0.94,
    8: 0.85,
    9: 0.77,
    10: 0.73,
    11: 0.66,
    12: 0.64,
    13: 0.61,
    14: 0.59,
    15: 0.57,
}


@dataclass(frozen=True)
class RoadLoad:
    """F(v) = f0 + f1·v + f2·v² on the level in still air; F must stay above 0 where used.

    Reference: terms as in SAE J1263 (two-term) and SAE J2263 (three-term) [value from memory].
    """

    f0_n: float
    f1: float  # N/(m/s)
    f2: float  # N/(m/s)²

    def force_n(self, speed_mps: float | Floats) -> Floats:
        """Return the resistance at a speed."""
        v = np.asarray(speed_mps, dtype=np.float64)
        return self.f0_n + self.f1 * v + self.f2 * v**2

    def power_w(self, speed_mps: float | Floats) -> Floats:
        """Return the power that holds a speed."""
        return np.asarray(self.force_n(speed_mps) * speed_mps)

    def coast_time_s(self, mass_kg: float, from_mps: float, to_mps: float) -> float:
        """Return the time to coast from one speed down to another: ∫ m dv / F(v).

        mass_kg : with rotating parts. 24-point Gauss-Legendre; F is a quadratic above zero, so
        the integrand is smooth and the sum good to rounding.
        """
        half = 0.5 * (from_mps - to_mps)
        speeds = 0.5 * (from_mps + to_mps) + half * _NODES
        return float(half * np.sum(_WEIGHTS * mass_kg / self.force_n(speeds)))

    def coast_distance_m(self, mass_kg: float, from_mps: float, to_mps: float) -> float:
        """Return the distance covered meanwhile: ∫ m v dv / F(v).

        With f1 = 0 this is (m / 2f2) · ln((f0 + f2·va²) / (f0 + f2·vb²)).
        """
        half = 0.5 * (from_mps - to_mps)
        speeds = 0.5 * (from_mps + to_mps) + half * _NODES
        return float(half * np.sum(_WEIGHTS * mass_kg * speeds / self.force_n(speeds)))

    def speed_after(self, mass_kg: float, from_mps: float, time_s: float | Floats) -> Floats:
        """Return the speed after coasting for a while; 0 once at rest. Two-term form only.

        v(t) = m₁·tan(atan(v₀/m₁) − m₂·t/m), m₁ = √(f0/f2), m₂ = √(f0·f2), for f1 = 0.
        Raises ValueError with f1, or unless f0 and f2 are above 0.

        Reference: closed form as coded in a public coast-down project (reference S46); it is the
        plain integral of m dv/dt = −f0 − f2·v².
        """
        if self.f1 != 0.0 or self.f0_n <= 0.0 or self.f2 <= 0.0:
            raise ValueError("the closed form needs f1 = 0, f0 > 0 and f2 > 0")
        scale = np.sqrt(self.f0_n / self.f2)
        rate = np.sqrt(self.f0_n * self.f2) / mass_kg
        angle = np.arctan(from_mps / scale) - rate * np.asarray(time_s, dtype=np.float64)
        return np.asarray(scale * np.tan(np.maximum(angle, 0.0)))


def rolling_coefficient(f0_n: float | Floats, mass_kg: float | Floats) -> Floats:
    """Return f0 / (m·g): rolling, bearing and brake drag over weight."""
    return np.asarray(f0_n / (mass_kg * STANDARD_GRAVITY_MPS2))


def drag_area(f2: float | Floats, density_kgpm3: float | Floats) -> Floats:
    """Return the drag area CdA = 2·f2/ρ, m²."""
    return np.asarray(2.0 * f2 / density_kgpm3)


def coast_down_force(mass_kg: float, half_step_mps: float, time_s: float | Floats) -> Floats:
    """Return the mean resistance (N) from the time between v + Δv and v − Δv: F = M·2Δv/T.

    Reference: symbols in StVZO Anlage XXIII 3.9.2 [read in a stored copy]; formula as in UN R83
    and 70/220/EEC [value from memory].
    """
    return np.asarray(mass_kg * 2.0 * half_step_mps / np.asarray(time_s, dtype=np.float64))


def coast_down_precision(times_s: Sequence[float]) -> float:
    """Return the statistical precision p = (t·s/√n)·(1/T̄) of repeated timings, as a fraction.

    The procedure asks for 2 % or better. Raises ValueError outside 4 to 15 timings, where the
    table of t ends.

    Reference: StVZO Anlage XXIII 3.9.2.3 [read in a stored copy; clause number from memory].
    """
    n = len(times_s)
    if n not in _T_OVER_ROOT_N:
        raise ValueError(f"{n} timings; the table holds for 4 to 15")
    return float(_T_OVER_ROOT_N[n] * np.std(times_s, ddof=1) / np.mean(times_s))
