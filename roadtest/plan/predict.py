"""What the planned drive will show of each target: the check of the drive before it is driven.

The planned manoeuvres go through the measures and findings of `check` itself, over draws of the
motion behind a log of the plan, so each interval holds what it will hold then: the log's doubt, and
beside it dial graduation, grade, tyre and mass. How evenly a crew brakes and how steadily it holds
is assumed (roadtest.plan.profile), and the card says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import BuildSheet, Efficiency, NamedRule, StoppingLimit, Target
from roadtest.evidence import Evidence
from roadtest.findings import Case, judge_all
from roadtest.logs.model import Note, Notes, TachLog
from roadtest.measures.braking import measure_braking
from roadtest.measures.coasting import measure_coasting
from roadtest.measures.gearing import measure_gearing
from roadtest.measures.mfdd import deceleration_of_efficiency
from roadtest.measures.pulls import measure_pulls
from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.measures.speedometer import measure_speedometer
from roadtest.measures.speedometer.prediction import predict_error
from roadtest.plan import runs
from roadtest.plan.car import FULL_BRAKING_MPS2, PlanCar
from roadtest.plan.foreseen import START_UNIX_S, Logger, foresee, middle_of
from roadtest.plan.model import Predicted
from roadtest.plan.profile import Profile, ProfileBuilder
from roadtest.plan.proving import proof_of
from roadtest.plan.road import Hills
from roadtest.progress import Progress
from roadtest.results import LogInfo, Results
from roadtest.rules import braking_rule
from roadtest.wording import plural

Floats = NDArray[np.float64]

THROWS: Final = 2  # of the dice for crew, road and noise; each takes its time
IDLE_RPM: Final = 900.0  # where the sheet gives none
TACH_HZ: Final = 10.0
TACH_NOISE_RPM: Final = 20.0
"""Scatter of a logged engine speed: two thirds of a usual 30 r/min step. Our choice."""
SHIFT_RPM: Final = 5000.0  # where no limit is given
SHIFT_SHARE, EVERYDAY_SHARE = 0.95, 0.6  # of the limit: changing up flat out, and on the way
_BETTER: Final = 1.1  # the planned car does better than its limits by so much; our choice
_USUAL_BRAKING_MPS2: Final = 6.0
_SAMPLE_S: Final = 8.0  # of steady driving between manoeuvres of one kind


def predict(car: PlanCar, logger: Logger, progress: Progress) -> tuple[Predicted, ...]:
    """Return what the planned drive will show of each target of the sheet, in its order."""
    sheet = car.sheet
    if not sheet.targets:
        return ()
    throws = []
    for seed in range(THROWS):
        progress("driving the plan", (seed + 0.1) / THROWS)
        case = Case(_results(car, logger, seed), sheet)
        throws.append([f for f in judge_all(case) if f.id != "inspection"])
    return tuple(
        proof_of(car, target, findings, _runs(car, target))
        for target, findings in zip(sheet.targets, zip(*throws, strict=True), strict=True)
    )


def planned_braking(car: PlanCar) -> float:
    """Return the deceleration (m/s²) of the planned stops: somewhat better than all limits ask."""
    asked = [_USUAL_BRAKING_MPS2 / _BETTER]
    for target in car.sheet.targets.named("mfdd"):
        least = target.value if isinstance(target.value, float) else None
        if isinstance(target.value, Efficiency):
            least = float(deceleration_of_efficiency(target.value.share))
        if isinstance(target.value, NamedRule):
            rule = braking_rule(target.value.name)
            least = rule.least_mfdd_mps2(car.sheet.car.first_used)
        asked += [] if least is None else [least]
    for target in car.sheet.targets.named("stopping_distance"):
        if isinstance(target.value, StoppingLimit):
            braked = target.value.at_most_m - 0.2 * target.value.from_mps  # build-up, 0.2 s lost
            asked.append(0.5 * target.value.from_mps**2 / max(braked, 1.0))
    return min(_BETTER * max(asked), FULL_BRAKING_MPS2)


def planned_profile(car: PlanCar, seed: int = 0) -> Profile:
    """Return the drive that the predictions rest on: each kind of manoeuvre of the programme.

    `seed` is that of crew and road.
    """
    wanted = runs.wanted_by(car.sheet)
    plan = ProfileBuilder(Hills(seed=seed), seed, _shifts(car, EVERYDAY_SHARE))
    plan.stand(6.0)
    for gear, speed in runs.gear_holds(car):
        plan.hold(speed, runs.GEAR_HOLD_S, gear)
    if wanted.any_of("speedometer"):
        for speed in runs.hold_speeds(car):
            plan.hold(speed, runs.HOLD_S, car.gear_for(speed) or 0)
    coast = runs.coast_speeds(car)
    if coast is not None and wanted.any_of("rolling_coefficient"):
        for _ in range(2 * runs.COAST_PAIRS):
            plan.turn_round()
            plan.coast(*coast, car.load, car.rolling_mass_kg)
            plan.cruise(_SAMPLE_S)
    if wanted.any_of("mfdd", "stopping_distance", "fade", "drift", "spread"):
        for _ in range(runs.stop_count(car)):
            plan.turn_round()
            plan.stop(runs.stop_speed(car), planned_braking(car))
    for in_gear, low, high, seconds in runs.pulls(car):
        for _ in range(runs.PULL_RUNS):
            plan.turn_round()
            plan.pull(low, high, seconds / _BETTER, in_gear or 0)
    for to, seconds in runs.starts(car):
        for _ in range(runs.STANDING_RUNS):
            plan.turn_round()
            plan.standing_start(to, seconds / _BETTER, _shifts(car, SHIFT_SHARE))
    plan.reach(0.0, 2.0)
    plan.stand(6.0)
    return plan.finish()


def _shifts(car: PlanCar, share: float) -> tuple[float, ...]:
    """Return the speeds (m/s) at which gears are changed up, by a share of the engine's limit."""
    limit = car.sheet.engine.limit_rpm or SHIFT_RPM
    per_mps = [car.rpm(gear, 1.0) for gear in range(1, len(car.sheet.ratios))]
    return tuple(share * limit / rpm for rpm in per_mps if rpm is not None)


