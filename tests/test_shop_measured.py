"""What the book gives to a job: measured figures with all that belongs to them, or nothing at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import shop_simulated as simulated
from click.testing import CliRunner
from scipy import stats

from boxjoint.cli.box import build, check
from boxjoint.errors import BookError
from boxjoint.export.report import report as boxjoint_report
from boxjoint.gauge.comb import Verdict
from boxjoint.gauge.kerf_gauge import kerf_gauge
from boxjoint.gauge.strips import strips
from boxjoint.job.records import Job, PerAxis, ShopAsk, Source
from boxjoint.make import build as make
from boxjoint.shop import records as rec
from boxjoint.shop.bench import (
    agreement,
    book_readings,
    comb_to_cut,
    find_place,
    prior_of,
    twice,
)
from boxjoint.shop.book import Book
from boxjoint.shop.learn import believe
from boxjoint.shop.measured import find_settings, find_sheet, measured_for

AT = simulated.AT
DAY = timedelta(days=1)


class Bench:
    """A book with the job's place in it, and a hand that fills it."""

    def __init__(self, path: Path) -> None:
        self.book = Book.open(path)
        self.job = simulated.job()
        sheet, settings = simulated.fill(self.book, self.job)
        self.place = {"machine": self.job.shop.machine, "sheet": sheet, "settings": settings}
        self.rng = np.random.default_rng(11)
        self.shop = simulated.Shop.drawn(self.rng)

    def gauge(self, at: datetime = AT, **place: str) -> str:
        readings = self.shop.read(kerf_gauge(simulated.stock(self.job)), self.rng)
        session = rec.GaugeSession(
            at=at, readings=book_readings(readings), **{**self.place, **place}
        )
        return self.book.append(session).id

    def comb(self, at: datetime, words: str, centre: float = -0.31, **more: object) -> str:
        count = len(words.split())
        verdicts = tuple(
            rec.Verdict(x_mm=round(centre + 0.05 * (i - (count - 1) / 2), 6), verdict=word)
            for i, word in enumerate(words.split())
        )
        values: dict[str, object] = {"axis": "x", **self.place, **more}
        return self.book.append(
            rec.CombRound(at=at, verdicts=verdicts, **values)  # type: ignore[arg-type]
        ).id

    def found(self, at: datetime = AT + DAY, job: Job | None = None):  # type: ignore[no-untyped-def]
        return measured_for(self.book, job or self.job, at)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "book.sqlite")


COMB = "no no press press slides slides slides loose loose"


# ---- figures -----------------------------------------------------------------------------------


def test_an_empty_book_gives_nothing_and_says_what_would_measure_it(bench: Bench) -> None:
    found = bench.found()
    assert found.measured.kerf_x is None
    assert found.measured.clearance is None
    assert any("boxjoint gauge draw kerf" in n for n in found.notes)


def test_no_machine_no_look(bench: Bench) -> None:
    bench.gauge()
    found = bench.found(job=replace(bench.job, shop=ShopAsk()))
    assert (found.measured.kerf_x, found.notes, found.belief) == (None, (), None)


def test_kerf_and_scale_are_measured_with_all_that_belongs_to_it(bench: Bench) -> None:
    bench.gauge()
    piece = strips(simulated.stock(bench.job))
    readings = book_readings(bench.shop.read(piece, bench.rng))
    bench.book.append(rec.GaugeSession(at=AT, readings=readings, **bench.place))
    found = bench.found(AT)
    for axis in "xy":
        kerf = getattr(found.measured, f"kerf_{axis}")
        assert kerf.source is Source.MEASURED
        assert abs(kerf.value - simulated.KERF[axis]) < 4 * kerf.uncertainty < 0.05
        assert "2026-03-02, 2 gauges" in kerf.note
        assert bench.job.shop.machine in kerf.note
        # 12 values and the two turned stacks, and the three of the strips
        assert kerf.readings == 17
        scale = getattr(found.measured, f"scale_{axis}")
        assert abs(scale.value - simulated.SCALE[axis]) < 4 * scale.uncertainty < 3e-3
    assert found.advice is not None and not found.advice.gauge


