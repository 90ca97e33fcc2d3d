"""From readings to kerf: signs, uncertainty, refusals, flags, taper and advice.

The bench of ``gauge_shop`` builds sizes part by part; nothing here repeats the estimator's own rows.
Tables marked "study" come from an independent simulation done before this code was written.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from gauge_shop import Truth, full_gauge, pairs, plan, take, three_a_side
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import gauge_plans, gauge_truths

from boxjoint.errors import InputError, ReadingError
from boxjoint.gauge.advice import advise
from boxjoint.gauge.assumed import PARAMETERS, GaugeAssumed, KerfPrior, PriorSizes
from boxjoint.gauge.checks import Flag, axis_rank
from boxjoint.gauge.estimate import fit_kerf, plain_fit, taper_of
from boxjoint.gauge.least_squares import weighted_fit
from boxjoint.gauge.model import design_row, merge_repeats, noise_covariance, rows_of
from boxjoint.gauge.readings import MAX_VALUES, Caliper, Form, Reading

CALIPER = Caliper()
PRIOR = KerfPrior.assumed()
# both kerfs on their own, as in the study
INDEPENDENT = KerfPrior(
    mean=PRIOR.mean,
    covariance=np.diag(np.square([0.15, 0.15, 2e-3, 2e-3, 0.02, 0.02, 0.01, 0.01, 0.006])),
)
TYPICAL = Truth(
    kerf={"x": 0.143, "y": 0.217},
    scale={"x": 1.0011, "y": 0.9992},
    backlash={"x": 0.01, "y": -0.012},
    zero_outside=0.006,
    zero_inside=-0.008,
    gap=0.011,
)


def parameters(truth: Truth) -> np.ndarray:
    return np.array(
        [
            truth.kerf["x"],
            truth.kerf["y"],
            truth.scale["x"] - 1,
            truth.scale["y"] - 1,
            truth.backlash["x"],
            truth.backlash["y"],
            truth.zero_outside,
            truth.zero_inside,
            truth.gap,
        ]
    )


# the model


@given(plans=gauge_plans(), truth=gauge_truths())
@settings(max_examples=60, deadline=None)
def test_rows_give_the_sizes_of_a_perfect_bench(plans: tuple[Reading, ...], truth: Truth) -> None:
    taken = take(plans, truth, np.random.default_rng(1), hand=1e-12, edge=0.0, step=1e-9)
    for r in taken:
        if r.u_mm is not None:
            continue  # read with another instrument, with noise of its own
        start = 0.0 if r.form is Form.DIFFERENCE else r.drawn_mm
        assert r.values_mm[0] == pytest.approx(start + design_row(r) @ parameters(truth), abs=1e-8)


def test_row_of_a_difference_is_the_difference_of_two_strips() -> None:
    x, y = (plan(Form.STRIP, a, 300, u=0.05) for a in "xy")
    difference = plan(Form.DIFFERENCE, "x", 300, u=0.03)
    np.testing.assert_array_equal(design_row(difference), design_row(x) - design_row(y))


def test_one_factory_edge() -> None:
    base: dict[str, Any] = {"axis": "x", "drawn_mm": 72.0, "values_mm": (71.0,)}
    stack = Reading(form=Form.STACK, slices=8, cut_ends=1, **base)
    # seven cuts between slices, and half a kerf at the one cut end
    assert design_row(stack)[0] == -7.5
    plug = Reading(form=Form.PLUG, cut_ends=1, **base)
    assert design_row(plug)[0] == -0.5
    assert design_row(replace(plug, cut_ends=2))[0] == -1.0


def test_edges_are_shared_within_a_contour_only() -> None:
    rows = rows_of(
        (
            plan(Form.PLUG, "x", 40, contour="a"),
            plan(Form.HOLE, "x", 40, contour="a"),
            plan(Form.PLUG, "y", 40, contour="a"),
            plan(Form.PLUG, "x", 40),
        ),
        single=True,
    )
    v, _ = noise_covariance(rows, hand_mm=0.0, rounding_mm=0.0, edge_sd_mm=0.02)
    want = 2 * 0.02**2 * np.array([[1, 1, 0, 0], [1, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
    np.testing.assert_allclose(v, want)


def test_rounding_is_averaged_only_by_a_hand_that_scatters() -> None:
    rows = rows_of((plan(Form.PLUG, "x", 40, 4),), single=False)
    step = 0.02
    for hand, divisor in ((0.02, 4), (0.005, 1)):
        v, share = noise_covariance(
            rows, hand_mm=hand, rounding_mm=step / math.sqrt(12), edge_sd_mm=0.0
        )
        assert v[0, 0] == pytest.approx(hand**2 / 4 + step**2 / 12 / divisor)
        assert share[0] == pytest.approx(hand**2 / 4)


# the estimate


@given(plans=gauge_plans(), truth=gauge_truths(), seed=st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_weighted_fit_is_conditioning_of_a_joint_normal(
    plans: tuple[Reading, ...], truth: Truth, seed: int
) -> None:
    readings = merge_repeats(take(plans, truth, np.random.default_rng(seed)))
    rows = rows_of(readings, single=True)
    v, _ = noise_covariance(rows, hand_mm=0.025, rounding_mm=0.006, edge_sd_mm=0.02)
    fit = weighted_fit(rows.design, rows.y_mm, v, PRIOR.mean, PRIOR.covariance)
    # the textbook formula, by another route: E[b|y] = m + S A' (A S A' + V)^-1 (y - A m)
    a, s = rows.design, PRIOR.covariance
    gain = s @ a.T @ np.linalg.inv(a @ s @ a.T + v)
    np.testing.assert_allclose(
        fit.mean, PRIOR.mean + gain @ (rows.y_mm - a @ PRIOR.mean), atol=1e-9
    )
    np.testing.assert_allclose(fit.covariance, s - gain @ a @ s, atol=1e-10)


def test_true_kerf_comes_back_from_a_good_hand() -> None:
    fine = Caliper(step_mm=1e-5, s0_mm=1e-5, u_zero_outside_mm=1e-5, u_zero_inside_mm=1e-5)
    sizes = PriorSizes(gap_sd_mm=1e-6, gap_mm=0.011, backlash_sd_mm=0.02)
    truth = replace(TYPICAL, zero_outside=0.0, zero_inside=0.0)
    readings = take(full_gauge(), truth, np.random.default_rng(1), hand=0, edge=0, step=1e-6)
    prior = KerfPrior.assumed(sizes, fine)
    fit = fit_kerf(readings, prior, fine, GaugeAssumed(edge_sd_mm=1e-5))
    assert fit.kerf_x.value == pytest.approx(0.143, abs=5e-5)
    assert fit.kerf_y.value == pytest.approx(0.217, abs=5e-5)
    assert fit.estimate("scale_x").value == pytest.approx(1.0011, abs=5e-5)
    assert fit.estimate("scale_y").value == pytest.approx(0.9992, abs=5e-5)


@given(truth=gauge_truths(), seed=st.integers(0, 1000), shuffle=st.randoms())
@settings(max_examples=15, deadline=None)
def test_sequence_of_readings_does_not_matter(truth: Truth, seed: int, shuffle: Any) -> None:
    readings = list(take(full_gauge(), truth, np.random.default_rng(seed)))
    assumed = GaugeAssumed(kerf_limits_mm=(0.0, 5.0))
    first = fit_kerf(tuple(readings), assumed=assumed)
    shuffle.shuffle(readings)
    second = fit_kerf(tuple(readings), assumed=assumed)
    np.testing.assert_allclose(first.mean, second.mean, atol=1e-9)
    np.testing.assert_allclose(first.high - first.low, second.high - second.low, atol=1e-6)


def test_repeats_in_two_rows_or_in_one_are_the_same() -> None:
    one = Reading(form=Form.PLUG, axis="x", drawn_mm=40, values_mm=(39.8, 39.84), contour="a")
    apart = tuple(replace(one, values_mm=(v,)) for v in one.values_mm)
    np.testing.assert_array_equal(fit_kerf((one,)).mean, fit_kerf(apart).mean)
    # without the name of a contour they are two pieces, and the edges of both count
    nameless = tuple(replace(r, contour="") for r in apart)
    assert fit_kerf(nameless).kerf_x.u < fit_kerf((one,)).kerf_x.u


def test_variance_by_source_adds_up() -> None:
    for plans in (full_gauge(), three_a_side(2), pairs()):
        fit = plain_fit(take(plans, TYPICAL, np.random.default_rng(2)), PRIOR, CALIPER, 0.02)
        total = sum(fit.budget.values())
        np.testing.assert_allclose(total, np.diag(fit.linear.covariance), rtol=1e-9, atol=1e-18)


def scattered(plans: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Two repeats that scatter exactly by the assumed hand, so that pooling changes nothing."""
    off = 0.025 / math.sqrt(2)
    return tuple(
        replace(p, values_mm=(p.values_mm[0] - off, p.values_mm[0] + off))
        if len(p.values_mm) == 2
        else p
        for p in plans
    )


