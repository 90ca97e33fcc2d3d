"""What is believed from the shop book: the book through the filter of test_shop_filter.py."""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from strategies import shop_histories

from boxjoint.errors import BookError
from boxjoint.gauge.assumed import KerfPrior
from boxjoint.gauge.estimate import fit_kerf
from boxjoint.job.records import Source
from boxjoint.shop import records as rec
from boxjoint.shop.assumed import Assumed, Motion
from boxjoint.shop.book import Book
from boxjoint.shop.exchange import export_toml, import_file
from boxjoint.shop.hand import advise
from boxjoint.shop.learn import Belief, believe, history
from boxjoint.shop.likelihood import Observation, Term
from boxjoint.shop.observe import GaugeObserver, gauge_readings

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ASKED = rec.Settings(at=AT, speed=10, speed_unit="mm/s", power_percent=60, lens="2 in")
#: A machine that walks by 0.02 mm a job and never jumps: what it does to +- can be told by hand.
WALKS = Assumed(
    motions=(Motion(name="walks", weight=1.0, walk_mm=0.02),), jump_rate=0, difference_walk=0
)


# ---- the book through the filter -------------------------------------------------------------


@dataclass
class Shop:
    """A book with one machine, for a school science room's slide trays; all of it invented."""

    book: Book
    rng: np.random.Generator
    kerf: tuple[float, float] = (0.143, 0.217)
    scale: tuple[float, float] = (1.0011, 0.9992)

    def sheet(self, thickness: float = 3.0, material: str = "birch ply") -> str:
        readings = (thickness, thickness + 0.02)
        return self.book.append(rec.Sheet(at=AT, material=material, thickness_mm=readings)).id

    def place(self, sheet: str = "", made: rec.Settings = ASKED) -> dict[str, str]:
        known = self.book.append(made).id
        return {"machine": "bench laser", "sheet": sheet or self.sheet(), "settings": known}

    def gauge(
        self, days: float, place: dict[str, str], axes: str = "xy", **more: float
    ) -> rec.GaugeSession:
        """The full gauge read once, with noise of the sizes that the estimator assumes."""
        rows = []
        for axis in axes:
            i = "xy".index(axis)
            k, s = self.kerf[i] + more.get("step", 0.0), self.scale[i]
            for form, d, m, n, c in (
                ("stack", (72.0, 50.0)[i], -8, 8, "w"),
                ("window", (72.0, 50.0)[i], 1, 0, "w"),
                ("plug", (100.0, 60.0)[i], -1, 0, "o"),
                ("strip", 300.0, -1, 0, "s"),
            ):
                edges = 0.0 if c == "w" else self.rng.normal(0, 0.028)
                gap = 0.008 * (n - 1) if n else 0
                u = 0.05 if form == "strip" else None
                values = tuple(
                    float(d * s + m * k + gap + edges + self.rng.normal(0, u or 0.025))
                    for _ in range(1 if u else 2)
                )
                rows.append(
                    rec.Reading(
                        form=form,
                        axis=axis,
                        drawn_mm=d,
                        values_mm=values,
                        slices=n,
                        contour=c + axis,
                        u_mm=u,
                    )
                )
        return rec.GaugeSession(at=AT + timedelta(days=days), readings=tuple(rows), **place)

    def box(self, days: float, place: dict[str, str], **more: object) -> rec.BoxResult:
        values = {"kerf_x_mm": 0.143, "kerf_y_mm": 0.217, "fit": "ok", **more}
        return rec.BoxResult(at=AT + timedelta(days=days), **place, **values)

    def ask(
        self,
        days: float,
        thickness: float = 3.0,
        material: str = "birch ply",
        made: rec.Settings = ASKED,
        **more: object,
    ) -> Belief:
        now = AT + timedelta(days=days)
        return believe(self.book, "bench laser", material, thickness, made, now, **more)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    book = Book.open(tmp_path / "book.sqlite")
    book.append(rec.Machine(at=AT, name="bench laser"))
    return Shop(book=book, rng=np.random.default_rng(1))


