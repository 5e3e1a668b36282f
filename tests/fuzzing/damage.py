"""Damage to files, drawn at random: to bytes, and to what the bytes mean."""

from __future__ import annotations

import random
import re
from typing import Final

_NASTY: Final = (
    b"", b"0", b"-0", b"-1", b"1e309", b"-1e308", b"1e-320", b"nan", b"inf", b"-inf", b"95.0",
    b"9500.000", b"180.0001", b"99999999999999999999", b"0x10", b"1_0", b"1,5", b"\xff",
    b"\xc2\xb1",
    b"\0", b"\x1b[31m", b"\r", b"\n", b"\xe2\x80\xa8", b"\xef\xbb\xbf", b"2038-01-19T03:14:08Z",
    b"1980-01-06T00:00:00Z", b"0001-01-01T00:00:00+14:00", b"9999-12-31T23:59:60Z", b"060180",
    b"190138", b"240000.00", b"235960", b"1970-01-01", b"24:00", b"790 kg \xc2\xb1 900 kg",
    b"<!DOCTYPE gpx [<!ENTITY a 'a'>]>", b"&a;", b"&#0;", b"]]>", b"<!--", b"<trkpt>", b"</trkpt>",
    b"<trk>", b"$GPRMC,", b"$IIRPM,E,1,", b"*00", b'"', b'""', b"''' ", b"[[", b"{", b"[", b"#",
    b"null", b"true", b"1" * 400, b"a" * 3000, b"," * 1200, b"[" * 1500, b"<a>" * 400, b"\0" * 64,
    b"=", b"\\", b"+01:00", b"%", b"units", b"NaN", b"Infinity", b"\\ud800", b"\xed\xa0\x80",
    "\u0661\u0662".encode(), b"1e400", b"0" * 80 + b"1", b"1980", b"2100", b"60", b"5 s",
)  # fmt: skip
_NUMBER: Final = re.compile(rb"[-+]?\d+(?:\.\d+)?")
_CELL: Final = re.compile(rb"[^,;\t\n\r<>\"=: ]+")


def damaged(data: bytes, rng: random.Random, most_bytes: int) -> bytes:
    """Return `data` with one to six damages."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        data = rng.choice(_WAYS)(data, rng)
    return data[:most_bytes]


def _bytes(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data or b"\0")
    for _ in range(rng.choice((1, 1, 2, 8, 40))):
        out[rng.randrange(len(out))] = rng.randrange(256)
    return bytes(out)


def _flip(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data or b"\0")
    out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def _cut(data: bytes, rng: random.Random) -> bytes:
    at = rng.randint(0, len(data))
    return data[:at] + data[at + rng.choice((1, 2, 10, 100)) :]


def _end(data: bytes, rng: random.Random) -> bytes:
    at = rng.randint(0, len(data))
    return data[:at] if rng.random() < 0.7 else data[at:]


def _insert(data: bytes, rng: random.Random) -> bytes:
    at = rng.randint(0, len(data))
    return data[:at] + rng.choice(_NASTY) + data[at:]


def _match(data: bytes, rng: random.Random, what: re.Pattern[bytes]) -> re.Match[bytes] | None:
    begin = rng.randint(0, len(data))
    return what.search(data, begin) or what.search(data)


def _cell(data: bytes, rng: random.Random) -> bytes:
    found = _match(data, rng, _CELL)
    return (
        data if found is None else data[: found.start()] + rng.choice(_NASTY) + data[found.end() :]
    )


def _number(data: bytes, rng: random.Random) -> bytes:
    found = _match(data, rng, _NUMBER)
    if found is None:
        return data
    digits = b"%d" % rng.choice(
        (0, 1, 7, 59, 60, 99, 10 ** rng.randint(0, 25), rng.getrandbits(64))
    )
    return data[: found.start()] + rng.choice((b"", b"-")) + digits + data[found.end() :]


def _lines(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True) or [b""]
    here, there = rng.randrange(len(lines)), rng.randrange(len(lines))
    way = rng.randrange(4)
    if way == 0:
        lines[here], lines[there] = lines[there], lines[here]
    elif way == 1:
        lines[here:here] = [lines[there]] * rng.choice((1, 2, 30))
    elif way == 2:
        del lines[here]
    else:
        rng.shuffle(lines)
    return b"".join(lines)


def _encoding(data: bytes, rng: random.Random) -> bytes:
    text = data.decode("utf-8", "replace")
    codec = rng.choice(("utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "cp1252"))
    return text.encode(codec, "replace")


def _breaks(data: bytes, rng: random.Random) -> bytes:
    return data.replace(b"\n", rng.choice((b"\r", b"\r\n", b"\n\n", b"\0\n", b" ", b"\n\r")))


_WAYS: Final = (
    _bytes, _flip, _cut, _end, _insert, _insert, _cell, _cell, _cell, _number, _number, _lines,
    _lines, _encoding, _breaks,
)  # fmt: skip
