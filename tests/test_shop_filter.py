"""The bank of filters of the shop book, against exact references."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import linalg, optimize, stats
from shop_policies import Policy, run, seen_as

from boxjoint.errors import InputError
from boxjoint.shop import filter as shop_filter
from boxjoint.shop.assumed import MOTIONS, SPREADS, Assumed, Motion
from boxjoint.shop.filter import Outlook, ShopFilter
from boxjoint.shop.likelihood import Observation, Term, log_evidence

#: One motion, one spread, no jump, no shared error: the plain linear model, for exact references.
PLAIN = Assumed(
    motions=(Motion(name="walks", weight=1.0, walk_mm=0.01),),
    spreads=((0.02, 1.0),),
    jump_rate=0,
    gauge_u_mm=0,
    difference_walk=0,
)
SHARP = np.diag([0.006**2, 0.006**2, 1e-6, 1e-6])


def kerf_of(state: ShopFilter, record: str = "a") -> tuple[np.ndarray, np.ndarray]:
    return state.belief(record).moments()


def fresh(assumed: Assumed, *records: str) -> ShopFilter:
    state = ShopFilter(assumed)
    for record in records or ("a",):
        state.add_record(record)
    return state


def test_the_quantiles_of_the_gate() -> None:
    # scipy: 99 % of chi-squared with 1 to 4 degrees of freedom
    assert pytest.approx(stats.chi2.ppf(0.99, [1, 2, 3, 4]), abs=5e-5) == shop_filter._CHI2_99
    assert Assumed().gate == pytest.approx(stats.chi2.ppf(0.99, 1), abs=0.006)


@given(st.floats(-9, 9), st.floats(1e-3, 9))
@settings(max_examples=200, deadline=None)
def test_a_truncated_normal(low: float, width: float) -> None:
    mean, variance, mass = shop_filter._truncated(low, low + width)
    # scipy's truncated normal loses digits in far, narrow intervals: 1e-6 there
    expected = stats.truncnorm.stats(low, low + width)
    assert mean == pytest.approx(float(expected[0]), abs=1e-7)
    assert variance == pytest.approx(float(expected[1]), abs=1e-6)
    assert mass == pytest.approx(stats.norm.cdf(low + width) - stats.norm.cdf(low), abs=1e-12)


@pytest.mark.parametrize("bound", [-40.0, -8.0, -1.0, 0.0, 1.0, 8.0])
def test_a_half_open_interval(bound: float) -> None:
    mean, variance, mass = shop_filter._truncated(-np.inf, bound)
    assert shop_filter._truncated(-bound, np.inf) == (-mean, variance, mass)
    if bound > -37:
        expected = stats.truncnorm.stats(-np.inf, bound)
        assert mean == pytest.approx(float(expected[0]), rel=1e-9)
        assert variance == pytest.approx(float(expected[1]), abs=1e-9)
    else:
        assert (mean, variance) == (bound, 0.0)


def test_the_filter_is_the_exact_answer_of_the_linear_model() -> None:
    """Against one joint normal distribution of the kerfs of all times, conditioned at once.

    The kerf of the first day is kept as a comb's day, and what came later tells of it.
    """
    rng = np.random.default_rng(5)
    a = PLAIN
    records, times = "ab", 12
    # unknowns: e_x, e_y, b, D, d of each record, then kerf of each record at each time
    first = 4 + len(records)
    size = first + len(records) * times
    prior = np.zeros((size, size))
    prior[:4, :4] = np.diag(np.square([a.scale_u, a.scale_u, a.backlash_u_mm, a.difference_u_mm]))
    for i in range(4, first):
        prior[i, 3] = prior[3, i] = a.difference_u_mm**2
        for j in range(4, first):
            prior[i, j] = a.difference_u_mm**2 + (i == j) * a.spreads[0][0] ** 2
    q = 0.01**2 * (a.common + (1 - a.common) * np.eye(len(records)))
    for s, t in itertools.product(range(times), repeat=2):
        block = a.kerf_u_mm**2 * np.eye(len(records)) + min(s, t) * q
        prior[first + 2 * s : first + 2 * s + 2, first + 2 * t : first + 2 * t + 2] = block
    mean = np.concatenate([np.zeros(first), np.full(len(records) * times, a.kerf_mm)])
    state = fresh(a, *records)
    state.add_day("comb", "a", "y")
    rows, values, noises = [], [], []
    for t in range(times):
        if t:
            state.advance(1)
        record = int(rng.integers(len(records)))
        k = first + 2 * t + record
        kx, ky = np.zeros(size), np.zeros(size)
        kx[[k, 4 + record]], ky[[k, 4 + record]] = [1, 0.5], [1, -0.5]
        if t % 2:
            root = rng.normal(size=(4, 4)) * [[0.01], [0.01], [1e-3], [1e-3]]
            cov = root @ root.T + np.diag([1e-6, 1e-6, 1e-8, 1e-8])
            est = np.array([0.21, 0.18, 1e-3, -1e-3]) + rng.normal(size=4) * [0.01, 0.01, 0, 0]
            state.gauge(records[record], seen_as(est, cov))
            rows += [kx, ky, np.eye(size)[0], np.eye(size)[1]]
            values += est.tolist()
            noises.append(cov)
        else:
            axis, asked = "xy"[t // 2 % 2], float(rng.uniform(60, 350))
            measured, used = asked + float(rng.normal(0, 0.1)), 0.2
            state.inside(
                records[record],
                axis,
                asked_mm=asked,
                measured_mm=measured,
                kerf_mm=used,
                scale=1.0005,
            )
            # written anew: drawn (asked + used)/scale, cut wider by (1 + e), narrower by kerf and b
            row = asked * np.eye(size)["xy".index(axis)] - (kx if axis == "x" else ky)
            row[2] = -1
            rows.append(row)
            values.append(measured - asked - 0.024 + asked * 0.0005 - used)
            noises.append(np.array([[0.05**2 + 2 * 0.02**2 + 2 * 0.009**2]]))
    h, y, noise = np.array(rows), np.array(values), linalg.block_diag(*noises)
    gain = np.linalg.solve(h @ prior @ h.T + noise, h @ prior).T
    mean = mean + gain @ (y - h @ mean)
    cov = prior - gain @ h @ prior
    comb = np.zeros(size)
    comb[[first, 4]] = [1, -0.5]
    unit = np.eye(size)
    wanted = np.array([*unit[:3], unit[3], unit[size - 2], unit[4], unit[size - 1], unit[5], comb])
    names = [
        "e_x",
        "e_y",
        "b",
        "D",
        ("k", "a"),
        ("d", "a"),
        ("k", "b"),
        ("d", "b"),
        ("day", "comb"),
    ]
    ours = [state.names.index(n) for n in names]
    assert state.mean[0][ours] == pytest.approx(wanted @ mean, rel=1e-9, abs=1e-12)
    assert state.cov[0][np.ix_(ours, ours)] == pytest.approx(
        wanted @ cov @ wanted.T, rel=1e-6, abs=1e-13
    )
    state.check()


def test_creep_is_a_steady_rate_that_gauges_find() -> None:
    """Kerf on a line: the answer of weighted least squares, by numpy's polyfit, with a wide prior."""
    a = replace(
        PLAIN,
        motions=(Motion(name="creeps", weight=1.0, walk_mm=0.0, creep_mm=10.0),),
        kerf_u_mm=100.0,
        creep_walk_mm=0.0,
    )
    state = fresh(a)
    rng = np.random.default_rng(1)
    times, values = np.arange(6.0), 0.15 + 0.01 * np.arange(6) + rng.normal(0, 0.006, 6)
    for n, value in enumerate(values):
        if n:
            state.advance(1)
        state.gauge("a", seen_as(np.array([value, value, 0, 0]), SHARP))
    slope, start = np.polyfit(times, values, 1)
    rate = state.mean[0][state.names.index("rate")]
    assert rate == pytest.approx(slope, abs=1e-5)
    assert state.mean[0][state.names.index(("k", "a"))] == pytest.approx(
        start + 5 * slope, abs=1e-5
    )


