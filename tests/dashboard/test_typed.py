"""Dial readings typed in beside holds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboard.work import Work
from roadtest.check import Checked, conclude_with_traces
from roadtest.errors import InputError
from roadtest.results import Reading
from roadtest.typed import with_typed_readings
from roadtest.units import to_si


def reading_of(checked: Checked, hold: str) -> Reading:
    return next(r for r in checked.results.speedometer.readings if r.manoeuvre == hold)


def test_a_typed_reading_stands_in_for_the_noted_one(checked_work: Work) -> None:
    plain = checked_work.checked
    typed = with_typed_readings(plain, {"hold-4": "60"})
    indicated = reading_of(typed, "hold-4").indicated
    assert indicated is not None
    assert indicated.value == pytest.approx(to_si(60.0, "mph"))
    assert reading_of(typed, "hold-4").note == "typed in beside hold-4"
    assert reading_of(typed, "hold-3") == reading_of(plain, "hold-3")
    assert reading_of(plain, "hold-4").note != "typed in beside hold-4"


def test_findings_follow_a_reading_that_is_far_too_low(checked_work: Work) -> None:
    verdict = {f.id: f.verdict for f in checked_work.checked.results.findings}
    typed = with_typed_readings(checked_work.checked, {"hold-5": "41"})  # true speed is 56 mph
    now = {f.id: f.verdict for f in typed.results.findings}
    assert (verdict["speedometer"], now["speedometer"]) == ("pass", "fail")
    assert {k: v for k, v in verdict.items() if k != "speedometer"} == {
        k: v for k, v in now.items() if k != "speedometer"
    }


def test_the_quick_way_gives_what_concluding_anew_gives(checked_work: Work) -> None:
    typed = with_typed_readings(checked_work.checked, {"hold-2": "32.5", "hold-6": "68"})
    anew = conclude_with_traces(typed.survey, lambda _stage, _done: None)
    assert typed.results == anew.results


def test_nothing_typed_is_the_drive_as_it_was(checked_work: Work) -> None:
    assert with_typed_readings(checked_work.checked, {"hold-2": " "}) is checked_work.checked


def test_another_unit_may_be_typed(checked_work: Work) -> None:
    typed = with_typed_readings(checked_work.checked, {"hold-4": "80 km/h"})
    indicated = reading_of(typed, "hold-4").indicated
    assert indicated is not None
    assert indicated.value == pytest.approx(to_si(80.0, "km/h"))


@pytest.mark.parametrize("text", ["fast", "50,5", "12 kg", "<b>5</b>", "nan"])
def test_what_is_no_speed_is_said_with_its_hold(checked_work: Work, text: str) -> None:
    with pytest.raises(InputError, match=r"^hold-4, dial reading: "):
        with_typed_readings(checked_work.checked, {"hold-4": text})


def test_a_hold_that_is_not_there_is_refused(checked_work: Work) -> None:
    with pytest.raises(InputError, match="no such hold"):
        with_typed_readings(checked_work.checked, {"hold-99": "50"})


def test_without_notes_the_build_sheets_list_keeps_its_other_readings(checked_work: Work) -> None:
    plain = checked_work.checked
    listed = tuple(
        replace(r, source="build sheet", note=f"number {k} of [indicated]")
        for k, r in enumerate(plain.results.speedometer.readings, 1)
    )
    speedometer = replace(plain.results.speedometer, readings=listed)
    survey = replace(plain.survey, drive=replace(plain.survey.drive, notes=None))
    bare = replace(plain, survey=survey, results=replace(plain.results, speedometer=speedometer))
    typed = with_typed_readings(bare, {"hold-4": "51"})
    assert all(reading.indicated for reading in typed.results.speedometer.readings)
