"""Sizes that nobody measured: every default that the estimators lean on, as an input.

Each record can be replaced by what a shop knows of itself. A figure that rests on one of these
defaults is shown as assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields

import numpy as np

from boxjoint.errors import InputError
from boxjoint.fit.tabs import EDGE_SD_MM
from boxjoint.gauge.distributions import Floats
from boxjoint.gauge.readings import Caliper

__all__ = [
    "PARAMETERS",
    "CombAssumed",
    "GaugeAssumed",
    "KerfPrior",
    "OutlierAssumed",
    "PriorSizes",
]

#: The nine parameters of the model, in the fixed order of every vector and matrix.
#: kerf: contact kerf, full width, mm; scale: size cut over size drawn, minus 1; backlash: what a
#: closed contour comes out too small by, plug and hole alike, mm; zero: what the jaws read too
#: large by, mm; gap: between two slices of a stack pressed together, mm.
PARAMETERS = (
    "kerf_x",
    "kerf_y",
    "scale_x",
    "scale_y",
    "backlash_x",
    "backlash_y",
    "zero_outside",
    "zero_inside",
    "gap",
)


def _positive(record: object, *, zero_allowed: tuple[str, ...] = ()) -> None:
    for f in fields(record):  # type: ignore[arg-type]
        value = getattr(record, f.name)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            continue
        if not math.isfinite(value) or value < 0 or (value == 0 and f.name not in zero_allowed):
            raise InputError(
                f"{f.name} must be larger than zero", where=type(record).__name__, value=repr(value)
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorSizes:
    """What is believed before any reading; all assumed.

    Parameters
    ----------
    kerf_mm, kerf_sd_mm
        Mean of ``kerf_x`` and ``kerf_y``: assumed 0.20 +- 0.15 (hobby lasers in 3 to 6 mm stock lie
        between 0.05 and 0.40 mm: common practice, no source).
    kerf_difference_sd_mm
        Standard deviation of ``kerf_x - kerf_y``: assumed 0.12. Diode beams are often twice as wide
        one way (common practice, no source): that both are alike must never stand in for a reading.
    scale_sd
        Standard deviation of each scale minus 1: assumed 2e-3.
    backlash_sd_mm
        Assumed 0.02, mean 0, per axis.
    gap_mm, gap_sd_mm
        Gap per interface of a stack: assumed 0.008 +- 0.006; with charred edges brushed off and a
        firm squeeze 0.003 is within reach.
    """

    kerf_mm: float = 0.20
    kerf_sd_mm: float = 0.15
    kerf_difference_sd_mm: float = 0.12
    scale_sd: float = 2e-3
    backlash_sd_mm: float = 0.02
    gap_mm: float = 0.008
    gap_sd_mm: float = 0.006

    def __post_init__(self) -> None:
        _positive(self, zero_allowed=("gap_mm", "kerf_mm"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KerfPrior:
    """Normal prior of the nine parameters: an assumed one, or the posterior of a record.

    Parameters
    ----------
    mean
        (9,) in the order of :data:`PARAMETERS`; mm, scale dimensionless.
    covariance
        (9, 9), symmetric, positive definite.
    """

    mean: Floats
    covariance: Floats

    def __post_init__(self) -> None:
        mean = np.array(self.mean, dtype=float)
        cov = np.array(self.covariance, dtype=float)
        if mean.shape != (9,) or cov.shape != (9, 9):
            raise InputError(
                "a prior has nine parameters", where="KerfPrior", value=f"{mean.shape}, {cov.shape}"
            )
        if not (np.isfinite(mean).all() and np.isfinite(cov).all()):
            raise InputError("a prior must be finite", where="KerfPrior")
        sd = np.sqrt(np.maximum(np.diag(cov), 1e-300))
        scaled = cov / np.outer(sd, sd)
        if np.abs(scaled - scaled.T).max() > 1e-9 or np.linalg.eigvalsh(scaled)[0] < 1e-12:
            raise InputError(
                "the prior covariance is not positive definite",
                where="KerfPrior",
                do="give every parameter a standard deviation larger than zero",
            )
        cov = 0.5 * (cov + cov.T)
        mean.flags.writeable = cov.flags.writeable = False
        object.__setattr__(self, "mean", mean)
        object.__setattr__(self, "covariance", cov)

    @classmethod
    def assumed(cls, sizes: PriorSizes | None = None, caliper: Caliper | None = None) -> KerfPrior:
        """Build the prior from sizes and caliper; without arguments all of it is assumed."""
        p, c = sizes or PriorSizes(), caliper or Caliper()
        mean = np.array([p.kerf_mm, p.kerf_mm, 0, 0, 0, 0, 0, 0, p.gap_mm])
        sd = (
            [0.0, 0.0]
            + [p.scale_sd] * 2
            + [p.backlash_sd_mm] * 2
            + [c.u_zero_outside_mm, c.u_zero_inside_mm, p.gap_sd_mm]
        )
        cov = np.diag(np.square(sd))
        # kerf_x = mean + difference/2, kerf_y = mean - difference/2
        common, own = p.kerf_sd_mm**2, 0.25 * p.kerf_difference_sd_mm**2
        cov[:2, :2] = [[common + own, common - own], [common - own, common + own]]
        return cls(mean=mean, covariance=cov)

    @property
    def sd(self) -> Floats:
        """(9,) standard deviations."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlierAssumed:
    """How often and how far a reading goes wrong; all assumed.

    Parameters
    ----------
    odds
        Prior odds that a given reading (or all repeats of a feature) is bad: assumed 0.02.
    width_mm
        Standard deviation of the error of a bad reading, mm: assumed 0.5.
    extra_dof
        Added to the caliper's ``nu0`` for the Student scale of each hypothesis: 4.
    pairs_up_to, pair_rows
        Up to ``pairs_up_to`` readings every pair is tried; beyond that only pairs of the
        ``pair_rows`` readings with the largest deletion residual.
    """

    odds: float = 0.02
    width_mm: float = 0.5
    extra_dof: float = 4.0
    pairs_up_to: int = 20
    pair_rows: int = 12

    def __post_init__(self) -> None:
        _positive(self, zero_allowed=("extra_dof",))


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeAssumed:
    """Everything assumed in an estimate of kerf beside the prior and the caliper.

    Parameters
    ----------
    edge_sd_mm
        Standard deviation of the place of one cut edge, white from edge to edge: assumed 0.02.
        A real machine's error is periodic as well; that is not modelled.
    outliers
        See :class:`OutlierAssumed`.
    plausible_sd
        Check 1 refuses a reading this many standard deviations off what the prior allows: 4.
    repeat_probability
        Check 2 flags repeats whose range is exceeded with this probability when nothing is wrong:
        0.00165, that is 4.45 standard deviations for two values.
    fit_probability
        Check 3 flags a lack of fit below this probability: 0.01.
    no_outlier_probability
        Check 4 flags when no outlier is less probable than this: 0.5.
    undetermined_share
        A parameter that keeps more than this share of its prior standard deviation is not
        determined: 0.5.
    kerf_U_mm
        Expanded uncertainty of a kerf above which a warning is given: 0.02.
    gap_share
        Share of the gap in a kerf's variance above which more slices will not help: 0.5.
    kerf_range_mm
        Kerf outside this range is questioned: 0.05 to 0.40 (common practice, no source).
    kerf_limits_mm
        Kerf outside these limits is refused: 0 to 1.
    """

    edge_sd_mm: float = EDGE_SD_MM
    outliers: OutlierAssumed = field(default_factory=OutlierAssumed)
    plausible_sd: float = 4.0
    repeat_probability: float = 0.00165
    fit_probability: float = 0.01
    no_outlier_probability: float = 0.5
    undetermined_share: float = 0.5
    kerf_U_mm: float = 0.02
    gap_share: float = 0.5
    kerf_range_mm: tuple[float, float] = (0.05, 0.40)
    kerf_limits_mm: tuple[float, float] = (0.0, 1.0)

    def __post_init__(self) -> None:
        _positive(self, zero_allowed=("edge_sd_mm",))


