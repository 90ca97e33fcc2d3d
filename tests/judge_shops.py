"""A judge of what the shop book believes: shops with a hidden truth, written from the world alone.

Nothing here knows how the book reckons. A shop has a beam (kerf along X and Y for each material, moving as
it likes), a machine (scale, backlash), a caliper and a hand that holds it (jaws, gap between slices, scatter), and
a hand that tries joints (the clearances *as cut* at which a slot lets a tab in, slides, rattles). It cuts gauges,
combs and boxes, reads and tries them, and writes into a book what a maker would write. Then the book's figures are
held against the truth. Sizes are invented, and differ from what the book takes for granted (docs/what-belongs-to-what.md).
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from boxjoint.shop import records as rec
from boxjoint.shop.bench import comb_to_cut
from boxjoint.shop.book import Book
from boxjoint.shop.learn import Belief, believe
from boxjoint.shop.measured import Found, measured_for

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
DAY = timedelta(days=1)
PLY = "birch plywood"


@dataclass
class Judged:
    """Pairs of (error, stated 95 % half-width) by figure, and how often each flag was raised."""

    pairs: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    flags: dict[str, int] = field(default_factory=dict)
    shops: int = 0

    def add(self, name: str, error: float, half_width: float) -> None:
        self.pairs.setdefault(name, []).append((error, half_width))

    def covered(self, name: str) -> float:
        error, half = np.array(self.pairs[name]).T
        return float((np.abs(error) <= half).mean())

    def line(self, name: str) -> str:
        error, half = np.array(self.pairs[name]).T
        return (
            f"{name} {100 * self.covered(name):.0f} %, bias {error.mean():+.3f}, "
            f"rms {np.sqrt((error**2).mean()):.3f}, U {np.median(half):.3f}"
        )


class Shop:
    """One shop; lengths in mm. ``want``: the clearance as cut of this hand's snug fit."""

    def __init__(
        self,
        rng: np.random.Generator,
        *,
        kerf: tuple[float, float] = (0.18, 0.14),
        want: float | None = None,
        hand: float = 0.02,
        edge: float = 0.015,
        gap: float | None = None,
        jaws: float = 0.006,
        judgement: float = 0.012,
    ) -> None:
        self.rng = rng
        self.kerf = {PLY: dict(zip("xy", kerf, strict=True))}
        self.scale = {a: 1 + rng.normal(0, 8e-4) for a in "xy"}
        self.backlash = {a: rng.normal(0, 0.015) for a in "xy"}
        self.jaws = {"outside": rng.normal(0, jaws), "inside": rng.normal(0, jaws)}
        self.gap = rng.normal(0.008, 0.004) if gap is None else gap
        self.hand, self.edge, self.judgement = hand, edge, judgement
        middle = rng.normal(0, 0.05) if want is None else want
        self.theta = (
            middle - 0.1 * math.exp(0.3 * rng.normal()),
            middle,
            middle + 0.12 * math.exp(0.3 * rng.normal()),
        )
        self._folder = tempfile.TemporaryDirectory()
        self.book = Book.open(Path(self._folder.name) / "book.sqlite")
        self.settings = rec.Settings(
            at=START, name="ply3", speed=10, speed_unit="mm/s", power_percent=70
        )
        self.book.append_all([rec.Machine(at=START, name="red laser"), self.settings])
        self.sheets: dict[str, str] = {}
        self.sheet(PLY)

    def __enter__(self) -> Shop:
        return self

    def __exit__(self, *_: object) -> None:
        self.book.close()
        self._folder.cleanup()

    # -- what is in the shop

    def sheet(self, material: str, kerf: tuple[float, float] | None = None) -> None:
        """Buy a sheet of 3 mm."""
        record = rec.Sheet(at=START, material=material, thickness_mm=(3.0, 3.02), batch=material)
        self.book.append(record)
        self.sheets[material] = rec.content_id(record)
        if kerf is not None:
            self.kerf[material] = dict(zip("xy", kerf, strict=True))

    def _place(self, material: str) -> dict[str, str]:
        return {
            "machine": "red laser",
            "sheet": self.sheets[material],
            "settings": rec.content_id(self.settings),
        }

    def move(self, by: float) -> None:
        """The beam grows wider, for every material."""
        for kerf in self.kerf.values():
            for axis in "xy":
                kerf[axis] += by

    # -- gauges

    def _read(self, true: float, jaw: str) -> float:
        seen = true + self.jaws[jaw] + self.rng.normal(0, self.hand)
        return round(round(seen / 0.02) * 0.02, 2)

    def _size(self, drawn: float, axis: str) -> float:
        """A plug that was cut from a drawn size, but for its kerf: two edges, each off by a little."""
        edges = self.rng.normal(0, self.edge) + self.rng.normal(0, self.edge)
        return drawn * self.scale[axis] - self.backlash[axis] + float(edges)

    def readings(self, material: str, *, quick: bool = False) -> tuple[rec.Reading, ...]:
        """The frame of 100 x 60 with its two windows of eight slices, as its form asks."""
        rows: list[rec.Reading] = []
        for axis, other, outer, window in (("x", "y", 100.0, 72.0), ("y", "x", 60.0, 50.0)):
            k = self.kerf[material][axis]
            block = self._size(window, axis)  # the block that is sawn into slices
            stack = block - k - 7 * k + 7 * self.gap
            rows += [
                rec.Reading(form="plug", axis=axis, drawn_mm=outer, contour=f"frame {axis}",
                            values_mm=(self._read(self._size(outer, axis) - k, "outside"),)),
                rec.Reading(form="window", axis=axis, drawn_mm=window, contour=f"window {axis}",
                            values_mm=(self._read(block + k, "inside"),)),
                rec.Reading(form="stack", axis=axis, drawn_mm=window, contour=f"window {axis}", slices=8,
                            values_mm=tuple(self._read(stack, "outside") for _ in range(1 if quick else 2))),
            ]  # fmt: skip
            if not quick:
                width = self._size(12.0, axis)  # the other window's width, and its slices' length
                rows += [
                    rec.Reading(form="window", axis=axis, drawn_mm=12.0, contour=f"window {other}",
                                values_mm=(self._read(width + k, "inside"),)),
                    rec.Reading(form="plug", axis=axis, drawn_mm=12.0, contour=f"window {other}",
                                values_mm=(self._read(width - k, "outside"),)),
                ]  # fmt: skip
        return tuple(rows)

    def gauge(self, day: float, material: str = PLY, *, quick: bool = False) -> None:
        """Cut a gauge, read it and save it."""
        self.book.append(
            rec.GaugeSession(
                at=START + day * DAY,
                readings=self.readings(material, quick=quick),
                caliper_step_mm=0.02,
                **self._place(material),
            )
        )

    # -- combs and boxes

    def feel(self, drawn: float, axis: str, material: str = PLY) -> str:
        """Try one slot with its own tab: two edges of each, and a judgement."""
        cut = drawn + 2 * self.kerf[material][axis] + 2 * self.edge * self.rng.normal()
        return rec.VERDICTS[
            sum(cut + self.judgement * self.rng.normal() > limit for limit in self.theta)
        ]

    def comb(self, day: float, axis: str = "x", *, job: object = None) -> None:
        """Cut a comb where the book says, or about a usual guess, and try it."""
        at = START + day * DAY
        belief = self.belief(day)
        known = getattr(belief, f"kerf_{axis}")
        centre, step = -0.03 - 2 * (known.value if known else 0.18), 0.05
        asked = comb_to_cut(self.book, self.job, at, axis=axis, fit="snug", slots=9)
        if asked is not None:
            centre, step = asked
        places = [round(centre + (i - 4) * step, 3) for i in range(9)]
        verdicts = tuple(rec.Verdict(x_mm=x, verdict=self.feel(x, axis)) for x in places)
        self.book.append(rec.CombRound(at=at, axis=axis, verdicts=verdicts, **self._place(PLY)))

    @property
    def job(self):  # type: ignore[no-untyped-def]
        """A box for notebooks that leaves kerf and clearance to the book."""
        from boxjoint.job.records import Inside, Job, ShopAsk, Stock, Thickness

        return Job(
            title="Box for notebooks",
            unit="mm",
            inside=Inside(length=152_000_000, width=109_000_000, height=60_000_000),
            stock=Stock(
                material=PLY, thickness=Thickness(readings=(3_000_000, 3_020_000), measured=True)
            ),
            shop=ShopAsk(machine="red laser", sheet=PLY, settings="ply3"),
        )

    def log_box(self, day: float, word: str, used: tuple[float, float], aimed: float) -> None:
        """Note how a box felt."""
        self.book.append(
            rec.BoxResult(
                at=START + day * DAY,
                kerf_x_mm=used[0],
                kerf_y_mm=used[1],
                clearance_mm=aimed,
                fit=word,
                **self._place(PLY),
            )
        )

    def service(self, day: float) -> None:
        """The lens is cleaned, and that is logged."""
        self.book.append(
            rec.Service(at=START + day * DAY, machine="red laser", what="lens cleaned")
        )

    # -- what the book says

    def belief(self, day: float, material: str = PLY) -> Belief:
        return believe(self.book, "red laser", material, 3.01, self.settings, START + day * DAY)

    def found(self, day: float) -> Found:
        return measured_for(self.book, self.job, START + day * DAY)

    # -- judging

    def judge_kerf(self, out: Judged, day: float, material: str = PLY, tag: str = "") -> None:
        """Hold kerf and scale against the truth."""
        belief = self.belief(day, material)
        for axis in "xy":
            kerf, scale = getattr(belief, f"kerf_{axis}"), getattr(belief, f"scale_{axis}")
            out.add(f"kerf {axis}{tag}", kerf.value - self.kerf[material][axis], 2 * kerf.u)
            out.add(f"scale {axis}{tag}", 1e3 * (scale.value - self.scale[axis]), 2e3 * scale.u)
        for name in {f.name for f in belief.flags}:
            out.flags[name] = out.flags.get(name, 0) + 1
        out.shops += 1

    def judge_box(self, out: Judged, day: float) -> list[float]:
        """Hold the clearance, the joints and the inside of the next box against the truth.

        Returns how far each joint lies from what the hand wants, as cut by the true beam.
        """
        from boxjoint.fit.plan import plan_cut

        found = self.found(day)
        plan = plan_cut(self.job, ["a", "b"], [("a", "b", 3)], found.measured)
        wanted = self.theta[1]
        if plan.clearance.uncertainty is not None:
            out.add("clearance", plan.clearance.value - wanted, 2 * plan.clearance.uncertainty)
        misses = []
        true, drawn = self.kerf[PLY], (plan.kerf_x.value, plan.kerf_y.value)
        for a, b in ((0, 0), (0, 1), (1, 1)):
            cut = plan.clearance.value
            cut += sum(true["xy"[i]] - drawn[i] for i in (a, b))
            misses.append(cut - wanted)
            stated = plan.joint_u_mm(a, b)
            if stated is not None and plan.clearance.uncertainty is not None:
                out.add(f"joint {'xy'[a]}{'xy'[b]}", cut - wanted, 2 * stated)
        for i, (axis, length) in enumerate((("x", 152.0), ("y", 109.0))):
            scale = (plan.scale_x.value, plan.scale_y.value)[i]
            # a panel's shoulders, drawn for the kerf and the scale believed, cut by the true ones
            held = (length + drawn[i]) / scale * self.scale[axis] - true[axis] - self.backlash[axis]
            held += float(self.rng.normal(0, self.edge) + self.rng.normal(0, self.edge)) / 2
            out.add(f"inside {axis}", held - length, 2 * plan.inside_u_mm(i, length))
        return misses


