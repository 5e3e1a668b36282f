"""Whole drives drawn at random, written to files, checked, and held against what is true."""
