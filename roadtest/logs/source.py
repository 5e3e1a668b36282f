"""One file of a drive folder: its bytes, and what kind of file it is."""

from __future__ import annotations

import hashlib
import re
import zlib
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Final, Literal

from roadtest.errors import InputError
from roadtest.logs.gpx_text import looks_like_gpx
from roadtest.results import GpsKind

Kind = Literal[GpsKind, "tach", "notes", "channels", "build", "ignored"]

MAX_FILE_BYTES: Final = 256 * 2**20
"""Our own bound, before and after expanding: the NMEA of twelve hours at 25 Hz (RMC, GGA and VTG)
fits. A logger that fills more splits its files."""

_HEAD_BYTES: Final = 65536
_GZIP_MAGIC: Final = b"\x1f\x8b\x08"
_GZIP_WINDOW: Final = 31  # zlib: gzip header and trailer, largest window
_SLICE_BYTES: Final = 65536
_MOST_AT_ONCE: Final = 2**20
_MOST_MEMBERS: Final = 100_000
_SOMETHING: Final = re.compile(rb"[^\0 \t\r\n]")  # bytes.strip would copy the whole file

# First bytes of files that end up in drive folders (values from memory).
_MAGIC: Final = (
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"II*\0", "a picture (TIFF)"),
    (b"MM\0*", "a picture (TIFF)"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or office document; unpack it, or save its table as CSV"),
    (b"\xb5\x62", "a receiver's binary log; only its NMEA or GPX can be read"),
)


@dataclass(frozen=True)
class Source:
    """The content of one file."""

    name: str  # without its folder
    data: bytes  # expanded where the file is compressed
    sha256: str  # of the file as it stands on disk, hex
    remarks: tuple[str, ...] = ()  # what was noticed while reading, in words
    size: int | None = None  # of the file as it stands on disk, bytes


def read_source(path: Path) -> Source:
    """Return the file at `path`; gzip is told by its first bytes and expanded.

    Of a gzip file that is cut off or damaged, what can be expanded is returned, with a remark.
    Raises InputError when the file can't be read, is larger than MAX_FILE_BYTES (as it stands or
    expanded), or is gzip of which nothing can be expanded.
    """
    name = path.name
    try:
        if not path.is_file():
            found = "neither a file nor a folder" if path.exists() else "there is no such file"
            raise InputError(name, "", "it is a folder" if path.is_dir() else found, "a file")
        if path.stat().st_size > MAX_FILE_BYTES:
            raise _too_large(name, "")
        data = path.read_bytes()
    except OSError as error:
        raise InputError(name, "", f"can't be read ({error.strerror})", "a file") from error
    return source_of(name, data)


def source_of(name: str, data: bytes) -> Source:
    """Return the file called `name` whose bytes are `data`, as `read_source` does.

    Raises InputError where it is too large when expanded, or gzip of which nothing can be expanded.
    """
    digest = hashlib.sha256(data).hexdigest()
    if not data.startswith(_GZIP_MAGIC):
        return Source(name, data, digest, size=len(data))
    expanded, fault = _expanded(data, name)
    if fault and not expanded:
        raise InputError(name, "", f"a gzip file that is {fault}", "a whole one")
    remark = f"the gzip file is {fault}; its first {len(expanded)} bytes are used"
    return Source(name, expanded, digest, (remark,) if fault else (), len(data))


def kind_of(source: Source) -> tuple[Kind, str | None]:
    """Return the kind of a file, and why it is ignored if it is.

    GPS logs are told by content, whatever they are called; the rest by name: build.toml,
    notes.csv, tach*.csv, channels*.csv, in any case, with or without .gz.
    """
    if source.name.startswith("."):
        return "ignored", "a hidden file"
    if _SOMETHING.search(source.data) is None:
        return "ignored", "an empty file"
    name = source.name.lower().removesuffix(".gz")
    named = _kind_by_name(name)
    if named is not None:
        return named, None
    head = source.data[:_HEAD_BYTES]
    if looks_like_gpx(head):
        return "gpx", None
    # Not above: the NMEA reader needs numpy, and a folder without GPS logs does not.
    from roadtest.logs.nmea import looks_like_nmea

    if looks_like_nmea(head):
        return "nmea", None
    return "ignored", _why_ignored(name, head)