def test_motions_and_spreads_get_the_weights_of_bayes() -> None:
    """Weight times density of what was read, by scipy's multivariate normal, for each kind."""
    a = Assumed(jump_rate=0, gauge_u_mm=0, forget=0, difference_walk=0, creep_walk_mm=0)
    state = fresh(a, "a", "b")
    read = [np.array([0.20, 0.16]), np.array([0.215, 0.165]), np.array([0.16, 0.21])]
    noise = np.diag([0.006**2] * 2)
    cov = linalg.block_diag(noise, np.diag([1.0, 1.0]))  # nothing of the scales
    for record, est in zip("aab", read, strict=True):
        state.gauge(record, seen_as(np.concatenate([est, [0, 0]]), cov))
        state.advance(2)
    log = np.zeros((len(MOTIONS), len(SPREADS)))
    for (m, motion), (s, (spread, weight)) in itertools.product(
        enumerate(MOTIONS), enumerate(SPREADS)
    ):
        # unknowns: k_a, d_a, k_b, d_b at the start; the readings at 0, 2 and 4 jobs
        kerf = np.zeros((6, 6))
        for (i, (r, t)), (j, (q, u)) in itertools.product(
            enumerate([(0, 0), (0, 2), (1, 4)]), repeat=2
        ):
            walk = motion.walk_mm**2 * min(t, u) * (1.0 if r == q else a.common)
            # record b joins when it is first met: here at the start, like a
            mean = (r == q) * a.kerf_u_mm**2 + walk + motion.creep_mm**2 * t * u
            apart = a.difference_u_mm**2 + (r == q) * spread**2
            kerf[2 * i : 2 * i + 2, 2 * j : 2 * j + 2] = mean + apart / 4 * np.array(
                [[1, -1], [-1, 1]]
            )
        every = stats.multivariate_normal(np.full(6, a.kerf_mm), kerf + np.kron(np.eye(3), noise))
        log[m, s] = every.logpdf(np.concatenate(read)) + np.log(motion.weight * weight)
    wanted = np.exp(log - log.max())
    wanted /= wanted.sum()
    got = np.zeros_like(wanted)
    for (m, s), w in zip(state.kind, state.weight, strict=True):
        got[m, s] += w
    assert got == pytest.approx(wanted, rel=1e-3, abs=1e-9)