def same(one: Belief, two: Belief) -> bool:
    """Equal to rounding: the sum of the same steps in another grouping."""
    pairs = [(one.kerf_x, two.kerf_x), (one.kerf_y, two.kerf_y), (one.scale_x, two.scale_x)]
    close = all(
        a is None
        if b is None
        else a is not None and np.allclose((a.value, a.u), (b.value, b.u), rtol=1e-9)
        for a, b in pairs
    )
    rest = ("readings", "gauges", "boxes", "last", "age_jobs", "thickness_mm", "flags")
    return close and all(getattr(one, n) == getattr(two, n) for n in rest)


def test_nothing_is_believed_of_an_empty_book(shop: Shop) -> None:
    belief = shop.ask(0)
    assert (belief.kerf_x, belief.kerf_y, belief.covariance) == (None, None, None)
    assert belief.scale_x.source is Source.ASSUMED
    assert belief.scale_x.value == 1.0
    assert advise(belief, "snug").gauge
    assert belief.nearest is None
    assert belief.readings == 0
    with Book.open(shop.book.path.with_name("none"), write=False) as none:
        assert believe(none, "any", "card", 2, ASKED, AT).kerf_x is None


def test_one_gauge(shop: Shop) -> None:
    place = shop.place()
    session = shop.gauge(1, place)
    shop.book.append(session)
    belief = shop.ask(2)
    assert belief.kerf_x is not None
    assert belief.kerf_y is not None
    assert belief.kerf_x.source is belief.scale_x.source is Source.MEASURED
    assert abs(belief.kerf_x.value - 0.143) < 3 * belief.kerf_x.u
    assert abs(belief.kerf_y.value - 0.217) < 3 * belief.kerf_y.u
    assert abs(belief.scale_x.value - 1.0011) < 3 * belief.scale_x.u
    assert (belief.readings, belief.gauges, belief.boxes) == (14, 1, 0)
    assert belief.last == AT + timedelta(days=1)
    assert belief.age_days == 1
    assert belief.age_jobs == pytest.approx(1 / 7)
    assert belief.thickness_mm == (3.01, 3.01)
    assert belief.flags == ()
    assert belief.nearest is None
    # the estimator with the book's prior gives the same, when nothing has aged and nothing is shared
    wide = Assumed(
        motions=(Motion(name="stands still", weight=1.0, walk_mm=0.0),),
        spreads=((1e-9, 1.0),),
        kerf_u_mm=0.15,
        difference_u_mm=0.12,
        scale_u=2e-3,
        gauge_u_mm=0,
        jump_rate=0,
    )
    same_prior = shop.ask(2, assumed=wide)
    fit = fit_kerf(gauge_readings(session.readings), KerfPrior.assumed())
    for figure, estimate in ((same_prior.kerf_x, fit.kerf_x), (same_prior.kerf_y, fit.kerf_y)):
        assert figure is not None
        # the estimate averages over slips of the hand that the book leaves out as less than 1 in 1000
        assert figure.value == pytest.approx(estimate.value, abs=2e-4)
        assert figure.u == pytest.approx(estimate.u, rel=0.05)


def test_a_kerf_of_another_record_is_named_and_never_given(shop: Shop) -> None:
    shop.book.append(shop.gauge(1, shop.place()))
    for belief, word in (
        (shop.ask(2, thickness=4.0), r"thickness (3.01 mm, asked 4.00 mm)"),
        (shop.ask(2, material="Acrylic"), "material (birch ply)"),
        (shop.ask(2, made=replace(ASKED, lens="4 in")), "lens (2 in, asked 4 in)"),
        (shop.ask(2, made=replace(ASKED, speed=8)), "speed (10 mm/s, asked 8 mm/s)"),
        (shop.ask(2, made=replace(ASKED, focus_mm=1.5)), "focus (not recorded, asked 1.5 mm)"),
    ):
        assert belief.kerf_x is None
        assert belief.covariance is None
        assert belief.nearest is not None
        assert belief.nearest.differs == (word,)
        assert f"another {word}" in str(belief.nearest)
        # scale belongs to the machine
        assert belief.scale_x.source is Source.MEASURED
    shop.book.append(rec.Machine(at=AT, name="small laser"))
    other = believe(shop.book, "small laser", "birch ply", 3.0, ASKED, AT + timedelta(days=2))
    assert other.kerf_x is None
    assert other.scale_x.source is Source.ASSUMED
    assert other.nearest is not None
    assert other.nearest.differs == ("machine (bench laser)",)
    # spelling and a new sheet within reach do not make another record
    assert shop.ask(2, material=" Birch  PLY").kerf_x is not None
    assert shop.ask(2, thickness=3.2).kerf_x is not None
    assert shop.ask(2, made=replace(ASKED, name="other", speed=600, speed_unit="mm/min")).kerf_x


