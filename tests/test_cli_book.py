"""book add, list, show, strike, export and import, as a maker meets them; nothing is ever lost."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import shop_simulated as simulated
from entry import Cli, entry

from boxjoint.shop.book import Book
from boxjoint.shop.records import Machine

READINGS = simulated.READINGS
GAUGE = READINGS / "kerf-gauge.csv"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


@pytest.fixture
def cli(monkeypatch: pytest.MonkeyPatch, path: Path) -> Cli:
    return entry(monkeypatch, path)


@pytest.fixture
def shop(cli: Cli) -> Cli:
    for words in (
        ["machine", "red laser", "--bed", "600x400"],
        ["sheet", "--material", "birch plywood", "--thickness", "3.02", "--thickness", "3.05"],
        ["sheet", "--material", "birch plywood", "--thickness", "3.02", "--batch", "A7"],
        ["settings", "ply3", "--speed", "700 mm/min", "--power", "80", "--air", "on"],
    ):
        shown = cli("book", "add", *words)
        assert shown.code == 0, shown.err
        assert shown.out == ""
    return cli


def records(cli: Cli, what: str) -> list[dict[str, object]]:
    found = cli("book", "list", what, "--json").json()["records"]
    assert isinstance(found, list)
    return found


# ---- add ---------------------------------------------------------------------------------------


def test_an_empty_book_says_so_and_is_not_made_by_looking(cli: Cli, path: Path) -> None:
    shown = cli("book", "list")
    assert (shown.code, "is empty" in shown.out) == (0, True)
    assert not path.exists()
    named = cli("book", "list", "--book", path)
    assert named.code == 2 and "no shop book" in named.err


def test_what_is_added_is_kept_as_it_was_said(shop: Cli) -> None:
    (machine,) = records(shop, "machines")
    assert (machine["name"], machine["bed_x_mm"], machine["bed_y_mm"]) == ("red laser", 600, 400)
    sheets = records(shop, "sheets")
    assert [3.02, 3.05] in [s["thickness_mm"] for s in sheets]
    (settings,) = records(shop, "settings")
    assert (settings["speed"], settings["speed_unit"]) == (700.0, "mm/min")
    assert settings["power_percent"] == 80.0
    listed = shop("book", "list").out
    assert "ply3: 700 mm/min, 80 %, air on" in listed
    assert "birch plywood, 3.035 mm (2 readings)" in listed


def test_adding_the_same_again_adds_nothing(shop: Cli) -> None:
    words = ["book", "add", "settings", "ply3", "--speed", "700 mm/min", "--power", "80"]
    assert shop(*words, "--air", "on").code == 0
    shop("book", "add", "machine", "red laser", "--bed", "600x400")
    assert (len(records(shop, "settings")), len(records(shop, "machines"))) == (1, 1)
    other = shop(*words, "--air", "off")
    assert other.code == 2 and "other settings of that name" in other.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["machine"], "NAME"),
        (["machine", " "], "empty"),
        (["machine", "m", "--bed", "600"], "WxH"),
        (["machine", "m", "--bed", "600x-4"], "bed"),
        (["sheet", "--material", "ply"], "--thickness"),
        (["sheet", "--material", "ply", "--thickness", "three"], "--thickness"),
        (["sheet", "--material", "ply", "--thickness", "nan"], "finite"),
        (["sheet", "--material", "ply", "--thickness", "0.1181"], "0.3 to 40"),
        (["sheet", "--material", "", "--thickness", "3"], "empty"),
        (["settings", "s"], "how was the machine set"),
        (["settings", "s", "--speed", "700"], "unit"),
        (["settings", "s", "--speed", "0 mm/s"], "zero"),
        (["settings", "s", "--power", "120"], "at most 100"),
        (["settings", "s", "--power", "80", "--passes", "0"], "passes"),
        (["settings", "s", "--power", "80", "--date", "2999-01-01"], "yet to come"),
        (["service", "blue laser", "--what", "lens"], "red laser"),
        (["box", "no-job.toml", "--fit", "ok"], "no-job.toml"),
        (["machin", "x"], "Did you mean 'machine'?"),
    ],
)
def test_what_cannot_be_added_is_exit_2(shop: Cli, words: list[str], said: str) -> None:
    before = records(shop, "all")
    shown = shop("book", "add", *words)
    assert (shown.code, shown.out) == (2, "")
    assert said in shown.err
    assert records(shop, "all") == before


def test_a_date_can_be_said(cli: Cli) -> None:
    cli("book", "add", "machine", "old one", "--date", "2026-01-31")
    cli("book", "add", "machine", "older one", "--date", "2026-01-31T08:15:00+01:00")
    assert [m["at"] for m in records(cli, "machines")] == [
        "2026-01-31T07:15:00Z",
        "2026-01-31T12:00:00Z",
    ]


# ---- boxes -------------------------------------------------------------------------------------


def test_a_box_teaches_the_book(shop: Cli, tmp_path: Path) -> None:
    shop("gauge", "read", "kerf", GAUGE, "--save")
    job = simulated.JOB
    out = tmp_path / "box"
    assert shop("build", job, "--out", out).code == 0
    report = out / "report.json"
    figures = json.loads(report.read_text())["figures"]
    words = ["book", "add", "box", job, "--fit", "ok", "--inside", "x 152 151.9"]
    shown = shop(*words, "--inside", "y 109 109.05", "--inside-u", "0.05", "--report", report)
    assert shown.code == 0, shown.err
    assert "1 box" in shown.out
    (box,) = records(shop, "boxes")
    assert box["kerf_x_mm"] == figures["kerf_x"]["value"]
    assert box["scale_y"] == figures["scale_y"]["value"]
    assert box["insides"] == [
        {"axis": "x", "asked_mm": 152.0, "measured_mm": 151.9, "u_mm": 0.05},
        {"axis": "y", "asked_mm": 109.0, "measured_mm": 109.05, "u_mm": 0.05},
    ]
    # without its report the box is taken as built with what the book says now
    assert shop("book", "add", "box", job, "--fit", "loose").code == 0
    assert len(records(shop, "boxes")) == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "without a verdict"),
        (["--inside", "152 151.9"], "AXIS ASKED MEASURED"),
        (["--inside", "z 152 151.9"], "AXIS ASKED MEASURED"),
        (["--inside", "x 152 5.98"], "far apart"),
        (["--inside", "x 152 nan"], "finite"),
        (["--fit", "tigt"], "tight"),
        (["--fit", "ok", "--report", "no-report.json"], "no-report.json"),
        (["--fit", "ok", "--sheet", "B9"], "shop book"),
    ],
)
def test_bad_results_are_refused(shop: Cli, words: list[str], said: str) -> None:
    shown = shop("book", "add", "box", simulated.JOB, *words)
    assert shown.code == 2
    assert said in shown.err
    assert records(shop, "boxes") == []


def test_a_box_needs_its_machine_and_sheet(shop: Cli) -> None:
    tray = simulated.READINGS.parent / "jobs" / "slide-tray.toml"
    shown = shop("book", "add", "box", tray, "--fit", "ok")
    assert shown.code == 2 and "--machine and --sheet" in shown.err


# ---- list and show -----------------------------------------------------------------------------


def test_lists(shop: Cli) -> None:
    shop("gauge", "read", "kerf", GAUGE, "--save")
    assert len(records(shop, "all")) == 5
    assert [r["kind"] for r in records(shop, "gauges")] == ["gauge"]
    line = shop("book", "list", "gauges").out
    assert "14 values of K-XCXPB" in line and "red laser, birch plywood 3.02 mm, ply3" in line
    assert "nothing of that kind" in shop("book", "list", "combs").out
    shown = shop("book", "list", "gagues")
    assert shown.code == 2 and "Did you mean 'gauges'" in shown.err


def test_show_a_machine(shop: Cli) -> None:
    shown = shop("book", "show", "red laser")
    assert "nothing was read or cut yet" in shown.out
    shop("gauge", "read", "kerf", GAUGE, "--save")
    shop("gauge", "read", "comb", READINGS / "comb-1.csv", "--save")
    shown = shop("book", "show", "red laser")
    assert "red laser, birch plywood of 3.02 mm" in shown.out
    assert "measured" in shown.out and "0 days ago" in shown.out
    found = shop("book", "show", "red laser", "--json").json()["records"]
    assert len(found) == 1
    assert found[0]["kerf_x"]["value"] == pytest.approx(simulated.KERF["x"], abs=0.03)
    assert (found[0]["gauges"], found[0]["advice"]["gauge"]) == (1, False)
    assert "a gauge is not needed" in shown.out
    # a service makes it unsure, and says why
    time.sleep(1.1)  # the book keeps whole seconds; within one, ids decide what came first
    shop("book", "add", "service", "red laser", "--what", "new lens")
    shown = shop("book", "show", "red laser")
    assert "SERVICE" in shown.err and "read a gauge first" in shown.err


def test_show_a_record_by_the_beginning_of_its_id(shop: Cli) -> None:
    shop("gauge", "read", "kerf", GAUGE, "--save")
    identity = str(records(shop, "gauges")[0]["id"])
    shown = shop("book", "show", identity[:6])
    assert identity in shown.out
    assert "71, 71" in shown.out  # every repeat
    plain = shop("book", "show", identity, "--json").json()
    assert len(plain["readings"]) == 12
    for words, said in (
        (["zzzz"], "no such record"),
        (["12"], "too few"),
        (["red lasr"], "red laser"),
    ):
        shown = shop("book", "show", *words)
        assert shown.code == 2 and said in shown.err
    shown = shop("book", "show", identity[:6], "--plot", "a.svg")
    assert shown.code == 2 and not Path("a.svg").exists()


def test_the_kerf_over_time_is_plotted(shop: Cli, path: Path, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    now = datetime.now(UTC)
    nothing = shop("book", "show", "red laser", "--plot", tmp_path / "none.svg")
    assert nothing.code == 2 and "nothing to plot" in nothing.err
    for days in (40, 20, 3):
        date = f"{now - timedelta(days=days):%Y-%m-%d}"
        assert shop("gauge", "read", "kerf", GAUGE, "--save", "--again", "--date", date).code == 0
    for name in ("a.svg", "b.svg", "c.png"):
        shown = shop("book", "show", "red laser", "--plot", tmp_path / name)
        assert shown.code == 0, shown.err
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")


# ---- strike ------------------------------------------------------------------------------------


def test_a_struck_reading_no_longer_counts_and_is_still_there(shop: Cli) -> None:
    shop("gauge", "read", "kerf", GAUGE, "--save")
    identity = str(records(shop, "gauges")[0]["id"])
    before = shop("book", "show", "red laser", "--json").json()["records"][0]
    shown = shop("book", "strike", identity[:8], "--row", "7", "--reason", "slice turned over")
    assert shown.code == 0, shown.err
    after = shop("book", "show", "red laser", "--json").json()["records"][0]
    assert after["readings"] == before["readings"] - 2
    assert after["kerf_x"]["u"] > before["kerf_x"]["u"]
    record = shop("book", "show", identity[:8]).out
    assert "STRUCK OUT" in record and "slice turned over" in record
    assert "71, 71" in record
    # a strike struck out does not count
    strike = str(records(shop, "strikes")[0]["id"])
    shop("book", "strike", strike, "--reason", "it was right after all")
    assert shop("book", "show", "red laser", "--json").json()["records"][0] == {
        **before,
        "age_days": pytest.approx(before["age_days"], abs=0.01),
        "advice": {
            **before["advice"],
            "probability_of_a_miss": pytest.approx(
                before["advice"]["probability_of_a_miss"], rel=1e-3
            ),
        },
        "motion": pytest.approx(before["motion"], rel=1e-4),
        **{
            k: {
                **before[k],
                "value": pytest.approx(before[k]["value"], rel=1e-9),
                "u": pytest.approx(before[k]["u"], rel=1e-4),
            }
            for k in ("kerf_x", "kerf_y", "scale_x", "scale_y")
        },
    }
    for words, said in (
        ([identity[:8]], "--reason"),
        ([identity[:8], "--row", "40", "--reason", "x"], "12"),
        ([identity[:8], "--row", "-1", "--reason", "x"], "row"),
        ([identity[:8], "--reason", " "], "empty"),
        (["ffffffff", "--reason", "x"], "no such record"),
    ):
        shown = shop("book", "strike", *words)
        assert shown.code == 2 and said in shown.err, (words, shown.err)


# ---- export and import -------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["backup.toml", "backup"])
def test_out_and_in_again_loses_nothing(shop: Cli, tmp_path: Path, name: str) -> None:
    shop("gauge", "read", "kerf", GAUGE, "--save")
    shop("gauge", "read", "comb", READINGS / "comb-1.csv", "--save")
    out = tmp_path / name
    shown = shop("book", "export", out)
    assert shown.code == 0 and "6 records" in shown.err
    other = tmp_path / "other.sqlite"
    assert shop("book", "import", out, "--book", other).code == 0
    mine, theirs = (
        shop("book", "list", "--json", "--book", p).json()["records"]
        for p in (tmp_path / "book.sqlite", other)
    )
    assert mine == theirs
    again = shop("book", "import", out, "--book", other)
    assert "0 records read" in again.err and "6 were there before" in again.err
    assert "all 6 records" in shop("book", "verify", "--book", other).out
    # an older export is not written over by chance
    refused = shop("book", "export", out)
    assert refused.code == 2 and "already" in refused.err
    if name.endswith(".toml"):
        assert shop("book", "export", out, "--replace").code == 0


def test_what_is_no_export_is_refused_whole(shop: Cli, tmp_path: Path) -> None:
    before = records(shop, "all")
    shop("book", "export", tmp_path / "good.toml")
    text = (tmp_path / "good.toml").read_text()
    for changed, said in (
        (text.replace("red laser", "blue laser"), "id"),
        (text.replace("records = 4", "records = 9"), "not complete"),
        (text.replace("[[machine]]", "[[machin]]"), "unknown table"),
        ("title = 3", "not an export"),
        ("x = [", "not a TOML"),
        (text.replace("3.02", "nan"), "Sheet.thickness_mm"),
    ):
        path = tmp_path / "bad.toml"
        path.write_text(changed)
        shown = shop("book", "import", path)
        assert shown.code == 2 and said in shown.err, shown.err
    assert shop("book", "import", tmp_path / "none.toml").code == 2
    assert records(shop, "all") == before


# ---- books that cannot be used -------------------------------------------------------------------


def test_books_that_cannot_be_used_are_left_as_they_are(
    cli: Cli, path: Path, tmp_path: Path
) -> None:
    path.write_bytes(b"SQLite format 3\0" + b"\0" * 100)
    for words in (["list"], ["add", "machine", "m"], ["verify"], ["export", tmp_path / "x.toml"]):
        shown = cli("book", *words)
        assert (shown.code, shown.out) == (2, ""), words
    assert path.read_bytes().startswith(b"SQLite format 3\0")
    assert not (tmp_path / "x.toml").exists()


def test_a_book_that_another_program_writes_is_waited_for(shop: Cli, path: Path) -> None:
    with Book.open(path, wait_s=0.1) as one:
        one.append(Machine(at=datetime(2026, 1, 1, tzinfo=UTC), name="another"))
        assert shop("book", "add", "machine", "third").code == 0
    assert {m["name"] for m in records(shop, "machines")} == {"red laser", "another", "third"}


def test_help_has_examples(cli: Cli) -> None:
    for words in (
        ["book"],
        ["book", "add"],
        *(["book", c] for c in ("list", "show", "strike", "export", "import", "verify")),
        *(["book", "add", c] for c in ("machine", "sheet", "settings", "service", "box")),
        *(["gauge", "draw", c] for c in ("kerf", "strip", "comb", "coupon", "set")),
        *(["gauge", "read", c] for c in ("kerf", "comb")),
    ):
        shown = cli(*words, "--help")
        assert shown.code == 0
        assert f"boxjoint {' '.join(words)} " in shown.out, words


def test_a_second_sheet_of_one_batch_is_questioned(cli: Cli) -> None:
    words = ["book", "add", "sheet", "--batch", "B9", "--material", "oak"]
    first = cli(*words, "--thickness", "4.02", "--date", "2026-03-02")
    assert first.code == 0 and "look at" not in first.err
    second = cli(*words, "--thickness", "4.11")
    assert second.code == 0
    assert "batch B9 is in the book already" in second.err and "4.020 mm" in second.err
    assert "look at" not in cli("book", "add", "sheet", "--material", "oak", "--thickness", "4").err
