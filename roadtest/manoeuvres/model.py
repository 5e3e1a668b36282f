"""One stretch of driving that something can be measured on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["hold", "pull", "stop", "coast"]


@dataclass(frozen=True)
class Manoeuvre:
    """One stretch of driving that something can be measured on."""

    id: str  # "hold-1": kind and number in the order driven
    kind: Kind
    start_s: float  # since the start of the drive, between samples
    end_s: float
    to_rest: bool = False  # a stop that ends standing; False for a snub
    from_rest: bool = False  # a pull that begins standing
    used: bool = True
    why_not: str | None = None
    left_out: bool = False  # by hand; `why_not` then holds the reason
