"""Engine speed against road speed: gears, axle, tyre, tach, clutch."""

from roadtest.measures.gearing.measure import GearingMeasured, measure_gearing

__all__ = ["GearingMeasured", "measure_gearing"]