def test_an_old_kerf_is_less_sure_and_asks_for_a_gauge(bench: Bench) -> None:
    bench.gauge()
    fresh, old = bench.found(AT), bench.found(AT + 70 * DAY)
    # one gauge does not tell how this kerf moves: ten weeks later it may be anywhere near
    assert old.measured.kerf_x.uncertainty > 2 * fresh.measured.kerf_x.uncertainty
    assert fresh.measured.kerf_x.value == pytest.approx(old.measured.kerf_x.value, abs=1e-6)
    assert fresh.advice and not fresh.advice.gauge and "not needed" in fresh.advice.text
    assert not any("read a gauge first" in n for n in fresh.notes)
    said = [n for n in old.notes if "read a gauge first" in n]
    assert len(said) == 1 and "--quick" in said[0]
    assert old.advice and old.advice.gauge and "70 days after the last reading" in old.advice.text


def test_a_kerf_that_was_seen_to_stand_still_is_left_in_peace(bench: Bench) -> None:
    for weeks in (0, 2, 8, 20):
        bench.gauge(AT + weeks * 7 * DAY)
    found = bench.found(AT + 30 * 7 * DAY)
    assert found.advice and not found.advice.gauge
    assert "the kerf of this machine stands still" in found.advice.text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda b: {"sheet": b.book.append(rec.Sheet(at=AT, material="birch plywood", thickness_mm=(4.0,))).id}, "another thickness"),
        (lambda b: {"sheet": b.book.append(rec.Sheet(at=AT, material="acrylic", thickness_mm=(3.02,))).id}, "another material"),
        (lambda b: {"settings": b.book.append(rec.Settings(at=AT, speed=700, speed_unit="mm/min", power_percent=80, lens="4 in")).id}, "lens (4 in, asked not recorded)"),
        (lambda b: {"settings": b.book.append(rec.Settings(at=AT, speed=900, speed_unit="mm/min", power_percent=80)).id}, "speed (15 mm/s, asked"),
        (lambda b: {"machine": b.book.append(rec.Machine(at=AT, name="blue laser")) and "blue laser"}, "another machine (blue laser)"),
    ],
)  # fmt: skip
def test_a_kerf_of_another_place_is_named_and_never_used(
    bench: Bench, change: Callable[[Bench], dict[str, str]], said: str
) -> None:
    bench.gauge(**change(bench))
    found = bench.found()
    assert found.measured == type(found.measured)()
    (note,) = [n for n in found.notes if "NOT used" in n]
    assert said in note


def test_an_axis_that_was_never_read_is_assumed(bench: Bench) -> None:
    stack = rec.Reading(
        form="stack", axis="x", drawn_mm=72, values_mm=(71.0,), slices=8, contour="w"
    )
    window = rec.Reading(form="window", axis="x", drawn_mm=72, values_mm=(72.22,), contour="w")
    bench.book.append(rec.GaugeSession(at=AT, readings=(stack, window), **bench.place))
    found = bench.found(AT)
    assert found.measured.kerf_x.source is Source.MEASURED
    assert found.measured.kerf_y.source is Source.ASSUMED
    assert found.measured.kerf_y.standing == "ASSUMED"
    assert any("kerf_y was never read" in n for n in found.notes)


def test_readings_that_say_little_of_the_kerf_leave_it_assumed(bench: Bench) -> None:
    strip = rec.Reading(form="strip", axis="x", drawn_mm=300, values_mm=(299.9,), u_mm=0.05)
    bench.book.append(rec.GaugeSession(at=AT, readings=(strip,), **bench.place))
    found = bench.found(AT)
    for kerf in (found.measured.kerf_x, found.measured.kerf_y):
        assert kerf.standing == "ASSUMED"
        assert "boxjoint gauge draw kerf" in kerf.note
    assert any("NOT_DETERMINED" in n for n in found.notes)


def test_a_struck_gauge_no_longer_counts(bench: Bench) -> None:
    identity = bench.gauge()
    assert bench.found().measured.kerf_x is not None
    bench.book.strike(identity, reason="caliper not closed", at=AT)
    assert bench.found().measured.kerf_x is None


def test_what_is_read_later_is_not_known_yet(bench: Bench) -> None:
    bench.gauge(AT + 3 * DAY)
    assert bench.found(AT + DAY).measured.kerf_x is None
    assert bench.found(AT + 3 * DAY).measured.kerf_x is not None


