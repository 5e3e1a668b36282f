"""Whether a report still shows what its drive gives: everything that may have changed is told."""

from __future__ import annotations

import dataclasses
import io
import shutil
from pathlib import Path

import pypdf
import pytest

from roadtest.build_sheet import BuildSheet
from roadtest.cli import main
from roadtest.errors import InputError
from roadtest.report.making import Reported
from roadtest.report.verify import Report, differences, read_report
from roadtest.results import FileInfo
from tests.example_results import EXAMPLE
from tests.report.conftest import SAMPLES

KINDS = (".pdf", ".html")


@pytest.fixture
def reported() -> Reported:
    return Reported(EXAMPLE, BuildSheet(name="build.toml"), ())


def in_file(data: bytes, kind: str, folder: Path) -> Report:
    path = folder / f"report{kind}"
    path.write_bytes(data)
    return read_report(path)


def with_file(reported: Reported, change: FileInfo) -> Reported:
    files = tuple(change if f.name == change.name else f for f in reported.results.files)
    return dataclasses.replace(reported, results=dataclasses.replace(reported.results, files=files))


@pytest.mark.parametrize("kind", KINDS)
def test_a_report_as_made_differs_in_nothing_whatever_its_units(
    kind: str, reported: Reported, tmp_path: Path
) -> None:
    report = in_file(reported.as_kind(kind, "km/h"), kind, tmp_path)
    assert report.kind == kind
    assert differences(report, reported) == ()


@pytest.mark.parametrize("name", [EXAMPLE.files[0].name, EXAMPLE.files[1].name])
@pytest.mark.parametrize("kind", KINDS)
def test_a_changed_log_or_build_sheet_is_named(
    kind: str, name: str, reported: Reported, tmp_path: Path
) -> None:
    report = in_file(reported.as_kind(kind), kind, tmp_path)
    changed = with_file(reported, FileInfo(name, "f" * 64, "nmea"))
    assert differences(report, changed) == (f"{name} has changed",)


def test_other_files_and_another_version_are_named(reported: Reported, tmp_path: Path) -> None:
    report = in_file(reported.as_kind(".html"), ".html", tmp_path)
    results = reported.results
    files = (*results.files[1:], FileInfo("new.csv", "0" * 64, "channels"))
    software = dataclasses.replace(results.software, version="99")
    now = dataclasses.replace(
        reported, results=dataclasses.replace(results, files=files, software=software)
    )
    assert differences(report, now) == (
        f"{results.files[0].name} is not in the folder",
        "new.csv is new in the folder",
        f"it was made by version {results.software.version}, this is 99",
    )


def test_an_html_report_touched_up_by_hand_is_told(reported: Reported, tmp_path: Path) -> None:
    page = reported.as_kind(".html")
    for old, new in ((b"FAIL</td>", b"PASS</td>"), (b"mph</td>", b"mph </td>")):
        assert old in page
        (said,) = differences(in_file(page.replace(old, new, 1), ".html", tmp_path), reported)
        assert "its pages are not the ones" in said


def test_a_pdf_report_touched_up_by_hand_is_told(reported: Reported, tmp_path: Path) -> None:
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(reported.as_kind(".pdf")))
    writer.remove_page(0)
    out = io.BytesIO()
    writer.write(out)
    (said,) = differences(in_file(out.getvalue(), ".pdf", tmp_path), reported)
    assert "its pages are not the ones" in said


def test_results_touched_up_inside_are_told(reported: Reported, tmp_path: Path) -> None:
    page = reported.as_kind(".html")
    changed = page.replace(
        b"&quot;verdict&quot;: &quot;fail&quot;", b"&quot;verdict&quot;: &quot;pass&quot;"
    )
    assert changed != page
    assert differences(in_file(changed, ".html", tmp_path), reported) == (
        "its figures are not those that the drive's files give",
    )


@pytest.mark.parametrize(
    "data",
    [b"%PDF-1.7 stream\n x", b"<!DOCTYPE html><p>hello", b"", b"%PDF-1.7 stream\r\nx\x9c\x00"],
)
def test_what_is_no_report_is_refused(data: bytes, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no results inside"):
        in_file(data, ".pdf", tmp_path)


def test_the_command_says_so_and_how_it_ends(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drive = tmp_path / "drive"
    shutil.copytree(SAMPLES / "phone-gpx", drive)
    report = tmp_path / "report.pdf"
    assert main(["report", str(drive), "-o", str(report)]) == 0
    assert 10_000 < report.stat().st_size < 2_000_000
    assert main(["report", str(drive), "--verify", str(report)]) == 0
    assert "report.pdf shows what drive gives" in capsys.readouterr().out
    sheet = drive / "build.toml"
    sheet.write_text(sheet.read_text("utf-8") + "# a comment\n", "utf-8")
    assert main(["report", str(drive), "--verify", str(report)]) == 1
    assert "build.toml has changed" in capsys.readouterr().out
