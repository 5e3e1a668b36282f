"""From a drive folder to its report."""

from __future__ import annotations

from pathlib import Path

from roadtest.charts.all_charts import all_charts
from roadtest.check import conclude_with_traces, survey
from roadtest.drive import read_drive
from roadtest.progress import Progress
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.logo import read_logo
from roadtest.report.pdf import to_pdf
from roadtest.results import ReadIn, Results


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
    logo = read_logo(drive.sheet.shop.logo, (build or folder / "build.toml").parent)
    document = compose(results, drive.sheet, all_charts(checked), read_in, logo)
    if kind == ".pdf":
        return to_pdf(document), results
    return to_html(document).encode(), results
