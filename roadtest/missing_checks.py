"""Which hand checks the work done asks for and nothing on the drive shows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from roadtest.build_sheet import BuildSheet
from roadtest.results import ChannelResult, Inspection
from roadtest.work_checks import HandCheck, Words, checks_for


@dataclass(frozen=True)
class MissingChecks:
    """The hand checks that one kind of work asks for and nobody noted."""

    work: str
    checks: tuple[HandCheck, ...]


def missing_checks(
    sheet: BuildSheet,
    inspections: Sequence[Inspection],
    channels: Sequence[ChannelResult],
) -> tuple[MissingChecks, ...]:
    """Return what hand checks the work done asks for and neither a note nor a channel shows.

    A check noted as "not done" is not missing here: it has a finding of its own. A check that two
    kinds of work share is asked for once, with the first.
    """
    noted = [_words_of(inspection.what) for inspection in inspections]
    logged = [channel.name.casefold() for channel in channels]
    asked: set[HandCheck] = set()
    missing = []
    for name, checks in checks_for(sheet.work.done):
        fresh = [check for check in checks.by_hand if check not in asked]
        asked.update(fresh)
        open_checks = tuple(c for c in fresh if not _is_evidenced(c, noted, logged))
        if open_checks:
            missing.append(MissingChecks(name, open_checks))
    return tuple(missing)


def _is_evidenced(check: HandCheck, noted: Sequence[frozenset[str]], logged: Sequence[str]) -> bool:
    if any(part in name for name in logged for part in check.channel):
        return True
    return any(_speaks_of(check.words, words) for words in noted)


def _speaks_of(groups: Words, words: frozenset[str]) -> bool:
    return all(any(word.startswith(group) for word in words) for group in groups)


def _words_of(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"[^\W\d_]+", text.casefold()))
