"""Text as it is set: figures kept whole, and in letters that the PDF's own fonts have.

The fonts that come with the typesetter have Latin, Greek, Cyrillic, Hebrew and Arabic letters and
the usual signs. A report must look the same on every machine, so no font of the machine is used;
a letter of another script is shown as its code point. The HTML report shows every letter.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata
from typing import Final, TypeVar

from roadtest.charts.lettering import true_minus
from roadtest.terminal import clean

_SCRIPTS: Final = ("LATIN", "GREEK", "CYRILLIC", "HEBREW", "ARABIC")
_SIGNS: Final = frozenset("–—‘’“”…·±×÷°²³¹½¼¾µ€£§✓✗→←≤≥≈−′″•‰‹›«»")

_OF_ONE_PIECE: Final = re.compile(
    r"(?<=[0-9]) (?=±|(?:%|°|°C|mph|km/h|miles?|km|m/s²|m/s|m²|m|s|min|h|Hz|rpm|r/min|kg|hp|kW"
    r"|bar|hPa)(?![\w/]))|(?<=±) (?=[0-9])"
)
_TOO_LONG: Final = re.compile(r"[^\s\u00a0]{65,}")  # a SHA-256 is set as one word
_PIECE: Final = 30

Plain = TypeVar("Plain")


def typeset(text: str) -> str:
    """Return `text` with true minus signs, and no figure torn from its interval or unit."""
    return _OF_ONE_PIECE.sub("\u00a0", true_minus(text))


def printable(value: Plain) -> Plain:
    """Return `value` (nested dicts, lists, texts) with every text printable."""
    if isinstance(value, str):
        return _text(value)  # type: ignore[return-value]
    if isinstance(value, dict):
        return {  # type: ignore[return-value]
            key: part if key == "svg" else printable(part) for key, part in value.items()
        }
    if isinstance(value, list | tuple):
        return [printable(part) for part in value]  # type: ignore[return-value]
    return value


def _text(text: str) -> str:
    if not (text.isascii() and text.isprintable()):
        text = "".join(char if _has(char) else f"[U+{ord(char):04X}]" for char in clean(text))
    return _TOO_LONG.sub(_breakable, typeset(text))


def _breakable(word: re.Match[str]) -> str:
    """Return a long word with places where it may go on on the next line."""
    return "\u200b".join(textwrap.wrap(word[0], _PIECE, break_on_hyphens=False))


def _has(char: str) -> bool:
    if char.isascii() or char in _SIGNS:
        return True
    if unicodedata.combining(char):
        return True
    name = unicodedata.name(char, "")
    return name.startswith(_SCRIPTS) or (name.startswith("COMBINING") and char < "\u0370")