# ---- the scenarios: each takes a seeded generator and fills a Judged -----------------------------

Scenario = Callable[[np.random.Generator, Judged], None]


def old_comb(rng: np.random.Generator, out: Judged) -> None:
    """A: two combs in January at kerf 0.15; the beam is at 0.30 in April, gauged twice."""
    with Shop(rng, kerf=(0.15, 0.15), want=-0.03) as shop:
        shop.gauge(0)
        shop.comb(1)
        shop.comb(1.1)
        shop.move(0.15)
        shop.gauge(100)
        shop.gauge(101)
        shop.judge_kerf(out, 101.5)
        shop.judge_box(out, 101.5)


def two_materials(difference: float) -> Scenario:
    """B: plywood, then acrylic whose kerfs differ the other way round."""

    def scenario(rng: np.random.Generator, out: Judged) -> None:
        half = difference / 2
        with Shop(rng, kerf=(0.15 + half, 0.15 - half)) as shop:
            shop.sheet("acrylic", (0.15 - half, 0.15 + half))
            shop.gauge(0)
            shop.gauge(1, "acrylic")
            shop.judge_kerf(out, 1.5)
            shop.judge_kerf(out, 1.5, "acrylic", " acrylic")

    return scenario


def quick_forms(difference: float, times: int) -> Scenario:
    """C: quick forms on a machine whose kerfs differ."""

    def scenario(rng: np.random.Generator, out: Judged) -> None:
        half = difference / 2
        with Shop(rng, kerf=(0.20 - half, 0.20 + half)) as shop:
            for day in range(times):
                shop.gauge(day, quick=True)
            shop.judge_kerf(out, times - 0.5)

    return scenario


