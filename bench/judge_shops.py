"""What the shop book states, held against hidden truth. ``python bench/judge_shops.py``

    python bench/judge_shops.py [--shops 300] [--years 40] [--only PART]
    python bench/judge_shops.py --cli [--shops 10]

A table of every scenario of tests/judge_shops.py: how many of the truths the stated 95 % intervals hold, bias, rms
error, median U (mm; scales in mm a metre), flags. With ``--cli`` the same shops keep their book through the command
line: forms are typed with ``--reading`` and ``--verdicts``, boxes asked of ``build --json``. Seeded.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from judge_shops import PLY, ROWS, START, Judged, Shop, judged, year


def table(shops: int, years: int, only: str) -> None:
    chance = 2 * (0.95 * 0.05 / shops) ** 0.5
    print(
        f"{shops} shops a row; by chance alone {0.95 - chance:.3f} to {0.95 + chance:.3f} of 0.95\n"
    )
    for row, scenario in ROWS.items():
        if only not in row:
            continue
        begun = time.perf_counter()
        out = judged(scenario, shops, 1)
        flags = ", ".join(f"{n} {c / out.shops:.2f}" for n, c in sorted(out.flags.items()))
        print(f"{row}  (flags: {flags or 'none'}; {time.perf_counter() - begun:.0f} s)")
        for name in sorted(out.pairs):
            print("   ", out.line(name))
        sys.stdout.flush()
    for motion in ("still", "creeps", "wanders"):
        if only not in f"G {motion}":
            continue
        out = Judged()
        done = [year(np.random.default_rng([2, n]), motion, out) for n in range(years)]
        gauges, combs = [d.gauges for d in done], [d.combs for d in done]
        print(
            f"G a year, {motion}: {100 * np.mean([d.out for d in done]):.2f} % of joints outside 0.05 mm; "
            f"gauges {np.mean(gauges):.1f} (at most {max(gauges)}), combs {np.mean(combs):.1f}"
        )
        for name in sorted(out.pairs):
            print("   ", out.line(name))
        sys.stdout.flush()


class Command:
    """The command line, with a book of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.book = folder, folder / "book.sqlite"

    def __call__(self, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "boxjoint", *words, "--book", str(self.book)],
            cwd=self.folder, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"{' '.join(words)}\n{done.stderr}")
        return done.stdout


def typed(shop: Shop, material: str, *, quick: bool = False) -> list[str]:
    """Readings of a gauge as a maker types them."""
    out = []
    for r in shop.readings(material, quick=quick):
        words = [r.form, r.axis, f"{r.drawn_mm:g}", *([str(r.slices)] if r.slices else [])]
        words.append(f"contour={r.contour.replace(' ', '-')}")
        out += ["--reading", " ".join(words) + ": " + ", ".join(f"{v:.2f}" for v in r.values_mm)]
    return out


