"""All drives of a folder checked, side by side on whatever executor is given."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager
from multiprocessing import get_context, parent_process
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Thread

from roadtest.progress import Progress
from roadtest.shop.below import drives_below
from roadtest.shop.index import Index
from roadtest.shop.outcome import Outcome, check_one, content_key

Executors = Callable[[int], AbstractContextManager[Executor]]
"""Given how many drives there are to check, a context with the executor to check them on."""


def cores(drives: int) -> AbstractContextManager[Executor]:
    """Return an executor with a process a core, but no more than there are drives."""
    most = max(1, min(drives, os.cpu_count() or 1))
    # Spawned, not forked: neither the index's connection nor numpy's threads outlive a fork well.
    return ProcessPoolExecutor(most, get_context("spawn"), _end_with_parent)


def _end_with_parent() -> None:
    """Make this process end when the one that started it does, however that ended.

    Without it the workers of a run that was killed would wait for work for ever.
    """
    parent = parent_process()
    if parent is not None:
        Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


def check_all(folder: Path, executors: Executors, progress: Progress) -> dict[str, Outcome]:
    """Return the outcome of every drive below `folder`, by its path there.

    What the index holds for the same content is not checked again; what is checked is kept in it
    at once. Drives that are gone are dropped from it.
    """
    drives = {_name(drive.relative_to(folder)): drive for drive in drives_below(folder)}
    with Index(folder) as index:
        kept = index.outcomes()
        index.drop(name for name in kept if name not in drives)
        known = {
            name: kept[name]
            for name, drive in drives.items()
            if name in kept and kept[name].key and kept[name].key == _key(drive)
        }
        found = dict(known)
        rest = {name: drive for name, drive in drives.items() if name not in known}
        for name, outcome in _checked(rest, executors):
            found[name] = outcome
            index.put(name, outcome)
            progress(f"{name} checked", len(found) / len(drives))
    return dict(sorted(found.items()))


def _name(drive: Path) -> str:
    r"""Return a path as text that can be written anywhere; bytes that are no UTF-8 as \udcff."""
    return drive.as_posix().encode("utf-8", "backslashreplace").decode("utf-8")


def _key(drive: Path) -> str:
    try:
        return content_key(drive)
    except OSError:
        return ""


def _checked(drives: Mapping[str, Path], executors: Executors) -> Iterator[tuple[str, Outcome]]:
    """Yield the outcome of each drive as it comes.

    Where a process dies (for want of memory, say) its pool dies with it: then the drives left are
    checked one by one, each in a pool of its own, so that only the drive that kills is lost.
    """
    left = dict(drives)
    if not left:
        return
    with executors(len(left)) as executor:
        futures = _submitted(executor, left)
        for future in as_completed(futures):
            if not isinstance(future.exception(), BrokenProcessPool):
                name = futures[future]
                del left[name]
                yield name, _outcome_of(future, name)
    for name, drive in left.items():
        with executors(1) as executor:
            (future,) = _submitted(executor, {name: drive})
            yield name, _outcome_of(future, name)


def _submitted(executor: Executor, drives: Mapping[str, Path]) -> dict[Future[Outcome], str]:
    return {
        executor.submit(check_one, str(drive.resolve())): name for name, drive in drives.items()
    }


def _outcome_of(future: Future[Outcome], name: str) -> Outcome:
    """Return what a future holds; a fault of ours is an outcome too, one that is not kept."""
    fault = future.exception()
    if fault is None:
        return future.result()
    if isinstance(fault, BrokenProcessPool):
        return Outcome("", "broken", first=f"{name}: the process that checked it died")
    said = f"{name}: a fault in roadtest itself ({type(fault).__name__}: {fault})"
    return Outcome("", "broken", first=said)
