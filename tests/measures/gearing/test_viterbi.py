"""The most probable path, in blocks and in one piece."""

from __future__ import annotations

from itertools import product
from time import process_time

import numpy as np
import pytest

from roadtest.measures.gearing.viterbi import best_path


def chain(n: int, states: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    emission = rng.normal(0.0, 2.0, (n, states))
    steps = np.log(rng.dirichlet(np.ones(states), (3, states)))
    return emission, steps, rng.integers(0, 3, n)


def score(path: np.ndarray, emission: np.ndarray, steps: np.ndarray, kind: np.ndarray) -> float:
    own = emission[np.arange(path.size), path].sum()
    return float(own + steps[kind[1:], path[:-1], path[1:]].sum())


@pytest.mark.parametrize("seed", range(5))
def test_no_other_path_is_more_probable(seed: int) -> None:
    emission, steps, kind = chain(7, 3, seed)
    best = max(score(np.array(p), emission, steps, kind) for p in product(range(3), repeat=7))
    found = score(best_path(emission, steps, kind), emission, steps, kind)
    assert found == pytest.approx(best, abs=1e-9)


def test_blocks_give_the_same_as_one_piece() -> None:
    emission, steps, kind = chain(5000, 6, 1)
    path = best_path(emission, steps, kind)
    whole = np.empty(5000, dtype=np.int64)
    came = np.zeros((5000, 6), dtype=np.int64)
    now = emission[0]
    for k in range(1, 5000):
        way = now[:, None] + steps[kind[k]]
        came[k], now = way.argmax(axis=0), way.max(axis=0) + emission[k]
    whole[-1] = now.argmax()
    for k in range(4999, 0, -1):
        whole[k - 1] = came[k, whole[k]]
    assert np.array_equal(path, whole)


def test_a_chain_that_never_forgets_is_still_solved() -> None:
    """Nothing but the first sample tells the state, and no state is ever left."""
    emission = np.zeros((3000, 2))
    emission[0, 1] = 5.0
    steps = np.where(np.eye(2, dtype=bool), 0.0, -50.0)[None]
    assert np.all(best_path(emission, steps, np.zeros(3000, dtype=np.int64)) == 1)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_short_chains(n: int) -> None:
    emission, steps, kind = chain(max(n, 1), 3, 0)
    assert best_path(emission[:n], steps, kind[:n]).size == n


def test_two_hours_at_ten_a_second_are_decoded_in_less_than_a_second_of_processor_time() -> None:
    emission, steps, kind = chain(72_000, 12, 2)
    best = min(_seconds(emission, steps, kind) for _ in range(3))
    assert best < 1.0  # a quarter of a second on an idle machine; others may be at work


def _seconds(emission: np.ndarray, steps: np.ndarray, kind: np.ndarray) -> float:
    start = process_time()
    best_path(emission, steps, kind)
    return process_time() - start
