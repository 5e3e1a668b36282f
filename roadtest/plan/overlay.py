"""A build sheet with changes that are only being considered laid over it."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from typing import Any, Final

from pydantic import ValidationError

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.build_sheet.faults import as_input_errors
from roadtest.build_sheet.schema import SheetTable
from roadtest.errors import InputError, InputErrors

_SHORT: Final = {"axle": "axle.ratio", "gearbox": "gearbox.ratios", "tyres": "tyres.size"}
_REPLACED: Final = {
    "axle.ratio": (("axle", "teeth"), ("axle", "label")),
    "axle.teeth": (("axle", "ratio"), ("axle", "label")),
    "gearbox.ratios": (("gearbox", "label"),),
    "tyres.size": (("tyres", "rolling_circumference"), ("tyres", "label")),
}
"""What no longer holds once a key is changed: teeth and labels of the old axle, and so on."""
_EXAMPLE: Final = "KEY=VALUE, such as axle=3.9 or tyres.size=165/80R13"
_CHANGEABLE: Final = (
    "car", "tyres", "gearbox", "axle", "engine", "speedometer", "indicated", "work", "targets",
)  # fmt: skip
"""Sections that a drive card rests on: the car as it is to be driven, and what is asked of it."""


def changed_sheet(data: bytes, name: str, changes: Sequence[str]) -> BuildSheet:
    """Return the sheet in `data` with `changes` laid over it; the file stays as it is.

    Raises InputErrors for a fault of the sheet or of a change, as reading the sheet does.
    """
    sheet = read_build_sheet(data, name)
    if not changes:
        return sheet
    changed = _changed(data, name, changes)
    for left_out, change in enumerate(changes):
        others = [one for k, one in enumerate(changes) if k != left_out]
        if _is(changed, data, name, others):
            found = "it changes nothing, for the build sheet has it so already"
            raise InputErrors((InputError("--change", change, found, "another value"),))
    return changed


def _changed(data: bytes, name: str, changes: Sequence[str]) -> BuildSheet:
    table = tomllib.loads(data.decode("utf-8-sig"))
    for change in changes:
        _lay_over(table, change)
    try:
        return SheetTable.model_validate(table).plain(name)
    except ValidationError as error:
        raise InputErrors(as_input_errors(error, SheetTable, "--change")) from None


def _is(sheet: BuildSheet, data: bytes, name: str, changes: Sequence[str]) -> bool:
    """Tell whether the sheet with these changes is `sheet`; some hold only all together."""
    try:
        return _changed(data, name, changes) == sheet
    except InputErrors:
        return False


def _lay_over(table: dict[str, Any], change: str) -> None:
    key, sign, text = change.partition("=")
    key = _SHORT.get(key.strip(), key.strip())
    parts = key.split(".")
    if not sign or not text.strip() or not all(part.strip() for part in parts):
        raise _fault(change, "no key with a value")
    if parts[0].strip() not in _CHANGEABLE:
        found = f"no drive card rests on {parts[0].strip()}"
        expected = f"a key of {', '.join(_CHANGEABLE[:-1])} or {_CHANGEABLE[-1]}, such as axle=3.9"
        raise InputErrors((InputError("--change", change, found, expected),))
    place = table
    for part in parts[:-1]:
        inner = place.setdefault(part, {})
        if not isinstance(inner, dict):
            raise _fault(change, f"{part} holds no keys")
        place = inner
    place[parts[-1]] = _value(text.strip())
    for section, gone in _REPLACED.get(key, ()):
        table.get(section, {}).pop(gone, None)


def _value(text: str) -> object:
    """Return what `text` stands for: a TOML value, or else the text itself."""
    if "\n" in text:
        return text
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (tomllib.TOMLDecodeError, RecursionError):
        return text


def _fault(change: str, found: str) -> InputErrors:
    return InputErrors((InputError("--change", change, found, _EXAMPLE),))
