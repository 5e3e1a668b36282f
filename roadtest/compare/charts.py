"""Drives of one car drawn over one another: what the comparison's table says, as charts.

Everything comes from the results, so drives and results files give the same charts. Each drive has
a dash and a marker of its own beside its colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from roadtest.charts.model import Chart
from roadtest.compare.car_charts import coasting_chart, dial_chart, gears_chart
from roadtest.compare.model import Comparison
from roadtest.compare.run_charts import power_charts, pull_times_chart, standing_chart, stops_chart
from roadtest.compare.side import side_by_side
from roadtest.results import ReadIn, Results

_BUILDERS: Final = (
    dial_chart,
    gears_chart,
    stops_chart,
    coasting_chart,
    pull_times_chart,
    power_charts,
    standing_chart,
)


def comparison_charts(
    found: Comparison, results: Sequence[Results], units: ReadIn | None = None
) -> tuple[Chart, ...]:
    """Return the charts of a comparison, `results` being those it was made from, in that order.

    `units` are what to read, by default those of the comparison. What fewer than two drives show
    has no chart. Ids are unique and begin with "compare-".
    """
    side = side_by_side(found, results, units or found.units)
    return tuple(chart for build in _BUILDERS for chart in build(side))
