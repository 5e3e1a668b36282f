"""Random drives, each through the whole check from written files, held against what is true.

    python tests/benchmarks/ensemble.py [--first 0] [--drives 300] [--results FILE] [--by rate]
    python tests/benchmarks/ensemble.py --results FILE --show          # only the tables

Every drive appends one line to the results file; drives that are in it already are not run again,
so a run may be broken off, or shared out between processes by --first and --drives. For every
figure of the results it prints the root mean square error, bias, the share of 95 % intervals that
hold the truth, how well that share is known, sharpness (median |error| over median half-width:
0.34 is ideal); then manoeuvres missed and made up, and given verdicts against true ones.
`--held-by late` prints only the shares, for each kind of drive.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np
from numpy.typing import NDArray

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from roadtest.check import conclude, survey
from roadtest.drive import read_drive
from roadtest.errors import RoadtestError
from tests.ensembles.drives import RandomDrive, random_folder
from tests.ensembles.held import Comparison, judgements, manoeuvre_counts, phantom_gears

Row = dict[str, Any]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
TWO_INTERVALS = 2.0
_SAME = 1e-12


def one(seed: int) -> Row:
    """Return what drive `seed` showed, as plain data."""
    drive = random_folder(seed)
    row: Row = {"seed": seed, "traits": dict(drive.fitted.traits)}
    begin = process_time()
    try:
        row |= _checked(drive)
    except RoadtestError as refused:
        row["refused"] = str(refused)
    row["seconds"] = process_time() - begin
    return row


def _checked(drive: RandomDrive) -> Row:
    with tempfile.TemporaryDirectory() as name:
        for file, data in drive.files.items():
            (Path(name) / file).write_bytes(data)
        read = read_drive(Path(name))
    surveyed = survey(read, _silent)
    results = conclude(surveyed, _silent)
    start_s = surveyed.evidence.start_unix_s - drive.truth.start_utc_s
    comparison = Comparison(drive, results, start_s)
    held = comparison.run()
    stories = results.gearing.stories
    shown = results.gearing.gearbox_shown
    wanted = "box 1" if drive.fitted.traits["sheet"] == "gearbox" else "box 0"
    return {
        "held": [[h.what, h.found.value, h.found.u95, h.true] for h in held],
        "judged": [[j.what, j.given, j.true, j.distance] for j in judgements(results, held)],
        "manoeuvres": manoeuvre_counts(drive, results, start_s),
        "gears": [len(results.gearing.gears), len(drive.truth.car.ratios)],
        "phantom gears": phantom_gears(drive, results),
        "story": [comparison.story_right, stories[0].probability] if stories else None,
        "gearbox": None if shown is None else [shown.label == wanted, shown.probability],
    }


def _silent(_stage: str, _done: float) -> None:
    """Progress nobody watches."""


def run(first: int, drives: int, file: Path) -> None:
    """Run those of the drives that are not in `file` yet, and append them to it."""
    done = {row["seed"] for row in load(file)}
    for seed in range(first, first + drives):
        if seed not in done:
            line = json.dumps(one(seed))
            with file.open("a", encoding="utf-8") as out:
                out.write(line + "\n")


def load(file: Path) -> list[Row]:
    """Return the rows of a results file; a last line cut short by a kill is left out."""
    rows = []
    for line in file.read_text(encoding="utf-8").splitlines() if file.exists() else []:
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError:
            continue
    return rows


def show(rows: list[Row]) -> None:
    """Print every table."""
    good = [row for row in rows if "held" in row]
    seconds = np.array([row["seconds"] for row in rows] or [0.0])
    print(
        f"{len(rows)} drives, {len(rows) - len(good)} refused, "
        f"{seconds.mean():.1f} s of processor time each"
    )
    _show_held(good)
    _show_manoeuvres(good)
    _show_gears(good)
    _show_verdicts(good)


def _show_held(rows: Iterable[Row]) -> None:
    print(
        f"\n{'figure':29s} {'n':>5s} {'rms':>9s} {'bias':>9s} {'held':>6s} {'known to':>9s} "
        f"{'sharp':>5s} med u95"
    )
    for what, compared in sorted(_by_figure(rows).items()):
        error, u95, drive = np.array(compared).T
        rms, bias = float(np.sqrt(np.mean(error**2))), float(error.mean())
        inside = np.abs(error) <= u95 + _SAME
        low, high = share_known(inside, drive)
        median = float(np.median(u95))
        sharp = float(np.median(np.abs(error))) / max(median, _SAME)
        print(
            f"{what:29s} {error.size:5d} {rms:9.3g} {bias:+9.2g} {inside.mean():6.1%} "
            f"{low:5.0%}-{high:3.0%} {sharp:5.2f} {median:.3g}"
        )


def _by_figure(rows: Iterable[Row]) -> dict[str, list[tuple[float, float, float]]]:
    """Return the error, the half-width and the drive of every comparison, by kind of figure."""
    by_what: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for row in rows:
        for what, value, u95, true in row["held"]:
            by_what[what].append((value - true, u95, float(row["seed"])))
    return by_what


def share_known(inside: Bools, drive: Floats) -> tuple[float, float]:
    """Return the 95 % interval of a share, where comparisons of one drive go together.

    Wilson's score interval for as many independent comparisons as have the variance of a ratio
    estimate over whole drives (Cochran, Sampling Techniques, 3rd ed., section 9A, from memory).
    """
    share, count = float(inside.mean()), float(inside.size)
    _, of = np.unique(drive, return_inverse=True)
    off = np.bincount(of, inside - share)
    if np.any(off):  # with one drive there is nothing to tell it from
        count = min(count, share * (1.0 - share) * count**2 / float(off @ off))
    z = 1.96
    middle = (share + z**2 / (2 * count)) / (1.0 + z**2 / count)
    half = z / (1.0 + z**2 / count) * np.sqrt(share * (1 - share) / count + (z / (2 * count)) ** 2)
    return float(middle - half), float(middle + half)


def show_held_by(rows: list[Row], trait: str) -> None:
    """Print the share of intervals that hold the truth, and of how many, for each kind of drive."""
    kinds = sorted({row["traits"][trait] for row in rows})
    print(f"{trait:29s} " + " ".join(f"{kind!s:>13s}" for kind in kinds))
    held = {kind: _by_figure(r for r in rows if r["traits"][trait] == kind) for kind in kinds}
    for what in sorted({what for figures in held.values() for what in figures}):
        cells = []
        for kind in kinds:
            error, u95, _ = np.array(held[kind].get(what, np.empty((0, 3)))).T
            inside = np.abs(error) <= u95 + _SAME
            cells.append(f"{inside.mean():6.1%} ({error.size:4d})" if error.size else " " * 13)
        print(f"{what:29s} " + " ".join(cells))


def _show_manoeuvres(rows: Iterable[Row]) -> None:
    total: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for row in rows:
        for kind, counts in row["manoeuvres"].items():
            total[kind] = [a + b for a, b in zip(total[kind], counts, strict=True)]
    print(f"\n{'manoeuvre':12s} {'true':>6s} {'missed':>7s} {'phantom':>8s}")
    for kind, (there, found, phantom) in total.items():
        print(f"{kind:12s} {there:6d} {there - found:7d} {phantom:8d}")


def _show_gears(rows: list[Row]) -> None:
    told = [row["gears"] for row in rows if row["gears"][0]]
    right = [row["gearbox"] for row in rows if row["gearbox"] is not None]
    made_up = sum(row["phantom gears"] for row in rows)
    print(
        f"\ngears told on {len(told)} drives, all of them on "
        f"{sum(found == there for found, there in told)}; {made_up} gears made up; "
        f"gearbox right on {sum(ok for ok, _ in right)} of {len(right)}, "
        f"wrong above 95 % on {sum(not ok and p > 0.95 for ok, p in right)}"
    )
    stories = [row["story"] for row in rows if row["story"] is not None]
    for low, high in ((0.0, 0.5), (0.5, 0.9), (0.9, 0.99), (0.99, 1.01)):
        of = [ok for ok, p in stories if low <= p < high]
        if of:
            print(f"  story of {low:.2f} to {min(high, 1.0):.2f}: right on {sum(of)} of {len(of)}")


def _show_verdicts(rows: Iterable[Row]) -> None:
    cells: dict[str, dict[tuple[str, str], int]] = defaultdict(lambda: defaultdict(int))
    far: dict[str, int] = defaultdict(int)
    for row in rows:
        for what, given, true, distance in row["judged"]:
            for name in (what, "all"):
                cells[name][true, given] += 1
                wrong = given != "not proven" and true in ("pass", "fail") and given != true
                far[name] += wrong and distance > TWO_INTERVALS
    print(
        f"\n{'verdict on':20s} {'true pass: pass / open / fail':>30s} "
        f"{'true fail: pass / open / fail':>30s} {'wrong pass':>11s} {'wrong fail':>11s}  far"
    )
    for name, cell in sorted(cells.items(), key=lambda pair: (pair[0] == "all", pair[0])):
        print(
            f"{name:20s} {_counts(cell, 'pass'):>30s} {_counts(cell, 'fail'):>30s} "
            f"{_share(cell, 'fail', 'pass'):>11s} {_share(cell, 'pass', 'fail'):>11s} "
            f"{far[name]:4d}{_unknown(cell)}"
        )


def _counts(cell: Mapping[tuple[str, str], int], true: str) -> str:
    return " / ".join(str(cell.get((true, given), 0)) for given in ("pass", "not proven", "fail"))


def _share(cell: Mapping[tuple[str, str], int], true: str, given: str) -> str:
    """Return wrong verdicts as a share of all figures of that truth."""
    total = sum(count for (is_true, _), count in cell.items() if is_true == true)
    return f"{cell.get((true, given), 0) / total:.1%}" if total else "-"


def _unknown(cell: Mapping[tuple[str, str], int]) -> str:
    unknown = sum(count for (true, _), count in cell.items() if true == "not known")
    return f"   ({unknown} with no truth to compare)" if unknown else ""


def main() -> None:
    """Run drives, or only show those that were run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--drives", type=int, default=300)
    parser.add_argument("--results", type=Path, default=Path("ensemble.jsonl"))
    parser.add_argument("--by", help="a trait: rate, rounding, clamp, late, smooths, gaps, tach")
    parser.add_argument("--held-by", help="a trait: only how often the truth is held, side by side")
    parser.add_argument("--show", action="store_true", help="only show what is in the file")
    options = parser.parse_args()
    if not (options.show or options.held_by):
        run(options.first, options.drives, options.results)
    rows = load(options.results)
    if options.held_by is not None:
        show_held_by([row for row in rows if "held" in row], options.held_by)
        return
    if options.by is None:
        show(rows)
        return
    for value in sorted({row["traits"][options.by] for row in rows}):
        print(f"\n=== {options.by}: {value}")
        show([row for row in rows if row["traits"][options.by] == value])


if __name__ == "__main__":
    main()
