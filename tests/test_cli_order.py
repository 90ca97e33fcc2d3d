"""The commands of an order: sheets, quote, log; and what the shop book learns from them."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import ezdxf
import pytest
from click.testing import CliRunner
from test_order import TRAY

from boxjoint.cli.main import boxjoint
from boxjoint.errors import BoxjointError
from boxjoint.job.read import parse_job
from boxjoint.order.cuts import sequenced
from boxjoint.order.lay import lay
from boxjoint.order.plan import plan_order
from boxjoint.order.read import lines_of
from boxjoint.order.records import Order
from boxjoint.sheet.cuts import CutKind
from boxjoint.shop.book import Book
from boxjoint.shop.records import JobLog, Machine, Offcut, OffcutUse, Settings

JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
SHOP = '[shop]\nmachine = "workshop laser"\nsheet = "A"\nsettings = "ply3"\n'
SHEETS = "[sheets.birch]\nsize = [400, 300]\ncount = 3\n"


def run(*words: str) -> tuple[int, str, str]:
    """(exit code, stdout, stderr or the error) of a command."""
    result = CliRunner().invoke(boxjoint, [*words], standalone_mode=False)
    if isinstance(result.exception, BoxjointError):
        return result.exception.exit_code, result.stdout, str(result.exception)
    if result.exception is not None:
        raise result.exception
    return 0, result.stdout, result.stderr


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shop with a machine, a sheet and settings, and a tray to be cut from it."""
    book = tmp_path / "book.sqlite"
    monkeypatch.setenv("BOXJOINT_BOOK", str(book))
    assert run("book", "add", "machine", "workshop laser", "--bed", "500x400")[0] == 0
    words = ("--material", "birch plywood", "--thickness", "3", "--batch", "A")
    assert run("book", "add", "sheet", *words)[0] == 0
    assert run("book", "add", "settings", "ply3", "--speed", "700 mm/min")[0] == 0
    (tmp_path / "tray.toml").write_text(TRAY + SHOP + SHEETS)
    return tmp_path


def test_the_command_writes_every_sheet_the_report_and_the_papers(tmp_path: Path) -> None:
    out = tmp_path / "sheets"
    job = f"{JOBS / 'slide-tray.toml'}=2"
    code, printed, said = run(
        "sheets", job, "--stock-size", "600x400", "--quote", "--out", str(out)
    )
    assert code == 0
    total = re.search(r"price: ([\d.]+)", printed)
    assert total is not None
    assert total[1] in (out / "quote.md").read_text()
    assert "extinguisher" in said
    data = json.loads((out / "order.json").read_text())
    assert data["proofs"] == {"boxes": True, "nest": True, "sheets_as_cut": True, "faults": []}
    names = {p.name for p in out.iterdir()}
    assert {"order.json", "order.md", "shop.pdf", "shop-01.svg"} <= names
    assert len([n for n in names if n.startswith("sheet-")]) == 2 * len(data["sheets"])
    assert sum(len(s["panels"]) for s in data["sheets"]) == 10
    total = data["work"]
    assert total["cut"]["value"] == pytest.approx(
        sum(s["work"]["cut"]["value"] for s in data["sheets"])
    )
    assert total["time"]["least"] < total["time"]["value"] < total["time"]["greatest"]


def test_the_file_keeps_the_sequence_layer_after_layer(tmp_path: Path) -> None:
    """ezdxf reads the file back: marks, inner cuts, outlines, each in the sequence of cutting."""
    out = tmp_path / "sheets"
    job = str(JOBS / "specimen-tray-raised.toml")
    assert run("sheets", job, "--stock-size", "600x400", "--out", str(out))[0] == 0
    met = set()
    for file in sorted(out.glob("sheet-*.dxf")):
        polylines = [e for e in ezdxf.readfile(file).modelspace() if e.dxftype() == "LWPOLYLINE"]
        kept = [e.dxf.layer for e in polylines if e.dxf.layer != "REFERENCE"]
        ranks = [("MARK", "CUT_INNER", "CUT_OUTER").index(n) for n in kept]
        assert ranks == sorted(ranks)
        met |= set(ranks)
    assert met == {0, 1, 2}


