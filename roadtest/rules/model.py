"""What a published rule is to `roadtest`: figures in SI, each with where it stands and how we know.

Speedometer error is shown speed minus true speed. A rule says what it asks for; whether a measured
figure, with its interval, meets it is decided in `roadtest.verdicts`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roadtest.results import Limit
from roadtest.units import STANDARD_GRAVITY_MPS2

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

# Two speeds closer than this share of themselves are one speed: 25 mph in m/s and back is 25 mph.
_SAME_SPEED = 1e-9


class Status(StrEnum):
    """How a figure came to us, so that a reader knows how far to trust it."""

    READ = "read in a stored copy"
    SECOND_HAND = "read second-hand"
    MEMORY = "value from memory"
    COMPUTED = "computed from the rule's own figures"
    OWN_CHOICE = "our own choice"
    OWN_TARGET = "own target"


@dataclass(frozen=True)
class Basis:
    """Where a figure stands: the document, the paragraph in it, and how it came to us."""

    document: str
    paragraph: str
    status: Status
    note: str = ""

    def __str__(self) -> str:
        """Return the basis as one line, as a finding prints it."""
        place = f"{self.document}, {self.paragraph}" if self.paragraph else self.document
        how = f"{self.status}; {self.note}" if self.note else str(self.status)
        return place if place == how else f"{place} ({how})"


@dataclass(frozen=True)
class Figure:
    """A figure of a rule that is told beside the verdict: `what`, its value in `unit`, its basis.

    A figure without a number (a condition in words) has value None and an empty unit.
    """

    what: str
    basis: Basis
    value: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class ErrorBand:
    """Speedometer error allowed, m/s: from -under to over + over_share * true speed; None: open."""

    under_mps: float | None
    over_mps: float | None
    over_share: float = 0.0

    def at(self, true_speed_mps: float) -> Limit:
        """Return the band at a true speed as a limit on the error."""
        low = None if self.under_mps is None else 0.0 - self.under_mps
        high = None if self.over_mps is None else self.over_mps + self.over_share * true_speed_mps
        return Limit(low, high, "m/s")


@dataclass(frozen=True)
class SpeedRange:
    """True speeds for which a rule is stated, ends included.

    With `or_shown`, a dial that shows a speed in the range is judged too, whatever the true speed.
    """

    lowest_mps: float = 0.0
    highest_mps: float = math.inf
    or_shown: bool = False

    def holds(self, true_speed_mps: float, shown_speed_mps: float | None) -> bool:
        """Return whether the rule speaks of this reading."""
        shown = math.nan if shown_speed_mps is None else shown_speed_mps
        return bool(self.holds_each(np.array(true_speed_mps), np.array(shown)))

    def holds_each(self, true_mps: Floats, shown_mps: Floats) -> Bools:
        """Return the same of many readings at once, of any shape; NaN for what is not known."""
        held = self._has(true_mps)
        return held | self._has(shown_mps) if self.or_shown else held

    def _has(self, speed_mps: Floats) -> Bools:
        slack = _SAME_SPEED * speed_mps
        above = speed_mps >= self.lowest_mps - slack
        return np.asarray(above & (speed_mps <= self.highest_mps + slack))


def _any_speed(_top_speed_mps: float | None) -> tuple[float, ...]:
    return ()


@dataclass(frozen=True)
class SpeedometerRule:
    """A rule on what a speedometer may show.

    `basis` belongs to the band; `figures` are the rule's other figures and conditions, each with
    its own basis; `not_shown` lists what the rule asks for that a road drive does not show.
    """

    name: str
    title: str
    basis: Basis
    band: ErrorBand
    speeds: SpeedRange = SpeedRange()
    prescribed_speeds: Callable[[float | None], tuple[float, ...]] = _any_speed
    figures: tuple[Figure, ...] = ()
    not_shown: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    def error_limits(
        self, true_speed_mps: float, shown_speed_mps: float | None = None
    ) -> Limit | None:
        """Return the limit on shown minus true speed (m/s), None where the rule has nothing to say.

        The shown speed matters only to a rule stated for one speed without saying which of the
        two is meant. Raises ValueError for a speed that is negative or not a number.
        """
        _require_speed(true_speed_mps)
        if shown_speed_mps is not None:
            _require_speed(shown_speed_mps)
        if not self.speeds.holds(true_speed_mps, shown_speed_mps):
            return None
        return self.band.at(true_speed_mps)

    def test_speeds(self, top_speed_mps: float | None = None) -> tuple[float, ...]:
        """Return the speeds (m/s) the rule tests at, given a top speed; () where any will do.

        Raises ValueError for a top speed that is negative or not a number.
        """
        if top_speed_mps is not None:
            _require_speed(top_speed_mps)
        return self.prescribed_speeds(top_speed_mps)


@dataclass(frozen=True)
class LeastDeceleration:
    """The least deceleration (m/s²) asked of cars first used on or after a day (None: of all)."""

    least_mps2: float
    basis: Basis
    first_used_from: date | None = None


@dataclass(frozen=True)
class MostDistance:
    """The longest stopping distance allowed: delay_s * v + square_s2_per_m * v² (v in m/s).

    With `only_from_mps` the rule gives one distance, for that initial speed alone.
    """

    delay_s: float
    square_s2_per_m: float
    basis: Basis
    only_from_mps: float | None = None

    @classmethod
    def of_kmh(cls, per_kmh: float, per_kmh2: float, basis: Basis) -> MostDistance:
        """Return the distance per_kmh * V + per_kmh2 * V², V in km/h, as the rules write it."""
        return cls(per_kmh * 3.6, per_kmh2 * 3.6**2, basis)

    @classmethod
    def single(cls, distance_m: float, from_mps: float, basis: Basis) -> MostDistance:
        """Return the limit of a rule that gives one distance from one speed."""
        return cls(0.0, distance_m / from_mps**2, basis, from_mps)

    @property
    def square_as_mps2(self) -> float:
        """The deceleration (m/s²) that the squared term stands for."""
        return 0.5 / self.square_s2_per_m

    def at(self, initial_speed_mps: float) -> float | None:
        """Return the longest distance (m), None from a speed the rule does not give."""
        only = self.only_from_mps
        if only is not None and not math.isclose(initial_speed_mps, only, rel_tol=_SAME_SPEED):
            return None
        return (self.delay_s + self.square_s2_per_m * initial_speed_mps) * initial_speed_mps


@dataclass(frozen=True)
class HotStop:
    """What must be left after heating, as shares of the cold stop and of the prescribed figure."""

    of_cold: float
    of_prescribed: float | None
    basis: Basis
    not_shown: tuple[str, ...] = ()  # of the heating, by a road drive


@dataclass(frozen=True)
class BrakingRule:
    """A rule on how well a car must stop, for the cold service brake on a level road.

    `decelerations` run from the oldest first-use date on; `figures` are the rule's other figures.
    """

    name: str
    title: str
    basis: Basis
    nominal_speed_mps: float | None
    decelerations: tuple[LeastDeceleration, ...] = ()
    distance: MostDistance | None = None
    hot: HotStop | None = None
    figures: tuple[Figure, ...] = ()
    not_shown: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    in_percent: bool = False  # it asks for an efficiency, in percent of weight

    def deceleration(self, first_use: date | None = None) -> LeastDeceleration | None:
        """Return the least deceleration asked of a car first used on this day, with its basis.

        A car whose first use is not known is taken to be of the oldest kind the rule knows.
        """
        asked = None
        for step in self.decelerations:
            since = step.first_used_from
            if since is None or (first_use is not None and first_use >= since):
                asked = step
        return asked

    def least_mfdd_mps2(self, first_use: date | None = None) -> float | None:
        """Return the least mean fully developed deceleration (m/s²); None if the rule has none."""
        asked = self.deceleration(first_use)
        return None if asked is None else asked.least_mps2

    def most_stopping_distance_m(self, initial_speed_mps: float) -> float | None:
        """Return the longest stopping distance (m); None where the rule gives none.

        Raises ValueError for a speed that is negative or not a number.
        """
        _require_speed(initial_speed_mps)
        return None if self.distance is None else self.distance.at(initial_speed_mps)

    def least_hot_mfdd_mps2(
        self, cold_mfdd_mps2: float, first_use: date | None = None
    ) -> float | None:
        """Return the least hot deceleration (m/s²) for a car that did `cold_mfdd_mps2` cold."""
        if self.hot is None:
            return None
        prescribed = self.least_mfdd_mps2(first_use)
        of_cold = self.hot.of_cold * cold_mfdd_mps2
        if self.hot.of_prescribed is None or prescribed is None:
            return of_cold
        return max(of_cold, self.hot.of_prescribed * prescribed)


def share_of_gravity(percent: float) -> float:
    """Return the deceleration (m/s²) of a braking efficiency in percent of weight, on the level."""
    return percent / 100.0 * STANDARD_GRAVITY_MPS2


def _require_speed(speed_mps: float) -> None:
    if not (math.isfinite(speed_mps) and speed_mps >= 0.0):
        raise ValueError(f"not a speed: {speed_mps} m/s")
