"""Simulated drives beside the plans of the same drives: half-widths obtained and predicted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from roadtest.build_sheet import read_build_sheet
from roadtest.evidence import Evidence
from roadtest.measures.braking import measure_braking
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.pulls import measure_pulls
from roadtest.measures.road_load import RoadLoad
from roadtest.measures.speedometer import measure_speedometer
from roadtest.plan.car import plan_car
from roadtest.plan.foreseen import Logger, foresee
from roadtest.plan.predict import TACH_NOISE_RPM, THROWS, planned_tach
from roadtest.plan.profile import Profile, ProfileBuilder
from roadtest.plan.road import Hills
from roadtest.plan.runs import GEAR_HOLD_S, gear_holds
from tests.evidence_from_truth import evidence_from
from tests.measures.gearing.tach_logs import tach_log
from tests.simulation.driver import Driver, Pedal
from tests.simulation.ensembles import random_car
from tests.simulation.receiver import Receiver
from tests.simulation.road import rolling_road
from tests.simulation.tach import Tach
from tests.simulation.truth import Truth

NOISE_MPS = 0.05
STOPS, COASTS = 4, 4
HOLDS_MPS = (13.4, 17.9, 22.4)
STOP_MPS, COAST_MPS, GOAL_MPS = 22.0, (26.0, 9.0), 26.8
GEAR, SHIFT_RPM, EVERYDAY_RPM = 3, 5200.0, 3300.0
Widths = dict[str, float]  # half-width of the 95 % interval by kind of figure


def driven(seed: int, coasts: int = COASTS) -> Truth:
    """Return a drive with every kind of manoeuvre, on a gently rolling road."""
    # Straight, as the card asks for: there and back is the same road.
    driver = Driver(random_car(seed), rolling_road(seed, 0.01, bendiness=0.0), seed)
    driver.start_rolling(HOLDS_MPS[0])
    for speed in HOLDS_MPS:
        driver.hold(speed, 20.0)
    for _ in range(coasts):
        driver.coast(*COAST_MPS)
        driver.turn_round()
    driver.pull(GEAR, *_pulled(driver))
    for _ in range(STOPS):
        driver.stop(STOP_MPS, Pedal(level_mps2=5.8, build_up_s=0.35))
        driver.turn_round()
    driver.standing(GOAL_MPS)
    return driver.finish()


def _pulled(driver: Driver) -> tuple[float, float]:
    # At 1.8 times the throttle of one car shuts just at a speed that is timed: a case of its own.
    low = driver.car.limit_rpm * 0.35 / 60.0 / driver.car.revs_per_metre(GEAR)
    return low, 1.9 * low


def planned(truth: Truth, seed: int) -> Profile:
    """Return the plan of the same drive: speeds, hills, times and how unlike the stops were."""
    per_rev = [truth.car.revs_per_metre(k + 1) for k in range(len(truth.car.ratios) - 1)]
    everyday = [EVERYDAY_RPM / 60.0 / revs for revs in per_rev]
    mfdd = np.array([stop.figures["mfdd_mps2"] for stop in truth.of_kind("stop")])
    alike = float(mfdd.std(ddof=1) / mfdd.mean())
    plan = ProfileBuilder(Hills(float(truth.grade.std()), seed), seed, everyday, alike)
    plan.stand(5.0)
    for speed in HOLDS_MPS:
        plan.hold(speed, 20.0, 4)
    for coast in truth.of_kind("coast"):
        load = RoadLoad(coast.figures["f0_n"], 0.0, coast.figures["f2"])
        plan.coast(*COAST_MPS, load, 1.03 * truth.car.mass_kg)
        plan.turn_round()
    (pull,) = truth.of_kind("pull")
    span = pull.figures["from_mps"], pull.figures["to_mps"]
    plan.pull(*span, pull.figures["time_s"], GEAR)
    for _ in range(STOPS):
        plan.stop(STOP_MPS, float(mfdd.mean()))
        plan.turn_round()
    (start,) = truth.of_kind("standing")
    flat_out = [SHIFT_RPM / 60.0 / revs for revs in per_rev]
    plan.standing_start(GOAL_MPS, start.figures["time_s"], flat_out)
    plan.reach(0.0, 2.0)
    plan.stand(5.0)
    return plan.finish()


def compared(seed: int, rate_hz: float, coasts: int = COASTS) -> tuple[Widths, Widths]:
    """Return the half-widths predicted from the plan and those a simulated drive gave."""
    truth = driven(seed, coasts)
    sheet = read_build_sheet(f'[car]\nmass = "{truth.car.mass_kg:.1f} kg"\n'.encode(), "b.toml")
    # The model's white noise is what --noise gives; receivers wander slowly besides.
    receiver = Receiver(rate_hz=rate_hz, white_mps=NOISE_MPS)
    obtained = evidence_from(truth, receiver, seed, sheet=sheet)
    logger = Logger(rate_hz, NOISE_MPS)
    throws = [
        _median(widths(foresee(planned(truth, k), logger, sheet, seed=k))) for k in range(THROWS)
    ]
    named = [(name, width) for throw in throws for name, width in throw.items()]
    return _median(iter(named)), _median(widths(obtained))


def _median(pairs: Iterator[tuple[str, float]]) -> Widths:
    gathered: dict[str, list[float]] = {}
    for name, width in pairs:
        gathered.setdefault(name, []).append(width)
    return {name: float(np.median(values)) for name, values in gathered.items()}


def widths(evidence: Evidence) -> Iterator[tuple[str, float]]:
    """Yield every figure's name and half-width."""
    braking = measure_braking(evidence).result
    for stop in braking.stops:
        for name in ("initial_speed", "mfdd", "mfdd_level", "distance", "build_up_s", "drift"):
            figure = getattr(stop, name)
            if figure is not None:
                yield name, figure.u95
    for name in ("fade", "spread"):
        figure = getattr(braking, name)
        if figure is not None:
            yield name, figure.u95
    coasting = measure_coasting(evidence, {})
    if coasting.result.rolling_coefficient is not None:
        yield "rolling_coefficient", coasting.result.rolling_coefficient.u95
    pulls = measure_pulls(evidence, {"pull-1": GEAR}, coasting).result
    for run in pulls.runs:
        if run.time is not None:
            yield "pull time", run.time.u95
    for start in pulls.standing:
        if start.time is not None:
            yield "standing time", start.time.u95
    for reading in measure_speedometer(evidence).result.readings:
        if reading.true is not None:
            yield "hold", reading.true.u95


