"""From what pydantic found wrong to one line a fault that a technician can act on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import islice
from typing import Any, Final, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from roadtest.build_sheet.fields import SheetValueError, describe, nearest
from roadtest.build_sheet.table import NestedFaultsError, Table
from roadtest.errors import InputError
from roadtest.units import QuantityError, quoted

Path = tuple[int | str, ...]

MOST_FAULTS: Final = 50
"""Past this many the sheet is of another kind, and a longer list helps nobody."""

_NOT_A_TABLE: Final = {"model_type", "model_attributes_type", "dict_type"}


def as_input_errors(
    error: ValidationError, table: type[Table], file: str
) -> tuple[InputError, ...]:
    """Return the faults of a sheet as input errors, at most MOST_FAULTS of them."""
    faults = tuple(islice(_faults(error, table, file, ()), MOST_FAULTS + 1))
    if len(faults) > MOST_FAULTS:
        return (*faults[:MOST_FAULTS], InputError(file, "", "and more faults", ""))
    return faults


def place(path: Path) -> str:
    """Return a path as text: gearbox.ratios[2]; a key that is not bare stands in quotes."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            key = part if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", part) else quoted(part)
            text += f".{key}" if text else key
    return text


def _faults(
    error: ValidationError, table: type[Table], file: str, above: Path
) -> Iterator[InputError]:
    for detail in error.errors(include_url=False):
        path = tuple(part for part in detail["loc"] if part != "[key]")
        cause = detail.get("ctx", {}).get("error")
        if isinstance(cause, NestedFaultsError):
            yield from _faults(cause.error, cause.table, file, above + path)
            continue
        if isinstance(cause, QuantityError):
            at = cause.at if isinstance(cause, SheetValueError) else ()
            found, expected = cause.found, cause.expected
        else:
            at = ()
            found, expected = _found_and_expected(detail, table, path)
        yield InputError(file, place(above + path + at), found, expected)


def _found_and_expected(detail: ErrorDetails, table: type[Table], path: Path) -> tuple[str, str]:
    kind, value = detail["type"], detail["input"]
    if kind == "extra_forbidden":
        keys = _keys(_table_at(table, path[:-1]))
        return f"unknown key{nearest(str(path[-1]), keys)}", f"one of {', '.join(keys)}"
    expected = _description(table, path)
    if kind == "missing":
        return "this key is missing", expected
    if kind in _NOT_A_TABLE:
        return describe(value), "a table of keys"
    if kind == "list_type":
        return describe(value), expected or "a list in square brackets"
    return describe(value), expected or detail["msg"]


def _keys(table: type[Table]) -> list[str]:
    keys = [info.alias or name for name, info in table.model_fields.items()]
    return ["channel.<name>" if key == "channel" else key for key in keys]


def _field(table: type[Table], key: int | str) -> FieldInfo | None:
    for name, info in table.model_fields.items():
        if key == (info.alias or name):
            return info
    return None


def _table_at(table: type[Table], path: Path) -> type[Table]:
    """Return the kind of table that stands at `path` below `table`."""
    for part in path:
        info = _field(table, part)
        if info is not None:  # else an index of a list, or the name of a channel
            table = next(_tables_in(info.annotation), table)
    return table


def _tables_in(annotation: Any) -> Iterator[type[Table]]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        yield annotation
    for inner in get_args(annotation):
        yield from _tables_in(inner)


def _description(table: type[Table], path: Path) -> str:
    if not path:
        return ""
    info = _field(_table_at(table, path[:-1]), path[-1])
    return (info.description if info else None) or ""
