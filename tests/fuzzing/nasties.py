"""Inputs made to take all the time or all the memory, by hand.

Run as `python -m tests.fuzzing.nasties [NAME ...]` from the root of the repository. Each is put
into a drive folder beside a good log and checked by a process of its own; prints its size, wall
time, processor time, the peak of memory, the exit status and what is said of the file. No more than
5 s and 500 MB are wanted, and no traceback (status 70).
"""

from __future__ import annotations

import gzip
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Final

from tests.fuzzing.seeds import GPX, NMEA
from tests.logs.nmea_logs import drive, log

_MB: Final = 2**20
_POINT: Final = (
    b'<trkpt lat="51.5" lon="-0.7"><time>2026-05-02T08:%02d:%02dZ</time><speed>9</speed></trkpt>'
)


def _times(piece: bytes, count: int) -> Iterator[bytes]:
    block = piece * max(1, _MB // len(piece))
    whole, rest = divmod(len(piece) * count, len(block))
    for _ in range(whole):
        yield block
    yield block[:rest]


def _in(before: bytes, middle: Iterable[bytes], after: bytes = b"") -> Iterator[bytes]:
    yield before
    yield from middle
    yield after


def _tracks(count: int, around: bytes) -> Iterator[bytes]:
    yield b"<gpx>"
    for k in range(count):
        yield around.replace(b"%b", _POINT % (k // 60 % 60, k % 60))
    yield b"</gpx>"


_SENTENCE: Final = log(drive(1), "rmc")

NASTIES: Final[dict[str, tuple[str, Callable[[], Iterable[bytes]]]]] = {
    "1 GB, one line": ("a.log", lambda: _times(b"a", 1024 * _MB)),
    "1 GB, one line, gzip": ("a.log.gz", lambda: _times(b"a", 1024 * _MB)),
    "1 GB, one NMEA line, gzip": ("a.nmea.gz", lambda: _in(NMEA[0], _times(b"$GPRMC,", 150 * _MB))),
    "240 MB, one line": ("tach.csv", lambda: _times(b"a", 240 * _MB)),
    "240 MB, one NMEA line": ("b.nmea", lambda: _in(NMEA[0], _times(b"$GPRMC,", 34 * _MB))),
    "240 MB of dollars": ("c.nmea", lambda: _in(NMEA[0], _times(b"$", 240 * _MB))),
    "240 MB of line ends": ("d.nmea", lambda: _in(NMEA[0], _times(b"\n", 240 * _MB))),
    "240 MB of commas": ("e.nmea", lambda: _in(NMEA[0], _times(b",", 240 * _MB))),
    "240 MB of stubs": ("l.nmea", lambda: _in(NMEA[0], _times(b"$A,", 80 * _MB))),
    "120 MB of one sentence": ("f.nmea", lambda: _times(_SENTENCE, 120 * _MB // len(_SENTENCE))),
    "120 MB of line ends, CSV": ("tach.csv", lambda: _in(b"time,rpm\n", _times(b"\n", 120 * _MB))),
    "120 MB of commas, CSV": ("tach.csv", lambda: _in(b"time,rpm\n", _times(b",", 120 * _MB))),
    "120 MB of quotes, CSV": ("tach.csv", lambda: _in(b"time,rpm\n", _times(b'"\n', 60 * _MB))),
    "120 MB of comments, CSV": ("tach.csv", lambda: _in(b"time,rpm\n", _times(b"#\n", 60 * _MB))),
    "120 MB of short rows, CSV": (
        "tach.csv",
        lambda: _in(b"time,rpm\n", _times(b"1\n", 60 * _MB)),
    ),
    "120 MB UTF-16, CSV": (
        "channels.csv",
        lambda: _in("time,a\n".encode("utf-16"), _times("1,2\n".encode("utf-16-le"), 15 * _MB)),
    ),
    "120 MB of line ends, notes": ("notes.csv", lambda: _in(b"item\n", _times(b"\n", 120 * _MB))),
    "100,000 columns": (
        "channels.csv",
        lambda: _in(b"time", _times(b",c", 100_000), b"\n2026-05-02T08:00:00Z\n"),
    ),
    "1,000 columns, 60 MB": (
        "channels.csv",
        lambda: _in(
            b"elapsed_s," + b",".join(b"c%d" % k for k in range(999)) + b"\n",
            _times(b",".join([b"1"] * 1000) + b"\n", 30_000),
        ),
    ),
    "1,000,000 tracks": ("a.gpx", lambda: _tracks(1_000_000, b"<trk><trkseg>%b</trkseg></trk>")),
    "1,000,000 empty tracks": ("b.gpx", lambda: _tracks(1_000_000, b"<trk/><wpt/>")),
    "1,000,000 points": ("c.gpx", lambda: _tracks(1_000_000, b"%b")),
    "1,000,000 deep elements": ("d.gpx", lambda: _in(b"<gpx>", _times(b"<a>", 1_000_000))),
    "240 MB of a tag": ("e.gpx", lambda: _in(b"<gpx><a ", _times(b"b", 240 * _MB))),
    "240 MB of attributes": ("f.gpx", lambda: _in(b"<gpx ", _times(b"b='' ", 48 * _MB))),
    "240 MB of a text": ("g.gpx", lambda: _in(b"<gpx><time>", _times(b"b", 240 * _MB))),
    "240 MB of damage": ("h.gpx", lambda: _in(b"<gpx>", _times(b"<trkpt><trkpt></x>", 13 * _MB))),
    "240 MB of blanks": ("i.gpx", lambda: _in(b"<gpx>", _times(b" ", 240 * _MB))),
    "an entity bomb": (
        "j.gpx",
        lambda: [
            b"<!DOCTYPE gpx [<!ENTITY a0 'aaaaaaaaaa'>",
            *(b"<!ENTITY a%d '%b'>" % (k, b"&a%d;" % (k - 1) * 10) for k in range(1, 12)),
            b"]><gpx><trk><trkseg><trkpt lat='1' lon='1'><time>&a11;</time></trkpt></gpx>",
        ],
    ),
    "an outside entity": (
        "k.gpx",
        lambda: [b"<!DOCTYPE gpx SYSTEM 'file:///etc/passwd'>", GPX[0]],
    ),
    "1 GB build sheet": ("build.toml", lambda: _times(b"a", 1024 * _MB)),
    "1 MB of brackets, sheet": ("build.toml", lambda: _in(b"a = ", _times(b"[", 900_000))),
    "1 MB of tables, sheet": ("build.toml", lambda: _times(b"[[a]]\n", 150_000)),
    "1 MB of dotted keys, sheet": ("build.toml", lambda: _in(b"a", _times(b".a", 450_000))),
}


def _try(name: str) -> None:
    file, parts = NASTIES[name]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "drive"
        folder.mkdir()
        (folder / "build.toml").write_bytes(b'units = "mph"\n')
        (folder / "good.nmea").write_bytes(log(drive(60), "rmc gga"))
        target = folder / file
        with gzip.open(target, "wb", 1) if file.endswith(".gz") else target.open("wb") as out:
            for part in parts():
                out.write(part)
        size = target.stat().st_size
        said = Path(scratch) / "said"
        where = os.open(said, os.O_WRONLY | os.O_CREAT)
        began = time.perf_counter()
        program = [sys.executable, "-m", "roadtest", "check", str(folder)]
        actions = [(os.POSIX_SPAWN_DUP2, where, 1), (os.POSIX_SPAWN_DUP2, where, 2)]
        child = os.posix_spawn(program[0], program, os.environ, file_actions=actions)
        _, status, used = os.wait4(child, 0)
        os.close(where)
        lines = said.read_text(encoding="utf-8", errors="replace").splitlines()
    about = next((line for line in lines if line.startswith(file)), lines[0] if lines else "")
    print(
        f"{name:27} {size / _MB:7.1f} {time.perf_counter() - began:7.1f} "
        f"{used.ru_utime + used.ru_stime:6.1f} {used.ru_maxrss / 1024:6.0f} "
        f"{os.waitstatus_to_exitcode(status):4}  {about[:90]}",
        flush=True,
    )


def main() -> None:
    """Try those named, or all."""
    print(f"{'':27} {'size MB':>7} {'wall s':>7} {'CPU s':>6} {'MB':>6} exit")
    for name in NASTIES:
        if len(sys.argv) == 1 or any(part in name for part in sys.argv[1:]):
            _try(name)


if __name__ == "__main__":
    main()
