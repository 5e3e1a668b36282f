"""Words in a drawing: how wide they are, how they are cut to fit and kept harmless."""

from __future__ import annotations

import re
from typing import Final
from xml.sax.saxutils import escape

FAMILY: Final = (
    "'Helvetica Neue', Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', "
    "'Libertinus Serif', sans-serif"
)
"""Sans serif wherever there is one; the serif is the one that the PDF engine has built in."""

# Widths in em, rounded up, of a wide sans serif: whatever font is there in the end, words fit.
_WIDTHS: Final = (
    (0.33, " ,.IJijl·'"),
    (0.38, "-/:;\\f|"),
    (0.43, "!()[]rt²³"),
    (0.48, '"'),
    (0.53, "*_`sz°–"),
    (0.58, "?Lc"),
    (0.63, "FPTYaekovxy"),
    (0.66, "$0123456789EKSbdghnpqu{}µ"),
    (0.72, "ABCRVXZ"),
    (0.78, "DGHNU"),
    (0.84, "&OQw#+<=>M^~±×−"),
    (1.00, "%mW@—…"),
)
_EM: Final = {letter: width for width, letters in _WIDTHS for letter in letters}
_OTHER_EM: Final = 0.7
_WIDE_EM: Final = 1.05  # scripts whose letters fill a square
_WIDE_FROM: Final = 0x1100

# What XML 1.0 (section 2.2) has no place for; a lone half of a pair can't be written as UTF-8.
_FORBIDDEN: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


_HYPHEN: Final = re.compile(r"(?<![^\s(±])-(?=[0-9]+(?:\.[0-9]+)?(?:[\s,;:)]|$))")


def true_minus(text: str) -> str:
    """Return `text` with a minus sign before numbers below zero, where there was a hyphen."""
    return _HYPHEN.sub("−", text)


def width_pt(text: str, size_pt: float) -> float:
    """Return how wide `text` is at most, in points, at a letter size of `size_pt`."""
    return size_pt * sum(_em(letter) for letter in text)


def _em(letter: str) -> float:
    if ord(letter) >= _WIDE_FROM and not 0x2000 <= ord(letter) <= 0x22FF:
        return _WIDE_EM
    return _EM.get(letter, _OTHER_EM)


def fitted(text: str, size_pt: float, room_pt: float) -> str:
    """Return `text` on one line, cut with "…" where it is wider than `room_pt`."""
    text = " ".join(text.split())
    if width_pt(text, size_pt) <= room_pt:
        return text
    while text and width_pt(text, size_pt) + size_pt > room_pt:
        text = text[:-1]
    return f"{text.rstrip()}…"


def harmless(text: str) -> str:
    """Return `text` fit to stand in XML: marks escaped, what XML can't hold replaced."""
    return escape(_FORBIDDEN.sub("\ufffd", text), {'"': "&quot;", "'": "&#39;"})


def identifier(text: str) -> str:
    """Return `text` as a name that can stand in an id or a reference to one."""
    return re.sub(r"[^A-Za-z0-9_-]", "-", text) or "chart"
