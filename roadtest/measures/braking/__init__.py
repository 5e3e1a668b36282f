"""Braking: each stop, its level deceleration, its straightness, the series, the bedding-in."""

from roadtest.measures.braking.measure import BrakingMeasured, measure_braking

__all__ = ["BrakingMeasured", "measure_braking"]
