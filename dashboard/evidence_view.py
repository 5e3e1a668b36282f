"""The charts of a drive, on the page, by subject."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.aria import aria, data
from dashboard.ids import Ids
from dashboard.key import key_of
from dashboard.numbers_view import numbers_of
from dashboard.plotly_drawer import Figure, draw_plotly, height_px
from dashboard.work import Work
from roadtest.charts.focus import focused, window
from roadtest.charts.model import Chart
from roadtest.charts.palette import DARK, LIGHT

Stretch = tuple[float, float]

_SUBJECTS: Final = {
    "drive": "Whole drive",
    "speedometer": "Speedometer",
    "odometer": "Odometer",
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


def evidence_places(charts: Sequence[Chart]) -> list[Any]:
    """Return a button and an empty place for each evidence view; the browser fills them."""
    names = subjects(charts)
    buttons = [
        html.Button(
            _SUBJECTS.get(name, name.capitalize()),
            type="button",
            **data(subject=name),
            **aria(pressed="false"),
        )
        for name in names
    ]
    panes = [
        html.Div(id=Ids.pane(name), className="pane away", **data(pane=name)) for name in names
    ]
    return [
        html.Nav(buttons, className="views", **aria(label="Evidence")),
        html.Div(panes, id=Ids.EVIDENCE),
        *[dcc.Store(id=Ids.want(name)) for name in names],
    ]


def lead(text: str, chart: Chart, manoeuvre: str = "", says: str = "") -> Any:
    """Return a button that leads to a chart, `manoeuvre` brought out; `says` is its long name."""
    named = aria(label=says) if says else {}
    where = data(subject=chart.subject, chart=chart.id, manoeuvre=manoeuvre)
    return html.Button(text, type="button", **where, **named)


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

    def figure(self, chart: Chart, between: Stretch | None = None) -> Figure:
        """Return the figure of a chart for it."""
        return draw_plotly(chart, DARK if self.dark else LIGHT, between, still=self.touch)


# The page itself zooms back (assets/charts.js), so that charts with an axis in common keep step.
_CONFIG: Final[Any] = {"displaylogo": False, "displayModeBar": False, "doubleClick": False}


@dataclass(frozen=True)
class Asked:
    """What somebody wants to see: a subject, a manoeuvre brought out, a stretch of the drive."""

    subject: str
    manoeuvre: str | None = None
    between: Stretch | None = None

    def shown(self, chart: Chart) -> tuple[Chart, Stretch | None]:
        """Return the chart as it is to be drawn, and the stretch of it."""
        over_time = chart.x.scale == "clock"
        between = self.between if over_time else None
        if self.manoeuvre is None:
            return chart, between
        near = window(chart, self.manoeuvre) if over_time else None
        return focused(chart, self.manoeuvre), near or between


def evidence_view(work: Work, asked: Asked, screen: Screen) -> list[Any]:
    """Return the charts of one subject, with what keeps those over time in step."""
    charts = [chart for chart in work.charts if chart.subject == asked.subject]
    shown = [_chart(work, *asked.shown(chart), screen) for chart in charts]
    over_time = any(chart.x.scale == "clock" for chart in charts)
    # The browser fills them; the second stays in sight while the charts roll by.
    moment = [html.Div(className="moment"), html.Div(className="told", role="status")]
    beside = asked.subject == "drive" and len(shown) > 1
    return [*(moment if over_time else []), html.Div(shown, className="beside" if beside else "")]


def _chart(work: Work, chart: Chart, between: Stretch | None, screen: Screen) -> Any:
    figure = screen.figure(chart, between)
    paper = f"drive/{quote(work.id)}/chart/{quote(chart.id)}.svg?{work.version}"
    return html.Figure(
        [
            html.H3(chart.title, id=f"title-{chart.id}"),
            html.Figcaption(chart.says),
            key_of(figure),
            html.Div(
                dcc.Graph(
                    id=Ids.graph(chart.id),
                    figure=figure,
                    responsive=True,
                    config=_CONFIG,
                    style={"height": "100%"},
                ),
                className="graph",
                role="img",
                style={"height": f"{height_px(chart):.0f}px"},
                **aria(label=f"{chart.title}. {chart.says}"),
            ),
            # Fetched once the view stands (assets/charts.js): only paper shows it.
            html.Img(alt=chart.says, className="paper", **data(src=paper)),
            *[html.P(note, className="small") for note in chart.notes],
            numbers_of(chart),
        ],
        id=f"chart-{chart.id}",
        tabIndex=-1,
    )