def test_a_likelihood_with_two_meanings_keeps_both_until_they_meet_what_is_known() -> None:
    one = np.array([0.2, 0.2, 0, 0]), np.array([0.3, 0.3, 0, 0])
    log = [0.0, 0.0]
    terms = tuple(seen_as(mean, SHARP).terms[0] for mean in one)
    # equal densities at their own centres
    terms = tuple(
        replace(t, log_weight=w - 0.5 * float(np.array(t.vector) @ mean))
        for t, mean, w in zip(terms, one, log, strict=True)
    )
    for known, wanted in ((0.2, 0.2), (0.3, 0.3)):
        state = fresh(PLAIN)
        state.gauge(
            "a", seen_as(np.array([known, known, 0, 0]), np.diag([0.02**2] * 2 + [1e-6] * 2))
        )
        state.gauge("a", Observation(terms=terms))
        assert kerf_of(state)[0][:2] == pytest.approx([wanted] * 2, abs=0.003)
    state = fresh(PLAIN)
    state.gauge("a", Observation(terms=terms))
    outlook = state.belief("a")
    assert len(outlook.weight) == 2
    assert sorted(outlook.mean[:, 0]) == pytest.approx([0.2, 0.3], abs=0.002)


@pytest.mark.parametrize(("word", "used"), [("tight", 0.2), ("ok", 0.25), ("loose", 0.1)])
def test_a_verdict_against_numerical_integration(word: str, used: float) -> None:
    """Over kerf and wish on a grid: one motion, one component, so that nothing is approximated but shape."""
    a = PLAIN
    k, wish = np.meshgrid(np.linspace(-0.3, 0.7, 1201), np.linspace(-0.5, 0.5, 1201), indexing="ij")
    state = fresh(a)
    state.verdict("a", word, kerf_mm=used, hand="ply", combed=False)
    low, high = {
        "tight": (-np.inf, a.fit_low_mm),
        "ok": (a.fit_low_mm, a.fit_high_mm),
        "loose": (a.fit_high_mm, np.inf),
    }[word]
    miss = 2 * (k - used) - wish
    like = stats.norm.cdf((high - miss) / a.fit_u_mm) - stats.norm.cdf((low - miss) / a.fit_u_mm)
    weight = stats.norm.pdf(k, a.kerf_mm, a.kerf_u_mm) * stats.norm.pdf(wish, 0, a.wish_u_mm) * like
    weight /= weight.sum()
    at = [state.names.index(("k", "a")), state.names.index(("wish", "ply", False))]
    mean = np.array([(weight * k).sum(), (weight * wish).sum()])
    assert state.mean[0][at] == pytest.approx(mean, abs=1e-5)
    off = np.stack([k - mean[0], wish - mean[1]])
    cov = np.einsum("ikl,jkl,kl->ij", off, off, weight)
    assert state.cov[0][np.ix_(at, at)] == pytest.approx(cov, rel=1e-3, abs=1e-7)


