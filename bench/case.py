"""A specimen case of drawers with dividers: the whole computation, its growth, and rivals beside it.

Run ``python bench/case.py`` (see ``bench/README.md``); it prints Markdown on stdout and leaves with 1
where a limit does not hold. Solve, compensate, exact proof and assembly sequence at about 10, 100 and
400 panels: CPU time, medians of rounds in which all sizes take turns. Beside them the check that a
practised user of a general-purpose solid library would write: the common volume of every pair of panels
whose bounding boxes overlap. The rivals get the outlines for nothing: only their booleans are timed, and
the making of their solids apart.
"""

from __future__ import annotations

import argparse
import gc
import importlib.util
import math
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from box import Limits, draw, machine, ms, ratio, table

from boxjoint.check.exact import exact_proof
from boxjoint.check.sequence import assembly_sequence
from boxjoint.job.read import parse_job
from boxjoint.job.records import Job
from boxjoint.make import tab_ask
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution, solve

#: Drawers of each case: about 10, 100 and 400 panels.
DRAWERS = (1, 12, 50)
WHOLE_S = 0.5
"""Limit of all four together at 12 drawers, CPU seconds."""
PROOF_GROWTH = 1.3
"""Greatest exponent of the exact proof's time from 12 to 50 drawers: n log n over these sizes is 1.19."""
SEQUENCE_GROWTH = 2.2
"""And of the sequence's: the square, and a tenth for the scatter."""
COMMON_MM3 = 1e-3
"""A kernel's rounding over panels that meet in many faces; far below what a tab of these panels has."""
PARTS = ("solve", "compensate", "exact proof", "assembly sequence")

JOB = """\
title = "Specimen case"
unit = "mm"
inside = {{ length = 220, width = 160, height = 30 }}
stock = {{ material = "birch plywood", thickness = 4 }}
cut = {{ kerf = 0.18 }}
joint = {{ clearance = 0 }}
drawers = {{ count = {drawers}, inside_of = "drawer" }}
dividers = {{ thickness = 3, length = {{ compartments = 2 }} }}
"""

Pairs = list[tuple[str, str]]


def run(job: Job) -> tuple[tuple[float, float, float, float], Solution, bool]:
    """CPU seconds of each part, what was solved, and whether a sequence was found."""
    made, ask = job_arrangement(job), tab_ask(job)
    begun = time.process_time()
    solution = solve(made, ask)
    solved = time.process_time()
    draw(job, solution)
    drawn = time.process_time()
    exact_proof(solution.panels, made.insides).require()
    proved = time.process_time()
    found = assembly_sequence(solution.panels, bodies=made.bodies)
    end = time.process_time()
    return (
        (solved - begun, drawn - solved, proved - drawn, end - proved),
        solution,
        found.passed,
    )


# --- rivals: nothing of the project but the panels' outlines and slabs -----------------------------


def corners(panel: Panel) -> list[np.ndarray]:
    """A panel's rings on the two axes of its plane, mm; the first one goes round all others."""
    rings = []
    for k in range(panel.rings.count):
        world = dict(zip(panel.frame.axes, panel.frame.to_world(panel.rings.ring(k)), strict=True))
        rings.append(np.column_stack([world[axis] for axis in sorted(world)]) / 1e6)
    return rings


def near(panels: Sequence[Panel]) -> Pairs:
    """All pairs whose bounding boxes share volume."""
    lo = np.array([p.slab.box.lo for p in panels])
    hi = np.array([p.slab.box.hi for p in panels])
    shared = ((lo[:, None] < hi[None]) & (lo[None] < hi[:, None])).all(axis=2)
    return [(panels[i].name, panels[j].name) for i, j in np.argwhere(np.triu(shared, 1))]


def frame(panel: Panel) -> tuple[int, int, int, float, float]:
    """Axes of a panel's plane and its normal, and where it begins and ends along that, mm."""
    normal = panel.slab.normal
    a, b = (k for k in range(3) if k != normal)
    return a, b, normal, panel.slab.box.lo[normal] / 1e6, panel.slab.thickness / 1e6


def manifold_solids(panels: Sequence[Panel]) -> dict[str, Any]:
    """Every panel as a solid of manifold3d."""
    from manifold3d import CrossSection, FillRule, Manifold

    solids = {}
    for panel in panels:
        a, b, normal, low, thick = frame(panel)
        section = CrossSection(corners(panel), FillRule.EvenOdd)
        place = np.zeros((3, 4))
        place[a, 0] = place[b, 1] = place[normal, 2] = 1.0
        place[normal, 3] = low
        solids[panel.name] = Manifold.extrude(section, thick).transform(place)
    return solids


def manifold_common(one: Any, other: Any) -> float:
    """Volume that two solids share."""
    return float((one ^ other).volume())


def manifold_volume(one: Any) -> float:
    """Volume of a solid."""
    return float(one.volume())


def cadquery_solids(panels: Sequence[Panel]) -> dict[str, Any]:
    """Every panel as a solid of cadquery."""
    import cadquery as cq

    solids = {}
    for panel in panels:
        a, b, normal, low, thick = frame(panel)
        wires = []
        for ring in corners(panel):
            points = np.zeros((len(ring), 3))
            points[:, a], points[:, b], points[:, normal] = ring[:, 0], ring[:, 1], low
            wires.append(cq.Wire.makePolygon([cq.Vector(*p) for p in points.tolist()], close=True))
        up = [0.0, 0.0, 0.0]
        up[normal] = thick
        solids[panel.name] = cq.Solid.extrudeLinear(wires[0], wires[1:], cq.Vector(*up))
    return solids


