"""One random drive: car, roads, driver, receiver, tach, faults and sheet, all from a seed."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tests.simulation.car import Car
from tests.simulation.dials import MPH_MPS, Dial, Odometer
from tests.simulation.driver import Driver, Pedal
from tests.simulation.ensembles import random_car, random_pedal, random_road
from tests.simulation.receiver import KNOT_MPS, Receiver, receive
from tests.simulation.road import Road
from tests.simulation.tach import Pulses, Tach, interpolated, log_pulses, log_tach
from tests.simulation.truth import START_UTC_S, Truth
from tests.simulation.writers import (
    Gpx,
    Nmea,
    NoteRow,
    gpx_text,
    iso_time,
    nmea_text,
    notes_csv,
    pulses_csv,
    tach_csv,
    toml_text,
)

OTHER_BOX = (3.20, 1.92, 1.36, 1.00)
ANOTHER_BOX = (3.41, 2.08, 1.40, 1.00, 0.82)
KMH_MPS = 1.0 / 3.6
# Pinion and crown wheel behind the figures that axles are sold by: a sheet rounds, teeth do not.
AXLE_TEETH = {
    3.55: (11, 39),
    3.70: (10, 37),
    3.90: (10, 39),
    4.10: (10, 41),
    4.22: (9, 38),
    4.55: (11, 50),
}
MOST_TACH_OFF = 0.002  # of a tach that is right
DECIMALS = 2  # of ratios on a sheet
GRADUATION_MPH = 2.0
NOTED_SD_S = 5.0 / 1.96  # times noted by hand are good to 5 s, as the format of the notes says


@dataclass(frozen=True)
class Fitted:
    """What is true of a drive beyond its motion."""

    dial: Dial
    odometer: Odometer
    sheet_axle: float  # what its figure, rounded, stands for
    tach: Tach | None
    tach_on_utc: bool
    receiver: Receiver
    with_speed: bool
    looks_s: tuple[float, ...]  # when the dial was really read
    traits: Mapping[str, str]  # in words, to sort results by


@dataclass(frozen=True)
class RandomDrive:
    """A drive as it was, what is true of it, and the files it left."""

    seed: int
    truth: Truth
    fitted: Fitted
    files: Mapping[str, bytes]


def random_folder(seed: int) -> RandomDrive:
    """Return drive number `seed`."""
    rng = np.random.default_rng([seed, 31])
    car = _car(seed, rng)
    dial = Dial(rng.uniform(0.96, 1.10), rng.uniform(-0.3, 0.8))
    truth = _driven(seed, car, dial, rng)
    receiver, with_speed = unkind_receiver(truth, seed, rng)
    fixes = receive(truth, receiver, seed)
    whole_knots = receiver.speed_step_mps == KNOT_MPS
    if with_speed and (whole_knots or rng.random() < 0.7):
        style = Nmea(sentences=("RMC", "GGA"), knot_places=0 if whole_knots else 2)
        files = {"gps.nmea": nmea_text(fixes, style).encode()}
    else:
        track = Gpx(speed="extension" if with_speed else "none", time_places=3)
        files = {"gps.gpx": gpx_text(fixes, track).encode()}
    tach, on_utc, how = None, False, "none"
    if rng.random() < 0.92:
        tach, on_utc, how, text = _tach(truth, seed, rng)
        files["tach.csv"] = text.encode()
    odometer = Odometer(rng.uniform(1000.0, 90000.0), rng.uniform(0.95, 1.06))
    looks = tuple(
        rng.uniform(hold.start_s + 1.0, hold.end_s - 1.0) for hold in truth.of_kind("hold")
    )
    files["notes.csv"] = notes_csv(_notes(truth, looks, dial, odometer, rng)).encode()
    sheet, sheet_axle, wrong = _sheet(car, tach, rng)
    files["build.toml"] = toml_text(sheet).encode()
    traits = {
        "rate": f"{receiver.rate_hz:g} Hz" if with_speed else "positions only",
        "rounding": _rounding(receiver),
        "clamp": "clamp" if receiver.clamp_mps else "no clamp",
        "late": "late" if receiver.delay_s + receiver.lag_s > 0.1 else "prompt",
        "smooths": _smooths(receiver),
        "gaps": "gaps" if receiver.gaps else "no gaps",
        "tach": how,
        "sheet": wrong,
    }
    fitted = Fitted(dial, odometer, sheet_axle, tach, on_utc, receiver, with_speed, looks, traits)
    return RandomDrive(seed, truth, fitted, files)


def _smooths(receiver: Receiver) -> str:
    if not receiver.lag_s:
        return "nothing"
    return "velocity" if receiver.lag_of_course else "speed"


def _rounding(receiver: Receiver) -> str:
    named = {KNOT_MPS: "whole knots", 0.1 * KMH_MPS: "0.1 km/h"}
    return named.get(receiver.speed_step_mps, "fine")


def _car(seed: int, rng: np.random.Generator) -> Car:
    car = random_car(seed)
    celsius = rng.uniform(2.0, 28.0)
    slips = rng.random() < 0.25
    fades = rng.random() < 0.25
    rotating = rng.uniform(1.02, 1.04)
    # Slip stiffness 15 to 35 times the load, 0.45 to 0.6 of the weight on the driven wheels (from
    # memory, Pacejka); as likely by ratio, so that the published 19 to 22 lie in the middle. A
    # brush that slides at 0.7 to 1 of its load creeps, for each unit of drive force over weight, by
    # 0.6 to 1.2 more than in proportion; driven rear wheels by up to 0.5 less, for they are pressed
    # down.
    creep = 1.0 / math.exp(rng.uniform(math.log(7.0), math.log(20.0)))
    pinion, crown_wheel = AXLE_TEETH[car.axle]
    return dataclasses.replace(
        car,
        ratios=_cut(car.ratios, np.random.default_rng([seed, 35])),
        axle=crown_wheel / pinion,
        air_density_kgpm3=101_325.0 / (287.05 * (273.15 + round(celsius))),
        rotating_neutral=rotating,
        creep_linear=creep,
        creep_square=creep * rng.uniform(0.2, 1.2),
        brake_capability_mps2=rng.uniform(5.5, 9.0),
        brake_fade_per_k=0.006 if fades else 0.0,
        brake_fade_from_k=40.0,
        clutch_grip_nm=rng.uniform(0.6, 0.95) * car.torque_peak_nm if slips else math.inf,
        clutch_slip_per_nm=rng.uniform(0.0005, 0.003),
    )


def _cut(ratios: tuple[float, ...], own: np.random.Generator) -> tuple[float, ...]:
    """Return ratios as wheels were cut, which figures of two decimals stand for; direct is 1."""
    most = 0.5 * 10.0**-DECIMALS
    off = own.uniform(-most, most, len(ratios)).tolist()
    return tuple(r if r == 1.0 else r + by for r, by in zip(ratios, off, strict=True))


def _road(seed: int, rng: np.random.Generator) -> Road:
    wind = rng.normal(0.0, 1.5, 2)
    return dataclasses.replace(
        random_road(seed), wind_east_mps=float(wind[0]), wind_north_mps=float(wind[1])
    )


def _driven(seed: int, car: Car, dial: Dial, rng: np.random.Generator) -> Truth:
    """Return a drive of some ten minutes."""
    own = np.random.default_rng([seed, 32])  # for what was added later: the rest stays as it was
    feet = np.random.default_rng([seed, 34])
    driver = Driver(car, _road(seed, rng), seed, START_UTC_S)
    driver.idle(rng.uniform(8.0, 20.0))
    driver.traffic(rng.uniform(30.0, 80.0))
    gears = list(range(2, len(car.ratios) + 1))
    holds = [mph for mph in (30.0, 40.0, 50.0, 60.0, 70.0) if rng.random() < 0.8]
    for mph in holds:
        about = mph + rng.uniform(-2.0, 2.0)
        driver.hold(dial.true_for(about * MPH_MPS), rng.uniform(9.0, 18.0))
        if gears and rng.random() < 0.9:
            gear = gears.pop(0)
            low = max(car.limit_rpm * 0.38 / 60.0 / car.revs_per_metre(gear), 6.0)
            driver.pull(gear, low, min(1.7 * low, 29.0))
    speed = rng.uniform(17.0, 27.0)
    for _ in range(int(rng.integers(3, 6))):
        driver.turn_round()
        driver.stop(speed * rng.normal(1.0, 0.015), _foot(random_pedal(rng), feet))
    if rng.random() < 0.4:
        driver.snub(speed, 0.5 * speed, _foot(random_pedal(rng), feet))
    if rng.random() < 0.75:
        ends = [(rng.uniform(24.0, 27.0), rng.uniform(8.0, 11.0)) for _ in range(2)]
        if own.random() < 0.5:  # two each way, as the drive card asks; others do with less
            ends += [(own.uniform(24.0, 27.0), own.uniform(8.0, 11.0)) for _ in range(2)]
        driver.seek_straight()
        for high, low in ends:
            driver.turn_round()
            driver.coast(high, low)
    if rng.random() < 0.6:
        # A clutch that is meant to comes home in 0.1 to 0.4 s (common practice, no published
        # source).
        driver.standing(26.82 + 0.4, clutch_s=own.uniform(0.1, 0.4))
    driver.traffic(rng.uniform(20.0, 50.0))
    driver.idle(rng.uniform(8.0, 20.0))
    return driver.finish()


def _foot(pedal: Pedal, own: np.random.Generator) -> Pedal:
    """Return the pedal with times as drivers' feet take them; half go late for the clutch.

    A pedal hit hard is down within 0.1 to 0.3 s, others take up to twice that (common practice, no
    published source).
    """
    times = np.exp(own.uniform(np.log(0.12), np.log(0.65), 2)).tolist()
    late = own.uniform(0.2, 3.0) if own.random() < 0.5 else 0.0
    return dataclasses.replace(pedal, build_up_s=times[0], lift_s=times[1], clutch_s=late)


def unkind_receiver(truth: Truth, seed: int, rng: np.random.Generator) -> tuple[Receiver, bool]:
    """Return a receiver as unkind as those of life, and whether it logs speed."""
    own = np.random.default_rng([seed, 33])  # for what was added later: the rest stays as it was
    late = rng.uniform(0.2, 1.5) if rng.random() < 0.5 else 0.0
    smooth = late * rng.uniform(0.1, 0.5)
    rounding = str(rng.choice(["fine", "km/h", "knots"], p=[0.6, 0.25, 0.15]))
    gaps = []
    if rng.random() < 0.3:
        for _ in range(int(rng.integers(1, 4))):
            start = rng.uniform(0.1, 0.9) * float(truth.t_s[-1])
            gaps.append((start, start + 3.0 * (80.0 / 3.0) ** rng.random()))
    with_speed = bool(rng.random() < 0.88)
    rate = float(rng.choice([1.0, 5.0, 10.0], p=[0.35, 0.3, 0.35]))
    receiver = Receiver(
        rate_hz=rate if with_speed else 1.0,
        white_mps=rng.uniform(0.015, 0.10),
        # With their times below: over all drives the autocorrelation that `receiver` gives.
        fast_mps=rng.uniform(0.011, 0.0255),
        slow_mps=rng.uniform(0.004, 0.0135),
        student_nu=float(rng.choice([4.0, 50.0])),
        outlier_share=float(rng.choice([0.0, 0.002])),
        speed_step_mps={"fine": 0.01 * KNOT_MPS, "km/h": 0.1 * KMH_MPS, "knots": KNOT_MPS}[
            rounding
        ],
        lag_s=smooth,
        lag_of_course=bool(own.random() < 0.5),
        # On the dash, or in the boot.
        ahead_m=own.uniform(1.0, 1.6) if own.random() < 0.6 else own.uniform(-0.6, 0.0),
        delay_s=late - smooth,
        clamp_mps=rng.uniform(0.5, 2.0) if rng.random() < 0.4 else 0.0,
        position_white_m=rng.uniform(0.05, 0.4),
        position_slow_m=rng.uniform(1.0, 3.0),
        position_tau_s=rng.uniform(60.0, 200.0),
        late_start_s=rng.uniform(0.0, 5.0),
        gaps=tuple(gaps),
        missing_share=float(rng.choice([0.0, 0.01])),
        duplicate_share=float(rng.choice([0.0, 0.01])),
        fast_tau_s=own.uniform(1.2, 2.6),
        slow_tau_s=own.uniform(30.0, 90.0),
    )
    return receiver, with_speed


def _tach(truth: Truth, seed: int, rng: np.random.Generator) -> tuple[Tach, bool, str, str]:
    """Return the tach, whether its clock is UTC, what kind it is, and its file."""
    kind = str(rng.choice(["rows", "interpolated", "pulses"], p=[0.65, 0.25, 0.10]))
    on_utc = bool(kind != "pulses" and rng.random() < 0.4)
    right = bool(rng.random() < 0.75)
    scale = 1.0 if right else float(rng.choice([2.0 / 3.0, rng.uniform(0.94, 1.06)]))
    # Loggers round in their arithmetic and time a few pulses at once: even one that is right is so
    # within limits (our choice, no published source).
    scale *= 1.0 + np.random.default_rng([seed, 36]).uniform(-MOST_TACH_OFF, MOST_TACH_OFF)
    tach = Tach(
        rate_hz=float(rng.choice([1.0, 5.0, 10.0])) if kind == "rows" else 1.0,
        offset_s=rng.normal(0.0, 2.0) if on_utc else rng.uniform(-120.0, 300.0),
        drift=rng.normal(0.0, 3e-5),
        lag_s=0.0 if kind == "pulses" else rng.uniform(0.05, 0.3),
        step_rpm=float(rng.choice([1.0, 10.0, 25.0, 50.0])),
        noise_rpm=rng.uniform(2.0, 15.0),
        scale=1.0 if kind == "pulses" else scale,
        missing_share=float(rng.choice([0.0, 0.01])),
    )
    start = truth.start_utc_s if on_utc else None
    if kind == "pulses":
        return tach, on_utc, kind, pulses_csv(log_pulses(truth, tach, Pulses(), seed))
    rows = log_tach(truth, tach, seed)
    if kind == "interpolated":
        rows = interpolated(rows, rng.uniform(1.0, 5.0))
    return tach, on_utc, f"{kind}, {tach.rate_hz:g} Hz", tach_csv(rows, start)


def _notes(
    truth: Truth,
    looks_s: tuple[float, ...],
    dial: Dial,
    odometer: Odometer,
    rng: np.random.Generator,
) -> list[NoteRow]:
    """Return what was noted: the dial to its nearest division, the time as good as they are."""
    rows = [(4.0, "odometer", f"{odometer.shows_mile(truth, 4.0):.1f}", "mile")]
    for at in looks_s:
        shown = dial.shows(truth.mean_speed_mps(at - 1.0, at + 1.0)) / MPH_MPS
        shown = GRADUATION_MPH * round(shown / GRADUATION_MPH)
        rows.append((at + rng.normal(0.0, NOTED_SD_S), "indicated speed", f"{shown:.0f}", "mph"))
    end = float(truth.t_s[-1]) - 3.0
    rows.append((end, "odometer", f"{odometer.shows_mile(truth, end):.1f}", "mile"))
    return [
        NoteRow(iso_time(truth.start_utc_s + at, 0), item, value, unit)
        for at, item, value, unit in rows
    ]


def _sheet(
    car: Car, tach: Tach | None, rng: np.random.Generator
) -> tuple[dict[str, object], float, str]:
    """Return the build sheet, the axle that its figure stands for, and what is wrong with it."""
    ratios, axle = tuple(round(r, DECIMALS) for r in car.ratios), round(car.axle, DECIMALS)
    other = OTHER_BOX if ratios != OTHER_BOX else ANOTHER_BOX
    boxes, axles = [ratios, other], [axle, 3.23 if axle > 3.6 else 4.44]
    wrong = str(rng.choice(["right", "gearbox", "axle"], p=[0.7, 0.15, 0.15]))
    meant = car.axle
    if wrong == "gearbox":
        boxes.reverse()
    if wrong == "axle":
        axles.reverse()
        meant = axles[0]
    tyre = car.circumference_m + rng.normal(0.0, 0.005 / 1.96)
    mass = car.mass_kg * (1.0 + rng.normal(0.0, 0.02 / 1.96))
    celsius = 101_325.0 / (287.05 * car.air_density_kgpm3) - 273.15
    sheet: dict[str, object] = {
        "units": "mph",
        "car": {"label": "drawn at random", "mass": f"{mass:.1f} kg ± 2 %"},
        "tyres": {"rolling_circumference": f"{tyre:.4f} m ± 0.005 m"},
        "gearbox": {"label": "box 0", "ratios": list(boxes[0])},
        "axle": {"ratio": axles[0]},
        "alternatives": {
            "gearbox": [{"label": "box 1", "ratios": list(boxes[1])}],
            "axle": [{"label": "axle 1", "ratio": axles[1]}],
        },
        "engine": {"cylinders": 4, "idle_rpm": 900, "limit_rpm": 5500},
        "tach": {"pulses_per_rev": 2},
        "conditions": {"temperature": f"{celsius:.0f} degC", "pressure": "101.325 kPa"},
        "speedometer": {
            "units": "mph",
            "graduation": "2 mph",
            "drive": "cable",
            "turns_per_mile": 1000,
            "driven_teeth": 21,
            "available_driven_teeth": [18, 19, 20, 21, 22, 23, 24],
        },
        "targets": _targets(rng),
    }
    return sheet, meant, wrong


def _targets(rng: np.random.Generator) -> dict[str, object]:
    """Return limits about where the truth lies, so that every verdict occurs."""
    return {
        "speedometer": "un-r39" if rng.random() < 0.5 else {"under": "1 mph", "over": "3 mph"},
        "odometer": f"{rng.uniform(2.0, 5.0):.1f} %",
        "gearbox": f"{rng.uniform(0.5, 2.0):.1f} %",
        "axle": "1 %",
        "tach": f"{rng.uniform(1.0, 4.0):.1f} %",
        "clutch_slip": f"{rng.uniform(0.8, 4.0):.1f} %",
        "cruise_rpm": {"speed": "60 mph", "at_most": round(rng.uniform(2800.0, 3900.0))},
        "mfdd": f"{rng.uniform(4.0, 7.5):.2f} m/s^2",
        "stopping_distance": {"from": "50 mph", "at_most": f"{rng.uniform(36.0, 70.0):.1f} m"},
        "fade": f"{rng.uniform(70.0, 98.0):.0f} %",
        "drift": f"{rng.uniform(0.2, 1.5):.2f} m",
        "spread": f"{rng.uniform(4.0, 25.0):.0f} %",
        "rolling_coefficient": f"{rng.uniform(0.011, 0.021):.4f}",
        "standing": {"to": "60 mph", "at_most": f"{rng.uniform(10.0, 22.0):.1f} s"},
        "through": {
            "gear": int(rng.integers(2, 5)),
            "from": "30 mph",
            "to": "40 mph",
            "at_most": f"{rng.uniform(2.0, 9.0):.1f} s",
        },
    }
