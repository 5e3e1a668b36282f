"""From a drive folder to its report."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from roadtest.charts.all_charts import all_charts
from roadtest.check import conclude_with_traces, survey
from roadtest.drive import read_drive
from roadtest.errors import InputError
from roadtest.progress import Progress
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.model import Logo
from roadtest.report.pdf import to_pdf
from roadtest.results import ReadIn, Results

_LOGO_WANTED: Final = "a PNG or JPEG picture beside the build sheet, at most 2 MB"
_MOST_LOGO_BYTES: Final = 2 * 2**20
_KINDS: Final = {".png": "png", ".jpg": "jpg", ".jpeg": "jpg"}
_MAGIC: Final = {"png": b"\x89PNG\r\n\x1a\n", "jpg": b"\xff\xd8\xff"}
KINDS: Final = (".pdf", ".html")


def make_report(
    folder: Path, build: Path | None, units: ReadIn | None, kind: str, progress: Progress
) -> tuple[bytes, Results]:
    """Return the report of the drive in `folder`, as `kind` (".pdf" or ".html"), and its results.

    Raises InputError or InputErrors where the drive can't be used.
    """
    drive = read_drive(folder, build)
    checked = conclude_with_traces(survey(drive, progress), progress)
    results = checked.results
    read_in = units or results.units
    logo = _logo(drive.sheet.shop.logo, (build or folder / "build.toml").parent)
    document = compose(results, drive.sheet, all_charts(checked), read_in, logo)
    if kind == ".pdf":
        return to_pdf(document), results
    return to_html(document).encode(), results


def _logo(name: str | None, folder: Path) -> Logo | None:
    """Return the shop's logo, a picture that lies in `folder` itself."""
    if name is None:
        return None
    if Path(name).name != name:
        raise InputError(
            "build.toml", "shop.logo", f"{name} is not a plain file name", _LOGO_WANTED
        )
    path = folder / name
    kind = _KINDS.get(path.suffix.lower())
    try:
        data = path.read_bytes() if kind and path.stat().st_size <= _MOST_LOGO_BYTES else b""
    except OSError as fault:
        said = f"{name}: {(fault.strerror or str(fault)).lower()}"
        raise InputError("build.toml", "shop.logo", said, _LOGO_WANTED) from None
    if kind is None or not data.startswith(_MAGIC[kind]):
        raise InputError("build.toml", "shop.logo", f"{name} is no such picture", _LOGO_WANTED)
    return Logo(data, kind)
