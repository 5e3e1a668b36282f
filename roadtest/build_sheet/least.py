"""The least of a build sheet, from what somebody fills in where there is none."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from roadtest.build_sheet.toml_text import key_text, value_text

USUAL_TARGETS: Final[Mapping[str, str]] = {
    "speedometer": "un-r39",
    "odometer": "4 %",
    "gearbox": "1 %",
    "axle": "1 %",
    "tach": "3 %",
    "clutch_slip": "2 %",
    "mfdd": "5.8 m/s^2",
    "drift": "1.0 m",
    "spread": "10 %",
    "rolling_coefficient": "0.020",
}
"""Values to begin with, moved later if need be. Common practice, no published source, but for the
rule's own name."""

_TEETH: Final = re.compile(r"([0-9]{1,3})\s*[/:]\s*([0-9]{1,3})")


@dataclass(frozen=True)
class LeastSheet:
    """What was filled in, as text; "" for what was left empty."""

    units: str
    label: str = ""
    tyre_size: str = ""
    rolling_circumference: str = ""
    ratios: str = ""  # first gear first: "3.41, 2.08, 1.40, 1.00"
    axle: str = ""  # a ratio, or teeth: "4.22", "9/38" (pinion, crown wheel)
    targets: Sequence[str] = ()  # of USUAL_TARGETS

    def as_toml(self) -> str:
        """Return the build sheet as TOML text. What is wrong with it is for its reader to say."""
        lines = [f"units = {value_text(self.units)}"]
        for name, table in self._tables():
            filled = {key: value for key, value in table.items() if value not in ("", [])}
            if filled:
                lines += ["", f"[{name}]"]
                lines += [f"{key_text(key)} = {value_text(one)}" for key, one in filled.items()]
        return "\n".join(lines) + "\n"

    def _tables(self) -> Iterator[tuple[str, dict[str, Any]]]:
        yield "car", {"label": self.label}
        circumference = self.rolling_circumference
        yield "tyres", {"size": self.tyre_size, "rolling_circumference": circumference}
        parts = [part for part in re.split(r"[\s,;]+", self.ratios) if part]
        yield "gearbox", {"ratios": [_number(part) for part in parts]}
        teeth = _TEETH.fullmatch(self.axle)
        if teeth:
            yield "axle", {"teeth": [int(teeth[1]), int(teeth[2])]}
        else:
            yield "axle", {"ratio": _number(self.axle)}
        yield "targets", {name: USUAL_TARGETS[name] for name in self.targets}


def _number(text: str) -> float | str:
    """Return the number in `text`, or the text for the reader to refuse."""
    return float(text) if re.fullmatch(r"[0-9]{1,6}(?:\.[0-9]{0,9})?", text) else text