def test_a_verdict_tells_of_the_hand_before_it_tells_of_the_kerf() -> None:
    """Issue's case: kerf 0.150 read to 0.0055; a hand that wants more calls ten boxes tight."""
    state = fresh(Assumed())
    state.gauge("a", seen_as(np.array([0.15, 0.15, 0, 0]), np.diag([0.0055**2] * 2 + [1e-6] * 2)))
    before = kerf_of(state)[0][0]
    for _ in range(10):
        state.advance(0.3)
        state.verdict("a", "tight", kerf_mm=0.15, hand="ply", combed=False)
    mean, u = state.wish("ply", combed=False) or (0.0, 0.0)
    assert mean > 2 * u > 0
    assert kerf_of(state)[0][0] == pytest.approx(before, abs=0.006)


def test_a_jump_that_nobody_logged_is_found_and_told() -> None:
    state = fresh(Assumed(), "a", "b")
    for k in (0.20, 0.20):
        assert state.gauge("a", seen_as(np.array([k, k, 0, 0]), SHARP)) == []
        state.advance(1)
    (step,) = state.gauge("a", seen_as(np.array([0.27, 0.27, 0, 0]), SHARP))
    assert step.name == "STEP"
    assert step.shift_mm == pytest.approx(0.07, abs=0.006)
    assert kerf_of(state)[0][:2] == pytest.approx([0.27] * 2, abs=0.012)
    # a scale that cannot be is no step of the kerf
    state = fresh(Assumed())
    state.gauge("a", seen_as(np.array([0.2, 0.2, 0, 0]), SHARP))
    far = seen_as(np.array([0.2, 0.2, 0.02, -0.02]), SHARP)
    assert [x.name for x in state.gauge("a", far)] == ["MISFIT"]


def test_what_hardly_sees_the_kerf_is_no_step_of_it() -> None:
    state = fresh(Assumed())
    state.gauge("a", seen_as(np.array([0.2, 0.2, 0, 0]), SHARP))
    (kerf, _), u = kerf_of(state)[0][:2], kerf_of(state)[1][0, 0]
    # a strip of 300 mm along each axis, read to 0.05 mm, both 0.9 mm short: three times what the
    # scale (1.2 mm in a metre) explains; alone it would leave the kerf to 0.25 mm
    rows = np.array([[-1, 0, 300, 0], [0, -1, 0, 300]], dtype=float) / 0.05
    strips = Term(
        info=tuple(map(tuple, rows.T @ rows)),
        vector=tuple(rows.T @ np.array([-1.1, -1.1]) / 0.05),
    )
    (misfit,) = state.gauge("a", Observation(terms=(strips,)))
    assert (misfit.name, misfit.shift_mm) == ("MISFIT", 0.0)
    assert kerf_of(state)[1][0, 0] <= u * 1.001
    assert kerf_of(state)[0][0] == pytest.approx(kerf, abs=0.001)


