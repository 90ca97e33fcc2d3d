"""What is believed from the shop book: the filter against exact references, and the book through it."""

from __future__ import annotations

import hashlib
import itertools
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import linalg, stats
from shop_policies import Policy, run
from strategies import shop_histories

from boxjoint.errors import BookError, InputError
from boxjoint.gauge.assumed import KerfPrior
from boxjoint.gauge.estimate import fit_kerf
from boxjoint.job.records import Source
from boxjoint.shop import filter as shop_filter
from boxjoint.shop import records as rec
from boxjoint.shop.book import Book
from boxjoint.shop.exchange import export_toml, import_file
from boxjoint.shop.filter import Assumed, Observation, ShopFilter, steady_u_mm
from boxjoint.shop.learn import Belief, believe, comb_rounds, history
from boxjoint.shop.observe import GaugeObserver, gauge_readings

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ASKED = rec.Settings(at=AT, speed=10, speed_unit="mm/s", power_percent=60, lens="2 in")
#: No drift, no gate, no shared error: the plain linear model, for exact references.
PLAIN = Assumed(gauge_u_mm=0, gate=1e9, gate_to=1)


# ---- the filter against references -----------------------------------------------------------


def test_the_quantiles_of_the_gate() -> None:
    # scipy: 99 % of chi-squared with 1 to 4 degrees of freedom, 95 % with one
    assert pytest.approx(stats.chi2.ppf(0.99, [1, 2, 3, 4]), abs=5e-5) == shop_filter._CHI2_99
    assert Assumed().gate == pytest.approx(stats.chi2.ppf(0.99, 1), abs=0.006)
    assert Assumed().gate_to == pytest.approx(stats.chi2.ppf(0.95, 1), abs=0.006)


@given(st.floats(-9, 9), st.floats(1e-3, 9))
@settings(max_examples=200, deadline=None)
def test_a_truncated_normal(low: float, width: float) -> None:
    mean, variance = shop_filter._truncated(low, low + width)
    # scipy's truncated normal loses digits in far, narrow intervals: 1e-6 there
    expected = stats.truncnorm.stats(low, low + width)
    assert mean == pytest.approx(float(expected[0]), abs=1e-7)
    assert variance == pytest.approx(float(expected[1]), abs=1e-6)


@pytest.mark.parametrize("bound", [-40.0, -8.0, -1.0, 0.0, 1.0, 8.0])
def test_a_half_open_interval(bound: float) -> None:
    mean, variance = shop_filter._truncated(-np.inf, bound)
    mirrored = shop_filter._truncated(-bound, np.inf)
    assert mirrored == (-mean, variance)
    if bound > -37:
        expected = stats.truncnorm.stats(-np.inf, bound)
        assert mean == pytest.approx(float(expected[0]), rel=1e-9)
        assert variance == pytest.approx(float(expected[1]), abs=1e-9)
    else:
        assert (mean, variance) == (bound, 0.0)


@pytest.mark.parametrize(("q", "r"), [(0.006, 0.006), (0.006, 0.018), (0.015, 0.018), (0.004, 0)])
def test_ageing_settles_where_the_riccati_equation_does(q: float, r: float) -> None:
    u = steady_u_mm(q, r)
    if r:
        # scipy solves the discrete algebraic Riccati equation of the same random walk
        (expected,) = linalg.solve_discrete_are(
            np.eye(1), np.eye(1), np.full((1, 1), q**2), np.full((1, 1), r**2)
        ).ravel()
        assert u**2 == pytest.approx(expected, rel=1e-9)
    # and so does the filter itself, reading one gauge a job
    assumed = replace(PLAIN, drift_mm=q, jump_rate=0, difference_u_mm=1e-9, drift_common=0)
    state = ShopFilter(1, assumed)
    seen = Observation.from_estimate(
        np.full(4, 0.2) * [1, 1, 0, 0], np.diag([2 * (r or 1e-6) ** 2] * 2 + [1e-6] * 2)
    )
    for _ in range(300):
        state.gauge(0, seen)
        state.advance(1)
    assert np.sqrt(state.belief(0)[1][0, 0]) == pytest.approx(u, rel=1e-4)
    with pytest.raises(InputError):
        steady_u_mm(0, 0.01)


