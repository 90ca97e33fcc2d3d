"""Form files: blank ones for a piece, and filled ones back into readings and verdicts.

A form is a TOML or a CSV file with one row for every reading or slot. A row holds all that a reading
needs beside its values, and four letters that tie it to the piece: a row of another gauge, or one
whose printed columns were changed, is refused by its number. Values stand as they were read: with a
unit, or bare in the form's unit. Every repeat is kept. A row may be given twice, for more repeats.

What no file can tell is printed on the form's page: count the slices, zero the caliper.
"""

from __future__ import annotations

import csv
import io
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path
from typing import Any, Literal, get_args

from boxjoint.errors import FileProblem, ReadingError, UnitError, nearest_name
from boxjoint.gauge.comb import Slot, Verdict
from boxjoint.gauge.pieces import GaugeKind, GaugePiece, ReadingRow, SlotRow, plain
from boxjoint.gauge.readings import Axis, Form, Reading, check_readings
from boxjoint.units import read_length

__all__ = ["FACTS", "FilledForm", "form_csv", "form_toml", "parse_form", "read_form"]

Unit = Literal["mm", "in"]

_FORMAT = "boxjoint gauge form"
_VERSION = 1
_MOST_BYTES = 1_000_000
_VALUES = 4  # columns for values in a CSV form; more may be added

#: What a form asks beside the values: plain text, each may stay empty.
FACTS = ("date", "machine", "sheet", "settings", "caliper_step", "note")
_HEAD = ("format", "version", "gauge", "kind", "axis", "unit", "verdict", *FACTS)
_PRINTED = ("form", "axis", "drawn_mm", "slices", "cut_ends", "contour", "turned")


@dataclass(frozen=True, slots=True, kw_only=True)
class FilledForm:
    """A form as it was filled in.

    Parameters
    ----------
    path
        The file.
    gauge, kind, axis
        Code and kind of the piece, and the axis of a comb.
    unit
        What bare numbers meant.
    readings
        One for every row that has a value, in the form's sequence.
    slots
        Of a comb: all slots, those that were not tried without a verdict.
    own_tab
        Whether every slot had its own tab (False for a sheet comb).
    width_mm
        Of a comb: nominal width of its tabs, mm (of a sheet comb: the thickness); else 0.
    verdict
        Of a coupon, if one was given.
    facts
        What was written beside, by the names in :data:`FACTS`.
    empty
        Rows without a value.
    """

    path: str
    gauge: str
    kind: GaugeKind
    axis: Axis
    unit: Unit
    readings: tuple[Reading, ...] = ()
    slots: tuple[Slot, ...] = ()
    own_tab: bool = True
    width_mm: float = 0.0
    verdict: Verdict | None = None
    facts: Mapping[str, str] = field(default_factory=dict)
    empty: tuple[int, ...] = ()


# ---- blank forms ---------------------------------------------------------------------------


def _head(piece: GaugePiece, unit: Unit) -> dict[str, str]:
    head = {
        "format": _FORMAT,
        "version": str(_VERSION),
        "gauge": piece.code,
        "kind": str(piece.kind),
        "axis": piece.axis,
        "unit": unit,
    }
    if piece.kind is GaugeKind.COUPON:
        head["verdict"] = ""
    return head | dict.fromkeys(FACTS, "")


_HINTS = {
    "gauge": "marked on the piece",
    "unit": "of bare numbers: mm or in; a value may have its own unit",
    "verdict": "press both together: no, press, slides or loose",
    "caliper_step": "step of the caliper's display",
}


def form_toml(piece: GaugePiece, *, unit: Unit = "mm") -> str:
    """Return a blank form of a piece as TOML: fill in ``values`` or ``verdict``."""
    out = [
        f"# {piece.title}: fill in values, each as it was read; leave empty what was not read.\n"
    ]
    out += [f"# {line}\n" for line in piece.how]
    for key, text in _head(piece, unit).items():
        value = text if key == "version" else _quoted(text)
        hint = f"   # {_HINTS[key]}" if key in _HINTS else ""
        out.append(f"{key} = {value}{hint}\n")
    for row in piece.rows:
        many = f", {row.times} values" if row.times > 1 else ""
        out.append(f"\n[[reading]]   # {row.what}{many}{' (optional)' if row.optional else ''}\n")
        out.append(f"# {row.jaws}\n")
        out.append("values = []\n")
        out += [f"{key} = {_toml(value)}\n" for key, value in _printed(row, piece.code).items()]
    for slot in piece.slots:
        out.append(f'\n[[slot]]\nverdict = ""   # slot {slot.slot}: no, press, slides or loose\n')
        out += [f"{key} = {_toml(value)}\n" for key, value in _slot(slot, piece.code).items()]
    return "".join(out)


