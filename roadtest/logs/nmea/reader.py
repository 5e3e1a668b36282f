"""The NMEA 0183 reader: sentences to rows, rows to epochs, epochs to one log of fixes."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from roadtest.errors import InputError
from roadtest.logs.model import GpsLog, Ints
from roadtest.logs.nmea.accounts import Accounts
from roadtest.logs.nmea.calendar import calendar_times
from roadtest.logs.nmea.columns import Rows
from roadtest.logs.nmea.engine import engine_log
from roadtest.logs.nmea.epochs import (
    IS_FIX,
    LEAP_SECOND,
    REASONS,
    Epochs,
    build_epochs,
    time_keys,
)
from roadtest.logs.nmea.groups import with_gsa, with_vtg
from roadtest.logs.nmea.order import order_reasons
from roadtest.logs.nmea.rows import Table, read_rows
from roadtest.logs.nmea.sentences import GLL, RPM, Bools
from roadtest.logs.nmea.talkers import chosen_talkers, talker_name
from roadtest.logs.speed_unit import speed_unit_fault

_EXPECTED: Final = "a log with a time and a position in RMC, GGA, GNS or GLL sentences"


def read_nmea(data: bytes, name: str) -> GpsLog:
    """Return the fixes in a log of NMEA 0183 sentences, and the engine speed if it holds any.

    Sentences of one moment (RMC, GGA, GNS, GLL) make one epoch; VTG, GSA and GST add to it.

    - Position from the sentence that writes it with most decimals.
    - Altitude from GGA or GNS, above mean sea level.
    - Speed from RMC, or from VTG where that is written finer; 1 knot = 1852 m/h. Speeds that the
      positions show to be in another unit, or nothing at all, are not used.
    - `u_position_m` is the standard uncertainty per horizontal axis, √((σ_lat² + σ_lon²) / 2), of
      GST.
    - `segment` is 0: nothing in such a log marks a break.
    - Where two talkers speak of the same moments, one is used: GN, unless another has clearly more
      fixes. `source` names the talkers used.

    Accounts: `fixes_read` is the number of epochs with a time. Each is either in the log or in
    `rejected` under one of the reasons for fixes; reasons in `accounts.SENTENCE_REASONS` count
    sentences that never got as far as an epoch. So fixes_read == len(time_s) + the sum of
    `rejected` over all reasons but those.

    Raises InputError where no epoch is a usable fix; it says what the file holds.
    """
    accounts = Accounts()
    table = read_rows(data, accounts)
    time_us, date_remarks = calendar_times(table.timed)
    talkers = chosen_talkers(table.timed, time_keys(time_us))
    others = _others(table.timed, talkers)
    used = ~np.isin(table.timed["talker"], others)
    unused = build_epochs(table.timed.where(~used), time_us[~used])
    accounts.add("other talker", unused.place)
    epochs, timed_remarks = _epochs(table, used, time_us)
    for index, text in enumerate(REASONS[1:], start=1):
        accounts.add(text, epochs.place[epochs.reason == index])
    kept = np.flatnonzero(epochs.reason == IS_FIX)
    if not kept.size:
        raise _no_fix(table, accounts, name)
    fault = speed_unit_fault(
        epochs.time_us[kept] / 1e6,
        epochs.latitude_deg[kept],
        epochs.longitude_deg[kept],
        epochs.speed_mps[kept],
        np.zeros(kept.size, dtype=np.int64),
        "kn",
    )
    speed = epochs.speed_mps[kept] if fault is None else np.full(kept.size, np.nan)
    return GpsLog(
        name=name,
        kind="nmea",
        time_s=epochs.time_us[kept] / 1e6,
        latitude_deg=epochs.latitude_deg[kept],
        longitude_deg=epochs.longitude_deg[kept],
        altitude_m=epochs.altitude_m[kept],
        speed_mps=speed,
        course_deg=epochs.course_deg[kept],
        hdop=epochs.hdop[kept],
        u_position_m=epochs.u_position_m[kept],
        segment=np.zeros(kept.size, dtype=np.int64),
        source=_names(talkers),
        fixes_read=int(epochs.key.size + unused.key.size),
        rejected=accounts.losses(data),
        remarks=(
            *_remarks(table, talkers, others),
            *date_remarks,
            *timed_remarks,
            *(() if fault is None else (fault,)),
        ),
        engine=engine_log(table.untimed, _anchors(epochs), data, name),
    )


def _others(timed: Rows, talkers: Ints) -> Ints:
    """Return the talkers of fixes that are not used."""
    return np.setdiff1d(timed["talker"][timed["kind"] <= GLL], talkers)


def _epochs(table: Table, used: Bools, time_us: Ints) -> tuple[Epochs, tuple[str, ...]]:
    """Return the epochs of the talkers used, each with its reason where it is not a fix."""
    timed, untimed = table.timed, table.untimed
    if not used.all():
        others = np.unique(timed["talker"][~used])
        timed, time_us = timed.where(used), time_us[used]
        untimed = untimed.where(~np.isin(untimed["talker"], others))
    epochs = build_epochs(timed, time_us)
    reason, order_remarks = order_reasons(epochs)
    epochs = replace(epochs, reason=reason)
    epochs, speed_remarks = with_vtg(epochs, untimed, timed)
    return with_gsa(epochs, untimed, timed), (*order_remarks, *speed_remarks)


def _anchors(epochs: Epochs) -> tuple[Ints, Ints]:
    """Return place and time (µs) of the epochs whose time is to be trusted, in file order.

    The fixes, and what has no fix but a time between those of the fixes around it.
    """
    kept = np.flatnonzero(epochs.reason == IS_FIX)
    kept = kept[np.argsort(epochs.place[kept])]
    spare = np.flatnonzero((epochs.reason != IS_FIX) & (epochs.reason < LEAP_SECOND))
    bounds = np.concatenate(([-np.inf], epochs.time_us[kept], [np.inf]))
    at = np.searchsorted(epochs.place[kept], epochs.place[spare])
    time_us = epochs.time_us[spare]
    between = (bounds[at] < time_us) & (time_us < bounds[at + 1])
    trusted = np.concatenate((kept, spare[between]))
    trusted = trusted[np.argsort(epochs.place[trusted])]
    return epochs.place[trusted], epochs.time_us[trusted]


def _names(talkers: Ints) -> str:
    return "+".join(talker_name(int(talker)) for talker in talkers)


def _remarks(table: Table, talkers: Ints, others: Ints) -> tuple[str, ...]:
    remarks = []
    if table.unsummed:
        remarks.append("the sentences carry no checksums, so damage to them may go unseen")
    if table.rejoined:
        remarks.append(f"sentences split over two lines, put together again: {table.rejoined}")
    if table.unreadable:
        remarks.append(f"fields without the number that should be there: {table.unreadable}")
    if (table.untimed["kind"] == RPM).any() and not (table.untimed["engine"] >= 0).any():
        remarks.append("RPM sentences of a shaft, none of an engine")
    if others.size:
        remarks.append(
            f"fixes of several talkers for the same times: {_names(talkers)} used,"
            f" {_names(others)} not used"
        )
    return tuple(remarks)


def _no_fix(table: Table, accounts: Accounts, name: str) -> InputError:
    if not table.count:
        return InputError(name, "", "no NMEA sentences", _EXPECTED)
    found = "1 sentence read, " if table.count == 1 else f"{table.count} sentences read, "
    reasons = set(accounts.counts)
    if not table.timed.size and not reasons:
        return InputError(name, "", found + "none of them RMC, GGA, GNS or GLL", _EXPECTED)
    if reasons <= {"no fix", "no time"}:
        return InputError(name, "", found + "the receiver never had a fix", _EXPECTED)
    return InputError(name, "", f"{found}no usable fix ({accounts.summary()})", _EXPECTED)