def test_outlines_begin_where_the_mate_covers_the_mark() -> None:
    job = parse_job(TRAY)
    order = Order(title="t", unit="mm", lines=lines_of([(job, 1)]))
    found = lay(order, sizes=[(300_000_000, 200_000_000)], level=1)
    sheet = found.sheets[0]
    cuts = sequenced(sheet)
    begun = 0
    for step in cuts.found.steps:
        cut = cuts.cuts[step.cut]
        if cut.kind is CutKind.OUTER:
            copy = sheet.copies[cut.part]
            x0, y0, x1, y1 = copy.placement.extent
            x, y = cut.path[step.entry].tolist()
            # the bottom of a slot lies inside the extent, a tab's tip on it
            assert x0 < x < x1 or y0 < y < y1
            begun += 1
    assert begun == len(sheet.copies)
    planned = plan_order(found)
    assert planned.counted.pierces == len(sheet.copies)


def test_the_command_refuses_what_it_cannot_read(tmp_path: Path) -> None:
    job = str(JOBS / "slide-tray.toml")
    for words, wanted in (
        (("--stock-size", "600"), "a size is two lengths"),
        (("--stock-size", "600x1"), "no such size of a sheet"),
        (("--stock-size", "600x400", "--speed", "fast"), "speed"),
        ((), "no sheets are stated"),
    ):
        code, _, said = run("sheets", job, *words, "--out", str(tmp_path / "o"))
        assert code == 2
        assert wanted in said
    assert not (tmp_path / "o").exists()


def test_build_makes_the_sheets_of_a_job_that_states_them(shop: Path) -> None:
    out = shop / "tray"
    code, _, said = run("build", str(shop / "tray.toml"), "--out", str(out))
    assert code == 0, said
    assert (out / "sheets" / "sheet-01.dxf").exists()
    assert (out / "sheets" / "shop.pdf").exists()
    assert (out / "panels" / "front.dxf").exists()


def test_a_cut_order_teaches_the_book_time_and_offcuts(shop: Path) -> None:
    job, out = str(shop / "tray.toml"), shop / "sheets"
    assert run("sheets", f"{job}=2", "--out", str(out))[0] == 0
    before = json.loads((out / "order.json").read_text())["work"]["time"]
    assert "no job of this machine is logged" in before["how"]
    code, printed, said = run("log", str(out), "--minutes", "40", "--labour", "55", "--fit", "ok")
    assert code == 0, said
    assert "took 40 min (measured)" in printed
    # a second time only when told so
    code, _, said = run("log", str(out), "--minutes", "40")
    assert (code, "in the shop book already" in said) == (2, True)
    with Book.open(shop / "book.sqlite", write=False) as book:
        logs = [e.record for e in book.entries(JobLog.kind)]
        kept = [e.record for e in book.entries(Offcut.kind)]
    assert len(logs) == 1
    assert isinstance(logs[0], JobLog)
    assert logs[0].machine_s == 2400
    assert kept
    # the next order takes the offcut first, and its time is corrected by the log
    again = shop / "again"
    assert run("sheets", job, "--out", str(again))[0] == 0
    data = json.loads((again / "order.json").read_text())
    assert data["sheets"][0]["offcut"] is True
    assert "corrected by 1 logged job" in data["work"]["time"]["how"]
    assert run("log", str(again), "--minutes", "20", "--no-offcuts")[0] == 0
    with Book.open(shop / "book.sqlite", write=False) as book:
        assert len(book.entries(OffcutUse.kind)) == 1


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--minutes", "0"), "no such time"),
        (("--minutes", "-3"), "no such time"),
        (("--minutes", "nan"), "no such time"),
        (("--machine", "other"), "no such machine"),
        (("--settings", "ply9"), "no settings of that name"),
    ],
)
def test_a_log_of_nonsense_writes_nothing(shop: Path, words: tuple[str, ...], wanted: str) -> None:
    out = shop / "sheets"
    assert run("sheets", str(shop / "tray.toml"), "--out", str(out), "--no-papers")[0] == 0
    code, _, said = run("log", str(out), *words)
    assert (code, wanted in said) == (2, True)
    with Book.open(shop / "book.sqlite", write=False) as book:
        assert book.entries(JobLog.kind) == []