def form_csv(piece: GaugePiece, *, unit: Unit = "mm") -> str:
    """Return a blank form of a piece as CSV: fill in the columns ``value`` or ``verdict``."""
    stream = io.StringIO()
    write = csv.writer(stream, lineterminator="\n").writerow
    for key, text in _head(piece, unit).items():
        write([key, text, _HINTS.get(key, "")])
    write([])
    if piece.rows:
        columns = ["what", *(f"value {i + 1}" for i in range(_VALUES)), "jaws"]
        printed = ["row", *_PRINTED, "u_mm", "code"]
        write(["row", *columns, *printed[1:]])
        for row in piece.rows:
            facts = {k: _cell(v) for k, v in _printed(row, piece.code).items()}
            blank = [""] * _VALUES
            jaws = row.jaws + (" (optional)" if row.optional else "")
            write([row.row, row.what, *blank, jaws, *(facts.get(k, "") for k in printed[1:])])
    if piece.slots:
        write(["slot", "verdict", "x_mm", "slot_mm", "tab_mm", "code"])
        for slot in piece.slots:
            cells = [_cell(v) for v in _slot(slot, piece.code).values()]
            write([cells[0], "", *cells[1:]])
    return stream.getvalue()


def _printed(row: ReadingRow, piece: str) -> dict[str, object]:
    out: dict[str, object] = {"row": row.row, "form": str(row.form), "axis": row.axis}
    out["drawn_mm"] = row.drawn_mm
    if row.slices is not None:
        out["slices"] = row.slices
    out["cut_ends"] = row.cut_ends
    if row.contour:
        out["contour"] = row.contour
    if row.turned:
        out["turned"] = True
    if row.u_mm is not None:
        out["u_mm"] = row.u_mm
    return out | {"code": row.code(piece)}


def _slot(slot: SlotRow, piece: str) -> dict[str, object]:
    return {
        "slot": slot.slot,
        "x_mm": slot.x_mm,
        "slot_mm": slot.slot_mm,
        "tab_mm": slot.tab_mm,
        "code": slot.code(piece),
    }


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return plain(value)
    return _quoted(value) if isinstance(value, str) else str(value)


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    return plain(value) if isinstance(value, float) else str(value)


# ---- filled forms --------------------------------------------------------------------------


def read_form(path: str | PathLike[str], piece: GaugePiece | str | None = None) -> FilledForm:
    """Read a filled form, TOML or CSV (separated by commas, semicolons or tabs).

    Parameters
    ----------
    path
        A file of at most 1 MB.
    piece
        The piece, or its code, that the form must belong to; ``None`` takes any piece.

    Raises
    ------
    FileProblem
        The file cannot be read, or is no text.
    ReadingError
        Another gauge's form, a row that was changed, a value that cannot be read or that no
        reading can have, an unknown verdict, nothing filled in; names file and row. Exit code 2.
    """
    name = str(path)
    try:
        with Path(path).open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise FileProblem("no such form", where=name, do="check the name and the folder") from None
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise FileProblem(f"the form cannot be read ({reason})", where=name) from None
    if len(content) > _MOST_BYTES:
        raise FileProblem("the file is too large for a form", where=name, limit="at most 1 MB")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileProblem(
            "the form is not text in UTF-8", where=name, do="save it as CSV in UTF-8"
        ) from None
    return parse_form(text, name=name, piece=piece)


