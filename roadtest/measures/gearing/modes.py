"""Gears as the data show them: the ratios at which engine and road keep step."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from roadtest.measures.gearing.believed import Cells, believed, gain, gathered
from roadtest.measures.gearing.sequence import SLIP_PUSH_MPS2, USUAL_SLIP
from roadtest.measures.gearing.turns import Turns

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_STEP: Final = 0.002  # of the grid, in the logarithm
_LOW, _HIGH = np.log(0.15), np.log(40.0)  # engine turns a metre, any tach setting included
GEARS_APART: Final = 0.08
"""Gears nearer than this (8 %) are one: closer steps are hardly built (common practice, no
published source), and creep and slip can be as much."""
_LEAST_S: Final = 2.0
_LEAST_SAMPLES: Final = 4.0
_CONTRAST: Final = 3.0
"""A gear's ratio is met at least this much oftener than those beside it (our choice). A torque
converter shows every ratio about as often as its neighbours."""
_NEAR_IDLE: Final = 0.15
_WIDTHS: Final = (0.01, 0.02, 0.035)
_SIGMAS: Final = 4.0
_SHARPEST, _BLUNTEST = 0.005, 0.02  # spread of one sample in the search for peaks
_MOST_GEARS: Final = 9
_TELLING: Final = 3.0  # twenty times as likely
_STEP_MEAN, _STEP_SD = np.log(1.42), 0.20  # of steps between gears: 1.2 to 2.0 (common practice)


def find_modes(turns: Turns, known: Floats | None = None) -> Floats:
    """Return the log turns per metre [k] of the gears seen, lowest gear (most turns) first.

    `known`: modes found before, which stay as they are where they are still believed.

    A clutch slips under load only. Where one slips in every pull, a gear's own ratio may stand in
    the shadow of the slipping one: so ratios below are looked for without load too.
    """
    steady = _steady(turns)
    value, u, weight = turns.free_of_creep[steady], turns.u_log[steady], turns.interval_s[steady]
    if value.size < _LEAST_SAMPLES:
        return np.zeros(0)
    spread = np.clip(u, _SHARPEST, _BLUNTEST)
    light = turns.push_mps2[steady] < SLIP_PUSH_MPS2
    found = [] if known is None else known.tolist()
    found += _new(_peaks(turns, value, spread, weight), found)
    shaded = _new(_peaks(turns, value[light], spread[light], weight[light]), found, _WIDTHS[-1])
    modes = np.sort(np.array([*found, *shaded]))[::-1]
    by_all = believed(modes, gathered(value, u, weight))
    cells = gathered(value[light], u[light], weight[light])
    by_light = believed(modes, cells)
    by_light = np.append(by_light, [m for m in modes if _casts_shadow(modes, m, by_light, cells)])
    kept = modes[np.isin(modes, by_all) | np.isin(modes, by_light)]
    slipping = _as_slip(kept) & ~np.isin(kept, by_light)
    if slipping.any():
        heap = np.abs(value[:, None] - kept[slipping]).min(axis=1) < 0.5 * GEARS_APART
        rest = light | ~heap
        by_rest = believed(kept[~slipping], gathered(value[rest], u[rest], weight[rest]))
        kept = kept[np.isin(kept, by_light) | np.isin(kept, by_rest)]
    else:
        kept = by_all
    return np.array([m for m in kept if m not in shaded or _new([m], kept[kept != m].tolist())])


def _new(modes: list[float], known: list[float], below: float = GEARS_APART) -> list[float]:
    """Return those of `modes` that are none of `known`: `below` them or farther above."""
    return [
        mode
        for mode in modes
        if all(known_one - mode > below or mode - known_one > GEARS_APART for known_one in known)
    ]


def _as_slip(modes: Floats) -> Bools:
    """Return which of `modes` are likelier the next gear up, the clutch slipping, than gears.

    A clutch that slips evenly through a whole pull shows a ratio of its own, but only under load:
    such a ratio has to be believed by what is seen without load alone. Where it is not, what was
    seen of it says nothing of gears; the gear's own ratio may stand in its shadow.
    """
    return np.append(_log_odds(modes[:-1] - modes[1:]) > 0.0, False)[: modes.size]


def _log_odds(step: Floats) -> Floats:
    """Return how much likelier each `step` between ratios is slip than a step between gears."""
    as_slip = np.exp(-step / USUAL_SLIP) / USUAL_SLIP
    as_step = np.exp(-0.5 * ((step - _STEP_MEAN) / _STEP_SD) ** 2) / (_STEP_SD * np.sqrt(2 * np.pi))
    return np.asarray(np.log(as_slip / as_step))


def _casts_shadow(modes: Floats, own: float, by_light: Floats, light: Cells) -> bool:
    """Return whether the ratio above `own` is rather that gear slipping than a gear itself.

    One of the two is a gear, and what is seen without load speaks more for one.
    """
    above = modes[modes > own]
    if own in by_light or not above.size or above[-1] in by_light:
        return False
    pair = np.array([above[-1], own])
    others = modes[~np.isin(modes, pair)]
    gains = []
    for mode in pair:
        tried = np.sort(np.append(others, mode))[::-1]
        gains.append(gain(tried, int(np.flatnonzero(tried == mode)[0]), light))
    odds = float(_log_odds(pair[:1] - pair[1:])[0])
    return odds > 0.0 and gains[1] - gains[0] + odds > _TELLING


def _peaks(turns: Turns, value: Floats, spread: Floats, weight: Floats) -> list[float]:
    """Return the log turns per metre that are met oftener than those beside them."""
    modes: list[float] = []
    free, least = np.ones(value.size, dtype=bool), _least(turns)
    while len(modes) < _MOST_GEARS and free.any():
        peak = _highest(value[free], spread[free], weight[free])
        near = free & (np.abs(value - peak) < GEARS_APART)
        if weight[near].sum() < least:
            break
        if _stands_out(peak, value, weight) and all(
            abs(peak - mode) > GEARS_APART for mode in modes
        ):
            modes.append(peak)
        free &= ~near
    return modes


def _least(turns: Turns) -> float:
    usual = float(np.median(turns.interval_s)) if turns.time_s.size else 1.0
    return max(_LEAST_S, _LEAST_SAMPLES * usual)


def _steady(turns: Turns) -> Bools:
    """Return which samples [n] have a ratio that stays put."""
    value, u = turns.free_of_creep, turns.u_log
    good = turns.usable & (turns.speed_mps > 2.5)
    idle = turns.idle_rpm
    if idle is not None:  # a car that rolls along in neutral shows ratios too
        good &= np.abs(np.log(np.maximum(turns.rpm, 1.0) / idle)) > _NEAR_IDLE
    steady = good.copy()
    if value.size >= 3:
        change = np.abs(value[2:] - value[:-2])
        steady[1:-1] &= ~(change > 3.0 * np.hypot(u[2:], u[:-2]) + 0.01)
        slow = np.diff(turns.time_s) > 1.0
        # Rows further apart than a second may each be in another gear: no neighbour is asked.
        apart = np.concatenate([[True], slow]) & np.concatenate([slow, [True]])
        steady |= good & apart
    return steady


def _density(value: Floats, spread: Floats, weight: Floats, at: Floats) -> Floats:
    """Return time per unit of log ratio at the grid `at`, every sample as wide as it is uncertain.

    Spreads are taken in a few classes, each a smoothed histogram.
    """
    total = np.zeros(at.size)
    edges = np.append(at - 0.5 * _STEP, at[-1] + 0.5 * _STEP)
    classes = np.clip(np.round(np.log2(spread / _SHARPEST)), 0, 5)
    for k in np.unique(classes):
        inside = classes == k
        counts, _ = np.histogram(value[inside], edges, weights=weight[inside])
        sd = _SHARPEST * 2.0**k
        reach = np.arange(-round(4 * sd / _STEP), round(4 * sd / _STEP) + 1) * _STEP
        kernel = np.exp(-0.5 * (reach / sd) ** 2)
        total += np.convolve(counts, kernel / kernel.sum(), mode="same") / _STEP
    return total


def _highest(value: Floats, spread: Floats, weight: Floats) -> float:
    grid = np.arange(_LOW, _HIGH, _STEP)
    return float(grid[np.argmax(_density(value, spread, weight, grid))])


def _stands_out(peak: float, value: Floats, weight: Floats) -> bool:
    """Return whether the ratio `peak` is met more often than those beside it.

    At one width at least the time inside must be several times what the time beside would put
    there, and more than chance does (counts scatter by their root).
    """
    off = np.abs(value - peak)
    usual = float(np.median(weight))
    for width in _WIDTHS:
        outer = max(2.5 * width, 0.035)
        beside = (off > outer) & (off < outer + 0.06)
        expected = float(weight[beside].sum()) * width / 0.06
        inside = float(weight[off < width].sum())
        chance = np.sqrt((expected + usual) * usual)
        if inside > _CONTRAST * expected and inside > expected + _SIGMAS * chance:
            return True
    return False
