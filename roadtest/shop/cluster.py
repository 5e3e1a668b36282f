"""The work handed to a Dask cluster, whose machines must see the drives under the same paths."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from roadtest.errors import InputError, RoadtestError
from roadtest.shop.checking import Executors


def cluster_at(address: str) -> Executors:
    """Return what gives the executor of the Dask scheduler at `address`.

    Raises RoadtestError where the optional part is not installed; using it raises InputError where
    no scheduler answers.
    """
    try:
        from distributed import Client
    except ImportError:
        raise RoadtestError(
            "a scheduler needs dask and distributed; in the folder that roadtest was installed "
            "from: pip install '.[cluster]'"
        ) from None

    connect: Any = Client  # it has no types

    @contextmanager
    def executors(drives: int) -> Iterator[Executor]:
        try:
            client = connect(address, timeout="10s", set_as_default=False)
        except (OSError, ValueError) as fault:
            expected = "the address of a Dask scheduler, such as tcp://host:8786"
            raise InputError(address, "", f"no scheduler answers ({fault})", expected) from None
        with client:
            # The same drive gives the same outcome, but a file may have changed since the last run.
            yield client.get_executor(pure=False)

    return executors
