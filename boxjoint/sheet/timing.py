"""How long a sheet takes: a model of the head, and the shop's own jobs that correct it.

The head accelerates evenly to its speed and stops at every corner: a straight stretch of length L takes
L/v + v/a when it is long enough to reach the speed (L >= v^2/a), else 2 sqrt(L/a). Arcs, and bends of up
to 30 degrees, are passed at speed. That is crude: machines look ahead, slow down for curves, and wait between
commands. Programs of this kind were reported to be wrong by factors from 0.4 to 3, so an estimate without
logged jobs has a wide band and says so. With logged jobs the coefficients are fitted:

    seconds = sum over k of b_k x_k,    x = cut mm, mark mm, travel mm, pierces, corners, engrave s, sheets

Areas are engraved row by row, every row from standstill to standstill across the whole mark; their x are
the seconds of that model, so that logs correct them as a whole.

by Bayesian linear regression with normal priors at the model's own coefficients, so that one log sets the
level and ten tell the terms apart. The scatter is taken as proportional to the time (normal-inverse-gamma,
conjugate); the band is that of Student's t.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.gauge.distributions import student_quantile
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source
from boxjoint.sheet.cuts import Cut, CutKind, CutSequence, Step

__all__ = [
    "UNTUNED",
    "Counts",
    "Estimate",
    "FittedTimes",
    "Logged",
    "Pace",
    "counts_of",
    "engrave_seconds",
    "fit_times",
    "model_seconds",
    "stretch_seconds",
]

#: Real time over estimated, least and greatest, of estimates that nobody has tuned: as reported of other
#: programs of this kind by their users (1.6 to 3 times too high, up to 2.5 times too low); no source.
UNTUNED = (0.33, 2.5)
#: A bend up to this is passed at speed, as a head that looks ahead does; assumed.
_STRAIGHT = math.radians(30)
_NAMES = ("cut_mm", "mark_mm", "travel_mm", "pierces", "corners", "engrave_s", "sheets")
#: Standard deviation of the prior of each coefficient, as a share of its value, and at least so much.
_SHARE = 0.5
_LEAST_SD = (1e-4, 1e-4, 1e-4, 0.05, 0.005, 0.5, 30.0)
#: Scatter of real times about the model: a share of the time and some seconds, and how many logs that
#: opinion is worth. Assumed, no source; chosen by simulated shops (tests/test_timing.py has them): with 1, 3 and
#: 10 logs the band of 95 % holds 99, 99 and 97 % at a scatter of 15 %, and 94, 91 and 93 % at one of 30 %.
_NOISE_SHARE, _NOISE_S, _NOISE_WEIGHT = 0.20, 5.0, 3.0
#: Rounds of weighting by the fitted times; the weights settle after two or three.
_ROUNDS = 12
#: Degrees of freedom of the tails of a log's time, and the trust below which a log is told to be odd; assumed.
_TAILS, _ODD_TRUST = 4.0, 0.15


def _assumed(value: float, unit: str) -> Figure:
    return Figure(value=value, source=Source.ASSUMED, unit=unit, note="common practice, no source")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How the machine moves; every value says what it is.

    Parameters
    ----------
    cut, mark, travel, engrave
        Speeds, mm/s.
    acceleration
        mm/s^2.
    pierce
        Seconds before each cut starts to move.
    row
        From one engraved row to the next, mm.
    passes
        How often every cut is driven.
    """

    cut: Figure
    mark: Figure
    travel: Figure
    acceleration: Figure
    pierce: Figure
    engrave: Figure
    row: Figure
    passes: int = 1

    def __post_init__(self) -> None:
        for f in fields(self):
            value = getattr(self, f.name)
            number = value if isinstance(value, int) else value.value
            least = 0.0 if f.name == "pierce" else 1e-6
            if not (math.isfinite(number) and least <= number <= 1e6):
                raise InputError(
                    f"no such {f.name} of a machine", where=f"pace.{f.name}", value=f"{number:g}"
                )

    @classmethod
    def of(cls, cut: Figure | None = None, *, passes: int = 1) -> Pace:
        """A pace from the cut speed alone; the rest is assumed (common practice, no source)."""
        return cls(
            cut=cut or _assumed(10.0, "mm/s"),
            mark=_assumed(40.0, "mm/s"),
            travel=_assumed(100.0, "mm/s"),
            acceleration=_assumed(500.0, "mm/s2"),
            pierce=_assumed(0.3, "s"),
            engrave=_assumed(100.0, "mm/s"),
            row=_assumed(0.1, "mm"),
            passes=passes,
        )

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """(7,) seconds for one of each of what :class:`Counts` counts, by the model."""
        a = self.acceleration.value
        return np.array(
            [
                self.passes / self.cut.value,
                1 / self.mark.value,
                1 / self.travel.value,
                self.pierce.value * self.passes,
                self.passes * self.cut.value / a,
                1.0,
                0.0,
            ]
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What a sheet or an order holds: lengths in mm, how many pierces, corners and sheets.

    ``engrave_s`` are the seconds that the model gives for what is engraved.
    """

    cut_mm: float = 0.0
    mark_mm: float = 0.0
    travel_mm: float = 0.0
    pierces: int = 0
    corners: int = 0
    engrave_s: float = 0.0
    sheets: int = 1

    def __post_init__(self) -> None:
        for name in _NAMES:
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise InputError(f"no such {name}", where="what was cut", value=f"{value}")

    def __add__(self, other: Counts) -> Counts:
        return Counts(**{n: getattr(self, n) + getattr(other, n) for n in _NAMES})

    @property
    def row(self) -> NDArray[np.float64]:
        """(7,) as the regression takes them."""
        return np.array([float(getattr(self, n)) for n in _NAMES])


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """A job of the shop as it was cut: what it held, and how long the machine really took."""

    counts: Counts
    seconds: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.seconds) and 0 < self.seconds <= 30 * 86400):
            raise InputError(
                "no such time of a job",
                where="log",
                value=f"{self.seconds:g} s",
                limit="more than 0, at most 30 days",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A time in seconds, the band that holds 95 % of the real ones as far as is known, and from what."""

    seconds: float
    band: tuple[float, float]
    how: str
    parts: dict[str, float]


def stretch_seconds(
    length_mm: NDArray[np.float64] | float, speed: float, acceleration: float
) -> NDArray[np.float64]:
    """Seconds for straight stretches from standstill to standstill, trapezoid or triangle in speed."""
    size = np.asarray(length_mm, dtype=np.float64)
    reach = speed * speed / acceleration
    long = size / speed + speed / acceleration
    short = 2 * np.sqrt(size / acceleration)
    result: NDArray[np.float64] = np.where(size >= reach, long, short)
    return result


def _stretches(cut: Cut) -> NDArray[np.float64]:
    """Lengths between stops, mm: sides joined where the path goes straight on or along an arc."""
    lengths = cut.lengths_mm()
    path = cut.path.astype(np.float64)
    ends = np.roll(path, -1, axis=0) if cut.closed else path[1:]
    d = ends - (path if cut.closed else path[:-1])
    angle = np.arctan2(d[:, 1], d[:, 0])
    half = np.zeros(len(d))
    if cut.bulge is not None:
        half = 2 * np.arctan(cut.bulge[: len(d)])  # the chord turns by half the arc's angle
    into, out = angle - half, angle + half
    turn = np.abs((into - np.roll(out, 1) + np.pi) % (2 * np.pi) - np.pi)
    stops = turn > _STRAIGHT
    stops[lengths == 0] = False
    if not cut.closed:
        stops[0] = True
    if not stops.any():
        return np.array([lengths.sum()])
    first = int(np.flatnonzero(stops)[0])
    lengths, stops = np.roll(lengths, -first), np.roll(stops, -first)
    result: NDArray[np.float64] = np.add.reduceat(lengths, np.flatnonzero(stops))
    return result


def engrave_seconds(blocks: Iterable[tuple[float, float]], pace: Pace) -> float:
    """Seconds to fill marks of such (width, height), mm, row by row along X."""
    total = 0.0
    for width, height in blocks:
        rows = math.ceil(height / pace.row.value)
        one = stretch_seconds(width, pace.engrave.value, pace.acceleration.value)
        total += rows * float(one)
    return total


def counts_of(cuts: Sequence[Cut], found: CutSequence, *, engrave_s: float = 0.0) -> Counts:
    """Count what a sheet holds; ``engrave_s`` as :func:`engrave_seconds` gives it."""
    cut_mm = mark_mm = 0.0
    corners = pierces = 0
    for cut in cuts:
        stretches = _stretches(cut)
        if cut.kind is CutKind.MARK:
            mark_mm += float(stretches.sum())
        else:
            cut_mm += float(stretches.sum())
            corners += len(stretches)
            pierces += 1
    return Counts(
        cut_mm=cut_mm,
        mark_mm=mark_mm,
        travel_mm=found.travel_mm,
        pierces=pierces,
        corners=corners,
        engrave_s=engrave_s,
        sheets=1,
    )


def _ways(cuts: Sequence[Cut], steps: Iterable[Step], home: tuple[int, int]) -> NDArray[np.float64]:
    """Lengths of all ways with the beam off, there and back, mm."""
    at = home
    ways = []
    for step in steps:
        cut = cuts[step.cut]
        begin = cut.path[step.entry].tolist()
        k = step.entry if cut.closed else 0 if step.reverse else len(cut.path) - 1
        ways.append(math.dist(at, begin) / 1e6)
        at = tuple(cut.path[k].tolist())
    ways.append(math.dist(at, home) / 1e6)
    return np.array(ways)


def model_seconds(
    cuts: Sequence[Cut],
    found: CutSequence,
    pace: Pace,
    *,
    home: tuple[int, int] = (0, 0),
    engrave_s: float = 0.0,
) -> Estimate:
    """Seconds that one sheet takes by the model of the head; nobody has tuned it.

    Returns
    -------
    Estimate
        ``parts`` are the seconds of cut, mark, travel, pierce and engrave.
    """
    a = pace.acceleration.value
    seconds = {"cut": 0.0, "mark": 0.0, "travel": 0.0, "pierce": 0.0, "engrave": engrave_s}
    for cut in cuts:
        mark = cut.kind is CutKind.MARK
        speed = pace.mark.value if mark else pace.cut.value
        one = float(stretch_seconds(_stretches(cut), speed, a).sum())
        seconds["mark" if mark else "cut"] += one if mark else one * pace.passes
        seconds["pierce"] += 0.0 if mark else pace.pierce.value * pace.passes
    seconds["travel"] = float(
        stretch_seconds(_ways(cuts, found.steps, home), pace.travel.value, a).sum()
    )
    total = sum(seconds.values())
    return Estimate(
        seconds=total,
        band=(UNTUNED[0] * total, UNTUNED[1] * total),
        how="computed from speeds; no job of this machine is logged, real times differ widely",
        parts=seconds,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedTimes:
    """Coefficients after the shop's own logs.

    Parameters
    ----------
    mean, precision
        Of the coefficients, in units of the scatter: (7,) and (7, 7).
    shape, rate
        Of the inverse gamma distribution of the scatter's square.
    logs
        How many jobs stand behind it.
    odd
        Index and factor (>= 1, too long or too short) of logs that hardly count since they are so far off.
    """

    mean: NDArray[np.float64]
    precision: NDArray[np.float64]
    shape: float
    rate: float
    logs: int
    odd: tuple[tuple[int, float], ...] = ()

    @property
    def coefficients(self) -> dict[str, float]:
        """Seconds for one of each, by name."""
        return dict(zip(_NAMES, self.mean.tolist(), strict=True))

    def predict(self, counts: Counts, *, share: float = 0.95) -> Estimate:
        """Seconds for a new order, with the band of Student's t that holds ``share`` of such times.

        Notes
        -----
        Times scatter by factors: the band is as wide by division below as by multiplication above.
        """
        x = counts.row
        middle = float(x @ self.mean)
        scatter = _noise(np.array([middle]))[0]
        spread = scatter**2 + float(x @ np.linalg.solve(self.precision, x))
        sd = math.sqrt(self.rate / self.shape * spread)
        reach = student_quantile(0.5 + share / 2, 2 * self.shape) * sd
        wide = math.exp(reach / middle) if middle > 0 else 1.0
        parts = dict(zip(_NAMES, (x * self.mean).tolist(), strict=True))
        jobs = "job" if self.logs == 1 else "jobs"
        return Estimate(
            seconds=middle,
            band=(middle / wide, middle * wide),
            how=f"computed, corrected by {self.logs} logged {jobs} of this machine; band of {100 * share:g} %"
            + self._odd_ones(),
            parts=parts,
        )

    def _odd_ones(self) -> str:
        if not self.odd:
            return ""
        which = ", ".join(f"the {_ordinal(i)} by {factor:.1f} times" for i, factor in self.odd)
        return (
            f"; LOOK AT the logs: {which} off what the others say, and so hardly counted "
            "(oldest first; strike it out or log it again)"
        )


def _ordinal(index: int) -> str:
    n = index + 1
    if 10 < n % 100 < 14:
        return f"{n}th"
    return f"{n}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(n % 10, 'th') }"


def _noise(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation of a real time about its mean, as it is assumed before any log."""
    result: NDArray[np.float64] = np.hypot(_NOISE_SHARE * np.maximum(seconds, 1.0), _NOISE_S)
    return result


def _not_negative(precision: NDArray[np.float64], pull: NDArray[np.float64]) -> NDArray[np.float64]:
    """The b >= 0 with the least b' P b / 2 - pull' b; the unbounded one wherever that is not negative."""
    free = np.asarray(np.linalg.solve(precision, pull), dtype=np.float64)
    if (free >= 0).all():
        return free
    # seven variables: the best of all faces of the corner, by trying them
    best, least = np.zeros(len(pull)), 0.0
    for size in range(1, len(pull)):
        for kept in combinations(range(len(pull)), size):
            at = list(kept)
            some = np.linalg.solve(precision[np.ix_(at, at)], pull[at])
            value = -0.5 * float(pull[at] @ some)
            if value < least and (some >= 0).all():
                best, least = np.zeros(len(pull)), value
                best[at] = some
    return best


def fit_times(pace: Pace, logged: Sequence[Logged]) -> FittedTimes:
    """Fit the coefficients of the time to the shop's own jobs.

    Parameters
    ----------
    pace
        Where the priors stand: the model's own coefficients.
    logged
        Jobs of one machine with like settings; none gives the priors back.

    Notes
    -----
    With weights w = 1 / noise^2, the noise reckoned from the fitted times and iterated (from the times as
    logged a job that went fast by chance would count for more, and the fit come out low), and less for
    a log that lies far from all others (Student's t with few degrees of freedom: a clock that ran on over lunch):
    precision = P0 + X' W X, mean = precision^-1 (P0 m0 + X' W y), and the scale of the scatter is learned from the residuals. Gelman et al., Bayesian Data Analysis, chapter 14
    (from memory). Nothing takes less than no time: the mean is the mode among coefficients >= 0.
    """
    prior = pace.coefficients
    sd = np.maximum(_SHARE * np.abs(prior), np.array(_LEAST_SD))
    p0 = np.diag(1 / sd**2)
    if not logged:
        return FittedTimes(
            mean=prior, precision=p0, shape=_NOISE_WEIGHT / 2, rate=_NOISE_WEIGHT / 2, logs=0
        )
    x = np.array([job.counts.row for job in logged])
    y = np.array([job.seconds for job in logged])
    mean, scale = prior, 1.0
    for _ in range(_ROUNDS):
        fitted = np.maximum(x @ mean, 1e-9)
        noise = _noise(fitted)
        # Student's t: what lies far from the rest, by its scatter, counts for little, and is told
        far2 = np.square(np.log(y / fitted) * fitted / noise)
        trust = np.minimum((_TAILS + 1.0) / (_TAILS + far2 / scale), 1.0)
        w = trust / noise**2
        # the priors hold in seconds, whatever the scatter turns out to be
        precision = scale * p0 + x.T @ (w[:, None] * x)
        mean = _not_negative(precision, scale * p0 @ prior + x.T @ (w * y))
        usual = trust >= _ODD_TRUST
        scale = (_NOISE_WEIGHT + float(far2[usual].sum())) / (_NOISE_WEIGHT + int(usual.sum()))
    shift = float((mean - prior) @ (scale * p0) @ (mean - prior))
    off = np.exp(np.abs(np.log(y / np.maximum(x @ mean, 1e-9))))
    return FittedTimes(
        mean=mean,
        precision=precision,
        shape=(_NOISE_WEIGHT + int(usual.sum())) / 2,
        rate=(_NOISE_WEIGHT + float(far2[usual].sum()) + min(shift, float(len(prior)))) / 2,
        logs=len(y),
        odd=tuple((i, float(off[i])) for i in np.flatnonzero(~usual).tolist()),
    )
