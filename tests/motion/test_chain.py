"""The banded solver against dense linear algebra."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from roadtest.motion.chain import Band, Factor, marginal_covariances

Floats = NDArray[np.float64]
SIZES = [(n, m) for n in (2, 3, 4, 5, 8, 9) for m in (1, 3, 5)]


def random_band(n: int, m: int) -> tuple[Band, Floats]:
    """Return a positive definite band and the dense matrix it stands for."""
    rng = np.random.default_rng([n, m])
    band, dense = Band.empty(n, m), np.zeros((n * m, n * m))
    for k in range(n):
        block = rng.normal(size=(m, m))
        own = slice(k * m, k * m + m)
        dense[own, own] = block @ block.T + 6.0 * m * np.eye(m)
        if k:
            dense[own, (k - 1) * m : k * m] = rng.normal(size=(m, m))
    dense = np.tril(dense) + np.tril(dense, -1).T
    for i in range(m):
        for j in range(m):
            if i >= j:
                band.within(i, j)[:] = np.diagonal(dense)[0] * 0 + dense[i::m, j::m].diagonal()
            band.onward(i, j)[:] = dense[m + i :: m, j::m].diagonal()[: n - 1]
    return band, dense


@pytest.mark.parametrize(("n", "m"), SIZES)
def test_solutions_and_determinant_are_those_of_the_dense_matrix(n: int, m: int) -> None:
    band, dense = random_band(n, m)
    rhs = np.random.default_rng(1).normal(size=(2, n, m))
    factor = Factor(band)
    expected = np.linalg.solve(dense, rhs.reshape(2, -1).T).T.reshape(2, n, m)
    np.testing.assert_allclose(factor.solve(rhs), expected, rtol=0, atol=1e-13)
    assert factor.log_determinant == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-10)


@pytest.mark.parametrize(("n", "m"), SIZES)
def test_marginal_covariances_are_the_blocks_of_the_inverse(n: int, m: int) -> None:
    band, dense = random_band(n, m)
    inverse = np.linalg.inv(dense)
    found = marginal_covariances(band)
    for k in range(n):
        own = slice(k * m, k * m + m)
        np.testing.assert_allclose(found[k], inverse[own, own], rtol=0, atol=1e-13)


def test_draws_have_the_mean_and_covariance_of_the_posterior() -> None:
    band, dense = random_band(4, 2)
    rhs = np.tile(np.arange(8.0).reshape(1, 4, 2), (20_000, 1, 1))
    draws = Factor(band).draws(rhs, np.random.default_rng(2)).reshape(20_000, 8)
    inverse = np.linalg.inv(dense)
    sd = np.sqrt(inverse.diagonal())
    mean = inverse @ np.arange(8.0)
    assert np.abs((draws.mean(axis=0) - mean) / sd).max() < 4.5 / np.sqrt(20_000)
    off = (np.cov(draws.T) - inverse) / np.outer(sd, sd)
    assert np.abs(off).max() < 5.0 * np.sqrt(2.0 / 20_000)


def test_a_matrix_that_is_not_positive_definite_is_refused() -> None:
    with pytest.raises(ValueError, match="not positive definite"):
        Factor(Band.empty(3, 2))


def test_solving_writes_into_nothing_it_was_given() -> None:
    band, _ = random_band(5, 3)
    rhs = np.ones((1, 5, 3))
    before = band.entries.copy()
    Factor(band).solve(rhs)
    Factor(band).draws(rhs, np.random.default_rng(0))
    assert (rhs == 1.0).all()
    assert (band.entries == before).all()
