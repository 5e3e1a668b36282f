"""The page in a real Chromium: from dropped files to a report, and nothing leaves this machine."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from werkzeug.serving import make_server

from dashboard.app import make_app

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
SAMPLE = SAMPLES / "before-axle-change"
CHECK_MS = 180_000  # a check, on a machine that does other things too
_ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

pytestmark = pytest.mark.slow
expect.set_options(timeout=30_000)  # not a time to keep: how long until it is given up


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        said = "no Chromium on this machine (Debian: apt-get install chromium)"
        if os.environ.get("ROADTEST_NEED_BROWSER"):
            pytest.fail(said)
        pytest.skip(said)
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=[*_ARGUMENTS])
        yield launched
        launched.close()


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    server = make_server("127.0.0.1", 0, make_app(SAMPLES).server, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    thread.join()
    server.server_close()


@dataclass
class Watch:
    """What a page asked for and complained of."""

    hosts: set[str] = field(default_factory=set)
    complaints: list[str] = field(default_factory=list)

    def over(self, page: Page) -> None:
        page.on("request", self._asked)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", self._said)

    def _asked(self, request: object) -> None:
        parts = urlsplit(request.url)  # type: ignore[attr-defined]
        if parts.scheme not in ("data", "blob"):
            self.hosts.add(parts.hostname or "")

    def _said(self, message: object) -> None:
        if message.type in ("error", "warning"):  # type: ignore[attr-defined]
            self.complaints.append(message.text)  # type: ignore[attr-defined]


@pytest.fixture
def watch() -> Iterator[Watch]:
    """Whatever a test does: no request leaves this machine, nothing is complained of."""
    watching = Watch()
    yield watching
    assert watching.hosts == {"127.0.0.1"}
    assert watching.complaints == []


@pytest.fixture
def desktop(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    yield context
    context.close()


def opened(context: BrowserContext, address: str, watch: Watch) -> Page:
    page = context.new_page()
    watch.over(page)
    page.goto(address)
    expect(page.locator(".drop")).to_be_visible(timeout=60_000)
    return page


def drop(page: Page, files: list[Path]) -> None:
    page.set_input_files("#upload input[type=file]", [str(file) for file in files])


def pick(page: Page, name: str) -> None:
    page.locator(".drives button", has_text=name).click()
    expect(page.locator(".finding").first).to_be_visible(timeout=CHECK_MS)


def figure_shown(page: Page) -> None:
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible(timeout=60_000)


def until(page: Page, true: str) -> None:
    """Wait for `true` to hold. Playwright's own way evaluates text, which the page forbids."""
    ends = time.monotonic() + 30.0
    while not page.evaluate(true):
        assert time.monotonic() < ends, true
        page.wait_for_timeout(50)


def no_sideways_scroll(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_from_dropped_files_to_a_downloaded_report(
    desktop: BrowserContext, address: str, watch: Watch, tmp_path: Path
) -> None:
    page = opened(desktop, address, watch)
    began = time.monotonic()
    drop(page, sorted(SAMPLE.iterdir()))
    expect(page.locator(".progress")).to_be_visible()
    expect(page.locator(".finding").first).to_be_visible(timeout=CHECK_MS)
    print(f"dropped files to findings: {time.monotonic() - began:.1f} s")  # noqa: T201
    expect(page.locator("#quality")).to_contain_text("10 Hz")
    expect(page.locator(".finding").first).to_contain_text("FAIL")

    speedometer = page.locator(".finding", has_text="Speedometer:")
    expect(speedometer).to_contain_text("PASS")
    reading = page.get_by_label("hold-5")
    reading.fill("41")
    began = time.monotonic()
    reading.press("Enter")
    expect(speedometer).to_contain_text("FAIL")
    print(f"typed reading to findings: {time.monotonic() - began:.2f} s")  # noqa: T201
    reading.fill("quick")
    reading.press("Enter")
    expect(page.locator("#typed-said")).to_contain_text("hold-5, dial reading")

    with page.expect_download(timeout=60_000) as download:
        page.get_by_role("link", name="Report (PDF)").click()
    download.value.save_as(tmp_path / "report.pdf")
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")
    with page.expect_download() as download:
        page.get_by_role("link", name="Results (JSON)").click()
    download.value.save_as(tmp_path / "results.json")
    assert "typed in beside hold-5" in (tmp_path / "results.json").read_text(encoding="utf-8")


def test_every_view_opens_and_a_finding_leads_to_its_chart(
    desktop: BrowserContext, address: str, watch: Watch
) -> None:
    page = opened(desktop, address, watch)
    pick(page, "before-axle-change")
    figure_shown(page)
    names = page.locator(".views button").all_inner_texts()
    assert names[:4] == ["Whole drive", "Speedometer", "Gearing", "Braking"]
    for name in names:
        began = time.monotonic()
        page.locator(".views button", has_text=name).click()
        expect(page.locator(f'.views button:has-text("{name}")')).to_have_attribute(
            "aria-pressed", "true"
        )
        figure_shown(page)
        assert page.locator("figure").count() == page.locator(".js-plotly-plot").count()
        print(f"view {name}: {time.monotonic() - began:.2f} s")  # noqa: T201
    no_sideways_scroll(page)
    page.get_by_role("button", name="Show the chart Deceleration of each stop for Braking").click()
    expect(page.locator("#chart-mfdd")).to_be_in_viewport()
    expect(page.locator("#chart-mfdd")).to_be_focused()


def test_a_closer_look_is_drawn_closer(desktop: BrowserContext, address: str, watch: Watch) -> None:
    page = opened(desktop, address, watch)
    pick(page, "before-axle-change")
    figure_shown(page)
    page.locator("#chart-drive").scroll_into_view_if_needed()
    frame = page.locator("#chart-drive .nsewdrag").first
    box = frame.bounding_box()
    assert box is not None
    middle = box["y"] + 0.5 * box["height"]
    page.mouse.move(box["x"] + 0.4 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], middle, steps=5)
    page.mouse.up()
    shown = "document.querySelector('#chart-drive .js-plotly-plot')"
    until(page, f"{shown}.data[0].x.length && {shown}.layout.xaxis.tickvals.length > 2")
    until(page, f"{shown}._fullLayout.xaxis.range[1] < 500")
    until(page, f"Math.min(...{shown}.data[1].x) > 250")
    page.mouse.dblclick(box["x"] + 0.5 * box["width"], middle)
    until(page, f"Math.min(...{shown}.data[1].x) < 5")


