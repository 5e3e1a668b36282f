"""Clutch slip under load: engine speed beyond what road speed, gear and tyre creep explain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from roadtest.evidence import Evidence
from roadtest.manoeuvres import Manoeuvre
from roadtest.measures.gearing.follow import Followed
from roadtest.measures.gearing.one_clutch import Bins, clutch_draws
from roadtest.measures.gearing.ratios import Fit
from roadtest.measures.gearing.road import G_MPS2, Road
from roadtest.measures.gearing.sequence import runs
from roadtest.measures.gearing.sharing import BIN_S, SUSTAINED_S, shared_out
from roadtest.measures.gearing.torque import put_right
from roadtest.measures.gearing.turns import Turns
from roadtest.measures.smoothing import unsmoothed
from roadtest.motion.estimate import Draws
from roadtest.quantity import COVERAGE_FACTOR_95, Quantity
from roadtest.results import PullSlip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_DRAWS: Final = 400
_WHEELS: Final = 0.04
"""Mass of the turning wheels over that of the car (Gillespie; Wong) [value from memory]."""
_SETTLE_S: Final = 0.8  # after a change of gear: a clutch slips then as it should, a tach lags
_BEFORE_S: Final = 0.3  # before one
_LOADED_MPS2: Final = 0.5  # of push: beyond a cruise
_SLOWEST_MPS: Final = 3.0
_TRIED: Final = 0.9
"""Of the torque that the drive's pulls reached: a clutch seen under less may slip under more, and
is not told to hold (our choice: as well as torques are known)."""
_SHOWN: Final = 0.001  # of slip: less is none
_REACHED: Final = 0.9  # quantile of a pull's samples: the very highest is the luckiest


@dataclass(frozen=True)
class Slips:
    """The largest sustained slip of each pull, and that of the drive.

    The latter is None without any, and where the hardest pulls were not looked at: then what is
    seen in others is the least that it can be. Pulls in gears hardly driven otherwise may show
    slip, but that they show none says nothing.
    `modes` are the gears of the rows, as indices into those of the fit. `fit` is the fit without
    what slip did to it: ratios of gears hardly driven but under load are told too high by a
    slipping clutch.
    """

    rows: tuple[PullSlip, ...] = ()
    modes: tuple[int, ...] = ()
    largest: Quantity | None = None
    fit: Fit | None = None

    def named(self, gears: Sequence[int]) -> tuple[PullSlip, ...]:
        """Return the rows with their gears' numbers."""
        return tuple(
            replace(row, gear=gears[mode]) for row, mode in zip(self.rows, self.modes, strict=True)
        )


@dataclass(frozen=True)
class _Stretch:
    """One gear under load, in bins of half a second or more: [b] each.

    `seen` is the logarithm of engine speed over what road speed and gear make of it; the
    coefficients of the fit move it by -`design` [b, p]. `torque` is that of the clutch but for a
    factor that all stretches share.
    """

    manoeuvre: str
    mode: int
    speed_mps: Floats  # [c], draws of the mean
    time_s: Floats
    seen: Floats
    covariance: Floats  # [b, b], the coefficients left out
    design: Floats
    torque: Floats
    u_torque: Floats
    pace_mps: Floats


