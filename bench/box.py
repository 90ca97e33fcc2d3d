"""A closed box, ours beside general-purpose libraries: time, memory, growth, faults found.

Run ``python bench/box.py`` (see ``bench/README.md``); it prints Markdown on stdout and leaves with 1
where a limit does not hold. All times are CPU time, medians of interleaved rounds, so that other work
on the machine falls on all subjects alike; ratios are within one run.
"""

from __future__ import annotations

import argparse
import gc
import importlib.metadata
import importlib.util
import json
import math
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import box_rivals
import numpy as np

from boxjoint.check.exact import exact_proof
from boxjoint.fit.compensate import Allowance, Beam, Drawn, compensate
from boxjoint.job.read import read_job
from boxjoint.job.records import Job
from boxjoint.make import tab_ask
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.solution import Solution, solve

HERE = Path(__file__).resolve().parent
COUNTS = (11, 51, 201, 1001)

JOB = """\
title = "Bench box"
unit = "mm"

[inside]
length = 300
width = 200
height = 120

[stock]
material = "birch plywood"
thickness = 6

[cut]
kerf = 0.1

[joint]
clearance = 0
segments = {{ length = {n}, width = {n}, height = {n} }}
web = 0

[top]
kind = "closed"
"""

#: Longer than this in one run, s: left to ``--full``, and there run once.
SLOW = {("shapely", 1001), ("lean", 1001)}
#: A subject that takes less runs once untimed before each timed run, s.
WARM_S = 0.2
#: cadquery stops here; at 201 it needs minutes.
CADQUERY_MOST = 51


@dataclass(slots=True)
class Limits:
    """Figures beside what they have to hold."""

    rows: list[tuple[str, str, str, bool]] = field(default_factory=list)

    def most(self, what: str, value: float, limit: float, unit: str = "") -> None:
        """A figure that may be ``limit`` at most."""
        self.rows.append((what, f"{value:.3g}{unit}", f"at most {limit:g}{unit}", value <= limit))

    def least(self, what: str, value: float, limit: float, unit: str = "") -> None:
        """A figure that must be ``limit`` at least."""
        self.rows.append((what, f"{value:.3g}{unit}", f"at least {limit:g}{unit}", value >= limit))

    def said(self, what: str, found: str, limit: str, holds: bool) -> None:
        """Anything else."""
        self.rows.append((what, found, limit, holds))


def table(header: list[str], rows: list[list[str]]) -> None:
    """Print a Markdown table: the first column to the left, the others to the right."""
    print("| " + " | ".join(header) + " |")
    print("|---|" + "--:|" * (len(header) - 1))
    for row in rows:
        print("| " + " | ".join(row) + " |")
    print(flush=True)


def ms(seconds: float | None) -> str:
    """Seconds as milliseconds with three digits."""
    if seconds is None:
        return "-"
    value = 1e3 * seconds
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def ratio(slow: float | None, fast: float | None) -> str:
    """How many times as long."""
    return "-" if slow is None or not fast else f"{slow / fast:.3g}x"


# --- in process ---------------------------------------------------------------------------------


def ours(path: Path) -> Callable[[], tuple[float, float, float]]:
    """Solve, compensate and prove one job; the callable returns the CPU seconds of each."""
    job = read_job(path)
    arrangement, ask = box_arrangement(job), tab_ask(job)

    def run() -> tuple[float, float, float]:
        begun = time.process_time()
        solution = solve(arrangement, ask)
        solved = time.process_time()
        draw(job, solution)
        drawn = time.process_time()
        exact_proof(solution.panels, arrangement.insides).require()
        return solved - begun, drawn - solved, time.process_time() - drawn

    return run


def draw(job: Job, solution: Solution) -> dict[str, Drawn]:
    """Every panel compensated for the job's own kerf and clearance."""
    if job.cut.kerf is None or job.joint.clearance is None:
        raise SystemExit("the bench states kerf and clearance")
    beam = Beam(kerf=job.cut.kerf)
    allowance = Allowance(clearance=[job.joint.clearance / 1e6] * len(solution.joints))
    return {p.name: compensate(p.rings, beam, allowance, name=p.name) for p in solution.panels}


