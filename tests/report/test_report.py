"""The report: what it says, that it is safe, the same twice, and that it can be verified."""

from __future__ import annotations

import dataclasses
import io
import itertools
import os
import re
import shutil
import subprocess
import time
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pytest

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.cli import main
from roadtest.report.compose import compose, results_hash
from roadtest.report.html import to_html
from roadtest.report.lettering import printable, typeset
from roadtest.report.making import Reported
from roadtest.report.model import Document, FindingTable
from roadtest.report.pdf import to_pdf
from roadtest.results import CarInfo, FileInfo, Inspection, Results, from_json, to_json
from roadtest.wording import VERDICT_WORD, quantity_text
from tests.example_results import EXAMPLE

SHEET = read_build_sheet(
    b'[shop]\nname = "Invented Workshop"\nsignature = "Test driver"\n'
    b'[conditions]\ntemperature = "18 degC"\npressure = "1008 hPa"\n',
    "build.toml",
)
HOSTILE = (
    '<script>alert(1)</script> #set text(red) *b* $x$ \\u{1F600} "quoted" & \u202eright to left'
)
SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"


def pdf_text(data: bytes) -> str:
    reader = pypdf.PdfReader(io.BytesIO(data))
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return to_pdf(compose(EXAMPLE, SHEET, [], "mph"))


def findings_of(document: Document) -> FindingTable:
    return next(block for block in document.first if isinstance(block, FindingTable))


def test_page_one_has_every_finding_those_that_failed_first() -> None:
    rows = findings_of(compose(EXAMPLE, SHEET, [], "mph")).rows
    assert sorted(row.title for row in rows) == sorted(f.title for f in EXAMPLE.findings)
    order = list(VERDICT_WORD.values())
    ranks = [order.index(row.word) for row in rows]
    assert ranks == sorted(ranks)


def test_the_figures_in_the_pdf_are_those_of_the_results(pdf: bytes) -> None:
    text = pdf_text(pdf)
    for finding in EXAMPLE.findings:
        assert " ".join(finding.title.split()) in text
        if finding.measured is not None:
            shown = quantity_text(finding.measured, "mph", percent=finding.id in ("fade", "spread"))
            if finding.id != "clutch_slip":
                assert shown in text
    for stop in EXAMPLE.braking.stops:
        assert stop.manoeuvre in text
    for file in EXAMPLE.files:
        assert file.sha256 in text.replace(" ", "")
    assert results_hash(to_json(EXAMPLE)) in text.replace(" ", "")


def test_the_pdf_is_tagged_archival_and_holds_the_results(pdf: bytes) -> None:
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"
    held = reader.attachments["results.json"][0]
    assert from_json(bytes(held).decode()) == EXAMPLE
    for mark in (b"<pdfaid:part>3", b"<pdfaid:conformance>A", b"<pdfuaid:part>1"):
        assert mark in pdf


def test_the_same_results_give_the_same_bytes(pdf: bytes) -> None:
    assert to_pdf(compose(EXAMPLE, SHEET, [], "mph")) == pdf
    assert to_html(compose(EXAMPLE, SHEET, [], "mph")) == to_html(
        compose(EXAMPLE, SHEET, [], "mph")
    )


def hostile() -> Results:
    return dataclasses.replace(
        EXAMPLE,
        car=CarInfo(HOSTILE, "漢字 عربي ✗ " + "long" * 200),
        files=(FileInfo("../../<img src=x>.nmea", "0" * 64, "nmea", None, 1),),
        inspections=(Inspection(HOSTILE, "fail"),),
        next_steps=(HOSTILE,),
        findings=tuple(
            dataclasses.replace(f, title=HOSTILE, reason=HOSTILE) for f in EXAMPLE.findings
        ),
    )


