"""A simulated drive that shows every gear, and the build sheet of a workshop that thinks it knows.

All invented.
"""

from __future__ import annotations

from tests.simulation.car import Car
from tests.simulation.driver import Driver, simulate
from tests.simulation.truth import Truth

FIVE = (3.41, 2.08, 1.40, 1.00, 0.82)
FOUR = (3.20, 1.92, 1.36, 1.00)
ROLL_OUT_M = 1.742

SHEET = """
[tyres]
rolling_circumference = "1.742 m ± 0.005 m"
[gearbox]
label = "five-speed"
ratios = [3.41, 2.08, 1.40, 1.00, 0.82]
[axle]
ratio = 4.22
[[alternatives.gearbox]]
label = "four-speed"
ratios = [3.20, 1.92, 1.36, 1.00]
[[alternatives.axle]]
label = "3.90 axle"
ratio = 3.90
[engine]
cylinders = 4
idle_rpm = 900
limit_rpm = 5500
[targets]
gearbox = "1 %"
"""


def shakedown(driver: Driver) -> None:
    """Drive some six minutes: town, holds in the upper gears, pulls, a coast."""
    driver.idle(8.0)
    driver.traffic(40.0)
    top = len(driver.car.ratios)
    for gear in range(2, top + 1):
        low = 1900.0 / 60.0 / driver.car.revs_per_metre(gear)
        driver.hold(min(1.15 * low, 29.0), 12.0, gear=gear)
        driver.pull(gear, low, min(1.9 * low, 30.0))
    driver.hold(26.0, 15.0)
    driver.coast(24.0, 14.0)
    driver.hold(18.0, 12.0, gear=3)
    driver.traffic(40.0)
    driver.idle(8.0)


def shakedown_of(seed: int = 0, **changes: object) -> Truth:
    """Return the shakedown of a car that differs from the default one in `changes`."""
    car = Car(**{"ratios": FIVE, "axle": 4.22, "circumference_m": ROLL_OUT_M, **changes})  # type: ignore[arg-type]
    return simulate(shakedown, car, seed=seed)
