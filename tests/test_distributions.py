"""Distributions and Sobol points against scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc

from boxjoint.gauge import distributions as own


def test_normal_cdf() -> None:
    x = np.linspace(-12, 12, 100_003)
    np.testing.assert_allclose(own.normal_cdf(x), stats.norm.cdf(x), rtol=0, atol=2e-9)
    tail = np.linspace(-6, 0, 5003)
    np.testing.assert_allclose(own.normal_cdf(tail), stats.norm.cdf(tail), rtol=3e-7)


@pytest.mark.parametrize("nu", [1.0, 1.5, 2.0, 3.7, 8.0, 12.0, 57.3, 400.0, 999.0, 1000.0, 1e5])
def test_student_quantile_and_cdf(nu: float) -> None:
    for p in (0.001, 0.025, 0.3, 0.5, 0.6, 0.95, 0.975, 0.995, 0.999):
        assert own.student_quantile(p, nu) == pytest.approx(
            stats.t.ppf(p, nu), rel=1e-11, abs=1e-15
        )
    for t in (-30.0, -2.0, -0.1, 0.0, 0.5, 4.0):
        assert own.student_cdf(t, nu) == pytest.approx(stats.t.cdf(t, nu), abs=2e-11)


def test_student_quantile_at_the_ends() -> None:
    assert own.student_quantile(0.975, math.inf) == pytest.approx(stats.norm.ppf(0.975), rel=1e-14)
    assert own.student_quantile(0.975, 1e12) == pytest.approx(stats.norm.ppf(0.975), rel=1e-11)
    for p, nu in ((0.0, 5.0), (1.0, 5.0), (0.5, 0.0), (0.5, math.nan)):
        with pytest.raises(ValueError, match="no Student quantile"):
            own.student_quantile(p, nu)


@pytest.mark.parametrize("nu", [2.0, 5.0, 12.0, 200.0, 1e5, math.inf])
def test_student_table(nu: float) -> None:
    t = np.concatenate([np.linspace(-8, 8, 4001), np.linspace(-1e4, 1e4, 501)])
    want = stats.norm.cdf(t) if math.isinf(nu) else stats.t.cdf(t, nu)
    # infinite degrees of freedom go through the normal table
    exact = 2e-9 if math.isinf(nu) else 1e-11
    np.testing.assert_allclose(own.student_cdf_table(t, nu), want, rtol=0, atol=exact)


def test_mixture_quantiles() -> None:
    rng = np.random.default_rng(7)
    weights = rng.dirichlet(np.ones(20))
    centres = rng.normal(0, 0.3, (20, 5))
    scales = rng.uniform(0.001, 0.5, (20, 5))
    for nu in (4.0, 12.0):
        got = own.student_mixture_quantiles(weights, centres, scales, nu, (0.025, 0.5, 0.975))
        for p, row in zip((0.025, 0.5, 0.975), got, strict=True):
            cdf = (weights[:, None] * stats.t.cdf((row - centres) / scales, nu)).sum(axis=0)
            np.testing.assert_allclose(cdf, p, atol=1e-6)


def test_mixture_quantiles_with_far_components() -> None:
    # two islands 20 mm apart: the quantile must land in the right one
    got = own.student_mixture_quantiles(
        np.array([0.99, 0.01]),
        np.array([[0.0], [20.0]]),
        np.array([[0.01], [0.01]]),
        12.0,
        (0.5, 0.995),
    )
    assert got[0, 0] == pytest.approx(stats.t.ppf(0.5 / 0.99, 12) * 0.01, abs=1e-6)
    assert got[1, 0] == pytest.approx(20.0, abs=1e-6)


@pytest.mark.parametrize("nu", [1, 2, 7, 12, 90])
def test_chi2(nu: int) -> None:
    for x in (0.0, 0.01, 0.7, 5.0, 26.2, 100.0, 400.0):
        assert own.chi2_sf(x, nu) == pytest.approx(stats.chi2.sf(x, nu), rel=1e-9, abs=1e-14)


@pytest.mark.parametrize("n", [2, 3, 5, 12])
def test_range(n: int) -> None:
    # the studentized range with as good as infinite degrees of freedom
    want = stats.studentized_range.ppf(0.99, n, 1e7)
    assert own.range_quantile(0.99, n) == pytest.approx(want, rel=1e-5)


def test_range_of_two_is_the_difference_of_two() -> None:
    assert own.range_quantile(1 - 0.00165, 2) == pytest.approx(
        math.sqrt(2) * stats.norm.isf(0.00165 / 2), rel=1e-6
    )


def test_plain_sobol_points_are_the_reference_ones() -> None:
    want = qmc.Sobol(3, scramble=False, bits=30).random(1024)
    np.testing.assert_array_equal(own.sobol_unit(10, None), want)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_scrambled_sobol_points_keep_the_net(seed: int) -> None:
    points = own.sobol_unit(8, seed)
    assert ((points > 0) & (points < 1)).all()
    # each coordinate: one point in every 256th
    for column in points.T:
        assert sorted((column * 256).astype(int)) == list(range(256))
    # discrepancy like the reference's scrambled points, far from that of random ones
    reference = np.mean([qmc.discrepancy(qmc.Sobol(3, seed=s).random(256)) for s in range(5)])
    assert qmc.discrepancy(points) < 1.3 * reference
    random = np.random.default_rng(seed).random((256, 3))
    assert qmc.discrepancy(points) < 0.2 * qmc.discrepancy(random)


def test_sobol_points_are_repeatable() -> None:
    np.testing.assert_array_equal(own.sobol_unit(6, 5), own.sobol_unit(6, 5))
    assert (own.sobol_unit(6, 5) != own.sobol_unit(6, 6)).any()
    assert stats.kstest(own.sobol_normal(12, 1)[:, 2], "norm").pvalue > 0.5
