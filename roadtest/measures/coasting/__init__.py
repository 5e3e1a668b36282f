"""Free rolling: what holds the car back when nothing drives it."""

from roadtest.measures.coasting.measure import CoastingMeasured, SpecificRoadLoad, measure_coasting

__all__ = ["CoastingMeasured", "SpecificRoadLoad", "measure_coasting"]