def test_one_axis_and_one_stack_are_said_to_be_little(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(1, place, axes="x"))
    belief = shop.ask(1)
    assert [f.name for f in belief.flags] == ["ONE_AXIS", "NOT_DETERMINED"]
    assert "kerf_y was never read" in belief.flags[0].text
    assert belief.kerf_x and belief.kerf_y
    # that both kerfs are alike is no reading
    assert belief.kerf_x.source is Source.MEASURED
    assert belief.kerf_y.source is Source.ASSUMED
    assert belief.kerf_y.u > 0.1
    assert advise(belief, "snug").gauge
    plug = rec.Reading(form="plug", axis="x", drawn_mm=40, values_mm=(39.85,))
    other = shop.place(shop.sheet(6.0))
    shop.book.append(rec.GaugeSession(at=AT, readings=(plug,), **other))
    one = shop.ask(1, thickness=6)
    assert "NOT_DETERMINED" in [f.name for f in one.flags]
    assert one.kerf_x is not None
    assert one.kerf_x.source is Source.ASSUMED


def test_time_work_and_steps_are_told(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(1, place))
    fresh, later = shop.ask(1), shop.ask(100)
    assert fresh.kerf_x
    assert later.kerf_x
    a = Assumed()
    assert later.kerf_x.u > 2 * fresh.kerf_x.u
    assert [advise(b, "snug").gauge for b in (fresh, later)] == [False, True]
    assert later.kerf_x.value == pytest.approx(fresh.kerf_x.value, abs=1e-9)
    walked = [shop.ask(days, assumed=WALKS).kerf_x for days in (1, 100)]
    assert walked[0] and walked[1]
    assert walked[1].u ** 2 == pytest.approx(walked[0].u ** 2 + 99 / 7 * 0.02**2, rel=1e-6)
    shop.book.append(
        rec.Service(at=AT + timedelta(days=2), machine="bench laser", what="lens cleaned")
    )
    serviced = shop.ask(2)
    assert serviced.kerf_x
    # after work on the lens the old reading says little
    assert [f.name for f in serviced.flags] == ["SERVICE", "NOT_DETERMINED"]
    assert serviced.kerf_x.u > 0.9 * a.service_kerf_u_mm
    # the past is not rewritten by what came later
    assert same(shop.ask(1), fresh)
    shop.book.append(shop.gauge(3, place))
    assert shop.ask(3).flags == ()
    stepped = shop.book.append(shop.gauge(4, place, step=0.07)).id
    belief = shop.ask(5)
    (flag,) = belief.flags
    assert (flag.name, flag.entry, flag.at) == ("STEP", stepped, AT + timedelta(days=4))
    assert belief.kerf_x
    assert belief.kerf_x.value == pytest.approx(0.213, abs=0.02)


def test_readings_that_fit_no_history_are_named(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(1, place))
    strip = rec.Reading(form="strip", axis="x", drawn_mm=300, values_mm=(299.0,), u_mm=0.05)
    entry = shop.book.append(
        rec.GaugeSession(at=AT + timedelta(days=1), readings=(strip,), **place)
    )
    before, belief = shop.ask(1), shop.ask(1.01)
    (flag,) = belief.flags
    assert (flag.name, flag.entry) == ("MISFIT", entry.id)
    assert "(strip x 300) do not agree with what was known of this machine" in flag.text
    assert before.kerf_x and belief.kerf_x
    assert belief.kerf_x.value == pytest.approx(0.143, abs=0.02)
    assert belief.kerf_x.u < 0.014


def test_a_kerf_that_no_beam_has_is_never_a_measured_one(shop: Shop) -> None:
    # the same gauge as if the kerf had been nothing: nothing was cut through, or plugs for holes
    shop.kerf = np.array([0.004, 0.04])
    place = shop.place()
    shop.book.append_all(shop.gauge(n, place) for n in range(3))
    belief = shop.ask(3)
    assert belief.kerf_x and belief.kerf_y
    assert belief.kerf_x.value < 0.01
    assert (belief.kerf_x.source, belief.kerf_y.source) == (Source.ASSUMED, Source.MEASURED)
    assert not belief.is_kerf
    assert [f.name for f in belief.flags] == ["NO_KERF"]
    assert "that is no kerf" in belief.flags[0].text
    # nor is it offered as the nearest of another sheet
    assert shop.ask(3, thickness=6.0).nearest is None


