"""Small valid files of every kind, to begin from."""

from __future__ import annotations

import gzip
import zlib
from html import escape
from pathlib import Path
from typing import Final

from roadtest.results import to_json
from tests.example_results import EXAMPLE
from tests.logs.nmea_logs import drive, log, sentence

_SAMPLES: Final = Path(__file__).resolve().parents[2] / "sample_logs"

NMEA: Final = (
    log(drive(6), "rmc gga"),
    log(drive(4, 5.0), "gga vtg gsa zda"),
    log(drive(4, 10.0), "gns vtg gst gll"),
    log(drive(4), "rmc") + sentence("IIRPM,E,1,2900.0,,A").encode() + log(drive(2), "gga vtg"),
    b"".join(line.split(b"*")[0] + b"\n" for line in log(drive(4)).splitlines()),
)

_POINTS: Final = "".join(
    f'<trkpt lat="51.{500 + i}" lon="-0.704"><ele>72.5</ele><time>2026-05-02T08:00:{i:02d}Z</time>'
    f"<hdop>0.9</hdop><speed>{i}.5</speed><course>0.0</course></trkpt>\n"
    for i in range(5)
)
_IN_EXTENSIONS: Final = "".join(
    f'<trkpt lat="51.{500 + i}" lon="-0.704"><time>2026-05-02T08:00:{i:02d}.250+01:00</time>'
    f"<extensions><x:more><x:speed>{i}.5</x:speed></x:more></extensions></trkpt>\n"
    for i in range(4)
)
GPX: Final = (
    f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.0" creator="a logger"><trk><trkseg>\n'
    f"{_POINTS}</trkseg></trk></gpx>\n".encode(),
    f'<gpx version="1.1" creator="b" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="urn:x">'
    f"<trk><name>n</name><trkseg>\n{_IN_EXTENSIONS}</trkseg><trkseg/></trk></gpx>".encode(),
    f'<?xml version="1.0" encoding="UTF-16"?><gpx><trk><trkseg>{_POINTS[:420]}'.encode("utf-16"),
)

TACH: Final = (
    b"time,rpm\n" + b"".join(b"2026-05-02T08:00:%02dZ,%d\n" % (i, 900 + 40 * i) for i in range(8)),
    b"elapsed_s;rpm;gear\n" + b"".join(b"%d,5;%d,0;3\n" % (i, 900 + 40 * i) for i in range(8)),
    b'# a logger\n"elapsed_s","rpm"\n' + b"".join(b'"%d.1","%d"\n' % (i, 800) for i in range(12)),
)
PULSES: Final = (
    b"pulse_time_s\n" + b"".join(b"%.4f\n" % (0.0151 * i) for i in range(24)),
    b"\xef\xbb\xbfpulse_time_s\r\n" + b"".join(b"%.3f\r\n" % (0.02 * i) for i in range(24)),
)
CHANNELS: Final = (
    b"time,coolant_temperature [degC],oil_pressure [bar]\n"
    + b"".join(b"2026-05-02T09:00:%02d,%d.5,4.%d\n" % (i, 60 + i, i) for i in range(8)),
    b"elapsed_s\tboost [psi]\tbattery [V]\n"
    + b"".join(b"%d\t%d\t13.8\n" % (i, i) for i in range(8)),
)
NOTES: Final = (
    *(path.read_bytes() for path in sorted(_SAMPLES.glob("*/notes.csv"))),
    b'time,item,value,unit,remark\n09:20,odometer,41214.3,mile,"at the\nlay-by"\n'
    b"09:21:05,gear,3,,\n"
    b",inspection,not done,,lamps\n,remark,,,rain from here on\n09:30,tach,2900,rpm,\xc2\xb15 s\n",
)
SHEETS: Final = tuple(path.read_bytes() for path in sorted(_SAMPLES.glob("*/build.toml")))

_RESULTS: Final = to_json(EXAMPLE)
RESULTS: Final = (_RESULTS.encode(),)
REPORTS: Final = (
    f'<html><pre id="results" hidden>{escape(_RESULTS)}</pre></html>'.encode(),
    b"%PDF-1.7\n1 0 obj <<>> stream\nBT\nendstream\n2 0 obj <<>> stream\r\n"
    + zlib.compress(_RESULTS.encode())
    + b"\nendstream\n",
)

GZIPS: Final = (
    *(gzip.compress(data, mtime=0) for data in (NMEA[0], GPX[0], TACH[0], b"", NOTES[0])),
    gzip.compress(NMEA[0], mtime=0) + gzip.compress(NMEA[1], mtime=0) + b"\0" * 20,
)

NEXT_FILE: Final = b"\n=====file "
"""Parts the files of a folder written as one text; the file's name and a line feed follow."""


def folder(**files: bytes) -> bytes:
    """Return files as one text; a name is written with _ for its dot."""
    return b"".join(
        NEXT_FILE + name.replace("_", ".").encode() + b"\n" + data for name, data in files.items()
    )


FOLDERS: Final = (
    folder(build_toml=SHEETS[0], gps_nmea=log(drive(30), "rmc gga"), notes_csv=NOTES[0]),
    folder(
        build_toml=b'units = "mph"\n', gps_gpx=GPX[0], tach_csv=TACH[0], channels_csv=CHANNELS[0]
    ),
    folder(build_toml=SHEETS[1], a_nmea=NMEA[0], b_nmea=NMEA[1], tach_csv=PULSES[0], x_gz=GZIPS[0]),
)