def test_a_phone_in_the_dark_by_keyboard(browser: Browser, address: str, watch: Watch) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, color_scheme="dark", is_mobile=True, has_touch=True
    )
    page = opened(context, address, watch)
    page.get_by_label("Or pick one of the folder").fill("before")
    expect(page.locator(".drives button")).to_have_count(1)
    page.locator(".drives button").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".finding").first).to_be_visible(timeout=CHECK_MS)
    figure_shown(page)
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == "rgb(20, 24, 28)"
    paper = "document.querySelector('.js-plotly-plot').layout.paper_bgcolor"
    until(page, f"{paper} === '#14181c'")
    no_sideways_scroll(page)
    context.close()


def test_two_browsers_do_not_see_each_other(
    browser: Browser, address: str, watch: Watch, desktop: BrowserContext
) -> None:
    mine, yours = opened(desktop, address, watch), browser.new_context()
    pick(mine, "phone-gpx")
    link = mine.get_by_role("link", name="Results (JSON)").get_attribute("href")
    assert mine.request.get(address + str(link)).status == 200
    page = opened(yours, address, watch)
    assert page.request.get(address + str(link)).status == 404
    expect(page.locator(".finding")).to_have_count(0)
    yours.close()


def test_broken_and_hostile_files_are_told_and_do_nothing(
    desktop: BrowserContext, address: str, watch: Watch, tmp_path: Path
) -> None:
    evil = "<img src=x onerror=document.title='gone'>"
    for file in (SAMPLES / "phone-gpx").iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    sheet = (tmp_path / "build.toml").read_text(encoding="utf-8")
    assert "label = " in sheet
    first, _, rest = sheet.partition("label = ")
    named = f'{first}label = "{evil}"\n{rest.partition(chr(10))[2]}'
    (tmp_path / "build.toml").write_text(named, encoding="utf-8")
    (tmp_path / f"{evil}.gpx").write_bytes(b"\x00broken")
    page = opened(desktop, address, watch)
    drop(page, sorted(tmp_path.iterdir()))
    expect(page.locator(".finding").first).to_be_visible(timeout=CHECK_MS)
    expect(page.locator("#body")).to_contain_text(evil)
    expect(page.locator("#quality")).to_contain_text(f"{evil}.gpx")
    assert page.locator("img[onerror]").count() == 0
    assert page.title() == "roadtest"


def test_files_that_are_no_drive_are_one_clear_line(
    desktop: BrowserContext, address: str, watch: Watch
) -> None:
    page = opened(desktop, address, watch)
    drop(page, [SAMPLE / "notes.csv"])
    expect(page.locator("#tell .fault")).to_contain_text("there is no build.toml in it")
    drop(page, [SAMPLE / "notes.csv"] * 25)
    expect(page.locator("#tell .fault")).to_contain_text("at most 24 files")


def test_it_prints_in_ink_with_charts_for_paper(
    desktop: BrowserContext, address: str, watch: Watch
) -> None:
    page = opened(desktop, address, watch)
    pick(page, "phone-gpx")
    figure_shown(page)
    page.emulate_media(media="print")
    expect(page.locator(".paper").first).to_be_visible()
    expect(page.locator("#ways-in")).to_be_hidden()
    expect(page.locator(".graph").first).to_be_hidden()
