"""A simulated shop that learns, for the tests (short) and for bench/shop_learning.py (long).

Hidden truth: kerf per record, drifting with every job and sometimes jumping; scale and backlash of
the machine. Every job is a closed box of three measured inside sizes and twelve joints of eleven
segments. A box is rejected when a joint does not go together by hand, when one rattles, or when an
inside size is off by more than 0.25 mm. All sizes are invented; the machine wanders by 0.006 mm a job
and jumps in 4 % of them, which is more than the belief takes for usual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from boxjoint.shop.assumed import MOTIONS, Assumed
from boxjoint.shop.filter import ShopFilter
from boxjoint.shop.likelihood import Observation, Term

RECORDS, JOINTS, SEGMENTS = 3, 12, 11
P_MAX, R_MAX, INSIDE_MAX = 0.06, 0.12, 0.25
#: Wanted clearance, mm: found by wanted_clearance() in bench/shop_learning.py for u(kerf) = 0.006.
WANTED = 0.055
GAUGE_COV = np.diag(np.square([0.0, 0.0, 0.375e-3, 0.58e-3]))
# u(k) = 0.0058 and u(kx - ky) = 0.0046, mm
GAUGE_COV[:2, :2] = 0.0058**2 + 0.0046**2 / 4 * (2 * np.eye(2) - 1)
GAUGE_ROOT = np.linalg.cholesky(GAUGE_COV)


@dataclass(frozen=True, kw_only=True)
class Policy:
    gauge: str = "once"  # never, once (per record), on demand
    learn: bool = True
    #: Motions that are taken to be possible, by the beginning of their names; none: all.
    motions: tuple[str, ...] = ()

    def assumed(self, jumps: float) -> Assumed:
        kept = tuple(m for m in MOTIONS if not self.motions or m.name in self.motions)
        return Assumed(motions=kept, jump_rate=jumps)


def seen_as(mean: np.ndarray, cov: np.ndarray) -> Observation:
    """A likelihood of one term: an estimate that used no prior."""
    info = np.linalg.inv(cov)
    return Observation(
        terms=(
            Term(
                info=tuple(tuple(map(float, row)) for row in info),
                vector=tuple(map(float, info @ mean)),
            ),
        )
    )


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Arrays (shops, jobs)."""

    reject: np.ndarray
    dk: np.ndarray
    inside: np.ndarray
    gauges: np.ndarray
    z: np.ndarray  # (kerf - believed) / u


def joints(rng: np.random.Generator, clearance: float, edge: float = 0.02) -> tuple[bool, bool]:
    """(some joint does not go together by hand, some joint rattles)."""
    flank = rng.normal(0.0, edge * 2**0.5, (JOINTS, SEGMENTS - 1)) + clearance / 2
    plus, minus = flank[:, ::2], flank[:, 1::2]
    tight = (plus.min(axis=1) + minus.min(axis=1) < -2 * P_MAX).any()
    return bool(tight), bool((2 * flank.mean(axis=1) > R_MAX).any())


def gauge_observation(rng: np.random.Generator, truth: np.ndarray) -> Observation:
    return seen_as(truth + GAUGE_ROOT @ rng.normal(size=4), GAUGE_COV)


def run(
    policy: Policy,
    *,
    shops: int,
    jobs: int,
    seed: int,
    drift: float = 0.006,
    jumps: float = 0.04,
) -> Outcome:
    shape = (shops, jobs)
    out = Outcome(
        reject=np.zeros(shape, bool),
        dk=np.zeros(shape),
        inside=np.zeros(shape),
        gauges=np.zeros(shape),
        z=np.zeros(shape),
    )
    for shop in range(shops):
        _one_shop(policy, np.random.default_rng([seed, shop]), out, shop, jobs, drift, jumps)
    return out


def _one_shop(
    policy: Policy,
    rng: np.random.Generator,
    out: Outcome,
    shop: int,
    jobs: int,
    drift: float,
    jumps: float,
) -> None:
    a = Assumed()
    kerf = rng.normal(0.20, 0.06, RECORDS)
    half = rng.normal(0, 0.06) / 2
    scale = rng.normal(0, a.scale_u, 2)
    backlash = rng.normal(0, a.backlash_u_mm)
    state = ShopFilter(policy.assumed(jumps))
    names = [str(n) for n in range(RECORDS)]
    for name in names:
        state.add_record(name)
    read = [False] * RECORDS
    for job in range(jobs):
        if job:
            common, own = a.common**0.5, (1 - a.common) ** 0.5
            kerf += drift * (common * rng.normal() + own * rng.normal(size=RECORDS))
            if rng.random() < jumps:
                kerf += rng.normal(0, 0.06)
            if policy.learn:
                state.advance(1)
        r = int(rng.integers(RECORDS))
        truth = np.array([kerf[r] + half, kerf[r] - half, *scale])
        u = max(state.belief(names[r]).spread(i)[1] for i in (0, 1))
        wanted = {
            "never": False,
            "once": not read[r],
            "on demand": u > 0.014,
        }[policy.gauge]
        if wanted:
            state.gauge(names[r], gauge_observation(rng, truth))
            read[r] = True
            out.gauges[shop, job] = 1
        mean, cov = state.belief(names[r]).moments()
        if policy.gauge == "never" and not policy.learn:
            mean = np.array([0.20, 0.20, 0.0, 0.0])
        miss = truth[:2].mean() - mean[:2].mean()
        tight, rattles = joints(rng, WANTED + 2 * miss)
        errors = []
        for _ in range(3):
            i = int(rng.integers(2))
            asked = rng.uniform(60, 350)
            # as the filter's model has it: rims of one edge each, two seats, one backlash
            error = asked * (truth[2 + i] - mean[2 + i]) - (truth[i] - mean[i]) - backlash
            error += rng.normal(0, 0.02, 2).sum() + np.abs(rng.normal(0, 0.015, 2)).sum()
            errors.append(error - a.seat_mm)
            if policy.learn:
                state.inside(
                    names[r],
                    "xy"[i],
                    asked_mm=asked,
                    measured_mm=asked + errors[-1] + a.seat_mm + rng.normal(0, 0.05),
                    kerf_mm=float(mean[i]),
                    scale=float(1 + mean[2 + i]),
                    u_mm=0.05,
                )
        if policy.learn:
            verdict = "tight" if tight else "loose" if rattles else "ok"
            state.verdict(
                names[r], verdict, kerf_mm=float(mean[:2].mean()), hand="ply", combed=True
            )
        worst = np.abs(errors).max()
        out.reject[shop, job] = tight or rattles or worst > INSIDE_MAX
        out.dk[shop, job] = abs(miss)
        out.inside[shop, job] = worst
        out.z[shop, job] = miss / (np.ones(2) / 2 @ cov[:2, :2] @ np.ones(2) / 2) ** 0.5