def _results(car: PlanCar, logger: Logger, seed: int) -> Results:
    """Return what one throw of the dice makes of the planned drive."""
    profile = planned_profile(car, seed)
    tach = planned_tach(car, profile, seed)
    evidence = replace(
        foresee(profile, logger, car.sheet, _notes(car, profile), seed),
        tach=() if tach is None else (tach,),
        seed=seed,
    )
    evidence = replace(evidence, smoothed=smoothed_by_receiver(evidence))
    gear_of: dict[str, int | None] = {name: g or None for name, g in profile.gear_of.items()}
    coasting = measure_coasting(evidence, gear_of)
    braking = measure_braking(evidence)
    gearing = measure_gearing(evidence) if evidence.tach else None
    bare = Results(
        logs=_logs(evidence, logger),
        speedometer=measure_speedometer(evidence).result,
        braking=braking.result,
        coasting=coasting.result,
        pulls=measure_pulls(evidence, gear_of, coasting, smoothing_s=braking.smoothing_s).result,
    )
    return bare if gearing is None else replace(bare, gearing=gearing.result, tach=gearing.tach)


def _logs(evidence: Evidence, logger: Logger) -> tuple[LogInfo, ...]:
    fixes = evidence.gps.time_s.size
    gps = LogInfo("plan", "nmea", fixes, fixes, rate_hz=logger.rate_hz, speed_source="doppler")
    tach = tuple(
        LogInfo(log.name, "tach", log.rows_read, log.rows_read, rate_hz=TACH_HZ)
        for log in evidence.tach
    )
    return (gps, *tach)


def dial_scale(sheet: BuildSheet) -> float:
    """Return the dial's expected reading over the true speed, 1 where the sheet doesn't say."""
    predicted = predict_error(sheet)
    return 1.0 if predicted is None else predicted.scale.value


def _notes(car: PlanCar, profile: Profile) -> Notes:
    """Return the dial readings the observer will have noted, at the middle of each hold."""
    scale, speeds = dial_scale(car.sheet), np.asarray(profile.speed_mps)
    holds = [m for m in profile.manoeuvres if m.kind == "hold"]
    rows = []
    for line, hold in enumerate(holds[len(runs.gear_holds(car)) :], start=2):
        held = (profile.time_s >= hold.start_s) & (profile.time_s < hold.end_s)
        shown = scale * float(speeds[held].mean())
        rows.append(Note(line, "indicated speed", "utc", middle_of(hold), shown, "", None, ""))
    return Notes("plan", tuple(rows))


def planned_tach(car: PlanCar, profile: Profile, seed: int) -> TachLog | None:
    """Return the engine speed that the sheet's gearing gives, with a logger's scatter."""
    if not runs.gear_holds(car):
        return None
    time = np.arange(0.0, float(profile.time_s[-1]), 1.0 / TACH_HZ)
    speed = np.interp(time, profile.time_s, profile.speed_mps)
    per_mps = [0.0, *(car.rpm(gear, 1.0) or 0.0 for gear in range(1, len(car.sheet.ratios) + 1))]
    idle = car.sheet.engine.idle_rpm or IDLE_RPM
    rpm = np.maximum(np.array(per_mps)[_gears(car, profile, time)] * speed, idle)
    rpm = rpm + TACH_NOISE_RPM * np.random.default_rng([seed, 40]).standard_normal(time.size)
    return TachLog("tach", "utc", START_UNIX_S + time, rpm, time.size)


def _gears(car: PlanCar, profile: Profile, time_s: Floats) -> NDArray[np.int64]:
    """Return the gear at each time [n]: as planned in manoeuvres, between them what pulls.

    Flat out from rest gears are changed where the profile pauses for it.
    """
    speed = np.interp(time_s, profile.time_s, profile.speed_mps)
    at_whole = [car.gear_for(float(v)) or 0 for v in range(int(speed.max()) + 2)]
    gear = np.where(speed > 2.0, np.array(at_whole)[np.round(speed).astype(np.int64)], 0)
    for made in profile.manoeuvres:
        inside = (time_s >= made.start_s) & (time_s < made.end_s)
        if made.from_rest:
            gear[inside] = 1 + np.searchsorted(_shifts(car, SHIFT_SHARE), speed[inside])
        else:
            gear[inside] = profile.gear_of.get(made.id, 0)
    return gear


def _runs(car: PlanCar, target: Target) -> str:
    """Return what is driven for a target, in words."""
    return next(_runs_of(car, target), "")


def _runs_of(car: PlanCar, target: Target) -> Iterator[str]:
    if target.id in ("mfdd", "stopping_distance", "drift", "fade", "spread"):
        yield plural(runs.stop_count(car), "stop")
    elif target.id == "rolling_coefficient":
        yield f"{runs.COAST_PAIRS} coasts each way"
    elif target.id == "speedometer":
        yield plural(len(runs.hold_speeds(car)), "hold")
    elif target.id in ("gearbox", "axle", "tach", "cruise_rpm"):
        yield f"{len(runs.gear_holds(car))} holds, one a gear"
    elif target.id in ("clutch_slip", "through"):
        yield plural(runs.PULL_RUNS, "pull")
    elif target.id == "standing":
        yield plural(runs.STANDING_RUNS, "start")
