"""Time and memory of `roadtest check` and `roadtest report` as whole processes, on long drives.

Run as `python tests/benchmarks/checking.py [--rate HZ] [--report pdf|html] [--steps] [hours ...]`
from the root of the repository; by default half an hour, one hour and two at 10 Hz. The drive is a
shakedown followed by hours of road and town (RMC, GGA and VTG at every fix) with a tach at 10 Hz
beside.
`--steps` runs the check in a process of its own and prints what each step took of the processor and
the peak of memory up to its end. `--keep FOLDER` keeps the drives there, and uses those it finds.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from dataclasses import dataclass
from multiprocessing import get_context
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

STEPS = """
import resource, sys, time
from pathlib import Path
begun = [time.process_time(), "loading the program"]
def told(stage, done):
    now = time.process_time()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if stage != begun[1]:
        print(f"    {begun[1]:32} {now - begun[0]:7.2f} s {peak:6.0f} MB", flush=True)
        begun[:] = [now, stage]
begun[0] = 0.0
from roadtest.check import check_folder
from roadtest.results import to_json
found = check_folder(Path(sys.argv[1]), None, told)
told("the end", 1.0)
"""


def make_drive(folder: Path, hours: float, rate_hz: float = 10.0) -> None:
    """Write a drive of about this length."""
    rows = shakedown(Programme(Dial(1.03, 0.13)))

    def script(driver: Driver) -> None:
        rows(driver)
        while driver.time_s < 3600.0 * hours - 400.0:
            driver.traffic(120.0)
            driver.hold(float(driver.rng.uniform(40.0, 65.0)) * MPH_MPS, 240.0)

    truth = simulate(script, sample_car(3.90), sample_road(), 1, START_S)
    fixes = receive(truth, Receiver(rate_hz=rate_hz), 1)
    log = nmea_text(fixes, Nmea(sentences=("RMC", "GGA", "VTG")))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "gps.nmea").write_text(log)
    (folder / "tach.csv").write_text(tach_csv(log_tach(truth, Tach(), 1), START_S))
    (folder / "build.toml").write_bytes(SHEET.read_bytes())


@dataclass(frozen=True)
class Cost:
    """What a process took."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    status: int


def run(program: list[str], output: Path) -> Cost:
    """Return what `program` takes as a process of its own; it prints to `output`."""
    to = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    began = time.perf_counter()
    child = os.posix_spawn(
        program[0], program, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, to, 1)]
    )
    _, status, used = os.wait4(child, 0)
    os.close(to)
    return Cost(
        time.perf_counter() - began,
        used.ru_utime + used.ru_stime,
        used.ru_maxrss / 1024.0,
        os.waitstatus_to_exitcode(status),
    )


def main() -> None:
    """Print a line for each length."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("hours", nargs="*", type=float, default=[0.5, 1.0, 2.0])
    parser.add_argument("--rate", type=float, default=10.0)
    parser.add_argument("--report", choices=("pdf", "html"))
    parser.add_argument("--steps", action="store_true")
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    spawn = get_context("spawn")
    print("  hours     Hz   fixes  wall s   CPU s  peak MB  status")
    for hours in asked.hours:
        with tempfile.TemporaryDirectory() as scratch:
            folder = (asked.keep or Path(scratch)) / f"{hours:g}h-{asked.rate:g}Hz"
            if not folder.exists():
                # In a process of its own: a child's peak of memory begins at its parent's.
                maker = spawn.Process(target=make_drive, args=(folder, hours, asked.rate))
                maker.start()
                maker.join()
            with (folder / "gps.nmea").open("rb") as log:
                fixes = sum(line[3:6] == b"RMC" for line in log)
            output = Path(scratch) / "output"
            program = [sys.executable, "-m", "roadtest", "check", str(folder), "--json", "-"]
            if asked.report:
                report = Path(scratch) / f"report.{asked.report}"
                program[3:] = ["report", str(folder), "-o", str(report)]
            if asked.steps:
                program = [sys.executable, "-c", STEPS, str(folder)]
            cost = run(program, output)
            figures = f"{cost.wall_s:7.1f} {cost.cpu_s:7.1f} {cost.peak_mb:8.0f} {cost.status:7}"
            print(f"{hours:7.2f} {asked.rate:6g} {fixes:7} {figures}", flush=True)
            if asked.report:
                print(f"    {report.stat().st_size / 2**20:.2f} MB of {report.suffix}", flush=True)
            if asked.steps:
                print(output.read_text(encoding="utf-8"), flush=True)


if __name__ == "__main__":
    main()
