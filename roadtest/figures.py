"""The figures of each section as headings, tables and labelled lines; only what was measured.

The console, the report and the page each bring a sheet of their own to put them down on.
"""

from __future__ import annotations

from collections.abc import Sequence

from roadtest.figure_lines import Sheet, is_measured
from roadtest.figure_lines import pair as _pair
from roadtest.figure_lines import percent as _percent
from roadtest.figure_lines import put_line as _put_line
from roadtest.figure_lines import put_shown as _put_shown
from roadtest.figure_lines import put_table as _put_table
from roadtest.figure_lines import put_text as _put_text
from roadtest.quantity import SURE, Quantity
from roadtest.results import (
    BeddingRecord,
    BeddingRow,
    BrakingResult,
    Correction,
    CruiseRow,
    GearingResult,
    ReadIn,
    Results,
    StopResult,
)
from roadtest.running_figures import put_channels, put_coasting, put_pulls
from roadtest.wording import (
    VERDICT_WORD,
    clock_text,
    number_text,
    pair_text,
    plural,
    probability_text,
    quantity_text,
)

_MOST_USES = 40  # of the brakes, listed; all are in the tables

_DECELERATIONS = (
    "Decelerations in m/s². MFDD: mean fully developed deceleration; level: the road's grade taken "
    "out."
)
_TO_CHANGE = {
    "driven_teeth": "Driven gear, teeth",
    "drive_teeth": "Drive gear, teeth",
    "ratio_adapter": "Ratio adapter",
    "pulses_per_km": "Pulses per km",
    "turns_per_mile": "Turns per mile",
    "needle": "Needle",
}


def put_figures(page: Sheet, results: Results, units: ReadIn) -> None:
    """Put down every section in which something was measured."""
    _put_speedometer(page, results, units)
    _put_scales(page, results, units)
    _put_gearing(page, results.gearing, units)
    _put_braking(page, results, units)
    put_coasting(page, results.coasting, units)
    put_pulls(page, results.pulls, results.sheet.mass, units)
    put_channels(page, results.channels, units)
    told = " ".join((*(finding.reason for finding in results.findings), *results.next_steps))
    remarks = [remark for remark in results.remarks if remark.text not in told]
    if remarks:
        page.heading("Remarks")
        for remark in remarks:
            page.paragraph(remark.text, label=f"  {remark.section}", indent=14)


def _put_speedometer(page: Sheet, results: Results, units: ReadIn) -> None:
    found = results.speedometer
    if not is_measured(found):
        return
    page.heading("Speedometer")
    starts = {m.id: clock_text(m.start_s) for m in results.manoeuvres}
    if found.readings:
        unread = "no reading" if any(reading.indicated for reading in found.readings) else ""
        if not unread:
            page.paragraph("Steady speeds found; no reading of the dial goes with any of them.")
        rows = [
            [
                reading.manoeuvre,
                starts.get(reading.manoeuvre, ""),
                _pair(reading.indicated, units) if reading.indicated else unread,
                _pair(reading.true, units),
                _pair(reading.error, units, signed=True) if reading.error else "",
            ]
            for reading in found.readings
        ]
        _put_table(
            page, ["hold", "at", f"dial, {units}", f"true, {units}", f"error, {units}"], rows
        )
    _put_line(page, "dial / true speed", found.scale, units)
    _put_line(page, "dial offset", found.offset, units, signed=True)
    _put_text(page, "what it means", found.meaning)
    _put_advice(page, found.advice, results)
    for correction in found.corrections:
        if not correction.note or correction.note not in found.advice:
            _put_correction(page, correction)
    for note in found.notes:
        if not (note.startswith("a road drive does not show") and _told_by_finding(results)):
            _put_text(page, "note", note)


def _put_advice(page: Sheet, advice: str, results: Results) -> None:
    """Put down what to do, or which step of what to do next says it."""
    plain = advice.rstrip(".").casefold()
    steps = (n for n, step in enumerate(results.next_steps, 1) if plain in step.casefold())
    number = next(steps, None) if plain else None
    _put_text(page, "what to do", advice if number is None else f"step {number} of what to do next")


def _told_by_finding(results: Results) -> bool:
    """Return whether a finding already says what a drive does not show of the speedometer."""
    return any(finding.id == "speedometer" and finding.not_shown for finding in results.findings)