def same_job(path: Path, task: box_rivals.Task, cadquery: bool) -> float:
    """Greatest difference between a drawn area of ours and of a rival, mm2: it is the same job."""
    job = read_job(path)
    drawn = draw(job, solve(box_arrangement(job), tab_ask(job)))
    rivals = [box_rivals.lean_rival(task, None)]
    if cadquery:
        rivals.append(box_rivals.cadquery_rival(task, None))
    return max(abs(r[name] - d.rings.area / 1e12) for r in rivals for name, d in drawn.items())


def in_process(
    jobs: dict[int, Path], rounds: int, full: bool, limits: Limits
) -> dict[tuple[str, int], float]:
    """Print the table of what one running program needs; return the medians, s."""
    cadquery = importlib.util.find_spec("cadquery") is not None
    parts: dict[int, list[tuple[float, float, float]]] = {n: [] for n in jobs}
    times: dict[tuple[str, int], list[float]] = {}
    wall: dict[tuple[str, int], list[float]] = {}
    for n, path in jobs.items():
        task = box_rivals.Task.read(path)
        subjects = {"shapely": box_rivals.shapely_rival, "lean": box_rivals.lean_rival}
        if cadquery and n <= CADQUERY_MOST:
            subjects["cadquery"] = box_rivals.cadquery_rival
        if not full:
            subjects = {k: f for k, f in subjects.items() if (k, n) not in SLOW}
        run = ours(path)
        for turn in range(rounds):
            gc.collect()  # nobody pays for another's garbage, nor for the caches that it emptied
            run()
            begun = time.perf_counter()
            parts[n].append(run())
            wall.setdefault(("ours", n), []).append(time.perf_counter() - begun)
            for name, rival in subjects.items():
                most = 1 if (name, n) in SLOW else 3 if name == "cadquery" and n > 11 else rounds
                if turn < most:
                    gc.collect()
                    if times.get((name, n), [1.0])[-1] < WARM_S:
                        rival(task, None)
                    begun, shown = time.process_time(), time.perf_counter()
                    rival(task, None)
                    times.setdefault((name, n), []).append(time.process_time() - begun)
                    wall.setdefault((name, n), []).append(time.perf_counter() - shown)
    median = {key: statistics.median(values) for key, values in times.items()}
    rows = []
    for n, measured in parts.items():
        solved, drawn, proved = (statistics.median(c) for c in zip(*measured, strict=True))
        median["ours", n] = own = statistics.median(map(sum, measured))
        usual, lean, cq = (median.get((k, n)) for k in ("shapely", "lean", "cadquery"))
        rows.append(
            [
                *(str(n), ms(solved), ms(drawn), ms(proved), f"**{ms(own)}**"),
                *(ms(usual), ratio(usual, own), ms(lean), ratio(lean, own)),
                *(ms(cq), ratio(cq, own)),
            ]
        )
    print("## In process\n")
    print(
        "Solve, compensate, exact proof, against outlines, kerf, check of the assembly; no files. CPU "
        "milliseconds.\n"
    )
    table(
        [
            *("segments an edge", "solve", "compensate", "proof", "**ours**"),
            *("shapely + manifold3d", "of ours", "the same, lean check", "of ours"),
            *("cadquery", "of ours"),
        ],
        rows,
    )
    clock = {key: statistics.median(values) for key, values in wall.items()}
    rows = []
    for n in jobs:
        our, their, least = (clock.get((k, n)) for k in ("ours", "shapely", "lean"))
        rows.append([str(n), ms(our), ms(their), ratio(their, our), ms(least), ratio(least, our)])
    print(
        "By the clock, milliseconds: manifold3d works in several threads, all of which CPU time counts; "
        "ours is one thread. Other work on the machine counts here.\n"
    )
    table(
        [
            *("segments an edge", "ours", "shapely + manifold3d", "of ours"),
            *("the same, lean check", "of ours"),
        ],
        rows,
    )
    few = {key: len(v) for key, v in times.items() if len(v) < rounds}
    if few:
        print("Fewer rounds: " + ", ".join(f"{k} at {n}: {m}" for (k, n), m in few.items()) + ".\n")
    if not full:
        print("The rival at 1001 (most of a minute a run) is left to `--full`.\n")
    limits.most("in process at 11", 1e3 * median["ours", 11], 10, " ms")
    for n, wanted in ((11, 10), (201, 150)):
        own = median["ours", n]
        limits.least(
            f"faster than shapely + manifold3d at {n}", median["shapely", n] / own, wanted, "x"
        )
    growth = math.log(median["ours", 1001] / median["ours", 201]) / math.log(1001 / 201)
    limits.most("growth exponent, 201 to 1001", growth, 1.15)
    return median


