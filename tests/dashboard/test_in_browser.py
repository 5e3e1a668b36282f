"""The page in a real Chromium: from dropped files to a report, and nothing leaves this machine."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.dashboard.browsing import (
    SAMPLE,
    SAMPLES,
    Watch,
    drop,
    figure_shown,
    found,
    no_sideways_scroll,
    opened,
    pick,
    until,
)

pytestmark = pytest.mark.slow


def test_from_dropped_files_to_a_downloaded_report(page: Page, tmp_path: Path) -> None:
    began = time.monotonic()
    drop(page, sorted(SAMPLE.iterdir()))
    found(page)
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


@pytest.mark.parametrize("way", ["dropped", "picked"])
def test_what_is_asked_for_is_not_lost_though_buttons_come_up_meanwhile(
    desktop: BrowserContext, address: str, watch: Watch, way: str
) -> None:
    first = opened(desktop, address, watch)
    drop(first, sorted(SAMPLE.iterdir()))
    found(first)
    kept: list[Route] = []
    page = desktop.new_page()
    watch.over(page)
    going: list[bool] = []
    page.route(
        "**/_dash-update-component*",
        lambda route: route.continue_() if going else kept.append(route),
    )
    page.goto(address)
    expect(page.locator(".drop")).to_be_visible()
    if way == "dropped":
        drop(page, sorted(SAMPLE.iterdir()))
    else:
        page.locator(".drives button", has_text=SAMPLE.name).click()
    while not any("drive-at-hand.data" in str(route.request.post_data) for route in kept):
        page.wait_for_timeout(20)
    going.append(True)
    buttons = [route for route in kept if "also-open" in str(route.request.post_data)]
    for route in buttons:
        route.continue_()
    expect(page.locator("#also-open button")).not_to_have_count(0)
    for route in kept:
        if route not in buttons:
            route.continue_()
    found(page)


def test_a_phone_in_the_dark_by_keyboard(browser: Browser, address: str, watch: Watch) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, color_scheme="dark", is_mobile=True, has_touch=True
    )
    page = opened(context, address, watch)
    page.get_by_label("Search by car, chassis, date or verdict").fill("before")
    expect(page.locator("button.drive")).to_have_count(1)
    page.locator("button.drive").focus()
    page.keyboard.press("Enter")
    found(page)
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


def test_broken_and_hostile_files_are_told_and_do_nothing(page: Page, tmp_path: Path) -> None:
    evil = "<img src=x onerror=document.title='gone'>"
    for file in (SAMPLES / "phone-gpx").iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    sheet = (tmp_path / "build.toml").read_text(encoding="utf-8")
    assert "label = " in sheet
    first, _, rest = sheet.partition("label = ")
    named = f'{first}label = "{evil}"\n{rest.partition(chr(10))[2]}'
    (tmp_path / "build.toml").write_text(named, encoding="utf-8")
    (tmp_path / f"{evil}.gpx").write_bytes(b"\x00broken")
    drop(page, sorted(tmp_path.iterdir()))
    found(page)
    expect(page.locator("#body")).to_contain_text(evil)
    expect(page.locator("#quality")).to_contain_text(f"{evil}.gpx")
    assert page.locator("img[onerror]").count() == 0
    assert page.title() == "roadtest"


def test_files_that_are_no_drive_are_one_clear_line(page: Page) -> None:
    drop(page, [SAMPLE / "notes.csv"])
    expect(page.locator("#tell .fault")).to_contain_text("there is no build.toml in it")
    drop(page, [SAMPLE / "notes.csv"] * 25)
    expect(page.locator("#tell .fault")).to_contain_text("at most 24 files")
