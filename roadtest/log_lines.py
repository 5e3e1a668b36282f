"""How good the logs were, what was lost of them, and what was found but not used, in lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from roadtest.results import GPS_KINDS, FileInfo, LogInfo, Manoeuvre, ReadIn
from roadtest.wording import (
    clock_text,
    duration_text,
    lost_of,
    number_text,
    plural,
    quantity_text,
    used_of,
)

SPEED_FROM: Final = {
    "doppler": "speed as the receiver gives it",
    "position": "speed from positions only",
}
_MOST_GAPS: Final = 5  # told one by one
_ONE_DRIVE_S: Final = 1800.0  # a stop for longer may part two drives; our choice


def log_quality(log: LogInfo, units: ReadIn) -> str:
    """Say how fast, how quiet and how complete a log is, in one sentence."""
    parts: list[str] = [log.kind]
    if log.rate_hz is not None:
        parts.append(rate_text(log))
    if log.speed_noise is not None:
        parts.append(f"speed noise {quantity_text(log.speed_noise, units)}")
    if log.speed_source is not None:
        parts.append(SPEED_FROM[log.speed_source])
    parts.append(f"{used_of(log)} used")
    return ", ".join(parts)


def rate_text(log: LogInfo) -> str:
    """Return "10 Hz", or "a fix every 5 s" of a log slower than one a second; "" without a rate."""
    if log.rate_hz is None:
        return ""
    if log.rate_hz >= 0.95:
        return f"{number_text(log.rate_hz, 3)} Hz"
    thing = "fix" if log.kind in GPS_KINDS else "row"
    return f"a {thing} every {number_text(1.0 / log.rate_hz, 2)} s"


def speed_log_in_short(logs: Sequence[LogInfo]) -> str:
    """Say in a line what the speed was taken from, and whether much of it was lost."""
    first = next((log for log in logs if log.speed_source is not None), None)
    if first is None or first.speed_source is None:
        return ""
    split = [
        log
        for log in logs
        if (log.kind, log.speed_source, log.speed_noise)
        == (first.kind, first.speed_source, first.speed_noise)
    ]
    used, read = (sum(n) for n in zip(*((g.fixes_used, g.fixes_read) for g in split), strict=True))
    gaps = [gap.end_s - gap.start_s for log in split for gap in log.gaps]
    parts = [
        rate_text(first),
        SPEED_FROM[first.speed_source],
        f"{used} of {read} fixes used",
        _gaps_in_short(gaps),
    ]
    return ", ".join(part for part in parts if part)


def _gaps_in_short(lengths_s: Sequence[float]) -> str:
    """Count the gaps; one in which another drive may have ended and this one begun is asked about.

    Files of two drives, or two cars, in one folder look like one drive with a long gap.
    """
    if not lengths_s:
        return ""
    longest, count = max(lengths_s), plural(len(lengths_s), "gap")
    if longest < _ONE_DRIVE_S:
        return count
    said = "of" if len(lengths_s) == 1 else "the longest"
    return f"{count} ({said} {duration_text(longest)}: is it all one drive of one car?)"


def log_losses(log: LogInfo) -> list[str]:
    """Say what was lost of a log and why, its gaps and what was noticed, a line each."""
    lines = []
    for reason in sorted(log.rejected, key=lambda why: (-log.rejected[why], why)):
        first = log.rejected_first.get(reason)
        lines.append(
            f"lost {lost_of(log, reason)}: {reason}" + (f" (first: {first})" if first else "")
        )
    return [*lines, *_gaps(log), *log.remarks]


def _gaps(log: LogInfo) -> list[str]:
    """Say each gap; where there are many, how many, how long together, and which is longest."""
    spans = [
        f"{duration_text(gap.end_s - gap.start_s)} from {clock_text(gap.start_s)} to "
        f"{clock_text(gap.end_s)}"
        for gap in log.gaps
    ]
    if len(spans) <= _MOST_GAPS:
        return [f"gap of {span}" for span in spans]
    lengths = [gap.end_s - gap.start_s for gap in log.gaps]
    longest = spans[lengths.index(max(lengths))]
    return [f"{len(spans)} gaps, {duration_text(sum(lengths))} together; the longest {longest}"]


def not_used(manoeuvres: Sequence[Manoeuvre]) -> Iterator[tuple[str, str]]:
    """Yield label and line for the manoeuvres not used, those with like reasons as one.

    Reasons are alike up to their colon or stretch: "too slow: from 12 mph", "no usable fixes from
    0:16 to 0:34".
    """
    alike: dict[tuple[str, str], list[Manoeuvre]] = {}
    for made in manoeuvres:
        if not made.used:
            reason = made.why_not or "no reason given"
            alike.setdefault((made.kind, _kind_of_reason(reason)), []).append(made)
    for (kind, reason), found in alike.items():
        first = found[0]
        at, why = clock_text(first.start_s), first.why_not or reason
        if len(found) == 1:
            yield first.id, f"at {at}: {why}"
            continue
        ids = _in_ranges([made.id.removeprefix(f"{kind}-") for made in found])
        detail = why.removeprefix(reason).lstrip(": ")
        told = f" ({first.id} at {at}: {detail})" if detail else f" (the first at {at})"
        yield plural(len(found), kind), f"{kind}-{ids}: {reason}{told}"


def _kind_of_reason(why: str) -> str:
    return why.partition(": ")[0].partition(" from ")[0]


def ignored_files(files: Sequence[FileInfo]) -> Iterator[tuple[str, str]]:
    """Yield label and line for the files that were ignored, those for one reason as one."""
    alike: dict[str, list[str]] = {}
    for file in files:
        if file.kind == "ignored":
            alike.setdefault(file.why_ignored or "no reason given", []).append(file.name)
    for reason, names in alike.items():
        if len(names) == 1:
            yield names[0], f"ignored: {reason}"
        else:
            yield plural(len(names), "file"), f"ignored: {reason}: {', '.join(names)}"


def _in_ranges(numbers: Sequence[str]) -> str:
    """Return "1, 3 to 6, 9" of numbers as text, in their order; other text stays as it is."""
    runs: list[list[str]] = []
    for number in numbers:
        last = runs[-1][-1] if runs else ""
        if last.isdecimal() and number.isdecimal() and int(number) == int(last) + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)
