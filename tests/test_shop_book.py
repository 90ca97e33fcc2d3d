"""The shop book as a file: append only, whole records or none, and refusals that touch nothing."""

from __future__ import annotations

import hashlib
import os
import random
import signal
import sqlite3
import stat
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from strategies import shop_histories

from boxjoint.errors import BookError, ReadingError
from boxjoint.shop import records as rec
from boxjoint.shop.book import Book, default_path
from boxjoint.shop.schema import STEPS, TABLES, VERSION, migrate

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
FIXTURE = Path(__file__).parent.parent / "fixtures" / "book" / "v1.sql"
ROOT = Path(__file__).parent.parent


def basics(book: Book) -> dict[str, str]:
    """Machine, sheet and settings; all invented."""
    book.append(rec.Machine(at=AT, name="bench laser"))
    sheet = rec.Sheet(at=AT, material="birch ply", thickness_mm=(3.02, 2.98))
    made = rec.Settings(at=AT, speed=10, speed_unit="mm/s", power_percent=60)
    ids = [a.id for a in book.append_all([sheet, made])]
    return {"machine": "bench laser", "sheet": ids[0], "settings": ids[1]}


def gauge(place: dict[str, str], n: int = 0, rows: int = 12) -> rec.GaugeSession:
    readings = tuple(
        rec.Reading(form="plug", axis="xy"[i % 2], drawn_mm=40, values_mm=(39.8 + i / 100,))
        for i in range(rows)
    )
    return rec.GaugeSession(at=AT + timedelta(minutes=n), readings=readings, **place)


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


# ---- records -------------------------------------------------------------------------------


def test_a_record_says_the_same_however_it_is_spelled() -> None:
    zone = timezone(timedelta(hours=2))
    one = rec.Sheet(at=AT, material="birch ply ", thickness_mm=(3, 3.1))
    two = rec.Sheet(at=AT.astimezone(zone), material="birch ply", thickness_mm=[3.0, 3.1])
    assert one == two
    assert rec.content_id(one) == rec.content_id(two)
    assert rec.content_id(one) != rec.content_id(
        rec.Sheet(at=AT, material="birch ply", thickness_mm=(3.1, 3.0))
    )


def test_the_content_id_is_fixed_for_good() -> None:
    # SHA-256 of the text written out below, by hashlib; books in the field depend on it
    text = '{"at":"2026-03-02T08:00:00Z","kind":"machine","name":"bench laser"}'
    assert (
        rec.content_id(rec.Machine(at=AT, name="bench laser"))
        == (hashlib.sha256(text.encode()).hexdigest()[:32])
    )


@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda: rec.Machine(at=datetime(2026, 3, 2), name="a"), "zone"),
        (lambda: rec.Machine(at=AT, name=" "), "empty"),
        (lambda: rec.Machine(at=AT, name="a\0b"), "control"),
        (lambda: rec.Machine(at=AT, name="\ud800"), "Unicode"),
        (lambda: rec.Sheet(at=AT, material="card", thickness_mm=()), "empty"),
        (lambda: rec.Sheet(at=AT, material="card", thickness_mm=(3, float("nan"))), "measured"),
        (lambda: rec.Sheet(at=AT, material="card", thickness_mm=(-3,)), "larger than 0"),
        (lambda: rec.Settings(at=AT, speed=10), "belong together"),
        (lambda: rec.Settings(at=AT, speed=10, speed_unit="mm/a"), "mm/s"),
        (lambda: rec.Settings(at=AT, passes=1.5), "whole number"),
        (lambda: rec.Reading(form="plugg", axis="x", drawn_mm=1, values_mm=(1,)), "Did you"),
        (lambda: rec.Reading(form="plug", axis="z", drawn_mm=1, values_mm=(1,)), "x, y"),
        (lambda: rec.Reading(form="plug", axis="x", drawn_mm=1, values_mm=(0,)), "larger than 0"),
        (lambda: rec.Reading(form="stack", axis="x", drawn_mm=1, values_mm=(1,)), "slices"),
        (lambda: rec.Verdict(x_mm=0, verdict="tight"), "press"),
    ],
)
def test_a_record_refuses_what_cannot_be(make: object, word: str) -> None:
    with pytest.raises(ReadingError, match=word) as error:
        make()  # type: ignore[operator]
    assert error.value.exit_code == 2