# --- whole processes ----------------------------------------------------------------------------


def environment(folder: Path) -> dict[str, str]:
    """The environment of every child: with bytecode kept, as in an installed package."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return env | {"PYTHONPYCACHEPREFIX": str(folder / "bytecode")}


def command() -> list[str]:
    """The command ``boxjoint`` of this interpreter, or the module where it is not installed."""
    script = Path(sys.executable).parent / "boxjoint"
    return [str(script)] if script.exists() else [sys.executable, "-m", "boxjoint"]


def cold(jobs: dict[int, Path], folder: Path, rounds: int, full: bool, limits: Limits) -> None:
    """Print the table of whole processes: CPU seconds and peak memory."""
    python = sys.executable
    rival = [python, str(HERE / "box_rivals.py")]
    ask: dict[str, tuple[list[str], str, int]] = {
        "bare": ([python, "-c", "pass"], "", rounds),
        "imports": ([python, "-c", "import numpy, ezdxf"], "", rounds),
    }
    for n, path in jobs.items():
        out = folder / f"ours-{n}"
        ask[f"ours {n}"] = ([*command(), "build", str(path), "--out", str(out)], str(out), rounds)
        for name in ("shapely", "lean"):
            if full or (name, n) not in SLOW:
                out = folder / f"{name}-{n}"
                most = 1 if (name, n) in SLOW else rounds
                ask[f"{name} {n}"] = ([*rival, name, str(path), str(out)], str(out), most)
    done = subprocess.run(
        [python, "-I", "-S", str(HERE / "cold.py")],
        input=json.dumps({"env": environment(folder), "rounds": rounds, "jobs": ask}),
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"a child failed: {done.stderr.strip()}")
    measured: dict[str, list[tuple[float, float]]] = json.loads(done.stdout)
    cpu = {k: statistics.median(c for c, _ in v) for k, v in measured.items()}
    peak = {k: max(m for _, m in v) for k, v in measured.items()}
    base = cpu["imports"]
    rows = [
        [
            "`python -c pass`",
            f"{cpu['bare']:.3f}",
            ratio(cpu["bare"], base),
            "-",
            f"{peak['bare']:.0f}",
        ],
        ["`import numpy, ezdxf`", f"{base:.3f}", "1x", "-", f"{peak['imports']:.0f}"],
    ]
    words = {
        "ours": "`boxjoint build`",
        "shapely": "shapely + ezdxf + manifold3d",
        "lean": "the same, lean check",
    }
    for n in jobs:
        own = cpu[f"ours {n}"]
        for name, text in words.items():
            key = f"{name} {n}"
            if key in cpu:
                of = "1x" if name == "ours" else ratio(cpu[key], own)
                rows.append(
                    [
                        f"{n}: {text}",
                        f"{cpu[key]:.3f}",
                        ratio(cpu[key], base),
                        of,
                        f"{peak[key]:.0f}",
                    ]
                )
    print("## Whole processes, cold\n")
    print(
        "From the job file to DXF with its proof. Ours is the real command and also writes SVG, one "
        "drawing of all panels and two reports; the rivals write six DXF files. CPU seconds.\n"
    )
    table(["process", "CPU s", "of the imports", "of ours", "peak MB"], rows)
    for n in jobs:
        if f"shapely {n}" in cpu:
            for name in ("shapely", "lean"):
                limits.most(
                    f"cold at {n}, of {words[name]}", cpu[f"ours {n}"] / cpu[f"{name} {n}"], 1, "x"
                )
    limits.most("cold at 11, of importing numpy and ezdxf", cpu["ours 11"] / base, 1.5, "x")
    limits.most("peak memory at 1001", peak["ours 1001"], 90, " MB")
    _loads(jobs[11], folder, limits)


def _loads(path: Path, folder: Path, limits: Limits) -> None:
    """Look at what the command loads: no solid kernel, and pint only where a value needs it."""
    program = "import sys; sys.argv[0] = 'boxjoint'; from boxjoint.cli.main import run; run()"
    done = subprocess.run(
        [
            *(sys.executable, "-X", "importtime", "-c", program),
            *("build", str(path), "--out", str(folder / "loads")),
        ],
        env=environment(folder),
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {
        line.rsplit("|", 1)[1].strip().split(".")[0]
        for line in done.stderr.splitlines()
        if line.startswith("import time:")
    }
    if "ezdxf" not in loaded:
        raise SystemExit("the list of what was loaded could not be read")
    for name in ("cadquery", "OCP", "pint"):
        limits.said(f"loads {name}", "yes" if name in loaded else "no", "no", name not in loaded)


# --- faults -------------------------------------------------------------------------------------


def faults(solution: Solution, seed: int, solid: bool, limits: Limits) -> None:
    """Print what the proofs say of planted faults."""
    import box_faults

    depths = (1, 1_000, 1_000_000)
    rows, exact, kernel = [], [], []
    for planted in box_faults.plant(solution, np.random.default_rng(seed), depths):
        said = box_faults.by_exact(planted)
        exact.append(not said.startswith(("NOT", "WRONG")))
        by_solid = "not asked below 1 um"
        if planted.depth >= 1_000:
            by_solid = box_faults.by_solid(planted) if solid else "left out"
            if by_solid and solid:
                kernel.append(not by_solid.startswith(("NOT", "WRONG", "refused")))
        size = f"{planted.depth / 1e6:.6f}".rstrip("0").rstrip(".")
        rows.append(
            [f"{planted.name}: {planted.panel}, {size} mm", said, by_solid or "not installed"]
        )
    print("## Planted faults\n")
    print(f"Seed {seed}, at 11 segments an edge; sizes along x, y, z in mm.\n")
    table(["planted", "exact proof", "solid proof"], rows)
    limits.said(
        "faults found by the exact proof with their exact size",
        f"{sum(exact)} of {len(exact)}", "all", all(exact),
    )  # fmt: skip
    if kernel:
        limits.said(
            "faults of 1 um or more found by the solid proof",
            f"{sum(kernel)} of {len(kernel)}", "all", all(kernel),
        )  # fmt: skip


def machine() -> str:
    """What the figures were measured on and with."""
    names = ("numpy", "ezdxf", "shapely", "manifold3d", "cadquery")
    found = []
    for name in names:
        try:
            found.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            found.append(f"{name} not installed")
    load = os.getloadavg()[0]
    return (
        f"Python {platform.python_version()}, {', '.join(found)}; {os.cpu_count()} cores, "
        f"load {load:.1f} at the start."
    )


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=9, help="interleaved rounds (default 9)")
    parser.add_argument("--seed", type=int, default=1, help="of the planted faults (default 1)")
    parser.add_argument(
        "--full", action="store_true", help="also the rival at 1001: four minutes more"
    )
    parser.add_argument(
        "--no-solid", action="store_true", help="leave out the solid proof of faults"
    )
    args = parser.parse_args()
    limits = Limits()
    folder = Path(tempfile.mkdtemp(prefix="boxjoint-bench-"))
    try:
        jobs = {n: folder / f"box-{n}.toml" for n in COUNTS}
        for n, path in jobs.items():
            path.write_text(JOB.format(n=n))
        print("# A closed box of 300 x 200 x 120 mm, t = 6, kerf 0.1, clearance 0\n")
        print(f"{machine()} Medians of {args.rounds} interleaved rounds.\n", flush=True)
        # before anything else is loaded here: the rivals' libraries are not ours
        cold(jobs, folder, args.rounds, args.full, limits)
        in_process(jobs, args.rounds, args.full, limits)
        apart = same_job(
            jobs[11],
            box_rivals.Task.read(jobs[11]),
            importlib.util.find_spec("cadquery") is not None,
        )
        limits.most("drawn areas at 11, ours less a rival's", apart, 1e-3, " mm2")
        job = read_job(jobs[11])
        faults(solve(box_arrangement(job), tab_ask(job)), args.seed, not args.no_solid, limits)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print("## Limits\n")
    table(
        ["what", "figure", "limit", "holds"],
        [[what, f, limit, "yes" if holds else "**NO**"] for what, f, limit, holds in limits.rows],
    )
    sys.exit(0 if all(holds for *_, holds in limits.rows) else 1)


if __name__ == "__main__":
    main()
