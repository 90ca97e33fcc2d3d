"""The estimator's arithmetic against published regressions, quantile tables and worked examples.

Sources: NIST Statistical Reference Datasets (Norris, NoInt1); JCGM 100:2008 (GUM) Annexes G, H.1 and
H.3; the library uncertainties for linear propagation. See fixtures/published/README.md.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import uncertainties

from boxjoint.gauge.assumed import KerfPrior
from boxjoint.gauge.distributions import student_quantile
from boxjoint.gauge.estimate import fit_kerf
from boxjoint.gauge.least_squares import effective_dof, weighted_fit
from boxjoint.gauge.readings import Form, Reading

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"


def table(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def facts(name: str) -> dict[str, Any]:
    return json.loads((PUBLISHED / name).read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def columns(name: str, *names: str) -> list[np.ndarray]:
    rows = table(name)
    return [np.array([float(r[n]) for r in rows]) for n in names]


def digits(value: float, certified: str) -> float:
    """Number of right digits: minus the decimal logarithm of the relative error."""
    wanted = float(certified)
    return 17.0 if value == wanted else -math.log10(abs(value - wanted) / abs(wanted))


# NIST StRD: at least 13 digits


def test_norris() -> None:
    y, x = columns("nist_norris.csv", "y", "x")
    want = facts("nist_strd_certified.json")["norris"]
    fit = weighted_fit(np.column_stack([np.ones_like(x), x]), y, np.ones_like(y))
    dof = len(y) - 2
    s = math.sqrt(fit.residual_sum / dof)
    sd = s * np.sqrt(np.diag(fit.covariance))
    assert dof == want["df_res"]
    got = {
        "B0": fit.mean[0],
        "B1": fit.mean[1],
        "sd_B0": sd[0],
        "sd_B1": sd[1],
        "resid_sd": s,
        "SS_res": fit.residual_sum,
    }
    for name, value in got.items():
        assert digits(float(value), want[name]) >= 13, name
    assert digits(float(fit.correlation[0, 1]), want["computed_r_B0_B1"]) >= 13


def test_noint1() -> None:
    y, x = columns("nist_noint1.csv", "y", "x")
    want = facts("nist_strd_certified.json")["noint1"]
    fit = weighted_fit(x[:, None], y, np.ones_like(y))
    s = math.sqrt(fit.residual_sum / (len(y) - 1))
    assert digits(float(fit.mean[0]), want["B1"]) >= 13
    assert digits(s * math.sqrt(fit.covariance[0, 0]), want["sd_B1"]) >= 13
    assert digits(s, want["resid_sd"]) >= 13
    assert digits(fit.residual_sum, want["SS_res"]) >= 13


def test_norris_by_full_noise_matrix() -> None:
    # the same numbers through the path that whitens with a Cholesky factor
    y, x = columns("nist_norris.csv", "y", "x")
    want = facts("nist_strd_certified.json")["norris"]
    fit = weighted_fit(np.column_stack([np.ones_like(x), x]), y, 4.0 * np.eye(len(y)))
    assert digits(float(fit.mean[0]), want["B0"]) >= 12
    assert digits(float(fit.mean[1]), want["B1"]) >= 13


# GUM H.3: all printed digits


def test_gum_h3() -> None:
    t, b = columns("gum_h3_data.csv", "t_k_degC", "b_k_degC")
    want = facts("gum_h3_results.json")
    printed, full = want["published_rounded"], want["computed_full"]
    fit = weighted_fit(np.column_stack([np.ones_like(t), t - 20.0]), b, np.ones_like(b))
    dof = len(t) - 2
    s = math.sqrt(fit.residual_sum / dof)
    u = s * np.sqrt(np.diag(fit.covariance))
    r = fit.correlation[0, 1]
    at_30 = np.array([1.0, 10.0])
    got = {
        "y1": (fit.mean[0], 4),
        "u_y1": (u[0], 4),
        "y2": (fit.mean[1], 5),
        "u_y2": (u[1], 5),
        "r_y1_y2": (r, 3),
        "s": (s, 4),
        "dof": (dof, 0),
        "b_30C": (at_30 @ fit.mean, 4),
        "u_b_30C": (s * math.sqrt(at_30 @ fit.covariance @ at_30), 4),
    }
    for name, (value, places) in got.items():
        assert round(float(value), places) == printed[name], name
    assert float(fit.mean[0]) == pytest.approx(float(full["y1"]), rel=1e-13)
    assert float(r) == pytest.approx(float(full["r"]), rel=1e-12)


# GUM Table G.2

LEVELS = {
    "p68_27": math.erf(1 / math.sqrt(2)),
    "p90": 0.90,
    "p95": 0.95,
    "p95_45": math.erf(2 / math.sqrt(2)),
    "p99": 0.99,
    "p99_73": math.erf(3 / math.sqrt(2)),
}
MISPRINT = ("35", "p90")  # printed 1.70; the quantile is 1.6896


def test_gum_table_g2() -> None:
    seen = 0
    for row in table("gum_table_g2_t_quantiles.csv"):
        nu = math.inf if row["dof"] == "inf" else float(row["dof"])
        for name, level in LEVELS.items():
            printed = row[name]
            places = len(printed.partition(".")[2])
            got = student_quantile(0.5 + 0.5 * level, nu)
            if (row["dof"], name) == MISPRINT:
                assert printed == "1.70"
                assert got == pytest.approx(1.6896, abs=5e-5)
            else:
                # half a unit of the last place printed, and no more
                assert abs(got - float(printed)) <= 0.5 * 10**-places + 1e-9, (row["dof"], name)
            seen += 1
    assert seen == 168


# GUM H.1: effective degrees of freedom and expanded uncertainty


def test_gum_h1_expanded_uncertainty() -> None:
    want = facts("gum_h1_end_gauge.json")
    inputs, printed = want["inputs"], want["published"]
    length, theta = inputs["l_s_nm"][0], inputs["theta_C"]
    alpha = inputs["alpha_s_per_C"]
    parts = {  # contribution in nm, degrees of freedom
        "l_s": (inputs["l_s_nm"][1], inputs["l_s_nm"][2]),
        "d": (inputs["d_nm"][1], inputs["d_nm"][2]),
        "d_alpha": (
            length * abs(theta[0]) * inputs["d_alpha_per_C"][1],
            inputs["d_alpha_per_C"][2],
        ),
        "d_theta": (length * alpha[0] * inputs["d_theta_C"][1], inputs["d_theta_C"][2]),
    }
    for name, (u, _) in parts.items():
        assert u == pytest.approx(printed["contributions_nm"][name], abs=0.08), name
    variances = np.array([u**2 for u, _ in parts.values()])
    u = math.sqrt(variances.sum())
    nu = effective_dof(variances, np.array([float(v) for _, v in parts.values()]))
    assert round(u) == printed["u_l_nm"]
    assert nu == pytest.approx(want["computed"]["nu_eff_with_u_31.664"], abs=0.1)
    assert math.floor(nu) == printed["nu_eff_used"]
    t = student_quantile(0.995, math.floor(nu))
    assert round(t, 2) == printed["t99_16"]
    # the GUM multiplies the rounded 32 nm by the rounded 2.92 and prints 93
    assert round(printed["u_l_nm"] * round(t, 2)) == printed["U99_nm"]
    assert t * u == pytest.approx(want["computed"]["U99_nm"], abs=0.3)


# the linear part, against the library uncertainties


def test_linear_part_against_uncertainties() -> None:
    # weighted estimate and prior: k from a plug and its hole, d = (hole - plug)/2, no prior to speak of
    square = [
        Reading(form=Form.PLUG, axis="x", drawn_mm=40.0, values_mm=(39.84,), contour="a"),
        Reading(form=Form.HOLE, axis="x", drawn_mm=40.0, values_mm=(40.20,), contour="a"),
    ]
    prior = KerfPrior.assumed()
    wide = prior.covariance.copy()
    wide[:2, :2] *= 1e6
    fit = fit_kerf(tuple(square), KerfPrior(mean=prior.mean, covariance=wide)).plain.linear
    u_value = math.hypot(0.025, 0.02 / math.sqrt(12))
    edges = uncertainties.ufloat(0.0, math.sqrt(2) * 0.02)
    plug = uncertainties.ufloat(39.84, u_value) - uncertainties.ufloat(0, 0.010) + edges
    hole = uncertainties.ufloat(40.20, u_value) - uncertainties.ufloat(0, 0.010) + edges
    kerf = (hole - plug) / 2
    assert fit.mean[0] == pytest.approx(kerf.nominal_value, abs=1e-6)
    assert math.sqrt(fit.covariance[0, 0]) == pytest.approx(kerf.std_dev, rel=1e-4)


def test_propagation_against_uncertainties() -> None:
    readings = (
        Reading(
            form=Form.STACK, axis="x", drawn_mm=72, values_mm=(70.7, 70.66), slices=8, contour="w"
        ),
        Reading(form=Form.WINDOW, axis="x", drawn_mm=72, values_mm=(72.2,), contour="w"),
        Reading(form=Form.PLUG, axis="y", drawn_mm=60, values_mm=(59.86,)),
    )
    fit = fit_kerf(readings)
    beta = uncertainties.correlated_values(fit.mean, fit.covariance)
    sizes = (60.0, 150.0, 300.0)
    jacobian = np.zeros((4, 9))
    jacobian[:3, 0], jacobian[:3, 2], jacobian[:3, 4] = -1.0, sizes, -1.0
    jacobian[3, :2] = 1.0, -1.0
    theirs = [size * (1 + beta[2]) - beta[0] - beta[4] for size in sizes]
    theirs.append(beta[0] - beta[1])
    want = np.array(uncertainties.covariance_matrix(theirs))
    np.testing.assert_allclose(fit.propagate(jacobian), want, rtol=1e-9, atol=1e-15)