# ---- clearance ---------------------------------------------------------------------------------


def test_a_comb_gives_the_clearance_as_cut(bench: Bench) -> None:
    bench.gauge()
    bench.comb(AT, COMB)
    figure = bench.found(AT).measured.clearance
    assert figure is not None and figure.source is Source.MEASURED
    kerf = bench.found(AT).measured.kerf_x.value
    # the verdict changes from press to slides between x -0.36 and -0.31
    assert figure.value - 2 * kerf == pytest.approx(-0.335, abs=0.02)
    assert 0.01 < figure.uncertainty < 0.04
    assert figure.readings == 9
    assert "1 comb along x, 2026-03-02, by the kerf of that day" in figure.note


def test_more_combs_make_it_surer_and_the_next_one_narrower(bench: Bench) -> None:
    assert comb_to_cut(bench.book, bench.job, AT, axis="x", fit="snug", slots=9) is None
    bench.gauge()
    bench.comb(AT, COMB)
    first = bench.found(AT).measured.clearance
    centre, step = comb_to_cut(bench.book, bench.job, AT, axis="x", fit="snug", slots=9)
    assert centre == pytest.approx(-0.335, abs=0.02) and 0.02 <= step < 0.05
    # what the hand wants as cut holds along both axes: only the kerf differs
    other, _ = comb_to_cut(bench.book, bench.job, AT, axis="y", fit="snug", slots=9)
    kerfs = bench.found(AT).measured
    assert other - centre == pytest.approx(2 * (kerfs.kerf_x.value - kerfs.kerf_y.value), abs=0.003)
    bench.comb(AT + timedelta(hours=1), COMB, centre=centre, round=2)
    second = bench.found(AT + timedelta(hours=1)).measured.clearance
    assert second.uncertainty < first.uncertainty
    assert second.readings == 18


def test_each_fit_of_one_comb(bench: Bench) -> None:
    bench.gauge()
    bench.comb(AT, COMB)
    found = []
    for fit in ("press", "snug", "glue", "slip", "loose"):
        job = replace(bench.job, joint=replace(bench.job.joint, fit=fit))
        found.append(bench.found(AT, job).measured.clearance.value)
    press, snug, glue, slip, loose = found
    assert press < snug < slip < loose
    assert glue == pytest.approx(snug + 0.05)  # the glue film, assumed


def test_brittle_stock_never_gets_interference(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "brittle.sqlite")
    sheet = rec.Sheet(at=AT, material="acrylic", thickness_mm=(3.02,), batch="clear")
    bench.place["sheet"] = bench.book.append(sheet).id
    bench.gauge()
    bench.comb(AT, COMB, centre=-0.45)
    job = replace(
        bench.job,
        shop=replace(bench.job.shop, sheet="clear"),
        stock=replace(bench.job.stock, material="acrylic"),
    )
    figure = bench.found(AT, job).measured.clearance
    assert figure.value == 0.0
    assert "interference refused in brittle stock" in figure.note
    centre, step = comb_to_cut(bench.book, job, AT, axis="x", fit="snug", slots=9)
    kerf = bench.found(AT, job).measured.kerf_x.value
    assert centre - 4 * step + 2 * kerf >= -0.001


def test_what_few_verdicts_say_is_used_and_too_little_is_told(bench: Bench) -> None:
    bench.gauge()
    identity = bench.comb(AT, "no press slides loose")
    four = bench.found(AT).measured.clearance
    for row in (1, 4):
        bench.book.strike(identity, reason="tile of another comb", at=AT, row=row)
    two = bench.found(AT).measured.clearance
    assert four is not None and two is not None
    # press at -0.335, slides at -0.285: the two that bracket the fit
    assert two.readings == 2
    assert two.value == pytest.approx(four.value, abs=0.02)
    assert four.uncertainty <= two.uncertainty < 0.05
    bench.book.strike(identity, reason="tile of another comb", at=AT, row=2)
    found = bench.found(AT)
    assert found.measured.clearance is None
    assert any("1 verdict on combs along x say too little of a snug fit" in n for n in found.notes)
    bench.book.strike(identity, reason="tile of another comb", at=AT, row=3)
    found = bench.found(AT)
    assert found.measured.clearance is None
    assert not any("combs" in n for n in found.notes)


