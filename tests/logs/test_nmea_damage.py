"""Damage to a log never does more than cost sentences."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.errors import InputError
from roadtest.logs.model import GpsLog
from roadtest.logs.nmea import looks_like_nmea, read_nmea
from roadtest.logs.nmea.accounts import SENTENCE_REASONS
from tests.logs.nmea_logs import drive, log, sentence

LOGS = (
    log(drive(30), "rmc gga"),
    log(drive(30, 5.0), "gga vtg gsa zda"),
    log(drive(20, 10.0), "gns vtg gst gll"),
    b"".join(
        line + sentence(f"IIRPM,E,1,{900 + number}.0,,A").encode()
        for number, line in enumerate(log(drive(30), "rmc").splitlines(keepends=True))
    ),
    b"".join(line.split(b"*")[0] + b"\n" for line in log(drive(30)).splitlines()),
)


def check(found: GpsLog) -> None:
    """Assert what holds of every log, however damaged."""
    count = found.time_s.size
    assert count > 0
    columns = [value for value in vars(found).values() if isinstance(value, np.ndarray)]
    assert {column.shape for column in columns} == {(count,)}
    assert np.isfinite(found.time_s).all()
    assert (np.diff(found.time_s) > 0.0).all()
    assert (np.abs(found.latitude_deg) <= 90.0).all()
    assert (np.abs(found.longitude_deg) <= 180.0).all()
    assert not (found.speed_mps < 0.0).any()
    assert not (found.course_deg > 360.0).any()
    assert not np.isinf(np.concatenate(columns)).any()
    lost = {reason: loss.count for reason, loss in found.rejected.items()}
    fixes = sum(number for reason, number in lost.items() if reason not in SENTENCE_REASONS)
    assert found.fixes_read == count + fixes
    if found.engine is not None:
        assert found.engine.rpm is not None
        assert found.engine.rpm.shape == found.engine.time_s.shape
        assert (np.diff(found.engine.time_s) > 0.0).all()
        gone = sum(loss.count for loss in found.engine.rejected.values())
        assert found.engine.rows_read == found.engine.time_s.size + gone


def read_and_check(data: bytes) -> None:
    """Read the log; it may be refused, and nothing else may happen."""
    assert looks_like_nmea(data[:65_536]) in (True, False)
    try:
        found = read_nmea(data, "damaged.nmea")
    except InputError as error:
        assert "\n" not in str(error)
        return
    check(found)


def flip(data: bytes, rng: random.Random) -> bytes:
    """Change some bytes."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 40)):
        out[rng.randrange(len(out))] = rng.choice([rng.randrange(256), *b"$,*\r\n.0-"])
    return bytes(out)


def delete(data: bytes, rng: random.Random) -> bytes:
    """Take some bytes out."""
    for _ in range(rng.randint(1, 10)):
        at = rng.randrange(len(data))
        data = data[:at] + data[at + rng.randint(1, 30) :] or b"$"
    return data


def insert(data: bytes, rng: random.Random) -> bytes:
    """Put some bytes in."""
    for _ in range(rng.randint(1, 10)):
        at = rng.randrange(len(data))
        data = data[:at] + rng.randbytes(rng.randint(1, 30)) + data[at:]
    return data


def shuffle(data: bytes, rng: random.Random) -> bytes:
    """Put the lines in any order."""
    lines = data.splitlines(keepends=True)
    rng.shuffle(lines)
    return b"".join(lines)


def truncate(data: bytes, rng: random.Random) -> bytes:
    """Keep only a piece."""
    first = rng.randrange(len(data))
    return data[first : rng.randrange(first, len(data) + 1)]


def repeat(data: bytes, rng: random.Random) -> bytes:
    """Repeat a piece somewhere."""
    piece, at = truncate(data, rng), rng.randrange(len(data))
    return data[:at] + piece * rng.randint(1, 3) + data[at:]