def test_the_filter_is_the_exact_answer_of_the_linear_model() -> None:
    """Against one joint normal distribution of the kerfs of all times, conditioned at once."""
    rng = np.random.default_rng(5)
    a = replace(PLAIN, drift_mm=0.01, jump_rate=0)
    records, times = 2, 12
    # unknowns: difference, e_x, e_y, b, then kerf of each record at each time
    size = 4 + records * times
    prior = np.zeros((size, size))
    prior[:4, :4] = np.diag(np.square([a.difference_u_mm, a.scale_u, a.scale_u, a.backlash_u_mm]))
    q = a.drift_variance * (a.drift_common + (1 - a.drift_common) * np.eye(records))
    for s, t in itertools.product(range(times), repeat=2):
        block = a.kerf_u_mm**2 * np.eye(records) + min(s, t) * q
        prior[4 + 2 * s : 6 + 2 * s, 4 + 2 * t : 6 + 2 * t] = block
    mean = np.concatenate([np.zeros(4), np.full(records * times, a.kerf_mm)])
    state = ShopFilter(records, a)
    rows, values, noises = [], [], []
    for t in range(times):
        if t:
            state.advance(1)
        record = int(rng.integers(records))
        k = 4 + 2 * t + record
        kx, ky = np.zeros(size), np.zeros(size)
        kx[[k, 0]], ky[[k, 0]] = [1, 0.5], [1, -0.5]
        if t % 2:
            root = rng.normal(size=(4, 4)) * [[0.01], [0.01], [1e-3], [1e-3]]
            cov = root @ root.T + np.diag([1e-6, 1e-6, 1e-8, 1e-8])
            est = np.array([0.21, 0.18, 1e-3, -1e-3]) + rng.normal(size=4) * [0.01, 0.01, 0, 0]
            state.gauge(record, Observation.from_estimate(est, cov))
            ex, ey = np.eye(size)[1], np.eye(size)[2]
            rows += [kx, ky, ex, ey]
            values += est.tolist()
            noises.append(cov)
        else:
            axis, asked = "xy"[t // 2 % 2], float(rng.uniform(60, 350))
            measured, used = asked + float(rng.normal(0, 0.1)), 0.2
            state.inside(
                record, axis, asked_mm=asked, measured_mm=measured, kerf_mm=used, scale=1.0005
            )
            # written anew: drawn (asked + used)/scale, cut wider by (1 + e), narrower by kerf and b
            row = asked * np.eye(size)[1 if axis == "x" else 2] - (kx if axis == "x" else ky)
            row[3] = -1
            rows.append(row)
            values.append(measured - asked - 0.024 + asked * 0.0005 - used)
            noises.append(np.array([[0.05**2 + 2 * 0.02**2 + 2 * 0.009**2]]))
    h, y, noise = np.array(rows), np.array(values), linalg.block_diag(*noises)
    gain = np.linalg.solve(h @ prior @ h.T + noise, h @ prior).T
    mean = mean + gain @ (y - h @ mean)
    cov = prior - gain @ h @ prior
    last = [0, 1, 2, 3, size - 2, size - 1]
    ours = [0, 1, 2, 3, 5, 6]
    assert state.mean[ours] == pytest.approx(mean[last], rel=1e-9, abs=1e-12)
    assert state.cov[np.ix_(ours, ours)] == pytest.approx(
        cov[np.ix_(last, last)], rel=1e-7, abs=1e-13
    )
    state.check()


def test_a_fit_verdict_against_numerical_integration() -> None:
    a = Assumed(gate=1e9, gate_to=1)
    k = np.linspace(-0.3, 0.7, 40_001)
    for verdict, used in (("tight", 0.2), ("ok", 0.25), ("loose", 0.1)):
        state = ShopFilter(1, a)
        state.fit(0, verdict, kerf_mm=used)
        edges = {
            "tight": (-np.inf, a.fit_low_mm),
            "ok": (a.fit_low_mm, a.fit_high_mm),
            "loose": (a.fit_high_mm, np.inf),
        }
        low, high = edges[verdict]
        miss = stats.norm(2 * (k - used), a.fit_u_mm)
        weight = stats.norm.pdf(k, a.kerf_mm, a.kerf_u_mm) * (miss.cdf(high) - miss.cdf(low))
        mean = np.average(k, weights=weight)
        assert state.mean[5] == pytest.approx(mean, abs=1e-7)
        variance = np.average((k - mean) ** 2, weights=weight)
        assert state.cov[5, 5] == pytest.approx(variance, rel=1e-5)


def test_the_gate_makes_just_enough_room_for_a_step() -> None:
    a = Assumed(gauge_u_mm=0)
    cov = np.diag([0.006**2, 0.006**2, 1e-6, 1e-6])
    at = [Observation.from_estimate(np.array([k, k, 0, 0]), cov) for k in (0.20, 0.27)]
    state = ShopFilter(2, a)
    assert state.gauge(0, at[0]) == []
    before = state.cov.copy()
    (step,) = state.gauge(0, at[1])
    assert step.name == "STEP"
    assert step.shift_mm == pytest.approx(0.07, abs=0.004)
    assert state.mean[5] == pytest.approx(0.27, abs=0.012)
    # one reading of an inside size, by hand: v^2/s = 3.84 after the raise, half of it for others
    state = ShopFilter(2, replace(a, scale_u=1e-4))
    h = np.array([0.5 * -1, 100, 0, -1, 0, -1, 0])
    s = h @ state.cov @ h + 0.02**2 + 2 * 0.02**2 + 2 * 0.009**2
    v = 4 * np.sqrt(s)
    state._gate(0, h[None, :], np.array([v]), np.array([s - h @ state.cov @ h]))
    more = v**2 / a.gate_to - s
    assert state.cov[5, 5] == pytest.approx(a.kerf_u_mm**2 + more)
    assert state.cov[6, 6] == pytest.approx(a.kerf_u_mm**2 + more / 2)
    assert before[6, 6] == pytest.approx(a.kerf_u_mm**2)
    # a scale that cannot be is no step of the kerf
    state = ShopFilter(1, a)
    state.gauge(0, at[0])
    far = Observation.from_estimate(np.array([0.2, 0.2, 0.02, -0.02]), cov)
    assert [x.name for x in state.gauge(0, far)] == ["MISFIT"]


def test_what_hardly_sees_the_kerf_is_no_step_of_it() -> None:
    a = Assumed(gauge_u_mm=0)
    cov = np.diag([0.006**2, 0.006**2, 1e-6, 1e-6])
    state = ShopFilter(1, a)
    state.gauge(0, Observation.from_estimate(np.array([0.2, 0.2, 0, 0]), cov))
    kerf, u = state.belief(0)[0][:2], state.cov[5, 5]
    # a strip of 300 mm along each axis, read to 0.05 mm, both 0.9 mm short: three times what the
    # scale (1.2 mm in a metre) explains; alone it would leave the kerf to 0.25 mm
    rows = np.array([[-1, 0, 300, 0], [0, -1, 0, 300]], dtype=float) / 0.05
    strips = Observation(
        info=tuple(map(tuple, rows.T @ rows)),
        vector=tuple(rows.T @ np.array([-1.1, -1.1]) / 0.05),
    )
    (misfit,) = state.gauge(0, strips)
    assert (misfit.name, misfit.shift_mm) == ("MISFIT", 0.0)
    assert state.cov[5, 5] <= u
    assert state.belief(0)[0][:2] == pytest.approx(kerf, abs=0.001)
    # an inside size while the scale is not known; with it known, the same miss is a step
    for scale_u, name in ((1.2e-3, "MISFIT"), (5e-5, "STEP")):
        state = ShopFilter(1, replace(a, scale_u=scale_u, backlash_u_mm=0.01))
        state.gauge(0, Observation.from_estimate(np.array([0.2, 0.2, 0, 0]), cov))
        size = {"asked_mm": 150.0, "kerf_mm": 0.2, "scale": 1.0, "u_mm": 0.02}
        (told,) = state.inside(0, "x", measured_mm=150.55, **size)
        assert told.name == name


def test_a_prior_is_taken_out_of_an_estimate_again() -> None:
    rng = np.random.default_rng(2)
    prior = np.array([0.2, 0.2, 0, 0]), np.diag([0.15**2, 0.15**2, 4e-6, 4e-6])
    for rank in (4, 3, 2, 1, 0):
        rows = rng.normal(size=(rank, 4)) * [1, 1, 300, 300]
        y = rows @ np.array([0.25, 0.21, 1e-3, -1e-3]) + rng.normal(0, 0.01, rank)
        info = rows.T @ rows / 0.01**2
        cov = np.linalg.inv(info + np.linalg.inv(prior[1]))
        mean = cov @ (rows.T @ y / 0.01**2 + np.linalg.solve(prior[1], prior[0]))
        seen = Observation.from_posterior(mean, cov, *prior)
        tolerance = 1e-6 * np.abs(info).max() if rank else 1e-3
        assert np.array(seen.info) == pytest.approx(info, abs=tolerance)
        wanted = rows.T @ y / 0.01**2
        assert np.array(seen.vector) == pytest.approx(wanted, abs=1e-6 * (np.abs(wanted).max() + 1))
        state = ShopFilter(1, PLAIN)
        state.gauge(0, seen)
        state.check()


def test_ten_gauges_of_one_day_share_their_error() -> None:
    a = Assumed()
    cov = np.diag([0.007**2, 0.007**2, 1e-6, 1e-6])
    one = Observation.from_estimate(np.array([0.2, 0.2, 0, 0]), cov)
    # wide priors: what the gauges alone are worth
    wide = replace(a, kerf_u_mm=10, difference_u_mm=10, scale_u=1)
    state = ShopFilter(1, wide)
    state.gauge(0, one)
    assert state.belief(0)[1][:2, :2] == pytest.approx(cov[:2, :2], abs=1e-7)
    for _ in range(2000):
        state.gauge(0, one)
    u = np.sqrt(state.belief(0)[1][0, 0])
    assert u == pytest.approx(min(a.gauge_u_mm, np.sqrt(0.5 / 2) * 0.007), rel=0.02)


def test_work_on_a_machine_and_time_widen_what_they_should() -> None:
    a = Assumed()
    state = ShopFilter(2, a)
    before = state.cov.copy()
    state.service("kerf")
    assert np.diag(state.cov - before)[[0, 1, 2, 3, 4]].tolist() == [0] * 5
    assert np.diag(state.cov - before)[5:] == pytest.approx([a.service_kerf_u_mm**2] * 2)
    state.service("both")
    assert state.cov[1, 1] - before[1, 1] == pytest.approx(a.service_scale_u**2)
    before = state.cov.copy()
    state.advance(2.5)
    more = (state.cov - before)[5:, 5:] / (2.5 * a.drift_variance)
    assert more == pytest.approx(np.array([[1, 0.64], [0.64, 1]]))
    least = replace(a, drift_mm=0, jump_rate=0)
    assert least.drift_variance == pytest.approx(0.002**2)


@pytest.mark.parametrize(
    "wrong",
    [
        {"kerf_u_mm": 0},
        {"drift_mm": float("nan")},
        {"edge_u_mm": -1},
        {"fit_low_mm": 0.1},
        {"days_per_job": 0},
        {"gate": 1},
        {"jump_rate": 2},
    ],
)
def test_assumed_sizes_are_checked(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError):
        Assumed(**wrong)


def test_policies_in_a_simulated_shop() -> None:
    """The order of the policies, and the rates roughly: 24 shops of 24 jobs, seeded.

    400 shops of 32 jobs in bench/shop_learning.py: rejects of the last half with learning after one
    gauge about 0.20, with gauges on demand 0.01, with a fixed kerf 0.90 and with boxes alone 0.20.
    """
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
    assert reject["demand"] < 0.06
    assert 0.10 < reject["learn"] < 0.30
    assert 0.12 < reject["boxes"] < 0.35
    assert reject["demand"] < reject["learn"] < reject["once"] < reject["fixed"]
    assert reject["fixed"] > 0.7
    # boxes teach scale and size very well, kerf poorly
    assert inside["boxes"] < 0.065 < 0.18 < inside["fixed"]
    assert out["boxes"].dk[:, late].mean() > 2 * out["demand"].dk[:, late].mean()
    assert 0.6 < out["demand"].gauges[:, late].mean() <= 1
    # the stated uncertainty holds: 95 % of 576 within 1.96 u, +-3 binomial sd and what jumps cost
    assert 0.91 < (np.abs(out["demand"].z) < 1.96).mean() < 0.99
    assert 0.88 < (np.abs(out["learn"].z) < 1.96).mean() < 0.99


# ---- the book through the filter -------------------------------------------------------------


@dataclass
class Shop:
    """A book with one machine, for a school science room's slide trays; all of it invented."""

    book: Book
    rng: np.random.Generator
    kerf: tuple[float, float] = (0.143, 0.217)
    scale: tuple[float, float] = (1.0011, 0.9992)

    def sheet(self, thickness: float = 3.0, material: str = "birch ply") -> str:
        readings = (thickness, thickness + 0.02)
        return self.book.append(rec.Sheet(at=AT, material=material, thickness_mm=readings)).id

    def place(self, sheet: str = "", made: rec.Settings = ASKED) -> dict[str, str]:
        known = self.book.append(made).id
        return {"machine": "bench laser", "sheet": sheet or self.sheet(), "settings": known}

    def gauge(
        self, days: float, place: dict[str, str], axes: str = "xy", **more: float
    ) -> rec.GaugeSession:
        """The full gauge read once, with noise of the sizes that the estimator assumes."""
        rows = []
        for axis in axes:
            i = "xy".index(axis)
            k, s = self.kerf[i] + more.get("step", 0.0), self.scale[i]
            for form, d, m, n, c in (
                ("stack", (72.0, 50.0)[i], -8, 8, "w"),
                ("window", (72.0, 50.0)[i], 1, 0, "w"),
                ("plug", (100.0, 60.0)[i], -1, 0, "o"),
                ("strip", 300.0, -1, 0, "s"),
            ):
                edges = 0.0 if c == "w" else self.rng.normal(0, 0.028)
                gap = 0.008 * (n - 1) if n else 0
                u = 0.05 if form == "strip" else None
                values = tuple(
                    float(d * s + m * k + gap + edges + self.rng.normal(0, u or 0.025))
                    for _ in range(1 if u else 2)
                )
                rows.append(
                    rec.Reading(
                        form=form,
                        axis=axis,
                        drawn_mm=d,
                        values_mm=values,
                        slices=n,
                        contour=c + axis,
                        u_mm=u,
                    )
                )
        return rec.GaugeSession(at=AT + timedelta(days=days), readings=tuple(rows), **place)

    def box(self, days: float, place: dict[str, str], **more: object) -> rec.BoxResult:
        values = {"kerf_x_mm": 0.143, "kerf_y_mm": 0.217, "fit": "ok", **more}
        return rec.BoxResult(at=AT + timedelta(days=days), **place, **values)

    def ask(
        self,
        days: float,
        thickness: float = 3.0,
        material: str = "birch ply",
        made: rec.Settings = ASKED,
        **more: object,
    ) -> Belief:
        now = AT + timedelta(days=days)
        return believe(self.book, "bench laser", material, thickness, made, now, **more)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    book = Book.open(tmp_path / "book.sqlite")
    book.append(rec.Machine(at=AT, name="bench laser"))
    return Shop(book=book, rng=np.random.default_rng(1))


def same(one: Belief, two: Belief) -> bool:
    """Equal to rounding: the sum of the same steps in another grouping."""
    pairs = [(one.kerf_x, two.kerf_x), (one.kerf_y, two.kerf_y), (one.scale_x, two.scale_x)]
    close = all(
        a is None
        if b is None
        else a is not None and np.allclose((a.value, a.u), (b.value, b.u), rtol=1e-9)
        for a, b in pairs
    )
    rest = ("readings", "gauges", "boxes", "last", "age_jobs", "thickness_mm", "flags", "check")
    return close and all(getattr(one, n) == getattr(two, n) for n in rest)


def test_nothing_is_believed_of_an_empty_book(shop: Shop) -> None:
    belief = shop.ask(0)
    assert (belief.kerf_x, belief.kerf_y, belief.covariance) == (None, None, None)
    assert belief.scale_x.source is Source.ASSUMED
    assert belief.scale_x.value == 1.0
    assert belief.check
    assert belief.nearest is None
    assert belief.readings == 0
    with Book.open(shop.book.path.with_name("none"), write=False) as none:
        assert believe(none, "any", "card", 2, ASKED, AT).kerf_x is None


def test_one_gauge(shop: Shop) -> None:
    place = shop.place()
    session = shop.gauge(1, place)
    shop.book.append(session)
    belief = shop.ask(2)
    assert belief.kerf_x is not None
    assert belief.kerf_y is not None
    assert belief.kerf_x.source is belief.scale_x.source is Source.MEASURED
    assert abs(belief.kerf_x.value - 0.143) < 3 * belief.kerf_x.u
    assert abs(belief.kerf_y.value - 0.217) < 3 * belief.kerf_y.u
    assert abs(belief.scale_x.value - 1.0011) < 3 * belief.scale_x.u
    assert (belief.readings, belief.gauges, belief.boxes) == (14, 1, 0)
    assert belief.last == AT + timedelta(days=1)
    assert belief.age_days == 1
    assert belief.age_jobs == pytest.approx(1 / 7)
    assert belief.thickness_mm == (3.01, 3.01)
    assert belief.flags == ()
    assert belief.nearest is None
    # the estimator with the book's prior gives the same, when nothing has aged and nothing is shared
    wide = Assumed(
        kerf_u_mm=0.15,
        difference_u_mm=0.03,
        scale_u=2e-3,
        gauge_u_mm=0,
        drift_mm=0,
        jump_rate=0,
        least_drift_mm=0,
    )
    same_prior = shop.ask(2, assumed=wide)
    fit = fit_kerf(gauge_readings(session.readings), KerfPrior.assumed())
    for figure, estimate in ((same_prior.kerf_x, fit.kerf_x), (same_prior.kerf_y, fit.kerf_y)):
        assert figure is not None
        assert figure.value == pytest.approx(estimate.value, abs=1e-6)
        assert figure.u == pytest.approx(estimate.u, rel=1e-3)


def test_a_kerf_of_another_record_is_named_and_never_given(shop: Shop) -> None:
    shop.book.append(shop.gauge(1, shop.place()))
    for belief, word in (
        (shop.ask(2, thickness=4.0), r"thickness (3.01 mm, asked 4.00 mm)"),
        (shop.ask(2, material="Acrylic"), "material (birch ply)"),
        (shop.ask(2, made=replace(ASKED, lens="4 in")), "lens (2 in, asked 4 in)"),
        (shop.ask(2, made=replace(ASKED, speed=8)), "speed (10 mm/s, asked 8 mm/s)"),
        (shop.ask(2, made=replace(ASKED, focus_mm=1.5)), "focus (not recorded, asked 1.5 mm)"),
    ):
        assert belief.kerf_x is None
        assert belief.covariance is None
        assert belief.check
        assert belief.nearest is not None
        assert belief.nearest.differs == (word,)
        assert f"another {word}" in str(belief.nearest)
        # scale belongs to the machine
        assert belief.scale_x.source is Source.MEASURED
    shop.book.append(rec.Machine(at=AT, name="small laser"))
    other = believe(shop.book, "small laser", "birch ply", 3.0, ASKED, AT + timedelta(days=2))
    assert other.kerf_x is None
    assert other.scale_x.source is Source.ASSUMED
    assert other.nearest is not None
    assert other.nearest.differs == ("machine (bench laser)",)
    # spelling and a new sheet within reach do not make another record
    assert shop.ask(2, material=" Birch  PLY").kerf_x is not None
    assert shop.ask(2, thickness=3.2).kerf_x is not None
    assert shop.ask(2, made=replace(ASKED, name="other", speed=600, speed_unit="mm/min")).kerf_x


def test_one_axis_and_one_stack_are_said_to_be_little(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(1, place, axes="x"))
    belief = shop.ask(1)
    assert [f.name for f in belief.flags] == ["ONE_AXIS"]
    assert "kerf_y was never read" in belief.flags[0].text
    assert belief.kerf_y is not None
    assert belief.kerf_y.u > 0.02
    assert belief.check
    plug = rec.Reading(form="plug", axis="x", drawn_mm=40, values_mm=(39.85,))
    other = shop.place(shop.sheet(6.0))
    shop.book.append(rec.GaugeSession(at=AT, readings=(plug,), **other))
    one = shop.ask(1, thickness=6)
    assert "NOT_DETERMINED" in [f.name for f in one.flags]
    assert one.kerf_x is not None
    assert one.kerf_x.source is Source.ASSUMED


def test_time_work_and_steps_are_told(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(1, place))
    fresh, later = shop.ask(1), shop.ask(100)
    assert fresh.kerf_x
    assert later.kerf_x
    a = Assumed()
    assert later.kerf_x.u**2 == pytest.approx(
        fresh.kerf_x.u**2 + 99 / 7 * a.drift_variance, rel=1e-9
    )
    assert (fresh.check, later.check) == (False, True)
    assert later.kerf_x.value == fresh.kerf_x.value
    shop.book.append(
        rec.Service(at=AT + timedelta(days=2), machine="bench laser", what="lens cleaned")
    )
    serviced = shop.ask(2)
    assert serviced.kerf_x
    # after work on the lens the old reading says little
    assert [f.name for f in serviced.flags] == ["SERVICE", "NOT_DETERMINED"]
    assert serviced.kerf_x.u > a.service_kerf_u_mm
    # the past is not rewritten by what came later
    assert same(shop.ask(1), fresh)
    shop.book.append(shop.gauge(3, place))
    assert shop.ask(3).flags == ()
    stepped = shop.book.append(shop.gauge(4, place, step=0.07)).id
    belief = shop.ask(5)
    (flag,) = belief.flags
    assert (flag.name, flag.entry, flag.at) == ("STEP", stepped, AT + timedelta(days=4))
    assert belief.kerf_x
    assert belief.kerf_x.value == pytest.approx(0.213, abs=0.02)


def test_readings_that_fit_no_history_are_named(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(1, place))
    strip = rec.Reading(form="strip", axis="x", drawn_mm=300, values_mm=(299.0,), u_mm=0.05)
    entry = shop.book.append(
        rec.GaugeSession(at=AT + timedelta(days=1), readings=(strip,), **place)
    )
    before, belief = shop.ask(1), shop.ask(1.01)
    (flag,) = belief.flags
    assert (flag.name, flag.entry) == ("MISFIT", entry.id)
    assert "(strip x 300) do not agree with what was known of this machine" in flag.text
    assert before.kerf_x and belief.kerf_x
    assert belief.kerf_x.value == pytest.approx(0.143, abs=0.02)
    assert belief.kerf_x.u < 0.014


def test_a_kerf_that_no_beam_has_is_never_a_measured_one(shop: Shop) -> None:
    # the same gauge as if the kerf had been nothing: nothing was cut through, or plugs for holes
    shop.kerf = np.array([0.004, 0.04])
    place = shop.place()
    shop.book.append_all(shop.gauge(n, place) for n in range(3))
    belief = shop.ask(3)
    assert belief.kerf_x and belief.kerf_y
    assert belief.kerf_x.value < 0.01
    assert (belief.kerf_x.source, belief.kerf_y.source) == (Source.ASSUMED, Source.MEASURED)
    assert not belief.is_kerf
    assert belief.check
    assert [f.name for f in belief.flags] == ["NO_KERF"]
    assert "that is no kerf" in belief.flags[0].text
    # nor is it offered as the nearest of another sheet
    assert shop.ask(3, thickness=6.0).nearest is None


def test_age_counts_hours_if_known_else_jobs_or_days(shop: Shop) -> None:
    place = shop.place()
    a = Assumed()
    shop.book.append(replace(shop.gauge(1, place), cut_hours=100.0))
    base = shop.ask(1)
    shop.book.append(
        rec.Service(
            at=AT + timedelta(days=30),
            machine="bench laser",
            what="looked at",
            affects="scale",
            cut_hours=103.0,
        )
    )
    idle = shop.ask(30)
    assert base.kerf_x
    assert idle.kerf_x
    # three hours of cutting in 29 days: three jobs' worth, not four
    assert idle.age_jobs == pytest.approx(3 / a.hours_per_job)
    assert idle.kerf_x.u**2 - base.kerf_x.u**2 == pytest.approx(3 * a.drift_variance, rel=1e-9)
    for n in range(4):
        log = rec.JobLog(
            at=AT + timedelta(days=31, hours=n),
            order="ab"[n // 2],
            machine="bench laser",
            settings=place["settings"],
        )
        shop.book.append(log)
    # one day (and a service without hours after it), then two orders of two entries each
    aged = shop.ask(31.2).age_jobs
    assert aged == pytest.approx(3 + 1 / 7 + 1 + 1 / 24 / 7 + 1 + (31.2 - 31 - 0.125) / 7, rel=1e-6)


def test_what_is_struck_out_does_not_count(shop: Shop) -> None:
    place = shop.place()
    sessions = [shop.gauge(n, place) for n in range(5)]
    spoiled = replace(
        sessions[2],
        readings=(
            *sessions[2].readings,
            rec.Reading(form="plug", axis="x", drawn_mm=40, values_mm=(39.2,)),
        ),
    )
    shop.book.append_all([*sessions[:2], *sessions[3:]])
    without = shop.ask(9)
    shop.book.append(sessions[2])
    clean = shop.ask(9)
    one = rec.content_id(sessions[2])
    shop.book.strike(one, reason="other sheet", at=AT)
    assert same(shop.ask(9), without)
    bad = shop.book.append(spoiled).id
    assert not same(shop.ask(9), clean)
    strike = shop.book.strike(bad, row=len(spoiled.readings), reason="misread", at=AT)
    assert same(shop.ask(9), clean)
    shop.book.strike(strike.id, reason="it was right", at=AT)
    assert not same(shop.ask(9), clean)
    # a struck sheet takes its gauges with it
    shop.book.strike(place["sheet"], reason="was 4 mm", at=AT)
    assert shop.ask(9).kerf_x is None


def test_readings_that_the_estimator_refuses_are_kept_and_told(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(0, place))
    before = shop.ask(2)
    inches = rec.Reading(form="plug", axis="x", drawn_mm=40, values_mm=(1.569,))
    shop.book.append(rec.GaugeSession(at=AT, readings=(inches,), **place))
    belief = shop.ask(2)
    assert [f.name for f in belief.flags] == ["REFUSED"]
    assert "row 1" in belief.flags[0].text
    assert belief.kerf_x == before.kerf_x
    assert belief.gauges == 1


def test_boxes_teach_scale_and_kerf(shop: Shop) -> None:
    place = shop.place()
    rng = shop.rng
    boxes = []
    for n in range(30):
        insides = []
        for axis, i in (("x", 0), ("y", 1), ("x", 0)):
            asked = float(rng.uniform(60, 350))
            # cut for kerf 0.2 and scale 1; the true ones are the shop's
            cut = (asked + 0.2) * shop.scale[i] - shop.kerf[i] + 0.024 + rng.normal(0, 0.03)
            insides.append(
                rec.InsideReading(axis=axis, asked_mm=asked, measured_mm=float(cut), u_mm=0.03)
            )
        boxes.append(
            shop.box(n, place, kerf_x_mm=0.2, kerf_y_mm=0.2, insides=tuple(insides), fit="")
        )
    shop.book.append_all(boxes)
    belief = shop.ask(30)
    assert belief.kerf_x
    assert (belief.boxes, belief.gauges, belief.readings) == (30, 0, 90)
    assert abs(belief.scale_x.value - 1.0011) < 3 * belief.scale_x.u < 0.0006
    assert abs(belief.scale_y.value - 0.9992) < 3 * belief.scale_y.u
    assert abs(belief.kerf_x.value - 0.143) < 3 * belief.kerf_x.u
    tight = shop.book.append(shop.box(31, place, fit="tight", kerf_x_mm=0.2, kerf_y_mm=0.2))
    pressed = shop.ask(32)
    assert pressed.kerf_x
    assert pressed.kerf_x.value < belief.kerf_x.value
    shop.book.strike(tight.id, reason="dried glue", at=AT)
    assert same(shop.ask(30), belief)


def test_the_sequence_of_appending_and_a_journey_through_a_file_change_nothing(
    shop: Shop, tmp_path: Path
) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    records = [shop.gauge(n / 3, place if n % 3 else other) for n in range(20)]
    records += [shop.box(n + 0.1, place) for n in range(3)]
    shop.book.append_all(records[::-1])
    belief = shop.ask(9)
    with Book.open(tmp_path / "second") as second:
        export_toml(shop.book, tmp_path / "a.toml")
        import_file(second, tmp_path / "a.toml")
        assert same(replace_book(shop, second).ask(9), belief)


def replace_book(shop: Shop, book: Book) -> Shop:
    return Shop(book=book, rng=shop.rng, kerf=shop.kerf, scale=shop.scale)


def test_what_is_remembered_is_what_would_be_computed(shop: Shop) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    records: list[rec.Record] = [shop.gauge(n, other if n % 4 == 3 else place) for n in range(24)]
    records += [shop.box(n + 0.5, place) for n in range(6)]
    for record in records:
        shop.book.append(record)
        with_memory = shop.ask(40)
    families = {f for (f,) in shop.book._db.execute("SELECT family FROM derived")}
    assert {f.split()[0] for f in families} == {"gauge", "state"}
    with shop.book._writing():
        shop.book._db.execute("DELETE FROM derived")
    assert same(shop.ask(40), with_memory)
    # an old reading struck out, a new old reading, other sizes: all of it is computed afresh
    old = rec.content_id(records[2])
    shop.book.strike(old, row=1, reason="misread", at=AT)
    shop.book.append(shop.gauge(0.25, place))
    struck = shop.ask(40)
    assert not same(struck, with_memory)
    wide = shop.ask(40, assumed=Assumed(drift_mm=0.02))
    with shop.book._writing():
        shop.book._db.execute("DELETE FROM derived")
    assert same(shop.ask(40), struck)
    assert same(shop.ask(40, assumed=Assumed(drift_mm=0.02)), wide)
    # what was remembered badly is not believed
    with shop.book._writing():
        shop.book._db.execute("UPDATE derived SET body = '{}' WHERE family LIKE 'state%'")
    assert same(shop.ask(40), struck)


@dataclass(frozen=True)
class Biased:
    """An estimator that has another opinion: 0.1 mm more kerf."""

    version: str = "biased"

    def __call__(self, session: rec.GaugeSession) -> Observation:
        seen = GaugeObserver()(session)
        info = np.array(seen.info)
        vector = np.array(seen.vector) + info @ [0.1, 0.1, 0, 0]
        return Observation(info=seen.info, vector=tuple(vector.tolist()))


def test_a_better_estimator_improves_old_data(shop: Shop) -> None:
    place = shop.place()
    shop.book.append_all(shop.gauge(n, place) for n in range(12))
    before = shop.ask(12)
    other = shop.ask(12, observer=Biased())
    assert before.kerf_x
    assert other.kerf_x
    # the prior pulls a little
    assert other.kerf_x.value - before.kerf_x.value == pytest.approx(0.1, abs=0.005)
    assert same(shop.ask(12), before)
    assert GaugeObserver().version == GaugeObserver().version


def test_progress_and_an_interruption(shop: Shop) -> None:
    place = shop.place()
    shop.book.append_all(shop.gauge(n, place) for n in range(20))
    calls = []

    def stop(done: int, total: int) -> None:
        calls.append((done, total))
        if done == 12:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        shop.ask(30, progress=stop)
    assert calls == [(n, 20) for n in range(1, 13)]
    calls.clear()
    assert shop.ask(30, progress=lambda done, total: calls.append((done, total))).gauges == 20
    # what had been computed before the interruption was kept
    assert len(calls) <= 9


def test_the_kerf_of_a_record_over_time(shop: Shop) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    shop.book.append_all(shop.gauge(n, place, step=0.07 * (n > 5)) for n in range(10))
    shop.book.append(shop.gauge(3.5, other))
    points = history(shop.book, "bench laser", "birch ply", 3.0, ASKED, AT + timedelta(days=20))
    assert [p.at for p in points] == [AT + timedelta(days=n) for n in range(10)]
    assert [p.flags for p in points] == [()] * 6 + [("STEP",)] + [()] * 3
    for n, point in enumerate(points):
        then = shop.ask(n)
        assert then.kerf_x
        assert (point.kerf_x, point.u_kerf_x) == pytest.approx((then.kerf_x.value, then.kerf_x.u))
    assert history(shop.book, "bench laser", "card", 3.0, ASKED, AT) == ()


def test_comb_rounds_of_a_record(shop: Shop) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    verdicts = tuple(
        rec.Verdict(x_mm=-0.5 + 0.1 * n, verdict=v) for n, v in enumerate(rec.VERDICTS)
    )
    rounds = [
        rec.CombRound(
            at=AT + timedelta(hours=n),
            axis="x",
            round=n,
            verdicts=verdicts,
            **(other if n == 2 else place),
        )
        for n in (1, 2, 3, 4)
    ]
    ids = [a.id for a in shop.book.append_all(rounds)]
    shop.book.strike(ids[2], row=2, reason="slipped", at=AT)
    shop.book.strike(ids[3], reason="other glue", at=AT)
    found = comb_rounds(shop.book, "bench laser", "birch ply", 3.0, ASKED, AT + timedelta(days=1))
    assert [r.round for r in found] == [1, 3]
    assert found[1].verdicts == (verdicts[0], *verdicts[2:])
    assert comb_rounds(shop.book, "bench laser", "card", 3.0, ASKED, AT) == ()


@given(records=shop_histories())
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_book_can_be_asked_anything(records: list[rec.Record]) -> None:
    with tempfile.TemporaryDirectory() as folder, Book.open(Path(folder) / "b") as book:
        book.append_all(records)
        before = hashlib.sha256(repr(book.entries()).encode()).hexdigest()
        now = datetime(2027, 6, 1, tzinfo=UTC)
        for name in book.machine_names():
            try:
                belief = believe(book, name, "birch ply", 3.0, ASKED, now)
            except BookError as error:
                # readings without any sense may overthrow the arithmetic; that is said
                assert "cannot be computed" in str(error)
                continue
            assert (belief.kerf_x is None) == (belief.readings == 0)
            assert belief.scale_x.u > 0
        assert hashlib.sha256(repr(book.entries()).encode()).hexdigest() == before
