"""What each finding looks at, in a sentence for somebody who never read a rule."""

from __future__ import annotations

from typing import Final

from roadtest.results import Finding

_PLAIN: Final = {
    "speedometer": "How far the dial reads above the true speed, where that is nearest its limit.",
    "odometer": "Distance shown over distance driven.",
    "gearbox": "The step from gear to gear that is nearest its limit.",
    "axle": "Engine turns against road distance, the tyre taken as the build sheet gives it.",
    "tach": "Engine speed shown over true engine speed.",
    "clutch_slip": "The most that the clutch slipped under power for a second or longer.",
    "cruise_rpm": "True engine speed on a level road.",
    "mfdd": "How hard the car slows in the weakest stop used, as if on the level.",
    "stopping_distance": "The longest stop used, brought to the speed named.",
    "fade": "How hard the last of a row of like stops slowed the car, against the first.",
    "drift": "How far the car came off its line in the worst stop; to the right is positive.",
    "spread": "How much like stops differ from one another.",
    "rolling_coefficient": "Force to keep the car rolling over its weight; brakes that drag show.",
    "standing": "Time from first motion, in the best start.",
    "through": "Time between the two speeds, in the best pull.",
}
_SENDER: Final = "As the car's own sender showed it."


def plain_sentence(finding: Finding) -> str:
    """Return what `finding` looks at; "" where its title says it all."""
    if finding.id.startswith("channel."):
        return _SENDER
    return _PLAIN.get(finding.id, "")