def flawless(rng: np.random.Generator, out: Judged) -> None:
    """D: twelve flawless readings where kerf is 0.09 along X and 0.31 along Y."""
    with Shop(rng, kerf=(0.09, 0.31)) as shop:
        shop.gauge(0)
        shop.judge_kerf(out, 0.5)


def verdicts(want: float, always: str = "") -> Scenario:
    """E: a hand that wants another clearance than the one assumed logs twelve boxes; the kerf stands still."""

    def scenario(rng: np.random.Generator, out: Judged) -> None:
        with Shop(rng, kerf=(0.15, 0.15), want=want) as shop:
            shop.gauge(0)
            for n in range(12):
                day = 0.5 + 0.5 * n
                belief = shop.belief(day)
                used = (belief.kerf_x.value, belief.kerf_y.value)
                miss = -0.03 + 2 * 0.15 - sum(used) - want + 0.02 * rng.normal()
                word = "tight" if miss < -0.03 else "loose" if miss > 0.03 else "ok"
                shop.log_box(day, always or word, used, -0.03)
            shop.judge_kerf(out, 7)

    return scenario


def plain(**more: float) -> Scenario:
    """F, H: a gauge, two combs, a box; ``more`` weakens it."""

    def scenario(rng: np.random.Generator, out: Judged) -> None:
        with Shop(rng, **more) as shop:  # type: ignore[arg-type]
            shop.gauge(0)
            shop.comb(0.1)
            shop.comb(0.2)
            shop.judge_kerf(out, 0.5)
            shop.judge_box(out, 0.5)

    return scenario