# study: 2 u of kerf_x, of kerf_x - kerf_y, and of a size of 150 and 300 mm, mm
GAUGES = {
    "three a side, twice": (three_a_side(2), 0.0113, 0.0079, 0.088, 0.192),
    "full": (full_gauge(), 0.0116, 0.0092, 0.097, 0.207),
    "quick": (three_a_side(1), 0.0126, 0.0111, 0.097, 0.210),
    "full and strips": (
        full_gauge() + tuple(plan(Form.STRIP, a, 300, u=0.05) for a in "xy"),
        0.0115,
        0.0088,
        0.051,
        0.102,
    ),
}


@pytest.mark.parametrize(
    ("plans", "kx", "difference", "at_150", "at_300"), GAUGES.values(), ids=GAUGES
)
def test_uncertainty_of_gauges(
    plans: tuple[Reading, ...], kx: float, difference: float, at_150: float, at_300: float
) -> None:
    c = plain_fit(scattered(plans), INDEPENDENT, CALIPER, 0.02).linear.covariance

    def two_u(*weights: float) -> float:
        w = np.array(weights)
        return 2 * math.sqrt(w @ c[: len(w), : len(w)] @ w)

    assert two_u(1.0) == pytest.approx(kx, abs=0.0003)
    assert two_u(1.0, -1.0) == pytest.approx(difference, abs=0.0005)
    assert two_u(-1, 0, 150, 0, -1) == pytest.approx(at_150, rel=0.07)
    assert two_u(-1, 0, 300, 0, -1) == pytest.approx(at_300, rel=0.07)