def slips(followed: Followed, evidence: Evidence, road: Road, rng: np.random.Generator) -> Slips:
    """Return the largest sustained slip of each pull that shows one gear under load, and of all.

    Of the gears in a pull the one is told whose slip is surest to be large, and where none is sure
    the best known one. The gear that a standing start begins in is left out, for there the clutch
    slips on purpose and the wheels may spin.
    """
    if followed.fit is None:
        return Slips()
    loaded = [
        one
        for manoeuvre in evidence.manoeuvres
        if manoeuvre.kind == "pull" and manoeuvre.used and manoeuvre.id in evidence.draws
        for one in _loaded_gears(followed, manoeuvre, road.fix_interval_s)
    ]
    time_s = followed.turns.time_s
    bins_each = shared_out(
        np.array([_light_torque(followed.turns, index) for _, index in loaded]),
        np.array([time_s[index[-1]] - time_s[index[0]] for _, index in loaded]),
    )
    stretches = [
        _stretch(followed, name, evidence.draws[name], road, index, most, rng)
        for (name, index), most in zip(loaded, bins_each, strict=True)
    ]
    if not stretches:
        return Slips(fit=followed.fit)
    bins = _together(stretches, followed, followed.fit, road.fix_interval_s)
    clutch = clutch_draws(bins, _DRAWS, rng)
    drawn = -np.expm1(-clutch.slip)
    slip = np.column_stack(
        [_sustained(drawn[:, bins.stretch == k], one.time_s) for k, one in enumerate(stretches)]
    )
    mean, u = slip.mean(axis=0), slip.std(axis=0)
    known = [np.sqrt(np.diag(bins.covariance)[bins.stretch == k].min()) for k in range(mean.size)]
    rows, modes = [], []
    for name in dict.fromkeys(one.manoeuvre for one in stretches):
        mine = [k for k, one in enumerate(stretches) if one.manoeuvre == name]
        told = max(mine, key=lambda k: mean[k] - COVERAGE_FACTOR_95 * u[k])
        if mean[told] <= COVERAGE_FACTOR_95 * u[told]:
            told = min(mine, key=lambda k: known[k])
        modes.append(stretches[told].mode)
        rows.append(
            PullSlip(
                manoeuvre=name,
                speed=Quantity.from_draws(stretches[told].speed_mps, "m/s"),
                slip=Quantity.from_draws(slip[:, told], "1"),
            )
        )
    fit = replace(
        followed.fit,
        value=followed.fit.value - clutch.in_fit.mean(axis=0),
        covariance=followed.fit.covariance + np.cov(clutch.in_fit.T),
    )
    largest = Quantity.from_draws(slip.max(axis=1), "1")
    looked_at = [index for _, index in loaded]
    if largest is not None and largest.low < _SHOWN:
        looked_at = [index for index in looked_at if _driven_easily(followed, index)]
    if not _tried(followed, evidence, looked_at):
        largest = None
    return Slips(tuple(rows), tuple(modes), largest, fit)


def _driven_easily(followed: Followed, index: Ints) -> bool:
    """Return whether the gear of these samples was driven enough without load to be told by it.

    One that was not is told by what a clutch may have slipped in it, and clears none.
    """
    if followed.blocks is None or followed.fit is None:
        raise ValueError("no gears were fitted")
    gear = followed.sequence.gear[index[0]]
    return bool(followed.blocks.easily[followed.fit.gears[gear]])


def _tried(followed: Followed, evidence: Evidence, loaded: Sequence[Ints]) -> bool:
    """Return whether `loaded`, samples of the stretches looked at, have the torque of the pulls.

    Torque is push over turns a metre, in whatever gear: rows a second apart and more may show none.
    Where rows are closer, that of a moment after a change of gear is left out, and that of the gear
    which a standing start begins in.
    """
    turns, gear = followed.turns, followed.sequence.gear
    torque = np.where(turns.usable, turns.push_mps2 * np.exp(-turns.free_of_creep), 0.0)
    driven = turns.usable & (turns.speed_mps > _SLOWEST_MPS)
    seldom = followed.samples.rate_hz * _SETTLE_S < 1.0  # no row in the moment after a change
    begins, _ = _engaged(turns.time_s, gear)
    settled = driven & (gear >= 0) & (turns.time_s >= begins + _SETTLE_S)
    reached = 0.0
    for manoeuvre in evidence.manoeuvres:
        if manoeuvre.kind != "pull" or not manoeuvre.used or manoeuvre.id not in evidence.draws:
            continue
        inside = (turns.time_s >= manoeuvre.start_s) & (turns.time_s <= manoeuvre.end_s)
        mine = np.flatnonzero(inside & (driven if seldom else settled))
        if manoeuvre.from_rest and not seldom:
            first = gear[inside & (gear >= 0)][:1]
            mine = mine[gear[mine] != first]
        if mine.size:
            reached = max(reached, float(np.quantile(torque[mine], _REACHED)))
    seen = [float(np.quantile(torque[index], _REACHED)) for index in loaded]
    return max(seen, default=0.0) >= _TRIED * reached


