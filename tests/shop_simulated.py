"""A simulated shop with a hidden truth: it reads a gauge, tries combs, and cuts a box.

What is hidden: the kerf along X and along Y, the scale of both axes, the taper, and for every shop of
a row its own backlash, jaws, gap between slices and hand (thresholds of the verdicts). Readings come
from ``gauge_shop``, which knows the gauge by its words and not by the estimator's rows; the box is cut
by the virtual cut with the true beam, and measured panel by panel.

``python tests/shop_simulated.py`` writes the invented forms of fixtures/readings again.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from gauge_shop import Truth, take

from boxjoint.check.as_cut import inside_as_cut, joints_as_cut
from boxjoint.check.built import Built
from boxjoint.fit.compensate import Beam, virtual_cut
from boxjoint.fit.tabs import clearance_for_joint
from boxjoint.gauge.comb import Slot, Verdict
from boxjoint.gauge.comb_pieces import STEP_MM, fit_comb
from boxjoint.gauge.for_job import first_centre_mm, usual_tab
from boxjoint.gauge.form import form_csv
from boxjoint.gauge.kerf_gauge import kerf_gauge
from boxjoint.gauge.pieces import GaugePiece, GaugeStock
from boxjoint.gauge.readings import Reading
from boxjoint.gauge.strips import strips
from boxjoint.job.figures import COVERAGE
from boxjoint.job.read import read_job
from boxjoint.job.records import Job, PerAxis
from boxjoint.make import build
from boxjoint.shop import records as rec
from boxjoint.shop.bench import book_readings, book_verdicts, comb_to_cut
from boxjoint.shop.book import Book
from boxjoint.shop.learn import Belief
from boxjoint.shop.measured import measured_for

READINGS = Path(__file__).resolve().parents[1] / "fixtures" / "readings"
JOB = READINGS / "notebook-box.toml"

#: The hidden truth of the issue, mm.
KERF = {"x": 0.143, "y": 0.217}
SCALE = {"x": 1.0011, "y": 0.9992}
TAPER = 0.06

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
_EDGE = 0.02
_FUZZ = 0.012


@dataclass(frozen=True, kw_only=True)
class Shop:
    """One shop: the bench's truth, and the clearances as cut at which its verdicts change."""

    truth: Truth
    theta: np.ndarray

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Shop:
        """The issue's machine; its nuisances and its hand as the assumed sizes have them."""
        truth = Truth(
            kerf=KERF,
            scale=SCALE,
            backlash={a: rng.normal(0, 0.02) for a in "xy"},
            zero_outside=rng.normal(0, 0.010),
            zero_inside=rng.normal(0, 0.010),
            gap=rng.normal(0.008, 0.006),
            taper=TAPER,
        )
        theta2 = rng.normal(0, 0.10)
        theta = [
            theta2 - 0.10 * math.exp(0.35 * rng.normal()),
            theta2,
            theta2 + 0.12 * math.exp(0.35 * rng.normal()),
        ]
        return cls(truth=truth, theta=np.array(theta))

    def wanted_mm(self, fit: str) -> float:
        """The clearance as cut that this hand wants for a fit."""
        t1, t2, t3 = self.theta
        return float({"press": (t1 + t2) / 2, "snug": t2, "slip": (t2 + t3) / 2}[fit])

    def beam(self) -> Beam:
        """What really cuts."""
        return Beam(
            kerf=PerAxis(x=self.truth.kerf["x"], y=self.truth.kerf["y"]),
            scale=PerAxis(x=self.truth.scale["x"], y=self.truth.scale["y"]),
        )

    def read(self, piece: GaugePiece, rng: np.random.Generator) -> tuple[Reading, ...]:
        """Read every row of a piece as often as its form asks."""
        return take(
            tuple(
                r.reading([r.drawn_mm if r.form != "difference" else 0.0] * r.times)
                for r in piece.rows
            ),
            self.truth,
            rng,
            edge=_EDGE,
        )

    def try_comb(self, piece: GaugePiece, rng: np.random.Generator) -> tuple[Slot, ...]:
        """Try every slot of a comb with its own tab: two edges of a slot, two of a tab, the hand."""
        out = []
        for row in piece.slots:
            cut = row.x_mm + 2 * self.truth.kerf[piece.axis] + 2 * _EDGE * rng.normal()
            felt = int((cut + _FUZZ * rng.normal() > self.theta).sum())
            out.append(Slot(x_mm=row.x_mm, verdict=Verdict(felt)))
        return tuple(out)


