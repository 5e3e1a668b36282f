"""What goes wrong between a receiver and a file, done to a clean log on purpose."""

from __future__ import annotations

import gzip
from dataclasses import dataclass

import numpy as np

from tests.simulation.receiver import Fixes
from tests.simulation.writers import Nmea, nmea_lines, sentence

Epoch = list[str]  # the sentences of one fix

_BOOT = [
    "logger started",
    sentence("PDEMO,FIRMWARE,0.0,INVENTED"),
    sentence("GPRMC,,V,,,,,,,,,,N"),
    sentence("GPGGA,,,,,,0,00,,,M,,M,,"),
]


@dataclass(frozen=True)
class Mess:
    """How much of each fault; shares are of fixes."""

    bad_checksum_share: float = 0.004
    truncated_share: float = 0.002
    noise_share: float = 0.002
    repeated_share: float = 0.004
    talker_change: float = 0.35  # of the way through: GP until then, GN after
    swapped_at: float = 0.60  # of the way through, two blocks in the wrong order
    swapped_fixes: int = 10
    files: int = 3


def messy_files(fixes: Fixes, style: Nmea, mess: Mess, seed: int) -> list[bytes]:
    """Return the log as the bytes of several files, cut in the middle of sentences."""
    rng = np.random.default_rng(seed)
    epochs = _epochs(nmea_lines(fixes, style), len(style.sentences))
    change = int(mess.talker_change * len(epochs))
    epochs = [[_talker(s, "GP") for s in e] for e in epochs[:change]] + epochs[change:]
    at, size = int(mess.swapped_at * len(epochs)), mess.swapped_fixes
    first, second = epochs[at : at + size], epochs[at + size : at + 2 * size]
    epochs[at : at + 2 * size] = second + first
    raw = b"".join(_spoilt(epoch, mess, rng) for epoch in epochs)
    text = "".join(line + "\r\n" for line in _BOOT).encode("ascii") + raw
    cuts = [len(text) * part // mess.files + 7 for part in range(1, mess.files)]
    return [text[a:b] for a, b in zip([0, *cuts], [*cuts, len(text)], strict=True)]


def _epochs(lines: list[str], size: int) -> list[Epoch]:
    return [lines[i : i + size] for i in range(0, len(lines), size)]


def _talker(line: str, talker: str) -> str:
    body = line[1:].split("*")[0]
    return sentence(talker + body[2:])


def _spoilt(epoch: Epoch, mess: Mess, rng: np.random.Generator) -> bytes:
    lines = [line.encode("ascii") + b"\r\n" for line in epoch]
    if rng.random() < mess.bad_checksum_share:
        which = int(rng.integers(len(lines)))
        lines[which] = _one_character_wrong(lines[which], rng)
    if rng.random() < mess.truncated_share:
        lines[0] = lines[0][: int(rng.integers(8, 40))]  # runs into the next sentence
    if rng.random() < mess.noise_share:
        lines.insert(1, bytes(rng.integers(0, 256, 24, dtype=np.uint8).tolist()) + b"\r\n")
    return b"".join(lines) * (2 if rng.random() < mess.repeated_share else 1)


def _one_character_wrong(line: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(10, line.index(b"*")))
    return line[:at] + bytes([line[at] ^ 1]) + line[at + 1 :]


def gzipped(data: bytes) -> bytes:
    """Return gzip bytes without a time stamp, the same every time."""
    return gzip.compress(data, 9, mtime=0)