def cadquery_common(one: Any, other: Any) -> float:
    """Volume that two solids share."""
    return float(one.intersect(other).Volume())


def cadquery_volume(one: Any) -> float:
    """Volume of a solid."""
    return float(one.Volume())


RIVALS: dict[str, tuple[Callable[[Sequence[Panel]], dict[str, Any]], Any, Any]] = {
    "manifold3d": (manifold_solids, manifold_volume, manifold_common),
    "cadquery": (cadquery_solids, cadquery_volume, cadquery_common),
}


def rival(name: str, panels: Sequence[Panel], pairs: Pairs) -> tuple[float, float]:
    """CPU seconds to make all solids, and to ask every pair for its common volume.

    Solids of no volume share none: so every volume is compared with its outline's.
    """
    make, volume, common = RIVALS[name]
    make(panels[:1])  # the import is not counted
    begun = time.process_time()
    solids = make(panels)
    made = time.process_time()
    for panel in panels:
        wanted = panel.rings.area * panel.slab.thickness / 1e18
        if abs(volume(solids[panel.name]) - wanted) > 1e-6 * wanted:
            raise SystemExit(f"{name}: {panel.name} has another volume than its outline")
    begun_pairs = time.process_time()
    for one, other in pairs:
        if abs(common(solids[one], solids[other])) > COMMON_MM3:
            raise SystemExit(f"{name}: {one} and {other} share volume")
    return made - begun, time.process_time() - begun_pairs


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5, help="rounds a median is taken of (5)")
    parser.add_argument("--no-cadquery", action="store_true", help="leave out the slowest rival")
    args = parser.parse_args()
    jobs = {n: parse_job(JOB.format(drawers=n)) for n in DRAWERS}
    times: dict[int, list[tuple[float, float, float, float]]] = {n: [] for n in DRAWERS}
    solved: dict[int, Solution] = {}
    found = True
    for turn in range(args.rounds + 1):
        for n, job in jobs.items():
            gc.collect()
            took, solved[n], passed = run(job)
            found &= passed
            if turn:  # the first round fills caches
                times[n].append(took)
    median = {
        n: [statistics.median(c) for c in zip(*rows, strict=True)] for n, rows in times.items()
    }
    whole = {n: statistics.median(map(sum, rows)) for n, rows in times.items()}
    count = {n: len(s.panels) for n, s in solved.items()}
    small, middle, large = DRAWERS

    print("# A specimen case of drawers, each with one divider\n")
    print(
        f"Drawers of 220 x 160 x 30 mm inside, plywood of 4 mm, dividers of 3 mm, kerf 0.18; shelves "
        f"and stops. {machine()} CPU milliseconds, medians of {args.rounds} rounds.\n"
    )
    table(
        ["drawers", "panels", "joints", *PARTS, "**all**"],
        [
            [
                *(str(n), str(count[n]), str(len(solved[n].joints)), *map(ms, median[n])),
                f"**{ms(whole[n])}**",
            ]
            for n in DRAWERS
        ],
    )
    names = [name for name in RIVALS if importlib.util.find_spec(name)]
    if args.no_cadquery:
        names.remove("cadquery")
    print("## Common volume of every pair whose bounding boxes overlap\n")
    print(
        "It says only that no two panels share volume: no void, no inside, no sequence. The exact proof "
        "says more. cadquery is tried to 100 panels and manifold3d throughout, one run each.\n"
    )
    rows, times_as_long = [], {}
    for n in DRAWERS:
        pairs = near(solved[n].panels)
        for name in names:
            if name == "cadquery" and n == large:
                continue
            making, asking = rival(name, solved[n].panels, pairs)
            times_as_long[name, n] = (making + asking) / median[n][2]
            rows.append(
                [
                    *(f"{count[n]}: {name}", str(len(pairs)), ms(making), ms(asking)),
                    ratio(making + asking, median[n][2]),
                    ratio(making + asking, whole[n]),
                ]
            )
    table(
        ["panels", "pairs", "solids", "common volumes", "of our exact proof", "of all of ours"],
        rows,
    )
    limits = Limits()
    limits.most(f"all four at {count[middle]} panels", whole[middle], WHOLE_S, " s")
    for k, what, limit in ((2, "exact proof", PROOF_GROWTH), (3, "sequence", SEQUENCE_GROWTH)):
        for low, high in ((small, middle), (middle, large)):
            power = math.log(median[high][k] / median[low][k]) / math.log(count[high] / count[low])
            limits.most(
                f"growth exponent of the {what}, {count[low]} to {count[high]}", power, limit
            )
    limits.said("sequence found", "all" if found else "not all", "all", found)
    for name in names:
        limits.least(
            f"exact proof faster than {name} at {count[middle]}",
            times_as_long[name, middle],
            1,
            "x",
        )
    print("## Limits\n")
    table(
        ["what", "figure", "limit", "holds"],
        [[what, f, limit, "yes" if holds else "**NO**"] for what, f, limit, holds in limits.rows],
    )
    sys.exit(0 if all(holds for *_, holds in limits.rows) else 1)


if __name__ == "__main__":
    main()
