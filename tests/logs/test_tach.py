"""tach.csv: columns, clocks, rows refused and counted, times put in order."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.logs.model import TachLog
from roadtest.logs.tach import read_tach

STEADY = settings(derandomize=True, deadline=None, max_examples=200)
START_S = datetime(2026, 5, 2, 8, 14, 10, tzinfo=UTC).timestamp()


def read(text: str | bytes) -> TachLog:
    return read_tach(text.encode() if isinstance(text, str) else text, "tach.csv")


def refused(log: TachLog) -> dict[str, tuple[int, str]]:
    return {reason: (loss.count, loss.first) for reason, loss in log.rejected.items()}


def check_consistent(log: TachLog) -> None:
    assert log.rows_read == log.time_s.size + sum(loss.count for loss in log.rejected.values())
    assert log.time_s.size > 0
    assert np.isfinite(log.time_s).all()
    assert (np.diff(log.time_s) > 0.0).all()
    if log.rpm is not None:
        assert log.rpm.shape == log.time_s.shape
        assert ((log.rpm >= 0.0) & (log.rpm <= 30000.0)).all()


def fault(text: str | bytes) -> InputError:
    with pytest.raises(InputError) as caught:
        read(text)
    assert "\n" not in str(caught.value)
    return caught.value


# Columns and clocks


def test_iso_times_with_a_zone_are_utc() -> None:
    log = read("time,rpm\n2026-05-02T09:14:10+01:00,900\n2026-05-02T08:14:10.25Z,950.5\n")
    assert log.clock == "utc"
    assert log.time_s.tolist() == [START_S, START_S + 0.25]
    assert log.rpm is not None
    assert log.rpm.tolist() == [900.0, 950.5]
    assert (log.rows_read, log.rejected, log.ignored_columns, log.remarks) == (2, {}, (), ())


@pytest.mark.parametrize("per", [1000.0, 60.0])
def test_thousands_and_turns_a_second_are_no_revolutions_a_minute(per: float) -> None:
    rows = "".join(f"{0.1 * k:.1f},{(900 + 40 * k) / per:.3f}\n" for k in range(120))
    error = fault("elapsed_s,rpm\n" + rows)
    most = (900 + 40 * 119) / per
    assert error.found == f'column "rpm" never above {most:.3g}'
    assert (error.place, error.expected) == ("line 1", "revolutions a minute")


def test_an_engine_that_stood_still_is_a_log_all_the_same() -> None:
    log = read("elapsed_s,rpm\n" + "".join(f"{k},0\n" for k in range(120)))
    assert log.time_s.size == 120


def test_iso_times_without_a_zone_are_local() -> None:
    log = read("time,rpm\n2026-05-02 08:14:10,900\n2026-05-02 08:14:11,950\n")
    assert log.clock == "local"
    assert log.time_s.tolist() == [START_S, START_S + 1.0]


def test_elapsed_times_keep_their_own_zero() -> None:
    log = read("elapsed_s [s],RPM [r/min]\n-1.5,900\n0,950\n")
    assert log.clock == "elapsed"
    assert log.time_s.tolist() == [-1.5, 0.0]


def test_pulses_have_times_and_no_engine_speed() -> None:
    log = read("pulse_time_s\n0.010\n0.020\n0.031\n")
    assert (log.clock, log.rpm) == ("elapsed", None)
    assert log.time_s.tolist() == [0.010, 0.020, 0.031]


def test_columns_come_in_any_order_and_those_not_needed_are_listed() -> None:
    log = read("Throttle [%],RPM,time,elapsed_s,rpm\n5,900,2026-05-02T08:14:10Z,0,1\n")
    assert log.time_s.tolist() == [START_S]
    assert log.rpm is not None
    assert log.rpm.tolist() == [900.0]
    assert log.ignored_columns == ("throttle", "elapsed_s", "rpm (column 5)")
    assert log.remarks == ('there is more than one column "rpm"; the first is used',)


@pytest.mark.parametrize(
    ("header", "pulses"),
    [
        ("pulse_time_s,rpm", True),
        ("pulse_time_s,elapsed_s", True),
        ("rpm,time,pulse_time_s", False),
    ],
)
def test_pulses_are_read_where_engine_speed_has_no_time_of_its_own(
    header: str, pulses: bool
) -> None:
    row = ",".join("2026-05-02T08:14:10Z" if h == "time" else "1" for h in header.split(","))
    assert (read(f"{header}\n{row}\n").rpm is None) == pulses


@pytest.mark.parametrize("header", ["time,revs", "timestamp,rpm", "rpm", "time", "elapsed,rpm"])
def test_a_header_without_the_columns_is_an_error_that_names_what_is_there(header: str) -> None:
    error = fault(f"# a logger\n{header}\n1,2\n")
    assert error.place == "line 2"
    assert all(f'"{name}"' in error.found for name in header.split(","))
    assert '"time" (or "elapsed_s") and "rpm"' in error.expected


def test_the_error_names_every_column() -> None:
    error = fault("timestamp,Engine Speed [rpm],gear\n1,2,3\n")
    assert error.found == 'the columns "timestamp", "engine speed", "gear"'


@pytest.mark.parametrize("header", ["elapsed_s [ms],rpm", "elapsed_s,rpm [x1000]", "time,rpm [Hz]"])
def test_a_column_in_another_unit_is_an_error(header: str) -> None:
    error = fault(f"{header}\n1,2\n")
    assert error.place == "line 1"
    assert error.expected in ("seconds", "revolutions a minute")


# Rows refused


def test_every_row_refused_is_counted_with_its_reason_and_first_line() -> None:
    log = read(
        "elapsed_s,rpm\n"
        "0,900\n"
        "x,900\n"
        ",900\n"
        "1e12,900\n"
        "nan,900\n"
        "1,\n"
        "2\n"
        "3,fast\n"
        "4,inf\n"
        "5,-1\n"
        "6,30000.5\n"
        "7,30000\n"
        "7,\n"
        "8,-0\n"
        "9,9,9\n"
    )
    assert log.time_s.tolist() == [0.0, 7.0, 8.0]
    assert log.rpm is not None
    assert log.rpm.tolist() == [900.0, 30000.0, 0.0]
    assert refused(log) == {
        "short row": (1, "line 8"),
        "long row": (1, "line 16"),
        "unreadable time": (2, "line 3"),
        "absurd time": (2, "line 5"),
        "no rpm": (2, "line 7"),
        "rpm not a number": (1, "line 9"),
        "rpm not finite": (1, "line 10"),
        "negative rpm": (1, "line 11"),
        "rpm above 30000": (1, "line 12"),
    }
    check_consistent(log)


def test_of_zoned_and_zoneless_rows_the_fewer_are_refused() -> None:
    zoned = "2026-05-02T08:14:1{}Z,900\n"
    bare = "2026-05-02T09:14:1{},900\n"
    log = read("time,rpm\n" + zoned.format(0) + bare.format(1) + zoned.format(2))
    assert (log.clock, refused(log)) == ("utc", {"no zone": (1, "line 3")})
    log = read("time,rpm\n" + zoned.format(0) + bare.format(1))
    assert (log.clock, refused(log)) == ("utc", {"no zone": (1, "line 3")})
    log = read("time,rpm\n" + bare.format(0) + zoned.format(1) + bare.format(2))
    assert (log.clock, refused(log)) == ("local", {"zone unlike the other rows": (1, "line 3")})


def test_a_file_with_nothing_usable_says_why() -> None:
    error = fault("time,rpm\n1.5,900\n2.5,900\n")
    assert error.found == "none of 2 rows can be used (unreadable time: 2, first line 2)"
    assert "ISO 8601" in error.expected
    assert 'a column "elapsed_s"' in error.expected
    assert "elapsed_s" not in fault("time,rpm\n02/05/2026 08:14,900\n").expected
    assert fault("time,rpm\n").found == "no rows after the header"
    assert "no rpm: 1" in fault("elapsed_s,rpm\n1,\n").found


def test_decimal_commas_between_commas_are_told_apart_from_nothing_usable() -> None:
    error = fault("elapsed_s,rpm\n0,5,900\n0,6,900\n")
    assert "long row: 2, first line 2" in error.found
    assert "decimal points" in error.expected


# Order


def test_stretches_out_of_order_are_sorted_with_a_remark() -> None:
    log = read("elapsed_s,rpm\n" + "".join(f"{t},{t}00\n" for t in (5, 6, 7, 1, 2, 3)))
    assert log.time_s.tolist() == [1, 2, 3, 5, 6, 7]
    assert log.rpm is not None
    assert log.rpm.tolist() == [100, 200, 300, 500, 600, 700]
    assert log.remarks == ("rows sorted by time, which goes back: 1, first line 5",)
    assert log.rejected == {}


def test_of_rows_that_repeat_a_time_the_first_is_kept() -> None:
    log = read("elapsed_s,rpm\n1,100\n2,200\n2,999\n3,300\n1,998\n")
    assert log.time_s.tolist() == [1, 2, 3]
    assert log.rpm is not None
    assert log.rpm.tolist() == [100, 200, 300]
    assert refused(log) == {"duplicate time": (2, "line 4")}


def test_a_single_time_that_jumps_away_and_back_is_refused() -> None:
    times = [*(k / 10 for k in range(50)), 9000.0, *(k / 10 for k in range(51, 100)), -500.0]
    log = read("elapsed_s,rpm\n" + "".join(f"{t},900\n" for t in times))
    assert refused(log) == {"time out of order": (2, "line 52")}
    assert log.time_s.max() == 9.9
    assert log.remarks == ()


def test_a_damaged_date_does_not_stretch_the_log() -> None:
    rows = [f"2026-05-02T08:14:{k:02d}Z,900\n" for k in range(60)]
    rows[30] = rows[30].replace("2026", "2062")
    log = read("time,rpm\n" + "".join(rows))
    assert refused(log) == {"time out of order": (1, "line 32")}
    assert log.time_s[-1] - log.time_s[0] == 59.0


def test_a_clock_that_starts_again_keeps_its_longest_stretch() -> None:
    times = [*range(40), *range(100), *range(30)]
    log = read("elapsed_s,rpm\n" + "".join(f"{t},{900 + k}\n" for k, t in enumerate(times)))
    assert refused(log) == {"clock restarted": (70, "line 2")}
    assert log.rpm is not None
    assert log.rpm.tolist() == list(range(940, 1040))


def test_rows_written_a_little_out_of_order_are_sorted_not_refused() -> None:
    rng = np.random.default_rng(3)
    times = np.arange(500) / 10 + rng.uniform(-0.3, 0.3, 500)
    log = read("elapsed_s,rpm\n" + "".join(f"{t:.6f},900\n" for t in times))
    assert log.rejected == {}
    np.testing.assert_allclose(log.time_s, np.sort(times), atol=1e-6)


# Any file at all


@STEADY
@given(st.binary(max_size=200), st.sampled_from([b"", b"time,rpm\n", b"elapsed_s;rpm\n"]))
def test_any_bytes_give_a_log_or_one_clear_line(data: bytes, header: bytes) -> None:
    try:
        check_consistent(read(header + data))
    except InputError as error:
        assert "\n" not in str(error)


WHOLE = "time,rpm,note\r\n" + "".join(
    f'2026-05-02T08:{k // 60:02d}:{k % 60:02d}.5Z,{900 + 7 * k}.5,"at {k}"\r\n' for k in range(100)
)


@STEADY
@given(
    st.lists(
        st.tuples(st.integers(15, len(WHOLE) - 1), st.integers(0, 40), st.binary(max_size=12)),
        max_size=6,
    )
)
def test_damage_costs_rows_and_nothing_else(damage: list[tuple[int, int, bytes]]) -> None:
    data = WHOLE.encode()
    for place, cut, put in damage:
        data = data[:place] + put + data[place + cut :]
    log = read(data)
    check_consistent(log)
    # A damaged place spoils the lines it touches and, where it parts a line, leaves a piece more.
    assert log.time_s.size >= 100 - sum(2 + cut // 20 for _, cut, _ in damage)


@STEADY
@given(st.permutations(range(0, 40, 4)))
def test_the_order_of_stretches_of_utc_rows_does_not_matter(order: list[int]) -> None:
    seconds = [first + k for first in order for k in range(4)]
    rows = [f"2026-05-02T08:14:{k:02d}Z,{900 + k}\n" for k in seconds]
    log = read("time,rpm\n" + "".join(rows))
    check_consistent(log)
    assert log.rpm is not None
    assert log.rpm.tolist() == [900 + k for k in range(40)]


# Real recordings


def recordings() -> Path:
    default = Path(__file__).resolve().parents[2].parent / "shared" / "data"
    return Path(os.environ.get("ROADTEST_RECORDINGS", default))


@pytest.mark.parametrize(
    ("drive", "rows", "lowest", "highest"),
    [
        ("five-speed-a", 914, 500.0, 5000.0),
        ("five-speed-b", 850, 500.0, 5000.0),
        ("braking-a", 537, 400.0, 5000.0),
        ("braking-b", 678, 400.0, 5000.0),
    ],
)
def test_recorded_drives_are_read_whole(
    drive: str, rows: int, lowest: float, highest: float
) -> None:
    path = recordings() / "drives" / drive / "tach.csv"
    if not path.exists():
        pytest.skip("the recorded drives are not here (ROADTEST_RECORDINGS)")
    log = read(path.read_bytes())
    check_consistent(log)
    assert (log.clock, log.rows_read, log.time_s.size) == ("utc", rows, rows)
    assert (log.rejected, log.remarks, log.ignored_columns) == ({}, (), ())
    assert log.rpm is not None
    assert lowest < np.median(log.rpm) < highest
