"""Assembly sequences of 10, 100 and 400 panels: time and growth.

Run ``python bench/sequence.py [--rounds N]``. Prints Markdown and leaves with 1 where a limit does not
hold. CPU time of this process, best of the rounds, in which all subjects take turns. Solving is not
timed here.

Three kinds: a case with drawers (all in each other's line up and down), open boxes side by side (all
in each other's line sideways, so that the number of pairs that strike grows with the square), and one
tray with ever more dividers (the number of joints grows with the square of their number).
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Sequence

from boxjoint.check.assembly import Assembly
from boxjoint.check.blocking import find_strikes
from boxjoint.check.sequence import assembly_sequence
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.read import parse_job
from boxjoint.solve.arrangement import Arrangement, Body
from boxjoint.solve.box import box_slabs
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import solve

MM = 1_000_000
LIMIT_S = 0.3
"""For about 100 panels."""
GROWTH = 2.2
"""Greatest exponent from about 100 to about 400 panels: the square, and a tenth for the scatter."""

JOB = """\
title = "Specimen case"
unit = "mm"
inside = {{ length = 300, width = {width}, height = {height} }}
stock = {{ material = "birch plywood", thickness = {thick} }}
"""

Subject = tuple[Sequence[Panel], Sequence[Body]]


def case(drawers: int) -> Subject:
    """A case, its shelves and stops, and drawers of five panels each."""
    text = JOB.format(width=250, height=40 * drawers, thick=3)
    made = job_arrangement(parse_job(f"{text}drawers = {{ count = {drawers} }}\n"))
    return solve(made).panels, made.bodies


def row(boxes: int) -> Subject:
    """Open boxes side by side, 10 mm apart."""
    thickness = dict.fromkeys(("bottom", "front", "back", "left", "right"), 3 * MM)
    slabs = []
    for k in range(boxes):
        inside = Cuboid((210 * MM * k, 0, 0), (210 * MM * k + 194 * MM, 150 * MM, 60 * MM))
        slabs += box_slabs(inside, thickness, prefix=f"tray {k + 1} ")
    return solve(Arrangement(slabs=tuple(slabs))).panels, ()


def tray(columns: int, rows: int) -> Subject:
    """One tray with dividers both ways."""
    text = JOB.format(width=20 * rows, height=20, thick=1.5)
    text = text.replace("length = 300", f"length = {20 * columns}")
    text += f"dividers.length = {{ compartments = {columns} }}\ndividers.width = {{ compartments = {rows} }}\n"
    made = job_arrangement(parse_job(text))
    return solve(made).panels, made.bodies


KINDS = {
    "case with drawers": (lambda: case(1), lambda: case(14), lambda: case(57)),
    "boxes side by side": (lambda: row(2), lambda: row(20), lambda: row(80)),
    "dividers in a tray": (lambda: tray(5, 3), lambda: tray(35, 14), lambda: tray(100, 25)),
}


def timed(subject: Subject) -> tuple[float, float, Assembly]:
    """Seconds for who strikes whom alone, seconds for all, and what was found."""
    panels, bodies = subject
    begin = time.process_time()
    find_strikes(panels)
    middle = time.process_time()
    found = assembly_sequence(panels, bodies=bodies)
    return middle - begin, time.process_time() - middle, found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--no-tray", action="store_true", help="leave out the tray, slow to solve")
    args = parser.parse_args()
    kinds = {k: v for k, v in KINDS.items() if not (args.no_tray and "tray" in k)}
    subjects = {(kind, k): make() for kind, sizes in kinds.items() for k, make in enumerate(sizes)}
    best: dict[tuple[str, int], tuple[float, float]] = {}
    found: dict[tuple[str, int], Assembly] = {}
    for _ in range(args.rounds):
        for key, subject in subjects.items():
            strikes, whole, found[key] = timed(subject)
            old = best.get(key, (math.inf, math.inf))
            best[key] = (min(old[0], strikes), min(old[1], whole))
    failed = False
    print("| arrangement | panels | sides | who strikes whom | whole sequence | steps | growth |")
    print("|---|--:|--:|--:|--:|--:|--:|")
    for key, (panels, _) in subjects.items():
        kind, k = key
        sides = sum(len(p.rings) for p in panels)
        growth = ""
        if k:
            before = subjects[kind, k - 1][0]
            power = math.log(best[key][1] / best[kind, k - 1][1]) / math.log(
                len(panels) / len(before)
            )
            growth = f"n^{power:.2f}"
            # a tray's joints and sides grow with the square of its dividers: not judged by panels
            failed |= k == 2 and "tray" not in kind and power > GROWTH
            failed |= k == 1 and "tray" not in kind and best[key][1] > LIMIT_S
        failed |= not found[key].passed
        print(
            f"| {kind} | {len(panels)} | {sides} | {best[key][0] * 1e3:.1f} ms "
            f"| {best[key][1] * 1e3:.1f} ms | {len(found[key].steps)} | {growth} |"
        )
    print(
        f"\nLimits: about 100 panels within {LIMIT_S} s; growth from there at most n^{GROWTH}; "
        f"every sequence found. {'NOT all hold.' if failed else 'All hold.'}"
    )
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
