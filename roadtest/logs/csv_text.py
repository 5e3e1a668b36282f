"""The bytes of a CSV file as UTF-8 with plain line feeds, whatever wrote them."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from typing import Final

_UTF16_MARKS: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True)
class CsvText:
    """The text of a file: UTF-8, lines parted by line feeds, no byte order mark."""

    content: bytes
    remarks: tuple[str, ...]


def csv_text(data: bytes) -> CsvText:
    """Return the text that `data` holds; any bytes at all are taken.

    UTF-8 with or without a byte order mark, UTF-16 by its mark or by the zeros between its
    letters, and Latin-1 for what is neither. Lines may end in LF, CRLF or CR.
    """
    content, remarks = _as_utf8(data)
    if b"\r" in content:
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return CsvText(content, remarks)


def letters_of(data: bytes) -> str:
    """Return the codec of what is written into a file beside `data`: see `csv_text`."""
    codec = _utf16_codec(data)
    if codec == "utf-16":
        codec = "utf-16-le" if data.startswith(codecs.BOM_UTF16_LE) else "utf-16-be"
    if codec:
        return codec
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def _as_utf8(data: bytes) -> tuple[bytes, tuple[str, ...]]:
    codec = _utf16_codec(data)
    if codec:
        text = data.decode(codec, errors="replace").removeprefix("\ufeff")
        return text.encode(), ("written in UTF-16",)
    data = data.removeprefix(codecs.BOM_UTF8)
    if data.isascii():
        return data, ()
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.reason == "unexpected end of data":
            return data[: error.start], ("the file ends inside a character",)
        remark = "not valid UTF-8, so it was read as Latin-1"
        return data.decode("latin-1").encode(), (remark,)
    return data, ()


def _utf16_codec(data: bytes) -> str | None:
    if data.startswith(_UTF16_MARKS):
        return "utf-16"
    # A header begins with plain letters, so in UTF-16 every other byte of it is zero.
    odd, even = data[1:8:2], data[0:8:2]
    if len(odd) == len(even) == 4:
        if not any(odd) and all(even):
            return "utf-16-le"
        if not any(even) and all(odd):
            return "utf-16-be"
    return None
