"""The table of published checks: every test of that folder, each with its source."""

from __future__ import annotations

import importlib
import pkgutil

from tests import published
from tests.published.table import TABLE


def checks() -> dict[str, tuple[str, str]]:
    """Return source and status of every published check, by what the table calls it."""
    found = {}
    for module in pkgutil.iter_modules(published.__path__):
        if not module.name.startswith("test_"):
            continue
        loaded = importlib.import_module(f"tests.published.{module.name}")
        for name, function in vars(loaded).items():
            if name.startswith("test_"):
                marks = getattr(function, "pytestmark", [])
                mark = next((m for m in marks if m.name == "source"), None)
                document, known = (mark or loaded.pytestmark).args
                what = name.removeprefix("test_").replace("_", " ")
                found[f"{what} (`{module.name}.py`)"] = (document, known)
    return found


def rows() -> list[list[str]]:
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    return [line.strip("| ").split(" | ") for line in lines if "`test_" in line]


def test_table_holds_every_published_check_and_no_other() -> None:
    assert {row[0]: (row[1], row[2]) for row in rows()} == checks()


def test_table_has_no_row_that_does_not_agree() -> None:
    assert len(rows()) > 100
    for row in rows():
        assert row[-1] == "agrees"
        assert row[5] == "–" or float(row[5]) <= 1.0


def test_documents_are_named_and_not_only_the_project_itself() -> None:
    outside = [row for row in rows() if row[2] != "our own arithmetic"]
    assert len(outside) > 0.7 * len(rows())
