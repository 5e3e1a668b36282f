"""A chart as plain data: what is drawn, in the units people read, and the sentence that says it.

A drawer turns it into a picture: `svg.py` for the report, the page's own one for the screen. Both
take ranges and ticks from `scale.py` and colours from `palette.py`, so that they show the same.
Arrays are held read-only. NaN is a gap: a line stops there and starts again after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Final, Literal, TypeAlias, get_args

import numpy as np

from roadtest.quantity import Floats

Role = Literal[
    "measured",
    "expected",
    "fit",
    "limit",
    "allowed",
    "advised",
    "other",
    "hold",
    "pull",
    "stop",
    "coast",
    "series 1",
    "series 2",
    "series 3",
    "series 4",
    "series 5",
    "series 6",
]
"""What a colour stands for; `palette.py` says which colour that is on light and on dark."""

Dash = Literal["solid", "dashed", "dotted", "dash-dot", "long dash"]
Marker = Literal[
    "circle", "square", "diamond", "triangle up", "triangle down", "plus", "cross", "star"
]
Scale = Literal["number", "clock", "whole", "none"]
"""How an axis counts: numbers, minutes and seconds of a time in seconds, whole numbers, not."""

SERIES: Final[tuple[Role, ...]] = tuple(role for role in get_args(Role) if "series" in role)
CAPS: Final[dict[Role, Marker]] = {
    "hold": "square",
    "pull": "triangle up",
    "stop": "triangle down",
    "coast": "diamond",
}
"""The marker above each manoeuvre of a kind, so that colour does not tell the kind alone."""
DASHES: Final[tuple[Dash, ...]] = get_args(Dash)
MARKERS: Final[tuple[Marker, ...]] = get_args(Marker)


@dataclass(frozen=True)
class Axis:
    """One axis: its title and the unit of its figures; `title_text` is both, as printed.

    `range` fixes it; None fits what is drawn. `equal`: one unit is as long as on the other axis.
    `labels` name places on it, instead of numbers. Charts whose axes have the same `shared` name
    show the same quantity there, so a page can zoom them together.
    """

    title: str
    unit: str = ""
    range: tuple[float, float] | None = None
    equal: bool = False
    scale: Scale = "number"
    labels: tuple[tuple[float, str], ...] = ()
    shared: str = ""
    from_zero: bool = False  # where the range is not fixed, it takes in 0
    reverse: bool = False  # larger values stand lower: of what is seen from above

    @property
    def title_text(self) -> str:
        """The title with its unit: "True speed, mph"."""
        return f"{self.title}, {self.unit}" if self.unit else self.title


@dataclass(frozen=True, eq=False)
class Line:
    """A line through points x, y ([n] float); `steps` holds each value until the next point.

    `time_s` ([n], seconds into the drive) ties its points to the moment, where x is not the time.
    """

    x: Floats
    y: Floats
    label: str = ""  # "" keeps it out of the legend
    role: Role = "measured"
    dash: Dash = "solid"
    width: float = 1.0  # relative to the usual line
    steps: bool = False
    manoeuvre: str | None = None
    time_s: Floats | None = None

    def __post_init__(self) -> None:
        _hold(self, ("x", "y", "time_s"))


@dataclass(frozen=True, eq=False)
class Points:
    """Points x, y ([n] float), with half-widths of their 95 % intervals where they have them.

    `names` says what each point is, for whoever points at it; `manoeuvres` where it was measured.
    """

    x: Floats
    y: Floats
    label: str = ""
    role: Role = "measured"
    marker: Marker = "circle"
    hollow: bool = False
    x_u95: Floats | None = None
    y_u95: Floats | None = None
    names: tuple[str, ...] = ()
    manoeuvres: tuple[str | None, ...] = ()
    named: bool = False  # names are printed beside the points as well
    size: float = 1.0  # relative to the usual marker

    def __post_init__(self) -> None:
        _hold(self, ("x", "y", "x_u95", "y_u95"))
        for what in (self.names, self.manoeuvres):
            if what and len(what) != self.x.size:
                raise ValueError(f"{len(what)} names or manoeuvres for {self.x.size} points")


@dataclass(frozen=True, eq=False)
class Band:
    """The area between low and high ([n] float each) over x; infinite ends reach the frame."""

    x: Floats
    low: Floats
    high: Floats
    label: str = ""
    role: Role = "measured"
    edged: bool = False  # with a line along its ends, as a limit has
    manoeuvre: str | None = None

    def __post_init__(self) -> None:
        _hold(self, ("x", "low", "high"))


@dataclass(frozen=True, eq=False)
class Bars:
    """Level bars from 0 to `length`, one at each height `y` ([n] float), `names` above them."""

    y: Floats
    length: Floats
    label: str = ""
    role: Role = "measured"
    names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _hold(self, ("y", "length"))
        if self.names and len(self.names) != self.y.size:
            raise ValueError(f"{len(self.names)} names for {self.y.size} bars")


@dataclass(frozen=True)
class Span:
    """An upright region from x = `start` to `end`: a manoeuvre, or a gap.

    `label` stands at its top where there is room; `set_aside` marks one that was not used. A
    manoeuvre's role stands in the legend, with the marker that `CAPS` gives it above the frame.
    """

    start: float
    end: float
    label: str = ""
    role: Role = "other"
    manoeuvre: str | None = None
    set_aside: bool = False
    faint: bool = False  # another one is brought out


@dataclass(frozen=True)
class Level:
    """A rule across the panel at one value of y, or of x (`axis`): a limit, a nominal value.

    `allowed` says which side of a limit is allowed, as hatching on the other side shows.
    """

    value: float
    label: str = ""
    role: Role = "limit"
    dash: Dash = "dashed"
    axis: Literal["x", "y"] = "y"
    allowed: Literal["above", "below"] | None = None
    in_view: bool = True  # an axis that fits what is drawn takes it in


@dataclass(frozen=True)
class Slope:
    """The straight line y = intercept + slope · x, across the whole panel."""

    slope: float
    intercept: float = 0.0
    label: str = ""
    role: Role = "expected"
    dash: Dash = "dashed"
    at_end: bool = False  # the label stands at the line's end, not in the legend
    width: float = 1.0


@dataclass(frozen=True)
class Note:
    """A few words at a point."""

    x: float
    y: float
    text: str
    role: Role = "other"
    side: Literal["left", "right", "above", "below"] = "right"


Mark: TypeAlias = Line | Points | Band | Bars | Span | Level | Slope | Note


@dataclass(frozen=True)
class Panel:
    """One frame of a chart. Marks are drawn in order, the first at the bottom.

    `share` is its part of the height, relative to the other panels.
    """

    y: Axis
    marks: tuple[Mark, ...]
    share: float = 1.0
    title: str = ""


@dataclass(frozen=True)
class Chart:
    """What is drawn: panels one above the other over one x axis.

    `says` is the alternative text: one sentence that says what is to be seen. `findings` are the
    ids of the findings that it is the evidence for.
    """

    id: str
    title: str
    says: str
    x: Axis
    panels: tuple[Panel, ...]
    findings: tuple[str, ...] = ()
    subject: str = ""  # "drive", "speedometer", ...: the view that it belongs to
    height: float = 0.55  # of its width, as a suggestion
    notes: tuple[str, ...] = ()  # small print beneath it

    def __post_init__(self) -> None:
        if not self.panels:
            raise ValueError(f"chart {self.id} has no panel")
        if not self.says.strip().endswith("."):
            raise ValueError(f"chart {self.id} needs a sentence that says what it shows")

    @property
    def marks(self) -> tuple[Mark, ...]:
        """All marks of all panels."""
        return tuple(mark for panel in self.panels for mark in panel.marks)

    @property
    def manoeuvres(self) -> tuple[str, ...]:
        """Ids of the manoeuvres that it shows, each once."""
        found: dict[str, None] = {}
        for mark in self.marks:
            if isinstance(mark, Points):
                found.update((name, None) for name in mark.manoeuvres if name)
            elif isinstance(mark, Line | Band | Span) and mark.manoeuvre:
                found[mark.manoeuvre] = None
        return tuple(found)


def same_drawing(one: Chart, other: Chart) -> bool:
    """Return whether two charts hold the same figures and words."""
    return _plain(one) == _plain(other)


def _plain(value: object) -> object:
    """Return `value` as nested tuples that can be compared."""
    if isinstance(value, np.ndarray):
        return value.tobytes()
    if isinstance(value, tuple):
        return tuple(_plain(part) for part in value)
    if hasattr(value, "__dataclass_fields__"):
        held = ((part.name, getattr(value, part.name)) for part in fields(value))  # type: ignore[arg-type]
        return (type(value).__name__, *((name, _plain(part)) for name, part in held))
    return value


def _hold(mark: object, names: Sequence[str]) -> None:
    """Hold the arrays `names` of a mark read-only, all of one length."""
    sizes = {}
    for name in names:
        values = getattr(mark, name)
        if values is None:
            continue
        held = np.array(values, dtype=np.float64)
        if held.ndim != 1:
            raise ValueError(f"{name} has {held.ndim} dimensions, not 1")
        held.setflags(write=False)
        object.__setattr__(mark, name, held)
        sizes[name] = held.size
    if len(set(sizes.values())) > 1:
        raise ValueError(f"arrays of different lengths: {sizes}")
