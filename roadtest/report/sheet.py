"""The sheet that a report's figures are put down on: blocks instead of lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from roadtest.report.model import Block, Facts, Heading, Paragraph, Table


@dataclass
class BlockSheet:
    """Collects what `roadtest.figures` puts down; labelled lines that follow one another join."""

    sections: list[tuple[str, list[Block]]] = field(default_factory=list)

    def heading(self, text: str) -> None:
        """Begin a section."""
        self.sections.append((text, [Heading(text, level=2)]))

    def gap(self) -> None:
        """Blocks have room of their own."""

    def paragraph(self, text: str, *, label: str = "", indent: int = 0) -> None:
        """Put down `text`, behind `label` where it has one."""
        del indent
        blocks = self.sections[-1][1]
        if not label:
            blocks.append(Paragraph(text))
            return
        last = blocks[-1]
        row = (label.strip(), text)
        if isinstance(last, Facts):
            blocks[-1] = Facts((*last.rows, row))
        else:
            blocks.append(Facts((row,)))

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]], texts: int = 1) -> None:
        """Put down a table."""
        body = tuple(tuple(row) for row in rows)
        self.sections[-1][1].append(Table(tuple(heads), body, texts))