def _put_correction(page: Sheet, correction: Correction) -> None:
    if correction.note:
        _put_text(page, _TO_CHANGE[correction.kind], correction.note)
        return
    said = []
    if correction.present is not None:
        said.append(f"now {number_text(correction.present, 6)}")
    if correction.advised is not None:
        said.append(f"advised {number_text(correction.advised, 6)}")
    if correction.scale_after is not None:
        said.append(f"dial / true then {pair_text(correction.scale_after)}")
    said += [f"{id_} then: {VERDICT_WORD[v]}" for id_, v in correction.findings_after.items()]
    _put_text(page, _TO_CHANGE[correction.kind], ", ".join(said))


def _put_scales(page: Sheet, results: Results, units: ReadIn) -> None:
    odometer, tach = results.odometer, results.tach
    if is_measured(odometer):
        page.heading("Odometer")
        _put_line(page, "shown", odometer.indicated, units)
        _put_line(page, "driven", odometer.true, units)
        _put_line(page, "shown / driven", odometer.scale, units)
        _put_advice(page, odometer.advice, results)
        for note in odometer.notes:
            _put_text(page, "note", note)
    if is_measured(tach):
        page.heading("Tach")
        _put_line(page, "shown / true", tach.scale, units)
        _put_line(page, "noise", tach.noise, units)
        _put_line(page, "add to its clock", tach.offset_s, units, signed=True)


def _put_gearing(page: Sheet, gearing: GearingResult, units: ReadIn) -> None:
    if not is_measured(gearing):
        return
    page.heading("Gearing")
    if gearing.stories and gearing.stories[0].probability < SURE:
        chance = probability_text(gearing.stories[0].probability)
        page.paragraph(
            "Ratios, axle, roll-out and cruise hold for the most probable account of gearbox, "
            f"axle, tach and tyre, which has {chance}; steps and turns by the tach need none."
        )
    if gearing.gears:
        rows = [
            [
                str(row.gear),
                _pair(row.ratio, units),
                "" if row.expected is None else number_text(row.expected),
                _pair(row.overall, units),
                "" if row.seconds is None else number_text(row.seconds, 3),
            ]
            for row in gearing.gears
        ]
        _put_table(page, ["gear", "ratio", "sheet", "overall", "seconds"], rows)
    if gearing.steps:
        page.gap()
        rows = [
            [
                f"{step.from_} to {step.to}",
                _pair(step.step, units),
                "" if step.expected is None else number_text(step.expected),
            ]
            for step in gearing.steps
        ]
        _put_table(page, ["step", "ratio", "sheet"], rows)
    _put_shown(page, "gearbox shown", gearing.gearbox_shown)
    _put_line(page, "axle, tyre as on the sheet", gearing.axle, units)
    _put_shown(page, "axle shown", gearing.axle_shown)
    _put_line(page, "roll-out, axle as on sheet", gearing.circumference, units)
    _put_line(page, "turns by the tach, top gear", gearing.revs_per_metre_top, units)
    _put_line(page, "largest sustained slip", gearing.clutch_slip, units, percent=True)
    if gearing.cruise:
        page.gap()
        _put_cruise(page, gearing.cruise, units)


def _put_cruise(page: Sheet, cruise: Sequence[CruiseRow], units: ReadIn) -> None:
    """Put down engine speed by road speed (down) and gear (across)."""
    gears = sorted({row.gear for row in cruise})
    at_speed: dict[str, dict[int, str]] = {}
    for row in sorted(cruise, key=lambda row: row.speed.value if row.speed else 0.0):
        at_speed.setdefault(_pair(row.speed, units), {})[row.gear] = _pair(row.rpm, units)
    heads = [f"cruise, {units}", *(f"rpm, gear {gear}" for gear in gears)]
    rows = [[at, *(of.get(gear, "") for gear in gears)] for at, of in at_speed.items()]
    _put_table(page, heads, rows)


def _put_braking(page: Sheet, results: Results, units: ReadIn) -> None:
    braking = results.braking
    if not is_measured(braking):
        return
    page.heading("Braking")
    if braking.stops:
        page.paragraph(_DECELERATIONS)
        heads = ["stop", f"from, {units}", "MFDD", "MFDD level", "peak", "build-up, s"]
        _put_table(page, heads, [_deceleration_row(stop, units) for stop in braking.stops])
        page.gap()
        heads = ["stop", "distance, m", "brought to", "m", "grade, %"]
        _put_table(page, heads, [_distance_row(stop, units) for stop in braking.stops])
        page.gap()
        page.paragraph("Drift and heading: to the right is positive.")
        heads = ["stop", "drift, m", "heading, °"]
        _put_table(page, heads, [_drift_row(stop, units) for stop in braking.stops])
    _put_line(page, "last stop / first (fade)", braking.fade, units, percent=True)
    _put_line(page, "spread of like stops", braking.spread, units, percent=True)
    _put_text(page, "trend from stop to stop", _trend(braking, units))
    _put_not_judged(page, braking)
    if braking.bedding is not None and braking.bedding.rows:
        left_out = frozenset(one.manoeuvre for one in results.by_hand.left_out)
        _put_bedding(page, braking.bedding, left_out, units)


