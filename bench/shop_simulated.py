"""From an empty book to a box in many simulated shops: how often the box is inside what was stated.

    python bench/shop_simulated.py [SHOPS]

Gauge and strips, one or two combs, build, virtual cut by the true beam (tests/shop_simulated.py says
what is hidden). Seeded; 1000 shops take about three minutes on two busy cores. Wanted: 0.95, within what
chance alone does to so many shops, which is printed. All joints of one box hang on one comb and one
gauge, so they leave their intervals together: the least of eight joints is one draw, not eight.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from shop_simulated import run_shop

from boxjoint.shop.book import Book


def main(shops: int) -> None:
    chance = 2 * (0.95 * 0.05 / shops) ** 0.5
    print(f"{shops} shops; share inside the stated uncertainty (95 %), rms of error / u, median U")
    print(f"by chance alone {0.95 - chance:.3f} to {0.95 + chance:.3f} (two standard deviations)")
    for fit, combs in (("snug", 1), ("snug", 2), ("press", 2), ("slip", 2)):
        insides, clearances = [], []
        with tempfile.TemporaryDirectory() as folder:
            for number in range(shops):
                path = Path(folder) / f"{number}.sqlite"
                with Book.open(path) as book:
                    rng = np.random.default_rng([2026, number])
                    outcome = run_shop(book, rng, fit=fit, combs=combs)
                path.unlink()
                insides.append(outcome.insides)
                clearances.append(outcome.clearances)
        for name, pairs in (("inside", np.array(insides)), ("clearance", np.array(clearances))):
            z = 1.96 * pairs[..., 0] / pairs[..., 1]
            covered = (np.abs(z) <= 1.96).mean(axis=0)
            print(
                f"  {fit:6s} {combs} comb(s)  {name:10s} {covered.min():.3f} to {covered.max():.3f}"
                f"   rms {np.sqrt((z**2).mean()):.2f}   U {np.median(pairs[..., 1]):.3f} mm"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
