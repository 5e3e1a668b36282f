"""The shortest build sheet of a simulated car."""

from __future__ import annotations

from tests.simulation.car import Car


def small_sheet(car: Car, about: str, more: str = "") -> str:
    """Return a sheet of the car's gearing; `about` stands under [car], `more` is what follows."""
    return f"""
[car]
{about}
[gearbox]
ratios = {list(car.ratios)}
[axle]
ratio = {car.axle}
{more}
"""
