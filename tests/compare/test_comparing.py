"""What is compared with what, what is refused, and what is read of it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from roadtest import cli
from roadtest.compare import compare
from roadtest.compare.as_text import to_json
from roadtest.compare.table import changes_text, drives_text, render
from roadtest.errors import InputError
from roadtest.quantity import Quantity
from roadtest.results import (
    BrakingResult,
    ByHand,
    CarInfo,
    ChannelResult,
    CruiseRow,
    DriveInfo,
    FileInfo,
    GearingResult,
    LeftOut,
    Manoeuvre,
    PullRun,
    PullsResult,
    Results,
    SheetInfo,
    StopResult,
)
from roadtest.results import to_json as results_to_json
from roadtest.terminal import display_width
from tests.example_results import EXAMPLE

_CAR = CarInfo("Roadster", "C 1")


def _drive(log: str, axle: float = 4.22, car: CarInfo = _CAR) -> Results:
    return Results(
        car=car,
        files=(FileInfo("gps.nmea", log, "nmea"),),
        drive=DriveInfo(start_utc=f"2026-05-0{len(log)}T08:00:00Z"),
        gearing=GearingResult(
            axle=Quantity(axle, 0.11, "1"), revs_per_metre_top=Quantity(axle / 2.2, 0.003, "1/m")
        ),
        sheet=SheetInfo(Quantity(1.8, 0.045, "m"), None),
    )


def _row(results: list[Results], name: str) -> tuple[Quantity | None, str]:
    (row,) = (row for row in compare(results).rows if row.name == name)
    assert row.differences[-1] is not None
    return row.differences[-1].value, row.differences[-1].change


def test_the_same_tyre_on_both_sheets_makes_the_axles_difference_sharper() -> None:
    first, later = _drive("a"), _drive("bb", 4.10)
    value, change = _row([first, later], "axle")
    assert change == "changed"
    rolled = replace(later, sheet=SheetInfo(Quantity(1.797, 0.045, "m"), None))
    wider, change = _row([first, rolled], "axle")
    assert change == "no change shown"
    assert value is not None
    assert wider is not None
    assert wider.u95 == pytest.approx(0.11 * 2**0.5)
    assert value.u95 < 0.35 * wider.u95


@pytest.mark.parametrize(
    ("later", "said"),
    [
        (_drive("bb", car=CarInfo("Roadster", "C 2")), "different cars (C 1; C 2)"),
        (_drive("bb", car=CarInfo("Saloon")), "different cars (Roadster; Saloon)"),
        (_drive("a"), "the same GPS log in both"),
    ],
)
def test_what_is_not_comparable_is_refused_in_one_line(later: Results, said: str) -> None:
    with pytest.raises(InputError) as caught:
        compare([_drive("a"), later], ["before", "after"])
    assert said in str(caught.value)
    assert str(caught.value).startswith("before and after: ")
    assert len(str(caught.value).splitlines()) == 1


def test_cars_without_a_name_are_not_taken_for_one_car() -> None:
    pair = [_drive(log, car=CarInfo()) for log in ("a", "bb")]
    with pytest.raises(InputError, match="neither build sheet names its car"):
        compare(pair)


def test_the_label_stands_in_where_one_drive_has_no_chassis() -> None:
    assert compare([_drive("a"), _drive("bb", car=CarInfo(" roadster"))]).rows
    other_label = CarInfo("Roadster, repainted", "c  1")
    assert compare([_drive("a"), _drive("bb", car=other_label)]).rows


def test_one_drive_is_not_enough() -> None:
    with pytest.raises(InputError, match="one drive; expected two"):
        compare([_drive("a")], ["alone"])


def test_only_stops_that_were_used_are_in_the_mean() -> None:
    def with_stops(results: Results, *levels: float) -> Results:
        stops = tuple(
            StopResult(f"stop-{i}", mfdd_level=Quantity(level, 0.1, "m/s²"))
            for i, level in enumerate(levels, 1)
        )
        made = tuple(
            Manoeuvre(f"stop-{i}", "stop", 0.0, 1.0, used=i != 3) for i in range(1, len(levels) + 1)
        )
        return replace(results, braking=BrakingResult(stops=stops), manoeuvres=made)

    first = with_stops(_drive("a"), 6.0, 6.2, 1.0)
    found = compare([first, with_stops(_drive("bb"), 7.0, 7.2)])
    (row,) = (row for row in found.rows if row.section == "stops")
    means = [figure.value for figure in row.figures if figure is not None]
    assert means == pytest.approx([6.1, 7.1])


def test_what_was_left_out_by_hand_is_told_with_its_drive() -> None:
    by_hand = ByHand(left_out=(LeftOut("stop-2", "a dog ran out"),))
    found = compare([_drive("a"), replace(_drive("bb"), by_hand=by_hand)])
    (first, later) = drives_text(found)
    assert "left out" not in first[1]
    assert later[1].endswith("left out by hand: stop-2 (a dog ran out)")


def test_the_summary_names_what_tells_most_and_counts_the_rest() -> None:
    def cruising(results: Results, factor: float) -> Results:
        rows = tuple(
            CruiseRow(5, Quantity(v, 0.0, "m/s"), Quantity(factor * 100.0 * v, 2.0, "r/min"))
            for v in (10.0, 20.0, 30.0)
        )
        return replace(results, gearing=replace(results.gearing, cruise=rows))

    found = compare([cruising(_drive("a"), 1.0), cruising(_drive("bb"), 0.9)])
    said = dict(changes_text(found, 1, "mph"))["cruise"]
    assert said == ("gear 5 at 67.1 mph, rpm: 3000.0 ± 2.0 → 2700.0 ± 2.0; and 2 more, all lower")


def test_of_pulls_those_shown_flat_out_are_compared_where_there_are_any() -> None:
    def pulled(results: Results, *runs: tuple[float, bool]) -> Results:
        made = tuple(
            PullRun(
                f"pull-{k}",
                4,
                Quantity(15.0, 0.0, "m/s"),
                Quantity(20.0, 0.0, "m/s"),
                Quantity(time, 0.05, "s"),
                flat_out=flat_out,
            )
            for k, (time, flat_out) in enumerate(runs)
        )
        return replace(results, pulls=PullsResult(runs=made))

    first = pulled(_drive("a"), (3.0, True), (9.0, False))
    found = compare([first, pulled(_drive("bb"), (4.0, False), (4.2, False))])
    (row,) = (row for row in found.rows if row.section == "pulls")
    assert [figure and figure.value for figure in row.figures] == pytest.approx([3.0, 4.1])


def test_a_channel_has_no_interval_and_is_matched_only_in_its_unit() -> None:
    def with_oil(results: Results, unit: str, most: float) -> Results:
        return replace(results, channels=(ChannelResult("oil", unit, max=most),))

    first = with_oil(_drive("a"), "degC", 90.0)
    value, change = _row([first, with_oil(_drive("bb"), "degC", 100.0)], "oil, highest")
    assert change == "no interval"
    assert value == Quantity(10.0, 0.0, "degC")
    other = compare([first, with_oil(_drive("bb"), "degF", 212.0)])
    assert not [row for row in other.rows if row.section == "channels"]


def test_three_drives_are_each_compared_with_the_first() -> None:
    found = compare([_drive("a"), _drive("bb", 3.9), _drive("ccc", 3.7)])
    (row,) = (row for row in found.rows if row.name == "axle")
    values = [one.value.value for one in row.differences if one is not None]
    assert values == pytest.approx([-0.32, -0.52])
    text = render(found, "mph", colour=False)
    assert "DRIVE 2 AGAINST DRIVE 1" in text
    assert "DRIVE 3 AGAINST DRIVE 1" in text


@pytest.mark.parametrize("units", ["mph", "km/h"])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_everything_fits_eighty_columns(units: str, encoding: str) -> None:
    later = replace(EXAMPLE, files=(FileInfo("b.nmea", "other", "nmea"),))
    found = compare([EXAMPLE, later])
    assert len(found.rows) > 10
    text = render(found, units, colour=False, encoding=encoding)  # type: ignore[arg-type]
    text.encode(encoding)
    assert max(display_width(line) for line in text.splitlines()) <= 80


def test_a_drive_against_its_equal_shows_no_change() -> None:
    later = replace(EXAMPLE, files=(FileInfo("b.nmea", "other", "nmea"),))
    changes = {
        one.change for row in compare([EXAMPLE, later]).rows for one in row.differences if one
    }
    assert changes <= {"no change shown", "no interval"}


def test_json_holds_every_row_in_si() -> None:
    found = compare([_drive("a"), _drive("bb", 3.9)])
    plain = json.loads(to_json(found))
    assert plain["format"] == "roadtest comparison 1"
    axle = next(row for row in plain["rows"] if row["name"] == "axle")
    assert axle["figures"][0] == {"value": 4.22, "u95": 0.11, "unit": "1"}
    assert axle["differences"][0]["change"] == "changed"


def test_the_command_takes_results_files_and_writes_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "before.json", tmp_path / "after.json"]
    for file, drive in zip(files, (_drive("a"), _drive("bb", 3.9)), strict=True):
        file.write_text(results_to_json(drive), encoding="utf-8")
    target = tmp_path / "comparison.json"
    assert cli.main(["compare", *map(str, files), "--json", str(target)]) == cli.PASSED
    out = capsys.readouterr().out
    assert "before.json, started" in out
    assert "axle: 4.22 ± 0.11 → 3.90 ± 0.11; engine turns, per mile: 3087.0 ± 4.8 →" in " ".join(
        out.split()
    )
    assert cli.main(["compare", *map(str, files), "--json", "-"]) == cli.PASSED
    assert capsys.readouterr().out == target.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["{0}"], "one drive; expected two drives of one car"),
        (["{0}", "nowhere"], "nowhere: no such folder"),
        (["{0}", "{1}", "--json", "{0}"], "it lies among the inputs"),
        (["{0}", "{1}", "--json", "no/where.json"], "no such folder"),
    ],
)
def test_bad_requests_are_one_line(
    tmp_path: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "a.json", tmp_path / "b.json"]
    for file in files:
        file.write_text("{}", encoding="utf-8")
    given = [argument.format(*files) for argument in arguments]
    assert cli.main(["compare", *given]) == cli.UNUSABLE
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1
    assert all(file.read_text(encoding="utf-8") == "{}" for file in files)
