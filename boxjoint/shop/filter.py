"""What a machine's readings make us believe: a bank of linear filters over time.

The model is that of docs/what-belongs-to-what.md. What cannot be written as one normal distribution
(how the kerf moves, how alike the records are, what a reading with two meanings says) is a sum of
normals: each *component* has a motion, a spread of the records' differences, a weight, a mean and a
covariance of the same variables. Readings change all three. Components of negligible weight are
dropped, and those of one kind that say the same are joined, never others.

The variables of one machine, in the sequence in which they were met::

    e_x, e_y     scale minus 1
    b            size lost to backlash, mm
    z            error that all gauges of the shop share, in units of its standard deviation
    D            kerf_x - kerf_y that is usual on the machine, mm
    rate         of creep, mm a job
    (k, r), (d, r)   mean of kerf_x and kerf_y, and their difference, of record r, mm
    (wish, h)    what a hand wants beyond what was aimed at, for material h, mm
    (day, i)     the kerf of record r along one axis as it was on the day of comb i: it does not move,
                 and later readings still tell of it
"""

from __future__ import annotations

import base64
import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from boxjoint.errors import BookError
from boxjoint.shop.assumed import Assumed
from boxjoint.shop.likelihood import Array, Observation, Term

__all__ = ["Outlook", "ShopFilter", "Surprise"]

#: 99 % quantiles of chi-squared for 1 to 4 degrees of freedom.
_CHI2_99: Final = (6.6349, 9.2103, 11.3449, 13.2767)
#: Share of an observation's own information that the shared gauge error may explain at most.
_MOST_SHARED: Final = 0.5
#: Readings that alone leave the kerf less certain than this, mm, cannot tell a step of it.
_SEES_KERF_U_MM: Final = 0.06
#: Components below this share of all are dropped; the last one of a kind never is.
_LEAST_SHARE: Final = 1e-4
#: Components of one kind that are kept at most.
_MOST_OF_A_KIND: Final = 4
#: Components of one kind are joined when their kerfs lie within this many standard deviations.
_SAME: Final = 1.0

_EX, _EY, _B, _Z, _D, _RATE = range(6)
_SHARED: Final = ("e_x", "e_y", "b", "z", "D", "rate")


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """A reading that was not to be expected.

    ``name`` is ``STEP`` (the kerf moved by about ``shift_mm``) or ``MISFIT`` (something else than a
    step of the kerf, or readings that could not tell). ``z2`` is the squared standardised surprise.
    Nothing is done about either but to say so: the bank has room for both.
    """

    name: str
    z2: float
    shift_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """A belief of some quantities as a sum of n normals.

    ``weight`` (n,), summing to 1; ``mean`` (n, m); ``cov`` (n, m, m).
    """

    weight: Array
    mean: Array
    cov: Array

    def moments(self) -> tuple[Array, Array]:
        """Mean (m,) and covariance (m, m) of the sum."""
        mean = self.weight @ self.mean
        off = self.mean - mean
        cov = np.einsum("n,nij->ij", self.weight, self.cov)
        return mean, _symmetric(cov + (off * self.weight[:, None]).T @ off)

    def spread(self, i: int) -> tuple[float, float]:
        """Mean of quantity ``i``, and the standard uncertainty that its 95 % interval stands for.

        Twice it (1.96 times, strictly) on either side of the mean reaches both ends of the central
        95 % interval of the sum: a far component of little weight does not widen it, as it would
        widen the standard deviation, and one of more than 5 % does.
        """
        mean, sd = self.mean[:, i], np.sqrt(np.maximum(self.cov[:, i, i], 1e-18))
        middle = float(self.weight @ mean)
        low, high = self._quantiles(mean, sd)
        return middle, max(high - middle, middle - low) / 1.959963984540054

    def _quantiles(self, mean: Array, sd: Array) -> tuple[float, float]:
        out = []
        for p in (0.025, 0.975):
            low, high = float((mean - 6 * sd).min()), float((mean + 6 * sd).max())
            for _ in range(50):
                at = 0.5 * (low + high)
                below = float(self.weight @ _cdf((at - mean) / sd))
                low, high = (at, high) if below < p else (low, at)
            out.append(0.5 * (low + high))
        return out[0], out[1]

    def beyond(self, i: int, limit: float, more_u: float = 0.0) -> float:
        """Probability that quantity ``i``, less its mean, lies outside +- ``limit``; blurred by ``more_u``."""
        sd = np.sqrt(self.cov[:, i, i] + more_u**2)
        off = self.mean[:, i] - float(self.weight @ self.mean[:, i])
        return float(self.weight @ (_cdf((-limit - off) / sd) + _cdf((off - limit) / sd)))

    def turned(self, rows: Array) -> Outlook:
        """The outlook of linear functions, (k, m) rows, of the quantities."""
        return Outlook(weight=self.weight, mean=self.mean @ rows.T, cov=rows @ self.cov @ rows.T)


