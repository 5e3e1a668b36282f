"""A drive folder as one value."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, TypeVar

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.clock import Stretch, channels_in_utc, notes_in_utc, outside, tach_in_utc
from roadtest.errors import InputError, InputErrors, NoBuildSheetError, RoadtestError
from roadtest.logs.channels import read_channels
from roadtest.logs.gpx import read_gpx
from roadtest.logs.model import ChannelsLog, GpsLog, Notes, TachLog
from roadtest.logs.nmea import read_nmea
from roadtest.logs.notes import read_notes
from roadtest.logs.source import Source, kind_of, read_source
from roadtest.logs.tach import read_tach
from roadtest.one_car import refuse_other_cars
from roadtest.receivers import Receiver, find_receivers, join_tachs
from roadtest.results import GPS_KINDS, FileInfo
from roadtest.wording import plural

_SHEET_WANTED: Final = (
    'one (the least is the line units = "mph"), or one from elsewhere with --build FILE'
)
_GPS_WANTED: Final = "a GPS log (GPX or NMEA) of the drive in the folder"
_MOST_NAMED: Final = 8  # files named in one complaint
_READ_GPS: Final[Mapping[str, Callable[[bytes, str], GpsLog]]] = {
    "nmea": read_nmea,
    "gpx": read_gpx,
}

_Log = TypeVar("_Log", GpsLog, TachLog, ChannelsLog, Notes)


@dataclass(frozen=True)
class Drive:
    """All that came with one drive. Times in logs and notes are UTC, or on a clock of their own."""

    name: str  # of the folder
    sheet: BuildSheet
    files: tuple[FileInfo, ...]
    receivers: tuple[Receiver, ...]  # the one whose speed is used first; at least one
    tach: tuple[TachLog, ...] = ()
    channels: tuple[ChannelsLog, ...] = ()
    notes: Notes | None = None
    notes_file: Source | None = None  # what `notes` was read from
    refused: tuple[str, ...] = ()  # logs that can't be used, each with its fault

    @property
    def gps(self) -> GpsLog:
        """The log that the motion comes from."""
        return self.receivers[0].log


def read_drive(folder: Path, build: Path | None = None) -> Drive:
    """Return the drive in `folder`, every file of it accounted for.

    `build` is the build sheet to use in place of the folder's own. A log that can't be used is
    listed as ignored with its reason, as long as there is a GPS log that can.

    Raises InputError or InputErrors when there is no build sheet or no usable GPS log, when build
    sheet or notes hold something that can't be understood, or when a file may not be read.
    """
    try:
        paths = sorted(folder.iterdir(), key=lambda path: (not _is_sheet(path.name), path.name))
    except OSError as fault:
        raise InputError(str(folder), "", _said(fault), "a folder that can be read") from None
    given = None if build is None else read_source(build)
    name = folder.resolve().name
    if given is None and not any(_is_sheet(path.name) for path in paths):
        raise _no_sheet(name, paths)
    return drive_from(name, (_content(path) for path in paths), given)


def drive_from(
    name: str, contents: Iterable[Source | FileInfo], build: Source | None = None
) -> Drive:
    """Return the drive that `contents` make: files read, and files that there is no use in reading.

    Raises what `read_drive` raises.
    """
    folder = _Folder(name)
    if build is not None:
        folder.take_sheet(build)
    for content in contents:
        if isinstance(content, FileInfo):
            folder.files.append(content)
        else:
            folder.take(content)
    return folder.drive()


def with_notes_file(drive: Drive, source: Source) -> Drive:
    """Return the drive as it would be with this file of notes in its folder.

    Raises what `read_notes` raises.
    """
    time = drive.gps.time_s
    notes = _notes_in(source, drive.sheet, Stretch(float(time[0]), float(time[-1])))
    info = FileInfo(source.name, source.sha256, "notes", None, source.size)
    others = (f for f in drive.files if f.kind != "notes" and f.name != source.name)
    return replace(drive, files=_in_order((*others, info)), notes=notes, notes_file=source)


def _notes_in(source: Source, sheet: BuildSheet, stretch: Stretch) -> Notes:
    notes = read_notes(source.data, source.name, sheet.units, sheet.speedometer.units)
    return notes_in_utc(_with_remarks(notes, source), stretch, sheet.utc_offset_s)


def _in_order(files: Iterable[FileInfo]) -> tuple[FileInfo, ...]:
    return tuple(sorted(files, key=lambda file: (file.kind != "build", file.name)))


def _is_sheet(name: str) -> bool:
    return name.lower().removesuffix(".gz") == "build.toml"


def _no_sheet(folder: str, paths: Iterable[Path]) -> NoBuildSheetError:
    """Return the complaint, naming the file that is likely meant (an editor may add .txt)."""
    almost = [path.name for path in paths if path.name.lower().startswith("build")]
    if almost:
        found = f"there is no build.toml in it, only {almost[0]}"
        return NoBuildSheetError(folder, "", found, "the build sheet to be called build.toml")
    return NoBuildSheetError(folder, "", "there is no build.toml in it", _SHEET_WANTED)


def _content(path: Path) -> Source | FileInfo:
    """Return what is at `path`, or why there is no use in reading it."""
    if path.is_dir():
        return FileInfo(path.name, "", "ignored", "a folder; only the files beside it are read")
    if not path.exists():
        return FileInfo(path.name, "", "ignored", "a link that leads nowhere")
    if not path.is_file():
        return FileInfo(path.name, "", "ignored", "neither a file nor a folder")
    if not os.access(path, os.R_OK):
        raise InputError(path.name, "", "you may not read it", "a file with leave to read")
    try:
        return read_source(path)
    except InputError as fault:
        if _is_sheet(path.name):
            raise
        return FileInfo(path.name, _digest(path), "ignored", _reason(fault), _size(path))


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _size(path: Path) -> int | None:
    try:
        return path.stat().st_size
    except OSError:
        return None


def _second(name: str, first: str) -> str:
    """Return in words that there is a file which does the work of another."""
    return "there are two different files of this name" if name == first else f"{first} is one too"


def _with_remarks(log: _Log, source: Source) -> _Log:
    """Return `log` with what was noticed on the way to its content."""
    return replace(log, remarks=(*source.remarks, *log.remarks)) if source.remarks else log


def _said(fault: OSError) -> str:
    return f"can't be read ({(fault.strerror or str(fault)).lower()})"


def _reason(fault: RoadtestError) -> str:
    """Return why a file is ignored: its first fault without its name, and how many more."""
    faults = fault.faults if isinstance(fault, InputErrors) else (fault,)
    first = faults[0]
    said = str(first)
    if isinstance(first, InputError):
        said = said.removeprefix(first.file).removeprefix(",").removeprefix(":").strip()
    return said if len(faults) == 1 else f"{said} (and {plural(len(faults) - 1, 'more fault')})"


@dataclass
class _Folder:
    """A drive folder while its files are taken in, one at a time."""

    name: str
    files: list[FileInfo] = field(default_factory=list)
    sheet: BuildSheet | None = None
    sheet_name: str = ""
    sheet_given: bool = False
    gps: list[GpsLog] = field(default_factory=list)
    tach: list[TachLog] = field(default_factory=list)
    channels: list[ChannelsLog] = field(default_factory=list)
    notes: Source | None = None
    seen: dict[bytes, str] = field(default_factory=dict)  # digest of the content, name
    gps_faults: list[InputError] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)

    def take_sheet(self, source: Source) -> None:
        """Take the build sheet that stands in for the folder's own."""
        self._read_sheet(source)
        self.sheet_given = True

    def take(self, source: Source) -> None:
        """Take in one file."""
        kind, why = kind_of(source)
        if why == "an empty file" and _is_sheet(source.name):
            kind, why = "build", None  # all its keys are optional
        content = hashlib.sha256(source.data).digest()
        twin = self.seen.get(content)
        self.seen.setdefault(content, source.name)
        if kind != "ignored" and twin is not None:
            same = "the same file twice" if twin == source.name else f"the same content as {twin}"
            kind, why = "ignored", same
        if kind == "build" and self.sheet_given:
            kind, why = "ignored", "another build sheet was given with --build"
        if kind == "build":
            self._read_sheet(source)
        elif kind == "notes":
            self._keep_notes(source)
        elif kind != "ignored":
            why = self._read_log(source, kind)
        if kind != "build":
            self._list(source, "ignored" if why else kind, why)

    def _list(self, source: Source, kind: str, why: str | None) -> None:
        info = FileInfo(source.name, source.sha256, kind, why, source.size)  # type: ignore[arg-type]
        self.files.append(info)

    def _read_sheet(self, source: Source) -> None:
        if self.sheet is not None:
            found = _second(source.name, self.sheet_name)
            raise InputError(source.name, "", found, "one build sheet a drive")
        self.sheet = read_build_sheet(source.data, source.name)
        self.sheet_name = source.name
        self._list(source, "build", None)

    def _keep_notes(self, source: Source) -> None:
        if self.notes is not None:
            found = _second(source.name, self.notes.name)
            raise InputError(source.name, "", found, "one file of notes a drive")
        self.notes = source

    def _read_log(self, source: Source, kind: str) -> str | None:
        """Read a log; return why it can't be used, None where it can."""
        try:
            if kind in GPS_KINDS:
                self.gps.append(_with_remarks(_READ_GPS[kind](source.data, source.name), source))
            elif kind == "tach":
                self.tach.append(_with_remarks(read_tach(source.data, source.name), source))
            else:
                self.channels.append(_with_remarks(read_channels(source.data, source.name), source))
        except InputError as fault:
            if kind in GPS_KINDS:
                self.gps_faults.append(fault)
            self.refused.append(str(fault))
            return _reason(fault)
        return None

    def drive(self) -> Drive:
        """Return what was taken in, as one value."""
        if self.sheet is None:
            raise NoBuildSheetError(self.name, "", "there is no build.toml in it", _SHEET_WANTED)
        if not self.gps:
            raise self._no_gps()
        receivers = find_receivers(self.gps)
        refuse_other_cars(receivers)
        offset_s = self.sheet.utc_offset_s
        tach = [tach_in_utc(log, offset_s) for log in (*self.tach, *self._engines())]
        time = receivers[0].log.time_s
        stretch = Stretch(float(time[0]), float(time[-1]))
        channels = tuple(self._channels_in(stretch, offset_s))
        return Drive(
            name=self.name,
            sheet=self.sheet,
            files=_in_order(self.files),
            receivers=receivers,
            tach=join_tachs(tach),
            channels=channels,
            notes=self._read_notes(stretch),
            notes_file=self.notes,
            refused=tuple(self.refused),
        )

    def _engines(self) -> Iterator[TachLog]:
        return (log.engine for log in self.gps if log.engine is not None)

    def _channels_in(self, stretch: Stretch, offset_s: float) -> Iterator[ChannelsLog]:
        """Yield the channels on UTC; one that was logged at another time is ignored."""
        for read in self.channels:
            log = channels_in_utc(read, offset_s)
            why = outside(log, stretch, offset_s if read.clock == "local" else None)
            if why:
                self.refused.append(f"{log.name}: {why}")
                mine = next(k for k, file in enumerate(self.files) if file.name == log.name)
                self.files[mine] = replace(self.files[mine], kind="ignored", why_ignored=why)
            else:
                yield log

    def _read_notes(self, stretch: Stretch) -> Notes | None:
        if self.notes is None or self.sheet is None:
            return None
        return _notes_in(self.notes, self.sheet, stretch)

    def _no_gps(self) -> InputErrors:
        """Return the complaint that no GPS log can be used, with the reason of each there is."""
        if self.gps_faults:
            return InputErrors(tuple(self.gps_faults))
        others = [
            f"{file.name} ({file.why_ignored or file.kind})"
            for file in self.files
            if file.kind != "build"
        ]
        more = len(others) - _MOST_NAMED
        named = ", ".join(others[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
        found = f"no GPS log among {named}" if others else "no GPS log in it"
        return InputErrors((InputError(self.name, "", found, _GPS_WANTED),))