def test_joints_across_the_combs_axis_are_less_sure(bench: Bench) -> None:
    bench.gauge()
    bench.comb(AT, COMB)
    found = bench.found(AT)
    assert found.belief and found.belief.covariance and found.measured.clearance
    plan = make(bench.job, measured=found.measured).plan
    own = plan.joint_u_mm(0, 0)
    # the gauge's error cancels along the comb's axis: what is drawn is surer than what is cut
    assert own < found.measured.clearance.uncertainty
    # across, the errors of kx - ky come on top, from the belief's covariance: once for each panel
    cov = np.array(found.belief.covariance)[:2, :2]
    difference = cov[0, 0] + cov[1, 1] - 2 * cov[0, 1]
    for axes, times in (((0, 1), 1), ((1, 0), 1), ((1, 1), 2)):
        wanted = np.sqrt(own**2 + times**2 * difference)
        assert plan.joint_u_mm(*axes) == pytest.approx(wanted, rel=0.06)
        assert plan.joint_u_mm(*axes) > own
    report = boxjoint_report(make(bench.job, measured=found.measured))
    stated = {j["clearance"]["uncertainty"] for j in report["joints"]}
    assert stated == {round(plan.joint_u_mm(*a), 6) for a in ((0, 0), (0, 1), (1, 1))}


def test_a_clearance_that_was_asked_or_assumed_is_as_sure_as_the_kerf(bench: Bench) -> None:
    # assumed: nobody measured the kerf, 0.06 on each panel, nearly the same error on both
    assert make(bench.job).plan.joint_u_mm(0, 0) == pytest.approx(2 * 0.06)
    assert make(bench.job).plan.joint_u_mm(0, 1) == pytest.approx(2 * 0.06 * np.sqrt(0.9))
    # asked: nobody said how it was measured, 0.015
    asked = replace(bench.job, cut=replace(bench.job.cut, kerf=PerAxis(x=0.15, y=0.2)))
    assert make(asked).plan.joint_u_mm(0, 0) == pytest.approx(2 * 0.015)
    # measured: by the belief; what was asked of the clearance adds nothing
    bench.gauge()
    measured = bench.found(AT).measured
    loose = replace(bench.job, joint=replace(bench.job.joint, fit=None, clearance=50_000))
    plan = make(loose, measured=measured).plan
    assert plan.joint_u_mm(1, 1) == pytest.approx(2 * measured.kerf_y.uncertainty, rel=1e-6)
    # a router's controller offsets by itself: nothing is known here
    router = replace(bench.job, cut=replace(bench.job.cut, kerf=None, tool=1_000_000))
    assert make(router).plan.joint_u_mm(0, 0) is None


def test_a_comb_is_carried_by_the_kerf_of_its_own_day(bench: Bench) -> None:
    """The kerf drifts from 0.143 to 0.293 after the comb: what the hand wants as cut stays."""
    bench.gauge()
    bench.comb(AT, COMB)
    before = bench.found(AT).measured
    moved = {axis: kerf + 0.15 for axis, kerf in simulated.KERF.items()}
    bench.shop = replace(bench.shop, truth=replace(bench.shop.truth, kerf=moved))
    for days in (100, 101):
        bench.gauge(AT + days * DAY)
    after = bench.found(AT + 101 * DAY).measured
    assert after.kerf_x.value - before.kerf_x.value == pytest.approx(0.15, abs=0.02)
    assert after.clearance.value == pytest.approx(before.clearance.value, abs=0.006)
    plan = make(bench.job, measured=after).plan
    assert 0.01 < plan.joint_u_mm(0, 0) < 0.035


# ---- names -------------------------------------------------------------------------------------


def test_names_that_are_not_in_the_book_are_refused_with_the_nearest(bench: Bench) -> None:
    shop = bench.job.shop
    for change, said in (
        ({"machine": "red lazer"}, "red laser"),
        ({"sheet": "no such sheet"}, "no such record"),
        ({"settings": "ply4"}, "ply3"),
    ):
        with pytest.raises(BookError, match=said):
            bench.found(job=replace(bench.job, shop=replace(shop, **change)))
    with pytest.raises(BookError, match="no sheet"):
        find_sheet(bench.book, bench.place["settings"][:8])
    assert find_sheet(bench.book, "A7").batch == "A7"


