"""Clutch slip under load: engine speed beyond what road speed, gear and tyre creep explain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.gearing import creep
from roadtest.measures.gearing.blocks import LIGHT_MPS2
from roadtest.measures.gearing.follow import Followed
from roadtest.measures.gearing.ratios import Fit
from roadtest.measures.gearing.sequence import runs
from roadtest.measures.gearing.turns import Turns
from roadtest.motion.estimate import Draws
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import PullSlip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LENGTHS_S: Final = (1.0, 1.5, 2.0, 3.0, 5.0)
"""Stretches looked at: sustained is a second or more. Longer ones are known better."""
_SETTLE_S: Final = 0.8  # after a change of gear: a clutch slips then as it should, a tach lags
_LOADED_MPS2: Final = 0.5  # of push: beyond a cruise
_SLOWEST_MPS: Final = 3.0


@dataclass(frozen=True)
class _Stretch:
    """The slip over one stretch: draws [c], and where it was."""

    slip: Floats
    speed_mps: Floats
    mode: int

    @property
    def low(self) -> float:
        """What the slip is at least, about: the mean less its 95 % half-width."""
        return float(self.slip.mean() - COVERAGE_FACTOR_95 * self.slip.std())


def slips(
    followed: Followed, evidence: Evidence, gears: tuple[int, ...], rng: np.random.Generator
) -> tuple[PullSlip, ...]:
    """Return the largest sustained slip of each pull that shows one gear under load.

    Of all stretches of a second or more the one is taken whose slip is surest to be large (mean
    less half-width), so that noise is not taken for slip. The gear that a standing start begins in
    is left out, for there the clutch slips on purpose and the wheels may spin.
    """
    if followed.fit is None:
        return ()
    found = []
    for manoeuvre in evidence.manoeuvres:
        drawn = evidence.draws.get(manoeuvre.id)
        if manoeuvre.kind != "pull" or not manoeuvre.used or drawn is None:
            continue
        stretches = _stretches(followed, manoeuvre, drawn, followed.fit, rng)
        if stretches:
            worst = max(stretches, key=lambda s: s.low)
            found.append(
                PullSlip(
                    manoeuvre=manoeuvre.id,
                    gear=gears[worst.mode],
                    speed=Quantity.from_draws(worst.speed_mps, "m/s"),
                    slip=Quantity.from_draws(worst.slip, "1"),
                )
            )
    return tuple(found)


def largest(found: tuple[PullSlip, ...]) -> Quantity | None:
    """Return the slip of the drive, None without any.

    Where some pull slips beyond doubt, the surest one. Where none does, the best known one: at full
    throttle a clutch takes the same torque in every gear, and in a high one the tyres creep least.
    """
    figures = [row.slip for row in found if row.slip is not None]
    if not figures:
        return None
    worst = max(figures, key=lambda q: q.low)
    return worst if worst.low > 0.0 else min(figures, key=lambda q: q.u95)


def _stretches(
    followed: Followed, manoeuvre: Manoeuvre, drawn: Draws, fit: Fit, rng: np.random.Generator
) -> list[_Stretch]:
    turns, sequence = followed.turns, followed.sequence
    inside = (turns.time_s >= manoeuvre.start_s) & (turns.time_s <= manoeuvre.end_s)
    index = np.flatnonzero(inside)
    stretches: list[_Stretch] = []
    if index.size < 2 or drawn.time_s.size < 2:
        return stretches
    first_gear = True
    for start, end in runs(sequence.gear[index]):
        mode = int(sequence.gear[index[start]])
        if mode < 0:
            continue
        part = index[start:end]
        launching = manoeuvre.from_rest and first_gear
        first_gear = False
        loaded = _loaded(turns, part, engaged_in_pull=start > 0)
        if launching or loaded.size < 2:
            continue
        stretches += _windows(turns, loaded, mode, _slip_draws(followed, fit, loaded, drawn, rng))
    return stretches


def _loaded(turns: Turns, part: Ints, *, engaged_in_pull: bool) -> Ints:
    """Return the longest piece of `part` that is under load and settled."""
    begin = turns.time_s[part[0]] + (_SETTLE_S if engaged_in_pull else 0.0)
    good = (
        (turns.time_s[part] >= begin)
        & (turns.push_mps2[part] > _LOADED_MPS2)
        & turns.usable[part]
        & (turns.speed_mps[part] > _SLOWEST_MPS)
    )
    pieces = [(s, e) for s, e in runs(good.astype(np.int64)) if good[s]]
    if not pieces:
        return part[:0]
    s, e = max(pieces, key=lambda piece: piece[1] - piece[0])
    return part[s:e]


def _slip_draws(
    followed: Followed, fit: Fit, index: Ints, drawn: Draws, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return draws [c, m] of slip and of speed at the samples `index`."""
    turns, count = followed.turns, drawn.speed_mps.shape[0]
    time = turns.time_s[index]
    low = np.clip(np.searchsorted(drawn.time_s, time, "right") - 1, 0, drawn.time_s.size - 2)
    share = (time - drawn.time_s[low]) / (drawn.time_s[low + 1] - drawn.time_s[low])
    speed = drawn.speed_mps[:, low] * (1.0 - share) + drawn.speed_mps[:, low + 1] * share
    speed = np.maximum(speed, 0.5)
    mode = int(followed.sequence.gear[index[0]])
    coefficient = fit.draws(count, rng)
    k = fit.count
    push = turns.push_mps2[index]
    columns = np.stack(
        [
            turns.late[index],
            turns.late[index] * (turns.clock_s[index] - fit.from_s),
            push - turns.climb_mps2[index],
            push * np.abs(push),
            turns.speed_mps[index] ** 2,
            -turns.swing[index],
            turns.acceleration_mps2[index] * creep.turning_mass(turns.log_turns[index]),
            turns.climb_mps2[index],
        ]
    )
    # Of the clock's shift and drift the times hold all but what the last fit still found missing.
    expected = coefficient[:, mode, None] + coefficient[:, k:] @ columns
    # Beyond the loads of the fit, creep is known no better than beforehand.
    beyond = creep.U_LINEAR * np.maximum(push - LIGHT_MPS2[1], 0.0)
    expected = expected + rng.normal(size=(count, 1)) * beyond
    samples = followed.samples
    rounding = rng.uniform(-0.5, 0.5, (count, 1)) * samples.step_rpm
    noise = rng.normal(size=(count, index.size)) * followed.fit_noise_rpm + rounding
    rpm = np.maximum(turns.rpm[index] + noise, 100.0)
    excess = np.log(rpm / 60.0 / speed) - expected
    return 1.0 - np.exp(-excess), speed


def _windows(turns: Turns, index: Ints, mode: int, drawn: tuple[Floats, Floats]) -> list[_Stretch]:
    slip, speed = drawn
    time = turns.time_s[index]
    usual = float(np.median(np.diff(time)))
    total = np.concatenate([np.zeros((slip.shape[0], 1)), np.cumsum(slip, axis=1)], axis=1)
    way = np.concatenate([np.zeros((slip.shape[0], 1)), np.cumsum(speed, axis=1)], axis=1)
    found = []
    for length in _LENGTHS_S:
        last = np.searchsorted(time, time + length - 0.5 * usual, "right")
        whole = time[np.minimum(last, time.size) - 1] - time + usual >= 0.99 * length
        for start in np.flatnonzero(whole & (last - np.arange(time.size) >= 2)).tolist():
            end = int(last[start])
            span = end - start
            mean = (total[:, end] - total[:, start]) / span
            found.append(_Stretch(mean, (way[:, end] - way[:, start]) / span, mode))
    return found
