"""What to do next, in order of worth: mend, drive again, measure by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from roadtest.build_sheet.model import named_part
from roadtest.cautions import CALIFORNIA, CLOSED_ROAD, ROLL_COOL, STOP_TESTING, TWO_PEOPLE
from roadtest.findings.case import Case, joined
from roadtest.findings.inspections import AFTER_WORK
from roadtest.results import Correction, Finding, Verdict
from roadtest.wording import number_text, short_title

_MEND: Final = {
    "odometer": "Set the odometer's drive right: it counts with the speedometer's gear or setting",
    "gearbox": "Find out which gearbox is in the car, and put it on the build sheet",
    "axle": "Count the axle's teeth, or measure the tyre's roll-out: axle and tyre look alike here",
    "tach": "Set the tach for the right number of cylinders, or adjust it",
    "clutch_slip": "Look at the clutch: adjustment, oil on the lining, a weak spring",
    "cruise_rpm": "A longer axle, a taller tyre or a longer top gear brings the engine speed down",
    "mfdd": "Look at the brakes: bedding in, air, servo, linings; then make the stops again",
    "stopping_distance": "Look at the brakes, then make the stops again",
    "fade": "Look at linings and fluid, and at how alike the stops were driven",
    "drift": "Look at the brakes side by side: one wheel pulls more than its partner",
    "spread": "Look for what makes the stops differ: bedding in, heat, a sticking piston",
    "bedding": "Bed the brakes in before any hard stop",
    "rolling_coefficient": "Feel for warm hubs and drums: a brake drags or a bearing is tight",
    "standing": "Look for lost power or a slipping clutch",
    "through": "Look for lost power: ignition, mixture, throttle opening",
}


_WORTH: Final = (
    "inspection", "mfdd", "stopping_distance", "fade", "drift", "spread", "bedding", "channel",
    "clutch_slip", "rolling_coefficient", "speedometer", "gearbox", "axle", "tach", "cruise_rpm",
    "odometer", "standing", "through",
)  # fmt: skip
"""What is worth most first: what stops the car, what breaks it, what misleads, what is slow."""


_BRAKES: Final = frozenset({"mfdd", "stopping_distance", "fade", "drift", "spread", "bedding"})
_FAST: Final = frozenset({"standing", "through", "clutch_slip"})
"""Targets whose tests are stops from speed, or full throttle."""

_MOST_NAMED: Final = 6  # holds named in one step


def next_steps(case: Case, findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return what to do next: files to mend, what failed, then what would settle the rest."""
    steps = [
        *(doubt.said for doubt in case.doubts),
        *_to_mend(case, findings),
        *_to_tell_apart(case, findings),
        *_to_settle(findings),
        *_to_read(case),
    ]
    return tuple(dict.fromkeys(step for step in map(joined, steps) if step))


