"""What is entered by hand on the page, in a real Chromium: seen at once, undone, saved, kept."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from tests.benchmarks.checking import make_drive
from tests.dashboard.browsing import (
    CHECK_MS,
    SAMPLE,
    Watch,
    drop,
    found,
    no_sideways_scroll,
    opened,
    pick,
    until,
)
from tests.dashboard.conftest import serving

pytestmark = pytest.mark.slow

WATCH_FINDINGS = """() => {
  window.entered = window.changed = 0;
  document.addEventListener('keydown', () => { window.entered = performance.now(); },
    {capture: true, once: true});
  new MutationObserver((_changes, watch) => {
    watch.disconnect();
    requestAnimationFrame(() => { window.changed = performance.now(); });
  }).observe(document.getElementById('findings'), {childList: true, subtree: true});
}"""
NASTY = "=HYPERLINK(1) <img src=x onerror=document.title='gone'> \"dog\"; ran, out"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the sample drive in it, to be written to."""
    shutil.copytree(SAMPLE, tmp_path / "drives" / "first drive")
    return tmp_path / "drives"


def choose(page: Page, name: str, option: str) -> None:
    page.locator(f"#{name}").click()
    page.get_by_role("option", name=option).first.click()


def button(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name, exact=True)


def finding(page: Page, title: str) -> Locator:
    return page.locator(".finding", has_text=title).first


def leave_out(page: Page, made: str, why: str) -> None:
    choose(page, "out-which", made)
    page.locator("#out-why").fill(why)
    button(page, "Leave it out").click()


def test_left_out_moved_undone_saved_and_there_after_a_restart(
    desktop: BrowserContext, folder: Path, watch: Watch
) -> None:
    with serving(folder) as address:
        saved = _left_out_moved_undone_and_saved(
            opened(desktop, address, watch), folder / "first drive" / "notes.csv"
        )
    with serving(folder) as address:
        _there_after_a_restart(
            opened(desktop, address, watch), folder / "first drive" / "notes.csv", saved
        )


def _left_out_moved_undone_and_saved(page: Page, notes: Path) -> bytes:
    before = notes.read_bytes()
    pick(page, "first drive")
    stops = finding(page, "mean fully developed deceleration")
    expect(stops).to_contain_text("PASS")
    expect(button(page, "Undo")).to_be_disabled()

    button(page, "Leave it out").click()
    expect(page.locator("#typed-said")).to_contain_text("no such manoeuvre")
    began = time.monotonic()
    leave_out(page, "stop-3", NASTY)
    expect(page.locator(".entered")).to_contain_text(f"stop-3: left out by hand: {NASTY}")
    print(f"left out to findings: {time.monotonic() - began:.2f} s")  # noqa: T201
    assert page.locator("img[onerror]").count() == 0 and page.title() == "roadtest"

    choose(page, "move-which", "mean fully developed deceleration")
    expect(page.locator("#move-to")).to_have_value('"5.8 m/s^2"')
    page.locator("#move-to").fill("12 kg")
    page.locator("#move-why").fill("a softer surface")
    button(page, "Move it").click()
    expect(page.locator("#typed-said")).to_contain_text("targets, mfdd")
    page.locator("#move-to").fill("12 m/s^2")
    began = time.monotonic()
    button(page, "Move it").click()
    expect(finding(page, "mean fully developed deceleration")).to_contain_text("FAIL")
    print(f"target moved to findings: {time.monotonic() - began:.2f} s")  # noqa: T201
    expect(page.locator("#typed-said")).to_be_empty()

    began = time.monotonic()
    button(page, "Undo").click()
    expect(finding(page, "mean fully developed deceleration")).to_contain_text("PASS")
    print(f"undone to findings: {time.monotonic() - began:.2f} s")  # noqa: T201
    button(page, "Redo").focus()
    page.keyboard.press("Enter")
    expect(finding(page, "mean fully developed deceleration")).to_contain_text("FAIL")
    button(page, "Undo").focus()
    page.keyboard.press("Enter")
    expect(finding(page, "mean fully developed deceleration")).to_contain_text("PASS")
    expect(button(page, "Undo")).to_be_focused()  # so that it may be pressed again at once
    button(page, "Redo").click()
    expect(finding(page, "mean fully developed deceleration")).to_contain_text("FAIL")

    reading = page.get_by_label("hold-5")
    reading.fill("57")
    reading.press("Enter")
    expect(page.locator(".saved")).to_contain_text("3 changes not saved")
    assert notes.read_bytes() == before
    button(page, "Save in the drive's notes.csv").click()
    expect(page.locator(".saved")).to_contain_text("Saved in the drive's notes.csv")
    saved = notes.read_bytes()
    assert saved.startswith(before)
    assert b"'=HYPERLINK(1)" in saved and saved.count(b"\n") == before.count(b"\n") + 3
    page.close()
    return saved


def _there_after_a_restart(page: Page, notes: Path, saved: bytes) -> None:
    pick(page, "first drive")
    expect(page.locator(".entered")).to_contain_text(f"stop-3: left out by hand: {NASTY}")
    expect(finding(page, "mean fully developed deceleration")).to_contain_text("FAIL")
    expect(page.get_by_label("hold-5")).to_have_value("57")
    expect(page.locator(".saved")).to_contain_text("Nothing was changed here")
    no_sideways_scroll(page)
    for name in ("stop-3", "mfdd"):
        button(page, f"Take back {name}").click()
        expect(button(page, f"Take back {name}")).to_have_count(0)
    notes.write_bytes(saved + b",remark,written meanwhile,,\n")
    button(page, "Save in the drive's notes.csv").click()
    expect(page.locator("#typed-said")).to_contain_text("changed on disk since it was read")
    assert b"written meanwhile" in notes.read_bytes()


