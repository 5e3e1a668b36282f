"""Frozen dataclasses to and from plain JSON values, led by their type hints alone.

Known hints: other dataclasses, `tuple[X, ...]`, `Mapping[str, X]`, `Literal[...]`, `str`, `bool`,
`int`, `float`, and unions of these with None. A field whose name would be a Python keyword ends in
an underscore, which its key does not have (`from_` is written as `from`).
"""

from __future__ import annotations

import dataclasses
import json
import math
import types
from collections.abc import Hashable, Mapping
from functools import cache
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from roadtest.errors import InputError

T = TypeVar("T")


class MisfitError(ValueError):
    """A plain value that does not have the form its type hint asks for."""

    def __init__(self, place: str, found: str, expected: str) -> None:
        self.place, self.found, self.expected = place, found, expected
        super().__init__(f"{place}: {found}; expected {expected}")


def to_plain(value: Any, hint: Any, place: str = "") -> Any:
    """Return `value` as dicts, lists, text and numbers; raise MisfitError where it breaks `hint`.

    A float that is not finite is refused: JSON has no such number, and a figure that does not
    exist is None.
    """
    if dataclasses.is_dataclass(hint):
        if not isinstance(value, hint):  # type: ignore[arg-type]  # a class, as hints are
            raise MisfitError(place, _kind(value), getattr(hint, "__name__", "a dataclass"))
        return {
            key: to_plain(getattr(value, name), inner, _join(place, key))
            for name, (key, inner, _) in _fields(cast(Hashable, hint)).items()
        }
    origin = get_origin(hint)
    if origin is tuple:
        inner = get_args(hint)[0]
        return [to_plain(item, inner, f"{place}[{i}]") for i, item in enumerate(value)]
    if origin is Mapping:
        inner = get_args(hint)[1]
        return {str(key): to_plain(item, inner, _join(place, key)) for key, item in value.items()}
    if origin in (Union, types.UnionType):
        return to_plain(value, _member(value, hint, place), place)
    return _scalar(value, hint, place)


def from_plain(plain: Any, cls: type[T], place: str = "") -> T:
    """Return the `cls` (a dataclass) that `plain` describes; raise MisfitError where it can't.

    A key the class does not know is passed over, so that a file with added keys can be read. A key
    left out takes the field's default, and is a fault where there is none.
    """
    if not isinstance(plain, dict):
        raise MisfitError(place, _kind(plain), "an object")
    given: dict[str, Any] = {}
    for name, (key, hint, needed) in _fields(cast(Hashable, cls)).items():
        if key in plain:
            given[name] = _value(plain[key], hint, _join(place, key))
        elif needed:
            raise MisfitError(place, f'no key "{key}"', "it to be there")
    try:
        return cls(**given)
    except ValueError as fault:
        raise MisfitError(place, str(fault), f"a valid {cls.__name__}") from None


def parse_json(text: str, name: str) -> Any:
    """Return the JSON value in `text`, the content of file `name`, or raise InputError.

    NaN and Infinity are refused: they are not JSON, whatever some writers do.
    """

    def refuse(constant: str) -> None:
        raise InputError(name, "", f"{constant}, which is not JSON", "a finite number or null")

    try:
        return json.loads(text, parse_constant=refuse)
    except json.JSONDecodeError as fault:
        raise InputError(name, f"line {fault.lineno}", f"not JSON ({fault.msg})", "") from None
    except (RecursionError, ValueError) as fault:  # nested too deep, or a number too long
        raise InputError(name, "", f"not usable JSON ({fault})", "") from None


def _value(plain: Any, hint: Any, place: str) -> Any:
    """Return the value of any known hint that `plain` describes."""
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return from_plain(plain, hint, place)
    origin = get_origin(hint)
    if origin is tuple:
        if not isinstance(plain, list):
            raise MisfitError(place, _kind(plain), "a list")
        inner = get_args(hint)[0]
        return tuple(_value(item, inner, f"{place}[{i}]") for i, item in enumerate(plain))
    if origin is Mapping:
        if not isinstance(plain, dict):
            raise MisfitError(place, _kind(plain), "an object")
        inner = get_args(hint)[1]
        return {key: _value(item, inner, _join(place, key)) for key, item in plain.items()}
    if origin in (Union, types.UnionType):
        return _value(plain, _member(plain, hint, place), place)
    return _scalar(plain, hint, place)


def _scalar(value: Any, hint: Any, place: str) -> Any:
    """Return `value` as the text, truth, number or literal that `hint` asks for."""
    if get_origin(hint) is Literal:
        if not isinstance(value, str) or value not in get_args(hint):
            raise MisfitError(place, _kind(value), " or ".join(f'"{a}"' for a in get_args(hint)))
        return value
    if hint is type(None):
        return None
    is_number = hint in (int, float) and not isinstance(value, bool)
    if is_number and _is_integer(value):
        return _finite(value, place) if hint is float else int(value)
    if is_number and hint is float and isinstance(value, float):
        return _finite(value, place)
    if hint in (str, bool) and isinstance(value, hint):
        return value
    names = {str: "text", bool: "true or false", int: "a whole number", float: "a number"}
    raise MisfitError(place, _kind(value), names[hint])


def _finite(value: Any, place: str) -> float:
    """Return `value` as a plain float, refusing what is not finite."""
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise MisfitError(place, str(number), "a finite number")
    return number


def _is_integer(value: Any) -> bool:
    """Tell whether `value` counts as a whole number (numpy's integers do, truth values don't)."""
    return hasattr(value, "__index__") and not isinstance(value, bool)


def _member(value: Any, union: Any, place: str) -> Any:
    """Return the member of `union` that fits `value`: None, a whole number where int is one of
    them, or the only other member."""
    members = [member for member in get_args(union) if member is not type(None)]
    if value is None:
        if len(members) == len(get_args(union)):
            raise MisfitError(place, "nothing", "a value")
        return type(None)
    if int in members and len(members) > 1:
        return int if _is_integer(value) else next(m for m in members if m is not int)
    return members[0]


@cache
def _fields(cls: Hashable) -> dict[str, tuple[str, Any, bool]]:
    """Return, by field name: its key, its hint, and whether it has to be there."""
    hints = get_type_hints(cast(Any, cls))
    return {
        field.name: (
            field.name.rstrip("_"),
            hints[field.name],
            field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING,
        )
        for field in dataclasses.fields(cast(Any, cls))
    }


def _join(place: str, key: object) -> str:
    return f"{place}.{key}" if place else str(key)


def _kind(value: Any) -> str:
    """Say what `value` is, shortly, for a message."""
    if value is None:
        return "null"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, (list, tuple)):
        return "a list"
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."