@dataclass(frozen=True, slots=True, kw_only=True)
class CombAssumed:
    """Everything assumed about combs, verdicts and thresholds.

    The thresholds phi_1 < phi_2 < phi_3 are clearances as drawn (slot minus tab on the drawing) at
    which a verdict changes; theta_m = phi_m + 2 kerf is the clearance as cut, the same for every
    machine as far as it is known.

    Parameters
    ----------
    theta2_mm, theta2_sd_mm
        Where "just slides" begins: assumed 0 +- 0.10; 0.04 once a user's own theta is known.
    step12_mm, step23_mm
        Median of phi_2 - phi_1 and phi_3 - phi_2: assumed 0.10 and 0.12.
    step_log_sd
        Standard deviation of the logarithm of both: assumed 0.35.
    edge_sd_mm
        Standard deviation of the place of one cut edge: assumed 0.02.
    fuzz_mm, fuzz_log_sd
        Standard deviation of the maker's own judgement of a slot: assumed 0.012, and its logarithm
        known to 0.8, so that 0.06 lies within two: verdicts that go up and down along a comb tell
        of it.
    glue_film_mm
        Added to phi_2 for a glued joint: assumed 0.05.
    factor_floor
        Least probability given to any verdict, so that one slip cannot rule everything out: 1e-9.
    next_step_sd, least_step_mm
        The next comb steps by ``next_step_sd`` posterior standard deviations (0.6), but never by
        less than ``least_step_mm`` (0.02).
    stop_sd_mm
        Standard deviation of the wanted clearance at which to stop: 0.02.
    least_ess
        Effective number of particles below which they are drawn afresh: 400 of 4096. At 100 the
        standard deviation can be 10 % off when the verdicts make little sense.
    """

    theta2_mm: float = 0.0
    theta2_sd_mm: float = 0.10
    step12_mm: float = 0.10
    step23_mm: float = 0.12
    step_log_sd: float = 0.35
    edge_sd_mm: float = EDGE_SD_MM
    fuzz_mm: float = 0.012
    fuzz_log_sd: float = 0.8
    glue_film_mm: float = 0.05
    factor_floor: float = 1e-9
    next_step_sd: float = 0.6
    least_step_mm: float = 0.02
    stop_sd_mm: float = 0.02
    least_ess: float = 400.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.theta2_mm):
            raise InputError("theta2_mm must be finite", where="CombAssumed")
        others = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "theta2_mm"}
        for name, value in others.items():
            if not math.isfinite(value) or value < 0 or (value == 0 and name != "glue_film_mm"):
                raise InputError(
                    f"{name} must be larger than zero", where="CombAssumed", value=repr(value)
                )
