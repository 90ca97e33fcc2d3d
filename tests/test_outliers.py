"""The average over outlier hypotheses against brute force, and against the study's table."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from gauge_shop import Truth, full_gauge, spoil, take, three_a_side
from scipy import stats

from boxjoint.gauge.assumed import GaugeAssumed, KerfPrior, OutlierAssumed
from boxjoint.gauge.checks import Flag
from boxjoint.gauge.estimate import fit_kerf
from boxjoint.gauge.model import noise_covariance, rows_of
from boxjoint.gauge.outliers import average_over_outliers
from boxjoint.gauge.readings import Reading

PRIOR = KerfPrior.assumed()
WIDE = GaugeAssumed(plausible_sd=1e6, kerf_limits_mm=(-1e6, 1e6))


def believable(rng: np.random.Generator) -> Truth:
    return replace(Truth.drawn(rng), kerf={"x": 0.17, "y": 0.19})


@pytest.mark.parametrize("fault", ["none", "one", "two", "feature"])
def test_brute_force(fault: str) -> None:
    # every hypothesis with its own covariance, scipy's multivariate t, and plain conditioning
    rng = np.random.default_rng(hash_of(fault))
    readings = spoil(take(three_a_side(2)[:3], believable(rng), rng), rng, fault)
    rows = rows_of(readings, single=True)
    noise, _ = noise_covariance(rows, hand_mm=0.025, rounding_mm=0.006, edge_sd_mm=0.02)
    got = average_over_outliers(rows, noise, PRIOR, 8.0, OutlierAssumed())

    n, a, s = len(rows), rows.design, PRIOR.covariance
    sets: list[tuple[tuple[int, ...], np.ndarray, float]] = [((), np.zeros((n, n)), 1.0)]
    for i in range(n):
        sets.append(((i,), 0.25 * np.diag(np.eye(n)[i]), 0.02))
    for pair in combinations(range(n), 2):
        sets.append((pair, 0.25 * np.diag(np.eye(n)[list(pair)].sum(axis=0)), 0.02**2))
    for f in range(3):
        inside = (rows.feature == f).astype(float)
        sets.append((tuple(np.flatnonzero(inside)), 0.25 * np.outer(inside, inside), 0.02))
    weights, means, covariances = [], [], []
    for _, extra, odds in sets:
        total = noise + extra + a @ s @ a.T
        law = stats.multivariate_t(loc=a @ PRIOR.mean, shape=total, df=8.0)
        weights.append(odds * law.pdf(rows.y_mm))
        gain = s @ a.T @ np.linalg.inv(total)
        means.append(PRIOR.mean + gain @ (rows.y_mm - a @ PRIOR.mean))
        covariances.append(s - gain @ a @ s)
    w = np.array(weights) / np.sum(weights)
    mean = w @ np.array(means)
    off = np.array(means) - mean
    covariance = np.einsum("h,hij->ij", w, covariances) + (off * w[:, None]).T @ off

    assert got.hypotheses == len(sets)
    assert got.p_none == pytest.approx(w[0], rel=1e-6)
    for i in range(n):
        p = sum(v for v, (rows_in, _, _) in zip(w, sets, strict=True) if i in rows_in)
        assert got.p_row[i] == pytest.approx(p, rel=1e-6)
    np.testing.assert_allclose(got.p_feature, w[-3:], rtol=1e-6)
    np.testing.assert_allclose(got.mean, mean, atol=1e-9)
    np.testing.assert_allclose(got.covariance, covariance, atol=1e-10)
    sd = np.sqrt(np.array([np.diag(c) for c in covariances]))
    for p, ends in ((0.025, got.low), (0.975, got.high)):
        cdf = w @ stats.t.cdf((ends - np.array(means)) / sd, 12.0)
        np.testing.assert_allclose(cdf, p, atol=1e-5)


def hash_of(word: str) -> int:
    # str hashes differ from run to run
    return sum(word.encode())


def test_number_of_hypotheses() -> None:
    # twelve readings of six features: 1 + 12 + 66 + 6
    rng = np.random.default_rng(1)
    fit = fit_kerf(take(three_a_side(2), believable(rng), rng))
    assert fit.average.hypotheses == 85
    assert fit.n_values == 12
    # from 21 readings on only pairs among the 12 most suspicious
    many = fit_kerf(take(three_a_side(4), believable(rng), rng))
    assert many.average.hypotheses == 1 + 24 + 66 + 6


def test_restricted_pairs_still_find_two_bad_readings() -> None:
    rng = np.random.default_rng(2)
    readings = take(three_a_side(4), believable(rng), rng)
    bad = [replace(readings[i], values_mm=(readings[i].values_mm[0] + 0.6, *readings[i].values_mm[1:])) for i in (1, 5)]  # fmt: skip
    fit = fit_kerf((readings[0], bad[0], *readings[2:5], bad[1]))
    assert fit.average.p_row[4] > 0.95
    assert fit.average.p_row[20] > 0.95
    assert fit.average.p_none < 1e-3


def test_a_large_slip_cannot_hide_itself() -> None:
    rng = np.random.default_rng(3)
    readings = take(full_gauge(), believable(rng), rng)
    clean = fit_kerf(readings, assumed=WIDE)
    stack = readings[2]
    off = replace(stack, values_mm=(stack.values_mm[0], stack.values_mm[1] + 22.0))
    spoilt = fit_kerf((*readings[:2], off, *readings[3:]), assumed=WIDE)
    assert {Flag.OUTLIER, Flag.REPEATS, Flag.LACK_OF_FIT} <= spoilt.flags
    assert spoilt.average.p_row[3] > 0.999
    assert spoilt.kerf_x.value == pytest.approx(clean.kerf_x.value, abs=0.01)


def test_it_widens_when_it_cannot_tell() -> None:
    # a window that does not agree with its stack: one of the two is wrong, and little says which
    rng = np.random.default_rng(4)
    readings = take(three_a_side(1), believable(rng), rng)
    window = replace(readings[1], values_mm=(readings[1].values_mm[0] + 0.3,))
    before, after = fit_kerf(readings), fit_kerf((readings[0], window, *readings[2:]))
    assert after.kerf_x.U > 1.5 * before.kerf_x.U
    assert 0.2 < after.average.p_none < 0.8
    assert after.kerf_x.low < before.kerf_x.value < after.kerf_x.high
    # what takes every reading at its word is as sure as before
    assert after.plain.U[0] == pytest.approx(before.plain.U[0], rel=1e-6)


# study: coverage of the 95 % interval of kerf_x in 250 trials, and of the plain estimate
TABLE = {
    "nothing wrong": (three_a_side(2), "none", 0.996, 0.984),
    "one of twelve": (three_a_side(2), "one", 0.960, 0.840),
    "two of twelve": (three_a_side(2), "two", 0.976, 0.892),
    "a feature of twelve": (three_a_side(2), "feature", 0.888, 0.640),
    "one of six": (three_a_side(1), "one", 0.928, 0.644),
}


@pytest.mark.parametrize(("plans", "fault", "average", "plain"), TABLE.values(), ids=TABLE)
def test_coverage_with_bad_readings(
    plans: tuple[Reading, ...], fault: str, average: float, plain: float
) -> None:
    rng = np.random.default_rng(5)
    trials, hits, plain_hits = 150, 0, 0
    for _ in range(trials):
        truth = believable(rng)
        fit = fit_kerf(spoil(take(plans, truth, rng), rng, fault), assumed=WIDE, with_advice=False)
        k = truth.kerf["x"]
        hits += fit.kerf_x.low <= k <= fit.kerf_x.high
        plain_hits += abs(fit.plain.linear.mean[0] - k) <= fit.plain.U[0]
    # three binomial standard deviations of both runs
    slack = 3 * np.sqrt(average * (1 - average) * (1 / trials + 1 / 250)) + 0.01
    assert abs(hits / trials - average) <= slack
    assert hits >= plain_hits
    if fault != "none":
        assert plain_hits / trials < plain + 0.1


def test_no_readings() -> None:
    got = average_over_outliers(
        rows_of((), single=True), np.zeros((0, 0)), PRIOR, 8.0, OutlierAssumed()
    )
    assert got.p_none == 1.0
    np.testing.assert_array_equal(got.mean, PRIOR.mean)
    t = stats.t.ppf(0.975, 12)
    np.testing.assert_allclose(got.high - got.mean, t * PRIOR.sd, rtol=1e-6)
