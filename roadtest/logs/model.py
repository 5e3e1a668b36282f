"""What every reader returns: one plain, immutable value a kind of log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from roadtest.quantity import COVERAGE_FACTOR_95
from roadtest.results import GpsKind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

Clock = Literal["utc", "local", "elapsed"]
"""utc: seconds since 1970 UTC. local: the same, but of wall-clock time without a zone (the build
sheet's utc_offset is still to be taken off). elapsed: seconds on a clock with unknown zero."""


@dataclass(frozen=True)
class Loss:
    """How often, and where first, something in a file could not be used."""

    count: int
    first: str  # "line 12", "point 7": where the first one stands


@dataclass(frozen=True)
class GpsLog:
    """The fixes of one receiver from one file, in the order of their times.

    Arrays have one element a fix; NaN where the log does not say. Times increase strictly.
    """

    name: str
    kind: GpsKind
    time_s: Floats  # seconds since 1970 UTC
    latitude_deg: Floats
    longitude_deg: Floats
    altitude_m: Floats  # above mean sea level
    speed_mps: Floats  # as the receiver reports it (Doppler), NaN when it does not
    course_deg: Floats  # true
    hdop: Floats
    u_position_m: Floats  # horizontal standard uncertainty the receiver itself reports (GST)
    segment: Ints  # number of the unbroken stretch the fix belongs to, as the file marks them
    source: str  # talker or device, "" unknown
    fixes_read: int
    rejected: Mapping[str, Loss] = field(default_factory=dict)  # fixes (or rows) lost, by reason
    remarks: tuple[str, ...] = ()  # what else the reader noticed, in words
    engine: TachLog | None = None  # engine speed found in the same file (NMEA RPM)


@dataclass(frozen=True)
class TachLog:
    """Engine speed against time, or raw pulses (then `rpm` is None and `time_s` are the pulses)."""

    name: str
    clock: Clock
    time_s: Floats  # not sorted further than the file; increasing after reading
    rpm: Floats | None  # r/min
    rows_read: int
    rejected: Mapping[str, Loss] = field(default_factory=dict)
    ignored_columns: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Channel:
    """One further logged quantity."""

    name: str  # "coolant_temperature"
    unit: str  # as the header gives it, "degC"
    values: Floats  # [n], in `unit`, NaN where the row has none


@dataclass(frozen=True)
class ChannelsLog:
    """Further logged quantities on one time column."""

    name: str
    clock: Clock
    time_s: Floats
    channels: tuple[Channel, ...]
    rows_read: int
    rejected: Mapping[str, Loss] = field(default_factory=dict)
    ignored_columns: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


NoteItem = Literal[
    "indicated speed", "odometer", "tach", "gear", "remark", "inspection", "left out", "target"
]

TYPED: Final = "typed in beside"
ENTERED: Final = "entered by hand on the page"
"""How the remark of a dial reading begins that was typed in beside a hold: it stands for whatever
else is noted of that hold."""


@dataclass(frozen=True)
class Note:
    """One row of notes.csv. Its time is seconds since 1970 (`clock` utc or local) or on a clock.

    `clock` "face": `time_s` is seconds past midnight, local, on the drive's date.
    """

    line: int
    item: NoteItem
    clock: Literal["utc", "local", "face"] | None  # None: no time given
    time_s: float | None
    value: float | None  # SI (m/s, m), r/min for tach, the gear's number for gear
    text: str  # the value as written; "pass", "fail" or "not done"; a target as TOML text
    resolution: float | None  # of `value`, from the decimals written, SI; None where meaningless
    remark: str
    # Standard: ±5 s is half the 95 % interval unless the row says otherwise.
    u_time_s: float = 5.0 / COVERAGE_FACTOR_95

    @property
    def typed(self) -> bool:
        """Whether it is a reading that somebody typed in beside a hold."""
        return self.item == "indicated speed" and self.remark.startswith(TYPED)


@dataclass(frozen=True)
class Notes:
    """The rows of notes.csv, in file order."""

    name: str
    rows: tuple[Note, ...]
    rejected: Mapping[str, Loss] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    amiss: tuple[str, ...] = ()  # what is to be looked at before its times can be trusted
