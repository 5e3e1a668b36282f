"""The text of a GPX file as UTF-8, whatever it was written in."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from typing import Final

from roadtest.errors import InputError

MAX_GPX_BYTES: Final = 256 * 2**20
"""Our own bound: some 100 hours at 1 Hz or 20 hours at 10 Hz with every field filled."""

_HEAD_BYTES: Final = 16384
_DECLARED = re.compile(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([\w.:-]{1,40})[\"']")
# Codecs of Python that are text encodings somebody may have saved a file in; "utf-7",
# "unicode_escape" and the like are not taken.
_TEXT_CODECS = re.compile(
    r"ascii|utf-8|utf-8-sig|iso8859-\d+|cp\d+|koi8-[rut]|mac-\w+|gb\w+|big5\w*|shift_jis\w*|euc_\w+"
)
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16, whose mark begins it
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_BARE_UTF16: Final = ((b"<\0", "utf-16-le"), (b"\0<", "utf-16-be"))
_NO_BLANK = re.compile(rb"[^\0 \t\r\n\xef\xbb\xbf]")
_COMMENT = re.compile(r"<!--.*?-->", re.DOTALL)
_FIRST_NAME = re.compile(r"<(?:[\w.-]+:)?([A-Za-z_][\w.-]*)")
_TRACK_POINT = re.compile(r"<(?:[\w.-]+:)?trkpt[\s/>]")


@dataclass(frozen=True)
class GpxText:
    """UTF-8, of which `content[start:stop]` is the text: no mark or blank on either side."""

    content: bytes  # not cut to the text, which would hold a large file twice
    start: int
    stop: int
    first_line: int  # number of the line that the text begins on
    remarks: tuple[str, ...]


def gpx_text(data: bytes, name: str) -> GpxText:
    """Return the text of a GPX file; bytes that are no text become replacement signs, remarked.

    The encoding is told by the byte order mark, then by what the XML declaration says, then it is
    UTF-8. Raises InputError when the file is empty or larger than MAX_GPX_BYTES.
    """
    _check_size(len(data), name)
    mark, codec = _encoding(data)
    content, remarks = _as_utf8(data[mark:], codec)
    _check_size(len(content), name)
    first = _NO_BLANK.search(content)
    if first is None:
        raise InputError(name, "", "the file is empty", "a GPX track")
    start = first.start()
    line = 1 + content.count(b"\n", 0, start)
    return GpxText(content, start, _last(content), line, remarks)


def _last(content: bytes) -> int:
    """Return where the blanks and zeros at the end begin."""
    stop = len(content)
    while stop:
        block = content[max(0, stop - _HEAD_BYTES) : stop]
        kept = len(block.rstrip(b"\0 \t\r\n"))
        stop -= len(block) - kept
        if kept:
            break
    return stop


def looks_like_gpx(head: bytes) -> bool:
    """Return whether a file that begins with `head` (a few kB) is GPX, whole or damaged.

    It is when its first element is `gpx`, or when it holds track points (the head may be lost).
    """
    mark, codec = _encoding(head[:_HEAD_BYTES])
    text = _COMMENT.sub("", head[mark:_HEAD_BYTES].decode(codec, errors="replace"))
    first = _FIRST_NAME.search(text)
    return first is not None and (first[1] == "gpx" or _TRACK_POINT.search(text) is not None)


def _check_size(size: int, name: str) -> None:
    if size > MAX_GPX_BYTES:
        most = f"at most {MAX_GPX_BYTES // 2**20} MiB"
        raise InputError(name, "", f"a GPX file of {size // 2**20} MiB", most)


def _encoding(data: bytes) -> tuple[int, str]:
    """Return the length of the byte order mark and the name of the codec."""
    for mark, codec in _MARKS:
        if data.startswith(mark):
            return len(mark), codec
    for start, codec in _BARE_UTF16:
        if data.startswith(start):
            return 0, codec
    declared = _DECLARED.search(data[:1024])
    if declared:
        try:
            codec = codecs.lookup(declared[1].decode("ascii")).name
        except (LookupError, UnicodeDecodeError):
            return 0, "utf-8"
        # A file that says UTF-16 in plain letters was converted since.
        if _TEXT_CODECS.fullmatch(codec):
            return 0, codec
    return 0, "utf-8"


def _as_utf8(data: bytes, codec: str) -> tuple[bytes, tuple[str, ...]]:
    remarks: tuple[str, ...] = () if codec in ("utf-8", "ascii") else (f"written in {codec}",)
    if codec in ("utf-8", "ascii", "utf-8-sig") and data.isascii():
        return data, remarks
    try:
        return data.decode(codec).encode(), remarks
    except UnicodeDecodeError as error:
        lost = f"byte {error.start} and perhaps others are not {codec}; they were replaced"
        # "replace" never makes lone surrogates, so encoding can't fail.
        return data.decode(codec, errors="replace").encode(), (*remarks, lost)
