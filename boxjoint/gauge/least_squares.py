"""Weighted least squares with a prior: whitening, column scaling, QR and one refinement.

Knows nothing of gauges; the published regression problems of the tests run through this file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from boxjoint.errors import InputError
from boxjoint.gauge.distributions import Floats

__all__ = ["LinearFit", "effective_dof", "weighted_fit"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinearFit:
    """Solution of a weighted least-squares problem with p parameters and n rows.

    Parameters
    ----------
    mean
        (p,) parameters.
    covariance
        (p, p) covariance for the given noise covariance.
    residual_sum
        Weighted sum of squared residuals of the n rows, prior excluded.
    """

    mean: Floats
    covariance: Floats
    residual_sum: float

    @property
    def correlation(self) -> Floats:
        """(p, p) correlation matrix."""
        sd = np.sqrt(np.diag(self.covariance))
        return np.asarray(self.covariance / np.outer(sd, sd))


def _whitener(covariance: Floats, name: str) -> Floats:
    try:
        return np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise InputError(
            f"the covariance of {name} is not positive definite",
            do="check for a standard deviation of zero",
        ) from None


def _solve(matrix: Floats, right: Floats) -> Floats:
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def weighted_fit(
    design: Floats,
    y: Floats,
    noise: Floats,
    prior_mean: Floats | None = None,
    prior_covariance: Floats | None = None,
) -> LinearFit:
    """Minimise ``(y - A b)' V^-1 (y - A b) + (b - m)' S^-1 (b - m)``.

    Parameters
    ----------
    design
        (n, p) matrix A.
    y
        (n,) observations.
    noise
        (n, n) covariance V, or (n,) variances.
    prior_mean, prior_covariance
        (p,) m and (p, p) S; both ``None`` for no prior, then A must have full column rank.

    Raises
    ------
    InputError
        V or S is not positive definite, or A has not full rank and there is no prior.

    Notes
    -----
    The rows are whitened with Cholesky factors, the columns scaled to length 1, and the triangular
    system from QR is refined once with a residual in extended precision where the platform has it.
    Normal equations would square the condition number.
    """
    a: Floats
    if noise.ndim == 1:
        a = design / np.sqrt(noise)[:, None]
        b = y / np.sqrt(noise)
    else:
        low = _whitener(noise, "the readings")
        both = _solve(low, np.column_stack([design, y]))
        a, b = both[:, :-1], both[:, -1]
    n = len(b)
    if prior_mean is not None and prior_covariance is not None:
        low = _whitener(prior_covariance, "the prior")
        p = len(prior_mean)
        both = _solve(low, np.column_stack([np.eye(p), prior_mean]))
        a, b = np.vstack([a, both[:, :-1]]), np.concatenate([b, both[:, -1]])
    size: Floats = np.sqrt((a * a).sum(axis=0))
    size[size == 0.0] = 1.0
    scaled = a / size
    q, r = np.linalg.qr(scaled)
    diagonal = np.abs(np.diag(r))
    if len(scaled) < scaled.shape[1] or diagonal.min() < 1e-13:
        raise InputError("the readings do not determine all parameters and there is no prior")
    inverse = _solve(r, np.eye(len(r)))
    x = inverse @ (q.T @ b)
    exact_a, exact_b = scaled.astype(np.longdouble), b.astype(np.longdouble)
    rest = (exact_b - exact_a @ x.astype(np.longdouble)).astype(np.float64)
    x = x + inverse @ (q.T @ rest)
    rest = (exact_b - exact_a @ x.astype(np.longdouble)).astype(np.float64)
    root = inverse / size[:, None]
    return LinearFit(
        mean=x / size,
        covariance=root @ root.T,
        residual_sum=math.fsum((rest[:n] ** 2).tolist()),
    )


def effective_dof(variances: Floats, dofs: Floats) -> float:
    """Effective degrees of freedom of a sum of independent variances (Welch and Satterthwaite).

    Parameters
    ----------
    variances
        (n,) components of the combined variance, >= 0.
    dofs
        (n,) their degrees of freedom, > 0; ``inf`` for a component taken as known.

    Returns
    -------
    float
        ``(sum v)^2 / sum(v^2 / nu)``; ``inf`` if every component is taken as known.

    Notes
    -----
    GUM (JCGM 100:2008) equation G.2b.
    """
    total = math.fsum(variances.tolist())
    loss = math.fsum((variances**2 / dofs).tolist())
    return total * total / loss if loss > 0.0 else math.inf
