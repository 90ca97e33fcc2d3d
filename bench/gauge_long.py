"""Long simulations of gauge and comb: coverage, outliers, rounds, false alarms, speed.

Run ``OPENBLAS_NUM_THREADS=1 python bench/gauge_long.py [--trials N]``; seeded, prints its tables.
The short versions of these runs are tests. No real part was cut: every figure follows from the sizes
that ``boxjoint.gauge.assumed`` states.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import gauge_shop as shop

from boxjoint.errors import ReadingError
from boxjoint.gauge.advice import advise
from boxjoint.gauge.assumed import CombAssumed, GaugeAssumed, KerfPrior
from boxjoint.gauge.checks import Flag
from boxjoint.gauge.comb import CombFlag, CombResult
from boxjoint.gauge.estimate import fit_kerf, plain_fit
from boxjoint.gauge.readings import Caliper, Reading

GAUGES: dict[str, tuple[Reading, ...]] = {
    "G1 12 readings": shop.three_a_side(2),
    "G2 12 readings": shop.full_gauge(),
    "G3 6 readings": shop.three_a_side(1),
    "pairs 8 readings": shop.pairs(),
}
WIDE = GaugeAssumed(plausible_sd=1e6, kerf_limits_mm=(0.0, 1e6))
PRIOR, CALIPER = KerfPrior.assumed(), Caliper()


def usual(rng: np.random.Generator) -> shop.Truth:
    """A truth from the prior whose kerfs a beam can have; 10 % of the prior lies below zero."""
    while True:
        truth = shop.Truth.drawn(rng)
        if min(truth.kerf.values()) > 0.03:
            return truth


def coverage(trials: int) -> None:
    """Coverage of the plain 95 % interval of kerf_x, truth drawn from the prior."""
    print("\ncoverage of the plain interval by true scatter of the hand")
    for name, plans in GAUGES.items():
        line = f"  {name:17s}"
        for hand in (0.015, 0.025, 0.040):
            rng = np.random.default_rng(1)
            hits = 0
            for _ in range(trials):
                truth = shop.Truth.drawn(rng)
                fit = plain_fit(shop.take(plans, truth, rng, hand=hand), PRIOR, CALIPER, 0.02)
                hits += abs(fit.linear.mean[0] - truth.kerf["x"]) <= fit.U[0]
            line += f"  {hand:.3f}: {hits / trials:.3f}"
        print(line)


def outliers(trials: int) -> None:
    """Coverage, rmse and U of kerf_x with bad readings: average against plain."""
    print("\noutliers: coverage (rmse, mean U) of the average | of the plain estimate")
    for name, fault in (
        ("G1 12 readings", "none"),
        ("G1 12 readings", "one"),
        ("G1 12 readings", "two"),
        ("G1 12 readings", "feature"),
        ("G3 6 readings", "one"),
        ("pairs 8 readings", "feature"),
    ):
        rng = np.random.default_rng(2)
        rows = []
        for _ in range(trials):
            truth = usual(rng)
            data = shop.spoil(shop.take(GAUGES[name], truth, rng), rng, fault)
            try:
                fit = fit_kerf(data, PRIOR, CALIPER, WIDE, with_advice=False)
            except ReadingError:
                continue
            k, e = truth.kerf["x"], fit.kerf_x
            plain, u = fit.plain.linear.mean[0], fit.plain.U[0]
            rows.append((e.low <= k <= e.high, e.value - k, e.U, abs(plain - k) <= u, plain - k, u))
        r = np.array(rows, dtype=float)
        rms = np.sqrt((r**2).mean(axis=0))
        mean = r.mean(axis=0)
        print(
            f"  {name:17s} {fault:8s} {mean[0]:.3f} ({rms[1]:.4f}, {mean[2]:.4f}) | "
            f"{mean[3]:.3f} ({rms[4]:.4f}, {mean[5]:.4f})   of {len(r)}"
        )


def alarms(trials: int) -> None:
    """How often each finding is given when nothing is wrong, and for given faults."""
    print("\nfindings on the full gauge (share of trials)")

    def nothing(r: tuple[Reading, ...], rng: np.random.Generator) -> tuple[Reading, ...]:
        return r

    def shift(size: float) -> Callable[..., tuple[Reading, ...]]:
        def change(r: tuple[Reading, ...], rng: np.random.Generator) -> tuple[Reading, ...]:
            i = int(rng.integers(len(r)))
            values = list(r[i].values_mm)
            # a slip of 22 mm is a wrong row of the form: the value of a larger feature
            values[0] += size * (1.0 if size > 1 else float(rng.choice([-1, 1])))
            return (*r[:i], shop.replace(r[i], values_mm=tuple(values)), *r[i + 1 :])

        return change

    for name, change in (
        ("nothing", nothing),
        ("one value 0.2", shift(0.2)),
        ("one value 0.3", shift(0.3)),
        ("one value 22", shift(22.0)),
    ):
        rng = np.random.default_rng(3)
        count: Counter[str] = Counter()
        for _ in range(trials):
            truth = usual(rng)
            data = change(shop.take(GAUGES["G2 12 readings"], truth, rng), rng)
            try:
                flags = fit_kerf(data, PRIOR, CALIPER, with_advice=False).flags
            except ReadingError as error:
                flags = frozenset()
                count[error.data["flag"]] += 1
            faults = flags & {Flag.REPEATS, Flag.LACK_OF_FIT, Flag.OUTLIER}
            count["any of the checks"] += bool(faults)
            count.update(f.value for f in faults)
        print(f"  {name:14s}", {k: round(v / trials, 3) for k, v in sorted(count.items())})


def combs(trials: int) -> None:
    """Error of the snug clearance by round."""
    print("\ncombs: rmse by round | mean sd | coverage | INCONSISTENT per round")
    for name, uk, theta, more in (
        ("no gauge, own tabs, 9", 0.05, 0.04, {}),
        ("no gauge, own tabs, 5", 0.05, 0.04, {"slots": 5}),
        ("no gauge, 7, fixed .10", 0.05, 0.04, {"slots": 7, "fixed_step": 0.10}),
        ("no gauge, 9, fixed .05", 0.05, 0.04, {"fixed_step": 0.05}),
        ("no gauge, one tab, 9", 0.05, 0.04, {"own_tab": False}),
        ("gauge, own tabs, 9", 0.008, 0.04, {}),
        ("gauge, own tabs, 13", 0.008, 0.04, {"slots": 13}),
        ("gauge, one tab, 9", 0.008, 0.04, {"own_tab": False}),
        ("gauge, press", 0.008, 0.04, {"fit": "press"}),
        ("gauge, slip", 0.008, 0.04, {"fit": "slip"}),
        ("gauge, new user", 0.006, 0.10, {}),
        ("thresholds .10 off", 0.008, 0.04, {"theta_offset": 0.10}),
        (
            "same, prior sd .10",
            0.008,
            0.04,
            {"theta_offset": 0.10, "assumed": CombAssumed(theta2_sd_mm=0.10)},
        ),
        ("edges .035, thought .02", 0.008, 0.04, {"edge": 0.035}),
        (
            "edges .035, thought .03",
            0.008,
            0.04,
            {"edge": 0.035, "assumed": CombAssumed(theta2_sd_mm=0.04, edge_sd_mm=0.03)},
        ),
    ):
        rng = np.random.default_rng(4)
        flagged: Counter[bool] = Counter()

        def note(result: CombResult, flagged: Counter[bool] = flagged) -> None:
            flagged[CombFlag.INCONSISTENT in result.flags] += 1

        runs = np.array(
            [
                shop.comb_shop(rng, u_kerf=uk, theta_sd=theta, rounds=5, on_round=note, **more)  # type: ignore[arg-type]
                for _ in range(trials)
            ],
            dtype=float,
        )
        rmse = np.sqrt((runs[:, :, 0] ** 2).mean(axis=0))
        print(
            f"  {name:24s}",
            " ".join(f"{v:.4f}" for v in rmse),
            "|",
            " ".join(f"{v:.4f}" for v in runs[:, :, 1].mean(axis=0)),
            "|",
            " ".join(f"{v:.2f}" for v in runs[:, :, 2].mean(axis=0)),
            f"| {flagged[True] / flagged.total():.4f}",
        )


def speed() -> None:
    """Milliseconds of an estimate, of its parts, and of the covariance by a general library."""
    print("\nspeed, ms (best of 5)")
    rng = np.random.default_rng(5)
    truth = shop.Truth.drawn(rng)
    data = shop.take(GAUGES["G2 12 readings"], truth, rng)

    def best(work: Callable[[], object], repeats: int) -> float:
        times = []
        for _ in range(5):
            start = time.perf_counter()
            for _ in range(repeats):
                work()
            times.append((time.perf_counter() - start) / repeats)
        return 1e3 * min(times)

    wide = GaugeAssumed(kerf_limits_mm=(-1.0, 2.0))
    fit = fit_kerf(data, PRIOR, CALIPER, wide)
    print(
        f"  whole estimate, outlier average and advice {best(lambda: fit_kerf(data, PRIOR, CALIPER, wide), 50):.2f}"
    )
    print(
        f"  weighted estimate alone {best(lambda: plain_fit(data, PRIOR, CALIPER, 0.02), 50):.2f}"
    )
    print(f"  advice alone {best(lambda: advise(data, PRIOR, CALIPER, edge_sd_mm=0.02), 50):.2f}")
    jacobian = np.zeros((40, 9))
    jacobian[:, 0], jacobian[:, 2], jacobian[:, 4] = -1.0, np.linspace(20, 400, 40), -1.0
    ours = best(lambda: fit.propagate(jacobian), 500)
    try:
        import uncertainties
    except ImportError:
        print(f"  40 sizes from the fit {ours:.4f} (uncertainties is not installed)")
        return
    values = uncertainties.correlated_values(fit.mean, fit.covariance)

    def theirs() -> list[float]:
        k, e, b = values[0], values[2], values[4]
        return [(size * (1 + e) - k - b).std_dev for size in jacobian[:, 2]]

    other = best(theirs, 5)
    print(
        f"  40 sizes from the fit {ours:.4f}; uncertainties {other:.2f}: {other / ours:.0f} times"
    )
    for own in (True, False):
        rng = np.random.default_rng(6)
        start = time.perf_counter()
        for _ in range(20):
            shop.comb_shop(rng, u_kerf=0.008, theta_sd=0.1, slots=15, rounds=5, own_tab=own)
        mean = (time.perf_counter() - start) / 100
        print(f"  comb update, 15 slots, {'own tabs' if own else 'one tab'} {1e3 * mean:.1f}")


def main() -> None:
    """Print every table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=1000)
    trials = parser.parse_args().trials
    coverage(2 * trials)
    outliers(trials)
    alarms(trials)
    combs(trials // 2)
    speed()


if __name__ == "__main__":
    main()