@pytest.mark.parametrize("repeats", [1, 2, 6])
def test_closed_form_of_a_pair(repeats: int) -> None:
    # study: U = 2 sqrt(u_c^2 / (2 r) + u_z^2 / 2), when the prior does not help
    plans = tuple(plan(f, "x", 40, repeats, "a") for f in (Form.PLUG, Form.HOLE))
    rows = rows_of(plans, single=False)
    v, _ = noise_covariance(rows, hand_mm=0.025, rounding_mm=CALIPER.rounding_mm, edge_sd_mm=0.02)
    wide = PRIOR.covariance.copy()
    wide[0, 0] = wide[1, 1] = 1e4
    c = weighted_fit(rows.design, rows.y_mm, v, PRIOR.mean, wide).covariance
    u_c2 = 0.025**2 + 0.02**2 / 12
    assert math.sqrt(c[0, 0]) == pytest.approx(
        math.sqrt(u_c2 / (2 * repeats) + 0.01**2 / 2), rel=1e-4
    )


@pytest.mark.parametrize(("n", "gap_sd", "want"), [(4, 0.006, 0.017), (8, 0.006, 0.0127), (8, 0.003, 0.0098), (10, 0.003, 0.0086), (15, 0.006, 0.0116)])  # fmt: skip
def test_closed_form_of_a_stack_with_its_window(n: int, gap_sd: float, want: float) -> None:
    # study: U = 2 sqrt(2 u_c^2 / r + 2 u_z^2 + (N-1)^2 u_g^2) / (N+1); scale, backlash, edges cancel
    plans = (
        plan(Form.STACK, "x", 9.0 * n, 1, "w", n),
        plan(Form.WINDOW, "x", 9.0 * n, 1, "w"),
    )
    prior = KerfPrior.assumed(PriorSizes(gap_sd_mm=gap_sd, kerf_sd_mm=10.0, scale_sd=1.0))
    u = math.sqrt(plain_fit(plans, prior, CALIPER, 0.02).linear.covariance[0, 0])
    u_c2 = 0.025**2 + 0.02**2 / 12
    form = math.sqrt(2 * u_c2 + 2 * 0.01**2 + (n - 1) ** 2 * gap_sd**2) / (n + 1)
    assert u == pytest.approx(form, rel=1e-3)
    assert 2 * u == pytest.approx(want, rel=0.02)


