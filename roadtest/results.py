"""The value that everything shows: what one drive measured and what follows from it.

Every class mirrors one object of the results file; a field is a key (`from_` is `from`). SI units,
engine speed in r/min, angles in rad, grades and slips as fractions. Times called `_s` are seconds
from `drive.start_utc`. A figure that was not measured is None, never NaN and never 0.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal, get_args

from roadtest import __version__
from roadtest.as_json import MisfitError, from_plain, parse_json, to_plain
from roadtest.errors import InputError
from roadtest.quantity import Quantity

FORMAT: Final = "roadtest results 1"

Verdict = Literal["pass", "fail", "not proven"]
ManoeuvreKind = Literal["hold", "pull", "stop", "coast"]
ReadIn = Literal["mph", "km/h"]

GpsKind = Literal["nmea", "gpx"]
GPS_KINDS: Final[tuple[str, ...]] = get_args(GpsKind)
"""The kinds of file that hold fixes; the others hold rows."""


@dataclass(frozen=True)
class Software:
    """What made the results."""

    name: str = "roadtest"
    version: str = __version__


@dataclass(frozen=True)
class CarInfo:
    """The car, as the build sheet names it."""

    label: str = "unnamed car"
    chassis: str | None = None


@dataclass(frozen=True)
class SheetInfo:
    """What the build sheet gave that figures rest on; two drives may share its error."""

    circumference: Quantity | None = None  # m, of the driven tyres
    mass: Quantity | None = None  # kg


@dataclass(frozen=True)
class FileInfo:
    """One file of the drive folder; `why_ignored` says why it was not used."""

    name: str
    sha256: str
    kind: Literal[GpsKind, "tach", "notes", "channels", "build", "ignored"]
    why_ignored: str | None = None
    size: int | None = None  # bytes


@dataclass(frozen=True)
class Gap:
    """A stretch of the drive without fixes."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class LogInfo:
    """How good one log was. For logs that hold no fixes, `fixes` are its rows."""

    name: str
    kind: Literal[GpsKind, "tach", "notes", "channels"]
    fixes_read: int
    fixes_used: int
    rejected: Mapping[str, int] = field(default_factory=dict)  # how many, by reason
    rejected_first: Mapping[str, str] = field(default_factory=dict)  # "line 12", by reason
    rejected_sentences: tuple[str, ...] = ()  # reasons that count NMEA sentences, not fixes
    rate_hz: float | None = None
    speed_source: Literal["doppler", "position"] | None = None
    speed_noise: Quantity | None = None  # m/s, standard deviation of one fix
    gaps: tuple[Gap, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class DriveInfo:
    """The drive as a whole; it starts at the first usable fix."""

    start_utc: str | None = None  # "2026-05-02T08:00:00Z"
    duration_s: float | None = None
    distance: Quantity | None = None
    top_speed: Quantity | None = None


@dataclass(frozen=True)
class TachInfo:
    """The tach against GPS time and against the gearing."""

    offset_s: Quantity | None = None  # added to the tach's own clock gives GPS time
    noise: Quantity | None = None  # r/min
    scale: Quantity | None = None  # shown / true, if the build sheet's gearing is right
    drift: Quantity | None = None  # of the tach's own clock, seconds per second


@dataclass(frozen=True)
class Manoeuvre:
    """A stretch of the drive that something can be measured on; `id` is its kind and number."""

    id: str
    kind: ManoeuvreKind
    start_s: float
    end_s: float
    gear: int | None = None
    used: bool = True
    why_not: str | None = None


@dataclass(frozen=True)
class Shown:
    """The candidate that the road shows, and how probable it is among those named."""

    label: str
    probability: float


@dataclass(frozen=True)
class Reading:
    """One hold: what the dial showed (None until somebody fills it in), and the truth."""

    manoeuvre: str
    indicated: Quantity | None = None
    true: Quantity | None = None
    error: Quantity | None = None  # indicated - true
    source: Literal["notes", "build sheet", "channel"] | None = None  # where the reading is from
    start_s: float | None = None  # the steady part that `true` is the mean over
    end_s: float | None = None
    wander: float | None = None  # m/s, standard deviation of the speed over it
    note: str = ""


@dataclass(frozen=True)
class DialErrorAt:
    """What the dial's error is, or would be, at a true speed, by the line through the readings."""

    speed: Quantity
    error: Quantity
    extrapolated: bool = False  # beyond the speeds that were held


CorrectionKind = Literal[
    "driven_teeth",
    "drive_teeth",
    "ratio_adapter",
    "pulses_per_km",
    "turns_per_mile",
    "needle",
]


@dataclass(frozen=True)
class Change:
    """One part of a correction. A needle's `advised` is how far up to set it, in m/s."""

    kind: CorrectionKind
    present: int | float | None = None
    advised: int | float | None = None


@dataclass(frozen=True)
class Correction:
    """One thing to change so that the speedometer shows what it should, and what would follow.

    The first is the best. Where two things are to be changed together `also` is the second.
    """

    kind: CorrectionKind
    present: int | float | None = None
    advised: int | float | None = None
    scale_after: Quantity | None = None
    findings_after: Mapping[str, Verdict] = field(default_factory=dict)
    also: Change | None = None
    errors_after: tuple[DialErrorAt, ...] = ()
    probability: float | None = None  # of lying within the target at all of these speeds
    note: str = ""  # the correction as a sentence


@dataclass(frozen=True)
class HeadResult:
    """What drives the speedometer head, turns or pulses per metre of road."""

    delivered: Quantity | None = None  # worked out from axle, tyre and drive gears
    expected: Quantity | None = None  # what the head is made or set for
    shown: Quantity | None = None  # what it acts as if it got: dial scale times expected


@dataclass(frozen=True)
class SpeedometerResult:
    """indicated = scale · true + offset."""

    readings: tuple[Reading, ...] = ()
    scale: Quantity | None = None
    offset: Quantity | None = None  # m/s
    corrections: tuple[Correction, ...] = ()
    curvature: Quantity | None = None  # m/s, height of the bend over its chord, speeds held
    meaning: str = ""  # what the error comes from, as a sentence
    meanings: tuple[Shown, ...] = ()  # every explanation weighed, the most probable first
    test_speeds: tuple[DialErrorAt, ...] = ()  # of the target's rule
    head: HeadResult | None = None
    advice: str = ""
    notes: tuple[str, ...] = ()  # cautions, and readings that were not used


@dataclass(frozen=True)
class OdometerReading:
    """One reading of the odometer; `shown` is the figure on it, m."""

    at_s: float
    shown: Quantity
    used: bool = True
    note: str = ""


@dataclass(frozen=True)
class OdometerResult:
    """Distance shown against distance driven; scale = indicated / true."""

    indicated: Quantity | None = None
    true: Quantity | None = None
    scale: Quantity | None = None
    readings: tuple[OdometerReading, ...] = ()
    since_reset: Quantity | None = None  # m driven from the reset (or first reading) to the end
    more: float | None = None  # m still to drive until the target can be judged
    advice: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class GearRow:
    """One gear: `overall` is engine turns per wheel turn, `ratio` is overall over the axle."""

    gear: int
    overall: Quantity | None = None
    ratio: Quantity | None = None
    expected: float | None = None
    seconds: float | None = None
    speed_per_1000_rpm: Quantity | None = None  # m/s of road speed at 1000 r/min


@dataclass(frozen=True)
class Step:
    """The ratio between two gears, which needs neither tyre nor axle."""

    from_: int
    to: int
    step: Quantity | None = None
    expected: float | None = None


@dataclass(frozen=True)
class CruiseRow:
    """Engine speed at a road speed."""

    gear: int
    speed: Quantity | None = None
    rpm: Quantity | None = None


@dataclass(frozen=True)
class StoryRow:
    """One story of what is in the car, and how probable it is among all that were compared."""

    label: str
    probability: float
    gearbox: str = ""
    axle: str = ""
    tach: str = ""
    tyre: str = ""


@dataclass(frozen=True)
class PullSlip:
    """The largest slip sustained for a second or more in one pull."""

    manoeuvre: str
    gear: int | None = None
    speed: Quantity | None = None
    slip: Quantity | None = None  # fraction of engine speed


@dataclass(frozen=True)
class GearingResult:
    """What tach and road speed together show of gearbox, axle, tyre and clutch."""

    gears: tuple[GearRow, ...] = ()
    revs_per_metre_top: Quantity | None = None  # 1/m, engine revolutions in top gear
    steps: tuple[Step, ...] = ()
    gearbox_shown: Shown | None = None
    axle: Quantity | None = None  # with the build sheet's tyre
    axle_shown: Shown | None = None
    circumference: Quantity | None = None  # m, with the build sheet's axle
    clutch_slip: Quantity | None = None  # fraction of engine speed
    cruise: tuple[CruiseRow, ...] = ()
    stories: tuple[StoryRow, ...] = ()  # most probable first
    slips: tuple[PullSlip, ...] = ()


@dataclass(frozen=True)
class StopResult:
    """One stop, from the beginning of braking deceleration to rest."""

    manoeuvre: str
    initial_speed: Quantity | None = None
    mfdd: Quantity | None = None  # m/s², as driven
    mfdd_level: Quantity | None = None  # the road's grade taken out; the one judged
    peak: Quantity | None = None  # largest mean over 0.1 s
    mean: Quantity | None = None  # initial speed² over twice the whole distance
    distance: Quantity | None = None
    distance_nominal: Quantity | None = None
    nominal_speed: Quantity | None = None
    build_up_s: Quantity | None = None
    drift: Quantity | None = None  # m, to the right is positive
    heading_change: Quantity | None = None  # rad, to the right is positive
    grade: Quantity | None = None
    road_curvature: Quantity | None = None  # 1/m, right positive: a bend that drift allows for
    not_judged: str = ""  # why the log shows too little of it to judge
    judged_from_hz: float | None = None  # the rate of fixes that would show enough


@dataclass(frozen=True)
class SnubResult:
    """One slowing by the brakes that doesn't end at rest, measured as far as it can be."""

    manoeuvre: str
    initial_speed: Quantity | None = None
    final_speed: Quantity | None = None
    mean: Quantity | None = None  # m/s², loss of speed² over twice the distance
    peak: Quantity | None = None
    distance: Quantity | None = None


@dataclass(frozen=True)
class BeddingRow:
    """One use of the brakes, for the record of how new linings were bedded in."""

    manoeuvre: str
    kind: Literal["stop", "snub"]
    start_s: float
    from_speed: Quantity | None = None
    to_speed: Quantity | None = None
    since_last_s: float | None = None  # from the end of the one before
    energy: Quantity | None = None  # J, kinetic, taken out of the car; needs its mass


@dataclass(frozen=True)
class BeddingRecord:
    """Every stop and snub of the drive, those that can't be judged too."""

    stops: int = 0
    snubs: int = 0
    energy: Quantity | None = None  # J, of all of them
    rows: tuple[BeddingRow, ...] = ()


@dataclass(frozen=True)
class BrakingResult:
    """All stops. `fade`: last like stop over first; `spread`: standard deviation over mean.

    Both of the level deceleration. The two trends are relative changes of it along the like stops,
    the driver's variation in the interval: per stop, and per joule put into the brakes before.
    """

    stops: tuple[StopResult, ...] = ()
    fade: Quantity | None = None
    spread: Quantity | None = None
    like_stops: tuple[str, ...] = ()
    fade_per_stop: Quantity | None = None
    fade_per_energy: Quantity | None = None
    snubs: tuple[SnubResult, ...] = ()
    bedding: BeddingRecord | None = None
    smoothing: Quantity | None = None  # s, time constant of the receiver's filter, taken out


@dataclass(frozen=True)
class CoastRun:
    """One run out of gear, by itself: F = f0 + f1·v + f2·v² on the level in still air."""

    manoeuvre: str
    from_speed_mps: float | None = None
    to_speed_mps: float | None = None
    f0: Quantity | None = None  # N
    f1: Quantity | None = None  # N/(m/s); None where two terms tell all there is to tell
    f2: Quantity | None = None  # N/(m/s)²
    rolling_coefficient: Quantity | None = None
    drag_area: Quantity | None = None
    paired_with: str | None = None  # the run the other way over the same road
    out_of_gear: bool = False  # the tach shows it, or the crew noted it; else it is not known


@dataclass(frozen=True)
class DecelerationAt:
    """Coasting deceleration at a speed, and the force that makes it."""

    speed: Quantity | None = None
    value: Quantity | None = None
    force: Quantity | None = None  # N; needs the mass


@dataclass(frozen=True)
class CoastingResult:
    """What holds the car back when nothing drives it."""

    runs: tuple[CoastRun, ...] = ()
    rolling_coefficient: Quantity | None = None
    drag_area: Quantity | None = None  # m²
    deceleration: tuple[DecelerationAt, ...] = ()


@dataclass(frozen=True)
class PowerPoint:
    """Drive force and power at the wheels at one speed of a pull."""

    speed_mps: float
    rpm: float | None = None  # from the build sheet's gearing, tyre slip left out
    force: Quantity | None = None  # N
    power: Quantity | None = None  # W


@dataclass(frozen=True)
class PullRun:
    """One pull in a gear: the time between two speeds; `peak_power` in W at the wheels.

    A pull has a row for its whole span and one for each step within it. What belongs to the pull
    as a whole (`peak_power` and what follows it) stands in its first row.
    """

    manoeuvre: str
    gear: int | None = None
    from_: Quantity | None = None
    to: Quantity | None = None
    time: Quantity | None = None
    peak_power: Quantity | None = None
    peak_power_speed: Quantity | None = None
    peak_power_rpm: Quantity | None = None
    power_standard_air: Quantity | None = None  # peak power by ISO 1585; never for boosted engines
    peak_force: Quantity | None = None  # N, at the wheels
    peak_acceleration: Quantity | None = None
    grade: Quantity | None = None
    curve: tuple[PowerPoint, ...] = ()
    flat_out: bool = False  # shown to have been; `effort` says by what, or what is missing
    effort: str = ""


@dataclass(frozen=True)
class Standing:
    """One standing start, timed from first motion; `after_rollout` from one foot further on."""

    to: Quantity | None = None
    time: Quantity | None = None
    manoeuvre: str | None = None
    after_rollout: Quantity | None = None  # s
    flat_out: bool = False  # shown to have been; `effort` says by what, or what is missing
    effort: str = ""


@dataclass(frozen=True)
class StandingDistance:
    """A distance from rest: the time over it from first motion, and the speed at its end."""

    distance: Quantity | None = None
    time: Quantity | None = None
    speed: Quantity | None = None
    manoeuvre: str | None = None
    after_rollout: Quantity | None = None  # s


@dataclass(frozen=True)
class Repeat:
    """Runs that measure the same thing: best of and mean. `gear` None stands for from rest."""

    gear: int | None = None
    from_: Quantity | None = None
    to: Quantity | None = None
    best: Quantity | None = None
    mean: Quantity | None = None
    manoeuvres: tuple[str, ...] = ()


@dataclass(frozen=True)
class PullsResult:
    """Pulls and standing starts."""

    runs: tuple[PullRun, ...] = ()
    standing: tuple[Standing, ...] = ()
    distances: tuple[StandingDistance, ...] = ()
    repeats: tuple[Repeat, ...] = ()


@dataclass(frozen=True)
class ChannelPart:
    """A channel while the car stood with the engine at idle, or was driven at speed.

    Limits stand here where the target gives one for idle; the seconds are those beyond them.
    """

    min: float | None = None
    mean: float | None = None
    max: float | None = None
    seconds: float | None = None
    at_min_s: float | None = None
    at_max_s: float | None = None
    limit_low: float | None = None
    limit_high: float | None = None
    seconds_below: float | None = None
    seconds_above: float | None = None


@dataclass(frozen=True)
class ChannelResult:
    """The range of one further logged quantity, in the unit its file gives."""

    name: str
    unit: str
    min: float | None = None
    max: float | None = None
    at_max_s: float | None = None
    at_min_s: float | None = None
    manoeuvre_at_max: str | None = None
    manoeuvre_at_min: str | None = None
    at_rest: ChannelPart | None = None  # standing: at idle
    at_speed: ChannelPart | None = None  # above 13 m/s (30 mph)
    limit_high: float | None = None  # of the build sheet's target, in the channel's unit
    limit_low: float | None = None
    seconds_above: float | None = None
    seconds_below: float | None = None
    file: str | None = None


@dataclass(frozen=True)
class Inspection:
    """A hand check that the crew noted."""

    what: str
    verdict: Literal["pass", "fail", "not done"]


@dataclass(frozen=True)
class Limit:
    """What is allowed: from `low` to `high`, either of which may be open (None), in `unit`."""

    low: float | None
    high: float | None
    unit: str

    def __post_init__(self) -> None:
        ends = [end for end in (self.low, self.high) if end is not None]
        if not ends or not all(math.isfinite(end) for end in ends) or ends != sorted(ends):
            raise ValueError(f"not a limit: {self.low} to {self.high} {self.unit}")


@dataclass(frozen=True)
class FindingItem:
    """One manoeuvre's part in a finding; `what` says what was judged where it was no manoeuvre."""

    manoeuvre: str | None
    measured: Quantity | None
    limit: Limit | None
    verdict: Verdict
    probability: float | None = None
    what: str | None = None  # "1 to 2", a step between gears
    note: str = ""  # what it is about, where no manoeuvre says so


@dataclass(frozen=True)
class Finding:
    """One target judged; `id` is the target's name."""

    id: str
    title: str
    verdict: Verdict
    measured: Quantity | None = None
    limit: Limit | None = None
    probability: float | None = None  # of conforming
    basis: str = ""
    reason: str = ""
    to_settle: str | None = None
    items: tuple[FindingItem, ...] = ()
    not_shown: tuple[str, ...] = ()  # what the rule asks for that a road drive does not show


@dataclass(frozen=True)
class Remark:
    """What a measure noticed, as a sentence; `section` is the key of its figures."""

    section: str
    text: str


@dataclass(frozen=True)
class LeftOut:
    """A manoeuvre that a person left out, and why."""

    manoeuvre: str
    reason: str


@dataclass(frozen=True)
class MovedTarget:
    """A target that a person moved, and why; its values are as a build sheet writes them."""

    target: str
    was: str | None  # None: the build sheet has no such target
    now: str
    reason: str


@dataclass(frozen=True)
class ByHand:
    """What a person changed of the judging, by rows of the notes; `not_found` could not be."""

    left_out: tuple[LeftOut, ...] = ()
    targets: tuple[MovedTarget, ...] = ()
    not_found: tuple[str, ...] = ()


@dataclass(frozen=True)
class Results:
    """Everything one drive gave. Sections that nothing was measured for stay empty."""

    format: Literal["roadtest results 1"] = FORMAT
    software: Software = field(default_factory=Software)
    units: ReadIn = "mph"  # what people read; the figures here stay SI
    car: CarInfo = field(default_factory=CarInfo)
    files: tuple[FileInfo, ...] = ()
    logs: tuple[LogInfo, ...] = ()
    drive: DriveInfo = field(default_factory=DriveInfo)
    tach: TachInfo = field(default_factory=TachInfo)
    manoeuvres: tuple[Manoeuvre, ...] = ()
    speedometer: SpeedometerResult = field(default_factory=SpeedometerResult)
    odometer: OdometerResult = field(default_factory=OdometerResult)
    gearing: GearingResult = field(default_factory=GearingResult)
    braking: BrakingResult = field(default_factory=BrakingResult)
    coasting: CoastingResult = field(default_factory=CoastingResult)
    pulls: PullsResult = field(default_factory=PullsResult)
    channels: tuple[ChannelResult, ...] = ()
    inspections: tuple[Inspection, ...] = ()
    findings: tuple[Finding, ...] = ()
    next_steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()  # where what to do next asks for hard driving
    remarks: tuple[Remark, ...] = ()
    sheet: SheetInfo = field(default_factory=SheetInfo)
    by_hand: ByHand = field(default_factory=ByHand)


def to_json(results: Results) -> str:
    """Return the results file as text: every key present, null where nothing was measured.

    Numbers keep their full precision; the same results give the same text. Raises ValueError
    (a MisfitError with the key) on a number that is not finite: that is a fault of ours, not of
    the drive. Half characters, as file names of unknown encoding give them, become U+FFFD.
    """
    plain = to_plain(results, Results)
    text = json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    return re.sub("[\ud800-\udfff]", "\ufffd", text)


def from_json(text: str, name: str = "results.json") -> Results:
    """Return the results that `text` (the content of file `name`) holds.

    Raises InputError when it is not a results file of this format; keys this version does not know
    are passed over.
    """
    plain = parse_json(text, name)
    if not isinstance(plain, dict) or "format" not in plain:
        raise InputError(name, "", "not a results file", f'an object with "format": "{FORMAT}"')
    if plain["format"] != FORMAT:
        raise InputError(name, "format", repr(plain["format"])[:60], f'"{FORMAT}"')
    try:
        return from_plain(plain, Results)
    except MisfitError as misfit:
        raise InputError(name, misfit.place, misfit.found, misfit.expected) from None
