"""What a hand wants of a fit, from its combs; and whether a gauge or a comb is worth its wood.

Combs are carried to today by the kerfs of their own days (docs/what-belongs-to-what.md): what they
teach as cut stays, and what has to be drawn follows today's kerf.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from boxjoint.gauge.comb import (
    CombState,
    Felt,
    KerfDays,
    Slot,
    Verdict,
    comb_answer,
    comb_felt,
    comb_learnt,
    comb_start,
)
from boxjoint.shop.assumed import Assumed
from boxjoint.shop.belief import Belief, Combs
from boxjoint.shop.likelihood import Array
from boxjoint.shop.records import CombRound
from boxjoint.shop.records import Verdict as BookVerdict

__all__ = ["Advice", "Hand", "advise", "comb_so_far", "hand_of", "kerf_days"]

#: A fit that keeps more than this share of the uncertainty before any comb is the assumed one.
_MOST_OF_PRIOR = 0.5
#: Standard uncertainty that a gauge leaves of a kerf, mm (measuring: the full form).
_GAUGE_U_MM = 0.006
#: A gauge must take this share off what is likely to miss, or it is not worth its wood.
_WORTH = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hand:
    """What combs say of one hand in one material.

    Parameters
    ----------
    state
        The particles; days 0 to n - 1 are the combs', n and n + 1 today along X and along Y.
    rounds
        The combs, oldest first.
    start
        The same before any comb.
    """

    state: CombState
    rounds: tuple[CombRound, ...]
    start: CombState

    @property
    def verdicts(self) -> int:
        """How many slots were tried."""
        return sum(len(r.verdicts) for r in self.rounds)

    def felt(self, fit: str) -> Felt:
        """What the hand wants of a fit."""
        return comb_felt(self.state, fit)

    def sd_mm(self, fit: str) -> float:
        """Standard uncertainty of the clearance as drawn on the first comb's day, where no kerf plays a part."""
        return comb_answer(self.state, fit).sd_mm

    def tells(self, fit: str) -> bool:
        """Whether the combs say enough of a fit to be used."""
        return self.sd_mm(fit) <= _MOST_OF_PRIOR * comb_answer(self.start, fit).sd_mm

    def today(self, fit: str) -> Array:
        """(2, 2) covariance of the clearance as drawn today for flanks across X and across Y, mm^2."""
        return self.felt(fit).covariance[-2:, -2:]


def kerf_days(combs: Combs, more: int = 0) -> KerfDays:
    """Return the kerfs of the combs' days, then today's along X and Y, as the comb estimator takes them.

    ``more`` days after the combs' will have a comb as well.

    The uncertainties of the first kerf, and of the others less the first, are those that their 95 %
    intervals stand for: the chance of a jump that nobody logged does not widen them beyond that.
    """
    m = len(combs.outlook.mean[0])
    apart = np.eye(m)
    apart[1:, 0] = -1.0
    outlook = combs.outlook.turned(apart)
    mean, cov = outlook.moments()
    sd = np.sqrt(np.maximum(np.diag(cov), 1e-18))
    size = np.array([outlook.spread(i)[1] for i in range(m)]) / sd
    back = np.linalg.inv(apart)
    return KerfDays(
        mean=back @ mean,
        covariance=back @ (cov * np.outer(size, size)) @ back.T,
        combs=len(combs.rounds) + more,
    )


def hand_of(belief: Belief) -> Hand | None:
    """Return what the combs of a belief say; ``None`` without combs."""
    if belief.combs is None:
        return None
    start = state = comb_start(days=kerf_days(belief.combs))
    for day, one in enumerate(belief.combs.rounds):
        slots = [Slot(x_mm=v.x_mm, verdict=Verdict.read(v.verdict)) for v in one.verdicts]
        state = comb_learnt(state, slots, own_tab=one.own_tab, day=day)
    return Hand(state=state, rounds=belief.combs.rounds, start=start)


