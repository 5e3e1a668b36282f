"""What can't be told apart, in words, and the one measurement that would."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.measures.gearing.stories import Story, is_right
from roadtest.wording import probability_text

_WORTH_TELLING: Final = 0.05  # probability from which a story is not ruled out
_MOST_TOLD: Final = 3

_ROLL_OUT: Final = (
    "measuring the tyre's roll-out (one turn of the driven wheels on level ground, crew aboard)"
)
_COUNT_TURNS: Final = (
    "counting turns of the propeller shaft over ten turns of both driven wheels, car jacked up"
)
_REFERENCE: Final = "a strobe or a reference tach on the engine at a steady 3000 r/min"
_COUNT_BOX: Final = "counting engine turns over turns of the propeller shaft in each gear"


def told(stories: Sequence[Story], sheet: BuildSheet) -> tuple[str, ...]:
    """Return the sentences on stories that are as good as the best one."""
    if not stories:
        return ()
    best = stories[0]
    alike: dict[tuple[str, str], list[str]] = {}
    for other in stories[1 : 1 + _MOST_TOLD]:
        if other.probability < _WORTH_TELLING:
            break
        ours, theirs = _differing(best, other)
        said = f"{_and(theirs)} ({probability_text(other.probability)})"
        alike.setdefault((_and(ours), _would_tell(best, other, sheet)), []).append(said)
    return tuple(
        f"Engine and road speed alone do not tell {ours} ({probability_text(best.probability)}) "
        f"from {' or '.join(theirs)}: {how} would"
        for (ours, how), theirs in alike.items()
    )


def _differing(best: Story, other: Story) -> tuple[list[str], list[str]]:
    ours: list[str] = []
    theirs: list[str] = []
    for one, two, box in (
        (best.box.label, other.box.label, "gearbox"),
        (best.axle.label, other.axle.label, "axle"),
        (best.tach.label, other.tach.label, ""),
        (best.tyre.label, other.tyre.label, ""),
    ):
        if one != two:
            ours.append(f'{box} "{one}"' if box else one)
            theirs.append(f'{box} "{two}"' if box else two)
    return ours, theirs


def _and(parts: list[str]) -> str:
    return " with ".join(parts) if parts else "the same"


def _would_tell(best: Story, other: Story, sheet: BuildSheet) -> str:
    """Return the one measurement that sets the two apart, the easiest first."""
    rolled_out = sheet.tyres is not None and sheet.tyres.rolling_circumference is not None
    if best.box.label != other.box.label:
        return _COUNT_BOX
    if best.tach.label != other.tach.label and (rolled_out or best.tyre.label == other.tyre.label):
        return _REFERENCE
    if best.tyre.label != other.tyre.label:
        return _ROLL_OUT
    if best.axle.label != other.axle.label:
        return _COUNT_TURNS if rolled_out else _ROLL_OUT
    return _ROLL_OUT


def tach_told(best: Story) -> tuple[str, ...]:
    """Return the sentence on a tach that does not show what it should."""
    if is_right(best.tach):
        return ()
    if best.tach.factor:
        return (
            f"The tach shows {best.tach.factor} of the true engine speed in every gear: "
            f"{best.tach.label}. Figures here are for the true engine speed",
        )
    return (
        "The tach's scale is off by a factor that fits no cylinder count; engine speeds here take "
        "the gearing of the build sheet as right",
    )
