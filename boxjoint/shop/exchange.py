"""The shop book as plain files, and back: one TOML file, or a folder of CSV files.

Both hold every record, struck ones included, and every figure to its last bit; reading them into an
empty book gives the same content ids. Reading the same file twice changes nothing. An id in a file
is checked against what the record says, so that a figure changed by hand is noticed; a record
written by hand may leave its id out.

TOML: ``format``, ``schema``, ``records`` (how many, so that a file cut short is noticed) and one
array of tables per kind, ``readings`` and the like inside. CSV: ``book.toml`` with the first three; ``KIND.csv`` with one line a record;
``KIND_ROWS.csv`` (``gauge_readings.csv``) with one line a row. An empty cell is a default.
"""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import shutil
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from boxjoint.errors import BookError, FileProblem, nearest_name
from boxjoint.shop.book import Book
from boxjoint.shop.records import (
    KINDS,
    Record,
    Strike,
    content_id,
    from_plain,
    row_type,
    shape,
    to_plain,
    utc_text,
)
from boxjoint.shop.schema import VERSION

__all__ = ["Imported", "export_csv", "export_toml", "import_file"]

_FORMAT: Final = "boxjoint shop book"
_HEAD: Final = ("format", "schema", "records")
_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """How many records came in, and how many had been there before."""

    new: int
    known: int


def _plain_entries(book: Book) -> dict[str, list[dict[str, Any]]]:
    """Return kind -> plain records with their ids, in the sequence of time."""
    out: dict[str, list[dict[str, Any]]] = {kind: [] for kind in KINDS}
    with book.reading():
        for entry in book.entries():
            found = content_id(entry.record)
            if found != entry.id:
                raise BookError(
                    "a record of the shop book is damaged; nothing was written",
                    where=str(book.path),
                    value=entry.id,
                    do="copy the book to a safe place and verify it",
                )
            out[entry.record.kind].append({"id": entry.id} | to_plain(entry.record))
    return out


# ---- TOML ----------------------------------------------------------------------------------


def export_toml(book: Book, path: Path) -> int:
    """Write the whole book to one TOML file, in one go; return the number of records.

    Raises
    ------
    FileProblem
        The file cannot be written; an older one of that name is still there.
    BookError
        The book cannot be read, or a record in it is damaged.
    """
    plain = _plain_entries(book)
    _write(path, "".join(_toml_lines(plain)))
    return sum(map(len, plain.values()))


def _head(plain: Mapping[str, list[dict[str, Any]]]) -> str:
    count = sum(map(len, plain.values()))
    return f"format = {_toml(_FORMAT)}\nschema = {VERSION}\nrecords = {count}\n"


def _toml_lines(plain: Mapping[str, list[dict[str, Any]]]) -> Iterator[str]:
    yield _head(plain)
    for kind, records in plain.items():
        for record in records:
            yield f"\n[[{kind}]]\n"
            for name, value in record.items():
                # a date is written as TOML's own
                text = value if name == "at" else _toml(value)
                yield f"{name} = {text}\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # every JSON string is a TOML basic string, as long as DEL is not in it; records refuse it
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    if value and isinstance(value[0], dict):
        return "[\n" + "".join(f"  {_toml(v)},\n" for v in value) + "]"
    return "[" + ", ".join(map(_toml, value)) + "]"


def _read_toml(path: Path) -> list[tuple[str, str, dict[str, Any]]]:
    """Return [(where, kind, plain record)]."""
    document = _toml_document(path)
    _check_head(document, path)
    out = []
    for kind, records in document.items():
        if kind in _HEAD:
            continue
        if kind not in KINDS or not isinstance(records, list):
            raise BookError(
                "unknown table", where=str(path), value=repr(kind), do=nearest_name(kind, KINDS)
            )
        for n, record in enumerate(records, 1):
            where = f"{path}: {kind} {n}"
            if not isinstance(record, dict):
                raise BookError("not a table", where=where, value=repr(record))
            at = record.get("at")
            if isinstance(at, datetime):
                if at.tzinfo is None:
                    raise BookError("a date without its zone", where=where, value=str(at))
                record["at"] = utc_text(at)
            out.append((where, kind, record))
    return _complete(document, path, out)


