"""A simulated car, road, driver and instruments with known truth.

Shares no code with `roadtest`, so that what it says can prove the tool right or wrong.
"""
