"""What a shop learns from its gauges and boxes: a linear-Gaussian filter over time.

State of one machine, five shared quantities and the kerf of each of R records (a record is one
material, thickness and settings)::

    d            kerf_x - kerf_y, mm, the same for all records
    e_x, e_y     scale minus 1, the same for all records: every box of any material teaches scale
    b            size lost to backlash, mm
    z            error that all gauges of the shop share (gap, jaw zeros), in units of its own
                 standard deviation: ten gauges read in one day do not divide it by ten
    k_1 .. k_R   mean kerf (kerf_x + kerf_y)/2 of each record, mm; drifts

so that ``kerf_x = k + d/2`` and ``kerf_y = k - d/2``. Time adds variance to the kerfs only: a
reading of age a counts with variance r^2 + q^2 a, none is ever deleted. A reading that the state
cannot explain (gate) is taken as a step of the machine: the kerf's variance is raised, the step is
flagged, and then the reading is used. Readings that hardly see the kerf (a strip; an inside size while
the scale is not known) cannot tell a step of it: they are a misfit, flagged and used as they are.

All sizes that nobody measured are in :class:`Assumed`.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import BookError, InputError

__all__ = ["Assumed", "Observation", "ShopFilter", "Surprise", "elapsed_jobs", "steady_u_mm"]

Array = NDArray[np.float64]

#: Another number when the same readings would lead to another state: nothing computed before is used.
_EDITION: Final = 2
#: 99 % quantiles of chi-squared for 1 to 4 degrees of freedom.
_CHI2_99: Final = (6.6349, 9.2103, 11.3449, 13.2767)
#: Share of an observation's own information that the shared gauge error may explain at most.
_MOST_SHARED: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Every size that the filter takes for granted; nobody measured them. ``u`` is standard.

    Parameters
    ----------
    kerf_mm, kerf_u_mm
        Kerf of a record before anything was read, mm.
    difference_u_mm
        Of kerf_x - kerf_y, about 0, mm.
    scale_u
        Of each scale, about 1 (1.2e-3 is 1.2 mm in a metre).
    backlash_u_mm
        Of the size lost to backlash, about 0, mm.
    gauge_u_mm
        Error of the kerf that all gauges of a shop share (gap, jaw zeros), mm. Part of it is
        fresh in every gauge; with 0.003 the 95 % intervals cover 94 % or more in simulated shops
        where none, half or all of it is shared, with 0.0055 they cover 79 % where none is.
    drift_mm, jump_mm, jump_rate
        Random walk of the kerf in one job, mm, and jumps of standard deviation ``jump_mm`` in a
        share ``jump_rate`` of all jobs; at least ``least_drift_mm`` is used for both together.
    drift_common
        Share of the drift's variance that all records of the machine have in common.
    service_kerf_u_mm, service_scale_u
        Added where work on the machine can have moved the kerf or the scale.
    days_per_job, hours_per_job
        Calendar days, and hours of cutting, that age a kerf as much as one job.
    edge_u_mm
        Of one cut edge's place, mm.
    inside_u_mm
        Of a measured inside size where the reading does not say, mm.
    seat_mm, seat_u_mm
        Shoulders that do not seat fully make the inside larger by ``seat_mm``; ``seat_u_mm`` at
        each of the two.
    fit_low_mm, fit_high_mm, fit_u_mm
        A box is called tight when its clearance misses the wanted one by less than ``fit_low_mm``,
        loose when by more than ``fit_high_mm``; both blurred by ``fit_u_mm``.
    gate, gate_to
        A reading whose squared standardised surprise exceeds ``gate`` is a step; variance is
        raised until the surprise is ``gate_to`` (99 and 95 % of chi-squared, 1 degree).
    check_u_mm
        Where u(kerf) exceeds this before a job, the two-reading check is proposed.
    same_thickness_mm
        Sheets within this of their record's middle thickness share its kerf.
    """

    kerf_mm: float = 0.20
    kerf_u_mm: float = 0.06
    difference_u_mm: float = 0.03
    scale_u: float = 1.2e-3
    backlash_u_mm: float = 0.025
    gauge_u_mm: float = 0.003
    drift_mm: float = 0.006
    jump_mm: float = 0.06
    jump_rate: float = 0.04
    least_drift_mm: float = 0.002
    drift_common: float = 0.64
    service_kerf_u_mm: float = 0.06
    service_scale_u: float = 1.2e-3
    days_per_job: float = 7.0
    hours_per_job: float = 1.0
    edge_u_mm: float = 0.02
    inside_u_mm: float = 0.05
    seat_mm: float = 0.024
    seat_u_mm: float = 0.009
    fit_low_mm: float = -0.03
    fit_high_mm: float = 0.03
    fit_u_mm: float = 0.02
    gate: float = 6.63
    gate_to: float = 3.84
    check_u_mm: float = 0.014
    same_thickness_mm: float = 0.25

    def __post_init__(self) -> None:
        values = {name: getattr(self, name) for name in self.__slots__}
        for name, value in values.items():
            if not math.isfinite(value) or (value < 0 and name not in ("fit_low_mm", "seat_mm")):
                raise InputError(
                    "an assumed size must be finite and not negative",
                    where=f"Assumed.{name}",
                    value=repr(value),
                )
        for name in ("kerf_u_mm", "difference_u_mm", "scale_u", "backlash_u_mm", "fit_u_mm"):
            if not values[name] > 0:
                raise InputError("must be larger than zero", where=f"Assumed.{name}")
        if not (
            self.drift_common <= 1 and self.jump_rate <= 1 and self.fit_low_mm < self.fit_high_mm
        ):
            raise InputError("the assumed sizes contradict each other", where="Assumed")
        if not (self.days_per_job > 0 and self.hours_per_job > 0 and self.gate >= self.gate_to > 0):
            raise InputError("the assumed sizes contradict each other", where="Assumed")

    @property
    def drift_variance(self) -> float:
        """Variance that one job adds to a kerf, mm^2: random walk and jumps."""
        both = self.drift_mm**2 + self.jump_rate * self.jump_mm**2
        return max(both, self.least_drift_mm**2)

    @property
    def fingerprint(self) -> str:
        """Changes when any size or the filter does: what was computed otherwise is not used again."""
        return hashlib.sha256(f"{_EDITION} {self!r}".encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What one gauge says of (kerf_x, kerf_y, scale_x - 1, scale_y - 1), without any prior.

    In information form, so that a gauge that says nothing of one of them can be told: ``info`` is
    the inverse covariance (4 rows of 4, may be singular), ``vector`` is ``info`` times the
    estimate. Units mm and dimensionless.
    """

    info: tuple[tuple[float, ...], ...]
    vector: tuple[float, ...]

    @classmethod
    def from_posterior(
        cls, mean: Array, covariance: Array, prior_mean: Array, prior_covariance: Array
    ) -> Observation:
        """Take the prior out of a posterior: what the readings alone said.

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
        return cls(
            info=tuple(tuple(map(float, row)) for row in clean),
            vector=tuple(map(float, root @ (back @ vector))),
        )

    @classmethod
    def from_estimate(cls, mean: Array, covariance: Array) -> Observation:
        """An estimate of all four that used no prior."""
        info = np.linalg.inv(covariance)
        return cls(
            info=tuple(tuple(map(float, row)) for row in info),
            vector=tuple(map(float, info @ mean)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """A reading that the state could not explain.

    ``name`` is ``STEP`` (taken as a step of the kerf by about ``shift_mm``) or ``MISFIT`` (something
    else than a step of the kerf, or readings that could not tell; used as they are). ``z2`` is the
    squared standardised surprise.
    """

    name: str
    z2: float
    shift_mm: float


_D, _EX, _EY, _B, _Z = range(5)
_SHARED: Final = 5


class ShopFilter:
    """The state of one machine: mean (5 + R,) and covariance (5 + R, 5 + R); see the module.

    A record joins with its prior when it is first met, not when the machine was bought: what is
    assumed of a kerf that nobody has read does not grow old.
    """

    def __init__(self, records: int = 0, assumed: Assumed | None = None) -> None:
        self.assumed = a = assumed or Assumed()
        self.mean: Array = np.zeros(_SHARED)
        shared = [a.difference_u_mm, a.scale_u, a.scale_u, a.backlash_u_mm, 1.0]
        self.cov: Array = np.diag(np.square(shared))
        for _ in range(records):
            self.add_record()

    @property
    def records(self) -> int:
        """Number of records, R."""
        return len(self.mean) - _SHARED

    def add_record(self) -> int:
        """Add a record of which nothing was read yet; return its number, from 0."""
        a, n = self.assumed, len(self.mean)
        self.mean = np.append(self.mean, a.kerf_mm)
        cov = np.zeros((n + 1, n + 1))
        cov[:n, :n] = self.cov
        cov[n, n] = a.kerf_u_mm**2
        self.cov = cov
        return n - _SHARED

    def _combine(self, record: int) -> Array:
        """(4, 5 + R) rows that take the state to kerf_x, kerf_y, scale_x - 1, scale_y - 1."""
        h = np.zeros((4, len(self.mean)))
        h[:2, _SHARED + record] = 1.0
        h[0, _D], h[1, _D] = 0.5, -0.5
        h[2, _EX] = h[3, _EY] = 1.0
        return h

    # ---- time --------------------------------------------------------------------------

    def advance(self, jobs: float) -> None:
        """Let ``jobs`` jobs' worth of time pass (a fraction is allowed)."""
        if jobs > 0:
            a = self.assumed
            more = jobs * a.drift_variance
            kerfs = np.arange(_SHARED, len(self.mean))
            self.cov[_SHARED:, _SHARED:] += a.drift_common * more
            self.cov[kerfs, kerfs] += (1.0 - a.drift_common) * more

    def service(self, affects: str) -> None:
        """Work on the machine: the kerf, the scale or both may be others now."""
        if affects in ("kerf", "both"):
            kerfs = np.arange(_SHARED, len(self.mean))
            self.cov[kerfs, kerfs] += self.assumed.service_kerf_u_mm**2
        if affects in ("scale", "both"):
            for i in (_EX, _EY):
                self.cov[i, i] += self.assumed.service_scale_u**2

    # ---- readings ----------------------------------------------------------------------

    def gauge(self, record: int, seen: Observation) -> list[Surprise]:
        """Use one gauge cut in ``record``."""
        info, vector = np.array(seen.info), np.array(seen.vector)
        kerfs = np.array([1.0, 1.0, 0.0, 0.0])
        told = info @ kerfs
        about = float(kerfs @ told)
        if about <= 0.0 and not info.any():
            return []
        shared = 0.0
        if about > 0.0 and self.assumed.gauge_u_mm > 0.0:
            # part of the estimate's variance is common to all gauges: R = R_own + shared^2 11'
            shared = min(self.assumed.gauge_u_mm, math.sqrt(_MOST_SHARED / about))
            gain = shared**2 / (1.0 - shared**2 * about)
            vector = vector + gain * told * float(kerfs @ vector)
            info = info + gain * np.outer(told, told)
        # independent rows of unit variance: info = W'W
        size = np.sqrt(np.diag(info))
        size[size == 0.0] = 1.0
        values, axes = np.linalg.eigh(info / np.outer(size, size))
        keep = values > 1e-9
        weights = (np.sqrt(values[keep])[:, None] * axes[:, keep].T) * size
        y = (axes[:, keep].T @ (vector / size)) / np.sqrt(values[keep])
        h = self._combine(record)
        h[:2, _Z] = shared
        return self._update(record, weights @ h, y, np.ones(len(y)))

    def inside(
        self,
        record: int,
        axis: str,
        *,
        asked_mm: float,
        measured_mm: float,
        kerf_mm: float,
        scale: float,
        u_mm: float | None = None,
    ) -> list[Surprise]:
        """Use one inside size of a box that was compensated for ``kerf_mm`` and ``scale``.

        As cut: measured = asked + asked (e - e used) - (kerf - kerf used) - b + seats.
        """
        a, i = self.assumed, ("x", "y").index(axis)
        rows = self._combine(record)
        h = asked_mm * rows[2 + i : 3 + i] - rows[i : i + 1]
        h[0, _B] = -1.0
        y = measured_mm - asked_mm - a.seat_mm + asked_mm * (scale - 1.0) - kerf_mm
        u = a.inside_u_mm if u_mm is None else u_mm
        noise = u**2 + 2 * a.edge_u_mm**2 + 2 * a.seat_u_mm**2
        return self._update(record, h, np.array([y]), np.array([noise]))

    def fit(self, record: int, verdict: str, *, kerf_mm: float) -> list[Surprise]:
        """Use how a box fitted that was compensated for the mean kerf ``kerf_mm``.

        The clearance misses the wanted one by 2 (k - k used); the verdict says between which
        bounds. The posterior is replaced by the normal one of equal mean and variance.
        """
        a = self.assumed
        low, high = {
            "tight": (-math.inf, a.fit_low_mm),
            "ok": (a.fit_low_mm, a.fit_high_mm),
            "loose": (a.fit_high_mm, math.inf),
        }[verdict]
        h = np.zeros(len(self.mean))
        h[_SHARED + record] = 2.0
        miss = 2.0 * (float(self.mean[_SHARED + record]) - kerf_mm)
        short = low - miss if miss < low else min(high - miss, 0.0)
        out = self._gate(record, h[None, :], np.array([short]), np.array([a.fit_u_mm**2]))
        ph = self.cov @ h
        s = math.sqrt(float(h @ ph) + a.fit_u_mm**2)
        dm, dv = _truncated((low - miss) / s, (high - miss) / s)
        self.mean = self.mean + ph / s * dm
        self.cov = _symmetric(self.cov - np.outer(ph, ph) / s**2 * (1.0 - dv))
        return out

    def _update(self, record: int, h: Array, y: Array, noise: Array) -> list[Surprise]:
        v = y - h @ self.mean
        out = self._gate(record, h, v, noise)
        ph = self.cov @ h.T
        s = h @ ph + np.diag(noise)
        gain = np.linalg.solve(s, ph.T).T
        self.mean = self.mean + gain @ v
        self.cov = _symmetric(self.cov - gain @ ph.T)
        return out

    def _gate(self, record: int, h: Array, v: Array, noise: Array) -> list[Surprise]:
        """Test the innovation ``v`` for a step of the record's kerf, and make room for one.

        Score test along the record's kerf: with S = h P h' + R and u = h's column of the kerf,
        t^2 = (u'S^-1 v)^2 / u'S^-1 u has one degree of freedom; raising P_kk by x divides it by
        1 + x u'S^-1 u. For a single row this is v^2/s. Only readings that alone, with nothing known
        of this kerf before, would leave u(kerf) within ``kerf_u_mm`` are asked for a step: what
        sees the kerf no better than the assumption did says nothing of it.
        """
        column = _SHARED + record
        s = h @ self.cov @ h.T + np.diag(noise)
        u = h[:, column]
        solved = np.linalg.solve(s, np.column_stack([u, v]))
        z2 = float(v @ solved[:, 1])
        if not self._sees_kerf(column, h, noise):
            if z2 > _CHI2_99[len(v) - 1]:
                return [Surprise(name="MISFIT", z2=z2, shift_mm=0.0)]
            return []
        g = float(u @ solved[:, 0])
        score = float(u @ solved[:, 1])
        t2 = score**2 / g if g > 0 else 0.0
        out = []
        if t2 > self.assumed.gate:
            out.append(Surprise(name="STEP", z2=t2, shift_mm=score / g))
            more = (t2 / self.assumed.gate_to - 1.0) / g
            kerfs = np.arange(_SHARED, len(self.mean))
            self.cov[kerfs, kerfs] += 0.5 * more
            self.cov[column, column] += 0.5 * more
        rest = len(v) - 1
        if rest and z2 - t2 > _CHI2_99[rest - 1]:
            out.append(Surprise(name="MISFIT", z2=z2 - t2, shift_mm=0.0))
        return out

    def _sees_kerf(self, column: int, h: Array, noise: Array) -> bool:
        """Whether readings ``h`` alone leave the kerf of ``column`` no more uncertain than assumed.

        u(kerf) is 1/sqrt(u'S^-1 u), S from the state without that kerf.
        """
        rest = np.delete(np.arange(len(self.mean)), column)
        part = h[:, rest]
        s = part @ self.cov[np.ix_(rest, rest)] @ part.T + np.diag(noise)
        u = h[:, column]
        return bool(u @ np.linalg.solve(s, u) * self.assumed.kerf_u_mm**2 >= 1.0)

    # ---- answers -----------------------------------------------------------------------

    def belief(self, record: int) -> tuple[Array, Array]:
        """Mean (4,) and covariance (4, 4) of kerf_x, kerf_y (mm), scale_x - 1, scale_y - 1."""
        h = self._combine(record)
        return h @ self.mean, _symmetric(h @ self.cov @ h.T)

    def scale(self) -> tuple[Array, Array]:
        """Mean (2,) and covariance (2, 2) of scale_x - 1, scale_y - 1."""
        part = slice(_EX, _EY + 1)
        return self.mean[part].copy(), self.cov[part, part].copy()

    def check(self) -> None:
        """Refuse a covariance that has lost its meaning (least eigenvalue of the correlation).

        Raises
        ------
        BookError
            The readings contradict the arithmetic; cannot happen with sane sizes.
        """
        size = np.sqrt(np.maximum(np.diag(self.cov), 1e-300))
        least = np.linalg.eigvalsh(self.cov / np.outer(size, size))[0]
        if not (least > -1e-12 and np.isfinite(self.mean).all()):
            raise BookError(
                "what is believed of this machine cannot be computed",
                value=f"least eigenvalue {least:.3g}",
                do="export the book and report this; the readings are not touched",
            )

    def to_plain(self) -> dict[str, Any]:
        """Return the state as lists, to be read by :meth:`restore`."""
        return {"mean": self.mean.tolist(), "cov": self.cov.tolist()}

    def restore(self, plain: dict[str, Any]) -> None:
        """Take the state that :meth:`to_plain` wrote."""
        mean, cov = np.array(plain["mean"], dtype=float), np.array(plain["cov"], dtype=float)
        if mean.ndim != 1 or len(mean) < _SHARED or cov.shape != (len(mean), len(mean)):
            raise ValueError("not a state")
        self.mean, self.cov = mean, cov


def _symmetric(matrix: Array) -> Array:
    out: Array = 0.5 * (matrix + matrix.T)
    return out


def _truncated(low: float, high: float) -> tuple[float, float]:
    """Mean and variance of a standard normal between ``low`` and ``high``."""
    if low > 0 or (high > 0 and low + high > 0):
        # mirrored: in the lower tail erfc loses no digits
        mean, variance = _truncated(-high, -low)
        return -mean, variance
    mass = _cdf(high) - _cdf(low)
    if mass < 1e-300:
        return high, 0.0
    at_low, at_high = _density(low), _density(high)
    mean = (at_low - at_high) / mass
    edges = (low * at_low if at_low else 0.0) - (high * at_high if at_high else 0.0)
    return mean, min(max(1.0 + edges / mass - mean**2, 0.0), 1.0)


def _density(x: float) -> float:
    return math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi) if math.isfinite(x) else 0.0


def _cdf(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def steady_u_mm(drift_mm: float, reading_u_mm: float) -> float:
    """Return u(kerf) just before the next reading, once a shop reads one gauge a job.

    The fixed point of the scalar filter: u^2 = q^2/2 (1 + sqrt(1 + 4 r^2/q^2)) for drift q in one
    job and readings of standard uncertainty r, both mm.
    """
    if not (drift_mm > 0 and reading_u_mm >= 0):
        raise InputError("drift must be larger than zero", value=f"{drift_mm!r}, {reading_u_mm!r}")
    ratio = reading_u_mm / drift_mm
    return drift_mm * math.sqrt(0.5 * (1.0 + math.sqrt(1.0 + 4.0 * ratio**2)))


def elapsed_jobs(*, days: float, jobs: float, hours: float | None, assumed: Assumed) -> float:
    """Return how many jobs' worth of ageing lie between two events.

    The machine's own hour counter counts where both events have it; else the jobs logged in
    between or the calendar, whichever is more.
    """
    if hours is not None and hours >= 0:
        return hours / assumed.hours_per_job
    return max(jobs, days / assumed.days_per_job, 0.0)
