"""Results as CSV tables."""

from __future__ import annotations

import csv
import dataclasses
import io

import pytest

from roadtest.quantity import Quantity
from roadtest.results import BrakingResult, Manoeuvre, Results, StopResult
from roadtest.tables import csv_tables
from tests.example_results import EXAMPLE


def _rows(results: Results, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(csv_tables(results)[name])))


def test_no_table_would_be_taken_for_a_log() -> None:
    for name in csv_tables(EXAMPLE):
        assert not name.startswith(("tach", "notes", "channels"))


def test_heads_are_ascii_and_each_row_is_as_long() -> None:
    for text in csv_tables(EXAMPLE).values():
        head, *rows = list(csv.reader(io.StringIO(text)))
        assert rows
        assert all(len(row) == len(head) for row in rows)
        assert len(set(head)) == len(head)
        ",".join(head).encode("ascii")


def test_heads_are_the_same_with_and_without_rows() -> None:
    empty, full = csv_tables(Results()), csv_tables(EXAMPLE)
    assert empty.keys() == full.keys()
    for name, text in empty.items():
        assert text == full[name].splitlines(keepends=True)[0]


def test_figures_are_si_with_u95_beside_them_at_full_precision() -> None:
    row = _rows(EXAMPLE, "speedometer.csv")[0]
    reading = EXAMPLE.speedometer.readings[0]
    assert reading.true is not None
    assert row["manoeuvre"] == "hold-1"
    assert float(row["true [m/s]"]) == reading.true.value
    assert float(row["true_u95 [m/s]"]) == reading.true.u95
    stop = _rows(EXAMPLE, "stops.csv")[0]
    assert (stop["mfdd_level [m/s^2]"], stop["mfdd_level_u95 [m/s^2]"]) == ("6.05", "0.34")
    assert stop["build_up [s]"] == "0.42"
    pull = _rows(EXAMPLE, "pulls.csv")[0]
    assert float(pull["from [m/s]"]) == pytest.approx(30 * 0.44704)


def test_what_was_not_measured_is_an_empty_cell() -> None:
    row = _rows(EXAMPLE, "speedometer.csv")[1]
    assert row["indicated [m/s]"] == row["error_u95 [m/s]"] == ""


def test_findings_have_a_row_each_and_one_for_each_item() -> None:
    rows = _rows(EXAMPLE, "findings.csv")
    assert [(row["id"], row["manoeuvre"]) for row in rows] == [
        ("mfdd", ""),
        ("mfdd", "stop-1"),
        ("speedometer", ""),
        ("speedometer", "hold-1"),
        ("channel.coolant_temperature", ""),
    ]
    assert (rows[0]["low"], rows[0]["high"], rows[0]["unit"]) == ("5.8", "", "m/s^2")
    assert rows[2]["basis"] == "UN R39, 5.3"


def test_text_cannot_become_a_formula_or_break_a_row() -> None:
    text = '=HYPERLINK("http://x.invalid")\nnext, row'
    manoeuvre = Manoeuvre("hold-1", "hold", 0.0, 1.0, None, False, text)
    (row,) = _rows(Results(manoeuvres=(manoeuvre,)), "manoeuvres.csv")
    assert row["why_not"] == '\'=HYPERLINK("http://x.invalid") next, row'


def test_another_spelling_of_the_unit_is_taken_another_unit_is_not() -> None:
    stop = StopResult("stop-1", mfdd=Quantity(6.0, 0.1, "m/s^2"))
    fine = dataclasses.replace(EXAMPLE, braking=BrakingResult((stop,)))
    assert _rows(fine, "stops.csv")[0]["mfdd [m/s^2]"] == "6.0"
    stop = StopResult("stop-1", mfdd=Quantity(0.6, 0.1, "g"))
    with pytest.raises(ValueError, match="a figure in g for a column in m/s²"):
        csv_tables(dataclasses.replace(EXAMPLE, braking=BrakingResult((stop,))))


def test_road_load_power_distances_repeats_and_channels_have_their_tables() -> None:
    (coast,) = _rows(EXAMPLE, "coast_runs.csv")
    assert (coast["f0 [N]"], coast["f1 [N/(m/s)]"], coast["out_of_gear"]) == ("120.3", "", "yes")
    assert coast["f2_u95 [N/(m/s)^2]"] == "0.09"
    (at,) = _rows(EXAMPLE, "coasting.csv")
    assert at["force [N]"] == "429.0"
    (pull,) = _rows(EXAMPLE, "pulls.csv")
    assert pull["power_standard_air [W]"] == "40100.0"
    assert pull["peak_acceleration [m/s^2]"] == "2.12"
    assert pull["flat_out"] == "yes" and "curve" not in pull
    (point,) = _rows(EXAMPLE, "power.csv")
    assert (point["manoeuvre"], point["speed [m/s]"], point["force [N]"]) == (
        "pull-1",
        "15.0",
        "2300.0",
    )
    assert _rows(EXAMPLE, "standing.csv")[0]["after_rollout [s]"] == "11.0"
    assert _rows(EXAMPLE, "distances.csv")[0]["distance [m]"] == "402.336"
    (again,) = _rows(EXAMPLE, "repeats.csv")
    assert (again["best [s]"], again["mean [s]"], again["manoeuvres"]) == (
        "11.4",
        "11.65",
        "pull-2 pull-3",
    )
    places = {row["where"]: row for row in _rows(EXAMPLE, "logged.csv")}
    assert places["drive"]["above [s]"] == "23.0" and places["drive"]["limit_high"] == "105.0"
    assert places["at idle"]["mean"] == "71.2" and places["at speed"]["seconds [s]"] == "340.0"


def test_every_use_of_the_brakes_is_a_row_with_its_energy() -> None:
    first, second = _rows(EXAMPLE, "brakings.csv")
    assert (first["kind"], first["since_last [s]"], first["energy [J]"]) == ("stop", "", "")
    assert (second["start [s]"], second["since_last [s]"]) == ("160.0", "55.0")
    assert (second["energy [J]"], second["energy_u95 [J]"]) == ("98700.0", "2000.0")
