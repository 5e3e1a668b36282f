"""Every chart of a drive, in the order of the findings they bear out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from roadtest.charts.braking import braking_charts
from roadtest.charts.channels import channel_charts
from roadtest.charts.coasting import coasting_charts
from roadtest.charts.drive import drive_charts
from roadtest.charts.gearing import gearing_charts
from roadtest.charts.logs import log_charts
from roadtest.charts.model import Chart
from roadtest.charts.odometer import odometer_charts
from roadtest.charts.pulls import pull_charts
from roadtest.charts.source import Source
from roadtest.charts.speedometer import speedometer_charts

if TYPE_CHECKING:
    from roadtest.check import Checked

_BUILDERS: Final = (
    drive_charts,
    speedometer_charts,
    odometer_charts,
    gearing_charts,
    braking_charts,
    coasting_charts,
    pull_charts,
    channel_charts,
    log_charts,
)

_SHOWN_BY: Final = {
    "speedometer": "dial-error",
    "odometer": "odometer",
    "gearbox": "gear-steps",
    "axle": "gears",
    "tach": "gears",
    "clutch_slip": "gears",
    "cruise_rpm": "gears",
    "mfdd": "mfdd",
    "spread": "mfdd",
    "stopping_distance": "stops-distance",
    "fade": "fade",
    "drift": "drift",
    "rolling_coefficient": "coasting",
    "standing": "standing",
    "through": "pulls-time",
}
"""The chart that shows a finding best, by the finding's id."""


def all_charts(checked: Checked) -> tuple[Chart, ...]:
    """Return all charts of a checked drive, the drive itself first, the log's quality last.

    What was not measured has none. Ids are unique, and the same from drive to drive.
    """
    return charts_of(Source(checked.results, checked.survey.evidence, checked.traces))


def charts_of(source: Source) -> tuple[Chart, ...]:
    """Return all charts of what `source` holds; see `all_charts`."""
    return _with_own_ids([chart for build in _BUILDERS for chart in build(source)])


def _with_own_ids(charts: Sequence[Chart]) -> tuple[Chart, ...]:
    """Return the charts, those with an id that is taken (a channel of two files) numbered."""
    found: dict[str, Chart] = {}
    for chart in charts:
        name, number = chart.id, 2
        while name in found:
            name, number = f"{chart.id}-{number}", number + 1
        found[name] = replace(chart, id=name)
    return tuple(found.values())


def chart_for(finding_id: str, charts: Sequence[Chart]) -> Chart | None:
    """Return the chart that shows a finding best, None where none does."""
    fitting = [chart for chart in charts if finding_id in chart.findings]
    best = _SHOWN_BY.get(finding_id)
    return next((chart for chart in fitting if chart.id == best), fitting[0] if fitting else None)
