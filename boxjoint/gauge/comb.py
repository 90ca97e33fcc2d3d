"""The comb: from verdicts on slots to the clearance that gives the wanted fit.

What is felt is the clearance as cut, x + 2 kerf: x is the clearance as drawn on the comb (slot minus
tab on the drawing, mm, positive is loose), the kerf that of the day and the axis that the comb was cut
on. A slot's verdict is the number of thresholds phi_1 < phi_2 < phi_3 that lie below it, blurred by the
scatter of cut edges and of judgement, which the verdicts tell as well. Thresholds are held as drawn on
a *reference day* (the first comb's), where the kerf cancels; combs of other days are carried there by
the difference of the kerfs, as uncertain as that is (:class:`KerfDays`).

The posterior is held by particles: points of a scrambled Sobol sequence put through the prior, with
weights. Verdicts that go up and down along the comb need no special case.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum, StrEnum
from functools import lru_cache

import numpy as np

from boxjoint.errors import ReadingError, nearest_name
from boxjoint.gauge.assumed import CombAssumed
from boxjoint.gauge.distributions import Floats, normal_cdf, sobol_normal
from boxjoint.job.records import FITS

__all__ = [
    "INFORMATION",
    "CombAnswer",
    "CombFinding",
    "CombFlag",
    "CombResult",
    "CombRound",
    "CombState",
    "Felt",
    "KerfDays",
    "NextComb",
    "Slot",
    "Verdict",
    "comb_answer",
    "comb_felt",
    "comb_learnt",
    "comb_start",
    "comb_update",
    "next_comb",
    "sd_after_another",
    "slot_positions",
    "target_of",
]

#: Integral of phi^2 / (Phi (1 - Phi)): a comb of step d fixes a threshold to sqrt(sigma d / this).
INFORMATION = 1.80639457113725

#: Of a comb that is to be cut; one verdict is worth reading all the same.
LEAST_SLOTS, MOST_SLOTS = 3, 15
#: Slots of the next comb where the last one had too few for a comb.
_USUAL_SLOTS = 9

_POWER = 12  # 4096 particles
_SEED = 20_241
_NODES = 9
_MOST_MOVES = 12
_LOST = 10.0  # effective particles below which the posterior is first looked for,
_SCOUTS = 4  # by a quarter of the particles; more particles keep more modes
_PREDICTIVE_POINTS = 192
_PREDICTIVE_ROUNDS = 1000
_PREDICTIVE_TAIL = 0.001
_TINY = 1e-6  # mm: days with the very same kerf still make a covariance that can be factorised


class Verdict(IntEnum):
    """What a slot did with its tab; the number of thresholds below its clearance."""

    NO = 0
    PRESS = 1
    SLIDES = 2
    LOOSE = 3

    @classmethod
    def read(cls, word: str, where: str = "") -> Verdict:
        """Read a verdict: ``no`` (will not enter), ``press``, ``slides`` or ``loose``.

        Raises
        ------
        ReadingError
            Any other word, naming ``where``.
        """
        names = [v.name.lower() for v in cls]
        key = word.strip().lower()
        if key not in names:
            raise ReadingError(
                "unknown verdict",
                where=where,
                value=repr(word),
                limit="one of " + ", ".join(names),
                do=nearest_name(key, names),
            )
        return cls[key.upper()]


class CombFlag(StrEnum):
    """Names of the findings on a comb."""

    OUTSIDE = "OUTSIDE"
    INCONSISTENT = "INCONSISTENT"
    FEW_VERDICTS = "FEW_VERDICTS"


@dataclass(frozen=True, slots=True, kw_only=True)
class CombFinding:
    """One plain warning about a round."""

    flag: CombFlag
    text: str

    def __str__(self) -> str:
        return f"{self.flag}: {self.text}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """One slot of a comb: its clearance as drawn, mm, and its verdict (``None``: not tried)."""

    x_mm: float
    verdict: Verdict | None

    def __post_init__(self) -> None:
        if not math.isfinite(self.x_mm):
            raise ReadingError("a slot's clearance is not a number", value=repr(self.x_mm))
        if self.verdict is not None:
            try:
                object.__setattr__(self, "verdict", Verdict(self.verdict))
            except ValueError:
                raise ReadingError(
                    "unknown verdict", where=f"slot {self.x_mm:+.3f} mm", value=repr(self.verdict)
                ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class CombRound:
    """One comb as cut and tried.

    Parameters
    ----------
    slots
        1 to 15 slots; two may share one clearance.
    own_tab
        True if every slot was tried with its own tab; False if one tab went through all of them,
        whose error is then common to the round.
    day
        Index of its kerf in the state's :class:`KerfDays`.

    Raises
    ------
    ReadingError
        No slot, or more than 15.
    """

    slots: tuple[Slot, ...]
    own_tab: bool = True
    day: int = 0

    def __post_init__(self) -> None:
        if not 1 <= len(self.slots) <= MOST_SLOTS:
            raise ReadingError(
                "number of slots of a comb",
                value=str(len(self.slots)),
                limit=f"1 to {MOST_SLOTS}",
            )

    @property
    def tried(self) -> tuple[Slot, ...]:
        """The slots that have a verdict."""
        return tuple(s for s in self.slots if s.verdict is not None)

    @property
    def step_mm(self) -> float:
        """Median distance of neighbouring clearances, mm; 0 if all are alike."""
        xs = np.unique([s.x_mm for s in self.slots])
        return float(np.median(np.diff(xs))) if len(xs) > 1 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KerfDays:
    """Kerfs of several days, full width, mm, jointly normal: each along the axis of its day's comb.

    Parameters
    ----------
    mean
        (m,); the first is the reference day's.
    covariance
        (m, m), symmetric, not negative; days that share a gauge share its error.
    combs
        How many of them, from the first, have a comb; the others may be asked for.
    """

    mean: Floats
    covariance: Floats
    combs: int = 1

    def __post_init__(self) -> None:
        mean, cov = np.array(self.mean, dtype=float), np.array(self.covariance, dtype=float)
        m = len(mean)
        if cov.shape != (m, m) or not 1 <= self.combs <= m:
            raise ReadingError(
                "kerfs of days", value=f"{mean.shape}, {cov.shape}, {self.combs} combs"
            )
        if not (np.isfinite(mean).all() and np.isfinite(cov).all() and (np.diag(cov) >= 0).all()):
            raise ReadingError(
                "kerf of a comb",
                value=f"{self.mean!r} +- {np.sqrt(np.abs(np.diag(cov)))!r}",
                limit="finite, +- not negative",
            )
        object.__setattr__(self, "mean", mean)
        object.__setattr__(self, "covariance", 0.5 * (cov + cov.T))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CombState:
    """What is believed of the three thresholds of one hand in one material.

    Parameters
    ----------
    points
        (n, 3 + combs) particles: phi_2 as drawn on the reference day, mm; logarithms of phi_2 - phi_1, of
        phi_3 - phi_2 and of the scatter of judgement; kerf of each further day less the reference
        day's, mm.
    log_weight
        (n,) logarithms of their weights, up to a constant.
    days
        The kerfs that carry combs from day to day.
    assumed
        Everything assumed.
    rounds
        All combs so far.
    """

    points: Floats
    log_weight: Floats
    days: KerfDays
    assumed: CombAssumed
    rounds: tuple[CombRound, ...] = ()

    @property
    def phi(self) -> Floats:
        """(n, 3) thresholds phi_1 < phi_2 < phi_3, mm as drawn on the reference day."""
        return _thresholds(self.points)

    @property
    def weights(self) -> Floats:
        """(n,) weights, summing to 1."""
        w = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(w / w.sum())

    @property
    def ess(self) -> float:
        """Effective number of particles."""
        w = self.weights
        return 1.0 / float(w @ w)

    def shift(self, day: int) -> Floats:
        """(n,) what is added to x of a comb of ``day`` to compare it with the thresholds, mm."""
        return np.asarray(2.0 * self.points[:, 3 + day]) if day else np.zeros(len(self.points))


@dataclass(frozen=True, slots=True, kw_only=True)
class CombAnswer:
    """Clearance as drawn, mm, that gives a fit: posterior mean, sd and 95 % interval."""

    fit: str
    x_mm: float
    sd_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NextComb:
    """The comb to cut next.

    Parameters
    ----------
    centre_mm, step_mm, slots
        Clearance of the middle slot as drawn, step, and number of slots.
    sd_expected_mm
        Standard deviation that another round would leave.
    """

    centre_mm: float
    step_mm: float
    slots: int
    sd_expected_mm: float

    @property
    def x_mm(self) -> tuple[float, ...]:
        """Clearances of the slots as drawn, mm, rising."""
        return slot_positions(self.centre_mm, self.step_mm, self.slots)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CombResult:
    """Outcome of a round.

    Parameters
    ----------
    state
        To be passed to the next update.
    answers
        One for each fit, by name.
    fit
        The fit asked for.
    stop
        True if its standard deviation is small enough that no further comb is worth cutting.
    next_comb
        What to cut if one goes on all the same.
    findings
        Warnings.
    """

    state: CombState
    answers: dict[str, CombAnswer]
    fit: str
    stop: bool
    next_comb: NextComb
    findings: tuple[CombFinding, ...] = field(default=())

    @property
    def answer(self) -> CombAnswer:
        """The clearance for the fit asked for."""
        return self.answers[self.fit]

    @property
    def flags(self) -> frozenset[CombFlag]:
        """The kinds of findings."""
        return frozenset(f.flag for f in self.findings)


def slot_positions(centre_mm: float, step_mm: float, slots: int) -> tuple[float, ...]:
    """Clearances of evenly stepped slots around a centre, mm, rising."""
    return tuple(centre_mm + step_mm * (i - (slots - 1) / 2) for i in range(slots))


def target_of(phi: Floats, fit: str, assumed: CombAssumed) -> Floats:
    """Clearance as drawn that gives a fit, for each row of thresholds.

    Parameters
    ----------
    phi
        (..., 3) thresholds.
    fit
        press: half-way between phi_1 and phi_2; snug: phi_2; glue: phi_2 plus the glue film;
        slip: half-way between phi_2 and phi_3; loose: phi_3.

    Raises
    ------
    ReadingError
        Unknown fit.
    """
    p1, p2, p3 = phi[..., 0], phi[..., 1], phi[..., 2]
    if fit == "press":
        return np.asarray(0.5 * (p1 + p2))
    if fit == "snug":
        return np.asarray(p2)
    if fit == "glue":
        return np.asarray(p2 + assumed.glue_film_mm)
    if fit == "slip":
        return np.asarray(0.5 * (p2 + p3))
    if fit == "loose":
        return np.asarray(p3)
    raise ReadingError(
        "unknown fit",
        value=repr(fit),
        limit="one of " + ", ".join(FITS),
        do=nearest_name(fit, FITS),
    )


def _prior_moments(days: KerfDays, a: CombAssumed) -> tuple[Floats, Floats]:
    # of the points: phi_2 is theta_2 - 2 kerf_0, which hangs together with kerf_i - kerf_0
    m, c, n = days.mean, days.covariance, days.combs
    mean = np.array(
        [
            a.theta2_mm - 2.0 * m[0],
            math.log(a.step12_mm),
            math.log(a.step23_mm),
            math.log(a.fuzz_mm),
            *(m[1:n] - m[0]),
        ]
    )
    take = np.zeros((n, len(m)))  # -2 kerf_0, then the differences
    take[0, 0] = -2.0
    take[1:, 0] = -1.0
    take[range(1, n), range(1, n)] = 1.0
    joint = take @ c @ take.T
    cov = np.diag(
        np.square([a.theta2_sd_mm, *[a.step_log_sd] * 2, a.fuzz_log_sd, *[_TINY] * (n - 1)])
    )
    at = [0, *range(4, 3 + n)]
    cov[np.ix_(at, at)] += joint
    return mean, cov


def _thresholds(points: Floats) -> Floats:
    phi2 = points[:, 0]
    return np.column_stack([phi2 - np.exp(points[:, 1]), phi2, phi2 + np.exp(points[:, 2])])


def _standard(columns: int, seed: int) -> Floats:
    # standard normal points: the thresholds by a Sobol sequence, what comes beside them at random
    z = sobol_normal(_POWER, seed)
    more = np.random.Generator(np.random.PCG64(seed)).standard_normal((len(z), columns - 3))
    return np.hstack([z, more])


def comb_start(
    *,
    kerf_mm: float = 0.0,
    u_kerf_mm: float = 0.0,
    days: KerfDays | None = None,
    assumed: CombAssumed | None = None,
) -> CombState:
    """State before any comb.

    Parameters
    ----------
    kerf_mm, u_kerf_mm
        Kerf (full width) along the comb's axis and its standard uncertainty, where all combs are cut
        on one day along one axis; assumed values will do, such as 0.20 +- 0.05.
    days
        Else the kerfs of all days, in place of the two.

    Raises
    ------
    ReadingError
        A kerf or uncertainty that is not finite, or a negative uncertainty.
    """
    if days is None:
        if not math.isfinite(kerf_mm) or not (math.isfinite(u_kerf_mm) and u_kerf_mm >= 0.0):
            raise ReadingError(
                "kerf of a comb",
                value=f"{kerf_mm!r} +- {u_kerf_mm!r}",
                limit="finite, +- not negative",
            )
        days = KerfDays(mean=np.array([kerf_mm]), covariance=np.array([[u_kerf_mm**2]]))
    assumed = assumed or CombAssumed()
    mean, cov = _prior_moments(days, assumed)
    z = _standard(len(mean), _SEED)
    return CombState(
        points=mean + z @ np.linalg.cholesky(cov).T,
        log_weight=np.zeros(len(z)),
        days=days,
        assumed=assumed,
    )


@lru_cache(maxsize=1)
def _hermite() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    return nodes, weights / weights.sum()


def _noise(points: Floats, assumed: CombAssumed, own_tab: bool) -> tuple[Floats, Floats, Floats]:
    # (n,) sd of a slot of its own, and nodes and weights of the error that the round has in common
    s2 = assumed.edge_sd_mm**2
    fuzz2 = np.exp(2.0 * points[:, 3])
    if own_tab:
        return np.sqrt(4.0 * s2 + fuzz2), np.zeros(1), np.ones(1)
    nodes, weights = _hermite()
    return np.sqrt(2.0 * s2 + fuzz2), math.sqrt(2.0 * s2) * nodes, weights


def _log_likelihood(
    points: Floats, shift: Floats, round_: CombRound, assumed: CombAssumed
) -> Floats:
    # (n,) of the verdicts of one round
    sd, nodes, weights = _noise(points, assumed, round_.own_tab)
    scaled = np.ascontiguousarray((_thresholds(points) - shift[:, None]).T) / sd
    total = np.zeros(len(points))
    for node, weight in zip(nodes.tolist(), weights.tolist(), strict=True):
        product = np.ones(len(points))
        for slot in round_.tried:
            v = int(slot.verdict or 0)
            x = (slot.x_mm + node) / sd
            above = normal_cdf(x - scaled[v - 1]) if v > 0 else 1.0
            beyond = normal_cdf(x - scaled[v]) if v < 3 else 0.0
            product *= np.maximum(above - beyond, assumed.factor_floor)
        total += weight * product
    # 15 factors of 1e-9 are 1e-135: no underflow
    return np.log(total)


def _inconsistent(state: CombState, round_: CombRound, log_likelihood: Floats) -> bool:
    # is the round less probable than 99.9 % of the rounds that were to be expected before it?
    tried = round_.tried
    if len(tried) < 2:
        return False
    a = state.assumed
    w = state.weights
    got = math.log(float(w @ np.exp(log_likelihood - log_likelihood.max()))) + float(
        log_likelihood.max()
    )
    rng = np.random.Generator(np.random.PCG64(_SEED + len(state.rounds)))
    # systematic resampling: points of equal weight
    places = (np.arange(_PREDICTIVE_POINTS) + rng.random()) / _PREDICTIVE_POINTS
    chosen_points = np.minimum(np.searchsorted(np.cumsum(w), places), len(w) - 1)
    phi = (state.phi - state.shift(round_.day)[:, None])[chosen_points]
    sd, nodes, weights = _noise(state.points[chosen_points], a, round_.own_tab)
    x = np.array([s.x_mm for s in tried])
    # (node, point, slot, threshold) -> probability of each verdict
    above = normal_cdf(
        (x[None, None, :, None] + nodes[:, None, None, None] - phi[None, :, None, :])
        / sd[None, :, None, None]
    )
    one, zero = np.ones((*above.shape[:3], 1)), np.zeros((*above.shape[:3], 1))
    p = -np.diff(np.concatenate([one, above, zero], axis=3), axis=3)
    log_p = np.log(np.maximum(p, a.factor_floor))

    count = _PREDICTIVE_ROUNDS
    point = rng.integers(len(phi), size=count)
    common = rng.normal(size=(count, 1)) * (
        0.0 if round_.own_tab else math.sqrt(2.0) * a.edge_sd_mm
    )
    level = x + common + sd[point][:, None] * rng.normal(size=(count, len(x)))
    verdicts = (level[:, :, None] > phi[point][:, None, :]).sum(axis=2)
    chosen = np.zeros((len(x) * 4, count))
    chosen[(4 * np.arange(len(x)) + verdicts).T.ravel(), np.tile(np.arange(count), len(x))] = 1.0
    each = log_p.reshape(len(nodes) * len(phi), -1) @ chosen
    each = np.exp(each).reshape(len(nodes), len(phi), count)
    expected = np.log(np.einsum("k,kpc->c", weights, each) / len(phi))
    return got < float(np.quantile(expected, _PREDICTIVE_TAIL))


def _tempered(log_weight: Floats, least_ess: float) -> Floats:
    # weights, flattened by a power below 1 if need be to leave the least effective number
    log_w = log_weight - log_weight.max()

    def flattened(power: float) -> Floats:
        w = np.exp(power * log_w)
        return np.asarray(w / w.sum())

    low, high = 0.0, 1.0
    w = flattened(1.0)
    if 1.0 / float(w @ w) >= least_ess:
        return w
    for _ in range(20):
        mid = 0.5 * (low + high)
        w = flattened(mid)
        low, high = (mid, high) if 1.0 / float(w @ w) >= least_ess else (low, mid)
    return flattened(low)


def _refreshed(state: CombState) -> CombState:
    # new particles from a normal fit of the posterior; weights from the prior and all rounds anew.
    # Where the posterior lies far from all particles the fit moves there in several steps.
    mean0, cov0 = _prior_moments(state.days, state.assumed)
    back0 = np.linalg.inv(np.linalg.cholesky(cov0))
    every = _standard(len(mean0), _SEED + 1)
    few = every[: len(every) // _SCOUTS]
    least = state.assumed.least_ess
    scouting = state.ess < _LOST
    for _ in range(_MOST_MOVES):
        w = _tempered(state.log_weight, least * len(state.points) / len(every))
        mean = w @ state.points
        off = state.points - mean
        # twice the variance: the tails of the fit must lie outside those of the posterior
        cov = 2.0 * (off * w[:, None]).T @ off + 1e-6 * cov0
        z = few if scouting else every
        u = mean + z @ np.linalg.cholesky(cov).T
        log_w = 0.5 * (z * z).sum(axis=1) - 0.5 * np.square((u - mean0) @ back0.T).sum(axis=1)
        state = replace(state, points=u, log_weight=log_w)
        for r in state.rounds:
            log_w = log_w + _log_likelihood(u, state.shift(r.day), r, state.assumed)
        state = replace(state, log_weight=log_w)
        if scouting:
            scouting = state.ess < least / _SCOUTS
        elif state.ess >= least:
            break
    return state


def comb_answer(state: CombState, fit: str, day: int = 0) -> CombAnswer:
    """Return what is believed of one fit: clearance as drawn on a day that had a comb, mm.

    Raises
    ------
    ReadingError
        Unknown fit.
    """
    x = target_of(state.phi, fit, state.assumed) - state.shift(day)
    return _answer(fit, x, state.weights, 0.0)


def _answer(fit: str, x: Floats, w: Floats, more_variance: float) -> CombAnswer:
    mean = float(w @ x)
    variance = max(float(w @ (x - mean) ** 2), 0.0)
    order = np.argsort(x, kind="stable")
    cumulated = np.cumsum(w[order]) - 0.5 * w[order]
    low, high = np.interp([0.025, 0.975], cumulated, x[order]).tolist()
    sd = math.sqrt(variance + more_variance)
    wider = sd / math.sqrt(variance) if variance > 0.0 else 1.0
    return CombAnswer(
        fit=fit,
        x_mm=mean,
        sd_mm=sd,
        low_mm=mean - wider * (mean - low),
        high_mm=mean + wider * (high - mean),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Felt:
    """What a hand wants of a fit.

    Parameters
    ----------
    cut
        The clearance as cut.
    drawn, covariance
        (m,) and (m, m): as it would have to be drawn on each of the days, mm. A kerf that is not
        well known enters here only as far as it is not the same error as on the combs' days.
    """

    cut: CombAnswer
    drawn: Floats
    covariance: Floats


def comb_felt(state: CombState, fit: str) -> Felt:
    """Return what the combs say of a fit, as cut and as drawn on every day.

    Raises
    ------
    ReadingError
        Unknown fit.
    """
    days, w = state.days, state.weights
    m, n, c = len(days.mean), days.combs, days.covariance
    # what is added to a target as drawn on the reference day: 2 kerf_0 - 2 kerf_t; last as cut, kerf_t = 0
    take = np.zeros((m + 1, m))
    take[:, 0] = 2.0
    take[range(m), range(m)] -= 2.0
    mean0, cov0 = _prior_moments(days, state.assumed)
    seen = np.zeros((n, m))
    seen[0, 0] = -2.0
    seen[1:, 0] = -1.0
    seen[range(1, n), range(1, n)] = 1.0
    at = [0, *range(4, 3 + n)]
    slope = np.linalg.solve(cov0[np.ix_(at, at)], seen @ c @ take.T)  # (n, m + 1)
    rest = take @ c @ take.T - (take @ c @ seen.T) @ slope
    x = target_of(state.phi, fit, state.assumed)
    each = x[:, None] + take @ days.mean + (state.points[:, at] - mean0[at]) @ slope
    mean = w @ each
    off = each - mean
    cov = (off * w[:, None]).T @ off + 0.5 * (rest + rest.T)
    return Felt(
        cut=_answer(fit, each[:, m], w, max(float(rest[m, m]), 0.0)),
        drawn=mean[:m],
        covariance=cov[:m, :m],
    )


def sd_after_another(
    sd_mm: float,
    step_mm: float,
    assumed: CombAssumed,
    *,
    own_tab: bool,
    fuzz_mm: float | None = None,
) -> float:
    """Standard deviation of a threshold that another comb would leave, mm.

    Parameters
    ----------
    sd_mm
        Standard deviation now.
    step_mm
        Step of the next comb, which must be wide enough to reach past the threshold.
    fuzz_mm
        Scatter of judgement; the assumed one where it is not given.

    Notes
    -----
    A wide comb of step d fixes a threshold to sqrt(sigma_v d / I0), good to 3 % up to d = 3.5
    sigma_v; a tab common to all slots adds its own error, which no number of slots lowers.
    """
    edges = 4.0 if own_tab else 2.0
    noise = math.hypot(math.sqrt(edges) * assumed.edge_sd_mm, fuzz_mm or assumed.fuzz_mm)
    variance = noise * step_mm / INFORMATION
    if not own_tab:
        variance += 2.0 * assumed.edge_sd_mm**2
    return 1.0 / math.sqrt(1.0 / sd_mm**2 + 1.0 / variance)


def next_comb(
    state: CombState,
    fit: str,
    *,
    slots: int = 9,
    own_tab: bool = True,
    least_step_mm: float = 0.0,
    day: int = 0,
) -> NextComb:
    """The comb to cut next (also the first one): centred on what is believed of the fit.

    Parameters
    ----------
    slots
        3 to 15.
    least_step_mm
        Step not to go below, beside the assumed least one.
    day
        The day (index of the state's kerfs, one that has a comb or will have) it is cut on.

    Raises
    ------
    ReadingError
        Unknown fit, or a number of slots outside 3 to 15.
    """
    if not LEAST_SLOTS <= slots <= MOST_SLOTS:
        raise ReadingError(
            "number of slots of a comb", value=str(slots), limit=f"{LEAST_SLOTS} to {MOST_SLOTS}"
        )
    a = state.assumed
    if day < state.days.combs:
        now = comb_answer(state, fit, day)
    else:
        felt = comb_felt(state, fit)
        sd = math.sqrt(float(felt.covariance[day, day]))
        now = replace(felt.cut, x_mm=float(felt.drawn[day]), sd_mm=sd)
    step = max(a.next_step_sd * now.sd_mm, a.least_step_mm, least_step_mm)
    return NextComb(
        centre_mm=now.x_mm,
        step_mm=step,
        slots=slots,
        sd_expected_mm=sd_after_another(
            now.sd_mm,
            step,
            a,
            own_tab=own_tab,
            fuzz_mm=math.exp(float(state.weights @ state.points[:, 3])),
        ),
    )


def comb_learnt(
    state: CombState, slots: Sequence[Slot], *, own_tab: bool = True, day: int = 0
) -> CombState:
    """Learn from the verdicts of one comb, without a word: :func:`comb_update` for combs of long ago."""
    round_ = CombRound(slots=tuple(slots), own_tab=own_tab, day=day)
    return _learnt(state, round_, _likelihood_of(state, round_))


def _likelihood_of(state: CombState, round_: CombRound) -> Floats:
    if not 0 <= round_.day < state.days.combs:
        raise ReadingError(
            "day of a comb", value=str(round_.day), limit=f"0 to {state.days.combs - 1}"
        )
    return _log_likelihood(state.points, state.shift(round_.day), round_, state.assumed)


def _learnt(state: CombState, round_: CombRound, log_likelihood: Floats) -> CombState:
    state = replace(
        state,
        log_weight=state.log_weight + log_likelihood,
        rounds=(*state.rounds, round_),
    )
    return _refreshed(state) if state.ess < state.assumed.least_ess else state


def comb_update(
    state: CombState,
    slots: Sequence[Slot],
    *,
    own_tab: bool = True,
    fit: str = "snug",
    day: int = 0,
) -> CombResult:
    """Learn from the verdicts of one comb.

    Parameters
    ----------
    state
        From :func:`comb_start` or the last update.
    slots
        1 to 15 slots in any sequence; those without a verdict count for nothing.
    own_tab
        Whether every slot had its own tab.
    fit
        The fit wanted: press, snug, glue, slip or loose.
    day
        Index of the comb's kerf in the state's days. Answers and the next comb are as drawn on it.

    Returns
    -------
    CombResult
        ``OUTSIDE``: all slots got one verdict, the wanted threshold lies beyond the comb.
        ``INCONSISTENT``: the verdicts are less probable than 99.9 % of what was to be expected.
        ``FEW_VERDICTS``: fewer than two.

    Raises
    ------
    ReadingError
        No slot or too many, an unknown verdict or fit.
    """
    round_ = CombRound(slots=tuple(slots), own_tab=own_tab, day=day)
    target_of(state.phi[:1], fit, state.assumed)  # refuses an unknown fit before any work
    findings = []
    tried = round_.tried
    if len(tried) < 2:
        findings.append(
            CombFinding(
                flag=CombFlag.FEW_VERDICTS,
                text=f"{'one verdict' if tried else 'no verdict'}: a comb tells little from fewer than two",
            )
        )
    log_likelihood = _likelihood_of(state, round_)
    if _inconsistent(state, round_, log_likelihood):
        findings.append(
            CombFinding(
                flag=CombFlag.INCONSISTENT,
                text="these verdicts are hardly to be expected after all that went before: was the "
                "comb read from the wrong end, cut with other settings, or tried with other tabs?",
            )
        )
    state = _learnt(state, round_, log_likelihood)
    outside = len(tried) >= 2 and len({s.verdict for s in tried}) == 1
    if outside:
        word = Verdict(tried[0].verdict or 0).name.lower()
        findings.append(
            CombFinding(
                flag=CombFlag.OUTSIDE,
                text=f"all slots are {word}: the comb missed what it was to find; cut the next one, "
                "it is placed by what is believed now",
            )
        )
    answers = {name: comb_answer(state, name, day) for name in FITS}
    return CombResult(
        state=state,
        answers=answers,
        fit=fit,
        stop=answers[fit].sd_mm <= state.assumed.stop_sd_mm and not outside,
        next_comb=next_comb(
            state,
            fit,
            slots=len(round_.slots) if len(round_.slots) >= LEAST_SLOTS else _USUAL_SLOTS,
            own_tab=own_tab,
            least_step_mm=round_.step_mm if outside else 0.0,
            day=day,
        ),
        findings=tuple(findings),
    )
