"""Evidence made from a simulated drive, for tests of the measures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.evidence import Evidence
from roadtest.logs.model import ChannelsLog, GpsLog, Notes, TachLog
from roadtest.manoeuvres import Kind, Manoeuvre
from roadtest.motion.estimate import Span, estimate
from roadtest.motion.screening import screen
from tests.simulation.receiver import Receiver, receive
from tests.simulation.truth import Truth

DRAWS = 200
MARGIN_S = 2.0


def gps_log(truth: Truth, receiver: Receiver, seed: int, *, with_speed: bool = True) -> GpsLog:
    """Return what a perfect reader makes of the receiver's log."""
    fixes = receive(truth, receiver, seed)
    _, first = np.unique(fixes.stamp_utc_s, return_index=True)
    keep = first[fixes.valid[first]]
    n = keep.size
    blank = np.full(n, np.nan)
    return GpsLog(
        name="gps.nmea",
        kind="nmea",
        time_s=fixes.stamp_utc_s[keep],
        latitude_deg=fixes.latitude_deg[keep],
        longitude_deg=fixes.longitude_deg[keep],
        altitude_m=fixes.altitude_m[keep],
        speed_mps=fixes.speed_mps[keep] if with_speed else blank,
        course_deg=fixes.course_deg[keep] if with_speed else blank,
        hdop=fixes.hdop[keep],
        u_position_m=blank,
        segment=np.zeros(n, dtype=np.int64),
        source="GN",
        fixes_read=n,
    )


def true_manoeuvres(truth: Truth, start_s: float) -> tuple[Manoeuvre, ...]:
    """Return the true holds, pulls, stops and coasts, on the clock that starts at `start_s`."""
    made: list[Manoeuvre] = []
    kinds: dict[str, tuple[Kind, bool, bool]] = {
        "hold": ("hold", False, False),
        "pull": ("pull", False, False),
        "standing": ("pull", False, True),
        "coast": ("coast", False, False),
        "stop": ("stop", True, False),
        "snub": ("stop", False, False),
    }
    counts: dict[str, int] = {}
    listed = [m for name in kinds for m in truth.of_kind(name)]
    for true in sorted(listed, key=lambda m: m.start_s):
        kind, to_rest, from_rest = kinds[true.kind]
        counts[kind] = counts.get(kind, 0) + 1
        made.append(
            Manoeuvre(
                id=f"{kind}-{counts[kind]}",
                kind=kind,
                start_s=true.start_s - start_s,
                end_s=true.end_s - start_s,
                to_rest=to_rest,
                from_rest=from_rest,
            )
        )
    return tuple(made)


def evidence_from(
    truth: Truth,
    receiver: Receiver | None = None,
    seed: int = 0,
    *,
    sheet: BuildSheet | str = "",
    manoeuvres: Sequence[Manoeuvre] | None = None,
    tach: Sequence[TachLog] = (),
    channels: Sequence[ChannelsLog] = (),
    notes: Notes | None = None,
    with_speed: bool = True,
    draws: int = DRAWS,
) -> Evidence:
    """Return the evidence of a simulated drive.

    `manoeuvres` None stands for the true ones. `sheet` may be the text of a build sheet.
    Times in the evidence count from the first fix: subtract `evidence.start_unix_s -
    truth.start_utc_s` from times in the truth.
    """
    from roadtest.motion.ground import ground_under

    log = gps_log(truth, receiver or Receiver(), seed, with_speed=with_speed)
    screened = screen(log)
    rng = np.random.default_rng([seed, 99])
    motion = estimate(screened.observed, rng)
    start_s = screened.start_unix_s - truth.start_utc_s
    found = true_manoeuvres(truth, start_s) if manoeuvres is None else tuple(manoeuvres)
    spans = [Span(m.start_s - MARGIN_S, m.end_s + MARGIN_S) for m in found]
    drawn = motion.draws(spans, draws, rng)
    if isinstance(sheet, str):
        sheet = read_build_sheet(sheet.encode(), "build.toml")
    return Evidence(
        start_unix_s=screened.start_unix_s,
        sheet=sheet,
        gps=log,
        motion=motion,
        ground=ground_under(screened, motion),
        manoeuvres=found,
        draws={m.id: d for m, d in zip(found, drawn, strict=True)},
        tach=tuple(tach),
        channels=tuple(channels),
        notes=notes,
        seed=seed,
    )