def parse_form(
    text: str, *, name: str = "form", piece: GaugePiece | str | None = None
) -> FilledForm:
    """Read a filled form from its text; as :func:`read_form`."""
    lines = text.lstrip().splitlines() or [""]
    first = lines[0].replace('"', "")
    separator = next((d for d in ",;\t" if first.startswith(f"format{d}")), "")
    if separator:
        head, rows = _from_csv(text, separator, name)
    else:
        head, rows = _from_toml(text, name)
    return _form(head, rows, name, piece)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One row as it stands in the file: its cells by name, its values, where it is."""

    cells: dict[str, Any]
    values: tuple[object, ...]
    slot: bool
    where: str


def _from_toml(text: str, name: str) -> tuple[dict[str, Any], list[_Row]]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ReadingError(
            "the form is neither TOML nor CSV of a gauge form",
            where=name,
            value=str(error),
            do="values stand in brackets with points and commas between, as in [71.52, 71.54]",
        ) from None
    rows = []
    for key, number in (("reading", "row"), ("slot", "slot")):
        tables = data.pop(key, [])
        if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
            raise ReadingError(f"[[{key}]] must be a list of tables", where=name)
        for i, table in enumerate(tables):
            where = f"{name}: {number} {table.get(number, f'no. {i + 1}')}"
            values = table.pop("values", [])
            rows.append(
                _Row(
                    cells=table,
                    values=tuple(values) if isinstance(values, list) else (values,),
                    slot=key == "slot",
                    where=where,
                )
            )
    return data, rows


def _from_csv(text: str, separator: str, name: str) -> tuple[dict[str, Any], list[_Row]]:
    head: dict[str, Any] = {}
    rows: list[_Row] = []
    columns: list[str] = []
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    try:
        for cells in reader:
            cells = [c.strip() for c in cells]
            if not any(cells):
                continue
            if cells[0].lower() in ("row", "slot"):
                columns = [c.lower() for c in cells]
            elif not columns:
                head[cells[0].lower()] = cells[1] if len(cells) > 1 else ""
            else:
                rows.append(_csv_row(columns, cells, f"{name}: {columns[0]} {cells[0]}", separator))
    except csv.Error as error:
        raise ReadingError(
            "the form is not CSV", where=f"{name}, line {reader.line_num}", value=str(error)
        ) from None
    return head, rows


def _csv_row(columns: list[str], cells: list[str], where: str, separator: str) -> _Row:
    while len(cells) > len(columns) and not cells[-1]:
        cells = cells[:-1]
    if len(cells) > len(columns):
        comma = "a decimal comma in a file separated by commas? write a point, or put the value in quotes"
        raise ReadingError(
            "more cells than columns",
            where=where,
            value=f"{len(cells)} cells",
            limit=f"{len(columns)} columns",
            do=comma if separator == "," else "take out what stands beyond the last column",
        )
    named = dict(zip(columns, cells, strict=False))
    values = tuple(c for k, c in named.items() if k.startswith("value") and c)
    kept: dict[str, Any] = {k: c for k, c in named.items() if c and not k.startswith("value")}
    if kept.get("turned"):
        kept["turned"] = kept["turned"].lower() in ("yes", "true", "1")
    return _Row(cells=kept, values=values, slot=columns[0] == "slot", where=where)


def _form(
    head: dict[str, Any], rows: list[_Row], name: str, piece: GaugePiece | str | None
) -> FilledForm:
    if head.get("format") != _FORMAT:
        raise ReadingError(
            "this is no gauge form",
            where=name,
            value=f"format = {head.get('format')!r}",
            limit=f"format = {_FORMAT!r}",
            do="draw one with: boxjoint gauge draw kerf JOB --out gauge",
        )
    if str(head.get("version")) != str(_VERSION):
        raise ReadingError(
            "a form of another version",
            where=name,
            value=repr(head.get("version")),
            limit=str(_VERSION),
        )
    for key in head:
        if key not in _HEAD:
            raise ReadingError(
                "unknown entry of a form", where=name, value=repr(key), do=nearest_name(key, _HEAD)
            )
    gauge = str(head.get("gauge", "")).strip().upper()
    wanted = piece.code if isinstance(piece, GaugePiece) else piece and piece.strip().upper()
    if wanted is not None and gauge != wanted:
        raise ReadingError(
            "this form belongs to another gauge",
            where=name,
            value=gauge or "no code",
            limit=f"the gauge is {wanted}",
            do="compare with the code marked on the piece",
        )
    kind = _one_of(head, "kind", tuple(map(str, GaugeKind)), name)
    axis = _one_of(head, "axis", get_args(Axis), name)
    unit = _one_of(head, "unit", get_args(Unit), name)
    readings: list[Reading] = []
    slots: list[Slot] = []
    empty: list[int] = []
    width = 0.0
    for row in rows:
        if row.slot:
            slot, stated_slot = _read_slot(row, gauge)
            slots.append(slot)
            width = stated_slot.tab_mm
            if kind == GaugeKind.COMB:  # a slot is as much wider than its tabs as a tab is narrower
                width = 0.5 * (stated_slot.slot_mm + stated_slot.tab_mm)
            continue
        stated = _reading_row(row, gauge)
        values = [v for v in row.values if v != ""]
        if not values:
            empty.append(stated.row)
            continue
        mm = [_value(v, stated, unit, row.where) for v in values]
        readings.append(stated.reading(mm, where=row.where))
    verdict = str(head.get("verdict", "")).strip()
    if not readings and not verdict and not any(s.verdict is not None for s in slots):
        raise ReadingError(
            "nothing is filled in", where=name, do="write at least one value or verdict"
        )
    check_readings(tuple(readings))
    return FilledForm(
        path=name,
        gauge=gauge,
        kind=GaugeKind(kind),
        axis="x" if axis == "x" else "y",
        unit="mm" if unit == "mm" else "in",
        readings=tuple(readings),
        slots=tuple(slots),
        own_tab=kind != GaugeKind.SHEET_COMB,
        width_mm=round(width, 6),
        verdict=Verdict.read(verdict, f"{name}: verdict") if verdict else None,
        facts={k: str(head.get(k, "")).strip() for k in FACTS},
        empty=tuple(r for r in empty if r not in {_whole(x, "row") for x in rows if x.values}),
    )


def _one_of(head: dict[str, Any], key: str, known: tuple[str, ...], name: str) -> str:
    value = str(head.get(key, "")).strip().lower()
    if value not in known:
        raise ReadingError(
            f"{key} of a form",
            where=name,
            value=repr(head.get(key)),
            limit="one of " + ", ".join(known),
            do=nearest_name(value, known),
        )
    return value


def _whole(row: _Row, key: str, default: int | None = None) -> int:
    """A whole number of a row's printed columns."""
    value = row.cells.get(key, default)
    try:
        if isinstance(value, bool) or value is None:
            raise ValueError
        number = int(str(value).strip())
    except ValueError:
        raise ReadingError(
            f"{key} is not a whole number", where=row.where, value=repr(value)
        ) from None
    return number


