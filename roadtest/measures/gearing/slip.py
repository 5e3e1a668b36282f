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
from roadtest.measures.gearing.road import G_MPS2, Road
from roadtest.measures.gearing.sequence import runs
from roadtest.measures.gearing.shrinking import sharing, shrunk
from roadtest.measures.gearing.turns import Turns
from roadtest.measures.smoothing import unsmoothed
from roadtest.motion.estimate import Draws
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import PullSlip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SUSTAINED_S: Final = 1.0
_MOST_BINS: Final = 12  # of a stretch under load; half a second each, longer in longer ones
_BIN_S: Final = 0.5
_MEMORY_S: Final = 2.0
"""A clutch begins to slip and grips again with the engine's torque, over seconds (our choice)."""
_SIZES: Final = np.geomspace(0.0003, 0.3, 14)
"""Orders of magnitude of slip, and of its differences, from none that matters up (our choice)."""
_ANY_LEVEL: Final = 0.5  # of a stretch by itself: nothing is known of it beforehand
_SHARES: Final = np.array([0.1, 0.3, 1.0, 3.0])
"""By how much the pulls that slip differ in slip, in its own order of magnitude (our choice)."""
_MOST_SLIPPING: Final = 10  # numbers of slipping pulls that are tried
_ORDERS: Final = 8  # of torque that are tried, fewer where there are many pulls
_MOST_FIGURES: Final = 5_000_000  # in all their covariances together
_U_TURNING: Final = 0.25  # of the mass of turning parts, standard, as a share (our choice)
_SETTLE_S: Final = 0.8  # after a change of gear: a clutch slips then as it should, a tach lags
_LOADED_MPS2: Final = 0.5  # of push: beyond a cruise
_SLOWEST_MPS: Final = 3.0


@dataclass(frozen=True)
class Slips:
    """The largest sustained slip of each pull, and that of the drive (None without any)."""

    rows: tuple[PullSlip, ...] = ()
    largest: Quantity | None = None


@dataclass(frozen=True)
class _Stretch:
    """One gear under load: draws [c] of its largest sustained slip, and of the speed there.

    `torque` is that of the engine but for a factor that all stretches share, `u_torque` standard.
    """

    slip: Floats
    speed_mps: Floats
    mode: int
    torque: float
    u_torque: float

    @property
    def low(self) -> float:
        """What the slip is at least, about: the mean less its 95 % half-width."""
        return float(self.slip.mean() - COVERAGE_FACTOR_95 * self.slip.std())


def slips(
    followed: Followed,
    evidence: Evidence,
    road: Road,
    gears: tuple[int, ...],
    rng: np.random.Generator,
) -> Slips:
    """Return the largest sustained slip of each pull that shows one gear under load, and of all.

    Of the gears in a pull the one is told whose slip is surest to be large, and where none is sure
    the best known one. The gear that a standing start begins in is left out, for there the clutch
    slips on purpose and the wheels may spin.

    One and the same clutch is behind all pulls, so that what one shows bears on the others.
    """
    if followed.fit is None:
        return Slips()
    count = max((one.speed_mps.shape[0] for one in evidence.draws.values()), default=0)
    coefficient = followed.fit.draws(count, rng)  # the same for all pulls
    told: list[tuple[str, _Stretch]] = []
    for manoeuvre in evidence.manoeuvres:
        drawn = evidence.draws.get(manoeuvre.id)
        if manoeuvre.kind != "pull" or not manoeuvre.used or drawn is None:
            continue
        stretches = _stretches(followed, manoeuvre, drawn, road, coefficient, rng)
        if stretches:
            worst = max(stretches, key=lambda s: s.low)
            if worst.low <= 0.0:
                worst = min(stretches, key=lambda s: float(s.slip.std()))
            told.append((manoeuvre.id, worst))
    if not told:
        return Slips()
    figures = np.column_stack([worst.slip for _, worst in told])
    torque, u_torque = np.array([(worst.torque, worst.u_torque) for _, worst in told]).T
    slip = of_one_clutch(figures, torque, u_torque, rng)
    rows = [
        PullSlip(
            manoeuvre=name,
            gear=gears[worst.mode],
            speed=Quantity.from_draws(worst.speed_mps, "m/s"),
            slip=Quantity.from_draws(slip[:, k], "1"),
        )
        for k, (name, worst) in enumerate(told)
    ]
    return Slips(tuple(rows), Quantity.from_draws(slip.max(axis=1), "1"))


