"""What can be seen of a drive, in a real Chromium: one drive, opened once, looked at by all."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.dashboard.browsing import (
    DRAWN,
    OPEN,
    PANE,
    UNNAMED,
    Watch,
    figure_shown,
    no_sideways_scroll,
    opened,
    pick,
    until,
)

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def drive_page(browser: Browser, address: str) -> Iterator[tuple[Page, Watch]]:
    watch = Watch()
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = opened(context, address, watch)
    pick(page, "before-axle-change")
    figure_shown(page)
    yield page, watch
    context.close()


@pytest.fixture
def page(drive_page: tuple[Page, Watch]) -> Iterator[Page]:
    """The page with a drive on it, its first view open."""
    page, watch = drive_page
    page.emulate_media(media="screen")
    page.evaluate(OPEN, "Whole drive")
    yield page
    assert watch.hosts == {"127.0.0.1"}
    assert watch.complaints == []


def test_every_view_opens_and_a_finding_leads_to_its_chart(page: Page) -> None:
    names = page.locator(".views button").all_inner_texts()
    assert names[0] == "Whole drive" and {"Speedometer", "Gearing", "Braking"} < set(names)
    until(page, DRAWN)  # nobody clicks before they have read the findings
    for name in names:
        took = page.evaluate(OPEN, name)
        print(f"view {name}: {took:.0f} ms")  # noqa: T201
        figures = page.locator(f"{PANE} figure")
        assert figures.count() == page.locator(f"{PANE} .js-plotly-plot").count() > 0
        expect(figures.first).to_be_visible()
    no_sideways_scroll(page)
    assert page.evaluate(UNNAMED) == []
    page.get_by_role("button", name="Show the chart Deceleration of each stop for Braking").click()
    expect(page.locator("#chart-mfdd")).to_be_in_viewport()
    expect(page.locator("#chart-mfdd")).to_be_focused()


def test_a_closer_look_is_drawn_closer(page: Page) -> None:
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
    page.locator(f"{PANE} [data-step=closer]").click()
    until(page, f"Math.min(...{shown}.data[1].x) > 100")
    page.get_by_role(
        "button", name="Log", exact=True
    ).click()  # the stretch is kept from view to view
    log = "document.querySelector('#chart-log .js-plotly-plot')"
    until(page, f"{log} && {log}._fullLayout && {log}._fullLayout.xaxis.range[0] > 100")
    page.locator(f"{PANE} [data-step=whole]").click()
    until(page, f"{log}._fullLayout.xaxis.range[0] < 5")


def test_one_moment_is_marked_in_charts_and_on_the_path(page: Page) -> None:
    slider = page.get_by_role("slider", name="Moment")
    slider.focus()
    for _ in range(3):
        page.keyboard.press("PageUp")
    page.keyboard.press("ArrowRight")
    expect(page.locator(f"{PANE} .told")).to_contain_text("mph")
    expect(page.locator("#chart-drive .cursor.line")).to_be_visible()
    expect(page.locator("#chart-path .cursor.dot")).to_be_visible()
    before = page.locator(f"{PANE} .told").inner_text()
    page.locator("#chart-path .nsewdrag").hover()  # somewhere on or near the path
    box = page.locator("#chart-path .cursor.dot").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 9, box["y"] + 40)
    page.mouse.move(box["x"] + 9, box["y"] + 20, steps=4)
    until(page, f"document.querySelector('.pane:not(.away) .told').textContent !== {before!r}")


def test_it_prints_in_ink_with_charts_for_paper(page: Page) -> None:
    page.emulate_media(media="print")
    expect(page.locator(".paper").first).to_be_visible()
    expect(page.locator("#ways-in")).to_be_hidden()
    expect(page.locator(".graph").first).to_be_hidden()
