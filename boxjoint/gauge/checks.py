"""The checks of a set of readings, in their order, and what the readings can tell at all.

Check 1 refuses; checks 2 to 4 and the questions of what is determined give findings, plain warnings
that a person reads. What no check can see is said in :data:`BLIND_SPOTS`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from boxjoint.errors import ReadingError
from boxjoint.gauge.assumed import PARAMETERS, GaugeAssumed, KerfPrior
from boxjoint.gauge.distributions import Floats, chi2_sf, range_quantile
from boxjoint.gauge.model import EX, EY, GAP, KX, KY, Rows
from boxjoint.gauge.outliers import OutlierAverage
from boxjoint.gauge.readings import Caliper, Reading

__all__ = [
    "BLIND_SPOTS",
    "Finding",
    "Flag",
    "axis_rank",
    "check_determined",
    "check_fit",
    "check_kerf",
    "check_plausible",
    "check_repeats",
]

#: Faults that the checks hardly ever see (a stack short by one kerf: 4 to 5 times in 100).
BLIND_SPOTS = (
    "a stack that is one slice short, or two slices kept together by a bridge: count the slices",
    "jaws whose zero is off by less than 0.1 mm: close them and read the zero first",
)

_RANK_TOLERANCE = 1e-10


class Flag(StrEnum):
    """Names of the findings."""

    REPEATS = "REPEATS"
    LACK_OF_FIT = "LACK_OF_FIT"
    OUTLIER = "OUTLIER"
    CONFOUNDED = "CONFOUNDED"
    NOT_DETERMINED = "NOT_DETERMINED"
    NO_READINGS = "NO_READINGS"
    KERF_UNCERTAIN = "KERF_UNCERTAIN"
    KERF_UNUSUAL = "KERF_UNUSUAL"
    GAP_LIMITED = "GAP_LIMITED"
    TAPER_NEGATIVE = "TAPER_NEGATIVE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One plain warning: which, about what, in words."""

    flag: Flag
    about: str
    text: str

    def __str__(self) -> str:
        return f"{self.flag}: {self.about}: {self.text}"


def check_plausible(
    rows: Rows,
    readings: tuple[Reading, ...],
    noise: Floats,
    prior: KerfPrior,
    assumed: GaugeAssumed,
) -> None:
    """Check 1: refuse a value that no believable kerf, scale and slip of the hand could give.

    Parameters
    ----------
    rows, readings
        Single values as rows, and the readings they came from.
    noise
        (n, n) covariance of the noise with the assumed scatter of the hand.

    Raises
    ------
    ReadingError
        ``IMPLAUSIBLE``, naming the worst reading; ``data`` has ``flag`` and ``rows``, the indices
        of all implausible readings.
    """
    if len(rows) == 0:
        return
    spread = np.sqrt(
        np.diag(noise) + np.einsum("ij,jk,ik->i", rows.design, prior.covariance, rows.design)
    )
    off = (rows.y_mm - rows.design @ prior.mean) / spread
    bad = np.flatnonzero(np.abs(off) > assumed.plausible_sd)
    if len(bad) == 0:
        return
    worst = int(np.argmax(np.abs(off)))
    reading = readings[rows.feature[worst]]
    expected = float(rows.design[worst] @ prior.mean) - rows.y_mm[worst]
    limit = assumed.plausible_sd * float(spread[worst])
    raise ReadingError(
        "IMPLAUSIBLE value",
        where=reading.label,
        value=f"{abs(expected):.3f} mm {'less' if expected > 0 else 'more'} than expected",
        limit=f"at most {limit:.3f} mm off",
        do="check drawn size, form, number of slices and unit of this row, then read it again",
        flag="IMPLAUSIBLE",
        rows=sorted({int(rows.feature[i]) for i in bad}),
    )


def check_repeats(
    readings: tuple[Reading, ...], caliper: Caliper, assumed: GaugeAssumed
) -> list[Finding]:
    """Check 2: repeats of one feature that lie further apart than the hand explains."""
    out = []
    for r in readings:
        n = len(r.values_mm)
        if n < 2:
            continue
        sd = (
            float(np.hypot(caliper.s0_mm, caliper.rounding_mm))
            if r.u_mm is None
            else max(r.u_mm, caliper.rounding_mm)
        )
        limit = range_quantile(1.0 - assumed.repeat_probability, n) * sd
        spread = max(r.values_mm) - min(r.values_mm)
        if spread > limit:
            out.append(
                Finding(
                    flag=Flag.REPEATS,
                    about=r.label,
                    text=f"the {n} values lie {spread:.3f} mm apart, more than {limit:.3f} mm; "
                    "read this feature again",
                )
            )
    return out


