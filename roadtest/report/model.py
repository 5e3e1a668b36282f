"""A report as plain data, before it is set as PDF or HTML. All text is text, never markup."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

from roadtest.results import Verdict


@dataclass(frozen=True)
class Heading:
    """Begins a part (level 1) or a section within it (level 2)."""

    text: str
    level: int = 1
    new_page: bool = False


@dataclass(frozen=True)
class Paragraph:
    """Some sentences; `small` for small print."""

    text: str
    small: bool = False


@dataclass(frozen=True)
class Facts:
    """Labelled lines: a label, and what there is to say, side by side or `run_in`."""

    rows: tuple[tuple[str, str], ...]
    small: bool = False
    run_in: bool = False


@dataclass(frozen=True)
class Table:
    """A table; its first `texts` columns are words, the rest figures set to the right."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    texts: int = 1
    small: bool = False


@dataclass(frozen=True)
class Bullets:
    """A list, numbered or not; `paired` sets many short items in two columns of small print."""

    items: tuple[str, ...]
    numbered: bool = False
    small: bool = False
    paired: bool = False


@dataclass(frozen=True)
class Picture:
    """A chart as SVG, with the sentence that says what it shows."""

    svg: str
    says: str
    title: str
    notes: tuple[str, ...] = ()
    width: float = 1.0  # of the text's width


@dataclass(frozen=True)
class FindingRow:
    """One finding as the buyer reads it."""

    verdict: Verdict
    mark: str  # a shape that tells the verdict without colour
    word: str
    title: str
    plain: str  # what was looked at, in a sentence
    figure: str  # "5.9 ± 0.3 m/s²"
    allowed: str  # "at least 5.8 m/s²"
    reason: str  # why it did not pass


@dataclass(frozen=True)
class FindingTable:
    """All findings; its heads name the four columns."""

    heads: tuple[str, str, str, str]
    rows: tuple[FindingRow, ...]


@dataclass(frozen=True)
class Signature:
    """Room for the shop's name and a signature."""

    shop: str
    line: str


@dataclass(frozen=True)
class GloveBoxCard:
    """A small card to cut out: titles and tables."""

    title: str
    tables: tuple[tuple[str, Table], ...]
    note: str


Block: TypeAlias = (
    Heading
    | Paragraph
    | Facts
    | Table
    | Bullets
    | Picture
    | FindingTable
    | Signature
    | GloveBoxCard
)


@dataclass(frozen=True)
class Logo:
    """The shop's logo."""

    data: bytes
    kind: str  # "png", "jpg", "svg"


@dataclass(frozen=True)
class Document:
    """A whole report; `first` is page one, set as large as it fits on one page."""

    title: str
    head: str  # runs along the top of every page but the first
    date: tuple[int, int, int]  # of the drive: year, month, day
    shop: str
    blocks: tuple[Block, ...]
    results_json: str  # goes along inside
    results_hash: str
    first: tuple[Block, ...] = ()
    logo: Logo | None = None
    compact: bool = False  # small print and margins: a card, not a report


def outlined(blocks: Iterable[Block]) -> Iterator[tuple[Block, int]]:
    """Yield each block with the level of the heading it is or stands under, the title's being 1.

    No level is skipped on the way down, whatever the headings say, as readers aloud need it.
    """
    depth = 1
    for block in blocks:
        if isinstance(block, Heading):
            depth = min(block.level + 1, depth + 1)
        yield block, depth