def test_a_prior_is_taken_out_of_an_estimate_again() -> None:
    rng = np.random.default_rng(2)
    prior = np.array([0.2, 0.2, 0, 0]), np.diag([0.15**2, 0.15**2, 4e-6, 4e-6])
    for rank in (4, 3, 2, 1, 0):
        rows = rng.normal(size=(rank, 4)) * [1, 1, 300, 300]
        y = rows @ np.array([0.25, 0.21, 1e-3, -1e-3]) + rng.normal(0, 0.01, rank)
        info = rows.T @ rows / 0.01**2
        cov = np.linalg.inv(info + np.linalg.inv(prior[1]))
        mean = cov @ (rows.T @ y / 0.01**2 + np.linalg.solve(prior[1], prior[0]))
        seen = Term.from_posterior(mean, cov, *prior)
        tolerance = 1e-6 * np.abs(info).max() if rank else 1e-3
        assert np.array(seen.info) == pytest.approx(info, abs=tolerance)
        wanted = rows.T @ y / 0.01**2
        assert np.array(seen.vector) == pytest.approx(wanted, abs=1e-6 * (np.abs(wanted).max() + 1))
        # its weight is such that it integrates to 1 over that prior
        whole = log_evidence(np.array(seen.info), np.array(seen.vector), *prior) + seen.log_weight
        assert whole == pytest.approx(0.0, abs=1e-6)
        state = fresh(PLAIN)
        state.gauge("a", Observation.of([seen]))
        state.check()


def test_the_evidence_of_a_term_is_its_integral() -> None:
    """One parameter at a time, by numerical integration of scipy."""
    from scipy import integrate

    for info, vector, mean, variance in ((400.0, 80.0, 0.1, 0.01), (1e4, 1500.0, 0.2, 0.0025)):

        def density(
            p: float, i: float = info, v: float = vector, m: float = mean, s: float = variance
        ) -> float:
            return float(np.exp(v * p - 0.5 * i * p * p) * stats.norm.pdf(p, m, s**0.5))

        top = optimize.minimize_scalar(lambda p: -density(p), bounds=(-1, 1), method="bounded").x
        got = integrate.quad(density, top - 0.3, top + 0.3, points=[top], epsabs=0, epsrel=1e-10)[0]
        ours = log_evidence(
            np.array([[info]]), np.array([vector]), np.array([mean]), np.array([[variance]])
        )
        assert ours == pytest.approx(np.log(got), abs=1e-8)


def test_ten_gauges_of_one_day_share_their_error() -> None:
    a = Assumed(kerf_u_mm=10, difference_u_mm=10, scale_u=1)
    cov = np.diag([0.007**2, 0.007**2, 1e-6, 1e-6])
    one = seen_as(np.array([0.2, 0.2, 0, 0]), cov)
    # wide priors: what the gauges alone are worth
    state = fresh(a)
    state.gauge("a", one)
    assert kerf_of(state)[1][:2, :2] == pytest.approx(cov[:2, :2], abs=1e-6)
    for _ in range(2000):
        state.gauge("a", one)
    u = np.sqrt(kerf_of(state)[1][0, 0])
    assert u == pytest.approx(min(a.gauge_u_mm, np.sqrt(0.5 / 2) * 0.007), rel=0.02)


def test_work_on_a_machine_and_time_widen_what_they_should() -> None:
    a = PLAIN
    state = fresh(a, "a", "b")
    kerfs = [state.names.index(("k", r)) for r in "ab"]
    before = state.cov.copy()
    state.service("kerf")
    more = (state.cov - before)[0]
    assert np.diag(more)[:3].tolist() == [0] * 3
    assert np.diag(more)[kerfs] == pytest.approx([a.service_kerf_u_mm**2] * 2)
    assert more[kerfs[0], kerfs[1]] == pytest.approx(0.5 * a.service_kerf_u_mm**2)
    state.service("both")
    assert (state.cov - before)[0][1, 1] == pytest.approx(a.service_scale_u**2)
    before = state.cov.copy()
    state.advance(2.5)
    more = (state.cov - before)[0][np.ix_(kerfs, kerfs)] / (2.5 * 0.01**2)
    assert more == pytest.approx(np.array([[1, 0.64], [0.64, 1]]))


