"""The whole road in one call: from a drive to its results."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final, Literal

import numpy as np

from roadtest.aside import Aside
from roadtest.by_hand import applied
from roadtest.clock import Stretch, outside, utc_text
from roadtest.cross_check import speed_difference
from roadtest.drive import Drive, read_drive
from roadtest.evidence import Evidence
from roadtest.findings import Case, Doubt, cautions, judge_all, next_steps
from roadtest.log_quality import describe_logs
from roadtest.logs.model import GpsLog, Notes
from roadtest.manoeuvres import Manoeuvre as Found
from roadtest.manoeuvres import find_manoeuvres
from roadtest.measures.gearing import Followed, follow_all
from roadtest.measures.gearing.telling import told
from roadtest.measures.measuring import Measured, measure_again, measure_all
from roadtest.measures.receiver import smoothed_by_receiver
from roadtest.measures.top_speed import KNOWN_MPS, top_speed
from roadtest.measures.traces import Traces
from roadtest.motion.distance import distance_driven, least_top_speed
from roadtest.motion.estimate import Draws, Span, estimate
from roadtest.motion.ground import ground_under
from roadtest.motion.screening import Screened, screen
from roadtest.notes_clock import with_right_clock
from roadtest.progress import Progress
from roadtest.quantity import Quantity
from roadtest.results import (
    ByHand,
    CarInfo,
    DriveInfo,
    Inspection,
    Manoeuvre,
    Remark,
    Results,
    SheetInfo,
)
from roadtest.tidy_times import with_tidy_times
from roadtest.units import Given
from roadtest.wording import as_people_read, quantity_text, sentence

DRAWS: Final = 200
MARGIN_S: Final = 2.0  # of motion drawn on either side of a manoeuvre
LONGEST_HOLD_S: Final = 30.0
"""Of a hold that is drawn. Our choice: a dial is read within seconds, and a motorway hour costs."""
SEED: Final = 20_260_502  # any number: the same drive gives the same results
_ALIKE_MPS: Final = 0.5
"""Interval of the mean difference up to which two receivers are said to agree; our choice."""
_TOP_SPEED_S: Final = 2.0  # of motion drawn about the fastest fix


@dataclass(frozen=True)
class Survey:
    """A drive after everything that rests on its logs alone: the slow part.

    What somebody typed in, left out or moved has no part in it.
    """

    drive: Drive
    screened: Screened
    evidence: Evidence
    fastest: Draws  # about the fastest fix
    followed: Aside[tuple[Followed, ...]]  # the gears


@dataclass(frozen=True)
class Checked:
    """A drive after everything: its results, and the curves that they were read from."""

    survey: Survey  # what its notes leave out is left out, the targets they move are moved
    results: Results
    measured: Measured
    found: Survey  # as it was before that

    @property
    def traces(self) -> Traces:
        """The curves behind the results."""
        return self.measured.traces


def check_folder(folder: Path, build: Path | None, progress: Progress) -> Results:
    """Return the results of the drive in `folder`; `build` stands in for its build sheet.

    Raises InputError or InputErrors where the drive can't be used.
    """
    progress("reading", 0.0)
    return check(read_drive(folder, build), progress)


def check(drive: Drive, progress: Progress) -> Results:
    """Return the results of a drive; the same drive gives the same results.

    Raises InputError where the log is too little to go on.
    """
    return conclude(survey(drive, progress), progress)


def survey(drive: Drive, progress: Progress) -> Survey:
    """Return the motion of a drive, its manoeuvres and their draws."""
    rng = np.random.default_rng(SEED)
    progress("screening the fixes", 0.1)
    screened = screen(drive.gps)
    progress("estimating the motion", 0.15)
    motion = estimate(screened.observed, rng)
    progress("finding manoeuvres", 0.4)
    ground = ground_under(screened, motion)
    read_at = _dial_read_at(drive.notes, screened.start_unix_s)
    found = find_manoeuvres(motion, read_at)
    progress("drawing the motion", 0.45)
    known = np.where(motion.u_speed_mps < KNOWN_MPS, motion.speed_mps, 0.0)
    fastest = float(motion.time_s[int(np.argmax(known))])
    about_it = Span(fastest - _TOP_SPEED_S, fastest + _TOP_SPEED_S)
    # Snubs are measured as far as they can be, though none of them is judged.
    drawn = [made for made in found if made.used or (made.kind == "stop" and not made.to_rest)]
    holds = [made for made in drawn if made.kind == "hold"]
    others = [made for made in drawn if made.kind != "hold"]
    spans = [*(stretch_to_draw(made, read_at) for made in others), about_it]
    evidence = Evidence(
        start_unix_s=screened.start_unix_s,
        sheet=drive.sheet,
        gps=replace(drive.gps, engine=None),  # it is among the tachs
        motion=motion,
        ground=ground,
        manoeuvres=found,
        tach=drive.tach,
        channels=drive.channels,
        notes=drive.notes,
        seed=SEED,
    )
    evidence = replace(evidence, smoothed=smoothed_by_receiver(evidence))
    followed = Aside(partial(follow_all, evidence))
    draws = motion.draws(spans, DRAWS, rng)
    spans = [stretch_to_draw(made, read_at) for made in holds]
    of_holds = motion.draws(spans, DRAWS, rng, steady=True)
    of_all = zip([*others, *holds], [*draws[:-1], *of_holds], strict=True)
    evidence = replace(evidence, draws={made.id: motions for made, motions in of_all})
    return Survey(drive, screened, evidence, draws[-1], followed)


def _dial_read_at(notes: Notes | None, start_unix_s: float) -> list[float]:
    """Return when the dial was read, in seconds on the drive's clock, as far as it was noted."""
    rows = () if notes is None else notes.rows
    return [
        row.time_s - start_unix_s
        for row in rows
        if row.item == "indicated speed" and row.time_s is not None and not row.typed
    ]


