"""Times of results without the noise of floating point."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, Final, TypeVar

T = TypeVar("T")

_PLACES: Final = 6
"""The microsecond: a double of seconds since 1970 is no finer than 2.4e-7 s, so the difference of
two reads 12.300000191 where the log wrote 12.3."""


def with_tidy_times(value: T) -> T:
    """Return a dataclass with every plain number called `…_s`, however deep, rounded to 1 µs."""
    changes = {}
    for item in dataclasses.fields(value):  # type: ignore[arg-type]  # T is a dataclass here
        before = getattr(value, item.name)
        after = _tidy(before, is_time=item.name.endswith("_s"))
        if after is not before:
            changes[item.name] = after
    return dataclasses.replace(value, **changes) if changes else value  # type: ignore[type-var]


def _tidy(value: Any, *, is_time: bool) -> Any:
    if isinstance(value, float):
        return round(value, _PLACES) if is_time else value
    if isinstance(value, tuple):
        return tuple(_tidy(item, is_time=is_time) for item in value)
    if isinstance(value, Mapping):
        return {key: _tidy(item, is_time=is_time) for key, item in value.items()}
    return with_tidy_times(value) if dataclasses.is_dataclass(value) else value
