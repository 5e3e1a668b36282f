"""The shakedown programme the invented sample drives follow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.simulation.dials import MPH_MPS, Dial
from tests.simulation.driver import Driver, Pedal


@dataclass(frozen=True)
class Programme:
    """What is driven; speeds in mph. Holds are of *indicated* speed, the rest of true speed."""

    dial: Dial
    holds_mph: tuple[float, ...] = (30.0, 40.0, 50.0, 60.0, 70.0)
    pulls_mph: tuple[tuple[int, float, float], ...] = (
        (2, 15.0, 38.0),
        (3, 22.0, 52.0),
        (4, 30.0, 62.0),
        (5, 40.0, 62.0),
    )
    stop_mph: float = 60.0
    pedals: tuple[Pedal, ...] = 4 * (Pedal(),)
    coasts_mph: tuple[float, float] = (65.0, 22.0)
    coast_pairs: int = 1
    standing_mph: float | None = 60.0
    town_s: float = 60.0


def shakedown(programme: Programme) -> Callable[[Driver], None]:
    """Return the drive as a script. Opposite ways: holds and pulls out, stops and coasts both."""

    def script(driver: Driver) -> None:
        driver.idle(25.0)
        driver.traffic(programme.town_s)
        _holds_and_pulls(driver, programme)
        for pedal in programme.pedals:
            driver.turn_round()
            driver.stop(programme.stop_mph * MPH_MPS * driver.rng.normal(1.0, 0.01), pedal)
        high, low = programme.coasts_mph
        for _ in range(2 * programme.coast_pairs):
            driver.turn_round()
            driver.coast(high * MPH_MPS, low * MPH_MPS)
        if programme.standing_mph is not None:
            driver.standing(programme.standing_mph * MPH_MPS)
        driver.traffic(0.7 * programme.town_s)
        driver.idle(25.0)

    return script


def _holds_and_pulls(driver: Driver, programme: Programme) -> None:
    pulls = list(programme.pulls_mph)
    for indicated_mph in programme.holds_mph:
        true_mps = programme.dial.true_for(indicated_mph * MPH_MPS)
        driver.hold(true_mps, driver.rng.uniform(14.0, 18.0))
        if pulls:
            gear, low, high = pulls.pop(0)
            driver.pull(gear, low * MPH_MPS, high * MPH_MPS)