@given(
    st.lists(
        st.tuples(st.floats(0.01, 1), st.floats(-1, 1), st.floats(0.01, 1)), min_size=1, max_size=6
    )
)
@settings(max_examples=60, deadline=None)
def test_the_interval_of_a_sum_of_normals(parts: list[tuple[float, float, float]]) -> None:
    """Central 95 % by root finding on the sum of scipy's distribution functions."""
    w, m, s = (np.array(column) for column in zip(*parts, strict=True))
    w = w / w.sum()
    outlook = Outlook(weight=w, mean=m[:, None], cov=(s**2)[:, None, None])
    middle, u = outlook.spread(0)

    def end(p: float) -> float:
        return float(optimize.brentq(lambda x: w @ stats.norm.cdf(x, m, s) - p, -20, 20))

    assert middle == pytest.approx(float(w @ m))
    assert 1.959963984540054 * u == pytest.approx(
        max(end(0.975) - middle, middle - end(0.025)), abs=1e-6
    )
    outside = w @ (stats.norm.sf(middle + 0.3, m, s) + stats.norm.cdf(middle - 0.3, m, s))
    assert outlook.beyond(0, 0.3) == pytest.approx(float(outside), abs=1e-9)


def test_a_state_survives_being_written_down() -> None:
    state = fresh(Assumed(), "a", "b")
    state.gauge("a", seen_as(np.array([0.2, 0.15, 0, 0]), SHARP))
    state.add_day("comb", "a", "x")
    state.verdict("a", "ok", kerf_mm=0.2, hand="ply", combed=True)
    state.advance(3)
    again = ShopFilter(Assumed())
    again.restore(state.to_plain())
    assert again.names == state.names
    for name in ("weight", "mean", "cov", "kind"):
        assert (getattr(again, name) == getattr(state, name)).all()
    assert again.since == state.since


@pytest.mark.parametrize(
    "wrong",
    [
        {"kerf_u_mm": 0},
        {"jump_mm": float("nan")},
        {"edge_u_mm": -1},
        {"fit_low_mm": 0.1},
        {"days_per_job": 0},
        {"jump_rate": 2},
        {"motions": ()},
        {"spreads": ((0.01, 0.0),)},
    ],
)
def test_assumed_sizes_are_checked(wrong: dict[str, object]) -> None:
    with pytest.raises(InputError):
        Assumed(**wrong)  # type: ignore[arg-type]


def test_policies_in_a_simulated_shop() -> None:
    """The order of the policies, and the rates roughly: 24 shops of 24 jobs, seeded."""
    late = slice(8, 24)
    out = {
        name: run(policy, shops=24, jobs=24, seed=11)
        for name, policy in {
            "fixed": Policy(gauge="never", learn=False),
            "once": Policy(gauge="once", learn=False),
            "boxes": Policy(gauge="never"),
            "learn": Policy(gauge="once"),
            "demand": Policy(gauge="on demand"),
        }.items()
    }
    reject = {name: o.reject[:, late].mean() for name, o in out.items()}
    inside = {name: np.median(o.inside[:, late]) for name, o in out.items()}
    assert reject["demand"] < 0.10
    assert reject["demand"] < reject["learn"] < reject["once"] < reject["fixed"]
    assert reject["fixed"] > 0.7
    # boxes teach scale and size very well, kerf poorly
    assert inside["boxes"] < 0.075 < 0.18 < inside["fixed"]
    assert out["boxes"].dk[:, late].mean() > 2 * out["demand"].dk[:, late].mean()
    assert 0.3 < out["demand"].gauges[:, late].mean() <= 1
    # the stated uncertainty holds
    assert 0.91 < (np.abs(out["demand"].z) < 1.96).mean() < 0.995
    assert 0.88 < (np.abs(out["learn"].z) < 1.96).mean() < 0.995