def _trend(braking: BrakingResult, units: ReadIn) -> str:
    """Return the trend of the like stops, and whether it is more than the driver's variation."""
    trend = braking.fade_per_stop
    if trend is None:
        return ""
    sure = not trend.low <= 0.0 <= trend.high
    said = "more than the driver varies" if sure else "not told from how the driver varies"
    return f"{quantity_text(trend, units, percent=True, signed=True)} a stop: {said}"


def _put_not_judged(page: Sheet, braking: BrakingResult) -> None:
    """Put down why stops can't be judged, once for those with one reason."""
    alike: dict[str, list[StopResult]] = {}
    for stop in braking.stops:
        if stop.not_judged:
            alike.setdefault(stop.not_judged.partition(":")[0], []).append(stop)
    for reason, stops in alike.items():
        named = ", ".join(stop.manoeuvre for stop in stops)
        _put_text(page, "shown, but not to judge by", f"{named}: {reason}")


def _put_bedding(
    page: Sheet, record: BeddingRecord, left_out: frozenset[str], units: ReadIn
) -> None:
    """Put down every use of the brakes, for the record of how they were bedded in.

    Those left out by hand are marked: they don't count for the figures, but the brakes were used.
    """
    page.gap()
    used = plural(record.stops, "stop") + " to rest"
    if record.snubs:
        used += f", {plural(record.snubs, 'snub')} (slowed, not to rest)"
    shown = record.rows[:_MOST_USES]
    if not any(row.from_speed or row.to_speed or row.energy for row in record.rows):
        page.paragraph(f"Uses of the brakes: {used}; the log shows too little of them for speeds.")
        return
    page.paragraph(f"Uses of the brakes: {used}; apart: driven since the last.")
    heads = ["use", "at", f"from, {units}", f"to, {units}", "apart, s", "energy, kJ"]
    _put_table(page, heads, [_bedding_row(row, left_out, units) for row in shown])
    if left_out & {row.manoeuvre for row in shown}:
        page.paragraph("*: left out by hand, so not judged; the brakes were used all the same.")
    more = len(record.rows) - len(shown)
    if more:
        page.paragraph(f"And {plural(more, 'more use')}, listed by roadtest check --csv FOLDER.")
    _put_line(page, "energy into the brakes", _kilojoules(record.energy), units)


def _bedding_row(row: BeddingRow, left_out: frozenset[str], units: ReadIn) -> list[str]:
    apart = "" if row.since_last_s is None else number_text(row.since_last_s, 3)
    speeds = (_pair(row.from_speed, units), _pair(row.to_speed, units))
    return [
        f"{row.manoeuvre} *" if row.manoeuvre in left_out else row.manoeuvre,
        clock_text(row.start_s),
        *speeds,
        apart,
        _pair(_kilojoules(row.energy), units),
    ]


def _kilojoules(figure: Quantity | None) -> Quantity | None:
    return None if figure is None else Quantity(1e-3 * figure.value, 1e-3 * figure.u95, "kJ")


def _deceleration_row(stop: StopResult, units: ReadIn) -> list[str]:
    figures = (stop.initial_speed, stop.mfdd, stop.mfdd_level, stop.peak, stop.build_up_s)
    return [stop.manoeuvre, *(_pair(figure, units) for figure in figures)]


def _distance_row(stop: StopResult, units: ReadIn) -> list[str]:
    nominal = quantity_text(stop.nominal_speed, units) if stop.nominal_speed else ""
    brought = _pair(stop.distance_nominal, units) if nominal else ""
    grade = _pair(_percent(stop.grade), units, signed=True)
    return [stop.manoeuvre, _pair(stop.distance, units), nominal, brought, grade]


def _drift_row(stop: StopResult, units: ReadIn) -> list[str]:
    figures = (stop.drift, stop.heading_change)
    return [stop.manoeuvre, *(_pair(figure, units, signed=True) for figure in figures)]
