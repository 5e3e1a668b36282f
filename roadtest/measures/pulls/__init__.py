"""Pulls in gear and standing starts: times, wheel power, drive force."""

from roadtest.measures.pulls.measure import PullsMeasured, measure_pulls

__all__ = ["PullsMeasured", "measure_pulls"]
