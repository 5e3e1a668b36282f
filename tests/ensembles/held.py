"""What a check found of a drive against what is true of it, figure by figure."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roadtest.quantity import Quantity
from roadtest.results import Manoeuvre, PullRun, Results, StopResult
from tests.ensembles.drives import MOST_TACH_OFF, RandomDrive
from tests.simulation import truth as simulated
from tests.simulation.truth import Truth


@dataclass(frozen=True)
class Held:
    """One figure of the results, and the truth."""

    what: str
    found: Quantity
    true: float

    @property
    def error(self) -> float:
        """Found less true."""
        return self.found.value - self.true


class Comparison:
    """Everything about one drive that can be compared."""

    def __init__(self, drive: RandomDrive, results: Results, start_s: float) -> None:
        """Take a drive and its results, whose clock starts `start_s` into the drive."""
        self.drive, self.results, self.start_s = drive, results, start_s
        self.truth: Truth = drive.truth
        self.car = drive.truth.car
        self.by_id = {made.id: made for made in results.manoeuvres}
        self.held: list[Held] = []

    @property
    def story_right(self) -> bool:
        """Whether the most probable story has the right gearbox, axle and tach.

        Figures that hold under the most probable story have no truth where it is wrong.
        """
        stories, fitted = self.results.gearing.stories, self.drive.fitted
        if not stories or fitted.tach is None:
            return False
        wrong = fitted.traits["sheet"]
        box = "box 1" if wrong == "gearbox" else "box 0"
        axle = "axle 1" if wrong == "axle" else "build sheet"
        best = stories[0]
        right = abs(fitted.tach.scale - 1.0) <= MOST_TACH_OFF
        told = best.tach == "tach right"
        tach = told if right else not told
        return best.gearbox == box and best.axle == axle and tach and best.tyre == "tyre as given"

    def run(self) -> list[Held]:
        """Return all figures that were measured and have a truth."""
        for part in (
            self._drive,
            self._speedometer,
            self._odometer,
            self._tach,
            self._gearing,
            self._slips,
            self._braking,
            self._coasting,
            self._pulls,
            self._standing,
        ):
            part()
        return self.held

    def _add(self, what: str, found: Quantity | None, true: float | None) -> None:
        if found is not None and true is not None and math.isfinite(true):
            self.held.append(Held(what, found, float(true)))

    def _drive(self) -> None:
        info, truth = self.results.drive, self.truth
        end_s = self.start_s + (info.duration_s or 0.0)
        ends = truth.distance_at(np.array([self.start_s, end_s]))
        self._add("drive.distance", info.distance, float(ends[1] - ends[0]))
        self._add("drive.top_speed", info.top_speed, float(truth.speed_mps[self._logged()].max()))

    def _logged(self) -> NDArray[np.bool_]:
        """Return when [n] the receiver logged anything: nobody knows of a gap how fast it was."""
        logged = self.truth.t_s >= self.start_s
        for start, end in self.drive.fitted.receiver.gaps:
            logged &= (self.truth.t_s < start) | (self.truth.t_s > end)
        return logged

    def _speedometer(self) -> None:
        found, dial = self.results.speedometer, self.drive.fitted.dial
        for row in found.readings:
            if row.start_s is None or row.end_s is None:
                continue
            ends = row.start_s + self.start_s - 1.0, row.end_s + self.start_s + 1.0
            look = [at for at in self.drive.fitted.looks_s if ends[0] <= at <= ends[1]]
            if row.indicated is None or not look:
                continue
            # What the dial showed, and how fast the car went, when somebody looked.
            true = self.truth.mean_speed_mps(look[0] - 1.0, look[0] + 1.0)
            self._add("speedometer.indicated", row.indicated, dial.shows(true))
            self._add("speedometer.true", row.true, true)
            self._add("speedometer.error", row.error, dial.shows(true) - true)
        self._add("speedometer.scale", found.scale, dial.scale)
        self._add("speedometer.offset", found.offset, dial.offset_mps)
        for at in found.test_speeds:
            true = dial.shows(at.speed.value) - at.speed.value
            self._add("speedometer.test_speeds", at.error, true)
        for change in found.corrections:
            if change.kind == "driven_teeth" and change.present and change.advised:
                after = dial.scale * change.present / change.advised
                self._add("speedometer.scale_after", change.scale_after, after)

    def _odometer(self) -> None:
        found, truth = self.results.odometer, self.truth
        ends = truth.distance_at(np.array([4.0, float(truth.t_s[-1]) - 3.0]))
        driven = float(ends[1] - ends[0])
        scale = self.drive.fitted.odometer.scale
        self._add("odometer.true", found.true, driven)
        self._add("odometer.indicated", found.indicated, scale * driven)
        self._add("odometer.scale", found.scale, scale)

    def _tach(self) -> None:
        fitted, found = self.drive.fitted, self.results.tach
        tach = fitted.tach
        if tach is None:
            return
        # The log's own lateness is not to be told from the tach's: both are in the offset.
        offset = tach.apparent_offset_s() + late_s(self.drive)
        if not fitted.tach_on_utc:
            first = float(tach.clock(np.array([tach.from_s]))[0])
            offset += tach.drift * first - self.start_s
        self._add("tach.offset_s", found.offset_s, offset)
        self._add("tach.drift", found.drift, tach.drift)
        told = "" if self.story_right else ", wrong story"
        self._add(f"tach.scale{told}", found.scale, tach.scale)

    def _gearing(self) -> None:
        found, car = self.results.gearing, self.car
        tach = self.drive.fitted.tach
        if tach is None or not found.gears:
            return
        for row in found.gears:
            if not 1 <= row.gear <= len(car.ratios):
                continue
            if self.story_right:
                per_1000 = 1000.0 / 60.0 / car.revs_per_metre(row.gear)
                self._add("gearing.overall", row.overall, car.reduction(row.gear))
                self._add("gearing.ratio", row.ratio, car.ratios[row.gear - 1])
                self._add("gearing.speed_per_1000_rpm", row.speed_per_1000_rpm, per_1000)
        top = min(found.gears[-1].gear, len(car.ratios))
        shown = car.revs_per_metre(top) * tach.scale
        self._add("gearing.revs_per_metre_top", found.revs_per_metre_top, shown)
        for step in found.steps:
            if step.to <= len(car.ratios):
                true = car.ratios[step.from_ - 1] / car.ratios[step.to - 1]
                self._add("gearing.steps", step.step, true)
        told = "" if self.story_right else ", wrong story"
        self._add(f"gearing.axle{told}", found.axle, car.axle)
        implied = car.circumference_m * self.drive.fitted.sheet_axle / car.axle
        self._add(f"gearing.circumference{told}", found.circumference, implied)
        for at in found.cruise:
            if at.speed is None or not 1 <= at.gear <= len(car.ratios):
                continue
            speed = at.speed.value
            force = car.rolling_force_n + car.drag_factor * speed**2
            self._add(
                f"gearing.cruise{told}",
                at.rpm,
                car.locked_rpm(speed, at.gear) * (1.0 + car.creep(force)),
            )

    def _slips(self) -> None:
        found = self.results.gearing
        spans = [
            (made.start_s, made.end_s)
            for made in self.truth.manoeuvres
            if made.kind in ("pull", "standing")
        ]
        # Nobody meant them, but the clutch was looked at in them.
        spans += [
            (made.start_s + self.start_s, made.end_s + self.start_s)
            for made in self.results.manoeuvres
            if made.kind == "pull" and made.used
        ]
        driven = [
            self._slip(span, gear) for span in spans for gear in range(2, len(self.car.ratios) + 1)
        ]
        known = [slip for slip in driven if math.isfinite(slip)]
        self._add("gearing.clutch_slip", found.clutch_slip, max(known, default=0.0))
        for row in found.slips:
            made = self._true_of(row.manoeuvre, "pull", "standing")
            if made is not None and row.gear is not None:
                true = self._slip((made.start_s, made.end_s), row.gear)
                self._add(f"gearing.slips, gear {row.gear}", row.slip, true)

    def _slip(self, span_s: tuple[float, float], gear: int) -> float:
        """Return the largest clutch slip over a second in one gear in a span, as far as logged."""
        truth, car = self.truth, self.car
        inside = (truth.t_s >= span_s[0]) & (truth.t_s < span_s[1]) & (truth.gear == gear)
        inside &= self._logged()
        wheels = car.locked_rpm(1.0, min(gear, len(car.ratios))) * truth.speed_mps[inside]
        creep = np.array([car.creep(f) for f in truth.tyre_force_n[inside].tolist()])
        if wheels.size < 100:
            return math.nan
        slip = 1.0 - wheels * (1.0 + creep) / truth.engine_rpm[inside]
        return float(np.convolve(slip, np.full(100, 0.01), "valid").max())

    def _braking(self) -> None:
        found = self.results.braking
        true_of: dict[str, simulated.Manoeuvre] = {}
        for stop in found.stops:
            made = self._true_of(stop.manoeuvre, "stop")
            if made is not None:
                true_of[stop.manoeuvre] = made
                self._stop(stop, made)
        like = [
            true_of[name].figures["mfdd_level_mps2"] for name in found.like_stops if name in true_of
        ]
        if like and len(like) == len(found.like_stops):
            self._add("braking.fade", found.fade, like[-1] / like[0])
            if len(like) > 1:
                self._add(
                    "braking.spread", found.spread, float(np.std(like, ddof=1) / np.mean(like))
                )
        for snub in found.snubs:
            made = self._true_of(snub.manoeuvre, "snub")
            if made is not None:
                self._add("snub.initial_speed", snub.initial_speed, made.figures["initial_mps"])
                self._add("snub.final_speed", snub.final_speed, made.figures["final_mps"])

    def _stop(self, stop: StopResult, made: simulated.Manoeuvre) -> None:
        true = made.figures
        self._add("stop.initial_speed", stop.initial_speed, true["initial_mps"])
        self._add("stop.mfdd", stop.mfdd, true["mfdd_mps2"])
        self._add("stop.mfdd_level", stop.mfdd_level, true["mfdd_level_mps2"])
        self._add("stop.peak", stop.peak, true["peak_mps2"])
        mean = true["initial_mps"] ** 2 / (2.0 * true["distance_m"])
        self._add("stop.mean", stop.mean, mean)
        self._add("stop.distance", stop.distance, true["distance_m"])
        if stop.nominal_speed is not None:
            share = stop.nominal_speed.value / true["initial_mps"]
            self._add("stop.distance_nominal", stop.distance_nominal, true["distance_m"] * share**2)
        self._add("stop.build_up_s", stop.build_up_s, true["build_up_s"])
        self._add("stop.drift", stop.drift, true["drift_m"])
        self._add("stop.heading_change", stop.heading_change, true["heading_change_rad"])
        self._add("stop.grade", stop.grade, true["grade"])

    def _coasting(self) -> None:
        found, car = self.results.coasting, self.car
        self._add(
            "coasting.rolling_coefficient", found.rolling_coefficient, car.rolling_coefficient
        )
        self._add("coasting.drag_area", found.drag_area, car.drag_area_m2)
        for at in found.deceleration:
            if at.speed is not None:
                speed = at.speed.value
                force = car.rolling_force_n + car.drag_factor * speed**2
                self._add("coasting.deceleration", at.value, force / car.effective_mass_kg(0))

    def _pulls(self) -> None:
        for row in self.results.pulls.runs:
            made = self._true_of(row.manoeuvre, "pull")
            if made is not None:
                self._add("pull.time", row.time, self._between(row, made.start_s))
                self._add("pull.peak_power", row.peak_power, made.figures["peak_power_w"])
                self._add("pull.peak_force", row.peak_force, self._peak_force(made))
                if row.peak_power is not None:
                    inside = (self.truth.t_s >= made.start_s) & (self.truth.t_s <= made.end_s)
                    self._add("pull.grade", row.grade, float(self.truth.grade[inside].mean()))

    def _between(self, row: PullRun, from_s: float) -> float:
        if row.from_ is None or row.to is None:
            return math.nan
        end = self.truth.rises_through(row.to.value, from_s)
        return end - self.truth.last_rise_through(row.from_.value, end)

    def _peak_force(self, made: simulated.Manoeuvre) -> float:
        inside = (self.truth.t_s >= made.start_s) & (self.truth.t_s <= made.end_s)
        return float(self.truth.drive_force_n[inside].max())

    def _standing(self) -> None:
        found, truth = self.results.pulls, self.truth
        for row in found.standing:
            made = self._true_of(row.manoeuvre, "standing")
            if made is not None and row.to is not None:
                first = truth.rises_through(1e-9, made.start_s)
                when = truth.rises_through(row.to.value, first)
                self._add("standing.time", row.time, when - first)
                rolled = self._time_at(first, 0.3048)
                self._add("standing.after_rollout", row.after_rollout, when - rolled)
        for at in found.distances:
            made = self._true_of(at.manoeuvre, "standing")
            if made is not None and at.distance is not None:
                first = truth.rises_through(1e-9, made.start_s)
                when = self._time_at(first, at.distance.value)
                self._add("standing.distance_time", at.time, when - first)
                self._add("standing.distance_speed", at.speed, float(truth.speed_at(when)))

    def _time_at(self, from_s: float, metres: float) -> float:
        truth = self.truth
        goal = float(truth.distance_at(from_s)) + metres
        return float(np.interp(goal, truth.distance_m, truth.t_s))

    def _true_of(self, name: str | None, *kinds: str) -> simulated.Manoeuvre | None:
        """Return the true manoeuvre that one found is mostly about."""
        found = self.by_id.get(name or "")
        if found is None:
            return None
        best = max(
            (made for made in self.truth.manoeuvres if made.kind in kinds),
            key=lambda made: self._overlap(found, made),
            default=None,
        )
        if best is None or self._overlap(found, best) < 0.5 * (best.end_s - best.start_s):
            return None
        return best

    def _overlap(self, found: Manoeuvre, made: simulated.Manoeuvre) -> float:
        return _overlap(found, made, self.start_s - late_s(self.drive))


def late_s(drive: RandomDrive) -> float:
    """Return how long after it happens a receiver shows a change of speed."""
    receiver = drive.fitted.receiver
    return receiver.delay_s + receiver.lag_s if drive.fitted.with_speed else 0.0


def _overlap(found: Manoeuvre, made: simulated.Manoeuvre, start_s: float) -> float:
    """Return for how long two manoeuvres overlap; the found one's clock starts at `start_s`."""
    start, end = found.start_s + start_s, found.end_s + start_s
    return min(end, made.end_s) - max(start, made.start_s)


