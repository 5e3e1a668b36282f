"""The information matrix of a chain as a sum of terms, of which many are alike.

Each observation and each transition adds a block over two neighbouring knots, times a number that
changes from sweep to sweep (a weight, one over an intensity). The blocks are of few kinds, for logs
are steady: so they are kept once a kind, and to make the matrix is one product of a sparse matrix
with them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from roadtest.motion.chain import Band

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Terms:
    """The terms of a chain of p knots with m states each, and what scales each of them."""

    def __init__(self, knots: int, states: int) -> None:
        """Begin without terms."""
        self._knots, self._states = knots, states
        self._kinds: list[Floats] = []
        self._parts: list[tuple[Ints, Ints, Ints]] = []  # knot, kind, source of each term

    def add_own(self, blocks: Floats, knot: Ints, which: Ints, source: Ints) -> None:
        """Add terms to knots' own blocks.

        Parameters
        ----------
        blocks : [u, m, m] float, symmetric, of each kind
        knot : [t] int, where
        which : [t] int, the kind of each
        source : [t] int, the number that scales it
        """
        self._add([blocks[:, j:, j] for j in range(self._states)], knot, which, source)

    def add_pairs(self, blocks: Floats, knot: Ints, which: Ints, source: Ints) -> None:
        """Add terms over two knots each: `blocks` [u, 2m, 2m], `knot` [t] the former of the two."""
        m = self._states
        self._add([blocks[:, j:, j] for j in range(m)], knot, which, source)
        self.add_own(blocks[:, m:, m:], knot + 1, which, source)

    def add_squares(self, rows: Floats, knot: Ints, which: Ints, source: Ints) -> None:
        """Add terms over two knots each, the squares r·rᵀ of `rows` [u, 2m].

        The same as `add_pairs` of the squares, in a third of the memory: in a log whose times are
        uneven every term is of its own kind.
        """
        m = self._states
        for half, at in ((rows, knot), (rows[:, m:], knot + 1)):
            self._add([half[:, j:] * half[:, j, None] for j in range(m)], at, which, source)

    def _add(self, columns: list[Floats], knot: Ints, which: Ints, source: Ints) -> None:
        """Add terms to the columns of knots, [u, …] each from its diagonal on."""
        m, before = self._states, sum(kinds.shape[0] for kinds in self._kinds)
        kinds = np.zeros((columns[0].shape[0], m, 2 * m))  # as the band stores them
        for j, column in enumerate(columns):
            kinds[:, j, : column.shape[1]] = column
        self._kinds.append(kinds.reshape(-1, 2 * m * m))
        self._parts.append((knot, which + before, source))

    def summed(self) -> SummedTerms:
        """Return the sum of all terms, for any scales."""
        knot, kind, source = (np.concatenate(part) for part in zip(*self._parts, strict=True))
        order = np.argsort(knot, kind="stable")
        starts = np.concatenate([[0], np.cumsum(np.bincount(knot, minlength=self._knots))])
        return SummedTerms(
            np.concatenate(self._kinds),
            starts.astype(np.int32),
            kind[order].astype(np.int32),
            source[order].astype(np.int32),
            self._states,
        )


class SummedTerms:
    """A sum of terms, ready for scales."""

    def __init__(
        self,
        kinds: Floats,
        starts: NDArray[np.int32],
        kind: NDArray[np.int32],
        source: NDArray[np.int32],
        states: int,
    ) -> None:
        """Take terms in the order of their knots, those of knot k from `starts[k]` on."""
        self._kinds, self._starts, self._kind, self._source = kinds, starts, kind, source
        self._states = states

    def band(self, scales: Floats) -> Band:
        """Return the information matrix for `scales` [s], one for each source."""
        shape = (self._starts.size - 1, self._kinds.shape[0])
        terms = csr_array((scales[self._source], self._kind, self._starts), shape=shape)
        columns = np.asarray(terms @ self._kinds)  # [p, m·2m]: the band, column by column
        return Band(columns.reshape(-1, 2 * self._states).T, self._states)
