"""What the shop book can hold: frozen records, their plain form and their content id.

A record is what one person wrote down at one time, and it is kept as it was taken: a plug stays a
plug, repeats stay repeats, a speed keeps its unit. Everything computed from it lives elsewhere.

A record is identified by what it says (:func:`content_id`), so that the same record can be written
or imported twice and is still there once. Fields equal to their default are left out of the
identity: a field that a later version adds does not change the identity of older records.

Rows (readings, verdicts, insides) count from 1, as on the form.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import UTC, datetime
from typing import Any, ClassVar, Final, get_args, get_type_hints

from boxjoint.errors import BookError, InputError, ReadingError, nearest_name

__all__ = [
    "AFFECTS",
    "AXES",
    "BOX_FITS",
    "FORMS",
    "JAWS",
    "KINDS",
    "SPEED_UNITS",
    "VERDICTS",
    "BoxResult",
    "CombRound",
    "GaugeSession",
    "InsideReading",
    "JobLog",
    "Machine",
    "Offcut",
    "OffcutUse",
    "Rate",
    "Reading",
    "Record",
    "Service",
    "Settings",
    "Sheet",
    "Strike",
    "Verdict",
    "content_id",
    "counted",
    "from_plain",
    "row_type",
    "same_words",
    "shape",
    "to_plain",
    "utc_text",
]

#: Forms in which a reading can be taken; the estimator in room ``gauge`` says what each tells.
FORMS: Final = ("plug", "hole", "stack", "window", "strip", "difference")
AXES: Final = ("x", "y")
JAWS: Final = ("", "outside", "inside", "depth", "rule")
#: Verdicts on a slot of a comb, tightest first.
VERDICTS: Final = ("no", "press", "slides", "loose")
#: Verdicts on a whole box, tightest first; empty: not tried.
BOX_FITS: Final = ("", "tight", "ok", "loose")
#: Millimetres per second of one of each unit.
SPEED_UNITS: Final = {"": 0.0, "mm/s": 1.0, "mm/min": 1 / 60, "in/s": 25.4, "in/min": 25.4 / 60}
#: What a service can have moved.
AFFECTS: Final = ("kerf", "scale", "both")


def utc_text(at: datetime) -> str:
    """Return a date as ISO 8601 in UTC, to the second; sorts as text in the sequence of time."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def counted(number: int, word: str) -> str:
    """Write a number with its noun: 1 gauge, 2 gauges, 3 boxes."""
    many = word if number == 1 else f"{word}es" if word.endswith("x") else f"{word}s"
    return f"{number} {many}"


