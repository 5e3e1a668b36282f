"""The invented sample drives: one car, one place that does not exist, five visits to it.

Each function returns the files of one drive folder and the facts that hide in it.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass

from tests.simulation import sample_sheets as sheets
from tests.simulation.car import Car
from tests.simulation.dials import log_gauges
from tests.simulation.driver import Pedal, simulate
from tests.simulation.receiver import Receiver, receive
from tests.simulation.road import Road, rolling_road
from tests.simulation.sample_crew import (
    OLD_AXLE,
    TEETH_OLD,
    Crew,
    Facts,
    face,
    facts,
    notes,
    odometer_notes,
    tach_facts,
)
from tests.simulation.sample_mess import Mess, gzipped, messy_files
from tests.simulation.sample_programme import Programme, shakedown
from tests.simulation.tach import Tach, log_tach
from tests.simulation.writers import (
    Gpx,
    Nmea,
    channels_csv,
    gpx_text,
    iso_time,
    nmea_text,
    notes_csv,
    tach_csv,
)

# Open sea: the road there is as invented as the car.
PLACE_DEG = (47.2, -21.4)
DAY_S = 86400.0
MAY_1_S = 1_777_593_600.0  # 2026-05-01T00:00:00Z

FIVE_SPEED = (3.41, 2.08, 1.40, 1.00, 0.82)
FOUR_SPEED = (3.20, 1.92, 1.36, 1.00)
NEW_AXLE = 3.90
TYRE_M = 1.797


@dataclass(frozen=True)
class Sample:
    """One drive folder: file contents by name, and what is true of it."""

    name: str
    files: Mapping[str, bytes]
    facts: Facts


def all_samples() -> tuple[Sample, ...]:
    """Return every sample drive, made anew."""
    return (
        wrong_gearbox(),
        before_axle_change(),
        after_axle_change(),
        phone_gpx(),
        messy_log(),
    )


def sample_road() -> Road:
    """Return the road: a slight slope to the east, gentle hills, a light wind."""
    road = rolling_road(11, steepest=0.006, bendiness=0.7)
    return dataclasses.replace(
        road,
        origin_deg=PLACE_DEG,
        heading_rad=math.radians(75.0),
        slope_east=0.003,
        wind_east_mps=1.0,
        wind_north_mps=0.5,
    )


def sample_car(axle: float, ratios: tuple[float, ...] = FIVE_SPEED) -> Car:
    """Return the green roadster with an axle and a gearbox."""
    return Car(ratios=ratios, axle=axle, circumference_m=TYRE_M)


def _pedals(levels_mps2: tuple[float, ...]) -> tuple[Pedal, ...]:
    # No car brakes dead straight: half a metre at most.
    pulls = (0.0002, -0.0001, 0.0003, 0.0001, -0.0002, 0.0002)
    return tuple(
        Pedal(level_mps2=level, build_up_s=0.3, pull_pm=pull)
        for level, pull in zip(levels_mps2, pulls, strict=False)
    )


def _sheet(
    template: str, crew: Crew, work: str, *, tyres: str, utc_offset: str = "+01:00"
) -> bytes:
    other = NEW_AXLE if crew.axle == OLD_AXLE else OLD_AXLE
    return template.format(
        utc_offset=utc_offset,
        odometer=crew.start_mile,
        done=work,
        tyres=tyres,
        axle=f"{crew.axle:.2f}",
        other_axle=f"{other:.2f}",
        driven_teeth=crew.driven_teeth,
    ).encode()


def before_axle_change() -> Sample:
    """Return the drive before the axle change: 10 Hz, tach on a UTC clock that is slow."""
    crew = Crew(OLD_AXLE, TEETH_OLD, 41210.0, tach_scale=1.01)
    programme = Programme(crew.dial, pedals=_pedals((6.4, 6.5, 6.6, 6.4)))
    start = MAY_1_S + DAY_S + 8 * 3600.0
    truth = simulate(shakedown(programme), sample_car(OLD_AXLE), sample_road(), 101, start)
    fixes = receive(truth, Receiver(position_white_m=0.05, late_start_s=1.0), 101)
    tach = Tach(offset_s=2.4, lag_s=0.2, scale=crew.tach_scale)
    work = '"gearbox", "wheels and tyres", "rear brakes"'
    sheet = _sheet(sheets.BEFORE, crew, work, tyres=sheets.BY_SIZE)
    style = Nmea(sentences=("RMC",), each_second=("GGA", "VTG"))
    noted = notes(truth, crew, programme, lambda t: iso_time(start + t, 0, 1.0), 101)
    files = {
        "build.toml": sheet,
        "gps.nmea.gz": gzipped(nmea_text(fixes, style).encode()),
        "tach.csv.gz": gzipped(tach_csv(log_tach(truth, tach, 101), start).encode()),
        "notes.csv": notes_csv(noted).encode(),
    }
    true = facts(truth, crew, programme, float(fixes.time_s[0]))
    true["tach"] = tach_facts(tach, 0.0)
    return Sample("before-axle-change", files, true)


def after_axle_change() -> Sample:
    """Return the drive with the longer axle in and the speedometer gear forgotten."""
    crew = Crew(NEW_AXLE, TEETH_OLD, 41263.4)
    programme = Programme(
        crew.dial, pedals=_pedals((6.9, 7.0, 6.8, 7.1, 6.9)), coast_pairs=2, town_s=70.0
    )
    start = MAY_1_S + 15 * DAY_S + 13 * 3600.0
    truth = simulate(shakedown(programme), sample_car(NEW_AXLE), sample_road(), 202, start)
    fixes = receive(truth, Receiver(position_white_m=0.05), 202)
    tach = Tach(rate_hz=5.0, offset_s=-1.15, lag_s=0.12, step_rpm=25.0)
    work = '"axle", "rear brakes", "charging"'
    sheet = _sheet(sheets.AFTER, crew, work, tyres=sheets.ROLLED_OUT)
    style = Nmea(sentences=("RMC",), each_second=("GGA", "GSA", "GST"), minute_places=4)
    files = {
        "build.toml": sheet,
        "gps.nmea.gz": gzipped(nmea_text(fixes, style).encode()),
        "tach.csv.gz": gzipped(tach_csv(log_tach(truth, tach, 202), start).encode()),
        "channels.csv.gz": gzipped(channels_csv(log_gauges(truth, 202, 0.5), start).encode()),
        "notes.csv": notes_csv(notes(truth, crew, programme, face(truth, 1.0), 202)).encode(),
    }
    true = facts(truth, crew, programme, float(fixes.time_s[0]))
    true["tach"] = tach_facts(tach, 0.0)
    return Sample("after-axle-change", files, true)


def phone_gpx() -> Sample:
    """Return a drive logged by a telephone: positions once a second, no speed, no times noted."""
    crew = Crew(NEW_AXLE, 20, 41281.7)
    programme = Programme(crew.dial, pedals=_pedals((6.8, 7.0, 6.7, 6.9)), standing_mph=None)
    start = MAY_1_S + 16 * DAY_S + 9.5 * 3600.0
    truth = simulate(shakedown(programme), sample_car(NEW_AXLE), sample_road(), 303, start)
    phone = Receiver(
        rate_hz=1.0, jitter_s=0.01, position_white_m=0.15, position_slow_m=2.5, position_tau_s=90.0
    )
    fixes = receive(truth, phone, 303)
    work = '"speedometer"'
    sheet = _sheet(sheets.PHONE, crew, work, tyres=sheets.ROLLED_OUT)
    track = gpx_text(fixes, Gpx(speed="none", time_places=3, creator="invented telephone"))
    rows = odometer_notes(truth, crew, lambda t: iso_time(start + t, 0, 1.0))
    files = {
        "build.toml": sheet,
        "drive.gpx.gz": gzipped(track.encode()),
        "notes.csv": notes_csv(rows).encode(),
    }
    return Sample("phone-gpx", files, facts(truth, crew, programme, float(fixes.time_s[0])))


def messy_log() -> Sample:
    """Return a drive over midnight with a bad log, weak and fading brakes and a tired clutch."""
    crew = Crew(NEW_AXLE, 20, 41294.0)
    car = dataclasses.replace(
        sample_car(NEW_AXLE),
        brake_capability_mps2=5.3,
        brake_fade_per_k=0.006,
        brake_fade_from_k=30.0,
        brake_heat_j_per_k=5000.0,
        clutch_grip_nm=95.0,
        clutch_slip_per_nm=0.0016,
    )
    pedals = tuple(
        dataclasses.replace(p, pull_pm=-0.0011) for p in _pedals((7.5, 7.5, 7.5, 7.5, 7.5, 7.5))
    )
    programme = Programme(crew.dial, pedals=pedals, stop_mph=50.0, standing_mph=None, town_s=50.0)
    start = MAY_1_S + 22 * DAY_S - 7 * 60.0
    truth = simulate(shakedown(programme), car, sample_road(), 404, start)
    spoilt = truth.of_kind("stop")[2]
    town = truth.of_kind("traffic")[0]
    receiver = Receiver(
        rate_hz=5.0,
        white_mps=0.05,
        position_white_m=0.05,
        late_start_s=4.0,
        no_fix=((0.0, 21.0), (spoilt.start_s + 1.0, spoilt.start_s + 8.0)),
        gaps=((town.start_s + 12.0, town.start_s + 30.0),),
        missing_share=0.01,
    )
    fixes = receive(truth, receiver, 404)
    tach = Tach(rate_hz=5.0, offset_s=37.61, drift=30e-6, lag_s=0.25, from_s=37.61)
    work = '"rear brakes"'
    sheet = _sheet(sheets.MESSY, crew, work, tyres=sheets.ROLLED_OUT, utc_offset="+00:00")
    style = Nmea(sentences=("RMC", "GGA", "VTG"), time_places=1)
    parts = messy_files(fixes, style, Mess(), 404)
    files = {
        "build.toml": sheet,
        **{f"gps-{i:03d}.nmea.gz": gzipped(part) for i, part in enumerate(parts, 1)},
        "tach.csv.gz": gzipped(tach_csv(log_tach(truth, tach, 404)).encode()),
        "notes.csv": notes_csv(notes(truth, crew, programme, face(truth, 0.0), 404)).encode(),
        "shopping.txt": b"hydraulic fluid\nsplit pins\ntea\n",
    }
    first_s = float(fixes.time_s[fixes.valid][0])
    true = facts(truth, crew, programme, first_s)
    true["tach"] = tach_facts(tach, first_s)
    true["spoilt_stop"] = 3
    true["swapped_fixes"] = 2 * Mess().swapped_fixes
    return Sample("messy-log", files, true)


def wrong_gearbox() -> Sample:
    """Return the first drive: the sheet says five-speed, the four-speed is still in."""
    crew = Crew(OLD_AXLE, TEETH_OLD, 41188.2, tach_scale=2.0 / 3.0)
    programme = Programme(
        crew.dial,
        pulls_mph=((2, 15.0, 38.0), (3, 22.0, 52.0), (4, 30.0, 62.0)),
        pedals=_pedals((6.3, 6.6, 6.4, 6.5)),
        stop_mph=50.0,
        coasts_mph=(60.0, 25.0),
        standing_mph=None,
    )
    start = MAY_1_S - 13 * DAY_S + 10 * 3600.0
    car = sample_car(OLD_AXLE, FOUR_SPEED)
    truth = simulate(shakedown(programme), car, sample_road(), 505, start)
    fixes = receive(truth, Receiver(rate_hz=5.0, position_white_m=0.05), 505)
    tach = Tach(rate_hz=5.0, offset_s=0.6, lag_s=0.2, scale=crew.tach_scale)
    rows = log_tach(truth, tach, 505)
    work = '"gearbox", "tach"'
    sheet = _sheet(sheets.WRONG_GEARBOX, crew, work, tyres=sheets.ROLLED_OUT)
    style = Nmea(sentences=("RMC",), each_second=("GGA",))

    def local(time_s: float) -> str:
        return iso_time(start + 3600.0 + time_s, 0, None)

    files = {
        "build.toml": sheet,
        "drive.log.gz": gzipped(nmea_text(fixes, style).encode()),
        "tach.csv.gz": gzipped(tach_csv(rows, start + 3600.0, None).encode()),
        "notes.csv": notes_csv(notes(truth, crew, programme, local, 505)).encode(),
    }
    true = facts(truth, crew, programme, float(fixes.time_s[0]))
    true["tach"] = tach_facts(tach, 0.0)
    return Sample("wrong-gearbox", files, true)
