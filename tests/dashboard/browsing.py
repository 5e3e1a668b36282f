"""What the tests in a real browser share."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, Page, expect

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
SAMPLE = SAMPLES / "before-axle-change"
CHECK_MS = 180_000  # a check, on a machine that does other things too
PANE = ".pane:not(.away)"

expect.set_options(timeout=30_000)  # not a time to keep: how long until it is given up


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
    found(page)


def found(page: Page) -> None:
    """Wait for findings; what the page says instead is told at once."""
    expect(page.locator(".finding, #tell .fault").first).to_be_visible(timeout=CHECK_MS)
    expect(page.locator("#tell .fault")).to_have_count(0, timeout=1)


def figure_shown(page: Page) -> None:
    expect(page.locator(f"{PANE} .js-plotly-plot .main-svg").first).to_be_visible(timeout=60_000)


def until(page: Page, true: str, at_most_s: float = 60.0) -> None:
    """Wait for `true` to hold. Playwright's own way evaluates text, which the page forbids."""
    ends = time.monotonic() + at_most_s
    while not page.evaluate(true):
        assert time.monotonic() < ends, true
        page.wait_for_timeout(50)


DRAWN = """[...document.querySelectorAll('.pane')].every(pane => pane.querySelector('.graph')
  && [...pane.querySelectorAll('.graph')].every(graph => graph.querySelector('.main-svg')))"""
OPEN = """name => new Promise(done => {
  const buttons = [...document.querySelectorAll('.views button')], began = performance.now();
  buttons.find(button => button.textContent === name).click();
  const look = () => {
    const graphs = [...document.querySelectorAll('.pane:not(.away) .graph')];
    if (graphs.length && graphs.every(graph => graph.querySelector('.main-svg'))) {
      requestAnimationFrame(() => setTimeout(() => done(performance.now() - began), 0));
    } else { setTimeout(look, 5); }
  };
  look();
})"""
"""Open a view and give the milliseconds until it stands on the screen."""


def no_sideways_scroll(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


UNNAMED = """() => [...document.querySelectorAll('button, a[href], input, select, textarea')]
  .filter(one => !one.closest('[aria-hidden=true]'))
  .filter(one => one.getClientRects().length && getComputedStyle(one).visibility !== 'hidden')
  .filter(one => !(one.getAttribute('aria-label') || one.textContent.trim()
    || (one.labels && [...one.labels].some(label => label.textContent.trim()))))
  .map(one => one.outerHTML.slice(0, 120))"""
"""What can be worked but has no name that a screen reader could say."""
TOO_SMALL = """() => [...document.querySelectorAll(
  'button, a.button, .tick label, .kinds label, summary')]
  .filter(one => one.getClientRects().length && getComputedStyle(one).visibility !== 'hidden')
  .filter(one => one.getBoundingClientRect().height < 34)
  .map(one => one.outerHTML.slice(0, 120))"""
"""What is too small for a cold finger; our own choice of size, WCAG 2.2 (2.5.8) asks for 24."""
