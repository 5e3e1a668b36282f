"""The charts of a drive, on the page, by subject."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.aria import aria
from dashboard.ids import Ids
from dashboard.plotly_drawer import Figure, draw_plotly
from dashboard.work import Work
from roadtest.charts.focus import focused, window
from roadtest.charts.model import Chart
from roadtest.charts.palette import DARK, LIGHT
from roadtest.charts.svg import draw_svg

_SUBJECTS: Final = {
    "drive": "Whole drive",
    "speedometer": "Speedometer",
    "gearing": "Gearing",
    "braking": "Braking",
    "coasting": "Coasting",
    "pulls": "Pulls",
    "channels": "Channels",
    "log": "Log",
}


def subjects(charts: Sequence[Chart]) -> list[str]:
    """Return the subjects that there are charts of, in order."""
    return list(dict.fromkeys(chart.subject for chart in charts))


def view_buttons(charts: Sequence[Chart], at_hand: str) -> list[Any]:
    """Return a button for each evidence view."""
    return [
        html.Button(
            _SUBJECTS.get(name, name.capitalize()),
            id=Ids.subject(name),
            n_clicks=0,
            **aria(pressed="true" if name == at_hand else "false"),
        )
        for name in subjects(charts)
    ]


@dataclass(frozen=True)
class Screen:
    """What the browser says of its screen."""

    dark: bool = False
    touch: bool = False

    @classmethod
    def told(cls, said: object) -> Screen:
        """Return the screen that the browser tells of, a usual one where it doesn't."""
        known = said if isinstance(said, dict) else {}
        return cls(known.get("dark") is True, known.get("touch") is True)

    def figure(self, chart: Chart, between: tuple[float, float] | None = None) -> Figure:
        """Return the figure of a chart for it."""
        return draw_plotly(chart, DARK if self.dark else LIGHT, between, still=self.touch)

    def config(self, chart: Chart) -> Any:
        """Return how a figure answers to mouse and finger."""
        return {
            "displaylogo": False,
            "displayModeBar": False if self.touch else "hover",
            "modeBarButtonsToRemove": ["select2d", "lasso2d", "autoScale2d"],
            # A chart over time is drawn anew, by the server, when the whole is asked for.
            "doubleClick": "autosize" if chart.x.scale == "clock" else "reset",
        }


def evidence_view(work: Work, subject: str, manoeuvre: str | None, screen: Screen) -> list[Any]:
    """Return the charts of one subject, `manoeuvre` brought out where it is shown."""
    shown = []
    for chart in work.charts:
        if chart.subject == subject:
            brought_out = focused(chart, manoeuvre) if manoeuvre else chart
            shown.append(_chart(brought_out, screen, _near(chart, manoeuvre)))
    return shown


def _near(chart: Chart, manoeuvre: str | None) -> tuple[float, float] | None:
    """Return the stretch of a chart over time to show, so that a manoeuvre is seen well."""
    return window(chart, manoeuvre) if manoeuvre and chart.x.scale == "clock" else None


def _chart(chart: Chart, screen: Screen, between: tuple[float, float] | None) -> Any:
    figure = screen.figure(chart, between)
    paper = "data:image/svg+xml," + quote(draw_svg(chart))
    return html.Figure(
        [
            html.H3(chart.title, id=f"title-{chart.id}"),
            html.Figcaption(chart.says),
            html.Div(
                dcc.Graph(
                    id=Ids.graph(chart.id),
                    figure=figure,
                    responsive=True,
                    config=screen.config(chart),
                    style={"height": "100%"},
                ),
                className="graph",
                role="img",
                style={"aspectRatio": f"1 / {chart.height:.3f}"},
                **aria(label=f"{chart.title}. {chart.says}"),
            ),
            html.Img(src=paper, alt=chart.says, className="paper"),
            *[html.P(note, className="small") for note in chart.notes],
        ],
        id=f"chart-{chart.id}",
        tabIndex=-1,
    )