def test_a_log_of_what_is_no_order_is_refused(tmp_path: Path) -> None:
    for text in ("{}", "[]", "x", '{"order": 9, "title": "x"}'):
        (tmp_path / "order.json").write_text(text)
        code, _, said = run("log", str(tmp_path), "--book", str(tmp_path / "b.sqlite"))
        assert code == 2
        assert "order.json" in said
    code, _, said = run("log", str(tmp_path / "missing"))
    assert (code, "cannot be read" in said) == (2, True)


def test_a_quote_adds_up_and_takes_the_rates_of_the_book(shop: Path) -> None:
    assert run("book", "add", "rate", "labour", "30", "--currency", "EUR")[0] == 0
    assert run("book", "add", "rate", "sheet:birch", "7.5")[0] == 0
    code, _, said = run("book", "add", "rate", "labor", "30")
    assert (code, "Did you mean 'labour'" in said) == (2, True)
    out = shop / "quote"
    code, printed, said = run(
        "quote", f"{shop / 'tray.toml'}=4", "--rate", "margin=25", "--out", str(out)
    )
    assert code == 0, said
    amounts = [float(a) for a in re.findall(r"  ([\d.]+) EUR$", printed, re.MULTILINE)]
    assert sum(amounts[:-1]) == pytest.approx(amounts[-1])
    assert "30 an hour (asked)" in printed
    assert "x 7.5 (asked)" in printed
    assert "25 % of the price (asked)" in printed
    assert "ASSUMED" in printed
    assert (out / "quote.pdf").read_bytes().startswith(b"%PDF")
    assert "No tax" in (out / "quote.md").read_text()


def test_quantity_breaks_lower_the_price_of_a_box(shop: Path) -> None:
    code, printed, said = run(
        "quote", str(shop / "tray.toml"), "--breaks", "1,8", "--stock-size", "600x400"
    )
    assert code == 0, said
    table = printed[printed.index("Quantity breaks") :]
    each = [float(v) for v in re.findall(r"([\d.]+)$", table, re.MULTILINE)]
    assert each[1] < each[0]
    for bad in ("x", "0", "1,,2", "1001"):
        assert run("quote", str(shop / "tray.toml"), "--breaks", bad)[0] == 2


def test_passes_count_where_nobody_wrote_the_speed_down() -> None:
    from boxjoint.shop.ordered import pace_of

    at = datetime(2026, 3, 2, tzinfo=UTC)
    once, thrice = (pace_of(Settings(at=at, name="ply6", passes=n)) for n in (1, 3))
    assert thrice.passes == 3
    # by the definition of a pass: the same way driven three times takes three times as long
    assert thrice.coefficients[0] == pytest.approx(3 * once.coefficients[0])


def test_an_order_for_two_machines_is_refused_with_their_names(tmp_path: Path) -> None:
    paths = []
    for n, machine in enumerate(("workshop laser", "school laser")):
        job = tmp_path / f"job{n}.toml"
        job.write_text(f'{TRAY}[shop]\nmachine = "{machine}"\n{SHEETS}', encoding="utf-8")
        paths.append(str(job))
    with Book.open(tmp_path / "book.db") as book:
        for machine in ("workshop laser", "school laser"):
            book.append(Machine(at=datetime(2026, 3, 2, tzinfo=UTC), name=machine))
    code, _, said = run("quote", *paths, "--book", str(tmp_path / "book.db"))
    assert code == 2
    assert "workshop laser, school laser" in said


def test_a_result_keeps_the_kerf_of_the_job_whose_sheet_it_names() -> None:
    from boxjoint.shop.ordered import Cutting, _result

    def panel(job: str, kerf: float) -> dict[str, object]:
        both = {"x": {"value": kerf}, "y": {"value": kerf}}
        return {"job": job, "kerf": both, "scale": {"x": 1.0, "y": 1.0}}

    data = {
        "title": "t",
        "sheets": [{"panels": [panel("a", 0.12)]}, {"panels": [panel("b", 0.30)]}],
    }
    lines = {"a": {"shop": {"sheet": ""}}, "b": {"shop": {"sheet": "ply6"}}}
    said = Cutting(at=datetime(2026, 3, 2, tzinfo=UTC), machine="m", settings="5" * 64, fit="tight")
    found = _result(data, lines, "1" * 64, said, {"ply6": "6" * 64})
    assert (found.sheet, found.kerf_x_mm) == ("6" * 64, 0.30)
