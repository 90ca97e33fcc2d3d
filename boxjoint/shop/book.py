"""The shop book as a file: open, append, read, strike out, verify.

One SQLite file with a rollback journal, not a write-ahead log. A write-ahead log needs shared
memory, which network folders do not have, and it leaves readings in a second file that a person who
copies the book to a stick does not copy. A reading is appended perhaps ten times a day: the faster
log would win nothing. ``synchronous = EXTRA``: what was acknowledged is on the disk, its folder
entry included. Writers take turns (``BEGIN IMMEDIATE``, a stated wait); every record is one
transaction, so that a kill or a full disk leaves all of it or nothing.
"""

from __future__ import annotations

import json
import math
import os
import sqlite3
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from boxjoint.errors import BookError, BoxjointError, nearest_name
from boxjoint.shop.records import (
    KINDS,
    Record,
    Settings,
    Strike,
    content_id,
    row_type,
    shape,
    utc_text,
)
from boxjoint.shop.schema import APPLICATION_ID, VERSION, migrate

__all__ = ["Appended", "Book", "Entry", "Event", "default_path"]

_MAGIC: Final = b"SQLite format 3\0"
#: How many ids go into one query; SQLite allows at least 999 parameters.
_CHUNK: Final = 500
#: Fields that hold the content id of another record, and the kind that it must have.
_POINTS_AT: Final = {"sheet": "sheet", "settings": "settings", "offcut": "offcut", "target": ""}


