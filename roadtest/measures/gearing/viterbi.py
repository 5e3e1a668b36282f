"""The most probable path through the states of a Markov chain, for very long chains."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BLOCK = 256
_OVERLAP = 64


def best_path(log_emission: Floats, log_step: Floats, kind: Ints) -> Ints:
    """Return the most probable states [n].

    Parameters
    ----------
    log_emission : [n, s] float, log likelihood of each observation in each state
    log_step : [m, s, s] float, log probabilities of going from one state to the next, for m kinds
        of step
    kind : [n] int, the kind of step that leads to each observation (of the first: not used)

    Long chains are cut into blocks that are worked on side by side, each with some of its
    neighbours on either side: where the chain comes from is soon forgotten. Where the paths of two
    neighbours do not meet, all is done again with twice as much overlap; the whole chain in one
    block at the last.

    Reference: A. J. Viterbi, IEEE Trans. Inform. Theory 13 (1967) [value from memory].
    """
    n = log_emission.shape[0]
    overlap = _OVERLAP
    while n > 2 * (_BLOCK + 2 * overlap):
        path = _in_blocks(log_emission, log_step, kind, overlap)
        if path is not None:
            return path
        overlap *= 2
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    return np.asarray(_paths(log_emission[None], log_step, kind[None])[0])


def _in_blocks(log_emission: Floats, log_step: Floats, kind: Ints, overlap: int) -> Ints | None:
    """Return the path put together from blocks, None where two of them do not meet."""
    n = log_emission.shape[0]
    block = max(_BLOCK, 2 * overlap)
    count = -(-n // block)
    begin = np.clip(np.arange(count) * block - overlap, 0, None)
    begin = np.minimum(begin, n - block - 2 * overlap)
    index = begin[:, None] + np.arange(block + 2 * overlap)
    paths = _paths(log_emission[index], log_step, kind[index])
    path = np.empty(n, dtype=np.int64)
    for b in range(count):
        start = b * block
        stop = min(start + block, n)
        path[start:stop] = paths[b, start - begin[b] : stop - begin[b]]
        if b and paths[b, start - 1 - begin[b]] != path[start - 1]:
            return None
        if b + 1 < count and stop - begin[b] < index.shape[1]:
            nearby = paths[b + 1, stop - begin[b + 1]]
            if nearby != paths[b, stop - begin[b]]:
                return None
    return path


def _paths(log_emission: Floats, log_step: Floats, kind: Ints) -> Ints:
    """Return the best path [b, n] of each of b chains [b, n, s]."""
    chains, n, states = log_emission.shape
    backwards_step = np.ascontiguousarray(log_step.transpose(0, 2, 1))  # [m, to, from]
    score = log_emission[:, 0]
    came_from = np.zeros((n, chains, states), dtype=np.uint8 if states < 256 else np.int64)
    row = np.arange(chains)
    for k in range(1, n):
        by_way = score[:, None, :] + backwards_step[kind[:, k]]
        best = by_way.argmax(axis=2)
        came_from[k] = best
        score = np.take_along_axis(by_way, best[:, :, None], axis=2)[:, :, 0] + log_emission[:, k]
    path = np.empty((chains, n), dtype=np.int64)
    path[:, -1] = score.argmax(axis=1)
    for k in range(n - 1, 0, -1):
        path[:, k - 1] = came_from[k][row, path[:, k]]
    return path
