"""The shop book as plain files: nothing lost, nothing twice, nothing half."""

from __future__ import annotations

import csv
import re
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from strategies import shop_histories

from boxjoint.errors import BookError, BoxjointError, FileProblem, InputError
from boxjoint.shop import exchange
from boxjoint.shop import records as rec
from boxjoint.shop.book import Book
from boxjoint.shop.exchange import Imported, export_csv, export_toml, import_file
from boxjoint.shop.schema import VERSION

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def filled(path: Path) -> Book:
    """A book with one gauge, a strike and a strike of the strike; invented."""
    book = Book.open(path)
    book.append(rec.Machine(at=AT, name="bench laser", note='says "hello", twice\nand a line'))
    sheet = rec.Sheet(at=AT, material="birch ply", thickness_mm=(3.02, 0.1 + 0.2))
    made = rec.Settings(at=AT, speed=1e-5, speed_unit="in/min", lens="2 in")
    ids = [a.id for a in book.append_all([sheet, made])]
    readings = (
        rec.Reading(form="stack", axis="x", drawn_mm=72, values_mm=(70.86, 70.88), slices=8),
        rec.Reading(form="difference", axis="x", drawn_mm=300, values_mm=(-0.05,), u_mm=0.03),
    )
    session = rec.GaugeSession(
        at=AT, machine="bench laser", sheet=ids[0], settings=ids[1], readings=readings
    )
    one = book.append(session).id
    strike = book.strike(one, row=2, reason="read from the wrong end", at=AT)
    book.strike(strike.id, reason="it was the right end", at=AT)
    return book


def contents(book: Book) -> list[tuple[str, rec.Record, frozenset[int]]]:
    return [(e.id, e.record, e.struck) for e in book.entries()]


