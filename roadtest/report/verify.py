"""Whether a report shows what a drive folder gives."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Final

from roadtest.errors import InputError
from roadtest.report.making import Reported
from roadtest.results import FileInfo, ReadIn, from_json, to_json

_MOST_BYTES: Final = 64 * 2**20  # of a report, and of the results inside it
_HTML: Final = re.compile(rb'<pre id="results" hidden>(.*?)</pre>', re.DOTALL)
_STREAM: Final = re.compile(rb"stream\r?\n")
_WANTED: Final = "a report made by roadtest report"
_PAGES: Final = (
    "its results are those of the drive, but its pages are not the ones set from them: the report "
    "was changed, or set by another release of the typesetter"
)


@dataclass(frozen=True)
class Report:
    """A report as it lies in a file: all of it, and the results file inside."""

    name: str
    data: bytes
    results_json: str

    @property
    def kind(self) -> str:
        """What it is, as its name should end."""
        return ".pdf" if self.data.startswith(b"%PDF") else ".html"


def read_report(path: Path) -> Report:
    """Return the report in a file.

    Raises InputError where the file can't be read or holds no results.
    """
    try:
        if path.exists() and not path.is_file():  # a pipe would keep us waiting
            raise InputError(str(path), "", "it is no file", _WANTED)
        size = path.stat().st_size
        data = path.read_bytes() if size <= _MOST_BYTES else b""
    except OSError as fault:
        raise InputError(str(path), "", (fault.strerror or str(fault)).lower(), _WANTED) from None
    if size > _MOST_BYTES:
        raise InputError(path.name, "", "it is over 64 MB", _WANTED)
    return report_in(data, path.name)


def report_in(data: bytes, name: str) -> Report:
    """Return the report whose bytes are `data`; raises InputError where it holds no results."""
    found = _in_pdf(data) if data.startswith(b"%PDF") else _in_html(data)
    if found is None:
        raise InputError(name, "", "there are no results inside it", _WANTED)
    return Report(name, data, found)


def differences(report: Report, now: Reported) -> tuple[str, ...]:
    """Return in words how a report differs from what a drive gives now; () where it does not.

    The results inside are compared first, then every byte of the report with one set anew, in
    either unit that people read. Raises InputError where what is inside is no results file.
    """
    if report.results_json == to_json(now.results):
        units: tuple[ReadIn, ReadIn] = ("mph", "km/h")
        same = any(now.as_kind(report.kind, unit) == report.data for unit in units)
        return () if same else (_PAGES,)
    then = from_json(report.results_json, report.name)
    said = list(_of_files(then.files, now.results.files))
    if then.software.version != now.results.software.version:
        said.append(
            f"it was made by version {then.software.version}, this is "
            f"{now.results.software.version}"
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