def manoeuvre_counts(drive: RandomDrive, results: Results, start_s: float) -> dict[str, list[int]]:
    """Return [there, found and used rightly, phantom] for each kind of manoeuvre.

    Manoeuvres that lie in a gap of the log are not asked for. A late receiver shows them later, by
    more than short ones last. A phantom is one found and used where nothing of its kind happened,
    on purpose or in traffic.
    """
    truth = drive.truth
    counts = {kind: [0, 0, 0] for kind in ("hold", "pull", "standing", "stop", "coast", "snub")}
    named = {"hold": "hold", "pull": "pull", "standing": "pull", "stop": "stop", "coast": "coast"}
    for made in truth.manoeuvres:
        if made.kind not in counts or _in_gap(drive, made):
            continue
        counts[made.kind][0] += 1
        wanted = named.get(made.kind, "stop")
        counts[made.kind][1] += any(
            one.kind == wanted
            and one.used == (made.kind != "snub")
            and _overlap(one, made, start_s - late_s(drive)) > 0.5 * (made.end_s - made.start_s)
            for one in results.manoeuvres
        )
    for one in results.manoeuvres:
        if one.used and not _happened(drive, one, start_s):
            counts[one.kind][2] += 1
    return counts


def _in_gap(drive: RandomDrive, made: simulated.Manoeuvre) -> bool:
    return any(
        start < made.end_s + 1.0 and end > made.start_s - 2.0
        for start, end in drive.fitted.receiver.gaps
    )


