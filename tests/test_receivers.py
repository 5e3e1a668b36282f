"""Which logs come from one receiver, and which receiver is used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadtest.logs.model import GpsLog, Loss, TachLog
from roadtest.receivers import find_receivers, join_tachs

START = 1_777_680_000.0


def log(
    name: str = "a.nmea",
    start_s: float = 0.0,
    seconds: float = 60.0,
    rate_hz: float = 5.0,
    noise_mps: float = 0.05,
    seed: int = 0,
) -> GpsLog:
    """Return a log of a car that goes east, its speed swinging gently about 20 m/s."""
    rng = np.random.default_rng(seed)
    time = START + start_s + np.arange(round(seconds * rate_hz)) / rate_hz
    speed = 20.0 + 3.0 * np.sin(0.05 * (time - START)) + rng.normal(0.0, noise_mps, time.size)
    blank = np.full(time.size, np.nan)
    return GpsLog(
        name=name,
        kind="nmea",
        time_s=time,
        latitude_deg=np.full(time.size, 50.0),
        longitude_deg=0.0003 * (time - START) + 1e-9 * seed,
        altitude_m=blank,
        speed_mps=np.round(speed, 3),
        course_deg=blank,
        hdop=blank,
        u_position_m=blank,
        segment=np.zeros(time.size, dtype=np.int64),
        source="GP",
        fixes_read=time.size + 3,
        rejected={"no fix": Loss(3, "line 1")},
    )


def without_speed(of: GpsLog) -> GpsLog:
    return replace(of, speed_mps=np.full(of.time_s.size, np.nan))


def test_files_in_sequence_are_one_receiver_however_they_are_given() -> None:
    first, second, third = log("1"), log("2", 61.0), log("3", 130.0)
    (found,) = find_receivers([third, first, second])
    assert [part.name for part in found.parts] == ["1", "2", "3"]
    assert found.log.name == "1 to 3"
    assert np.array_equal(
        found.log.time_s, np.concatenate([first.time_s, second.time_s, third.time_s])
    )
    assert list(np.unique(found.log.segment)) == [0, 1, 2]
    assert found.log.fixes_read == 3 * 303
    assert found.log.rejected == {"no fix": Loss(9, "1, line 1")}


def test_splitting_a_log_changes_nothing_but_the_segments() -> None:
    whole = log(seconds=120.0)
    cut = 250
    arrays = [n for n in vars(whole) if isinstance(getattr(whole, n), np.ndarray)]
    halves = [
        replace(whole, name=name, **{n: getattr(whole, n)[part] for n in arrays})
        for name, part in (("1", slice(None, cut)), ("2", slice(cut, None)))
    ]
    (found,) = find_receivers(halves)
    for name in arrays:
        if name != "segment":
            assert np.array_equal(getattr(found.log, name), getattr(whole, name), equal_nan=True)


def test_overlapping_files_are_two_receivers_and_the_quieter_one_is_used() -> None:
    rough, quiet = log("rough", noise_mps=0.3, seed=1), log("quiet", 10.0, noise_mps=0.05, seed=2)
    found = find_receivers([rough, quiet])
    assert [receiver.log.name for receiver in found] == ["quiet", "rough"]


def test_the_faster_of_two_like_receivers_is_used() -> None:
    slow, fast = log("slow", rate_hz=1.0, seed=1), log("fast", rate_hz=10.0, seed=2)
    assert [r.log.name for r in find_receivers([slow, fast])] == ["fast", "slow"]


def test_of_two_like_receivers_the_one_that_lost_fewer_fixes_is_used() -> None:
    whole, torn = log("whole", seed=1), log("torn", seed=2)
    keep = np.random.default_rng(0).random(torn.time_s.size) < 0.6
    arrays = [n for n in vars(torn) if isinstance(getattr(torn, n), np.ndarray)]
    torn = replace(torn, **{n: getattr(torn, n)[keep] for n in arrays})
    assert find_receivers([torn, whole])[0].log.name == "whole"


def test_speed_of_its_own_beats_positions_unless_it_covers_little() -> None:
    positions = without_speed(log("positions", rate_hz=10.0, seconds=100.0, seed=1))
    assert find_receivers([positions, log("speeds", rate_hz=1.0, seconds=90.0)])[0].log.name == (
        "speeds"
    )
    brief = log("speeds", rate_hz=1.0, seconds=20.0)
    assert find_receivers([positions, brief])[0].log.name == "positions"


def test_two_split_receivers_are_told_apart_by_their_talker() -> None:
    one = [replace(log(f"a{k}", 70.0 * k, seed=1), source="GN") for k in range(2)]
    two = [log(f"b{k}", 70.0 * k + 5.0, seed=2) for k in range(2)]
    found = find_receivers([*one, *two])
    names = sorted([part.name for part in receiver.parts] for receiver in found)
    assert names == [["a0", "a1"], ["b0", "b1"]]


def test_files_that_share_some_fixes_are_one_receiver_and_these_count_once() -> None:
    first, second = log("1", seconds=60.0), log("2", 58.0, seconds=60.0)
    second = replace(second, longitude_deg=0.0003 * (second.time_s - START))
    first = replace(first, longitude_deg=0.0003 * (first.time_s - START))
    (found,) = find_receivers([first, second])
    assert found.log.time_s.size == np.unique(np.concatenate([first.time_s, second.time_s])).size
    assert np.all(np.diff(found.log.time_s) > 0.0)


@pytest.mark.parametrize("change", [{"kind": "gpx"}, {"days": 1}])
def test_another_kind_or_another_day_is_not_the_same_receiver(change: dict[str, object]) -> None:
    later = log("2", 70.0 + 86_400.0 * bool(change.get("days")), seconds=30.0)
    if "kind" in change:
        later = replace(later, kind="gpx")
    assert [r.log.name for r in find_receivers([log("1"), later])] == ["1", "2"]


def tach(name: str, start_s: float, clock: str = "utc") -> TachLog:
    time = start_s + np.arange(10.0)
    return TachLog(name, clock, time, np.full(10, 900.0), 10, {"no rpm": Loss(1, "line 4")})  # type: ignore[arg-type]


def test_tach_files_in_sequence_are_one_and_others_stay_apart() -> None:
    joined, own, overlapping = (
        join_tachs([tach("2", 12.0), tach("1", 0.0)]),
        join_tachs([tach("1", 0.0, "elapsed"), tach("2", 20.0, "elapsed")]),
        join_tachs([tach("1", 0.0), tach("2", 5.0)]),
    )
    assert [t.name for t in joined] == ["1 to 2"]
    assert joined[0].time_s.size == 20
    assert joined[0].rejected == {"no rpm": Loss(2, "1, line 4")}
    assert len(own) == len(overlapping) == 2
