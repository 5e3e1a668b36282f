"""From the results of several drives of one car to their comparison."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final

from roadtest.compare.differences import difference, mean_of, shared_error
from roadtest.compare.figures import Key, Sample, figures_of
from roadtest.compare.model import ComparedDrive, Comparison, Difference, Row
from roadtest.errors import InputError
from roadtest.results import GPS_KINDS, CarInfo, Results
from roadtest.wording import plural

_UNNAMED: Final = CarInfo().label
_CHANCE: Final = 0.05  # of a 95 % interval excluding 0 where nothing changed

_SECTIONS: Final = (
    "speedometer",
    "odometer",
    "tach",
    "gearing",
    "cruise",
    "stops",
    "coasting",
    "pulls",
    "channels",
)


def compare(results: Sequence[Results], names: Sequence[str] = ()) -> Comparison:
    """Return the drives of one car side by side, the later ones against the first.

    `names` are what the drives are called, by default the moments they started at. Figures are
    matched by what they mean: gear, speeds, unit.

    Raises InputError where the drives can't be compared: fewer than two, the same drive twice, or
    not of one car.
    """
    called = tuple(names) or tuple(
        found.drive.start_utc or f"drive {number}" for number, found in enumerate(results, 1)
    )
    _need_comparable(results, called)
    figures = [figures_of(found) for found in results]
    rows = tuple(_row(key, figures, results) for key in _common(figures))
    return Comparison(
        units=results[0].units,
        car=results[0].car,
        drives=tuple(
            ComparedDrive(
                name,
                found.drive.start_utc,
                tuple(f"{one.manoeuvre} ({one.reason})" for one in found.by_hand.left_out),
            )
            for name, found in zip(called, results, strict=True)
        ),
        rows=rows,
        notes=_notes(rows, results, figures),
    )


def _need_comparable(results: Sequence[Results], names: Sequence[str]) -> None:
    if len(results) < 2:
        raise InputError(", ".join(names), "", "one drive", "two drives of one car, or more")
    for (a, first), (b, later) in combinations(zip(names, results, strict=True), 2):
        both = f"{a} and {b}"
        if _logs(first) & _logs(later):
            raise InputError(both, "", "the same GPS log in both", "two different drives")
        mine, other = _identity(first.car, later.car)
        if mine != other:
            found = f"different cars ({mine}; {other})"
            raise InputError(both, "", found, "drives of one car")
        if mine == _UNNAMED:
            found = "neither build sheet names its car"
            raise InputError(both, "", found, "the same chassis or label under [car]")


def _identity(first: CarInfo, later: CarInfo) -> tuple[str, str]:
    """Return what tells the two cars apart: chassis where both have one, else the label."""
    if first.chassis and later.chassis:
        pair = (first.chassis, later.chassis)
    else:
        pair = (first.label, later.label)
    same = _plain(pair[0]) == _plain(pair[1])
    return (pair[0], pair[0]) if same else pair


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _logs(results: Results) -> set[str]:
    return {file.sha256 for file in results.files if file.kind in GPS_KINDS} - {""}


def _common(figures: Sequence[dict[Key, Sample]]) -> list[Key]:
    """Return the keys that the first drive and a later one have, in the order to show them."""
    first, *later = figures
    keys = [key for key in first if any(_unit(key, first) == _unit(key, one) for one in later)]
    return sorted(keys, key=lambda key: _SECTIONS.index(key[0]))


def _unit(key: Key, figures: dict[Key, Sample]) -> str | None:
    sample = figures.get(key)
    return None if sample is None else sample.values[0].unit


def _row(key: Key, figures: Sequence[dict[Key, Sample]], results: Sequence[Results]) -> Row:
    unit = _unit(key, figures[0])
    samples = [one[key] if _unit(key, one) == unit else None for one in figures]
    first = figures[0][key]
    differences: list[Difference | None] = []
    for sample, found in zip(samples[1:], results[1:], strict=True):
        if sample is None:
            differences.append(None)
            continue
        same = first.rests_on == sample.rests_on
        shared = shared_error(results[0], found, first.rests_on if same else None)
        differences.append(difference(first, sample, shared))
    means = tuple(None if sample is None else mean_of(sample) for sample in samples)
    return Row(key[0], key[1], means, tuple(differences))


def _notes(
    rows: Sequence[Row], results: Sequence[Results], figures: Sequence[dict[Key, Sample]]
) -> tuple[str, ...]:
    told = [one for row in rows for one in row.differences if one is not None]
    judged = sum(one.change != "no interval" for one in told)
    notes = []
    if judged:
        chance = max(1, round(_CHANCE * judged))
        notes.append(
            f"Of {plural(judged, 'difference')} about {chance} would look changed by chance alone, "
            "for each interval is a 95 % one; figures of one cause (cruise, ratios) go together."
        )
    for rests_on, what in (("tyre", "tyre"), ("mass", "mass")):
        given = any(shared_error(results[0], one, rests_on) for one in results[1:])  # type: ignore[arg-type]
        if given:
            notes.append(
                f"Both sheets give the same {what}: its error cancels in what rests on it."
            )
    notes.append(
        "All else counts as independent, how the dial was read and how true the tach is among it: "
        "where instrument, crew or day were the same, the intervals are wider than they need be."
    )
    if any(row.section in ("stops", "pulls") for row in rows):
        notes.append(
            "Means of stops and pulls hold the runs' own variation. With one run on each drive it "
            "is not known, nor are wind and road the same: then it says that the runs differ."
        )
    alone = sum(len(set(one) ^ {(row.section, row.name) for row in rows}) for one in figures)
    if alone:
        notes.append(f"{plural(alone, 'figure')} of one drive only, not shown.")
    return tuple(notes)
