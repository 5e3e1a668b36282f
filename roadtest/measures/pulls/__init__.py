"""Pulls in gear and standing starts: times, wheel power, drive force."""

from roadtest.measures.pulls.measure import EngineSpeed, PullsMeasured, measure_pulls

__all__ = ["EngineSpeed", "PullsMeasured", "measure_pulls"]