@pytest.mark.parametrize(
    ("plans", "floor"), [(three_a_side(2), 0.92), (full_gauge(), 0.92), (three_a_side(1), 0.92)]
)
def test_coverage(plans: tuple[Reading, ...], floor: float) -> None:
    # study: 0.950, 0.952, 0.958 in 2000 trials; here 300, binomial standard error 0.013
    rng = np.random.default_rng(11)
    hits, trials = 0, 300
    for _ in range(trials):
        truth = Truth.drawn(rng)
        fit = plain_fit(take(plans, truth, rng), PRIOR, CALIPER, 0.02)
        hits += abs(fit.linear.mean[0] - truth.kerf["x"]) <= fit.U[0]
    assert floor <= hits / trials <= 0.99


def test_coverage_on_an_unusual_machine() -> None:
    # kerfs that differ by 2.5 of the assumed standard deviations, scales by 2e-3
    rng = np.random.default_rng(12)
    hits, trials = 0, 100
    for _ in range(trials):
        fit = fit_kerf(
            take(
                full_gauge(), replace(Truth.drawn(rng), kerf=TYPICAL.kerf, scale=TYPICAL.scale), rng
            ),
            with_advice=False,
        )
        hits += fit.kerf_x.low <= 0.143 <= fit.kerf_x.high
        hits += fit.kerf_y.low <= 0.217 <= fit.kerf_y.high
    assert hits / (2 * trials) > 0.92


def test_a_posterior_is_a_prior() -> None:
    # two pieces one after the other, or both at once: nothing but the sequence differs
    first = take((plan(Form.STACK, "x", 72, 1, "a", 8),), TYPICAL, np.random.default_rng(3))
    second = take((plan(Form.WINDOW, "x", 60, 1, "b"),), TYPICAL, np.random.default_rng(4))
    middle = plain_fit(first, PRIOR, CALIPER, 0.02).linear
    carried = KerfPrior(mean=middle.mean, covariance=middle.covariance)
    last = plain_fit(second, carried, CALIPER, 0.02).linear
    both = plain_fit(first + second, PRIOR, CALIPER, 0.02).linear
    np.testing.assert_allclose(last.mean, both.mean, atol=1e-10)
    np.testing.assert_allclose(last.covariance, both.covariance, atol=1e-12)


def test_effective_degrees_of_freedom() -> None:
    fit = fit_kerf(take(full_gauge(), TYPICAL, np.random.default_rng(4)))
    assert fit.plain.hand_dof == 10  # 8 assumed, one from each stack read twice
    assert 15 < fit.kerf_x.nu_eff < 1000
    # a parameter on which no reading bears is known by the prior alone
    only_x = fit_kerf((Reading(form=Form.PLUG, axis="x", drawn_mm=40, values_mm=(39.8,)),))
    assert only_x.estimate("scale_y").nu_eff == math.inf


def test_equal_repeats_do_not_prove_a_perfect_hand() -> None:
    same = Reading(form=Form.PLUG, axis="x", drawn_mm=40, values_mm=(39.8,) * 200)
    fit = plain_fit((same,), PRIOR, CALIPER, 0.02)
    assert fit.hand_mm == pytest.approx(0.02 / math.sqrt(12), rel=0.2)
    assert fit.hand_mm >= 0.02 / math.sqrt(12)