def _toml_document(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(_read(path))
    except tomllib.TOMLDecodeError as error:
        raise BookError("not a TOML file", where=str(path), value=str(error)) from None


def _check_head(document: Mapping[str, Any], path: Path) -> None:
    schema = document.get("schema")
    if document.get("format") != _FORMAT or not isinstance(schema, int):
        raise BookError(
            "not an export of a shop book",
            where=str(path),
            limit=f'format = "{_FORMAT}" and its schema',
        )
    if schema > VERSION:
        raise BookError(
            "this export was written by a newer version of the program; nothing was imported",
            where=str(path),
            value=f"schema {schema}",
            limit=f"this program knows up to {VERSION}",
            do="update the program",
        )


def _complete(
    document: Mapping[str, Any], path: Path, found: list[tuple[str, str, dict[str, Any]]]
) -> list[tuple[str, str, dict[str, Any]]]:
    count = document.get("records")
    if count is not None and count != len(found):
        raise BookError(
            "this export is not complete; nothing was imported",
            where=str(path),
            value=f"{len(found)} records",
            limit=f"its head says {count}",
            do="export again, or take the line 'records' out if you changed the file by hand",
        )
    return found


# ---- CSV -----------------------------------------------------------------------------------


def export_csv(book: Book, folder: Path) -> int:
    """Write the whole book to a new folder of CSV files; return the number of records.

    The folder appears when it is complete.

    Raises
    ------
    FileProblem
        The folder exists and is not empty, or cannot be written.
    BookError
        The book cannot be read, or a record in it is damaged.
    """
    plain = _plain_entries(book)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileProblem(
            "there is something of that name already", where=str(folder), do="name a new folder"
        )
    part = folder.with_name(f".{folder.name}.{os.getpid()}.part")
    try:
        part.mkdir(parents=True)
        for name, text in _csv_files(plain):
            _write(part / name, text)
        _write(part / "book.toml", _head(plain))
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    except OSError as error:
        raise _cannot("write", folder, error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return sum(map(len, plain.values()))


def _csv_files(plain: Mapping[str, list[dict[str, Any]]]) -> Iterator[tuple[str, str]]:
    for kind, records in plain.items():
        fields = [(name, row_type(hint)) for name, hint, _ in shape(KINDS[kind])]
        columns = ["id", *(name for name, row in fields if row is None)]
        yield f"{kind}.csv", _csv(columns, records)
        for name, row in fields:
            if row is None:
                continue
            rows = [
                {"id": record["id"], "row": n} | item
                for record in records
                for n, item in enumerate(record.get(name, ()), 1)
            ]
            yield f"{kind}_{name}.csv", _csv(["id", "row", *(f for f, _, _ in shape(row))], rows)


def _csv(columns: list[str], records: Iterable[Mapping[str, Any]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for record in records:
        writer.writerow([_cell(record.get(name)) for name in columns])
    return out.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return " ".join(map(repr, value))
    return value if isinstance(value, str) else _toml(value)


def _read_csv(folder: Path) -> list[tuple[str, str, dict[str, Any]]]:
    document = _toml_document(folder / "book.toml")
    _check_head(document, folder)
    out = []
    for kind, cls in KINDS.items():
        if not (folder / f"{kind}.csv").exists():
            continue
        rows_of: dict[str, dict[str, list[Any]]] = {}
        for name, hint, _ in shape(cls):
            row = row_type(hint)
            path = folder / f"{kind}_{name}.csv"
            if row is None or not path.exists():
                continue
            for where, cells in _csv_rows(path):
                rows = rows_of.setdefault(cells.pop("id", ""), {}).setdefault(name, [])
                if cells.pop("row", "") != str(len(rows) + 1):
                    raise BookError("a row is missing or twice", where=where)
                rows.append(_typed(row, cells, where))
        for where, cells in _csv_rows(folder / f"{kind}.csv"):
            identity = cells.pop("id", "")
            record = _typed(cls, cells, where) | rows_of.pop(identity, {})
            out.append((where, kind, record | ({"id": identity} if identity else {})))
        if rows_of:
            raise BookError(
                f"rows without their record in {kind}.csv",
                where=str(folder),
                value=", ".join(sorted(rows_of)[:3]),
            )
    return _complete(document, folder, out)


def _csv_rows(path: Path) -> Iterator[tuple[str, dict[str, str]]]:
    reader = csv.DictReader(io.StringIO(_read(path), newline=""), strict=True)
    try:
        for n, cells in enumerate(reader, 2):
            if None in cells or None in cells.values():
                raise BookError("wrong number of cells", where=f"{path}, record {n - 1}")
            yield f"{path}, record {n - 1}", cells
    except csv.Error as error:
        raise BookError("not a CSV file", where=str(path), value=str(error)) from None


def _typed(cls: type[Any], cells: Mapping[str, str], where: str) -> dict[str, Any]:
    """Read cells as the types of the fields; an empty one is left out."""
    hints = {name: hint for name, hint, _ in shape(cls)}
    out: dict[str, Any] = {}
    for name, cell in cells.items():
        if cell == "":
            continue
        hint = hints.get(name, str)
        place = f"{where}, {name}"
        if hint == tuple[float, ...]:
            out[name] = [_float(word, place) for word in cell.split()]
        elif hint is float:
            out[name] = _float(cell, place)
        elif hint is int:
            number = _float(cell, place)
            if not number.is_integer():
                raise BookError("not a whole number", where=place, value=repr(cell))
            out[name] = int(number)
        elif hint is bool:
            if cell not in ("true", "false"):
                raise BookError("not true or false", where=place, value=repr(cell))
            out[name] = cell == "true"
        else:
            out[name] = cell
    return out


def _float(cell: str, where: str) -> float:
    if not _NUMBER.fullmatch(cell.strip()) or not math.isfinite(float(cell)):
        raise BookError("not a number", where=where, value=repr(cell), limit="such as 0.21 or 1e-3")
    return float(cell)


# ---- reading back --------------------------------------------------------------------------


def import_file(book: Book, path: Path) -> Imported:
    """Read an export (a TOML file or a folder of CSV files) into a book: all of it, or nothing.

    Raises
    ------
    BookError, ReadingError
        Names the record that cannot be read; nothing was imported.
    """
    found = _read_csv(path) if path.is_dir() else _read_toml(path)
    places: dict[str, str] = {}
    records = []
    for where, kind, plain in found:
        record = _checked(where, kind, plain)
        places.setdefault(content_id(record), where)
        records.append(record)
    at = ""

    def one_by_one() -> Iterator[Record]:
        nonlocal at
        for record in _in_sequence(records):
            at = places[content_id(record)]
            yield record

    try:
        done = book.append_all(one_by_one())
    except BookError as error:
        if error.data.get("pointer"):  # the record's own fault, not the disk's or the book's
            raise error.within(at) from None
        raise
    new = sum(a.new for a in done)
    return Imported(new=new, known=len(done) - new)


def _checked(where: str, kind: str, plain: dict[str, Any]) -> Record:
    plain = dict(plain)
    claimed = plain.pop("id", None)
    record = from_plain(kind, plain, where=where)
    if claimed is not None and content_id(record) != claimed:
        raise BookError(
            "the id does not belong to what the record says; was it changed by hand?",
            where=where,
            value=repr(claimed),
            do="leave the id out to import it as a record of its own; nothing was imported",
        )
    return record


def _in_sequence(records: list[Record]) -> list[Record]:
    """Sort so that whatever a record points at comes before it."""
    kinds = list(KINDS)
    strikes = {content_id(r): r.target for r in records if isinstance(r, Strike)}

    def depth(record: Record) -> int:
        steps, target = 0, getattr(record, "target", "")
        while target in strikes:
            steps, target = steps + 1, strikes[target]
        return steps

    return sorted(records, key=lambda r: (kinds.index(r.kind), depth(r)))


# ---- files ---------------------------------------------------------------------------------


def _cannot(doing: str, path: Path, error: OSError) -> FileProblem:
    return FileProblem(f"cannot {doing}", where=str(path), value=error.strerror or str(error))


def _read(path: Path) -> str:
    try:
        # no translation of line ends: a text may hold them
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BookError("not a text in UTF-8", where=str(path)) from None
    except OSError as error:
        raise _cannot("read", path, error) from error


def _write(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise _cannot("write", path, error) from error
    finally:
        part.unlink(missing_ok=True)