def test_settings_are_only_guessed_where_there_is_one(bench: Bench) -> None:
    job = replace(bench.job, shop=replace(bench.job.shop, settings=""))

    def settings() -> rec.Settings:
        return find_settings(bench.book, job, job.shop.machine, "birch plywood", 3.0167)

    assert settings().cutting["speed"] is None
    bench.gauge()
    assert settings().name == "ply3"
    slow = rec.Settings(at=AT, name="slow", speed=500, speed_unit="mm/min")
    bench.gauge(AT + DAY, settings=bench.book.append(slow).id)
    with pytest.raises(BookError, match=r"several settings.*ply3, slow"):
        settings()


def test_another_thickness_than_the_sheets_is_questioned(bench: Bench) -> None:
    bench.gauge()
    nm = 3_300_000
    thick = replace(bench.job.stock.thickness, readings=(nm,))
    job = replace(bench.job, stock=replace(bench.job.stock, thickness=thick))
    assert any("is it the same sheet?" in n for n in bench.found(job=job).notes)


# ---- bench and book ------------------------------------------------------------------------------


def test_a_place_is_found_or_made_once(bench: Bench) -> None:
    place = find_place(
        bench.book,
        machine="red laser",
        at=AT + DAY,
        material="Birch  Plywood",
        thickness_mm=(3.02, 3.05, 2.98),
        settings="ply3",
    )
    assert (place.sheet_id, place.settings_id) == (bench.place["sheet"], bench.place["settings"])
    assert place.new == ()
    other = find_place(
        bench.book,
        machine="red laser",
        at=AT,
        material="birch plywood",
        thickness_mm=(3.02,),
        given=rec.Settings(at=AT + DAY, speed=700 / 60, speed_unit="mm/s", power_percent=80),
    )
    assert [r.kind for r in other.new] == ["sheet"]
    assert other.settings_id == bench.place["settings"]  # the same however the speed is written
    with pytest.raises(BookError, match="other settings of that name"):
        find_place(
            bench.book,
            machine="red laser",
            at=AT,
            sheet="A7",
            settings="ply3",
            given=rec.Settings(at=AT, speed=5, speed_unit="mm/s"),
        )


def test_the_same_form_twice_is_noticed(bench: Bench) -> None:
    identity = bench.gauge()
    session = bench.book.get(identity).record
    assert isinstance(session, rec.GaugeSession)
    again = replace(session, at=AT + timedelta(hours=5))
    entry = twice(bench.book, again)
    assert entry is not None and entry.id == identity
    # so many values never come out alike by chance, whatever the date on the form
    assert twice(bench.book, replace(session, at=AT + 50 * DAY)) is not None
    few = replace(session, readings=session.readings[:1])
    bench.book.append(few)
    assert twice(bench.book, replace(few, at=AT + timedelta(hours=5))) is not None
    assert twice(bench.book, replace(few, at=AT + 2 * DAY)) is None
    first = session.readings[0]
    changed = replace(first, values_mm=(first.values_mm[0] + 0.02,))
    assert twice(bench.book, replace(again, readings=(changed, *session.readings[1:]))) is None


def test_the_belief_as_prior_and_how_readings_compare_with_it(bench: Bench) -> None:
    from boxjoint.gauge.estimate import fit_kerf

    bench.gauge()
    belief = bench.found(AT).belief
    piece = kerf_gauge(simulated.stock(bench.job), quick=True)
    readings = bench.shop.read(piece, bench.rng)
    plain = fit_kerf(readings, with_advice=False)
    prior = prior_of(belief)
    assert prior.mean[0] == belief.kerf_x.value
    assert prior.covariance[:4, :4] == pytest.approx(np.array(belief.covariance))
    together = fit_kerf(readings, prior, with_advice=False)
    assert together.kerf_x.u < min(plain.kerf_x.u, belief.kerf_x.u)
    assert all(a.agrees for a in agreement(plain, belief))
    # a lens later the kerf is 0.1 mm wider
    moved = replace(bench.shop, truth=replace(bench.shop.truth, kerf={"x": 0.243, "y": 0.317}))
    after = fit_kerf(moved.read(piece, bench.rng), with_advice=False)
    x, y = agreement(after, belief)
    assert not x.agrees and not y.agrees
    assert x.difference_mm == pytest.approx(0.1, abs=0.03)
    empty = believe(bench.book, "red laser", "oak", 5.0, rec.Settings(at=AT), AT)
    with pytest.raises(BookError):
        prior_of(empty)


