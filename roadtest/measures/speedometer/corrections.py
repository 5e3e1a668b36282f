"""What to change on the speedometer, and what it would show then."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
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
    singles = single_options(dial, needle=needle)
    present, *outcomes = _outcomes(before, (AS_IT_IS, *singles), laws)
    best = _best_of_each_kind(outcomes)
    if before.target is not None and not any(outcome.will_do for outcome in best):
        pairs = _best_of_each_kind(_outcomes(before, paired_options(singles), laws))
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


def _outcomes(before: Before, options: Sequence[Option], laws: Floats) -> list[Outcome]:
    """Return what each option comes to.

    The error at a speed is normal, for the law is; that it lies inside at all speeds at once is
    counted over draws [count, 3] of the law.
    """
    target = before.target
    tested = () if target is None else target.test_speeds_mps
    true = np.array([*before.held_mps, *tested])
    ratio = np.array([option.ratio for option in options])
    shift = np.array([option.shift_mps for option in options])
    mean, u = before.law.shown_at(ratio[:, None] * true)  # [options, speeds]
    mean = mean + shift[:, None] - true
    rms = np.sqrt(np.mean(mean**2 + u**2, axis=1)).tolist()
    chances: list[float | None] = [None] * len(options)
    limits: tuple[Floats, Floats] | None = None
    if target is not None:
        limits = target.limits_at(np.broadcast_to(true, mean.shape), true + mean)
        chances = _chances(laws, ratio[:, None] * true, shift[:, None] - true, limits)
    outcomes = []
    for k, option in enumerate(options):
        told = tuple(
            DialErrorAt(
                Quantity(speed, 0.0, "m/s"),
                Quantity(error, COVERAGE_FACTOR_95 * u_error, "m/s"),
                before.law.beyond(option.ratio * speed),
            )
            for speed, error, u_error in zip(
                true.tolist(), mean[k].tolist(), u[k].tolist(), strict=True
            )
        )
        scale = Quantity(option.ratio * before.scale.value, option.ratio * before.scale.u95, "1")
        verdict = None if limits is None else _verdict(mean[k], u[k], limits[0][k], limits[1][k])
        odometer = _odometer_after(before, option)
        outcomes.append(Outcome(option, told, rms[k], scale, chances[k], verdict, odometer))
    return outcomes


def _chances(
    laws: Floats, at_mps: Floats, added_mps: Floats, limits: tuple[Floats, Floats]
) -> list[float | None]:
    """Return of each option [k] the share of laws with which all errors lie inside the limits.

    `at_mps`, `added_mps` and the limits are [k, speeds]: what the law is asked for, and what makes
    it an error. None where the rule speaks of none of the speeds.
    """
    spoken = np.isfinite(limits[0]) | np.isfinite(limits[1])
    low = np.where(spoken, limits[0], -np.inf) - added_mps
    high = np.where(spoken, limits[1], np.inf) - added_mps
    inside = np.ones((at_mps.shape[0], laws.shape[0]), dtype=bool)
    for column in range(at_mps.shape[1]):
        shown = shown_by(laws, at_mps[:, column]).T  # [k, draws]
        inside &= (shown >= low[:, column, None]) & (shown <= high[:, column, None])
    chances: list[float] = inside.mean(axis=1).tolist()
    some = spoken.sum(axis=1).tolist()
    return [chance if count else None for chance, count in zip(chances, some, strict=True)]


def _verdict(mean: Floats, u: Floats, low: Floats, high: Floats) -> Verdict:
    """Return the verdict on errors [speeds] with limits as `DialTarget.limits_at` gives them."""
    spoken = np.isfinite(low) | np.isfinite(high)
    least, most = mean - COVERAGE_FACTOR_95 * u, mean + COVERAGE_FACTOR_95 * u
    verdicts = np.where(
        (least >= low) & (most <= high),
        "pass",
        np.where((most < low) | (least > high), "fail", "not proven"),
    )
    return combine(verdicts[spoken].tolist())


def _odometer_after(before: Before, option: Option) -> Verdict | None:
    if before.odometer_scale is None or before.odometer_limit is None:
        return None
    ratio = option.ratio if option.moves_odometer else 1.0
    after = Quantity(ratio * before.odometer_scale.value, ratio * before.odometer_scale.u95, "1")
    return judge(after, before.odometer_limit).verdict
