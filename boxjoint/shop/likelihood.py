"""What one gauge says of kerf and scale, without any prior, and without forgetting its shape.

The readings of a gauge can mean two things (one reading is bad, or the kerfs differ). Which of them
holds is often settled only by what else is known of the machine, so a likelihood is handed on as a
mixture of terms, each normal in (kerf_x, kerf_y, scale_x - 1, scale_y - 1), and weighed where it
meets the belief.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Observation", "Term"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """``exp(log_weight + vector'p - p'info p/2)``: one term of a likelihood in the four p.

    In information form, so that a gauge that says nothing of one of them can be told: ``info`` is
    the inverse covariance (4 rows of 4, may be singular), ``vector`` is ``info`` times the
    estimate. Units mm and dimensionless.
    """

    info: tuple[tuple[float, ...], ...]
    vector: tuple[float, ...]
    log_weight: float = 0.0

    @classmethod
    def from_posterior(
        cls,
        mean: Array,
        covariance: Array,
        prior_mean: Array,
        prior_covariance: Array,
        weight: float = 1.0,
    ) -> Term:
        """Take the prior out of a posterior that was found with probability ``weight`` under it.

        The four means and 4 x 4 covariances are marginals, the nuisances integrated out; they must
        be independent of the four in the prior.
        """
        info = np.linalg.inv(covariance) - np.linalg.inv(prior_covariance)
        vector = np.linalg.solve(covariance, mean) - np.linalg.solve(prior_covariance, prior_mean)
        # what the readings left undetermined cancels to a rounding error of either sign
        scale = np.sqrt(np.diag(prior_covariance))
        values, axes = np.linalg.eigh(info * np.outer(scale, scale))
        keep = values > 1e-6
        root = axes[:, keep] / scale[:, None]
        back = (axes[:, keep] * scale[:, None]).T
        clean = (root * values[keep]) @ root.T
        seen = root @ (back @ vector)
        found = log_evidence(clean, seen, prior_mean, prior_covariance)
        return cls(
            info=tuple(tuple(map(float, row)) for row in clean),
            vector=tuple(map(float, seen)),
            log_weight=math.log(weight) - found,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """A likelihood: the sum of its terms, likeliest first; without any, nothing was said."""

    terms: tuple[Term, ...]

    @classmethod
    def of(cls, terms: Iterable[Term]) -> Observation:
        """Gather terms; those that say nothing of the four are left out."""
        return cls(terms=tuple(t for t in terms if any(any(row) for row in t.info)))


def log_evidence(info: Array, vector: Array, mean: Array, covariance: Array) -> float:
    """Logarithm of the integral of a term (weight 1) over a normal prior of p."""
    size = np.eye(len(mean)) + info @ covariance
    rest = vector - info @ mean
    back = covariance @ np.linalg.solve(size, rest)
    _, log_det = np.linalg.slogdet(size)
    return float(vector @ mean - 0.5 * mean @ info @ mean + 0.5 * rest @ back - 0.5 * log_det)
