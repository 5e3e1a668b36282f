"""What can't be told apart, in words, and the one measurement that would."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from roadtest.build_sheet import BuildSheet
from roadtest.build_sheet.model import named_part
from roadtest.measures.gearing.stories import Story, is_right
from roadtest.quantity import SURE
from roadtest.wording import probability_text

_WORTH_TELLING: Final = 0.05  # probability from which a story is not ruled out
_MOST_TOLD: Final = 3

_ROLL_OUT: Final = (
    "measuring the tyre's roll-out (one turn of the driven wheels on level ground, crew aboard)"
)
_COUNT_TURNS: Final = (
    "counting turns of the propeller shaft over ten turns of both driven wheels, car jacked up"
)
_REFERENCE: Final = "a strobe or a reference tach on the engine at a steady 3000 rpm"
_COUNT_BOX: Final = "counting engine turns over turns of the propeller shaft in each gear"


def told(stories: Sequence[Story], sheet: BuildSheet) -> tuple[str, ...]:
    """Return the sentences on stories that are as good as the best one, one a measurement."""
    if not stories:
        return ()
    best = stories[0]
    alike: dict[str, list[Story]] = {}
    for other in stories[1 : 1 + _MOST_TOLD]:
        if other.probability < _WORTH_TELLING:
            break
        alike.setdefault(_would_tell(best, other, sheet), []).append(other)
    return tuple(
        f"Engine and road speed alone leave open which it is: {_listed([best, *others])}. "
        f"{how[0].upper()}{how[1:]} would tell"
        for how, others in alike.items()
    )


def _listed(stories: Sequence[Story]) -> str:
    """Return each story by the parts in which any two differ, with its probability."""
    parts = [_parts(story) for story in stories]
    differing = [k for k, part in enumerate(zip(*parts, strict=True)) if len(set(part)) > 1]
    said = [
        f"{' with '.join(part[k] for k in differing)} ({probability_text(story.probability)})"
        for part, story in zip(parts, stories, strict=True)
    ]
    return f"{', '.join(said[:-1])} or {said[-1]}"


def _parts(story: Story) -> tuple[str, str, str, str]:
    return (
        named_part(story.box.label, "gearbox"),
        named_part(story.axle.label, "axle"),
        story.tach.label,
        story.tyre.label,
    )


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


def tach_told(stories: Sequence[Story]) -> tuple[str, ...]:
    """Return the sentence on a tach that does not show what it should, as sure as it is."""
    best = stories[0]
    if is_right(best.tach):
        return ()
    chance = sum(s.probability for s in stories if s.tach.label == best.tach.label)
    lead = "" if chance >= SURE else f"Most probably ({probability_text(chance)}): "
    if best.tach.factor:
        return (
            f"{lead}the tach shows {best.tach.factor} of the true engine speed in every gear: "
            f"{best.tach.label}. Figures here are for the true engine speed",
        )
    return (
        f"{lead}the tach's scale is off by a factor that fits no cylinder count; engine speeds "
        "here take the gearing of the build sheet as right",
    )