def test_age_counts_hours_if_known_else_jobs_or_days(shop: Shop) -> None:
    place = shop.place()
    a = Assumed()
    shop.book.append(replace(shop.gauge(1, place), cut_hours=100.0))
    shop.book.append(
        rec.Service(
            at=AT + timedelta(days=30),
            machine="bench laser",
            what="looked at",
            affects="scale",
            cut_hours=103.0,
        )
    )
    base, idle = shop.ask(1, assumed=WALKS), shop.ask(30, assumed=WALKS)
    assert base.kerf_x
    assert idle.kerf_x
    # three hours of cutting in 29 days: three jobs' worth, not four
    assert idle.age_jobs == pytest.approx(3 / a.hours_per_job)
    assert idle.kerf_x.u**2 - base.kerf_x.u**2 == pytest.approx(3 * 0.02**2, rel=1e-6)
    for n in range(4):
        log = rec.JobLog(
            at=AT + timedelta(days=31, hours=n),
            order="ab"[n // 2],
            machine="bench laser",
            settings=place["settings"],
        )
        shop.book.append(log)
    # one day (and a service without hours after it), then two orders of two entries each
    aged = shop.ask(31.2).age_jobs
    assert aged == pytest.approx(3 + 1 / 7 + 1 + 1 / 24 / 7 + 1 + (31.2 - 31 - 0.125) / 7, rel=1e-6)


def test_what_is_struck_out_does_not_count(shop: Shop) -> None:
    place = shop.place()
    sessions = [shop.gauge(n, place) for n in range(5)]
    spoiled = replace(
        sessions[2],
        readings=(
            *sessions[2].readings,
            rec.Reading(form="plug", axis="x", drawn_mm=40, values_mm=(39.2,)),
        ),
    )
    shop.book.append_all([*sessions[:2], *sessions[3:]])
    without = shop.ask(9)
    shop.book.append(sessions[2])
    clean = shop.ask(9)
    one = rec.content_id(sessions[2])
    shop.book.strike(one, reason="other sheet", at=AT)
    assert same(shop.ask(9), without)
    bad = shop.book.append(spoiled).id
    assert not same(shop.ask(9), clean)
    strike = shop.book.strike(bad, row=len(spoiled.readings), reason="misread", at=AT)
    assert same(shop.ask(9), clean)
    shop.book.strike(strike.id, reason="it was right", at=AT)
    assert not same(shop.ask(9), clean)
    # a struck sheet takes its gauges with it
    shop.book.strike(place["sheet"], reason="was 4 mm", at=AT)
    assert shop.ask(9).kerf_x is None


def test_readings_that_the_estimator_refuses_are_kept_and_told(shop: Shop) -> None:
    place = shop.place()
    shop.book.append(shop.gauge(0, place))
    before = shop.ask(2)
    inches = rec.Reading(form="plug", axis="x", drawn_mm=40, values_mm=(1.569,))
    shop.book.append(rec.GaugeSession(at=AT, readings=(inches,), **place))
    belief = shop.ask(2)
    assert [f.name for f in belief.flags] == ["REFUSED"]
    assert "row 1" in belief.flags[0].text
    assert belief.kerf_x == before.kerf_x
    assert belief.gauges == 1


def test_boxes_teach_scale_and_kerf(shop: Shop) -> None:
    place = shop.place()
    rng = shop.rng
    boxes = []
    for n in range(30):
        insides = []
        for axis, i in (("x", 0), ("y", 1), ("x", 0)):
            asked = float(rng.uniform(60, 350))
            # cut for kerf 0.2 and scale 1; the true ones are the shop's
            cut = (asked + 0.2) * shop.scale[i] - shop.kerf[i] + 0.024 + rng.normal(0, 0.03)
            insides.append(
                rec.InsideReading(axis=axis, asked_mm=asked, measured_mm=float(cut), u_mm=0.03)
            )
        boxes.append(
            shop.box(n, place, kerf_x_mm=0.2, kerf_y_mm=0.2, insides=tuple(insides), fit="")
        )
    shop.book.append_all(boxes)
    belief = shop.ask(30)
    assert belief.kerf_x
    assert (belief.boxes, belief.gauges, belief.readings) == (30, 0, 90)
    assert abs(belief.scale_x.value - 1.0011) < 3 * belief.scale_x.u < 0.0006
    assert abs(belief.scale_y.value - 0.9992) < 3 * belief.scale_y.u
    assert abs(belief.kerf_x.value - 0.143) < 3 * belief.kerf_x.u
    # a verdict tells of the hand first: what it wants is not known, so the kerf hardly moves
    tight = shop.book.append(shop.box(31, place, fit="tight", kerf_x_mm=0.2, kerf_y_mm=0.2))
    pressed = shop.ask(32)
    assert pressed.kerf_x and pressed.wish
    assert belief.kerf_x.value - 0.5 * belief.kerf_x.u < pressed.kerf_x.value
    assert pressed.wish.value > 0.02 and not pressed.wish.combed
    assert pressed.readings == belief.readings
    shop.book.strike(tight.id, reason="dried glue", at=AT)
    assert same(shop.ask(30), belief)


def test_the_sequence_of_appending_and_a_journey_through_a_file_change_nothing(
    shop: Shop, tmp_path: Path
) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    records = [shop.gauge(n / 3, place if n % 3 else other) for n in range(20)]
    records += [shop.box(n + 0.1, place) for n in range(3)]
    shop.book.append_all(records[::-1])
    belief = shop.ask(9)
    with Book.open(tmp_path / "second") as second:
        export_toml(shop.book, tmp_path / "a.toml")
        import_file(second, tmp_path / "a.toml")
        assert same(replace_book(shop, second).ask(9), belief)


def replace_book(shop: Shop, book: Book) -> Shop:
    return Shop(book=book, rng=shop.rng, kerf=shop.kerf, scale=shop.scale)


def test_what_is_remembered_is_what_would_be_computed(shop: Shop) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    records: list[rec.Record] = [shop.gauge(n, other if n % 4 == 3 else place) for n in range(24)]
    records += [shop.box(n + 0.5, place) for n in range(6)]
    for record in records:
        shop.book.append(record)
        with_memory = shop.ask(40)
    families = {f for (f,) in shop.book._db.execute("SELECT family FROM derived")}
    assert {f.split()[0] for f in families} == {"gauge", "repeats", "state"}
    with shop.book._writing():
        shop.book._db.execute("DELETE FROM derived")
    assert same(shop.ask(40), with_memory)
    # an old reading struck out, a new old reading, other sizes: all of it is computed afresh
    old = rec.content_id(records[2])
    shop.book.strike(old, row=1, reason="misread", at=AT)
    shop.book.append(shop.gauge(0.25, place))
    struck = shop.ask(40)
    assert not same(struck, with_memory)
    wide = shop.ask(40, assumed=Assumed(jump_mm=0.02))
    with shop.book._writing():
        shop.book._db.execute("DELETE FROM derived")
    assert same(shop.ask(40), struck)
    assert same(shop.ask(40, assumed=Assumed(jump_mm=0.02)), wide)
    # what was remembered badly is not believed
    with shop.book._writing():
        shop.book._db.execute("UPDATE derived SET body = '{}' WHERE family LIKE 'state%'")
    assert same(shop.ask(40), struck)


@dataclass(frozen=True)
class Biased:
    """An estimator that has another opinion: 0.1 mm more kerf."""

    version: str = "biased"

    def steadier(self, squares_mm2: float, repeats: int) -> Biased:
        return self

    def __call__(self, session: rec.GaugeSession) -> Observation:
        (seen, *_) = GaugeObserver()(session).terms
        info = np.array(seen.info)
        vector = np.array(seen.vector) + info @ [0.1, 0.1, 0, 0]
        return Observation(terms=(Term(info=seen.info, vector=tuple(vector.tolist())),))


def test_a_better_estimator_improves_old_data(shop: Shop) -> None:
    place = shop.place()
    shop.book.append_all(shop.gauge(n, place) for n in range(12))
    before = shop.ask(12)
    other = shop.ask(12, observer=Biased())
    assert before.kerf_x
    assert other.kerf_x
    # the prior pulls a little
    assert other.kerf_x.value - before.kerf_x.value == pytest.approx(0.1, abs=0.005)
    assert same(shop.ask(12), before)
    assert GaugeObserver().version == GaugeObserver().version


def test_progress_and_an_interruption(shop: Shop) -> None:
    place = shop.place()
    shop.book.append_all(shop.gauge(n, place) for n in range(20))
    calls = []

    def stop(done: int, total: int) -> None:
        calls.append((done, total))
        if done == 12:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        shop.ask(30, progress=stop)
    assert calls == [(n, 20) for n in range(1, 13)]
    calls.clear()
    assert shop.ask(30, progress=lambda done, total: calls.append((done, total))).gauges == 20
    # what had been computed before the interruption was kept
    assert len(calls) <= 9


def test_the_kerf_of_a_record_over_time(shop: Shop) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    shop.book.append_all(shop.gauge(n, place, step=0.07 * (n > 5)) for n in range(10))
    shop.book.append(shop.gauge(3.5, other))
    points = history(shop.book, "bench laser", "birch ply", 3.0, ASKED, AT + timedelta(days=20))
    assert [p.at for p in points] == [AT + timedelta(days=n) for n in range(10)]
    assert [p.flags for p in points] == [()] * 6 + [("STEP",)] + [()] * 3
    for n, point in enumerate(points):
        then = shop.ask(n)
        assert then.kerf_x
        # the hand is as steady as all repeats show it today
        assert point.kerf_x == pytest.approx(then.kerf_x.value, abs=5e-4)
        assert point.u_kerf_x == pytest.approx(then.kerf_x.u, rel=0.05)
    assert history(shop.book, "bench laser", "card", 3.0, ASKED, AT) == ()


def test_the_combs_of_a_record_come_with_the_kerfs_of_their_days(shop: Shop) -> None:
    place, other = shop.place(), shop.place(shop.sheet(5.0))
    verdicts = tuple(
        rec.Verdict(x_mm=-0.5 + 0.1 * n, verdict=v) for n, v in enumerate(rec.VERDICTS)
    )
    shop.book.append(shop.gauge(0, place))
    rounds = [
        rec.CombRound(
            at=AT + timedelta(hours=n),
            axis="xy"[n % 2],
            round=n,
            verdicts=verdicts,
            **(other if n == 2 else place),
        )
        for n in (1, 2, 3, 4, 5)
    ]
    ids = [a.id for a in shop.book.append_all(rounds)]
    shop.book.strike(ids[2], row=2, reason="slipped", at=AT)
    shop.book.strike(ids[3], reason="other glue", at=AT)
    for row in range(1, 5):
        shop.book.strike(ids[4], row=row, reason="tried wet", at=AT)
    shop.book.append(shop.gauge(60, place, step=0.1))
    belief = shop.ask(60)
    assert belief.combs and belief.kerf_x and belief.kerf_y
    assert [r.round for r in belief.combs.rounds] == [1, 3]
    assert belief.combs.rounds[1].verdicts == (verdicts[0], *verdicts[2:])
    # the kerfs of the combs' days (both along y) are not today's, which has moved by 0.1
    mean, _ = belief.combs.outlook.moments()
    assert mean[:2] == pytest.approx([0.217] * 2, abs=0.02)
    assert mean[2:] == pytest.approx([0.243, 0.317], abs=0.02)
    none = believe(shop.book, "bench laser", "card", 3.0, ASKED, AT)
    assert none.combs is None


@given(records=shop_histories())
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_book_can_be_asked_anything(records: list[rec.Record]) -> None:
    with tempfile.TemporaryDirectory() as folder, Book.open(Path(folder) / "b") as book:
        book.append_all(records)
        before = hashlib.sha256(repr(book.entries()).encode()).hexdigest()
        now = datetime(2027, 6, 1, tzinfo=UTC)
        for name in book.machine_names():
            try:
                belief = believe(book, name, "birch ply", 3.0, ASKED, now)
            except BookError as error:
                # readings without any sense may overthrow the arithmetic; that is said
                assert "cannot be computed" in str(error)
                continue
            assert (belief.kerf_x is None) == (belief.readings == 0)
            assert belief.scale_x.u > 0
        assert hashlib.sha256(repr(book.entries()).encode()).hexdigest() == before