class ShopFilter:
    """The belief of one machine; see the module.

    A record joins with its prior when it is first met, not when the machine was bought: what is
    assumed of a kerf that nobody has read does not grow old.
    """

    def __init__(self, assumed: Assumed | None = None) -> None:
        self.assumed = a = assumed or Assumed()
        kinds = [(m, s) for m in range(len(a.motions)) for s in range(len(a.spreads))]
        self.names: list[Hashable] = list(_SHARED)
        self.kind: Array = np.array(kinds)
        self.weight: Array = np.array([a.motions[m].weight * a.spreads[s][1] for m, s in kinds])
        self.weight /= self.weight.sum()
        self.mean: Array = np.zeros((len(kinds), len(_SHARED)))
        self.cov: Array = np.zeros((len(kinds), len(_SHARED), len(_SHARED)))
        shared = [a.scale_u, a.scale_u, a.backlash_u_mm, 1.0, a.difference_u_mm]
        self.cov[:, range(5), range(5)] = np.square(shared)
        self.cov[:, _RATE, _RATE] = [a.motions[m].creep_mm ** 2 for m, _ in kinds]
        #: Jobs since a gauge last told whether there was a jump.
        self.since = 0.0

    def knows(self, name: Hashable) -> bool:
        """Whether there is a variable of that name."""
        return name in self.names

    def knows_day(self, name: Hashable) -> bool:
        """Whether the kerf of a day is kept under that name."""
        return self.knows(("day", name))

    # ---- variables ---------------------------------------------------------------------

    def _add(
        self, name: Hashable, mean: Array | float, like: Array, variance: Array | float
    ) -> None:
        """Add a variable: ``like @ others + own``; ``like`` (n,) or (c, n), own of ``variance``."""
        count, n = self.mean.shape
        like = np.broadcast_to(like, (count, n))
        with_others = np.einsum("ci,cij->cj", like, self.cov)
        cov = np.zeros((count, n + 1, n + 1))
        cov[:, :n, :n] = self.cov
        cov[:, n, :n] = cov[:, :n, n] = with_others
        cov[:, n, n] = np.einsum("ci,ci->c", with_others, like) + variance
        self.mean = np.column_stack([self.mean, np.einsum("ci,ci->c", like, self.mean) + mean])
        self.cov = cov
        self.names.append(name)

    def add_record(self, record: str) -> None:
        """Add a record of which nothing was read yet, if it is not there."""
        if self.knows(("k", record)):
            return
        a = self.assumed
        nothing = np.zeros(len(self.names))
        self._add(("k", record), a.kerf_mm, nothing, a.kerf_u_mm**2)
        usual = np.zeros(len(self.names))
        usual[_D] = 1.0
        own = np.array([a.spreads[s][0] ** 2 for s in self.kind[:, 1]])
        self._add(("d", record), 0.0, usual, own)

    def add_day(self, name: Hashable, record: str, axis: str) -> None:
        """Keep the kerf of ``record`` along ``axis`` as it is now, under a name of its own."""
        if not self.knows(("day", name)):
            self._add(("day", name), 0.0, self._kerf_row(record, axis), 0.0)

    def drop_day(self, name: Hashable) -> None:
        """Forget the kerf of a day."""
        keep = [i for i, n in enumerate(self.names) if n != ("day", name)]
        self.names = [self.names[i] for i in keep]
        self.mean = self.mean[:, keep]
        self.cov = self.cov[np.ix_(range(len(self.cov)), keep, keep)]

    def _at(self, name: Hashable) -> int:
        return self.names.index(name)

    def _of(self, letter: str) -> list[int]:
        return [i for i, n in enumerate(self.names) if isinstance(n, tuple) and n[0] == letter]

    def _kerf_row(self, record: str, axis: str) -> Array:
        row = np.zeros(len(self.names))
        row[self._at(("k", record))] = 1.0
        row[self._at(("d", record))] = 0.5 if axis == "x" else -0.5
        return row

    def _combine(self, record: str) -> Array:
        """(4, n) rows that take the variables to kerf_x, kerf_y, scale_x - 1, scale_y - 1."""
        rows = np.zeros((4, len(self.names)))
        rows[0], rows[1] = self._kerf_row(record, "x"), self._kerf_row(record, "y")
        rows[2, _EX] = rows[3, _EY] = 1.0
        return rows

    # ---- time --------------------------------------------------------------------------

    def advance(self, jobs: float) -> None:
        """Let ``jobs`` jobs' worth of time pass (a fraction is allowed)."""
        if jobs <= 0:
            return
        a = self.assumed
        self.since += jobs
        kerfs, apart = self._of("k"), self._of("d")
        # creep: every kerf grows by the rate, which itself changes slowly
        self.mean[:, kerfs] += jobs * self.mean[:, [_RATE]]
        self.cov[:, kerfs, :] += jobs * self.cov[:, [_RATE], :]
        self.cov[:, :, kerfs] += jobs * self.cov[:, :, [_RATE]]
        creeps = np.array([a.motions[m].creep_mm > 0 for m in self.kind[:, 0]])
        self.cov[creeps, _RATE, _RATE] += a.creep_walk_mm**2 * jobs
        walk = np.array([a.motions[m].walk_mm ** 2 for m in self.kind[:, 0]]) * jobs
        self._spread(kerfs, walk, a.common)
        self._spread(apart, a.difference_walk**2 * walk, 0.0)
        # what was learned of the kinds is slowly forgotten
        kept = math.exp(-a.forget * jobs)
        start = ShopFilter._start(a)
        totals = dict.fromkeys(start, 0.0)
        keys = [tuple(int(v) for v in k) for k in self.kind]
        for key, w in zip(keys, self.weight.tolist(), strict=True):
            totals[key] += w
        factor = [
            kept + (1.0 - kept) * start[key] / totals[key] if totals[key] > 0 else 1.0
            for key in keys
        ]
        self.weight = self.weight * np.array(factor)
        self.weight /= self.weight.sum()

    @staticmethod
    def _start(a: Assumed) -> dict[tuple[int, ...], float]:
        found = {
            (m, s): motion.weight * share
            for m, motion in enumerate(a.motions)
            for s, (_, share) in enumerate(a.spreads)
        }
        total = sum(found.values())
        return {key: w / total for key, w in found.items()}

    def _spread(self, which: Sequence[int], variance: Array | float, common: float) -> None:
        """Add variance to some variables, a share of it common to them all."""
        if not which:
            return
        more = np.broadcast_to(variance, len(self.weight))
        at = np.ix_(range(len(self.weight)), which, which)
        self.cov[at] += common * more[:, None, None]
        for i in which:
            self.cov[:, i, i] += (1.0 - common) * more

    def service(self, affects: str) -> None:
        """Work on the machine: the kerf, the scale or both may be others now."""
        a = self.assumed
        if affects in ("kerf", "both"):
            self._spread(self._of("k"), a.service_kerf_u_mm**2, 0.5)
            self._spread(self._of("d"), a.service_difference_u_mm**2, 0.5)
        if affects in ("scale", "both"):
            self._spread([_EX, _EY], a.service_scale_u**2, 0.0)

    def _jump(self) -> tuple[float, Array]:
        """Probability of a jump since the last gauge, and the (n, n) covariance that it adds."""
        a = self.assumed
        kerfs = self._of("k")
        cov = np.zeros((len(self.names),) * 2)
        cov[np.ix_(kerfs, kerfs)] = 0.5 * a.jump_mm**2
        cov[kerfs, kerfs] += 0.5 * a.jump_mm**2
        return -math.expm1(-a.jump_rate * self.since), cov

    # ---- readings ----------------------------------------------------------------------

    def gauge(self, record: str, seen: Observation) -> list[Surprise]:
        """Use one gauge cut in ``record``."""
        if not seen.terms:
            return []
        out = self._surprises(record, seen)
        rows = self._combine(record)
        chance, jump = self._jump()
        found: list[tuple[Array, Array, Array, Array]] = []
        for jumped in (0.0, 1.0):
            share = chance if jumped else 1.0 - chance
            if share <= 0.0:
                continue
            cov = self.cov + jumped * jump
            found += [self._updated(term, math.log(share), rows, cov) for term in seen.terms]
        self._take(found, rows)
        self.since = 0.0
        return out

    def _shared(self, term: Term, rows: Array) -> tuple[Array, Array, Array, float]:
        """Put what all gauges share into the variable z: R = R_own + shared^2 11'.

        Returns info, vector, rows and log weight such that z integrated out gives the term back.
        """
        info, vector = np.array(term.info), np.array(term.vector)
        kerfs = np.array([1.0, 1.0, 0.0, 0.0])
        told = info @ kerfs
        about = float(kerfs @ told)
        if about <= 0.0 or self.assumed.gauge_u_mm <= 0.0:
            return info, vector, rows, term.log_weight
        shared = min(self.assumed.gauge_u_mm, math.sqrt(_MOST_SHARED / about))
        gain = shared**2 / (1.0 - shared**2 * about)
        info = info + gain * np.outer(told, told)
        vector = vector + gain * told * float(kerfs @ vector)
        rows = rows.copy()
        rows[:2, _Z] = shared
        whole = 1.0 + shared**2 * float(kerfs @ info @ kerfs)
        taken = 0.5 * shared**2 * float(kerfs @ vector) ** 2 / whole - 0.5 * math.log(whole)
        return info, vector, rows, term.log_weight - taken

    def _updated(
        self, term: Term, log_share: float, rows: Array, cov: Array
    ) -> tuple[Array, Array, Array, Array]:
        """All components after one term: kind, log weight, mean and covariance."""
        info, vector, rows, log_weight = self._shared(term, rows)
        ph = cov @ rows.T  # (c, n, 4)
        s = rows @ ph  # (c, 4, 4)
        size = np.eye(len(rows)) + info @ s
        at = self.mean @ rows.T
        rest = vector - at @ info.T
        solved = np.linalg.solve(
            size, np.concatenate([np.broadcast_to(info, s.shape), rest[..., None]], axis=2)
        )
        gain, pull = solved[:, :, :-1], solved[:, :, -1]
        mean = self.mean + np.einsum("cni,ci->cn", ph, pull)
        after = cov - ph @ gain @ ph.transpose(0, 2, 1)
        _, log_det = np.linalg.slogdet(size)
        found = (
            at @ vector
            - 0.5 * np.einsum("ci,ij,cj->c", at, info, at)
            + 0.5 * np.einsum("ci,cij,cj->c", rest, s, pull)
            - 0.5 * log_det
        )
        with np.errstate(divide="ignore"):
            weight = np.log(self.weight) + found + log_weight + log_share
        return self.kind, weight, mean, _symmetric(after)

    def _take(self, found: Sequence[tuple[Array, Array, Array, Array]], rows: Array) -> None:
        """Make the components found the new ones: drop what is negligible, join what is the same."""
        kind = np.concatenate([f[0] for f in found])
        log_weight = np.concatenate([f[1] for f in found])
        mean = np.concatenate([f[2] for f in found])
        cov = np.concatenate([f[3] for f in found])
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        groups: dict[tuple[int, ...], list[int]] = {}
        for i in np.argsort(-weight, kind="stable").tolist():
            groups.setdefault((int(kind[i, 0]), int(kind[i, 1])), []).append(i)
        kept: list[tuple[tuple[int, ...], list[int]]] = []
        for key, members in sorted(groups.items()):
            strong = [i for i in members if weight[i] > _LEAST_SHARE] or members[:1]
            kept += [(key, part) for part in self._joined(strong, mean, cov, rows)]
        self.kind = np.array([key for key, _ in kept])
        new_weight = np.array([max(float(weight[part].sum()), 1e-12) for _, part in kept])
        new_mean, new_cov = (
            np.empty((len(kept), mean.shape[1])),
            np.empty((len(kept), *cov.shape[1:])),
        )
        for n, (_, part) in enumerate(kept):
            if len(part) == 1:
                new_mean[n], new_cov[n] = mean[part[0]], cov[part[0]]
                continue
            share = weight[part] / weight[part].sum()
            new_mean[n], new_cov[n] = Outlook(
                weight=share, mean=mean[part], cov=cov[part]
            ).moments()
        self.weight = new_weight / new_weight.sum()
        self.mean, self.cov = new_mean, new_cov

    def _joined(
        self, members: Sequence[int], mean: Array, cov: Array, rows: Array
    ) -> list[list[int]]:
        """Group components of one kind whose kerfs of a record say the same, strongest first."""
        if len(members) == 1:
            return [list(members)]
        rows = rows[:2]
        at = mean[members] @ rows.T
        out: list[list[int]] = []
        for n, i in enumerate(members):
            s = rows @ cov[i] @ rows.T
            for part in out:
                first = members.index(part[0])
                lead = rows @ cov[part[0]] @ rows.T
                off = at[n] - at[first]
                apart = float(off @ np.linalg.solve(lead + s, off))
                wider = float(np.trace(s) / max(np.trace(lead), 1e-30))
                if (apart < _SAME and wider < 4.0) or len(out) >= _MOST_OF_A_KIND:
                    part.append(i)
                    break
            else:
                out.append([i])
        return out

    def inside(
        self,
        record: str,
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
        a = self.assumed
        row = -self._kerf_row(record, axis)
        row[_EX if axis == "x" else _EY] = asked_mm
        row[_B] = -1.0
        y = measured_mm - asked_mm - a.seat_mm + asked_mm * (scale - 1.0) - kerf_mm
        u = a.inside_u_mm if u_mm is None else u_mm
        noise = u**2 + 2 * a.edge_u_mm**2 + 2 * a.seat_u_mm**2
        out = self._odd(row, y, noise)
        ph = self.cov @ row
        s = ph @ row + noise
        v = y - self.mean @ row
        self.mean = self.mean + ph * (v / s)[:, None]
        self.cov = _symmetric(self.cov - ph[:, :, None] * ph[:, None, :] / s[:, None, None])
        self._weigh(-0.5 * (v * v / s + np.log(s)))
        return out

    def verdict(self, record: str, word: str, *, kerf_mm: float, hand: str, combed: bool) -> None:
        """Use how a box felt that was compensated for the mean kerf ``kerf_mm``.

        Its clearance misses what was aimed at by 2 (k - k used), and what the hand wants by that
        less its wish; the word says between which bounds. The posterior of each component is
        replaced by the normal one of equal mean and variance.
        """
        a = self.assumed
        wish = ("wish", hand, combed)
        if not self.knows(wish):
            u = a.combed_wish_u_mm if combed else a.wish_u_mm
            self._add(wish, 0.0, np.zeros(len(self.names)), u**2)
        low, high = {
            "tight": (-math.inf, a.fit_low_mm),
            "ok": (a.fit_low_mm, a.fit_high_mm),
            "loose": (a.fit_high_mm, math.inf),
        }[word]
        row = np.zeros(len(self.names))
        row[self._at(("k", record))] = 2.0
        row[self._at(wish)] = -1.0
        ph = self.cov @ row
        s = np.sqrt(ph @ row + a.fit_u_mm**2)
        miss = self.mean @ row - 2.0 * kerf_mm
        found = [
            _truncated((low - m) / w, (high - m) / w)
            for m, w in zip(miss.tolist(), s.tolist(), strict=True)
        ]
        moved, left, mass = (np.array(column) for column in zip(*found, strict=True))
        self.mean = self.mean + ph * (moved / s)[:, None]
        shrink = ((1.0 - left) / s**2)[:, None, None]
        self.cov = _symmetric(self.cov - ph[:, :, None] * ph[:, None, :] * shrink)
        self._weigh(np.log(np.maximum(mass, 1e-12)))

    def _weigh(self, log_likelihood: Array) -> None:
        weight = self.weight * np.exp(log_likelihood - log_likelihood.max())
        weight = np.maximum(weight, 1e-12)
        self.weight = weight / weight.sum()

    # ---- surprises ---------------------------------------------------------------------

    def _surprises(self, record: str, seen: Observation) -> list[Surprise]:
        """Hold a gauge's first and likeliest term against the belief as a whole.

        Score test along the record's kerf: with S = h P h' + R and u = h's column of the kerf,
        t^2 = (u'S^-1 v)^2 / u'S^-1 u has one degree of freedom. Only readings that alone leave
        the kerf no more uncertain than it was before any reading are asked for a step.
        """
        info, vector, rows, _ = self._shared(seen.terms[0], self._combine(record))
        size = np.sqrt(np.diag(info))
        size[size == 0.0] = 1.0
        values, axes = np.linalg.eigh(info / np.outer(size, size))
        keep = values > 1e-9
        weights = (np.sqrt(values[keep])[:, None] * axes[:, keep].T) * size
        y = (axes[:, keep].T @ (vector / size)) / np.sqrt(values[keep])
        h = weights @ rows
        mean, cov = self._whole()
        v = y - h @ mean
        s = h @ cov @ h.T + np.eye(len(y))
        u = h[:, self._at(("k", record))]
        solved = np.linalg.solve(s, np.column_stack([u, v]))
        z2 = float(v @ solved[:, 1])
        others = [i for i in range(len(mean)) if i != self._at(("k", record))]
        part = h[:, others]
        without = part @ cov[np.ix_(others, others)] @ part.T + np.eye(len(y))
        if float(u @ np.linalg.solve(without, u)) * _SEES_KERF_U_MM**2 < 1.0:
            return (
                [Surprise(name="MISFIT", z2=z2, shift_mm=0.0)] if z2 > _CHI2_99[len(v) - 1] else []
            )
        g, score = float(u @ solved[:, 0]), float(u @ solved[:, 1])
        t2 = score**2 / g
        out = []
        if t2 > self.assumed.gate:
            out.append(Surprise(name="STEP", z2=t2, shift_mm=score / g))
        rest = len(v) - 1
        if rest and z2 - t2 > _CHI2_99[rest - 1]:
            out.append(Surprise(name="MISFIT", z2=z2 - t2, shift_mm=0.0))
        return out

    def _odd(self, row: Array, y: float, noise: float) -> list[Surprise]:
        """A single reading that lies outside what was to be expected, 99 %."""
        mean, cov = self._whole()
        z2 = float(y - row @ mean) ** 2 / float(row @ cov @ row + noise)
        return [Surprise(name="MISFIT", z2=z2, shift_mm=0.0)] if z2 > self.assumed.gate else []

    def _whole(self) -> tuple[Array, Array]:
        return Outlook(weight=self.weight, mean=self.mean, cov=self.cov).moments()

    # ---- answers -----------------------------------------------------------------------

    def outlook(self, rows: Array) -> Outlook:
        """The outlook of linear functions, (m, n) rows, of the variables; a jump since the last gauge counts."""
        chance, jump = self._jump()
        mean, cov = self.mean @ rows.T, rows @ self.cov @ rows.T
        if chance <= 0.0:
            return Outlook(weight=self.weight, mean=mean, cov=cov)
        return Outlook(
            weight=np.concatenate([(1.0 - chance) * self.weight, chance * self.weight]),
            mean=np.concatenate([mean, mean]),
            cov=np.concatenate([cov, cov + rows @ jump @ rows.T]),
        )

    def belief(self, record: str, days: Sequence[Hashable] = ()) -> Outlook:
        """The outlook of kerf_x, kerf_y, scale_x - 1, scale_y - 1 of a record, then the kerfs of days."""
        rows = np.zeros((4 + len(days), len(self.names)))
        rows[:4] = self._combine(record)
        for n, day in enumerate(days):
            rows[4 + n, self._at(("day", day))] = 1.0
        return self.outlook(rows)

    def scale(self) -> Outlook:
        """The outlook of scale_x - 1 and scale_y - 1."""
        return self.outlook(np.eye(len(self.names))[[_EX, _EY]])

    def wish(self, hand: str, *, combed: bool) -> tuple[float, float] | None:
        """Mean and standard uncertainty of what a hand wants beyond what was aimed at, mm."""
        name = ("wish", hand, combed)
        if not self.knows(name):
            return None
        return self.outlook(np.eye(len(self.names))[[self._at(name)]]).spread(0)

    def motions(self) -> dict[str, float]:
        """How likely each motion is."""
        out = {m.name: 0.0 for m in self.assumed.motions}
        for m, w in zip(self.kind[:, 0].tolist(), self.weight.tolist(), strict=True):
            out[self.assumed.motions[int(m)].name] += w
        return out

    def check(self) -> None:
        """Refuse a covariance that has lost its meaning (least eigenvalue of the correlation).

        Raises
        ------
        BookError
            The readings contradict the arithmetic; cannot happen with sane sizes.
        """
        size = np.sqrt(np.maximum(np.diagonal(self.cov, axis1=1, axis2=2), 1e-300))
        scaled = self.cov / (size[:, :, None] * size[:, None, :])
        least = float(np.linalg.eigvalsh(scaled).min()) if np.isfinite(scaled).all() else math.nan
        if not (least > -1e-6 and np.isfinite(self.mean).all()):
            raise BookError(
                "what is believed of this machine cannot be computed",
                value=f"least eigenvalue {least:.3g}",
                do="export the book and report this; the readings are not touched",
            )

    def to_plain(self) -> dict[str, Any]:
        """Return the state as plain data, to be read by :meth:`restore`."""
        return {
            "names": [list(n) if isinstance(n, tuple) else n for n in self.names],
            "kind": self.kind.tolist(),
            "since": self.since,
            "weight": _packed(self.weight),
            "mean": _packed(self.mean),
            "cov": _packed(self.cov),
        }

    def restore(self, plain: dict[str, Any]) -> None:
        """Take the state that :meth:`to_plain` wrote."""
        self.names = [tuple(n) if isinstance(n, list) else n for n in plain["names"]]
        self.kind = np.array(plain["kind"])
        count, n = len(self.kind), len(self.names)
        self.since = float(plain["since"])
        self.weight = _unpacked(plain["weight"]).reshape(count)
        self.mean = _unpacked(plain["mean"]).reshape(count, n)
        self.cov = _unpacked(plain["cov"]).reshape(count, n, n)


def _packed(values: Array) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f8").tobytes()).decode()


def _unpacked(text: str) -> Array:
    return np.frombuffer(base64.b64decode(text), dtype="<f8").copy()


def _symmetric(matrix: Array) -> Array:
    out: Array = 0.5 * (matrix + np.swapaxes(matrix, -1, -2))
    return out


def _truncated(low: float, high: float) -> tuple[float, float, float]:
    """Mean, variance and probability of a standard normal between ``low`` and ``high``."""
    if low > 0 or (high > 0 and low + high > 0):
        # mirrored: in the lower tail erfc loses no digits
        mean, variance, mass = _truncated(-high, -low)
        return -mean, variance, mass
    mass = _phi(high) - _phi(low)
    if mass < 1e-300:
        return high, 0.0, 0.0
    at_low, at_high = _density(low), _density(high)
    mean = (at_low - at_high) / mass
    edges = (low * at_low if at_low else 0.0) - (high * at_high if at_high else 0.0)
    return mean, min(max(1.0 + edges / mass - mean**2, 0.0), 1.0), mass


def _density(x: float) -> float:
    return math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi) if math.isfinite(x) else 0.0


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _cdf(x: Array) -> Array:
    return np.array([_phi(v) for v in x.tolist()])
