"""Reading a build sheet: TOML text to plain values, or every fault at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from pydantic import ValidationError

from roadtest.build_sheet.faults import as_input_errors
from roadtest.build_sheet.model import BuildSheet
from roadtest.build_sheet.schema import SheetTable
from roadtest.build_sheet.target_schema import TargetsTable
from roadtest.build_sheet.targets import Targets
from roadtest.build_sheet.toml_text import value_text
from roadtest.errors import InputError, InputErrors

LARGEST_BYTES: Final = 1_000_000

_TOML_PLACE: Final = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.S)


_LINES_WANTED: Final = (
    'lines such as units = "mph" (words in quotes), ratio = 4.22, or ratios = [3.41, 2.08, 1] '
    "(several figures in square brackets)"
)
_KEY_PART: Final = r"""(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+"""
_DEEP_KEY: Final = re.compile(rf"(?<![A-Za-z0-9_-])(?:{_KEY_PART}){{20}}")
"""A dotted key of more than 20 parts. tomllib's memory grows with the square of their number."""


def read(data: bytes, name: str) -> BuildSheet:
    """Return the build sheet in `data`; raises InputErrors with every fault, and nothing else."""
    table = _toml(data, name)
    try:
        sheet = SheetTable.model_validate(table).plain(name)
    except ValidationError as error:
        raise InputErrors(as_input_errors(error, SheetTable, name)) from None
    targets = replace(sheet.targets, written=_as_written(table.get("targets", {})))
    return replace(sheet, targets=targets)


def targets_in(text: str, name: str) -> Targets:
    """Return the targets in lines as under [targets]; raises InputErrors with every fault."""
    table = _toml(text.encode("utf-8", "replace"), name)
    try:
        targets = TargetsTable.model_validate(table).plain()
    except ValidationError as error:
        raise InputErrors(as_input_errors(error, TargetsTable, name)) from None
    return replace(targets, written=_as_written(table))


def _as_written(table: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return the id of each target with its value as TOML text on one line."""
    channels = table.get("channel", {})
    plain = {key: value for key, value in table.items() if key != "channel"}
    plain |= {f"channel.{key}": value for key, value in channels.items()}
    return tuple((key, value_text(value)) for key, value in plain.items())


def _toml(data: bytes, name: str) -> dict[str, Any]:
    if len(data) > LARGEST_BYTES:
        raise _one(name, "", f"{len(data)} bytes", "a build sheet of at most 1 MB")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{data[error.start]:02x} is not UTF-8 text"
        raise _one(name, f"line {line}", found, "a TOML file saved as UTF-8") from None
    deep = _DEEP_KEY.search(text)
    if deep:
        where = f"line {text.count(chr(10), 0, deep.start()) + 1}"
        raise _one(name, where, "a key of more than 20 parts", "a key such as car.mass")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise _one(name, "", "lists or tables too deeply nested", "a build sheet") from None
    except ValueError as error:  # TOMLDecodeError, and numbers too long for Python to read
        raise _syntax_error(name, str(error)) from None


def _syntax_error(name: str, message: str) -> InputErrors:
    match = _TOML_PLACE.fullmatch(message)
    what, line = (match[1], match[2]) if match else (message.partition(":")[0], None)
    where = f"line {line}, column {match[3]}" if match and line else "end of file" if match else ""
    return _one(name, where, f"not TOML: {what[:1].lower()}{what[1:]}", _LINES_WANTED)


def _one(name: str, where: str, found: str, expected: str) -> InputErrors:
    return InputErrors((InputError(name, where, found, expected),))
