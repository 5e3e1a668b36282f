"""Cars and drives found by label, chassis, date and verdict."""

from __future__ import annotations

from pathlib import Path

import pytest

from roadtest import cli
from roadtest.shop.checking import check_all
from tests.shop_folders import (  # noqa: F401 - a fixture
    CountingCheck,
    counting,
    make_drive,
    no_progress,
    threads,
)


@pytest.fixture
def shop(tmp_path: Path, counting: CountingCheck) -> Path:  # noqa: F811
    make_drive(tmp_path / "0001" / "april", "bad", "2026-04-18T08:00:00Z")
    make_drive(tmp_path / "0001" / "may", "good", "2026-05-02T23:30:00Z")
    make_drive(tmp_path / "0002" / "june", "doubtful", "2026-06-01T08:00:00Z")
    make_drive(tmp_path / "0002" / "torn", "broken")
    check_all(tmp_path, threads, no_progress)
    return tmp_path


_ALL = {"april", "may", "june", "torn"}


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ([], _ALL),
        (["--car", "ROADSTER"], {"april", "may", "june"}),
        (["--car", "saloon"], set()),
        (["--chassis", "0002"], {"june"}),
        (["--since", "2026-05-02"], {"may", "june"}),
        (["--until", "2026-05-02"], {"april", "may"}),
        (["--since", "2026-04-19", "--until", "2026-05-31"], {"may"}),
        (["--verdict", "fail"], {"april"}),
        (["--verdict", "not proven"], {"june"}),
        (["--verdict", "pass", "--chassis", "0001"], {"may"}),
    ],
)
def test_drives_are_found_by_what_is_asked(
    shop: Path, asked: list[str], names: set[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["find", str(shop), *asked]) == cli.PASSED
    text = capsys.readouterr().out
    assert {name for name in _ALL if f"/{name} " in text} == names
    assert text.splitlines()[-1].startswith(f"{len(names)} drive")


def test_drives_stand_under_their_car_in_order_of_date(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cli.main(["find", str(shop)])
    text = capsys.readouterr().out
    order = ["Roadster, green (C 0001)", "april", "may", "Roadster, green (C 0002)", "june", "torn"]
    assert [text.index(part) for part in order] == sorted(text.index(part) for part in order)
    assert text.splitlines()[-1] == "4 drives of 2 cars."


@pytest.mark.parametrize(
    ("asked", "said"),
    [(["--since", "May"], "is not a date"), (["nowhere"], "no such folder")],
)
def test_what_cannot_be_found_by_is_one_line(
    asked: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["find", *asked]) == cli.UNUSABLE
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1


def test_a_folder_that_was_not_checked_has_no_index(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["find", str(tmp_path)]) == cli.UNUSABLE
    assert "no index of drives" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
