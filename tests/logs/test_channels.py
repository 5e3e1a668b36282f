"""channels.csv: which columns are channels, their units, and cells that hold nothing."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.logs.channels import read_channels
from roadtest.logs.model import ChannelsLog

STEADY = settings(derandomize=True, deadline=None, max_examples=200)


def read(text: str | bytes) -> ChannelsLog:
    return read_channels(text.encode() if isinstance(text, str) else text, "channels.csv")


def values(log: ChannelsLog) -> dict[str, list[float]]:
    return {channel.name: channel.values.tolist() for channel in log.channels}


def refused(log: ChannelsLog) -> dict[str, tuple[int, str]]:
    return {reason: (loss.count, loss.first) for reason, loss in log.rejected.items()}


def check_consistent(log: ChannelsLog) -> None:
    assert log.rows_read == log.time_s.size + sum(loss.count for loss in log.rejected.values())
    assert log.channels
    assert (np.diff(log.time_s) > 0.0).all()
    assert all(channel.values.shape == log.time_s.shape for channel in log.channels)
    assert not any(np.isinf(channel.values).any() for channel in log.channels)
    some = np.any([np.isfinite(channel.values) for channel in log.channels], axis=0)
    assert some.all()


def fault(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        read(text)
    return caught.value


def test_every_column_of_numbers_is_a_channel_in_the_unit_of_its_heading() -> None:
    log = read("elapsed_s,Coolant_Temperature [degC],boost [psi],count\n0,80,1.5,1\n1,81,,2\n")
    assert [(c.name, c.unit) for c in log.channels] == [
        ("coolant_temperature", "degC"),
        ("boost", "psi"),
        ("count", ""),
    ]
    assert log.clock == "elapsed"
    np.testing.assert_equal(
        values(log), {"coolant_temperature": [80, 81], "boost": [1.5, np.nan], "count": [1, 2]}
    )
    assert (log.rows_read, log.rejected, log.remarks) == (2, {}, ())


def test_columns_of_words_empty_ones_and_nameless_ones_are_listed_as_ignored() -> None:
    log = read("time,source,empty,,t [V],T [mV]\n2026-05-02T08:14:10Z,gps,,5,13.8,4\n")
    assert values(log) == {"t": [13.8]}
    assert log.ignored_columns == ("source", "empty", "column 4, which has no name", "t (column 6)")
    assert log.remarks == ('there is more than one column "t"; the first is used',)


def test_cells_without_a_number_are_nan_and_remarked_on() -> None:
    log = read("elapsed_s,a,b\n0,1,2\n1,ERR,3\n2,nan,4\n3,5,6\n")
    np.testing.assert_equal(values(log), {"a": [1, np.nan, np.nan, 5], "b": [2, 3, 4, 6]})
    assert log.remarks == ("a: 2 cells hold no number, first line 3",)


def test_rows_without_any_reading_or_time_are_refused() -> None:
    log = read("elapsed_s,a,b\n0,1,2\n1,,\n,3,4\n2,nan,\n3\n4,5\n")
    assert log.time_s.tolist() == [0, 4]
    assert refused(log) == {"unreadable time": (1, "line 4"), "no reading": (3, "line 3")}
    check_consistent(log)


def test_a_decimal_comma_between_commas_refuses_the_row() -> None:
    log = read("elapsed_s,a,b\n0.5,1.5,2.5\n1.5,1,5,2.5\n2.5,1.5,2,5\n")
    assert log.time_s.tolist() == [0.5]
    assert refused(log) == {"long row": (2, "line 3")}


def test_decimal_commas_between_semicolons_are_read_and_remarked_on() -> None:
    log = read("elapsed_s;a [bar]\n0,5;1,25\n1,0;1,5\n")
    assert (log.time_s.tolist(), values(log)) == ([0.5, 1.0], {"a": [1.25, 1.5]})
    assert log.remarks == ("numbers are written with a decimal comma",)


@pytest.mark.parametrize("header", ["a,b", "time", "elapsed_s,", "pulse_time_s,a", "date,a"])
def test_a_header_without_a_time_or_a_reading_is_an_error(header: str) -> None:
    error = fault(f"{header}\n1,2\n")
    assert error.place == "line 1"
    assert '"coolant_temperature [degC]"' in error.expected


def test_a_file_with_nothing_usable_says_why() -> None:
    assert "no reading: 1, first line 2" in fault("elapsed_s,a\n1,x\n").found
    assert "unreadable time: 1" in fault("elapsed_s,a\nx,1\n").found


def test_rows_are_sorted_by_time_with_their_values() -> None:
    log = read("elapsed_s,a\n2,20\n3,30\n0,0\n1,10\n1,11\n")
    assert (log.time_s.tolist(), values(log)) == ([0, 1, 2, 3], {"a": [0, 10, 20, 30]})
    assert refused(log) == {"duplicate time": (1, "line 6")}


@STEADY
@given(
    st.text(st.sampled_from('0123456789.,;\n\r\t "#-eEx\x00é[]'), max_size=120),
    st.sampled_from(["elapsed_s,a,b\n", "elapsed_s;a;b\n", "time\ta\n2026-05-02T08:14:10Z\t1\n"]),
)
def test_any_text_gives_a_log_or_one_clear_line(text: str, header: str) -> None:
    try:
        check_consistent(read(header + text))
    except InputError as error:
        assert "\n" not in str(error)


def recordings() -> Path:
    default = Path(__file__).resolve().parents[2].parent / "shared" / "data"
    return Path(os.environ.get("ROADTEST_RECORDINGS", default))


ACCELEROMETER = {"accel_long": "g", "accel_lat": "g", "accel_vert": "g", "pitch": "deg"}


@pytest.mark.parametrize(
    ("file", "rows", "units", "ignored"),
    [
        ("five-speed-a/channels_bus.csv", 914, {"bus_speed": "km/h"}, ()),
        ("five-speed-b/channels_bus.csv", 850, {"bus_speed": "km/h"}, ()),
        ("braking-a/channels_accelerometer.csv", 547, ACCELEROMETER, ("speed_source",)),
        ("braking-b/channels_accelerometer.csv", 686, ACCELEROMETER, ("speed_source",)),
    ],
)
def test_recorded_channels_are_read_whole(
    file: str, rows: int, units: dict[str, str], ignored: tuple[str, ...]
) -> None:
    path = recordings() / "drives" / file
    if not path.exists():
        pytest.skip("the recorded drives are not here (ROADTEST_RECORDINGS)")
    log = read(path.read_bytes())
    check_consistent(log)
    assert (log.clock, log.rows_read, log.time_s.size) == ("utc", rows, rows)
    assert {channel.name: channel.unit for channel in log.channels} == units
    assert (log.ignored_columns, log.rejected) == (ignored, {})
    assert all(np.isfinite(channel.values).all() for channel in log.channels)
