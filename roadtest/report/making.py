"""From a drive folder to its report."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from roadtest.build_sheet import BuildSheet
from roadtest.charts.all_charts import all_charts
from roadtest.charts.model import Chart
from roadtest.check import conclude_with_traces, survey
from roadtest.drive import read_drive
from roadtest.progress import Progress
from roadtest.report.compose import compose
from roadtest.report.html import to_html
from roadtest.report.logo import read_logo
from roadtest.report.model import Logo
from roadtest.report.pdf import to_pdf
from roadtest.results import ReadIn, Results


@dataclass(frozen=True)
class Reported:
    """A drive that was checked, with all that its report shows."""

    results: Results
    sheet: BuildSheet
    charts: tuple[Chart, ...]
    logo: Logo | None = None

    def as_kind(self, kind: str, units: ReadIn | None = None) -> bytes:
        """Return the report as `kind` (".pdf" or ".html"), by default in the sheet's units."""
        read_in = units or self.results.units
        document = compose(self.results, self.sheet, self.charts, read_in, self.logo)
        return to_pdf(document) if kind == ".pdf" else to_html(document).encode()


def report_on(folder: Path, build: Path | None, progress: Progress) -> Reported:
    """Return what there is to report on the drive in `folder`.

    Raises InputError or InputErrors where the drive, or the shop's logo, can't be used.
    """
    drive = read_drive(folder, build)
    logo = read_logo(drive.sheet.shop.logo, (build or folder / "build.toml").parent)
    checked = conclude_with_traces(survey(drive, progress), progress)
    return Reported(checked.results, drive.sheet, all_charts(checked), logo)
