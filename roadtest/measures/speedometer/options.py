"""What can be changed so that the speedometer shows something else: every way the sheet allows."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.build_sheet import Speedometer
from roadtest.measures.speedometer.readings import graduation_of
from roadtest.results import Change, CorrectionKind
from roadtest.units import MILE_M

# What is less trouble comes first among those that serve: a gear, an adapter or a setting; then the
# needle, which means opening the head, or two changes at once; last the head at a specialist's.
_EASY: Final = 1
_HEAD_OPENED: Final = 2
_SPECIALIST: Final = 4

_FURTHEST: Final = 1.8  # no setting is changed by more than this factor; our choice
_SETTINGS: Final = 240  # tried of a setting that may have any value
_NEEDLE_STEPS: Final = 12  # tried either way
_NEEDLE_PARTS: Final = 4  # a needle can be set to a quarter of a graduation (our choice)

_LENGTHS: Final = {"mph": MILE_M, "km/h": 1000.0}


@dataclass(frozen=True)
class Option:
    """A way to change what the dial shows.

    The head then gets `ratio` times what it gets now, and the needle stands `shift_mps` higher.
    """

    parts: tuple[Change, ...]
    ratio: float = 1.0
    shift_mps: float = 0.0
    effort: int = _EASY

    @property
    def kinds(self) -> tuple[CorrectionKind, ...]:
        """What is changed."""
        return tuple(part.kind for part in self.parts)

    @property
    def adjustable(self) -> bool:
        """Whether it can be set to (nearly) anything, rather than be one of a few parts."""
        return bool({"pulses_per_km", "turns_per_mile", "needle"} & set(self.kinds))

    @property
    def moves_odometer(self) -> bool:
        """Whether the odometer goes along: it turns with the cable, not with the needle."""
        return all(kind not in ("needle", "turns_per_mile") for kind in self.kinds)


AS_IT_IS: Final = Option(parts=(), effort=0)


def single_options(dial: Speedometer, *, needle: bool) -> tuple[Option, ...]:
    """Return every single change the sheet allows; `needle`: the needle is suspected."""
    if dial.drive == "gps":
        return tuple(_needle(dial)) if dial.needle_reset else ()
    found = [*_driven(dial), *_drive(dial), *_adapters(dial), *_pulses(dial), *_turns(dial)]
    if dial.needle_reset or (dial.needle_reset is None and needle):
        found += _needle(dial)
    return tuple(found)


def paired_options(singles: tuple[Option, ...]) -> tuple[Option, ...]:
    """Return every two changes of different kinds at once, of gears, adapters and needle."""
    parts = [o for o in singles if not {"pulses_per_km", "turns_per_mile"} & set(o.kinds)]
    return tuple(
        Option(
            first.parts + second.parts,
            first.ratio * second.ratio,
            first.shift_mps + second.shift_mps,
            first.effort + second.effort,
        )
        for first, second in itertools.combinations(parts, 2)
        if first.kinds != second.kinds
    )


def _driven(dial: Speedometer) -> Iterator[Option]:
    """The dial goes as one over the number of teeth on the driven gear."""
    present = dial.driven_teeth
    if present is not None:
        for teeth in dial.available_driven_teeth:
            if teeth != present:
                yield Option((Change("driven_teeth", present, teeth),), present / teeth)


def _drive(dial: Speedometer) -> Iterator[Option]:
    """The dial goes as the number of teeth on the drive gear."""
    present = dial.drive_teeth
    if present is not None:
        for teeth in dial.available_drive_teeth:
            if teeth != present:
                yield Option((Change("drive_teeth", present, teeth),), teeth / present)


def _adapters(dial: Speedometer) -> Iterator[Option]:
    """The dial goes as the adapter's turns out per turn in; none fitted is 1."""
    if dial.drive == "electronic":
        return
    present = 1.0 if dial.ratio_adapter is None else dial.ratio_adapter
    choice = set(dial.available_ratio_adapters)
    if dial.ratio_adapter is not None:
        choice.add(1.0)  # taken out
    for ratio in sorted(choice - {present}):
        change = Change("ratio_adapter", dial.ratio_adapter, ratio)
        yield Option((change,), ratio / present)


def _pulses(dial: Speedometer) -> Iterator[Option]:
    """An electronic head shows pulses per second over pulses per km."""
    if dial.drive == "electronic" and dial.pulses_per_km is not None:
        for setting in _settings(dial.pulses_per_km):
            change = Change("pulses_per_km", dial.pulses_per_km, setting)
            yield Option((change,), dial.pulses_per_km / setting)


def _turns(dial: Speedometer) -> Iterator[Option]:
    """A cable head made for more turns a mile shows less."""
    if dial.drive != "electronic" and dial.turns_per_mile is not None:
        for setting in _settings(dial.turns_per_mile):
            change = Change("turns_per_mile", dial.turns_per_mile, setting)
            yield Option((change,), dial.turns_per_mile / setting, effort=_SPECIALIST)


def _settings(present: float) -> list[int]:
    """Return whole settings about the present one, evenly spread by ratio."""
    tried = np.geomspace(present / _FURTHEST, present * _FURTHEST, _SETTINGS)
    return sorted({round(float(value)) for value in tried if value >= 0.5} - {0})


def _needle(dial: Speedometer) -> Iterator[Option]:
    step = graduation_of(dial) / _NEEDLE_PARTS
    for count in range(-_NEEDLE_STEPS, _NEEDLE_STEPS + 1):
        if count:
            shift = count * step
            yield Option((Change("needle", None, shift),), 1.0, shift, _HEAD_OPENED)