def stretch_to_draw(made: Found, read_at: list[float]) -> Span:
    """Return the stretch to draw: a manoeuvre with its margins, of a long hold a part.

    That is the part about the moment at which the dial was read, or the middle.
    """
    start, end = made.start_s, made.end_s
    if made.kind == "hold" and end - start > LONGEST_HOLD_S:
        inside = [at for at in read_at if start <= at <= end]
        middle = inside[0] if inside and inside[-1] - inside[0] < 0.5 * LONGEST_HOLD_S else None
        middle = 0.5 * (start + end) if middle is None else middle
        start = min(max(start, middle - 0.5 * LONGEST_HOLD_S), end - LONGEST_HOLD_S)
        end = start + LONGEST_HOLD_S
    return Span(start - MARGIN_S, end + MARGIN_S)


def conclude(survey: Survey, progress: Progress) -> Results:
    """Return the results of a surveyed drive: everything measured, judged and put together."""
    return conclude_with_traces(survey, progress).results


def conclude_with_traces(survey: Survey, progress: Progress) -> Checked:
    """Return the results of a surveyed drive together with the curves behind them."""
    mended, by_hand = _mended(survey)
    same = mended.evidence.manoeuvres == survey.evidence.manoeuvres
    measured = measure_all(mended.evidence, progress, survey.followed if same else None)
    return Checked(mended, _judged(mended, measured, by_hand, progress), measured, survey)


def conclude_again(checked: Checked, drive: Drive) -> Checked:
    """Return `checked` as it is with `drive`, which differs in its notes only.

    The same as concluding anew, and far quicker.
    """
    found = replace(
        checked.found, drive=drive, evidence=replace(checked.found.evidence, notes=drive.notes)
    )
    mended, by_hand = _mended(found)
    measured = measure_again(mended.evidence, checked.measured, checked.survey.evidence)
    return Checked(mended, _judged(mended, measured, by_hand, _quiet), measured, found)


def _mended(survey: Survey) -> tuple[Survey, ByHand]:
    """Return a survey with the notes on its clock, what they leave out and move, a list of that."""
    evidence, by_hand = applied(with_right_clock(survey.evidence))
    drive = replace(survey.drive, sheet=evidence.sheet, notes=evidence.notes)
    return replace(survey, drive=drive, evidence=evidence), by_hand


def _quiet(_stage: str, _done: float) -> None:
    """Tell nobody how far the work is."""


def _judged(survey: Survey, measured: Measured, by_hand: ByHand, progress: Progress) -> Results:
    evidence, drive = survey.evidence, survey.drive
    progress("judging", 0.95)
    results = Results(
        units=drive.sheet.units,
        car=CarInfo(drive.sheet.car.label, drive.sheet.car.chassis),
        files=drive.files,
        logs=describe_logs(drive, survey.screened, evidence.motion, _cross_checks(survey)),
        drive=_drive_info(survey, measured),
        tach=measured.gearing.tach,
        manoeuvres=_manoeuvres(evidence, measured),
        speedometer=measured.speedometer.result,
        odometer=measured.odometer.result,
        gearing=measured.gearing.result,
        braking=measured.braking.result,
        coasting=measured.coasting.result,
        pulls=measured.pulls.result,
        channels=measured.channels.result,
        inspections=_inspections(drive.notes),
        remarks=tuple(
            Remark(section, _remark(text, drive))
            for section, said in measured.remarks.items()
            for text in said
        ),
        by_hand=by_hand,
        sheet=SheetInfo(
            circumference=_as_given(drive.sheet.circumference, "m"),
            mass=_as_given(drive.sheet.car.mass, "kg"),
        ),
    )
    results = with_tidy_times(results)
    left_open = told(measured.gearing.stories, drive.sheet)
    case = Case(
        results,
        drive.sheet,
        doubts=_doubts(drive, measured),
        left_open=frozenset(_remark(text, drive) for text in left_open),
    )
    findings = judge_all(case)
    progress("done", 1.0)
    return replace(
        results,
        findings=findings,
        next_steps=next_steps(case, findings),
        cautions=cautions(findings),
    )


