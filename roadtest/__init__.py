"""Prove a car on the road: from a logged shakedown drive to findings."""

__version__ = "0.1.0"