def of_one_clutch(
    figures: Floats, torque: Floats, u_torque: Floats, rng: np.random.Generator
) -> Floats:
    """Return draws [c, p] of the slip in each of p pulls, given `figures` [c, p] of each by itself.

    A clutch slips where the engine's torque [p], in any unit, is more than it holds. So the pulls
    of the most torque slip, how many is not known, nor quite which, and the others do not. No
    clutch turns slower than what it drives, under load.
    """
    count = torque.size
    levels, shares = np.repeat(_SIZES, _SHARES.size), np.tile(_SHARES, _SIZES.size)
    all_slip = sharing(levels, levels * shares, np.eye(count))
    numbers = np.unique(np.round(np.geomspace(1.0, count, min(count, _MOST_SLIPPING))))
    orders = int(np.clip(_MOST_FIGURES // (all_slip.size * numbers.size), 1, _ORDERS))
    likely = torque + u_torque * rng.normal(size=(orders, count))
    likely[0] = torque
    rank = np.argsort(np.argsort(-likely, axis=1), axis=1)
    slipping = [
        np.outer(mine < number, mine < number) for number in numbers.tolist() for mine in rank
    ]
    return np.maximum(shrunk(figures, np.concatenate([all_slip * s for s in slipping]), rng), 0.0)


def _stretches(
    followed: Followed,
    manoeuvre: Manoeuvre,
    drawn: Draws,
    road: Road,
    coefficient: Floats,
    rng: np.random.Generator,
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
        car = _unsmoothed(drawn, turns.time_s[loaded], followed.smoothing_s)
        slip = _slip_draws(followed, loaded, car, coefficient, rng)
        worst = _largest_sustained(turns, loaded, slip, rng)
        if worst is not None:
            torque, u_torque = _torque(turns, loaded, car, road)
            stretches.append(_Stretch(worst, car.speed_mps.mean(axis=1), mode, torque, u_torque))
    return stretches


@dataclass(frozen=True)
class _Car:
    """Draws of the car's motion at some samples, [c, m], with the receiver's smoothing taken out.

    `lag_s` [c]: how much of it there was. A smoothed pull begins and ends softly.
    """

    speed_mps: Floats
    acceleration_mps2: Floats
    lag_s: Floats
    sharper_mps2: Floats  # [m], mean of what the smoothing took from the acceleration


def _unsmoothed(drawn: Draws, time_s: Floats, smoothing_s: Floats) -> _Car:
    """Return the motion at the times [m].

    A smoothed speed is late by its time constant, and so is the tach's clock as found against it:
    the car had this speed that much earlier.
    """
    count = drawn.speed_mps.shape[0]
    lag = np.resize(smoothing_s, count)  # one for each draw
    own, each = unsmoothed(drawn, lag), np.arange(count)[:, None]

    def at(values: Floats, time: Floats) -> Floats:
        low = np.clip(np.searchsorted(drawn.time_s, time, "right") - 1, 0, drawn.time_s.size - 2)
        share = (time - drawn.time_s[low]) / (drawn.time_s[low + 1] - drawn.time_s[low])
        return np.asarray(values[each, low] * (1.0 - share) + values[each, low + 1] * share)

    earlier = time_s - lag[:, None]
    acceleration = at(own.acceleration_mps2, earlier)
    shown = at(drawn.acceleration_mps2, np.broadcast_to(time_s, earlier.shape))
    sharper = (acceleration - shown).mean(axis=0)
    return _Car(np.maximum(at(own.speed_mps, earlier), 0.5), acceleration, lag, sharper)


def _torque(turns: Turns, index: Ints, car: _Car, road: Road) -> tuple[float, float]:
    """Return the mean torque of the engine at the samples `index` and its standard uncertainty.

    Both over a factor that all gears share. The engine drives its own turning parts too, which in
    a low gear take a good part of it.
    """
    per_turn = np.exp(-turns.log_turns[index])
    turning = creep.turning_mass(turns.log_turns[index])
    still = turns.push_mps2[index] - turns.acceleration_mps2[index]
    drawn = ((car.acceleration_mps2 * (1.0 + turning) + still) * per_turn).mean(axis=1)
    variance = (
        (G_MPS2 * turns.u_grade[index]) ** 2
        + road.drag.u_still_mps2**2
        + (road.drag.u_square_pm * turns.speed_mps[index] ** 2) ** 2
        + (_U_TURNING * turning * turns.acceleration_mps2[index]) ** 2
    )
    u_shared = float(np.mean(np.sqrt(variance) * per_turn))
    return float(drawn.mean()), float(np.hypot(drawn.std(), u_shared))


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
    followed: Followed, index: Ints, car: _Car, coefficient: Floats, rng: np.random.Generator
) -> Floats:
    """Return draws [c, m] of slip at the samples `index`."""
    turns, fit, count = followed.turns, followed.fit, car.lag_s.size
    if fit is None:
        raise ValueError("no gears were fitted")
    mode = int(followed.sequence.gear[index[0]])
    k = fit.count
    acceleration = turns.acceleration_mps2[index] + car.sharper_mps2
    push = turns.push_mps2[index] + car.sharper_mps2
    columns = np.stack(
        [
            turns.late[index],
            turns.late[index] * (turns.clock_s[index] - fit.from_s),
            push - turns.climb_mps2[index],
            push * np.abs(push),
            turns.speed_mps[index] ** 2,
            -turns.swing[index],
            acceleration * creep.turning_mass(turns.log_turns[index]),
            turns.climb_mps2[index],
            turns.bending.rate_square[index],
            -turns.bending.curve_square[index],
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
    excess = np.log(rpm / 60.0 / car.speed_mps) - expected
    return np.asarray(1.0 - np.exp(-excess))


def _largest_sustained(
    turns: Turns, index: Ints, slip: Floats, rng: np.random.Generator
) -> Floats | None:
    """Return draws [c] of the largest mean slip over a second; None of a shorter stretch."""
    time = turns.time_s[index]
    usual = float(np.median(np.diff(time)))
    whole = float(time[-1] - time[0]) + usual
    if whole < 0.99 * _SUSTAINED_S:
        return None
    length = max(_BIN_S, usual, whole / _MOST_BINS)
    place = np.minimum(((time - time[0] + 1e-9) / length).astype(np.int64), _MOST_BINS)
    _, first, count = np.unique(place, return_index=True, return_counts=True)
    if first.size > 1 and count[-1] * usual < 0.5 * length:  # a last bin of next to nothing
        first, count = first[:-1], np.append(count[:-2], count[-2] + count[-1])
    bins = np.add.reduceat(slip, first, axis=1) / count
    middle = np.add.reduceat(time, first) / count
    alike = np.exp(-np.abs(middle[:, None] - middle) / _MEMORY_S)
    sure = shrunk(bins, sharing(np.full(_SIZES.size, _ANY_LEVEL), _SIZES, alike), rng)
    span = min(max(round(_SUSTAINED_S / length), 1), first.size)
    total = np.concatenate([np.zeros((slip.shape[0], 1)), np.cumsum(sure, axis=1)], axis=1)
    return np.asarray(((total[:, span:] - total[:, :-span]) / span).max(axis=1))
