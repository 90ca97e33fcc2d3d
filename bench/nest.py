"""Ten orders nested, ours beside rectpack: sheets, what is used of the last one, time.

Run ``python bench/nest.py`` (see ``bench/README.md``); it prints Markdown on stdout and leaves with 1
where a limit does not hold. All times are CPU time.

The orders are those of a workshop: trays and drawers (five panels) and closed boxes (six), of random
sizes, on sheets of three sizes, spacing 1 to 3 mm, margin 5 mm. In mixed orders every box is another;
in repeated ones a box is wanted one to four times. Any panel may be turned: rectpack turns all panels or
none. Their seeds were not used while the search was being written. Last come eight sets of ten orders of
both kinds, since one set says little: where a few large panels are repeated, the area bound is far below
what any nest can reach (three of four panels of 178 x 166 mm fit 600 x 300 mm, whatever the area says).

rectpack gets rectangles and bins grown by the spacing, and as many bins as it likes; its best of all
configurations is by (sheets, equivalent). Both are judged by the same numbers: sheets, and sheets with
that one of which most is kept counted by what is used up of it, in the better direction. Every nest of
ours is proved by the checker within the time shown.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import time
from dataclasses import dataclass
from itertools import product
from typing import Any

import rectpack

from boxjoint.sheet.nest import nest
from boxjoint.sheet.records import Item, NestAsk, SheetStock

MM = 1_000_000
UNIT = 10_000  # nm; rectpack gets whole hundredths of a millimetre
MARGIN = 5 * MM
SIZES = ((600, 300), (400, 400), (600, 400))
COUNTS = (12, 18, 24, 30, 45, 60, 80, 120, 160, 200)
FIRST_SEED = 2600
MIXED, REPEATED = (1,), (1, 1, 1, 2, 2, 4)
SETS = 8
MATERIAL, THICKNESS = "birch plywood", 3 * MM

#: Every way that rectpack packs into many bins without cutting through, and every way it sorts.
ALGORITHMS = (
    "MaxRectsBl",
    "MaxRectsBssf",
    "MaxRectsBaf",
    "MaxRectsBlsf",
    "SkylineBl",
    "SkylineBlWm",
    "SkylineMwf",
    "SkylineMwfl",
    "SkylineMwfWm",
    "SkylineMwflWm",
)
SORTS = ("SORT_AREA", "SORT_PERI", "SORT_DIFF", "SORT_SSIDE", "SORT_LSIDE", "SORT_RATIO")
BINS = ("BNF", "BFF", "BBF", "Global")


@dataclass(frozen=True, slots=True)
class Order:
    """Panels (width, height), nm, for one size of sheet."""

    name: str
    panels: tuple[tuple[int, int], ...]
    sheet: tuple[int, int]
    spacing: int

    @property
    def room(self) -> tuple[int, int]:
        """Usable room grown by the spacing, units."""
        w, h = ((side - 2 * MARGIN + self.spacing) // UNIT for side in self.sheet)
        return w, h

    @property
    def grown(self) -> list[tuple[int, int]]:
        """Panels grown by the spacing, units, rounded up."""
        return [
            (-(-(w + self.spacing) // UNIT), -(-(h + self.spacing) // UNIT)) for w, h in self.panels
        ]

    @property
    def bound(self) -> float:
        """Sheets that the area alone needs."""
        w, h = self.room
        return sum(a * b for a, b in self.grown) / (w * h)


@dataclass(frozen=True, slots=True)
class Found:
    """Sheets, equivalent, CPU seconds."""

    sheets: int
    equivalent: float
    seconds: float


def box_panels(rng: random.Random) -> list[tuple[int, int]]:
    """Panels of one box, mm: outside sizes, kerf added by the caller."""
    x, y = sorted((rng.randrange(50, 271, 2), rng.randrange(40, 191, 2)), reverse=True)
    z = rng.randrange(20, 131, 2)
    panels = [(x, y), (x, z), (x, z), (y, z), (y, z)]
    return panels if rng.random() < 0.6 else [*panels, (x, y)]


def order(index: int, count: int, quantities: tuple[int, ...], number: int = 0) -> Order:
    """The order of exactly ``count`` panels at ``index`` in a seeded set."""
    rng = random.Random(FIRST_SEED + 10 * number + index)
    panels: list[tuple[int, int]] = []
    while len(panels) < count:
        panels += box_panels(rng) * rng.choice(quantities)
    kerf = 150_000
    w, h = SIZES[index % len(SIZES)]
    return Order(
        f"{count} panels, {w} x {h}",
        tuple((a * MM + kerf, b * MM + kerf) for a, b in panels[:count]),
        (w * MM, h * MM),
        rng.choice((1, 2, 3)) * MM,
    )


def ours(job: Order, level: int) -> Found:
    """Nest it, prove it."""
    items = [
        Item(name=f"panel {i}", width=w, height=h, material=MATERIAL, thickness=THICKNESS)
        for i, (w, h) in enumerate(job.panels)
    ]
    stock = SheetStock(
        name="sheet",
        width=job.sheet[0],
        height=job.sheet[1],
        material=MATERIAL,
        thickness=THICKNESS,
    )
    ask = NestAsk(spacing=job.spacing, kerf=150_000, margin=MARGIN, level=level)
    begun = time.process_time()
    done = nest(items, [stock], ask)
    seconds = time.process_time() - begun
    return Found(len(done.sheets), done.equivalent, seconds)


def theirs(job: Order, algorithm: str, sort: str, bins: str) -> Found | None:
    """One configuration of rectpack; ``None`` where it leaves a panel out."""
    begun = time.process_time()
    mode: Any = getattr(rectpack.PackingBin, bins)
    packer = rectpack.newPacker(
        mode=rectpack.PackingMode.Offline,
        bin_algo=mode,
        pack_algo=getattr(rectpack, algorithm),
        sort_algo=getattr(rectpack, sort),
        rotation=True,
    )
    for w, h in job.grown:
        packer.add_rect(w, h)
    width, height = job.room
    packer.add_bin(width, height, count=len(job.panels))
    packer.pack()
    used = []
    held = 0
    for one in packer:
        right = max((r.x + r.width for r in one), default=0)
        up = max((r.y + r.height for r in one), default=0)
        held += len(one)
        used.append(min(right * height, up * width))
    seconds = time.process_time() - begun
    if held < len(job.panels):
        return None
    used = [u for u in used if u]
    return Found(len(used), len(used) - 1 + min(used) / (width * height), seconds)


def best_of(job: Order) -> tuple[Found, int]:
    """The best of all configurations, with the time of all of them, and how many there were."""
    found = [theirs(job, *c) for c in product(ALGORITHMS, SORTS, BINS)]
    whole = [f for f in found if f is not None]
    best = min(whole, key=lambda f: (f.sheets, f.equivalent))
    return Found(best.sheets, best.equivalent, sum(f.seconds for f in whole)), len(found)


def table(header: list[str], rows: list[list[str]]) -> None:
    """Print a Markdown table: the first column to the left, the others to the right."""
    print("| " + " | ".join(header) + " |")
    print("|---|" + "--:|" * (len(header) - 1))
    for row in rows:
        print("| " + " | ".join(row) + " |")
    print(flush=True)


def main() -> int:
    """Print the tables; 1 where a limit does not hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--deep", action="store_true", help="level 3 too: some minutes")
    parser.add_argument("--no-rival", action="store_true", help="leave rectpack out")
    options = parser.parse_args()
    levels = (0, 1, 2, 3) if options.deep else (0, 1, 2)
    jobs = [order(i, n, MIXED) for i, n in enumerate(COUNTS)]
    print(f"# Nesting: {len(jobs)} orders\n")
    found: dict[str, list[Found]] = {f"level {k}": [] for k in levels}
    configurations = 0
    for job in jobs:
        for k in levels:
            found[f"level {k}"].append(ours(job, k))
        if not options.no_rival:
            plain = theirs(job, "MaxRectsBssf", "SORT_AREA", "BBF")
            if plain is None:
                raise SystemExit("rectpack left a panel out at its defaults")
            found.setdefault("rectpack default", []).append(plain)
            best, configurations = best_of(job)
            found.setdefault("rectpack best", []).append(best)
    names = list(found)
    print("Sheets (equivalent), by order. `bound` is what the area alone needs.\n")
    table(
        ["order", "bound", *names],
        [
            [
                job.name,
                f"{job.bound:.2f}",
                *(f"{found[n][i].sheets} ({found[n][i].equivalent:.2f})" for n in names),
            ]
            for i, job in enumerate(jobs)
        ],
    )
    if configurations:
        print(f"rectpack {rectpack_version()}: best of {configurations} configurations.\n")
    table(
        ["engine", "sheets", "mean equivalent / bound", "CPU s median", "CPU s most"],
        [
            [
                n,
                str(sum(f.sheets for f in found[n])),
                f"{mean_ratio(jobs, found[n]):.4f}",
                f"{statistics.median(f.seconds for f in found[n]):.3g}",
                f"{max(f.seconds for f in found[n]):.3g}",
            ]
            for n in names
        ],
    )
    ratios = {
        name: [set_ratio(number, quantities) for number in range(SETS)]
        for name, quantities in (("mixed", MIXED), ("repeated", REPEATED))
    }
    print(f"Equivalent over bound at level 1, means of {SETS} sets of ten orders.\n")
    table(
        ["orders", "mean of the sets", "best set", "worst set"],
        [
            [name, f"{statistics.fmean(r):.4f}", f"{min(r):.4f}", f"{max(r):.4f}"]
            for name, r in ratios.items()
        ],
    )
    return limits(jobs, found, ratios)


