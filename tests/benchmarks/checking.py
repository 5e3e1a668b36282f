"""Time and memory of `roadtest check` as a whole process, on long drives.

Run as `python tests/benchmarks/checking.py [hours ...]` from the root of the repository; by default
half an hour, one hour and two. The drive is a shakedown followed by hours of road and town, logged
at 10 Hz (RMC, GGA and VTG at every fix) with a tach at 10 Hz beside.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.simulation.dials import MPH_MPS, Dial  # noqa: E402
from tests.simulation.driver import Driver, simulate  # noqa: E402
from tests.simulation.receiver import Receiver, receive  # noqa: E402
from tests.simulation.sample_drives import sample_car, sample_road  # noqa: E402
from tests.simulation.sample_programme import Programme, shakedown  # noqa: E402
from tests.simulation.tach import Tach, log_tach  # noqa: E402
from tests.simulation.writers import Nmea, nmea_text, tach_csv  # noqa: E402

START_S = 1_777_708_800.0  # 2026-05-02T08:00:00Z
SHEET = ROOT / "sample_logs" / "after-axle-change" / "build.toml"


def make_drive(folder: Path, hours: float) -> int:
    """Write a drive of about this length; return the number of fixes."""
    rows = shakedown(Programme(Dial(1.03, 0.13)))

    def script(driver: Driver) -> None:
        rows(driver)
        while driver.time_s < 3600.0 * hours - 400.0:
            driver.traffic(120.0)
            driver.hold(float(driver.rng.uniform(40.0, 65.0)) * MPH_MPS, 240.0)

    truth = simulate(script, sample_car(3.90), sample_road(), 1, START_S)
    fixes = receive(truth, Receiver(), 1)
    log = nmea_text(fixes, Nmea(sentences=("RMC", "GGA", "VTG")))
    (folder / "gps.nmea").write_text(log)
    (folder / "tach.csv").write_text(tach_csv(log_tach(truth, Tach(), 1), START_S))
    (folder / "build.toml").write_bytes(SHEET.read_bytes())
    return int(fixes.time_s.size)


@dataclass(frozen=True)
class Cost:
    """What a process took."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    status: int


def run(folder: Path) -> Cost:
    """Return what a check of `folder` takes as a process of its own."""
    output = os.open(folder / "output.txt", os.O_WRONLY | os.O_CREAT)
    began = time.perf_counter()
    program = [sys.executable, "-m", "roadtest", "check", str(folder), "--json", "-"]
    child = os.posix_spawn(
        sys.executable, program, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, output, 1)]
    )
    _, status, used = os.wait4(child, 0)
    os.close(output)
    return Cost(
        time.perf_counter() - began,
        used.ru_utime + used.ru_stime,
        used.ru_maxrss / 1024.0,
        os.waitstatus_to_exitcode(status),
    )


def main() -> None:
    """Print a line for each length."""
    print("  hours   fixes  wall s   CPU s  peak MB  status")
    for hours in [float(argument) for argument in sys.argv[1:]] or [0.5, 1.0, 2.0]:
        with tempfile.TemporaryDirectory() as folder:
            fixes = make_drive(Path(folder), hours)
            cost = run(Path(folder))
        figures = f"{cost.wall_s:7.1f} {cost.cpu_s:7.1f} {cost.peak_mb:8.0f} {cost.status:7}"
        print(f"{hours:7.2f} {fixes:7} {figures}", flush=True)


if __name__ == "__main__":
    main()
