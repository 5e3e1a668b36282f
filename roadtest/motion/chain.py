"""A Gaussian Markov chain in information form: mean, joint draws, marginal covariances, evidence.

The chain has n knots with m states each. Its information matrix is block tridiagonal, so one
banded Cholesky factor gives everything in time proportional to n.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs, dtbtrs

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Band:
    """Information matrix of a chain in lower banded storage.

    `entries[d, c]` is the element in row c + d, column c; d runs over 2m, c over n·m.
    """

    entries: Floats  # [2m, n*m], Fortran order
    states: int  # m

    @property
    def knots(self) -> int:
        """Number of knots n."""
        return int(self.entries.shape[1]) // self.states

    @classmethod
    def empty(cls, knots: int, states: int) -> Band:
        """Return a band of zeros."""
        return cls(np.zeros((2 * states, knots * states), order="F"), states)

    def copy(self) -> Band:
        """Return a band that may be added to."""
        return Band(self.entries.copy(order="F"), self.states)

    def within(self, i: int, j: int) -> Floats:
        """Return a view [n] of element (i, j), i ≥ j, of every knot's own block."""
        return self.entries[i - j, j :: self.states]

    def onward(self, i: int, j: int) -> Floats:
        """Return a view [n-1] of element (i, j) of the blocks in row k+1, column k."""
        return self.entries[self.states + i - j, j : (self.knots - 1) * self.states : self.states]

    def blocks(self, first: int, last: int) -> tuple[Floats, Floats]:
        """Return the diagonal blocks of the knots from first to last, and those below them."""
        n, m = last - first + 1, self.states
        diagonal, lower = np.empty((n, m, m)), np.empty((n - 1, m, m))
        for i in range(m):
            for j in range(m):
                diagonal[:, i, j] = self.within(max(i, j), min(i, j))[first : last + 1]
                lower[:, i, j] = self.onward(i, j)[first:last]
        return diagonal, lower

    def reversed(self) -> Band:
        """Return the band of the same chain, last state first."""
        turned = np.zeros_like(self.entries)
        for d, row in enumerate(self.entries):
            turned[d, : row.size - d] = row[: row.size - d][::-1]
        return Band(turned, self.states)


class Factor:
    """Banded Cholesky factor A = L·Lᵀ of a chain's information matrix A."""

    def __init__(self, band: Band, *, overwrite: bool = False) -> None:
        """Factor `band`; raises ValueError when it is not positive definite.

        `overwrite`: the band is not needed any more, and its memory may be used.
        """
        self.shape = (band.knots, band.states)
        self._lower, info = dpbtrf(band.entries, lower=1, overwrite_ab=int(overwrite))
        if info != 0:
            raise ValueError("the information matrix is not positive definite")

    @property
    def log_determinant(self) -> float:
        """Natural logarithm of det A."""
        return 2.0 * float(np.log(self._lower[0]).sum())

    def pivots(self, knots: Sequence[int]) -> list[Floats]:
        """Return the blocks [m, m] left of some knots' own when all before them are eliminated."""
        m, found = self.shape[1], []
        for knot in knots:
            root = np.zeros((m, m))
            for j in range(m):
                root[j:, j] = self._lower[: m - j, knot * m + j]
            found.append(root @ root.T)
        return found

    def solve(self, rhs: Floats) -> Floats:
        """Return A⁻¹·rhs; `rhs` [c, n, m] float, c right-hand sides."""
        solution, _ = dpbtrs(self._lower, _columns(rhs), lower=1, overwrite_b=1)
        return self._rows(solution)

    def draws(self, rhs: Floats, rng: np.random.Generator, count: int = 1) -> Floats:
        """Return for all of `rhs` [c, n, m], `count` times over, draws [count·c, n, m].

        Each is of N(A⁻¹·rhs, A⁻¹): L·y = rhs, then Lᵀ·x = y + z with z standard normal.
        """
        half, _ = dtbtrs(self._lower, _columns(rhs), uplo="L", overwrite_b=1)
        if count > 1:
            half = np.asfortranarray(np.tile(half, (1, count)))
        half += rng.standard_normal((half.shape[1], half.shape[0])).T
        solution, _ = dtbtrs(self._lower, half, uplo="L", trans="T", overwrite_b=1)
        return self._rows(solution)

    def _rows(self, solution: Floats) -> Floats:
        return np.ascontiguousarray(solution.T).reshape(-1, *self.shape)


