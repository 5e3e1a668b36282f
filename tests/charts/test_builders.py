"""Charts of whole drives: what they show is what was measured, and what was true."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from roadtest.charts import all_charts, chart_for, charts_of
from roadtest.charts.braking import braking_charts
from roadtest.charts.model import (
    Band,
    Bars,
    Chart,
    Level,
    Line,
    Mark,
    Points,
    Slope,
    Span,
    same_drawing,
)
from roadtest.charts.source import Source
from roadtest.charts.svg import draw_svg
from roadtest.check import Checked
from roadtest.results import Results
from roadtest.units import from_si
from tests.charts.pictures import overlapping, parsed
from tests.simulation.truth import Truth

Sample = Callable[[str], Checked]

_WITH_TACH = "after-axle-change"
_ALL_IDS = (
    "drive",
    "path",
    "dial",
    "dial-error",
    "odometer",
    "gears",
    "gear-steps",
    "stories",
    "stops-time",
    "stops-distance",
    "mfdd",
    "fade",
    "drift",
    "coasting",
    "coasts-time",
    "pulls-time",
    "standing",
    "power",
    "power-engine",
    "channel-coolant_temperature",
    "channel-oil_pressure",
    "channel-battery",
    "log",
)


def _by_id(charts: tuple[Chart, ...], name: str) -> Chart:
    return next(chart for chart in charts if chart.id == name)


def _labelled(chart: Chart, label: str) -> Mark:
    return next(mark for mark in chart.marks if getattr(mark, "label", None) == label)


def test_a_full_drive_has_every_chart_in_order(sample: Sample) -> None:
    charts = all_charts(sample(_WITH_TACH))
    assert tuple(chart.id for chart in charts) == _ALL_IDS


def test_a_drive_without_a_tach_has_no_gears_but_all_else(sample: Sample) -> None:
    charts = all_charts(sample("phone-gpx"))
    ids = {chart.id for chart in charts}
    assert not ids & {"gears", "gear-steps", "stories", "power-engine", "standing"}
    assert {"drive", "path", "dial-error", "mfdd", "drift", "coasting", "pulls-time"} <= ids
    titles = [panel.y.title for panel in _by_id(charts, "drive").panels]
    assert not [title for title in titles if "Engine" in title or "Gear" in title]


@pytest.mark.parametrize("name", [_WITH_TACH, "messy-log", "phone-gpx"])
def test_every_chart_can_be_drawn_and_says_what_it_shows(sample: Sample, name: str) -> None:
    for chart in all_charts(sample(name)):
        svg = draw_svg(chart, headed=True)
        assert overlapping(parsed(svg)) == [], chart.id
        assert len(svg) < 200_000
        assert len(chart.says) > 20
        assert "nan" not in svg and "inf" not in svg.replace("info", "")
        assert "not measured" not in chart.says


@pytest.mark.parametrize("name", [_WITH_TACH, "messy-log", "phone-gpx"])
def test_every_finding_that_was_measured_leads_to_a_chart(sample: Sample, name: str) -> None:
    checked = sample(name)
    charts = all_charts(checked)
    ids = {chart.id for chart in charts}
    told = {m.id for m in checked.results.manoeuvres}
    for finding in checked.results.findings:
        if finding.id in ("inspection", "odometer") or finding.id.startswith("work."):
            continue
        measured = finding.measured or any(item.measured for item in finding.items)
        if not measured:
            continue
        chart = chart_for(finding.id, charts)
        assert chart is not None, finding.id
        assert chart.id in ids and finding.id in chart.findings
        assert set(chart.manoeuvres) <= told


def test_a_finding_that_nothing_shows_leads_nowhere(sample: Sample) -> None:
    assert chart_for("inspection", all_charts(sample(_WITH_TACH))) is None


def test_the_same_drive_gives_the_same_charts(sample: Sample) -> None:
    one, other = all_charts(sample(_WITH_TACH)), all_charts(sample(_WITH_TACH))
    assert all(same_drawing(a, b) for a, b in zip(one, other, strict=True))


def test_an_empty_drive_has_only_itself_and_its_log(sample: Sample) -> None:
    checked = sample(_WITH_TACH)
    bare = Source(Results(units="mph"), replace(checked.survey.evidence, channels=()))
    charts = charts_of(bare)
    assert [chart.id for chart in charts] == ["drive", "path", "log"]
    for chart in charts:
        parsed(draw_svg(chart))


def test_figures_are_in_the_units_people_read(sample: Sample) -> None:
    checked = sample(_WITH_TACH)
    metric = replace(checked, results=replace(checked.results, units="km/h"))
    for name in ("drive", "dial-error", "stops-time", "pulls-time"):
        mph, kmh = (_by_id(all_charts(one), name) for one in (checked, metric))
        kind = Points if name == "dial-error" else Line
        one, other = (
            next(m for m in c.marks if isinstance(m, kind) and m.role != "advised")
            for c in (mph, kmh)
        )
        np.testing.assert_allclose(other.y, 1.609344 * one.y, rtol=1e-9, equal_nan=True)
        assert [chart.panels[0].y.unit for chart in (mph, kmh)] == ["mph", "km/h"]


def test_the_drive_shows_speed_with_its_interval_and_marks_what_was_used(sample: Sample) -> None:
    checked = sample("messy-log")
    motion = checked.survey.evidence.motion
    chart = _by_id(all_charts(checked), "drive")
    line, band = _labelled(chart, "speed"), _labelled(chart, "95 % interval of speed")
    assert isinstance(line, Line) and isinstance(band, Band)
    top = checked.results.drive.top_speed
    assert top is not None
    assert float(np.nanmax(line.y)) == pytest.approx(from_si(top.value, "mph"), abs=0.2)
    known = np.isfinite(line.y)
    assert np.all(band.low[known] <= line.y[known]) and np.all(line.y[known] <= band.high[known])
    marked = {mark.manoeuvre for mark in chart.panels[0].marks if isinstance(mark, Span)}
    used = {m.id for m in checked.results.manoeuvres if m.used}
    assert marked - {None} == used
    gaps = [gap for log in checked.results.logs for gap in log.gaps if log.speed_source]
    assert len(gaps) >= 2
    assert line.x.size == motion.time_s.size + len(gaps)
    for gap in gaps:
        near = (line.x >= gap.start_s - 0.5) & (line.x <= gap.end_s + 0.5)
        assert np.isnan(line.y[near]).any()


def test_the_dial_shows_every_reading_and_the_advice(sample: Sample) -> None:
    checked = sample(_WITH_TACH)
    chart = _by_id(all_charts(checked), "dial-error")
    points = _labelled(chart, "error of each reading")
    assert isinstance(points, Points)
    readings = [r for r in checked.results.speedometer.readings if r.error is not None]
    shown = [from_si(r.error.value, "mph") for r in readings if r.error is not None]
    np.testing.assert_allclose(points.y, shown)
    assert points.manoeuvres == tuple(r.manoeuvre for r in readings)
    band = next(mark for mark in chart.marks if isinstance(mark, Band) and mark.edged)
    # UN R39: never below the true speed, at most a tenth and 4 km/h above it.
    np.testing.assert_allclose(band.low, 0.0, atol=1e-9)
    np.testing.assert_allclose(band.high, 0.1 * band.x + 4.0 / 1.609344, rtol=1e-6)
    assert _labelled(chart, "after a driven gear of 20 teeth")


def test_gears_lie_on_their_lines_and_beside_the_build_sheets(sample: Sample) -> None:
    checked = sample(_WITH_TACH)
    chart = _by_id(all_charts(checked), "gears")
    for row in checked.results.gearing.gears:
        line = _labelled(chart, f"gear {row.gear}")
        points = _labelled(chart, f"in gear {row.gear}")
        assert isinstance(line, Slope) and isinstance(points, Points)
        # The line is free of tyre creep, which is some 2 % in a brisk pull; gears are 20 % apart.
        off = points.y / (line.slope * points.x) - 1.0
        assert abs(float(np.median(off))) < 0.04
    sheet = checked.survey.evidence.sheet
    lines = [m for m in chart.marks if isinstance(m, Slope) and m.role == "expected"]
    assert len(lines) == len(sheet.ratios)
    assert sheet.circumference is not None and sheet.axle_ratio is not None
    top = sheet.ratios[-1] * sheet.axle_ratio / sheet.circumference.value * 60.0 * 1609.344 / 3600.0
    assert lines[-1].slope == pytest.approx(top)


def test_stories_are_drawn_as_probable_as_they_are(sample: Sample) -> None:
    checked = sample(_WITH_TACH)
    bars = _by_id(all_charts(checked), "stories").marks[0]
    assert isinstance(bars, Bars)
    stories = checked.results.gearing.stories
    np.testing.assert_allclose(
        bars.length, [100.0 * s.probability for s in stories][: bars.length.size]
    )
    assert np.all(np.diff(bars.y) < 0.0)


def test_deceleration_stands_with_its_interval_against_the_limit(sample: Sample) -> None:
    checked = sample("messy-log")
    chart = _by_id(all_charts(checked), "mfdd")
    points = _labelled(chart, "on the level, 95 % interval")
    assert isinstance(points, Points) and points.y_u95 is not None
    stops = checked.results.braking.stops
    np.testing.assert_allclose(points.y, [s.mfdd_level.value for s in stops if s.mfdd_level])
    np.testing.assert_allclose(points.y_u95, [s.mfdd_level.u95 for s in stops if s.mfdd_level])
    limit = next(mark for mark in chart.marks if isinstance(mark, Level))
    assert (limit.value, limit.allowed) == (5.8, "above")


def test_drift_ends_where_it_was_measured(sample: Sample) -> None:
    checked = sample("messy-log")
    chart = _by_id(all_charts(checked), "drift")
    ends = {m.manoeuvres[0]: m for m in chart.marks if isinstance(m, Points)}
    paths = {m.manoeuvre: m for m in chart.marks if isinstance(m, Line)}
    assert set(ends) == set(paths)
    for stop in checked.results.braking.stops:
        assert stop.drift is not None
        end, path = ends[stop.manoeuvre], paths[stop.manoeuvre]
        assert end.y[0] == stop.drift.value
        assert path.y[0] == pytest.approx(0.0, abs=1e-6)
        assert path.y[-1] == pytest.approx(stop.drift.value, abs=0.02 * stop.drift.u95)
        assert stop.drift.value < 0.0  # this drive pulls to the left: upward on the chart
    assert chart.panels[0].y.reverse


def test_fade_and_channels_stand_against_their_limits(sample: Sample) -> None:
    fade = _by_id(all_charts(sample("messy-log")), "fade")
    points = _labelled(fade, "like stops, 95 % interval")
    assert isinstance(points, Points)
    assert points.y[0] == 100.0
    assert {m.value for m in fade.marks if isinstance(m, Level)} == {100.0, 75.0}
    hot = _by_id(all_charts(sample(_WITH_TACH)), "channel-coolant_temperature")
    limit = next(mark for mark in hot.marks if isinstance(mark, Level))
    assert (limit.value, limit.allowed, hot.panels[0].y.unit) == (105.0, "below", "°C")


def test_simulated_stops_are_drawn_as_they_were(simulated_stops: tuple[Truth, Source]) -> None:
    truth, source = simulated_stops
    shift = source.evidence.start_unix_s - truth.start_utc_s
    charts = braking_charts(source)
    by_time, by_way = _by_id(charts, "stops-time"), _by_id(charts, "stops-distance")
    stops = [m for m in source.evidence.manoeuvres if m.kind == "stop"]
    assert len(stops) == 5
    for made in stops:
        start_s = made.start_s + shift
        line = _labelled(by_time, made.id)
        assert isinstance(line, Line)
        moving = (line.x > 0.0) & (line.y > 3.0)
        true = from_si(truth.speed_at(line.x[moving] + start_s), "mph")
        np.testing.assert_allclose(line.y[moving], true, atol=0.5)
        over = _labelled(by_way, made.id)
        assert isinstance(over, Line)
        way = truth.distance_at(line.x[moving] + start_s) - truth.distance_at(start_s)
        np.testing.assert_allclose(over.x[moving], way, atol=0.3)


def test_the_odometer_s_last_reading_lies_where_the_results_say(sample: Sample) -> None:
    checked = sample(_WITH_TACH)
    chart = _by_id(all_charts(checked), "odometer")
    points = _labelled(chart, "readings, their last digit")
    found = checked.results.odometer
    assert isinstance(points, Points) and found.indicated is not None and found.true is not None
    mile = 1609.344
    assert points.x[[0, -1]] == pytest.approx([0.0, found.true.value / mile])
    assert points.y[-1] == pytest.approx((found.indicated.value - found.true.value) / mile)
    assert chart_for("odometer", [chart]) is chart