def comb_so_far(
    belief: Belief,
    axis: str,
    *,
    kerf_mm: float,
    u_kerf_mm: float,
    new: Sequence[tuple[str, tuple[BookVerdict, ...]]] = (),
) -> tuple[CombState, int, int]:
    """Return what the book's combs say, ready for one that is cut today along an axis.

    Parameters
    ----------
    kerf_mm, u_kerf_mm
        Kerf along the axis, where the book has no combs.
    new
        Axis and verdicts of combs that are about to be used: the same in the book do not count twice.

    Returns
    -------
    state, day, combs
        The state, the day of the new comb in it, and how many combs of the book are in it.
    """
    tried = set(new)
    combs = belief.combs
    kept = (
        []
        if combs is None
        else [n for n, r in enumerate(combs.rounds) if (r.axis, r.verdicts) not in tried]
    )
    if combs is None or not kept:
        return comb_start(kerf_mm=kerf_mm, u_kerf_mm=u_kerf_mm), 0, 0
    m = len(combs.rounds)
    rows = np.eye(m + 2)[[*kept, m + ("x", "y").index(axis)]]
    # today's kerf stands twice: as the day of the new comb, and as one that may be asked for
    rows = np.vstack([rows, np.eye(m + 2)[m:]])
    days = kerf_days(
        Combs(rounds=tuple(combs.rounds[n] for n in kept), outlook=combs.outlook.turned(rows)),
        more=1,
    )
    state = comb_start(days=days)
    for day, n in enumerate(kept):
        one = combs.rounds[n]
        slots = [Slot(x_mm=v.x_mm, verdict=Verdict.read(v.verdict)) for v in one.verdicts]
        state = comb_learnt(state, slots, own_tab=one.own_tab, day=day)
    return state, len(kept), len(kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to measure before the next box, if anything.

    Parameters
    ----------
    gauge, comb
        Whether a gauge, or a comb, is worth its wood.
    miss
        Probability that a joint of the next box lies further than ``limit_mm`` from what was aimed
        at: from what the hand wants where combs tell of it, else from the clearance given.
    text
        Why, in one sentence.
    """

    gauge: bool
    comb: bool
    miss: float
    limit_mm: float
    text: str


def advise(
    belief: Belief, fit: str, hand: Hand | None = None, assumed: Assumed | None = None
) -> Advice:
    """Weigh how the kerf of this machine moves against what the next box needs.

    Parameters
    ----------
    fit
        The fit wanted: combs know some better than others.
    hand
        From :func:`hand_of`; found here where it is not given.
    """
    a = assumed or Assumed()
    hand = hand or hand_of(belief)
    if belief.outlook is None or belief.kerf_x is None:
        return Advice(
            gauge=True,
            comb=hand is None,
            miss=1.0,
            limit_mm=a.miss_mm,
            text="nobody measured this kerf: cut a gauge, then a comb",
        )
    felt_u = hand.sd_mm(fit) if hand is not None and hand.tells(fit) else 0.0
    if hand is not None and belief.combs is not None and felt_u:
        weight = np.array([len(r.verdicts) for r in hand.rounds], dtype=float)
        days = -2.0 * weight / weight.sum()
        outlook, tail = belief.combs.outlook, days
    else:
        outlook, tail = belief.outlook.turned(np.eye(4)[:2]), np.zeros(0)
    pairs = ((2.0, 0.0), (1.0, 1.0), (0.0, 2.0))
    misses = outlook.turned(np.array([[*tail, *pair] for pair in pairs]))
    miss = max(misses.beyond(i, a.miss_mm, felt_u) for i in range(3))
    fresh = math.hypot(felt_u, 2.0 * _GAUGE_U_MM)
    after = math.erfc(a.miss_mm / fresh / math.sqrt(2.0))
    gauge = miss > a.miss_share and miss - after > _WORTH * miss
    comb = not felt_u or hand is None or felt_u > hand.state.assumed.stop_sd_mm
    return Advice(
        gauge=gauge,
        comb=comb,
        miss=miss,
        limit_mm=a.miss_mm,
        text=_words(belief, a, fit, miss=miss, gauge=gauge, comb=comb, combed=bool(felt_u)),
    )


def _words(
    belief: Belief, a: Assumed, fit: str, *, miss: float, gauge: bool, comb: bool, combed: bool
) -> str:
    aim = f"what this hand wants of a {fit} fit" if combed else "the clearance aimed at"
    share = "1 %" if miss < 0.01 else f"{100 * miss:.0f} %"
    text = f"about {share} of joints would lie more than {a.miss_mm:g} mm from {aim}"
    likely = max(belief.motion, key=lambda name: belief.motion[name], default="")
    if gauge:
        age = (
            "" if belief.age_days is None else f"{belief.age_days:.0f} days after the last reading "
        )
        text = f"{age}{text}: read a gauge first"
    else:
        text = f"{'at most ' if miss < 0.01 else ''}{text}: a gauge is not needed"
        if likely and belief.motion[likely] > 0.5:
            text += f" (the kerf of this machine {likely})"
    if comb:
        text += (
            "; another comb would tell this hand's fit better"
            if combed
            else "; what this hand wants is not known: a comb would tell"
        )
    return text
