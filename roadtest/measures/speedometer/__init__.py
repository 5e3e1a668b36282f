"""The speedometer: dial against true speed, what the error means, and what to change."""

from roadtest.measures.speedometer.head import DialGearing, gearing_of
from roadtest.measures.speedometer.measure import SpeedometerMeasured, measure_speedometer
from roadtest.measures.speedometer.prediction import Prediction, predict_error

__all__ = [
    "DialGearing",
    "Prediction",
    "SpeedometerMeasured",
    "gearing_of",
    "measure_speedometer",
    "predict_error",
]