# ---- build and check -----------------------------------------------------------------------------


def run(command, *words: str, code: int = 0):  # type: ignore[no-untyped-def]
    result = CliRunner().invoke(command, words)
    assert result.exit_code == code, (result.output, result.exception)
    return result


def now_in(path: Path) -> Bench:
    """A bench whose gauge and comb are of this very moment, for commands that look at the clock."""
    bench = Bench(path)
    now = datetime.now(UTC) - timedelta(minutes=1)
    bench.gauge(now)
    bench.comb(now, COMB)
    bench.book.close()
    return bench


def test_check_and_build_show_what_was_measured(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    now_in(path)
    result = run(check, str(simulated.JOB), "--book", str(path), "--json")
    figures = json.loads(result.stdout)["figures"]
    for name in ("kerf_x", "kerf_y", "scale_x", "scale_y", "clearance"):
        assert figures[name]["source"] == "measured"
        assert figures[name]["uncertainty"] > 0
    assert figures["kerf_x"]["readings"] == 14
    shown = run(check, str(simulated.JOB), "--book", str(path))
    assert "measured, 14 readings, +-" in shown.stdout
    assert f"{datetime.now(UTC):%Y-%m-%d}" in shown.stdout
    kerf = next(x for x in shown.stdout.splitlines() if x.strip().startswith("kerf x"))
    assert "ASSUMED" not in kerf
    out = tmp_path / "box"
    run(build, str(simulated.JOB), "--book", str(path), "--out", str(out))
    assert json.loads((out / "report.json").read_text())["figures"]["kerf_y"]["readings"] == 14


def test_without_readings_it_is_assumed_in_capitals_with_the_command(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    Bench(path).book.close()
    shown = run(check, str(simulated.JOB), "--book", str(path))
    line = next(x for x in shown.stdout.splitlines() if x.strip().startswith("kerf x"))
    assert "ASSUMED" in line
    assert f"boxjoint gauge draw kerf {simulated.JOB} --out gauge" in shown.stdout


def test_the_jobs_own_kerf_wins_and_the_other_is_mentioned(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    now_in(path)
    result = run(check, str(simulated.JOB), "--book", str(path), "--kerf", "0.3", "--json")
    figures = json.loads(result.stdout)["figures"]
    assert (figures["kerf_x"]["value"], figures["kerf_x"]["source"]) == (0.3, "asked")
    assert "the job's own kerf is used; the book measured" in result.stderr


@pytest.mark.parametrize(
    "words",
    [
        ["--thickness", "4.2"],
        ["--settings", "other"],
    ],
)
def test_another_sheet_or_settings_falls_back_to_assumed(tmp_path: Path, words: list[str]) -> None:
    path = tmp_path / "book.sqlite"
    bench = now_in(path)
    with Book.open(path) as book:
        book.append(rec.Settings(at=AT, name="other", speed=400, speed_unit="mm/min"))
    job = tmp_path / "job.toml"
    text = simulated.JOB.read_text().replace('sheet = "A7"\n', "")
    job.write_text(text)
    result = run(check, str(job), "--book", str(path), "--json", *words)
    figures = json.loads(result.stdout)["figures"]
    assert figures["kerf_x"]["source"] == "assumed"
    assert "NOT used" in result.stderr
    assert bench.job.shop.sheet == "A7"


# ---- the simulated shop --------------------------------------------------------------------------

SHOPS = 60


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> list[simulated.Outcome]:
    folder = tmp_path_factory.mktemp("shops")
    out = []
    for number in range(SHOPS):
        with Book.open(folder / f"{number}.sqlite") as book:
            out.append(simulated.run_shop(book, np.random.default_rng([2026, number])))
    return out


@pytest.mark.parametrize("what", ["insides", "clearances"])
def test_boxes_of_hidden_shops_fall_inside_what_was_stated(
    outcomes: list[simulated.Outcome], what: str
) -> None:
    """95 in 100 shops (bench/shop_simulated.py has the long count); scipy says how few may happen."""
    pairs = np.array([getattr(o, what) for o in outcomes])
    inside = (np.abs(pairs[..., 0]) <= pairs[..., 1]).sum(axis=0)
    # by chance alone fewer than this would come once in 1000
    assert (inside >= stats.binom.ppf(0.001, SHOPS, 0.95)).all(), inside
    # what was stated is no escape: not measured, a clearance would be uncertain by 0.2 mm (theta2
    # +- 0.10) and an inside of 152 mm by 0.6 mm (kerf +- 0.15, scale +- 2e-3; the assumed priors)
    assert np.median(pairs[..., 1]) < 0.07


@pytest.mark.parametrize("seed", [160, 57, 250, 411, 733, 902])
def test_strips_after_a_good_gauge_never_move_the_kerf(tmp_path: Path, seed: int) -> None:
    """Seed 160: strips of 300 mm far from the gauge's scale once ended at a kerf of -0.046 mm."""
    rng = np.random.default_rng([2026, seed])
    shop, asked = simulated.Shop.drawn(rng), simulated.job()
    with Book.open(tmp_path / "book.sqlite") as book:
        sheet, settings = simulated.fill(book, asked)
        place = {"machine": asked.shop.machine, "sheet": sheet, "settings": settings}
        beliefs = []
        for minutes, piece in enumerate(
            (kerf_gauge(simulated.stock(asked)), strips(simulated.stock(asked)))
        ):
            at = AT + timedelta(minutes=minutes)
            readings = book_readings(shop.read(piece, rng))
            book.append(rec.GaugeSession(at=at, readings=readings, **place))
            beliefs.append(measured_for(book, asked, at).belief)
    gauge, both = beliefs
    assert gauge and both and gauge.kerf_x and gauge.kerf_y and both.kerf_x and both.kerf_y
    assert "STEP" not in {f.name for f in both.flags}
    assert ("MISFIT" in {f.name for f in both.flags}) == (seed == 160)
    for axis, before, after in (("x", gauge.kerf_x, both.kerf_x), ("y", gauge.kerf_y, both.kerf_y)):
        assert after.value == pytest.approx(before.value, abs=0.005)
        assert after.u <= before.u
        assert abs(after.value - simulated.KERF[axis]) < 4 * after.u
    # the strips are what knows the scale
    for axis, scale in (("x", both.scale_x), ("y", both.scale_y)):
        assert abs(scale.value - simulated.SCALE[axis]) < 4 * scale.u < 0.001


def test_a_shop_that_takes_another_kerf_falls_outside(tmp_path: Path) -> None:
    """The same count fails for a box that was compensated for the assumed kerf."""
    outside = 0
    for number in range(5):
        rng = np.random.default_rng([2026, number])
        with Book.open(tmp_path / f"{number}.sqlite") as book:
            simulated.run_shop(book, rng)
            asked = simulated.job()
            found = measured_for(book, asked, AT + timedelta(hours=2))
            shop = simulated.Shop.drawn(np.random.default_rng([2026, number]))
            wrong = {
                n: replace(getattr(found.measured, n), value=0.18) for n in ("kerf_x", "kerf_y")
            }
            built = make(asked, measured=replace(found.measured, **wrong))
            assert found.belief is not None
            cut = simulated.cut_box(shop, built, found.belief, "snug")
        outside += any(abs(e) > u for e, u in cut.clearances)
    assert outside >= 4


def test_the_invented_forms_are_those_of_the_simulated_shop(tmp_path: Path) -> None:
    for name, text in simulated.invented(tmp_path):
        kept = (simulated.READINGS / name).read_text(encoding="utf-8")
        assert kept == text, f"{name} is old: python tests/shop_simulated.py"
        assert simulated.NOTE in kept
    assert Verdict.NO < Verdict.LOOSE