# what is determined


IDENTIFIABILITY = {
    # study: rank, u(kerf), u(scale) 1e-3
    "1 plug": ([plan(Form.PLUG, "x", 40)], 1, 0.078, 1.78),
    "2 plugs, one size": ([plan(Form.PLUG, "x", 40)] * 2, 1, 0.076, 1.77),
    "stacks of one pitch": (
        [plan(Form.STACK, "x", 40, slices=5), plan(Form.STACK, "x", 80, slices=10)],
        1,
        0.017,
        1.99,
    ),
    "one stack": ([plan(Form.STACK, "x", 72, slices=8)], 1, 0.019, 1.99),
    "plugs 20 and 90": ([plan(Form.PLUG, "x", 20), plan(Form.PLUG, "x", 90)], 2, 0.050, 0.70),
    "pair": ([plan(Form.PLUG, "x", 40, 1, "a"), plan(Form.HOLE, "x", 40, 1, "a")], 2, 0.019, 0.89),
    "stack and window": (
        [plan(Form.STACK, "x", 72, 1, "a", 8), plan(Form.WINDOW, "x", 72, 1, "a")],
        2,
        0.0064,
        0.57,
    ),
    "the same and an outer": (
        [
            plan(Form.STACK, "x", 72, 1, "a", 8),
            plan(Form.WINDOW, "x", 72, 1, "a"),
            plan(Form.PLUG, "x", 100),
        ],
        2,
        0.0063,
        0.39,
    ),
}


@pytest.mark.parametrize(
    ("plans", "rank", "u_k", "u_e"), IDENTIFIABILITY.values(), ids=IDENTIFIABILITY
)
def test_identifiability(plans: list[Reading], rank: int, u_k: float, u_e: float) -> None:
    readings = take(tuple(plans), TYPICAL, np.random.default_rng(5))
    fit = fit_kerf(readings, INDEPENDENT)
    rows = rows_of(readings, single=True)
    noise, _ = noise_covariance(rows, hand_mm=0.025, rounding_mm=0.006, edge_sd_mm=0.02)
    assert axis_rank(rows, noise, "x") == rank
    assert axis_rank(rows, noise, "y") == 0
    u = np.sqrt(np.diag(fit.plain.linear.covariance))
    assert u[0] == pytest.approx(u_k, rel=0.03)
    assert 1e3 * u[2] == pytest.approx(u_e, rel=0.03)
    assert (Flag.CONFOUNDED in fit.flags) == (rank == 1)
    determined = {f.about for f in fit.findings if f.flag is Flag.NOT_DETERMINED}
    assert ("kerf_x" in determined) == (u_k > 0.075)
    assert ("scale_x" in determined) == (u_e > 1.0)
    assert {"kerf_y", "scale_y"} <= determined
    assert fit.kerf_x.measured == ("kerf_x" not in determined)


def test_no_readings_give_back_the_prior() -> None:
    fit = fit_kerf(())
    np.testing.assert_allclose(fit.mean, PRIOR.mean)
    np.testing.assert_allclose(fit.covariance, PRIOR.covariance)
    determined = {f.about for f in fit.findings if f.flag is Flag.NOT_DETERMINED}
    assert determined == {"kerf_x", "kerf_y", "scale_x", "scale_y"}
    assert not fit.kerf_x.measured
    assert fit.advice


def test_other_axis_follows_and_is_flagged() -> None:
    readings = take(
        tuple(p for p in full_gauge() if p.axis == "x"), TYPICAL, np.random.default_rng(6)
    )
    fit = fit_kerf(readings)
    # kx - ky is about 0 +- 0.12 and their mean about 0.20 +- 0.15: ky given kx, by the textbook
    common, own = 0.15**2, 0.12**2 / 4
    slope = (common - own) / (common + own)
    assert fit.kerf_y.value == pytest.approx(0.20 + slope * (fit.kerf_x.value - 0.20), abs=0.002)
    assert fit.kerf_y.u == pytest.approx(np.sqrt(common + own - slope * (common - own)), abs=0.002)
    assert not fit.kerf_y.measured
    assert Flag.NO_READINGS in fit.flags