@dataclass
class Year:
    """What came of a year: joints further than 0.05 mm from what the hand wants, gauges and combs cut."""

    misses: list[float]
    gauges: int
    combs: int

    @property
    def out(self) -> float:
        return float((np.abs(self.misses) > 0.05).mean())


def year(rng: np.random.Generator, motion: str, out: Judged) -> Year:
    """G: 52 weeks, a box a week, the advice of the book followed; two combs at the start.

    ``creeps``: 0.0015 mm a day, the lens cleaned and logged every 60 days; ``wanders``: by 0.006 mm a
    week; ``still``.
    """
    with Shop(rng) as shop:
        base = {axis: shop.kerf[PLY][axis] for axis in "xy"}
        shop.gauge(0)
        shop.comb(0.1)
        shop.comb(0.2)
        done = Year(misses=[], gauges=1, combs=2)
        wander = 0.0
        for week in range(1, 53):
            day = 7 * week
            if motion == "creeps":
                if day // 60 != (day - 7) // 60:
                    shop.service(60 * (day // 60))
                shift = 0.0015 * (day % 60)
            elif motion == "wanders":
                wander += 0.006 * rng.normal()
                shift = wander
            else:
                shift = 0.0
            for axis in "xy":
                shop.kerf[PLY][axis] = base[axis] + shift
            advice = shop.found(day).advice
            if advice is None or advice.gauge:
                shop.gauge(day + 0.01)
                done.gauges += 1
                advice = shop.found(day + 0.02).advice
            if advice is not None and advice.comb and done.combs < 6:
                shop.comb(day + 0.03)
                done.combs += 1
            done.misses += shop.judge_box(out, day + 0.04)
            shop.judge_kerf(out, day + 0.04)
        return done


#: The rows of the table: name, scenario.
ROWS: dict[str, Scenario] = {
    "A old comb, kerf 0.15 to 0.30": old_comb,
    "B two materials, differences alike": two_materials(0.0),
    "B two materials, +0.02 and -0.02": two_materials(0.02),
    "B two materials, +0.04 and -0.04": two_materials(0.04),
    "C quick form, X and Y differ by 0.12": quick_forms(0.12, 1),
    "C quick form, 0.22": quick_forms(0.22, 1),
    "C five quick forms, 0.22": quick_forms(0.22, 5),
    "D flawless full form, 0.22": flawless,
    "E verdicts, hand wants +0.08": verdicts(0.08),
    "E verdicts, always tight": verdicts(-0.03, "tight"),
    "F H gauge, two combs, box": plain(),
    "H as the page assumes": plain(hand=0.025, edge=0.02),
    "H steady hand, sharp edges": plain(hand=0.012, edge=0.01),
    "H shaky hand, rough edges": plain(hand=0.04, edge=0.03),
    "H gaps of 0.020": plain(gap=0.020),
    "H gaps of 0.003": plain(gap=0.003),
    "H jaws +-0.03": plain(jaws=0.03),
    "H judgement 0.06": plain(judgement=0.06),
}


def judged(scenario: Scenario, shops: int, seed: int) -> Judged:
    """Run a scenario in so many shops."""
    out = Judged()
    for number in range(shops):
        scenario(np.random.default_rng([seed, number]), out)
    return out