def _mm(row: _Row, key: str, *, signed: bool = False) -> float:
    """A size of a row's printed columns, always in mm."""
    if key not in row.cells:
        raise ReadingError(f"{key} is missing", where=row.where)
    try:
        return float(read_length(row.cells[key], unit="mm", what=key, signed=signed))
    except UnitError as error:
        raise _located(error, row.where) from None


def _reading_row(row: _Row, gauge: str) -> ReadingRow:
    """The printed part of a row, checked against its code."""
    cells = row.cells
    form = str(cells.get("form", ""))
    axis = str(cells.get("axis", ""))
    if form not in tuple(Form) or axis not in get_args(Axis):
        raise ReadingError(
            "form or axis of a row was changed",
            where=row.where,
            value=f"{form!r} along {axis!r}",
            limit="a form of " + ", ".join(Form) + " along x or y",
        )
    stated = ReadingRow(
        row=_whole(row, "row"),
        form=Form(form),
        axis="x" if axis == "x" else "y",
        drawn_mm=_mm(row, "drawn_mm"),
        what=str(cells.get("what", "")),
        jaws="",
        slices=_whole(row, "slices") if "slices" in cells else None,
        cut_ends=_whole(row, "cut_ends", 2),
        contour=str(cells.get("contour", "")),
        turned=cells.get("turned", False) is True,
        u_mm=_mm(row, "u_mm") if "u_mm" in cells else None,
    )
    _check_code(row, stated.code(gauge), gauge)
    return stated


def _check_code(row: _Row, code: str, gauge: str) -> None:
    given = str(row.cells.get("code", "")).strip().upper()
    if given != code:
        raise ReadingError(
            f"this row is not one of gauge {gauge or 'without a code'}: its size, form or code was "
            "changed, or it came from another form",
            where=row.where,
            value=given or "no code",
            do="fill in the form that was drawn with the gauge, and change its values only",
        )


def _value(value: object, stated: ReadingRow, unit: str, where: str) -> float:
    signed = stated.form is Form.DIFFERENCE
    try:
        return float(
            read_length(value, unit="in" if unit == "in" else "mm", what="value", signed=signed)
        )
    except UnitError as error:
        raise _located(error, where) from None


def _located(error: UnitError, where: str) -> ReadingError:
    return ReadingError(error.what, where=where, value=error.value, limit=error.limit, do=error.do)


def _read_slot(row: _Row, gauge: str) -> tuple[Slot, SlotRow]:
    """A slot with its verdict, and its printed part, checked against its code."""
    stated = SlotRow(
        slot=_whole(row, "slot"),
        x_mm=_mm(row, "x_mm", signed=True),
        slot_mm=_mm(row, "slot_mm"),
        tab_mm=_mm(row, "tab_mm"),
    )
    _check_code(row, stated.code(gauge), gauge)
    word = str(row.cells.get("verdict", "")).strip()
    verdict = Verdict.read(word, row.where) if word else None
    return Slot(x_mm=stated.x_mm, verdict=verdict), stated
