"""A folder of a thousand small drives: time on all cores, and a kill in the middle.

Run as `python tests/benchmarks/folder.py [DRIVES]` from the root of the repository. The drives are
two minutes at 1 Hz, alike but for their car's label and for fixes left out. `roadtest check` runs
on the folder; once a third of the drives are in the index, it and its workers are killed with no
warning; then it is started again. Prints the times, how many drives were in the index when it was
killed, and how many of them changed since (none should); how many are in it at the end, and how
many of a sample differ from a check of the drive by itself.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from roadtest.shop.index import INDEX, Index  # noqa: E402
from roadtest.shop.outcome import check_one  # noqa: E402
from tests.simulation.driver import Driver, simulate  # noqa: E402
from tests.simulation.receiver import Receiver, receive  # noqa: E402
from tests.simulation.sample_drives import sample_car, sample_road  # noqa: E402
from tests.simulation.writers import Nmea, nmea_text  # noqa: E402

START_S = 1_777_708_800.0
SAMPLE = 20


def make_drives(folder: Path, count: int) -> None:
    """Write `count` drives."""

    def script(driver: Driver) -> None:
        driver.traffic(50.0)
        driver.hold(18.0, 50.0)

    truth = simulate(script, sample_car(3.90), sample_road(), 1, START_S)
    fixes = receive(truth, Receiver(rate_hz=1.0), 1)
    lines = nmea_text(fixes, Nmea(sentences=("RMC", "GGA"))).splitlines(keepends=True)
    rng = random.Random(1)
    for k in range(count):
        drive = folder / f"drive-{k:04d}"
        drive.mkdir()
        kept = [line for line in lines if rng.random() > 0.02]
        (drive / "gps.nmea").write_text("".join(kept))
        (drive / "build.toml").write_text(f'units = "mph"\n[car]\nlabel = "Car {k}"\n')


def start(folder: Path) -> subprocess.Popen[bytes]:
    """Start a check of the folder, in a process group of its own."""
    program = [sys.executable, "-m", "roadtest", "check", str(folder)]
    return subprocess.Popen(program, stdout=subprocess.DEVNULL, start_new_session=True)


def main() -> None:
    """Make, check, kill, check again, compare."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        make_drives(folder, count)
        began = time.perf_counter()
        first = start(folder)
        while first.poll() is None:
            time.sleep(1.0)
            if (folder / INDEX).exists():
                with Index(folder) as index:
                    kept = index.outcomes()
                if len(kept) >= count // 3:
                    break
        os.killpg(first.pid, signal.SIGKILL)
        first.wait()
        with Index(folder) as index:
            kept = index.outcomes()
        print(
            f"killed after {time.perf_counter() - began:.0f} s with {len(kept)} of {count} drives"
        )
        began = time.perf_counter()
        status = start(folder).wait()
        took = time.perf_counter() - began
        print(f"the rest took {took:.0f} s, {took / (count - len(kept)):.2f} s a drive; {status=}")
        with Index(folder) as index:
            found = index.outcomes()
        changed = sum(found.get(name) != outcome for name, outcome in kept.items())
        print(f"in the index: {len(found)}; changed since the kill: {changed}")
        picked = random.Random(2).sample(sorted(found), min(SAMPLE, len(found)))
        wrong = sum(check_one(str(folder / name)) != found[name] for name in picked)
        print(f"of {len(picked)} checked by themselves, {wrong} differ")
        began = time.perf_counter()
        start(folder).wait()
        print(f"with nothing to do: {time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
