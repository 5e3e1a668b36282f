"""One checked sample drive, one server and one browser for all tests of the page."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import pytest
from werkzeug.serving import make_server

import dashboard.work
from dashboard.apart import Job
from dashboard.app import make_app
from dashboard.intake import InFolder, Taken
from dashboard.sessions import Sessions
from dashboard.work import Brought, Work, bring_in
from roadtest.check import Survey, survey
from roadtest.drive import Drive
from roadtest.progress import Progress
from roadtest.results import Results
from roadtest.shop.index import Index
from roadtest.shop.outcome import content_key, outcome_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

    from tests.dashboard.browsing import Watch

T = TypeVar("T")

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
SAMPLE = SAMPLES / "before-axle-change"
_ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session", autouse=True)
def checked_once() -> Iterator[None]:
    """The slow parts of a check, once for the same files: the page's tests open few drives often.

    What is remembered is never written to, so that every test has it as a check gives it.
    """
    surveys: dict[tuple[str, ...], Survey] = {}
    drives: dict[tuple[str, ...], Brought] = {}

    def surveyed(drive: Drive, progress: Progress) -> Survey:
        # What the crew read off the dial is in no test's notes but the samples' own.
        key = tuple(file.sha256 for file in drive.files if file.kind != "notes")
        if key not in surveys:
            surveys[key] = survey(drive, progress)
        seen = surveys[key]
        return replace(seen, drive=drive, evidence=replace(seen.evidence, notes=drive.notes))

    def brought_in(take: Callable[[], Taken], progress: Progress) -> Brought:
        taken = take()
        key = tuple(f"{file.name} {file.sha256}" for file in taken.drive.files)
        if key not in drives:
            drives[key] = bring_in(lambda: taken, progress)
        return replace(drives[key], taken=taken)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dashboard.work, "survey", surveyed)
        patch.setattr(dashboard.work, "bring_in", brought_in)
        yield


@pytest.fixture(scope="session")
def brought(checked_once: None) -> Brought:
    """The sample drive, taken in and checked as its files have it."""
    return dashboard.work.bring_in(InFolder(SAMPLE), lambda stage, done: None)


@pytest.fixture(scope="session")
def checked_work(brought: Brought) -> Work:
    """The same drive at work. Nothing may be entered into it."""
    return work_of(brought)


@pytest.fixture
def fresh_work(brought: Brought) -> Work:
    """The same drive, to be edited; it has no folder to save into."""
    return work_of(brought)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

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


@pytest.fixture(scope="session")
def address(checked_once: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the page of the sample drives is served, from a folder that takes an index."""
    folder = tmp_path_factory.mktemp("served") / "drives"
    shutil.copytree(SAMPLES, folder)
    with serving(folder) as address:
        yield address


@pytest.fixture(scope="session")
def address_of_two(two_drives: Path) -> Iterator[str]:
    """Where the page of two drives is served that the index knows."""
    with serving(two_drives) as address:
        yield address


def at_hand(job: Job[T], progress: Progress, _unwanted: Callable[[], bool]) -> T:
    """Do a job in this process, where what is remembered is at hand."""
    return job(progress)


def work_of(brought: Brought) -> Work:
    """Return a drive at work that was checked before; it has no folder to save into."""
    work = Work("before-axle-change")
    work.begin(replace(brought, taken=Taken(brought.taken.drive)))
    return work


@contextmanager
def serving(folder: Path) -> Iterator[str]:
    """Serve the page of a folder while it lasts; drives are checked by this very process."""
    app = make_app(folder, sessions=Sessions(runner=at_hand))
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture(scope="session")
def two_drives(tmp_path_factory: pytest.TempPathFactory, checked_work: Work) -> Path:
    """Two drives whose results the index holds: the sample's, and one a week later."""
    folder = tmp_path_factory.mktemp("two")
    first: Results = checked_work.checked.results
    files = tuple(replace(f, sha256=f.sha256[::-1]) for f in first.files)
    stops = tuple(
        replace(stop, mfdd_level=stop.mfdd_level and replace(stop.mfdd_level, value=4.0))
        for stop in first.braking.stops
    )
    later = replace(
        first,
        files=files,
        braking=replace(first.braking, stops=stops),
        drive=replace(first.drive, start_utc="2026-05-09T08:00:00Z"),
    )
    with Index(folder) as index:
        for name, results in (("b-first", first), ("a-later", later)):
            (folder / name).mkdir()
            (folder / name / "build.toml").write_text('units = "mph"\n', encoding="utf-8")
            key = content_key(folder / name)
            index.put(name, outcome_of(results, key))
    return folder


@pytest.fixture
def watch() -> Iterator[Watch]:
    """Whatever a test does: no request leaves this machine, nothing is complained of."""
    from tests.dashboard.browsing import Watch

    watching = Watch()
    yield watching
    assert watching.hosts <= {"127.0.0.1"}
    assert watching.complaints == []


@pytest.fixture(scope="session")
def one_desktop(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    yield context
    context.close()


@pytest.fixture
def desktop(one_desktop: BrowserContext) -> Iterator[BrowserContext]:
    """Somebody at a desk. Each test opens a tab; scripts once loaded are known to all of them."""
    yield one_desktop
    for page in one_desktop.pages:
        page.close()


@pytest.fixture
def page(desktop: BrowserContext, address: str, watch: Watch) -> Page:
    """The page over the sample drives, opened by somebody at a desk, with nothing on it yet."""
    from tests.dashboard.browsing import opened

    return opened(desktop, address, watch)
