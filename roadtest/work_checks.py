"""What each kind of work asks for: what to drive, and what to look at by hand, and when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from roadtest.rules import fmvss_135, un_r13h

When = Literal["before", "during", "after"]
DriveKind = Literal["hold", "pull", "stop", "coast", "traffic", "bedding", "standing", "bends"]

COMMON_PRACTICE: Final = "common practice, no published source"

Words = tuple[tuple[str, ...], ...]
"""One of each group must begin a word of what was noted: (("wheel",), ("nut", "bolt"))."""


@dataclass(frozen=True)
class HandCheck:
    """One thing to look at by hand: when, what, and how a note of it is known.

    With `channel`, a logged channel whose name holds one of these words is evidence as well.
    """

    when: When
    what: str
    words: Words
    basis: str = COMMON_PRACTICE
    channel: tuple[str, ...] = ()


@dataclass(frozen=True)
class WorkChecks:
    """What goes with one kind of work."""

    drive: tuple[DriveKind, ...] = ()
    by_hand: tuple[HandCheck, ...] = ()


_LEAK: Final[tuple[str, ...]] = ("leak", "weep", "drip", "seep", "tight", "dry")
_PARKING: Final = next(f.basis for f in un_r13h.RULE.figures if f.what.startswith("parking"))

_WHEEL_FIXINGS: Final = HandCheck(
    "after",
    "wheel fixings to their torque again after the first miles, cold",
    (("wheel", "hub"), ("nut", "bolt", "fixing", "stud", "torque", "spinner", "retorque")),
)
_BRAKE_FLUID: Final = HandCheck(
    "before",
    "brake fluid level, and the pedal firm and not sinking under a steady foot",
    (("brake", "pedal"), ("fluid", "level", "firm", "sink", "pedal")),
)
_BRAKE_LINES: Final = HandCheck(
    "after",
    "brake hoses and lines: no weeping, no chafing at full lock and full travel",
    (("brake", "hose", "line", "pipe", "fluid"), (*_LEAK, "chaf", "rub", "clear")),
)
_BRAKE_HEAT: Final = HandCheck(
    "after",
    "heat of each brake after rolling to rest: like from side to side, none dragging",
    (("brake", "hub", "drum", "disc", "wheel"), ("heat", "hot", "warm", "temperature", "drag")),
)
_BEDDING: Final = HandCheck(
    "before",
    "new linings bedded in as their maker says, before any hard stop",
    (("bed", "burnish"),),
    f"{fmvss_135.RULE.basis.document} itself tests only after 200 stops (value from memory); the "
    "maker's own instructions come first",
)
_PARKING_BRAKE: Final = HandCheck(
    "after",
    "parking brake holds on a slope, both ways",
    (("parking", "handbrake", "hand"), ("brake", "handbrake", "hold", "slope")),
    str(_PARKING),
)
_OIL_LEAK: Final = HandCheck(
    "after", "no oil leak at gearbox, axle or engine joints", (("oil", "fluid"), _LEAK)
)
_COOLANT: Final = HandCheck(
    "after",
    "coolant level cold, and hoses dry",
    (("coolant", "water", "radiator"), ("level", "hose", *_LEAK)),
)

WORK_CHECKS: Final[Mapping[str, WorkChecks]] = {
    "gearbox": WorkChecks(
        ("hold", "pull", "coast"),
        (
            HandCheck("before", "gearbox oil level", (("gearbox", "transmission"), ("oil", "lev"))),
            HandCheck(
                "during",
                "every gear, reverse too, goes in cleanly and stays in on the overrun",
                (("gear", "selector"), ("reverse", "clean", "engage", "jump", "stay", "every")),
            ),
            _OIL_LEAK,
        ),
    ),
    "clutch": WorkChecks(
        ("pull", "standing"),
        (
            HandCheck(
                "before",
                "clutch free play, and its hydraulics dry",
                (("clutch",), ("play", "hydraulic", "adjust", *_LEAK)),
            ),
            HandCheck(
                "during",
                "clutch frees fully: first gear at rest without grinding",
                (("clutch",), ("free", "drag", "grind", "grip", "bite", "clear")),
            ),
        ),
    ),
    "axle": WorkChecks(
        ("hold", "pull", "coast"),
        (
            HandCheck("before", "axle oil level", (("axle", "differential"), ("oil", "level"))),
            HandCheck(
                "during",
                "axle quiet on drive, on overrun and round bends",
                (("axle", "differential"), ("quiet", "noise", "whine", "clunk")),
            ),
            HandCheck(
                "after",
                "axle: no oil at pinion and hub seals, not too hot to touch",
                (("axle", "oil", "pinion", "fluid"), (*_LEAK, "hot", "heat")),
            ),
        ),
    ),
    "wheels and tyres": WorkChecks(
        ("hold", "bends"),
        (
            HandCheck(
                "before", "tyre pressures, cold, written down", (("tyre", "tire"), ("pressure",))
            ),
            HandCheck(
                "before",
                "clearance of tyres to body and hoses at full lock and full travel",
                (("tyre", "tire", "wheel"), ("clear", "rub", "foul", "lock")),
            ),
            _WHEEL_FIXINGS,
        ),
    ),
    "spline hubs": WorkChecks(
        ("hold", "bends"),
        (
            HandCheck(
                "before",
                "splines clean, greased, without play; hubs on the right sides",
                (("spline", "hub"), ("grease", "play", "side", "clean", "wear")),
            ),
            HandCheck(
                "after",
                "wheel nuts or spinners tight after the first miles, and spokes true",
                (("wheel", "spinner", "hub"), ("nut", "spinner", "tight", "torque", "spoke")),
            ),
        ),
    ),
    "front brakes": WorkChecks(
        ("bedding", "stop"), (_BEDDING, _BRAKE_FLUID, _BRAKE_LINES, _BRAKE_HEAT)
    ),
    "rear brakes": WorkChecks(
        ("bedding", "stop"), (_BEDDING, _BRAKE_FLUID, _BRAKE_LINES, _BRAKE_HEAT, _PARKING_BRAKE)
    ),
    "suspension location": WorkChecks(
        ("stop", "bends"),
        (
            HandCheck(
                "before",
                "suspension fixings to their torque with the car on its wheels",
                (("suspension", "link", "rod", "panhard"), ("torque", "tight", "fixing", "bolt")),
            ),
            HandCheck(
                "after",
                "suspension: nothing rubs at full travel, fixings have not moved",
                (("suspension", "link", "rod", "panhard"), ("rub", "clear", "mov", "mark")),
            ),
        ),
    ),
    "forced induction": WorkChecks(
        ("pull", "traffic"),
        (
            HandCheck(
                "during",
                "no detonation under the first boost: part throttle first, one listener",
                (("detonation", "knock", "pink"),),
            ),
            HandCheck(
                "during",
                "mixture under boost, from a probe or the plugs",
                (("mixture", "lambda", "plug", "afr"),),
                channel=("lambda", "afr", "mixture"),
            ),
            HandCheck(
                "after",
                "belt, hoses and clamps under boost: none slipped, chafed or blown off",
                (("belt", "boost", "hose", "clamp"), ("belt", "hose", "clamp", "slip", "chaf")),
            ),
        ),
    ),
    "cooling": WorkChecks(
        ("traffic", "hold"),
        (
            HandCheck(
                "during",
                "coolant temperature in traffic, and the fan cutting in and out",
                (("temperature", "fan", "overheat"), ("traffic", "fan", "idle", "overheat")),
                channel=("coolant", "water"),
            ),
            _COOLANT,
        ),
    ),
    "ignition": WorkChecks(
        ("pull", "standing"),
        (
            HandCheck(
                "before", "ignition timing by lamp, and its advance", (("timing", "advance"),)
            ),
            HandCheck(
                "during",
                "no misfire or detonation under load, warm and cold",
                (("misfire", "detonation", "knock", "pink"),),
            ),
        ),
    ),
    "speedometer": WorkChecks(
        ("hold",),
        (
            HandCheck(
                "during",
                "needle steady, cable quiet, odometer counting",
                (
                    ("needle", "speedometer", "cable"),
                    ("steady", "quiet", "flick", "waver", "route"),
                ),
            ),
        ),
    ),
    "tach": WorkChecks(
        ("hold", "pull"),
        (
            HandCheck(
                "before",
                "idle speed shown against a known instrument",
                (("tach", "idle"), ("idle", "shown", "against", "strobe", "compare")),
            ),
        ),
    ),
    "charging": WorkChecks(
        ("traffic",),
        (
            HandCheck(
                "before",
                "charging volts cold, at idle and at a fast idle",
                (("charging", "battery", "volt"), ("cold", "start")),
                channel=("volt", "battery"),
            ),
            HandCheck(
                "after",
                "charging volts hot, lamps and fan on",
                (("charging", "battery", "volt"), ("hot", "load", "lamp", "after")),
                channel=("volt", "battery"),
            ),
        ),
    ),
    "exhaust": WorkChecks(
        ("pull", "traffic"),
        (
            HandCheck(
                "after",
                "exhaust: joints tight, clear of hoses, body and axle at full travel",
                (("exhaust", "silencer"), ("tight", "clear", "leak", "blow", "knock", "touch")),
            ),
            HandCheck(
                "during",
                "no fumes in the car with the hood up and windows shut",
                (("fume", "smell"),),
            ),
        ),
    ),
}

EVERY_DRIVE: Final[tuple[HandCheck, ...]] = (
    HandCheck(
        "before",
        "wheel fixings, tyre pressures cold, fluid levels, belts, nothing loose, extinguisher",
        (("wheel", "fluid", "level"), ("nut", "level", "pressure")),
    ),
    HandCheck(
        "before",
        "pedal firm, warning lamps, lights and horn, parking brake holds",
        (("lamp", "light", "horn", "pedal"),),
    ),
    HandCheck("after", "no leaks under the car", (("leak",),)),
)
"""For every drive, whatever was done. On the card only: no work of this sheet asks for them."""


def checks_for(work: Iterable[str]) -> tuple[tuple[str, WorkChecks], ...]:
    """Return the checks for each kind of work that has any, in order."""
    return tuple((name, WORK_CHECKS[name]) for name in work if name in WORK_CHECKS)
