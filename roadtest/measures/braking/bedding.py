"""The bedding-in record: every use of the brakes, from what speed to what speed, how far apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres import Manoeuvre
from roadtest.quantity import Quantity
from roadtest.results import BeddingRecord, BeddingRow

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Use:
    """One use of the brakes: speeds in c draws, [c] each; None where the log does not show it."""

    manoeuvre: Manoeuvre
    initial_mps: Floats | None
    final_mps: Floats | None

    @property
    def energy_jpkg(self) -> Floats | None:
        """Kinetic energy taken out of each kilogram, [c], rotating parts aside."""
        if self.initial_mps is None or self.final_mps is None:
            return None
        return np.asarray(0.5 * (self.initial_mps**2 - self.final_mps**2))


def bedding_record(uses: Sequence[Use], effective_mass_kg: Floats | None) -> BeddingRecord | None:
    """Return the record of `uses` in the order driven; None where there are none.

    Energy is what the car lost in kinetic energy; air, tyres and engine took a small share of it.

    Parameters
    ----------
    effective_mass_kg : [c] float, kg, rotating parts included, or None where it is not known
    """
    if not uses:
        return None
    rows = []
    for k, use in enumerate(uses):
        since = None if k == 0 else use.manoeuvre.start_s - uses[k - 1].manoeuvre.end_s
        rows.append(
            BeddingRow(
                manoeuvre=use.manoeuvre.id,
                kind="stop" if use.manoeuvre.to_rest else "snub",
                start_s=use.manoeuvre.start_s,
                from_speed=_quantity(use.initial_mps, "m/s"),
                to_speed=_quantity(use.final_mps, "m/s"),
                since_last_s=since,
                energy=_quantity(_energy(use, effective_mass_kg), "J"),
            )
        )
    stops = sum(use.manoeuvre.to_rest for use in uses)
    return BeddingRecord(
        stops=stops,
        snubs=len(uses) - stops,
        energy=_quantity(_whole(uses, effective_mass_kg), "J"),
        rows=tuple(rows),
    )


def _energy(use: Use, mass_kg: Floats | None) -> Floats | None:
    specific = use.energy_jpkg
    return None if specific is None or mass_kg is None else mass_kg * specific


def _whole(uses: Sequence[Use], mass_kg: Floats | None) -> Floats | None:
    """Return the energy of all uses; None where one of them is not shown."""
    each = [_energy(use, mass_kg) for use in uses]
    shown = [energy for energy in each if energy is not None]
    return np.asarray(sum(shown)) if len(shown) == len(each) else None


def _quantity(draws: Floats | None, unit: str) -> Quantity | None:
    return None if draws is None else Quantity.from_draws(draws, unit)
