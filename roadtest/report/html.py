"""The report as one HTML file: the same blocks and charts, no script, nothing from elsewhere."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from functools import cache
from html import escape
from importlib.resources import files
from typing import Final

from roadtest.report.lettering import typeset
from roadtest.report.model import (
    Block,
    Bullets,
    Document,
    Facts,
    FindingRow,
    FindingTable,
    GloveBoxCard,
    Heading,
    Paragraph,
    Picture,
    Signature,
    Table,
    outlined,
)
from roadtest.terminal import clean

_MIME: Final = {"png": "image/png", "jpg": "image/jpeg", "svg": "image/svg+xml"}
_CLASS: Final = {"pass": "pass", "fail": "fail", "not proven": "open"}
_LINE: Final = 78  # letters across the column of findings, about
_FITTING: Final = ((10.0, 26), (9.5, 34), (9.0, 38), (8.5, 42), (8.0, 53), (7.5, 60))
"""Letter sizes of page one in print, and how many lines of findings fit at them."""

_SHORT: Final = 24  # characters of a cell that a card keeps on one line
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def to_html(document: Document) -> str:
    """Return the HTML of `document`; the same document gives the same text."""
    blocks = [_block(*it) for it in outlined((*document.first, *document.blocks))]
    first, body = "\n".join(blocks[: len(document.first)]), "\n".join(blocks[len(document.first) :])
    return f"""<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="results-sha256" content="{document.results_hash}">
<title>{_text(document.title)}</title>
<style>{_style()}</style>
</head>
<body{' class="compact"' if document.compact else ""}>
<main>
<section{_page_one(document.first)}>
{_opening(document)}
{first}
</section>
{body}
</main>
<pre id="results" hidden>{escape(document.results_json, quote=True)}</pre>
</body>
</html>
"""


def _opening(document: Document) -> str:
    logo = ""
    if document.logo is not None:
        data = base64.b64encode(document.logo.data).decode()
        source = f"data:{_MIME[document.logo.kind]};base64,{data}"
        logo = f'<img class="logo" alt="The workshop\'s logo" src="{source}">'
    shop = f'<p class="shop"><bdi>{_text(document.shop)}</bdi></p>' if document.shop else ""
    return f"{logo}{shop}<h1><bdi>{_text(document.title)}</bdi></h1>"


def _page_one(blocks: Sequence[Block]) -> str:
    return f' class="first" style="--print-size: {_print_size(blocks)}pt"' if blocks else ""


def _print_size(blocks: Sequence[Block]) -> float:
    """Return a letter size, in points, at which page one should fit on a printed page.

    A guess from how many lines its findings take: a page without scripts can't measure itself.
    """
    lines = 0
    for block in blocks:
        if isinstance(block, FindingTable):
            for row in block.rows:
                lines += 1 + len(f"{row.title} {row.plain}") // _LINE + -(-len(row.reason) // _LINE)
        elif isinstance(block, Facts):
            lines += sum(1 + len(text) // _LINE for _, text in block.rows)
    return next((size for size, most in _FITTING if lines <= most), _FITTING[-1][0])


@cache
def _style() -> str:
    return files("roadtest.report").joinpath("report.css").read_text(encoding="utf-8")


def _text(text: str) -> str:
    return escape(typeset(clean(text)), quote=True)


def _block(block: Block, depth: int) -> str:
    match block:
        case Heading():
            new = ' class="new"' if block.new_page else ""
            return f"<h{depth}{new}>{_text(block.text)}</h{depth}>"
        case Paragraph():
            return f"<p{_small(block.small)}>{_text(block.text)}</p>"
        case Facts():
            rows = "".join(f"<dt>{_text(a)}</dt><dd>{_text(b)}</dd>" for a, b in block.rows)
            kind = f"facts{' small' if block.small else ''}{' run-in' if block.run_in else ''}"
            return f'<dl class="{kind}">{rows}</dl>'
        case Table():
            return _table(block)
        case Bullets():
            kind = "ol" if block.numbered else "ul"
            items = "".join(f"<li>{_text(item)}</li>" for item in block.items)
            paired = " paired" if block.paired and len(block.items) > 3 else ""
            small = " small" if block.small else ""
            return f'<{kind} class="list{small}{paired}">{items}</{kind}>'
        case Picture():
            says = " ".join((block.says, *block.notes))
            return (
                f"<figure><figcaption><strong>{_text(block.title)}</strong></figcaption>"
                f'<div class="scroll" tabindex="0" role="group" aria-label="{_text(block.title)}">'
                f"{block.svg}</div><figcaption>{_text(says)}</figcaption></figure>"
            )
        case FindingTable():
            return _findings(block)
        case Signature():
            shop = f"{block.shop}, place and date" if block.shop else "Workshop, place and date"
            return f'<div class="sign"><div>{_text(block.line)}</div><div>{_text(shop)}</div></div>'
        case GloveBoxCard():
            return _glove_box(block)


def _small(small: bool) -> str:
    return ' class="small"' if small else ""


def _table(table: Table) -> str:
    def row(cells: tuple[str, ...], tag: str) -> str:
        made = []
        for i, cell in enumerate(cells):
            scope = ' scope="col"' if tag == "th" else ""
            kind = ' class="figure"' if i >= table.texts and len(cell) < 40 else ""
            kind = kind or (' class="short"' if len(cell) < _SHORT else "")
            inner = f"<code>{_text(cell)}</code>" if len(cell) == 64 else _text(cell)
            made.append(f"<{tag}{scope}{kind}>{inner}</{tag}>")
        return f"<tr>{''.join(made)}</tr>"

    body = "".join(row(cells, "td") for cells in table.rows)
    return (
        f'<div class="scroll"><table{_small(table.small)}><thead>{row(table.heads, "th")}</thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _findings(table: FindingTable) -> str:
    heads = "".join(f'<th scope="col">{_text(head)}</th>' for head in table.heads)
    rows = "".join(_finding(row) for row in table.rows)
    return f'<table class="findings"><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>'


def _finding(row: FindingRow) -> str:
    plain = f' <span class="quiet">{_text(row.plain)}</span>' if row.plain else ""
    reason = f"<p>{_text(row.reason)}</p>" if row.reason else ""
    wide, found = ' colspan="3"', ""
    if row.figure or row.allowed:
        wide = ""
        found = "".join(f'<td class="found">{_text(it)}</td>' for it in (row.figure, row.allowed))
    return (
        f'<tr class="{_CLASS[row.verdict]}"><td class="verdict">'
        f'<span class="mark" aria-hidden="true">{row.mark}</span>{row.word}</td>'
        f'<th scope="row"{wide}><strong>{_text(row.title)}</strong>{plain}{reason}</th>'
        f"{found}</tr>"
    )


def _glove_box(card: GloveBoxCard) -> str:
    sides = "".join(
        f'<div><span class="quiet">{_text(title)}</span>{_table(table)}</div>'
        for title, table in card.tables
    )
    return (
        f'<div class="glove"><strong>{_text(card.title)}</strong><div class="side">{sides}</div>'
        f'<span class="quiet">{_text(card.note)}</span></div>'
    )
