"""Text on a terminal: made safe, fitted to its encoding, measured and wrapped by columns."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

_ESCAPE: Final = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"  # colours, cursor moves
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)?"  # titles
    r"|\x1b[ -/]*[0-~]?"
)
_MOST_MARKS: Final = 2  # combining marks kept on one letter; more only smear over other lines

_GLUE: Final = "\u00a0"  # a space on a page that no line is broken at

_PLAINER: Final = {
    "±": "+/-",
    "²": "^2",
    "³": "^3",
    "°": "deg",
    "×": "x",
    "·": ".",
    "−": "-",
    "–": "-",
    "—": "-",
    "…": "...",
    "→": "->",
    "≥": ">=",
    "≤": "<=",
    "µ": "u",
    "✗": "!",
    "✓": "+",
    "“": '"',
    "”": '"',
    "‘": "'",
    "’": "'",
    "½": "1/2",
    "ø": "o",
    "Ø": "O",
    "ß": "ss",
}


def clean(text: str) -> str:
    """Return `text` on one line, without escape sequences or characters that steer the terminal.

    Controls, direction marks and other invisible format characters go; line breaks and tabs become
    spaces; half, private and unassigned characters become U+FFFD.
    """
    kept: list[str] = []
    marks = 0
    for char in unicodedata.normalize("NFC", _ESCAPE.sub("", text)):
        category = unicodedata.category(char)
        marks = marks + 1 if category in ("Mn", "Me") else 0
        if char.isspace():
            kept.append(" ")
        elif category in ("Cs", "Co", "Cn"):
            kept.append("\ufffd")
        elif category in ("Cc", "Cf") or marks > _MOST_MARKS or "\ufe00" <= char <= "\ufe0f":
            continue
        else:
            kept.append(char)
    return "".join(kept)


def fit(text: str, encoding: str) -> str:
    """Return `text` with what `encoding` can't hold written plainer: ± as +/-, é as e, else ?."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return "".join(_fitting(char, encoding) for char in text)
    return text


def _fitting(char: str, encoding: str) -> str:
    decomposed = unicodedata.normalize("NFKD", char)
    stripped = "".join(c for c in decomposed if not unicodedata.combining(c))
    for candidate in (char, _PLAINER.get(char), stripped):
        if candidate is None or (candidate == "" and not unicodedata.combining(char)):
            continue
        try:
            candidate.encode(encoding)
        except UnicodeEncodeError:
            continue
        return candidate
    return "?"


def display_width(text: str) -> int:
    """Return how many columns `text` takes: wide characters two, combining marks none."""
    return sum(_columns(char) for char in text)


def _columns(char: str) -> int:
    if unicodedata.category(char) in ("Mn", "Me") or "\u1160" <= char <= "\u11ff":
        return 0  # the second range: Hangul vowels and finals, drawn into the block before them
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def pad(text: str, width: int, *, right: bool = False) -> str:
    """Return `text` filled with spaces to `width` columns, on its left side when `right`."""
    spaces = " " * (width - display_width(text))
    return spaces + text if right else text + spaces


def wrap(text: str, width: int) -> list[str]:
    """Return the words of `text` as lines of at most `width` columns; too long words are cut."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        joined = f"{line} {word}" if line else word
        if display_width(joined) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        if _GLUE in word and display_width(word) > width:
            *full, line = wrap(word.replace(_GLUE, " "), width)
        else:
            *full, line = _cut(word, width)
        lines.extend(full)
    return [*lines, line] if line or not lines else lines


def _cut(word: str, width: int) -> list[str]:
    pieces = [""]
    used = 0
    for char in word:
        columns = _columns(char)
        if used + columns > width:
            pieces.append("")
            used = 0
        pieces[-1] += char
        used += columns
    return pieces


@dataclass
class Page:
    """Lines for a terminal `width` columns wide (20 at least) and with `encoding`.

    Everything that is put on it is cleaned, fitted and wrapped here, so no caller can forget to.
    """

    width: int = 80
    encoding: str = "utf-8"
    colour: bool = False
    lines: list[str] = field(default_factory=list)
    _headed: int = 0  # how many lines there were when the last heading was put down

    def __post_init__(self) -> None:
        self.width = max(self.width, 20)

    def text(self) -> str:
        """Return the page as text."""
        return "\n".join(line.rstrip().replace(_GLUE, " ") for line in self.lines) + "\n"

    def gap(self) -> None:
        """Leave a line empty, but never two, nor one right below a heading."""
        if self.lines and self.lines[-1] and len(self.lines) != self._headed:
            self.lines.append("")

    def heading(self, text: str) -> None:
        """Begin a part."""
        self.gap()
        start = len(self.lines)
        self.paragraph(text.upper())
        self._paint(start, "", "1")
        self._headed = len(self.lines)

    def paragraph(self, text: str, *, label: str = "", indent: int = 0, paint: str = "") -> None:
        """Put down `text` behind `label`, further lines hanging `indent` columns in.

        The label is painted with the colour code `paint` where there is colour. Spaces in front of
        the label stay.
        """
        margin = " " * (len(label) - len(label.lstrip(" ")))
        label, text = margin + self._safe(label), self._safe(text)
        indent = min(indent, self.width // 2)
        start = len(self.lines)
        body = wrap(text, self.width - indent)
        if label.strip() and display_width(label) >= indent:
            hanging = wrap(label[len(margin) :], self.width - len(margin))
            self.lines.extend(margin + line for line in hanging)
        else:
            self.lines.append(pad(label, indent) + body.pop(0))
        self.lines.extend(" " * indent + line for line in body if line)
        self._paint(start, label.strip(), paint)

    def as_it_is(self, line: str) -> None:
        """Put down a line of another page, its columns kept; wrapped where it is too wide."""
        if display_width(line) <= self.width:
            self.lines.append(line)
        else:
            self.paragraph(line)

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]], texts: int = 1) -> None:
        """Put down a table; its first `texts` columns are words, the rest figures to the right.

        Where the columns don't fit side by side, each row becomes a list of "head: cell", begun by
        what stands under no head.
        """
        heads = [self._safe(head) for head in heads]
        cells = [[self._safe(cell) for cell in row] for row in rows]
        widths = [
            max(display_width(c) for c in column) for column in zip(heads, *cells, strict=True)
        ]
        if 2 + sum(widths) + 2 * (len(widths) - 1) > self.width:
            self._stacked(heads, cells)
            return
        for row in [heads, *cells]:
            padded = (
                pad(cell, width, right=i >= texts)
                for i, (cell, width) in enumerate(zip(row, widths, strict=True))
            )
            self.lines.append("  " + "  ".join(padded).rstrip())

    def _stacked(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        for row in rows:
            pairs = [*zip(heads, row, strict=True)]
            mark = "".join(f"{cell} " for head, cell in pairs if cell and not head)
            told = [f"{head}: {cell}" for head, cell in pairs if cell and head]
            for i, line in enumerate(told):
                self.paragraph(line if i else mark + line, indent=4 if i else 2)

    def _safe(self, text: str) -> str:
        words = " ".join(fit(clean(text), self.encoding).split())
        return re.sub(r" (±|\+/-) ", rf"{_GLUE}\1{_GLUE}", words).replace(" %", f"{_GLUE}%")

    def _paint(self, start: int, part: str, code: str) -> None:
        """Colour `part` of the first line put down since `start`, or all of it."""
        if self.colour and code and start < len(self.lines):
            line = self.lines[start]
            part = part if part and part in line else line
            self.lines[start] = line.replace(part, f"\x1b[{code}m{part}\x1b[0m", 1)
