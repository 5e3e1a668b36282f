"""Everything the measures look at, as one immutable value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from roadtest.build_sheet import BuildSheet
from roadtest.logs.model import ChannelsLog, GpsLog, Notes, TachLog
from roadtest.manoeuvres import Manoeuvre
from roadtest.motion.estimate import Draws, Motion
from roadtest.motion.ground import Ground
from roadtest.motion.smoothed import Smoothed


@dataclass(frozen=True)
class Evidence:
    """What a drive shows, before anything is measured.

    All times are seconds since `start_unix_s`, except inside logs on an `elapsed` clock.
    """

    start_unix_s: float  # first usable fix, seconds since 1970 UTC
    sheet: BuildSheet
    gps: GpsLog  # the log that the motion comes from
    motion: Motion
    ground: Ground
    manoeuvres: tuple[Manoeuvre, ...]
    draws: Mapping[str, Draws] = field(default_factory=dict)
    """Joint draws of the motion over each manoeuvre, by its id, 2 s of margin either side. The
    same number of draws for all; draw k of one belongs with draw k of another."""
    tach: tuple[TachLog, ...] = ()
    channels: tuple[ChannelsLog, ...] = ()
    notes: Notes | None = None
    smoothed: Smoothed | None = None  # by the receiver, where that has been worked out already
    seed: int = 0  # for whatever else is drawn at random: results are the same every time
