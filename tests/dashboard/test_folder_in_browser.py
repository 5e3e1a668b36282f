"""The folder's drives in a real Chromium: found, ticked and compared, by keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.dashboard.browsing import (
    PANE,
    TOO_SMALL,
    UNNAMED,
    Watch,
    figure_shown,
    no_sideways_scroll,
    opened,
)

pytestmark = pytest.mark.slow


def test_drives_are_found_ticked_and_compared_by_keyboard(
    desktop: BrowserContext, address_of_two: str, watch: Watch, tmp_path: Path
) -> None:
    page = opened(desktop, address_of_two, watch)
    expect(page.get_by_label("Files of one drive")).to_be_attached()
    assert page.evaluate(UNNAMED) == []
    search = page.get_by_label("Search by car, chassis, date or verdict")
    search.focus()
    page.keyboard.type("demo 2026-05-09")
    expect(page.locator("button.drive")).to_have_count(1)
    expect(page.locator("button.drive")).to_contain_text("FAIL")
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.press("Delete")
    expect(page.locator("button.drive")).to_have_count(2)
    for name in ("a-later", "b-first"):
        page.get_by_label(f"compare {name}").focus()
        page.keyboard.press("Space")
    page.get_by_role("button", name="Compare these 2").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#body h2").first).to_contain_text("DEMO 0001")
    expect(page.locator("#body")).to_contain_text("✱ changed")
    figure_shown(page)
    assert page.evaluate(UNNAMED) == []
    page.locator(".views button", has_text="Braking").focus()
    page.keyboard.press("Enter")
    expect(page.locator(f"{PANE} figure").first).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="Comparison (JSON)").click()
    download.value.save_as(tmp_path / "comparison.json")
    assert "roadtest comparison 1" in (tmp_path / "comparison.json").read_text(encoding="utf-8")


def test_the_folder_and_a_comparison_fit_a_phone(
    browser: Browser, address_of_two: str, watch: Watch
) -> None:
    context = browser.new_context(
        viewport={"width": 360, "height": 740}, is_mobile=True, has_touch=True
    )
    page = opened(context, address_of_two, watch)
    no_sideways_scroll(page)
    small = page.evaluate(TOO_SMALL)
    assert small == []
    for name in ("a-later", "b-first"):
        page.get_by_label(f"compare {name}").tap()
    page.get_by_role("button", name="Compare these 2").tap()
    figure_shown(page)
    no_sideways_scroll(page)
    _opens_every_view(page)
    context.close()


def _opens_every_view(page: Page) -> None:
    for name in page.locator(".views button").all_inner_texts():
        page.locator(".views button", has_text=name).first.tap()
        expect(page.locator(f"{PANE} .main-svg").first).to_be_visible()
        no_sideways_scroll(page)
