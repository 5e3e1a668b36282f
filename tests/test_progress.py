"""The progress bar: only on a terminal, only when it takes long."""

from __future__ import annotations

import io
import os

import pytest

from roadtest.progress import ProgressBar


class _Terminal(io.StringIO):
    encoding = "ascii"

    def isatty(self) -> bool:
        return True


class _Clock:
    def __init__(self) -> None:
        self.moment = 100.0

    def __call__(self) -> float:
        return self.moment


@pytest.fixture(autouse=True)
def _usual_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "60")


def _run(stream: io.StringIO, seconds: float, stage: str = "reading") -> str:
    clock = _Clock()
    with ProgressBar(stream, clock) as progress:
        for fraction in (0.0, 0.5, 1.0):
            clock.moment = 100.0 + seconds * fraction
            progress(stage, fraction)
    return stream.getvalue()


def test_short_work_draws_nothing() -> None:
    assert _run(_Terminal(), 0.9) == ""


def test_a_stream_that_is_no_terminal_gets_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _run(io.StringIO(), 60.0) == ""
    monkeypatch.setenv("TERM", "dumb")
    assert _run(_Terminal(), 60.0) == ""
    with ProgressBar(None) as progress:
        progress("reading", 0.5)


def test_the_bar_is_as_narrow_as_its_own_terminal_whatever_standard_output_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class OtherTerminal(_Terminal):
        def fileno(self) -> int:
            return 2

    monkeypatch.setattr("os.get_terminal_size", lambda _: os.terminal_size((24, 10)))
    drawn = _run(OtherTerminal(), 4.0, "estimating the motion").split("\r")
    assert drawn[1].startswith("[####") and max(map(len, drawn)) == 23


def test_long_work_shows_stage_and_fraction_and_leaves_an_empty_line() -> None:
    drawn = _run(_Terminal(), 4.0).split("\r")
    assert drawn[1].startswith("[##########..........]  50 % reading")
    assert drawn[2].startswith("[####################] 100 % reading")
    assert drawn[-2].strip() == "" and len(drawn[-2]) >= len(drawn[2])
    assert drawn[-1] == ""


def test_a_hostile_or_long_stage_stays_on_one_line_of_plain_text() -> None:
    drawn = _run(_Terminal(), 4.0, "\x1b[2J\n日本 " + "x" * 200)
    assert "\x1b" not in drawn and "\n" not in drawn
    assert all(len(line) < 60 for line in drawn.split("\r"))


def test_it_redraws_at_most_ten_times_a_second() -> None:
    stream, clock = _Terminal(), _Clock()
    with ProgressBar(stream, clock) as progress:
        for i in range(2001):
            clock.moment = 100.0 + i / 1000
            progress("reading", i / 2000)
    assert 5 <= stream.getvalue().count("%") <= 11
