"""Tells an NMEA log by its content."""

from __future__ import annotations

import numpy as np

from roadtest.logs.nmea.fields import read_clock
from roadtest.logs.nmea.sentences import GGA, GLL, GNS, RMC, scan

_CLOCK_FIELD = {RMC: 1, GGA: 1, GNS: 1, GLL: 5}


def looks_like_nmea(head: bytes) -> bool:
    """Return whether the beginning of a file (some tens of kB) holds NMEA 0183 sentences.

    One sentence of any kind with a right checksum is enough, for chance hardly makes one; binary
    messages and a logger's own text may stand around it. Without checksums it takes a fix with a
    time in the right place.
    """
    found = scan(head, 0, len(head))
    if found.checked:
        return True
    bare = found.sentences[found.sentences.bare]
    for kind, number in _CLOCK_FIELD.items():
        chosen = bare[bare.kind == kind]
        clock, _ = read_clock(chosen.text, chosen.span(number))
        if np.any((chosen.fields >= number) & (clock >= 0)):
            return True
    return False
