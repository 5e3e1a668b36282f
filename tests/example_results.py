"""A hand-made `Results` with something in every section, for tests of what shows results.

The figures are invented and need not agree with each other: only their showing is tested on them.
"""

from __future__ import annotations

from roadtest.quantity import Quantity
from roadtest.results import (
    BeddingRecord,
    BeddingRow,
    BrakingResult,
    CarInfo,
    ChannelPart,
    ChannelResult,
    CoastingResult,
    CoastRun,
    Correction,
    CruiseRow,
    DecelerationAt,
    DriveInfo,
    FileInfo,
    Finding,
    FindingItem,
    Gap,
    GearingResult,
    GearRow,
    Inspection,
    Limit,
    LogInfo,
    Manoeuvre,
    OdometerResult,
    PowerPoint,
    PullRun,
    PullsResult,
    Reading,
    Repeat,
    Results,
    Shown,
    SpeedometerResult,
    Standing,
    StandingDistance,
    Step,
    StopResult,
    TachInfo,
)

MPH = 0.44704


def _mph(value: float, u95: float) -> Quantity:
    return Quantity(value * MPH, u95 * MPH, "m/s")


FILES = (
    FileInfo("build.toml", "aa" * 32, "build", None, 812),
    FileInfo("gps.nmea", "bb" * 32, "nmea", None, 512_000),
    FileInfo("photo.jpg", "cc" * 32, "ignored", "neither a log nor notes", 90_000),
)
LOG = LogInfo(
    name="gps.nmea",
    kind="nmea",
    fixes_read=6000,
    fixes_used=5987,
    rejected={"bad checksum": 3, "no fix": 10},
    rejected_first={"bad checksum": "line 12", "no fix": "line 1"},
    rejected_sentences=("bad checksum",),
    rate_hz=10.0,
    speed_source="doppler",
    speed_noise=Quantity(0.052, 0.004, "m/s"),
    gaps=(Gap(120.0, 131.5),),
    remarks=("the receiver repeats its last speed in 4 places",),
)
MANOEUVRES = (
    Manoeuvre("hold-1", "hold", 60.0, 75.0, 4),
    Manoeuvre("hold-2", "hold", 90.0, 101.0, 4),
    Manoeuvre("pull-1", "pull", 200.0, 209.0, 3),
    Manoeuvre("stop-1", "stop", 300.0, 304.1),
    Manoeuvre("stop-2", "stop", 330.0, 334.0, None, False, "the log has a gap in it"),
    Manoeuvre("coast-1", "coast", 400.0, 450.0),
)
SPEEDOMETER = SpeedometerResult(
    readings=(
        Reading("hold-1", _mph(60.0, 0.5), _mph(59.5, 0.31), _mph(0.5, 0.6)),
        Reading("hold-2", None, _mph(40.04, 0.12), None),
    ),
    scale=Quantity(1.045, 0.012, "1"),
    offset=Quantity(-0.12, 0.2, "m/s"),
    corrections=(
        Correction("driven_teeth", 21, 22, Quantity(0.9975, 0.011, "1"), {"speedometer": "fail"}),
    ),
)
GEARING = GearingResult(
    gears=(
        GearRow(3, Quantity(5.91, 0.02, "1"), Quantity(1.4005, 0.0048, "1"), 1.4, 40.0),
        GearRow(4, Quantity(4.22, 0.01, "1"), Quantity(1.0, 0.0024, "1"), 1.0, 210.0),
    ),
    revs_per_metre_top=Quantity(2.4225, 0.004, "1/m"),
    steps=(Step(3, 4, Quantity(1.4003, 0.003, "1"), 1.4),),
    gearbox_shown=Shown("five-speed", 0.999),
    axle=Quantity(4.22, 0.013, "1"),
    axle_shown=Shown("build sheet", 0.9),
    circumference=Quantity(1.742, 0.0052, "m"),
    clutch_slip=Quantity(0.004, 0.003, "1"),
    cruise=(CruiseRow(4, _mph(70.0, 0.1), Quantity(4548.0, 17.0, "r/min")),),
)
BRAKING = BrakingResult(
    bedding=BeddingRecord(
        stops=1,
        snubs=1,
        energy=Quantity(3.9e5, 1.0e4, "J"),
        rows=(
            BeddingRow("stop-1", "stop", 100.0, _mph(59.2, 0.2), _mph(0.0, 0.0), None),
            BeddingRow(
                "stop-2",
                "snub",
                160.0,
                _mph(40.0, 0.2),
                _mph(20.0, 0.2),
                55.0,
                Quantity(98.7e3, 2.0e3, "J"),
            ),
        ),
    ),
    stops=(
        StopResult(
            manoeuvre="stop-1",
            initial_speed=_mph(59.2, 0.2),
            mfdd=Quantity(6.1, 0.21, "m/s²"),
            mfdd_level=Quantity(6.05, 0.34, "m/s²"),
            peak=Quantity(7.2, 0.4, "m/s²"),
            distance=Quantity(58.3, 0.9, "m"),
            distance_nominal=Quantity(59.9, 1.1, "m"),
            nominal_speed=_mph(60.0, 0.0),
            build_up_s=Quantity(0.42, 0.11, "s"),
            drift=Quantity(-0.31, 0.4, "m"),
            heading_change=Quantity(0.01, 0.02, "rad"),
            grade=Quantity(0.004, 0.02, "1"),
        ),
    ),
    fade=Quantity(0.93, 0.06, "1"),
    spread=Quantity(0.031, 0.02, "1"),
)
FINDINGS = (
    Finding(
        id="mfdd",
        title="Mean fully developed deceleration",
        verdict="pass",
        measured=Quantity(6.05, 0.2, "m/s²"),
        limit=Limit(5.8, None, "m/s²"),
        probability=0.993,
        basis="UN R13, Annex 4, 2.1 (M1)",
        items=(
            FindingItem(
                "stop-1", Quantity(6.05, 0.2, "m/s²"), Limit(5.8, None, "m/s²"), "pass", 0.993
            ),
        ),
    ),
    Finding(
        id="speedometer",
        title="Speedometer",
        verdict="not proven",
        measured=_mph(0.5, 1.176),
        limit=Limit(0.0, 8.436 * MPH, "m/s"),
        probability=0.798,
        basis="UN R39, 5.3",
        reason="the interval of hold-1 reaches below the lower limit",
        to_settle="hold 60 mph on the dial for 20 s, three times, with a 10 Hz log",
        items=(
            FindingItem(
                "hold-1", _mph(0.5, 1.176), Limit(0.0, 8.436 * MPH, "m/s"), "not proven", 0.798
            ),
        ),
    ),
    Finding(
        id="channel.coolant_temperature",
        title="Coolant temperature",
        verdict="fail",
        measured=Quantity(109.0, 1.0, "degC"),
        limit=Limit(None, 105.0, "degC"),
        probability=0.0,
        basis="the build sheet's target",
        reason="highest at 412 s, in pull-1",
    ),
)

