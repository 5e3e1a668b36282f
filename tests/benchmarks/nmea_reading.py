"""How fast an hour at 10 Hz is read, beside a loop over its lines with a general parser.

Run as `python tests/benchmarks/nmea_reading.py`.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
import pynmea2  # type: ignore[import-untyped]
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from roadtest.logs.nmea import read_nmea
from tests.logs.nmea_logs import drive, log

KNOT_MPS = 1852 / 3600
RUNS = 3

Result = TypeVar("Result")


def by_lines(text: str) -> NDArray[np.float64]:
    """Return [n, 5]: time (s since 1970), latitude, longitude, speed and course of each RMC."""
    rows = []
    for line in text.splitlines():
        message = pynmea2.parse(line, check=True)
        if message.sentence_type == "RMC":
            rows.append(
                (
                    message.datetime.timestamp(),
                    message.latitude,
                    message.longitude,
                    message.spd_over_grnd * KNOT_MPS,
                    message.true_course,
                )
            )
    return np.array(rows)


def best(action: Callable[[], Result]) -> tuple[float, Result]:
    """Return the shortest processor time of several runs, in s, and the result.

    Processor time, for other work on the machine counts less in it; both run in one thread.
    """
    times = []
    for _ in range(RUNS):
        begin = time.process_time()
        result = action()
        times.append(time.process_time() - begin)
    return min(times), result


def main() -> None:
    """Print the figures."""
    data = log(drive(36_000, rate_hz=10.0), "rmc gga vtg gsa")
    text = data.decode("ascii")
    print(f"1 h at 10 Hz, RMC GGA VTG GSA: {data.count(b'$')} sentences, {len(data) / 1e6:.1f} MB")
    slow_s, expected = best(lambda: by_lines(text))
    fast_s, found = best(lambda: read_nmea(data, "bench.nmea"))
    print(f"loop over lines {slow_s:.3f} s, reader {fast_s:.3f} s, ratio {slow_s / fast_s:.1f}")
    columns = {
        "time, s": found.time_s,
        "latitude, °": found.latitude_deg,
        "longitude, °": found.longitude_deg,
        "speed, m/s": found.speed_mps,
        "course, °": found.course_deg,
    }
    for number, (name, column) in enumerate(columns.items()):
        print(f"  greatest difference of {name}: {np.abs(column - expected[:, number]).max():.3g}")
    for hours in (1, 2, 4):
        part = log(drive(36_000 * hours, rate_hz=10.0), "rmc gga vtg")
        taken_s, _ = best(lambda part=part: read_nmea(part, "bench.nmea"))  # type: ignore[misc]
        print(f"{hours} h at 10 Hz, RMC GGA VTG: {len(part) / 1e6:.1f} MB in {taken_s:.3f} s")


if __name__ == "__main__":
    main()
