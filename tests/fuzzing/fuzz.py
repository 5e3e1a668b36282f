"""Coverage-guided fuzzing of every reader, by hand.

Run as `python -m tests.fuzzing.fuzz STATE [--inputs N] [TARGET ...]` from the root of the
repository, in an environment that has `atheris` besides the project. STATE is a folder for the
corpus, the counts and the faults; a run that was stopped goes on from it. Prints a line a chunk and
a table at the end: inputs given, faults (a traceback that is not an InputError, more than 5 s, more
than 350 MB at once), and the worst time and memory. Each fault is kept in STATE/faults/ as the
input and its traceback, one a place in the code.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import subprocess
import sys
import time
import traceback
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from tests.fuzzing.targets import Target

_CHUNK: Final = 25_000  # inputs before the next target has its turn; the fuzzer itself leaks
_CHUNK_SHARE: Final = 0.25  # of a target's inputs
_SLOW_S: Final = 5.0
_MOST_RISE_MB: Final = 350.0  # in one input; loaded, the tool has 130 MB
_HANG_S: Final = 60
_WRITE_EVERY: Final = 200


@dataclass
class Count:
    """What a target has had so far."""

    inputs: int = 0
    faults: int = 0
    worst_s: float = 0.0
    rise_mb: float = 0.0
    cpu_s: float = 0.0


def main() -> None:
    """Give every target its share of inputs, in turns, each turn in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("state", type=Path)
    parser.add_argument("targets", nargs="*")
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--chunk", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.chunk is not None:
        _chunk(asked.state, asked.targets[0], asked.chunk)
        return
    from tests.fuzzing.targets import TARGETS

    wanted = {
        name: round(asked.inputs * target.share)
        for name, target in TARGETS.items()
        if not asked.targets or name in asked.targets
    }
    while left := [name for name, most in wanted.items() if _read(asked.state, name).inputs < most]:
        for name in left:
            count = min(
                _CHUNK,
                max(1, round(_CHUNK_SHARE * wanted[name])),
                wanted[name] - _read(asked.state, name).inputs,
            )
            _run(asked.state, name, count)
    _print_table(asked.state, list(wanted))


def _run(state: Path, name: str, inputs: int) -> None:
    """Run one chunk as a process, and keep what made it die."""
    folder = state / "corpus" / name
    folder.mkdir(parents=True, exist_ok=True)
    own = [sys.executable, "-m", "tests.fuzzing.fuzz", str(state), name, "--chunk", str(inputs)]
    began = time.perf_counter()
    before = _read(state, name)
    ended = subprocess.run(own, capture_output=True, text=True, errors="replace", check=False)
    now = _read(state, name)
    if ended.returncode:
        _keep(state, name, b"", f"the process died ({ended.returncode})\n{ended.stderr[-4000:]}")
        now.faults += 1
        now.inputs += 1 if now.inputs == before.inputs else 0
        _write(state, name, now)
    took = time.perf_counter() - began
    print(f"{name:9} {now.inputs:8} inputs {now.faults:5} faults {took:7.1f} s", flush=True)


def _chunk(state: Path, name: str, inputs: int) -> None:
    """Give `inputs` inputs to one target; does not return."""
    import atheris

    with atheris.instrument_imports(include=["roadtest", "dashboard.intake"]):
        from tests.fuzzing.targets import TARGETS
    from tests.fuzzing.damage import damaged

    target, count = TARGETS[name], _read(state, name)
    corpus = state / "corpus" / name
    for seed in target.seeds:
        (corpus / sha256(seed).hexdigest()[:16]).write_bytes(seed)
    artefacts = state / "artefacts"
    artefacts.mkdir(exist_ok=True)
    done = 0

    def one(data: bytes) -> None:
        nonlocal done
        _give(state, name, target, data, count)
        done += 1
        if done % _WRITE_EVERY == 0 or done >= inputs:
            _write(state, name, count)

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        rng = random.Random(seed)
        if rng.random() < 0.4:
            return bytes(atheris.Mutate(data, most))
        return damaged(data, rng, min(most, target.most_bytes))

    options = [
        "fuzz",
        f"-runs={inputs}",
        f"-seed={1 + count.inputs}",
        f"-max_len={target.most_bytes}",
        f"-timeout={_HANG_S}",
        "-rss_limit_mb=2000",
        f"-artifact_prefix={artefacts}/{name}-",
        str(corpus),
    ]
    atheris.Setup(options, one, custom_mutator=mutate)
    atheris.Fuzz()


def _give(state: Path, name: str, target: Target, data: bytes, count: Count) -> None:
    """Give one input and note how it went."""
    from tests.fuzzing.targets import give

    began = time.perf_counter()
    began_cpu_s = time.process_time()
    before_mb, peak_mb = _resident_mb(), _peak_mb()
    try:
        give(target, data)
    except Exception:  # noqa: BLE001 - that none comes out is what is tried here
        _keep(state, name, data, traceback.format_exc())
        count.faults += 1
    took, now_mb = time.process_time() - began_cpu_s, _peak_mb()
    rise_mb = now_mb - before_mb if now_mb > peak_mb else 0.0
    slow = took > _SLOW_S or time.perf_counter() - began > 4.0 * _SLOW_S
    if slow or rise_mb > _MOST_RISE_MB:
        _keep(state, name, data, f"{'slow' if slow else 'large'}: {took:.1f} s, {rise_mb:.0f} MB")
        count.faults += 1
    count.inputs += 1
    count.cpu_s += took
    count.worst_s, count.rise_mb = max(count.worst_s, took), max(count.rise_mb, rise_mb)


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _resident_mb() -> float:
    pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[1]
    return int(pages) * resource.getpagesize() / 2**20


def _keep(state: Path, name: str, data: bytes, said: str) -> None:
    """Keep a fault, one a place: the last lines of a traceback name it."""
    place = "\n".join(line for line in said.splitlines() if line.startswith("  File"))
    kind = said.splitlines()[-1].partition(":")[0]
    folder = state / "faults" / f"{name}-{sha256((place or kind).encode()).hexdigest()[:10]}"
    if not folder.exists():
        folder.mkdir(parents=True)
        (folder / "input").write_bytes(data)
        (folder / "said.txt").write_text(said, encoding="utf-8", errors="replace")


def _read(state: Path, name: str) -> Count:
    path = state / "counts" / f"{name}.json"
    return Count(**json.loads(path.read_text(encoding="utf-8"))) if path.exists() else Count()


def _write(state: Path, name: str, count: Count) -> None:
    path = state / "counts" / f"{name}.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_text(json.dumps(asdict(count)), encoding="utf-8")
    part.replace(path)


def _print_table(state: Path, names: list[str]) -> None:
    counts = {name: _read(state, name) for name in names}
    print(
        f"\n{'reader':9} {'inputs':>9} {'faults':>7} {'worst s':>8} {'rise MB':>8} {'ms each':>8}"
    )
    for name, count in counts.items():
        each = 1000.0 * count.cpu_s / max(count.inputs, 1)
        print(
            f"{name:9} {count.inputs:9} {count.faults:7} {count.worst_s:8.2f} "
            f"{count.rise_mb:8.0f} {each:8.2f}"
        )
    print(f"{'all':9} {sum(c.inputs for c in counts.values()):9}")


if __name__ == "__main__":
    main()
