"""Damaged inputs for everything that reads: made by the million by hand, a few in each test run."""