def same_words(text: str) -> str:
    """Return ``text`` with case and spacing levelled: how names of materials are compared."""
    return " ".join(text.casefold().split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Root of what can be appended. ``at`` is when it was taken: aware, kept to the second."""

    kind: ClassVar[str] = ""
    at: datetime


# ---- checks on construction ----------------------------------------------------------------


def _fail(record: object, name: str, what: str, value: object, limit: str = "") -> ReadingError:
    return ReadingError(
        what, where=f"{type(record).__name__}.{name}", value=repr(value), limit=limit
    )


def _tidy(record: Any) -> None:
    """Level what has two spellings (1 and 1.0, -0.0, zones, outer blanks); refuse NaN and the like.

    Two records that say the same thing must have the same content id.
    """
    for name, hint, _ in shape(type(record)):
        value = getattr(record, name)
        if isinstance(value, str):
            value = value.strip()
            if any((ord(c) < 32 and c not in "\n\t") or ord(c) == 127 for c in value):
                raise _fail(record, name, "a control character in a text", value)
            try:
                value.encode()
            except UnicodeEncodeError:
                raise _fail(record, name, "a text that is not Unicode", value) from None
        elif isinstance(value, datetime):
            if value.tzinfo is None:
                raise _fail(record, name, "a date without its zone", value, "an aware datetime")
            value = value.astimezone(UTC).replace(microsecond=0)
            if not value.year >= 1970:
                raise _fail(record, name, "a date before there were such machines", value)
        elif isinstance(value, bool) or value is None:
            pass
        elif hint is int:
            if not isinstance(value, int):
                raise _fail(record, name, "not a whole number", value)
        elif hint is float:
            value = _number(record, name, value)
        elif hint == tuple[float, ...]:
            value = tuple(_number(record, name, v) for v in value)
        elif isinstance(value, list):
            value = tuple(value)
        object.__setattr__(record, name, value)


def _number(record: object, name: str, value: float) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise _fail(record, name, "not a number that can be measured", value)
    return number + 0.0  # -0.0 becomes 0.0


def _one_of(record: object, name: str, known: Iterable[str]) -> None:
    value, known = getattr(record, name), tuple(known)
    if value not in known:
        error = _fail(
            record, name, "unknown word", value, "one of " + ", ".join(filter(None, known))
        )
        error.do = nearest_name(str(value), filter(None, known))
        raise error


def _named(record: object, *names: str) -> None:
    for name in names:
        if not getattr(record, name):
            raise _fail(record, name, "must not be empty", getattr(record, name))


def _above(record: object, *names: str, least: float = 0.0, closed: bool = False) -> None:
    """Refuse a value (or one of several) that is not above ``least``; ``None`` is not known."""
    for name in names:
        value = getattr(record, name)
        for v in value if isinstance(value, tuple) else (value,):
            if v is not None and not (v >= least if closed else v > least):
                sign = "at least" if closed else "larger than"
                raise _fail(record, name, "too small", v, f"{sign} {least:g}")


# ---- what the shop has ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine(Record):
    """A machine, known by its name; a later record of the same name replaces its description."""

    kind: ClassVar[str] = "machine"
    name: str
    bed_x_mm: float | None = None
    bed_y_mm: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "name")
        _above(self, "bed_x_mm", "bed_y_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(Record):
    """A sheet as bought: caliper readings of its thickness (mm, at least one), and its label."""

    kind: ClassVar[str] = "sheet"
    material: str
    thickness_mm: tuple[float, ...]
    label_mm: float | None = None
    batch: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "material", "thickness_mm")
        _above(self, "thickness_mm", "label_mm")

    @property
    def mean_mm(self) -> float:
        """Mean of the thickness readings, mm."""
        return math.fsum(self.thickness_mm) / len(self.thickness_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings(Record):
    """How the machine was set: speed with its unit, power, passes, air, focus, lens.

    ``None`` and an empty text mean that nobody wrote it down. No setting is safe: see the cautions.
    """

    kind: ClassVar[str] = "settings"
    name: str = ""
    speed: float | None = None
    speed_unit: str = ""
    power_percent: float | None = None
    passes: int = 1
    air: str = ""
    focus_mm: float | None = None
    lens: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _one_of(self, "speed_unit", SPEED_UNITS)
        _above(self, "speed", "power_percent")
        _above(self, "passes", least=1, closed=True)
        if (self.speed is None) != (self.speed_unit == ""):
            raise _fail(self, "speed", "a speed and its unit belong together", self.speed_unit)
        if self.power_percent is not None and self.power_percent > 100:
            raise _fail(self, "power_percent", "too large", self.power_percent, "at most 100")

    @property
    def speed_mm_s(self) -> float | None:
        """Speed in mm/s, rounded to 1e-6 so that 10 mm/s and 600 mm/min are equal."""
        return None if self.speed is None else round(self.speed * SPEED_UNITS[self.speed_unit], 6)

    @property
    def cutting(self) -> dict[str, float | int | str | None]:
        """What decides the kerf: two settings are the same when these are; name and date are not."""
        return {
            "speed": self.speed_mm_s,
            "power": self.power_percent,
            "passes": self.passes,
            "air": same_words(self.air),
            "focus": self.focus_mm,
            "lens": same_words(self.lens),
        }


# ---- readings and verdicts -----------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One row of a gauge form, as it was read.

    Parameters
    ----------
    form, axis
        What was measured (one of :data:`FORMS`) and along which machine axis.
    drawn_mm
        Size drawn, mm, > 0. For a stack the whole length from end to end.
    values_mm
        Repeats, mm, at least one. A ``difference`` may be zero or negative, nothing else may.
    slices
        Number of slices of a stack, >= 2; else 0.
    cut_ends
        How many of the two ends were cut by this machine: 0, 1 or 2.
    contour
        Readings that share a contour share its beam-centre noise.
    jaw
        What it was read with, one of :data:`JAWS`.
    u_mm
        Standard uncertainty of the reading where it is not the caliper's, mm.
    turned
        A stack whose slices were turned over alternately.
    """

    form: str
    axis: str
    drawn_mm: float
    values_mm: tuple[float, ...]
    slices: int = 0
    cut_ends: int = 2
    contour: str = ""
    jaw: str = ""
    u_mm: float | None = None
    turned: bool = False

    def __post_init__(self) -> None:
        _tidy(self)
        _one_of(self, "form", FORMS)
        _one_of(self, "axis", AXES)
        _one_of(self, "jaw", JAWS)
        _named(self, "values_mm")
        _above(self, "drawn_mm", "u_mm")
        if self.form != "difference":
            _above(self, "values_mm")
        if (self.slices < 2) if self.form == "stack" else (self.slices != 0):
            raise _fail(
                self, "slices", "wrong number of slices", self.slices, "2 or more, stacks only"
            )
        if self.cut_ends not in (0, 1, 2):
            raise _fail(self, "cut_ends", "a part has two ends", self.cut_ends, "0, 1 or 2")


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeSession(Record):
    """The readings of one gauge piece, cut from one sheet with one set of settings.

    ``sheet`` and ``settings`` are content ids. ``cut_hours`` is the machine's hour counter;
    ``caliper_step_mm`` the step of the caliper's display.
    """

    kind: ClassVar[str] = "gauge"
    machine: str
    sheet: str
    settings: str
    readings: tuple[Reading, ...]
    caliper_step_mm: float | None = None
    source: str = ""
    cut_hours: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "machine", "sheet", "settings", "readings")
        _above(self, "cut_hours", closed=True)
        _above(self, "caliper_step_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """How one slot of a comb felt: ``x_mm`` is its drawn clearance (slot minus tab), mm."""

    x_mm: float
    verdict: str

    def __post_init__(self) -> None:
        _tidy(self)
        _one_of(self, "verdict", VERDICTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class CombRound(Record):
    """One comb and its verdicts. ``axis``: the machine axis that its flanks are normal to.

    ``round`` counts combs of one search from 1; ``own_tab``: every slot has a tab of its own.
    """

    kind: ClassVar[str] = "comb"
    machine: str
    sheet: str
    settings: str
    axis: str
    verdicts: tuple[Verdict, ...]
    round: int = 1
    own_tab: bool = True
    segment_mm: float | None = None
    source: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "machine", "sheet", "settings", "verdicts")
        _one_of(self, "axis", AXES)
        _above(self, "segment_mm")
        _above(self, "round", least=1, closed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideReading:
    """An inside size of a cut box: asked and measured, mm, along machine axis ``axis``.

    ``u_mm`` is the standard uncertainty of the measurement where it was stated.
    """

    axis: str
    asked_mm: float
    measured_mm: float
    u_mm: float | None = None

    def __post_init__(self) -> None:
        _tidy(self)
        _one_of(self, "axis", AXES)
        _above(self, "asked_mm", "measured_mm", "u_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxResult(Record):
    """What came of a cut box: how it fitted, what the inside measured, and what it was cut with.

    ``kerf_*_mm`` and ``scale_*`` are what the drawing was compensated for, ``clearance_mm`` what it
    aimed at. ``order`` names the order; results of one order count as one job.
    """

    kind: ClassVar[str] = "box"
    machine: str
    sheet: str
    settings: str
    kerf_x_mm: float
    kerf_y_mm: float
    scale_x: float = 1.0
    scale_y: float = 1.0
    clearance_mm: float | None = None
    fit: str = ""
    insides: tuple[InsideReading, ...] = ()
    order: str = ""
    source: str = ""
    cut_hours: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "machine", "sheet", "settings")
        _one_of(self, "fit", BOX_FITS)
        _above(self, "kerf_x_mm", "kerf_y_mm", "scale_x", "scale_y")
        _above(self, "cut_hours", closed=True)
        if not self.fit and not self.insides:
            raise _fail(self, "fit", "a result without a verdict or an inside reading", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Service(Record):
    """Work on a machine after which the kerf, the scale or both may be others."""

    kind: ClassVar[str] = "service"
    machine: str
    what: str
    affects: str = "kerf"
    cut_hours: float | None = None

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "machine", "what")
        _one_of(self, "affects", AFFECTS)
        _above(self, "cut_hours", closed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strike(Record):
    """Strikes out a record (``target``, a content id) or one of its rows, with the reason.

    ``row`` counts from 1; 0 strikes the whole record. A strike can itself be struck out: then it
    does not count.
    """

    kind: ClassVar[str] = "strike"
    target: str
    reason: str
    row: int = 0

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "target", "reason")
        _above(self, "row", closed=True)


# ---- orders --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Offcut(Record):
    """What remained of a sheet (content id) after an order: rectangles of one size, mm."""

    kind: ClassVar[str] = "offcut"
    sheet: str
    x_mm: float
    y_mm: float
    count: int = 1
    order: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "sheet")
        _above(self, "x_mm", "y_mm")
        _above(self, "count", least=1, closed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class OffcutUse(Record):
    """Offcuts (content id) that were used up or thrown away."""

    kind: ClassVar[str] = "offcut_use"
    offcut: str
    count: int = 1
    order: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "offcut")
        _above(self, "count", least=1, closed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate(Record):
    """A price or an allowance of the shop; the latest of a name counts. ``per``: 'h', 'sheet'..."""

    kind: ClassVar[str] = "rate"
    name: str
    value: float
    per: str = ""
    currency: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "name")
        _above(self, "value", closed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLog(Record):
    """An order as it was cut: what the drawing held and how long it took.

    Lengths in mm, times in seconds. ``estimate_s`` is what had been computed beforehand, ``engrave_s``
    that part of it, by the model of the head, in which areas are filled.
    """

    kind: ClassVar[str] = "log"
    order: str
    machine: str
    settings: str
    machine_s: float | None = None
    estimate_s: float | None = None
    labour_s: float | None = None
    cut_mm: float | None = None
    mark_mm: float | None = None
    travel_mm: float | None = None
    engrave_s: float | None = None
    pierces: int | None = None
    corners: int | None = None
    sheets: int | None = None
    cut_hours: float | None = None
    source: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _tidy(self)
        _named(self, "order", "machine", "settings")
        _above(self, "machine_s", "estimate_s")
        _above(
            self,
            *("labour_s", "cut_mm", "mark_mm", "travel_mm", "engrave_s", "cut_hours"),
            closed=True,
        )
        _above(self, "pierces", "corners", "sheets", closed=True)


#: Every kind of record by its name; one that points at another comes after it.
KINDS: Final[dict[str, type[Record]]] = {
    cls.kind: cls
    for cls in (
        Machine,
        Sheet,
        Settings,
        GaugeSession,
        CombRound,
        BoxResult,
        Service,
        Offcut,
        OffcutUse,
        Rate,
        JobLog,
        Strike,
    )
}

# ---- plain form and identity ---------------------------------------------------------------


_SHAPES: dict[type[Any], tuple[tuple[str, Any, Any], ...]] = {}


def shape(cls: type[Any]) -> tuple[tuple[str, Any, Any], ...]:
    """(name, type without None, default or MISSING) of every field of a record or a row."""
    if cls in _SHAPES:
        return _SHAPES[cls]
    hints = get_type_hints(cls)
    out = []
    for f in fields(cls):
        hint = hints[f.name]
        inner = [a for a in get_args(hint) if a is not type(None)]
        if type(None) in get_args(hint):
            hint = inner[0]
        out.append((f.name, hint, f.default))
    return _SHAPES.setdefault(cls, tuple(out))


def row_type(hint: Any) -> type[Any] | None:
    """Return the class of the rows when ``hint`` is a tuple of rows."""
    args = get_args(hint)
    return args[0] if args and args[0] in (Reading, Verdict, InsideReading) else None


def to_plain(record: Any) -> dict[str, Any]:
    """Return a record or a row as texts, numbers and lists; what equals its default is left out."""
    out: dict[str, Any] = {}
    for name, hint, default in shape(type(record)):
        value = getattr(record, name)
        if default is not MISSING and value == default:
            continue
        if isinstance(value, datetime):
            value = utc_text(value)
        elif isinstance(value, tuple):
            value = [to_plain(v) for v in value] if row_type(hint) else list(value)
        out[name] = value
    return out


def from_plain(kind: str, plain: Mapping[str, Any], *, where: str = "") -> Record:
    """Build the record that :func:`to_plain` wrote.

    Raises
    ------
    BookError
        Unknown kind, unknown or missing field, a value of the wrong type.
    ReadingError
        A value that the record refuses.
    """
    cls = KINDS.get(kind)
    if cls is None:
        raise BookError(
            "unknown kind of record", where=where, value=repr(kind), do=nearest_name(kind, KINDS)
        )
    record: Record = _build(cls, plain, where or kind)
    return record


def _build(cls: type[Any], plain: Mapping[str, Any], where: str) -> Any:
    known = {name: (hint, default) for name, hint, default in shape(cls)}
    for name in plain:
        if name not in known:
            raise BookError(
                "unknown field", where=where, value=repr(name), do=nearest_name(name, known)
            )
    values: dict[str, Any] = {}
    for name, (hint, default) in known.items():
        if name not in plain:
            if default is MISSING:
                raise BookError("a field is missing", where=where, value=repr(name))
            continue
        values[name] = _value(hint, plain[name], f"{where}.{name}")
    try:
        return cls(**values)
    except InputError as error:  # what the record itself refuses knows no file
        raise error.within(where) from None


def _value(hint: Any, value: Any, where: str) -> Any:
    """Read one plain value as its field's type; never guesses."""
    row = row_type(hint)
    if row is not None and isinstance(value, list):
        return tuple(_build(row, item, f"{where}, row {n}") for n, item in enumerate(value, 1))
    if hint == tuple[float, ...] and isinstance(value, list):
        return tuple(_value(float, item, where) for item in value)
    if hint is datetime and isinstance(value, str):
        try:
            at = datetime.fromisoformat(value)
        except ValueError:
            raise BookError("not a date of ISO 8601", where=where, value=repr(value)) from None
        if at.tzinfo is None:
            raise BookError("a date without its zone", where=where, value=repr(value))
        return at
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if hint is int and isinstance(value, int) and not isinstance(value, bool):
        return value
    if hint in (str, bool) and isinstance(value, hint):
        return value
    raise BookError("a value of the wrong type", where=where, value=repr(value))


def content_id(record: Record) -> str:
    """Return what identifies a record: 32 hexadecimal digits of the SHA-256 of what it says."""
    plain = {"kind": record.kind, **to_plain(record)}
    text = json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:32]