def test_two_speeds_that_are_equal_are_the_same_settings() -> None:
    one = rec.Settings(at=AT, name="a", speed=10, speed_unit="mm/s", lens="2 in")
    two = rec.Settings(at=AT, name="b", speed=600, speed_unit="mm/min", lens="2  IN")
    assert one.cutting == two.cutting
    assert one.cutting != rec.Settings(at=AT, speed=10, speed_unit="mm/s", lens="4 in").cutting


# ---- append, read, strike --------------------------------------------------------------------


@given(records=shop_histories())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_record_comes_back_as_it_was(records: list[rec.Record]) -> None:
    with tempfile.TemporaryDirectory() as folder, Book.open(Path(folder) / "b") as book:
        done = book.append_all(records)
        again = book.append_all(records)
        assert not any(a.new for a in again)
        assert [a.id for a in again] == [a.id for a in done]
        by_id = {e.id: e.record for e in book.entries()}
        assert by_id == {rec.content_id(r): r for r in records}
        assert book.verify() == len(by_id)
        assert {e.id: e.record for e in book.get_all(list(by_id))} == by_id


def test_the_columns_are_the_fields(path: Path) -> None:
    with Book.open(path) as book:
        for kind, cls in rec.KINDS.items():
            tables: dict[str, list[str]] = {kind: ["entry"]}
            for name, hint, _ in rec.shape(cls):
                row = rec.row_type(hint)
                if row is not None:
                    tables[f"{kind}_{name}"] = ["entry", "row", *(f for f, _, _ in rec.shape(row))]
                elif name != "at":
                    tables[kind].append(name)
            for table, columns in tables.items():
                found = [c[1] for c in book._db.execute(f"PRAGMA table_info({table})")]
                assert sorted(found) == sorted(columns)
                assert table in TABLES