def check_fit(
    average: OutlierAverage,
    rows: Rows,
    readings: tuple[Reading, ...],
    assumed: GaugeAssumed,
) -> tuple[float, list[Finding]]:
    """Checks 3 and 4: lack of fit as a whole, and the probability that no reading is bad.

    Returns
    -------
    p_value, findings
        Probability of a chi-squared at least this large when nothing is wrong.
    """
    n = len(rows)
    p_value = chi2_sf(average.chi2, n) if n else 1.0
    out = []
    if p_value < assumed.fit_probability:
        out.append(
            Finding(
                flag=Flag.LACK_OF_FIT,
                about="readings",
                text=f"they do not agree with each other (chi-squared {average.chi2:.1f} for "
                f"{n} values, p = {p_value:.2g})",
            )
        )
    if average.p_none < assumed.no_outlier_probability:
        worst = int(np.argmax(average.p_row))
        out.append(
            Finding(
                flag=Flag.OUTLIER,
                about=readings[rows.feature[worst]].label,
                text=f"a reading is probably bad (probability {1 - average.p_none:.2f}), most "
                f"likely this one ({average.p_row[worst]:.2f}); nothing was deleted, the "
                "uncertainty has grown instead; read it again",
            )
        )
    return p_value, out


def axis_rank(rows: Rows, noise: Floats, axis: str) -> int:
    """Rank (0, 1 or 2) of what the readings say about kerf and scale of one axis.

    Kerf and scale are confounded exactly if all pairs (drawn size, number of kerfs) along the axis
    are proportional: two plugs of one size, but also two stacks of the same pitch. Nuisances are
    held fixed; the columns are whitened and scaled to length 1.
    """
    columns = rows.design[:, [KX, EX] if axis == "x" else [KY, EY]]
    used = np.abs(columns).sum(axis=1) > 0
    if not used.any():
        return 0
    white = np.linalg.solve(np.linalg.cholesky(noise[np.ix_(used, used)]), columns[used])
    size = np.sqrt((white * white).sum(axis=0))
    size[size == 0.0] = 1.0
    values = np.linalg.svd(white / size, compute_uv=False)
    return int((values > _RANK_TOLERANCE * values[0]).sum())


def check_determined(
    rows: Rows,
    noise: Floats,
    covariance: Floats,
    prior: KerfPrior,
    assumed: GaugeAssumed,
) -> tuple[Floats, list[Finding]]:
    """What the readings determine: share of the prior's standard deviation that is left.

    Returns
    -------
    share, findings
        (9,) sqrt(C_jj) / prior sd, and the findings on kerf and scale of both axes.
    """
    share = np.sqrt(np.diag(covariance)) / prior.sd
    out = []
    for axis, k, e in (("x", KX, EX), ("y", KY, EY)):
        rank = axis_rank(rows, noise, axis) if len(rows) else 0
        about = f"kerf_{axis} and scale_{axis}"
        if rank == 0:
            out.append(
                Finding(
                    flag=Flag.NO_READINGS,
                    about=about,
                    text=f"nothing was read along {axis}; what is given rests on the prior"
                    + (" and on the other axis" if len(rows) else ""),
                )
            )
        elif rank == 1:
            out.append(
                Finding(
                    flag=Flag.CONFOUNDED,
                    about=about,
                    text="these readings cannot tell the one from the other; add a reading with "
                    "another ratio of size to number of cuts, for example the window of a stack",
                )
            )
        for j in (k, e):
            # an axis without readings is never determined, however well the other one is known
            if share[j] > assumed.undetermined_share or rank == 0:
                out.append(
                    Finding(
                        flag=Flag.NOT_DETERMINED,
                        about=PARAMETERS[j],
                        text=f"{100 * share[j]:.0f} % of the prior's spread is left: this value is "
                        "assumed, not measured",
                    )
                )
    return share, out


def check_kerf(
    mean: Floats, expanded: Floats, budget: dict[str, Floats], assumed: GaugeAssumed
) -> list[Finding]:
    """Check the kerfs found: outside the usual range, too uncertain, limited by the gap.

    Raises
    ------
    ReadingError
        A kerf outside ``assumed.kerf_limits_mm``: no beam cuts so.
    """
    least, most = assumed.kerf_limits_mm
    usual = assumed.kerf_range_mm
    out = []
    for j in (KX, KY):
        name, k = PARAMETERS[j], float(mean[j])
        if not least <= k <= most:
            raise ReadingError(
                f"the readings give an impossible {name}",
                where="readings",
                value=f"{k:.3f} mm",
                limit=f"{least:g} to {most:g} mm",
                do="check the form of every row: was a plug given as a hole?",
                flag="IMPOSSIBLE_KERF",
            )
        if not usual[0] <= k <= usual[1]:
            out.append(
                Finding(
                    flag=Flag.KERF_UNUSUAL,
                    about=name,
                    text=f"{k:.3f} mm is outside {usual[0]:g} to {usual[1]:g} mm, where kerfs of "
                    "hobby lasers lie; is it the full width?",
                )
            )
        if expanded[j] > assumed.kerf_U_mm:
            out.append(
                Finding(
                    flag=Flag.KERF_UNCERTAIN,
                    about=name,
                    text=f"uncertain by {expanded[j]:.3f} mm, more than {assumed.kerf_U_mm:g} mm",
                )
            )
        total = sum(float(part[j]) for part in budget.values())
        share = float(budget[PARAMETERS[GAP]][j]) / total
        if share > assumed.gap_share:
            out.append(
                Finding(
                    flag=Flag.GAP_LIMITED,
                    about=name,
                    text=f"{100 * share:.0f} % of its variance is the gap between slices: more "
                    "slices will not help; brush off the char and squeeze harder",
                )
            )
    return out
