"""The report as PDF: tagged, archival (PDF/A-3a, PDF/UA-1), the results file attached inside."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from typing import Final

from roadtest.errors import RoadtestError
from roadtest.report.lettering import printable
from roadtest.report.model import Block, Document, GloveBoxCard, Heading, Logo, outlined

LACKING: Final = (
    "[U+ and a number] stands for a letter that the fonts of this PDF lack, by its number in "
    "Unicode; the same page as HTML shows it."
)


def to_pdf(document: Document) -> bytes:
    """Return the PDF of `document`; the same document gives the same bytes.

    Raises RoadtestError where the text can't be set.
    """
    import typst  # takes its time, and only this needs it

    try:
        return bytes(
            typst.compile(
                _template(),
                format="pdf",
                ignore_system_fonts=True,
                sys_inputs={"document": _data(document), "results": document.results_json},
                pdf_standards=["a-3a", "ua-1"],
                timestamp=0,
            )
        )
    except typst.TypstError as fault:
        raise RoadtestError(f"the report can't be set as PDF: {fault.message}") from None


def is_drawable(logo: Logo) -> bool:
    """Return whether the typesetter can draw a picture, whose data may be anything."""
    import typst

    source = (
        b"#let logo = json(bytes(sys.inputs.logo))\n#image(bytes(logo.bytes), format: logo.format)"
    )
    try:
        typst.compile(
            source,
            format="pdf",
            ignore_system_fonts=True,
            sys_inputs={"logo": json.dumps(_plain(logo))},
        )
    except typst.TypstError:
        return False
    return True


def _plain(logo: Logo) -> dict[str, object]:
    return {"bytes": list(logo.data), "format": logo.kind}


@cache
def _template() -> bytes:
    return files("roadtest.report").joinpath("template.typ").read_bytes()


def _data(document: Document) -> str:
    """Return the document as JSON for the template, every text in letters its fonts have."""
    plain = list(_blocks((*document.first, *document.blocks)))
    first, blocks = plain[: len(document.first)], plain[len(document.first) :]
    data: dict[str, object] = {
        "title": document.title,
        "head": document.head,
        "date": document.date,
        "shop": document.shop,
        "logo": None,
        "compact": document.compact,
        "first": first,
        "blocks": blocks,
    }
    if document.logo is not None:
        data["logo"] = _plain(document.logo)
    text = json.dumps(printable(data), ensure_ascii=False)
    lacking = text.count("[U+") > json.dumps(data, ensure_ascii=False).count("[U+")
    return json.dumps({**json.loads(text), "lacking": LACKING if lacking else ""})


def _blocks(blocks: Sequence[Block]) -> Iterator[dict[str, object]]:
    """Yield the blocks as plain data; headings with their level in the outline."""
    for block, depth in outlined(blocks):
        plain = {"type": type(block).__name__, **asdict(block)}
        if isinstance(block, Heading):
            plain["outline"] = depth
        elif isinstance(block, GloveBoxCard):
            plain["tables"] = [{"title": t, "table": asdict(table)} for t, table in block.tables]
        yield plain
