"""What a crew must mind before driving hard. Common practice where no source stands beside it."""

from __future__ import annotations

from typing import Final

CLOSED_ROAD: Final = (
    "Stops from speed, standing starts and top speed: closed road or private ground, with leave. "
    "On a public road its limit and its law hold"
)
CALIFORNIA: Final = (
    "Brake tests on public roads may be barred (California: above 25 mph; Vehicle Code 26456, read "
    "in a stored copy)"
)
TWO_PEOPLE: Final = (
    "Two people: one drives, one reads and writes. The logger runs untouched. Dry, level, clean "
    "road, free lane beside, nobody behind"
)
ROLL_COOL: Final = "After hard stops roll until the brakes are cool; don't park on the handbrake"
STOP_TESTING: Final = (
    "Stop testing at once if the pedal goes long or soft, the car pulls, a wheel locks, or there "
    "is smoke or smell"
)
