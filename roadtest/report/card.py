"""The glove-box card: true speed against the dial, engine speed at cruising speeds."""

from __future__ import annotations

from typing import Final

from roadtest.measures.speedometer.cautions import doubt
from roadtest.quantity import Quantity
from roadtest.report.model import Block, GloveBoxCard, Heading, Table
from roadtest.results import ReadIn, Results
from roadtest.units import from_si, to_si
from roadtest.wording import number_text

_DIAL: Final[dict[ReadIn, tuple[int, ...]]] = {
    "mph": (20, 30, 40, 50, 60, 70),
    "km/h": (30, 50, 70, 80, 100, 120),
}


def glove_box_card(results: Results, units: ReadIn) -> list[Block]:
    """Return the card with its heading; nothing where neither table can be filled."""
    tables = [
        (title, table)
        for title, table in (
            ("What the dial shows", _dial_table(results, units)),
            ("Engine speed, rpm", _engine_table(results, units)),
        )
        if table is not None
    ]
    if not tables:
        return []
    label = results.car.label
    day = "" if results.drive.start_utc is None else f" on {results.drive.start_utc[:10]}"
    note = f"As driven{day}. Holds for these tyres, gears and instruments only."
    return [
        Heading("For the glove box, to cut out", new_page=True),
        GloveBoxCard(label, tuple(tables), note),
    ]


def _dial_table(results: Results, units: ReadIn) -> Table | None:
    """Return the true speed at round dial speeds, by the law found, within the speeds held.

    None where the readings are in doubt: nobody is to drive by them.
    """
    found = results.speedometer
    if found.scale is None or found.scale.value <= 0.0 or doubt(found.readings):
        return None
    offset = found.offset.value if found.offset is not None else 0.0
    shown = [r.indicated.value for r in found.readings if r.indicated is not None]
    if not shown:
        return None
    low, high = min(shown) - to_si(10.0, units), max(shown) + to_si(10.0, units)
    rows = []
    for dial in _DIAL[units]:
        dial_mps = float(to_si(float(dial), units))
        if low <= dial_mps <= high:
            true = float(from_si((dial_mps - offset) / found.scale.value, units))
            rows.append((str(dial), f"{true:.0f}"))
    heads = (f"dial, {units}", f"true, {units}")
    return Table(heads, tuple(rows), texts=0) if rows else None


def _engine_table(results: Results, units: ReadIn) -> Table | None:
    """Return engine speed by road speed (rows) and gear (columns)."""
    cruise = [
        (row.gear, row.speed, row.rpm)
        for row in results.gearing.cruise
        if row.speed is not None and row.rpm is not None
    ]
    if not cruise:
        return None
    gears = sorted({gear for gear, _, _ in cruise})
    speeds: dict[str, dict[int, Quantity]] = {}
    for gear, speed, rpm in cruise:
        speeds.setdefault(number_text(float(from_si(speed.value, units)), 3), {})[gear] = rpm
    rows = tuple(
        (at, *(_rounded(of_gear.get(gear)) for gear in gears)) for at, of_gear in speeds.items()
    )
    heads = (f"true, {units}", *(f"gear {gear}" for gear in gears))
    return Table(heads, rows, texts=0)


def _rounded(rpm: Quantity | None) -> str:
    """Return an engine speed to the nearest 10 r/min, as a driver reads it."""
    return "–" if rpm is None else str(round(rpm.value, -1)).partition(".")[0]
