"""The information matrix as a sum of terms, against the same sum made densely."""

from __future__ import annotations

import numpy as np

from roadtest.motion.terms import Terms


def test_terms_sum_to_the_matrix_that_their_blocks_make() -> None:
    rng = np.random.default_rng(1)
    p, m, scales = 7, 3, rng.uniform(0.5, 2.0, 9)
    own, pairs = rng.normal(size=(2, m, m)), rng.normal(size=(4, 2 * m, 2 * m))
    own, pairs = own + own.transpose(0, 2, 1), pairs + pairs.transpose(0, 2, 1)
    terms, dense = Terms(p, m), np.zeros((p * m, p * m))
    for blocks, add, last in ((own, terms.add_own, p), (pairs, terms.add_pairs, p - 1)):
        knot, which = rng.integers(last, size=20), rng.integers(blocks.shape[0], size=20)
        source = rng.integers(scales.size, size=20)
        add(blocks, knot, which, source)
        for at, kind, scale in zip(knot * m, which, scales[source], strict=True):
            to = slice(at, at + blocks.shape[1])
            dense[to, to] += scale * blocks[kind]
    rows = rng.normal(size=(3, 2 * m))
    knot, which = rng.integers(p - 1, size=20), rng.integers(3, size=20)
    terms.add_squares(rows, knot, which, np.zeros(20, dtype=np.int64))
    for at, row in zip(knot * m, rows[which], strict=True):
        dense[at : at + 2 * m, at : at + 2 * m] += scales[0] * np.outer(row, row)
    band = terms.summed().band(scales)
    assert band.states == m
    assert band.entries.flags.f_contiguous
    for d in range(2 * m):
        np.testing.assert_allclose(band.entries[d, : p * m - d], np.diag(dense, -d), atol=1e-12)
        np.testing.assert_array_equal(band.entries[d, p * m - d :], 0.0)