def by_command(shops: int) -> None:
    """A, B and C through the command line: an old comb, another material, a quick form."""
    out: dict[str, Judged] = {"A": Judged(), "B": Judged(), "C": Judged()}
    for number in range(shops):
        rng = np.random.default_rng([5, number])
        with (
            tempfile.TemporaryDirectory() as name,
            Shop(rng, kerf=(0.15, 0.15), want=-0.03) as shop,
        ):
            folder = Path(name)
            run = Command(folder)
            run("book", "add", "machine", "red laser")
            for material in (PLY, "acrylic"):
                run("book", "add", "sheet", "--batch", material.split()[0], "--material", material, "--thickness", "3.0", "--thickness", "3.02")  # fmt: skip
            run("book", "add", "settings", "ply3", "--speed", "10 mm/s", "--power", "70")
            place = ["--machine", "red laser", "--sheet", "birch", "--settings", "ply3"]
            (folder / "job.toml").write_text(
                'unit = "mm"\n[inside]\nlength = 152\nwidth = 109\nheight = 60\n[stock]\n'
                f'material = "{PLY}"\nthickness = [3.0, 3.02]\n'
                '[shop]\nmachine = "red laser"\nsheet = "birch"\nsettings = "ply3"\n'
            )
            run(
                "gauge", "read", "kerf", *typed(shop, PLY), *place, "--date", "2026-01-05", "--save"
            )
            centre, step = -0.34, 0.05
            for day in ("2026-01-06", "2026-01-07"):
                places = [round(centre + (i - 4) * step, 3) for i in range(9)]
                words = ",".join(shop.feel(x, "x") for x in places)
                said = run("gauge", "read", "comb", "--centre", f"{centre}", "--step", f"{step}", "--verdicts", words, "--axis", "x", *place, "--date", day, "--save", "--json")  # fmt: skip
                coming = json.loads(said)["next_comb"]
                centre, step = round(coming["centre"], 3), round(coming["step"], 3)
            shop.move(0.15)
            for day in ("2026-04-15", "2026-04-16"):
                run("gauge", "read", "kerf", *typed(shop, PLY), *place, "--date", day, "--save")
            report = json.loads(run("build", "job.toml", "--out", "box", "--json"))
            figures = report["figures"]
            out["A"].add(
                "clearance",
                figures["clearance"]["value"] + 0.03,
                figures["clearance"]["uncertainty_95"],
            )
            for axis in "xy":
                kerf = figures[f"kerf_{axis}"]
                out["A"].add(f"kerf {axis}", kerf["value"] - 0.30, kerf["uncertainty_95"])
            for joint in report["joints"]:
                # as cut by the true beam: what is drawn is the stated clearance less the believed kerfs
                clearance = joint["clearance"]
                if clearance["least"] is None:
                    continue
                missed = 2 * 0.30 - figures["kerf_x"]["value"] - figures["kerf_y"]["value"]
                shift = (
                    clearance["wanted"] - figures["clearance"]["value"]
                )  # for its number of segments
                middle = (clearance["least"] + clearance["greatest"]) / 2 + missed
                out["A"].add("joint", middle - shift + 0.03, 2 * clearance["uncertainty"])
            # B: a gauge of acrylic whose kerfs differ the other way round leaves plywood alone
            before = json.loads(run("book", "show", "red laser", "--json"))["records"][0]
            shop.kerf["acrylic"] = {"x": 0.26, "y": 0.34}
            run("gauge", "read", "kerf", *typed(shop, "acrylic"), "--machine", "red laser", "--sheet", "acrylic", "--settings", "ply3", "--date", "2026-04-17", "--save")  # fmt: skip
            records = json.loads(run("book", "show", "red laser", "--json"))["records"]
            for record in records:
                truth = shop.kerf[record["material"]]
                for axis in "xy":
                    kerf = record[f"kerf_{axis}"]
                    out["B"].add(
                        f"kerf {axis} {record['material']}",
                        kerf["value"] - truth[axis],
                        2 * kerf["u"],
                    )
            moved = max(abs(r[f"kerf_{a}"]["value"] - before[f"kerf_{a}"]["value"]) for a in "xy" for r in records if r["material"] == PLY)  # fmt: skip
            if moved > 0.01:
                print(f"shop {number}: plywood moved by {moved:.3f} mm for a gauge of acrylic")
        with tempfile.TemporaryDirectory() as name, Shop(rng, kerf=(0.09, 0.31)) as shop:
            run = Command(Path(name))
            run("book", "add", "machine", "red laser")
            where = [
                "--machine",
                "red laser",
                "--material",
                PLY,
                "--thickness",
                "3.01",
                "--speed",
                "10 mm/s",
            ]
            run(
                "gauge",
                "read",
                "kerf",
                *typed(shop, PLY, quick=True),
                *where,
                "--date",
                f"{START:%Y-%m-%d}",
                "--save",
            )
            record = json.loads(run("book", "show", "red laser", "--json"))["records"][0]
            for axis in "xy":
                kerf = record[f"kerf_{axis}"]
                out["C"].add(f"kerf {axis}", kerf["value"] - shop.kerf[PLY][axis], 2 * kerf["u"])
    for row, found in out.items():
        print(row, "through the command line")
        for name in sorted(found.pairs):
            print("   ", found.line(name))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--shops", type=int)
    parser.add_argument("--years", type=int, default=40)
    parser.add_argument("--only", default="", help="rows whose name has this in it")
    parser.add_argument("--cli", action="store_true")
    args = parser.parse_args()
    if args.cli:
        by_command(args.shops or 10)
    else:
        table(args.shops or 300, args.years, args.only)


if __name__ == "__main__":
    main()
