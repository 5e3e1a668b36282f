"""UN Regulation No. 39: speedometers of cars and goods vehicles."""

from __future__ import annotations

from typing import Final

from roadtest.rules.model import Basis, ErrorBand, Figure, SpeedometerRule, Status
from roadtest.units import from_si, to_si

_DOCUMENT: Final = "UN R39"
_TEST_CONDITIONS: Final = Basis(
    _DOCUMENT, "5.2", Status.SECOND_HAND, "paragraph number from memory"
)

# 0 <= V1 - V2 <= V2 / 10 + 4 km/h; V1 is the shown speed, V2 the true one (5.3).
_OVER_SHARE: Final = 0.1
_OVER_KMH: Final = 4.0

# 5.2.5: top speed up to (km/h), then the fixed test speeds and the least 0.8 * top speed that is a
# test speed too. Only 40, 80 and 120 km/h were read; the bands below 150 km/h are from memory.
_TESTED_SHARE_OF_TOP: Final = 0.8
_TEST_SPEED_BANDS: Final[tuple[tuple[float, tuple[float, ...], float], ...]] = (
    (45.0, (), 0.0),
    (100.0, (40.0,), 55.0),
    (150.0, (40.0, 80.0), 100.0),
)
_FAST_CAR_KMH: Final = (40.0, 80.0, 120.0)


def _test_speeds(top_speed_mps: float | None) -> tuple[float, ...]:
    """Return the test speeds (m/s) for a car of this top speed; of the fastest cars if not known.

    Reference: UN R39, 5.2.5 (40/80/120 km/h read in a stored copy, the rest value from memory).
    """
    if top_speed_mps is None:
        return tuple(to_si(speed, "km/h") for speed in _FAST_CAR_KMH)
    # Rounded to a nanometre an hour: 100 km/h turned to m/s and back must stay in its band.
    top_kmh = round(from_si(top_speed_mps, "km/h"), 9)
    for most_kmh, fixed, least_of_top in _TEST_SPEED_BANDS:
        if top_kmh <= most_kmh:
            of_top = round(_TESTED_SHARE_OF_TOP * top_kmh, 9)
            speeds = (*fixed, of_top) if of_top >= least_of_top else fixed
            return tuple(to_si(speed, "km/h") for speed in speeds)
    return tuple(to_si(speed, "km/h") for speed in _FAST_CAR_KMH)


RULE: Final = SpeedometerRule(
    name="un-r39",
    title="UN R39 (type approval)",
    basis=Basis(_DOCUMENT, "5.3", Status.READ),
    band=ErrorBand(under_mps=0.0, over_mps=to_si(_OVER_KMH, "km/h"), over_share=_OVER_SHARE),
    prescribed_speeds=_test_speeds,
    figures=(
        Figure(
            "test speeds by top speed",
            Basis(
                _DOCUMENT,
                "5.2.5",
                Status.MEMORY,
                "40, 80 and 120 km/h read in a stored copy",
            ),
        ),
        Figure(
            "the band applied between the test speeds too",
            Basis(
                "Directive 75/443/EEC as amended by 97/39/EC",
                "Annex II, 4.4",
                Status.READ,
                "same formula, at intermediate speeds as well",
            ),
        ),
        Figure(
            "tyre pressure above the maker's cold pressure",
            _TEST_CONDITIONS,
            to_si(0.2, "bar"),
            "Pa",
        ),
        Figure("speedometer at 23 ± 5 °C", _TEST_CONDITIONS),
        Figure(
            "car unladen, true speed measured to ±0.5 %",
            Basis(_DOCUMENT, "5.2", Status.MEMORY),
        ),
        Figure(
            "production cars: 6 km/h in place of 4",
            Basis(_DOCUMENT, "Annex 3", Status.MEMORY, "that a wider limit exists was read"),
            to_si(6.0, "km/h"),
            "m/s",
        ),
    ),
    not_shown=(
        "that the tyres are of a normally fitted size, at the running pressure",
        "the speedometer's temperature",
        "that the car was unladen",
    ),
    remarks=(
        "The shown speed may never be below the true one, at any speed. "
        "The upper limit is stated for the test speeds; here it is used at every speed held.",
    ),
)