def gearing_compared(seed: int, rate_hz: float) -> tuple[Widths, Widths]:
    """Return half-widths predicted and obtained of what a tach shows, of a drive in every gear."""
    car = random_car(seed)
    sheet = read_build_sheet(
        f"""
[tyres]
rolling_circumference = "{car.circumference_m:.4f} m ± 0.004 m"
[gearbox]
ratios = {list(car.ratios)}
[axle]
ratio = {car.axle}
[engine]
idle_rpm = 900
limit_rpm = {car.limit_rpm:.0f}
""".encode(),
        "b.toml",
    )
    planned_car = plan_car(sheet)
    driver = Driver(car, rolling_road(seed, 0.01, bendiness=0.0), seed)
    driver.start_rolling(5.0)
    for gear, speed in gear_holds(planned_car):
        driver.hold(speed, GEAR_HOLD_S, gear)
    truth = driver.finish()
    tach = tach_log(truth, Tach(noise_rpm=TACH_NOISE_RPM), seed, "utc")
    receiver = Receiver(rate_hz=rate_hz, white_mps=NOISE_MPS)
    obtained = evidence_from(truth, receiver, seed, sheet=sheet, tach=[tach])
    throws = []
    for k in range(THROWS):
        plan = ProfileBuilder(Hills(seed=k), k)
        for gear, speed in gear_holds(planned_car):
            plan.hold(speed, GEAR_HOLD_S, gear)
        profile = plan.finish()
        made = foresee(profile, Logger(rate_hz, NOISE_MPS), sheet, seed=k)
        log = planned_tach(planned_car, profile, k)
        assert log is not None
        throws += list(_gearing_widths(replace(made, tach=(log,))))
    return _median(iter(throws)), _median(_gearing_widths(obtained))


def _gearing_widths(evidence: Evidence) -> Iterator[tuple[str, float]]:
    found = measure_gearing(evidence)
    figures = [
        ("axle", found.result.axle),
        ("engine turns", found.result.revs_per_metre_top),
        ("tach scale", found.tach.scale),
        *(("step", row.step) for row in found.result.steps),
        *(("cruise", row.rpm) for row in found.result.cruise),
    ]
    for name, figure in figures:
        if figure is not None:
            yield name, figure.u95
