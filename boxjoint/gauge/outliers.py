"""The exact average over what may be wrong with the readings.

No reading is deleted and nothing is iterated. Every hypothesis (nothing is bad; one reading is;
two are; all repeats of a feature are, by the same error) gets its posterior weight, and the answer
is the mixture of the estimates under all of them. It widens by itself when the readings cannot tell
which hypothesis holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from boxjoint.gauge.assumed import KerfPrior, OutlierAssumed
from boxjoint.gauge.distributions import Floats, student_mixture_quantiles
from boxjoint.gauge.least_squares import weighted_fit
from boxjoint.gauge.model import Rows

__all__ = ["Mode", "OutlierAverage", "average_over_outliers"]

_COVERAGE = (0.025, 0.975)
#: Hypotheses less probable than this play no part in a mode; modes at most; squared distance in one.
_LEAST, _MOST_MODES, _SAME = 1e-3, 4, 9.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mode:
    """One thing that readings may mean: its probability, mean (9,) and covariance (9, 9)."""

    weight: float
    mean: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OutlierAverage:
    """Mixture over all hypotheses; n rows (single values), f features.

    Parameters
    ----------
    mean, covariance
        (9,) and (9, 9) of the mixture.
    low, high
        (9,) its 2.5 % and 97.5 % quantiles.
    p_none
        Probability that no reading is bad.
    p_row, p_feature
        (n,) probability that a row is bad, for whatever reason; (f,) that all repeats of a feature
        are bad by a common error (0 where there is no repeat).
    chi2
        ``(y - A m)' (V + A S A')^-1 (y - A m)``, n degrees of freedom, nothing bad.
    precision
        (n, n) inverse of ``V + A S A'``.
    modes
        What the readings may mean, likeliest first: hypotheses that say the same of kerf and scale
        are one mode. One mode unless the readings can be understood in two ways.
    hypotheses
        How many were averaged.
    """

    mean: Floats
    covariance: Floats
    low: Floats
    high: Floats
    p_none: float
    p_row: Floats
    p_feature: Floats
    chi2: float
    precision: Floats
    modes: tuple[Mode, ...]
    hypotheses: int


def average_over_outliers(
    rows: Rows, noise: Floats, prior: KerfPrior, nu0: float, assumed: OutlierAssumed
) -> OutlierAverage:
    """Average the estimate over the hypotheses of outliers.

    Parameters
    ----------
    rows
        Single values as rows, n of them; n may be 0.
    noise
        (n, n) covariance of their noise. The hand's scatter in it must be the assumed one: a slip
        of 20 mm would otherwise inflate the scatter and hide itself.
    prior
        Of the nine parameters.
    nu0
        Degrees of freedom of the marginal likelihood; the components of the mixture get
        ``nu0 + assumed.extra_dof``.
    assumed
        Odds and width of bad readings.

    Notes
    -----
    A bad reading has the extra variance ``width^2``. With M = V + A S A', each hypothesis adds a
    matrix of rank one or two to M, so one Cholesky factorisation serves them all (Woodbury), and the
    weights are prior odds times ``|M_h|^(-1/2) (1 + chi2_h/nu0)^(-(nu0 + n)/2)``.
    """
    n, a, s = len(rows), rows.design, prior.covariance
    features = int(rows.feature.max()) + 1 if n else 0
    nu = nu0 + assumed.extra_dof
    if n == 0:
        sd = prior.sd[None, :]
        ends = student_mixture_quantiles(np.ones(1), prior.mean[None, :], sd, nu, _COVERAGE)
        return OutlierAverage(
            mean=prior.mean,
            covariance=s,
            low=ends[0],
            high=ends[1],
            p_none=1.0,
            p_row=np.zeros(0),
            p_feature=np.zeros(0),
            chi2=0.0,
            precision=np.zeros((0, 0)),
            modes=(Mode(weight=1.0, mean=prior.mean, covariance=s),),
            hypotheses=1,
        )
    rest = rows.y_mm - a @ prior.mean
    cross = s @ a.T
    low = np.linalg.cholesky(noise + a @ cross)
    half = np.linalg.solve(low, np.eye(n))
    g = half.T @ half
    gr = g @ rest
    chi0 = float(rest @ gr)
    k = cross @ g
    # s - k A s would lose everything to rounding where readings are much sharper than the prior
    nothing_bad = weighted_fit(a, rows.y_mm, noise, prior.mean, s)
    mean0, c0 = nothing_bad.mean, nothing_bad.covariance

    # one error: a unit vector per row, and one indicator per feature that was read more than once
    members = np.zeros((n, features))
    members[np.arange(n), rows.feature] = 1.0
    repeated = np.flatnonzero(members.sum(axis=0) > 1)
    u1 = np.hstack([np.eye(n), members[:, repeated]])
    extra = 1.0 / assumed.width_mm**2
    gu = g @ u1
    d1 = extra + (u1 * gu).sum(axis=0)
    v1 = u1.T @ gr
    ku1 = k @ u1
    shift1 = -ku1 * (v1 / d1)
    chi1 = chi0 - v1 * v1 / d1
    log_det1 = np.log(d1 / extra)

    # two errors
    if n <= assumed.pairs_up_to:
        suspects = range(n)
    else:
        order = np.argsort(-np.abs(gr) / np.sqrt(np.diag(g)), kind="stable")
        suspects = sorted(order[: assumed.pair_rows].tolist())  # type: ignore[assignment]
    pairs = np.array(list(combinations(suspects, 2)), dtype=np.intp).reshape(-1, 2)
    i, j = pairs[:, 0], pairs[:, 1]
    dii, djj, dij = extra + g[i, i], extra + g[j, j], g[i, j]
    det = dii * djj - dij * dij
    ai = (djj * gr[i] - dij * gr[j]) / det
    aj = (dii * gr[j] - dij * gr[i]) / det
    shift2 = -(k[:, i] * ai + k[:, j] * aj)
    chi2 = chi0 - gr[i] * ai - gr[j] * aj
    log_det2 = np.log(det / (extra * extra))

    log_odds = np.log(assumed.odds)
    prior_log = np.concatenate(
        [[0.0], np.full(len(d1), log_odds), np.full(len(pairs), 2.0 * log_odds)]
    )
    chi = np.maximum(np.concatenate([[chi0], chi1, chi2]), 0.0)
    log_det = np.concatenate([[0.0], log_det1, log_det2])
    log_w = prior_log - 0.5 * log_det - 0.5 * (nu0 + n) * np.log1p(chi / nu0)
    w = np.exp(log_w - log_w.max())
    w /= w.sum()

    shift = np.hstack([np.zeros((9, 1)), shift1, shift2])
    b = ku1 / np.sqrt(d1)  # C_h = C_0 + b b' for one error
    # for two: C_0 + K U D^-1 U' K', split by D = L L' into two columns
    p = k[:, i] / np.sqrt(dii)
    q = (k[:, j] - k[:, i] * (dij / dii)) / np.sqrt(det / dii)
    diagonal = np.diag(c0)[:, None] + np.hstack([np.zeros((9, 1)), b * b, p * p + q * q])
    mean_shift = shift @ w
    w1, w2 = w[1 : 1 + len(d1)], w[1 + len(d1) :]
    off = shift - mean_shift[:, None]
    covariance = c0 + (b * w1) @ b.T + (p * w2) @ p.T + (q * w2) @ q.T + (off * w) @ off.T
    ends = student_mixture_quantiles(w, shift.T, np.sqrt(diagonal).T, nu, _COVERAGE)

    p_row = w1[:n].copy()
    np.add.at(p_row, i, w2)
    np.add.at(p_row, j, w2)
    p_feature = np.zeros(features)
    p_feature[repeated] = w1[n:]
    p_row += members @ p_feature
    return OutlierAverage(
        mean=mean0 + mean_shift,
        covariance=0.5 * (covariance + covariance.T),
        low=mean0 + ends[0],
        high=mean0 + ends[1],
        p_none=float(w[0]),
        p_row=p_row,
        p_feature=p_feature,
        chi2=chi0,
        precision=g,
        modes=_modes(w, mean0[:, None] + shift, c0, _columns(b, p, q)),
        hypotheses=len(w),
    )


def _columns(one: Floats, first: Floats, second: Floats) -> Floats:
    """(9, 2, h): each hypothesis adds these columns times their transpose to the covariance."""
    none = np.zeros((9, 1))
    return np.stack(
        [
            np.hstack([none, one, first]),
            np.hstack([none, np.zeros_like(one), second]),
        ],
        axis=1,
    )


def _modes(weight: Floats, mean: Floats, least: Floats, more: Floats) -> tuple[Mode, ...]:
    """Gather hypotheses, (9, h) means, whose kerfs and scales lie within three standard deviations.

    What is left over when four modes are found, or weighs less than a thousandth, is left out.
    """
    left = [i for i in np.argsort(-weight, kind="stable").tolist() if weight[i] > _LEAST]
    out: list[Mode] = []
    while left and len(out) < _MOST_MODES:
        lead = left[0]
        cov = least + more[:, :, lead] @ more[:, :, lead].T
        off = mean[:4, left] - mean[:4, [lead]]
        apart = (off * np.linalg.solve(cov[:4, :4], off)).sum(axis=0)
        mine = [i for i, far in zip(left, apart.tolist(), strict=True) if far < _SAME]
        left = [i for i in left if i not in mine]
        share = weight[mine] / weight[mine].sum()
        centre = mean[:, mine] @ share
        off = mean[:, mine] - centre[:, None]
        columns = more[:, :, mine] * np.sqrt(share)
        spread = np.einsum("irh,jrh->ij", columns, columns) + (off * share) @ off.T
        out.append(Mode(weight=float(weight[mine].sum()), mean=centre, covariance=least + spread))
    return tuple(out)
