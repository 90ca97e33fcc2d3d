"""From readings to kerf: the weighted estimate with priors, its uncertainty, and the taper.

The flow of one estimate, top to bottom: merge repeats, refuse what is implausible, estimate by
weighted least squares, average over what may be wrong, check, say what is determined, advise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from boxjoint.gauge.advice import Advice, advise
from boxjoint.gauge.assumed import PARAMETERS, GaugeAssumed, KerfPrior
from boxjoint.gauge.checks import (
    Finding,
    Flag,
    check_determined,
    check_fit,
    check_kerf,
    check_plausible,
    check_repeats,
)
from boxjoint.gauge.distributions import Floats, student_quantile
from boxjoint.gauge.least_squares import LinearFit, effective_dof, weighted_fit
from boxjoint.gauge.model import KX, KY, merge_repeats, noise_covariance, rows_of
from boxjoint.gauge.outliers import OutlierAverage, average_over_outliers
from boxjoint.gauge.readings import Caliper, Reading, check_readings

__all__ = ["Estimate", "KerfFit", "PlainFit", "Taper", "fit_kerf", "plain_fit", "taper_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One parameter with its uncertainty; mm (a scale: dimensionless, size cut over size drawn).

    Parameters
    ----------
    value, u
        Mean and standard uncertainty.
    low, high
        95 % interval; not always symmetric about ``value``.
    nu_eff
        Effective degrees of freedom of the plain estimate.
    share
        Part of the prior's standard deviation that is left.
    measured
        False if the value is the prior's in the main: show it as assumed.
    """

    name: str
    value: float
    u: float
    low: float
    high: float
    nu_eff: float
    share: float
    measured: bool

    @property
    def U(self) -> float:
        """Expanded uncertainty, 95 %: half the width of the interval."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taper:
    """Kerf at the wide face minus kerf at the narrow face, from a stack read straight and turned.

    ``taper_mm`` can come out negative by noise; ``U_mm`` is its expanded uncertainty (95 %).
    """

    axis: str
    taper_mm: float
    u_mm: float
    U_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlainFit:
    """The weighted estimate, taking every reading at its word.

    Parameters
    ----------
    linear
        Mean (9,) and covariance (9, 9).
    hand_mm, hand_dof
        Scatter of the hand with repeats taken into account, mm, and its degrees of freedom.
    nu_eff, U
        (9,) effective degrees of freedom (``inf``: reading noise plays no part), and expanded
        uncertainties t_0.975(nu_eff) sqrt(C_jj).
    budget
        Variance of each parameter by source, each (9,): ``hand``, ``rounding``, ``edges``,
        ``own`` (readings with their own uncertainty) and one entry per prior parameter. They sum to
        the diagonal of the covariance; with a correlated prior a part can be negative.
    """

    linear: LinearFit
    hand_mm: float
    hand_dof: float
    nu_eff: Floats
    U: Floats
    budget: dict[str, Floats]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KerfFit:
    """Everything that readings tell; arrays in the order of ``PARAMETERS``, mm.

    Parameters
    ----------
    mean, covariance
        (9,) and (9, 9) of the average over outlier hypotheses.
    low, high
        (9,) its 95 % interval.
    plain
        The estimate that takes every reading at its word.
    average
        Probabilities of outliers, by row and feature.
    readings
        As used: repeats merged, turned stacks left out. ``average.p_feature`` follows them.
    chi2, p_value
        Lack of fit; degrees of freedom: number of values ``n_values``.
    share
        (9,) part of the prior's standard deviation that is left.
    findings, advice, taper
        Warnings; further readings, best first; taper per turned stack.
    """

    mean: Floats
    covariance: Floats
    low: Floats
    high: Floats
    plain: PlainFit
    average: OutlierAverage
    readings: tuple[Reading, ...]
    n_values: int
    chi2: float
    p_value: float
    share: Floats
    findings: tuple[Finding, ...]
    advice: tuple[Advice, ...]
    taper: tuple[Taper, ...]

    @property
    def flags(self) -> frozenset[Flag]:
        """The kinds of findings."""
        return frozenset(f.flag for f in self.findings)

    @property
    def kerf_x(self) -> Estimate:
        """Contact kerf, full width, that narrows a part in X."""
        return self.estimate("kerf_x")

    @property
    def kerf_y(self) -> Estimate:
        """Contact kerf, full width, that narrows a part in Y."""
        return self.estimate("kerf_y")

    @property
    def correlation(self) -> Floats:
        """(9, 9) correlation matrix."""
        sd = np.sqrt(np.diag(self.covariance))
        return np.asarray(self.covariance / np.outer(sd, sd))

    def estimate(self, name: str) -> Estimate:
        """One parameter by its name in ``PARAMETERS``; a scale is given as a ratio near 1."""
        j = PARAMETERS.index(name)
        one = 1.0 if name.startswith("scale") else 0.0
        unmeasured = {f.about for f in self.findings if f.flag is Flag.NOT_DETERMINED}
        return Estimate(
            name=name,
            value=one + float(self.mean[j]),
            u=float(np.sqrt(self.covariance[j, j])),
            low=one + float(self.low[j]),
            high=one + float(self.high[j]),
            nu_eff=float(self.plain.nu_eff[j]),
            share=float(self.share[j]),
            measured=name not in unmeasured,
        )

    def propagate(self, jacobian: Floats) -> Floats:
        """Covariance of linear functions of the parameters.

        Parameters
        ----------
        jacobian
            (m, 9) derivative of m quantities by the parameters.

        Returns
        -------
        Floats
            (m, m).
        """
        return np.asarray(jacobian @ self.covariance @ jacobian.T)


def _hand(readings: tuple[Reading, ...], caliper: Caliper) -> tuple[float, float]:
    # the scatter of one value: the assumed one pooled with what the repeats show
    squares, dof = caliper.nu0 * caliper.s0_mm**2, caliper.nu0
    for r in readings:
        if r.u_mm is None and len(r.values_mm) > 1:
            squares += math.fsum((v - r.mean_mm) ** 2 for v in r.values_mm)
            dof += len(r.values_mm) - 1
    # a display that hides the scatter does not prove that there is none
    return max(math.sqrt(squares / dof), caliper.rounding_mm), dof


def plain_fit(
    readings: tuple[Reading, ...], prior: KerfPrior, caliper: Caliper, edge_sd_mm: float
) -> PlainFit:
    """Estimate all nine parameters by weighted least squares, taking every reading at its word.

    Parameters
    ----------
    readings
        Merged, no turned stacks; may be empty (the prior comes back).
    edge_sd_mm
        Standard deviation of the place of one cut edge, mm.
    """
    hand_mm, hand_dof = _hand(readings, caliper)
    rows = rows_of(readings, single=False)
    noise, hand = noise_covariance(
        rows, hand_mm=hand_mm, rounding_mm=caliper.rounding_mm, edge_sd_mm=edge_sd_mm
    )
    linear = weighted_fit(rows.design, rows.y_mm, noise, prior.mean, prior.covariance)
    c = linear.covariance
    gain = np.linalg.solve(noise, rows.design @ c).T if len(rows) else np.zeros((9, 0))
    own = np.where(np.isfinite(rows.own_u_mm), np.square(np.nan_to_num(rows.own_u_mm)), 0.0)
    edges = gain @ rows.edges
    rest = np.diag(noise) - hand - own - edge_sd_mm**2 * rows.edges.sum(axis=1)
    left = np.eye(9) - gain @ rows.design
    budget = {
        "hand": gain**2 @ hand,
        "rounding": gain**2 @ rest,
        "edges": edge_sd_mm**2 * (edges**2).sum(axis=1),
        "own": gain**2 @ own,
    }
    by_prior = left * (left @ prior.covariance)
    budget |= {name: by_prior[:, j] for j, name in enumerate(PARAMETERS)}
    variance = np.diag(c)
    type_a = budget["hand"]
    nu_eff = np.array(
        [
            effective_dof(np.array([a, max(v - a, 0.0)]), np.array([hand_dof, math.inf]))
            for a, v in zip(type_a.tolist(), variance.tolist(), strict=True)
        ]
    )
    t = np.array([student_quantile(0.975, nu) for nu in nu_eff.tolist()])
    return PlainFit(
        linear=linear,
        hand_mm=hand_mm,
        hand_dof=hand_dof,
        nu_eff=nu_eff,
        U=t * np.sqrt(variance),
        budget=budget,
    )


def taper_of(readings: tuple[Reading, ...], caliper: Caliper) -> tuple[Taper, ...]:
    """Taper from every stack that was read both straight and with its slices turned alternately.

    All slices the same face up touch at their proud sections and read the contact kerf; turned
    alternately their slanted sides lie flat on each other. Of N slices the difference in length is
    ``(N - 1) taper / 2`` exactly; the edges and the jaws are the same in both readings and cancel,
    and so does the gap, taken as the same in both.
    """
    merged = merge_repeats(readings)
    hand_mm, dof = _hand(merged, caliper)
    key = [(r.axis, r.drawn_mm, r.slices, r.contour, r.cut_ends) for r in merged]
    out = []
    for i, turned in enumerate(merged):
        if not turned.turned:
            continue
        for j, straight in enumerate(merged):
            if straight.turned or key[j] != key[i] or straight.form != turned.form:
                continue
            factor = 2.0 / ((turned.slices or 0) - 1)
            counts = [len(turned.values_mm), len(straight.values_mm)]
            hand = factor**2 * sum(hand_mm**2 / n for n in counts)
            rounding = factor**2 * sum(caliper.rounding_mm**2 / n for n in counts)
            nu = effective_dof(np.array([hand, rounding]), np.array([dof, math.inf]))
            u = math.sqrt(hand + rounding)
            out.append(
                Taper(
                    axis=turned.axis,
                    taper_mm=factor * (straight.mean_mm - turned.mean_mm),
                    u_mm=u,
                    U_mm=student_quantile(0.975, nu) * u,
                )
            )
    return tuple(out)


def fit_kerf(
    readings: tuple[Reading, ...],
    prior: KerfPrior | None = None,
    caliper: Caliper | None = None,
    assumed: GaugeAssumed | None = None,
    *,
    with_advice: bool = True,
) -> KerfFit:
    """Estimate kerf, scale and nuisances from readings.

    Parameters
    ----------
    readings
        In any sequence. None at all gives back the prior, with everything flagged.
    prior
        ``None``: the assumed one. A record's posterior may be given instead.
    caliper, assumed
        ``None``: the assumed defaults.
    with_advice
        False saves the trial of further readings.

    Returns
    -------
    KerfFit

    Raises
    ------
    ReadingError
        A value no believable kerf could give (``IMPLAUSIBLE``), a kerf outside 0 to 1 mm, or too
        many values. Exit code 2.

    Notes
    -----
    The hand's scatter is pooled with the repeats for the plain estimate only; checks and the
    average over outliers use the assumed scatter, so that a slip cannot hide itself.
    """
    readings = tuple(readings)
    check_readings(readings)
    caliper = caliper or Caliper()
    assumed = assumed or GaugeAssumed()
    prior = prior or KerfPrior.assumed(caliper=caliper)
    used = merge_repeats(tuple(r for r in readings if not r.turned))

    singles = rows_of(used, single=True)
    noise, _ = noise_covariance(
        singles,
        hand_mm=caliper.s0_mm,
        rounding_mm=caliper.rounding_mm,
        edge_sd_mm=assumed.edge_sd_mm,
    )
    check_plausible(singles, used, noise, prior, assumed)
    findings = check_repeats(used, caliper, assumed)
    average = average_over_outliers(singles, noise, prior, caliper.nu0, assumed.outliers)
    p_value, more = check_fit(average, singles, used, assumed)
    findings += more
    plain = plain_fit(used, prior, caliper, assumed.edge_sd_mm)
    share, more = check_determined(singles, noise, plain.linear.covariance, prior, assumed)
    findings += more
    expanded = 0.5 * (average.high - average.low)
    findings += check_kerf(average.mean, expanded, plain.budget, assumed)
    taper = taper_of(readings, caliper)
    for t in taper:
        if t.taper_mm < -t.U_mm:
            findings.append(
                Finding(
                    flag=Flag.TAPER_NEGATIVE,
                    about=f"taper {t.axis}",
                    text=f"{t.taper_mm:.3f} mm: the turned stack is longer than the straight one; "
                    "were the two readings exchanged?",
                )
            )
    advice: tuple[Advice, ...] = ()
    if with_advice:
        worse = PARAMETERS[KX if expanded[KX] >= expanded[KY] else KY]
        advice = advise(
            used,
            prior,
            caliper,
            edge_sd_mm=assumed.edge_sd_mm,
            hand_mm=plain.hand_mm,
            parameter=worse,
        )
    return KerfFit(
        mean=average.mean,
        covariance=average.covariance,
        low=average.low,
        high=average.high,
        plain=plain,
        average=average,
        readings=used,
        n_values=len(singles),
        chi2=average.chi2,
        p_value=p_value,
        share=share,
        findings=tuple(findings),
        advice=advice,
        taper=taper,
    )