def job() -> Job:
    """The box that is made; its kerf and clearance are left to the book."""
    return read_job(JOB)


def stock(asked: Job, belief: Belief | None = None) -> GaugeStock:
    """The job's stock, with the kerf of the book if it has one."""
    more = {}
    if belief is not None and belief.kerf_x is not None and belief.kerf_y is not None:
        more["kerf"] = PerAxis(x=round(belief.kerf_x.value, 6), y=round(belief.kerf_y.value, 6))
    return GaugeStock(
        material=asked.stock.material, thickness_mm=asked.stock.thickness.nm / 1e6, **more
    )


def fill(book: Book, asked: Job) -> tuple[str, str]:
    """Machine, sheet and settings of the job, into the book; returns their ids."""
    sheet = rec.Sheet(
        at=AT,
        material=asked.stock.material,
        thickness_mm=tuple(nm / 1e6 for nm in asked.stock.thickness.readings),
        batch=asked.shop.sheet,
    )
    settings = rec.Settings(
        at=AT, name=asked.shop.settings, speed=700, speed_unit="mm/min", power_percent=80
    )
    machine = rec.Machine(at=AT, name=asked.shop.machine)
    _, a, b = book.append_all([machine, sheet, settings])
    return a.id, b.id


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One shop's box: errors and what was stated, mm.

    ``insides`` and ``clearances``: (error, stated expanded uncertainty) for each panel that holds
    the inside, and for each joint.
    """

    insides: tuple[tuple[float, float], ...]
    clearances: tuple[tuple[float, float], ...]
    combs: int


def cut_box(shop: Shop, built: Built, belief: Belief, fit: str) -> Outcome:
    """Cut the drawn panels by the true beam and measure them."""
    beam = shop.beam()
    cut = [virtual_cut(p.drawn.rings, beam, name=p.panel.name) for p in built.parts]
    solution = built.solution
    insides = []
    for block in solution.arrangement.insides:
        for held in inside_as_cut(solution, block, cut):
            for name, nm in held.by_panel.items():
                k = _drawing_axis(built, name, held.axis)
                length = held.asked / 1e6
                # the inside that a panel holds: by its kerf, its scale and what a contour shrinks by
                error = (nm - held.asked) / 1e6 - shop.truth.backlash["xy"[k]]
                insides.append((error, COVERAGE * built.plan.inside_u_mm(k, length)))
    clearances = []
    for joint, tabs in zip(joints_as_cut(solution, cut), solution.tabs, strict=True):
        if not joint.flanks:
            continue
        wanted = clearance_for_joint(shop.wanted_mm(fit), max(len(tabs.lo), 3))
        middle = (joint.least + joint.greatest) / 2e6
        of = solution.joints[joint.joint]
        a, b = (_drawing_axis(built, solution.panels[p].name, of.axis) for p in (of.a, of.b))
        stated = built.plan.joint_u_mm(a, b)
        # a comb that says too little leaves the clearance assumed: nothing is stated, nothing held
        clearances.append((middle - wanted, math.inf if stated is None else COVERAGE * stated))
    return Outcome(insides=tuple(insides), clearances=tuple(clearances), combs=0)


def _drawing_axis(built: Built, panel: str, axis: int) -> int:
    """Whether a world axis lies along the drawing's X (0) or Y (1) of a panel (the design's frame)."""
    normal = built.solution.panel(panel).slab.normal
    return 0 if axis == (1 if normal == 0 else 0) else 1


def run_shop(book: Book, rng: np.random.Generator, *, fit: str = "snug", combs: int = 1) -> Outcome:
    """From an empty book to a box: gauge and strips, combs, build, cut."""
    shop = Shop.drawn(rng)
    asked = job()
    asked = replace(asked, joint=replace(asked.joint, fit=fit))
    sheet, settings = fill(book, asked)
    place = {"machine": asked.shop.machine, "sheet": sheet, "settings": settings}
    for minutes, piece in enumerate((kerf_gauge(stock(asked)), strips(stock(asked)))):
        readings = book_readings(shop.read(piece, rng))
        book.append(
            rec.GaugeSession(at=AT + timedelta(minutes=minutes), readings=readings, **place)
        )
    advice = measured_for(book, asked, AT + timedelta(minutes=10)).advice
    if advice is not None and advice.gauge:
        # the book says that a gauge is worth its wood: read one again
        piece = kerf_gauge(stock(asked), quick=True)
        readings = book_readings(shop.read(piece, rng))
        book.append(rec.GaugeSession(at=AT + timedelta(minutes=11), readings=readings, **place))
    solution = build(asked).solution
    width, _, _ = usual_tab(solution)
    for number in range(1, combs + 1):
        at = AT + timedelta(hours=number)
        found = comb_to_cut(book, asked, at, axis="x", fit=fit, slots=9)
        belief = measured_for(book, asked, at).belief
        if found is None:
            known = stock(asked, belief)
            found = first_centre_mm(known, fit, "x", slots=9, step_mm=STEP_MM), STEP_MM
        comb = fit_comb(stock(asked), tab_width_mm=width, centre_mm=found[0], step_mm=found[1])
        verdicts = book_verdicts(shop.try_comb(comb, rng))
        book.append(rec.CombRound(at=at, axis="x", verdicts=verdicts, round=number, **place))
    now = AT + timedelta(hours=combs + 1)
    known_now = measured_for(book, asked, now)
    built = build(asked, measured=known_now.measured)
    built.require()
    if known_now.belief is None:
        raise AssertionError("the book believes nothing")
    return replace(cut_box(shop, built, known_now.belief, fit), combs=combs)


# ---- the invented forms ------------------------------------------------------------------------

NOTE = "INVENTED readings of a simulated shop; nobody cut this"
_SEED = 20_261


def filled(piece: GaugePiece, values: dict[int, tuple[float, ...]], words: dict[int, str]) -> str:
    """The CSV form of a piece, filled in."""
    out = []
    section = ""
    facts = {"note": NOTE, "machine": "red laser", "sheet": "A7", "settings": "ply3"}
    facts["caliper_step"] = "0.02" if piece.rows else ""
    for cells in csv.reader(io.StringIO(form_csv(piece))):
        if cells and cells[0] in ("row", "slot"):
            section = cells[0]
        elif section == "row" and cells:
            for i, value in enumerate(values.get(int(cells[0]), ())):
                cells[2 + i] = f"{value:.2f}"
        elif section == "slot" and cells:
            cells[1] = words.get(int(cells[0]), "")
        elif cells and cells[0] in facts:
            cells[1] = facts[cells[0]]
        out.append(cells)
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(out)
    return stream.getvalue()


def invented(folder: Path) -> Iterator[tuple[str, str]]:
    """Name and text of every invented form, as one shop would have filled them in.

    ``folder`` is for a book that is thrown away.
    """
    rng = np.random.default_rng(_SEED)
    shop = Shop.drawn(rng)
    # this hand wants what makers of plywood boxes usually want
    shop = replace(shop, theta=np.array([-0.13, -0.03, 0.09]))
    asked = job()
    with Book.open(folder / "invented.sqlite") as book:
        sheet, settings = fill(book, asked)
        place = {"machine": asked.shop.machine, "sheet": sheet, "settings": settings}
        for name, piece in (
            ("kerf-gauge", kerf_gauge(stock(asked))),
            ("quick-gauge", kerf_gauge(stock(asked), quick=True)),
            ("strips", strips(stock(asked))),
        ):
            readings = shop.read(piece, rng)
            values = {r.row: v.values_mm for r, v in zip(piece.rows, readings, strict=True)}
            yield f"{name}.csv", filled(piece, values, {})
            if name == "kerf-gauge":
                session = rec.GaugeSession(
                    at=AT, readings=book_readings(readings), caliper_step_mm=0.02, **place
                )
                book.append(session)
        built = build(asked, measured=measured_for(book, asked, AT).measured)
        width, length, _ = usual_tab(built.solution)
        plan = built.plan
        known = replace(stock(asked), kerf=PerAxis(x=plan.kerf_x.value, y=plan.kerf_y.value))
        for number in (1, 2):
            at = AT + timedelta(hours=number)
            found = comb_to_cut(book, asked, at, axis="x", fit="snug", slots=9)
            if found is None:
                found = first_centre_mm(known, "snug", "x", slots=9, step_mm=STEP_MM), STEP_MM
            comb = fit_comb(
                known,
                tab_width_mm=width,
                mate_thickness_mm=length,
                centre_mm=found[0],
                step_mm=found[1],
            )
            slots = shop.try_comb(comb, rng)
            words = {i: Verdict(s.verdict or 0).name.lower() for i, s in enumerate(slots, 1)}
            yield f"comb-{number}.csv", filled(comb, {}, words)
            book.append(
                rec.CombRound(at=at, axis="x", verdicts=book_verdicts(slots), round=number, **place)
            )


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as spare:
        for form_name, text in invented(Path(spare)):
            (READINGS / form_name).write_text(text, encoding="utf-8")
            print(READINGS / form_name)
