"""Solving with a chain of lap blocks and a shared border, in time that grows with the number of laps.

The normal matrix of the joint fit is

    H = [ T  U ]      T = blocks T_k on the diagonal, linked from lap to lap only
        [ U' S ]          through the slow wind at the end of one and the start of the next

T_k holds the slow wind and the drag area of lap k, S what all laps share.  The link
between neighbours is -c at two pairs of places (east and north), so block elimination
needs one small inverse per lap.  Nothing of the size of the session squared is formed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats

__all__ = ["Factors", "factor"]


@dataclass(frozen=True, kw_only=True)
class Factors:
    """Factorised normal matrix.

    Attributes
    ----------
    inverse
        Inverses of the eliminated diagonal blocks, shape (K, p, p).
    link
        c between lap k and k + 1, shape (K - 1,).
    first, last
        Places of the first and the last node, east and north, in a block.
    across
        T^-1 U, shape (K, p, b).
    border
        Inverse of the border's Schur complement, shape (b, b).
    log_determinant
        Of H.
    """

    inverse: Floats
    link: Floats
    first: NDArray[np.intp]
    last: NDArray[np.intp]
    across: Floats
    border: Floats
    log_determinant: float

    def solve_blocks(self, right: Floats) -> Floats:
        """T^-1 right, for right of shape (K, p, m)."""
        return _solve_blocks(self.inverse, self.link, self.first, self.last, right)

    def solve(self, local: Floats, shared: Floats) -> tuple[Floats, Floats]:
        """H^-1 (local, shared), shapes (K, p, m) and (b, m)."""
        x = self.solve_blocks(local)
        z = self.border @ (shared - np.tensordot(self.across, local, axes=([0, 1], [0, 1])))
        return x - self.across @ z, z

    def selected_inverse(self) -> tuple[Floats, Floats]:
        """Diagonal blocks of T^-1, shape (K, p, p), and its links [last_k, first_k+1], shape (K - 1, 2, 2)."""
        K = len(self.inverse)
        diagonal = self.inverse.copy()
        links = np.zeros((max(K - 1, 0), 2, 2))
        for k in range(K - 2, -1, -1):
            c = self.link[k]
            spread = self.inverse[k][:, self.last]
            corner = diagonal[k + 1][np.ix_(self.first, self.first)]
            links[k] = c * spread[self.last] @ corner
            diagonal[k] += c * c * spread @ corner @ spread.T
        return diagonal, links


def factor(
    *,
    blocks: Floats,
    link: Floats,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    coupling: Floats,
    border: Floats,
) -> Factors:
    """Factorise H.

    ``blocks`` are T_k, symmetric, shape (K, p, p); ``link`` is c >= 0, shape (K - 1,): T has -c at
    [last_k, first_k+1], two places each in a block.  ``coupling`` is U, shape (K, p, b), and ``border``
    S, shape (b, b).  Raises numpy.linalg.LinAlgError where H is not positive definite.
    """
    K = len(blocks)
    inverse = np.empty_like(blocks)
    log_determinant = 0.0
    carried = np.zeros((2, 2))
    for k in range(K):
        block = blocks[k]
        if k:
            block = block.copy()
            block[np.ix_(first, first)] -= carried
        inverse[k], own = _inverse_and_log_determinant(block)
        log_determinant += own
        if k < K - 1:
            carried = link[k] ** 2 * inverse[k][np.ix_(last, last)]
    across = _solve_blocks(inverse, link, first, last, coupling)
    schur = border - np.tensordot(coupling, across, axes=([0, 1], [0, 1]))
    border_inverse, own = _inverse_and_log_determinant(schur)
    return Factors(
        inverse=inverse,
        link=link,
        first=first,
        last=last,
        across=across,
        border=border_inverse,
        log_determinant=log_determinant + own,
    )


def _inverse_and_log_determinant(positive: Floats) -> tuple[Floats, float]:
    lower = np.linalg.cholesky(positive)
    half = np.linalg.solve(lower, np.eye(len(positive)))
    return half.T @ half, 2.0 * float(np.sum(np.log(np.diagonal(lower))))


def _solve_blocks(
    inverse: Floats, link: Floats, first: NDArray[np.intp], last: NDArray[np.intp], right: Floats
) -> Floats:
    K = len(inverse)
    forward = right.copy()
    for k in range(K - 1):
        forward[k + 1, first] += link[k] * (inverse[k][last] @ forward[k])
    x = np.empty_like(forward)
    x[K - 1] = inverse[K - 1] @ forward[K - 1]
    for k in range(K - 2, -1, -1):
        forward[k, last] += link[k] * x[k + 1, first]
        x[k] = inverse[k] @ forward[k]
    return x
