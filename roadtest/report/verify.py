"""Whether a report shows what a drive folder gives."""

from __future__ import annotations

import re
import zlib
from html import unescape
from pathlib import Path
from typing import Final

from roadtest.errors import InputError
from roadtest.results import FileInfo, Results, from_json, to_json

_MOST_BYTES: Final = 64 * 2**20  # of a report, and of the results inside it
_HTML: Final = re.compile(rb'<pre id="results" hidden>(.*?)</pre>', re.DOTALL)
_STREAM: Final = re.compile(rb"stream\r?\n")
_WANTED: Final = "a report made by roadtest report"


def results_inside(path: Path) -> str:
    """Return the results file that goes along inside a report.

    Raises InputError where the file can't be read or holds none.
    """
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= _MOST_BYTES else b""
    except OSError as fault:
        raise InputError(str(path), "", (fault.strerror or str(fault)).lower(), _WANTED) from None
    if size > _MOST_BYTES:
        raise InputError(path.name, "", "it is over 64 MB", _WANTED)
    return results_in(data, path.name)


def results_in(data: bytes, name: str) -> str:
    """Return the results file inside a report whose bytes are `data`, as `results_inside` does."""
    found = _in_html(data) if not data.startswith(b"%PDF") else _in_pdf(data)
    if found is None:
        raise InputError(name, "", "there are no results inside it", _WANTED)
    return found


def differences(inside: str, name: str, now: Results) -> tuple[str, ...]:
    """Return in words how the results inside a report differ from those of a drive; () if not.

    Raises InputError where what is inside is no results file.
    """
    if inside == to_json(now):
        return ()
    then = from_json(inside, name)
    said = list(_of_files(then.files, now.files))
    if then.software.version != now.software.version:
        said.append(
            f"it was made by version {then.software.version}, this is {now.software.version}"
        )
    if not said:
        said.append("its figures are not those that the drive's files give")
    return tuple(said)


def _of_files(then: tuple[FileInfo, ...], now: tuple[FileInfo, ...]) -> list[str]:
    before = {file.name: file.sha256 for file in then}
    after = {file.name: file.sha256 for file in now}
    said = [f"{name} is not in the folder" for name in before if name not in after]
    said += [f"{name} is new in the folder" for name in after if name not in before]
    both = (name for name in before if name in after)
    return said + [f"{name} has changed" for name in both if before[name] != after[name]]


def _in_html(data: bytes) -> str | None:
    found = _HTML.search(data)
    return None if found is None else unescape(found[1].decode("utf-8", "replace"))


def _in_pdf(data: bytes) -> str | None:
    """Return the attached results: the one deflated stream that begins like a results file."""
    for found in _STREAM.finditer(data):
        inflate = zlib.decompressobj()
        try:
            head = inflate.decompress(data[found.end() : found.end() + 4096], 64)
            if not head.startswith(b'{\n "format": "roadtest results'):
                continue
            text = zlib.decompressobj().decompress(data[found.end() :], _MOST_BYTES)
        except zlib.error:
            continue
        return text.decode("utf-8", "replace")
    return None