def _kind_by_name(name: str) -> Kind | None:
    if name == "build.toml":
        return "build"
    if not name.endswith(".csv"):
        return None
    if name == "notes.csv":
        return "notes"
    if name.startswith("tach"):
        return "tach"
    return "channels" if name.startswith("channels") else None


def _why_ignored(name: str, head: bytes) -> str:
    for magic, what in _MAGIC:
        if head.startswith(magic):
            return what
    meant = next((kind for kind in ("notes", "tach", "channels") if name.startswith(kind)), None)
    if meant and not name.endswith(".csv"):
        return f"named like {meant}, but not called {meant}.csv"
    if name.endswith(".csv"):
        return "a CSV file named neither notes.csv, tach*.csv nor channels*.csv"
    if name.endswith(".toml"):
        return "a TOML file not named build.toml"
    if name.endswith((".gpx", ".nmea", ".nma")):
        return "neither GPX nor NMEA inside, whatever its name says"
    return "neither GPX nor NMEA"


def _too_large(name: str, how: str) -> InputError:
    most = f"at most {MAX_FILE_BYTES // 2**20} MiB"
    return InputError(name, "", f"more than {MAX_FILE_BYTES // 2**20} MiB{how}", most)


def _expanded(data: bytes, name: str) -> tuple[bytes, str]:
    """Return what the gzip members in `data` hold, and what is wrong with them ("" if nothing)."""
    expanded = BytesIO()  # which gives its bytes without copying them
    rest = memoryview(data)
    for _ in range(_MOST_MEMBERS):
        unused, fault = _expand_member(rest, expanded, name)
        if fault:
            return expanded.getvalue(), fault
        rest = rest[rest.nbytes - unused :]
        if rest.nbytes and bytes(rest[: len(_GZIP_MAGIC)]) != _GZIP_MAGIC:
            # gzip files may be padded with zeros, as blocks on a tape are.
            followed = bytes(rest).strip(b"\0")
            return expanded.getvalue(), "followed by other bytes" if followed else ""
        if not rest.nbytes:
            return expanded.getvalue(), ""
    return expanded.getvalue(), f"made of more than {_MOST_MEMBERS} pieces"


def _expand_member(data: memoryview, expanded: BytesIO, name: str) -> tuple[int, str]:
    """Expand the first member of `data`; return how many bytes follow it, and its fault."""
    engine = zlib.decompressobj(_GZIP_WINDOW)
    for at in range(0, data.nbytes, _SLICE_BYTES):
        before = engine.copy()
        piece = bytes(data[at : at + _SLICE_BYTES])
        mark = expanded.tell()
        try:
            _feed(engine, piece, expanded, name)
        except zlib.error:
            # All that this slice gave is lost with the error: again, byte by byte up to it.
            expanded.seek(mark)
            expanded.truncate()
            _feed_to_the_fault(before, piece, expanded, name)
            return 0, "damaged"
        if engine.eof:
            return len(engine.unused_data) + max(data.nbytes - at - _SLICE_BYTES, 0), ""
    return 0, "cut off"


def _feed(engine: zlib._Decompress, piece: bytes, expanded: BytesIO, name: str) -> None:
    while piece:
        expanded.write(engine.decompress(piece, _MOST_AT_ONCE))
        if expanded.tell() > MAX_FILE_BYTES:
            raise _too_large(name, " when expanded")
        piece = engine.unconsumed_tail


def _feed_to_the_fault(
    engine: zlib._Decompress, piece: bytes, expanded: BytesIO, name: str
) -> None:
    for at in range(len(piece)):
        try:
            _feed(engine, piece[at : at + 1], expanded, name)
        except zlib.error:
            return
