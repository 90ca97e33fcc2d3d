"""The shift of clearance for the number of tabs, against order statistics and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from boxjoint.errors import InputError
from boxjoint.fit.tabs import clearance_for_joint, expected_greatest, loss_of_clearance

# Control chart constant d2, the mean range of n normal values: twice the expected greatest. ASTM
# Manual on Presentation of Data and Control Chart Analysis, table of factors; written from memory.
D2 = {
    2: 1.128, 3: 1.693, 4: 2.059, 5: 2.326, 6: 2.534, 7: 2.704, 8: 2.847, 9: 2.970, 10: 3.078,
    15: 3.472, 20: 3.735, 25: 3.931,
}  # fmt: skip


@pytest.mark.parametrize(("n", "d2"), D2.items())
def test_control_chart_constants(n: int, d2: float) -> None:
    assert round(2 * expected_greatest(n), 3) == pytest.approx(d2, abs=1e-9)


def test_closed_forms() -> None:
    root = math.sqrt(math.pi)
    assert expected_greatest(0) == expected_greatest(1) == 0.0
    assert expected_greatest(2) == pytest.approx(1 / root, rel=1e-12)
    assert expected_greatest(3) == pytest.approx(1.5 / root, rel=1e-12)
    # m = 4: 6 / (pi sqrt(pi)) atan(sqrt 2)
    want = 6 / (math.pi * root) * math.atan(math.sqrt(2))
    assert expected_greatest(4) == pytest.approx(want, rel=1e-12)


@pytest.mark.parametrize("m", [2, 5, 17, 60, 61, 200, 5000])
def test_against_quadrature(m: int) -> None:
    def integrand(x: float) -> float:
        return float(x * m * stats.norm.pdf(x) * special.ndtr(x) ** (m - 1))

    want = integrate.quad(integrand, -9, 9, epsabs=1e-12, limit=200)[0]
    assert expected_greatest(m) == pytest.approx(want, abs=1e-10)


def test_blom_is_near_but_low() -> None:
    # Blom (1958): quantile of (m - 0.375) / (m + 0.25)
    for m in range(30, 400):
        blom = stats.norm.ppf((m - 0.375) / (m + 0.25))
        assert 0.0 < expected_greatest(m) - blom < 0.014


# clearance lost for sigma = 0.02, to the micrometre; computed once with scipy's quadrature
LOSS = {
    1: 0.0,
    2: 0.0,
    3: 0.0,
    5: 0.032,
    7: 0.048,
    9: 0.058,
    11: 0.066,
    21: 0.087,
    31: 0.098,
    41: 0.106,
}


@pytest.mark.parametrize(("n", "loss"), LOSS.items())
def test_loss_table(n: int, loss: float) -> None:
    assert loss_of_clearance(n, 0.02) == pytest.approx(loss, abs=0.0005)
    assert loss_of_clearance(n, 0.01) == pytest.approx(0.5 * loss, abs=0.0005)


@pytest.mark.parametrize("n", [2, 3, 5, 11, 21])
def test_loss_by_cutting_joints(n: int) -> None:
    # flanks 1..n-1 of a joint; every flank errs by one edge of each panel; the joint shifts freely
    rng = np.random.default_rng(n)
    c, sigma, joints = 0.05, 0.02, 40_000
    flank = np.arange(1, n)
    gaps = 0.5 * c + rng.normal(0, sigma, (joints, n - 1)) - rng.normal(0, sigma, (joints, n - 1))
    one, other = gaps[:, flank % 2 == 1], gaps[:, flank % 2 == 0]
    felt = one.min(axis=1) + (other.min(axis=1) if other.shape[1] else 0.5 * c)
    assert felt.mean() == pytest.approx(c - loss_of_clearance(n, sigma), abs=0.001)


@given(
    c=st.floats(-0.5, 0.5),
    n=st.integers(1, 300),
    comb=st.integers(1, 50),
    sigma=st.floats(0.0, 0.1),
)
@settings(max_examples=60, deadline=None)
def test_shift(c: float, n: int, comb: int, sigma: float) -> None:
    shifted = clearance_for_joint(c, n, comb, sigma)
    # there and back again
    assert clearance_for_joint(shifted, comb, n, sigma) == pytest.approx(c, abs=1e-12)
    assert clearance_for_joint(c, comb, comb, sigma) == c
    if n >= comb:
        assert shifted >= c
    assert loss_of_clearance(n + 1, sigma) >= loss_of_clearance(n, sigma)


def test_a_comb_of_one_tab_for_a_joint_of_many() -> None:
    assert clearance_for_joint(0.0, 21) == pytest.approx(0.0871, abs=1e-4)


def test_refused() -> None:
    for segments in (0, -3, True):
        with pytest.raises(InputError, match="number of segments"):
            loss_of_clearance(segments)
    for sigma in (-0.01, math.nan, math.inf):
        with pytest.raises(InputError, match="standard deviation"):
            clearance_for_joint(0.0, 5, 3, sigma)
    with pytest.raises(InputError, match="clearance"):
        clearance_for_joint(math.nan, 5)
    with pytest.raises(InputError, match="negative"):
        expected_greatest(-1)
