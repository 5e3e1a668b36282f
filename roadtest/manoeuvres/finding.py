"""Everything that a drive holds, in the order driven."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roadtest.manoeuvres.coasts import find_coasts
from roadtest.manoeuvres.holds import find_holds
from roadtest.manoeuvres.model import Manoeuvre
from roadtest.manoeuvres.profile import Profile, profile_of
from roadtest.manoeuvres.pulls import find_pulls
from roadtest.manoeuvres.stops import find_stops
from roadtest.motion.estimate import Motion

Bools = NDArray[np.bool_]


def find_manoeuvres(motion: Motion, readings_s: Sequence[float] = ()) -> tuple[Manoeuvre, ...]:
    """Return the holds, pulls, stops and coasts of a drive, by their start.

    `readings_s`: when somebody noted what the speedometer said, if it was noted at all; a short
    steady stretch around such a moment is a hold.

    Those that can't be measured are there too, with the reason. No two overlap: where two kinds
    could be seen in one stretch it is a stop before a pull, a pull before a coast, and a coast
    before a hold.
    """
    profile = profile_of(motion)
    found = find_stops(profile)
    found += _clear_of(found, find_pulls(profile))
    found += _clear_of(found, find_coasts(profile))
    found += find_holds(profile, _free(profile, found), readings_s)
    return _numbered(sorted(found, key=lambda made: made.start_s))


def _clear_of(taken: Sequence[Manoeuvre], fresh: Iterable[Manoeuvre]) -> list[Manoeuvre]:
    """Return `fresh` with what `taken` covers cut off; gone where that is more than half of it.

    Ends known to a fraction of a second may cross where one thing follows another.
    """
    clear = []
    for made in fresh:
        start, end = made.start_s, made.end_s
        for other in taken:
            if other.start_s <= start < other.end_s:
                start = other.end_s
            if other.start_s < end <= other.end_s:
                end = other.start_s
            if start < other.start_s and other.end_s < end:  # around it
                end = start
        if end - start > 0.5 * (made.end_s - made.start_s):
            clear.append(replace(made, start_s=start, end_s=end))
    return clear


def _free(profile: Profile, taken: Iterable[Manoeuvre]) -> Bools:
    free = np.ones(profile.time_s.size, dtype=bool)
    for made in taken:
        free[profile.index(made.start_s) : profile.index(made.end_s) + 1] = False
    return free


def _numbered(found: Iterable[Manoeuvre]) -> tuple[Manoeuvre, ...]:
    """Return the same with ids: "hold-1", "hold-2" …, counted by kind."""
    count: Counter[str] = Counter()
    numbered = []
    for made in found:
        count[made.kind] += 1
        numbered.append(replace(made, id=f"{made.kind}-{count[made.kind]}"))
    return tuple(numbered)