EXAMPLE = Results(
    units="mph",
    car=CarInfo("Two-seat roadster, green", "DEMO 0001"),
    files=FILES,
    logs=(LOG,),
    drive=DriveInfo("2026-05-02T08:00:00Z", 600.0, Quantity(8123.4, 6.1, "m"), _mph(71.3, 0.2)),
    tach=TachInfo(
        Quantity(12.34, 0.05, "s"), Quantity(14.0, 2.0, "r/min"), Quantity(1.002, 0.006, "1")
    ),
    manoeuvres=MANOEUVRES,
    speedometer=SPEEDOMETER,
    odometer=OdometerResult(
        Quantity(8208.0, 90.0, "m"), Quantity(8123.4, 6.1, "m"), Quantity(1.0104, 0.011, "1")
    ),
    gearing=GEARING,
    braking=BRAKING,
    coasting=CoastingResult(
        (
            CoastRun(
                "coast-1",
                26.7,
                8.1,
                Quantity(120.3, 35.1, "N"),
                None,
                Quantity(0.41, 0.09, "N/(m/s)²"),
                Quantity(0.0155, 0.0045, "1"),
                Quantity(0.66, 0.15, "m²"),
                out_of_gear=True,
            ),
        ),
        Quantity(0.0155, 0.0012, "1"),
        Quantity(0.65, 0.05, "m²"),
        (
            DecelerationAt(
                Quantity(27.7778, 0.0, "m/s"),
                Quantity(0.527, 0.02, "m/s²"),
                Quantity(429.0, 18.0, "N"),
            ),
        ),
    ),
    pulls=PullsResult(
        (
            PullRun(
                "pull-1",
                3,
                _mph(30, 0),
                _mph(50, 0),
                Quantity(6.21, 0.12, "s"),
                Quantity(41200.0, 2100.0, "W"),
                _mph(48.2, 2.5),
                Quantity(4980.0, 260.0, "r/min"),
                Quantity(40100.0, 2100.0, "W"),
                Quantity(2310.0, 60.0, "N"),
                Quantity(2.12, 0.05, "m/s²"),
                Quantity(-0.004, 0.006, "1"),
                (PowerPoint(15.0, 3400.0, Quantity(2300.0, 60.0, "N"), Quantity(34500, 900, "W")),),
                flat_out=True,
                effort="pull-2 gives the same power at the same engine speeds",
            ),
        ),
        (
            Standing(_mph(60, 0), Quantity(11.4, 0.2, "s"), "pull-2", Quantity(11.0, 0.2, "s")),
            Standing(_mph(60, 0), Quantity(11.9, 0.2, "s"), "pull-3", Quantity(11.5, 0.2, "s")),
        ),
        (
            StandingDistance(
                Quantity(402.336, 0.0, "m"),
                Quantity(18.1, 0.2, "s"),
                _mph(73.0, 0.4),
                "pull-2",
                Quantity(17.7, 0.2, "s"),
            ),
        ),
        (
            Repeat(
                None,
                None,
                _mph(60, 0),
                Quantity(11.4, 0.2, "s"),
                Quantity(11.65, 0.14, "s"),
                ("pull-2", "pull-3"),
            ),
        ),
    ),
    channels=(
        ChannelResult(
            "coolant_temperature",
            "degC",
            20.0,
            109.0,
            412.0,
            at_min_s=3.0,
            at_rest=ChannelPart(20.0, 71.2, 92.0, 95.0, 3.0, 580.0),
            at_speed=ChannelPart(64.0, 88.5, 109.0, 340.0, 120.0, 412.0),
            limit_high=105.0,
            seconds_above=23.0,
        ),
    ),
    inspections=(Inspection("no fluid leaks after the drive", "pass"),),
    findings=FINDINGS,
    next_steps=("Hold 60 mph on the dial for 20 s, three times, with a 10 Hz log.",),
)