def _sustained(slip: Floats, time_s: Floats) -> Floats:
    """Return the largest mean over a second [c] of slip in even bins [c, b]."""
    length = float(np.diff(time_s).mean()) if time_s.size > 1 else SUSTAINED_S
    span = int(np.clip(round(SUSTAINED_S / length), 1, time_s.size))
    total = np.cumsum(np.pad(slip, ((0, 0), (1, 0))), axis=1)
    return np.asarray(((total[:, span:] - total[:, :-span]) / span).max(axis=1))


def _together(stretches: Sequence[_Stretch], followed: Followed, fit: Fit, fix_s: float) -> Bins:
    """Return the bins of all stretches: what the fit leaves open moves them all."""
    design = np.concatenate([one.design for one in stretches])
    sizes = [one.seen.size for one in stretches]
    return Bins(
        seen=np.concatenate([one.seen for one in stretches]),
        covariance=block_diag(*(one.covariance for one in stretches))
        + design @ fit.covariance @ design.T,
        torque=np.concatenate([one.torque for one in stretches]),
        u_torque=np.concatenate([one.u_torque for one in stretches]),
        time_s=np.concatenate([one.time_s for one in stretches]),
        stretch=np.repeat(np.arange(len(stretches)), sizes),
        speed_mps=np.concatenate([one.pace_mps for one in stretches]),
        fix_s=fix_s,
        fit_torque=_fit_torque(followed),
        fit_share=design @ fit.gain,
        fit_gain=fit.gain,
    )


def _fit_torque(followed: Followed) -> Floats:
    """Return the clutch's torque [f] in the blocks of driving that the fit rests on."""
    blocks, fit = followed.blocks, followed.fit
    if blocks is None or fit is None:
        raise ValueError("no gears were fitted")
    force = blocks.push_mps2 + _WHEELS * blocks.acceleration_mps2
    return np.asarray(force * np.exp(-fit.log_turns[np.searchsorted(fit.gears, blocks.gear)]))


def _loaded_gears(followed: Followed, manoeuvre: Manoeuvre, fix_s: float) -> list[tuple[str, Ints]]:
    """Return the samples under load in each gear of a pull, those under load for a second."""
    turns, sequence = followed.turns, followed.sequence
    inside = (turns.time_s >= manoeuvre.start_s) & (turns.time_s <= manoeuvre.end_s)
    index = np.flatnonzero(inside)
    blurred_s = max(fix_s, 1.0 / followed.samples.rate_hz)  # a change of gear, at most
    begins, ends = _engaged(turns.time_s, sequence.gear)
    loaded: list[tuple[str, Ints]] = []
    first_gear = True
    for start, end in runs(sequence.gear[index]):
        if sequence.gear[index[start]] < 0:
            continue
        launching = manoeuvre.from_rest and first_gear
        first_gear = False
        part = index[start:end]
        time = turns.time_s[part]
        settled = time >= begins[part] + max(_SETTLE_S, blurred_s)
        settled &= time <= ends[part] - max(_BEFORE_S, blurred_s)
        mine = _loaded(turns, part[settled])
        if launching or mine.size < 2:
            continue
        time = turns.time_s[mine]
        if time[-1] - time[0] + float(np.median(np.diff(time))) >= 0.99 * SUSTAINED_S:
            loaded.append((manoeuvre.id, mine))
    return loaded


def _engaged(time_s: Floats, gear: Ints) -> tuple[Floats, Floats]:
    """Return when the gear of each sample was engaged, and until when, [n] each.

    The log's own ends are no change of gear.
    """
    begins, ends = np.full(time_s.size, -np.inf), np.full(time_s.size, np.inf)
    for start, end in runs(gear):
        if start > 0:
            begins[start:end] = time_s[start]
        if end < time_s.size:
            ends[start:end] = time_s[end - 1]
    return begins, ends