def set_ratio(number: int, quantities: tuple[int, ...]) -> float:
    """Mean of equivalent over bound of one set at level 1."""
    jobs = [order(i, n, quantities, number) for i, n in enumerate(COUNTS)]
    return mean_ratio(jobs, [ours(job, 1) for job in jobs])


def rectpack_version() -> str:
    """As installed."""
    from importlib.metadata import version

    return version("rectpack")


def mean_ratio(jobs: list[Order], row: list[Found]) -> float:
    """Mean of equivalent over bound."""
    return statistics.fmean(f.equivalent / j.bound for f, j in zip(row, jobs, strict=True))


def limits(jobs: list[Order], found: dict[str, list[Found]], ratios: dict[str, list[float]]) -> int:
    """Print every limit beside the figure; 1 where one does not hold. Judged at level 2."""
    final = found["level 2"]
    rows: list[tuple[str, str, str, bool]] = []
    for count, limit in ((30, 1.0), (200, 15.0)):
        at = COUNTS.index(count)
        # the order of the table, and one on 600 x 300 mm whatever its place in the list
        job = jobs[at]
        wide = Order(job.name, job.panels, (600 * MM, 300 * MM), job.spacing)
        seconds = max(final[at].seconds, ours(wide, 2).seconds)
        rows.append(
            (f"{count} panels, level 2, CPU s", f"{seconds:.2f}", f"{limit:g}", seconds <= limit)
        )
    ratio = mean_ratio(jobs, final)
    rows.append(("mean equivalent / bound, level 2", f"{ratio:.4f}", "1.08", ratio <= 1.08))
    for name, of_sets in ratios.items():
        mean = statistics.fmean(of_sets)
        rows.append((f"the same, {name}, all sets, level 1", f"{mean:.4f}", "1.08", mean <= 1.08))
    if "rectpack best" in found:
        for level in (1, 2):
            more = sum(
                a.sheets > b.sheets
                for a, b in zip(found[f"level {level}"], found["rectpack best"], strict=True)
            )
            rows.append(
                (
                    f"orders with more sheets than rectpack's best, level {level}",
                    str(more),
                    "0",
                    more == 0,
                )
            )
    print("| limit | found | at most | holds |\n|---|--:|--:|---|")
    for what, value, limit_, holds in rows:
        print(f"| {what} | {value} | {limit_} | {'yes' if holds else '**no**'} |")
    return 0 if all(r[3] for r in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