def _columns(rhs: Floats) -> Floats:
    """Return a writable copy of `rhs` [c, n, m] as [n*m, c] in Fortran order."""
    return np.array(rhs.reshape(rhs.shape[0], -1), order="C").T


def marginal_covariances(band: Band) -> Floats:
    """Return the diagonal blocks [n, m, m] of the inverse of the information matrix."""
    return neighbour_covariances(band)[0]


def neighbour_covariances(band: Band, window: int = 8192) -> tuple[Floats, Floats]:
    """Return the blocks of the inverse on the diagonal [n, m, m] and just below it [n-1, m, m].

    The chain is taken in windows of knots that share their ends, so that little beside the result
    is held. What lies outside a window is eliminated exactly: the pivots of one factor of the chain
    and of one of it reversed stand at its ends.
    """
    n, m = band.knots, band.states
    ends = [*range(0, n - 1, window), n - 1]
    covariances, lags = np.empty((n, m, m)), np.empty((n - 1, m, m))
    inside = ends[1:-1]
    before = after = list[Floats]()
    if inside:
        before = Factor(band).pivots(inside)
        after = Factor(band.reversed(), overwrite=True).pivots([n - 1 - end for end in inside])
    for k, (first, last) in enumerate(zip(ends, ends[1:] or ends, strict=False)):
        diagonal, lower = band.blocks(first, last)
        if first > 0:
            diagonal[0] = before[k - 1]
        if last < n - 1:
            diagonal[-1] = after[k][::-1, ::-1]
        found = _reduced_covariances(diagonal, lower)
        covariances[first : last + 1], lags[first:last] = found
    return covariances, lags


def _reduced_covariances(diagonal: Floats, lower: Floats) -> tuple[Floats, Floats]:
    """Return the covariances [n, m, m] and those of neighbours, Cov(x[k+1], x[k]) [n-1, m, m].

    Odd-even (cyclic) block reduction: the odd knots are eliminated all at once, the even ones form
    a chain half as long, and so on; then the covariances of the odd knots follow from those of
    their even neighbours. All knots of a level are treated in one batch.
    """
    n = diagonal.shape[0]
    if n == 1:
        return _inverse(diagonal), lower.copy()
    odd_inverse = _inverse(diagonal[1::2])
    odd, even = odd_inverse.shape[0], (n + 1) // 2
    left = lower[0::2]  # block (odd i, even i), i = 0 … odd-1
    right = lower[1::2]  # block (even i+1, odd i)
    pairs = right.shape[0]
    gain_left = odd_inverse @ left  # of even i in odd i
    gain_right = odd_inverse[:pairs] @ right.transpose(0, 2, 1)  # of even i+1 in odd i
    reduced = diagonal[0::2].copy()
    reduced[:odd] -= left.transpose(0, 2, 1) @ gain_left
    reduced[1 : pairs + 1] -= right @ gain_right
    between = -right @ gain_left[:pairs]
    even_cov, even_lag = _reduced_covariances(reduced, between[: even - 1])
    # x_odd = -gain_left·x_even[i] - gain_right·x_even[i+1] + noise of covariance odd_inverse
    with_left = -gain_left @ even_cov[:odd]
    with_left[:pairs] -= gain_right @ even_lag[:pairs]
    with_right = -gain_left[:pairs] @ even_lag[:pairs].transpose(0, 2, 1)
    with_right -= gain_right @ even_cov[1 : pairs + 1]
    odd_cov = odd_inverse - with_left @ gain_left.transpose(0, 2, 1)
    odd_cov[:pairs] -= with_right @ gain_right.transpose(0, 2, 1)
    covariances = np.empty_like(diagonal)
    covariances[0::2], covariances[1::2] = even_cov, odd_cov
    lags = np.empty_like(lower)
    lags[0::2] = with_left
    lags[1::2] = with_right.transpose(0, 2, 1)
    return covariances, lags


def _inverse(blocks: Floats) -> Floats:
    return np.asarray(np.linalg.inv(blocks), dtype=np.float64)
