"""Two receivers in one car, and logs of two cars."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roadtest.errors import InputError
from roadtest.logs.model import GpsLog
from roadtest.one_car import apart_m, refuse_other_cars
from roadtest.receivers import find_receivers
from tests.test_receivers import log, without_speed


def elsewhere(of: GpsLog, north_deg: float) -> GpsLog:
    return replace(of, latitude_deg=of.latitude_deg + north_deg)


def test_two_receivers_in_one_car_may_disagree_by_metres_and_by_their_clocks() -> None:
    one, other = log("a", seed=1), without_speed(log("b", rate_hz=1.0, seed=2))
    refuse_other_cars(find_receivers([one, elsewhere(other, 3e-5)]))
    fast = replace(other, time_s=other.time_s + 18.0)  # GPS time for UTC
    apart = apart_m(one, fast)
    assert apart is not None and apart < 1.0
    refuse_other_cars(find_receivers([one, fast]))


@pytest.mark.parametrize(("north_deg", "far"), [(0.02, "2.2 km"), (0.003, "334 m")])
def test_a_log_of_another_car_is_refused(north_deg: float, far: str) -> None:
    receivers = find_receivers([log("ours.nmea", seed=1), elsewhere(log("b.nmea"), north_deg)])
    with pytest.raises(InputError) as caught:
        refuse_other_cars(receivers)
    assert f"more than {far} from where" in str(caught.value)
    assert str(caught.value).endswith("was just then; expected the logs of one car in a folder")


def test_logs_that_share_no_time_are_not_compared() -> None:
    assert apart_m(log("a"), elsewhere(log("b", 600.0), 1.0)) is None


def test_a_drive_across_the_date_line_is_one_place() -> None:
    one = log("a", seed=1)
    over = [replace(of, longitude_deg=of.longitude_deg + 179.99) for of in (one, log("b", seed=2))]
    wrapped = replace(over[1], longitude_deg=(over[1].longitude_deg + 180.0) % 360.0 - 180.0)
    apart = apart_m(over[0], wrapped)
    assert apart is not None and apart < 1.0
