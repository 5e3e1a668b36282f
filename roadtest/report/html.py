"""The report as one HTML file: the same blocks and charts, no script, nothing from elsewhere."""

from __future__ import annotations

import base64
from functools import cache
from html import escape
from importlib.resources import files
from typing import Final

from roadtest.report.model import (
    Block,
    Bullets,
    Document,
    Facts,
    FindingCard,
    GloveBoxCard,
    Heading,
    Paragraph,
    Picture,
    Signature,
    Table,
)
from roadtest.terminal import clean

_MIME: Final = {"png": "image/png", "jpg": "image/jpeg", "svg": "image/svg+xml"}
_CLASS: Final = {"pass": "pass", "fail": "fail", "not proven": "open"}

_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def to_html(document: Document) -> str:
    """Return the HTML of `document`; the same document gives the same text."""
    body = "\n".join(_block(block) for block in document.blocks)
    logo = ""
    if document.logo is not None:
        data = base64.b64encode(document.logo.data).decode()
        source = f"data:{_MIME[document.logo.kind]};base64,{data}"
        logo = f'<img class="logo" alt="logo" src="{source}">'
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
<body>
<main>
{logo}<p class="shop">{_text(document.shop)}</p>
<h1>{_text(document.title)}</h1>
{body}
</main>
<pre id="results" hidden>{escape(document.results_json, quote=True)}</pre>
</body>
</html>
"""


@cache
def _style() -> str:
    return files("roadtest.report").joinpath("report.css").read_text(encoding="utf-8")


def _text(text: str) -> str:
    return escape(clean(text), quote=True)


def _block(block: Block) -> str:
    match block:
        case Heading():
            new = ' class="new"' if block.new_page else ""
            level = block.level + 1
            return f"<h{level}{new}>{_text(block.text)}</h{level}>"
        case Paragraph():
            return f"<p{_small(block.small)}>{_text(block.text)}</p>"
        case Facts():
            rows = "".join(f"<dt>{_text(a)}</dt><dd>{_text(b)}</dd>" for a, b in block.rows)
            return f"<dl{_small(block.small)}>{rows}</dl>"
        case Table():
            return _table(block)
        case Bullets():
            kind = "ol" if block.numbered else "ul"
            items = "".join(f"<li>{_text(item)}</li>" for item in block.items)
            return f"<{kind}>{items}</{kind}>"
        case Picture():
            says = " ".join((block.says, *block.notes))
            return (
                f"<figure><figcaption><strong>{_text(block.title)}</strong></figcaption>"
                f"{block.svg}<figcaption>{_text(says)}</figcaption></figure>"
            )
        case FindingCard():
            return _card(block)
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
            inner = f"<code>{_text(cell)}</code>" if len(cell) == 64 else _text(cell)
            made.append(f"<{tag}{scope}{kind}>{inner}</{tag}>")
        return f"<tr>{''.join(made)}</tr>"

    body = "".join(row(cells, "td") for cells in table.rows)
    return (
        f'<div class="scroll"><table><thead>{row(table.heads, "th")}</thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _card(card: FindingCard) -> str:
    figure = f"<p>{_text(card.figure)}</p>" if card.figure else ""
    sentence = f'<p class="quiet">{_text(card.sentence)}</p>' if card.sentence else ""
    return (
        f'<div class="card {_CLASS[card.verdict]}"><div class="verdict">'
        f'<span class="mark" aria-hidden="true">{card.mark}</span>{card.word}</div>'
        f"<div><strong>{_text(card.title)}</strong>{figure}{sentence}</div></div>"
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