def default_path(env: Mapping[str, str] | None = None, platform: str = sys.platform) -> Path:
    """Return where the shop book lies unless the user says otherwise.

    ``BOXJOINT_BOOK`` wins; then ``XDG_DATA_HOME`` (which must be absolute, as its specification
    asks; a relative one is ignored); then the platform's folder for a user's data.

    Source: XDG Base Directory Specification 0.8; the folders of the two other platforms from memory.
    """
    env = os.environ if env is None else env
    if env.get("BOXJOINT_BOOK"):
        return Path(env["BOXJOINT_BOOK"]).expanduser()
    home = Path.home()
    xdg = Path(env.get("XDG_DATA_HOME") or "")
    if xdg.is_absolute():
        folder = xdg
    elif platform == "win32":
        folder = Path(env.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif platform == "darwin":
        folder = home / "Library" / "Application Support"
    else:
        folder = home / ".local" / "share"
    return folder / "boxjoint" / "shop-book.sqlite"


@dataclass(frozen=True, slots=True, kw_only=True)
class Appended:
    """What came of an append: the content id, and whether it was new to the book."""

    id: str
    new: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A record in the book. ``struck``: the rows that are struck out, by number; 0 is all of it."""

    id: str
    record: Record
    struck: frozenset[int] = frozenset()

    @property
    def counts(self) -> bool:
        """True unless the whole record is struck out."""
        return 0 not in self.struck


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """What happened to a machine, without its readings: enough to order and group by."""

    id: str
    kind: str
    at: str
    sheet: str
    settings: str
    cut_hours: float | None
    order: str
    affects: str
    struck: frozenset[int] = frozenset()


class Book:
    """An open shop book. Use :meth:`open`, and ``with`` to close it."""

    def __init__(self, db: sqlite3.Connection, path: Path, *, writable: bool) -> None:
        self._db = db
        self.path = path
        self.writable = writable

    # ---- opening -----------------------------------------------------------------------

    @classmethod
    def open(
        cls,
        path: Path | str | None = None,
        *,
        write: bool = True,
        must_exist: bool = False,
        wait_s: float = 10.0,
    ) -> Book:
        """Open a shop book; make a new one where there is none.

        Parameters
        ----------
        path
            The file; default :func:`default_path`.
        write
            False: nothing on the disk is touched. A missing book is then an empty one in memory,
            and an older one is read through a copy in memory that has the newest schema.
        must_exist
            Refuse a missing file, for a path that a person typed.
        wait_s
            How long to wait while another program writes.

        Raises
        ------
        BookError
            Not a shop book, a newer version, damaged, not reachable. The file stays as it was.
        """
        path = default_path() if path is None else Path(path).expanduser()
        with _said(path, "open"):
            size = _look(path)
            if size is None and must_exist:
                raise BookError("there is no shop book", where=str(path), do="check the path")
            if size is None and not write:
                return cls(_memory(), path, writable=False)
            if write and size is not None and not os.access(path, os.W_OK):
                write = False
            if size is None:
                path.parent.mkdir(parents=True, exist_ok=True)
            db = _connect(path, "rwc" if size is None else "rw" if write else "ro", wait_s)
            try:
                db, write = _ready(db, path, write=write)
            except BaseException:
                db.close()
                raise
        return cls(db, path, writable=write)

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # ---- writing -----------------------------------------------------------------------

    def append(self, record: Record) -> Appended:
        """Write one record. When this returns it is on the disk.

        A record that is in the book already is left alone: ``new`` is then False.

        Raises
        ------
        BookError
            It points at something that is not in the book, or the book cannot be written. Nothing
            of the record was written then.
        """
        return self.append_all([record])[0]

    def append_all(self, records: Iterable[Record]) -> list[Appended]:
        """Write records in one transaction: all of them, or nothing. See :meth:`append`."""
        with self._writing():
            return [self._append(record) for record in records]

    def strike(self, target: str, *, reason: str, at: datetime, row: int = 0) -> Appended:
        """Strike out a record (an id or its beginning) or one of its rows, counted from 1."""
        return self.append(Strike(at=at, target=self.resolve(target), row=row, reason=reason))

    @contextmanager
    def _writing(self) -> Iterator[None]:
        if not self.writable:
            raise BookError(
                "the shop book can be read but not written; nothing was saved",
                where=str(self.path),
                do="allow writing to the file and its folder, or name another book",
            )
        with _said(self.path, "write"):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
            except BaseException:
                # a full disk makes SQLite roll back by itself
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    def _append(self, record: Record) -> Appended:
        identity = content_id(record)
        if self._db.execute("SELECT 1 FROM entry WHERE id = ?", (identity,)).fetchone():
            return Appended(id=identity, new=False)
        self._check_pointers(record)
        cursor = self._db.execute(
            "INSERT INTO entry (id, kind, at) VALUES (?, ?, ?)",
            (identity, record.kind, utc_text(record.at)),
        )
        seq = cursor.lastrowid
        columns, children = _columns(type(record))
        self._insert(record.kind, {"entry": seq}, record, columns)
        for name, row_cls in children:
            row_columns, _ = _columns(row_cls)
            for number, row in enumerate(getattr(record, name), 1):
                key = {"entry": seq, "row": number}
                self._insert(f"{record.kind}_{name}", key, row, row_columns)
        return Appended(id=identity, new=True)

    def _insert(
        self, table: str, key: Mapping[str, Any], row: Any, columns: Sequence[tuple[str, Any]]
    ) -> None:
        values: list[Any] = list(key.values())
        for name, _ in columns:
            value = getattr(row, name)
            values.append(json.dumps(value) if isinstance(value, tuple) else value)
        names = ", ".join(f'"{name}"' for name in [*key, *(name for name, _ in columns)])
        marks = ", ".join("?" * len(values))
        self._db.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", values)

    def _check_pointers(self, record: Record) -> None:
        machine = getattr(record, "machine", None)
        if machine is not None:
            known = [n for (n,) in self._db.execute("SELECT DISTINCT name FROM machine")]
            if machine not in known:
                raise BookError(
                    "no such machine in the shop book",
                    value=repr(machine),
                    do=nearest_name(machine, known) or "add the machine first",
                    pointer="machine",
                )
        for name, kind in _POINTS_AT.items():
            target = getattr(record, name, None)
            if target is None or (name == "offcut" and record.kind != "offcut_use"):
                continue
            found = self._db.execute(
                "SELECT kind, seq FROM entry WHERE id = ?", (target,)
            ).fetchone()
            if found is None or (kind and found[0] != kind):
                raise BookError(
                    f"no such {kind or 'record'} in the shop book",
                    where=f"{record.kind}.{name}",
                    value=repr(target),
                    do=f"add the {kind} first" if kind else "list the book for its ids",
                    pointer=name,
                )
            if isinstance(record, Strike) and record.row:
                rows = self._row_count(*found)
                if record.row > rows:
                    raise BookError(
                        "no such row to strike out",
                        value=str(record.row),
                        limit=f"this record has {rows}",
                        pointer="row",
                    )

    def _row_count(self, kind: str, seq: int) -> int:
        _, children = _columns(KINDS[kind])
        total = 0
        for name, _ in children:
            sql = f"SELECT count(*) FROM {kind}_{name} WHERE entry = ?"
            total += self._db.execute(sql, (seq,)).fetchone()[0]
        return total

    # ---- reading -----------------------------------------------------------------------

    @contextmanager
    def reading(self) -> Iterator[None]:
        """See the book as it is now for several questions, whatever another program appends."""
        if self._db.in_transaction:
            yield
            return
        with _said(self.path, "read"):
            self._db.execute("BEGIN")
            try:
                yield
            finally:
                if self._db.in_transaction:
                    self._db.execute("COMMIT")

    def resolve(self, start: str) -> str:
        """Return the one id that begins with ``start`` (at least four digits of it)."""
        with _said(self.path, "read"):
            found = self._db.execute(
                "SELECT id FROM entry WHERE substr(id, 1, ?) = ? LIMIT 2", (len(start), start)
            ).fetchall()
        if len(start) < 4 or len(found) != 1:
            what = "several such records" if len(found) > 1 else "no such record"
            if len(start) < 4:
                what = "too few digits of an id"
            raise BookError(f"{what} in the shop book", value=repr(start), limit="one id")
        return str(found[0][0])

    def get(self, identity: str) -> Entry:
        """Return one record by its full id."""
        entries = self.get_all([identity])
        if not entries:
            raise BookError("no such record in the shop book", value=repr(identity))
        return entries[0]

    def get_all(self, identities: Sequence[str]) -> list[Entry]:
        """Return the records of these ids, in the sequence of time; unknown ids are left out."""
        out: list[Entry] = []
        with _said(self.path, "read"):
            struck = self.struck()
            for start in range(0, len(identities), _CHUNK):
                part = identities[start : start + _CHUNK]
                where = f"e.id IN ({', '.join('?' * len(part))})"
                kinds = self._db.execute(
                    f"SELECT DISTINCT kind FROM entry e WHERE {where}", part
                ).fetchall()
                for (kind,) in kinds:
                    out += self._load(kind, where, part, struck)
        return sorted(out, key=_in_time)

    def entries(self, *kinds: str) -> list[Entry]:
        """Return all records of these kinds (default: all), in the sequence of time."""
        with _said(self.path, "read"):
            struck = self.struck()
            out = [e for k in kinds or KINDS for e in self._load(k, "1", (), struck)]
        return sorted(out, key=_in_time)

    def struck(self) -> dict[str, frozenset[int]]:
        """Return what is struck out now: id -> rows (0: all of it).

        A strike that is itself struck out does not count. A strike points at something older than
        itself in the file, so that the newest are decided first.
        """
        sql = (
            "SELECT e.id, s.target, s.row FROM strike s JOIN entry e ON e.seq = s.entry "
            "ORDER BY e.seq DESC"
        )
        out: dict[str, set[int]] = {}
        with _said(self.path, "read"):
            for identity, target, row in self._db.execute(sql).fetchall():
                if 0 not in out.get(identity, ()):
                    out.setdefault(target, set()).add(row)
        return {target: frozenset(rows) for target, rows in out.items()}

    def machine_names(self) -> list[str]:
        """Return the names of all machines, sorted."""
        with _said(self.path, "read"):
            return [n for (n,) in self._db.execute("SELECT DISTINCT name FROM machine ORDER BY 1")]

    def timeline(self, machine: str, until: datetime) -> list[Event]:
        """Return what happened to a machine up to ``until``, in the sequence of time.

        Equal dates are ordered by content id, so that the sequence does not depend on the file.
        Records that are struck out as a whole are left out.
        """
        parts = [
            f"SELECT e.id, e.kind, e.at, {columns} FROM {kind} t JOIN entry e ON e.seq = t.entry"
            " WHERE t.machine = :machine AND e.at <= :until"
            for kind, columns in (
                ("gauge", "t.sheet, t.settings, t.cut_hours, '', ''"),
                ("comb", "t.sheet, t.settings, NULL, '', ''"),
                ("box", "t.sheet, t.settings, t.cut_hours, t.\"order\", ''"),
                ("log", "'', t.settings, t.cut_hours, t.\"order\", ''"),
                ("service", "'', '', t.cut_hours, '', t.affects"),
            )
        ]
        with _said(self.path, "read"):
            struck = self.struck()
            found = self._db.execute(
                " UNION ALL ".join(parts), {"machine": machine, "until": utc_text(until)}
            ).fetchall()
        none: frozenset[int] = frozenset()
        events = [
            Event(
                id=row[0],
                kind=row[1],
                at=row[2],
                sheet=row[3],
                settings=row[4],
                cut_hours=row[5],
                order=row[6],
                affects=row[7],
                struck=struck.get(row[0], none),
            )
            for row in sorted(found, key=lambda row: (row[2], row[0]))
        ]
        return [e for e in events if 0 not in e.struck]

    def sheet_means(self) -> dict[str, tuple[str, float]]:
        """Return material and mean thickness (mm) of every sheet that is not struck out."""
        with _said(self.path, "read"):
            struck = self.struck()
            found = self._db.execute(
                "SELECT e.id, t.material, t.thickness_mm FROM sheet t JOIN entry e ON e.seq = t.entry"
            ).fetchall()
        out = {}
        for identity, material, cell in found:
            if 0 not in struck.get(identity, ()):
                try:
                    values = json.loads(cell)
                    out[identity] = (str(material), math.fsum(values) / len(values))
                except (ValueError, TypeError, ZeroDivisionError) as error:
                    raise _damaged(self.path, f"sheet {identity}: {error}") from error
        return out

    def settings_by_id(self) -> dict[str, Settings]:
        """Return all settings that are not struck out."""
        return {
            e.id: e.record
            for e in self.entries("settings")
            if e.counts and isinstance(e.record, Settings)
        }

    def count(self, kind: str = "") -> int:
        """Return the number of records of a kind, or of all."""
        sql = "SELECT count(*) FROM entry" + (" WHERE kind = ?" if kind else "")
        with _said(self.path, "read"):
            return int(self._db.execute(sql, (kind,) if kind else ()).fetchone()[0])

    def _load(
        self, kind: str, where: str, values: Sequence[Any], struck: Mapping[str, frozenset[int]]
    ) -> list[Entry]:
        cls = KINDS[kind]
        columns, children = _columns(cls)
        names = "".join(f', t."{name}"' for name, _ in columns)
        heads = self._db.execute(
            f"SELECT e.seq, e.id, e.at{names} FROM {kind} t JOIN entry e ON e.seq = t.entry"
            f" WHERE {where}",
            values,
        ).fetchall()
        rows: dict[int, dict[str, list[Any]]] = {}
        for child, row_cls in children:
            row_columns, _ = _columns(row_cls)
            row_names = "".join(f', r."{name}"' for name, _ in row_columns)
            found = self._db.execute(
                f"SELECT r.entry{row_names} FROM {kind}_{child} r JOIN entry e ON e.seq = r.entry"
                f" WHERE {where} ORDER BY r.entry, r.row",
                values,
            ).fetchall()
            for seq, *cells in found:
                made = self._build(row_cls, row_columns, cells)
                rows.setdefault(seq, {}).setdefault(child, []).append(made)
        out = []
        for seq, identity, at, *cells in heads:
            more = {name: tuple(items) for name, items in rows.get(seq, {}).items()}
            record = self._build(cls, columns, cells, at=datetime.fromisoformat(at), **more)
            out.append(Entry(id=identity, record=record, struck=struck.get(identity, frozenset())))
        return out

    def _build(
        self, cls: type[Any], columns: Sequence[tuple[str, Any]], cells: Sequence[Any], **more: Any
    ) -> Any:
        values: dict[str, Any] = dict(more)
        try:
            for (name, hint), cell in zip(columns, cells, strict=True):
                if hint is bool:
                    cell = bool(cell)
                elif hint == tuple[float, ...]:
                    cell = tuple(json.loads(cell))
                values[name] = cell
            return cls(**values)
        except (ValueError, TypeError, BoxjointError) as error:
            raise _damaged(self.path, f"{cls.__name__}: {error}") from error

    # ---- care --------------------------------------------------------------------------

    def verify(self) -> int:
        """Prove that every record still says what it said: SQLite's own check, and all content ids.

        Returns the number of records. Takes about 0.3 ms for each.

        Raises
        ------
        BookError
            Names the records that are damaged or were changed by another program.
        """
        with self.reading():
            answer = [a for (a,) in self._db.execute("PRAGMA integrity_check(5)")]
            if answer != ["ok"]:
                raise _damaged(self.path, "; ".join(answer).replace("\n", "; "))
            if self._db.execute("PRAGMA foreign_key_check").fetchone():
                raise _damaged(self.path, "a record points at one that is not there")
            entries = self.entries()
            wrong = [e.id for e in entries if content_id(e.record) != e.id]
            if wrong or len(entries) != self.count():
                raise _damaged(self.path, "records that were changed: " + ", ".join(wrong[:5]))
        return len(entries)

    # ---- what was computed ---------------------------------------------------------------

    def recall(self, family: str, keys: Sequence[str] | None = None) -> dict[str, str]:
        """Return what :meth:`remember` kept for a family: key -> body; only these keys, if given."""
        sql = "SELECT key, body FROM derived WHERE family = ?"
        out: dict[str, str] = {}
        with _said(self.path, "read"):
            if keys is None:
                return dict(self._db.execute(sql, (family,)).fetchall())
            for start in range(0, len(keys), _CHUNK):
                part = keys[start : start + _CHUNK]
                more = f" AND key IN ({', '.join('?' * len(part))})"
                out.update(self._db.execute(sql + more, (family, *part)).fetchall())
        return out

    def remember(self, family: str, bodies: Mapping[str, str], *, only: bool = False) -> bool:
        """Keep computed results, if that can be done at once; ``only``: instead of the others.

        Nothing measured is at stake: a book that cannot be written now is left alone, and False
        is returned.
        """
        if not self.writable or self._db.in_transaction:
            return False
        with suppress(sqlite3.Error), closing(self._db.cursor()) as cursor:
            (wait_ms,) = cursor.execute("PRAGMA busy_timeout").fetchone()
            cursor.execute("PRAGMA busy_timeout = 0")
            try:
                cursor.execute("BEGIN IMMEDIATE")
                if only:
                    cursor.execute("DELETE FROM derived WHERE family = ?", (family,))
                cursor.executemany(
                    "INSERT OR REPLACE INTO derived VALUES (?, ?, ?)",
                    [(family, key, body) for key, body in bodies.items()],
                )
                cursor.execute("COMMIT")
                return True
            finally:
                if self._db.in_transaction:
                    cursor.execute("ROLLBACK")
                cursor.execute(f"PRAGMA busy_timeout = {wait_ms}")
        return False


def _in_time(entry: Entry) -> tuple[str, str]:
    return utc_text(entry.record.at), entry.id


_COLUMNS: dict[type[Any], tuple[list[tuple[str, Any]], list[tuple[str, type[Any]]]]] = {}


def _columns(cls: type[Any]) -> tuple[list[tuple[str, Any]], list[tuple[str, type[Any]]]]:
    """Return (columns of a record's table with their types, fields that are tables of rows)."""
    if cls not in _COLUMNS:
        columns, children = [], []
        for name, hint, _ in shape(cls):
            row = row_type(hint)
            if row is not None:
                children.append((name, row))
            elif name != "at":
                columns.append((name, hint))
        _COLUMNS[cls] = columns, children
    return _COLUMNS[cls]


# ---- the file ------------------------------------------------------------------------------


def _look(path: Path) -> int | None:
    """Return the size of the file, or None when there is none; refuse what is no shop book.

    Looks at the first 100 bytes only (SQLite file format, section 1.3), so that a file of another
    kind or of a newer version is never opened by SQLite at all.
    """
    try:
        with path.open("rb") as file:
            head = file.read(100)
            size = os.fstat(file.fileno()).st_size
    except FileNotFoundError:
        return None
    except OSError as error:
        raise BookError(
            "the shop book cannot be read", where=str(path), value=error.strerror or ""
        ) from error
    journal = path.with_name(path.name + "-journal")
    if size == 0 or journal.exists():
        # new, or a writer was killed: SQLite repairs it first, _ready() looks at it then
        return size
    if not head.startswith(_MAGIC):
        raise _foreign(path)
    _check_version(
        path, int.from_bytes(head[68:72], "big"), int.from_bytes(head[60:64], "big"), tables=1
    )
    return size


def _foreign(path: Path) -> BookError:
    return BookError(
        "this file is not a shop book; it was left as it is",
        where=str(path),
        do="name another file for the book",
    )


def _check_version(path: Path, application: int, version: int, *, tables: int) -> None:
    if application != APPLICATION_ID and (application or version or tables):
        raise _foreign(path)
    if version > VERSION:
        raise BookError(
            "this shop book was written by a newer version of the program; it was left as it is",
            where=str(path),
            value=f"schema {version}",
            limit=f"this program knows up to {VERSION}",
            do="update the program",
        )


def _connect(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    db = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=wait_s
    )
    try:
        _set_up(db)
    except BaseException:
        db.close()
        raise
    return db


def _set_up(db: sqlite3.Connection) -> None:
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA synchronous = EXTRA")
    # a shop book may come from a stranger: its SQL may do nothing but store
    db.execute("PRAGMA trusted_schema = OFF")


def _memory() -> sqlite3.Connection:
    db = sqlite3.connect(":memory:", isolation_level=None)
    _set_up(db)
    migrate(db)
    return db


def _ready(db: sqlite3.Connection, path: Path, *, write: bool) -> tuple[sqlite3.Connection, bool]:
    """Check what was opened and take it to the newest version; (connection, writable)."""
    (application,) = db.execute("PRAGMA application_id").fetchone()
    (version,) = db.execute("PRAGMA user_version").fetchone()
    (tables,) = db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    _check_version(path, application, version, tables=tables)
    if version == VERSION:
        return db, write
    if write:
        migrate(db)
        return db, True
    copy = sqlite3.connect(":memory:", isolation_level=None)
    db.backup(copy)
    db.close()
    _set_up(copy)
    migrate(copy)
    return copy, False


# ---- what SQLite says, said to a maker -------------------------------------------------------


def _damaged(path: Path, detail: str) -> BookError:
    return BookError(
        "the shop book is damaged",
        where=str(path),
        value=detail if len(detail) < 200 else detail[:200] + "...",
        do="copy the file to a safe place first; then import the last export into a new book",
    )


@contextmanager
def _said(path: Path, doing: str) -> Iterator[None]:
    """Turn what SQLite and the system raise into a BookError that says what to do."""
    try:
        yield
    except sqlite3.Error as error:
        raise _explain(path, doing, error) from error
    except OSError as error:
        raise BookError(
            f"cannot {doing} the shop book", where=str(path), value=error.strerror or str(error)
        ) from error


def _explain(path: Path, doing: str, error: sqlite3.Error) -> BookError:
    name = str(getattr(error, "sqlite_errorname", "") or "")
    where, kept = str(path), "nothing was saved; what was in the book before is still there"
    if name.startswith("SQLITE_NOTADB"):
        return _foreign(path)
    if name.startswith("SQLITE_CORRUPT"):
        return _damaged(path, str(error))
    if name.startswith("SQLITE_FULL"):
        return BookError(f"the disk is full: {kept}", where=where, do="make room and try again")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return BookError(
            f"another program is using the shop book: {kept}",
            where=where,
            do="wait until it has finished and try again",
        )
    if name == "SQLITE_READONLY_ROLLBACK":
        return BookError(
            "a program was stopped while it wrote to this book, and the book cannot be repaired"
            " where it cannot be written",
            where=where,
            do="open it once where it can be written; nothing that was acknowledged is lost",
        )
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return BookError(
            f"cannot {doing} the shop book: {kept}" if doing == "write" else f"cannot {doing} it",
            where=where,
            value=str(error),
            do="allow writing to the file and its folder, or name another book",
        )
    if name.startswith("SQLITE_CONSTRAINT_TRIGGER"):
        return BookError(str(error), where=where)
    what = f"cannot {doing} the shop book"
    return BookError(f"{what}: {kept}" if doing == "write" else what, where=where, value=str(error))