def _remark(text: str, drive: Drive) -> str:
    return sentence(as_people_read(text, drive.sheet.units))


def _doubts(drive: Drive, measured: Measured) -> tuple[Doubt, ...]:
    """Return what to put right in the drive's files before its figures are believed."""
    notes = () if drive.notes is None else drive.notes.amiss
    return (
        *(Doubt(f"{drive.notes.name}: {said}") for said in notes if drive.notes is not None),
        *(Doubt(f"Not used: {said}") for said in drive.refused),
        *(Doubt(said) for said in _of_no_use(drive, measured)),
        *(Doubt(said, about) for about, said in measured.doubts.items()),
    )


def _of_no_use(drive: Drive, measured: Measured) -> Iterator[str]:
    """Say it where there is a log of engine speed, but it goes with nothing that was driven."""
    if not drive.tach or measured.gearing.gear_s is not None:
        return
    time = drive.gps.time_s
    stretch = Stretch(float(time[0]), float(time[-1]))
    for log in drive.tach:
        why = outside(log, stretch, None)
        yield (
            f"{log.name}: its engine speed keeps to no ratio with the road speed of this drive"
            + (f", and {why}" if why else "")
            + ": is it of this drive, in revolutions a minute, its times in seconds? With a "
            "torque converter no ratio shows"
        )


def _as_given(figure: Given | None, unit: str) -> Quantity | None:
    """Return a figure of the build sheet as a quantity; one without an interval has none."""
    return None if figure is None else Quantity(figure.value, figure.u95 or 0.0, unit)


def _drive_info(survey: Survey, measured: Measured) -> DriveInfo:
    motion = survey.evidence.motion
    start_s, end_s = float(motion.time_s[0]), float(motion.time_s[-1])
    pulls = [made.id for made in survey.evidence.manoeuvres if made.kind == "pull"]
    drawn = survey.evidence.draws
    fast = [survey.fastest, *(drawn[name] for name in pulls if name in drawn)]
    return DriveInfo(
        start_utc=utc_text(survey.evidence.start_unix_s),
        duration_s=end_s - start_s,
        distance=distance_driven(
            motion, survey.evidence.ground, start_s, end_s, smoothed_by_receiver(survey.evidence)
        ),
        top_speed=top_speed(
            fast,
            measured.braking.smoothing_s,
            least_top_speed(motion, survey.evidence.ground),
        ),
    )


def _manoeuvres(evidence: Evidence, measured: Measured) -> tuple[Manoeuvre, ...]:
    """Return the manoeuvres with their gears; those a measure set aside are not used."""
    shown = []
    for made in evidence.manoeuvres:
        aside = measured.set_aside.get(made.id)
        why_not = made.why_not or aside
        shown.append(
            Manoeuvre(
                id=made.id,
                kind=made.kind,
                start_s=made.start_s,
                end_s=made.end_s,
                gear=measured.gear_of.get(made.id) or None,
                used=made.used and aside is None,
                # A person's own words stay as they are.
                why_not=why_not
                if made.left_out or not why_not
                else as_people_read(why_not, evidence.sheet.units),
            )
        )
    return tuple(shown)


def _inspections(notes: Notes | None) -> tuple[Inspection, ...]:
    verdicts: dict[str, Literal["pass", "fail", "not done"]] = {
        "pass": "pass",
        "fail": "fail",
        "not done": "not done",
    }
    rows = () if notes is None else notes.rows
    return tuple(
        Inspection(note.remark or f"line {note.line} of the notes", verdicts[note.text])
        for note in rows
        if note.item == "inspection" and note.text in verdicts
    )


def _cross_checks(survey: Survey) -> Mapping[str, str]:
    """Return what each further receiver says about the speed, by the name of its log."""
    return {other.log.name: _cross_check(survey, other.log) for other in survey.drive.receivers[1:]}


def _cross_check(survey: Survey, other: GpsLog) -> str:
    """Return in words how another receiver's speed compares with the one used."""
    used = survey.drive.gps.name
    found = speed_difference(survey.evidence.motion, survey.evidence.start_unix_s, other)
    if found is None:
        return f"a second receiver, not used: too little time in common with {used} to compare"
    difference, count = found
    said = quantity_text(difference, survey.drive.sheet.units, signed=True)
    verdict = "the two differ"
    if abs(difference.value) <= difference.u95:
        alike = difference.u95 <= _ALIKE_MPS
        verdict = "the two agree" if alike else "too unlike from place to place to say more"
    return (
        f"a second receiver, for cross-check only: its speed less that of {used} is {said} on "
        f"average, from {count} fixes; {verdict}"
    )