class Elements(HTMLParser):
    """Collects tags and attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in ("src", "href")]
        if tag not in ("meta", "img", "br", "link"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("results", [EXAMPLE, hostile(), Results()])
def test_the_html_is_well_formed_and_reaches_for_nothing(results: Results) -> None:
    page = to_html(compose(results, SHEET, [], "mph"))
    seen = Elements()
    seen.feed(page)
    assert seen.open == []
    assert "script" not in seen.tags and "link" not in seen.tags
    assert all(link.startswith("data:") for link in seen.links)
    assert "default-src 'none'" in page


def test_nothing_from_a_file_is_markup() -> None:
    document = compose(hostile(), SHEET, [], "mph")
    text = pdf_text(to_pdf(document))
    assert "<script>alert(1)</script> #set text(red) *b* $x$" in text
    assert "\u202e" not in to_html(document).partition('<pre id="results"')[0]


def test_letters_the_fonts_lack_are_named() -> None:
    assert printable({"a": ["é – αβγ Жд", "漢"]}) == {"a": ["é – αβγ Жд", "[U+6F22]"]}
    named = dataclasses.replace(EXAMPLE, car=CarInfo("漢"))
    told = "stands for a letter that the fonts of this PDF lack"
    for results, is_told in ((named, True), (EXAMPLE, False)):
        assert (told in pdf_text(to_pdf(compose(results, SHEET, [], "mph")))) == is_told


@pytest.mark.parametrize("sheet", [BuildSheet(name="build.toml"), SHEET])
def test_an_empty_drive_still_gives_a_page(sheet: BuildSheet) -> None:
    assert "nothing was judged" in pdf_text(to_pdf(compose(Results(), sheet, [], "km/h")))


def test_many_stops_run_over_pages_with_the_head_repeated() -> None:
    stop = EXAMPLE.braking.stops[0]
    stops = tuple(dataclasses.replace(stop, manoeuvre=f"stop-{k}") for k in range(1, 61))
    many = dataclasses.replace(EXAMPLE, braking=dataclasses.replace(EXAMPLE.braking, stops=stops))
    data = to_pdf(compose(many, SHEET, [], "mph"))
    text = pdf_text(data)
    assert all(f"stop-{k} " in text for k in range(1, 61))
    assert len(data) < 2_000_000


@pytest.mark.parametrize("name", ["report.txt", "missing/report.pdf"])
def test_a_report_with_no_place_to_go_is_one_line(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(SAMPLES / "phone-gpx"), "-o", str(tmp_path / name)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_the_bytes_know_no_day_zone_or_language(
    pdf: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = to_html(compose(EXAMPLE, SHEET, [], "mph"))
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    monkeypatch.setattr(time, "time", lambda: 4e9)
    time.tzset()
    try:
        assert to_pdf(compose(EXAMPLE, SHEET, [], "mph")) == pdf
        assert to_html(compose(EXAMPLE, SHEET, [], "mph")) == page
    finally:
        monkeypatch.undo()
        time.tzset()


def test_no_figure_is_torn_and_minus_signs_are_true_ones() -> None:
    assert typeset("-0.70 ± 0.62 mph") == "−0.70\u00a0±\u00a00.62\u00a0mph"
    assert typeset("from 27.8 %; -3 to -1 m (5.8 m/s²)") == (
        "from 27.8\u00a0%; −3 to −1\u00a0m (5.8\u00a0m/s²)"
    )
    assert typeset("hold-2, 2026-05-02, gps-001.nmea --verify -o 5 marks") == (
        "hold-2, 2026-05-02, gps-001.nmea --verify -o 5 marks"
    )


class Headings(HTMLParser):
    """Collects levels of headings, pictures without words and table heads without a direction."""

    def __init__(self) -> None:
        super().__init__()
        self.levels: list[int] = []
        self.wordless: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag in ("h1", "h2", "h3", "h4"):
            self.levels.append(int(tag[1]))
        if tag == "svg" and not (found.get("role") == "img" and found.get("aria-labelledby")):
            self.wordless.append(tag)
        if (tag == "img" and not found.get("alt")) or (tag == "th" and not found.get("scope")):
            self.wordless.append(tag)


def test_the_html_can_be_read_aloud(reported: Reported) -> None:
    page = reported.as_kind(".html").decode()
    seen = Headings()
    seen.feed(page.partition('<pre id="results"')[0])
    assert seen.wordless == []
    assert seen.levels[0] == 1 and seen.levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(seen.levels))
    assert page.count("<svg ") == page.count("<desc id=") == len(reported.charts)
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))


def test_page_one_of_the_html_prints_on_one_sheet(reported: Reported, tmp_path: Path) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        if os.environ.get("ROADTEST_NEED_BROWSER"):
            pytest.fail("no Chromium on this machine")
        pytest.skip("no Chromium on this machine")
    page, printed = tmp_path / "report.html", tmp_path / "report.pdf"
    page.write_bytes(reported.as_kind(".html"))
    options = [
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        f"--user-data-dir={tmp_path / 'user'}",
    ]
    command = [chromium, *options, f"--print-to-pdf={printed}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    pages = [sheet.extract_text() for sheet in pypdf.PdfReader(printed).pages]
    assert "place and date" in pages[0]
    assert "What to do next" in pages[1]


def test_a_long_word_may_go_on_on_the_next_line_but_a_hash_is_one() -> None:
    assert printable("x" * 70) == "\u200b".join(("x" * 30, "x" * 30, "x" * 10))
    assert printable("0" * 64) == "0" * 64
