"""Drives of one car side by side: each figure's difference, and whether it is a real change."""

from roadtest.compare.comparing import compare
from roadtest.compare.model import Comparison

__all__ = ["Comparison", "compare"]
