"""What a shop gains by learning: each policy over many simulated shops. ``python bench/shop_learning.py``

Seeded; the full table (400 shops of 32 jobs) takes minutes, ``--shops 60`` for a quick look.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from shop_policies import Policy, joints, run

POLICIES = {
    "fixed kerf 0.20, scale 1": Policy(gauge="never", learn=False),
    "gauge once per record": Policy(gauge="once", learn=False),
    "boxes only, no gauge": Policy(gauge="never"),
    "gauge once + learning": Policy(gauge="once"),
    "same, taken to wander far": Policy(gauge="once", motions=("wanders far",)),
    "same, taken to stand still": Policy(gauge="once", motions=("stands still",)),
    "gauge on demand + learning": Policy(gauge="on demand"),
}
PARTS = {"1": slice(0, 1), "2-4": slice(1, 4), "9-16": slice(8, 16), "17-32": slice(16, 32)}


def wanted_clearance(shops: int, seed: int, u_kerf: float = 0.006) -> float:
    """The clearance that most boxes survive."""
    grid = np.arange(0.0, 0.121, 0.005)
    ok = []
    for clearance in grid:
        rng = np.random.default_rng(seed)
        misses = 2 * rng.normal(0, u_kerf, shops * 10)
        ok.append(np.mean([not any(joints(rng, clearance + m)) for m in misses]))
    print("wanted clearance:", *(f"{c:.3f}:{p:.3f}" for c, p in zip(grid, ok, strict=True)))
    return float(grid[int(np.argmax(ok))])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--shops", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print("best:", wanted_clearance(args.shops, args.seed))
    print(f"{'policy':32} {'drift':>6} " + " ".join(f"{p:>22}" for p in PARTS) + "  gauges/job")
    for drift, jumps in ((0.006, 0.04), (0.0, 0.0), (0.015, 0.04)):
        for name, policy in POLICIES.items():
            o = run(policy, shops=args.shops, jobs=32, seed=args.seed, drift=drift, jumps=jumps)
            cells = [
                f"{np.median(o.inside[:, p]):.3f} {o.dk[:, p].mean():.3f} {o.reject[:, p].mean():.2f}"
                for p in PARTS.values()
            ]
            print(
                f"{name:32} {drift:6.3f} "
                + " ".join(f"{c:>22}" for c in cells)
                + f"  {o.gauges[:, 8:].mean():.2f}"
            )


if __name__ == "__main__":
    main()