def rewrite(data: bytes, rng: random.Random) -> bytes:
    """Change fields and make the checksums right again."""
    out = []
    for line in data.decode("latin-1").splitlines():
        fields = line[1:].split("*")[0].split(",")
        if len(fields) > 1 and rng.random() < 0.3:
            at = rng.randrange(1, len(fields))
            fields[at] = rng.choice(
                ["", "x", "-1", "1e9", "9" * 17, "9" * 25, "0", ".", "..", "+", "080000", "235960",
                 "310299", "9999.9", "00000.00000001", "A", "V", "NNNN", "\xff", "1.2.3"]
            )  # fmt: skip
        out.append(sentence(",".join(fields)))
    return "".join(out).encode("latin-1", "ignore")


DAMAGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    flip, delete, insert, shuffle, truncate, repeat, rewrite,
)  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    data=st.sampled_from(LOGS),
    damages=st.lists(st.sampled_from(DAMAGES), min_size=1, max_size=3),
    seed=st.integers(0, 2**32 - 1),
)
def test_damage_never_breaks_the_reader(
    data: bytes,
    damages: list[Callable[[bytes, random.Random], bytes]],
    seed: int,
) -> None:
    rng = random.Random(seed)
    for damage in damages:
        data = damage(data, rng) if data else data
    read_and_check(data)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(data=st.binary(max_size=300))
def test_any_bytes_never_break_the_reader(data: bytes) -> None:
    read_and_check(data)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    parts=st.lists(
        st.sampled_from(
            [b"$", b",", b"*", b"\r", b"\n", b"\r\n", b"$GPRMC,", b"$GPGGA,080000,", b"5133.8,N,",
             b"*7E", b"A", b"0", b"00042.2,W,", b"020526", *LOGS[0].splitlines(keepends=True)[:4]]
        ),
        max_size=60,
    )
)  # fmt: skip
def test_any_order_of_the_pieces_of_sentences_never_breaks_the_reader(parts: list[bytes]) -> None:
    read_and_check(b"".join(parts))


@pytest.mark.parametrize("damage", DAMAGES)
def test_each_damage_leaves_something_to_read(
    damage: Callable[[bytes, random.Random], bytes],
) -> None:
    # So that the tests above do not pass by refusing everything.
    rng = random.Random(3)
    read = 0
    for _ in range(20):
        try:
            check(read_nmea(damage(LOGS[0], rng), "damaged.nmea"))
            read += 1
        except InputError:
            continue
    assert read >= 10


def test_one_flipped_byte_costs_at_most_one_epoch() -> None:
    data = log(drive(40), "rmc")
    rng = random.Random(11)
    for _ in range(200):
        at = rng.randrange(len(data))
        changed = data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]
        found = read_nmea(changed, "damaged.nmea")
        assert found.time_s.size >= 38  # a broken line end may take its neighbour with it
        check(found)


@pytest.mark.parametrize(
    "data",
    [
        b"$" * 300_000,
        b"," * 300_000,
        b"$GPRMC," * 50_000,
        b"$GPRMC,\n" * 50_000,
        b"\n" * 300_000,
        b"*" * 300_000,
        b"$GPRMC," + b"1" * 300_000,
        b"$GPRMC," + b"," * 300_000 + b"*00",
    ],
)
def test_odd_files_are_refused_at_once(data: bytes) -> None:
    with pytest.raises(InputError):
        read_nmea(data, "odd.nmea")


def test_an_endless_line_around_sentences_costs_nothing() -> None:
    data = b"\x00" * 3_000_000 + log(drive(5)) + b"x" * 3_000_000
    assert read_nmea(data, "long.nmea").time_s.size == 5


@pytest.mark.parametrize("junk", [b"$", b"\n", b"$\n", b"$A,", b"*", b"\r\n", b"$$GPRMC"])
def test_junk_costs_no_fix_before_it(junk: bytes) -> None:
    data = LOGS[0] + junk * 100_000
    found = read_nmea(data, "junk.nmea")
    assert found.time_s.size == read_nmea(LOGS[0], "plain.nmea").time_s.size
