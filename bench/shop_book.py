"""How fast a large shop book opens and answers. ``python bench/shop_book.py``

100,000 readings of one machine (the worst case: all of them teach one scale), in three records,
each gauge on a sheet of its own. Invented and seeded. The figure that matters to a maker is "opens
and answers"; what is slower happens once, or after an old reading was struck out.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from boxjoint.shop import records as rec
from boxjoint.shop.book import Book
from boxjoint.shop.exchange import export_csv, export_toml, import_file
from boxjoint.shop.learn import believe

AT = datetime(2000, 1, 1, tzinfo=UTC)
ASKED = rec.Settings(at=AT, name="0", speed=10, speed_unit="mm/s", power_percent=60)


def gauge(rng: np.random.Generator, place: dict[str, str], at: datetime) -> rec.GaugeSession:
    """12 readings, as the full gauge has them."""
    kerf, size, gap = 0.18 + rng.normal(0, 0.006), {"x": 72.0, "y": 50.0}, 0.008
    rows = []

    def read(value: float) -> float:
        return round((value + rng.normal(0, 0.025)) / 0.02) * 0.02

    for axis in "xy":
        d, outer = size[axis], {"x": 100.0, "y": 60.0}[axis]
        stack = [read(d - 8 * kerf + 7 * gap) for _ in range(2)]
        rows += [
            ("stack", d, tuple(stack), 8, "a"),
            ("window", d, (read(d + kerf), read(d + kerf)), 0, "a"),
            ("plug", outer, (read(outer - kerf),), 0, "b"),
            ("plug", 40.0, (read(40 - kerf),), 0, "c"),
        ]
    readings = tuple(
        rec.Reading(
            form=f, axis="xy"[i // 4], drawn_mm=d, values_mm=v, slices=n, contour=f"{c}{i // 4}"
        )
        for i, (f, d, v, n, c) in enumerate(rows)
    )
    return rec.GaugeSession(at=at, readings=readings, source="invented", **place)


def fill(path: Path, values: int) -> None:
    rng = np.random.default_rng(7)
    with Book.open(path) as book:
        book.append(rec.Machine(at=AT, name="bench laser"))
        made = [ASKED] + [rec.Settings(at=AT, name=str(n), passes=n + 1) for n in (1, 2)]
        settings = [a.id for a in book.append_all(made)]
        sessions = values // 12
        batch: list[rec.Record] = []
        for n in range(sessions):
            at = AT + timedelta(hours=26 * n)
            thickness = tuple(float(v) for v in np.round(rng.normal(3.0, 0.04, 3), 2))
            sheet = rec.Sheet(at=at, material="birch ply", thickness_mm=thickness, batch=str(n))
            place = {
                "machine": "bench laser",
                "sheet": rec.content_id(sheet),
                "settings": settings[n % 3],
            }
            batch += [sheet, gauge(rng, place, at)]
            if len(batch) >= 2000 or n == sessions - 1:
                book.append_all(batch)
                batch = []


def answer(path: Path, *, write: bool = True) -> float:
    start = time.perf_counter()
    with Book.open(path, write=write) as book:
        now = AT + timedelta(days=20_000)
        belief = believe(book, "bench laser", "birch ply", 3.0, ASKED, now)
    took = time.perf_counter() - start
    assert belief.kerf_x is not None
    return took


def timed(what: str, run: Callable[[], object], times: int = 1) -> None:
    took = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        took.append(time.perf_counter() - start)
    print(f"{what:58} {np.median(took):8.3f} s")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--values", type=int, default=100_000)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "book.sqlite"
        timed(
            f"append {args.values} readings, 1000 gauges a transaction",
            lambda: fill(path, args.values),
        )
        print(f"{'size of the file':58} {path.stat().st_size / 1e6:8.1f} MB")
        timed("first answer: every gauge is estimated", lambda: answer(path))
        print(f"{'size of the file with what was computed':58} {path.stat().st_size / 1e6:8.1f} MB")
        timed("open and answer", lambda: answer(path), 9)
        timed("open and answer, not writable", lambda: answer(path, write=False), 5)
        code = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); from pathlib import Path; from shop_book import answer; answer(Path({str(path)!r}))"
        timed(
            "the same in a new process, imports included",
            lambda: subprocess.run([sys.executable, "-c", code], check=True),
            3,
        )

        def one_more() -> None:
            with Book.open(path) as book:
                last = book.entries("settings")[0].id
                sheet = book.append(
                    rec.Sheet(
                        at=AT, material="birch ply", thickness_mm=(3.1,), batch=str(time.time())
                    )
                ).id
                place = {"machine": "bench laser", "sheet": sheet, "settings": last}
                book.append(gauge(np.random.default_rng(), place, AT + timedelta(days=19_000)))
            answer(path)

        timed("append a gauge, open and answer", one_more, 5)
        with Book.open(path) as book:
            old = book.timeline("bench laser", AT + timedelta(days=9))[3].id
            book.strike(old, row=2, reason="misread", at=AT)
        timed("answer after an old reading was struck out", lambda: answer(path))
        timed("answer after that", lambda: answer(path), 5)
        with Book.open(path) as book:
            timed("verify every record", book.verify)
            timed("export to TOML", lambda: export_toml(book, folder / "a.toml"))
            timed("export to CSV", lambda: export_csv(book, folder / "csv"))
        for source in ("a.toml", "csv"):
            with Book.open(folder / f"from-{source}") as book:
                timed(f"import {source}", lambda: import_file(book, folder / source))  # noqa: B023 # run at once


if __name__ == "__main__":
    main()