def cautions(findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return what to mind where what is to be done next asks for hard driving; else nothing."""
    again = {f.id for f in findings if f.verdict == "fail" or f.to_settle}
    if not again & (_BRAKES | _FAST):
        return ()
    said = [CLOSED_ROAD, CALIFORNIA, TWO_PEOPLE]
    if again & _BRAKES:
        said += [STOP_TESTING, ROLL_COOL]
    return tuple(joined(one) for one in said)


def _to_mend(case: Case, findings: Sequence[Finding]) -> Iterator[str]:
    for finding in _with(findings, "fail") + _likely_dial(findings):
        if finding.id == "speedometer":
            yield _correct_the_dial(case)
        elif finding.id == "inspection":
            yield f"Put right: {short_title(finding.title)}"
        elif finding.id == "cruise_rpm":
            yield joined(_MEND[finding.id], _other_axle(case, finding))
        elif finding.id == "gearbox":
            yield _which_gearbox(case)
        elif finding.id.startswith("channel."):
            yield f"Find out why {finding.title.lower()} left its limits"
        else:
            yield _MEND[finding.id]


def _which_gearbox(case: Case) -> str:
    """Say which gearbox to look for: the one that the road shows, where it isn't the sheet's."""
    shown, fitted = case.results.gearing.gearbox_shown, case.sheet.gearbox
    if shown is None or fitted is None or shown.label == fitted.label:
        return _MEND["gearbox"]
    return (
        f"The road shows {named_part(shown.label, 'gearbox')}, not the one on the build sheet: "
        "look which it is, and mend the car or the sheet"
    )


def _other_axle(case: Case, finding: Finding) -> str:
    """Say what axle ratio would bring the engine speed to its limit, and which one named does."""
    now = case.sheet.axle_ratio
    most = None if finding.limit is None else finding.limit.high
    shown = case.results.gearing.axle_shown
    fitted = case.sheet.axle
    if now is None or most is None or finding.measured is None or fitted is None:
        return ""
    if shown is None or shown.label != fitted.label:
        return ""  # the sheet's axle is not the one that turned the wheels
    needed = now * most / finding.measured.high
    fit = [axle for axle in case.sheet.alternatives.axles if axle.ratio <= needed]
    said = f"With this tyre and top gear it takes an axle of {number_text(needed, 3)} or less"
    if not fit:
        return said
    best = max(fit, key=lambda axle: axle.ratio)
    rpm = finding.measured.value * best.ratio / now
    return f'{said}; the "{best.label}" would give {case.say_value(rpm, "r/min")}'


def _to_tell_apart(case: Case, findings: Sequence[Finding]) -> Iterator[str]:
    """Say what to measure by hand where engine and road speed alone leave several stories."""
    doubtful = {f.id for f in findings if f.verdict != "pass"}
    if doubtful & {"gearbox", "axle", "tach"}:
        for remark in case.results.remarks:
            if remark.section == "gearing" and remark.text in case.left_open:
                yield remark.text


def _likely_dial(findings: Sequence[Finding]) -> list[Finding]:
    """Return the speedometer's finding where it is more likely out of its limits than in them."""
    return [
        finding
        for finding in _with(findings, "not proven")
        if finding.id == "speedometer" and (finding.probability or 1.0) < 0.5
    ]


def _correct_the_dial(case: Case) -> str:
    """Say the best correction of the speedometer there is."""
    found = case.results.speedometer
    if found.advice:
        return found.advice
    if not found.corrections:
        return "Correct the speedometer: name the gears or settings to be had in the build sheet"
    return found.corrections[0].note or _plain_correction(found.corrections[0])


def _plain_correction(correction: Correction) -> str:
    what = correction.kind.replace("_", " ")
    advised = "" if correction.advised is None else f" {number_text(correction.advised, 6)}"
    now = "" if correction.present is None else f" in place of {number_text(correction.present, 6)}"
    return f"Speedometer: {what}{advised}{now}"


def _to_settle(findings: Sequence[Finding]) -> Iterator[str]:
    """Say what would settle each open target; what one drive settles together is said once.

    What is looked at by hand comes first: it takes minutes, and brakes and wheels belong looked at
    before the car is driven again.
    """
    by_hand = _by_hand(findings)
    if by_hand:
        yield by_hand
    yield from _drives(findings).values()


def _by_hand(findings: Sequence[Finding]) -> str:
    """Return the step that asks for all hand checks not done, "" without any."""
    undone = [
        short_title(finding.title)
        for finding in _with(findings, "not proven")
        if finding.id == "inspection"
    ]
    if not undone:
        return ""
    return f"Look at by hand, before the next drive: {'; '.join(work_together(undone))}"


def _drives(findings: Sequence[Finding]) -> dict[str, str]:
    """Return the step for each thing that would settle open targets, by what they say of it."""
    steps: dict[str, str] = {}
    open_ones = [f for f in _with(findings, "not proven") if f.to_settle and f.id != "inspection"]
    for settle in dict.fromkeys(finding.to_settle or "" for finding in open_ones):
        names = [short_title(finding.title) for finding in open_ones if finding.to_settle == settle]
        steps[settle] = f"{_listed(names)}: {_small(settle)}"
    return steps


def _to_read(case: Case) -> Iterator[str]:
    """Ask for the dial readings that are missing, where the dial is to be judged."""
    used = {made.id for made in case.results.manoeuvres if made.used}
    missing = [
        f"{reading.manoeuvre} ({case.say_value(reading.true.value, 'm/s')} true)"
        for reading in case.results.speedometer.readings
        if reading.indicated is None and reading.true is not None and reading.manoeuvre in used
    ]
    if missing and case.sheet.targets.named("speedometer"):
        more = len(missing) - _MOST_NAMED
        named = ", ".join(missing[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
        yield f"Fill in what the dial showed, if anyone remembers: {named}"


def _with(findings: Iterable[Finding], verdict: Verdict) -> list[Finding]:
    """Return the findings with this verdict, in order of worth."""
    chosen = [finding for finding in findings if finding.verdict == verdict]
    return sorted(chosen, key=lambda finding: _WORTH.index(finding.id.partition(".")[0]))


def work_together(titles: Sequence[str]) -> list[str]:
    """Return short titles, the hand checks after several kinds of work as one, last."""
    others = [title for title in titles if not title.startswith(AFTER_WORK)]
    work = [title.removeprefix(AFTER_WORK) for title in titles if title.startswith(AFTER_WORK)]
    return [*others, f"{AFTER_WORK}{', '.join(work)}"] if work else others


def step_that_settles(
    finding: Finding, findings: Sequence[Finding], steps: Sequence[str]
) -> int | None:
    """Return the number, from 1, of the step that says what would settle a finding not proven.

    `steps` are those of `next_steps` for all the `findings`.
    """
    if finding.verdict != "not proven":
        return None
    by_hand = finding.id == "inspection"
    said = _by_hand(findings) if by_hand else _drives(findings).get(finding.to_settle or "", "")
    step = joined(said)
    return steps.index(step) + 1 if step and step in steps else None


def _listed(names: Sequence[str]) -> str:
    """Return "Axle ratio, tachometer and brake fade" of names."""
    *before, last = [names[0], *map(_small, names[1:])]
    return f"{', '.join(before)} and {last}" if before else last


def _small(text: str) -> str:
    """Return a text with a small letter first, to go on with."""
    return text[:1].lower() + text[1:]