def _stretch(
    followed: Followed,
    name: str,
    drawn: Draws,
    road: Road,
    index: Ints,
    most: int,
    rng: np.random.Generator,
) -> _Stretch:
    """Return the samples `index` in at most `most` bins."""
    turns, fit = followed.turns, followed.fit
    if fit is None:
        raise ValueError("no gears were fitted")
    time = turns.time_s[index]
    usual = float(np.median(np.diff(time)))
    whole = float(time[-1] - time[0]) + usual
    length = max(BIN_S, usual, whole / most)
    last = max(int(whole / length + 0.01), 1) - 1  # what is left over goes with the last one
    place = np.minimum(((time - time[0] + 1e-9) / length).astype(np.int64), last)
    _, first, count = np.unique(place, return_index=True, return_counts=True)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, first, axis=-1) / count)

    car = _unsmoothed(drawn, time, followed.smoothing_s)
    mode = int(followed.sequence.gear[index[0]])
    columns = np.zeros((fit.value.size, index.size))
    columns[mode], columns[fit.count :] = 1.0, _columns(turns, fit, index, car)
    design = mean(columns).T
    own = mean(np.log(_rpm(followed, index, car.lag_s.size, rng) / 60.0 / car.speed_mps))
    torque, shared = (
        np.exp(-fit.log_turns[mode]) * each for each in _force(turns, index, car, road)
    )
    torque = mean(torque)
    most_likely, u_torque = put_right(torque.mean(axis=0), torque.std(axis=0))
    return _Stretch(
        manoeuvre=name,
        mode=mode,
        speed_mps=car.speed_mps.mean(axis=1),
        time_s=mean(time),
        seen=own.mean(axis=0) - design @ fit.value,
        covariance=np.atleast_2d(np.cov(own.T)),
        design=design,
        torque=most_likely,
        u_torque=np.hypot(u_torque, mean(shared)),
        pace_mps=mean(car.speed_mps.mean(axis=0)),
    )


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


def _force(turns: Turns, index: Ints, car: _Car, road: Road) -> tuple[Floats, Floats]:
    """Return draws [c, m] of what the clutch pushes, and what they leave uncertain [m], m/s².

    As an acceleration of the car. What the engine spins itself and its flywheel up with goes
    through no clutch. Torque is force over the gear's own turns a metre: neither slip nor creep
    changes it.
    """
    still = turns.push_mps2[index] - turns.acceleration_mps2[index]
    variance = (
        (G_MPS2 * turns.u_grade[index]) ** 2
        + road.drag.u_still_mps2**2
        + (road.drag.u_square_pm * turns.speed_mps[index] ** 2) ** 2
    )
    return car.acceleration_mps2 * (1.0 + _WHEELS) + still, np.sqrt(variance)


def _loaded(turns: Turns, part: Ints) -> Ints:
    """Return the longest piece of `part` that is under load."""
    good = (
        (turns.push_mps2[part] > _LOADED_MPS2)
        & turns.usable[part]
        & (turns.speed_mps[part] > _SLOWEST_MPS)
    )
    pieces = [(s, e) for s, e in runs(good.astype(np.int64)) if good[s]]
    if not pieces:
        return part[:0]
    s, e = max(pieces, key=lambda piece: piece[1] - piece[0])
    return part[s:e]


def _columns(turns: Turns, fit: Fit, index: Ints, car: _Car) -> Floats:
    """Return what each coefficient but the gears' adds to log turns at the samples [p - k, m]."""
    push = turns.push_mps2[index] + car.sharper_mps2
    return np.stack(
        [
            turns.late[index],
            turns.late[index] * (turns.clock_s[index] - fit.from_s),
            push - turns.climb_mps2[index],
            push * np.abs(push),
            turns.speed_mps[index] ** 2,
            -turns.swing[index],
            turns.climb_mps2[index],
            turns.bending.rate_square[index],
            -turns.bending.curve_square[index],
        ]
    )


def _rpm(followed: Followed, index: Ints, count: int, rng: np.random.Generator) -> Floats:
    """Return draws [c, m] of engine speed as the tach would show it without its own errors.

    A reading that stays put has one rounding error, however long.
    """
    shown, samples = followed.turns.rpm[index], followed.samples
    plateau = np.cumsum(np.append(0.0, np.diff(shown) != 0.0)).astype(np.int64)
    rounding = samples.step_rpm * rng.uniform(-0.5, 0.5, (count, int(plateau[-1]) + 1))
    noise = followed.noise_rpm * rng.normal(size=(count, index.size))
    return np.maximum(shown + noise + rounding[:, plateau], 100.0)


def _light_torque(turns: Turns, index: Ints) -> float:
    return float(np.mean(turns.push_mps2[index] * np.exp(-turns.log_turns[index])))
