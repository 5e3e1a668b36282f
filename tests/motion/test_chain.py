"""The chain in information form against dense linear algebra."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.motion.chain import Band, Factor, marginal_covariances, neighbour_covariances

Case = tuple[Band, np.ndarray]
SIZES = st.tuples(st.integers(1, 9), st.integers(1, 5), st.integers(0, 2**32 - 1))


def chain(knots: int, states: int, seed: int) -> Case:
    """Return a random chain, as band and as dense matrix."""
    rng = np.random.default_rng(seed)
    size = knots * states
    dense = np.zeros((size, size))
    for k in range(knots):
        rows = slice(k * states, min(k + 2, knots) * states)
        square = rng.normal(size=(rows.stop - rows.start,) * 2)
        dense[rows, rows] += square @ square.T
    dense += 0.1 * np.eye(size)
    band = Band.empty(knots, states)
    for row, column in zip(*np.tril_indices(size), strict=True):
        if row - column < 2 * states:
            band.entries[row - column, column] = dense[row, column]
    return band, dense


@settings(derandomize=True, deadline=None)
@given(SIZES)
def test_views_and_blocks_are_those_of_the_dense_matrix(sizes: tuple[int, int, int]) -> None:
    band, dense = chain(*sizes)
    n, m = sizes[:2]
    assert (band.knots, band.states) == (n, m)
    blocks = dense.reshape(n, m, n, m).transpose(0, 2, 1, 3)
    diagonal, lower = band.blocks(0, n - 1)
    for k in range(n):
        np.testing.assert_array_equal(diagonal[k], blocks[k, k])
    for k in range(n - 1):
        np.testing.assert_array_equal(lower[k], blocks[k + 1, k])
    for i in range(m):
        for j in range(m):
            np.testing.assert_array_equal(
                band.onward(i, j), [blocks[k + 1, k, i, j] for k in range(n - 1)]
            )
            if i >= j:
                np.testing.assert_array_equal(
                    band.within(i, j), [blocks[k, k, i, j] for k in range(n)]
                )


@settings(derandomize=True, deadline=None)
@given(SIZES, st.integers(1, 3))
def test_solve_and_log_determinant_equal_the_dense_ones(
    sizes: tuple[int, int, int], sides: int
) -> None:
    band, dense = chain(*sizes)
    n, m, seed = sizes
    rhs = np.random.default_rng(seed + 1).normal(size=(sides, n, m))
    kept = rhs.copy()
    factor = Factor(band)
    expected = np.linalg.solve(dense, rhs.reshape(sides, -1).T).T.reshape(rhs.shape)
    scale = np.abs(expected).max()
    np.testing.assert_allclose(factor.solve(rhs), expected, atol=1e-9 * scale)
    sign, logarithm = np.linalg.slogdet(dense)
    assert sign == 1.0
    assert factor.log_determinant == pytest.approx(logarithm, abs=1e-8)
    np.testing.assert_array_equal(rhs, kept)


@settings(derandomize=True, deadline=None)
@given(SIZES)
def test_covariances_are_blocks_of_the_dense_inverse(sizes: tuple[int, int, int]) -> None:
    band, dense = chain(*sizes)
    n, m = sizes[:2]
    inverse = np.linalg.inv(dense).reshape(n, m, n, m).transpose(0, 2, 1, 3)
    own, onward = neighbour_covariances(band)
    scale = np.abs(inverse).max()
    for k in range(n):
        np.testing.assert_allclose(own[k], inverse[k, k], atol=1e-9 * scale)
    for k in range(n - 1):
        np.testing.assert_allclose(onward[k], inverse[k + 1, k], atol=1e-9 * scale)
    np.testing.assert_array_equal(marginal_covariances(band), own)
    for found, whole in zip(neighbour_covariances(band, window=3), (own, onward), strict=True):
        np.testing.assert_allclose(found, whole, atol=1e-9 * scale)


class Unit:
    """A generator whose normals are the unit vectors, one in each draw."""

    def standard_normal(self, shape: tuple[int, int]) -> np.ndarray:
        """Return the identity."""
        return np.eye(*shape)


@settings(derandomize=True, deadline=None)
@given(SIZES)
def test_draws_have_exactly_the_covariance_of_the_chain(sizes: tuple[int, int, int]) -> None:
    """Draws are mean + S·z: fed with unit vectors z they show S, and S·Sᵀ is the inverse."""
    band, dense = chain(*sizes)
    n, m, seed = sizes
    rhs = np.random.default_rng(seed + 1).normal(size=(n, m))
    factor = Factor(band)
    sides = np.broadcast_to(rhs, (n * m, n, m))
    drawn = factor.draws(sides, Unit())  # type: ignore[arg-type]
    several = factor.draws(rhs[None], Unit(), count=n * m)  # type: ignore[arg-type]
    np.testing.assert_allclose(several, drawn, rtol=1e-9, atol=1e-12)
    root = (drawn - factor.solve(rhs[None])).reshape(n * m, n * m).T
    inverse = np.linalg.inv(dense)
    np.testing.assert_allclose(root @ root.T, inverse, atol=1e-8 * np.abs(inverse).max())


def test_draws_scatter_about_the_mean_as_they_should() -> None:
    band, dense = chain(4, 2, 7)
    rhs = np.random.default_rng(8).normal(size=(4, 2))
    count = 20_000
    sides = np.broadcast_to(rhs, (count, 4, 2))
    drawn = Factor(band).draws(sides, np.random.default_rng(9)).reshape(count, -1)
    inverse = np.linalg.inv(dense)
    spread = np.sqrt(np.diag(inverse))
    off = (drawn.mean(axis=0) - inverse @ rhs.ravel()) / spread * np.sqrt(count)
    assert np.abs(off).max() < 4.5  # standard deviations, of eight
    relative = (np.cov(drawn.T) - inverse) / np.outer(spread, spread) * np.sqrt(count / 2.0)
    assert np.abs(relative).max() < 4.5


def test_a_matrix_that_is_not_positive_definite_is_refused() -> None:
    band, _ = chain(3, 2, 1)
    band.entries[0, 3] = -1.0
    with pytest.raises(ValueError, match="not positive definite"):
        Factor(band)


def test_a_copy_can_be_added_to_alone() -> None:
    band, _ = chain(3, 2, 1)
    before = band.entries.copy()
    other = band.copy()
    other.within(1, 0)[:] += 1.0
    np.testing.assert_array_equal(band.entries, before)
    assert not np.array_equal(other.entries, before)