def test_shares_and_warnings_of_the_gap() -> None:
    many = (plan(Form.STACK, "x", 135, 1, "w", 15), plan(Form.WINDOW, "x", 135, 1, "w"))
    readings = take(many, TYPICAL, np.random.default_rng(7))
    assert Flag.GAP_LIMITED in fit_kerf(readings).flags
    pressed = KerfPrior.assumed(PriorSizes(gap_sd_mm=0.002))
    assert Flag.GAP_LIMITED not in fit_kerf(readings, pressed).flags


def test_uncertain_kerf_is_said() -> None:
    assert Flag.KERF_UNCERTAIN in fit_kerf(take(pairs(), TYPICAL, np.random.default_rng(8))).flags
    usual = replace(TYPICAL, kerf={"x": 0.17, "y": 0.19})
    fits = [fit_kerf(take(full_gauge(), usual, np.random.default_rng(i))) for i in range(20)]
    # a full gauge is good enough, save where chance makes a reading look bad (2 times in 100)
    assert sum(Flag.KERF_UNCERTAIN in f.flags for f in fits) <= 3


def test_unusual_and_impossible_kerf() -> None:
    def pair(kerf: float) -> tuple[Reading, ...]:
        return (
            Reading(form=Form.PLUG, axis="x", drawn_mm=40, values_mm=(40 - kerf,), contour="a"),
            Reading(form=Form.HOLE, axis="x", drawn_mm=40, values_mm=(40 + kerf,), contour="a"),
        )

    # common practice, no source: a hobby laser's kerf lies between 0.05 and 0.40 mm
    assert Flag.KERF_UNUSUAL in fit_kerf(pair(0.5)).flags
    assert Flag.KERF_UNUSUAL in fit_kerf(pair(0.02)).flags
    assert Flag.KERF_UNUSUAL not in fit_kerf(pair(0.2)).flags
    with pytest.raises(ReadingError, match="impossible kerf"):
        fit_kerf(pair(-0.1))


# refusals

GOOD: dict[str, Any] = {"form": "plug", "axis": "x", "drawn_mm": 40.0, "values_mm": (39.8,)}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"form": "plugg"}, "Did you mean 'plug'"),
        ({"axis": "z"}, "unknown axis"),
        ({"drawn_mm": 0.0}, "drawn size"),
        ({"drawn_mm": math.nan}, "drawn size"),
        ({"values_mm": ()}, "no value"),
        ({"values_mm": (39.8, math.nan)}, "not a number"),
        ({"values_mm": (math.inf,)}, "not a number"),
        ({"values_mm": (-39.8,)}, "larger than zero"),
        ({"values_mm": (0.0,)}, "larger than zero"),
        ({"form": "stack"}, "number of slices"),
        ({"form": "stack", "slices": 1}, "number of slices"),
        ({"form": "stack", "slices": 7.5}, "number of slices"),
        ({"slices": 8}, "has no slices"),
        ({"turned": True}, "turned over"),
        ({"cut_ends": 3}, "cut_ends"),
        ({"form": "hole", "cut_ends": 1}, "cut at both ends"),
        ({"form": "strip"}, "u_mm"),
        ({"form": "difference", "axis": "y", "u_mm": 0.03}, "axis x"),
        ({"u_mm": 0.0}, "u_mm"),
        ({"values_mm": (39.8 / 25.4,)}, "UNITS"),
        ({"values_mm": (39.8 * 25.4,)}, "UNITS"),
    ],
)
def test_refused_readings(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ReadingError, match="row 3") as caught:
        Reading(**(GOOD | change | {"where": "row 3"}))
    assert words in str(caught.value)
    assert caught.value.exit_code == 2


def test_unit_suspicion_is_flagged_by_name() -> None:
    with pytest.raises(ReadingError) as caught:
        Reading(**(GOOD | {"values_mm": (1.567,)}))
    assert caught.value.data["flag"] == "UNITS?"