@given(records=shop_histories())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_both_forms_are_lossless(records: list[rec.Record]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Book.open(folder / "a") as book:
            book.append_all(records)
            before = contents(book)
            assert export_toml(book, folder / "a.toml") == len(before)
            assert export_csv(book, folder / "csv") == len(before)
        for source in ("a.toml", "csv"):
            with Book.open(folder / f"b-{source}") as book:
                done = import_file(book, folder / source)
                assert done == Imported(new=len(before), known=0)
                assert contents(book) == before
                assert book.verify() == len(before)
                assert import_file(book, folder / source) == Imported(new=0, known=len(before))
                again = folder / f"again-{source}.toml"
                export_toml(book, again)
                assert again.read_bytes() == (folder / "a.toml").read_bytes()


def test_others_read_the_same_figures(tmp_path: Path) -> None:
    tomlkit = pytest.importorskip("tomlkit")  # another reader of TOML
    with filled(tmp_path / "a") as book:
        export_toml(book, tmp_path / "a.toml")
        export_csv(book, tmp_path / "csv")
    document = tomlkit.parse((tmp_path / "a.toml").read_text(encoding="utf-8"))
    assert document["sheet"][0]["thickness_mm"] == [3.02, 0.30000000000000004]
    assert document["sheet"][0]["at"] == AT
    assert document["gauge"][0]["readings"][1]["values_mm"] == [-0.05]
    assert document["settings"][0]["speed"] == 1e-5
    with (tmp_path / "csv" / "gauge_readings.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [r["values_mm"] for r in rows] == ["70.86 70.88", "-0.05"]
    assert rows[0]["id"] == document["gauge"][0]["id"]
    with (tmp_path / "csv" / "machine.csv").open(newline="", encoding="utf-8") as file:
        (machine,) = csv.DictReader(file)
    assert machine["note"] == 'says "hello", twice\nand a line'


def test_two_books_become_one(tmp_path: Path) -> None:
    with filled(tmp_path / "a") as one, Book.open(tmp_path / "b") as two:
        two.append(rec.Machine(at=AT, name="bench laser", note='says "hello", twice\nand a line'))
        two.append(rec.Machine(at=AT, name="small laser"))
        export_toml(one, tmp_path / "a.toml")
        export_csv(two, tmp_path / "b.csv")
        assert import_file(two, tmp_path / "a.toml") == Imported(new=5, known=1)
        assert import_file(one, tmp_path / "b.csv") == Imported(new=1, known=1)
        assert contents(one) == contents(two)
        assert two.get(one.entries("gauge")[0].id).struck == frozenset()


def test_a_record_written_by_hand_needs_no_id(tmp_path: Path) -> None:
    path = tmp_path / "hand.toml"
    path.write_text(
        f'format = "boxjoint shop book"\nschema = {VERSION}\n'
        '[[machine]]\nat = 2026-03-02T09:00:00+01:00\nname = "bench laser"\nbed_x_mm = 600\n'
    )
    with Book.open(tmp_path / "a") as book:
        assert import_file(book, path).new == 1
        assert import_file(book, path).known == 1
        (entry,) = book.entries()
        assert entry.record == rec.Machine(at=AT, name="bench laser", bed_x_mm=600)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda t: t.replace("70.86", "70.68"), r"gauge 1: the id does not belong"),
        (lambda t: t.replace("schema = 3", "schema = 99"), "newer version"),
        (lambda t: t.replace("boxjoint shop", "another"), "not an export"),
        (lambda t: t.replace("[[sheet]]", "[[sheat]]"), r"unknown table.*Did you mean 'sheet'"),
        (lambda t: t.replace("material =", "materials ="), r"unknown field.*Did you mean"),
        (lambda t: t.replace('material = "birch ply"\n', ""), "field is missing"),
        (lambda t: t.replace("[3.02,", '["3.02",'), "wrong type"),
        (lambda t: t.replace("[3.02,", "[nan,"), "not a number that can be measured"),
        (lambda t: t.replace("at = 2026-03-02T08:00:00Z", "at = 2026-03-02"), "wrong type"),
        (lambda t: t.replace("2026-03-02T08:00:00Z", "2026-03-02T08:00:00"), "without its zone"),
        (lambda t: t[: len(t) // 2], "TOML"),
        (lambda t: t.split("[[settings]]")[0], r"not complete.*2 records.*says 6"),
        (lambda t: t + "\ufffd" * 3, "TOML"),
    ],
)
def test_a_spoiled_file_brings_in_nothing(tmp_path: Path, change: object, word: str) -> None:
    path = tmp_path / "a.toml"
    with filled(tmp_path / "a") as book:
        export_toml(book, path)
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")  # type: ignore[operator]
    with Book.open(tmp_path / "b") as book:
        with pytest.raises(BoxjointError, match=word) as error:
            import_file(book, path)
        assert error.value.exit_code == 2
        assert book.count() == 0


@pytest.mark.parametrize(
    ("name", "old", "new", "word"),
    [
        ("sheet.csv", "3.02", "3.20", "id does not belong"),
        ("sheet.csv", "3.02", "3,02", r"wrong number of cells|id does not belong|not a number"),
        ("sheet.csv", "3.02", "inf", "not a number"),
        ("sheet.csv", "3.02", "1_0", "not a number"),
        ("gauge_readings.csv", ",2,difference", ",3,difference", "missing or twice"),
        ("gauge_readings.csv", ",8,", ",8.5,", "not a whole number"),
        ("settings.csv", "in/min", '"in/min', "CSV|wrong number"),
        ("book.toml", "schema = 3", "schema = 4", "newer"),
    ],
)
def test_a_spoiled_folder_brings_in_nothing(
    tmp_path: Path, name: str, old: str, new: str, word: str
) -> None:
    with filled(tmp_path / "a") as book:
        export_csv(book, tmp_path / "csv")
    path = tmp_path / "csv" / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    with Book.open(tmp_path / "b") as book:
        with pytest.raises(BookError, match=word):
            import_file(book, tmp_path / "csv")
        assert book.count() == 0


def test_rows_without_their_record_are_refused(tmp_path: Path) -> None:
    with filled(tmp_path / "a") as book:
        export_csv(book, tmp_path / "csv")
    path = tmp_path / "csv" / "gauge.csv"
    path.write_text(path.read_text(encoding="utf-8").split("\n")[0] + "\n", encoding="utf-8")
    with Book.open(tmp_path / "b") as book, pytest.raises(BookError, match="without their record"):
        import_file(book, tmp_path / "csv")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('machine = "m"', 'machine = "n"', r"gauge 1: no such machine in the shop book: 'n'"),
        ("drawn_mm = 60.0", "drawn_mm = -60.0", r"gauge 1.readings, row 2: .*-60"),
        ("thickness_mm = [3.0]", "thickness_mm = [-3.0]", r"sheet 1: .*-3"),
    ],
)
def test_what_an_import_refuses_has_file_and_record(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    with Book.open(tmp_path / "b") as book:
        book.append(rec.Machine(at=at, name="m"))
        sheet = book.append(rec.Sheet(at=at, material="ply", thickness_mm=(3.0,))).id
        made = book.append(rec.Settings(at=at, speed=10, speed_unit="mm/s")).id
        rows = tuple(
            rec.Reading(form="plug", axis="x", drawn_mm=d, values_mm=(d - 0.2,))
            for d in (40.0, 60.0)
        )
        book.append(rec.GaugeSession(at=at, machine="m", sheet=sheet, settings=made, readings=rows))
        export_toml(book, tmp_path / "a.toml")
    text = "\n".join(
        x for x in (tmp_path / "a.toml").read_text().splitlines() if not x.startswith("id =")
    )
    # the sheet's id follows from its record, which one case changes: the gauge is then not reached
    (tmp_path / "c.toml").write_text(text.replace(old, new, 1))
    with Book.open(tmp_path / "d") as other, pytest.raises(InputError) as caught:
        import_file(other, tmp_path / "c.toml")
    assert str(caught.value).startswith(f"{tmp_path / 'c.toml'}: ")
    assert re.search(said, str(caught.value)), str(caught.value)


def test_missing_files(tmp_path: Path) -> None:
    with Book.open(tmp_path / "b") as book:
        with pytest.raises(FileProblem, match="cannot read"):
            import_file(book, tmp_path / "none.toml")
        (tmp_path / "folder").mkdir()
        with pytest.raises(FileProblem, match="cannot read"):
            import_file(book, tmp_path / "folder")
        (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
        with pytest.raises(BookError, match="UTF-8"):
            import_file(book, tmp_path / "binary")


def test_an_export_that_fails_leaves_the_last_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with filled(tmp_path / "a") as book:
        export_toml(book, tmp_path / "a.toml")
        before = (tmp_path / "a.toml").read_bytes()

        def full(_: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(exchange.os, "fsync", full)
        with pytest.raises(FileProblem, match="No space left"):
            export_toml(book, tmp_path / "a.toml")
        with pytest.raises(FileProblem, match="No space left"):
            export_csv(book, tmp_path / "csv")
        monkeypatch.undo()
        assert (tmp_path / "a.toml").read_bytes() == before
        assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "a.toml"]
        export_csv(book, tmp_path / "csv")
        with pytest.raises(FileProblem, match="something of that name"):
            export_csv(book, tmp_path / "csv")
        with pytest.raises(FileProblem):
            export_toml(book, tmp_path / "no" / "folder" / "a.toml")


def test_a_damaged_record_is_not_exported_as_a_sound_one(tmp_path: Path) -> None:
    with filled(tmp_path / "a") as book:
        book._db.execute("DROP TRIGGER gauge_readings_no_update")
        book._db.execute("UPDATE gauge_readings SET drawn_mm = 27 WHERE row = 1")
        with pytest.raises(BookError, match="damaged; nothing was written"):
            export_toml(book, tmp_path / "a.toml")
        assert not (tmp_path / "a.toml").exists()
