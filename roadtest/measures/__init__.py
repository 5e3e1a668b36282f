"""Measures: one quantity a module, each computed from a motion or from readings."""
