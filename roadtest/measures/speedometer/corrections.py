"""What to change on the speedometer, and what it would show then."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.build_sheet import Speedometer
from roadtest.measures.speedometer.dial_law import DialLaw, shown_by
from roadtest.measures.speedometer.options import (
    AS_IT_IS,
    Option,
    paired_options,
    single_options,
)
from roadtest.measures.speedometer.target import DialTarget
from roadtest.quantity import Quantity
from roadtest.results import DialErrorAt, Limit, Verdict
from roadtest.verdicts import combine, judge

Floats = NDArray[np.float64]

LIKELY: Final = 0.8
"""A change that is at least this likely to bring the dial inside its target will do: among those,
the least trouble and then the smallest error count. Our choice: surer ones would be found only
further off, for where a dial may never read low, more error is always surer."""

_LAWS: Final = 1000  # draws of the dial's law
_MOST_PAIRS: Final = 3
_MOST_ALIKE: Final = 2


@dataclass(frozen=True)
class Before:
    """The dial as it is: its law, its scale, and what is asked of dial and odometer."""

    law: DialLaw
    scale: Quantity
    target: DialTarget | None
    held_mps: tuple[float, ...]  # true speeds of the holds
    odometer_scale: Quantity | None = None
    odometer_limit: Limit | None = None


@dataclass(frozen=True)
class Outcome:
    """What the dial would show after a change.

    `probability`: of the error lying inside the target at every one of `errors`, None without a
    target. `rms_mps`: root mean square of the error over speeds, its doubt included.
    """

    option: Option
    errors: tuple[DialErrorAt, ...]
    rms_mps: float
    scale: Quantity
    probability: float | None = None
    verdict: Verdict | None = None
    odometer: Verdict | None = None

    @property
    def rank(self) -> tuple[int, float, float]:
        """Smaller is better: see `LIKELY`."""
        if self.probability is None:
            return 0, 0.0, self.rms_mps
        if self.probability < LIKELY:
            return 2, 1.0 - self.probability, self.rms_mps
        return int(self.odometer == "fail"), float(self.option.effort), self.rms_mps

    @property
    def will_do(self) -> bool:
        """Whether the change is likely to bring the dial inside its target."""
        return self.probability is not None and self.probability >= LIKELY


@dataclass(frozen=True)
class Advised:
    """The dial as it is, and the best change of each kind, the best of all first."""

    present: Outcome
    changes: tuple[Outcome, ...]


def advise(before: Before, dial: Speedometer, rng: np.random.Generator, *, needle: bool) -> Advised:
    """Return what the changes that the sheet allows would do, the best of each kind, ranked.

    The head takes r times what it took, so the dial shows at a true speed v what it showed at r·v
    (the bend of its scale goes with the needle, not with the car), plus the needle's shift. Two
    changes at once are looked at only when no single one will do.
    """
    laws = before.law.draws(_LAWS, rng)
    present = _outcome(before, AS_IT_IS, laws)
    singles = single_options(dial, needle=needle)
    best = _best_of_each_kind(_outcome(before, option, laws) for option in singles)
    if before.target is not None and not any(outcome.will_do for outcome in best):
        pairs = _best_of_each_kind(
            _outcome(before, option, laws) for option in paired_options(singles)
        )
        best += sorted(pairs, key=lambda outcome: outcome.rank)[:_MOST_PAIRS]
    return Advised(present, tuple(sorted(best, key=lambda outcome: outcome.rank)))


def _best_of_each_kind(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Return the best of each kind of change, and the runner-up where gears are to be had."""
    kinds: dict[tuple[str, ...], list[Outcome]] = {}
    for outcome in outcomes:
        kinds.setdefault(outcome.option.kinds, []).append(outcome)
    best: list[Outcome] = []
    for alike in kinds.values():
        if alike[0].option.adjustable:
            # What can be set to anything is set where it is proven, if there is such a place.
            best.append(min(alike, key=lambda o: (o.verdict != "pass", o.rank)))
        else:
            best += sorted(alike, key=lambda o: o.rank)[:_MOST_ALIKE]
    return best


def _outcome(before: Before, option: Option, laws: Floats) -> Outcome:
    target = before.target
    tested = () if target is None else target.test_speeds_mps
    true = np.array([*before.held_mps, *tested])
    errors = shown_by(laws, option.ratio * true) + option.shift_mps - true  # [draws, k]
    told = tuple(
        DialErrorAt(
            Quantity(speed, 0.0, "m/s"),
            _quantity(column),
            before.law.beyond(option.ratio * speed),
        )
        for speed, column in zip(true.tolist(), errors.T, strict=True)
    )
    scale = Quantity(option.ratio * before.scale.value, option.ratio * before.scale.u95, "1")
    rms = float(np.sqrt(np.mean(errors**2)))
    odometer = _odometer_after(before, option)
    if target is None:
        return Outcome(option, told, rms, scale, odometer=odometer)
    low, high = target.limits_at(true, true + errors.mean(axis=0))
    spoken = np.isfinite(low) | np.isfinite(high)
    inside = (errors >= low) & (errors <= high)
    chance = float(inside[:, spoken].all(axis=1).mean()) if spoken.any() else None
    return Outcome(option, told, rms, scale, chance, _verdict(told, target), odometer)


def _quantity(draws: Floats) -> Quantity:
    figure = Quantity.from_draws(draws, "m/s")
    if figure is None:
        raise ValueError("the draws of a dial's error are not numbers")
    return figure


def _verdict(errors: tuple[DialErrorAt, ...], target: DialTarget) -> Verdict:
    verdicts: list[Verdict] = []
    for at in errors:
        true = at.speed.value
        limit = target.rule.error_limits(true, max(true + at.error.value, 0.0))
        if limit is not None:
            verdicts.append(judge(at.error, limit).verdict)
    return combine(verdicts)


def _odometer_after(before: Before, option: Option) -> Verdict | None:
    if before.odometer_scale is None or before.odometer_limit is None:
        return None
    ratio = option.ratio if option.moves_odometer else 1.0
    after = Quantity(ratio * before.odometer_scale.value, ratio * before.odometer_scale.u95, "1")
    return judge(after, before.odometer_limit).verdict
