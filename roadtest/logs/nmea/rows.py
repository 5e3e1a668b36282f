"""The sentences of a log as rows of numbers, in file order.

Field order of each sentence: the gpsd project's public NMEA page (repository ntpsec/gpsd,
www/NMEA.adoc). Knots are 1852 m an hour exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from roadtest.logs.model import Floats, Ints
from roadtest.logs.nmea.accounts import Accounts
from roadtest.logs.nmea.columns import (
    ABSENT,
    COMMON,
    ESTIMATED,
    FIX,
    GOOD,
    MANUAL,
    NO_FIX,
    NOTHING,
    OUT_OF_RANGE,
    SIMULATED,
    TIMED,
    UNREADABLE,
    UNTIMED,
    Column,
    Columns,
    GrowingRows,
    Rows,
)
from roadtest.logs.nmea.fields import (
    BAD_TIME,
    NO_DAY,
    NO_TIME,
    day_number,
    read_angle,
    read_clock,
    read_date,
    read_decimals,
    read_letter,
)
from roadtest.logs.nmea.sentences import (
    GGA,
    GLL,
    GNS,
    GSA,
    GST,
    RMC,
    RPM,
    VTG,
    ZDA,
    Bools,
    Bytes,
    Scan,
    Sentences,
    pieces,
    scan,
)

_KNOT_MPS: Final = 1852 / 3600
_FEWEST_FIELDS: Final = {RMC: 9, GGA: 8, GNS: 8, GLL: 5, ZDA: 4, GST: 7, VTG: 4, GSA: 16, RPM: 3}


@dataclass(frozen=True)
class Table:
    """All rows of a log: sentences with a time of their own, and those without."""

    timed: Rows  # TIMED
    untimed: Rows  # UNTIMED
    count: int  # sentences of any kind
    rejoined: int
    unreadable: int  # number fields that hold no number
    unsummed: bool  # the log as a whole has no checksums


def read_rows(data: bytes, accounts: Accounts) -> Table:
    """Return the rows of a log. What can't be a row is counted in `accounts`."""
    timed, untimed = GrowingRows(TIMED), GrowingRows(UNTIMED)
    count = checked = rejoined = unreadable = 0
    for low, high in pieces(data):
        found = scan(data, low, high)
        accounts.add("bad checksum", found.bad_checksum)
        accounts.add("cut off sentence", found.cut_off)
        reader = _PieceReader(found, accounts)
        timed.add(reader.timed())
        untimed.add(reader.untimed())
        count += found.count
        checked += found.checked
        rejoined += found.rejoined
        unreadable += reader.unreadable
    timed_rows, untimed_rows = timed.rows(), untimed.rows()
    bare = int(np.count_nonzero(timed_rows["bare"]) + np.count_nonzero(untimed_rows["bare"]))
    unsummed = bare > 9 * checked
    if not unsummed:
        timed_rows = _with_checksum(timed_rows, accounts)
        untimed_rows = _with_checksum(untimed_rows, accounts)
    timed_rows = _with_time(timed_rows, accounts)
    return Table(timed_rows, untimed_rows, count, rejoined, unreadable, unsummed)


def _with_checksum(rows: Rows, accounts: Accounts) -> Rows:
    accounts.add("no checksum", rows["place"][rows["bare"]])
    return rows.where(~rows["bare"])


def _with_time(rows: Rows, accounts: Accounts) -> Rows:
    clock = rows["clock_us"]
    # ZDA and GST without a time cost no fix.
    fixes = rows["kind"] <= GLL
    accounts.add("no time", rows["place"][fixes & (clock == NO_TIME)])
    accounts.add("unreadable time", rows["place"][fixes & (clock == BAD_TIME)])
    return rows.where(clock >= 0)


