"""How long the CSV readers take: run `python tests/benchmarks/csv_reading.py`.

The files are those of a two-hour drive. Each is read three times and the best time shown, beside
the time allowed on a two-core workshop computer.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from roadtest.logs.channels import read_channels
from roadtest.logs.model import ChannelsLog, TachLog
from roadtest.logs.tach import read_tach

DRIVE_S = 7200
Read = Callable[[bytes, str], TachLog | ChannelsLog]


def iso_times(rate_hz: int) -> list[str]:
    steps = np.arange(DRIVE_S * rate_hz) * np.timedelta64(1000 // rate_hz, "ms")
    times = np.datetime64("2026-05-02T08:00:00.000") + steps
    return [f"{text}Z" for text in np.datetime_as_string(times)]


def tach_rows(rate_hz: int) -> list[tuple[str, str]]:
    rpm = np.random.default_rng(1).uniform(700.0, 5500.0, DRIVE_S * rate_hz)
    return list(zip(iso_times(rate_hz), (f"{value:.1f}" for value in rpm), strict=True))


def clean_tach() -> bytes:
    return ("time,rpm\n" + "\n".join(map(",".join, tach_rows(100))) + "\n").encode()


def quoted_tach() -> bytes:
    return ("time,rpm\n" + "\n".join(f'"{t}","{r}"' for t, r in tach_rows(100)) + "\n").encode()


def damaged_tach() -> bytes:
    rows = [",".join(row) for row in tach_rows(100)]
    rows[::50] = [row[:-9] + "\x00?" for row in rows[::50]]
    rows[7::50] = ['"' + row for row in rows[7::50]]
    return ("time,rpm\n" + "\n".join(rows) + "\n").encode()


def comma_tach() -> bytes:
    rows = (f"{t};{r.replace('.', ',')}" for t, r in tach_rows(100))
    return ("time;rpm\r\n" + "\r\n".join(rows) + "\r\n").encode()


def pulses() -> bytes:
    times = np.cumsum(np.random.default_rng(2).uniform(0.009, 0.011, DRIVE_S * 100))
    return ("pulse_time_s\n" + "\n".join(f"{value:.6f}" for value in times) + "\n").encode()


def channels() -> bytes:
    values = np.random.default_rng(3).uniform(0.0, 120.0, (DRIVE_S * 10, 20))
    heading = "time," + ",".join(f"probe_{k} [degC]" for k in range(20))
    rows = (
        t + "," + ",".join(f"{value:.2f}" for value in row)
        for t, row in zip(iso_times(10), values, strict=True)
    )
    return (heading + "\n" + "\n".join(rows) + "\n").encode()


CASES: tuple[tuple[str, Callable[[], bytes], Read, float], ...] = (
    ("tach, 100 Hz", clean_tach, read_tach, 1.0),
    ("tach, 100 Hz, all quoted", quoted_tach, read_tach, 2.0),
    ("tach, 100 Hz, every 25th row damaged", damaged_tach, read_tach, 2.0),
    ("tach, 100 Hz, decimal commas", comma_tach, read_tach, 2.0),
    ("pulses, 100 Hz", pulses, read_tach, 1.0),
    ("channels, 10 Hz, 20 columns", channels, read_channels, 1.0),
)


def best_of(data: bytes, read: Read, times: int = 3) -> tuple[float, TachLog | ChannelsLog]:
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        log = read(data, "drive.csv")
        spent.append(time.perf_counter() - start)
    return min(spent), log


def main() -> None:
    print(f"{'file':38} {'MB':>6} {'rows':>8} {'used':>8} {'s':>6} {'allowed':>8}")
    for label, make, read, allowed_s in CASES:
        data = make()
        spent_s, log = best_of(data, read)
        print(
            f"{label:38} {len(data) / 1e6:6.1f} {log.rows_read:8d} {log.time_s.size:8d} "
            f"{spent_s:6.2f} {allowed_s:8.1f}{'' if spent_s <= allowed_s else '  too slow'}"
        )


if __name__ == "__main__":
    main()
