"""Cut sequences of 50 to 2000 contours: travel and CPU time beside the nearest neighbour.

Run ``python bench/cut_sequence.py`` (see ``bench/README.md``); it prints Markdown on stdout and leaves
with 1 where a limit does not hold. All times are CPU time.

A sheet of 600 x 400 mm is cut up at random into parts with slots; two thirds of all contours are
rectangular holes in them. The nearest neighbour goes from the first vertex of a cut to the nearest
first vertex of one that may come next, within the same bounds. Every sequence of ours is proved by the
checker within the time shown.
"""

from __future__ import annotations

import math
import random
import sys
import time

import numpy as np

from boxjoint.sheet.cuts import Cut, CutKind, SequenceAsk, Step
from boxjoint.sheet.sequence import cut_sequence, must_precede, travel_mm

MM = 1_000_000
SHEET = (600 * MM, 400 * MM)
COUNTS = (50, 200, 500, 1000, 2000)
LEAST_SAVED, MOST_SECONDS = 0.30, 3.0

Box = tuple[int, int, int, int]  # x, y, width, height, nm


def slotted(box: Box, depth: int) -> np.ndarray:
    """A rectangle with one or two slots in each side, counter-clockwise."""
    x, y, w, h = box
    points: list[tuple[int, int]] = []
    sides = ((x, y, 1, 0, w), (x + w, y, 0, 1, h), (x + w, y + h, -1, 0, w), (x, y + h, 0, -1, h))
    for cx, cy, dx, dy, length in sides:
        n = 3 if length < 40 * MM else 5
        points.append((cx, cy))
        for k in range(1, n):
            at = k * (length // n)
            rows = (0, depth) if k % 2 else (depth, 0)
            points += [(cx + dx * at - dy * r, cy + dy * at + dx * r) for r in rows]
    return np.array(points, dtype=np.int64)


def contours(n: int, seed: int) -> list[Cut]:
    """``n`` contours on one sheet, two thirds of them inner."""
    rng = random.Random(seed)
    parts = round(n / 3)
    boxes: list[Box] = [(0, 0, *SHEET)]
    while len(boxes) < parts:
        boxes.sort(key=lambda b: (b[2] * b[3], b))
        x, y, w, h = boxes.pop()
        share = rng.uniform(0.35, 0.65)
        a = int(max(w, h) * share)
        boxes += (
            [(x, y, a, h), (x + a, y, w - a, h)] if w >= h else [(x, y, w, a), (x, y + a, w, h - a)]
        )
    holes = [0] * parts
    for _ in range(n - parts):
        holes[rng.randrange(parts)] += 1
    cuts = []
    for part, (x, y, w, h) in enumerate(boxes):
        x, y, w, h = x + MM, y + MM, w - 2 * MM, h - 2 * MM
        t = min(3 * MM, min(w, h) // 8)
        cuts.append(Cut(path=slotted((x, y, w, h), t), kind=CutKind.OUTER, part=part))
        across = math.ceil(holes[part] ** 0.5)
        cells = [(i, j) for i in range(across) for j in range(across)]
        rng.shuffle(cells)
        for i, j in cells[: holes[part]]:
            cw, ch = (w - 2 * t) // across, (h - 2 * t) // across
            a, b = int(cw * rng.uniform(0.3, 0.8)), int(ch * rng.uniform(0.3, 0.8))
            left = x + t + i * cw + int((cw - a) * rng.random())
            low = y + t + j * ch + int((ch - b) * rng.random())
            ring = [(left, low), (left + a, low), (left + a, low + b), (left, low + b)]
            cuts.append(Cut(path=np.array(ring, dtype=np.int64), kind=CutKind.INNER, part=part))
    return cuts


def nearest_neighbour(cuts: list[Cut]) -> float:
    """Travel of the nearest neighbour, mm."""
    missing, after = [0] * len(cuts), [[] for _ in cuts]  # type: ignore[var-annotated]
    for a, b in must_precede(cuts).tolist():
        missing[b] += 1
        after[a].append(b)
    first = np.array([c.path[0] for c in cuts]) / MM
    barred = np.where(np.array(missing) > 0, np.inf, 0.0)
    place, steps = np.zeros(2), []
    for _ in cuts:
        i = int((((first - place) ** 2).sum(axis=1) + barred).argmin())
        barred[i], place = np.inf, first[i]
        steps.append(Step(cut=i, entry=0))
        for j in after[i]:
            missing[j] -= 1
            if not missing[j]:
                barred[j] = 0.0
    return travel_mm(cuts, steps)


def main() -> int:
    """Print the table; 1 where a limit does not hold."""
    print("# Cut sequences\n")
    print(
        "| contours | nearest neighbour, mm | heat weight, mm | travel, mm | saved | close followers | CPU s |"
    )
    print("|--:|--:|--:|--:|--:|--:|--:|")
    bad = 0
    for n in COUNTS:
        cuts = contours(n, 1)
        plain = nearest_neighbour(cuts)
        for weight in (0.0, SequenceAsk().heat_weight):
            begin = time.process_time()
            found = cut_sequence(cuts, SequenceAsk(heat_weight=weight))
            seconds = time.process_time() - begin
            saved = 1 - found.travel_mm / plain
            bad += saved < LEAST_SAVED or (n == 2000 and seconds > MOST_SECONDS)
            close = str(found.close_followers) if weight else ""
            print(
                f"| {n} | {plain:.0f} | {weight:g} | {found.travel_mm:.0f} | {saved:.0%} | {close} | {seconds:.2f} |",
                flush=True,
            )
    print(
        f"\nLimits: with and without heat spread at least {LEAST_SAVED:.0%} saved; 2000 contours in {MOST_SECONDS:g} s."
    )
    print("All hold." if not bad else f"{bad} do not hold.")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