def test_implausible_value_names_its_row() -> None:
    readings = list(take(full_gauge(), TYPICAL, np.random.default_rng(9)))
    readings = [replace(r, where=f"row {i + 1}") for i, r in enumerate(readings)]
    wrong = readings[3]
    readings[3] = replace(wrong, values_mm=(wrong.values_mm[0] + 22.0,))
    with pytest.raises(ReadingError, match=r"row 4.*IMPLAUSIBLE") as caught:
        fit_kerf(tuple(readings))
    assert caught.value.data["rows"] == [3]
    # a decimal slip, and a stack read with half its slices
    for i, factor in ((0, 0.1), (2, 0.5)):
        slipped = take(full_gauge(), TYPICAL, np.random.default_rng(9))
        values = tuple(v * factor for v in slipped[i].values_mm)
        changed = replace(slipped[i], values_mm=values)
        with pytest.raises(ReadingError, match="IMPLAUSIBLE"):
            fit_kerf((*slipped[:i], changed, *slipped[i + 1 :]))


def test_too_many_values() -> None:
    many = Reading(**(GOOD | {"values_mm": (39.8,) * (MAX_VALUES + 1)}))
    with pytest.raises(ReadingError, match="too many values"):
        fit_kerf((many,))


def test_repeats_far_apart() -> None:
    fit = fit_kerf((Reading(**(GOOD | {"values_mm": (39.80, 39.98)})),))
    assert Flag.REPEATS in fit.flags
    assert Flag.REPEATS not in fit_kerf((Reading(**(GOOD | {"values_mm": (39.80, 39.88)})),)).flags


def test_prior_must_be_positive_definite() -> None:
    broken = PRIOR.covariance.copy()
    broken[0, 1] = broken[1, 0] = 1.0
    for covariance in (broken, np.zeros((9, 9)), PRIOR.covariance[:8, :8]):
        with pytest.raises(InputError):
            KerfPrior(mean=PRIOR.mean, covariance=covariance)
    with pytest.raises(InputError, match="kerf_sd_mm"):
        PriorSizes(kerf_sd_mm=0.0)
    with pytest.raises(ReadingError, match="s0_mm"):
        Caliper(s0_mm=-1.0)


# false alarms and faults


def test_checks_are_quiet_when_nothing_is_wrong() -> None:
    # study: all checks together reject 2.0 %; here 200 trials
    rng = np.random.default_rng(12)
    faults = {Flag.REPEATS, Flag.LACK_OF_FIT, Flag.OUTLIER}
    alarms = 0
    for _ in range(200):
        truth = replace(Truth.drawn(rng), kerf={"x": 0.2, "y": 0.21})
        alarms += bool(faults & fit_kerf(take(full_gauge(), truth, rng), with_advice=False).flags)
    assert alarms <= 10


def test_one_reading_off_by_0_3_is_seen() -> None:
    # study: 95 % by lack of fit, 99 % by the probability of an outlier
    rng = np.random.default_rng(13)
    seen = 0
    for _ in range(60):
        truth = replace(Truth.drawn(rng), kerf={"x": 0.2, "y": 0.21})
        readings = take(full_gauge(), truth, rng)
        i = int(rng.integers(len(readings)))
        off = replace(readings[i], values_mm=tuple(v + 0.3 for v in readings[i].values_mm[:1]) + readings[i].values_mm[1:])  # fmt: skip
        flags = fit_kerf((*readings[:i], off, *readings[i + 1 :]), with_advice=False).flags
        seen += bool({Flag.REPEATS, Flag.LACK_OF_FIT, Flag.OUTLIER} & flags)
    assert seen >= 52


def test_a_plug_given_as_a_hole_is_seen() -> None:
    readings = take(full_gauge(), TYPICAL, np.random.default_rng(14))
    wrong = replace(readings[0], form=Form.HOLE)
    assert {Flag.OUTLIER, Flag.LACK_OF_FIT} & fit_kerf((wrong, *readings[1:])).flags


# taper