class _PieceReader:
    """Fills the rows of one piece of the file."""

    def __init__(self, found: Scan, accounts: Accounts) -> None:
        sentences = found.sentences
        fewest = np.zeros(256, dtype=np.int64)
        fewest[list(_FEWEST_FIELDS)] = list(_FEWEST_FIELDS.values())
        short = sentences.fields < fewest[sentences.kind]
        accounts.add("cut off sentence", sentences.place[short & sentences.bare])
        # A receiver without a fix may send a GSA that stops after the fix type.
        odd = short & ~sentences.bare & (sentences.kind != GSA)
        accounts.add("too few fields", sentences.place[odd])
        self._sentences = sentences[~short]
        self.unreadable = 0

    def timed(self) -> Rows:
        """Return the rows of RMC, GGA, GNS, GLL, ZDA and GST."""
        readers = {
            RMC: self._rmc,
            GGA: self._gga,
            GNS: self._gns,
            GLL: self._gll,
            ZDA: self._zda,
            GST: self._gst,
        }
        return self._rows(self._sentences[self._sentences.kind <= GST], TIMED, readers)

    def untimed(self) -> Rows:
        """Return the rows of VTG, GSA and RPM."""
        readers = {VTG: self._vtg, GSA: self._gsa, RPM: self._rpm}
        return self._rows(self._sentences[self._sentences.kind > GST], UNTIMED, readers)

    def _rows(
        self,
        sentences: Sentences,
        form: dict[str, str],
        readers: Mapping[int, Callable[[Sentences], Columns]],
    ) -> Rows:
        columns = {name: _blank(name, code, sentences) for name, code in form.items()}
        for kind, read in readers.items():
            chosen = sentences.kind == kind
            if chosen.any():
                at = np.flatnonzero(chosen)
                for name, values in read(sentences[chosen]).items():
                    columns[name][at] = values
        return Rows(columns)

    def _rmc(self, sentences: Sentences) -> Columns:
        speed_mps, step_mps = self._speed(sentences, 7, _KNOT_MPS)
        active = read_letter(sentences.text, sentences.span(2)) == ord("A")
        mode = read_letter(sentences.text, sentences.span(12))
        return {
            **_clock(sentences, 1),
            **_position(sentences, 3),
            "claim": _claim(active, mode),
            "day": read_date(sentences.text, sentences.span(9)),
            "speed_mps": speed_mps,
            "step_mps": step_mps,
            "course_deg": self._course(sentences, 8),
        }

    def _gga(self, sentences: Sentences) -> Columns:
        return {
            **_clock(sentences, 1),
            **_position(sentences, 2),
            "claim": _QUALITY[read_letter(sentences.text, sentences.span(6))],
            "hdop": self._hdop(sentences, 8),
            "altitude_m": self._number(sentences, 9, signed=True),
        }

    def _gns(self, sentences: Sentences) -> Columns:
        return {
            **_clock(sentences, 1),
            **_position(sentences, 2),
            "claim": _modes_claim(sentences.text, sentences.span(6)),
            "hdop": self._hdop(sentences, 8),
            "altitude_m": self._number(sentences, 9, signed=True),
        }

    def _gll(self, sentences: Sentences) -> Columns:
        status = read_letter(sentences.text, sentences.span(6))
        claim = _claim(status == ord("A"), read_letter(sentences.text, sentences.span(7)))
        return {
            **_clock(sentences, 5),
            **_position(sentences, 1),
            # Early versions have no status.
            "claim": np.where(status == 0, NOTHING, claim),
        }

    def _zda(self, sentences: Sentences) -> Columns:
        parts = [read_decimals(sentences.text, sentences.span(number)) for number in (2, 3, 4)]
        good = np.logical_and.reduce([part.readable & (part.decimals == 0) for part in parts])
        day, month, year = (np.where(good, part.digits, 0) for part in parts)
        return {**_clock(sentences, 1), "day": day_number(year, month, day)}

    def _gst(self, sentences: Sentences) -> Columns:
        north, east = self._number(sentences, 6), self._number(sentences, 7)
        u_position_m = np.sqrt((north * north + east * east) / 2.0)
        known = u_position_m > 0.0
        return {**_clock(sentences, 1), "u_position_m": np.where(known, u_position_m, np.nan)}

    def _vtg(self, sentences: Sentences) -> Columns:
        knots_at: int | Ints = 5
        km_h_at: int | Ints = 7
        if (sentences.fields < 8).any():
            # Before version 3.01 the four numbers stood alone, without letters between them.
            second = read_decimals(sentences.text, sentences.span(2))
            short = (sentences.fields < 8) & (second.readable | second.empty)
            knots_at, km_h_at = np.where(short, 3, 5), np.where(short, 4, 7)
        knots, knots_step = self._speed(sentences, knots_at, _KNOT_MPS)
        km_h, km_h_step = self._speed(sentences, km_h_at, 1 / 3.6)
        finer = np.isfinite(km_h) & ~(knots_step <= km_h_step)
        return {
            "speed_mps": np.where(finer, km_h, knots),
            "step_mps": np.where(finer, km_h_step, knots_step),
            "course_deg": self._course(sentences, 1),
        }

    def _gsa(self, sentences: Sentences) -> Columns:
        # Some receivers list more than 12 satellites; HDOP is then the last but one.
        long = sentences.fields > 18
        number = np.where(long, sentences.fields - 1, 16) if long.any() else 16
        return {"hdop": self._hdop(sentences, number)}

    def _rpm(self, sentences: Sentences) -> Columns:
        text = sentences.text
        engine = read_letter(text, sentences.span(1)) == ord("E")
        good = engine & (read_letter(text, sentences.span(5)) != ord("V"))
        number = read_decimals(text, sentences.span(2))
        which = np.where(number.readable, np.minimum(number.digits, 99), 0)
        return {
            "engine": np.where(engine, which, -1),
            "rpm": np.where(good, self._number(sentences, 3), np.nan),
        }

    def _number(self, sentences: Sentences, number: int | Ints, signed: bool = False) -> Floats:
        field = read_decimals(sentences.text, sentences.span(number), signed)
        self.unreadable += int(np.count_nonzero(~field.readable & ~field.empty))
        return field.values

    def _hdop(self, sentences: Sentences, number: int | Ints) -> Floats:
        # 0 and 99 or more stand for "not known".
        hdop = self._number(sentences, number)
        return np.where((hdop > 0.0) & (hdop < 99.0), hdop, np.nan)

    def _course(self, sentences: Sentences, number: int) -> Floats:
        course = self._number(sentences, number)
        return np.where(course <= 360.0, course, np.nan)

    def _speed(
        self, sentences: Sentences, number: int | Ints, unit_mps: float
    ) -> tuple[Floats, Floats]:
        field = read_decimals(sentences.text, sentences.span(number))
        self.unreadable += int(np.count_nonzero(~field.readable & ~field.empty))
        return field.values * unit_mps, np.where(field.readable, field.step * unit_mps, np.nan)