def test_readings_and_inspections_of_dropped_files_come_as_a_download(
    page: Page, tmp_path: Path
) -> None:
    drop(page, sorted(SAMPLE.iterdir()))
    found(page)
    page.locator("#odometer-shown").fill("41216.5")
    page.locator("#odometer-when").fill("noon")
    button(page, "Add the reading").click()
    expect(page.locator("#typed-said")).to_contain_text("odometer, time: noon")
    page.locator("#odometer-when").fill("end")
    button(page, "Add the reading").click()
    expect(page.locator(".entered")).to_contain_text("Odometer 41216.5 mile at 2026-05-02T")
    page.locator("#looked-at").fill("brake hoses")
    page.locator("#outcome").get_by_label("fail", exact=True).check()
    button(page, "Add the inspection").click()
    expect(finding(page, "Inspection: brake hoses")).to_contain_text("FAIL")
    expect(button(page, "Save in the drive's notes.csv")).to_have_count(0)
    with page.expect_download() as download:
        page.get_by_role("link", name="Download notes.csv").click()
    download.value.save_as(tmp_path / "notes.csv")
    content = (tmp_path / "notes.csv").read_bytes()
    assert content.startswith((SAMPLE / "notes.csv").read_bytes())
    assert content.endswith(b",inspection,fail,,brake hoses\n")


def test_a_drive_without_a_build_sheet_gets_one_from_a_form(page: Page, tmp_path: Path) -> None:
    drop(page, sorted(file for file in SAMPLE.iterdir() if file.name != "build.toml"))
    expect(page.locator("#sheet-form")).to_be_visible(timeout=CHECK_MS)
    expect(page.locator("#sheet-form")).to_contain_text("There was no build sheet")
    page.get_by_label("What the car is called").fill("<b>The green one</b>")
    page.get_by_label("Tyre size").fill("165/80R13")
    page.get_by_label("Gearbox ratios").fill("3.41, 2.08, 1.40, 1.00, 0.82")
    page.get_by_label("Axle ratio, or teeth").fill("nine")
    page.get_by_label("Braking, mean fully").check()
    button(page, "Check the drive with it").click()
    expect(page.locator("#sheet-said")).to_contain_text("build.toml, axle.ratio")
    page.get_by_label("Axle ratio, or teeth").fill("9/38")
    button(page, "Check the drive with it").click()
    expect(finding(page, "mean fully developed deceleration")).to_be_visible(timeout=CHECK_MS)
    expect(page.locator(".head h2")).to_have_text("<b>The green one</b>")
    with page.expect_download() as download:
        page.get_by_role("link", name="Build sheet (TOML)").click()
    download.value.save_as(tmp_path / "build.toml")
    text = (tmp_path / "build.toml").read_text(encoding="utf-8")
    assert "ratios = [3.41, 2.08, 1.4, 1.0, 0.82]" in text and "teeth = [9, 38]" in text


def test_two_people_edit_the_same_drive_each_for_themselves(
    browser: Browser, desktop: BrowserContext, folder: Path, watch: Watch
) -> None:
    yours = browser.new_context(viewport={"width": 390, "height": 844})
    with serving(folder) as address:
        _edit_for_themselves([opened(context, address, watch) for context in (desktop, yours)])
        yours.close()


def _edit_for_themselves(pages: list[Page]) -> None:
    for page in pages:
        page.locator(".drives button", has_text="first drive").click()
    for page in pages:
        found(page)
    mine, other = pages
    leave_out(mine, "stop-3", "mine")
    expect(mine.locator(".entered")).to_contain_text("mine")
    leave_out(other, "stop-4", "yours")
    expect(other.locator(".entered")).to_contain_text("yours")
    expect(other.locator(".entered li", has_text="stop-4")).to_have_count(1)
    expect(other.locator(".entered li", has_text="stop-3")).to_have_count(0)
    no_sideways_scroll(other)
    button(mine, "Save in the drive's notes.csv").click()
    expect(mine.locator(".saved")).to_contain_text("Saved")
    button(other, "Save in the drive's notes.csv").click()
    expect(other.locator("#typed-said")).to_contain_text("changed on disk since it was read")


def test_readings_typed_into_half_an_hour_at_10_hz(
    desktop: BrowserContext, watch: Watch, tmp_path: Path
) -> None:
    folder = tmp_path / "half an hour"
    folder.mkdir()
    make_drive(folder, 0.5)
    with serving(tmp_path) as address:
        _type_readings(opened(desktop, address, watch))


def _type_readings(page: Page) -> None:
    began = time.monotonic()
    page.locator(".drives button", has_text="half an hour").click()
    expect(page.locator(".progress")).to_be_visible()
    found(page)
    print(f"half an hour, picked to findings: {time.monotonic() - began:.1f} s")  # noqa: T201
    fields = page.locator("#readings input")
    for number in range(5):
        fields.nth(number).fill(str(30 + 10 * number))
        page.evaluate(WATCH_FINDINGS)
        fields.nth(number).press("Enter")
        until(page, "window.changed > 0")
        took = page.evaluate("window.changed - window.entered")
        print(f"half an hour, typed reading to findings: {took:.0f} ms")  # noqa: T201
    expect(page.locator(".saved")).to_contain_text("5 changes not saved")
    page.close()
