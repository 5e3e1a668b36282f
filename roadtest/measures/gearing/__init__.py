"""Engine speed against road speed: gears, axle, tyre, tach, clutch."""

from roadtest.measures.gearing.follow import Followed
from roadtest.measures.gearing.measure import GearingMeasured, follow_all, measure_gearing

__all__ = ["Followed", "GearingMeasured", "follow_all", "measure_gearing"]