@given(truth=gauge_truths(), n=st.integers(2, 12))
@settings(max_examples=30, deadline=None)
def test_taper_of_a_perfect_stack(truth: Truth, n: int) -> None:
    straight = plan(Form.STACK, "x", 72, 1, "w", n)
    turned = replace(straight, turned=True)
    taken = take((straight, turned), truth, np.random.default_rng(1), hand=0, edge=0.02, step=1e-9)
    (taper,) = taper_of(taken, CALIPER)
    assert taper.taper_mm == pytest.approx(truth.taper, abs=1e-6)


def test_taper_uncertainty_and_use() -> None:
    rng = np.random.default_rng(15)
    truth = replace(TYPICAL, taper=0.06)
    plans = (*full_gauge(), replace(full_gauge()[2], turned=True))
    errors = []
    for _ in range(60):
        readings = take(plans, truth, rng)
        fit = fit_kerf(readings, with_advice=False)
        (taper,) = fit.taper
        errors.append((taper.taper_mm - 0.06) / taper.u_mm)
        # the turned stack speaks of taper only
        np.testing.assert_array_equal(fit.mean, fit_kerf(readings[:-1], with_advice=False).mean)
    assert 0.75 < float(np.std(errors)) < 1.3
    single = taper_of(take((plan(Form.STACK, "x", 72, 1, "w", 8), replace(plan(Form.STACK, "x", 72, 1, "w", 8), turned=True)), truth, rng), CALIPER)  # fmt: skip
    assert single[0].u_mm == pytest.approx(0.010, abs=0.001)  # study: 0.010 at N = 8


def test_exchanged_stacks_are_flagged() -> None:
    straight = Reading(form=Form.STACK, axis="x", drawn_mm=72, values_mm=(70.5,), slices=8)
    turned = replace(straight, values_mm=(70.8,), turned=True)
    assert Flag.TAPER_NEGATIVE in fit_kerf((straight, turned)).flags


# advice


@given(plans=gauge_plans(), parameter=st.sampled_from(PARAMETERS[:4]))
@settings(max_examples=40, deadline=None)
def test_advice_is_what_the_reading_would_bring(plans: tuple[Reading, ...], parameter: str) -> None:
    now = tuple(replace(p, contour=p.contour or f"alone {i}") for i, p in enumerate(plans))
    now = merge_repeats(tuple(replace(p, values_mm=p.values_mm[:1]) for p in now))
    j = PARAMETERS.index(parameter)

    def u(readings: tuple[Reading, ...]) -> float:
        rows = rows_of(readings, single=True)
        v, _ = noise_covariance(
            rows, hand_mm=0.025, rounding_mm=CALIPER.rounding_mm, edge_sd_mm=0.02
        )
        fit = weighted_fit(rows.design, rows.y_mm, v, PRIOR.mean, PRIOR.covariance)
        return math.sqrt(fit.covariance[j, j])

    single = tuple(replace(p, values_mm=p.values_mm[:1]) for p in now)
    found = advise(single, PRIOR, CALIPER, edge_sd_mm=0.02, parameter=parameter)
    assert list(found) == sorted(found, key=lambda a: a.u_after_mm)
    for advice in found:
        assert advice.u_before_mm == pytest.approx(u(single), rel=1e-9)
        assert advice.u_after_mm <= advice.u_before_mm * (1 + 1e-9)
        assert advice.u_after_mm == pytest.approx(u((*single, advice.reading)), rel=1e-6)


def test_advice_names_the_missing_window_and_the_strip() -> None:
    stacks = tuple(plan(Form.STACK, a, 72, 1, f"w{a}", 8) for a in "xy")
    best = fit_kerf(take(stacks, TYPICAL, np.random.default_rng(16))).advice[0]
    assert best.reading.form is Form.WINDOW
    gauge = take(full_gauge(), TYPICAL, np.random.default_rng(16))
    scale = advise(gauge, PRIOR, CALIPER, edge_sd_mm=0.02, parameter="scale_x")[0]
    assert scale.reading.form is Form.STRIP
    assert scale.gain > 0.3
    with pytest.raises(ValueError, match="no advice"):
        advise(gauge, PRIOR, CALIPER, edge_sd_mm=0.02, parameter="gap")