def _happened(drive: RandomDrive, one: Manoeuvre, start_s: float) -> bool:
    """Return whether anything like it happened: steady, pulling, braking to rest, rolling free.

    It happened earlier than a late receiver says. A hold may end where braking begins at once.
    """
    truth = drive.truth
    around_s = 0.0 if one.kind == "hold" else 0.5
    from_s, to_s = (at + start_s - late_s(drive) for at in (one.start_s, one.end_s))
    inside = (truth.t_s >= from_s - around_s) & (truth.t_s <= to_s + around_s)
    if not inside.any():
        return False
    speed, acceleration = truth.speed_mps[inside], truth.accel_mps2[inside]
    tests: dict[str, Callable[[], bool]] = {
        "hold": lambda: float(speed.std()) < 0.7,
        "pull": lambda: float(acceleration.mean()) > 0.3,
        "stop": lambda: float(speed.min()) < 0.5 and float(acceleration.min()) < -1.0,
        "coast": lambda: float(np.mean(truth.gear[inside] <= 0)) > 0.7,
    }
    return bool(tests[one.kind]())


@dataclass(frozen=True)
class Judged:
    """One judgement: given and true, and how far the truth is from the limit, in half-widths."""

    what: str
    given: str
    true: str
    distance: float


def judgements(results: Results, held: list[Held]) -> Iterator[Judged]:
    """Return every judgement on a figure whose truth is known."""
    known = {(one.found.value, one.found.u95, one.found.unit): one.true for one in held}
    for finding in results.findings:
        rows = [(i.measured, i.limit, i.verdict) for i in finding.items]
        if not rows:
            rows = [(finding.measured, finding.limit, finding.verdict)]
        for measured, limit, given in rows:
            if measured is None or limit is None:
                continue
            true = known.get((measured.value, measured.u95, measured.unit))
            if true is None:
                yield Judged(finding.id, given, "not known", 0.0)
                continue
            low = -math.inf if limit.low is None else limit.low
            high = math.inf if limit.high is None else limit.high
            distance = min(abs(true - low), abs(high - true)) / max(measured.u95, 1e-12)
            yield Judged(finding.id, given, "pass" if low <= true <= high else "fail", distance)


def phantom_gears(drive: RandomDrive, results: Results) -> int:
    """Return how many gears were found that the car does not have."""
    return max(0, len(results.gearing.gears) - len(drive.truth.car.ratios))
