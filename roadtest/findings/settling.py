"""What drive would settle a verdict that is not proven."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from roadtest.findings.case import Case
from roadtest.quantity import Quantity
from roadtest.results import Limit
from roadtest.wording import number_text, plural

GOOD_RATE_HZ: Final = 10.0
"""What common loggers give at most without trouble (common practice); asked for below it."""

_MOST_REPEATS: Final = 16
"""More than a crew will drive in one go; our choice."""


_WORTH_A_LOGGER: Final = 0.3
"""Share of the variance from which on a faster logger is worth asking for; our choice."""


def margin(measured: Quantity, limit: Limit) -> float:
    """Return how far the value lies from the nearest end of the limit, in the limit's unit."""
    ends = [end for end in (limit.low, limit.high) if end is not None]
    return min(abs(measured.value - end) for end in ends)


def repeats_needed(measured: Quantity, limit: Limit) -> int | None:
    """Return how many times as much driving makes the interval narrow enough to tell.

    The interval of a mean goes as 1/√n for its random part, and all of it is taken as random; so
    this is the least that is needed. None where the value lies on the limit.
    """
    away = margin(measured, limit)
    if away <= 0.0 or measured.u95 / away > 1e3:
        return None
    return max(2, math.ceil((measured.u95 / away) ** 2))


@dataclass(frozen=True)
class Repeat:
    """What is to be driven again: `noun`s, driven `how`."""

    noun: str
    how: str
    percent: bool = False  # fractions are read in per cent
    log_share: float = 1.0
    """Of the variance: what comes from the GPS log. A faster log lessens that part alone."""


def more_driving(case: Case, repeat: Repeat, measured: Quantity, limit: Limit) -> str:
    """Return the drive that would settle a figure: what to repeat, how often, with what logger.

    A slow log comes first: with a tenth of a second between fixes what comes from the log goes
    down by √(rate / 10 Hz) at least, before anything is repeated.
    """
    rate = case.rate_hz
    faster = rate is not None and rate < 0.75 * GOOD_RATE_HZ and repeat.log_share > _WORTH_A_LOGGER
    narrowed = measured
    if faster and rate is not None:
        kept = 1.0 - repeat.log_share * (1.0 - rate / GOOD_RATE_HZ)
        narrowed = Quantity(measured.value, measured.u95 * math.sqrt(kept), measured.unit)
    away, unit = margin(measured, limit), measured.unit
    count = 1 if narrowed.u95 < away else repeats_needed(narrowed, limit)
    logger = f" with a {number_text(GOOD_RATE_HZ)} Hz log" if faster else ""
    if count is None or count > _MOST_REPEATS:
        near = case.say_value(away, unit, percent=repeat.percent)
        return (
            f"The figure lies {near} from the limit: no sensible number of repeats tells on which "
            "side. Mend or adjust what it depends on, then drive again"
        )
    if count == 1:
        return f"The same {repeat.noun} again{logger}, {repeat.how}"
    return f"{plural(count, repeat.noun)} or more{logger}, {repeat.how}"