@pytest.mark.parametrize("table", TABLES)
def test_sql_cannot_change_delete_or_replace(path: Path, table: str) -> None:
    with Book.open(path) as book:
        place = basics(book)
        offcut = book.append(rec.Offcut(at=AT, sheet=place["sheet"], x_mm=200, y_mm=100)).id
        slots = (rec.Verdict(x_mm=-0.4, verdict="slides"),)
        inside = (rec.InsideReading(axis="x", asked_mm=78, measured_mm=78.05),)
        made = book.append(gauge(place)).id
        book.append_all(
            [
                rec.CombRound(at=AT, axis="x", verdicts=slots, **place),
                rec.BoxResult(at=AT, kerf_x_mm=0.2, kerf_y_mm=0.2, insides=inside, **place),
                rec.Service(at=AT, machine="bench laser", what="lens cleaned"),
                rec.OffcutUse(at=AT, offcut=offcut),
                rec.Rate(at=AT, name="machine", value=30, per="h"),
                rec.JobLog(at=AT, order="a", machine="bench laser", settings=place["settings"]),
                rec.Strike(at=AT, target=made, row=2, reason="misread"),
            ]
        )
        before = book.entries()
    # another program, which knows nothing of this one and has its own settings
    db = sqlite3.connect(path)
    (column,) = [c[1] for c in db.execute(f"PRAGMA table_info({table})")][-1:]
    row = db.execute(f"SELECT * FROM {table}").fetchone()
    marks = ", ".join("?" * len(row))
    assert row is not None
    for sql, values in (
        (f'UPDATE {table} SET "{column}" = "{column}"', ()),
        (f"DELETE FROM {table}", ()),
        (f"INSERT OR REPLACE INTO {table} VALUES ({marks})", row),
        (f"INSERT INTO {table} VALUES ({marks})", row),
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append only"):
            db.execute(sql, values)
        db.rollback()
    db.close()
    with Book.open(path) as book:
        assert book.entries() == before


def test_a_record_must_point_at_what_is_there(path: Path) -> None:
    with Book.open(path) as book:
        place = basics(book)
        with pytest.raises(BookError, match=r"no such machine.*Did you mean 'bench laser'"):
            book.append(gauge(place | {"machine": "bench lazer"}))
        with pytest.raises(BookError, match="no such sheet"):
            book.append(gauge(place | {"sheet": place["settings"]}))
        with pytest.raises(BookError, match="no such settings"):
            book.append(gauge(place | {"settings": "0" * 32}))
        with pytest.raises(BookError, match="no such record"):
            book.strike("f" * 32, reason="none", at=AT)
        # all or nothing
        count = book.count()
        with pytest.raises(BookError):
            book.append_all([gauge(place), gauge(place | {"sheet": "0" * 32}, 1)])
        assert book.count() == count
        assert book.append(gauge(place)).new


def test_striking_out_keeps_the_record_and_can_be_struck_out(path: Path) -> None:
    with Book.open(path) as book:
        one = book.append(gauge(basics(book)))
        row = book.strike(one.id[:8], row=3, reason="jaw not closed", at=AT)
        assert book.get(one.id).struck == {3}
        assert book.get(one.id).counts
        whole = book.strike(one.id, reason="wrong sheet", at=AT)
        assert book.get(one.id).struck == {0, 3}
        assert not book.get(one.id).counts
        assert book.timeline("bench laser", AT) == []
        undo = book.strike(whole.id, reason="it was the right sheet", at=AT)
        assert book.get(one.id).struck == {3}
        book.strike(undo.id, reason="no, it was not", at=AT)
        assert book.get(one.id).struck == {0, 3}
        assert book.get(row.id).counts
        assert book.get(one.id).record == gauge(
            {k: getattr(book.get(one.id).record, k) for k in ("machine", "sheet", "settings")}
        )
        with pytest.raises(BookError, match=r"no such row.*13.*has 12"):
            book.strike(one.id, row=13, reason="none", at=AT)
        with pytest.raises(BookError, match="too few digits"):
            book.strike(one.id[:3], reason="none", at=AT)
        with pytest.raises(BookError, match="no such record"):
            book.resolve("zzzz")


def test_records_come_in_the_sequence_of_time_whatever_they_were_appended_in(path: Path) -> None:
    with Book.open(path) as book:
        place = basics(book)
        minutes = random.Random(3).sample(range(500), 40)
        book.append_all(gauge(place, n) for n in minutes)
        found = [e.record.at for e in book.entries("gauge")]
        assert found == [AT + timedelta(minutes=n) for n in sorted(minutes)]
        assert [e.at for e in book.timeline("bench laser", AT + timedelta(minutes=250))] == [
            rec.utc_text(AT + timedelta(minutes=n)) for n in sorted(minutes) if n <= 250
        ]


# ---- several programs, a kill, a full disk ---------------------------------------------------

WRITER = """
import sys
from datetime import datetime, timedelta, UTC
from boxjoint.shop.book import Book
from boxjoint.shop import records as rec
sys.path.insert(0, {tests!r})
from test_shop_book import basics, gauge
first, count = int(sys.argv[2]), int(sys.argv[3])
with Book.open(sys.argv[1]) as book:
    place = basics(book)
    for n in range(first, first + count):
        done = book.append(gauge(place, n))
        print(done.id, flush=True)
"""


def writer(path: Path, first: int, count: int) -> subprocess.Popen[str]:
    code = WRITER.format(tests=str(Path(__file__).parent))
    return subprocess.Popen(
        [sys.executable, "-c", code, str(path), str(first), str(count)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def test_two_programs_that_make_and_fill_the_same_book(path: Path) -> None:
    programs = [writer(path, 0, 40), writer(path, 1000, 40)]
    out = [p.communicate(timeout=60) for p in programs]
    assert [p.returncode for p in programs] == [0, 0], out
    ids = {line for o, _ in out for line in o.split()}
    with Book.open(path) as book:
        assert {e.id for e in book.entries("gauge")} == ids
        assert len(ids) == 80
        assert book.verify() == 83


@pytest.mark.parametrize("kill_after", [0.0, 0.001, 0.004, 0.009, 0.015, 0.023])
def test_a_kill_loses_no_acknowledged_reading_and_leaves_no_half(
    path: Path, kill_after: float
) -> None:
    program = writer(path, 0, 100_000)
    assert program.stdout is not None
    assert program.stderr is not None
    acknowledged = [program.stdout.readline().strip() for _ in range(5)]
    time.sleep(kill_after)
    program.send_signal(signal.SIGKILL)
    acknowledged += program.stdout.read().split()
    program.wait()
    program.stdout.close()
    program.stderr.close()
    whole = [i for i in acknowledged if len(i) == 32]
    with Book.open(path) as book:
        entries = book.entries("gauge")
        assert set(whole) <= {e.id for e in entries}
        # at most the one that was on its way when the kill came
        assert len(entries) <= len(whole) + 1
        assert all(len(e.record.readings) == 12 for e in entries)
        assert book.verify() == len(entries) + 3
        assert book.append(gauge(basics(book), 999_999)).new


HALF_WRITTEN = """
import os, signal, sys
sys.path.insert(0, {tests!r})
from test_shop_book import basics, gauge
from boxjoint.shop.book import Book
book = Book.open(sys.argv[1])
place = basics(book)
book._db.execute("PRAGMA cache_size = 2")   # so that pages reach the file before the commit
with book._writing():
    for n in range(300):
        book._append(gauge(place, n))
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_half_written_file_is_repaired_by_the_next_who_may_write(path: Path) -> None:
    code = HALF_WRITTEN.format(tests=str(Path(__file__).parent))
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    assert done.returncode == -signal.SIGKILL
    assert path.with_name(path.name + "-journal").exists()
    with pytest.raises(BookError, match="stopped while it wrote"):
        Book.open(path, write=False).entries()
    with Book.open(path) as book:
        assert book.count("gauge") == 0
        assert book.verify() == 3
    with Book.open(path, write=False) as book:
        assert book.count() == 3


def test_a_full_disk_loses_nothing(path: Path) -> None:
    with Book.open(path) as book:
        place = basics(book)
        (pages,) = book._db.execute("PRAGMA page_count").fetchone()
        book._db.execute(f"PRAGMA max_page_count = {pages + 4}")
        kept = []
        with pytest.raises(BookError, match=r"disk is full: nothing was saved.*[Mm]ake room"):
            for n in range(1000):
                kept.append(book.append(gauge(place, n)).id)
        assert kept
        with pytest.raises(BookError, match="disk is full"):
            book.append_all(gauge(place, n) for n in range(5000, 6000))
        assert {e.id for e in book.entries("gauge")} == set(kept)
        assert book.verify() == len(kept) + 3
        assert not book.remember("state", {"a": "x" * 100_000})
        book._db.execute(f"PRAGMA max_page_count = {pages + 100}")
        assert book.append(gauge(place, 7000)).new


def test_a_file_that_may_not_grow(path: Path) -> None:
    resource = pytest.importorskip("resource")
    with Book.open(path) as book:
        place = basics(book)
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 4096, limits[1]))
        kept = []
        try:
            with pytest.raises(BookError, match="nothing was saved"):
                for n in range(1000):
                    kept.append(book.append(gauge(place, n)).id)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
            signal.signal(signal.SIGXFSZ, before)
    with Book.open(path) as book:
        assert {e.id for e in book.entries("gauge")} == set(kept)
        assert book.verify() == len(kept) + 3


def test_waiting_for_another_program_ends_with_a_message(path: Path) -> None:
    with Book.open(path) as one, Book.open(path, wait_s=0.05) as two:
        place = basics(one)
        with one._writing():
            one._append(gauge(place))
            with pytest.raises(BookError, match=r"another program.*nothing was saved"):
                two.append(gauge(place, 1))
            assert not two.remember("state", {"a": "b"})
            assert two.count("gauge") == 0
        assert two.append(gauge(place, 1)).new
        assert two.count("gauge") == 2


def test_one_look_at_the_book_does_not_change_under_way(path: Path) -> None:
    with Book.open(path) as one, Book.open(path, wait_s=0.05) as two:
        place = basics(one)
        with two.reading():
            assert two.count("gauge") == 0
            with pytest.raises(BookError, match="another program"):
                one_short = Book.open(path, wait_s=0.05)
                try:
                    one_short.append(gauge(place))
                finally:
                    one_short.close()
            assert two.count("gauge") == 0
        assert one.append(gauge(place)).new


# ---- files that are not what they should be --------------------------------------------------


def test_a_read_only_book_can_be_read(path: Path) -> None:
    with Book.open(path) as book:
        place = basics(book)
        book.append(gauge(place))
    before = digest(path)
    with Book.open(path, write=False) as book:
        assert book.count("gauge") == 1
        assert not book.remember("state", {"a": "b"})
        with pytest.raises(BookError, match="can be read but not written; nothing was saved") as e:
            book.append(gauge(place, 1))
        assert e.value.exit_code == 2
    assert digest(path) == before


AS_NOBODY = """
import os, sys
sys.path[:0] = [{tests!r}, {root!r}]
from test_shop_book import basics, gauge
from boxjoint.errors import BookError
from boxjoint.shop.book import Book
if os.getuid() == 0:
    os.setgid(65534); os.setuid(65534)
with Book.open(sys.argv[1]) as book:
    print(book.count(), book.writable)
    try:
        book.append(gauge({place!r}, 5))
    except BookError as error:
        print(error)
"""


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="needs the permissions of a Unix file system")
@pytest.mark.parametrize("lock", ["file", "folder"])
def test_a_book_whose_permissions_forbid_writing(lock: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop" / "b.sqlite"
        with Book.open(path) as book:
            place = basics(book)
        Path(folder).chmod(0o755)
        path.chmod(stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH if lock == "file" else 0o666)
        path.parent.chmod(0o777 if lock == "file" else 0o555)
        before = digest(path)
        code = AS_NOBODY.format(tests=str(ROOT / "tests"), root=str(ROOT), place=place)
        done = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, cwd="/"
        )
        path.parent.chmod(0o755)
        assert done.returncode == 0, done.stderr
        first, message = done.stdout.strip().split("\n")
        assert first == f"3 {lock == 'folder'}"
        assert "nothing was saved" in message
        assert "allow writing to the file and its folder" in message.lower()
        assert digest(path) == before


def test_a_missing_book(tmp_path: Path) -> None:
    path = tmp_path / "new" / "deep" / "book.sqlite"
    with Book.open(path, write=False) as book:
        assert book.count() == 0
        with pytest.raises(BookError, match="not written"):
            book.append(rec.Machine(at=AT, name="a"))
    assert not path.parent.exists()
    with pytest.raises(BookError, match="there is no shop book"):
        Book.open(path, must_exist=True)
    assert not path.parent.exists()
    with Book.open(path) as book:
        assert book.append(rec.Machine(at=AT, name="a")).new
    path.parent.joinpath("empty").touch()
    with Book.open(path.parent / "empty") as book:
        assert book.append(rec.Machine(at=AT, name="a")).new


def make_other_database(path: Path) -> None:
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE readings (a)")
    db.commit()
    db.close()


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize(
    "make",
    [
        lambda p: p.write_text("kerf 0.2\n"),
        lambda p: p.write_bytes(b"SQLite format 3\0" + bytes(84)),
        lambda p: p.write_bytes(os.urandom(5000)),
        make_other_database,
    ],
)
def test_a_file_that_is_not_a_book_is_left_alone(path: Path, make: object, write: bool) -> None:
    make(path)  # type: ignore[operator]
    before = digest(path)
    with pytest.raises(BookError, match="not a shop book; it was left as it is"):
        Book.open(path, write=write)
    assert digest(path) == before
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_a_folder_is_not_a_book(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="cannot be read"):
        Book.open(tmp_path)
    (tmp_path / "file").touch()
    with pytest.raises(BookError):
        Book.open(tmp_path / "file" / "book.sqlite")


@pytest.mark.parametrize("write", [True, False])
def test_a_book_of_a_newer_version_is_left_alone(path: Path, write: bool) -> None:
    with Book.open(path) as book:
        basics(book)
        book._db.execute(f"PRAGMA user_version = {VERSION + 1}")
    before = digest(path)
    with pytest.raises(BookError, match=rf"newer version.*schema {VERSION + 1}.*Update"):
        Book.open(path, write=write)
    assert digest(path) == before


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_book_is_named_and_left_alone(path: Path, seed: int) -> None:
    with Book.open(path) as book:
        place = basics(book)
        book.append_all(gauge(place, n) for n in range(60))
    size = path.stat().st_size
    rng = random.Random(seed)
    with path.open("r+b") as file:
        if seed < 3:
            # a stretch of the file is gone, its first page is not
            file.seek(rng.randrange(4096, size - 8192))
            file.write(rng.randbytes(8192))
        else:
            file.truncate(size // (seed - 1))
    before = digest(path)
    with pytest.raises(BookError, match=r"damaged.*safe place"), Book.open(path) as book:
        book.verify()
    assert digest(path) == before


def test_a_figure_changed_behind_our_back_is_found(path: Path) -> None:
    with Book.open(path) as book:
        place = basics(book)
        made = book.append_all(gauge(place, n) for n in range(3))
    db = sqlite3.connect(path)
    db.execute("DROP TRIGGER gauge_readings_no_update")
    db.execute("UPDATE gauge_readings SET values_mm = '[39.9]' WHERE entry = 5 AND row = 4")
    db.commit()
    db.close()
    with Book.open(path) as book, pytest.raises(BookError, match=made[1].id):
        book.verify()
    with Book.open(path) as book:
        book._db.execute("DROP TRIGGER gauge_readings_no_delete")
        book._db.execute("DELETE FROM gauge_readings WHERE entry = 4")
        with pytest.raises(BookError, match="damaged"):
            book.entries("gauge")


# ---- versions --------------------------------------------------------------------------------


def from_fixture(path: Path) -> None:
    db = sqlite3.connect(path)
    db.executescript(FIXTURE.read_text(encoding="utf-8"))
    db.close()


def schema(db: sqlite3.Connection) -> set[tuple[str, str, str]]:
    return set(db.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_master"))


def test_a_book_of_schema_1_becomes_the_newest(path: Path, tmp_path: Path) -> None:
    from_fixture(path)
    db = sqlite3.connect(path)
    tables = {t for (t,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    rows = {t: db.execute(f"SELECT * FROM {t}").fetchall() for t in tables}
    db.close()
    with Book.open(path) as book, Book.open(tmp_path / "fresh") as fresh:
        assert schema(book._db) == schema(fresh._db)
        assert {t: book._db.execute(f"SELECT * FROM {t}").fetchall() for t in tables} == rows
        # every content id of the old version still stands
        assert book.verify() == 8
        (session,) = book.entries("gauge")
        assert session.struck == {5}
        assert session.record.readings[1].values_mm == (72.14, 72.16)
        assert book.append(rec.Rate(at=AT, name="machine", value=30, per="h")).new
        with pytest.raises(sqlite3.IntegrityError, match="append only"):
            book._db.execute("DELETE FROM rate")
    with Book.open(path) as book:
        assert book.verify() == 9


def test_an_older_book_that_cannot_be_written_is_read_through_a_copy(path: Path) -> None:
    from_fixture(path)
    before = digest(path)
    with Book.open(path, write=False) as book:
        assert book.verify() == 8
        assert book.entries("rate") == []
        with pytest.raises(BookError, match="not written"):
            book.append(rec.Rate(at=AT, name="machine", value=30))
    assert digest(path) == before


def test_a_step_that_fails_changes_nothing(path: Path) -> None:
    from_fixture(path)
    before = digest(path)
    db = sqlite3.connect(path, isolation_level=None)
    broken = (*STEPS[:1], STEPS[1] + "CREATE TABLE rate (again);")
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        migrate(db, broken)
    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    db.close()
    assert digest(path) == before


# ---- where it lies ---------------------------------------------------------------------------


def test_where_the_book_lies() -> None:
    home = Path.home()
    data = Path("/data") if os.name != "nt" else Path("C:/data")
    tail = Path("boxjoint", "shop-book.sqlite")
    # XDG Base Directory Specification 0.8: $HOME/.local/share unless XDG_DATA_HOME is set, and a
    # relative path in it is to be ignored
    assert default_path({}, "linux") == home / ".local" / "share" / tail
    assert default_path({"XDG_DATA_HOME": str(data)}, "linux") == data / tail
    assert default_path({"XDG_DATA_HOME": "data"}, "linux") == home / ".local" / "share" / tail
    assert default_path({"XDG_DATA_HOME": ""}, "linux") == home / ".local" / "share" / tail
    # from memory
    assert default_path({}, "darwin") == home / "Library" / "Application Support" / tail
    assert default_path({"LOCALAPPDATA": str(data)}, "win32") == data / tail
    assert default_path({"BOXJOINT_BOOK": "my.sqlite", "XDG_DATA_HOME": "/d"}) == Path("my.sqlite")