def _blank(name: str, code: str, sentences: Sentences) -> Column:
    """Return a column with nothing known yet."""
    if name in COMMON:
        column: Column = getattr(sentences, name)
        return column
    blank = np.nan if code[0] == "f" else {"day": NO_DAY, "engine": -1}.get(name, 0)
    return np.full(sentences.place.size, blank, dtype=code)


def _clock(sentences: Sentences, number: int) -> Columns:
    clock_us, sixty = read_clock(sentences.text, sentences.span(number))
    return {"clock_us": clock_us, "sixty": sixty}


def _position(sentences: Sentences, number: int) -> Columns:
    """Read latitude, N or S, longitude, E or W from field `number` on."""
    text = sentences.text
    latitude, north = read_angle(text, sentences.span(number))
    longitude, east = read_angle(text, sentences.span(number + 2))
    south_sign = _sign(read_letter(text, sentences.span(number + 1)), "N", "S")
    west_sign = _sign(read_letter(text, sentences.span(number + 3)), "E", "W")
    # Receivers fill the fields with zeros where they have no position.
    absent = (north.empty & east.empty) | ((latitude == 0.0) & (longitude == 0.0))
    readable = north.readable & east.readable & (south_sign != 0.0) & (west_sign != 0.0)
    inside = (latitude <= 90.0) & (longitude <= 180.0)
    good = readable & inside & ~absent
    position = np.full(good.size, GOOD, dtype=np.uint8)
    if not good.all():
        position[~inside] = OUT_OF_RANGE
        position[~readable] = UNREADABLE
        position[absent] = ABSENT
    return {
        "position": position,
        "latitude_deg": np.where(good, latitude, np.nan) * south_sign,
        "longitude_deg": np.where(good, longitude, np.nan) * west_sign,
        "decimals": np.minimum(north.decimals, east.decimals),
    }


def _sign(letter: Bytes, positive: str, negative: str) -> Floats:
    """Return 1.0 or -1.0, 0.0 where the letter is neither."""
    sign: Floats = (letter == ord(positive)).astype(np.float64)
    sign[letter == ord(negative)] = -1.0
    return sign


def _letters(pairs: dict[str, int], other: int) -> Bytes:
    table = np.full(256, other, dtype=np.uint8)
    for letters, claim in pairs.items():
        table[[ord(letter) for letter in letters]] = claim
    return table


# 9 has no published meaning. An empty quality says nothing either way.
_QUALITY: Final = _letters(
    {"12345": FIX, "0": NO_FIX, "6": ESTIMATED, "7": MANUAL, "8": SIMULATED}, NOTHING
)
_MODE: Final = _letters({"N": NO_FIX, "E": ESTIMATED, "M": MANUAL, "S": SIMULATED}, NOTHING)


def _claim(active: Bools, mode: Bytes) -> Bytes:
    """Return what status (A or not) and mode letter together say of a fix."""
    return np.maximum(np.where(active, FIX, NO_FIX).astype(np.uint8), _MODE[mode])


def _modes_claim(text: Bytes, span: tuple[Ints, Ints]) -> Bytes:
    """Return what the mode letters of GNS say, one letter a satellite system."""
    start, stop = span
    fix = np.zeros(start.size, dtype=np.bool_)
    gravest = np.zeros(start.size, dtype=np.uint8)
    for step in range(min(int((stop - start).max(initial=0)), 16)):
        char = np.where(start + step < stop, text[start + step], 0)
        fix |= np.isin(char, np.frombuffer(b"ADPRF", dtype=np.uint8))
        gravest = np.maximum(gravest, _MODE[char])
    return np.where(fix, FIX, gravest).astype(np.uint8)
