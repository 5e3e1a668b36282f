"""What all tests of a run share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_folder: list[Path] = []


@pytest.fixture(scope="session", autouse=True)
def _shared(tmp_path_factory: pytest.TempPathFactory) -> None:
    base = tmp_path_factory.getbasetemp()
    several = "PYTEST_XDIST_WORKER" in os.environ  # each has a folder of its own in that of the run
    _folder.append(base.parent if several else base)


def shared_folder() -> Path:
    """Return the folder of this run of the tests, the same for all its processes."""
    return _folder[0]
